"""A box of water in which nothing happens but what a check switches on: for holding the simulator against print."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model import members, step
from leadline.model.acts import Acts
from leadline.model.describe import blueprint
from leadline.model.processes.warmth import SALT_J, WATER_J
from leadline.system.description import parse

BEGIN = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
DAY_S = 86400.0
MEQ_PER_DKH = 0.356652  # sheet 3.1, exact by definition
REFERENCE = {at.TA: 2788.6e-6, at.DIC: 2438.4e-6, at.CA: 10.285e-3, at.MG: 52.82e-3, at.O2: 206e-6}  # sheet 3.8, 0
BOX = """
[system]
id = "box"
net_volume = "{litres} L"
[[vessel]]
id = "tank"
inner_size = ["{length} m", "0.6 m", "0.6 m"]
[room]
temperature = "24 degC"
relative_humidity = 0.5
co2 = "500 ppm"
"""
_OFF = (
    "WALL_W_K", "PUMP_W", "LAMP_W", "EVAPORATION", "ROOM_SEASON_K", "ROOM_DAY_K", "ROOM_WEATHER_K", "ROOM_PPM_DAY",
    "ROOM_PPM_NOISE", "PISTON_M_H", "PISTON_CALM_M_H", "SKIMMER_AIR_L_H", "PRODUCTION", "DEMAND_EQ_D", "CORAL_GROWTH_Y",
    "APPETITE_SD", "PRECIPITATE_D", "FISH_D", "AOB_GROWTH_D", "NOB_GROWTH_D", "FILTER_DECAY_D", "DENITRIFY_D",
    "N_UPTAKE", "P_UPTAKE", "ROCK_P_D", "FILL_L_H", "SKIMMATE_L_D", "SKIM_D", "TUBE_Y", "HARM_D", "FISH_HARM_D",
    "CALC_MG",
    "DINO_GROWTH_D", "DINO_LOSS_D", "DINO_DARK_D", "CYST_D",
)  # fmt: skip
_AT_ONCE = {"O2_HALF": 1e-12, "Q10": 1.0, "FILL_SPAN_KG": 1e-9}  # no slowing, no warming, no float's play
_EMPTY = (at.TISSUE, at.GUT_C, at.GUT_N, at.GUT_P, at.FISH, at.AOB, at.NOB, at.ROCK_P)


def box(
    count: int = 1, *, litres: float = 400.0, equipment: str = "", dt_s: float = 600.0, salinity: Any = 35.0,
    temperature_c: Any = 25.5, held: Mapping[int, Any] | None = None, **on: Any,
) -> tuple[members.Ensemble, Acts]:  # fmt: skip
    """Members side by side, alike but for what is given as an array of one value each.

    Every process is off but those whose parameters stand in `on`; the water is that of sheet 3.8 with `held` [mol/kg].
    """
    plan = blueprint(parse(BOX.format(litres=litres, length=1.2 if litres <= 432.0 else litres / 350.0) + equipment))
    e = members.muster(plan, BEGIN, count, 1, dt_s=dt_s, certain=True)
    for name, value in {**dict.fromkeys(_OFF, 0.0), **_AT_ONCE, **on}.items():
        e.p[:, getattr(d, name)] = value
    e.y[:, _EMPTY] = 0.0
    kg = e.g[:, 0, at.FULL]
    e.x[:] = 0.0
    for state, per_kg in {**REFERENCE, **(held or {})}.items():
        e.x[:, 0, state] = per_kg * kg
    e.x[:, 0, at.SALT] = salinity * 1.0047154e-3 * kg  # sheet 0, TEOS-10
    e.x[:, 0, at.WATER] = kg - e.x[:, 0, at.SALT]
    e.x[:, 0, at.HEAT] = (WATER_J * e.x[:, 0, at.WATER] + SALT_J * e.x[:, 0, at.SALT]) * temperature_c
    for m in range(count):
        step.warm_start(e.x[m], e.ln_h[m], 1)
    return e, Acts(plan, dt_s)


def run(e: members.Ensemble, acts: Acts, hours: float, *, every: int = 1) -> members.Seen:
    """Run on by so many hours, in numpy."""
    table, parcels = acts.tables(e.p)
    return members.run(e, round(hours * 3600.0 / e.dt_s), table, parcels, every=every, plain=True)


def at_level(what: np.ndarray, other: np.ndarray, level: float) -> float:
    """`what` at the first moment at which `other`, rising or falling, comes to a level; nan when it never does."""
    beyond = other >= level if other[0] < level else other <= level
    if not beyond.any():
        return float("nan")
    k = int(np.argmax(beyond))
    return float(what[k - 1] + (what[k] - what[k - 1]) * (level - other[k - 1]) / (other[k] - other[k - 1]))


def meets(found: Any, expected: Any, within: Any) -> None:
    """Hold a whole table against print, and name every value that is off."""
    found, expected, within = np.broadcast_arrays(found, np.asarray(expected, dtype=float), within)
    off = ~(np.abs(found - expected) <= within)  # a nan is off too
    assert not off.any(), [
        f"{tuple(map(int, k))}: {found[tuple(k)]:.5g} for {expected[tuple(k)]:g} ± {within[tuple(k)]:.2g}"
        for k in np.argwhere(off)
    ]


def kilograms(e: members.Ensemble) -> np.ndarray:
    """Water and salt of each member's box."""
    return e.x[:, 0, at.WATER] + e.x[:, 0, at.SALT]


def ph_total(seen: members.Seen) -> np.ndarray:
    """pH on the total scale at 25.5 °C and S 35: sheet 3.7's 0.1365 + 0.00232·0.5, by its fit to 0.0006."""
    return seen.of("ph") - 0.1377
