"""Doser against response: what share of what it says it gives arrives in the water.

Between two alkalinity readings the water changes by what arrived less what was taken: the share that arrived is fitted
over all intervals, with the consumption as it is believed. Readings' scatter and the consumption's doubt make its
standard error.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from leadline.detect.findings import Finding

DAY = 86400.0
LOW, HIGH = 0.75, 1.3
LEAST_READINGS = 3


@dataclass(frozen=True, slots=True)
class Arrived:
    """The share of the dose that arrives, its standard error, and from how many intervals."""

    share: float
    sd: float
    intervals: int
    says_meq_l_d: float  # what it says it gives a day


@dataclass(frozen=True, slots=True)
class Reading:
    """One alkalinity. Unix seconds, meq/L, its scatter."""

    at_s: float
    value: float
    sd: float


def arrived(
    readings: Sequence[Reading], doses: Sequence[tuple[float, float]], uses: tuple[float, float],
    other: Sequence[tuple[float, float]] = (),
) -> Arrived | None:  # fmt: skip
    """The share that arrives; None where nothing was dosed between readings or there are too few.

    Parameters
    ----------
    readings
        Ascending.
    doses
        Each portion: its moment and what it should add. [s, meq/L]
    uses
        What the system uses of alkalinity a day beside all doses, and its standard deviation. [meq/L/d]
    other
        Changes by exchanges and additions by hand. [s, meq/L]
    """
    rows = sorted(readings, key=lambda r: r.at_s)
    if len(rows) < LEAST_READINGS:
        return None
    at = np.array([r.at_s for r in rows])
    value = np.array([r.value for r in rows])
    given = _sums(at, doses)
    if given.sum() <= 0.0:
        return None
    days = np.diff(at) / DAY
    change = np.diff(value) - _sums(at, other) + uses[0] * days
    # differences of one series: neighbours share a reading; the consumption's doubt is common to all
    sd2 = np.array([max(r.sd, 1e-6) ** 2 for r in rows])
    n = len(change)
    cov = np.diag(sd2[1:] + sd2[:-1]) - np.diag(sd2[1:-1], 1) - np.diag(sd2[1:-1], -1)
    cov += uses[1] ** 2 * np.outer(days, days)
    weigh = np.linalg.inv(cov)
    information = float(given @ weigh @ given)
    if information <= 0.0:
        return None
    share = float(given @ weigh @ change) / information
    left = change - share * given
    strain = max(float(left @ weigh @ left) / max(n - 1, 1), 1.0)  # more scatter than was said
    return Arrived(share, math.sqrt(strain / information), n, float(given.sum() / days.sum()))


def finding(
    doser: str, got: Arrived, now_s: float, alkalinity: float, limit: tuple[float, float], since_days: float
) -> Finding | None:
    """A finding when the share is surely below 0.75 or above 1.3; None when it is not.

    `alkalinity` and `limit` in meq/L; harm is when the shortfall or surplus has carried alkalinity to its limit.
    """
    low, high = got.share - 1.645 * got.sd, got.share + 1.645 * got.sd
    if not (high < LOW or low > HIGH):
        return None
    off = (got.share - 1.0) * got.says_meq_l_d
    edge = limit[0] if off < 0.0 else limit[1]
    left = max((edge - alkalinity) / off, 0.0) if off else math.inf
    word = "too-little" if off < 0.0 else "too-much"
    soon = f"in {left:.0f} days" if left >= 1.5 else "in a day" if left >= 0.5 else "now"
    return Finding(
        f"{doser}-{word}", doser, now_s, True, got.share, left * DAY,
        f"Of what {doser} says it gave in {since_days:.0f} days {100 * got.share:.0f} % arrived in the water "
        f"({100 * max(low, 0.0):.0f} to {100 * high:.0f} %): if nothing else makes up for it, the limit of "
        f"{edge * 2.80385:.1f} dKH is reached {soon}.",
    )  # fmt: skip


def _sums(at: np.ndarray, portions: Sequence[tuple[float, float]]) -> np.ndarray:
    """What fell between each reading and the next."""
    if not len(portions):
        return np.zeros(len(at) - 1)
    when = np.array([p[0] for p in portions])
    much = np.array([p[1] for p in portions])
    place = np.searchsorted(at, when, side="left") - 1
    inside = (place >= 0) & (place < len(at) - 1)
    return np.bincount(place[inside], much[inside], minlength=len(at) - 1).astype(float)
