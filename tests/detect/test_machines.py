"""Pumps, top-off, floats and duty: what is told of them and when; arithmetic by hand stands beside each figure."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.detect.plant import DAY, HOUR, MINUTE, first, found_in, system

from leadline.alarms.decide import priority
from leadline.detect.machines.states import Machine, kind_of
from leadline.detect.observe import Observer
from leadline.system.description import parse

TOPOFF = '[[equipment]]\nid = "topoff-1"\ntype = "topoff"\nrate = "30 L/h"\nreservoir = "200 L"\n'
BROKE = 9.3 * DAY


def minutes(days):
    return np.arange(round(days * 1440)) * MINUTE


def spoken(found):
    return [f.name for f in found if f.holds and str(priority(f.harm_s, consequence=f.consequence)) != "low"]


# -- states ----------------------------------------------------------------------------------------


def test_a_stream_is_a_machine_by_its_equipment_its_own_word_or_its_name():
    s = parse(system('[[equipment]]\nid = "cooler"\ntype = "chiller"\nstream = "plug-3"\n'))
    assert kind_of(s, "plug-3")[0] == "chiller"
    assert kind_of(s, "cooler")[0] == "chiller"
    assert kind_of(s, "heater-7") == ("heater", None)
    assert kind_of(s, "return-pump") == ("pump", None)
    assert kind_of(s, "kitchen") == ("", None)


@pytest.mark.parametrize("size", [1, 7, 600])
def test_running_totals_do_not_depend_on_batches(size):
    t = minutes(1.0)
    on = ((t % 3600.0) < 900.0).astype(float)  # a quarter of each hour
    m = Machine("x", "heater")
    for k in range(0, len(t), size):
        m.take(t[k : k + size], on[k : k + size])
    assert m.on_s == pytest.approx(24 * 900.0, abs=61.0)
    assert m.known_s == pytest.approx(DAY, abs=61.0)
    assert len(m.edges) == 47
    assert {round(s) for _, s in m.runs_s} == {900}


def test_a_plug_in_watts_is_on_above_its_standby():
    m = Machine("x", "heater")
    t = minutes(0.1)
    m.take(t, np.where(t % 1200.0 < 600.0, 198.0, 1.2))
    assert m.in_watts
    assert m.watts == pytest.approx(198.0, abs=1.0)
    assert len(m.edges) == 14


def test_one_absurd_power_spoils_nothing():
    m, t = Machine("x", "heater"), minutes(0.1)
    w = np.where(t % 1200.0 < 600.0, 198.0, 1.2)
    w[20], w[40], w[60] = np.inf, 1e300, np.nan
    m.take(t, w)
    assert m.watts == pytest.approx(198.0, abs=1.0)
    assert len(m.edges) == 14


def test_what_happened_in_a_silence_is_not_known():
    m = Machine("x", "heater")
    m.take(np.array([0.0, 60.0]), np.array([1.0, 1.0]))
    m.take(np.array([7200.0, 7260.0]), np.array([0.0, 0.0]))
    assert m.on_s == 60.0
    assert m.known_s == 120.0
    assert not m.runs_s
    assert not m.edges


# -- pumps -----------------------------------------------------------------------------------------


def pump(days, share):
    t = minutes(days)
    return t, np.round(50.0 * share(t) * (1.0 + 0.01 * np.random.default_rng(3).standard_normal(len(t))), 1)


def test_a_feeding_pause_is_no_stop_and_a_stop_is_known_in_three_quarters_of_an_hour():
    """Census C01: harm 4 to 12 h after a return pump stops; a pause of half an hour is none."""
    t, w = pump(11.0, lambda t: np.where((t % DAY > 64800.0) & (t % DAY < 64800.0 + 1700.0), 0.0, 1.0))
    assert found_in(system(), {"return-pump": (t, w)}) == []
    w = np.where(t > BROKE, 0.0, w)
    stopped = first(found_in(system(), {"return-pump": (t, w)}), "return-pump-stopped")
    assert 35 * MINUTE <= stopped.at_s - BROKE <= 50 * MINUTE
    assert "judgement" in stopped.because  # what is assumed is said
    assert str(priority(stopped.harm_s)) == "high"


def test_a_pump_whose_power_fell_is_weak_and_one_that_wavers_is_not():
    """Census C02: an air-lock draws 40 to 70 %."""
    t, w = pump(11.0, lambda t: np.where(t > BROKE, 0.6, 1.0 + 0.08 * np.sin(t / 9000.0)))
    found = found_in(system(), {"return-pump": (t, w)})
    assert [f.name for f in found] == ["return-pump-weak"]
    assert 0.0 < found[0].at_s - BROKE < HOUR
    assert "30 W" in found[0].because


def test_a_wave_pump_that_rests_as_a_habit_is_left_in_peace():
    t, w = pump(10.0, lambda t: np.where(t % (2 * HOUR) < HOUR, 1.0, 0.0))
    assert found_in(system(), {"wave-pump": (t, w)}) == []


def test_state_zero_of_a_pump_that_always_runs_is_a_stop():
    t = minutes(10.0)
    found = found_in(system(), {"return-pump": (t, np.where(t > BROKE, 0.0, 1.0))})
    assert [f.name for f in found] == ["return-pump-stopped"]


# -- top-off ---------------------------------------------------------------------------------------


def fills(days, litres_d, chance=None):
    """Runs of one minute (half a litre at 30 L/h), so many that `litres_d(t)` a day come about."""
    t = minutes(days)
    owed, on = 0.0, np.zeros(len(t))
    for k, now in enumerate(t):
        owed += litres_d(now) / 1440.0
        if owed >= 0.5:
            on[k], owed = 1.0, owed - 0.5
    return t, on


def test_litres_that_vary_by_a_quarter_are_left_in_peace():
    stream = fills(20.0, lambda t: 4.0 + np.sin(t / DAY))
    assert found_in(system(TOPOFF), {"topoff-1": stream}) == []


def test_a_run_that_does_not_end_is_known_while_there_is_time():
    """391 L at 35 psu reach 32 with 36.7 L of fresh water: 391·(35/32 − 1); at 30 L/h that is 73 minutes."""
    t, on = fills(11.0, lambda t: 4.0)
    found = found_in(system(TOPOFF), {"topoff-1": (t, np.where(t > BROKE, 1.0, on))})
    runs = first(found, "topoff-1-runs-on")
    known = runs.at_s - BROKE
    assert known < 0.35 * 73 * MINUTE
    assert known + runs.harm_s == pytest.approx(73 * MINUTE, rel=0.1)
    assert str(priority(runs.harm_s)) in ("urgent", "high")


def test_a_leak_shows_in_litres():
    """4 L a day evaporate; 8 more are lost and replaced. Census D03: 1 to 14 days by top-off."""
    found = found_in(system(TOPOFF), {"topoff-1": fills(14.0, lambda t: 4.0 if t < BROKE else 12.0)})
    much = first(found, "topoff-1-too-much")
    assert 0.0 < much.at_s - BROKE < 1.5 * DAY
    # 36.7 L too much at 8 L a day: 4.6 days
    assert much.harm_s == pytest.approx(4.6 * DAY, rel=0.4)


def test_a_top_off_that_stays_off_is_known_within_the_day():
    """Census E02: 12 to 24 h to the sign, 3 to 7 days to harm. 391 L reach 37.5 psu when 26 L are gone: 6.5 days."""
    t, on = fills(13.0, lambda t: 4.0)
    found = found_in(system(TOPOFF), {"topoff-1": (t, np.where(t > BROKE, 0.0, on))})
    little = first(found, "topoff-1-too-little")
    assert 0.0 < little.at_s - BROKE < DAY
    assert little.harm_s == pytest.approx(6.5 * DAY, rel=0.3)


def test_a_dry_room_explains_more_litres():
    """The room warms by 6 K and dries the tank: what a measured room explains is no leak; without its sensor 70 %
    more a day would be one."""
    from leadline.model.evaporation import kg_per_day

    t = minutes(16.0)
    room = np.where(t > BROKE, 27.5, 18.0)
    usual, later = kg_per_day(1.0, 25.0, 18.0, 0.5), kg_per_day(1.0, 25.0, 27.5, 0.5)
    stream = fills(16.0, lambda s: 4.0 if s < BROKE else 4.0 * later / usual)
    sensor = '[[stream]]\nid = "air"\nquantity = "temperature"\nunit = "degC"\nroom = true\n'
    streams = {"topoff-1": stream, "temperature": (t, np.full(len(t), 25.0)), "air": (t, room)}
    found = found_in(system(TOPOFF + sensor), streams)
    assert not [f for f in found if f.name.startswith("topoff-1")]


# -- reservoirs ------------------------------------------------------------------------------------

LEVEL = (
    TOPOFF + '[[stream]]\nid = "reservoir-level"\nquantity = "level"\nunit = "m"\nperiod = "60 s"\n'
)  # 200 L stand 0.8 m high: 250 L a metre


def reservoir(days, litres_h, refills=True):
    """Level of 200 L (0.8 m), refilled when a fifth is left; sensor of 2 mm."""
    t = minutes(days)
    left, held = 200.0, np.empty(len(t))
    for k, now in enumerate(t):
        left = max(left - litres_h(now) / 60.0, 0.0)
        left = 200.0 if left < 40.0 and refills and now % DAY < 60.0 else left
        held[k] = left
    return t, np.round(held / 250.0 + 0.002 * np.random.default_rng(6).standard_normal(len(t)), 3)


def test_a_reservoir_that_siphons_is_known_within_the_half_hour():
    """Census E03: 5 to 30 min. 30 L/h; 36.7 L bring 391 L from 35 to 32 psu in 73 minutes (as above)."""
    found = found_in(system(LEVEL), {"reservoir-level": reservoir(10.0, lambda t: 0.4 if t < BROKE else 30.0)})
    assert not [f for f in found if f.holds and f.name.endswith("falls") and f.at_s < BROKE]
    falls = first(found, "reservoir-level-falls")
    assert falls.at_s - BROKE < 31 * MINUTE
    assert "siphon" in falls.because


def test_a_slow_leak_shows_in_the_reservoir_and_a_refill_does_not():
    found = found_in(system(LEVEL), {"reservoir-level": reservoir(16.0, lambda t: 0.4 if t < BROKE else 1.4)})
    falls = first(found, "reservoir-level-falls")
    assert 0.0 < falls.at_s - BROKE < DAY
    quiet = found_in(system(LEVEL), {"reservoir-level": reservoir(20.0, lambda t: 0.4)})
    assert not [f for f in quiet if f.name.endswith("falls")]


def test_a_reservoir_says_when_it_will_be_empty():
    """0.4 L/h out of 200 L: empty after 500 h; three days before that it is said."""
    found = found_in(system(LEVEL), {"reservoir-level": reservoir(20.0, lambda t: 0.4, refills=False)})
    low = first(found, "reservoir-level-low")
    assert low.at_s == pytest.approx(500 * HOUR - 3 * DAY, abs=8 * HOUR)
    assert str(priority(low.harm_s)) == "low"


# -- floats, duty ----------------------------------------------------------------------------------


def test_a_float_that_stopped_changing_is_stuck_and_a_slow_one_is_not():
    t = minutes(12.0)
    moves = ((t // (2.5 * HOUR)) % 2).astype(float)
    found = found_in(system(), {"sump-float": (t, np.where(t > BROKE, 1.0, moves))})
    stuck = first(found, "sump-float-stuck")
    assert 0.0 < stuck.at_s - BROKE < 14 * HOUR
    assert found_in(system(), {"sump-float": (t, moves)}) == []
    assert found_in(system(), {"high-float": (t, np.zeros(len(t)))}) == []  # one that never changed says nothing


def test_duty_that_climbs_names_the_day_on_which_it_can_do_no_more():
    """40 % and 3 points more each day: 100 % twenty days after the first; judged with a room that does not change."""
    t = minutes(16.0)
    share = 0.40 + 0.03 * t / DAY
    state = ((t % 3600.0) < 3600.0 * share).astype(float)
    duty = first(found_in(system(), {"chiller-1": (t, state), "temperature": (t, 25.0 + 0 * t)}), "chiller-1-duty")
    assert duty.at_s + duty.harm_s == pytest.approx(20.0 * DAY, abs=2.0 * DAY)
    assert str(priority(duty.harm_s)) == "low"


def test_duty_that_the_room_explains_does_not_climb():
    t = minutes(16.0)
    room = 22.0 + 0.4 * t / DAY
    share = 0.30 + 0.06 * (room - 22.0) + 0.02 * np.sin(t / DAY * 5.0)
    state = ((t % 3600.0) < 3600.0 * share).astype(float)
    sensor = '[[stream]]\nid = "air"\nquantity = "temperature"\nunit = "degC"\nroom = true\n'
    streams = {"chiller-1": (t, state), "temperature": (t, 25.0 + 0 * t), "air": (t, room)}
    assert not [f for f in found_in(system(sensor), streams) if f.name == "chiller-1-duty"]


# -- whatever comes --------------------------------------------------------------------------------


@pytest.mark.law
@settings(max_examples=25, deadline=None)
@given(st.data())
def test_whatever_a_plug_sends_nothing_breaks(data):
    """Non-numbers, infinities, enormous powers and silences, in every kind of machine's stream."""
    observer = Observer(parse(system(LEVEL)))
    odd = st.sampled_from([0.0, 1.0, 60.0, -5.0, np.nan, np.inf, -np.inf, 1e300])
    now = 0.0
    for _ in range(data.draw(st.integers(5, 60))):
        now += data.draw(st.sampled_from([60.0, 600.0, 3600.0, 2e5]))
        for stream in ("heater-1", "chiller-1", "return-pump", "topoff-1", "sump-float"):
            observer.take(stream, np.array([now, now + 30.0]), np.array([data.draw(odd), data.draw(odd)]))
        observer.take("temperature", np.array([now, now + 30.0]), np.array([25.0, 25.1]))
        for f in observer.tick(now + 60.0):
            assert f.because
            assert f.harm_s is None or f.harm_s >= 0.0
