"""Nights: a trend of dawns is told with its nights to the limit; noise and a calibration are not."""

from __future__ import annotations

import numpy as np
import pytest
from tests.detect.plant import DAY, first, found_in, system

AIR = '[[stream]]\nid = "oxygen"\nquantity = "oxygen"\nunit = "mg/L"\nperiod = "300 s"\n'
PH = '[[stream]]\nid = "ph"\nquantity = "ph"\nunit = "1"\nperiod = "300 s"\n'
T = np.arange(0.0, 20 * DAY, 300.0)
WAVE = np.cos(2 * np.pi * (T / DAY - 0.6))  # lowest near dawn


def noise(sd, seed=1):
    return sd * np.random.default_rng(seed).standard_normal(len(T))


def test_dawn_oxygen_that_falls_night_by_night_is_told_before_its_limit():
    """From day 8 on dawn falls by 0.2 mg/L a night from 6.0: 4.5 is reached 7.5 nights later, by hand."""
    falls = 0.2 * np.maximum(T / DAY - 8.0, 0.0)
    shown = np.round(6.5 + 0.5 * WAVE - falls * (1.0 - WAVE) / 2.0 + noise(0.05), 2)
    nights = first(found_in(system(AIR), {"oxygen": (T, shown)}), "oxygen-nights")
    assert 10.0 * DAY < nights.at_s < 14.5 * DAY
    assert nights.at_s + nights.harm_s == pytest.approx(15.5 * DAY, abs=1.5 * DAY)


@pytest.mark.parametrize("seed", range(6))
def test_nights_that_only_waver_are_left_in_peace(seed):
    day = np.repeat(np.random.default_rng(100 + seed).normal(0.0, 0.02, 20), 288)
    shown = np.round(8.1 + 0.12 * WAVE + day + noise(0.008, seed), 2)
    assert found_in(system(PH), {"ph": (T, shown)}) == []


def test_a_calibration_is_no_trend():
    shown = np.round(8.15 + 0.12 * WAVE - np.where(T > 9.4 * DAY, 0.12, 0.0) + noise(0.008), 2)
    found = found_in(system(PH), {"ph": (T, shown)})
    assert not [f for f in found if f.name == "ph-nights"]
