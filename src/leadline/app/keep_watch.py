"""Keep watch: streams in, findings decided into alarms, transitions out. So far over a recording only."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from leadline.alarms.alarm import SPOKEN, Alarm, Event, State, after
from leadline.alarms.decide import Priority, priority
from leadline.app import describe
from leadline.app.bring_in import StreamPart
from leadline.app.ports import Store
from leadline.detect.findings import Finding

if TYPE_CHECKING:
    import numpy as np

    from leadline.detect.observe import Observer

STEP_S = 600.0  # how often time itself is asked what it shows


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


@dataclass
class Watch:
    """All systems under watch, and their alarms as they stand."""

    observers: dict[str, Observer] = field(default_factory=dict)
    alarms: dict[tuple[str, str], Alarm] = field(default_factory=dict)
    priorities: dict[tuple[str, str], Priority] = field(default_factory=dict)

    def take(self, system: str, stream: str, times_s: np.ndarray, values: np.ndarray) -> list[Transition]:
        """Points of one stream, later than those before."""
        return self._decide(system, self.observers[system].take(stream, times_s, values))

    def tick(self, now_s: float) -> list[Transition]:
        """What the passing of time shows, in all systems."""
        return [t for name, o in self.observers.items() for t in self._decide(name, o.tick(now_s))]

    def _decide(self, system: str, found: Iterable[Finding]) -> list[Transition]:
        turned: list[Transition] = []
        for f in sorted(found, key=lambda f: f.at_s):
            key = (system, f.name)
            alarm = self.alarms.get(key, Alarm(f.name))
            loud = priority(f.harm_s, consequence=f.consequence)
            if f.holds:
                self.priorities[key] = loud
            moved = after(alarm, Event.ALARM if f.holds else Event.RETURN, f.at_s, reason=f.because)
            if moved is None:
                continue
            self.alarms[key] = moved
            if moved.state is not alarm.state:
                turned.append(_said(system, f, moved.state, self.priorities.get(key, loud)))
        return turned

    def acknowledge_returned(self, system: str, transition: Transition) -> list[Transition]:
        """In a recording nobody acknowledges: what has returned is taken for seen, and is normal again."""
        key = (system, transition.alarm)
        alarm = self.alarms[key]
        if alarm.state is not State.RETURNED:
            return []
        moved = after(alarm, Event.ACKNOWLEDGE, alarm.since_s, reason=alarm.reason)
        assert moved is not None
        self.alarms[key] = moved
        return [
            Transition(
                transition.time, system, transition.alarm, transition.subject, moved.state, transition.priority,
                transition.value, transition.because,
            )
        ]  # fmt: skip


def _said(system: str, f: Finding, state: State, loud: Priority) -> Transition:
    at = dt.datetime.fromtimestamp(f.at_s, dt.UTC)
    return Transition(at, system, f.name, f.subject, SPOKEN.get(state, state), loud, f.value, f.because)


def replay(store: Store, parts: Iterable[StreamPart]) -> Iterator[Transition]:
    """Run the watch over recorded points, in their order of time, as fast as it goes.

    The same code as live, fed window by window. Descriptions come from the store; nothing of its journal is used.

    Raises
    ------
    UnknownName
        For points of a system that isn't described.
    """
    import numpy as np

    from leadline.detect.observe import Observer, merged

    recorded: dict[str, dict[str, tuple[np.ndarray, np.ndarray]]] = {}
    for part in parts:
        order = np.argsort(part.times_s, kind="stable")
        t, v = part.times_s[order], part.values[order]
        streams = recorded.setdefault(part.system, {})
        if part.stream in streams:
            old = streams[part.stream]
            t, v = np.concatenate((old[0], t)), np.concatenate((old[1], v))
            again = np.argsort(t, kind="stable")
            t, v = t[again], v[again]
        fresh = np.append(np.diff(t) > 0.0, True)  # of points with one time the last counts
        streams[part.stream] = (t[fresh], v[fresh])
    watch = Watch({system: Observer(describe.load(store, system)) for system in recorded})
    points: Mapping[str, tuple[np.ndarray, np.ndarray]] = {
        f"{system}\n{stream}": both for system, streams in recorded.items() for stream, both in streams.items()
    }
    if not points:
        return
    for now_s, slices in merged(points, STEP_S, max(o.patience_s for o in watch.observers.values())):
        turned: list[Transition] = []
        for name, inside in slices.items():
            system, _, stream = name.partition("\n")
            t, v = points[name]
            turned += watch.take(system, stream, t[inside], v[inside])
        turned += watch.tick(now_s)
        for transition in sorted(turned, key=lambda x: x.time):
            yield transition
            yield from watch.acknowledge_returned(transition.system, transition)
