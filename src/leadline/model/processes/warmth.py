"""Heat: walls, evaporation, lamps, pumps, heaters and chiller with their switching, in sub-steps of the step.

Enthalpy is linear in water and salt, so that mixing keeps it exactly: 4180 J/kg/K for water and −967 for dissolved
salt give 3999 at salinity 35 (TEOS-10: 3999.0 at 25 degC, 3996 to 4003 from 20 to 32).
Sources: sheet sections 7.1 to 7.4; evaporation in `model/evaporation.py`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import evaporation
from leadline.model import layout as at
from leadline.model.primitives import above, pick

WATER_J, SALT_J = 4180.0, -967.0  # J/kg/K
_PSU = 35.0 / 35.16504 * 1000.0


def capacity(x: Any, b: int) -> Any:
    """Heat capacity of one body. [J/K]"""
    return WATER_J * x[b, at.WATER] + SALT_J * x[b, at.SALT]


def temperature(x: Any, b: int) -> Any:
    """Temperature of one body. [°C]"""
    return x[b, at.HEAT] / capacity(x, b)


def salinity(x: Any, b: int) -> Any:
    """Practical salinity of one body by the reference composition. [1]"""
    return _PSU * x[b, at.SALT] / (x[b, at.WATER] + x[b, at.SALT])


def _switched(on: Any, seen: Any, low: Any, high: Any) -> Any:
    """A heater's thermostat: on below `low`, off above `high`, as it was between."""
    return pick(seen < low, 1.0, pick(seen > high, 0.0, on))


def forced(force: Any, on: Any, mains: Any) -> Any:
    """What runs in truth: a stuck contact overrules the thermostat, no power overrules both."""
    return pick(force > 0.0, 1.0, pick(force < 0.0, 0.0, on)) * mains


def _seen(t: Any, c: Any) -> Any:
    """What the controlling thermometer shows."""
    return pick(c[at.PROBE_STUCK] > 0.0, c[at.PROBE_STUCK], t + c[at.PROBE_OFFSET])


def evaporate(x: Any, y: Any, c: Any, p: Any, g: Any, led: Any, bodies: int, dt: float, air_c: Any) -> None:
    """Pure water leaves the open surfaces and takes its latent heat along."""
    speed = p[d.AIR_M_S] + (p[d.FAN_M_S] - p[d.AIR_M_S]) * above(c[at.FAN], 0.0) * c[at.MAINS] * (p[d.FAN_M_S] > 0.0)
    for b in range(bodies):
        t = temperature(x, b)
        drive = evaporation.drive_kg_m2_s(t, air_c, p[d.ROOM_RH], speed, salinity(x, b))
        gone = np.minimum(above(drive, 0.0) * p[d.EVAPORATION] * g[b, at.AREA] * dt, 0.2 * x[b, at.WATER])
        heat = gone * (evaporation.latent_j_kg(t) + WATER_J * t)
        x[b, at.WATER] -= gone
        x[b, at.HEAT] -= heat
        led[at.AIR, at.WATER] -= gone
        led[at.AIR, at.HEAT] -= heat
        y[at.EVAPORATED_KG] += gone


def act(
    x: Any, y: Any, c: Any, p: Any, g: Any, led: Any, bodies: int, dt: float, parts: int, air_c: Any, lit: Any,
    blended: Any,
) -> None:  # fmt: skip
    """Walls, lamps, pumps, heaters, chiller. `blended` is the share of the plant's heat that the flow spreads."""
    span = dt / parts
    hub = bodies - 1
    mains = c[at.MAINS]
    half, cool_half = 0.5 * p[d.HEATER_SPAN], 0.5 * p[d.CHILLER_SPAN]
    pumps = p[d.PUMP_W] * mains * (0.5 * c[at.RETURN] + 0.5 * c[at.WAVES])
    total = capacity(x, 0)
    for b in range(1, bodies):
        total = total + capacity(x, b)
    for _ in range(parts):
        t = temperature(x, hub)
        seen = _seen(t, c)
        y[at.HEATER_0] = _switched(y[at.HEATER_0], seen, p[d.HEATER_0_SET] - half, p[d.HEATER_0_SET] + half)
        y[at.HEATER_1] = _switched(y[at.HEATER_1], seen, p[d.HEATER_1_SET] - half, p[d.HEATER_1_SET] + half)
        y[at.CHILLER] = 1.0 - _switched(
            1.0 - y[at.CHILLER], seen, p[d.CHILLER_SET] - cool_half, p[d.CHILLER_SET] + cool_half
        )
        first = p[d.HEATER_0_W] * forced(c[at.HEATER_0_FORCE], y[at.HEATER_0], mains)
        second = p[d.HEATER_1_W] * forced(c[at.HEATER_1_FORCE], y[at.HEATER_1], mains)
        cooling = p[d.CHILLER_W] * forced(c[at.CHILLER_FORCE], y[at.CHILLER], mains)
        y[at.HEATER_J] += (first + second) * span
        y[at.CHILLER_J] += cooling * span
        plant = first * c[at.HEATER_0_EFFECT] + second * c[at.HEATER_1_EFFECT] - cooling * c[at.CHILLER_EFFECT] + pumps
        for b in range(bodies):
            walls = p[d.WALL_W_K] * g[b, at.WALLS] * (air_c - temperature(x, b)) * span
            spread = blended * capacity(x, b) / total + (1.0 - blended) * g[b, at.PLANT]
            power = (plant * spread + p[d.LAMP_W] * lit * g[b, at.LIVES]) * span
            x[b, at.HEAT] += walls + power
            led[at.AIR, at.HEAT] += walls
            led[at.POWER, at.HEAT] += power
