"""QARTOD flags against the worked rows of the reference implementation (U.S. IOOS qartod, version 3.0.0, run once)."""

from __future__ import annotations

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
    flag,
    flat_line,
    gross_range,
    rate_of_change,
    spike,
    worst,
)

NAN = float("nan")
X = np.array([25.1, 25.2, 25.1, 27.0, 25.2, 25.1, NAN, 25.0, 24.9, 31.0, 25.0, -1.0])
HOURLY = np.arange(12) * 3600.0
TEN_MINUTES = np.arange(10) * 600.0


@pytest.mark.published
def test_gross_range():
    assert gross_range(X, (0, 45), (22, 29)).tolist() == [1, 1, 1, 1, 1, 1, 9, 1, 1, 3, 1, 4]


@pytest.mark.published
def test_spike_by_the_smaller_step():
    # the manuals' "average" method also flags the good neighbours of a spike (2 1 3 3 3 2 9 2 4 4 4 2 here); this one
    # does not, which is why it is used
    assert spike(X, 0.5, 2.0).tolist() == [2, 1, 1, 3, 1, 2, 9, 2, 1, 4, 1, 2]


@pytest.mark.published
def test_rate_of_change():
    # the reference with a second threshold of 3/h fails the last three of these; on purpose a fast change alone is
    # only suspect here, since a water change is fast too
    assert rate_of_change(X, HOURLY, 0.5 / 3600).tolist() == [1, 1, 1, 3, 3, 1, 9, 1, 1, 3, 3, 3]


@pytest.mark.published
def test_flat_line():
    y = np.array([8.10, 8.11, 8.12, 8.12, 8.12, 8.12, 8.12, 8.12, 8.13, 8.2])
    assert flat_line(y, TEN_MINUTES, 1800, 3000, 0.01).tolist() == [1, 1, 1, 1, 3, 3, 4, 4, 1, 1]
    # the comparison is range < tolerance: a tolerance of nought never flags, in the reference as here
    assert flat_line(np.full(10, 8.1), TEN_MINUTES, 1800, 3000, 0.0).tolist() == [1] * 10


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
