"""How good the estimates were: each reading judged against what was expected just before it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

Array = np.ndarray


def gaussian_crps(mean: Array, sd: Array, y: Array) -> Array:
    """Continuous ranked probability score of a Gaussian forecast; lower is better, in the unit of `y`.

    References
    ----------
    Gneiting and Raftery (2007), J. Am. Stat. Assoc. 102:359, eq. 21 with the sign turned.
    """
    z = (y - mean) / sd
    phi = np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    return sd * (z * (2 * ndtr(z) - 1) + 2 * phi - 1 / np.sqrt(np.pi))


def _abs_moment(mean: Array, var: Array) -> Array:
    """E|X| of a Gaussian."""
    sd = np.sqrt(var)
    z = mean / sd
    return 2 * sd * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi) + mean * (2 * ndtr(z) - 1)


def mixture_crps(y: Array, mean: Array, sd: Array, weight: Array) -> Array:
    """CRPS of Gaussian mixtures. y (n,); mean, sd, weight (n, G).

    References
    ----------
    Grimit, Gneiting, Berrocal and Johnson (2006), Q. J. R. Meteorol. Soc. 132:2925, eq. 5.
    """
    first = (weight * _abs_moment(y[:, None] - mean, sd**2)).sum(axis=1)
    between = _abs_moment(mean[:, :, None] - mean[:, None, :], sd[:, :, None] ** 2 + sd[:, None, :] ** 2)
    return first - 0.5 * np.einsum("ni,nj,nij->n", weight, weight, between)


def mixture_pit(y: Array, mean: Array, sd: Array, weight: Array, positive: bool = False) -> Array:
    """Probability integral transform of readings under Gaussian mixtures, cut at zero where nothing can be below.

    A reading of nothing at all takes the middle of the probability that was piled at zero.
    """
    p = (weight * ndtr((y[:, None] - mean) / sd)).sum(axis=1)
    if positive:
        below = (weight * ndtr(-mean / sd)).sum(axis=1)
        p = np.where(y <= 0, 0.5 * np.maximum(p, below), p)
    return p


@dataclass(frozen=True, slots=True)
class Calibration:
    """The running calibration of one quantity, or of all together.

    `within` is the range of hits at 90 % that chance allows 95 times in 100; `verdict` says it in one word:
    "few" (fewer than ten readings), "good", "narrow" (too sure), "wide" (too unsure).
    """

    readings: int
    hits_50: int
    hits_90: int
    within: tuple[int, int]
    crps: float
    crps_last: float  # of "the same as the last reading", same readings
    pit: tuple[int, ...]  # ten equal bins
    verdict: str


def calibration(pit: Array, crps: Array, crps_last: Array) -> Calibration:
    """Hits of the 50 % and 90 % intervals and mean scores of readings already judged."""
    n = len(pit)
    hits_50 = int(((pit > 0.25) & (pit < 0.75)).sum())
    hits_90 = int(((pit > 0.05) & (pit < 0.95)).sum())
    from scipy.stats import binom  # slow to import, and only asked for here

    low, high = (int(v) for v in binom.ppf([0.025, 0.975], max(n, 1), 0.9))
    verdict = "few" if n < 10 else "narrow" if hits_90 < low else "wide" if hits_90 > high else "good"
    bins = tuple(int(c) for c in np.histogram(np.clip(pit, 0, 1), bins=10, range=(0, 1))[0])
    mean = float(crps.mean()) if n else 0.0
    return Calibration(n, hits_50, hits_90, (low, high), mean, float(crps_last.mean()) if n else 0.0, bins, verdict)
