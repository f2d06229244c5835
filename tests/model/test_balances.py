"""Mass balances: nothing appears or vanishes, and the worked figures of the trade come out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.measures.errors import BadInput, UnknownName
from leadline.model import balance
from leadline.model.evaporation import kg_per_day, saturation_pressure_pa
from leadline.model.state import SALT_G_PER_MOL
from leadline.model.substances import FOODS, SPECIES, SUBSTANCES, grams_of, moles

KG_PER_L = 409.3 / 400.0  # seawater of S 35 at 25 °C (TEOS-10), the density of the worked examples below
FRESH_KG_PER_L = 0.99705  # water at 25 °C (IAPWS-95)
REEF = {"alkalinity": 2.8e-3, "calcium": 10.3e-3, "magnesium": 53e-3, "nitrogen": 8e-5, "phosphorus": 1e-6}


def tank(litres=400.0, salinity=35.0):
    return balance.body(litres * KG_PER_L, salinity, REEF)


# -- conservation ---------------------------------------------------------------------------------------


def amounts(water):
    return np.array([water.water_kg, water.salt_kg, *(water.mol.get(k, 0.0) for k in SPECIES)])


operations = st.lists(
    st.one_of(
        st.tuples(st.just("add"), st.sampled_from([*SUBSTANCES, "sea-salt", "vinegar"]), st.floats(0, 500)),
        st.tuples(st.just("remove"), st.just(""), st.floats(0, 0.95)),
        st.tuples(st.just("pour"), st.just(""), st.floats(0, 300)),
        st.tuples(st.just("exchange"), st.just(""), st.floats(0, 0.9)),
        st.tuples(st.just("evaporate"), st.just(""), st.floats(0, 0.3)),
        st.tuples(st.just("calcify"), st.just(""), st.floats(0, 0.5)),
        st.tuples(st.just("feed"), st.sampled_from(sorted(FOODS)), st.floats(0, 50)),
        st.tuples(st.just("nitrify"), st.just(""), st.floats(0, 0.1)),
    ),
    max_size=30,
)  # fmt: skip


@pytest.mark.law
@settings(max_examples=150, deadline=None)
@given(operations, st.floats(20, 5000), st.floats(0, 45))
def test_water_salt_and_every_species_are_conserved(steps, litres, salinity):
    """Two ledgers: the tank, and everything outside it. Their sum never moves beyond 1e-9 of what passed through."""
    here = balance.body(litres, salinity, REEF)
    new = balance.body(100.0, 35.0, {**REEF, "potassium": 1e-2})
    start, outside, passed = amounts(here), np.zeros(len(SPECIES) + 2), np.abs(amounts(here))
    for what, name, size in steps:
        before = amounts(here)
        if what == "add":
            here, flow = balance.add_substance(here, name, size)
        elif what == "remove":
            here, flow = balance.remove(here, size * here.mass_kg)
        elif what == "pour":
            here, flow = balance.pour(here, balance.body(size, 35.0, REEF))
        elif what == "exchange":
            here, flow = balance.exchange(here, size * here.mass_kg, new)
        elif what == "evaporate":
            here, flow = balance.evaporate(here, size * here.water_kg)
        elif what == "calcify":
            here, flow = balance.calcify(here, size, 0.01, 0.002)
        elif what == "feed":
            here, flow = balance.feed(here, name, size)
        else:
            here, flow = balance.oxidise_ammonia(here, size)
        outside -= amounts(flow)
        passed += np.abs(amounts(flow)) + np.abs(before)
        if what in ("remove", "exchange"):
            # what leaves has the composition of what was there: written out from the amounts before
            kept = before * (1.0 - size) + (amounts(new) if what == "exchange" else 0.0)
            np.testing.assert_allclose(amounts(here), kept, rtol=1e-9, atol=1e-9 * passed.max())
    drift = np.abs(amounts(here) + outside - start)
    assert (drift <= 1e-9 * passed).all()


@pytest.mark.law
@given(st.sampled_from(sorted(SUBSTANCES)), st.floats(1, 1e4))
def test_dissolved_mass_of_a_substance_is_never_more_than_what_was_weighed_in(substance, grams):
    """Bound water stays behind and carbonate takes up carbon dioxide: only carbonates and bases may gain."""
    amount = moles(substance, grams)
    salt = sum(SALT_G_PER_MOL[k] * v for k, v in amount.items())
    gains = substance.startswith(("sodium-carbonate", "sodium-hydroxide", "calcium-hydroxide", "calcium-carbonate"))
    phosphate = "phosphate" in substance  # carried as PO4 with its charge in alkalinity as bicarbonate
    ammonia = substance == "ammonium-chloride"  # nitrogen is carried as nitrate
    if not (gains or phosphate or ammonia):
        assert salt <= grams * (1 + 1e-6)


# -- worked figures -------------------------------------------------------------------------------------


@pytest.mark.published
@pytest.mark.parametrize(("substance", "grams", "species", "mol"), [
    ("sodium-bicarbonate", 2.996, "alkalinity", 0.035665), ("sodium-carbonate", 1.890, "alkalinity", 0.035665),
    ("calcium-hydroxide", 1.321, "alkalinity", 0.035665), ("calcium-hydroxide", 1.321, "calcium", 0.017833),
    ("calcium-chloride-anhydrous", 2.769, "calcium", 0.024951),
    ("calcium-chloride-dihydrate", 3.668, "calcium", 0.024951), ("calcium-hydroxide", 1.849, "calcium", 0.024951),
    ("magnesium-chloride-hexahydrate", 8.364, "magnesium", 0.041144),
    ("magnesium-sulfate-heptahydrate", 10.141, "magnesium", 0.041144),
])  # fmt: skip
def test_moles_in_so_many_grams(substance, grams, species, mol):
    # stoichiometry with IUPAC abridged standard atomic weights (2021); half a unit of the last printed gram
    assert moles(substance, grams)[species] == pytest.approx(mol, rel=0.0005 / grams + 2e-5)


@pytest.mark.published
@pytest.mark.parametrize(("substance", "grams_per_mol"), [
    ("sodium-bicarbonate", 84.006), ("sodium-carbonate", 105.988), ("calcium-hydroxide", 74.092),
    ("calcium-chloride-anhydrous", 110.978), ("calcium-chloride-dihydrate", 147.008),
    ("magnesium-chloride-hexahydrate", 203.295), ("magnesium-sulfate-heptahydrate", 246.466),
])  # fmt: skip
def test_molar_masses(substance, grams_per_mol):
    # IUPAC abridged standard atomic weights (2021), to the digits printed in tables of the pure salts
    assert SUBSTANCES[substance].molar_mass == pytest.approx(grams_per_mol, abs=2e-3)


@pytest.mark.published
@pytest.mark.parametrize(("alkaline", "mol"), [("sodium-bicarbonate", 1.0), ("sodium-carbonate", 0.5)])
def test_calcification_from_two_part_doses_leaves_sodium_chloride(alkaline, mol):
    # CaCl2 + 2 NaHCO3 -> CaCO3 + CO2 + H2O + 2 NaCl: 58.44 g for each equivalent, 0.020843 g/L for each dKH
    water = tank()
    salt = water.salt_kg
    grams = {"sodium-bicarbonate": 84.006, "sodium-carbonate": 105.988}[alkaline]
    water, _ = balance.add_substance(water, alkaline, mol * grams)
    water, _ = balance.add_substance(water, "calcium-chloride-dihydrate", 0.5 * 147.014)
    water, _ = balance.calcify(water, 0.5)
    left_g = (water.salt_kg - salt) * 1000.0
    assert left_g == pytest.approx(58.44, abs=0.02)
    assert left_g * 0.356652e-3 == pytest.approx(0.020843, abs=1e-5)
    assert water.mol["alkalinity"] == pytest.approx(tank().mol["alkalinity"], abs=1e-4)


@pytest.mark.published
@pytest.mark.parametrize(("litres", "salinity"), [(4, 35.344), (8, 35.696), (20, 36.793), (40, 38.779)])
def test_evaporation_raises_salinity(litres, salinity):
    # S0 M0/(M0 - E) by mass from 400 L of S 35 at 25 °C (TEOS-10 densities); the volume rule gives 35.354 for 4 L
    water, _ = balance.evaporate(tank(), litres * FRESH_KG_PER_L)
    assert water.salinity == pytest.approx(salinity, abs=0.01)


@pytest.mark.published
@pytest.mark.parametrize(("litres_a_day", "salinity"), [(0.25, 34.35), (0.5, 33.71), (1.0, 32.47), (2.0, 30.12)])
def test_wet_skimming_replaced_by_fresh_water_lowers_salinity(litres_a_day, salinity):
    # S0 exp(-q t/M) over 30 days (mass balance), in twentieths of a day
    water, part = tank(), litres_a_day * KG_PER_L / 20.0
    for _ in range(600):
        water, _ = balance.remove(water, part)
        water, _ = balance.pour(water, balance.body(part, 0.0, {}))
    assert water.salinity == pytest.approx(salinity, abs=0.01)


@pytest.mark.published
def test_salt_water_for_top_off_is_a_fast_disaster():
    # E S_t/M: 8 L a day of evaporation replaced by water of S 35 raises 400 L by 0.682 a day, to 55.5 in 30 days
    water, kg = tank(), 8 * FRESH_KG_PER_L
    for day in range(30):
        water, _ = balance.evaporate(water, kg)
        water, _ = balance.pour(water, balance.body(kg, 35.0, {}))
        if day == 0:
            assert water.salinity - 35.0 == pytest.approx(0.682, abs=0.01)
    assert water.salinity == pytest.approx(55.5, abs=0.05)


@pytest.mark.published
def test_water_mixes_by_mass():
    # 380 L of S 33 and 20 L of S 40: 33.3517 by mass (TEOS-10 densities through gsw), 33.350 by volume
    gsw = pytest.importorskip("gsw")
    kg = [v / 1000.0 * gsw.rho(gsw.SA_from_SP(s, 0, 0, 0), 25.0, 0) for v, s in ((380, 33), (20, 40))]
    water, _ = balance.pour(balance.body(kg[0], 33.0, {}), balance.body(kg[1], 40.0, {}))
    assert water.salinity == pytest.approx(33.3517, abs=5e-4)


@pytest.mark.published
@pytest.mark.parametrize(("litres", "new"), [(160.0, 38.0), (114.3, 40.0)])
def test_correcting_by_exchange(litres, new):
    # x = V (S* - S0)/(S_new - S0): 400 L from 33 to 35; the equal-density form is at most 0.4 % off
    water = balance.body(400.0, 33.0, {})
    water, _ = balance.exchange(water, litres, balance.body(litres, new, {}))
    assert water.salinity == pytest.approx(35.0, abs=0.01)


@pytest.mark.published
def test_nitrification_takes_two_equivalents_for_each_nitrogen():
    # NH4+ + 2 O2 -> NO3- + 2 H+ + H2O: 0.1428 meq for each mg of N, 0.400 dKH for each mg/L (Gujer and Jenkins 1974)
    water, flow = balance.oxidise_ammonia(tank(), 1.0 / 14007.0)
    assert flow.mol["alkalinity"] * 1000.0 == pytest.approx(-0.1428, abs=5e-5)
    assert flow.mol["alkalinity"] * 1000.0 / 0.356652 == pytest.approx(-0.400, abs=5e-4)
    assert water.mol["nitrogen"] == tank().mol["nitrogen"]


@pytest.mark.published
@pytest.mark.parametrize(("share", "calcium", "magnesium"), [
    (0.0, 7.147, 0.0), (0.004, 7.118, 0.017), (0.05, 6.807, 0.206), (0.12, 6.381, 0.464),
])  # fmt: skip
def test_skeleton_takes_metal_and_alkalinity_in_proportion(share, calcium, magnesium):
    # 1 meq/L goes with 20.039 mg/L Ca: 7.147 mg/L for each dKH; Mg/Ca of the skeleton 0.004 to 0.12 mol/mol
    ca = calcium / 40.078 / 1000.0
    _, flow = balance.calcify(tank(), ca, magnesium_share=share / (1 + share))
    assert -flow.mol["alkalinity"] * 1000.0 / 0.356652 == pytest.approx(1.0, abs=3e-4)
    assert -flow.mol["magnesium"] * 24305.0 == pytest.approx(magnesium, abs=6e-4)


@pytest.mark.published
@pytest.mark.parametrize(("food", "nitrogen", "phosphorus"), [
    ("frozen-mysid", (17, 17), (2, 2.5)), ("frozen-brine", (8, 10), (1, 1.5)), ("pellets", (72, 80), (12, 18)),
    ("dried-seaweed", (48, 64), (4, 7)),
])  # fmt: skip
def test_food_brings_what_its_composition_holds(food, nitrogen, phosphorus):
    # ceilings in mg per g as fed from proximate analyses, protein / 6.25 (P from memory; common practice)
    _, flow = balance.feed(tank(), food, 1.0)
    assert nitrogen[0] - 0.5 <= flow.mol["nitrogen"] * 14007 <= nitrogen[1] + 0.5
    assert phosphorus[0] - 0.05 <= flow.mol["phosphorus"] * 30973.76 <= phosphorus[1] + 0.05
    half, _ = balance.feed(tank(), food, 1.0, released=0.5)
    assert half.mol["nitrogen"] - tank().mol["nitrogen"] == pytest.approx(flow.mol["nitrogen"] / 2)


@pytest.mark.published
def test_vapour_pressure_over_water():
    # ASHRAE Handbook - Fundamentals (2017), ch. 1, table 3: 872.6 Pa at 5 °C and 3 169.7 Pa at 25 °C (0.03 %)
    assert saturation_pressure_pa(5.0) == pytest.approx(872.6, rel=3e-4)
    assert saturation_pressure_pa(25.0) == pytest.approx(3169.7, rel=3e-4)


@pytest.mark.published
@pytest.mark.parametrize(("water", "air", "humidity", "speed", "activity", "kg"), [
    (25, 22, 0.5, 0.0, 1.0, 5.63), (26, 22, 0.5, 0.0, 1.0, 6.23), (26, 24, 0.5, 0.1, 1.0, 6.19),
    (26, 24, 0.5, 0.1, 0.5, 3.10), (26, 24, 0.5, 0.0, 0.74, 4.21), (26, 24, 0.6, 0.1, 1.0, 5.17),
    (26, 24, 0.4, 1.5, 1.0, 15.4),
])  # fmt: skip
def test_evaporation_from_a_square_metre(water, air, humidity, speed, activity, kg):
    # pool form of ASHRAE Applications in SI with psychrometrics computed by an independent library; three digits
    assert kg_per_day(1.0, water, air, humidity, speed, activity) == pytest.approx(kg, rel=2e-3)


@pytest.mark.law
@given(st.floats(15, 32), st.floats(5, 35), st.floats(0, 1), st.floats(0, 2))
def test_evaporation_is_never_negative_and_falls_with_humidity(water, air, humidity, speed):
    wet, dry = (kg_per_day(1.0, water, air, h, speed) for h in (1.0, humidity))
    assert 0.0 <= wet <= dry + 1e-12


# -- refusals -------------------------------------------------------------------------------------------


@pytest.mark.law
def test_no_more_leaves_than_is_there():
    for act in (balance.remove, balance.evaporate):
        for kg in (-1.0, 1e6):
            with pytest.raises(BadInput):
                act(tank(), kg)
    with pytest.raises(BadInput):
        balance.body(-1.0, 35.0, {})


@pytest.mark.law
def test_unknown_substances_offer_near_misses():
    with pytest.raises(UnknownName, match="sodium-bicarbonate"):
        moles("sodium-bicarbonat", 1.0)


@pytest.mark.law
def test_amounts_as_typed():
    recipe = {"own-mix": {"sodium-carbonate": 95.0}, "doser-1:sodium-bicarbonate": {"sodium-bicarbonate": 80.0}}
    assert grams_of("own-mix", 10, "mL", recipe) == {"sodium-carbonate": pytest.approx(0.95)}
    assert grams_of("sodium-bicarbonate", 100, "ml", recipe) == {"sodium-bicarbonate": pytest.approx(8.0)}
    assert grams_of("sodium-bicarbonate", 1, "oz", {})["sodium-bicarbonate"] == pytest.approx(28.3495, abs=1e-3)
    assert grams_of("acetic-acid-5", 10, "mL", {})["acetic-acid-5"] == pytest.approx(10.05)  # density 1.005 g/mL
    with pytest.raises(BadInput, match="by volume"):
        grams_of("calcium-chloride-dihydrate", 10, "mL", recipe)
    with pytest.raises(BadInput, match="no volume"):
        grams_of("own-mix", 10, "g", recipe)
    for unit in ("g", "mL"):
        with pytest.raises(UnknownName):
            grams_of("snake-oil", 1, unit, recipe)
