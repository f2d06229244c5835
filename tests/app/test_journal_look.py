"""Probes against tests by hand, dosers against the water: over a real store with made-up weeks, counted by hand."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from leadline.app import describe, journal_look, record
from leadline.measures.moments import FixedClock, parse
from leadline.wiring import open_store

pytestmark = pytest.mark.story
NOW = parse("2026-05-01T10:00:00Z")
DAY = 86400.0
REEF = """
[system]
id = "reef"
time_zone = "UTC"
net_volume = "500 L"
[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"
[[equipment]]
id = "doser-1"
type = "doser"
substance = "sodium-bicarbonate"
[[band]]
quantity = "alkalinity"
aim = ["7.5 dKH", "9.0 dKH"]
limit = ["6.0 dKH", "12.0 dKH"]
"""


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "x.db")) as made:
        describe.add(made, FixedClock(NOW - dt.timedelta(days=100)), REEF)
        yield made


def log(store, days_ago, kind, subject, value, unit, method=""):
    when = NOW - dt.timedelta(days=days_ago)
    record.log(store, FixedClock(NOW), system="reef", kind=kind, subject=subject, value_text=str(value), unit=unit,
               method=method, time=when)  # fmt: skip


def held(store):
    system = describe.load(store, "reef")
    return {f.name: f for f in journal_look.findings(store, system, NOW.timestamp()) if f.holds}


def probe(store, off):
    """A probe that reads so much too high, every ten minutes for a month."""
    end = NOW.timestamp()
    times = np.arange(end - 30 * DAY, end, 600.0)
    store.add_points("reef", "temperature", times, np.full(len(times), 25.0 + off))


def by_hand(store, value=25.0):
    for k in range(6):
        log(store, 4 * k + 2, "reading", "temperature", value + (0.05 if k % 2 else -0.05), "degC", "glass thermometer")


def test_a_probe_that_agrees_with_the_tests_is_left_in_peace(store):
    probe(store, 0.1)
    by_hand(store)
    assert held(store) == {}


def test_a_probe_that_is_off_is_named_with_its_offset(store):
    probe(store, 1.2)
    by_hand(store)
    said = held(store)["temperature-off"]
    assert said.value == pytest.approx(1.2, abs=0.1)
    assert said.consequence is False
    assert "too high against 6 tests by hand" in said.because


def test_tests_before_a_calibration_say_nothing_of_the_probe_now(store):
    probe(store, 1.2)
    by_hand(store)
    log(store, 1.0, "service", "temperature", "", "", "calibrated")
    assert held(store) == {}


def dosed_weeks(store, share, used_dkh=0.5):
    """Ninety days in which a doser records what keeps alkalinity level; for the last two weeks only a share arrives.

    0.5 dKH a day is 0.17833 meq/L (1 meq/L = 2.80385 dKH); in 500 L that is 89.2 mmol, 7.49 g of NaHCO3 (84.007 g/mol).
    """
    grams = used_dkh / 2.80385 * 500.0 * 84.007 / 1000.0
    for k in range(1, 90):
        log(store, k, "addition", "sodium-bicarbonate", round(grams, 3), "g", "doser-1")
    chance = np.random.default_rng(4)
    for k in range(29, -1, -1):
        days_ago = 3.0 * k + 0.5
        lost = max(14.0 - days_ago, 0.0) * used_dkh * (1.0 - share)
        log(store, days_ago, "reading", "alkalinity", round(8.2 - lost + 0.05 * chance.standard_normal(), 2), "dKH",
            "titration")  # fmt: skip


def test_a_doser_that_gives_what_it_says_is_left_in_peace(store):
    dosed_weeks(store, 1.0)
    assert held(store) == {}


def test_a_doser_whose_line_is_half_blocked_is_named_with_its_share(store):
    dosed_weeks(store, 0.3)
    said = held(store)["doser-1-too-little"]
    assert said.value == pytest.approx(0.3, abs=0.2)
    assert "arrived in the water" in said.because
    assert said.harm_s == 0.0  # 13.5 days of 0.35 dKH took 8.2 to 3.5, past the limit of 6.0


def test_nothing_is_used_that_was_written_later(store):
    dosed_weeks(store, 0.3)
    system = describe.load(store, "reef")
    early = (NOW - dt.timedelta(days=20)).timestamp()
    assert not any(f.holds for f in journal_look.findings(store, system, early))
