"""One step of the simulator: the processes in their order, for one member or for an array of them.

Order: the air and the lamps; evaporation and heat; flow and levels; top-off and doses; then, in each body, carbonate
chemistry, gases, and life. Each process is positive by itself and the whole is first order in the step.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, share
from leadline.model.processes import (
    blooms,
    calcification,
    carbonate,
    dosing,
    export,
    flow,
    food,
    gases,
    nitrogen,
    phosphate,
    photosynthesis,
    room,
    topping,
    warmth,
)
from leadline.seawater import equilibria


def warm_start(x: Any, ln_h: Any, bodies: int) -> None:
    """Solve the carbonate system of each body from nowhere, so that steps can start from the one before."""
    for b in range(bodies):
        kg = flow.mass(x, b)
        found, _, _, _ = carbonate.solve(
            x[b, at.TA] / kg, x[b, at.DIC] / kg, warmth.temperature(x, b), warmth.salinity(x, b), ln_h[b], 14
        )
        ln_h[b] = found


def advance(
    x: Any, y: Any, c: Any, p: Any, g: Any, led: Any, ln_h: Any,
    bodies: int, dosers: int, parts: int, alive: int, dt: float,
    hour: float, days: float, years: float, day_wave: float, year_wave: float,
    water: Any, solutions: Any,
) -> None:  # fmt: skip
    """Move amounts on by `dt` seconds, in place.

    Parameters
    ----------
    x, y, c, p, g
        Amounts, pools, controls, parameters and places as `layout.py` lays them out.
    led
        What crossed the border, by cause and state; added to.
    ln_h
        ln [H⁺] of each body, from the step before.
    bodies, dosers, parts, alive
        How many bodies of water and dosers there are, sub-steps of heat, and whether blooms may live here (0 or 1).
    hour, days, years
        Local hour; days since a local midnight; years since the start.
    day_wave, year_wave
        Of the room, −1 to 1.
    water, solutions
        What a kg of top-off and a litre of each container hold, by state.
    """
    hub = bodies - 1
    air_c = room.warmth_c(day_wave, year_wave, y, c, p)
    ppm = room.co2_ppm(day_wave, y, c, p)
    lamps = c[at.LAMPS] * c[at.MAINS]
    lit = room.light(hour, p) * lamps
    warmth.evaporate(x, y, c, p, g, led, bodies, dt, air_c)
    blended = flow.blended(x, c, p, bodies, dt)
    warmth.act(x, y, c, p, g, led, bodies, dt, parts, air_c, lit, blended)
    topping.act(x, y, c, p, g, led, bodies, dt, air_c, water)
    dosing.act(x, y, c, p, led, bodies, dt, days, years, dosers, air_c, solutions)
    flow.levels(x, y, c, p, g, led, bodies)
    flow.mix(x, c, p, bodies, dt)
    all_kg = flow.mass(x, 0)
    for b in range(1, bodies):
        all_kg = all_kg + flow.mass(x, b)
    busy, busy_second, last_warm = 0.0 * all_kg, 0.0 * all_kg, 0.0 * all_kg + 1.0
    for b in range(bodies):
        kg = flow.mass(x, b)
        t, s = warmth.temperature(x, b), warmth.salinity(x, b)
        found, co2, co3, follows = carbonate.solve(x[b, at.TA] / kg, x[b, at.DIC] / kg, t, s, ln_h[b], 2)
        ln_h[b] = found
        gases.act(x, c, p, g, led, b, dt, ppm, t, s, co2, follows)
        warm = np.exp(np.log(p[d.Q10]) * 0.1 * (t - 25.0))
        oxygen = x[b, at.O2] / kg
        air = oxygen / (oxygen + p[d.O2_HALF])
        lives = g[b, at.LIVES]
        most = food.demand(x, y, p, b, dt, warm, lives) + lives * y[at.TISSUE] / p[d.TISSUE_D] * warm * dt / at.DAY
        most = most + (1.5 * y[at.AOB] + 0.5 * y[at.NOB]) * g[b, at.LIFE] * warm * dt / at.DAY
        air = air * np.minimum(1.0, 0.9 * x[b, at.O2] / (most + 1e-30))
        omega = carbonate.aragonite(co3, x[b, at.CA] / kg, t, s)
        calcification.act(x, y, c, p, g, led, b, dt, omega, lit, t)
        food.rot(x, p, b, dt, warm, air)
        one, two = nitrogen.nitrify(x, y, p, g, b, dt, kg, warm, air)
        busy, busy_second = busy + one, busy_second + two
        nitrogen.lose(x, y, p, g, led, b, dt, kg, warm)
        export.decay(x, y, p, g, b, dt)
        if b == 0:
            free = x[b, at.NH] / (1.0 + np.exp(found) / equilibria.ammonium_clegg1995(t, s))
            toxic = above(x[b, at.TOXIN] / kg - 1e-3, 0.0) / 1e-3
            calcification.settle(x, y, p, b, dt, t, s, found, toxic, free)
            food.fish(x, y, p, b, dt, warm, air)
            food.perish(x, y, p, b, dt, free)
            photosynthesis.act(x, y, p, b, dt, lit, warm, air)
            phosphate.rock(x, y, p, b, dt, kg, all_kg)
            last_warm = warm
            if alive:
                blooms.plants(x, y, c, p, b, dt, kg, lit, warm)
                blooms.dinoflagellates(x, y, p, g, bodies, dt, kg, lit, warm, share(lamps))
        if b == hub:
            phosphate.media(x, y, c, p, b, dt, kg)
            export.skim(x, c, p, led, b, dt, kg, all_kg)
            export.adsorb(x, y, c, p, led, b, dt, kg)
            export.ozonise(x, c, p, b, dt)
            if alive:
                blooms.lamp(x, c, p, b, dt, kg)
    nitrogen.populate(y, p, dt, last_warm, busy, busy_second)
