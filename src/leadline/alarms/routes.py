"""Who is called, how, and who next: the ladder of calls of one message, worked out from what was done so far.

Nothing is remembered between two looks but the deliveries themselves: after a crash the same ladder comes out again.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from leadline.alarms.decide import Priority
from leadline.alarms.delivery import Delivery, Message, Stage
from leadline.system.orders import Escalation, Person, on_duty

_LEAST_SHARE, _LEAST_WAIT_S = 1.0 / 3.0, 30.0
_MEDIUM_REPEAT_S = 4 * 3600.0
_LOUD = (Priority.HIGH, Priority.URGENT)


@dataclass(frozen=True, slots=True)
class Call:
    """One rung: whom to call, by which path, in which turn, from when on. [Unix s]"""

    person: str
    path: str
    turn: int
    due_s: float


def pace(priority: Priority, escalation: Escalation, people: Sequence[Person], opened_s: float,
         harm_at_s: float | None) -> float:  # fmt: skip
    """The factor on all waits: one, or less so that the last rung is reached by half of the time to harm; a third at
    least, for a call at night needs some minutes to be heard (judgement)."""
    if harm_at_s is None or priority not in _LOUD:
        return 1.0
    whole = max(len(people) - 1, 0) * escalation.next_person_s
    whole += max((len(p.paths) for p in people), default=1) * escalation.next_path_s
    return min(1.0, max(_LEAST_SHARE, 0.5 * (harm_at_s - opened_s) / max(whole, 1.0)))


def calls(
    message: Message, people: Sequence[Person], escalation: Escalation, done: Sequence[Delivery],
    unproved: Collection[tuple[str, str]], minute_of: Callable[[float], int], now_s: float,
) -> list[Call]:  # fmt: skip
    """Every call of the last turn, and of those after it, whose time has come, whether or not it was made already.

    Parameters
    ----------
    done
        The deliveries of this message so far.
    unproved
        (person, path) pairs that are not known to work: the next rung does not wait for them.
    minute_of
        Minute of the local day of a moment.

    Notes
    -----
    A low alarm calls nobody. A medium one calls those whose hours it is, and waits for the hours of the first when it
    is nobody's. High and urgent ones call everybody. A rung that failed for good is passed at once. When the last rung
    has had its time without an answer it begins again. A message whose condition ended by itself calls nobody new.
    """
    if message.priority is Priority.LOW or not people:
        return []
    loud = message.priority in _LOUD
    by_key = {(d.person, d.path, d.turn): d for d in done}
    factor = pace(message.priority, escalation, people, message.opened_s, message.harm_at_s)
    next_path = max(escalation.next_path_s * factor, _LEAST_WAIT_S)
    next_person = max(escalation.next_person_s * factor, _LEAST_WAIT_S)
    repeat = max(escalation.repeat_s * factor if loud else max(escalation.repeat_s, _MEDIUM_REPEAT_S), _LEAST_WAIT_S)
    end_s = now_s if message.calm_s is None else min(now_s, message.calm_s)
    found: list[Call] = []
    turn = max((d.turn for d in done), default=0)
    begin = min((d.opened_s for d in done if d.turn == turn), default=message.opened_s)
    begin = min(begin, message.opened_s) if turn == 0 else begin
    while True:
        due = begin
        called = False
        for person in people:
            if not loud and not on_duty(person, minute_of(max(due, begin))):
                continue
            first = due
            all_failed = True
            for path in person.paths:
                if due > end_s:
                    return found
                called = True
                found.append(Call(person.id, path, turn, due))
                so_far = by_key.get((person.id, path, turn))
                if so_far is not None and so_far.stage is Stage.FAILED:
                    due = max(due, min(so_far.changed_s, due + next_path))
                elif (person.id, path) in unproved:
                    all_failed = all_failed and loud  # it may work: it is called, and the next one beside it
                else:
                    all_failed = False
                    due += next_path
            due = due if all_failed else max(first + next_person, due)
        if not called:
            opens = next_hours(people, begin, minute_of)
            if opens is None or opens > end_s:
                return found
            begin = opens
            continue
        turn += 1
        begin = max(due, begin + repeat)
        if begin > end_s:
            return found
    return found


def next_hours(people: Sequence[Person], from_s: float, minute_of: Callable[[float], int]) -> float | None:
    """The next moment at which somebody's hours begin; None when nobody has any."""
    now = minute_of(from_s)
    begins = [first for p in people for first, last in p.hours if first != last]
    if not begins:
        return None
    return from_s - from_s % 60.0 + 60.0 * min((first - now - 1) % 1440 + 1 for first in begins)
