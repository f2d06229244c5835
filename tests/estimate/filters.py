"""One filter, set up by hand, so that the bank can be held to filters in print."""

from __future__ import annotations

import numpy as np
import pytest

from leadline.estimate import grid
from leadline.estimate.grid import KIT1, STATES, Bank, Motion, Sight

Array = np.ndarray


def one_filter(level: float, rate: float = 0.0, cov: Array | None = None, noises: int = 1) -> Bank:
    """A bank of one quantity; `cov` (k, k) of the first k states, the rest known to be nought."""
    mean = np.zeros((1, noises, STATES))
    mean[..., 0], mean[..., 1] = level, rate
    p = np.zeros((1, noises, STATES, STATES))
    if cov is not None:
        p[..., : len(cov), : len(cov)] = cov
    return Bank(mean, p, np.full((1, noises), -np.log(noises)))


def gap(
    days: float, *, put_in: float = 0.0, dose: float = 0.0, keep: float = 1.0, mean_keep: float = 1.0,
    rate_walk: float = 0.0, level_walk: Array | float = 0.0, theta: float = 0.0, input_var: float = 0.0,
    departure: float = 0.0, regulated: float = 0.0, probe_walk: float = 0.0, noises: int = 1,
) -> Motion:  # fmt: skip
    """What happens in a gap of so many days; what is not said does not happen."""

    def one(x: float) -> Array:
        return np.array([float(x)])

    def wide(x: Array | float) -> Array:
        return np.broadcast_to(np.asarray(x, dtype=float), (1, noises)).copy()

    return Motion(
        one(days), one(keep), one(mean_keep), one(dose), one(put_in), one(input_var), one(theta), one(regulated),
        wide(rate_walk), wide(level_walk), wide(departure), one(probe_walk),
    )  # fmt: skip


def reading(
    value: float, noise_var: Array | float, *, step: float = 0.0, slot: int = KIT1, days: float = 1.0,
    step_prior: float = 1e-300, step_var: float = 0.0, departs: float = 0.0, blunder_sd: float = 0.0, noises: int = 1,
) -> Sight:  # fmt: skip
    """One reading of it."""
    noise = np.broadcast_to(np.asarray(noise_var, dtype=float), (1, noises)).copy()
    return Sight(
        np.array([value]), noise, np.array([step]), np.array([slot]), np.array([departs]), np.array([days]),
        np.array([step_prior]), np.full((1, noises), step_var), np.array([departs]), np.array([blunder_sd]),
    )  # fmt: skip


def without_blunders(monkeypatch: pytest.MonkeyPatch, forgetting: float = 1.0) -> None:
    """Take away what the filters in print do not have: blunders, and forgetting of the evidence."""
    monkeypatch.setattr(grid, "BLUNDER_PRIOR", 1e-300)
    monkeypatch.setattr(grid, "JUMP_PRIOR", 1e-300)
    monkeypatch.setattr(grid, "FORGETTING", forgetting)
