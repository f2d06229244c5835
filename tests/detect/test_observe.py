"""A system under watch: what is noticed when, and what is left in peace."""

from __future__ import annotations

import numpy as np
import pytest

from leadline.detect.observe import Observer, merged
from leadline.system.description import parse

SYSTEM = """
[system]
id = "north"
time_zone = "Europe/Oslo"
net_volume = "600 L"
[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"
period = "60 s"
[[band]]
quantity = "temperature"
aim = ["24.5 degC", "26.5 degC"]
limit = ["22.5 degC", "28.5 degC"]
"""
HOUR = 3600.0
TIMES = np.arange(0.0, 48 * HOUR, 60.0)
QUIET = 25.2 + 0.5 * np.sin(2 * np.pi * TIMES / 86400.0)


def run(values, times=TIMES):
    """Every finding of a recording of one stream, in order."""
    observer, found = Observer(parse(SYSTEM)), []
    rng = np.random.default_rng(1)
    values = values + rng.normal(0.0, 0.02, len(values))
    for now, slices in merged({"temperature": (times, values)}, 600.0):
        for stream, inside in slices.items():
            found += observer.take(stream, times[inside], values[inside])
        found += observer.tick(now)
    return found


def test_a_quiet_tank_is_left_in_peace():
    assert run(QUIET) == []


def test_a_rise_is_foretold_before_the_limit_and_named_at_it():
    rising = np.maximum(QUIET, 25.2 + 0.5 * (TIMES / HOUR - 20.0))  # half a kelvin an hour from hour 20 on
    found = run(rising)
    names = [(f.name, f.holds) for f in found]
    assert names[0] == ("temperature-heading-high", True)
    heading = found[0]
    passed = 20.0 + (28.5 - 25.2) / 0.5  # hours, by hand
    assert heading.at_s < (passed - 1.5) * HOUR
    assert heading.harm_s == pytest.approx(passed * HOUR - heading.at_s, rel=0.15)
    high = next(f for f in found if f.name == "temperature-high")
    assert passed * HOUR + 240.0 <= high.at_s <= (passed + 0.5) * HOUR  # the on-delay of five minutes, and noise
    assert high.harm_s == 0.0


def test_silence_is_a_finding_and_so_is_being_heard_again():
    there = (TIMES < 10 * HOUR) | (TIMES > 14 * HOUR)
    found = run(QUIET[there], TIMES[there])
    assert [(f.name, f.holds) for f in found] == [("temperature-silent", True), ("temperature-silent", False)]
    assert 10 * HOUR + 900.0 <= found[0].at_s <= 10 * HOUR + 1500.0


def test_a_probe_that_shows_what_cannot_be_is_distrusted_and_raises_no_limit():
    broken = QUIET.copy()
    broken[(TIMES > 10 * HOUR) & (TIMES < 12 * HOUR)] = -55.0
    found = run(broken)
    assert ("temperature-distrusted", True) in [(f.name, f.holds) for f in found]
    assert ("temperature-distrusted", False) in [(f.name, f.holds) for f in found]
    assert not any(f.name in ("temperature-low", "temperature-high") for f in found)


def test_a_slow_broken_probe_is_distrusted_too():
    """Points on a grid of five minutes leave two in the quarter of an hour before its end."""
    times = np.arange(0.0, 24 * HOUR, 300.0)
    found = run(np.where(times > 10 * HOUR, 99.0, 25.2), times)
    assert [(f.name, f.holds) for f in found] == [("temperature-distrusted", True)]
    assert found[0].at_s < 10.6 * HOUR


def test_what_is_past_its_limit_has_not_returned():
    """A tank that heats through its limit and stays there: the forecast stands until it comes back."""
    hot = np.interp(TIMES / HOUR, [0, 20, 30, 36, 42], [25.2, 25.2, 32.0, 32.0, 25.2])
    found = [f for f in run(hot) if f.name == "temperature-heading-high"]
    assert [f.holds for f in found] == [True, False]
    assert found[1].at_s > 38.9 * HOUR  # by hand: 28.5 °C again at 39.1 h, smoothed a little


def test_short_visits_and_single_spikes_are_nothing():
    spiky = QUIET.copy()
    spiky[::400] = 33.0
    spiky[1000:1003] = 29.0
    assert [f.name for f in run(spiky)] == []


def test_windows_cover_every_point_once():
    times = np.array([0.0, 599.0, 600.0, 601.0, 3000.0])
    windows = list(merged({"a": (times, times), "b": (times[1:3], times[1:3])}, 600.0))
    for name, wanted in (("a", [0, 1, 2, 3, 4]), ("b", [0, 1])):
        seen = [k for _, s in windows if name in s for k in range(s[name].start, s[name].stop)]
        assert seen == wanted
    assert [now for now, _ in windows] == [600.0, 1200.0, 1800.0, 2400.0, 3000.0, 3600.0]


def test_time_stands_still_in_a_long_gap():
    """A clock that once said the year 1 must not cost a hundred million windows."""
    times = np.array([-6.2e10, 0.0, 3000.0, 2.5e11])
    nows = [now for now, _ in merged({"a": (times, times)}, 600.0, 1500.0)]
    assert nows[1:] == [nows[0] + 600.0, nows[0] + 1200.0] + [600.0, 1200.0, 1800.0, 3600.0, 4200.0, 4800.0, nows[-1]]
    assert 2.5e11 < nows[-1] <= 2.5e11 + 600.0
