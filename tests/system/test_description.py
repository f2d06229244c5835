"""The contract's system description: what is read, what is assumed and named, what is refused in one line."""

from __future__ import annotations

import tomllib

import pytest

from leadline.measures.errors import LeadlineError
from leadline.system.bands import CORE, DEFAULTS
from leadline.system.description import parse
from leadline.system.methods import BY_METHOD, performance, probe_performance

pytestmark = pytest.mark.law

# the example of the format's own page, word for word
CONTRACT = """
[system]
id = "north-room"              # lower-case letters, digits, hyphens
name = "North room reef"
time_zone = "Europe/Oslo"
net_volume = "1150 L"          # the water itself, all vessels, displacement taken off
net_volume_sd = "60 L"
units = "metric"               # what screens show: metric | us

[[vessel]]
id = "display"
inner_size = ["2.00 m", "0.75 m", "0.65 m"]   # length, depth front to back, water height

[[vessel]]
id = "sump"
volume = "180 L"
spare_volume = "70 L"          # free space above the running level

[room]
temperature = "21 degC"
relative_humidity = 0.55
co2 = "700 ppm"

[[equipment]]
id = "heater-1"
type = "heater"                # heater chiller pump topoff doser uv light skimmer reactor fan ups
power = "400 W"
setpoint = "25.0 degC"
stream = "heater-1"            # its on/off or power stream, if there is one

[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"
period = "60 s"
vessel = "sump"

[[method]]
quantity = "alkalinity"
name = "titration"
sd = "0.1 dKH"
minutes = 4                    # the keeper's time for one test

[[band]]
quantity = "alkalinity"
aim = ["7.5 dKH", "9.0 dKH"]
limit = ["6.0 dKH", "12.0 dKH"]
"""
DKH = 0.356652  # meq/L for one degree: 10 mg/L CaO, by definition


def test_the_contracts_own_example():
    s = parse(CONTRACT)
    assert (s.id, s.name, s.time_zone, s.units) == ("north-room", "North room reef", "Europe/Oslo", "metric")
    assert (s.net_volume_l, s.net_volume_sd_l) == (1150.0, 60.0)
    display, sump = s.vessels
    assert display.inner_size_m == (2.0, 0.75, 0.65)
    assert display.volume_l == pytest.approx(975.0)
    assert (sump.volume_l, sump.spare_volume_l) == (180.0, 70.0)
    assert (s.room.temperature_c, s.room.relative_humidity, s.room.co2_ppm) == (21.0, 0.55, 700.0)
    (heater,) = s.equipment
    assert (heater.type, heater.power_w, heater.setpoint_c, heater.stream) == ("heater", 400.0, 25.0, "heater-1")
    (stream,) = s.streams
    assert (stream.quantity, stream.unit, stream.period_s, stream.vessel) == ("temperature", "degC", 60.0, "sump")
    how = s.method("alkalinity", "titration")
    assert how.sd == pytest.approx(0.1 * DKH, rel=1e-4)
    assert how.minutes == 4
    band = s.band("alkalinity")
    assert band is not None
    assert band.aim == pytest.approx((7.5 * DKH, 9.0 * DKH), rel=1e-4)
    assert band.limit == pytest.approx((6.0 * DKH, 12.0 * DKH), rel=1e-4)
    assert not band.is_default
    assert s.unknown == ()
    assert s.defaults == ()


def test_us_units_are_the_same_system():
    us = parse(
        CONTRACT.replace('"1150 L"', '"303.797 gal"').replace('"60 L"', '"15.850 gal"')
        .replace('"180 L"', '"47.551 gal"')
        .replace('"2.00 m"', '"78.74 in"').replace('"21 degC"', '"69.8 degF"').replace('"25.0 degC"', '"77 degF"')
        .replace('units = "metric"', 'units = "us"')
    )  # fmt: skip
    assert us.net_volume_l == pytest.approx(1150.0, abs=0.01)
    assert us.net_volume_sd_l == pytest.approx(60.0, abs=0.01)
    assert us.vessels[0].volume_l == pytest.approx(975.0, abs=0.01)
    assert us.vessels[1].volume_l == pytest.approx(180.0, abs=0.01)
    assert us.room.temperature_c == pytest.approx(21.0)
    assert us.equipment[0].setpoint_c == pytest.approx(25.0)


SMALL = '[system]\nid = "small"\n'


def test_whatever_is_left_out_is_named():
    s = parse(SMALL + 'net_volume = "100 L"\n')
    assert s.net_volume_sd_l == pytest.approx(8.0)
    said = " ".join(s.defaults)
    for word in ("time_zone", "net_volume_sd", "room"):
        assert word in said
    assert s.time_zone == "UTC"
    for q in CORE:
        band = s.band(q)
        assert band is not None
        assert band.is_default


def test_volume_from_the_vessels_is_named():
    s = parse(SMALL + '[[vessel]]\nid = "display"\nvolume = "200 L"\n')
    assert s.net_volume_l == pytest.approx(170.0)
    assert any("170 L" in d for d in s.defaults)


def test_unknown_keys_are_kept_and_named():
    s = parse(SMALL + 'net_volume = "100 L"\ncolour = "blue"\n[room]\nwindows = 2\n[weather]\nwind = 3\n')
    assert set(s.unknown) == {"weather", "system.colour", "room.windows"}


def test_humidity_as_percent():
    for text in ("55", '"55 %"', "0.55"):
        s = parse(SMALL + f'net_volume = "100 L"\n[room]\nrelative_humidity = {text}\n')
        assert s.room.relative_humidity == pytest.approx(0.55)


def test_a_doser_with_a_concentration_makes_its_own_solution():
    s = parse(
        SMALL
        + 'net_volume = "100 L"\n[[equipment]]\nid = "doser-1"\ntype = "doser"\nsubstance = "sodium-bicarbonate"\n'
        'concentration = "80 g/L"\nper_day = "50 mL"\n'
    )
    assert s.solutions == {"doser-1:sodium-bicarbonate": {"sodium-bicarbonate": pytest.approx(80.0)}}
    assert s.equipment[0].per_day_ml == pytest.approx(50.0)


@pytest.mark.parametrize(("document", "says"), [
    ("", "[system] is missing"),
    ("[system\n", "not valid TOML"),
    ('[system]\nnet_volume = "100 L"\n', "system.id is missing"),
    ('[system]\nid = "North Room"\nnet_volume = "100 L"\n', "North Room"),
    (SMALL, "net_volume is missing"),
    (SMALL + 'net_volume = "-100 L"\n', "-100"),
    (SMALL + 'net_volume = "0 L"\n', "0 L"),
    (SMALL + 'net_volume = "nan L"\n', "nan"),
    (SMALL + 'net_volume = "inf L"\n', "inf"),
    (SMALL + 'net_volume = "100 parsecs"\n', "parsecs"),
    (SMALL + 'net_volume = "100 L"\nnet_volume_sd = "0 L"\n', "net_volume_sd"),
    (SMALL + 'net_volume = "100 L"\ntime_zone = "Middle/Earth"\n', "Middle/Earth"),
    (SMALL + 'net_volume = "100 L"\nunits = "imperial"\n', "imperial"),
    (SMALL + 'net_volume = "100 L"\n[[vessel]]\nvolume = "3 L"\n', "id is missing"),
    (SMALL + 'net_volume = "100 L"\n[[vessel]]\nid = "a"\n[[vessel]]\nid = "a"\n', "'a'"),
    (SMALL + 'net_volume = "100 L"\n[[vessel]]\nid = "a"\ninner_size = ["1 m", "2 m"]\n', "inner_size"),
    (SMALL + 'net_volume = "100 L"\n[[vessel]]\nid = "a"\nvolume = "-5 L"\n', "-5 L"),
    (SMALL + 'net_volume = "100 L"\n[vessel]\nid = "a"\n', "[[vessel]]"),
    (SMALL + 'net_volume = "100 L"\n[[band]]\nquantity = "alkalinty"\naim = ["7 dKH", "9 dKH"]\n', "alkalinity"),
    (SMALL + 'net_volume = "100 L"\n[[band]]\nquantity = "alkalinity"\n', "aim"),
    (SMALL + 'net_volume = "100 L"\n[[band]]\nquantity = "alkalinity"\naim = ["9 dKH", "7 dKH"]\n', "lower value"),
    (SMALL + 'net_volume = "100 L"\n[[band]]\nquantity = "alkalinity"\naim = ["7 dKH", "9 dKH"]\n'
     'limit = ["8 dKH", "12 dKH"]\n', "limit"),
    (SMALL + 'net_volume = "100 L"\n[[band]]\nquantity = "alkalinity"\naim = ["7 furlongs", "9 dKH"]\n', "furlongs"),
    (SMALL + 'net_volume = "100 L"\n[[method]]\nquantity = "alkalinity"\nsd = "-1 dKH"\n', "sd"),
    (SMALL + 'net_volume = "100 L"\n[[method]]\nquantity = "alkalinity"\nminutes = "soon"\n', "minutes"),
    (SMALL + 'net_volume = "100 L"\n[[solution]]\nid = "mix"\n', "recipe"),
    (SMALL + 'net_volume = "100 L"\n[room]\nco2 = "lots"\n', "co2"),
    (SMALL + 'net_volume = "100 L"\n[room]\nrelative_humidity = "damp"\n', "relative_humidity"),
    (SMALL + 'net_volume = "100 L"\n[room]\nrelative_humidity = 5500\n', "relative_humidity"),
    (SMALL + 'net_volume = "100 L"\n[[equipment]]\nid = "doser-1"\nper_day = "some"\n', "per_day"),
    ('system = 3\n', "system"),
])  # fmt: skip
def test_refused_in_one_line_that_says_where(document, says):
    with pytest.raises(LeadlineError) as caught:
        parse(document)
    line = caught.value.line()
    assert "\n" not in line.strip()
    assert says in line
    assert caught.value.exit_code == 2
    assert caught.value.way_out


def test_method_names_are_understood_and_unknown_ones_fall_back():
    assert performance("salinity", "Refractometer").bias_sd > performance("salinity", "lab salinometer").bias_sd
    assert performance("alkalinity", "my own way") == performance("alkalinity")
    for q, methods in BY_METHOD.items():
        for word, found in methods:
            assert performance(q, f"the {word} one").sd >= 0
            assert found.minutes > 0
    assert probe_performance("temperature").bias_sd > 0


def test_the_keepers_own_figure_goes_before_common_practice():
    s = parse(CONTRACT)
    assert s.method("alkalinity").sd == pytest.approx(0.1 * DKH, rel=1e-4)
    assert s.method("alkalinity", "drops").sd == performance("alkalinity", "drops").sd
    assert s.method("calcium") == performance("calcium")


def test_default_bands_enclose_and_hold_natural_seawater():
    # standard seawater of S 35: Ca 411.9, Mg 1284, K 399 mg/L, TA 2.3 mmol/kg (Millero et al. 2008, from memory)
    for q, (aim, limit) in DEFAULTS.items():
        assert aim[0] < aim[1], q
        assert limit is not None
        assert limit[0] <= aim[0], q
        assert aim[1] <= limit[1], q
    for q, value in (("calcium", 411.9), ("magnesium", 1284.0), ("potassium", 399.0), ("salinity", 35.0)):
        low, high = DEFAULTS[q][0]
        assert low <= value <= high


def test_the_document_itself_is_not_changed_by_reading_it():
    before = tomllib.loads(CONTRACT)
    parse(CONTRACT)
    assert tomllib.loads(CONTRACT) == before
