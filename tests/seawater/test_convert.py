"""The bridge of units: every unit both ways, spellings, what is assumed, what is refused."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.measures.errors import BadInput, OutOfRange, UnknownName
from leadline.measures.quantities import QUANTITIES
from leadline.seawater.convert import (
    accepted_units,
    assumptions,
    from_stored,
    implausible,
    linear,
    sd_from_stored,
    sd_to_stored,
    to_stored,
)

PAIRS = [(name, unit) for name in [*QUANTITIES, "ph_total"] for unit in accepted_units(name)]
# a usual value of each quantity, where a share of its span would be odd water
USUAL = {
    "salinity": (5.0, 40.0), "ph": (7.0, 9.0), "ph_total": (7.0, 9.0), "oxygen": (0.5, 12.0), "alkalinity": (0.5, 10.0),
    "temperature": (0.0, 40.0),
}  # fmt: skip


@pytest.mark.law
@pytest.mark.parametrize(("name", "unit"), PAIRS)
@settings(max_examples=20)  # times 130 units
@given(share=st.floats(0.0, 1.0), t=st.floats(10.0, 35.0), s=st.floats(20.0, 40.0))
def test_every_unit_there_and_back(name, unit, share, t, s):
    low, high = USUAL.get(name) or QUANTITIES[name].span
    stored = low + share * (high - low)
    shown = from_stored(name, stored, unit, temperature_c=t, salinity=s)
    back = to_stored(name, shown, unit, temperature_c=t, salinity=s).value
    # 1e-7: the searched ones (sg, g/L, mS/cm) stop at 1e-10 of salinity or at the library's own inverse
    assert back == pytest.approx(stored, rel=1e-9, abs=1e-7)


@pytest.mark.law
@pytest.mark.parametrize(("name", "unit"), PAIRS)
@settings(max_examples=10)  # times 130 units
@given(share=st.floats(0.0, 0.9))
def test_more_is_more_in_every_unit(name, unit, share):
    low, high = USUAL.get(name) or QUANTITIES[name].span
    less, more = low + share * (high - low), low + (share + 0.05) * (high - low)
    assert from_stored(name, less, unit) < from_stored(name, more, unit)


ARITHMETIC = [  # IUPAC abridged atomic weights; dKH by definition; tolerance: the digits given
    ("alkalinity", 8.0, "dKH", 2.8532, 6e-5),
    ("alkalinity", 8.0, "°dKH", 2.8532, 6e-5),
    ("alkalinity", 8.0, "kh", 2.8532, 6e-5),
    ("alkalinity", 142.8, "ppm CaCO3", 2.8532, 1e-3),
    ("alkalinity", 142.8, "mg/l as CaCO₃", 2.8532, 1e-3),
    ("alkalinity", 142.8, "ppm", 2.8532, 1e-3),
    ("alkalinity", 2.9, "mval/L", 2.9, 0),
    ("alkalinity", 2.9, "mmol/l", 2.9, 1e-12),
    ("nitrate", 1.0, "mg/L as N", 4.4266, 6e-5),
    ("nitrate", 1.0, "mg/l NO3-N", 4.4266, 6e-5),
    ("nitrate", 1.0, "NO₃-N mg/L", 4.4266, 6e-5),
    ("nitrate", 1.0, "mg N/L", 4.4266, 6e-5),
    ("nitrate", 1.0, "mg/L (as N)", 4.4266, 6e-5),
    ("nitrate", 16.13, "µmol/L", 1.0, 3e-4),
    ("nitrate", 5.0, "mg/L NO3⁻", 5.0, 0),
    ("nitrite", 1.0, "mg/L NO2-N", 3.2844, 6e-5),
    ("ammonia", 1.21589, "mg/L NH3", 1.0, 1e-5),
    ("ammonia", 1.28786, "mg/L as NH4+", 1.0, 1e-5),
    ("ammonia", 0.5, "mg/L as N", 0.5, 0),
    ("ammonia", 0.5, "mg/L TAN", 0.5, 0),
    ("phosphate", 1.0, "ug/L P", 0.003066, 6e-7),
    ("phosphate", 1.0, "µg/L as P", 0.003066, 6e-7),
    ("phosphate", 32.6, "ppb P", 0.1, 1e-4),
    ("phosphate", 1.053, "umol/L", 0.1, 1e-4),
    ("phosphate", 0.1, "mg/L PO4³⁻", 0.1, 1e-12),
    ("phosphate", 1.0, "mg/L PO4-P", 3.06614, 6e-6),
    ("silicate", 2.139, "mg/L SiO2", 1000.0, 0.3),
    ("silicate", 1.0, "ppm", 1000.0, 0),
    ("calcium", 10.28, "mmol/L", 412.0, 0.06),
    ("iodine", 0.06, "mg/L", 60.0, 1e-9),
    ("copper", 0.2, "ppm", 200.0, 1e-9),
    ("copper", 200.0, "ppb", 200.0, 1e-9),
    ("temperature", 77.0, "degF", 25.0, 1e-12),
    ("temperature", 298.15, "K", 25.0, 1e-9),
    ("salinity", 35.16504, "g/kg", 35.0, 1e-9),
    ("salinity", 35.16504, "ppt", 35.0, 1e-9),
    ("level", 12.0, "in", 0.3048, 1e-12),
    ("level", 30.48, "cm", 0.3048, 1e-12),
    ("flow", 1.0, "gal/h", 3.785411784, 1e-12),
    ("flow", 4.0, "m3/h", 4000.0, 1e-9),
    ("conductivity", 53000.0, "uS/cm", 53.0, 1e-9),
    ("tds", 100.0, "uS/cm x 0.5", 50.0, 1e-9),
    ("relative_humidity", 55.0, "%", 0.55, 1e-12),
    ("par", 200.0, "µmol m⁻² s⁻¹", 200.0, 0),
    ("power", 0.4, "kW", 400.0, 1e-9),
    ("oxygen", 206.0 * 31.998e-3, "ppm", 6.5916, 6e-5),
]


@pytest.mark.published
@pytest.mark.parametrize(("name", "value", "unit", "stored", "within"), ARITHMETIC)
def test_units_by_arithmetic(name, value, unit, stored, within):
    assert to_stored(name, value, unit).value == pytest.approx(stored, abs=within, rel=0)
    factor, offset = linear(name, unit)
    assert value * factor + offset == to_stored(name, value, unit).value


OF_WATER = [  # gsw 3.6.23 and PyCO2SYS 1.8.3.4 at S 35, 25 °C unless stated; tolerance: the digits given
    ("salinity", 1.02637, "sg@25/25", {}, 35.0, 0.008), ("salinity", 1.02661, "SG 20/20", {}, 35.0, 0.008),
    ("salinity", 1.02686, "sg@60F/60F", {}, 35.0, 0.008), ("salinity", 1.02337, "sg@25/4", {}, 35.0, 0.008),
    ("salinity", 1.02637, "sg@77F/77F", {}, 35.0, 0.008), ("salinity", 1.02637, "sg@77/77F", {}, 35.0, 0.008),
    ("salinity", 53.071, "mS/cm", {}, 35.0, 4e-4), ("salinity", 53071.0, "uS/cm", {}, 35.0, 4e-4),
    ("salinity", 35.986, "g/L", {}, 35.0, 6e-4), ("alkalinity", 2788.1, "umol/kg", {}, 2.8532, 6e-5),
    ("oxygen", 100.0, "% saturation", {}, 6.771, 6e-4), ("oxygen", 100.0, "%", {"temperature_c": 28.0}, 6.440, 6e-4),
    ("oxygen", 206.77, "umol/kg", {}, 6.771, 6e-4), ("ph", 8.0459, "total", {}, 8.1824, 1.1e-4),
    ("ph_total", 8.1063, "", {"temperature_c": 26.0}, 8.2452, 1.1e-4),
    ("salinity", 1.0240, "sg@60F/60F", {"method": "glass-hydrometer", "temperature_c": 26.0}, 34.59, 0.006),
    ("salinity", 1.0264, "sg", {"method": "hydrometer 25/25"}, 35.03, 0.01),
]  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize(("name", "value", "unit", "water", "stored", "within"), OF_WATER)
def test_units_that_need_the_water(name, value, unit, water, stored, within):
    assert to_stored(name, value, unit, **water).value == pytest.approx(stored, abs=within)


def test_names_what_it_assumed():
    assert to_stored("calcium", 420, "mg/L").assumed == ()
    assert to_stored("calcium", 420, "").assumed == ("no unit: mg/L taken",)
    assert to_stored("ph", 8.2, "").assumed == ()
    assert "per kilogram" in to_stored("calcium", 420, "ppm").assumed[0]
    assert to_stored("alkalinity", 2300, "umol/kg").assumed == ("water at 25 degC", "salinity 35 psu")
    assert to_stored("alkalinity", 2300, "umol/kg", temperature_c=26, salinity=34).assumed == ()
    assert "CaCO3" in assumptions("alkalinity", "ppm")[0]


@pytest.mark.parametrize(
    ("name", "value", "unit", "kind", "hint"),
    [
        ("alkalinity", 8, "dhk", UnknownName, "Did you mean dKH"), ("nitrate", 5, "mg/L PO4", UnknownName, "mg/L as N"),
        ("calcium", 5, "dKH", UnknownName, "Accepted: mg/L"), ("nitrat", 5, "mg/L", UnknownName, "nitrate"),
        ("salinity", 1.025, "sg", BadInput, "sg@25/25"), ("salinity", 1.025, "sg@77/77", BadInput, "no unit"),
        ("tds", 5, "uS/cm", BadInput, "factor"), ("salinity", 1.2, "sg@25/25", OutOfRange, "no answer"),
        ("salinity", 53000.0, "mS/cm", OutOfRange, "outside"), ("calcium", float("nan"), "mg/L", BadInput, "finite"),
        ("calcium", float("inf"), "mg/L", BadInput, "finite"),
    ],
)  # fmt: skip
def test_refuses_with_a_way_out(name, value, unit, kind, hint):
    with pytest.raises(kind) as refused:
        to_stored(name, value, unit)
    assert hint in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.law
@given(name=st.sampled_from(sorted(QUANTITIES)), unit=st.text(max_size=14))
def test_any_unit_is_known_or_one_clear_line(name, unit):
    try:
        linear(name, unit)
    except BadInput as error:
        refused = error.line()
    else:
        refused = "known"
    assert refused
    assert "\n" not in refused.replace(repr(unit), "")


def test_sd_is_a_difference():
    assert sd_to_stored("temperature", 0.9, "degF") == pytest.approx(0.5)
    assert sd_to_stored("alkalinity", 0.1, "dKH") == pytest.approx(0.0356652, abs=1e-7)
    # dSG/dS is 7.58e-4 a unit at 25/25 and 7.71e-4 at 60/60 °F (gsw 3.6.23, printed to 0.01e-4)
    assert sd_to_stored("salinity", 0.0004, "sg@25/25", at=1.0264) == pytest.approx(0.0004 / 7.58e-4, rel=2e-3)
    assert sd_to_stored("salinity", 0.0004, "sg@60F/60F") == pytest.approx(0.0004 / 7.71e-4, rel=2e-3)
    # dS/dC is 0.742 per mS/cm near 35 (gsw 3.6.23)
    assert sd_to_stored("salinity", 1.0, "mS/cm", at=53.07) == pytest.approx(0.742, abs=6e-4)
    assert sd_to_stored("ph_total", 0.05, "1") == pytest.approx(0.05, rel=1e-6)
    with pytest.raises(BadInput):
        sd_to_stored("calcium", -1.0, "mg/L")


@pytest.mark.law
@settings(max_examples=10)  # times 130 units
@given(sd=st.floats(1e-6, 10.0))
def test_sd_there_and_back(sd):
    for name, unit in PAIRS:
        assert sd_from_stored(name, sd_to_stored(name, sd, unit), unit) == pytest.approx(sd, rel=1e-6)


def test_impossible_values_are_noticed():
    assert implausible("temperature", 25.0) is None
    assert implausible("temperature", 78.0) is None  # °F typed as °C: kept, and the keeper is asked
    assert "780" in implausible("temperature", 780.0)
    assert implausible("alkalinity", 145.0) is None  # mg/L CaCO3 typed as meq/L: kept and asked about
    assert implausible("alkalinity", 1450.0)
    assert implausible("ph", 0.0)
    assert implausible("salinity", float("nan"))


def test_straight_units_load_neither_numpy_nor_gsw():
    code = (
        "import sys\nfrom leadline.seawater.convert import linear, to_stored\n"
        "to_stored('alkalinity', 8.1, 'dKH'); linear('temperature', 'degF'); to_stored('salinity', 35.0, 'ppt')\n"
        "assert 'numpy' not in sys.modules and 'gsw' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


SAME = {  # what people and laboratories write, by what they mean
    ("nitrate", "mg/L as N"): (
        "mg/l N-NO3",
        "mg/L NO3 as N",
        "mg/L nitrate as N",
        "mgN/L",
        "mg N L-1",
        "mg/L_N",
        "mg/L-N",
        "mg/l no3 - n",
        "mg/L NO3--N",
        "mg/L nitrate nitrogen",
    ),
    ("nitrate", "mg/L"): ("NO3 mg/L", "mg/dm3", "mg·L⁻¹", "mg/ltr", "mg/L (NO3)", "mg/l nitrate"),
    ("phosphate", "ug/L P"): ("µg P/L", "ug/l phosphorus", "μg/L PO4-P", "µg/L P-PO4", "ugP/L", "µg/L (P)"),
    ("phosphate", "mg/L"): ("mg/L PO43-", "mg/L PO4 3-", "mg/l PO4---", "mg/L PO₄³⁻", "mg/L orthophosphate"),
    ("alkalinity", "dKH"): ("DKH", "deg dKH", "°KH", "° dH", "degrees KH", "KH"),
    ("alkalinity", "mg/L CaCO3"): ("mg CaCO3/L", "ppm (CaCO3)", "mg/L as calcium carbonate", "ppm as CaCO₃"),
    ("alkalinity", "umol/kg"): ("µmol kg⁻¹", "umol/kg-sw", "umol kg^-1", "µeq/kg"),
    ("salinity", "sg@25/25"): ("SG 25/25", "S.G. 25/25", "sg@25°C/25°C", "specific gravity (25/25)", "SG @ 77F / 77F"),
    ("salinity", "mS/cm@25"): ("mS/cm @ 25 °C", "mS/cm at 25 C", "mS cm-1 @25"),
    ("temperature", "degF"): ("F", "°F", "℉", "degrees F", "deg F", "Fahrenheit"),
    ("oxygen", "% saturation"): ("%", "% sat", "% air saturation", "percent saturation"),
    ("flow", "gal/h"): ("gph", "GPH", "gallons/hour", "gallons per hour"),
    ("par", "umol photons m-2 s-1"): ("PPFD", "µmol/m²/s", "µmol·m⁻²·s⁻¹", "umol m^-2 s^-1", "umol/(m2 s)"),
    ("ammonia", "mg/L as N"): ("mg/L TAN", "mg/L NH3-N", "mg/L N-NH4", "mg/L total ammonia nitrogen"),
    ("calcium", "mg/L"): ("mg/L Ca2+", "mg/L Ca²⁺", "mg/L Ca++", "Ca mg/L", "mg/L calcium"),
}


@pytest.mark.parametrize(("meant", "written"), [(k, w) for k, words in SAME.items() for w in words])
def test_spellings_mean_the_same(meant, written):
    name, unit = meant
    value = from_stored(name, USUAL.get(name, (0.0, 0.1))[1] * 0.9, unit)
    assert to_stored(name, value, written).value == pytest.approx(to_stored(name, value, unit).value, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "unit"),
    [("ammonia", "mg/L NH3/NH4"), ("flow", "L/m"), ("alkalinity", "dGH"), ("nitrate", "mg/L NO2"), ("salinity", "%")],
)
def test_what_can_mean_two_things_is_not_guessed(name, unit):
    with pytest.raises(UnknownName):
        to_stored(name, 1.0, unit)


def test_a_bare_phosphate_per_litre_says_what_it_took():
    assert "PO4" in to_stored("phosphate", 33.0, "ppb").assumed[0]
    assert to_stored("phosphate", 33.0, "ug/L as PO4").assumed == ()
