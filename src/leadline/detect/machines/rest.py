"""What warms or cools the water beside heaters and chillers, by the hour of the day, and when that leaps."""

from __future__ import annotations

import bisect
import math
from collections import deque
from dataclasses import dataclass, field

from leadline.detect.machines.slopes import middle, scatter

EVERY_S = 1740.0
DAYS = 14.0


@dataclass(frozen=True, slots=True)
class Leap:
    """How far the rest of heat left what it was hours before and at this hour on other days. [W]"""

    watts: float
    sd: float
    settled: bool  # whether the hours before are known


@dataclass
class Rest:
    """Half-hourly samples of C dT/dt less what the machines are known to move, and how far each was out of its hour."""

    capacity_j_k: float
    samples: list[tuple[float, float, float]] = field(default_factory=list)
    leaps: deque[float] = field(default_factory=lambda: deque(maxlen=300))
    last_s: float = -math.inf

    def due(self, now_s: float) -> bool:
        """Whether half an hour has passed since the last look."""
        return now_s - self.last_s >= EVERY_S

    def look(self, now_s: float, watts: float, sd: float) -> Leap | None:
        """Take a sample; gives how far it leapt, None while the days before are not known."""
        self.last_s = now_s
        hour = self._at_this_hour(now_s)
        known = len(hour) >= 5 and hour[-1][0] - hour[0][0] >= 1.5 * 86400.0
        usual = middle(w for _, w, _ in hour) if known else math.nan
        before = [s for t, _, s in self.samples[-18:] if 4500.0 < now_s - t < 9 * 3600.0 and s == s]
        self.samples.append((now_s, watts, watts - usual))
        if len(self.samples) > 800:
            del self.samples[:100]
        if not known:
            return None
        settled = len(before) >= 2
        offset = middle(before) if settled else 0.0
        leap = watts - usual - offset
        usual_leap = scatter(self.leaps, 0.0) if len(self.leaps) >= 10 else 0.0
        self.leaps.append(leap)
        return Leap(leap, max(sd, usual_leap), settled)

    def _at_this_hour(self, at_s: float) -> list[tuple[float, float, float]]:
        """Samples of other days within an hour and a quarter of this time of day; the oldest first."""
        found: list[tuple[float, float, float]] = []
        for day in range(int(DAYS), 0, -1):
            then = at_s - 86400.0 * day
            first, last = (bisect.bisect_left(self.samples, (edge,)) for edge in (then - 4500.0, then + 4500.0))
            found += self.samples[first:last]
        return found
