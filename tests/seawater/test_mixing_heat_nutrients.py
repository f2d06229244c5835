"""Mixing, heat, oxygen, nutrients against print and worked examples, and mass conserved everywhere.

"gsw 3.6.23" marks values computed outside this project with the public library; "arithmetic" is plain
arithmetic with IUPAC abridged atomic weights.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.measures.errors import BadInput, OutOfRange
from leadline.seawater import equilibria, heat, mixing, nutrients, oxygen
from leadline.seawater.density import REFERENCE

M400 = mixing.mass_kg(400.0, 25.5, 35.0)


@pytest.mark.published
def test_evaporation_from_four_hundred_litres():  # gsw 3.6.23; 997.0 g a litre of the water that left
    assert pytest.approx(409.3, abs=0.06) == M400
    for litres, expected in ((4, 35.344), (8, 35.696), (20, 36.793), (40, 38.779)):
        assert mixing.after_evaporation(M400, 35.0, litres * 0.997) == pytest.approx(expected, abs=0.001)


@pytest.mark.published
@pytest.mark.parametrize(("litres", "expected"), [(0.25, 34.35), (0.5, 33.71), (1, 32.47), (2, 30.12)])
def test_wet_skimming_with_fresh_topoff(litres, expected):  # arithmetic on the linear balance; printed to 0.01
    lost = litres * M400 / 400.0
    after = mixing.with_losses(M400, 35.0, 30.0, evaporation_kg_d=4.0, losses_kg_d=lost)
    assert after == pytest.approx(expected, abs=0.01)


@pytest.mark.published
def test_salt_water_topoff_climbs_fast():
    day = mixing.with_losses(M400, 35.0, 1.0, evaporation_kg_d=8 * 0.997, losses_kg_d=0.0, topoff=35.0)
    month = mixing.with_losses(M400, 35.0, 30.0, evaporation_kg_d=8 * 0.997, losses_kg_d=0.0, topoff=35.0)
    assert day - 35.0 == pytest.approx(0.682, abs=0.001)
    assert month == pytest.approx(55.5, abs=0.06)


@pytest.mark.published
def test_dry_salt():  # gsw 3.6.23
    assert mixing.salt_per_kg_fresh(35.0) == pytest.approx(36.447, abs=6e-4)
    assert mixing.salt_per_kg_fresh(35.0) * 0.9970476 == pytest.approx(36.34, abs=0.006)
    assert mixing.salt_per_l_finished(35.0) == pytest.approx(35.986, abs=6e-4)
    for bound, label in ((0.05, 37.9), (0.10, 40.0), (0.12, 40.9)):
        assert mixing.salt_per_l_finished(35.0, bound_water=bound) == pytest.approx(label, abs=0.06)
    assert mixing.salt_to_raise(400.0, 33.0, 35.0) == pytest.approx(842.6, abs=0.06)
    finished_l = mixing.volume_l(0.9970476 + 0.03634, 25.0, 35.0)
    assert finished_l == pytest.approx(1.0098, abs=6e-5)


@pytest.mark.published
def test_two_waters_together():  # gsw 3.6.23: 33.3517 by mass, 33.350 by volume
    masses = [mixing.mass_kg(380.0, 25.0, 33.0), mixing.mass_kg(20.0, 25.0, 40.0)]
    assert mixing.mixed(masses, [33.0, 40.0]) == pytest.approx(33.3517, abs=6e-5)


@pytest.mark.published
@pytest.mark.parametrize(
    ("start", "wanted", "new", "equal_density"), [(33, 35, 38, 160.0), (33, 35, 40, 400 * 2 / 7), (38, 35, 0, 31.58)]
)
def test_exchange_to_reach(start, wanted, new, equal_density):
    # arithmetic, equal-density form; by mass it is up to 0.4 % smaller for salty water (2.6 % more for fresh)
    litres = mixing.exchange_to_reach(400.0, start, wanted, new)
    assert litres == pytest.approx(equal_density, rel=0.03 if new == 0 else 0.005)
    old = mixing.mass_kg(400.0 - litres, 25.0, start)
    assert mixing.mixed([old, mixing.mass_kg(litres, 25.0, new)], [start, new]) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.published
@pytest.mark.parametrize(
    ("share", "times", "batch", "flow"),
    [(0.1, 1, 0.9000, 0.9048), (0.1, 10, 0.3487, 0.3679), (0.2, 5, 0.3277, 0.3679), (0.3, 3, 0.3430, 0.4066),
     (0.5, 2, 0.2500, 0.3679)],
)  # fmt: skip
def test_batches_and_flow(share, times, batch, flow):  # arithmetic
    assert mixing.remaining_after_batches(share, times) == pytest.approx(batch, abs=6e-5)
    assert mixing.remaining_after_flow(share * times, 1.0) == pytest.approx(flow, abs=6e-5)


@pytest.mark.published
def test_nitrate_between_weekly_changes():  # arithmetic: 0.5 mg/L/d, weekly 10 % and 20 %
    assert mixing.steady_with_batches(0.5, 7.0, 0.10) == pytest.approx((35.0, 31.5))
    assert mixing.steady_with_batches(0.5, 7.0, 0.20) == pytest.approx((17.5, 14.0))


salty = st.floats(0.0, 60.0)
heavy = st.floats(0.1, 5000.0)


@pytest.mark.law
@given(m1=heavy, s1=salty, m2=heavy, s2=salty)
def test_mixing_keeps_salt_and_lies_between(m1, s1, m2, s2):
    both = mixing.mixed([m1, m2], [s1, s2])
    assert both * (m1 + m2) == pytest.approx(m1 * s1 + m2 * s2, rel=1e-12, abs=1e-9)
    assert min(s1, s2) - 1e-9 <= both <= max(s1, s2) + 1e-9


@pytest.mark.law
@given(mass=heavy, s=st.floats(0.1, 45.0), share=st.floats(0.0, 0.4))
def test_evaporation_keeps_salt_and_topoff_undoes_it(mass, s, share):
    lost = mass * share
    after = mixing.after_evaporation(mass, s, lost)
    assert after * (mass - lost) == pytest.approx(mass * s, rel=1e-12)
    assert mixing.after_evaporation(mass - lost, after, -lost) == pytest.approx(s, rel=1e-12)


@pytest.mark.law
@given(s=st.floats(1.0, 45.0), days=st.floats(0.0, 200.0), q=st.floats(1e-6, 5.0), topoff=st.floats(0.0, 40.0))
def test_days_of_losses_compose(s, days, q, topoff):
    kw = {"evaporation_kg_d": 4.0, "losses_kg_d": q, "topoff": topoff}
    half = mixing.with_losses(400.0, s, days / 2, **kw)
    # S_inf = S_t (E + q)/q is up to 1e8 at the smallest q, and its rounding 1e-8 of a unit
    assert mixing.with_losses(400.0, half, days / 2, **kw) == pytest.approx(
        mixing.with_losses(400.0, s, days, **kw), abs=1e-6
    )


def test_impossible_mixing_is_refused():
    with pytest.raises(BadInput):
        mixing.mixed([], [])
    with pytest.raises(BadInput):
        mixing.mixed([1.0, -1.0], [35.0, 0.0])
    with pytest.raises(OutOfRange):
        mixing.after_evaporation(10.0, 35.0, 9.9)
    with pytest.raises(OutOfRange):
        mixing.exchange_to_reach(400.0, 33.0, 35.0, 34.0)


@pytest.mark.published
@pytest.mark.parametrize(("t", "cp"), [(20, 3996.1), (25, 3999.0), (26, 3999.5), (28, 4000.5), (32, 4002.5)])
def test_heat_capacity(t, cp):  # gsw 3.6.23
    assert heat.capacity(float(t), 35.0) == pytest.approx(cp, abs=0.06)


@pytest.mark.published
def test_latent_heats():  # gsw 3.6.23
    assert heat.capacity_per_l(25.0, 35.0) == pytest.approx(4092, abs=0.6)
    assert heat.capacity_per_l(25.0, 35.0) * 100 / 3600 == pytest.approx(113.7, abs=0.06)
    for t, kj in ((20, 2450.9), (25, 2438.97), (30, 2427.0)):
        assert heat.of_evaporation(float(t), 35.0) / 1000 == pytest.approx(kj, abs=0.06)
    assert heat.of_evaporation(25.0, 35.0) * 0.997 / 86400 == pytest.approx(28.1, abs=0.06)
    assert heat.of_melting() / 1000 == pytest.approx(333.43, abs=0.006)


@pytest.mark.published
def test_teos10_heat_capacity_example():
    import gsw  # TEOS-10 manual example for cp_t_exact, at 10 dbar

    assert gsw.cp_t_exact(34.7118, 28.7856, 10.0) == pytest.approx(4002.888, abs=6e-4)
    # ours is for the surface; 10 dbar lower it by 0.2 J/kg/K
    assert heat.capacity(28.7856, 34.7118 / REFERENCE) == pytest.approx(4002.888, abs=0.3)


@pytest.mark.published
@pytest.mark.parametrize(
    ("ice", "cold", "melting", "salinity"),
    [(10, 0.999, 0.977, 34.70), (15, 1.492, 1.460, 34.56), (20, 1.981, 1.938, 34.41)],
)
def test_ice_in_1150_litres_from_31_degrees(ice, cold, melting, salinity):  # gsw 3.6
    mass = mixing.mass_kg(1150.0, 31.0, 35.0)
    after, left = heat.cooled_by_ice(mass, 31.0, 35.0, ice, -5.0)
    assert 31.0 - after == pytest.approx(cold, abs=0.0011)
    assert left == pytest.approx(salinity, abs=0.006)
    assert 31.0 - heat.cooled_by_ice(mass, 31.0, 35.0, ice, 0.0)[0] == pytest.approx(melting, abs=0.0011)


OXYGEN = {  # gsw 3.6.23 (Garcia & Gordon 1992): mg/L at S 35, µmol/kg at S 35, mg/L fresh
    20: (7.395, 225.52, 9.091), 24: (6.888, 210.28, 8.417), 25: (6.771, 206.77, 8.262), 26: (6.657, 203.36, 8.112),
    27: (6.547, 200.06, 7.967), 28: (6.440, 196.86, 7.826), 30: (6.235, 190.72, 7.558), 32: (6.041, 184.91, 7.304),
}  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize("t", OXYGEN)
def test_oxygen_that_water_holds(t):
    sea, molal, fresh = OXYGEN[t]
    assert oxygen.saturation_mg_l(float(t), 35.0) == pytest.approx(sea, abs=6e-4)
    assert oxygen.saturation(float(t), 35.0) == pytest.approx(molal, abs=0.006)
    assert oxygen.saturation_mg_l(float(t), 0.0) == pytest.approx(fresh, abs=6e-4)


@pytest.mark.published
@pytest.mark.parametrize(
    ("t", "s", "expected", "within"),
    [
        pytest.param(28.8099, 34.7118, 194.682543169294, 1e-9, id="TEOS-10 page gsw_O2sol_SP_pt, row 1"),
        pytest.param(10 / 1.00024, 35.0, 274.610, 5e-4, id="Garcia & Gordon check value, second hand"),
    ],
)
def test_oxygen_check_values(t, s, expected, within):
    assert oxygen.saturation(t, s) == pytest.approx(expected, abs=within)


def test_oxygen_at_height():
    # 1000 m, 89.875 kPa (standard atmosphere): (P − e)/(101.325 − e) of the sea-level value, e = 0.981 × 3169 Pa
    share = oxygen.saturation(25.0, 35.0, 89.875) / oxygen.saturation(25.0, 35.0)
    assert share == pytest.approx((89.875 - 3.109) / (101.325 - 3.109), abs=2e-4)


@pytest.mark.law
@given(t=st.floats(0, 39), s=st.floats(0, 41))
def test_warmer_or_saltier_water_holds_less(t, s):
    assert oxygen.saturation(t + 1, s) < oxygen.saturation(t, s)
    assert oxygen.saturation(t, s + 1) < oxygen.saturation(t, s)


@pytest.mark.published
def test_forms_of_nitrogen_and_phosphorus():  # arithmetic
    assert pytest.approx(4.4266, abs=6e-5) == nutrients.NO3_PER_N
    assert pytest.approx(0.22590, abs=6e-6) == 1 / nutrients.NO3_PER_N
    assert pytest.approx(3.2844, abs=6e-5) == nutrients.NO2_PER_N
    assert pytest.approx(1.21589, abs=6e-6) == nutrients.NH3_PER_N
    assert pytest.approx(1.28786, abs=6e-6) == nutrients.NH4_PER_N
    assert pytest.approx(3.06614, abs=6e-6) == nutrients.PO4_PER_P
    assert pytest.approx(0.32614, abs=6e-6) == 1 / nutrients.PO4_PER_P
    assert pytest.approx(0.43643, abs=6e-6) == nutrients.P_PER_P2O5
    assert pytest.approx(2.14, abs=0.006) == nutrients.SIO2_PER_SI


AMMONIA = [  # S 34: °C, pH, % NH3 of Bower & Bidwell (1978), then by formulae A, B, C
    (10, 8.0, 1.44, 1.431, 1.454, 1.30), (10, 8.5, 4.41, 4.389, 4.457, 4.00), (15, 8.2, 3.25, 3.280, 3.253, 3.00),
    (20, 8.0, 2.98, 3.018, 2.960, 2.78), (20, 8.5, 8.87, 8.958, 8.798, 8.30), (25, 7.5, 1.39, 1.394, 1.368, 1.30),
    (25, 8.0, 4.28, 4.278, 4.202, 3.99), (25, 8.2, 6.61, 6.615, 6.500, 6.18), (25, 8.5, 12.40, 12.384, 12.182, 11.61),
]  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize(("t", "ph", "bower", "a", "b", "c"), AMMONIA)
def test_free_ammonia(t, ph, bower, a, b, c):
    ours = 100 * nutrients.free_ammonia_nbs(ph, float(t), 34.0)
    assert ours == pytest.approx(bower, rel=0.015)  # the table is Bower and Bidwell's own fit
    assert ours == pytest.approx(a, abs=6e-4)
    line = 100 / (1 + 10 ** (nutrients.pk_ammonium_bell2007(float(t), 34.0) - ph))
    assert line == pytest.approx(b, abs=6e-4)
    total = ph - float(equilibria.nbs_minus_total(float(t), 34.0))
    assert 100 * nutrients.free_ammonia_total(total, float(t), 34.0) == pytest.approx(c, abs=6e-3)


@pytest.mark.published
@pytest.mark.parametrize(
    ("t", "ph", "percent"), [(25, 8.0, 5.37), (25, 8.1, 6.67), (25, 8.2, 8.26), (26, 8.1, 7.18), (28, 8.1, 8.29)]
)
def test_free_ammonia_on_the_total_scale(t, ph, percent):  # PyCO2SYS 1.8.3.4, Clegg & Whitfield (1995)
    assert 100 * nutrients.free_ammonia_total(ph, float(t), 35.0) == pytest.approx(percent, abs=6e-3)


@pytest.mark.published
def test_pk_of_ammonium_on_the_total_scale():  # PyCO2SYS 1.8.3.4
    for t, pk in ((25, 9.2458), (26, 9.2117), (28, 9.1439)):
        assert nutrients.pk_ammonium_clegg1995(float(t), 35.0) == pytest.approx(pk, abs=6e-5)


def test_every_dated_function_has_its_paper():
    import importlib
    import pkgutil
    import re

    import leadline.seawater
    from leadline.seawater.sources import SOURCES

    seen = set()
    for module in pkgutil.iter_modules(leadline.seawater.__path__):
        for name in vars(importlib.import_module(f"leadline.seawater.{module.name}")):
            ending = re.search(r"_([a-z]+(?:19|20)\d\d)$", name)
            if ending:
                seen.add(ending[1])
    assert len(seen) > 12
    assert seen <= set(SOURCES)
