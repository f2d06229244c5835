"""The bank of filters held to filters in print, and to a reference library run beside it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import linalg
from tests.estimate.filters import gap, one_filter, reading, without_blunders

from leadline.estimate import grid
from leadline.estimate.grid import (
    GAIN,
    KIT1,
    KIT2,
    LEVEL,
    PROBE,
    SECOND,
    mixture_cdf,
    predict,
    transition_noise,
    update,
)

sm = pytest.importorskip("statsmodels.api")
pytestmark = pytest.mark.published

# variances of the local level model of the Nile at Aswan: Durbin and Koopman (2012), Time Series Analysis by State
# Space Methods, 2nd ed., section 2.2 (as printed there: 15 099 and 1 469.1)
NOISE, WALK = 15099.0, 1469.1


@pytest.fixture(scope="module")
def nile():
    return sm.datasets.nile.load_pandas().data["volume"].to_numpy(dtype=float)


@pytest.fixture(autouse=True)
def plain(monkeypatch):
    without_blunders(monkeypatch)


def run_level(y, noise=NOISE, walk=WALK):
    """Ours from the first flow on, whose diffuse prior leaves level y₁ and variance of the noise (D & K, 2.9)."""
    noise, walk = np.atleast_1d(noise), np.atleast_1d(walk)
    g = len(noise)
    bank = one_filter(y[0], noises=g)
    bank.cov[0, :, LEVEL, LEVEL] = noise
    levels, variances, log_density, standard = [y[0]], [bank.cov[0, 0, 0, 0]], np.zeros(g), []
    for value in y[1:]:
        predict(bank, gap(1.0, level_walk=walk, noises=g))
        if not np.isnan(value):
            seen = update(bank, reading(value, noise, noises=g))
            z2 = (value - seen.expected[0]) ** 2 / seen.variance[0]
            log_density += -0.5 * (z2 + np.log(2 * np.pi * seen.variance[0]))
            standard.append(z2[0])
        levels.append(bank.mean[0, 0, LEVEL])
        variances.append(bank.cov[0, 0, LEVEL, LEVEL])
    return bank, np.array(levels), np.array(variances), log_density, np.array(standard)


def test_nile_filtered_levels_as_printed_and_as_the_reference_library(nile):
    bank, levels, variances, log_density, standard = run_level(nile)
    theirs = sm.tsa.UnobservedComponents(nile, "llevel", use_exact_diffuse=True).smooth([NOISE, WALK])
    # same algebra in double precision: 1e-6 of a level near 1000 leaves room for the order of operations only
    np.testing.assert_allclose(levels, theirs.filtered_state[0], rtol=0, atol=1e-6)
    np.testing.assert_allclose(variances, theirs.filtered_state_cov[0, 0], rtol=1e-9)
    # Durbin and Koopman (2012), figure 2.1 and section 2.2.5: level of 1970 and the steady state, 4 032.16
    assert levels[-1] == pytest.approx(798.370, abs=1e-3)
    assert variances[-1] == pytest.approx(4032.158, abs=1e-3)
    # log-likelihood of the 99 innovations: Durbin and Koopman (2012), table 2.1 (-632.54 at convergence)
    assert log_density[0] == pytest.approx(-632.5456, abs=1e-4)
    assert standard.sum() == pytest.approx(98.998, abs=1e-3)
    # forecasts one, ten and thirty years ahead, variance of a new observation
    theirs_ahead = theirs.get_forecast(30)
    predict(bank, gap(1.0, level_walk=WALK))
    assert bank.cov[0, 0, 0, 0] + NOISE == pytest.approx(theirs_ahead.var_pred_mean[0], rel=1e-9)
    predict(bank, gap(29.0, level_walk=WALK))
    assert bank.cov[0, 0, 0, 0] + NOISE == pytest.approx(63204.16, abs=0.01)
    assert bank.mean[0, 0, 0] == pytest.approx(theirs_ahead.predicted_mean[-1], abs=1e-6)


def test_nile_with_two_stretches_missing(nile):
    # Durbin and Koopman (2012), section 2.7: flows 21 to 40 and 61 to 80 left out
    gappy = nile.copy()
    gappy[20:40] = gappy[60:80] = np.nan
    _, levels, variances, _, _ = run_level(gappy)
    theirs = sm.tsa.UnobservedComponents(gappy, "llevel", use_exact_diffuse=True).smooth([NOISE, WALK])
    np.testing.assert_allclose(levels, theirs.filtered_state[0], atol=1e-6)
    np.testing.assert_allclose(variances, theirs.filtered_state_cov[0, 0], rtol=1e-9)
    assert levels[20] == levels[39]  # a level that nobody measures stays where it was …
    assert variances[[19, 20, 39]] == pytest.approx([4032.196, 5501.296, 33414.196], abs=0.01)  # … and opens


def test_evidence_weighs_noise_scales_as_the_likelihood_does(nile):
    noise = np.array([NOISE, 5000.0, 30000.0])
    walk = np.array([WALK, 5000.0, 100.0])
    bank, *_ = run_level(nile, noise, walk)
    model = sm.tsa.UnobservedComponents(nile, "llevel", use_exact_diffuse=True)
    theirs = np.array([model.loglike([n, w]) for n, w in zip(noise, walk, strict=True)])
    ours = bank.log_weight[0]
    # the first flow's own term is a constant of the diffuse start, so that differences must agree
    np.testing.assert_allclose(ours - ours[0], theirs - theirs[0], atol=1e-6)
    assert ours.argmax() == 0  # the maximum-likelihood scales win


def test_local_linear_trend():
    # Durbin and Koopman (2012), section 3.2.1; after two points level = y₂ and slope = y₂ - y₁ exactly
    y = np.array([10.0, 10.6, 10.9, 11.7, 12.0])
    noise, level, slope = 0.04, 0.01, 0.0025
    theirs = sm.tsa.UnobservedComponents(y, "lltrend", use_exact_diffuse=True).smooth([noise, level, slope])
    bank = one_filter(10.6, 0.6, theirs.filtered_state_cov[:, :, 1])
    for value in y[2:]:
        predict(bank, gap(1.0, level_walk=level))
        bank.cov[..., SECOND, SECOND] += slope  # the textbook's slope jumps at the step; ours walks between them
        update(bank, reading(value, noise))
    assert bank.mean[0, 0, :2] == pytest.approx([12.0550038515, 0.5069950889], abs=1e-8)
    got = bank.cov[0, 0][[0, 0, 1], [0, 1, 1]]
    assert got == pytest.approx([0.02668508, 0.00931547, 0.01128845], abs=1e-7)


@pytest.mark.parametrize(
    ("days", "rate_walk", "level_walk", "expected"),
    [(7.0, 4e-4, 1e-3, (0.1582 / 3, 0.0098, 0.0028)), (1.0, 4e-4, 1e-3, (0.0034 / 3, 0.0002, 0.0004)),
     (0.5, 4e-4, 1e-3, (0.00155 / 3, 5e-5, 2e-4)), (3.0, 4e-4, 1e-3, (0.0066, 0.0018, 0.0012))],
)  # fmt: skip
def test_integrated_wiener_noise_of_irregular_gaps(days, rate_walk, level_walk, expected):
    # closed form of the integrated Wiener process, and the matrix exponential beside it
    bank = one_filter(0.0)
    predict(bank, gap(days, rate_walk=rate_walk, level_walk=level_walk))
    assert bank.cov[0, 0][[0, 0, 1], [0, 1, 1]] == pytest.approx(expected, rel=1e-9)
    q = van_loan(np.array([[0.0, 1.0], [0.0, 0.0]]), np.diag([level_walk, rate_walk]), days)[1]
    np.testing.assert_allclose(bank.cov[0, 0, :2, :2], q, atol=1e-12)


def van_loan(drift, diffusion, days):
    """Exact discretisation by a matrix exponential: Van Loan (1978), IEEE Trans. Automat. Contr. 23:395."""
    n = len(drift)
    block = np.zeros((2 * n, 2 * n))
    block[:n, :n], block[:n, n:], block[n:, n:] = -drift, diffusion, drift.T
    e = linalg.expm(block * days)
    f = e[n:, n:].T
    return f, f @ e[:n, n:]


@pytest.mark.parametrize("theta", [1e-9, 1e-5, 1.4e-4, 1.5e-4, 1e-3, 0.01, 0.1, 1.0])
def test_mean_reverting_rate_against_the_matrix_exponential(theta):
    days = np.array([7.0])
    f01, f11, q00, q01, q11 = (float(v[0]) for v in transition_noise(days, np.array([theta]), np.array([4e-4])))
    f, q = van_loan(np.array([[0.0, 1.0], [0.0, -theta]]), np.diag([0.0, 4e-4]), 7.0)
    # the closed form loses digits just above where its series ends; 2e-6 of the noise is nothing to any use of it
    assert (f01, f11) == pytest.approx((f[0, 1], f[1, 1]), rel=1e-6)
    assert (q00, q01, q11) == pytest.approx((q[0, 0], q[0, 1], q[1, 1]), rel=2e-6)
    if theta == 0.1:  # worked case
        assert (f01, f11) == pytest.approx((5.03414696, 0.49658530), abs=1e-8)
        assert (q00, q01, q11) == pytest.approx((0.0279488502, 0.0050685271, 0.0015068061), abs=1e-9)


@pytest.mark.parametrize("theta", [0.0, 0.004, 0.3])
def test_two_short_gaps_make_one_long_gap(theta):
    start = np.array([[0.3, 0.05], [0.05, 0.2]])
    whole, parts = one_filter(2.0, -0.4, start), one_filter(2.0, -0.4, start)
    predict(whole, gap(7.0, theta=theta, rate_walk=4e-4, level_walk=1e-3))
    predict(parts, gap(3.0, theta=theta, rate_walk=4e-4, level_walk=1e-3))
    predict(parts, gap(4.0, theta=theta, rate_walk=4e-4, level_walk=1e-3))
    np.testing.assert_allclose(parts.mean, whole.mean, rtol=1e-9)
    # second-order series below theta d = 1e-3, so that the two agree to its remainder
    np.testing.assert_allclose(parts.cov, whole.cov, rtol=1e-8)


def test_three_tests_with_known_doses_between():
    # textbook two-state filter worked in numpy for this case: gaps 7, 3, 11 d, net inputs 5.6, 2.4, 8.8
    bank = one_filter(8.2, -0.8, np.diag([0.04, 0.01]))
    surprise = []
    for days, put_in, value in ((7.0, 5.6, 8.0), (3.0, 2.4, 8.3), (11.0, 8.8, 7.4)):
        predict(bank, gap(days, put_in=put_in, rate_walk=1e-4, level_walk=2.5e-3))
        seen = update(bank, reading(value, 0.0225))
        surprise.append(float((value - seen.expected[0, 0]) ** 2 / seen.variance[0, 0]))
    assert bank.mean[0, 0, :2] == pytest.approx([7.46928194, -0.85372854], abs=1e-7)
    assert bank.cov[0, 0][[0, 0, 1], [0, 1, 1]] == pytest.approx([0.02081228, 0.00157786, 0.00078672], abs=1e-7)
    assert surprise == pytest.approx([0.06879551, 1.59601521, 2.84406156], abs=1e-7)
    predict(bank, gap(7.0, rate_walk=1e-4, level_walk=2.5e-3))  # no dosing at all
    assert (bank.mean[0, 0, 0], bank.cov[0, 0, 0, 0]) == pytest.approx((1.49318213, 0.11038498), abs=1e-7)


def test_all_six_states_against_a_time_varying_reference_filter():
    """Gain, two kits and a probe that drifts, on irregular days with doses: statsmodels' own Kalman filter."""
    from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

    rng = np.random.default_rng(5)
    n, walk, rate_walk, drift = 40, 2e-3, 3e-4, 1e-3
    days, dose, other = rng.uniform(0.2, 9.0, n), rng.uniform(0, 3, n), rng.uniform(-1, 1, n)
    keep = rng.uniform(0.7, 1.0, n)
    slots = rng.choice([KIT1, KIT2, PROBE], n)
    values, noise = rng.normal(8, 1, n), rng.uniform(0.01, 0.05, n)
    prior_mean = np.array([8.0, -0.3, 0.0, 0.0, 0.0, 0.0])
    prior = np.diag([0.5, 0.04, 0.01, 0.02, 0.03, 0.05])
    theirs = KalmanFilter(k_endog=1, k_states=6, k_posdef=6)
    theirs.bind(values[:, None].copy())
    design, transition = np.zeros((1, 6, n)), np.zeros((6, 6, n))
    shift, noise_cov = np.zeros((6, n)), np.zeros((6, 6, n))
    for k in range(n):
        design[0, [LEVEL, slots[k]], k] = 1.0
        j = (k + 1) % n  # their transition k leads from reading k to reading k + 1
        f = np.eye(6)
        f[LEVEL, LEVEL], f[LEVEL, SECOND], f[LEVEL, GAIN] = keep[j], days[j], dose[j]
        transition[:, :, k] = f
        shift[LEVEL, k] = dose[j] + other[j]
        q = van_loan(np.array([[0.0, 1.0], [0.0, 0.0]]), np.diag([walk, rate_walk]), days[j])[1]
        noise_cov[:2, :2, k], noise_cov[PROBE, PROBE, k] = q, drift * days[j]
    theirs["design"], theirs["transition"], theirs["state_intercept"] = design, transition, shift
    theirs["selection"], theirs["state_cov"], theirs["obs_cov"] = np.eye(6), noise_cov, noise[None, None, :]
    first, move = transition[:, :, -1], shift[:, -1]
    theirs.initialize_known(first @ prior_mean + move, first @ prior @ first.T + noise_cov[:, :, -1])
    result = theirs.filter()
    bank = one_filter(0.0)
    bank.mean[0, 0], bank.cov[0, 0] = prior_mean, prior
    for k in range(n):
        predict(
            bank,
            gap(days[k], keep=keep[k], dose=dose[k], put_in=other[k], rate_walk=rate_walk, level_walk=walk,
                probe_walk=drift),
        )  # fmt: skip
        seen = update(bank, reading(values[k], noise[k], slot=int(slots[k])))
        assert seen.variance[0, 0] == pytest.approx(result.forecasts_error_cov[0, 0, k], rel=1e-8)
        np.testing.assert_allclose(bank.mean[0, 0], result.filtered_state[:, k], atol=1e-8)
        np.testing.assert_allclose(bank.cov[0, 0], result.filtered_state_cov[:, :, k], atol=1e-9)


def test_three_hypotheses_at_a_surprising_reading(monkeypatch):
    # generalised pseudo-Bayes of first order, Bar-Shalom, Li and Kirubarajan (2001), ch. 11, worked in numpy for
    # this case: a 1.4 surprise; blunder noise x 25 with prior 0.02, rate step (0.25 |rate| + 0.02)^2 with prior 0.03
    monkeypatch.undo()
    monkeypatch.setattr(grid, "JUMP_PRIOR", 1e-300)  # a fourth hypothesis, which the case in print does not have
    bank = one_filter(8.2, -0.8, np.diag([0.04, 0.01]))
    predict(bank, gap(7.0, put_in=5.6, rate_walk=1e-4, level_walk=2.5e-3))
    step_var = (0.25 * 0.8 + 0.02) ** 2
    seen = update(bank, reading(9.6, 0.0225, days=7.0, step_prior=0.03, step_var=step_var))
    assert seen.hypotheses[0] == pytest.approx([0.918758, 0.031358, 0.049884], abs=1e-5)
    assert bank.mean[0, 0, :2] == pytest.approx([9.52705922, -0.62457715], abs=1e-6)
    assert bank.cov[0, 0][[0, 0, 1], [0, 1, 1]] == pytest.approx([0.04263333, 0.00575125, 0.00302801], abs=1e-7)


def test_coarse_scale_says_only_which_step():
    # prior N(8, 0.3²), 8.5 read on steps of 0.5 with 0.1 of noise: posterior by quadrature (8.370604, 0.145345); the
    # usual Gaussian shortcut gives 8.372414 and 0.151544
    bank = one_filter(8.0, cov=np.array([[0.09]]))
    update(bank, reading(8.5, 0.01, step=0.5))
    assert bank.mean[0, 0, 0] == pytest.approx(8.370604, abs=1e-6)
    assert bank.cov[0, 0, 0, 0] ** 0.5 == pytest.approx(0.145345, abs=1e-6)


def probe_and_reference(days, probe=None, reference=None, start=(0.0, 0.0), var=(1.0, 1.0)):
    """Daily probe with a walking bias, weekly reference: sd just before and after the last reference."""
    bank = one_filter(start[0])
    bank.mean[..., PROBE] = start[1]
    bank.cov[..., LEVEL, LEVEL], bank.cov[..., PROBE, PROBE] = var
    before = after = 0.0
    for day in range(days + 1):
        if day:
            predict(bank, gap(1.0, level_walk=0.05**2, probe_walk=0.02**2))
        update(bank, reading(bank.mean[0, 0, [0, PROBE]].sum() if probe is None else probe[day], 1e-4, slot=PROBE))
        if day % 7 == 0:
            before = bank.cov[0, 0, 0, 0] ** 0.5
            update(bank, reading(bank.mean[0, 0, 0] if reference is None else reference, 0.01))
            after = bank.cov[0, 0, 0, 0] ** 0.5
    return bank, before, after


def test_probe_whose_bias_walks_and_a_weekly_reference():
    # steady state of the two-state problem, worked in numpy; within closed-form limits 0.0829 and 0.0638
    _, before, after = probe_and_reference(700)
    assert (before, after) == pytest.approx((0.0797152, 0.0623336), abs=1e-6)


def test_a_probe_that_drifts_steadily_leaves_a_lag():
    # the water stays at 8.20, the probe reads 0.10 + 0.01 a day too much: a walking bias trails a steady drift
    readings = [8.3 + 0.01 * d for d in range(29)]
    bank, *_ = probe_and_reference(28, readings, 8.2, (8.0, 0.0), (0.25, 0.25))
    assert bank.mean[0, 0, [LEVEL, PROBE]] == pytest.approx([8.2755222, 0.3035141], abs=1e-6)


@pytest.mark.parametrize(("days", "sd", "chance"), [
    (7.0, 0.265600, 2.66247e-4), (10.0, 0.346170, 0.0104167), (14.0, 0.462219, 0.0831123), (21.0, 0.677252, 0.2983047),
])  # fmt: skip
def test_chance_of_being_outside_so_many_days_after_a_test(days, sd, chance):
    # Gaussian closed form: m = 8.2, r = -0.04/d, band 7.0 to 9.5, rate known to 0.03
    bank = one_filter(8.2, -0.04, np.diag([0.15**2, 0.03**2]))
    predict(bank, gap(days, rate_walk=1e-5, level_walk=4e-4))
    s = np.sqrt(bank.cov[:, :, 0, 0])
    assert s[0, 0] == pytest.approx(sd, abs=1e-6)
    cdf = mixture_cdf(np.array([[7.0, 9.5]]), bank.mean[:, :, 0], s, np.ones((1, 1)), np.zeros(1))[0]
    assert cdf[0] + 1 - cdf[1] == pytest.approx(chance, rel=1e-5)
