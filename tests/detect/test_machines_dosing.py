"""What share of a dose arrives: made-up readings whose truth is known, and cases by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.detect.machines.dosing import Reading, arrived, finding

DAY = 86400.0


def made(share, *, uses=0.30, says=0.30, days=28, every=3.0, sd=0.036, seed=1, exchange=0.0):
    """Readings (titration: 0.1 dKH) of a tank that uses `uses` meq/L a day, with hourly portions."""
    rng = np.random.default_rng(seed)
    at = np.arange(0.0, days + 0.1, every)
    level = 2.9 + (share * says - uses) * at + np.where(at > 10.0, exchange, 0.0)
    readings = [Reading(a * DAY, v + sd * rng.standard_normal(), sd) for a, v in zip(at, level, strict=True)]
    doses = [(t, says / 24.0) for t in np.arange(0.5 / 24.0, days, 1.0 / 24.0) * DAY]
    return readings, doses


def test_by_hand_two_days_of_which_half_arrived():
    """0.3 a day said, 0.3 a day used, water falls by 0.15 a day: half arrived."""
    readings = [Reading(k * DAY, 3.0 - 0.15 * k, 1e-4) for k in range(3)]
    doses = [(0.5 * DAY, 0.3), (1.5 * DAY, 0.3)]
    assert arrived(readings, doses, (0.3, 1e-4)).share == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0, 1.6])
def test_the_share_is_found_and_its_standard_error_is_honest(share):
    """Over forty seeds the truth lies within 1.645 standard errors about nine times in ten (binomial: 31 or more)."""
    inside = 0
    for seed in range(40):
        uses = 0.30 + 0.03 * np.random.default_rng(500 + seed).standard_normal()
        readings, doses = made(share, uses=uses, seed=seed)
        got = arrived(readings, doses, (0.30, 0.03))
        inside += abs(got.share - share) < 1.645 * got.sd
    assert inside >= 31


def test_an_exchange_is_no_dose():
    readings, doses = made(1.0, exchange=0.4)
    kept = arrived(readings, doses, (0.30, 0.02), other=[(10.5 * DAY, 0.4)])
    assert kept.share == pytest.approx(1.0, abs=3.0 * kept.sd)
    assert arrived(readings, doses, (0.30, 0.02)).share - 1.0 > 0.03  # left out, it looks like more


def test_a_worn_tube_is_told_and_a_good_one_is_not():
    readings, doses = made(0.55)
    got = arrived(readings, doses, (0.30, 0.02))
    told = finding("doser-1", got, 28 * DAY, 2.6, (2.14, 4.28), 28.0)
    assert told.name == "doser-1-too-little"
    assert told.holds
    # short by 0.135 meq/L a day, 0.46 from the limit: 3.4 days
    assert told.harm_s == pytest.approx(3.4 * DAY, rel=0.35)
    assert "6.0 dKH" in told.because
    readings, doses = made(0.97)
    assert finding("doser-1", arrived(readings, doses, (0.30, 0.02)), 0.0, 2.9, (2.14, 4.28), 28.0) is None


def test_a_siphon_beside_the_programme_is_too_much():
    readings, doses = made(1.9)
    told = finding("doser-1", arrived(readings, doses, (0.30, 0.03)), 0.0, 3.5, (2.14, 4.28), 28.0)
    assert told.name == "doser-1-too-much"


def test_little_said_is_nothing_said():
    readings, doses = made(0.5, days=4, every=3.0)
    assert arrived(readings, doses, (0.3, 0.1)) is None  # two readings
    assert arrived([], [], (0.3, 0.1)) is None
    readings, _ = made(0.5)
    assert arrived(readings, [], (0.3, 0.1)) is None  # nothing was dosed
    assert arrived(readings, [(-DAY, 1.0), (99 * DAY, 1.0)], (0.3, 0.1)) is None  # not between them
    wide = arrived(*made(0.5, days=9), (0.3, 0.25))
    assert finding("doser-1", wide, 0.0, 2.9, (2.14, 4.28), 9.0) is None  # nobody knows what the tank uses


@pytest.mark.law
@settings(max_examples=60, deadline=None)
@given(st.floats(0.2, 2.0), st.floats(0.5, 3.0))
def test_units_of_alkalinity_do_not_matter(share, factor):
    readings, doses = made(share)
    other = [Reading(r.at_s, r.value * factor, r.sd * factor) for r in readings]
    a = arrived(readings, doses, (0.3, 0.03))
    b = arrived(other, [(t, x * factor) for t, x in doses], (0.3 * factor, 0.03 * factor))
    assert b.share == pytest.approx(a.share, rel=1e-6)
    assert b.sd == pytest.approx(a.sd, rel=1e-6)
