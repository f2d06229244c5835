"""Oxygen and CO2 across the surface, and through the skimmer's bubbles.

A film model: flux = k·area·(balance − water). Oxygen is linear and exact in the step; CO2 is made linear by how CO2*
follows DIC (1/18 at 8 dKH), and that is exact too. CO2 crosses 0.92 as fast (Schmidt numbers, memory).
Sheet sections 3.6, 6.1 and 6.3.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.processes.carbonate import balanced_co2
from leadline.model.processes.flow import KG_L, mass
from leadline.seawater.oxygen import saturation_garcia1992

CO2_AGAINST_O2 = 0.92


def exchanged_kg_s(c: Any, p: Any, g: Any, b: int) -> Any:
    """Water brought to balance with the air, as a flow. [kg/s]"""
    stir = np.minimum(np.maximum(0.5 * c[at.WAVES] + 0.5 * c[at.RETURN], 0.0), 1.5) * c[at.MAINS]
    piston = p[d.PISTON_CALM_M_H] + (p[d.PISTON_M_H] - p[d.PISTON_CALM_M_H]) * stir
    bubbles = p[d.SKIMMER_AIR_L_H] * c[at.SKIMMER] * c[at.MAINS] * g[b, at.PLANT]
    return (piston * g[b, at.AREA] * 1000.0 + bubbles) * KG_L / 3600.0


def act(
    x: Any, c: Any, p: Any, g: Any, led: Any, b: int, dt: float, ppm: Any, t: Any, s: Any, co2: Any, follows: Any
) -> None:
    """Move oxygen and DIC of one body towards the air."""
    kg = mass(x, b)
    rate = exchanged_kg_s(c, p, g, b) / kg
    oxygen = (saturation_garcia1992(t, s) * 1e-6 * kg - x[b, at.O2]) * (1.0 - np.exp(-rate * dt))
    slope = np.minimum(np.maximum(follows, 1e-4), 1.0)
    carbon = kg * (balanced_co2(ppm, t, s) - co2) / slope * (1.0 - np.exp(-CO2_AGAINST_O2 * rate * slope * dt))
    carbon = np.maximum(carbon, -0.5 * x[b, at.DIC])
    x[b, at.O2] += oxygen
    x[b, at.DIC] += carbon
    led[at.AIR, at.O2] += oxygen
    led[at.AIR, at.DIC] += carbon
