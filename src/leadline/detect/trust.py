"""Trust in a probe: QARTOD flags for points as they come in (U.S. IOOS QARTOD manuals; tests in numpy).

1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing. Thresholds are starting values for a reef tank (judgement): much
tighter than the manuals' examples for the open ocean. Every function takes arrays (n,) in order of time and gives
flags (n,); a missing value is NaN.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

Array = np.ndarray
PASS, UNKNOWN, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9


@dataclass(frozen=True, slots=True)
class Limits:
    """Thresholds of one quantity, in its stored unit; times in seconds. None leaves a test out."""

    fail: tuple[float, float]
    suspect: tuple[float, float]
    spike: tuple[float, float] | None = None
    rate_per_s: float | None = None
    flat: tuple[float, float, float] | None = None  # suspect after, fail after, tolerance


LIMITS: dict[str, Limits] = {
    "temperature": Limits((5, 45), (18, 33), (0.5, 2.0), 2.0 / 600, (14 * 86400, 30 * 86400, 0.005)),
    "ph": Limits((5, 10), (7.2, 8.9), (0.15, 0.4), 0.3 / 600, (2 * 86400, 6 * 86400, 0.005)),
    "salinity": Limits((0, 60), (25, 42), (0.5, 2.0), 3.0 / 3600, (14 * 86400, 30 * 86400, 0.005)),
    "conductivity": Limits((0, 90), (40, 62), (0.8, 3.0), 4.0 / 3600, None),
    "oxygen": Limits((0, 20), (3.0, 12), (0.5, 2.0), 1.0 / 600, None),
    "orp": Limits((-500, 800), (100, 500), (25, 100), 60.0 / 600, None),
}


def gross_range(x: Array, fail: tuple[float, float], suspect: tuple[float, float]) -> Array:
    """Fail outside the sensor's span, suspect outside the operator's span. x (n,) → flags (n,)."""
    flags = np.full(len(x), PASS, dtype=np.int8)
    flags[(x < suspect[0]) | (x > suspect[1])] = SUSPECT
    flags[(x < fail[0]) | (x > fail[1])] = FAIL
    flags[np.isnan(x)] = MISSING
    return flags


def climatology(x: Array, span: Array, suspect: Array, fail: Array | None = None) -> Array:
    """Suspect outside what is usual at that time; not evaluated where nobody knows what is usual.

    Parameters
    ----------
    span
        Which row of the spans holds for each point; below zero for none.
    suspect, fail
        Lowest and highest usual value of each span (m, 2); a row of NaN is not known. The manuals never fail a point
        here; `fail` is the extension of the reference implementation.
    """
    known = span >= 0
    row = np.where(known, span, 0)
    usual = suspect[row]
    known &= np.isfinite(usual).all(axis=1)
    flags = np.where(known, PASS, UNKNOWN).astype(np.int8)
    with np.errstate(invalid="ignore"):
        flags[known & ((x < usual[:, 0]) | (x > usual[:, 1]))] = SUSPECT
        if fail is not None:
            flags[known & ((x < fail[row, 0]) | (x > fail[row, 1]))] = FAIL
    flags[np.isnan(x)] = MISSING
    return flags


def hour_of_day(t: Array) -> Array:
    """The hour in UTC, 0 to 23, as the row of 24 spans."""
    return (np.floor(t / 3600.0) % 24.0).astype(np.int64)


def spike(x: Array, suspect: float, fail: float) -> Array:
    """A point that stands off both neighbours the same way ("differential": the smaller of the two steps)."""
    flags = np.full(len(x), UNKNOWN, dtype=np.int8)
    if len(x) >= 3:
        left, right = x[1:-1] - x[:-2], x[1:-1] - x[2:]
        with np.errstate(invalid="ignore"):
            size = np.where(np.sign(left) == np.sign(right), np.minimum(np.abs(left), np.abs(right)), 0.0)
        inner = np.full(len(size), PASS, dtype=np.int8)
        inner[size > suspect] = SUSPECT
        inner[size > fail] = FAIL
        inner[np.isnan(left) | np.isnan(right)] = UNKNOWN
        flags[1:-1] = inner
    flags[np.isnan(x)] = MISSING
    return flags


def spike_by_average(x: Array, suspect: float, fail: float) -> Array:
    """A point off the middle of its neighbours, as the manuals define it; it flags a spike's good neighbours too."""
    flags = np.full(len(x), UNKNOWN, dtype=np.int8)
    if len(x) >= 3:
        size = np.abs(x[1:-1] - (x[:-2] + x[2:]) / 2.0)
        inner = np.full(len(size), PASS, dtype=np.int8)
        inner[size > suspect] = SUSPECT
        inner[size > fail] = FAIL
        inner[np.isnan(size)] = UNKNOWN
        flags[1:-1] = inner
    flags[np.isnan(x)] = MISSING
    return flags


def rate_of_change(x: Array, t: Array, per_s: float, fail_per_s: float | None = None) -> Array:
    """Suspect where the value moves faster than `per_s` from the point before, fail beyond `fail_per_s`. [unit/s]"""
    flags = np.full(len(x), PASS, dtype=np.int8)
    with np.errstate(invalid="ignore", divide="ignore"):
        pace = np.abs(np.diff(x)) / np.maximum(np.diff(t), 1e-9)
    flags[1:][pace > per_s] = SUSPECT
    if fail_per_s is not None:
        flags[1:][pace > fail_per_s] = FAIL
    flags[np.isnan(x)] = MISSING
    return flags


def flat_line(x: Array, t: Array, suspect_s: float, fail_s: float, tolerance: float) -> Array:
    """Suspect or fail where all values of the last so many seconds lie within `tolerance` (range below it)."""
    flags = np.full(len(x), PASS, dtype=np.int8)
    since = np.zeros(len(x))
    # a window slides along: `head` is the earliest point from which all lie within the tolerance; the two queues hold
    # the positions that can still become its least and its greatest value
    least: deque[int] = deque()
    greatest: deque[int] = deque()
    head = 0
    values, times = x.tolist(), t.tolist()
    for k, v in enumerate(values):
        if v != v:  # missing
            continue
        while least and values[least[-1]] >= v:
            least.pop()
        while greatest and values[greatest[-1]] <= v:
            greatest.pop()
        least.append(k)
        greatest.append(k)
        while head < k and not values[greatest[0]] - values[least[0]] < tolerance:
            head += 1
            if least[0] < head:
                least.popleft()
            if greatest[0] < head:
                greatest.popleft()
        while values[head] != values[head]:  # a missing point is no part of it
            head += 1
        since[k] = times[k] - times[head]
    flags[since >= suspect_s] = SUSPECT
    flags[since >= fail_s] = FAIL
    flags[np.isnan(x)] = MISSING
    return flags


def attenuated_sd(x: Array, t: Array, suspect: float, fail: float, window_s: float, least: int) -> Array:
    """Suspect or fail where the standard deviation over the last `window_s` is below a threshold.

    A window holds what is later than its beginning; with fewer than `least` values it is not evaluated. A whole
    series in one window would hide a dead end, so there is no such mode.
    """
    good = np.isfinite(x)
    centred = np.where(good, x - (float(x[good].mean()) if good.any() else 0.0), 0.0)
    first = np.searchsorted(t, t - window_s, side="right")
    ends = np.arange(1, len(x) + 1)

    def over(values: Array) -> Array:
        total = np.concatenate(([0.0], np.cumsum(values)))
        return total[ends] - total[first]

    n = over(good.astype(float))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = over(centred) / n
        spread = np.sqrt(np.maximum(over(centred * centred) / n - mean * mean, 0.0))
    return _attenuated(x, np.where(n >= max(least, 1), spread, np.nan), suspect, fail)


def attenuated_range(x: Array, t: Array, suspect: float, fail: float, window_s: float, least: int) -> Array:
    """Suspect or fail where greatest less least value of the last `window_s` is below a threshold."""
    found = np.full(len(x), np.nan)
    lows: deque[int] = deque()
    highs: deque[int] = deque()
    values, first = x.tolist(), np.searchsorted(t, t - window_s, side="right").tolist()
    count = np.concatenate(([0], np.cumsum(np.isfinite(x)))).tolist()
    for k, v in enumerate(values):
        if v == v:
            while lows and values[lows[-1]] >= v:
                lows.pop()
            while highs and values[highs[-1]] <= v:
                highs.pop()
            lows.append(k)
            highs.append(k)
        while lows and lows[0] < first[k]:
            lows.popleft()
        while highs and highs[0] < first[k]:
            highs.popleft()
        if count[k + 1] - count[first[k]] >= max(least, 1):
            found[k] = values[highs[0]] - values[lows[0]]
    return _attenuated(x, found, suspect, fail)


def _attenuated(x: Array, spread: Array, suspect: float, fail: float) -> Array:
    flags = np.full(len(x), UNKNOWN, dtype=np.int8)
    with np.errstate(invalid="ignore"):
        flags[spread >= suspect] = PASS
        flags[spread < suspect] = SUSPECT
        flags[spread < fail] = FAIL
    flags[np.isnan(x)] = MISSING
    return flags


def neighbour(x: Array, t: Array, other: Array, other_t: Array, apart: float, late_s: float) -> Array:
    """Suspect where a probe stands off another of the same water; which of the two is wrong this cannot say.

    Parameters
    ----------
    other, other_t
        The other probe's values and times (m,).
    apart
        The most by which two good ones differ, in the quantity's unit.
    late_s
        A point is not evaluated when the other has none so close in time. [s]
    """
    flags = np.full(len(x), UNKNOWN, dtype=np.int8)
    known = np.isfinite(other)
    if known.any():
        at, value = other_t[known], other[known]
        after = np.clip(np.searchsorted(at, t), 0, len(at) - 1)
        before = np.maximum(after - 1, 0)
        nearest = np.where(np.abs(at[after] - t) < np.abs(at[before] - t), after, before)
        close = np.abs(at[nearest] - t) <= late_s
        with np.errstate(invalid="ignore"):
            off = np.abs(x - np.interp(t, at, value)) > apart
        flags[close] = np.where(off[close], SUSPECT, PASS)
    flags[np.isnan(x)] = MISSING
    return flags


def worst(*flags: Array) -> Array:
    """The worst flag of each point: missing over fail over suspect over pass over not evaluated."""
    rank = np.zeros(10, dtype=np.int8)
    rank[[UNKNOWN, PASS, SUSPECT, FAIL, MISSING]] = [0, 1, 2, 3, 4]
    table = np.stack(flags)
    return np.take_along_axis(table, rank[table].argmax(axis=0)[None], axis=0)[0]


def flag(quantity: str, times_s: Array, values: Array) -> Array:
    """QARTOD flags of points in order of time; 2 for a quantity without thresholds (equipment states).

    Parameters
    ----------
    times_s
        Unix seconds (n,).
    values
        Stored unit (n,).
    """
    x, t = np.asarray(values, dtype=float), np.asarray(times_s, dtype=float)
    found = LIMITS.get(quantity)
    if found is None:
        return np.where(np.isnan(x), MISSING, UNKNOWN).astype(np.int8)
    parts = [gross_range(x, found.fail, found.suspect)]
    if found.spike:
        parts.append(spike(x, *found.spike))
    if found.rate_per_s:
        parts.append(rate_of_change(x, t, found.rate_per_s))
    if found.flat:
        parts.append(flat_line(x, t, *found.flat))
    return worst(*parts)
