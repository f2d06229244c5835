"""The figures of IEC 62682 / ISA-18.2 over made-up nights and floods, counted by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.alarms.alarm import Event, State
from leadline.alarms.decide import Priority
from leadline.alarms.performance import chatter_index, measure
from leadline.alarms.raised import Happened

DAY = 86400.0


def spoke(at, name="x", priority=Priority.LOW, cause=""):
    return Happened(at, "reef", name, Event.ALARM, State.NORMAL, State.UNACKNOWLEDGED, priority, cause)


def back(at, name="x"):
    return Happened(at, "reef", name, Event.RETURN, State.UNACKNOWLEDGED, State.RETURNED, Priority.LOW)


def seen(at, name="x"):
    return Happened(at, "reef", name, Event.ACKNOWLEDGE, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, Priority.LOW)


@pytest.mark.published
def test_chatter_index():
    """Sheet 5.2, MET-2: runs of 1, 1, 2, 5 and 10 s give 0.56."""
    assert chatter_index([0, 1, 2, 4, 9, 19]) == pytest.approx(0.56)


def test_a_flood_begins_at_eleven_in_ten_minutes_and_ends_under_five():
    """Eleven alarms a half minute apart: the flood begins with the eleventh, at 300 s. The last five alarms leave the
    ten minutes one by one; after 180 + 600 = 780 s... fewer than five are left when the one at 180 s has left."""
    events = [spoke(30.0 * k, f"n{k}") for k in range(11)]
    f = measure(events, 0.0, DAY, {})
    assert f.floods == 1
    assert f.most_in_ten_minutes == 11
    # the times are 0, 30 … 300; five are left in the window until the one at 180 s leaves it, at 780 s
    assert f.flood_share * DAY == pytest.approx(780.0 - 300.0)
    assert f.busy_share == pytest.approx(1 / 144)


def test_ten_are_no_flood():
    assert measure([spoke(30.0 * k) for k in range(10)], 0.0, DAY, {}).floods == 0


def test_shares_answers_and_stale():
    events = [
        spoke(0.0, "a", Priority.URGENT), seen(120.0, "a"), back(30 * 3600.0, "a"), spoke(40.0, "b"), back(70.0, "b"),
        spoke(50.0, "c", cause="a"), spoke(3 * DAY, "d", Priority.HIGH),
    ]  # fmt: skip
    f = measure(sorted(events, key=lambda e: e.at_s), 0.0, 7 * DAY, {0.0: True, 3 * DAY: False})
    assert f.announced == 3  # what follows from a cause is not told by itself
    assert f.by_priority == {"low": pytest.approx(1 / 3), "medium": 0.0, "high": pytest.approx(1 / 3),
                             "urgent": pytest.approx(1 / 3)}  # fmt: skip
    assert f.answered == 1
    assert f.median_answer_s == 120.0
    assert f.fleeting == 1
    assert f.stale["reef a"] == pytest.approx(30 / 24)
    assert f.stale["reef d"] == pytest.approx(4.0)
    assert f.nights == 1
    assert f.per_week == pytest.approx(3.0)


def test_an_empty_month():
    f = measure([], 0.0, 30 * DAY, {})
    assert f.announced == 0
    assert f.median_answer_s is None
    assert f.flood_share == 0.0


@pytest.mark.law
@given(st.lists(st.floats(0, 20000), max_size=60))
def test_the_most_in_any_ten_minutes_is_what_counting_finds(times):
    times = sorted(times)
    f = measure([spoke(t) for t in times], 0.0, DAY, {})
    by_hand = max((sum(t - 600.0 < u <= t for u in times) for t in times), default=0)
    assert f.most_in_ten_minutes == by_hand
    assert (f.floods > 0) == (by_hand > 10)
    assert 0.0 <= f.flood_share <= 1.0
