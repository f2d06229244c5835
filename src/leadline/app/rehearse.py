"""What would have woken you: the watch's rules over a system's own past."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from leadline.alarms import groups
from leadline.alarms.alarm import Event, State
from leadline.alarms.decide import Priority
from leadline.app import describe
from leadline.app.keep_watch import NoteBook, Recorded, Transition, Watch, observers, run
from leadline.app.oversee import is_night
from leadline.app.ports import Store
from leadline.measures.errors import BadInput

_LOUD = (Priority.HIGH, Priority.URGENT)
_ACT_S = 3600.0  # what stood for longer, or passed a limit, would have needed somebody: judgement


@dataclass(frozen=True, slots=True)
class Would:
    """One alarm that would have spoken: when, what, for how long, whether it would have needed somebody.

    `stands` is one that had not ended when the records did.
    """

    told: Transition
    stood_s: float
    needed: bool
    woke: bool
    stands: bool = False


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """What a past would have been like under today's rules."""

    days: float
    points: int
    alarms: tuple[Would, ...]
    transitions: tuple[Transition, ...]

    @property
    def per_month(self) -> float:
        """Alarms of medium priority and above, a month of 30 days."""
        loud = sum(w.told.priority is not Priority.LOW for w in self.alarms)
        return 30.0 * loud / self.days if self.days else 0.0

    def by_name(self) -> list[tuple[str, int, int]]:
        """Name, how often, how many of them would have needed somebody; the most frequent first."""
        count = Counter(w.told.alarm for w in self.alarms)
        needed = Counter(w.told.alarm for w in self.alarms if w.needed)
        return [(name, n, needed[name]) for name, n in count.most_common()]


def rehearse(store: Store, system: str, begin_s: float, end_s: float) -> Rehearsal:
    """Run the watch over the streams that the store holds of a system.

    Raises
    ------
    BadInput
        When it holds none of that span.
    """
    recorded: Recorded = {}
    for _, stream in store.streams(system):
        found = store.points(system, stream, begin_s, end_s)
        if len(found.times_s):
            recorded[system, stream] = (found.times_s, found.values)
    if not recorded:
        raise BadInput(f"{system} has no streams of that time", way_out="Bring some: leadline import streams.csv")
    return over(store, system, recorded)


def over(store: Store, system: str, recorded: Recorded) -> Rehearsal:
    """The same over any recording of one system."""
    described = describe.load(store, system)
    watch = Watch(NoteBook(), observers(store, recorded))
    turned: list[Transition] = []
    harm: dict[int, float] = {}  # place in `turned`: when harm was expected [Unix s]
    for _, found in run(watch, recorded):
        for t in found:
            raised = watch.book.alarm(t.system, t.alarm)
            if t.event is Event.ALARM and raised is not None and raised.harm_at_s is not None:
                harm[len(turned)] = raised.harm_at_s
            turned.append(t)
            turned += watch.acknowledge_returned(t)
    first = min(float(t[0]) for t, _ in recorded.values())
    last = max(float(t[-1]) for t, _ in recorded.values())
    points = sum(len(t) for t, _ in recorded.values())
    types = {e.id: e.type for e in described.equipment}
    judged = _judged(turned, harm, types, last, ZoneInfo(described.time_zone))
    return Rehearsal((last - first) / 86400.0, points, tuple(judged), tuple(turned))


def _judged(
    turned: Sequence[Transition], harm: Mapping[int, float], types: Mapping[str, str], end_s: float, local: ZoneInfo
) -> Iterable[Would]:
    for k, t in enumerate(turned):
        if t.state is not State.UNACKNOWLEDGED or t.event is not Event.ALARM or t.cause:
            continue
        began = t.time.timestamp()
        back = next((x for x in turned[k + 1 :] if x.alarm == t.alarm and x.event is Event.RETURN), None)
        stood = max((back.time.timestamp() if back else end_s) - began, 0.0)
        # one that stands at the end would have stood until its harm: nothing in the records ended it
        harmed = k in harm and (back is None or began + stood >= harm[k])
        until = began + max(stood, _ACT_S)
        followed = any(
            x.priority is Priority.URGENT and x.event in (Event.ALARM, Event.REALARM) and _of(t, x, types)
            for x in turned[k:]
            if x.time.timestamp() <= until
        )
        needed = stood > _ACT_S or harmed or followed
        yield Would(t, stood, needed, t.priority in _LOUD and is_night(began, local), back is None)


def _of(t: Transition, x: Transition, types: Mapping[str, str]) -> bool:
    """Whether a later alarm is of the same thing: itself, its consequence, or a quantity that its machine moves."""
    if t.alarm in (x.cause, x.alarm):
        return True
    return x.subject in groups.FOLLOWS.get(types.get(t.subject, ""), ()) and not x.alarm.endswith("-silent")
