"""Dead-band and delays: batches of any size say the same, delays hold, noise at the edge stays quiet."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.detect.limits import Memory, Rule, Turn, watch

MINUTE = 60.0


def plain(rule: Rule, times, values) -> list[Turn]:
    """The same by the book, point by point: an oracle of its own."""
    turns, beyond, since, counts = [], False, -math.inf, False
    for t, v in zip(times, values, strict=True):
        if math.isnan(v):
            continue
        past = (v - rule.edge) * (1 if rule.above else -1)
        side = True if past > 0 else False if past < -rule.dead_band else beyond
        if side != beyond:
            beyond, since = side, t
        due = since + (rule.on_delay_s if beyond else rule.off_delay_s)
        if beyond != counts and due <= t:
            turns.append((max(due, t) if due == -math.inf else due, beyond))
            counts = beyond
    return turns


@pytest.mark.law
@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.tuples(st.floats(1.0, 600.0), st.floats(24.0, 30.0)), min_size=1, max_size=60),
    st.floats(0.0, 1.0), st.floats(0.0, 900.0), st.floats(0.0, 900.0), st.booleans(), st.integers(1, 60),
)  # fmt: skip
def test_any_batches_say_what_the_book_says(points, dead_band, on_delay, off_delay, above, size):
    rule = Rule(27.0, above, dead_band, on_delay, off_delay)
    times = np.cumsum([gap for gap, _ in points])
    values = np.array([v for _, v in points])
    memory, found = Memory(), []
    for k in range(0, len(times), size):
        found += watch(rule, memory, times[k : k + size], values[k : k + size])
    wanted = plain(rule, times, values)
    assert [(pytest.approx(t.at_s), t.holds) for t in found] == wanted
    assert [t.holds for t in found] == [k % 2 == 0 for k in range(len(found))]  # true, ended, true …


def test_an_on_delay_is_waited_for_and_a_short_visit_is_nothing():
    rule = Rule(28.5, True, 0.2, on_delay_s=300.0, off_delay_s=900.0)
    times = np.arange(0.0, 3600.0 * 3, MINUTE)
    values = np.full(len(times), 26.0)
    values[10:13] = 29.0  # three minutes
    values[60:100] = 29.0  # forty
    turns = watch(rule, Memory(), times, values)
    assert [(t.at_s, t.holds) for t in turns] == [(3900.0, True), (6900.0, False)]
    assert turns[0].value == 29.0


def test_a_single_point_beyond_is_no_five_minutes():
    """Points every five minutes and a second: the next one already shows it back."""
    rule, memory = Rule(28.5, True, 0.2, on_delay_s=300.0, off_delay_s=900.0), Memory()
    times = np.array([0.0, 301.0, 602.0, 903.0])
    found = [watch(rule, memory, times[k : k + 1], np.array([v])) for k, v in enumerate([25.0, 30.0, 25.0, 25.0])]
    assert found == [[], [], [], []]


def test_missing_points_say_nothing():
    rule = Rule(28.5, True, 0.2)
    memory = Memory()
    assert watch(rule, memory, np.array([0.0, 60.0]), np.array([29.0, np.nan]))[0].holds
    assert watch(rule, memory, np.array([120.0, 180.0]), np.array([np.nan, np.nan])) == []
    assert memory.counts


@pytest.mark.published
@pytest.mark.parametrize(("dead_band", "a_day"), [(0.0, 360.0), (1.0, 173.4), (2.0, 31.33)])
def test_noise_at_the_edge_alarms_as_often_as_printed(dead_band, a_day):
    """Sheet 5.3: white noise of sd s at the limit, one sample a minute: 360, 173.4, 31.33 alarms a day for 0, 1, 2 s.

    Four hundred days of samples: the counts scatter by some 1 %, fewer alarms by 3 %.
    """
    days = 400
    values = np.random.default_rng(5).normal(0.0, 1.0, days * 1440)
    turns = watch(Rule(0.0, True, dead_band), Memory(), np.arange(len(values)) * MINUTE, values)
    assert sum(t.holds for t in turns) / days == pytest.approx(a_day, rel=0.04)


@pytest.mark.published
def test_a_dead_band_of_three_sds_keeps_noise_quiet():
    """Sheet 5.3: 1.939 alarms a day at three sds."""
    values = np.random.default_rng(6).normal(0.0, 1.0, 400 * 1440)
    turns = watch(Rule(0.0, True, 3.0), Memory(), np.arange(len(values)) * MINUTE, values)
    assert sum(t.holds for t in turns) / 400 == pytest.approx(1.939, rel=0.1)
