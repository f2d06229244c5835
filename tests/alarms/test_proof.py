"""Proof of paths: the sheet's values for common cause and proof tests, and what counts as proved."""

from __future__ import annotations

import datetime as dt
import math
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.alarms.proof import DOWN, Proven, due_s, mean_unavailability, miss, nobody
from leadline.system.orders import Rhythm

DAY = 86400.0


def proven(proved=0.0, *, path="mail", shares=(), answered=0, missed=0, days=0.0, overdue=False):
    return Proven("keeper", path, proved, None, overdue, answered, missed, days, shares)


@pytest.mark.published
def test_common_cause_dominates():
    """Sheet 5.4, DLV-1: channels of 0.98, 0.95 and 0.99, and 0.5 % common cause: 0.00500995; without it 1e-5."""
    three = [(0.02, ("c",)), (0.05, ("c",)), (0.01, ("c",))]
    assert miss(three, {"c": 0.005}) == pytest.approx(0.00500995, abs=5e-9)
    assert miss([(q, ()) for q, _ in three], {}) == pytest.approx(1e-5, rel=1e-9)


@pytest.mark.published
@pytest.mark.parametrize(("days", "expected"), [(1, 0.0041551), (7, 0.0286077), (30, 0.1152031)])
def test_mean_unavailability_between_proofs(days, expected):
    """Sheet 5.4, DLV-2: a path that fails once in 120 days, proved daily, weekly, monthly."""
    assert mean_unavailability(days, 120.0) == pytest.approx(expected, abs=5e-8)


def test_the_mean_is_that_of_the_chance_over_an_interval():
    """The instant's chance, averaged by the trapezoid rule over a week, is the sheet's mean."""
    n = 2000
    chances = [proven().dead(7 * DAY * k / n) for k in range(n + 1)]
    mean = (sum(chances) - 0.5 * (chances[0] + chances[-1])) / n
    assert mean == pytest.approx(0.0286077, abs=1e-6)


def test_two_paths_that_share_power_and_net():
    """By hand: both down when something shared is down, else both by their own faults."""
    one, two = proven(shares=("mains", "internet")), proven(path="push", shares=("mains", "internet"))
    own = 1 - math.exp(-2 / 120)
    up = (1 - DOWN["mains"]) * (1 - DOWN["internet"]) * (1 - DOWN["watch"])  # all share the watch's own machine
    assert nobody([one, two], 2 * DAY) == pytest.approx(1 - up + up * own * own, rel=1e-12)


def test_nobody_to_tell_is_certain_and_an_unproved_path_is_a_coin():
    assert nobody([], 0.0) == 1.0
    watch = DOWN["watch"]
    assert nobody([proven(None)], 0.0) == pytest.approx(watch + (1 - watch) * 0.5)
    assert nobody([proven(0.0, overdue=True)], 0.0) == pytest.approx(watch + (1 - watch) * 0.9)


def test_its_own_misses_teach_it():
    """Gamma(1, 120 d) prior: one miss in 240 days of being proved is 2 in 360."""
    assert proven(missed=1, days=240.0).rate_per_day() == pytest.approx(2 / 360)


@pytest.mark.law
@given(q=st.lists(st.floats(0, 1), min_size=1, max_size=4), extra=st.floats(0, 1), c=st.floats(0, 1))
def test_one_more_path_never_hurts(q, extra, c):
    before = miss([(x, ("c",)) for x in q], {"c": c})
    assert miss([*[(x, ("c",)) for x in q], (extra, ("c",))], {"c": c}) <= before + 1e-12
    assert miss([*[(x, ("c",)) for x in q], (extra, ())], {"c": c}) <= before + 1e-12


OSLO = "Europe/Oslo"


def at(text):
    return dt.datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(OSLO)).timestamp()


@pytest.mark.parametrize(
    ("last", "due"),
    [
        ("2026-05-01T18:00:05", "2026-05-02T18:00"),
        ("2026-05-01T09:00", "2026-05-01T18:00"),  # asked by hand in the morning: the evening's still comes
        ("2026-10-24T18:00:05", "2026-10-25T18:00"),  # the clocks go back in between: 25 hours
        ("2026-03-28T18:00:05", "2026-03-29T18:00"),  # and forward: 23 hours
    ],
)
def test_the_next_proof_is_at_the_set_hour_of_the_wall_clock(last, due):
    assert due_s(Rhythm(), at(last), at(last) + 1.0, OSLO) == at(due)


def test_a_weekly_rhythm():
    assert due_s(Rhythm(every_d=7), at("2026-05-01T09:00"), 0.0, OSLO) == at("2026-05-08T18:00")


def test_the_first_is_due_at_once():
    assert due_s(Rhythm(), None, 123.0, OSLO) == 123.0
