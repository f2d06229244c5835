"""Time-respecting paths: where something can have got to, when at the earliest, by which way and how likely.

A path takes contacts one after another, each later than the last; what is reached later can't have been taken on by an
earlier contact. Static reachability ("all of them are connected") is wrong in both directions (Holme and Saramäki
2012; Wu et al. 2014).
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

NEVER_ENDS = float("inf")


@dataclass(frozen=True, slots=True)
class Contact:
    """Something that can carry over from one place to another, at one moment.

    Attributes
    ----------
    at_s
        When. [Unix s]
    begin, end
        Places, dealers, tools or hands. With `both` it carries over either way.
    by
        The carrier, one of `kinds.CARRIERS`.
    what
        What went over, as the journal says it.
    entry
        The journal entry that shows it.
    tie
        The same for all copies of one contact whose order or hour nobody knows: they carry over together, or not.
    """

    at_s: float
    begin: str
    end: str
    by: str = "water"
    what: str = ""
    entry: str = ""
    both: bool = False
    tie: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One arrival at a place: when, how likely at best, and how it came there."""

    place: str
    at_s: float
    chance: float
    contact: Contact | None = None
    before: Step | None = None

    def path(self) -> list[Step]:
        """All steps from the beginning."""
        found: list[Step] = []
        step: Step | None = self
        while step is not None:
            found.append(step)
            step = step.before
        return found[::-1]


@dataclass(slots=True)
class _Place:
    """Arrivals at one place, in order of time. Where nothing dies out, only those likelier than all before are kept:
    an earlier arrival serves every later departure."""

    lasts_s: float
    steps: list[Step] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    origin: Step | None = None

    def ready(self, at_s: float, wait_s: float) -> Step | None:
        """The likeliest arrival that can leave at `at_s` when it must have been there for `wait_s`."""
        until = bisect.bisect_left(self.times, at_s)  # strictly before: a carry-over takes a step
        if wait_s > 0.0:
            until = min(until, bisect.bisect_right(self.times, at_s - wait_s))
        best = self.origin if self.origin and self.origin.at_s < at_s and self.origin.at_s + wait_s <= at_s else None
        if self.lasts_s == NEVER_ENDS:
            found = self.steps[until - 1] if until else None
            return found if best is None or (found is not None and found.chance > best.chance) else best
        for i in range(until - 1, -1, -1):
            step = self.steps[i]
            if at_s - step.at_s > self.lasts_s:
                break
            if best is None or step.chance > best.chance:
                best = step
        return best

    def arrive(self, step: Step) -> None:
        if self.lasts_s == NEVER_ENDS and self.steps and step.chance <= self.steps[-1].chance:
            return
        if self.times and step.at_s == self.times[-1]:
            if step.chance > self.steps[-1].chance:
                self.steps[-1] = step
            return
        self.steps.append(step)
        self.times.append(step.at_s)


def _forever(place: str) -> float:
    return NEVER_ENDS


def _certain(contact: Contact) -> float:
    return 1.0


def _at_once(contact: Contact) -> float:
    return 0.0


def reach(
    contacts: Iterable[Contact],
    origins: Mapping[str, float],
    *,
    lasts_s: Callable[[str], float] = _forever,
    chance: Callable[[Contact], float] = _certain,
    after_s: Callable[[Contact], float] = _at_once,
) -> dict[str, list[Step]]:
    """All arrivals that matter, by place, in order of time: the first is the earliest, the last the likeliest.

    Parameters
    ----------
    contacts
        In any order.
    origins
        Where it is, and since when [Unix s]; an origin never dies out.
    lasts_s
        How long it lives on at a place without coming again (a re-exposure starts it anew). [s]
    chance
        That one contact carries it over. [0 to 1]
    after_s
        How long it must have been at a place before such a contact can take it on. [s]

    Notes
    -----
    One pass over the contacts in order of time; contacts of the same moment do not follow on each other. The chance of
    an arrival is that of the likeliest single path; all paths together are for `spread`.
    """
    places: dict[str, _Place] = {}
    for name, since in origins.items():
        places[name] = _Place(lasts_s(name))
        places[name].origin = Step(name, since, 1.0)
    ordered = sorted(contacts, key=lambda c: c.at_s)
    found: list[Step] = []
    i = 0
    while i < len(ordered):
        at_s = ordered[i].at_s
        found.clear()
        while i < len(ordered) and ordered[i].at_s == at_s:
            c = ordered[i]
            i += 1
            for begin, end in ((c.begin, c.end), (c.end, c.begin)) if c.both else ((c.begin, c.end),):
                there = places.get(begin)
                if there is None or begin == end:
                    continue
                p = chance(c)
                step = there.ready(at_s, after_s(c)) if p > 0.0 else None
                if step is not None:
                    found.append(Step(end, at_s, step.chance * p, c, step))
        for step in found:
            if step.place not in places:
                places[step.place] = _Place(lasts_s(step.place))
            places[step.place].arrive(step)
    return {name: [*([p.origin] if p.origin else []), *p.steps] for name, p in places.items() if p.origin or p.steps}


def earliest(reached: Mapping[str, Sequence[Step]]) -> dict[str, float]:
    """Earliest arrival at each place that was reached. [Unix s]"""
    return {name: min(s.at_s for s in steps) for name, steps in reached.items()}


def backwards(
    contacts: Iterable[Contact],
    place: str,
    at_s: float,
    *,
    chance: Callable[[Contact], float] = _certain,
    after_s: Callable[[Contact], float] = _at_once,
) -> dict[str, list[tuple[float, float]]]:
    """From where it could have come to `place` by `at_s`: for each place, until when it must have been there, and the
    chance of the likeliest path from then on, as (time [Unix s], chance); none of them is both earlier and less likely
    than another.

    Dying out on the way is not looked at: what is found here holds all that can have been, and `reach` decides.
    """
    leave: dict[str, list[tuple[float, float]]] = {place: [(at_s, 1.0)]}
    ordered = sorted((c for c in contacts if c.at_s <= at_s), key=lambda c: -c.at_s)
    new: list[tuple[str, float, float]] = []
    i = 0
    while i < len(ordered):
        t = ordered[i].at_s
        new.clear()
        while i < len(ordered) and ordered[i].at_s == t:
            c = ordered[i]
            i += 1
            for begin, end in ((c.begin, c.end), (c.end, c.begin)) if c.both else ((c.begin, c.end),):
                if begin in (place, end):
                    continue
                onward = max((p for by_s, p in leave.get(end, ()) if by_s >= t), default=0.0)
                if onward > 0.0:
                    wait = after_s(c)
                    must_be_there = t - wait if wait > 0.0 else math.nextafter(t, -math.inf)
                    new.append((begin, must_be_there, onward * chance(c)))
        for begin, by_s, p in new:
            kept = leave.setdefault(begin, [])
            if p > 0.0 and not any(other >= by_s and q >= p for other, q in kept):
                kept.append((by_s, p))
    return {name: kept for name, kept in leave.items() if kept}
