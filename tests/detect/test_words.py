"""Words of a finding: names, values with their unit in both systems of units, paces, and hours that are not past."""

from __future__ import annotations

import re

import pytest
from tests.detect.plant import DAY, HOUR, chilled, first, found_in, heated, system

from leadline.detect.words import change, edge, named, paced, reading, shown, when
from leadline.system.description import parse

IN_US = system().replace("[system]", '[system]\nunits = "us"')
METRIC, US = parse(system()), parse(IN_US)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("temperature", "Temperature"), ("ph", "pH"), ("ph-2", "pH-2"), ("phosphate", "Phosphate"), ("orp", "ORP"),
        ("chiller-1", "Chiller-1"), ("relative_humidity", "Relative humidity"), ("return_pump", "Return_pump"),
        ("uv-1", "UV-1"), ("", ""),
    ],
)  # fmt: skip
def test_a_name_at_the_head_of_a_sentence(name, said):
    assert named(name) == said


def test_values_and_limits_carry_their_unit():
    """By hand: 25.7 °C is 25.7 · 9/5 + 32 = 78.26 °F; 28.5 °C is 83.3 °F."""
    assert shown(25.7, "temperature", METRIC) == "25.7 °C"
    assert shown(25.7, "temperature", US) == "78.3 °F"
    assert shown(8.305, "ph", US) in ("8.30", "8.31")
    assert shown(35.04, "salinity", US) == "35.0 psu"
    assert shown(6.128, "oxygen", METRIC) == "6.13 mg/L"
    assert edge(28.5, "temperature", METRIC) == "28.5 °C"
    assert edge(28.5, "temperature", US) == "83.3 °F"
    assert edge(8.6, "ph", METRIC) == "8.6"
    assert edge((78.0 - 32.0) / 1.8, "temperature", US) == "78 °F"
    assert reading(25.13, "temperature", METRIC) == "25.13 °C"


def test_what_is_past_a_limit_never_reads_like_it():
    assert shown(28.52, "temperature", METRIC, 28.5) == "28.52 °C"
    assert shown(28.9, "temperature", METRIC, 28.5) == "28.9 °C"
    assert shown(28.5, "temperature", METRIC, 28.5) == "28.5 °C"


def test_paces_and_differences():
    """A kelvin's difference is 1.8 °F, without the 32."""
    assert paced(0.38 / HOUR, "temperature", METRIC) == "+0.38 °C an hour"
    assert paced(-2.0 / HOUR, "temperature", METRIC) == "−2.0 °C an hour"
    assert paced(0.5 / HOUR, "temperature", US) == "+0.90 °F an hour"
    assert paced(0.25 / DAY, "salinity", METRIC) == "+0.25 psu a day"
    assert paced(0.05 / HOUR, "ph", METRIC) == "+0.050 an hour"
    assert change(0.0, "temperature", METRIC) == "0 °C"
    assert change(0.23, "temperature", METRIC, 2, sign=False) == "0.23 °C"


def test_an_hour_that_is_here_or_past_is_now():
    assert when(59.0, METRIC, 0.0) == "now"
    assert when(-600.0, METRIC, 0.0) == "now"
    assert when(2 * HOUR, METRIC, 0.0) == "at 03:00"  # Oslo is an hour ahead of UTC in January
    assert when(DAY, METRIC, 0.0) == "at Fri 01:00"  # 1 January 1970 was a Thursday
    assert when(20 * DAY, METRIC, 0.0) == "on 21 January"


def test_a_keeper_who_prefers_us_units_reads_no_celsius():
    """The plant's chiller that heats, and its heater that sticks: every sentence, from the machine's to the limit's."""
    t, _, warm, state = chilled(5.3, lambda t: 1.0 if t < 4.3 * DAY else -0.4)
    found = found_in(IN_US, {"temperature": (t, warm), "chiller-1": (t, state)})
    t, _, warm, state = heated(6.0, stuck=lambda t: t > 4.3 * DAY)
    found += found_in(IN_US, {"temperature": (t, warm), "heater-1": (t, state)})
    assert {f.name for f in found} >= {"chiller-1-warms", "heater-1-never-off", "temperature-high"}
    for f in found:
        assert "°F" in f.because
        assert not re.search(r"°C|\bK\b", f.because)
        assert len(f.because) <= 180
    assert "the limit of 83.3 °F is reached" in first(found, "temperature-heading-high").because


def test_of_findings_of_one_moment_the_machine_comes_first():
    """With an aim to 25.4 °C and a limit of 26.8 the stuck heater and the heading water show at the same look."""
    t, _, warm, state = heated(5.0, stuck=lambda t: t > 4.3 * DAY)
    near = system().replace('"26.5 degC"', '"25.4 degC"').replace('"28.5 degC"', '"26.8 degC"')
    found = found_in(near, {"temperature": (t, warm), "heater-1": (t, state)})
    assert [f.name for f in found[:2]] == ["heater-1-never-off", "temperature-heading-high"]
    assert found[0].at_s == found[1].at_s
