"""A backlog shows the same as if it had come in time; what is late is kept and not shown again."""

from __future__ import annotations

import numpy as np
from tests.watch import house

from leadline.detect.observe import Observer
from leadline.system.description import parse
from leadline.watch.showing import show, together

MIN = 60.0
SYSTEM = parse(house.REEF)
TIMES = np.arange(0.0, 5 * 3600.0, MIN) + 1_780_000_000.0  # the last hour of which is the present
HOT = 25.0 + np.maximum(TIMES - TIMES[0] - 4.1 * 3600.0, 0.0) * 6.0 / 3600.0


def names(found):
    return {(f.name, f.holds) for f in found}


def test_a_backlog_shows_what_minutes_would_have_shown():
    one = Observer(SYSTEM)
    by_minute = []
    for k in range(len(TIMES)):
        by_minute += show(one, {"temperature": (TIMES[k : k + 1], HOT[k : k + 1])}, TIMES[k]).findings
        by_minute += one.tick(TIMES[k])
    at_once = show(Observer(SYSTEM), {"temperature": (TIMES, HOT)}, TIMES[-1] + MIN).findings
    high = [("temperature-heading-high", True), ("temperature-high", True)]
    assert set(high) <= names(by_minute)
    assert set(high) <= names(at_once)
    for name, _ in high:
        live = next(f.at_s for f in by_minute if f.name == name)
        late = next(f.at_s for f in at_once if f.name == name)
        assert abs(live - late) <= 10 * MIN


def test_late_points_are_flagged_as_not_evaluated_and_shown_to_nobody():
    observer = Observer(SYSTEM)
    show(observer, {"temperature": (TIMES, np.full(len(TIMES), 25.0))}, TIMES[-1])
    shown = show(observer, {"temperature": (TIMES - 30.0, np.full(len(TIMES), 31.0))}, TIMES[-1])
    assert shown.late == len(TIMES)
    assert shown.findings == []
    assert set(shown.flags["temperature"].tolist()) == {2}


def test_flags_follow_each_point_through_a_long_backlog():
    """Thirty hours at once: more than is kept in hand. A single wild point among them fails, and no other."""
    times = np.arange(0.0, 30 * 3600.0, MIN) + TIMES[0]
    values = 25.0 + 0.02 * np.sin(np.arange(len(times)))
    values[700] = -55.0
    shown = show(Observer(SYSTEM), {"temperature": (times, values)}, times[-1])
    assert shown.flags["temperature"][700] == 4
    assert (shown.flags["temperature"] == 4).sum() == 1


def test_a_sender_s_clock_that_is_ahead_foretells_nothing():
    shown = show(Observer(SYSTEM), {"temperature": (TIMES, HOT)}, TIMES[-1] - 200.0)
    assert all(f.at_s <= TIMES[-1] - 200.0 for f in shown.findings)


def test_batches_of_one_stream_become_one_and_the_last_word_counts():
    t, v = together([(np.array([1.0, 3.0]), np.array([1.0, 3.0])), (np.array([2.0, 3.0]), np.array([2.0, 9.0]))])
    assert t.tolist() == [1.0, 2.0, 3.0]
    assert v.tolist() == [1.0, 2.0, 9.0]


def test_a_backlog_that_comes_after_time_was_looked_at_is_still_looked_at():
    """A watch that was ticked at the present gets what a device kept while it was away: a return pump that stopped."""
    system = parse(house.REEF + '[[equipment]]\nid = "return-pump"\ntype = "pump"\n')
    observer = Observer(system)
    days = np.arange(0.0, 3 * 86400.0, 300.0) + TIMES[0] - 3 * 86400.0
    show(observer, {"return-pump": (days, np.ones(len(days)))}, days[-1])
    later = TIMES[0] + 5 * 3600.0
    observer.tick(later)
    away = np.arange(TIMES[0] + 300.0, later, 300.0)
    shown = show(observer, {"return-pump": (away, np.zeros(len(away)))}, later)
    assert shown.history  # it stopped hours ago: nobody is called twice, but it stands
    assert "return-pump-stopped" in observer.standing


def test_nobody_is_called_about_what_came_and_went_long_ago():
    observer = Observer(SYSTEM)
    old = np.where((TIMES[0] + 3600.0 < TIMES) & (TIMES[0] + 2 * 3600.0 > TIMES), 31.0, 25.0)
    shown = show(observer, {"temperature": (TIMES, old)}, TIMES[-1] + 1.0)
    assert shown.history
    assert not [f for f in shown.findings if f.holds]
    assert "temperature-high" not in observer.standing
