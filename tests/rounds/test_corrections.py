"""What the round advises: which way, how much by hand-worked stoichiometry, how fast, and never the wrong way."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from leadline.estimate.report import LastReading, Outlook, QuantityEstimate, SystemEstimate
from leadline.rounds import corrections
from leadline.rounds.worth import stakes

NOW = dt.datetime(2026, 6, 1, 8, tzinfo=dt.UTC)
DKH = 0.356652  # meq/L: 10 mg/L CaO, by definition
UNIT = {"alkalinity": "meq/L", "salinity": "psu"}


def believed(name, mean, aim, limit, rate=0.0, demand=None, sd=None):
    sd = sd or 0.02 * abs(mean)
    ahead = tuple(Outlook(d, mean + rate * d, sd, 0.5, 0.1, 0.1) for d in (1.0, 3.0, 7.0, 14.0, 28.0))
    return QuantityEstimate(
        name, UNIT.get(name, "mg/L"), mean, sd, mean, mean, mean, mean, mean, rate, 0.001 * abs(mean), demand, 0.01,
        LastReading(NOW, mean, sd, ""), aim, limit, False, 0.9, 0.5, ahead, None,
    )  # fmt: skip


def system(litres=400.0, learned=400.0, units="metric"):
    return SystemEstimate("a", "A", NOW, units, "UTC", {}, learned, 30.0, litres)


def alkalinity(dkh, rate=0.0, demand=0.5):
    return believed("alkalinity", dkh * DKH, (7 * DKH, 9 * DKH), (6 * DKH, 11 * DKH), rate * DKH, demand * DKH)


# grams for the whole way to the middle of the aim in 400 L: 2.996 g of bicarbonate give 1 dKH, 3.668 g of the chloride
# 10 mg/L of calcium, 8.364 g 10 mg/L of magnesium, in 100 L (IUPAC weights, worked by hand)
CALCIUM = believed("calcium", 340.0, (400.0, 450.0), (350.0, 500.0), 0.0, 2.0)
MAGNESIUM = believed("magnesium", 1100.0, (1250.0, 1400.0), (1100.0, 1650.0))
BY_HAND = [
    (alkalinity(5.0), "sodium-bicarbonate", 3.0 * 4 * 2.996, 6),  # 3 dKH at 0.5 a day
    (CALCIUM, "calcium-chloride-dihydrate", 8.5 * 4 * 3.668, 5),  # 85 mg/L at 20 a day
    (MAGNESIUM, "magnesium-chloride-hexahydrate", 22.5 * 4 * 8.364, 5),  # 225 mg/L at 50 a day
]  # fmt: skip


@pytest.mark.parametrize(("q", "salt", "grams", "days"), BY_HAND)
def test_grams_and_days_by_hand(q, salt, grams, days):
    words = corrections.advise(system(), q).words
    found = re.search(rf"on each of (\d+) days \(([\d.]+) g of {salt}\)", words)
    assert found, words
    assert int(found[1]) == days
    assert float(found[2]) * days == pytest.approx(grams, rel=0.03)  # printed to two or three figures


@pytest.mark.parametrize("rate", [-0.3, -0.05, 0.0, 0.05, 0.3])
@pytest.mark.parametrize("dkh", [4.9, 6.5, 9.5, 12.1])
def test_never_up_from_above_nor_down_from_below(dkh, rate):
    words = corrections.advise(system(), alkalinity(dkh, rate)).words
    if dkh > 9.0:
        assert "Raise" not in words
        assert "Add 0" not in words
        assert not re.search(r"Add [\d.]+ dKH", words)
    if dkh < 7.0:
        assert "Lower" not in words
        assert "less a day" not in words
        assert "Add" in words


def test_no_more_is_taken_away_than_is_given():
    words = corrections.advise(system(), alkalinity(10.0, rate=0.02, demand=0.03)).words
    assert float(re.search(r"Give ([\d.]+) dKH less", words)[1]) <= 0.05 + 1e-9


def test_grams_rest_on_the_smaller_volume():
    """Doses that did nothing teach a sea; nobody is told to dose a sea."""
    q = alkalinity(5.0)
    usual, taught = (corrections.advise(system(400.0, v), q).words for v in (400.0, 900.0))
    assert usual == taught
    less = corrections.advise(system(400.0, 300.0), q).words
    assert float(re.search(r"\(([\d.]+) g", less)[1]) == pytest.approx(
        0.75 * float(re.search(r"\(([\d.]+) g", usual)[1]), rel=0.03
    )


@pytest.mark.parametrize(("name", "mean", "aim"), [
    ("ammonia", 1.5, (0.0, 0.1)), ("nitrite", 3.0, (0.0, 0.2)), ("copper", 80.0, (0.0, 5.0)),
])  # fmt: skip
def test_poisons_are_not_taken_out_by_small_steps(name, mean, aim):
    words = corrections.advise(system(), believed(name, mean, aim, (0.0, 2 * aim[1]))).words
    assert "at once" in words
    assert "a day" not in words


def test_an_exchange_is_named_only_where_it_helps():
    """Water without nitrate lowers nitrate and never raises it."""
    low = corrections.advise(system(), believed("nitrate", 0.3, (2.0, 15.0), (0.0, 50.0)))
    assert low.action != "exchange"
    assert "no exchange raises it" in low.words
    # from 34 to the middle 8.5 with water of none: a quarter is left after 0.8^7 = 0.21, not yet after 0.8^6 = 0.26
    high = corrections.advise(system(), believed("nitrate", 34.0, (2.0, 15.0), (0.0, 50.0)))
    assert "on each of 7 days" in high.words


def test_salinity_by_hand():
    """0.5 psu of 37 in 400 L is 5.4 L of fresh water; of 31 raised by water of 40 psu it is 22 L."""
    down = corrections.advise(system(), believed("salinity", 37.0, (34.0, 36.0), (32.0, 38.0))).words
    up = corrections.advise(system(), believed("salinity", 31.0, (34.0, 36.0), (32.0, 38.0))).words
    assert "5.4 L of tank water by fresh water" in down
    assert "22 L of tank water by salt water of 40 psu" in up


def test_stakes_by_hand():
    """Aim 7 to 9, limit 6 to 11: at the limit harm 0.2 a day of severity 3, one half-band past it 2 more."""
    s = stakes(believed("salinity", 8.0, (7.0, 9.0), (6.0, 11.0)))
    sharp = 1e-9
    assert float(s.expected(8.0, sharp)) == pytest.approx(0.0, abs=1e-6)
    assert float(s.expected(11.0, sharp)) == pytest.approx(3 * 0.2, rel=1e-6)
    assert float(s.expected(12.0, sharp)) == pytest.approx(3 * (0.2 * 3 / 2 + 2.0), rel=1e-6)
    assert float(s.expected(6.0, sharp)) == pytest.approx(3 * 0.2, rel=1e-6)
