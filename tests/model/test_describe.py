"""From description to simulator: what is taken from where, what is named as assumed, what is refused."""

import re

import pytest
from tests.model.test_simulator_laws import REEF

from leadline.measures.errors import BadInput
from leadline.model import layout as at
from leadline.model.describe import blueprint
from leadline.system.description import parse

SMALL = '[system]\nid = "s"\nnet_volume = "300 L"\n[[vessel]]\nid = "tank"\ninner_size = ["1 m", "0.6 m", "0.55 m"]\n'


def made(extra: str = "", base: str = SMALL):
    return blueprint(parse(base + extra))


def test_what_the_description_says_is_what_is_simulated():
    plan = blueprint(parse(REEF))
    assert plan.bodies == ("display", "sump")
    assert plan.value("HEATER_0_W") == 300.0
    assert plan.value("CHILLER_SET") == 26.2
    assert plan.value("LIGHT_ON_H") == 10.0
    assert plan.value("LIGHT_RAMP_H") == 1.5
    assert plan.value("DOSER_0_L_D") == pytest.approx(0.11)
    # 95 g/L of Na2CO3 (105.988 g/mol) is 1.793 eq and 0.896 mol of carbon: molar masses, by hand
    assert plan.solutions[0, at.TA] == pytest.approx(1.7927, abs=1e-3)
    assert plan.solutions[0, at.DIC] == pytest.approx(0.8963, abs=1e-3)
    assert plan.reservoir_kg == 40.0
    assert plan.mass_kg == pytest.approx(600.0 * 1.0235)  # density of seawater at 25 °C, sheet 0
    assert plan.places[0, at.AREA] == pytest.approx(1.5 * 0.65)


def test_heat_loss_of_glass_as_the_sheet_has_it():
    # sheet 7.4: 1.2 x 0.6 x 0.6 m: sides 15.5, half of the bottom 2.6, surface 2.9: 21.0 W/K
    plan = made(base=SMALL.replace('["1 m", "0.6 m", "0.55 m"]', '["1.2 m", "0.6 m", "0.6 m"]'))
    assert plan.value("WALL_W_K") == pytest.approx(21.0, abs=0.1)


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ('[[equipment]]\nid = "heater-1"\ntype = "heater"', "heater-1: no power given"),
        ('[[equipment]]\nid = "heater-1"\ntype = "heater"\npower = "200 W"', "heater-1: no setpoint given"),
        ('[[equipment]]\nid = "doser-1"\ntype = "doser"\nsubstance = "sodium-carbonate"', "doser-1: no concentration"),
        ('[[equipment]]\nid = "reactor-1"\ntype = "reactor"', "reactor-1: what it holds is not said"),
        ('[[equipment]]\nid = "thing"\ntype = "toaster"', "thing: a toaster is not simulated"),
        ("", "no light is described"),
        ('[[vessel]]\nid = "sump"', "no volume of sump given"),
    ],
)
def test_what_is_assumed_is_named(extra, said):
    assert any(said in note for note in made(extra).notes), made(extra).notes


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ('[[equipment]]\nid = "light-1"\ntype = "light"\non = "10:00"\noff = "10:00"', "equipment light-1: on and off"),
        (
            '[[equipment]]\nid = "light-1"\ntype = "light"\non = "10:00"\noff = "12:00"\nramp = "90 min"',
            "equipment light-1.ramp",
        ),
        ('[[equipment]]\nid = "light-1"\ntype = "light"\non = "25:00"\noff = "12:00"', "equipment light-1.on"),
        (
            '[[equipment]]\nid = "doser-1"\ntype = "doser"\nsubstance = "sodium-carbonate"\nconcentration = "90 g/L"\n'
            'rate = "1 mL/min"\nper_day = "5 L"',
            "equipment doser-1: 5000 mL a day",
        ),
        (
            '[[equipment]]\nid = "doser-1"\ntype = "doser"\nsubstance = "sodium-carbonate"\n'
            'schedule = ["08:00", "08:00"]',
            "equipment doser-1.schedule",
        ),
        ('[[equipment]]\nid = "doser-1"\ntype = "doser"\nschedule = "often"', "equipment doser-1.schedule"),
        ('[[equipment]]\nid = "heater-1"\ntype = "heater"\nsetpoint = "80 degC"', "equipment heater-1.setpoint"),
        ('[[equipment]]\nid = "topoff-1"\ntype = "topoff"\nrate = "fast"', "equipment topoff-1.rate"),
        ('[[vessel]]\nid = "sump"\nvolume = "0 L"', "vessel sump"),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(extra, said):
    with pytest.raises(BadInput) as caught:
        made(extra)
    assert said in caught.value.line()
    assert "\n" not in caught.value.line()


def test_a_net_volume_that_the_vessels_cannot_hold_is_refused():
    with pytest.raises(BadInput, match="the vessels hold"):
        blueprint(parse(SMALL.replace("300 L", "900 L")))


def test_seven_dosers_are_one_too_many():
    one = '[[equipment]]\nid = "doser-{}"\ntype = "doser"\n'
    with pytest.raises(BadInput, match=re.escape("doser-7 is one doser more than 6")):
        made("".join(one.format(k) for k in range(1, 8)))
