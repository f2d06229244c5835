"""One-off calculations against printed tables and worked examples."""

from __future__ import annotations

import pytest

from leadline.app import calculate
from leadline.measures.errors import BadInput, UnknownName

# grams per 100 L: stoichiometry worked by hand with IUPAC abridged atomic weights (2021); the same figures stand in
# the trade's dosing tables (3.0 g of bicarbonate for 1 dKH: common practice)
PER_100_L = [
    ("alkalinity", "1 dKH", "sodium-bicarbonate", 2.996),
    ("alkalinity", "1 dKH", "sodium-carbonate", 1.890),
    ("alkalinity", "1 dKH", "calcium-hydroxide", 1.321),
    ("calcium", "10 mg/L", "calcium-chloride-anhydrous", 2.769),
    ("calcium", "10 mg/L", "calcium-chloride-dihydrate", 3.668),
    ("magnesium", "10 mg/L", "magnesium-chloride-hexahydrate", 8.364),
    ("magnesium", "10 mg/L", "magnesium-sulfate-heptahydrate", 10.141),
    ("nitrate", "1 mg/L", "sodium-nitrate", 0.137),
    ("nitrate", "1 mg/L", "potassium-nitrate", 0.163),
]


@pytest.mark.published
@pytest.mark.parametrize(("quantity", "rise", "substance", "grams"), PER_100_L)
def test_grams_per_100_litres(quantity, rise, substance, grams):
    done = calculate.dose(quantity, rise, "100 L", substance)
    assert done.lines[0].value == pytest.approx(grams, abs=0.0006)  # half of the last digit printed


def test_a_caustic_dose_carries_its_caution():
    assert "gloves" in calculate.dose("alkalinity", "1 dKH", "100 L", "sodium-carbonate").caution
    assert "gloves" not in calculate.dose("alkalinity", "1 dKH", "100 L", "sodium-bicarbonate").caution


def test_a_dose_is_spread_over_days():
    """At most 0.5 dKH a day (common practice): 2 dKH take four days."""
    days = [
        x.value for x in calculate.dose("alkalinity", "2 dKH", "100 L", "sodium-bicarbonate").lines if x.unit == "days"
    ]
    assert days == [pytest.approx(4.0, abs=0.001)]  # as shown, to the tenth


@pytest.mark.parametrize(("quantity", "substance", "error"), [
    ("calcium", "sodium-bicarbonate", BadInput),
    ("alkalinity", "fairy-dust", UnknownName),
    ("par", "sea-salt", UnknownName),
])  # fmt: skip
def test_a_dose_that_makes_no_sense_is_refused(quantity, substance, error):
    with pytest.raises(error):
        calculate.dose(quantity, "1", "100 L", substance)


@pytest.mark.published
def test_room_air_row_of_the_carbonate_table():
    """8 dKH at 25.5 °C, S 35, in balance with 500 ppm: pH_T 8.046, saturation 4.21 (PyCO2SYS 1.8.3, Lueker 2000)."""
    lines = {x.what: x.value for x in calculate.carbonate(25.5, 35.0, "8 dKH", None, 500.0).lines}
    assert lines["pH, total scale"] == pytest.approx(8.046, abs=0.0006)
    assert lines["aragonite saturation"] == pytest.approx(4.21, abs=0.006)


def test_carbonate_wants_exactly_one_more():
    with pytest.raises(BadInput):
        calculate.carbonate(25.0, 35.0, "8 dKH", None, None)
    with pytest.raises(BadInput):
        calculate.carbonate(25.0, 35.0, "8 dKH", 8.2, 500.0)


@pytest.mark.published
def test_free_ammonia_of_the_bower_and_bidwell_table():
    """25 °C, pH 8.2, S 34: 6.61 % (Bower and Bidwell 1978, read in a secondary table)."""
    lines = calculate.ammonia(1.0, 8.2, 25.0, 34.0).lines
    assert lines[0].value == pytest.approx(6.61, abs=0.02)  # the fit's own scatter against the table
    assert lines[1].value == pytest.approx(0.0661 * 17.031 / 14.007, abs=0.0005)


@pytest.mark.published
@pytest.mark.parametrize(("done", "expected", "tolerance"), [
    (lambda: calculate.oxygen(26.0, 35.0), 6.657, 0.001),  # Garcia and Gordon 1992 through TEOS-10's toolbox
    (lambda: calculate.mixed(("380 L", 33.0), ("20 L", 40.0), 25.0), 33.3517, 1e-3),  # by mass, worked with TEOS-10
    (lambda: calculate.evaporated("400 L", 35.0, "8 L", 25.5), 35.696, 0.01),
    (lambda: calculate.salt("400 L", 33.0, 35.0, 25.0), 842.6, 0.5),
    (lambda: calculate.exchange("400 L", 38.0, 35.0, 0.0), 31.58, 0.01),
    (lambda: calculate.converted("salinity", "1.0260 sg@25/25", "psu", 25.0, 35.0), 34.51, 0.01),
    (lambda: calculate.converted("phosphate", "0.1 mg/L", "ug/L P", 25.0, 35.0), 32.6, 0.05),
])  # fmt: skip
def test_worked_examples(done, expected, tolerance):
    assert done().lines[0].value == pytest.approx(expected, abs=tolerance)


def test_an_exchange_that_leads_away_is_refused():
    with pytest.raises(BadInput):
        calculate.exchange("400 L", 35.0, 36.0, 30.0)


@pytest.mark.parametrize("asked", [
    lambda: calculate.dose("alkalinity", "1 dKH", "0 L", "sodium-bicarbonate"),
    lambda: calculate.dose("alkalinity", "1 dKH", "-400 L", "sodium-bicarbonate"),
    lambda: calculate.dose("alkalinity", "-1 dKH", "400 L", "sodium-bicarbonate"),
    lambda: calculate.salt("-400 L", 33.0, 35.0, 25.0),
    lambda: calculate.salt("400 L", 35.0, 33.0, 25.0),
    lambda: calculate.exchange("-100 L", 30.0, 20.0, 10.0),
    lambda: calculate.exchange("100 L", -30.0, -20.0, -10.0),
    lambda: calculate.evaporated("100 L", 35.0, "-1 L", 25.0),
    lambda: calculate.mixed(("0 L", 35.0), ("10 L", 30.0), 25.0),
    lambda: calculate.ammonia(-1.0, 8.2, 25.0, 35.0),
])  # fmt: skip
def test_what_no_water_can_be_is_refused_with_a_way_out(asked):
    """No negative grams, no division by no water."""
    with pytest.raises(BadInput) as refused:
        asked()
    assert refused.value.way_out
