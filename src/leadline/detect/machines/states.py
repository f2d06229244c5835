"""One machine's stream: on or off, its switchings, how long it ran, and the power it draws."""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass, field

import numpy as np

from leadline.system.description import EQUIPMENT_TYPES, Equipment, System

Array = np.ndarray
HOLDS_S = 1200.0  # a state is taken to last so long without a point
_PREFIX = re.compile(r"(" + "|".join(EQUIPMENT_TYPES) + r")(-\d+)?$")
_POWER_FROM = 2.0  # a stream that ever shows more is a power in W, not a state
ABSURD = 1e6
_STANDBY = 0.3  # below so much of its usual power a machine is off


def kind_of(system: System, stream: str) -> tuple[str, Equipment | None]:
    """What kind of machine a stream tells of, and the equipment when it is described; "" for none.

    A stream that carries an equipment's id, or the name it gives as its stream, is its state; one named like a kind
    of machine (`chiller-1`) is one that nobody described.
    """
    for e in system.equipment:
        if stream in (e.id, e.stream):
            return e.type, e
    if stream.endswith("pump"):
        return "pump", None
    found = _PREFIX.match(stream)
    return (found[1], None) if found else ("", None)


@dataclass
class Machine:
    """What is remembered of one machine.

    Attributes
    ----------
    on, since_s
        As it is now, and since when; None and NaN while nobody knows.
    edges
        Switchings: moment, and whether it went on. The newest last.
    runs_s
        How long its runs lasted that were seen from beginning to end: end, length.
    on_s, known_s
        Running totals: seconds on, and seconds in which its state was known.
    """

    stream: str
    kind: str
    equipment: Equipment | None = None
    on: bool | None = None
    since_s: float = np.nan
    last_s: float = np.nan
    last_value: float = np.nan
    edges: deque[tuple[float, bool]] = field(default_factory=lambda: deque(maxlen=300))
    runs_s: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=200))
    rests_s: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=200))
    on_s: float = 0.0
    known_s: float = 0.0
    watts: float = np.nan  # its usual power while on, of a stream in W

    @property
    def id(self) -> str:
        """The equipment's id, or its stream's when it is not described."""
        return self.equipment.id if self.equipment else self.stream

    @property
    def in_watts(self) -> bool:
        """Whether its stream is a power."""
        return not np.isnan(self.watts)

    def take(self, times_s: Array, values: Array) -> list[float]:
        """New points; gives the moments at which it switched."""
        shown = values.tolist()
        if shown[0] == self.last_value and shown.count(shown[0]) == len(shown) and self.on is not None:
            end = float(times_s[-1])
            begin = float(times_s[0])
            if begin - self.last_s <= HOLDS_S:
                begin = self.last_s
            else:
                self.since_s = np.nan
            self.known_s += end - begin
            if self.on:
                self.on_s += end - begin
            self.last_s = end
            return []
        return self._walk(times_s.tolist(), shown)

    def _walk(self, times: list[float], shown: list[float]) -> list[float]:
        switched: list[float] = []
        for t, v in zip(times, shown, strict=True):
            if not -ABSURD < v < ABSURD:  # missing, or no plug's power
                continue
            on = self._is_on(v)
            gap = t - self.last_s
            if not gap <= HOLDS_S:  # the first, or after a silence: how long it has been so nobody knows
                self.since_s = np.nan
                if self.on is not None and on != self.on:
                    self.on = None
            elif self.on is not None:
                self.known_s += gap
                if self.on:
                    self.on_s += gap
            if self.on is None:
                self.on = on
            elif on != self.on:
                span = t - self.since_s
                if span == span:
                    (self.runs_s if self.on else self.rests_s).append((t, span))
                self.on, self.since_s = on, t
                self.edges.append((t, on))
                switched.append(t)
            self.last_s, self.last_value = t, v
        return switched

    def _is_on(self, value: float) -> bool:
        if value > _POWER_FROM and not self.in_watts:
            stated = self.equipment.power_w if self.equipment else None
            self.watts = float(stated or value)
        if not self.in_watts:
            return value > 0.5
        on = value > max(_POWER_FROM, _STANDBY * self.watts)
        if on:
            self.watts += 0.002 * (value - self.watts)
        return on

    def has_been_s(self, now_s: float) -> float:
        """How long it has been as it is; as far as is known, NaN when it is not. [s]"""
        return now_s - self.since_s

    def fresh(self, now_s: float) -> bool:
        """Whether its state is known now."""
        return self.on is not None and now_s - self.last_s <= HOLDS_S
