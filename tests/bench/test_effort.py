"""The judge of the round: its curve-reading by hand-worked numbers, its water the same under every plan."""

from __future__ import annotations

import numpy as np
import pytest
from bench.effort import equal_effort, equal_risk, falling
from bench.effort_keeper import EVERYTHING, Effort, live, scheduled
from bench.table import Figure, show

pytestmark = pytest.mark.law
KEY = [("soft", 1)]


def effort(tests_a_week: float, harm: float) -> dict[tuple[str, int], Effort]:
    """One system of 100 days with so many tests a week and so much harm in 100 days."""
    return {KEY[0]: Effort(100.0, {"ph": tests_a_week * 100 / 7}, out_aim={"ph": harm})}  # type: ignore[dict-item]


def test_the_nearest_falling_series_pools_what_rises():
    # worked by hand: 5 and 7 rise, so both become 6; 2 and 4 become 3
    assert falling(np.array([9.0, 5.0, 7.0, 2.0, 4.0])).tolist() == [9.0, 6.0, 6.0, 3.0, 3.0]


def test_equal_risk_is_read_between_two_schedules_by_the_log_of_tests():
    plans = {7.0: effort(8.0, 100.0), 28.0: effort(2.0, 200.0)}
    tests, word = equal_risk(plans, effort(1.0, 150.0), KEY)
    assert tests == pytest.approx(4.0)  # the geometric middle of 2 and 8
    assert word == ""
    assert equal_risk(plans, effort(1.0, 90.0), KEY) == (pytest.approx(8.0), "at least")
    assert equal_risk(plans, effort(1.0, 300.0), KEY) == (pytest.approx(2.0), "at most")
    assert equal_effort(plans, effort(4.0, 0.0), KEY, "harm") == pytest.approx(150.0)


def test_a_schedule_tests_everything_as_often_as_it_says_and_the_same_seed_lives_the_same_life():
    once, again = (live(5, "soft", 70, 14, scheduled(7.0, 14)) for _ in range(2))
    assert once == again
    assert once.tests == dict.fromkeys(EVERYTHING, 8)  # 56 counted days
    assert live(5, "soft", 70, 14, scheduled(14.0, 14)).tests == dict.fromkeys(EVERYTHING, 4)


def test_who_never_tests_fares_worse_than_who_tests_each_week():
    seeds = range(40, 46)
    never = [live(s, "mixed", 160, 14, scheduled(1e9, 14)).harm for s in seeds]
    weekly = [live(s, "mixed", 160, 14, scheduled(7.0, 14)).harm for s in seeds]
    assert np.mean(weekly) < 0.8 * np.mean(never)


def test_a_missed_aim_is_printed_as_missed(capsys):
    figures = [
        Figure("slow", 700.0, "ms", 100.0, "imports", 600), Figure("quick", 30.0, "ms", 100.0, "", 600),
        Figure("thrice", 350.0, "ms", 100.0, "", 3, of_ratio=True), Figure("without", 1.0, "ms"),
    ]  # fmt: skip
    assert show("Figures", figures) == 2
    said = capsys.readouterr().out.splitlines()
    assert ["MISSED" in line for line in said if line.startswith("  ")] == [False, True, False, True, False]
