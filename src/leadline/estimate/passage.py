"""First passage: the chance that a quantity crosses an edge at any time before a horizon, not only at its end."""

from __future__ import annotations

import numpy as np
from scipy.special import log_ndtr, ndtr

Array = np.ndarray
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


def brownian(days: Array, distance: Array, drift: Array, walk_sd: Array) -> Array:
    """P(T ≤ days) of a Brownian motion with drift towards an edge at `distance` above its start.

    Parameters
    ----------
    days
        Horizon. [d]
    distance
        From the start to the edge, positive before it; at or past the edge the answer is 1. [unit]
    drift
        Towards the edge. [unit/d]
    walk_sd
        [unit/√d]

    References
    ----------
    Inverse Gaussian first-passage law, Karatzas and Shreve (1991), eq. 3.5.12.
    """
    root = walk_sd * np.sqrt(days)
    first = ndtr((drift * days - distance) / root)
    exponent = 2.0 * drift * distance / walk_sd**2 + log_ndtr((-distance - drift * days) / root)
    return np.where(distance <= 0.0, 1.0, np.minimum(first + np.exp(np.minimum(exponent, 0.0)), 1.0))


def from_uncertain(
    days: float,
    low: float,
    high: float,
    mean: Array,
    var: Array,
    rate: Array,
    rate_var: Array,
    cov: Array,
    walk_var: Array,
) -> Array:
    """P(ever outside [low, high] within `days`) when start and rate are uncertain. Arrays (B,); the result (B,).

    Start and rate are jointly Gaussian with covariance `cov`; the walk has variance `walk_var` per day. The two edges
    are added and capped at one: an upper bound that is exact while one of them decides.
    """
    sd = np.sqrt(np.maximum(var, 1e-18))
    slope = cov / np.maximum(var, 1e-18)
    rest = np.sqrt(np.maximum(rate_var - slope * cov, 0.0))
    start = mean[:, None, None] + sd[:, None, None] * _NODES[None, :, None]
    drift = (rate[:, None, None] + slope[:, None, None] * (start - mean[:, None, None])) + rest[:, None, None] * _NODES
    walk = np.sqrt(np.maximum(walk_var, 1e-18))[:, None, None]
    total = np.zeros_like(drift)
    if np.isfinite(high):
        total = total + brownian(np.asarray(days), high - start, drift, walk)
    if np.isfinite(low):
        total = total + brownian(np.asarray(days), start - low, -drift, walk)
    weight = _WEIGHTS[None, :, None] * _WEIGHTS[None, None, :]
    return (np.minimum(total, 1.0) * weight).sum(axis=(1, 2))
