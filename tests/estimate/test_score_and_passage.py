"""Scores, intervals and first passage against values in print and reference libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from leadline.estimate.grid import mixture_cdf
from leadline.estimate.passage import brownian, from_uncertain
from leadline.estimate.score import calibration, gaussian_crps, mixture_crps, mixture_pit

properscoring = pytest.importorskip("properscoring")


def one(x: float) -> np.ndarray:
    return np.array([float(x)])


@pytest.mark.published
@pytest.mark.parametrize(("mean", "sd", "y", "crps", "pit"), [
    (0, 1, 0, 0.2336949773, 0.5), (0, 1, 1, 0.6024413576, 0.8413447), (0, 1, 2, 1.4527918217, 0.9772499),
    (8.2, 0.3, 8.65, 0.2983272012, 0.9331928), (420, 12, 404, 10.2472077584, 0.0912112),
])  # fmt: skip
def test_gaussian_scores(mean, sd, y, crps, pit):
    # Gneiting and Raftery (2007), J. Am. Stat. Assoc. 102:359, eq. 21; values also by properscoring 0.1
    assert gaussian_crps(one(mean), one(sd), one(y))[0] == pytest.approx(crps, abs=1e-9)
    assert properscoring.crps_gaussian(y, mean, sd) == pytest.approx(crps, abs=1e-9)
    assert mixture_pit(one(y), np.array([[mean]]), np.array([[sd]]), np.ones((1, 1)))[0] == pytest.approx(pit, abs=1e-7)


@pytest.mark.published
def test_mixture_score_of_one_component_is_the_gaussian_one():
    got = mixture_crps(one(8.65), np.array([[8.2, 8.2]]), np.array([[0.3, 0.3]]), np.array([[0.4, 0.6]]))
    assert got[0] == pytest.approx(0.2983272012, abs=1e-9)


@pytest.mark.published
def test_mixture_score_against_the_definition_and_an_ensemble():
    mean, sd, w = np.array([[7.0, 8.5, 9.1]]), np.array([[0.3, 0.1, 1.2]]), np.array([[0.5, 0.2, 0.3]])
    for y in (6.0, 8.4, 11.0):
        got = mixture_crps(one(y), mean, sd, w)[0]

        def below(x):
            return float((w[0] * stats.norm.cdf(x, mean[0], sd[0])).sum())

        # CRPS = integral of (F - step)², Matheson and Winkler (1976); quadrature good to 1e-8
        left = integrate.quad(lambda x, f=below: f(x) ** 2, -5, y, limit=400)[0]
        right = integrate.quad(lambda x, f=below: (1 - f(x)) ** 2, y, 22, limit=400)[0]
        assert got == pytest.approx(left + right, abs=1e-7)
        shares = [(np.arange(n) + 0.5) / n for n in (1000, 400, 600)]  # evenly through each component
        ensemble = np.concatenate([stats.norm.ppf(p, m, s) for p, m, s in zip(shares, mean[0], sd[0], strict=True)])
        # an ensemble of 2 000 stands for the mixture to about its spacing, 1/2000 of the spread
        assert properscoring.crps_ensemble(y, ensemble) == pytest.approx(got, abs=2e-3)


@pytest.mark.published
@pytest.mark.parametrize(("n", "low", "high"), [(26, 20, 26), (52, 42, 51), (104, 87, 99)])
def test_hits_of_a_90_percent_interval_that_chance_allows(n, low, high):
    # 2.5 and 97.5 % of a binomial with p = 0.9
    within = calibration(np.full(n, 0.5), np.ones(n), np.ones(n)).within
    assert within == (low, high)


@pytest.mark.published
@pytest.mark.parametrize(("claimed", "cover"), [(0.5, 0.5892), (0.7, 0.7504), (0.8, 0.8118), (1.25, 0.9602)])
def test_coverage_of_a_claimed_spread(claimed, cover):
    # 2 Phi(1.6449 k) - 1: what a "90 %" interval covers when the claimed sd is k times the true one
    truth = stats.norm.ppf((np.arange(20000) + 0.5) / 20000)
    pit = mixture_pit(truth, np.zeros((20000, 1)), np.full((20000, 1), claimed), np.ones((20000, 1)))
    found = calibration(pit, np.ones(20000), np.ones(20000))
    assert found.hits_90 / found.readings == pytest.approx(cover, abs=2e-4)
    assert found.verdict == ("narrow" if claimed < 1 else "wide")


@pytest.mark.law
def test_bins_hold_every_reading_and_few_readings_are_not_judged():
    pit = np.array([0.0, 0.04, 0.5, 0.96, 1.0])
    found = calibration(pit, np.ones(5), np.ones(5))
    assert sum(found.pit) == found.readings == 5
    assert (found.hits_50, found.hits_90, found.verdict) == (1, 1, "few")


@pytest.mark.published
@pytest.mark.parametrize(("days", "distance", "drift", "walk", "chance"), [
    (7, 1.2, 0.04, 0.2, 0.0694834), (14, 1.2, 0.04, 0.2, 0.2991549), (30, 1.2, 0.04, 0.2, 0.6568583),
    (1, 1.0, 0.0, 1.0, 0.3173105), (30, 1.2, -0.04, 0.2, 0.0595888),
])  # fmt: skip
def test_first_passage_of_one_edge(days, distance, drift, walk, chance):
    # inverse Gaussian law, Karatzas and Shreve (1991), eq. 3.5.12; the driftless case is twice 1 - Phi(1)
    assert brownian(one(days), one(distance), one(drift), one(walk))[0] == pytest.approx(chance, abs=1e-6)
    if drift > 0:  # scipy's inverse Gaussian with mean a/mu and shape a²/sigma²
        mean, shape = distance / drift, distance**2 / walk**2
        assert stats.invgauss.cdf(days, mean / shape, scale=shape) == pytest.approx(chance, abs=1e-6)


@pytest.mark.published
@pytest.mark.parametrize(("days", "exact"), [(0.25, 0.0910005), (0.5, 0.3145543), (1.0, 0.6292226), (2.0, 0.8920230)])
def test_two_edges_are_added_and_capped_on_purpose(days, exact):
    """The exact chance (theta series, Karatzas and Shreve 1991, section 2.8) is never above ours; ours is never lax."""
    got = from_uncertain(days, -1.0, 1.0, one(0), one(1e-14), one(0), one(0), one(0), one(1.0))[0]
    assert got >= exact - 1e-6
    assert got <= min(1.0, 2 * 2 * stats.norm.sf(1 / days**0.5)) + 1e-6
    if days == 0.25:
        assert got == pytest.approx(exact, abs=1e-5)  # while a second crossing is rare the two agree


@pytest.mark.published
def test_first_passage_from_an_uncertain_start_and_with_an_uncertain_rate():
    # quadrature over the start N(8.2, 0.15²), and over the drift N(0.04, 0.03²); seven nodes are good to 1e-4
    start = from_uncertain(14.0, -np.inf, 9.5, one(8.2), one(0.15**2), one(0.04), one(0), one(0), one(0.04))[0]
    assert start == pytest.approx(0.2545703, abs=1e-4)
    rate = from_uncertain(14.0, -np.inf, 1.2, one(0), one(0), one(0.04), one(0.03**2), one(0), one(0.04))[0]
    assert rate == pytest.approx(0.3217115, abs=1e-4)


@pytest.mark.law
@given(
    st.floats(0.1, 60), st.floats(0.01, 5), st.floats(-1, 1), st.floats(0.01, 2), st.floats(1.01, 4),
)  # fmt: skip
def test_first_passage_is_a_probability_that_grows_with_time(days, distance, drift, walk, later):
    a, b = (brownian(one(d), one(distance), one(drift), one(walk))[0] for d in (days, days * later))
    assert 0.0 <= a <= b + 1e-9 <= 1.0 + 1e-9
    at_end = stats.norm.sf((distance - drift * days) / (walk * days**0.5))
    assert a >= at_end - 1e-9  # ever outside is at least outside at the end


@pytest.mark.law
@settings(max_examples=60, deadline=None)
@given(st.data())
def test_quantiles_invert_the_mixture(data):
    from leadline.estimate.grid import Bank
    from leadline.estimate.outlook import Mixture

    g = data.draw(st.integers(1, 6))
    mean = np.zeros((1, g, 6))
    mean[0, :, 0] = data.draw(st.lists(st.floats(-3, 30), min_size=g, max_size=g))
    cov = np.zeros((1, g, 6, 6))
    cov[0, :, 0, 0] = np.array(data.draw(st.lists(st.floats(0.05, 5), min_size=g, max_size=g))) ** 2
    w = np.array(data.draw(st.lists(st.floats(0.01, 1), min_size=g, max_size=g)))
    positive = np.array([float(data.draw(st.booleans()))])
    mix = Mixture(Bank(mean, cov, np.log(w / w.sum())[None]), np.zeros(1), positive)
    p = np.array([0.05, 0.25, 0.5, 0.75, 0.95])
    q = mix.quantiles(p)
    assert (np.diff(q[0]) >= 0).all()
    if positive[0]:
        assert (q >= 0).all()
        mass = (w / w.sum() * stats.norm.sf(-mean[0, :, 0] / cov[0, :, 0, 0] ** 0.5)).sum()
        if mass < 1e-6:
            return  # all of it lies below nothing: no such reading can be
    # the distribution itself, written out with scipy rather than with the code under test
    m, s = mean[0, :, 0], cov[0, :, 0, 0] ** 0.5
    below = (w / w.sum() * stats.norm.cdf((q[0][:, None] - m) / s)).sum(axis=1)
    if positive[0]:
        nought = (w / w.sum() * stats.norm.cdf(-m / s)).sum()
        below = (below - nought) / (1 - nought)
    np.testing.assert_allclose(below, p, atol=1e-6)
    np.testing.assert_allclose(mixture_cdf(q, mix.mean, mix.sd, mix.weight, positive)[0], p, atol=1e-6)


@pytest.mark.law
@settings(max_examples=40, deadline=None)
@given(st.floats(-1, 6), st.floats(0.2, 3), st.floats(0.2, 3), st.floats(0.05, 0.95))
def test_mean_and_sd_after_the_cut_at_zero_by_quadrature(m1, s1, s2, w1):
    from leadline.estimate.grid import Bank
    from leadline.estimate.outlook import Mixture

    mean, cov = np.zeros((1, 2, 6)), np.zeros((1, 2, 6, 6))
    mean[0, :, 0], cov[0, :, 0, 0] = (m1, 3.0), (s1**2, s2**2)
    mix = Mixture(Bank(mean, cov, np.log([[w1, 1 - w1]])), np.zeros(1), np.ones(1))
    x = np.linspace(0, 40, 80001)
    f = w1 * stats.norm.pdf(x, m1, s1) + (1 - w1) * stats.norm.pdf(x, 3.0, s2)
    f /= np.trapezoid(f, x)
    mu = np.trapezoid(f * x, x)
    got_mean, got_sd = mix.moments()
    assert got_mean[0] == pytest.approx(mu, abs=1e-4)
    assert got_sd[0] == pytest.approx(np.trapezoid(f * (x - mu) ** 2, x) ** 0.5, abs=1e-4)
