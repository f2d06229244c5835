"""What warms or cools the water beside heaters and chillers, by the hour of the day, and when that leaps."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

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
    """Half-hourly samples of C dT/dt less what the machines are known to move."""

    capacity_j_k: float
    samples: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=700))
    leaps: deque[float] = field(default_factory=lambda: deque(maxlen=300))
    last_s: float = -np.inf

    def due(self, now_s: float) -> bool:
        """Whether half an hour has passed since the last look."""
        return now_s - self.last_s >= EVERY_S

    def look(self, now_s: float, watts: float, sd: float) -> Leap | None:
        """Take a sample; gives how far it leapt, None while the days before are not known."""
        self.last_s = now_s
        held = np.array(self.samples) if len(self.samples) >= 12 else None
        self.samples.append((now_s, watts))
        if held is None:
            return None
        ago = now_s - held[:, 0]
        phase = np.abs((ago + 43200.0) % 86400.0 - 43200.0)
        same_hour = (phase <= 4500.0) & (ago > 43200.0) & (ago < DAYS * 86400.0)
        if np.count_nonzero(same_hour) < 5 or np.ptp(held[same_hour, 0]) < 1.5 * 86400.0:
            return None
        usual = float(np.median(held[same_hour, 1]))
        before = (ago > 4500.0) & (ago < 9 * 3600.0)
        offset, settled = 0.0, bool(np.count_nonzero(before) >= 2)
        if settled:
            shifts = [
                w - float(np.median(held[near, 1]))
                for t, w in held[before]
                for near in [
                    (np.abs((t - held[:, 0] + 43200.0) % 86400.0 - 43200.0) <= 4500.0) & (held[:, 0] < t - 43200.0)
                ]
                if near.any()
            ]
            offset = float(np.median(shifts)) if shifts else 0.0
        leap = watts - usual - offset
        scatter = 1.4826 * float(np.median(np.abs(self.leaps))) if len(self.leaps) >= 10 else 0.0
        self.leaps.append(leap)
        return Leap(leap, max(sd, scatter), settled)
