"""Numbers and units as people type them: read rightly, or asked about, never guessed."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.quantities import (
    QUANTITIES,
    canonical_name,
    digits,
    display_unit,
    quantity,
    stored_name,
)
from leadline.measures.units import parse_amount, parse_number, split_value_unit, to_grams, to_litres, unit_key


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("8.1", 8.1),
        ("8,1", 8.1),
        ("1 234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1.234,5", 1234.5),
        ("1'234.5", 1234.5),
        ("1\u202f234,5", 1234.5),
        ("1\u00a0234", 1234.0),
        ("−0,3", -0.3),
        ("+5", 5.0),
        (".5", 0.5),
        (",5", 0.5),
        ("5.", 5.0),
        ("1.2e-3", 1.2e-3),
        ("1,2E3", 1200.0),
        ("1,234,567", 1234567.0),
        ("1.234.567", 1234567.0),
        ("0,123", 0.123),
        ("1.026", 1.026),
        ("1,0264", 1.0264),
        (" 35 ", 35.0),
        ("1234,567", 1234.567),
        ("0", 0.0),
    ],
)
def test_reads_point_and_comma(text, value):
    assert parse_number(text) == value


@pytest.mark.parametrize("text", ["1,234", "12,345", "-1,026"])
def test_asks_when_a_number_can_be_two(text):
    with pytest.raises(BadInput, match="may be"):
        parse_number(text)
    assert parse_number(text, decimal=".") == float(text.replace(",", ""))
    assert parse_number(text, decimal=",") == float(text.replace(",", "."))


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "nan",
        "NaN",
        "inf",
        "-inf",
        "1e999",
        "abc",
        "--1",
        "1.2.3",
        "1,23,4",
        "1 23",
        "0x10",
        "1_000",
        "1e",
        ".",
        ",",
        "1,234.5,6",
        "12 34.5",
        "٣",
        "8.1 dKH",
        "1..2",
    ],
)
def test_refuses_what_is_no_number(text):
    with pytest.raises(BadInput) as refused:
        parse_number(text)
    assert "\n" not in str(refused.value)


@pytest.mark.law
@given(st.floats(-1e12, 1e12))
def test_every_number_comes_back(x):
    assert parse_number(repr(x)) == x
    assert parse_number(repr(x).replace(".", ","), decimal=",") == x
    assert parse_number(f"{x:,.6f}", decimal=".") == pytest.approx(x, abs=5e-7, rel=1e-12)


@pytest.mark.law
@given(st.text(max_size=12))
def test_any_text_is_a_number_or_one_clear_line(text):
    try:
        value = parse_number(text)
    except BadInput:
        value = 0.0
    assert math.isfinite(value)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("8.1 dKH", 8.1, "dKH"),
        ("8,1dKH", 8.1, "dKH"),
        ("1.0264 sg@25/25", 1.0264, "sg@25/25"),
        ("35", 35.0, ""),
        ("−2 degC", -2.0, "degC"),
        ("1 234,5 mg/L", 1234.5, "mg/L"),
        ("55%", 55.0, "%"),
        ("1.2e-3 mg/L", 1.2e-3, "mg/L"),
        ("2 eq/L", 2.0, "eq/L"),
        ("1 000 L", 1000.0, "L"),
        ("0.1 mg/L as N", 0.1, "mg/L as N"),
        ("25 °C", 25.0, "°C"),
    ],
)
def test_parts_value_and_unit(text, value, unit):
    assert split_value_unit(text) == (value, unit)


AMOUNTS = [  # exact by definition: US gallon 3.785411784 L, inch 25.4 mm, pound 453.59237 g (NIST SP 811)
    ("1150 L", "volume", 1150.0),
    ("300 gal", "volume", 300 * 3.785411784),
    ("250 mL", "volume", 0.25),
    ("1 m3", "volume", 1000.0),
    ("16 fl oz", "volume", 3.785411784 / 8),
    ("2.00 m", "length", 2.0),
    ("24 in", "length", 0.6096),
    ("650 mm", "length", 0.65),
    ("2 ft", "length", 0.6096),
    ("400 W", "power", 400.0),
    ("0,4 kW", "power", 400.0),
    ("21 degC", "temperature", 21.0),
    ("70 degF", "temperature", 190 / 9),
    ("298.15 K", "temperature", 25.0),
    ("60 s", "time", 60.0),
    ("5 min", "time", 300.0),
    ("2 h", "time", 7200.0),
    ("1 day", "time", 86400.0),
    ("12 mL/min", "dosing_rate", 12.0),
    ("1.2 L/h", "dosing_rate", 20.0),
    ("144 mL/day", "dosing_rate", 0.1),
    ("4000 L/h", "flow", 4000.0),
    ("1000 gal/h", "flow", 3785.411784),
    ("4 m3/h", "flow", 4000.0),
    ("2.5 kg", "mass", 2500.0),
    ("3 lb", "mass", 1360.77711),
    ("1 oz", "mass", 28.349523125),
    ("0.55", "fraction", 0.55),
    ("55 %", "fraction", 0.55),
    ("84 g/L", "concentration", 84.0),
    ("500 mg/L", "concentration", 0.5),
]


@pytest.mark.published
@pytest.mark.parametrize(("text", "dimension", "value"), AMOUNTS)
def test_amounts_in_base_units(text, dimension, value):
    assert parse_amount(text, dimension) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "hint"),
    [
        ("1150", "volume", "L is what is stored"),
        ("12 furlongs", "length", "2.00 m"),
        ("3 gall", "volume", "gal"),
        ("5 kg", "volume", "1150 L"),
        ("20 bananas", "temperature", "25 degC"),
        ("much", "mass", "8.1 dKH"),
    ],
)
def test_a_bad_amount_says_how_to_write_it(text, dimension, hint):
    with pytest.raises(BadInput) as refused:
        parse_amount(text, dimension)
    assert hint in str(refused.value)


def test_journal_amounts():
    assert to_litres(5.0, "gal") == pytest.approx(18.92705892)
    assert to_grams(1.0, "lb") == pytest.approx(453.59237)
    with pytest.raises(UnknownName):
        to_grams(1.0, "L")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("µg/L", "ug/l"),
        ("μg / L", "ug/L"),
        ("°C", "degC"),
        ("° C", "degC"),
        ("degrees F", "degF"),
        ("°dKH", "dKH"),
        ("mg L⁻¹", "mg/L"),
        ("umol kg^-1", "umol/kg"),
        ("mg per litre", "mg/L"),
    ],
)
def test_spelling_is_forgiven(one, other):
    assert unit_key(one) == unit_key(other)


CONTRACT = {
    "temperature": "degC", "salinity": "psu", "alkalinity": "meq/L", "calcium": "mg/L", "magnesium": "mg/L",
    "potassium": "mg/L", "strontium": "mg/L", "ph": "1", "nitrate": "mg/L", "nitrite": "mg/L", "ammonia": "mg/L",
    "phosphate": "mg/L", "silicate": "ug/L", "iodine": "ug/L", "iron": "ug/L", "copper": "ug/L", "zinc": "ug/L",
    "mercury": "ug/L", "oxygen": "mg/L", "orp": "mV", "par": "umol photons m-2 s-1", "level": "m", "flow": "L/h",
    "power": "W", "conductivity": "mS/cm", "tds": "mg/L", "relative_humidity": "fraction", "co2_air": "ppm",
}  # fmt: skip


def test_every_promised_quantity_is_there():
    assert {name: q.unit for name, q in QUANTITIES.items() if name in CONTRACT} == CONTRACT
    assert all(q.span[0] < q.span[1] and q.digits >= 0 for q in QUANTITIES.values())


def test_names_as_people_say_them():
    assert canonical_name(" NO3 ") == "nitrate"
    assert canonical_name("Alk") == "alkalinity"
    assert canonical_name("pH") == "ph"
    assert canonical_name("pH total") == "ph_total"
    assert canonical_name("Relative humidity") == "relative_humidity"
    assert canonical_name("fish count") is None
    assert stored_name("ph_total") == "ph"
    assert stored_name("calcium") == "calcium"
    with pytest.raises(UnknownName, match="nitrate"):
        quantity("nitrat")
    with pytest.raises(UnknownName, match="Did you mean nitrate"):
        quantity("NO3")


def test_digits_and_display():
    assert digits("alkalinity", "dKH") == 1
    assert digits("salinity", "sg@25/25") == 4
    assert digits("phosphate") == 3
    assert display_unit("temperature", "us") == "degF"
    assert display_unit("temperature", "metric") == "degC"
    assert display_unit("level", "us") == "in"
    assert display_unit("flow", "us") == "gal/h"
    assert display_unit("calcium", "us") == "mg/L"
