"""Keep watch: streams in, findings decided into alarms, transitions out; the same code for a recording and live."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Protocol

from leadline.alarms import decide, groups
from leadline.alarms.alarm import ACTIVE, SPOKEN, Alarm, Event, State, after, time_out
from leadline.alarms.decide import Priority, priority
from leadline.alarms.raised import Happened, Raised
from leadline.alarms.works import Work
from leadline.app import describe
from leadline.app.bring_in import StreamPart
from leadline.app.ports import Store
from leadline.detect.findings import Finding

if TYPE_CHECKING:
    import numpy as np

    from leadline.detect.observe import Observer

STEP_S = 600.0  # how often time itself is asked what it shows
WATCH = "leadline-watch"  # stands for a system where the watch speaks of itself


@dataclass(frozen=True, slots=True)
class Transition:
    """One alarm that came to another state."""

    time: dt.datetime
    system: str
    alarm: str
    subject: str
    state: State
    priority: Priority
    value: float | None
    because: str
    cause: str = ""
    event: Event = Event.ALARM


class Book(Protocol):
    """Where alarms stand: the store, or a note book in memory for a recording."""

    def alarms(self, system: str | None = None) -> list[Raised]: ...
    def alarm(self, system: str, name: str) -> Raised | None: ...
    def keep_alarm(self, raised: Raised, happened: Happened | None) -> None: ...


@dataclass
class NoteBook:
    """Alarms in memory."""

    kept: dict[tuple[str, str], Raised] = field(default_factory=dict)

    def alarms(self, system: str | None = None) -> list[Raised]:
        """All, or a system's."""
        return [r for (s, _), r in self.kept.items() if system is None or s == system]

    def alarm(self, system: str, name: str) -> Raised | None:
        """One of them."""
        return self.kept.get((system, name))

    def keep_alarm(self, raised: Raised, happened: Happened | None) -> None:
        """Keep it as it stands."""
        self.kept[raised.system, raised.name] = raised


def _no_works(system: str) -> Sequence[Work]:
    return ()


@dataclass
class Watch:
    """Alarms of all systems under watch.

    Attributes
    ----------
    book
        Where alarms stand.
    observers
        What is remembered of each system's streams.
    works
        Declared work of a system.
    """

    book: Book
    observers: dict[str, Observer] = field(default_factory=dict)
    works: Callable[[str], Sequence[Work]] = _no_works

    # -- findings ------------------------------------------------------------------------------------

    def look(self, system: str, stream: str, times_s: np.ndarray, values: np.ndarray) -> list[Finding]:
        """What points of one stream, later than those before, show. Nothing is decided yet."""
        return self.observers[system].take(stream, times_s, values)

    def take(self, system: str, stream: str, times_s: np.ndarray, values: np.ndarray) -> list[Transition]:
        """Points of one stream, later than those before."""
        return self.decide(system, self.look(system, stream, times_s, values))

    def tick(self, now_s: float) -> list[Transition]:
        """What the passing of time shows, in all systems."""
        return [t for name, o in self.observers.items() for t in self.decide(name, o.tick(now_s))]

    def decide(self, system: str, found: Iterable[Finding]) -> list[Transition]:
        """Turn findings into alarms."""
        turned: list[Transition] = []
        for f in sorted(found, key=lambda f: f.at_s):
            turned += self._one(system, f)
        return turned

    def _one(self, system: str, f: Finding) -> list[Transition]:
        was = self.book.alarm(system, f.name)
        loud = priority(f.harm_s, consequence=f.consequence)
        if not f.holds:
            if was is None or not was.alarm.holds:
                return []
            return self._move(replace(was, because=f.because), Event.RETURN, f.at_s, words=f.because)
        if was is not None and was.alarm.holds:
            return self._worse(was, f, loud)
        types = self._types(system)
        cause = groups.cause_of(f.name, f.subject, f.at_s, self.book.alarms(system), types)
        latching = bool(was and was.alarm.latching)
        raised = Raised(
            system, was.alarm if was else Alarm(f.name, latching=latching), f.subject, loud, f.value, f.because, f.at_s,
            f.at_s + f.harm_s if f.harm_s is not None and f.consequence else None, cause,
        )  # fmt: skip
        turned = self._move(raised, Event.ALARM, f.at_s, words=f.because)
        work = self._work(system, f.name, f.at_s)
        if work is not None:
            now = self.book.alarm(system, f.name)
            if now is not None and now.state is State.UNACKNOWLEDGED:
                quiet = self._move(now, Event.SUPPRESS, f.at_s, until_s=work.end_s, reason=work.reason)
                return quiet or turned
        return turned

    def _worse(self, was: Raised, f: Finding, loud: Priority) -> list[Transition]:
        """The same condition, and worse than it was: its words and its hour are new, and it speaks again."""
        if not decide.louder(loud, was.priority) or was.state not in ACTIVE:
            return []
        harm = f.at_s + f.harm_s if f.harm_s is not None and f.consequence else None
        return self._rise(replace(was, because=f.because, value=f.value, harm_at_s=harm), loud, f.at_s)

    def _types(self, system: str) -> Mapping[str, str]:
        observer = self.observers.get(system)
        return {e.id: e.type for e in observer.system.equipment} if observer else {}

    def _work(self, system: str, name: str, at_s: float) -> Work | None:
        found = [w for w in self.works(system) if w.quiets(name, at_s)]
        return max(found, key=lambda w: w.end_s) if found else None

    def reconcile(self, system: str, now_s: float, *, carried: Collection[str] = ()) -> list[Transition]:
        """Bring the book in line with what the observer sees standing: after a start, or after a write that failed.

        Parameters
        ----------
        carried
            Alarms that an observer built anew can't know of yet: they stand until points decide.
        """
        standing = self.observers[system].standing
        turned: list[Transition] = []
        for f in list(standing.values()):
            known = self.book.alarm(system, f.name)
            if known is None or not known.alarm.holds:
                turned += self.decide(system, [f if f.at_s <= now_s else replace(f, at_s=now_s)])
        for r in self.book.alarms(system):
            if r.alarm.holds and r.name not in standing and r.name not in carried:
                words = "It is no longer seen."
                turned += self._move(replace(r, because=words), Event.RETURN, now_s, words=words)
        return turned

    # -- time and people -----------------------------------------------------------------------------

    def time_outs(self, now_s: float) -> list[Transition]:
        """Shelves and hushes whose end has come, acknowledged alarms that must speak again, and alarms whose hour
        draws near: they become louder, and speak again for it."""
        turned: list[Transition] = []
        for r in self.book.alarms():
            louder = decide.risen(r.priority, r.harm_at_s, now_s) if r.alarm.holds else None
            if louder is not None and r.state in ACTIVE:
                turned += self._rise(r, louder, now_s)
                continue
            if louder is not None and r.state is State.SHELVED:  # a shelf is no place for what becomes worse
                turned += self._move(replace(r, priority=louder), Event.UNSHELVE, now_s, words="it becomes worse")
                continue
            event = time_out(r.alarm, now_s)
            if event is None and r.state is State.ACKNOWLEDGED and r.again_at_s is not None and now_s >= r.again_at_s:
                event = Event.REALARM
            work = self._work(r.system, r.name, now_s) if event is Event.UNSUPPRESS else None
            if work is not None:  # other work goes on that quiets it too
                self.book.keep_alarm(replace(r, alarm=replace(r.alarm, until_s=work.end_s, reason=work.reason)), None)
            elif event is not None:
                turned += self._move(r, event, now_s, words="its time is over")
        return turned

    def _rise(self, r: Raised, louder: Priority, now_s: float) -> list[Transition]:
        words = f"{louder} now: little time is left."
        if r.state is State.ACKNOWLEDGED:
            return self._move(replace(r, priority=louder), Event.REALARM, now_s, words=words)
        now = replace(r, priority=louder, alarm=replace(r.alarm, since_s=now_s))
        self.book.keep_alarm(
            now, Happened(now_s, r.system, r.name, Event.REALARM, r.state, r.state, louder, r.cause, "", words)
        )
        return [said(now, Event.REALARM, now_s)]

    def quieten(self, work: Work, now_s: float) -> list[Transition]:
        """Alarms that speak already and that work on one stream or machine makes quiet. Other work quiets only what
        begins while it goes on: what stood before it was not its doing."""
        turned: list[Transition] = []
        for r in self.book.alarms(work.system) if work.of_one else ():
            if r.state in (State.UNACKNOWLEDGED, State.RETURNED) and work.quiets(r.name, now_s):
                turned += self._move(r, Event.SUPPRESS, now_s, until_s=work.end_s, reason=work.reason, who=work.who)
        return turned

    def happen(
        self, raised: Raised, event: Event, at_s: float, *, who: str, until_s: float | None = None, reason: str = ""
    ) -> list[Transition]:
        """What a person does to an alarm; nothing when the event means nothing in its state."""
        return self._move(raised, event, at_s, who=who, until_s=until_s, reason=reason, words=reason)

    def _move(
        self, r: Raised, event: Event, at_s: float, *, who: str = "", until_s: float | None = None, reason: str = "",
        words: str = "",
    ) -> list[Transition]:  # fmt: skip
        moved = after(r.alarm, event, at_s, until_s=until_s, reason=reason)
        if moved is None:
            return []
        again = decide.again_s(r.priority, at_s, r.harm_at_s) if moved.state is State.ACKNOWLEDGED else None
        now = replace(r, alarm=moved, again_at_s=again)
        changed = moved.state is not r.alarm.state
        happened = Happened(
            at_s, r.system, r.name, event, r.alarm.state, moved.state, r.priority, r.cause, who, words or reason
        )
        self.book.keep_alarm(now, happened if changed else None)
        return [said(now, event, at_s)] if changed else []

    def acknowledge_returned(self, transition: Transition) -> list[Transition]:
        """In a recording nobody acknowledges: what has returned is taken for seen, and is normal again."""
        r = self.book.alarm(transition.system, transition.alarm)
        if r is None or r.state is not State.RETURNED:
            return []
        return self._move(r, Event.ACKNOWLEDGE, r.alarm.since_s)


def said(r: Raised, event: Event, at_s: float) -> Transition:
    """A transition as it is printed."""
    at = dt.datetime.fromtimestamp(at_s, dt.UTC)
    state = SPOKEN.get(r.state, r.state)
    return Transition(at, r.system, r.name, r.subject, state, r.priority, r.value, r.because, r.cause, event)


def replay(store: Store, parts: Iterable[StreamPart]) -> Iterator[Transition]:
    """Run the watch over recorded points, in their order of time, as fast as it goes.

    The same code as live, fed window by window. Descriptions come from the store; nothing of its journal is used.

    Raises
    ------
    UnknownName
        For points of a system that isn't described.
    """
    recorded = in_order(parts)
    watch = Watch(NoteBook(), observers(store, recorded))
    for _, turned in run(watch, recorded):
        for transition in turned:
            yield transition
            yield from watch.acknowledge_returned(transition)


Recorded = dict[tuple[str, str], "tuple[np.ndarray, np.ndarray]"]


def observers(store: Store, recorded: Iterable[tuple[str, str]]) -> dict[str, Observer]:
    """A fresh observer for each system that is named."""
    from leadline.detect.observe import Observer

    return {s: Observer(describe.load(store, s)) for s in dict.fromkeys(system for system, _ in recorded)}


def in_order(parts: Iterable[StreamPart]) -> Recorded:
    """Points of each stream in order of time; of points with one time the last counts."""
    import numpy as np

    found: Recorded = {}
    for part in parts:
        key = (part.system, part.stream)
        t, v = part.times_s, part.values
        if key in found:
            t, v = np.concatenate((found[key][0], t)), np.concatenate((found[key][1], v))
        order = np.argsort(t, kind="stable")
        t, v = t[order], v[order]
        fresh = np.append(np.diff(t) > 0.0, True)
        found[key] = (t[fresh], v[fresh])
    return found


def run(watch: Watch, recorded: Recorded) -> Iterator[tuple[float, list[Transition]]]:
    """Feed a recording window by window: the end of each [Unix s], and what turned in it, in order of time."""
    from leadline.detect.observe import merged

    points = {f"{system}\n{stream}": both for (system, stream), both in recorded.items() if len(both[0])}
    if not points:
        return
    for now_s, slices in merged(points, STEP_S, max(o.patience_s for o in watch.observers.values())):
        turned: list[Transition] = []
        for name, inside in slices.items():
            system, _, stream = name.partition("\n")
            t, v = points[name]
            turned += watch.take(system, stream, t[inside], v[inside])
        turned += watch.tick(now_s)
        turned += watch.time_outs(now_s)
        yield now_s, sorted(turned, key=lambda x: x.time)
