"""Harm avoided, the one currency: what a test, a dose or an inspection is worth before one knows its outcome.

Harm is counted in days of one quantity one half-band past its limit, times how badly the animals take it. A test is
worth what better decisions after it save on average (value of sample information; Raiffa and Schlaifer 1961).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from leadline.estimate.families import FAMILIES
from leadline.estimate.report import QuantityEstimate

Array = np.ndarray

# how badly the animals take a day past the limit, relative; judgement resting on common practice
SEVERITY: dict[str, float] = {
    "temperature": 4.0, "salinity": 3.0, "alkalinity": 3.0, "oxygen": 5.0, "ammonia": 5.0, "copper": 3.0,
    "calcium": 1.2, "magnesium": 0.8, "potassium": 0.6, "nitrate": 0.7, "phosphate": 1.0, "ph": 1.0,
    "nitrite": 0.8, "zinc": 1.0, "mercury": 2.0, "iodine": 0.3, "strontium": 0.3,
}  # fmt: skip
LOOK_D = 7.0  # next chance to look when nothing is done now
EDGE_HARM = 0.2  # harm per day when just at the limit; grows linearly from the aim's edge
BEYOND = 2.0  # further harm per day for each half-band past the limit
ACT_COST = 0.02  # a correction's own risk and trouble, in harm per day of the horizon times severity
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True, slots=True)
class Stakes:
    """The loss of one quantity: hinges (edge, slope) above and below, all in harm per day."""

    above: tuple[tuple[float, float], ...]
    below: tuple[tuple[float, float], ...]
    middle: float
    severity: float

    def expected(self, mean: Array, sd: Array) -> Array:
        """Expected harm per day under Gaussians of that mean and sd."""
        total = np.zeros(np.broadcast(mean, sd).shape)
        for edge, slope in self.above:
            total = total + slope * hinge(mean - edge, sd)
        for edge, slope in self.below:
            total = total + slope * hinge(edge - mean, sd)
        return self.severity * total


def hinge(distance: Array, sd: Array) -> Array:
    """E max(0, X) for X ~ N(distance, sd²): the unit normal loss (DeGroot 1970, table)."""
    sd = np.maximum(sd, 1e-12)
    z = distance / sd
    return sd * np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi) + distance * ndtr(z)


def stakes(e: QuantityEstimate) -> Stakes | None:
    """The loss of a quantity from its band; None when it has none."""
    if e.aim is None:
        return None
    low, high = e.aim
    under, over = e.limit if e.limit else (low - (high - low), high + (high - low))
    known = FAMILIES.get(e.quantity)
    half = max((high - low) / 2.0, 0.25 * known.scale if known else 1e-9)
    wide_up, wide_down = max(over - high, 0.1 * half), max(low - under, 0.1 * half)
    above = ((high, EDGE_HARM / wide_up), (over, BEYOND / half))
    nothing_below = low <= 0.0 or (under <= 0.0 and e.quantity in ("ammonia", "nitrite", "copper", "zinc", "mercury"))
    below: tuple[tuple[float, float], ...] = (
        () if nothing_below else ((low, EDGE_HARM / wide_down), (under, BEYOND / half))
    )
    if e.quantity in ("nitrate", "phosphate") and under <= 0.0:
        below = ((low, EDGE_HARM / wide_down),)
    return Stakes(above, below, (low + high) / 2.0, SEVERITY.get(e.quantity, 0.4))


@dataclass(frozen=True, slots=True)
class Value:
    """What can be gained at one quantity, in harm over the days until the next chance to look.

    `untouched`: harm expected when nothing is done. `blind`: when corrected on today's belief. `test`: what a test
    before deciding saves over the better of the two. `dose`: what correcting now saves.
    """

    untouched: float
    blind: float
    test: float
    dose: float


def value_at(e: QuantityEstimate, noise_sd: float, days: float = 0.0, look_d: float = LOOK_D) -> Value:
    """Value of testing (with a method of `noise_sd`) and of correcting, `days` from now. Stored units."""
    s = stakes(e)
    if s is None:
        return Value(0.0, 0.0, 0.0, 0.0)
    m0, sd0 = _at(e, days)
    moments = [_at(e, days + f * look_d) for f in (0.0, 0.5, 1.0)]
    weights = np.array([0.25, 0.5, 0.25]) * look_d
    m = np.array([x[0] for x in moments])
    sd = np.array([x[1] for x in moments])
    cost = ACT_COST * s.severity * look_d
    untouched = float((weights * s.expected(m, sd)).sum())
    shifted = s.middle + (m - m0)
    blind = cost + float((weights * s.expected(shifted, sd)).sum())
    # after a test: a share `gain` of the present variance is gone, and what comes after keeps its own growth
    gain = _gain(e, sd0, noise_sd)
    left = np.sqrt(np.maximum(sd**2 - sd0**2 * gain, 1e-18))
    z = np.sqrt(gain) * sd0 * _NODES[:, None]
    after = (weights * s.expected(m + z, left)).sum(axis=1)
    acted = cost + (weights * s.expected(shifted + 0.0 * z, left)).sum(axis=1)
    known = float((_WEIGHTS * np.minimum(after, acted)).sum())
    best = min(untouched, blind)
    return Value(untouched, blind, max(best - known, 0.0), max(untouched - blind, 0.0))


def _gain(e: QuantityEstimate, sd_then: float, noise_sd: float) -> float:
    """Share of the variance at the time of the test that it removes.

    What is unsure today a kit with a bias of its own settles only in part; what grows until then it settles anew.
    """
    var, noise = sd_then**2, noise_sd**2
    noise = max(noise, 1e-18)
    if e.test_settles is None:
        return var / (var + noise) if var + noise > 0 else 0.0
    grown = max(var - e.sd**2, 0.0)
    old = min(e.sd**2, var) * e.test_settles
    return (old + grown * grown / (grown + noise)) / var if grown + old > 0 and var > 0 else 0.0


def _at(e: QuantityEstimate, days: float) -> tuple[float, float]:
    """Mean and sd some days ahead, between the outlooks and straight beyond the last."""
    if days <= 0.0:
        return e.mean, e.sd
    d0, m0, v0 = 0.0, e.mean, e.sd**2
    for o in e.forecast:
        if days <= o.days:
            f = (days - d0) / (o.days - d0)
            return m0 + f * (o.mean - m0), math.sqrt(v0 + f * (o.sd**2 - v0))
        d0, m0, v0 = o.days, o.mean, o.sd**2
    return m0, math.sqrt(v0) * max(days / max(d0, 1.0), 1.0)


def silent_failure(rate_per_year: float, days: float) -> float:
    """Chance that something failed unseen within `days` since it was last proved. [1]"""
    return -math.expm1(-rate_per_year * max(days, 0.0) / 365.25)


def mean_unavailability(rate_per_year: float, interval_d: float) -> float:
    """Average chance of being dead when proved every `interval_d`: 1 - (1 - e^-x)/x (functional-safety practice)."""
    x = rate_per_year * interval_d / 365.25
    return 1.0 - (-math.expm1(-x)) / x if x > 1e-9 else x / 2.0
