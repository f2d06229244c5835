"""QARTOD flags against the reference implementation: its worked rows (sheet 4.1), and itself on chance data.

The reference is U.S. IOOS `ioos_qc` 3.0.0, an independent program; rows QC-1 to QC-8 are what it gave when run once.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.detect.trust import (
    FAIL,
    LIMITS,
    MISSING,
    PASS,
    SUSPECT,
    UNKNOWN,
    attenuated_range,
    attenuated_sd,
    climatology,
    flag,
    flat_line,
    gross_range,
    hour_of_day,
    neighbour,
    rate_of_change,
    spike,
    spike_by_average,
    worst,
)

NAN = float("nan")
X = np.array([25.1, 25.2, 25.1, 27.0, 25.2, 25.1, NAN, 25.0, 24.9, 31.0, 25.0, -1.0])
HOURLY = np.arange(12) * 3600.0
TEN_MINUTES = np.arange(10) * 600.0


START = np.datetime64("2024-01-01", "ns")


@pytest.fixture(scope="module")
def qartod():
    """The reference; its imports and its arithmetic on missing values warn."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        module = pytest.importorskip("ioos_qc.qartod")

    def run(test, *args, **more):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return np.asarray(getattr(module, test)(*args, **more)).tolist()

    return run


def moments(t):
    return START + (t * 1e9).astype("timedelta64[ns]")


# values on a grid of 1/64, so that no sum or difference is rounded and no tie depends on the program
GRID = st.lists(
    st.one_of(st.integers(-64, 64 * 40).map(lambda n: n / 64.0), st.just(NAN)), min_size=3, max_size=60
)  # fmt: skip
THRESHOLD = st.integers(1, 64 * 6).map(lambda n: n / 64.0 + 1 / 256)  # between the grid's steps: no ties


@pytest.mark.published
def test_gross_range():
    assert gross_range(X, (0, 45), (22, 29)).tolist() == [1, 1, 1, 1, 1, 1, 9, 1, 1, 3, 1, 4]


@pytest.mark.published
def test_spike_by_the_smaller_step():
    # the manuals' "average" method also flags the good neighbours of a spike (2 1 3 3 3 2 9 2 4 4 4 2 here); this one
    # does not, which is why it is used
    assert spike_by_average(X, 0.5, 2.0).tolist() == [2, 1, 3, 3, 3, 2, 9, 2, 4, 4, 4, 2]
    assert spike(X, 0.5, 2.0).tolist() == [2, 1, 1, 3, 1, 2, 9, 2, 1, 4, 1, 2]


@pytest.mark.published
def test_rate_of_change():
    # the reference with a second threshold of 3/h fails the last three of these; on purpose a fast change alone is
    # only suspect here, since a water change is fast too
    assert rate_of_change(X, HOURLY, 0.5 / 3600).tolist() == [1, 1, 1, 3, 3, 1, 9, 1, 1, 3, 3, 3]
    assert rate_of_change(X, HOURLY, 0.5 / 3600, 3 / 3600).tolist() == [1, 1, 1, 3, 3, 1, 9, 1, 1, 4, 4, 4]


@pytest.mark.published
def test_flat_line():
    y = np.array([8.10, 8.11, 8.12, 8.12, 8.12, 8.12, 8.12, 8.12, 8.13, 8.2])
    assert flat_line(y, TEN_MINUTES, 1800, 3000, 0.01).tolist() == [1, 1, 1, 1, 3, 3, 4, 4, 1, 1]
    # the comparison is range < tolerance: a tolerance of nought never flags, in the reference as here
    assert flat_line(np.full(10, 8.1), TEN_MINUTES, 1800, 3000, 0.0).tolist() == [1] * 10


@pytest.mark.published
def test_attenuated_signal():
    z = np.array([8.10, 8.15, 8.20, 8.15, 8.10, 8.101, 8.100, 8.101, 8.100, 8.101])
    assert attenuated_sd(z, TEN_MINUTES, 0.02, 0.002, 1800, 3).tolist() == [2, 2, 1, 1, 1, 1, 4, 4, 4, 4]


@pytest.mark.published
def test_climatology():
    x, january_to_june = np.array([25, 26.5, 26.5, 24, 31]), np.array([0, 0, 1, 1, 1])
    spans, wide = np.array([[24, 26], [25, 27.5]]), np.array([[20, 30], [20, 30]])
    assert climatology(x, january_to_june, spans, wide).tolist() == [1, 3, 1, 3, 4]
    # the manuals never fail a point by climatology alone, and neither does ours without an outer span
    assert climatology(x, january_to_june, spans).tolist() == [1, 3, 1, 3, 3]


@pytest.mark.published
def test_roll_up_differs_on_purpose(qartod):
    rows = [np.array([1, 1, 2, 9, 4]), np.array([1, 3, 1, 1, 1]), np.array([2, 2, 2, 9, 9])]
    assert qartod("qartod_compare", rows) == [1, 3, 1, 1, 4]  # a pass hides a missing value
    assert worst(*rows).tolist() == [1, 3, 1, 9, 9]


@pytest.mark.published
@settings(max_examples=60, deadline=None)
@given(x=GRID, a=THRESHOLD, b=THRESHOLD)
def test_point_tests_agree_with_the_reference(qartod, x, a, b):
    x, low, high = np.array(x), min(a, b), max(a, b)
    t = np.arange(len(x)) * 300.0
    assert gross_range(x, (1, 30), (5, 20)).tolist() == qartod("gross_range_test", x, (1, 30), (5, 20))
    assert spike_by_average(x, low, high).tolist() == qartod("spike_test", x, low, high)
    assert spike(x, low, high).tolist() == qartod("spike_test", x, low, high, method="differential")
    assert (
        rate_of_change(x, t, low / 300, high / 300).tolist()
        == qartod("rate_of_change_test", x, moments(t), low / 300, high / 300)
    )  # fmt: skip


@pytest.mark.published
@settings(max_examples=60, deadline=None)
@given(
    x=st.lists(st.sampled_from([8.0, 8.0, 8.0, 8.25, 8.5]), min_size=8, max_size=60),
    minutes=st.sampled_from([1, 5, 10]),
)  # fmt: skip
def test_flat_line_agrees_with_the_reference_on_even_points(qartod, x, minutes):
    """On uneven ones, or with values missing, it counts points where ours counts seconds."""
    x, t = np.array(x), np.arange(len(x)) * 60.0 * minutes
    args = (180 * minutes, 420 * minutes, 0.3)
    assert flat_line(x, t, *args).tolist() == qartod("flat_line_test", x, moments(t), *args)


@pytest.mark.published
@settings(max_examples=60, deadline=None)
@given(x=GRID, gaps=st.lists(st.sampled_from([60.0, 600.0, 2400.0]), min_size=60, max_size=60), least=st.integers(1, 5))
def test_attenuated_signal_agrees_with_the_reference(qartod, x, gaps, least):
    x, t = np.array(x), np.cumsum(gaps[: len(x)])
    more = {"test_period": 3600, "min_obs": least}
    theirs = qartod("attenuated_signal_test", x, moments(t), 9.0071, 3.0071, check_type="std", **more)
    assert attenuated_sd(x, t, 9.0071, 3.0071, 3600.0, least).tolist() == theirs
    # on purpose: by range, one missing value makes the reference give up its whole window; ours goes on without it
    x = x[np.isfinite(x)]
    if len(x):
        theirs = qartod("attenuated_signal_test", x, moments(t[: len(x)]), 9.0071, 3.0071, check_type="range", **more)
        assert attenuated_range(x, t[: len(x)], 9.0071, 3.0071, 3600.0, least).tolist() == theirs


@pytest.mark.published
@settings(max_examples=60, deadline=None)
@given(x=GRID, edge=st.integers(1, 22))
def test_climatology_agrees_with_the_reference(qartod, x, edge):
    """Two spans by the hour of the day; what lies in none is not evaluated."""
    x, t = np.array(x), np.arange(len(x)) * 3700.0
    hour = hour_of_day(t)
    row = np.where(hour <= edge - 1, 0, np.where(hour == 23, -1, 1))
    config = [
        {"tspan": (0, edge - 1), "vspan": (5, 20), "fspan": (0, 30), "period": "hour"},
        {"tspan": (edge, 22), "vspan": (8, 25), "fspan": (4, 38), "period": "hour"},
    ]
    theirs = qartod("climatology_test", config, x, moments(t), np.full(len(x), NAN))
    spans, wide = np.array([[5, 20], [8, 25]]), np.array([[0, 30], [4, 38]])
    got = climatology(x, row, spans, wide)
    there = np.isfinite(x)
    assert got[there].tolist() == np.array(theirs)[there].tolist()
    assert (got[~there] == MISSING).all()  # on purpose: where a span holds, the reference lets a missing value pass


@pytest.mark.law
def test_neighbours():
    """By the manuals: suspect where two sensors of one water differ; the reference has no such test."""
    t, other_t = np.arange(6) * 60.0, np.array([30.0, 90.0, 150.0, 210.0])
    x = np.array([25.0, 25.1, 27.0, NAN, 25.0, 25.0])
    other = np.array([25.2, 25.2, 25.2, 25.2])
    assert neighbour(x, t, other, other_t, 0.5, 45.0).tolist() == [1, 1, 3, 9, 1, 2]
    assert neighbour(x, t, other * NAN, other_t, 0.5, 45.0).tolist() == [2, 2, 2, 9, 2, 2]


@pytest.mark.law
def test_what_is_not_known_is_not_judged():
    spans = np.array([[24.0, 26.0], [NAN, NAN]])
    got = climatology(np.array([20.0, 20.0, 20.0, NAN]), np.array([0, 1, -1, 0]), spans)
    assert got.tolist() == [SUSPECT, UNKNOWN, UNKNOWN, MISSING]
    assert attenuated_range(np.full(3, NAN), np.arange(3.0), 1, 0.1, 10, 1).tolist() == [9, 9, 9]
    assert attenuated_sd(np.zeros(0), np.zeros(0), 1, 0.1, 10, 1).tolist() == []


@pytest.mark.law
def test_the_worst_flag_stands_and_missing_is_never_passed():
    # the reference's own roll-up lets one pass hide a missing value; here missing stands over everything
    got = worst(np.array([1, 1, 2, 9, 4]), np.array([1, 3, 1, 1, 1]), np.array([2, 2, 2, 9, 9]))
    assert got.tolist() == [1, 3, 1, 9, 9]


@pytest.mark.law
@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.sampled_from([-0.03, -0.008, -0.003, 0.0, 0.0, 0.004, 0.009, 0.03]), min_size=1, max_size=40),
    st.lists(st.sampled_from([60.0, 600.0, 5000.0]), min_size=46, max_size=46),
    st.integers(0, 6),
)  # fmt: skip
def test_flat_line_is_what_its_definition_says(moves, gaps, repeat):
    """A point is flat when everything in the stretch before it, as long as the threshold, lies within the tolerance."""
    values = [*(8.1 + np.cumsum(moves)), *[8.1 + sum(moves)] * repeat]
    x, t = np.array(values), np.cumsum(gaps[: len(values)])
    got = flat_line(x, t, 1800, 6000, 0.02)
    for k in range(len(x)):
        flat_for = 0.0
        for j in range(k, -1, -1):
            if not x[j : k + 1].max() - x[j : k + 1].min() < 0.02:
                break
            flat_for = t[k] - t[j]
        assert got[k] == (FAIL if flat_for >= 6000 else SUSPECT if flat_for >= 1800 else PASS)


@pytest.mark.law
def test_missing_points_neither_break_nor_begin_a_flat_stretch():
    x = np.array([NAN, 8.3, NAN, 8.1, 8.1, NAN, 8.1, 8.1])
    # from the first 8.1 on: 0, 600, 1800, 2400 s
    assert flat_line(x, np.arange(8) * 600.0, 1800, 2400, 0.01).tolist() == [9, 1, 9, 1, 1, 9, 3, 4]


@pytest.mark.law
def test_flags_of_a_day_of_a_healthy_probe_and_of_a_sick_one():
    minutes = np.arange(1440) * 60.0
    rng = np.random.default_rng(4)
    good = 25.4 + 0.3 * np.sin(minutes / 86400 * 2 * np.pi) + rng.normal(0, 0.02, 1440)
    assert (flag("temperature", minutes, good)[1:-1] == PASS).all()
    sick = good.copy()
    sick[700] += 4.0  # one spike
    sick[800:830] = -127.0  # a broken cable
    sick[900] = NAN
    flags = flag("temperature", minutes, sick)
    assert flags[700] == FAIL
    assert (flags[800:830] == FAIL).all()
    assert flags[900] == MISSING
    assert (flags[[699, 702, 899, 902]] != FAIL).all()


@pytest.mark.law
def test_equipment_states_are_not_judged():
    assert flag("", np.arange(4) * 60.0, np.array([0, 1, NAN, 1])).tolist() == [2, 2, 9, 2]
    for quantity in LIMITS:
        assert len(flag(quantity, np.zeros(0), np.zeros(0))) == 0
        assert len(flag(quantity, np.zeros(1), np.ones(1))) == 1
