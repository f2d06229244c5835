"""Laws of the simulator: nothing appears or vanishes, nothing is below zero, finer steps agree, alone as in a crowd."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from leadline.model import draw as d
from leadline.model import kernel, members, sight
from leadline.model import layout as at
from leadline.model.acts import Acts
from leadline.model.describe import blueprint
from leadline.model.parameters import NAMES
from leadline.model.processes import dosing, warmth
from leadline.model.substances import food_moles
from leadline.system.description import parse

pytestmark = pytest.mark.law

BEGIN = dt.datetime(2026, 3, 1, 7, tzinfo=dt.UTC)
REEF = """
[system]
id = "made-up"
time_zone = "Europe/Oslo"
net_volume = "600 L"
net_volume_sd = "30 L"
[[vessel]]
id = "display"
inner_size = ["1.5 m", "0.65 m", "0.6 m"]
[[vessel]]
id = "sump"
volume = "110 L"
spare_volume = "50 L"
[room]
temperature = "22 degC"
relative_humidity = 0.5
co2 = "600 ppm"
[[equipment]]
id = "heater-1"
type = "heater"
power = "300 W"
setpoint = "25.2 degC"
[[equipment]]
id = "chiller-1"
type = "chiller"
power = "300 W"
setpoint = "26.2 degC"
[[equipment]]
id = "return-pump"
type = "pump"
flow = "3500 L/h"
power = "40 W"
[[equipment]]
id = "topoff-1"
type = "topoff"
reservoir = "40 L"
[[equipment]]
id = "doser-1"
type = "doser"
substance = "sodium-carbonate"
concentration = "95 g/L"
per_day = "110 mL"
container = "5 L"
[[equipment]]
id = "doser-2"
type = "doser"
substance = "calcium-chloride-dihydrate"
concentration = "132 g/L"
per_day = "110 mL"
container = "5 L"
[[equipment]]
id = "light-1"
type = "light"
on = "10:00"
off = "20:00"
ramp = "90 min"
[[equipment]]
id = "skimmer-1"
type = "skimmer"
[[equipment]]
id = "uv-1"
type = "uv"
flow = "900 L/h"
[[equipment]]
id = "reactor-1"
type = "reactor"
substance = "carbon"
[[equipment]]
id = "reactor-2"
type = "reactor"
substance = "ferric phosphate media"
"""
ONE = """
[system]
id = "bucket"
net_volume = "90 L"
[[vessel]]
id = "tank"
inner_size = ["0.6 m", "0.4 m", "0.4 m"]
[[equipment]]
id = "heater-1"
type = "heater"
power = "100 W"
setpoint = "25 degC"
"""
DAYS = 31
NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)  # an example is a month: shrinking takes minutes
FOOD = tuple(float(x) for x in np.add(food_moles("pellets", 2.0), food_moles("frozen-mysid", 4.0)))


def made(document: str = REEF, count: int = 1, seed: int = 1, dt_s: float = 600.0) -> tuple[members.Ensemble, Acts]:
    plan = blueprint(parse(document))
    start = members.Start(takes={"alkalinity": (0.3, 0.05), "nitrate": (0.1, 0.05)}, food_mol_d=FOOD)
    return members.muster(plan, BEGIN, count, seed, start, dt_s), Acts(plan, dt_s)


def a_month(acts: Acts, days: int, *, food: float = 1.0, exchange_l: float = 60.0) -> None:
    for day in range(days):
        acts.feed(day * 86400.0 + 3600.0, "pellets", 2.0 * food)
        acts.feed(day * 86400.0 + 40000.0, "frozen-mysid", 4.0 * food)
        if day % 2 == 0:
            acts.refill(day * 86400.0 + 41000.0)
        if day % 7 == 3:
            acts.exchange(day * 86400.0 + 42000.0, exchange_l, extra={"salinity": 34.0, "temperature": 23.0})
            acts.add(day * 86400.0 + 43000.0, "sodium-bicarbonate", 5.0, "g")


def held(e: members.Ensemble) -> dict[str, np.ndarray]:
    """What each conserved thing amounts to, over all places in which it can be."""
    x, y = e.x.sum(axis=1), e.y
    organic = y[:, [at.DINO_BED, at.CYST, at.CYANO, at.DIATOM]].sum(axis=1) + x[:, at.DINO]
    plant = y[:, at.HAIR] + y[:, at.REFUGE]
    fish = y[:, at.FISH]
    nitrogen = x[:, [at.NH, at.NO2, at.NO3, at.DET_N, at.CHLORAMINE]].sum(axis=1) + y[:, at.GUT_N] + y[:, at.GROWN_N]
    phosphorus = x[:, [at.PO4, at.DET_P]].sum(axis=1) + y[:, [at.GUT_P, at.GROWN_P, at.ROCK_P, at.MEDIA_P]].sum(axis=1)
    carbon = x[:, [at.DIC, at.DOC, at.DET_C]].sum(axis=1) + y[:, at.TISSUE] + y[:, at.GUT_C] + fish
    return {
        "water": x[:, at.WATER],
        "salt": x[:, at.SALT],
        "heat": x[:, at.HEAT],
        "calcium": x[:, at.CA],
        "magnesium": x[:, at.MG],
        "potassium": x[:, at.K],
        "nitrogen": nitrogen + organic + plant + fish * at.FISH_N,
        "phosphorus": phosphorus + organic * at.PLANKTON_P + plant * at.PLANT_P + fish * at.FISH_P,
        "carbon": carbon + organic * at.PLANKTON_C + plant * at.PLANT_C,
        # alkalinity made explicit: what reactions do to it follows from these ions (Wolf-Gladrow et al. 2007)
        "charge": x[:, at.TA] - x[:, at.NH] + x[:, [at.NO2, at.NO3, at.PO4]].sum(axis=1),
    }


def crossed(e: members.Ensemble, fed: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What crossed the border, from the ledger, and what was fed into pools."""
    led = e.led.sum(axis=1)
    return {
        "water": led[:, at.WATER],
        "salt": led[:, at.SALT],
        "heat": led[:, at.HEAT],
        "calcium": led[:, at.CA],
        "magnesium": led[:, at.MG],
        "potassium": led[:, at.K],
        "nitrogen": led[:, [at.NH, at.NO2, at.NO3, at.DET_N, at.CHLORAMINE, at.DINO]].sum(axis=1) + fed["n"],
        "phosphorus": led[:, [at.PO4, at.DET_P]].sum(axis=1) + led[:, at.DINO] * at.PLANKTON_P + fed["p"],
        "carbon": led[:, [at.DIC, at.DOC, at.DET_C]].sum(axis=1) + led[:, at.DINO] * at.PLANKTON_C + fed["c"],
        # what leaves as nitrogen gas has given its equivalent back before
        "charge": led[:, at.TA]
        - led[:, at.NH]
        + led[:, [at.NO2, at.NO3, at.PO4]].sum(axis=1)
        - e.led[:, at.NITROGEN_GAS, at.NO3],
    }


def eaten(e: members.Ensemble, days: int, food: float) -> dict[str, np.ndarray]:
    c, n, p = np.add(food_moles("pellets", 2.0 * food), food_moles("frozen-mysid", 4.0 * food)) * days
    part = e.p[:, d.EATEN]
    return {"c": c * part, "n": n * part, "p": p * part}


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), phases=NO_SHRINKING)
@given(
    seed=st.integers(0, 10_000),
    food=st.floats(0.2, 3.0),
    exchange_l=st.floats(5.0, 200.0),
    change=st.sampled_from(
        [
            "none",
            "return-pump off",
            "topoff-1 stuck-on",
            "heater-1 stuck-on",
            "mains off",
            "doser-1 siphon",
            "light-1 off",
        ]
    ),
    bloom=st.sampled_from(["", "dinoflagellates", "cyanobacteria", "diatoms", "hair-algae"]),
)
def test_nothing_appears_or_vanishes(compiled_folder, seed, food, exchange_l, change, bloom):
    e, acts = made(count=2, seed=seed)
    a_month(acts, DAYS, food=food, exchange_l=exchange_l)
    if change != "none":
        machine, state = change.split()
        acts.change(86400.0, machine, state)
        acts.change(2.2 * 86400.0, machine, "normal")
    acts.add(50_000.0, "chloramine", 0.5, "g")
    acts.add(50_000.0, "copper", 0.01, "g")
    acts.add(60_000.0, "ethanol-40", 8.0, "mL")
    before = held(e)
    seeded = np.zeros(2)
    if bloom:
        acts.bloom(0.0, bloom, 3.0)
        seeded += 3.0 / (733.7 if bloom == "hair-algae" else 198.9)
        e.alive = 1
    table, parcels = acts.tables(e.p)
    members.run(e, DAYS * 144, table, parcels, every=144, cache=compiled_folder)
    after, moved = held(e), crossed(e, eaten(e, DAYS, food))
    form = (at.PLANT_C, at.PLANT_P) if bloom == "hair-algae" else (at.PLANKTON_C, at.PLANKTON_P)
    moved["nitrogen"] += seeded
    moved["carbon"] += seeded * form[0]
    moved["phosphorus"] += seeded * form[1]
    for name, amount in after.items():
        scale = np.abs(before[name]) + np.abs(amount)
        wrong = np.abs(amount - before[name] - moved[name]) / scale
        assert (wrong < 1e-9).all(), (name, wrong)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), phases=NO_SHRINKING)
@given(
    seed=st.integers(0, 10_000),
    food=st.floats(0.0, 30.0),
    wild=st.floats(-2.5, 2.5),
    document=st.sampled_from([REEF, ONE]),
)
def test_nothing_is_ever_below_zero(compiled_folder, seed, food, wild, document):
    e, acts = made(document, count=3, seed=seed)
    for k, name in enumerate(NAMES):  # far draws of every rate, up and down
        if name.endswith("_D") and not name.startswith("DOSER"):
            e.p[:, k] *= np.exp(wild * ((k % 3) - 1))
    a_month(acts, 3, food=food)
    acts.bloom(0.0, "dinoflagellates", 5.0)
    acts.bloom(0.0, "hair-algae", 20.0)
    acts.add(1000.0, "ethanol-40", 30.0, "mL")
    e.alive = 1
    table, parcels = acts.tables(e.p)
    members.run(e, 3 * 144, table, parcels, every=36, cache=compiled_folder)
    assert np.isfinite(e.x).all()
    inside = e.left < 0
    assert (e.x[inside] >= 0.0).all(), [at.STATES[k] for k in np.unique(np.argwhere(e.x < 0.0)[:, 2])]
    noise = [at.WEATHER, at.BREATH, at.APPETITE]
    assert (np.delete(e.y[inside], noise, axis=1) >= 0.0).all()


@pytest.mark.parametrize("document", [REEF, ONE], ids=["with a sump", "one vessel"])
def test_finer_steps_come_to_the_same(document):
    """First order in the step: what 10 minutes and 2.5 minutes disagree by is small, and 5 minutes is nearer."""
    ends = {}
    for dt_s in (600.0, 300.0, 150.0):
        e, acts = made(document, dt_s=dt_s)
        e.p[:, [d.ROOM_WEATHER_K, d.ROOM_PPM_NOISE, d.APPETITE_SD]] = 0.0
        for k in range(6):
            acts.feed(k * 86400.0 + 3600.0, "pellets", 2.0 if document == REEF else 0.3)
        table, parcels = acts.tables(e.p)
        seen = members.run(e, int(6 * 86400 / dt_s), table, parcels, every=int(3600 / dt_s), plain=True)
        ends[dt_s] = seen.values[0, 24:145].copy()
        # a thermostat's cycle has a phase of its own: instants agree within its span, five days in their mean
        ends[dt_s][:, 0] = ends[dt_s][:-1, 0].mean()
    tolerance = {
        "temperature": 0.1, "salinity": 0.02, "alkalinity": 0.01, "calcium": 0.3, "ph": 0.012, "nitrate": 0.1,
        "ammonia": 0.004, "phosphate": 0.004, "oxygen": 0.1,
    }  # fmt: skip
    for name, allowed in tolerance.items():
        k = sight.SIGHTS.index(name)
        coarse = np.abs(ends[600.0][:, k] - ends[150.0][:, k]).max()
        finer = np.abs(ends[300.0][:, k] - ends[150.0][:, k]).max()
        assert coarse < allowed, (name, coarse)
        assert finer < max(coarse, 0.5 * allowed), (name, coarse, finer)


def test_a_system_left_alone_tends_to_its_balance():
    """No machines, light or life: below the room by its own evaporation, CO2 with the room, oxygen near saturation.

    The analytic balances: walls against evaporation for the temperature (sheet 7.4), Henry's law for the gases. Salt
    is held by the top-off.
    """
    from scipy.optimize import brentq

    from leadline.model import evaporation
    from leadline.seawater import carbonate, oxygen

    e, acts = made(REEF)
    for name in ("PUMP_W", "LAMP_W", "HEATER_0_W", "CHILLER_W", "PRODUCTION", "DEMAND_EQ_D", "SKIMMATE_L_D", "N_UPTAKE",
                 "P_UPTAKE", "DENITRIFY_D", "ROOM_SEASON_K", "ROOM_DAY_K", "ROOM_WEATHER_K", "ROOM_PPM_DAY",
                 "ROOM_PPM_NOISE", "DOSER_0_L_D", "DOSER_1_L_D", "MEDIA_L_D"):  # fmt: skip
        e.p[:, getattr(d, name)] = 0.0
    e.y[:, [at.TISSUE, at.GUT_C, at.GUT_N, at.GUT_P, at.FISH]] = 0.0
    e.x[:, :, [at.DET_C, at.DET_N, at.DET_P, at.NH, at.NO2]] = 0.0
    e.y[:, at.RESERVOIR] = 1e9
    p = e.p[0]
    table, parcels = acts.tables(e.p)
    seen = members.run(e, 45 * 144, table, parcels, every=144, plain=True)
    area = e.g[0, :, at.AREA].sum()
    s = float(seen.of("salinity")[0, -1])

    def gain(t: float) -> float:
        drive = evaporation.drive_kg_m2_s(t, p[d.ROOM_C], p[d.ROOM_RH], p[d.AIR_M_S], s)
        fresh = drive * p[d.EVAPORATION] * area  # its latent heat leaves, and it is replaced at the room's warmth
        lost = fresh * (evaporation.latent_j_kg(t) + warmth.WATER_J * (t - p[d.ROOM_C]))
        return float(p[d.WALL_W_K] * (p[d.ROOM_C] - t) - lost)

    expected = brentq(gain, 5.0, 40.0)
    t = float(seen.of("temperature")[0, -1])
    assert t == pytest.approx(expected, abs=0.03)
    assert t < p[d.ROOM_C] - 0.5
    kg = e.x[0, 0, at.WATER] + e.x[0, 0, at.SALT]
    balanced = carbonate.solve(
        temperature_c=t, salinity=s, alkalinity=float(e.x[0, 0, at.TA] / kg * 1e6), xco2=float(p[d.ROOM_PPM])
    )
    assert float(seen.of("ph")[0, -1]) == pytest.approx(balanced.ph_nbs, abs=0.004)
    assert float(e.x[0, 0, at.O2] / kg * 1e6) == pytest.approx(float(oxygen.saturation(t, s)), rel=0.003)


@pytest.mark.skipif(not kernel.available(), reason="numba is not installed")
class TestKernel:
    """The compiled form against the interpreted one, and members against themselves."""

    def run(self, cache, count=3, only=None, **more):
        e, acts = made(count=count, seed=5)
        if only is not None:
            whole = made(count=only + 1, seed=5)[0]
            e = members.muster(
                e.plan,
                BEGIN,
                only + 1,
                5,
                members.Start(takes={"alkalinity": (0.3, 0.05), "nitrate": (0.1, 0.05)}, food_mol_d=FOOD),
                600.0,
            )
            assert (e.p == whole.p).all()
        a_month(acts, 10)
        acts.change(2e5, "chiller-1", "warms")
        acts.change(3e5, "return-pump", "off")
        acts.change(3.4e5, "return-pump", "normal")
        acts.bloom(0.0, "dinoflagellates", 2.0)
        acts.bloom(0.0, "cyanobacteria", 2.0)
        acts.add(1e5, "copper", 0.02, "g")
        e.alive = 1
        table, parcels = acts.tables(e.p)
        edges = np.tile([24.9, 25.3, 24.0, 26.0], (1, 1))
        return e, members.run(e, 10 * 144, table, parcels, every=7, edges=edges, cache=cache, **more)

    def test_agrees_with_plain_python_to_1e_9(self, compiled_folder):
        e, fast = self.run(compiled_folder)
        f, slow = self.run(None, plain=True)
        for a, b in ((e.x, f.x), (e.y, f.y), (e.led, f.led), (fast.values, slow.values)):
            scale = np.maximum(np.abs(b), 1e-9 * np.abs(b).max())
            assert (np.abs(a - b) / np.where(scale > 0.0, scale, 1.0)).max() < 1e-9
        assert (fast.passed_s == slow.passed_s).all()
        assert (fast.passed_s > 0.0).any()

    def test_a_member_repeats_bit_for_bit_alone_or_in_a_crowd(self, compiled_folder):
        few, seen_few = self.run(compiled_folder, count=2)
        many, seen_many = self.run(compiled_folder, count=7)
        assert (seen_few.values == seen_many.values[:2]).all()
        assert (few.x == many.x[:2]).all()
        again, seen_again = self.run(compiled_folder, count=2)
        assert (seen_few.values == seen_again.values).all()
        assert (few.led == again.led).all()

    def test_a_run_in_two_halves_is_the_run(self, compiled_folder):
        whole, acts = made(count=2, seed=3)
        a_month(acts, 3)
        acts.exchange(150 * 600.0, 40.0)  # at the seam: done once, by the second half
        halves, _ = made(count=2, seed=3)
        table, parcels = acts.tables(whole.p)
        members.run(whole, 288, table, parcels, cache=compiled_folder)
        members.run(halves, 150, table, parcels, cache=compiled_folder)
        members.run(halves, 138, table, parcels, cache=compiled_folder)
        assert (whole.x == halves.x).all()
        assert (whole.y == halves.y).all()


def test_a_state_ends_what_was_before():
    """A doser that siphoned and is switched off gives nothing more; a heater switched off and then weak runs weakly."""
    e, acts = made()
    acts.change(0.0, "doser-1", "siphon", 3.0)
    acts.change(3600.0, "doser-1", "off")
    acts.change(0.0, "heater-1", "off")
    acts.change(3600.0, "heater-1", "weak")
    table, parcels = acts.tables(e.p)
    members.run(e, 24, table, parcels, every=6, plain=True)
    assert 5.0 - e.y[0, at.CAN_0] == pytest.approx(3.0, abs=0.02)  # an hour of it, and the hour's usual portion
    assert e.c[0, at.HEATER_0_FORCE] == 0.0
    assert e.c[0, at.HEATER_0_EFFECT] == 0.5
    assert e.c[0, at.SIPHON_0] == 0.0


def test_a_portion_every_other_day_gives_the_daily_amount():
    for parts in (0.5, 1.0, 3.0, 24.0):
        days = np.arange(0.0, 8.0, 1.0 / 144.0)
        given = sum(float(dosing.litres(day, 600.0, np.float64(0.1), np.float64(parts))) for day in days)
        assert given == pytest.approx(0.8, rel=1e-6)
