"""The carbonate system against print: the handbook's constants, twelve states, room-air and dosing tables.

The states and tables were computed outside this project with PyCO2SYS 1.8.3.4 (Lueker 2000, Dickson 1990,
Uppström 1974, Perez & Fraga 1987). Tolerances are the digits printed, unless said otherwise.
"""

from __future__ import annotations

import math

import pytest

from leadline.seawater import equilibria as eq
from leadline.seawater import minerals
from leadline.seawater.carbonate import revelle, solve
from leadline.seawater.density import kg_per_l
from leadline.seawater.masses import MEQ_PER_DKH, MEQ_PER_MG_CACO3

S, T = 35.0, 25.0
GUIDE = [  # S 35, 25 °C. Dickson, Sabine & Christian (2007); Ksp: Zeebe & Wolf-Gladrow (2001)
    pytest.param(math.log(eq.co2_solubility_weiss1974(T, S)), -3.5617, 6e-5, id="ln K0"),
    pytest.param(math.log10(eq.k1_lueker2000(T, S)), -5.8472, 6e-5, id="log K1"),
    pytest.param(math.log10(eq.k2_lueker2000(T, S)), -8.9660, 6e-5, id="log K2"),
    pytest.param(math.log(eq.borate_dickson1990(T, S)), -19.7964, 6e-5, id="ln KB"),
    # the guide goes from the seawater to the total scale by a constant 0.015, we by KS and KF: 0.011
    pytest.param(math.log(eq.water_millero1995(T, S)), -30.434, 0.011, id="ln Kw"),
    pytest.param(math.log(eq.bisulfate_dickson1990(T, S)), -2.30, 0.006, id="ln KS, free scale"),
    pytest.param(math.log(eq.phosphate_yao1995(T, S)[0]), -3.71, 0.011, id="ln KP1"),
    pytest.param(math.log(eq.phosphate_yao1995(T, S)[1]), -13.727, 0.011, id="ln KP2"),
    pytest.param(math.log(eq.phosphate_yao1995(T, S)[2]), -20.24, 0.011, id="ln KP3"),
    pytest.param(math.log10(eq.aragonite_mucci1983(T, S)), -6.1883, 6e-5, id="log Ksp aragonite"),
]


@pytest.mark.published
@pytest.mark.parametrize(("ours", "printed", "within"), GUIDE)
def test_constants_match_the_guide(ours, printed, within):
    assert ours == pytest.approx(printed, abs=within)


@pytest.mark.published
@pytest.mark.parametrize(
    ("dkh", "meq", "caco3", "umol_kg"),
    [
        (6, 2.1399, 107.1, 2091.1), (7, 2.4966, 124.9, 2439.6), (8, 2.8532, 142.8, 2788.1), (9, 3.2099, 160.6, 3136.7),
        (10, 3.5665, 178.5, 3485.2), (11, 3.9232, 196.3, 3833.7), (12, 4.2798, 214.2, 4182.2),
    ],
)  # fmt: skip
def test_degrees_of_hardness(dkh, meq, caco3, umol_kg):  # by definition 10 mg CaO/L; gsw for the density
    assert dkh * MEQ_PER_DKH == pytest.approx(meq, abs=6e-5)
    assert dkh * MEQ_PER_DKH / MEQ_PER_MG_CACO3 == pytest.approx(caco3, abs=0.06)
    assert dkh * MEQ_PER_DKH * 1000.0 / kg_per_l(25.0, 35.0) == pytest.approx(umol_kg, abs=0.06)


TWELVE = [  # S, T, TA, DIC, pH_T, pH_NBS, pCO2, xCO2, CO2*, aragonite, Revelle
    (35, 25, 2300, 2000, 8.0459, 8.1824, 396.95, 409.5, 11.234, 3.386, 9.60),
    (35, 25, 2500, 2200, 8.0162, 8.1528, 470.66, 485.5, 13.320, 3.502, 10.11),
    (35, 26, 2856, 2450, 8.1063, 8.2452, 417.35, 431.4, 11.520, 4.873, 9.35),
    (35, 25.5, 2440, 2100, 8.0813, 8.2190, 381.18, 393.6, 10.653, 3.897, 9.32),
    (33, 24, 2100, 1900, 7.9236, 8.0600, 515.92, 531.3, 15.136, 2.320, 11.31),
    (37, 28, 3500, 2900, 8.1833, 8.3250, 399.72, 414.9, 10.405, 7.397, 8.62),
    (30, 20, 2000, 1900, 7.7708, 7.9023, 746.58, 763.9, 24.774, 1.339, 15.08),
    (40, 32, 4000, 3400, 8.0288, 8.1786, 694.97, 728.4, 16.274, 7.585, 9.17),
    (35, 25, 2500, 2600, 7.0740, 7.2106, 5081.9, 5242.6, 143.82, 0.494, 14.03),
    (35, 25, 5000, 3000, 9.0412, 9.1777, 30.97, 31.9, 0.876, 25.849, 8.99),
    (35, 30, 1500, 1600, 6.8792, 7.0276, 4933.4, 5144.7, 123.81, 0.234, 10.90),
    (35, 25, 2500, 1200, 9.3132, 9.4498, 4.49, 4.6, 0.127, 13.135, 8.84),
]


@pytest.mark.published
@pytest.mark.parametrize(("s", "t", "ta", "dic", "ph", "nbs", "pco2", "xco2", "co2", "aragonite", "buffer"), TWELVE)
def test_twelve_states(s, t, ta, dic, ph, nbs, pco2, xco2, co2, aragonite, buffer):
    state = solve(temperature_c=t, salinity=s, alkalinity=ta, dic=dic)
    assert state.ph_total == pytest.approx(ph, abs=6e-5)
    assert state.ph_nbs == pytest.approx(nbs, abs=6e-5)
    assert state.pco2 == pytest.approx(pco2, rel=2e-5, abs=0.006)
    assert state.xco2 == pytest.approx(xco2, abs=0.06)
    assert state.co2 == pytest.approx(co2, rel=4e-5, abs=6e-4)  # five digits are printed
    assert state.omega_aragonite == pytest.approx(aragonite, abs=6e-4)
    assert minerals.aragonite(state.carbonate, t, s) == pytest.approx(aragonite, abs=6e-4)
    assert revelle(state, temperature_c=t, salinity=s) == pytest.approx(buffer, abs=0.006)


@pytest.mark.published
def test_speciation_of_the_first_state():
    state = solve(temperature_c=25.0, salinity=35.0, alkalinity=2300.0, dic=2000.0)
    assert (state.bicarbonate, state.carbonate, state.co2, state.borate, state.hydroxide) == pytest.approx(
        (1775.35, 213.42, 11.234, 91.14, 6.68), abs=0.006
    )


def _umol_kg(dkh: float) -> float:
    return dkh * MEQ_PER_DKH * 1000.0 / float(kg_per_l(25.5, 35.0))


ROOM_AIR = {  # pH_T at S 35, 25.5 °C in balance with 280 … 2500 ppm
    6: (8.143, 8.066, 8.002, 7.939, 7.872, 7.764, 7.678, 7.517, 7.401, 7.309),
    7: (8.198, 8.122, 8.059, 7.997, 7.931, 7.824, 7.739, 7.580, 7.464, 7.373),
    8: (8.244, 8.170, 8.107, 8.046, 7.981, 7.875, 7.791, 7.634, 7.519, 7.429),
    9: (8.285, 8.211, 8.149, 8.089, 8.025, 7.920, 7.837, 7.681, 7.567, 7.477),
    10: (8.321, 8.248, 8.187, 8.127, 8.063, 7.960, 7.877, 7.722, 7.609, 7.520),
    11: (8.353, 8.281, 8.220, 8.161, 8.098, 7.995, 7.913, 7.760, 7.648, 7.559),
    12: (8.382, 8.310, 8.250, 8.192, 8.129, 8.027, 7.946, 7.794, 7.682, 7.594),
}


@pytest.mark.published
@pytest.mark.parametrize("dkh", ROOM_AIR)
def test_ph_in_balance_with_room_air(dkh):
    for ppm, ph in zip((280, 350, 420, 500, 600, 800, 1000, 1500, 2000, 2500), ROOM_AIR[dkh], strict=True):
        state = solve(temperature_c=25.5, salinity=35.0, alkalinity=_umol_kg(dkh), xco2=ppm)
        assert state.ph_total == pytest.approx(ph, abs=6e-4)


@pytest.mark.published
def test_aragonite_in_balance_with_room_air():
    for ppm, omega in ((420, 4.68), (500, 4.21), (1000, 2.60), (2000, 1.49)):
        state = solve(temperature_c=25.5, salinity=35.0, alkalinity=_umol_kg(8), xco2=ppm)
        assert state.omega_aragonite == pytest.approx(omega, abs=0.006)


@pytest.mark.published
@pytest.mark.parametrize(
    ("t", "gap"),
    [(20, 0.1251), (22, 0.1296), (24, 0.1342), (25, 0.1365), (26, 0.1389), (28, 0.1436), (30, 0.1483)],
)
def test_nbs_probes_read_higher(t, gap):  # PyCO2SYS with fH of Takahashi et al. (1982)
    assert eq.nbs_minus_total(float(t), 35.0) == pytest.approx(gap, abs=6e-5)


@pytest.mark.published
@pytest.mark.parametrize("s", [33, 35, 37])
@pytest.mark.parametrize("t", [20, 25, 30])
def test_nbs_fit(s, t):  # the straight-line fit is printed as good to 0.0006; its corners are 0.0008 off
    fit = 0.1365 + 0.00232 * (t - 25) - 0.00105 * (s - 35)
    assert eq.nbs_minus_total(float(t), float(s)) == pytest.approx(fit, abs=9e-4)


@pytest.mark.published
def test_other_scales():
    assert math.log10(eq.seawater_to_total(25.0, 35.0)) == pytest.approx(-0.0101, abs=6e-5)
    assert math.log10(eq.free_to_total(25.0, 35.0)) == pytest.approx(0.1077, abs=6e-5)


# Additions to 8 dKH, DIC 2438.4, S 35, 25.5 °C: dTA [dKH], dDIC [dKH, or µmol/kg for CO2], pH, aragonite, pH later
ADDITIONS = [
    pytest.param(0.5, 0.0, 8.243, 6.25, 8.068, id="hydroxide 0.5"),
    pytest.param(1.0, 0.0, 8.398, 8.36, 8.089, id="hydroxide 1"),
    pytest.param(2.0, 0.0, 8.648, 12.7, 8.127, id="hydroxide 2"),
    pytest.param(0.5, 0.25, 8.139, 5.27, 8.068, id="carbonate 0.5"),
    pytest.param(1.0, 0.5, 8.217, 6.36, 8.089, id="carbonate 1"),
    pytest.param(2.0, 1.0, 8.342, 8.62, 8.127, id="carbonate 2"),
    pytest.param(0.5, 0.5, 8.023, 4.30, 8.068, id="bicarbonate 0.5"),
    pytest.param(1.0, 1.0, 8.002, 4.39, 8.089, id="bicarbonate 1"),
    pytest.param(2.0, 2.0, 7.964, 4.56, 8.127, id="bicarbonate 2"),
    pytest.param(-1.0, -0.5, 7.783, 2.23, 7.997, id="calcification 1"),
    pytest.param(-1.0, 0.0, 7.329, 0.86, 7.997, id="strong acid 1"),
]


@pytest.mark.published
@pytest.mark.parametrize(("alkalinity", "carbon", "ph", "omega", "later"), ADDITIONS)
def test_additions(alkalinity, carbon, ph, omega, later):
    one = _umol_kg(1.0)
    water = {"temperature_c": 25.5, "salinity": 35.0}
    at_once = solve(alkalinity=2788.6 + alkalinity * one, dic=2438.4 + carbon * one, **water)
    assert at_once.ph_total == pytest.approx(ph, abs=7e-4)  # the start is printed to 0.1 µmol/kg
    assert at_once.omega_aragonite == pytest.approx(omega, abs=0.006 if omega < 10 else 0.06)
    assert solve(alkalinity=2788.6 + alkalinity * one, xco2=500, **water).ph_total == pytest.approx(later, abs=6e-4)


@pytest.mark.published
@pytest.mark.parametrize(
    ("carbon", "ph", "omega"),
    [(50, 7.971, 3.67), (100, 7.888, 3.14), (200, 7.696, 2.15), (-50, 8.116, 4.75), (-100, 8.181, 5.30),
     (-200, 8.301, 6.41)],
)  # fmt: skip
def test_breathing_and_light(carbon, ph, omega):
    state = solve(temperature_c=25.5, salinity=35.0, alkalinity=2788.6, dic=2438.4 + carbon)
    assert state.ph_total == pytest.approx(ph, abs=7e-4)
    assert state.omega_aragonite == pytest.approx(omega, abs=0.006)


@pytest.mark.published
@pytest.mark.parametrize(
    ("ph", "dic", "omega"),
    [(7.7, 2636, 2.17), (7.8, 2587, 2.65), (7.9, 2532, 3.21), (8.0, 2469, 3.87), (8.1, 2400, 4.63), (8.2, 2323, 5.47),
     (8.3, 2240, 6.40), (8.4, 2150, 7.39)],
)  # fmt: skip
def test_dic_from_ph(ph, dic, omega):
    state = solve(temperature_c=25.5, salinity=35.0, alkalinity=2788.6, ph_total=ph)
    assert state.dic == pytest.approx(dic, abs=0.6)
    assert state.omega_aragonite == pytest.approx(omega, abs=0.006)


@pytest.mark.published
def test_calcium_as_tested_scales_saturation():
    for mg_l, omega in ((350, 3.84), (420, 4.61), (450, 4.94), (500, 5.49)):
        calcium = minerals.calcium_from_mg_l(mg_l, 25.5, 35.0)
        state = solve(temperature_c=25.5, salinity=35.0, alkalinity=2788.6, ph_total=8.1, calcium=calcium)
        assert state.omega_aragonite == pytest.approx(omega, abs=0.007)  # 2788.6 is rounded


@pytest.mark.published
def test_odd_boron_moves_ph():
    water = {"temperature_c": 25.5, "salinity": 35.0, "alkalinity": 2788.6, "dic": 2438.4}
    plain = solve(**water).ph_total
    assert solve(**water, boron_ratio=2.0).ph_total - plain == pytest.approx(-0.108, abs=6e-4)
    assert solve(**water, boron_ratio=0.5).ph_total - plain == pytest.approx(0.064, abs=6e-4)


@pytest.mark.published
@pytest.mark.parametrize(("ppm", "ratio"), [(500, 18), (420, 22), (1000, 7)])
def test_carbon_to_be_moved_for_a_change_of_gas(ppm, ratio):
    # dDIC/dCO2* = DIC / (Revelle × CO2*), printed to a whole number; it sets how slowly water follows the room
    water = {"temperature_c": 25.5, "salinity": 35.0}
    state = solve(**water, alkalinity=_umol_kg(8), xco2=ppm)
    assert state.dic / (revelle(state, **water) * state.co2) == pytest.approx(ratio, abs=0.8)


@pytest.mark.published
def test_warmth_lowers_ph():  # 0.0150 per kelvin at fixed alkalinity and DIC, 20 to 30 °C
    cold, warm = (solve(temperature_c=t, salinity=35.0, alkalinity=2788.6, dic=2438.4).ph_total for t in (20.0, 30.0))
    assert (warm - cold) / 10 == pytest.approx(-0.0150, abs=2e-4)
