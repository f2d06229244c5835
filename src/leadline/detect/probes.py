"""Probes that can't be trusted: which points are left out, and what is wrong with the probe."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.trust import FAIL, flag
from leadline.system.description import System

Array = np.ndarray
DISTRUST_S = 900.0
_TAIL = 20


@dataclass
class Probes:
    """The lookout for trust: `temperature-distrusted` and its like."""

    system: System
    hand: Hand

    def judge(self, track: Track, times_s: Array, raw: Array) -> Array:
        """The values with those that fail the tests of trust left out (NaN). Called before they are in hand."""
        if not track.quantity:
            return raw.astype(float)
        t = np.concatenate((track.times[-_TAIL:], times_s))
        v = np.concatenate((track.raw[-_TAIL:], raw))
        flags = flag(track.quantity, t, v)[-len(times_s) :]
        return np.where(flags == FAIL, np.nan, raw)

    def take(self, track: Track, times_s: Array, values: Array) -> list[Finding]:
        """Nothing: trust is judged by time."""
        return []

    def tick(self, now_s: float) -> list[Finding]:
        """Probes most of whose last points failed."""
        return [f for t in self.hand.tracks.values() if t.quantity for f in self._distrust(t, now_s)]

    def _distrust(self, track: Track, now_s: float) -> list[Finding]:
        recent = track.times > now_s - DISTRUST_S
        recent[-3:] = True  # of a slow stream, its last three points
        name = f"{track.stream}-distrusted"
        bad = np.isnan(track.values[recent])
        if len(bad) < 3:
            return []
        if bad.mean() > 0.5:
            because = f"{track.stream} shows what the water cannot be."
            return list(self.hand.standing.begin(name, track.stream, now_s, None, None, because, consequence=False))
        if not bad.any():
            return list(self.hand.standing.end(name, now_s, f"{track.stream} shows possible values again."))
        return []
