"""Systems whose laws are not those of the simulator that is fitted to them: is the truth inside what was learned?

The same bookkeeping, other laws: a wind-function evaporation, walls that lose by natural convection, calcification by
a power of Ω−1 and straight in light, production straight in light and then flat, gas exchange that changes through the
day, nitrate lost in proportion and phosphate at a constant pace. Also a room that wanders, food that strays from what
is written, kits with bias, probes with noise, a heater off its rating.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np

from leadline.estimate import learn
from leadline.model import draw as d
from leadline.model import evaporation, members
from leadline.model import layout as at
from leadline.model.acts import Acts
from leadline.model.describe import blueprint
from leadline.model.loop import ACT_AMOUNT, ACT_POOL_ADD, ACT_STEP
from leadline.model.primitives import above, spent
from leadline.model.processes import calcification, gases, nitrogen, photosynthesis, warmth
from leadline.model.substances import food_moles
from leadline.system.description import parse

DAYS = 45
BEGIN = dt.datetime(2026, 1, 10, tzinfo=dt.UTC)
JUDGED = ("heat-loss", "evaporation", "gas-exchange", "calcification", "nitrate-export", "phosphate-export", "volume")


@dataclass
class Case:
    """One system: what its records say, and what it really did."""

    plan: Any
    window: learn.Records
    start: members.Start
    acts: Acts
    truth: dict[str, float]


@contextlib.contextmanager
def other_laws() -> Iterator[None]:
    """Put the other laws in the simulator's place (its interpreted form)."""

    def drive(water_c: Any, air_c: Any, humidity: Any, speed: Any, salinity: Any) -> Any:
        # Rohwer's wind function (memory): mm/d for mmHg, scaled to meet the other at still air
        over = evaporation.saturation_pressure_pa(water_c) * (1.0 - 0.000537 * salinity)
        mmhg = (over - humidity * evaporation.saturation_pressure_pa(air_c)) / 133.322
        return 0.44 * (1.0 + 0.27 * speed * 2.237) * mmhg * 0.55 / 86400.0

    def pace(omega: Any, lit: Any, t: Any, p: Any) -> Any:
        over = above(omega - 1.0, 0.0) / 3.3
        return over**0.75 * (0.3 + 0.7 * lit) * np.exp(0.05 * (t - 26.0))

    def of_light(lit: Any, half: Any) -> Any:
        return np.minimum(lit / 0.75, 1.0)

    def lose(x: Any, y: Any, p: Any, g: Any, led: Any, b: int, dt: float, kg: Any, warm: Any) -> None:
        k = (p[d.DENITRIFY_D] + p[d.N_UPTAKE] / (kg * 2e-4)) * g[b, at.LIFE] / at.DAY
        gone = spent(x[b, at.NO3], k, dt)
        x[b, at.NO3] -= gone
        x[b, at.TA] += gone
        y[at.GROWN_N] += gone
        taken = np.minimum(p[d.P_UPTAKE] * 0.35 * g[b, at.LIFE] * dt / at.DAY, 0.2 * x[b, at.PO4])
        x[b, at.PO4] -= taken
        x[b, at.TA] += taken
        y[at.GROWN_P] += taken

    real = gases.exchanged_kg_s
    moment = {"n": 0}

    def exchanged(c: Any, p: Any, g: Any, b: int) -> Any:
        moment["n"] += 1
        return real(c, p, g, b) * (1.0 + 0.3 * math.sin(moment["n"] * 2.0 * math.pi / 288.0))

    def heat(x: Any, y: Any, c: Any, p: Any, g: Any, led: Any, bodies: int, dt: float, parts: int, air: Any, lit: Any,
             blended: Any) -> None:  # fmt: skip
        usual = p[d.WALL_W_K].copy()
        gap = np.abs(warmth.temperature(x, 0) - air)
        p[d.WALL_W_K] = usual * (np.maximum(gap, 0.05) / 4.0) ** 0.25
        wall(x, y, c, p, g, led, bodies, dt, parts, air, lit, blended)
        losses.append(p[d.WALL_W_K].copy())
        p[d.WALL_W_K] = usual

    wall = warmth.act
    losses.clear()
    with contextlib.ExitStack() as stack:
        for module, name, law in (
            (evaporation, "drive_kg_m2_s", drive), (calcification, "pace", pace),
            (photosynthesis, "of_light", of_light), (nitrogen, "lose", lose),
            (gases, "exchanged_kg_s", exchanged), (warmth, "act", heat),
        ):  # fmt: skip
            stack.enter_context(mock.patch.object(module, name, law))
        yield


losses: list[np.ndarray] = []  # walls' coefficient of each step, by member


def document(rng: np.random.Generator) -> str:
    """A system of some size, with what such systems have."""
    litres = float(np.exp(rng.uniform(np.log(120.0), np.log(1800.0))))
    side = (litres * 0.85 / 1000.0 / 1.9) ** (1.0 / 3.0)
    sump = '[[vessel]]\nid = "sump"\nvolume = "' + f'{0.2 * litres:.0f} L"\n' if litres > 200 else ""
    skimmer = '[[equipment]]\nid = "skimmer-1"\ntype = "skimmer"\n' if rng.random() < 0.7 else ""
    dose = float(rng.uniform(0.2, 1.2)) * 0.356652 * litres / 1793.0 * 1000.0
    return f"""
[system]
id = "other"
net_volume = "{litres:.0f} L"
net_volume_sd = "{0.06 * litres:.1f} L"
[[vessel]]
id = "display"
inner_size = ["{1.9 * side:.2f} m", "{side:.2f} m", "{side:.2f} m"]
{sump}
[room]
temperature = "{rng.uniform(18, 23):.1f} degC"
relative_humidity = {rng.uniform(0.35, 0.65):.2f}
co2 = "{rng.uniform(450, 900):.0f} ppm"
[[equipment]]
id = "heater-1"
type = "heater"
power = "{0.55 * litres + 40:.0f} W"
setpoint = "25.3 degC"
[[equipment]]
id = "topoff-1"
type = "topoff"
[[equipment]]
id = "light-1"
type = "light"
on = "10:00"
off = "20:00"
{skimmer}
[[equipment]]
id = "doser-1"
type = "doser"
substance = "sodium-carbonate"
concentration = "95 g/L"
per_day = "{dose:.1f} mL"
[[equipment]]
id = "doser-2"
type = "doser"
substance = "calcium-chloride-dihydrate"
concentration = "131 g/L"
per_day = "{dose:.1f} mL"
"""


def batch(seed: int, count: int) -> list[Case]:
    """`count` systems of one description, each with its own truth, run with the other laws."""
    rng = np.random.default_rng([seed, 9])
    plan = blueprint(parse(document(rng)))
    litres = plan.system.net_volume_l
    grams = 0.003 * litres * float(rng.uniform(0.6, 1.6))
    food = food_moles("pellets", grams)
    dosed = plan.value("DOSER_0_L_D") * plan.solutions[0, at.TA] * 1000.0 / litres
    start = members.Start(
        water={"temperature": (25.3, 0.2), "alkalinity": (2.85, 0.15), "calcium": (425.0, 12.0),
               "salinity": (35.0, 0.4), "nitrate": (8.0, 2.5), "phosphate": (0.07, 0.02)},
        takes={"alkalinity": (0.9 * dosed, 0.25 * dosed), "nitrate": (0.0, 0.1), "phosphate": (0.0, 0.003)},
        food_mol_d=food,
    )  # fmt: skip
    e = members.muster(plan, BEGIN, count, seed, start)
    acts = Acts(plan, 600.0)
    for day in range(DAYS):
        acts.feed(day * 86400.0 + 8.5 * 3600.0, "pellets", grams)
        if day % 9 == 5:
            acts.exchange(day * 86400.0 + 19.0 * 3600.0, 0.1 * litres, extra={"salinity": 35.0, "alkalinity": 8.0})
        acts.refill(day * 86400.0)
    table, parcels = acts.tables(e.p)
    stray = np.exp(rng.normal(0.0, 0.2, (count, table.shape[1]))) * np.exp(rng.normal(0.0, 0.1, (count, 1)))
    fed = table[:, :, ACT_POOL_ADD] > 0.0
    table[:, :, ACT_POOL_ADD] *= np.where(fed, stray, 1.0)
    table[:, :, ACT_AMOUNT] *= np.where((table[:, :, ACT_AMOUNT] == 1.0 - e.p[:, d.EATEN][:, None]), stray, 1.0)
    with other_laws():
        seen = members.run(e, DAYS * 144, table, parcels, every=6, plain=True)
        walls = np.mean(losses, axis=0)
    cases = []
    for m in range(count):
        if e.left[m] >= 0:
            continue
        truth = learn.rates(e, m, DAYS)
        truth["heat-loss"] = float(walls[m])
        cases.append(Case(plan, _records(plan, seen, m, rng), start, _copy(acts), truth))
    return cases


def _copy(acts: Acts) -> Acts:
    """The same acts at a step of twenty minutes, in which the fit runs."""
    rows = []
    for row, by in acts.rows:
        coarse = row.copy()
        coarse[ACT_STEP] = round(row[ACT_STEP] * acts.dt_s / 1200.0)
        rows.append((coarse, by))
    return Acts(acts.plan, 1200.0, list(acts.parcels), rows, [])


def _records(plan: Any, seen: members.Seen, m: int, rng: np.random.Generator) -> learn.Records:
    """What a keeper and some probes would have of it."""
    window = learn.Records(DAYS)
    for q, every in (
        ("alkalinity", 4),
        ("calcium", 9),
        ("nitrate", 8),
        ("phosphate", 8),
        ("salinity", 7),
        ("temperature", 5),
    ):
        how = plan.system.method(q)
        values = seen.of(q)[m]
        middle = float(values.mean())
        bias = rng.normal(0.0, math.hypot(how.bias_sd, how.bias_relative * middle))
        for day in range(1, DAYS, every):
            k = day * 24 + 19
            scatter = math.hypot(how.sd, how.relative * values[k])
            window.readings.append((k * 3600.0, q, float(values[k] + bias + rng.normal(0.0, scatter)), scatter))
    window.readings.sort()
    warm = seen.of("plant_temperature")[m][:-1]
    window.hourly["temperature"] = warm + rng.normal(0.0, 0.02, len(warm)) + rng.normal(0.0, 0.1)
    power = plan.value("HEATER_0_W")
    window.hourly["heater"] = np.diff(seen.of("heater_kwh")[m]) * 1000.0 / power
    if rng.random() < 0.7:
        ph = seen.of("ph")[m][:-1]
        window.hourly["ph"] = ph + rng.normal(0.0, 0.05) + rng.normal(0.0, 0.01, len(ph))
    if rng.random() < 0.6:
        window.hourly["topoff"] = np.diff(seen.of("topoff_l")[m]) * (1.0 + rng.normal(0.0, 0.02))
    if rng.random() < 0.6:
        window.room_c = seen.of("room_temperature")[m][:-1] + rng.normal(0.0, 0.3)
    return window


@dataclass(frozen=True)
class Judged:
    """Of one kind of parameter: how many truths lay inside their 90 % interval, and how wide it was."""

    inside: int
    of: int
    gained: float  # mean share of the prior's spread that went
    error: float  # median of |best / truth - 1|


def judge(cases: list[Case], cache: Path) -> dict[str, Judged]:
    """Fit every case and count."""
    hits: dict[str, list[tuple[bool, float, float]]] = {name: [] for name in JUDGED}
    for case in cases:
        found = learn.fit(case.plan, case.window, case.start, case.acts, BEGIN, cache=cache)
        for name in JUDGED:
            if name not in found.learned:
                continue
            row = found.learned[name]
            best = found.rates[name]
            if name == "volume":
                best = found.volume_l[0]
            low, high = best * row.q05 / row.q50, best * row.q95 / row.q50
            truth = case.truth[name]
            hits[name].append((low <= truth <= high, row.gained, abs(best / truth - 1.0)))
    return {
        name: Judged(sum(h for h, _, _ in rows), len(rows), float(np.mean([g for _, g, _ in rows])),
                     float(np.median([x for _, _, x in rows])))
        for name, rows in hits.items() if rows
    }  # fmt: skip
