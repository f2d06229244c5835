"""Members of an ensemble: each its own draw of parameters, water and chance, the same alone or in a crowd.

Member m of seed s draws from a generator seeded with (s, m) and nothing else, so that it repeats bit for bit whoever
runs beside it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from leadline.measures.errors import BadInput
from leadline.model import draw as d
from leadline.model import evaporation, kernel, loop, sight, step
from leadline.model import layout as at
from leadline.model.blueprint import STATE_OF, Blueprint, composed
from leadline.model.parameters import INDEX, N_PARAMETERS, PARAMETERS
from leadline.model.processes import carbonate, gases, warmth
from leadline.model.processes.calcification import pace
from leadline.model.processes.flow import KG_L
from leadline.model.processes.room import light
from leadline.model.processes.warmth import SALT_J, WATER_J

Array = np.ndarray
Belief = tuple[float, float]  # mean and standard deviation
# what is believed of a reef's water that nobody tested: common practice, stored units
UNTESTED: dict[str, Belief] = {
    "temperature": (25.3, 0.4), "salinity": (34.8, 0.8), "alkalinity": (2.9, 0.35), "calcium": (420.0, 20.0),
    "magnesium": (1310.0, 50.0), "potassium": (395.0, 15.0), "nitrate": (6.0, 4.0), "phosphate": (0.06, 0.03),
    "silicate": (60.0, 40.0), "ph": (8.18, 0.08),
}  # fmt: skip
_RATIO = np.array([q.ratio for q in PARAMETERS])
_LOW, _HIGH = np.array([q.low for q in PARAMETERS]), np.array([q.high for q in PARAMETERS])
_HOURS = (np.arange(96) + 0.5) / 4.0


@dataclass
class Start:
    """What is believed of the water when a run begins, and of what it does by itself.

    `water` in stored units; `takes` is what the system takes of a quantity in a day, beside exchanges and doses.
    """

    water: Mapping[str, Belief] = field(default_factory=dict)
    takes: Mapping[str, Belief] = field(default_factory=dict)
    food_mol_d: tuple[float, float, float] = (0.0, 0.0, 0.0)  # carbon, nitrogen, phosphorus fed in a day
    volume: Belief | None = None


@dataclass
class Ensemble:
    """Members ready to run, or paused. Arrays as `layout.py` lays them out, members first."""

    plan: Blueprint
    begin: dt.datetime
    dt_s: float
    seed: int
    x: Array
    y: Array
    c: Array
    p: Array
    g: Array
    led: Array
    ln_h: Array
    parts: int
    done: int = 0  # steps
    alive: int = 0
    left: Array = field(default_factory=lambda: np.zeros(0, dtype=int))
    wanted_eq_d: Array = field(default_factory=lambda: np.zeros(0))  # alkalinity each member is to take [mol/d]
    _chance: list[np.random.Generator] = field(default_factory=list)

    @property
    def members(self) -> int:
        """How many there are."""
        return int(self.x.shape[0])

    @property
    def bodies(self) -> int:
        """Bodies of water."""
        return int(self.x.shape[1])


@dataclass
class Seen:
    """What was seen of each member: `values[member, moment, sight]`, and when edges were first passed.

    `passed_s[member, quantity, edge]` in seconds since the beginning; below zero where it never was. Edges are aim
    low, aim high, limit low, limit high.
    """

    times_s: Array
    values: Array
    passed_s: Array

    def of(self, name: str) -> Array:
        """One sight of all members. [members, moments]"""
        return self.values[:, :, sight.SIGHTS.index(name)]


def muster(
    plan: Blueprint, begin: dt.datetime, members: int, seed: int, start: Start | None = None, dt_s: float = 600.0,
    *, certain: bool = False,
) -> Ensemble:  # fmt: skip
    """Draw the members of an ensemble.

    Parameters
    ----------
    begin
        Aware moment at which the run begins.
    certain
        Every member is the middle of all draws and knows no chance: for tests and plans.

    Raises
    ------
    BadInput
        For a step that doesn't divide an hour, or is too coarse for a machine of this system.
    """
    start = start or Start()
    parts = _parts(plan, dt_s)
    bodies = len(plan.bodies)
    e = Ensemble(
        plan, begin, dt_s, seed,
        np.zeros((members, bodies, at.N_STATES)), np.zeros((members, at.N_POOLS)),
        np.tile(np.array(at.AT_REST), (members, 1)), np.zeros((members, N_PARAMETERS)),
        np.zeros((members, bodies, at.N_PLACES)), np.zeros((members, at.N_CAUSES, at.N_STATES)),
        np.full((members, bodies), np.log(6e-9)), parts, left=np.full(members, -1), wanted_eq_d=np.zeros(members),
    )  # fmt: skip
    for m in range(members):
        chance = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, m])))
        normal = np.zeros(N_PARAMETERS + 64) if certain else chance.standard_normal(N_PARAMETERS + 64)
        _member(e, m, normal, start)
        if certain:
            e.p[m, [d.ROOM_WEATHER_K, d.ROOM_PPM_NOISE, d.APPETITE_SD]] = 0.0
        e._chance.append(np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, m, 1]))))
    return e


def _parts(plan: Blueprint, dt_s: float) -> int:
    if dt_s < 1.0 or 3600.0 % dt_s != 0.0:
        raise BadInput(f"a step of {dt_s:g} s", where="--step", way_out="Give one that divides an hour: 60 s, 10 min.")
    capacity = plan.places[:, at.FULL].sum() * 4000.0
    pairs = [("HEATER_0_W", "HEATER_SPAN"), ("HEATER_1_W", "HEATER_SPAN"), ("CHILLER_W", "CHILLER_SPAN")]
    swing = max(plan.value(w) * dt_s / capacity / plan.value(span) for w, span in pairs)
    parts = max(1, int(np.ceil(2.5 * swing)))
    if parts > 40:
        strongest = max((e for e in plan.system.equipment if e.power_w), key=lambda e: e.power_w or 0.0)
        raise BadInput(
            f"{strongest.id}: {strongest.power_w:.0f} W switches too fast in {plan.system.net_volume_l:.0f} L for a "
            f"step of {dt_s / 60:g} min",
            where=f"equipment {strongest.id}.power", way_out="Correct power or net_volume, or take a shorter --step.",
        )  # fmt: skip
    return parts


def _member(e: Ensemble, m: int, normal: Array, start: Start) -> None:
    plan = e.plan
    drawn = np.where(_RATIO, plan.middle * np.exp(plan.spread * normal[:N_PARAMETERS]),
                     plan.middle + plan.spread * normal[:N_PARAMETERS])  # fmt: skip
    p = e.p[m]
    p[:] = np.where(plan.middle == 0.0, np.where(_RATIO, 0.0, drawn), np.clip(drawn, _LOW, _HIGH))
    if plan.joint is not None:  # what was learned as a whole is drawn as a whole
        groups, factor = plan.joint
        for group, shift in zip(groups, factor @ normal[[g[0] for g in groups]], strict=True):
            p[group] = np.clip(p[group] * np.exp(shift), _LOW[group], _HIGH[group])
    more = iter(normal[N_PARAMETERS:])
    stated, sd = start.volume or (plan.system.net_volume_l, plan.system.net_volume_sd_l)
    scale = max(stated + sd * next(more), 0.3 * stated) / plan.system.net_volume_l
    e.g[m] = plan.places
    e.g[m, :, [at.FULL, at.BRIM, at.DRAIN]] *= scale
    e.g[m, :, at.BRIM] = e.g[m, :, at.FULL] + (plan.places[:, at.BRIM] - plan.places[:, at.FULL])
    believed = {**UNTESTED, **start.water}
    held = {name: _above_zero(mean, spread, next(more)) for name, (mean, spread) in sorted(believed.items())}
    ph = held.pop("ph")
    kilo = composed(held, ph_nbs=min(max(ph, 7.2), 8.9))
    t = held["temperature"]
    kilo[at.HEAT] = (WATER_J * kilo[at.WATER] + SALT_J * kilo[at.SALT]) * t
    e.x[m] = kilo[None, :] * e.g[m, :, at.FULL][:, None]
    step.warm_start(e.x[m], e.ln_h[m], e.bodies)
    _pools(e, m, start, held, np.array([next(more) for _ in range(3)]))
    _takes(e, m, start, held, [next(more) for _ in range(6)])
    if "temperature" in start.water:
        _hold_warmth(e, m, held)
    if "ph" in start.water and start.water["ph"][1] <= 0.12 and plan.origin.get("ROOM_PPM") != "learned":
        _hold_ph(e, m, start)


def _above_zero(mean: float, sd: float, z: float) -> float:
    """A draw of what can't be below zero: Gaussian where it is far from zero, lognormal near it."""
    if mean > 4.0 * sd:
        return mean + sd * z
    spread = np.log1p((sd / max(mean, 1e-9)) ** 2)
    return float(mean * np.exp(np.sqrt(spread) * z - 0.5 * spread))


def _takes(e: Ensemble, m: int, start: Start, held: Mapping[str, float], z: list[float]) -> None:
    """Set demand and uptake so that the member takes what was learned, when anything was."""
    p, kg = e.p[m], float(e.g[m, :, at.FULL].sum())
    litres = kg / KG_L
    if "alkalinity" in start.takes:
        mean, sd = start.takes["alkalinity"]
        p[d.DEMAND_EQ_D] = max(mean + sd * z[0], 0.0) * 1e-3 * litres
    e.wanted_eq_d[m] = p[d.DEMAND_EQ_D]
    mean_pace = float(np.mean(pace(_omega(e, m), np.array([light(h, p) for h in _HOURS]), held["temperature"], p)))
    p[d.DEMAND_EQ_D] /= max(mean_pace, 0.05)  # DEMAND_EQ_D was meant as a day's mean
    _, nitrogen, phosphorus = start.food_mol_d
    for name, i, most, half, lost, fed in (
        ("nitrate", 1, d.N_UPTAKE, d.N_HALF, p[d.DENITRIFY_D], nitrogen),
        ("phosphate", 2, d.P_UPTAKE, d.P_HALF, 0.0, phosphorus),
    ):  # fmt: skip
        if name not in start.takes:
            continue
        mean, sd = start.takes[name]
        state = at.NO3 if name == "nitrate" else at.PO4
        amount = float(e.x[m, :, state].sum())
        freed = fed * _freed(p, 0.5 if state == at.NO3 else 1.0)
        gone = (mean + sd * z[i]) * {at.NO3: 1e-3 / 62.005, at.PO4: 1e-3 / 94.971}[state] * litres + freed
        if state == at.NO3:
            lost = p[d.DENITRIFY_D] = min(lost, max(gone, 0.0) / max(amount, 1e-9))
        rest = max(gone - lost * amount, 0.0)
        p[most] = rest * (amount / kg + p[half]) / max(amount / kg, 1e-12)


def _freed(p: Array, faeces: float) -> float:
    """Share of the food's nitrogen or phosphorus that comes to be dissolved; `faeces` of it is as in carbon's. [1]"""
    eaten, waste = p[d.EATEN], p[d.FAECES] * faeces
    rot = 1.0 / p[d.ROT_D]
    return float(eaten * (1.0 - waste) + (1.0 - eaten + eaten * waste) * rot / (rot + p[d.SKIM_D]))


def _hold_warmth(e: Ensemble, m: int, held: Mapping[str, float]) -> None:
    """A system that was measured at its temperature has held it: losses beyond its heaters' power cannot be.

    Losses are cut to what leaves the heaters 15 % of reserve in the mean of the day. Water warmer than its heaters
    would have it lives on pumps and lamps alone: losses and gains are brought together.
    """
    p, t = e.p[m], held["temperature"]
    year = float(clock(e.begin, ZoneInfo(e.plan.system.time_zone), 3600.0, 0, 1)[0, 4])
    room_c = p[d.ROOM_C] + p[d.ROOM_SEASON_K] * year
    drive = evaporation.drive_kg_m2_s(t, room_c, p[d.ROOM_RH], p[d.AIR_M_S], held["salinity"])
    area = float(e.g[m, :, at.AREA].sum())
    latent = max(drive, 0.0) * p[d.EVAPORATION] * area * evaporation.latent_j_kg(t)
    lit = float(np.mean([light(h, p) for h in _HOURS]))
    lost = p[d.WALL_W_K] * (t - room_c) + latent
    gained = p[d.PUMP_W] + p[d.LAMP_W] * lit
    heats = max((p[d.HEATER_0_SET + k] for k in range(at.HEATERS) if p[d.HEATER_0_W + k] > 0.0), default=-np.inf)
    if t > heats + 0.5 * p[d.HEATER_SPAN] + 0.25 and lost > gained > 0.0:  # warmer than the heaters would have it
        half = np.sqrt(gained / lost)  # half of the gap is put on losses, half on the pumps
        p[[d.WALL_W_K, d.EVAPORATION]] *= half
        p[d.PUMP_W] = max(lost * half - p[d.LAMP_W] * lit, 0.0)
        return
    most = 0.85 * (p[d.HEATER_0_W] + p[d.HEATER_1_W]) + p[d.PUMP_W] + p[d.LAMP_W] * lit
    if lost > most > 0.0:
        p[[d.WALL_W_K, d.EVAPORATION]] *= most / lost


def _hold_ph(e: Ensemble, m: int, start: Start) -> None:
    """Room CO2 (and, where that is not enough, gas exchange) such that the pH that was measured is held.

    Carbon comes with food and doses and goes with skeletons; what is over must leave to the air.
    """
    p, kg = e.p[m], float(e.g[m, :, at.FULL].sum())
    t, s = warmth.temperature(e.x[m], 0), warmth.salinity(e.x[m], 0)
    alk, dic = e.x[m, 0, at.TA] / e.g[m, 0, at.FULL], e.x[m, 0, at.DIC] / e.g[m, 0, at.FULL]
    _, co2, _, _ = carbonate.solve(alk, dic, t, s, e.ln_h[m, 0], 4)
    dosed = sum(p[d.DOSER_0_L_D + k] * e.plan.solutions[k, at.DIC] for k in range(e.plan.dosers))
    skeleton = 0.5 * start.takes["alkalinity"][0] * 1e-3 * kg / KG_L if "alkalinity" in start.takes else 0.0
    surplus = start.food_mol_d[0] * 0.9 + dosed - skeleton  # mol/d
    flow = sum(gases.exchanged_kg_s(e.c[m], p, e.g[m], b) for b in range(e.bodies)) * at.DAY * gases.CO2_AGAINST_O2
    per_ppm = float(carbonate.balanced_co2(1.0, t, s))
    wanted = (co2 - surplus / flow) / per_ppm
    freshest = 420.0
    if wanted < freshest and co2 > freshest * per_ppm:
        more = min(surplus / flow / (co2 - freshest * per_ppm), 3.0)
        p[[d.PISTON_M_H, d.SKIMMER_AIR_L_H]] *= max(more, 1.0)
        wanted = freshest
    p[d.ROOM_PPM] = float(np.clip(wanted, freshest, 4000.0))


def _omega(e: Ensemble, m: int) -> float:
    out = np.zeros(sight.N_SIGHTS)
    sight.look(out, e.x[m], e.y[m], e.c[m], e.p[m], e.g[m], e.ln_h[m], e.bodies, 12.0, 0.0, 0.0)
    return float(out[sight.SIGHTS.index("omega_aragonite")])


def _pools(e: Ensemble, m: int, start: Start, held: Mapping[str, float], chance: Array) -> None:
    """Pools at the balance that the usual feeding and light would bring."""
    p, y, plan = e.p[m], e.y[m], e.plan
    carbon, nitrogen, phosphorus = start.food_mol_d
    eaten = p[d.EATEN]
    lit = np.mean([light(h, p) * (1 + p[d.LIGHT_HALF]) / (light(h, p) + p[d.LIGHT_HALF]) for h in _HOURS])
    y[at.CORAL] = 1.0
    y[at.TISSUE] = p[d.PRODUCTION] * 24.0 * lit * p[d.TISSUE_D]
    y[[at.GUT_C, at.GUT_N, at.GUT_P]] = np.array([carbon, nitrogen, phosphorus]) * eaten * p[d.GUT_H] / 24.0
    y[at.FISH] = p[d.FISH_GROWTH] * carbon * eaten / max(p[d.FISH_D], 1e-6)
    wasted = (1.0 - eaten) + eaten * p[d.FAECES]
    detritus = np.array([carbon, nitrogen, phosphorus]) * wasted / (1.0 / p[d.ROT_D] + p[d.SKIM_D])
    share = e.g[m, :, at.FULL] / e.g[m, :, at.FULL].sum()
    e.x[m][:, [at.DET_C, at.DET_N, at.DET_P]] += share[:, None] * detritus[None, :]
    load = 0.8 * nitrogen
    told = plan.origin.get("AOB_MOL_D") in ("scenario", "truth")  # a young filter, say
    y[at.AOB] = y[at.NOB] = max(p[d.AOB_MOL_D] if told or load == 0.0 else 8.0 * load, 1e-6)
    busy = min(load / y[at.AOB], 0.5)
    for state, half in ((at.NH, p[d.AOB_HALF]), (at.NO2, p[d.NOB_HALF])):
        if (state == at.NH and "ammonia" in start.water) or (state == at.NO2 and "nitrite" in start.water):
            continue
        e.x[m][:, state] = half * busy / (1.0 - busy) * e.g[m, :, at.FULL]
    y[at.ROCK_P] = float(e.x[m, :, at.PO4].sum()) * p[d.ROCK_P_KG]
    y[at.RESERVOIR] = plan.reservoir_kg
    for k, litres in enumerate(plan.containers):
        y[at.CAN_0 + k] = litres
    y[at.CARBON_AGE] = 0.3
    y[[at.WEATHER, at.BREATH, at.APPETITE]] = p[[d.ROOM_WEATHER_K, d.ROOM_PPM_NOISE, d.APPETITE_SD]] * chance


def set_water(e: Ensemble, said: Mapping[str, float]) -> None:
    """Give every member other water than it was drawn with; what its animals and machines do stays as it was.

    `said` in stored units; pH, when it is said, sets the carbon.
    """
    for m in range(e.members):
        for b in range(e.bodies):
            kg = e.x[m, b, at.WATER] + e.x[m, b, at.SALT]
            t = said.get("temperature", warmth.temperature(e.x[m], b))
            s = said.get("salinity", warmth.salinity(e.x[m], b))
            if "salinity" in said:
                e.x[m, b, at.SALT] = kg * s * 35.16504 / 35.0 / 1000.0
                e.x[m, b, at.WATER] = kg - e.x[m, b, at.SALT]
            alkalinity, carbon = e.x[m, b, at.TA], e.x[m, b, at.DIC]
            kilo = composed({"salinity": float(s), "temperature": float(t), **said})
            for name in said:
                if name in STATE_OF:
                    e.x[m, b, STATE_OF[name]] = kilo[STATE_OF[name]] * kg
            if "ph" in said:
                kilo = composed(
                    {"salinity": float(s), "temperature": float(t), "alkalinity": e.x[m, b, at.TA] / kg / 1e-3 * KG_L},
                    ph_nbs=said["ph"],
                )
                e.x[m, b, at.DIC] = kilo[at.DIC] * kg
            elif "alkalinity" in said:
                e.x[m, b, at.DIC] = carbon * e.x[m, b, at.TA] / max(alkalinity, 1e-9)
            e.x[m, b, at.HEAT] = (WATER_J * e.x[m, b, at.WATER] + SALT_J * e.x[m, b, at.SALT]) * t
        step.warm_start(e.x[m], e.ln_h[m], e.bodies)


def match_demand(e: Ensemble, start: Start, acts: Array, parcels: Array, cache: Path | None = None) -> None:
    """Make each member take, in the mean of its first two days, the alkalinity that it was drawn to take.

    Demand depends on the day's course of pH and light, which only a run tells: copies are run, and the demand is
    set by what they took.
    """
    if "alkalinity" not in start.takes or not e.members:
        return
    wanted = e.wanted_eq_d
    steps = round(2.0 * at.DAY / e.dt_s)
    trial = replace(e, **{name: getattr(e, name).copy() for name in ("x", "y", "c", "p", "g", "led", "ln_h", "left")})
    trial._chance = [np.random.Generator(np.random.PCG64(7)) for _ in range(e.members)]
    run(trial, steps, acts[:, acts[0, :, loop.ACT_STEP] <= steps], parcels, every=steps, cache=cache)
    took = -trial.led[:, at.SKELETON, at.TA] / 2.0
    fits = (took > 0.0) & (trial.left < 0)
    e.p[fits, d.DEMAND_EQ_D] *= np.clip(wanted[fits] / took[fits], 0.3, 3.0)


def clock(begin: dt.datetime, zone: ZoneInfo, dt_s: float, first: int, steps: int) -> Array:
    """The rows of `loop.run`'s clock: local hour, days, years, waves of day and year, and where an hour begins."""
    n = np.arange(first, first + steps + 1)
    seconds = begin.timestamp() + n * dt_s
    days = np.floor(seconds / at.DAY)
    offsets = {
        day: dt.datetime.fromtimestamp(day * at.DAY, zone).utcoffset() or dt.timedelta() for day in np.unique(days)
    }
    shift = np.array([offsets[day].total_seconds() for day in days])
    local = seconds + shift
    rows = np.zeros((steps + 1, 6))
    rows[:, 0] = local / 3600.0 % 24.0
    midnight = np.floor((begin.timestamp() + shift[0]) / at.DAY) * at.DAY
    rows[:, 1] = (local - midnight) / at.DAY
    rows[:, 2] = n * dt_s / (365.25 * at.DAY)
    rows[:, 3] = np.sin(2.0 * np.pi * (rows[:, 0] - 10.0) / 24.0)
    rows[:, 4] = np.cos(2.0 * np.pi * (seconds / at.DAY % 365.25 - 205.0) / 365.25)
    rows[:, 5] = n * dt_s % 3600.0 < 1e-6
    return rows


def run(
    e: Ensemble, steps: int, acts: Array, parcels: Array, *, every: int = 6, edges: Array | None = None,
    cache: Path | None = None, plain: bool = False,
) -> Seen:  # fmt: skip
    """Run all members on by so many steps; they stand where they end, to be run on.

    Parameters
    ----------
    acts, parcels
        As `acts.py` makes them: `acts[member]` in order of their step, counted from the ensemble's beginning.
    every
        Look every so many steps.
    edges
        Four for each of the first sights, in their order.
    cache
        Folder of compiled code; without one, or with `plain`, or without the compiler, numpy does it.
    """
    zone = ZoneInfo(e.plan.system.time_zone)
    rows = clock(e.begin, zone, e.dt_s, e.done, steps)
    hours = int(rows[:-1, 5].sum())
    chance = np.stack([g.standard_normal((hours, 3)) for g in e._chance]) if e.members else np.zeros((0, hours, 3))
    edges = np.zeros((0, 4)) if edges is None else np.ascontiguousarray(edges)
    looks = (steps + every - 1) // every + 1
    seen = np.full((e.members, looks, sight.N_SIGHTS), np.nan)
    passed = np.full((e.members, edges.shape[0], 4), -1.0)
    common = (e.bodies, e.plan.dosers, e.parts, e.alive, e.dt_s, e.done, steps, rows)
    if plain or cache is None or not kernel.available():
        left = np.zeros(e.members, dtype=int)
        loop.run_all(
            e.x, e.y, e.c, e.p, e.g, e.led, e.ln_h, *common, chance, acts, parcels, e.plan.water, e.plan.solutions,
            every, seen, edges, passed, left,
        )  # fmt: skip
    else:
        each = [
            (e.x[m], e.y[m], e.c[m], e.p[m], e.g[m], e.led[m], e.ln_h[m], chance[m], acts[m], seen[m], passed[m],
             np.empty(sight.N_SIGHTS))
            for m in range(e.members)
        ]  # fmt: skip
        shared = (*common, parcels, e.plan.water, e.plan.solutions, every, edges)
        left = np.array(kernel.run_members(kernel.compiled(cache), shared, each))
    e.left = np.where(e.left < 0, left, e.left)
    at_step = np.minimum(np.arange(looks) * every, steps)
    if (looks - 1) * every != steps:
        at_step[-1] = steps
    e.done += steps
    return Seen((e.done - steps + at_step) * e.dt_s, seen, passed)


def index(name: str) -> int:
    """Where a parameter stands, by its name.

    Raises
    ------
    BadInput
        With near misses.
    """
    found = INDEX.get(name.upper())
    if found is None:
        from leadline.measures.errors import UnknownName

        raise UnknownName("parameter", name, list(INDEX))
    return found
