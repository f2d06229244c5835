"""What is kept in hand of a system's streams while it is watched: recent points, and the conditions that hold."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from leadline.detect.findings import Finding

Array = np.ndarray
KEPT_S = 6 * 3600.0
_SPARE = 4096


class Track:
    """The recent points of one stream, ascending; NaN where a point was not to be trusted.

    Attributes
    ----------
    quantity
        What it measures; empty for a machine's state or power.
    period_s
        How often it should send. [s]
    last_s, last_value
        Time and value of its newest point, trusted or not; None before the first.
    """

    def __init__(self, stream: str, quantity: str, period_s: float, room: bool = False) -> None:
        self.stream, self.quantity, self.period_s, self.room = stream, quantity, period_s, room
        self.last_s: float | None = None
        self.last_value = np.nan
        self._t, self._v, self._raw = np.empty(_SPARE), np.empty(_SPARE), np.empty(_SPARE)
        self._first = self._end = 0

    def add(self, times_s: Array, trusted: Array, raw: Array) -> None:
        """Points later than those before; what is older than `KEPT_S` is let go."""
        n = len(times_s)
        self._first += int(np.searchsorted(self.times, times_s[-1] - KEPT_S))
        held = self._end - self._first
        if self._end + n > len(self._t):
            size = max(2 * (held + n), _SPARE)
            for name in ("_t", "_v", "_raw"):
                old, new = getattr(self, name), np.empty(size)
                new[:held] = old[self._first : self._end]
                setattr(self, name, new)
            self._first, self._end = 0, held
        here = slice(self._end, self._end + n)
        self._t[here], self._v[here], self._raw[here] = times_s, trusted, raw
        self._end += n
        self.last_s, self.last_value = float(times_s[-1]), float(raw[-1])

    @property
    def times(self) -> Array:
        """Unix seconds, ascending."""
        return self._t[self._first : self._end]

    @property
    def values(self) -> Array:
        """Stored unit; NaN where not trusted."""
        return self._v[self._first : self._end]

    @property
    def raw(self) -> Array:
        """Stored unit, as they came."""
        return self._raw[self._first : self._end]

    def since(self, from_s: float) -> tuple[Array, Array]:
        """Times and trusted values from a moment on."""
        k = int(np.searchsorted(self.times, from_s))
        return self.times[k:], self.values[k:]


@dataclass
class Standing:
    """Conditions that hold, by name: a finding is made when one begins and when it ends, never in between."""

    now: dict[str, Finding] = field(default_factory=dict)

    def begin(
        self,
        name: str,
        subject: str,
        at_s: float,
        value: float | None,
        harm_s: float | None,
        because: str,
        consequence: bool = True,
    ) -> Iterator[Finding]:
        """Begin a condition; nothing when it holds already."""
        if name not in self.now:
            self.now[name] = found = Finding(name, subject, at_s, True, value, harm_s, because, consequence)
            yield found

    def end(self, name: str, at_s: float, because: str) -> Iterator[Finding]:
        """End a condition; nothing when it does not hold."""
        was = self.now.pop(name, None)
        if was is not None:
            yield Finding(name, was.subject, at_s, False, was.value, None, because, was.consequence)

    def __contains__(self, name: str) -> bool:
        return name in self.now


@dataclass
class Hand:
    """All tracks of one system, by stream id, and what holds."""

    tracks: dict[str, Track] = field(default_factory=dict)
    standing: Standing = field(default_factory=Standing)

    def of(self, quantity: str) -> list[Track]:
        """Tracks of a quantity of the water."""
        return [t for t in self.tracks.values() if t.quantity == quantity and not t.room]


class Lookout(Protocol):
    """One kind of noticing. It is given the hand and the system when it is made."""

    def take(self, track: Track, times_s: Array, values: Array) -> list[Finding]:
        """New points of one track, already in hand; NaN where not trusted."""

    def tick(self, now_s: float) -> list[Finding]:
        """What the passing of time shows; called every ten minutes or oftener."""
