"""What leaves for good or turns harmless: skimmate, adsorbing carbon, ozone, decay of poisons, copper on rock.

Skimmers took 20 to 30 % of measurable organic carbon (sheet of practice, 4.8); carbon is used up in 2 to 4 weeks.
One mole of chloramine frees one of ammonia: 1 mg/L as Cl2 is 0.1976 mg/L N (sheet 8.1).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, share, some, spent


def skim(x: Any, c: Any, p: Any, led: Any, b: int, dt: float, kg: Any, all_kg: Any) -> None:
    """Detritus, dissolved carbon and floating cells, and the tank water that leaves with them."""
    on = above(c[at.SKIMMER], 0.0) * c[at.MAINS]
    wet = np.minimum(p[d.SKIMMATE_L_D] * 1.0235 / at.DAY * dt * on / kg, 0.1)
    rate = p[d.SKIM_D] * all_kg / kg * on / at.DAY
    if not some(on > 0.0):
        return
    for s in range(at.N_STATES):
        gone = x[b, s] * wet
        x[b, s] -= gone
        led[at.SKIMMATE, s] -= gone
    for s in (at.DOC, at.DET_C, at.DET_N, at.DET_P, at.DINO):
        gone = spent(x[b, s], rate * 0.15 if s == at.DINO else rate, dt)  # swimming cells: judgement
        x[b, s] -= gone
        led[at.SKIMMATE, s] -= gone


def adsorb(x: Any, y: Any, c: Any, p: Any, led: Any, b: int, dt: float, kg: Any) -> None:
    """Adsorbing carbon clears toxin, medicine and dissolved carbon while it is fresh."""
    there = share(c[at.CARBON]) * c[at.MAINS]
    rate = p[d.CARBON_KG_D] * share(1.0 - y[at.CARBON_AGE]) * there / kg / at.DAY
    if not some(rate > 0.0):
        return
    y[at.CARBON_AGE] += np.minimum(dt / at.DAY / p[d.CARBON_LIFE_D] * there, 1.0 - share(y[at.CARBON_AGE]))
    for s in (at.TOXIN, at.MEDICINE, at.DOC):
        gone = spent(x[b, s], rate, dt)
        x[b, s] -= gone
        led[at.SORBENT, s] -= gone


def ozonise(x: Any, c: Any, p: Any, b: int, dt: float) -> None:
    """Ozone burns dissolved carbon; its oxygen comes with it."""
    burnt = np.minimum(p[d.OZONE_MOL_H] * above(c[at.OZONE], 0.0) * c[at.MAINS] * dt / 3600.0, 0.5 * x[b, at.DOC])
    x[b, at.DOC] -= burnt
    x[b, at.DIC] += burnt


def decay(x: Any, y: Any, p: Any, g: Any, b: int, dt: float) -> None:
    """Toxin and medicine decay, chloramine frees its ammonia, copper binds to rock."""
    if not some(x[b, at.CHLORAMINE] + x[b, at.TOXIN] + x[b, at.MEDICINE] + x[b, at.COPPER] > 0.0):
        return
    freed = spent(x[b, at.CHLORAMINE], 1.0 / (p[d.CHLORAMINE_D] * at.DAY), dt)
    x[b, at.CHLORAMINE] -= freed
    x[b, at.NH] += freed
    x[b, at.TA] += freed
    x[b, at.TOXIN] -= spent(x[b, at.TOXIN], 1.0 / (p[d.TOXIN_D] * at.DAY), dt)
    x[b, at.MEDICINE] -= spent(x[b, at.MEDICINE], 1.0 / (p[d.MEDICINE_D] * at.DAY), dt)
    bound = spent(x[b, at.COPPER], g[b, at.LIFE] / (p[d.COPPER_D] * at.DAY), dt)
    x[b, at.COPPER] -= bound
    y[at.ROCK_CU] += bound
