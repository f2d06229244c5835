"""Headings: forecasts that fall when they say, days that repeat themselves, steps, leaps and drifts."""

from __future__ import annotations

import re

import numpy as np
import pytest
from tests.detect.plant import DAY, HOUR, MINUTE, first, found_in, system

from leadline.alarms.decide import priority
from leadline.detect.edges import Course, arrival, bent
from leadline.detect.hand import Track
from leadline.detect.machines.slopes import kendall, theil_sen, until

PH = '[[stream]]\nid = "ph"\nquantity = "ph"\nunit = "1"\nperiod = "60 s"\n'
SALT = '[[stream]]\nid = "salinity"\nquantity = "salinity"\nunit = "psu"\nperiod = "60 s"\n'
T = np.arange(0.0, 12 * DAY, MINUTE)


def noisy(values, sd, seed=1):
    return np.round(values + sd * np.random.default_rng(seed).standard_normal(len(T)), 2)


def spoken(found):
    return [f.name for f in found if f.holds and str(priority(f.harm_s, consequence=f.consequence)) != "low"]


def test_a_day_that_swings_past_the_aim_each_noon_heads_nowhere():
    """pH from 8.05 to 8.55 each day, aim to 8.45, limit 8.6: steep every morning, never there."""
    day = 8.30 + 0.25 * np.sin(2 * np.pi * T / DAY)
    found = found_in(system(PH), {"ph": (T, noisy(day, 0.008))})
    assert [f for f in found if f.at_s > 4 * DAY] == []


def test_the_same_swing_with_a_rise_on_top_is_told():
    day = 8.30 + 0.22 * np.sin(2 * np.pi * T / DAY) + 0.10 * np.clip((T - 8.1 * DAY) / (2 * HOUR), 0.0, 3.0)
    passed = T[np.flatnonzero((day > 8.6) & (T > 8 * DAY))[0]]
    heading = first(found_in(system(PH), {"ph": (T, noisy(day, 0.008))}), "ph-heading-high")
    assert 8.1 * DAY < heading.at_s < passed - 0.2 * HOUR
    assert heading.at_s + heading.harm_s == pytest.approx(passed, abs=1.5 * HOUR)


def test_a_steepening_way_is_foretold_by_its_last_half_hour():
    """Twice as steep each hour: the line over an hour and a half trails it by hours, the last half hour does not."""
    begin = 6 * DAY
    warm = 25.2 + np.where(begin < T, 0.15 * (2.0 ** np.minimum((T - begin) / HOUR, 6.0) - 1.0), 0.0)
    passed = T[np.flatnonzero(warm > 28.5)[0]]
    found = found_in(system(), {"temperature": (T[begin + 6 * HOUR > T], noisy(warm, 0.02)[begin + 6 * HOUR > T])})
    heading = first(found, "temperature-heading-high")
    assert heading.at_s < passed - HOUR
    assert abs(heading.at_s + heading.harm_s - passed) < 0.6 * HOUR
    assert re.search(r"faster and faster: the limit of 28\.5 °C is reached between \d\d:\d\d and ", heading.because)


def test_a_step_from_poured_water_heads_nowhere():
    warm = np.full(len(T), 25.0)
    for day in (4.0, 6.5, 9.2):
        late = day * DAY < T
        warm[late] -= 1.1 * np.exp(-(T[late] - day * DAY) / (8 * HOUR))
    found = found_in(system(), {"temperature": (T, noisy(warm, 0.02))})
    assert spoken(found) == []


def test_a_probe_in_the_hand_for_eight_minutes_passes_no_limit():
    """Census B07: a step of kelvins within minutes is the probe."""
    warm = np.full(len(T), 25.0)
    for day in range(2, 11, 2):
        warm[(day * DAY <= T) & (day * DAY + 480.0 > T)] = 21.8
    found = found_in(system(), {"temperature": (T, noisy(warm, 0.02))})
    assert not [f for f in found if f.name in ("temperature-low", "temperature-heading-low")]


def test_a_leap_that_stays_is_told_after_all():
    warm = np.where(6 * DAY < T, 21.8, 25.0)
    found = found_in(system(), {"temperature": (T, noisy(warm, 0.02))})
    told = [f for f in found if f.holds and 6 * DAY < f.at_s < 6 * DAY + HOUR]
    assert told
    assert any(f.name in ("temperature-low", "temperature-out-of-water") for f in told)


def test_a_slow_drift_is_told_inside_the_aim_days_before():
    """Salinity rises by 0.25 a day from 35.0; its limit of 37.5 is ten days away."""
    salt = 35.0 + 0.25 * np.maximum(T / DAY - 7.0, 0.0)
    drift = first(found_in(system(SALT), {"salinity": (T, noisy(salt, 0.03))}), "salinity-drifts-high")
    assert drift.value < 36.0
    assert drift.at_s + drift.harm_s == pytest.approx(17.0 * DAY, abs=1.5 * DAY)
    assert str(priority(drift.harm_s)) == "low"


def test_until_agrees_with_newtons_law_by_hand():
    """28.5 °C from 25.5 with 0.5 K/h that dies away in 10 h: ends at 30.5; 10 h · ln(5/2) = 9.163 h."""
    assert until(25.5, 0.5 / HOUR, 28.5, 10 * HOUR) == pytest.approx(9.163 * HOUR, rel=1e-3)
    assert until(25.5, 0.2 / HOUR, 28.5, 10 * HOUR) == np.inf  # it comes to rest at 27.5
    assert until(25.5, -0.2 / HOUR, 28.5, 10 * HOUR) == np.inf


@pytest.mark.published
def test_theil_sen_and_mann_kendall_against_scipy():
    from scipy import stats

    rng = np.random.default_rng(5)
    for n in (6, 11, 14):
        x, y = np.arange(n, dtype=float), rng.standard_normal(n)
        assert theil_sen(x, y) == pytest.approx(stats.theilslopes(y, x).slope)
        tau = stats.kendalltau(x, y).statistic  # S = tau·n(n−1)/2; var S = n(n−1)(2n+5)/18 (Kendall 1975)
        wanted = tau * n * (n - 1) / 2 / np.sqrt(n * (n - 1) * (2 * n + 5) / 18)
        assert kendall(y) == pytest.approx(wanted)


def test_a_course_needs_three_days_and_tells_the_usual_change():
    track, course = Track("ph", "ph", 300.0), Course()
    for now in np.arange(0.0, 6 * DAY, 600.0):
        t = np.array([now + 300.0, now + 600.0])
        v = 8.0 + 0.1 * (t % DAY) / DAY  # climbs by 0.1 a day, falls back at midnight
        track.add(t, v, v)
        course.learn(track, now + 600.0)
        if now < 2.5 * DAY:
            assert course.ahead(now) is None
    slope, path = course.ahead(5 * DAY + 12 * HOUR)
    assert slope * DAY == pytest.approx(0.1, rel=0.05)
    assert path[-1] == pytest.approx(0.025, rel=0.1)  # six hours: a quarter of the day's climb


def test_a_bent_way_by_hand():
    """2.5 K at 0.5 K/h steepening by 0.5 K/h each hour: 0.5 t + 0.25 t² = 2.5 at t = 2.3166 h."""
    assert bent(26.0, 0.5 / HOUR, 0.5 / HOUR**2, 28.5) == pytest.approx(2.3166 * HOUR, rel=1e-4)


def test_arrival_without_a_course_is_the_straight_line():
    assert arrival(26.0, 0.5 / HOUR, 28.5, None) == pytest.approx(5 * HOUR)
