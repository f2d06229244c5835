"""Salinity and density against print: UNESCO 44 (Fofonoff & Millard 1983), TEOS-10, and tables made with gsw.

Tables marked "gsw 3.6.23" were computed outside this project with the public gsw library from the defining
formula of each scale; they check our wiring of it. Tolerances are half the last digit printed.
"""

from __future__ import annotations

import pytest

from leadline.measures.errors import OutOfRange
from leadline.seawater import density, salinity

T68 = 1.00024  # t68 = 1.00024 t90


@pytest.mark.published
@pytest.mark.parametrize(
    ("ratio", "t68", "pressure", "expected"),
    [
        pytest.param(1.0, 15.0, 0.0, 35.000000, id="UNESCO 44, row 1"),
        pytest.param(1.2, 20.0, 2000.0, 37.245628, id="UNESCO 44, row 2"),
        pytest.param(1.888091, 40.0, 10000.0, 40.000000, id="UNESCO 44, row 3"),
    ],
)
def test_pss78_check_values(ratio, t68, pressure, expected):
    import gsw  # the deep rows check the library underneath; our function is for the surface

    assert gsw.SP_from_C(ratio * 42.9140, t68 / T68, pressure) == pytest.approx(expected, abs=1e-5)
    if pressure == 0.0:
        assert salinity.from_conductivity(ratio * 42.9140, t68 / T68) == pytest.approx(expected, abs=1e-5)


@pytest.mark.published
def test_teos10_check_bottle_conductivity():
    # TEOS-10 check dataset v3.0: S, t, C; p = 0. The library prints all digits.
    assert salinity.to_conductivity(34.306287392599714, 27.962) == pytest.approx(55.19754712635529, abs=1e-9)


GSW_CONDUCTIVITY = [
    (20, 32.091), (30, 46.253), (31, 47.630), (33, 50.363), (34, 51.720), (35, 53.071), (36, 54.416),
    (37, 55.754), (38, 57.087), (40, 59.734),
]  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize(("s", "conductivity"), GSW_CONDUCTIVITY)
def test_conductivity_at_25_degrees(s, conductivity):  # gsw 3.6.23
    assert salinity.to_conductivity(s) == pytest.approx(conductivity, abs=5.1e-4)
    assert salinity.from_conductivity(conductivity) == pytest.approx(s, abs=5.1e-4)


@pytest.mark.published
@pytest.mark.parametrize(
    ("coefficient", "t", "shown_salinity"),
    [(0.0191, 20, 34.93), (0.020, 20, 35.13), (0.021, 20, 35.35), (0.0191, 30, 35.15), (0.020, 30, 34.99),
     (0.021, 30, 34.81)],
)  # fmt: skip
def test_a_fixed_compensation_drifts_and_can_be_undone(coefficient, t, shown_salinity):  # gsw 3.6.23
    shown = salinity.to_conductivity(35.0, float(t)) / (1.0 + coefficient * (t - 25.0))
    assert salinity.from_conductivity(shown) == pytest.approx(shown_salinity, abs=0.006)
    assert salinity.from_specific_conductance(shown, float(t), coefficient) == pytest.approx(35.0, abs=1e-6)


@pytest.mark.published
@pytest.mark.parametrize(
    ("s", "t68", "expected"),
    [
        pytest.param(0.0, 5.0, 999.96675, id="UNESCO 44, fresh"),
        pytest.param(35.0, 5.0, 1027.67547, id="UNESCO 44, S 35"),
    ],
)
def test_eos80_at_one_atmosphere(s, t68, expected):
    assert density.of_seawater_millero1981(t68 / T68, s) == pytest.approx(expected, abs=6e-6)


@pytest.mark.published
@pytest.mark.parametrize(
    ("s", "t", "expected"),
    [(35, 0, 1028.1072), (0, 4, 999.9749), (0, 20, 998.2071), (0, 25, 997.0476), (35, 26, 1023.0352),
     (35, 25, 1023.3436)],
)  # fmt: skip
def test_teos10_density(s, t, expected):  # gsw 3.6.23
    assert density.of_seawater(float(t), float(s)) == pytest.approx(expected, abs=6e-5)


@pytest.mark.parametrize("t", [0.0, 10.0, 20.0, 25.0, 30.0, 40.0])
@pytest.mark.parametrize("s", [0.0, 10.0, 30.0, 35.0, 42.0])
def test_the_two_equations_of_state_agree(s, t):
    # TEOS-10 and EOS-80 are known to lie within a few g/m³ at the surface; 0.01 kg/m³ is 1e-5 of a reading
    assert density.of_seawater_millero1981(t, s) == pytest.approx(float(density.of_seawater(t, s)), abs=0.01)


SCALES = {  # scale: (sample °C, reference °C, SG of S = 35); gsw 3.6.23
    "25/25": (25, 25, 1.02637), "24/24": (24, 24, 1.02642), "20/20": (20, 20, 1.02661),
    "60/60F": (140 / 9, 140 / 9, 1.02686), "15/15": (15, 15, 1.02690), "25/4": (25, 4, 1.02337),
    "20/4": (20, 4, 1.02479), "60F/4": (140 / 9, 4, 1.02588), "25/20": (25, 20, 1.02518),
    "25/60F": (25, 140 / 9, 1.02435),
}  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize("scale", SCALES)
def test_specific_gravity_of_reef_water(scale):
    sample, reference, expected = SCALES[scale]
    assert salinity.specific_gravity(35.0, sample, reference) == pytest.approx(expected, abs=6e-6)


@pytest.mark.published
@pytest.mark.parametrize(
    ("gravity", "scale", "expected"),
    [
        (gravity, scale, expected)
        for gravity, row in {
            1.0200: (26.57, 26.33, 26.08, 30.54, 29.24),
            1.0230: (30.54, 30.27, 29.98, 34.51, 33.21),
            1.0250: (33.19, 32.90, 32.58, 37.16, 35.86),
            1.0260: (34.51, 34.21, 33.88, 38.48, 37.18),
            1.0270: (35.83, 35.52, 35.18, 39.80, 38.50),
        }.items()
        for scale, expected in zip(("25/25", "20/20", "60/60F", "25/4", "25/60F"), row, strict=True)
    ],
)
def test_salinity_of_a_stated_specific_gravity(gravity, scale, expected):  # gsw 3.6.23
    sample, reference, _ = SCALES[scale]
    assert salinity.from_specific_gravity(gravity, sample, reference) == pytest.approx(expected, abs=0.006)


@pytest.mark.published
@pytest.mark.parametrize(
    ("scale", "t", "shown"),
    [
        (scale, t, shown)
        for scale, row in {
            "60/60F": (1.0259, 1.0254, 1.0249, 1.0246, 1.0243, 1.0237, 1.0231),
            "20/20": (1.0266, 1.0261, 1.0256, 1.0253, 1.0250, 1.0244, 1.0238),
            "25/25": (1.0277, 1.0272, 1.0266, 1.0264, 1.0261, 1.0255, 1.0249),
        }.items()
        for t, shown in zip((20, 22, 24, 25, 26, 28, 30), row, strict=True)
    ],
)
def test_a_glass_float_in_reef_water(scale, t, shown):  # gsw 3.6.23, soda glass 25e-6 per kelvin (memory)
    sample, reference, _ = SCALES[scale]
    assert salinity.hydrometer_reading(35.0, t, sample, reference) == pytest.approx(shown, abs=6e-5)


@pytest.mark.published
@pytest.mark.parametrize(("scale", "shown", "expected"), [("60/60F", 1.0240, 34.59), ("25/25", 1.0260, 34.88)])
def test_a_glass_float_corrected_at_26_degrees(scale, shown, expected):  # gsw 3.6.23
    sample, reference, _ = SCALES[scale]
    assert salinity.from_hydrometer(shown, 26.0, sample, reference) == pytest.approx(expected, abs=0.006)


QUAN_FRY = {  # n at 589.3 nm at 15, 20, 25, 30 °C, from the printed coefficients (Quan & Fry 1995, eq. 3)
    0: (1.33339, 1.33300, 1.33251, 1.33192), 30: (1.33895, 1.33849, 1.33795, 1.33733),
    33: (1.33951, 1.33904, 1.33850, 1.33788), 35: (1.33988, 1.33941, 1.33886, 1.33824),
    38: (1.34044, 1.33995, 1.33940, 1.33878),
}  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize("s", QUAN_FRY)
def test_refractive_index(s):
    for t, expected in zip((15, 20, 25, 30), QUAN_FRY[s], strict=True):
        assert salinity.refractive_index_quan1995(t, s) == pytest.approx(expected, abs=6e-6)
        if s > 0:  # 5e-6 of n is 0.03 of salinity
            assert salinity.from_refractive_index(expected, t) == pytest.approx(s, abs=0.04)


@pytest.mark.published
def test_nacl_traps_of_refractometers():
    # CRC handbook table of n for NaCl (from memory), given to 1e-4, hence 0.3 of salinity
    assert salinity.from_refractometer(35.0, 20.0, nacl_scale=True) == pytest.approx(33.6, abs=0.3)
    assert salinity.from_refractometer(36.5, 20.0, nacl_scale=True) == pytest.approx(35.0, abs=0.3)
    assert salinity.after_nacl_standard(36.4, 35.0, 35.0) == pytest.approx(35.0, abs=0.3)


@pytest.mark.published
def test_an_uncompensated_refractometer_is_half_a_unit_off_per_kelvin():
    # dn/dT = -1.02e-4 per kelvin over dn/dS = 1.829e-4: 0.56 per kelvin near S 35 (Quan & Fry 1995)
    shown_cold = 35.0 - salinity.from_refractometer(35.0, 21.0, set_at_c=20.0)
    assert abs(shown_cold) == pytest.approx(0.56, abs=0.06)


@pytest.mark.published
def test_grams_per_litre():  # gsw 3.6.23
    assert salinity.to_g_per_l(35.0) == pytest.approx(35.986, abs=6e-4)
    assert salinity.from_g_per_l(35.986) == pytest.approx(35.0, abs=1e-3)


@pytest.mark.parametrize(
    "call",
    [
        lambda: salinity.from_specific_gravity(1.2),
        lambda: salinity.from_specific_gravity(0.99),
        lambda: salinity.from_conductivity(90.0),
        lambda: salinity.from_refractive_index(1.4, 25.0),
        lambda: density.of_seawater(60.0, 35.0),
        lambda: density.of_seawater(float("nan"), 35.0),
    ],
)
def test_impossible_water_is_refused_in_one_line(call):
    with pytest.raises(OutOfRange) as refused:
        call()
    assert "\n" not in str(refused.value)


@pytest.mark.published
def test_the_library_underneath_keeps_its_manual():
    import gsw  # examples of the TEOS-10 manual, at 10 dbar; printed with all digits

    assert gsw.SP_from_C(34.5487, 28.7856, 10.0) == pytest.approx(20.009869599086951, abs=1e-9)
    assert gsw.rho(34.7118, 28.8099, 10.0) == pytest.approx(1021.839935738108, abs=1e-9)


@pytest.mark.published
def test_conductivity_near_reef_water():  # gsw 3.6.23
    assert salinity.from_conductivity(53.0) == pytest.approx(34.947, abs=6e-4)
    assert salinity.to_conductivity(35.0, 25.0 / T68) == pytest.approx(53.065, abs=6e-4)  # 25 °C on IPTS-68
    assert salinity.from_conductivity(53.571) - salinity.from_conductivity(52.571) == pytest.approx(0.742, abs=6e-4)
    per_kelvin = (salinity.to_conductivity(35.0, 25.5) - salinity.to_conductivity(35.0, 24.5)) / 53.071
    assert 100 * per_kelvin == pytest.approx(1.968, abs=6e-3)


SLOPES = {  # dSG/dS times 1e4, gsw 3.6.23
    "25/25": 7.58, "24/24": 7.59, "20/20": 7.64, "60/60F": 7.71, "15/15": 7.71, "25/4": 7.55, "20/4": 7.62,
    "60F/4": 7.70, "25/20": 7.57, "25/60F": 7.56,
}  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize("scale", SLOPES)
def test_slope_of_specific_gravity(scale):
    sample, reference, _ = SCALES[scale]
    rise = salinity.specific_gravity(35.5, sample, reference) - salinity.specific_gravity(34.5, sample, reference)
    assert 1e4 * rise == pytest.approx(SLOPES[scale], abs=0.006)


@pytest.mark.published
@pytest.mark.parametrize("gravity", [1.0212, 1.0230, 1.0250, 1.0264, 1.0286])
def test_straight_line_for_25_25(gravity):  # gsw 3.6.23: 28 to 38, largest error 0.004
    line = 1321.08 * (gravity - 1.0) + 0.157
    assert salinity.from_specific_gravity(gravity) == pytest.approx(line, abs=0.005)


@pytest.mark.published
def test_a_float_at_the_wrong_temperature():  # gsw 3.6.23
    f60 = 140 / 9
    shown = salinity.hydrometer_reading(35.0, 26.0, f60, f60)
    # 3.4 was read off the table's 1.0243 and slope; unrounded it is 3.32
    assert 35.0 - salinity.from_specific_gravity(shown, f60, f60) == pytest.approx(3.4, abs=0.1)
    # per kelvin between 20 and 28 °C; it steepens with warmth
    fall = (salinity.hydrometer_reading(35.0, 28.0, 25, 25) - salinity.hydrometer_reading(35.0, 20.0, 25, 25)) / 8
    assert fall == pytest.approx(-2.7e-4, abs=6e-6)
    assert fall / 7.58e-4 == pytest.approx(-0.36, abs=0.011)
    # a solid acrylic arm, 210e-6 per kelvin (memory), nearly follows the water
    arm = [salinity.hydrometer_reading(35.0, t, 25, 25, 210e-6) for t in (25.0, 26.0)]
    assert arm[1] - arm[0] == pytest.approx(-0.9e-4, abs=6e-6)
