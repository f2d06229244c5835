"""Flow between vessels, the level they keep, drain-down when the return stops, and what runs over.

Two vessels that exchange a constant flow relax to their mixture exponentially; that answer is exact, so a strong
pump needs no small steps. Levels: the display stands at its weir while the return runs and drains to below it when
it stops (sheet of practice, 5.4); what the plant vessel can't hold is on the floor.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, some

KG_L = 1.0235  # seawater of salinity 35 at 25 degC


def mass(x: Any, b: int) -> Any:
    """Water and salt. [kg]"""
    return x[b, at.WATER] + x[b, at.SALT]


def pumped_kg_s(c: Any, p: Any) -> Any:
    """What the return pump moves. [kg/s]"""
    return p[d.RETURN_L_H] * above(c[at.RETURN], 0.0) * c[at.MAINS] * KG_L / 3600.0


def blended(x: Any, c: Any, p: Any, bodies: int, dt: float) -> Any:
    """Mean share, over a step, of the plant vessel's heat that the flow has spread over all. [1]"""
    hub = bodies - 1
    k = above(pumped_kg_s(c, p) * dt * (1.0 / mass(x, 0) + 1.0 / mass(x, hub)), 1e-9)
    return 1.0 - (1.0 - np.exp(-k)) / k if bodies > 1 else 0.0 * k


def mix(x: Any, c: Any, p: Any, bodies: int, dt: float) -> None:
    """Each vessel and the plant vessel exchange the return's flow (split evenly over the others)."""
    hub = bodies - 1
    flow = pumped_kg_s(c, p) / max(bodies - 1, 1)
    for b in range(bodies - 1):
        one, two = mass(x, b), mass(x, hub)
        moved = one * two / (one + two) * (1.0 - np.exp(-flow * dt * (1.0 / one + 1.0 / two)))
        for s in range(at.N_STATES):
            net = x[hub, s] * (moved / two) - x[b, s] * (moved / one)
            x[b, s] += net
            x[hub, s] -= net


def levels(x: Any, y: Any, c: Any, p: Any, g: Any, led: Any, bodies: int) -> None:
    """Bring the vessels to the levels that weir and pump keep, and let run over what is too much."""
    hub = bodies - 1
    running = np.minimum(pumped_kg_s(c, p) * 1e6, 1.0)
    for b in range(bodies - 1):
        have = mass(x, b)
        excess = have - (g[b, at.FULL] - g[b, at.DRAIN] * (1.0 - running))
        down = above(excess, 0.0) / have
        spare = above(mass(x, hub) - 0.1 * g[hub, at.FULL], 0.0)  # below a tenth the pump draws air
        up = np.minimum(above(-excess, 0.0) * running, spare) / mass(x, hub)
        for s in range(at.N_STATES):
            net = x[hub, s] * up - x[b, s] * down
            x[b, s] += net
            x[hub, s] -= net
    for b in range(bodies):
        have = mass(x, b)
        over = above(have - g[b, at.BRIM], 0.0)
        if some(over > 0.0):
            lost = over / have
            y[at.FLOOR] += over
            for s in range(at.N_STATES):
                gone = x[b, s] * lost
                x[b, s] -= gone
                led[at.SPILL, s] -= gone
