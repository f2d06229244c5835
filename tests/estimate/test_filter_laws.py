"""What must hold of the filters whatever comes in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.estimate.filters import gap

from leadline.estimate import grid
from leadline.estimate.grid import KIT1, KIT2, PROBE, STATES, Bank, Sight, predict, update

pytestmark = pytest.mark.law
seeds = st.integers(0, 2**32 - 1)


def random_bank(rng, b, g):
    root = rng.normal(size=(b, g, STATES, STATES)) * rng.choice([0.01, 0.3, 2.0], size=(b, g, 1, 1))
    weight = rng.dirichlet(np.ones(g), size=b)
    return Bank(rng.normal(size=(b, g, STATES)), root @ root.swapaxes(-1, -2), np.log(weight))


def random_sight(rng, b, g, coarse):
    departs = rng.integers(0, 2, b).astype(float)
    step = np.where(rng.random(b) < 0.5, rng.uniform(0.5, 8, b), 0.0) if coarse else np.zeros(b)
    return Sight(
        rng.normal(0, 3, b), rng.uniform(1e-3, 2, (b, g)), step, rng.choice([KIT1, KIT2, PROBE], b), departs,
        rng.uniform(0, 60, b), rng.uniform(0.004, 0.2, b), rng.uniform(0, 1, (b, g)), departs, rng.uniform(0, 2, b),
    )  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(seeds)
def test_covariances_stay_symmetric_and_never_negative(seed):
    rng = np.random.default_rng(seed)
    b, g = int(rng.integers(1, 4)), int(rng.integers(1, 5))
    bank = random_bank(rng, b, g)
    for _ in range(6):
        motion = gap(1.0).__class__(
            rng.uniform(0, 90, b), rng.uniform(0.3, 1, b), rng.uniform(0.3, 1, b), rng.normal(0, 2, b),
            rng.normal(0, 2, b), rng.uniform(0, 1, b), rng.uniform(1e-9, 3, b),
            rng.integers(0, 2, b).astype(float), rng.uniform(0, 1e-2, (b, g)), rng.uniform(0, 1e-2, (b, g)),
            rng.uniform(0, 1, (b, g)), rng.uniform(0, 1e-2, b),
        )  # fmt: skip
        predict(bank, motion)
        update(bank, random_sight(rng, b, g, coarse=True))
        largest = np.abs(bank.cov).max(axis=(-1, -2))
        assert np.isfinite(bank.cov).all()
        assert np.isfinite(bank.mean).all()
        # rounding of a dozen operations on numbers of that size
        assert (np.abs(bank.cov - bank.cov.swapaxes(-1, -2)).max(axis=(-1, -2)) <= 1e-12 * largest + 1e-15).all()
        lowest = np.linalg.eigvalsh(0.5 * (bank.cov + bank.cov.swapaxes(-1, -2))).min(axis=-1)
        assert (lowest >= -1e-9 * largest - 1e-12).all()
        np.testing.assert_allclose(np.exp(bank.log_weight).sum(axis=1), 1.0, rtol=1e-12)


@settings(max_examples=80, deadline=None)
@given(seeds)
def test_collapse_equals_moment_matching_done_by_hand(seed):
    """Four Kalman updates, one for each hypothesis, mixed by their evidence; all written out here."""
    rng = np.random.default_rng(seed)
    b, g = 2, 3
    bank = random_bank(rng, b, g)
    before = bank.copy()
    sight = random_sight(rng, b, g, coarse=False)
    update(bank, sight)
    for i in range(b):
        h = np.zeros(STATES)
        h[0], h[1] = 1.0, sight.departs[i]
        h[sight.slot[i]] = 1.0
        total = np.zeros(g)
        for j in range(g):
            m, p, d = before.mean[i, j], before.cov[i, j], sight.days[i]
            step = np.zeros((STATES, STATES))
            v = sight.step_var[i, j]
            if sight.regulated[i]:
                step[0, 0] = v
            else:
                step[:2, :2] = v * np.array([[d * d / 3, d / 2], [d / 2, 1.0]])
            r = sight.noise_var[i, j]
            jump = np.zeros((STATES, STATES))
            jump[0, 0] = sight.blunder_sd[i] ** 2
            chance = grid.JUMP_PRIOR
            cases = (
                (1 - grid.BLUNDER_PRIOR - chance - sight.step_prior[i], p, r),
                (chance, p + jump, r),
                (grid.BLUNDER_PRIOR, p, r * (1 + grid.BLUNDER_TIMES) + sight.blunder_sd[i] ** 2),
                (sight.step_prior[i], p + step, r),
            )
            weights, means, covs = [], [], []
            for prior, cov, noise in cases:
                s = h @ cov @ h + noise
                k = cov @ h / s
                y = sight.value[i] - h @ m
                weights.append(prior * np.exp(-0.5 * y * y / s) / np.sqrt(2 * np.pi * s))
                means.append(m + k * y)
                covs.append(cov - np.outer(k, h @ cov))
            total[j] = sum(weights)
            w = np.array(weights) / total[j]
            mixed = sum(a * x for a, x in zip(w, means, strict=True))
            spread = sum(a * (c + np.outer(x - mixed, x - mixed)) for a, c, x in zip(w, covs, means, strict=True))
            size = np.abs(spread).max() + np.abs(before.cov[i, j]).max()
            np.testing.assert_allclose(bank.mean[i, j], mixed, atol=1e-8 * (1 + np.abs(mixed).max()))
            np.testing.assert_allclose(bank.cov[i, j], spread, atol=1e-8 * size)
        evidence = np.exp(grid.FORGETTING * before.log_weight[i]) * total
        np.testing.assert_allclose(np.exp(bank.log_weight[i]), evidence / evidence.sum(), rtol=1e-7)


@settings(max_examples=60, deadline=None)
@given(seeds, st.floats(0.3, 4.0))
def test_coarse_scale_by_quadrature(seed, step):
    """A reading on a coarse scale against a numerical posterior, far in the tail as well."""
    rng = np.random.default_rng(seed)
    prior_sd, noise_sd = rng.uniform(0.02, 0.12) * step, rng.uniform(0.02, 0.12) * step
    value = float(rng.uniform(-3, 3)) * step
    s = prior_sd**2 + noise_sd**2
    moved, shrink, log_density = grid._interval(np.array([[value]]), np.array([[step]]), np.array([[s]]))
    v = np.linspace(max(value - step / 2, -60 * s**0.5), min(value + step / 2, 60 * s**0.5), 200001)
    if v[-1] <= v[0]:
        return  # further off than sixty spreads: no quadrature in double precision
    log_f = -0.5 * v * v / s
    f = np.exp(log_f - log_f.max())
    z = np.trapezoid(f, v)
    mean = np.trapezoid(f * v, v) / z
    var = np.trapezoid(f * (v - mean) ** 2, v) / z
    assert moved[0, 0] == pytest.approx(mean, abs=1e-4 * step)
    assert s - s * s * shrink[0, 0] == pytest.approx(var, abs=2e-3 * s)
    by_hand = np.log(z) + log_f.max() - 0.5 * np.log(2 * np.pi * s) - np.log(step)
    assert log_density[0, 0] == pytest.approx(by_hand, rel=1e-3, abs=1e-3)


def test_far_readings_do_not_break_the_bank():
    for value in (1e6, -1e6, 1e12):
        bank = random_bank(np.random.default_rng(1), 1, 3)
        sight = random_sight(np.random.default_rng(2), 1, 3, coarse=False)
        sight.value[0] = value
        update(bank, sight)
        assert np.isfinite(bank.mean).all()
        assert np.isfinite(bank.cov).all()
        assert np.exp(bank.log_weight).sum() == pytest.approx(1.0)
