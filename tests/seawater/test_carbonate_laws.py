"""The carbonate solver against PyCO2SYS on random water, and the laws it must keep everywhere."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import asdict

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.measures.errors import BadInput, OutOfRange
from leadline.seawater import equilibria as eq
from leadline.seawater.carbonate import Carbonate, revelle, solve

rng = np.random.default_rng(20261125)
N = 4000
WATER = {"temperature_c": rng.uniform(10, 35, N), "salinity": rng.uniform(20, 45, N)}
TA, DIC = rng.uniform(500, 6000, N), rng.uniform(300, 6000, N)


@pytest.mark.published
def test_agrees_with_the_reference_on_random_water(reference):
    # the wanted agreement is 2e-4 of pH; the same published fits should meet far better than that
    ours = solve(**WATER, alkalinity=TA, dic=DIC)
    theirs = reference(TA, 1, DIC, 2, WATER["temperature_c"], WATER["salinity"])
    assert np.abs(ours.ph_total - theirs["pH_total"]).max() < 1e-6
    assert np.abs(ours.ph_nbs - theirs["pH_nbs"]).max() < 1e-6
    assert np.abs(ours.pco2 / theirs["pCO2"] - 1).max() < 1e-5
    assert np.abs(ours.xco2 / theirs["xCO2"] - 1).max() < 1e-5
    assert np.abs(ours.omega_aragonite / theirs["saturation_aragonite"] - 1).max() < 1e-5
    assert np.abs(ours.omega_calcite / theirs["saturation_calcite"] - 1).max() < 1e-5
    assert np.abs(ours.hydroxide - theirs["OH"]).max() < 1e-3
    assert np.abs(revelle(ours, **WATER) / theirs["revelle_factor"] - 1).max() < 1e-5


@pytest.mark.published
@pytest.mark.parametrize(
    ("first", "code1", "second", "code2"),
    [
        ("alkalinity", 1, "ph_total", 3), ("alkalinity", 1, "pco2", 4), ("alkalinity", 1, "xco2", 9),
        ("dic", 2, "ph_total", 3), ("dic", 2, "pco2", 4), ("ph_total", 3, "pco2", 4),
    ],
)  # fmt: skip
def test_every_pair_agrees_with_the_reference(reference, first, code1, second, code2):
    few = 300
    water = {name: values[:few] for name, values in WATER.items()}
    given_ = {
        "alkalinity": TA[:few], "dic": np.maximum(DIC[:few], 800.0), "ph_total": rng.uniform(7.4, 8.6, few),
        "pco2": rng.uniform(150, 2500, few), "xco2": rng.uniform(150, 2500, few),
    }  # fmt: skip
    if {first, second} == {"alkalinity", "ph_total"}:
        given_["alkalinity"] = rng.uniform(1500, 6000, few)
    ours = solve(**water, **{first: given_[first], second: given_[second]})
    theirs = reference(given_[first], code1, given_[second], code2, water["temperature_c"], water["salinity"])
    assert np.abs(ours.ph_total - theirs["pH_total"]).max() < 1e-6
    assert np.abs(ours.alkalinity - theirs["alkalinity"]).max() < 1e-2
    assert np.abs(ours.dic - theirs["dic"]).max() < 1e-2


@pytest.mark.published
def test_nutrients_agree_with_the_reference(reference):
    few = 500
    water = {name: values[:few] for name, values in WATER.items()}
    phosphate, silicate = rng.uniform(0, 20, few), rng.uniform(0, 150, few)
    ours = solve(**water, alkalinity=TA[:few], dic=DIC[:few], phosphate=phosphate, silicate=silicate)
    theirs = reference(
        TA[:few], 1, DIC[:few], 2, water["temperature_c"], water["salinity"],
        total_phosphate=phosphate, total_silicate=silicate,
    )  # fmt: skip
    assert np.abs(ours.ph_total - theirs["pH_total"]).max() < 1e-6


@pytest.mark.published
@pytest.mark.parametrize(("ta", "dic", "ph"), [(20000.0, 2000.0, 11.41), (-500.0, 2000.0, 3.31), (2000.0, 0.1, 10.42)])
def test_water_far_outside_a_reef_still_has_one_ph(ta, dic, ph):
    # Munhoven (2013): one root always. Values from an independent program, printed to 0.01
    assert solve(alkalinity=ta, dic=dic).ph_total == pytest.approx(ph, abs=0.011)


def test_caustic_water_does_not_return_an_end_of_the_bracket():
    # where the first bracket is tight, an answer equal to its end would break the alkalinity it came from
    for ta in (8_000.0, 40_000.0, 100_000.0, 150_000.0):
        for dic in (1e-3, 0.1, 10.0, 1000.0):
            state = solve(alkalinity=ta, dic=dic)
            parts = state.bicarbonate + 2 * state.carbonate + state.borate + state.hydroxide
            assert parts == pytest.approx(ta, rel=1e-6)


quiet = st.floats(0.0, 1.0)


def _between(share: float, low: float, high: float) -> float:
    return low + share * (high - low)


@pytest.mark.law
@given(a=quiet, b=quiet, c=quiet, d=quiet)
def test_one_point_and_many_are_the_same_and_close(a, b, c, d):
    t, s = _between(a, 0.0, 40.0), _between(b, 5.0, 50.0)
    ta, dic = _between(c, -1000.0, 20000.0), _between(d, 0.1, 20000.0)
    point = solve(temperature_c=t, salinity=s, alkalinity=ta, dic=dic)
    many = solve(temperature_c=np.array([t, 25.0]), salinity=s, alkalinity=ta, dic=dic).row(0)
    for name, value in asdict(point).items():
        assert asdict(many)[name] == pytest.approx(value, rel=1e-8, abs=1e-9), name
    assert point.co2 + point.bicarbonate + point.carbonate == pytest.approx(dic, rel=1e-9)
    # alkalinity again from pH and DIC, which needs no search
    again = solve(temperature_c=t, salinity=s, ph_total=point.ph_total, dic=dic)
    assert again.alkalinity == pytest.approx(ta, rel=1e-7, abs=1e-4)


@pytest.mark.law
@given(a=quiet, b=quiet, c=quiet, d=quiet)
def test_alkalinity_and_co2_close(a, b, c, d):
    t, s = _between(a, 0.0, 40.0), _between(b, 5.0, 50.0)
    ta, pco2 = _between(c, -500.0, 20000.0), 10.0 ** _between(d, -1.0, 5.5)
    state = solve(temperature_c=t, salinity=s, alkalinity=ta, pco2=pco2)
    again = solve(temperature_c=t, salinity=s, ph_total=state.ph_total, pco2=pco2)
    assert again.alkalinity == pytest.approx(ta, rel=1e-7, abs=1e-4)


@pytest.mark.law
@given(a=quiet, b=quiet, c=quiet, d=quiet)
def test_more_alkali_raises_ph_more_carbon_lowers_it(a, b, c, d):
    water = {"temperature_c": _between(a, 10.0, 35.0), "salinity": _between(b, 20.0, 45.0)}
    ta, dic = _between(c, 500.0, 6000.0), _between(d, 300.0, 6000.0)
    ph = solve(**water, alkalinity=ta, dic=dic).ph_total
    assert solve(**water, alkalinity=ta + 10, dic=dic).ph_total > ph
    assert solve(**water, alkalinity=ta, dic=dic + 10).ph_total < ph


@pytest.mark.parametrize(
    "given_",
    [{"alkalinity": 2300.0}, {"alkalinity": 2300.0, "dic": 2000.0, "ph_total": 8.0}, {"ph_total": 8.0, "ph_nbs": 8.1},
     {}, {"pco2": 400.0, "xco2": 410.0}],
)  # fmt: skip
def test_two_parameters_are_needed(given_):
    with pytest.raises(BadInput, match="needs two"):
        solve(**given_)


@pytest.mark.parametrize(
    "given_",
    [
        {"alkalinity": 2300.0, "dic": 2000.0, "salinity": 3.0},
        {"alkalinity": 2300.0, "dic": 2000.0, "temperature_c": 45.0},
        {"alkalinity": 2300.0, "dic": -5.0},
        {"alkalinity": float("nan"), "dic": 2000.0},
        {"alkalinity": 100.0, "ph_total": 9.5},  # borate and hydroxide alone are more than that
        {"dic": 1.0, "pco2": 5000.0},
        {"alkalinity": np.array([2300.0, np.inf]), "dic": 2000.0},
    ],
)
def test_impossible_water_is_refused(given_):
    with pytest.raises(OutOfRange):
        solve(**given_)


def test_says_when_a_fit_is_stretched():
    assert not eq.is_extrapolated(25.0, 35.0)
    assert eq.is_extrapolated(25.0, 44.0)
    assert eq.is_extrapolated(np.array([25.0, 36.0]), np.array([35.0, 35.0])).tolist() == [False, True]


def test_one_point_loads_no_numpy():
    code = (
        "import sys; from leadline.seawater.carbonate import solve;"
        "solve(alkalinity=2300.0, dic=2000.0); assert 'numpy' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_state_has_a_row():
    many = solve(alkalinity=np.array([2300.0, 2400.0]), dic=2000.0)
    assert isinstance(many.row(1), Carbonate)
    assert many.row(1).ph_total > many.row(0).ph_total
