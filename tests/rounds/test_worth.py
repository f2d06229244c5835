"""Harm avoided: the unit normal loss, the value of a test, and silent failure, against print."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from leadline.estimate.report import Outlook, QuantityEstimate
from leadline.rounds.worth import hinge, mean_unavailability, silent_failure, stakes, value_at


@pytest.mark.published
def test_value_of_one_test_of_two_actions():
    # unit normal loss, Raiffa and Schlaifer (1961), ch. 11 and its table: prior N(8.0, 0.36), test noise 0.09,
    # threshold 7.5, loss slope 10 gives 0.5083731 for a test and 0.6798293 for perfect knowledge
    preposterior = 0.36 / 0.45**0.5
    assert 10 * float(hinge(np.array(-0.5), np.array(preposterior))) == pytest.approx(0.5083731, abs=1e-7)
    assert 10 * float(hinge(np.array(-0.5), np.array(0.6))) == pytest.approx(0.6798293, abs=1e-7)


@pytest.mark.published
@given(st.floats(-4, 4), st.floats(0.05, 3))
def test_hinge_is_the_mean_of_the_positive_part(distance, sd):
    exact = integrate.quad(
        lambda x: x * stats.norm.pdf(x, distance, sd), 0, max(distance, 0) + 10 * sd, epsabs=1e-12, limit=200
    )[0]
    assert float(hinge(np.array(distance), np.array(sd))) == pytest.approx(exact, abs=1e-8)


@pytest.mark.published
@pytest.mark.parametrize(("x", "approximate", "exact"), [(0.0876, 0.0438, 0.0425486), (0.219, 0.1095, 0.1019257)])
def test_mean_unavailability_between_proofs(x, approximate, exact):
    # 1 - (1 - e^-x)/x, against the usual x/2 (functional-safety practice, as in IEC 61508-6)
    assert mean_unavailability(x, 365.25) == pytest.approx(exact, abs=1e-7)
    assert mean_unavailability(x, 365.25) < approximate
    assert mean_unavailability(1e-12, 1.0) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.published
def test_silent_failure():
    # 1/730 per day for 17.088 days: 1 - exp(-17.088/730)
    assert silent_failure(365.25 / 730, 17.088) == pytest.approx(0.0231365, abs=1e-6)
    assert silent_failure(0.5, -3.0) == 0.0


def quantity(mean=8.5, sd=0.4, aim=(7.5, 9.0), limit=(6.0, 12.0), grow=0.0, drift=0.0, name="alkalinity"):
    ahead = tuple(
        Outlook(d, mean + drift * d, (sd**2 + grow * d) ** 0.5, 0.0, 0.0, 0.0) for d in (1.0, 3.0, 7.0, 14.0, 28.0)
    )
    return QuantityEstimate(
        name, "meq/L", mean, sd, mean, mean, mean, mean, mean, drift, 0.1, None, None, None, aim, limit, False, 0.1,
        0.0, ahead, None,
    )  # fmt: skip


@pytest.mark.law
@given(st.floats(5, 13), st.floats(0.02, 3), st.floats(0.02, 3), st.floats(0, 0.2), st.floats(-0.2, 0.2))
def test_a_test_is_never_worth_less_than_nothing_nor_more_than_knowing(mean, sd, noise, grow, drift):
    q = quantity(mean, sd, grow=grow, drift=drift)
    some, perfect, none = (value_at(q, n) for n in (noise, 1e-9, 1e9))
    # fifteen quadrature nodes leave a millionth of a harm-day, a twenty-thousandth of what the round looks at
    assert 0.0 <= some.test <= perfect.test + 1e-6 + 0.02 * perfect.test
    assert none.test == pytest.approx(0.0, abs=1e-6 + 0.01 * none.untouched)
    assert perfect.test <= min(perfect.untouched, perfect.blind) + 1e-9


@pytest.mark.law
def test_worth_of_a_test_by_brute_force():
    """The same decision played out over a fine grid of outcomes: do nothing, or bring it to the middle of the aim."""
    q = quantity(9.0, 0.6, grow=0.02, drift=0.03)
    s = stakes(q)
    noise = 0.15
    v = value_at(q, noise)
    gain = 0.6**2 / (0.6**2 + noise**2)
    z = np.linspace(-8, 8, 4001)
    w = stats.norm.pdf(z) * (z[1] - z[0])
    from leadline.rounds.worth import ACT_COST, LOOK_D

    expected = 0.0
    times = np.array([0.0, 0.5, 1.0]) * LOOK_D
    spread = np.array([0.6**2 + 0.02 * t for t in times])
    weights = np.array([0.25, 0.5, 0.25]) * LOOK_D
    left = np.sqrt(spread - 0.6**2 * gain)
    for zi, wi in zip(z, w, strict=True):
        level = 9.0 + gain**0.5 * 0.6 * zi
        alone = float((weights * s.expected(level + 0.03 * times, left)).sum())
        acted = ACT_COST * s.severity * LOOK_D + float((weights * s.expected(s.middle + 0.03 * times, left)).sum())
        expected += wi * min(alone, acted)
    # fifteen nodes over a kink: a few percent of the value is the price
    assert v.test == pytest.approx(min(v.untouched, v.blind) - expected, rel=0.08)


@pytest.mark.law
def test_more_doubt_near_an_edge_makes_a_test_worth_more():
    worths = [value_at(quantity(8.9, sd), 0.15).test for sd in (0.05, 0.2, 0.4, 0.8)]
    assert worths == sorted(worths)
    assert value_at(quantity(8.25, 0.05), 0.15).test < 0.01 * worths[-1]


@pytest.mark.law
def test_a_quantity_without_a_band_asks_for_nothing():
    q = dataclasses.replace(quantity(), aim=None, limit=None)
    assert value_at(q, 0.1).test == value_at(q, 0.1).dose == 0.0
