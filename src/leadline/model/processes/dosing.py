"""Dosing machines: a programme in portions, real delivery, tubes that tire, containers that end, siphons."""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, pick, some
from leadline.model.processes.warmth import SALT_J, WATER_J


def litres(days: float, dt: float, per_day: Any, parts: Any) -> Any:
    """What the programme gives in the step that begins `days` after a midnight. [L]"""
    step = dt / at.DAY
    portions = np.floor((days + step) * parts + 1e-9) - np.floor(days * parts + 1e-9)
    return pick(parts > 0.0, portions * per_day / np.maximum(parts, 1e-3), per_day * step)


def act(
    x: Any, y: Any, c: Any, p: Any, led: Any, bodies: int, dt: float, days: float, years: float, dosers: int,
    air_c: Any, solutions: Any,
) -> None:  # fmt: skip
    """Give each doser's step to the plant vessel; `solutions[k]` is what a litre of its container holds."""
    hub = bodies - 1
    worn = above(1.0 - p[d.TUBE_Y] * years, 0.0)
    for k in range(dosers):
        programme = litres(days, dt, p[d.DOSER_0_L_D + k], p[d.DOSER_0_PARTS + k])
        pumped = programme * p[d.DOSER_0_GAIN + k] * worn * c[at.DOSER_0 + k] * c[at.MAINS]
        given = np.minimum(above(pumped + c[at.SIPHON_0 + k] * dt / 3600.0, 0.0), y[at.CAN_0 + k])
        if some(given > 0.0):
            y[at.CAN_0 + k] -= given
            for s in range(at.N_STATES):
                if s != at.HEAT:
                    x[hub, s] += given * solutions[k, s]
                    led[at.DOSE, s] += given * solutions[k, s]
            heat = given * (WATER_J * solutions[k, at.WATER] + SALT_J * solutions[k, at.SALT]) * air_c
            x[hub, at.HEAT] += heat
            led[at.DOSE, at.HEAT] += heat
