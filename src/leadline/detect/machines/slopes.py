"""Straight lines through recent points, cheap enough to be drawn at every tick; and the way to a limit."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from leadline.detect.hand import Track

Array = np.ndarray
SETTLING_S = 108000.0  # in which water comes to rest with its room: 8 to 30 h (census); the slow end warns early
LONG_S = 14 * 86400.0  # harm that is not in sight


@dataclass(frozen=True, slots=True)
class Straight:
    """Slope [unit/s] with its standard error, the level at the end of the span, and the scatter about the line."""

    slope: float
    sd: float
    level: float
    scatter: float


def straight(track: Track, begin_s: float, end_s: float, step: float = 0.01) -> Straight | None:
    """A line through the trusted points of a span; None for fewer than four or less than half of the span.

    `step` is the display's: its rounding is the least scatter that a line can have.
    """
    times = track.times
    first, last = times.searchsorted((begin_s, end_s))
    t, v = times[first:last] - end_s, track.values[first:last]
    total = float(v.sum())
    if total != total:
        good = np.isfinite(v)
        t, v = t[good], v[good]
        total = float(v.sum())
    n = len(t)
    if n < 4 or t[-1] - t[0] < 0.5 * (end_s - begin_s):
        return None
    mean_t, mean_v = float(t.sum()) / n, total / n
    x, y = t - mean_t, v - mean_v
    spread = float(x.dot(x))
    slope = float(x.dot(y)) / spread
    left = max(float(y.dot(y)) - slope * slope * spread, n * step * step / 12.0) / (n - 2)
    return Straight(slope, math.sqrt(left / spread), mean_v - slope * mean_t, math.sqrt(left))


def level(track: Track, now_s: float, span_s: float = 900.0) -> float:
    """Median of the last trusted points; NaN when there are none."""
    times = track.times
    v = track.values[times.searchsorted(now_s - span_s) :]
    return middle([x for x in v.tolist() if x == x])


def middle(values: Iterable[float]) -> float:
    """The upper median of a few numbers, many times quicker than an array's; NaN of none."""
    kept = sorted(values)
    return kept[len(kept) // 2] if kept else math.nan


def scatter(values: Iterable[float], about: float) -> float:
    """Their standard deviation as the median distance tells it."""
    return 1.4826 * middle([abs(x - about) for x in values])


def until(level: float, slope: float, limit: float, settling_s: float = SETTLING_S) -> float:
    """Seconds until a limit is reached when the slope dies away as water comes to rest with its room.

    Infinite when it never is; 0 when it is passed.
    """
    gap = limit - level
    if gap * slope <= 0.0:
        return math.inf
    share = gap / (slope * settling_s)
    return math.inf if share >= 1.0 else -settling_s * math.log(1.0 - share)


def kendall(values: Array) -> float:
    """Mann-Kendall statistic of a series: a trend in units of its standard error, ties not counted."""
    n = len(values)
    if n < 4:
        return 0.0
    pairs = np.sign(values[None, :] - values[:, None])
    return float(pairs[np.triu_indices(n, 1)].sum()) / math.sqrt(n * (n - 1) * (2 * n + 5) / 18.0)


def theil_sen(at: Array, values: Array) -> float:
    """The median slope of all pairs."""
    i, j = np.triu_indices(len(at), 1)
    return float(np.median((values[j] - values[i]) / (at[j] - at[i])))
