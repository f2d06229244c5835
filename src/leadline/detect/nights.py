"""Nights: pH and oxygen before dawn, when a reef breathes and makes nothing, and where they head night by night."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.machines.slopes import kendall, theil_sen
from leadline.detect.words import change, edge, named, shown
from leadline.system.description import System

Array = np.ndarray
DAY, SLOT_S = 86400.0, 1800.0
NIGHTS, LEAST, AHEAD = 14, 5, 10.0
SURE = 2.3  # Mann-Kendall of falling nights: one in a hundred (one-sided)
# least fall over the nights that is worth a word, stored unit: judgement, three times an ordinary probe's own drift
FALL = {"ph": 0.06, "oxygen": 0.4}


@dataclass
class _Dawn:
    lows: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=NIGHTS))
    slot: int = -1
    halves: list[float] = field(default_factory=list)  # of the night in hand
    begun_s: float = np.nan


@dataclass
class Nights:
    """The lookout for night respiration: `ph-nights`, `oxygen-nights`."""

    system: System
    hand: Hand
    dawns: dict[str, _Dawn] = field(default_factory=dict)

    def take(self, track: Track, times_s: Array, values: Array) -> list[Finding]:
        """Nothing: nights are judged by time."""
        return []

    def tick(self, now_s: float) -> list[Finding]:
        """A night's lowest half hour, once a day, and the trend of the nights."""
        slot = int(now_s // SLOT_S)
        found: list[Finding] = []
        for track in self.hand.tracks.values():
            if track.quantity not in FALL or track.room:
                continue
            dawn = self.dawns.setdefault(track.stream, _Dawn())
            if slot == dawn.slot:
                continue
            dawn.slot = slot
            first = track.times.searchsorted(now_s - SLOT_S)
            kept = sorted(x for x in track.values[first:].tolist() if x == x)
            if kept:
                dawn.halves.append(kept[len(kept) // 2])
            if dawn.begun_s != dawn.begun_s:
                dawn.begun_s = now_s
            elif now_s - dawn.begun_s >= DAY - 1.0:
                whole = len(dawn.halves) >= 30
                lows = sorted(dawn.halves)
                dawn.halves, dawn.begun_s = [], now_s
                if whole:
                    dawn.lows.append((now_s, sum(lows[:4]) / 4.0))  # the two hours in which it was lowest
                    found += self._trend(track, dawn, now_s)
        return found

    def _trend(self, track: Track, dawn: _Dawn, now_s: float) -> list[Finding]:
        name = f"{track.quantity}-nights"
        band = self.system.band(track.quantity)
        if len(dawn.lows) < LEAST or band is None or band.limit is None:
            return []
        standing = self.hand.standing
        best: tuple[float, int] | None = None
        at, low = np.array(dawn.lows).T
        at = (at - now_s) / DAY
        for n in range(LEAST, len(low) + 1):
            x = low[-n:]
            drops = -np.diff(x)
            fall = float(np.median(x[: max(n // 3, 1)]) - np.median(x[-max(n // 3, 1) :]))
            one_step = drops.max() > 0.6 * max(fall, 1e-9) and n > LEAST  # a calibration, not a trend
            if kendall(x) < -SURE and fall > FALL[track.quantity] and not one_step:
                pace = theil_sen(at[-n:], x)
                best = (pace, n) if best is None or pace < best[0] else best
        if best is None:
            if kendall(low[-LEAST:]) > -1.0:
                return list(standing.end(name, now_s, f"{named(track.quantity)} before dawn no longer falls."))
            return []
        pace, n = best
        left = max((float(low[-1]) - band.limit[0]) / -pace, 0.0)
        if left > AHEAD:
            return []
        said, edge_at = (track.quantity, self.system), band.limit[0]
        to, by, limit = shown(float(low[-1]), *said, edge_at), change(-pace, *said, sign=False), edge(edge_at, *said)
        soon = f"in {left:.0f} nights" if left >= 1.5 else "in one night" if left >= 0.5 else "now"
        return list(standing.begin(
            name, track.quantity, now_s, float(low[-1]), max(left - 0.5, 0.1) * DAY,
            f"{named(track.quantity)} before dawn has fallen for {n} nights, to {to}, by {by} a night: at this rate "
            f"its limit of {limit} is reached {soon}.",
        ))  # fmt: skip
