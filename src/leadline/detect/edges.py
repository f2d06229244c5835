"""A quantity beyond its limit, and one that is outside its aim and heads for its limit.

Delays and dead-bands are starting values (sheet 5.3, judgement).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.limits import Memory, Rule, watch
from leadline.system.description import System

Array = np.ndarray
# dead-band in the stored unit, on-delay and off-delay in seconds
DELAYS: dict[str, tuple[float, float, float]] = {
    "temperature": (0.2, 300.0, 900.0), "ph": (0.03, 900.0, 1800.0), "salinity": (0.3, 1800.0, 3600.0),
    "oxygen": (0.2, 600.0, 1800.0),
}  # fmt: skip
_USUAL = (0.0, 900.0, 1800.0)
HEADING_SPAN_S, HEADING_AHEAD_S = 5400.0, 6 * 3600.0


@dataclass
class Edges:
    """The lookout for bands: `temperature-high`, `temperature-heading-high` and their like."""

    system: System
    hand: Hand
    rules: dict[str, tuple[Rule, Memory]] = field(default_factory=dict)

    def take(self, track: Track, times_s: Array, values: Array) -> list[Finding]:
        """Which limits were passed, or left, by new points."""
        band = self.system.band(track.quantity) if track.quantity and not track.room else None
        if band is None or band.limit is None:
            return []
        found: list[Finding] = []
        name = track.quantity
        dead, on, off = DELAYS.get(name, _USUAL)
        for side, edge, above in (("low", band.limit[0], False), ("high", band.limit[1], True)):
            key = f"{name}-{side}"
            rule, memory = self.rules.setdefault(f"{track.stream} {key}", (Rule(edge, above, dead, on, off), Memory()))
            for turn in watch(rule, memory, times_s, values):
                word = "over" if above else "under"
                if turn.holds:
                    because = f"{name} is {turn.value:.2f}, {word} its limit of {edge:g}, for {on / 60:.0f} min."
                    found += self.hand.standing.begin(key, name, turn.at_s, turn.value, 0.0, because)
                else:
                    because = f"{name} is {turn.value:.2f}, back inside its limit of {edge:g}."
                    found += self.hand.standing.end(key, turn.at_s, because)
        return found

    def tick(self, now_s: float) -> list[Finding]:
        """Which quantities head for a limit, and when they would reach it."""
        return [f for t in self.hand.tracks.values() if t.quantity and not t.room for f in self._heading(t, now_s)]

    def _heading(self, track: Track, now_s: float) -> list[Finding]:
        band = self.system.band(track.quantity)
        if band is None or band.limit is None:
            return []
        slope, sd, level = line(track, now_s, HEADING_SPAN_S)
        found: list[Finding] = []
        standing = self.hand.standing
        for side, aim, limit, sign in (
            ("low", band.aim[0], band.limit[0], -1.0),
            ("high", band.aim[1], band.limit[1], 1.0),
        ):
            key = f"{track.quantity}-heading-{side}"
            left = (limit - level) * sign
            pace = slope * sign
            ahead = left / pace if pace > 3.0 * sd and pace > 0.0 else np.inf
            if (level - aim) * sign > 0.0 and left > 0.0 and ahead < HEADING_AHEAD_S:
                at = clock(now_s + ahead, self.system.time_zone)
                found += standing.begin(
                    key, track.quantity, now_s, level, float(ahead),
                    f"{track.quantity} is {level:.2f}, outside its aim, and moves by {3600 * slope:+.2f} an hour: "
                    f"the limit of {limit:g} is reached at {at}.",
                )  # fmt: skip
            elif left > 0.0 and not (ahead < 1.5 * HEADING_AHEAD_S and (level - aim) * sign > 0.0):
                found += standing.end(key, now_s, f"{track.quantity} is {level:.2f} and no longer heads for its limit.")
        return found


def line(track: Track, now_s: float, span_s: float) -> tuple[float, float, float]:
    """Slope [unit/s], its standard error, and level now, of a track's last span; nothing moves where there is too
    little: then the standard error is infinite."""
    t, v = track.since(now_s - span_s)
    inside = np.isfinite(v)
    t, v = t[inside], v[inside]
    if len(t) < 5 or t[-1] - t[0] < 0.6 * span_s:
        level = float(v[-1]) if len(v) else np.nan
        return 0.0, np.inf, level
    slope, spread, left = _fit(t, v)
    off = np.abs(left - np.median(left))
    keep = off <= np.maximum(5.0 * 1.4826 * np.median(off), 1e-9)
    if not keep.all() and keep.sum() >= 5:  # a single wild point must not tilt the line
        t, v = t[keep], v[keep]
        slope, spread, left = _fit(t, v)
    sd = float(np.sqrt(max((left * left).sum() / (len(t) - 2), 1e-8) / spread))
    return slope, sd, float(v.mean() + slope * (now_s - t.mean()))


def _fit(t: Array, v: Array) -> tuple[float, float, Array]:
    """Slope of a straight line, the spread of its times, and what it leaves."""
    x = t - t.mean()
    spread = float((x * x).sum())
    slope = float((x * (v - v.mean())).sum() / spread)
    return slope, spread, v - v.mean() - slope * x


def clock(at_s: float, time_zone: str) -> str:
    """A moment as the time of day in a zone."""
    import datetime as dt
    from zoneinfo import ZoneInfo

    return dt.datetime.fromtimestamp(at_s, ZoneInfo(time_zone)).strftime("%H:%M")
