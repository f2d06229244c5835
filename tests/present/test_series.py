"""Thinning keeps every spike."""

import random
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.present.series import apart, thinned

SHORT = [0.0, 1.1, 0.3, -0.2, 9.0, 0.5, -0.4, -4.0, 0.2, 0.7, 1.3, 0.1]


@pytest.mark.published
def test_min_max_to_eight_points_agrees_with_another_program():
    # tsdownsample 0.1.5.1, MinMaxDownsampler, n_out=8 on the same series
    assert thinned(SHORT, 8) == [0, 1, 3, 4, 7, 8, 10, 11]


@pytest.mark.published
def test_two_opposite_spikes_side_by_side_both_stay():
    # -1 at 5000 and +1 at 5001 of 10,000 zeros, to 50 points: min-max keeps both, where
    # largest-triangle thinning (tsdownsample 0.1.5.1, LTTB) keeps one of them only
    values = [0.0] * 10_000
    values[5000], values[5001] = -1.0, 1.0
    assert {5000, 5001} <= set(thinned(values, 50))


@pytest.mark.law
@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=400), st.integers(2, 80))
def test_extremes_and_ends_always_stay_and_order_is_kept(values, most):
    kept = thinned(values, most)
    assert kept == sorted(set(kept))
    assert kept[0] == 0
    assert kept[-1] == len(values) - 1
    assert min(values[i] for i in kept) == min(values)
    assert max(values[i] for i in kept) == max(values)
    assert len(kept) <= max(most, 2) + 2


def test_a_short_series_is_left_alone():
    assert thinned(SHORT, 12) == list(range(12))


@pytest.mark.law
def test_what_stands_apart_keeps_its_distance_and_the_last_one():
    chance = random.Random(3)
    places = sorted(chance.uniform(0, 100) for _ in range(200))
    kept = apart(places, 7.0)
    assert kept[-1] == 199
    assert all(places[b] - places[a] >= 7.0 for a, b in pairwise(kept))
    assert apart([], 7.0) == []
