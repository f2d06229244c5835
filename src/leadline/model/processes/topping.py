"""Top-off: a float, a pump, a reservoir that ends; stuck open or shut; filled with the wrong water.

Failure modes as in the sheet of practice, 5.3.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, pick, some
from leadline.model.processes.flow import mass
from leadline.model.processes.warmth import SALT_J, WATER_J


def act(x: Any, y: Any, c: Any, p: Any, g: Any, led: Any, bodies: int, dt: float, air_c: Any, water: Any) -> None:
    """Fill the plant vessel. `water` is what a kg of top-off water holds; its warmth is the room's."""
    hub = bodies - 1
    missing = g[hub, at.FULL] - mass(x, hub)
    y[at.FILLING] = pick(missing > p[d.FILL_SPAN_KG], 1.0, pick(missing <= 0.0, 0.0, y[at.FILLING]))
    most = p[d.FILL_L_H] * dt / 3600.0 * c[at.MAINS]
    by_float = np.minimum(above(missing, 0.0), most) * y[at.FILLING]
    wanted = pick(c[at.FILL_FORCE] > 0.0, most, pick(c[at.FILL_FORCE] < 0.0, 0.0, by_float))
    given = np.minimum(wanted, y[at.RESERVOIR])
    y[at.RESERVOIR] -= given
    y[at.FILLED_KG] += given
    if some(given > 0.0):
        for s in range(at.N_STATES):
            if s != at.HEAT:
                x[hub, s] += given * water[s]
                led[at.FILL, s] += given * water[s]
        heat = given * (WATER_J * water[at.WATER] + SALT_J * water[at.SALT]) * air_c
        x[hub, at.HEAT] += heat
        led[at.FILL, at.HEAT] += heat
