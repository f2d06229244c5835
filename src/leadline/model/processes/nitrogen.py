"""Nitrification in two steps by populations that grow and starve, denitrification, uptake for good.

NH4 + 2 O2 → NO3 + 2 H + H2O: two moles of oxygen and two equivalents of alkalinity for each mole of nitrogen
(4.569 mg O2 and 0.1428 meq per mg N, sheet 5.5); denitrification and uptake of nitrate return one.
"""

from __future__ import annotations

from typing import Any

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import spent


def nitrify(x: Any, y: Any, p: Any, g: Any, b: int, dt: float, kg: Any, warm: Any, air: Any) -> tuple[Any, Any]:
    """Ammonia to nitrite to nitrate in one body; gives how busy each population is, weighted by its share here."""
    here = g[b, at.LIFE] * warm * air / at.DAY
    ammonia_scale = x[b, at.NH] + p[d.AOB_HALF] * kg
    nitrite_scale = x[b, at.NO2] + p[d.NOB_HALF] * kg
    first = spent(x[b, at.NH], y[at.AOB] * here / ammonia_scale, dt)
    second = spent(x[b, at.NO2], y[at.NOB] * here / nitrite_scale, dt)
    busy = g[b, at.LIFE] * air * x[b, at.NH] / ammonia_scale
    busy_second = g[b, at.LIFE] * air * x[b, at.NO2] / nitrite_scale
    x[b, at.NH] -= first
    x[b, at.NO2] += first - second
    x[b, at.NO3] += second
    x[b, at.TA] -= 2.0 * first
    x[b, at.O2] -= 1.5 * first + 0.5 * second
    return busy, busy_second


def populate(y: Any, p: Any, dt: float, warm: Any, busy: Any, busy_second: Any) -> None:
    """Nitrifiers grow with their work and starve without; a trace always remains."""
    days = dt / at.DAY
    y[at.AOB] += y[at.AOB] * (p[d.AOB_GROWTH_D] * busy - p[d.FILTER_DECAY_D]) * warm * days + 1e-7 * days
    y[at.NOB] += y[at.NOB] * (p[d.NOB_GROWTH_D] * busy_second - p[d.FILTER_DECAY_D]) * warm * days + 1e-7 * days


def lose(x: Any, y: Any, p: Any, g: Any, led: Any, b: int, dt: float, kg: Any, warm: Any) -> None:
    """Nitrate to nitrogen gas, with carbon from tissue, and nitrogen and phosphorus built in for good."""
    gas = spent(x[b, at.NO3], p[d.DENITRIFY_D] * g[b, at.LIFE] * warm / at.DAY, dt)
    burnt = spent(y[at.TISSUE], 1.25 * gas / (y[at.TISSUE] + 1e-12) / dt, dt)
    gas = burnt / 1.25
    y[at.TISSUE] -= burnt
    x[b, at.DIC] += burnt
    taken = spent(x[b, at.NO3], p[d.N_UPTAKE] * g[b, at.LIFE] / (x[b, at.NO3] + p[d.N_HALF] * kg) * warm / at.DAY, dt)
    bound = spent(x[b, at.PO4], p[d.P_UPTAKE] * g[b, at.LIFE] / (x[b, at.PO4] + p[d.P_HALF] * kg) * warm / at.DAY, dt)
    both = gas + taken
    both = both * x[b, at.NO3] / (x[b, at.NO3] + both + 1e-30)  # the two together never take more than is there
    part = both / (gas + taken + 1e-30)
    x[b, at.NO3] -= both
    x[b, at.TA] += both + bound
    x[b, at.PO4] -= bound
    y[at.GROWN_N] += taken * part
    y[at.GROWN_P] += bound
    # the carbon burnt for gas that was not made is a trace (the correction above is second order)
    led[at.NITROGEN_GAS, at.NO3] -= gas * part
