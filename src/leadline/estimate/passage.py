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
    low: float | Array,
    high: float | Array,
    mean: Array,
    var: Array,
    rate: Array,
    rate_var: Array,
    cov: Array,
    walk_var: Array,
) -> Array:
    """P(ever outside [low, high] within `days`) when start and rate are uncertain. Arrays (B,); the result (B,).

    An edge that is not finite is no edge.

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
    for edge, side in ((high, 1.0), (low, -1.0)):
        at = np.broadcast_to(np.asarray(edge, dtype=float), mean.shape)
        there = np.isfinite(at)
        if there.any():
            gap = side * (np.where(there, at, 0.0)[:, None, None] - start)
            total = total + np.where(there[:, None, None], brownian(np.asarray(days), gap, side * drift, walk), 0.0)
    weight = _WEIGHTS[None, :, None] * _WEIGHTS[None, None, :]
    return (np.minimum(total, 1.0) * weight).sum(axis=(1, 2))
