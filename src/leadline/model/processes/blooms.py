"""Blooms and plants: growth on light, nitrogen and phosphorus, silicate for diatoms; dark, cysts, UV, die-off.

Nothing that isn't there grows: a bloom begins with what a scenario or an estimate puts in. Whether dinoflagellates are
in the water by night or by day is contested, so each member draws both shares. What dies is detritus: it gives back
its nitrogen and phosphorus and eats oxygen as it rots (sheet of biology, 3.1 to 3.4).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, pick, share, spent
from leadline.model.processes.calcification import of_light

_MOVE_H = 2.0  # time in which cells rise and settle: judgement


def fed(x: Any, b: int, kg: Any, n_half: Any, p_half: Any) -> Any:
    """Growth on nitrogen and phosphorus, the scarcer deciding (Liebig). [1]"""
    n = (x[b, at.NO3] + x[b, at.NH]) / kg
    f = x[b, at.PO4] / kg
    return np.minimum(n / (n + n_half), f / (f + p_half))


def _mean_light(p: Any) -> Any:
    """What light does in the mean of a day: growth rates in print are of days, not of noons. [1]"""
    return above((p[d.LIGHT_OFF_H] - p[d.LIGHT_ON_H] - 0.7 * p[d.LIGHT_RAMP_H]) / 24.0, 0.05)


def _build(x: Any, b: int, nitrogen: Any, carbon: Any, phosphorus: Any, silicon: Any) -> Any:
    """Take what growth of so much nitrogen needs, ammonia first; gives what could be built. [mol N]"""
    most = np.minimum(0.3 * (x[b, at.NO3] + x[b, at.NH]), 0.3 * x[b, at.PO4] / phosphorus)
    grown = np.minimum(nitrogen, np.minimum(most, pick(silicon > 0.0, 0.3 * x[b, at.SI], most)))
    ammonia = np.minimum(grown, 0.5 * x[b, at.NH])
    nitrate = grown - ammonia
    x[b, at.NH] -= ammonia
    x[b, at.NO3] -= nitrate
    x[b, at.PO4] -= grown * phosphorus
    x[b, at.SI] -= grown * silicon
    x[b, at.TA] += nitrate - ammonia + grown * phosphorus
    x[b, at.DIC] -= grown * carbon
    x[b, at.O2] += grown * carbon
    return grown


def _die(x: Any, b: int, nitrogen: Any, carbon: Any, phosphorus: Any) -> None:
    x[b, at.DET_C] += nitrogen * carbon
    x[b, at.DET_N] += nitrogen
    x[b, at.DET_P] += nitrogen * phosphorus


def plants(x: Any, y: Any, c: Any, p: Any, b: int, dt: float, kg: Any, lit: Any, warm: Any) -> None:
    """Mats, films and algae of the display and the refuge."""
    room = share(1.0 - (y[at.CYANO] + y[at.DIATOM] + y[at.HAIR] + y[at.DINO_BED]) / p[d.ROOM_N])
    bright = of_light(lit, p[d.LIGHT_HALF]) / _mean_light(p)
    food = fed(x, b, kg, p[d.MAT_HALF_N], p[d.MAT_HALF_P]) * warm * dt / at.DAY
    si = x[b, at.SI] / kg
    sand = si / (si + p[d.SI_HALF])
    mat = _build(x, b, y[at.CYANO] * p[d.CYANO_GROWTH_D] * bright * room * food, at.PLANKTON_C, at.PLANKTON_P, 0.0)
    film = _build(
        x, b, y[at.DIATOM] * p[d.DIATOM_GROWTH_D] * bright * room * food * sand, at.PLANKTON_C, at.PLANKTON_P, 1.0
    )
    hair = _build(x, b, y[at.HAIR] * p[d.HAIR_GROWTH_D] * bright * room * food, at.PLANT_C, at.PLANT_P, 0.0)
    lamps = c[at.REFUGE_LAMPS] * c[at.MAINS]
    leaf = _build(x, b, y[at.REFUGE] * p[d.REFUGE_GROWTH_D] * 0.6 * lamps * food, at.PLANT_C, at.PLANT_P, 0.0)
    k = p[d.GRAZE_D] / at.DAY
    mat_lost, film_lost = spent(y[at.CYANO], 0.3 * k, dt), spent(y[at.DIATOM], 2.0 * k, dt)
    hair_lost, leaf_lost = spent(y[at.HAIR], k, dt), spent(y[at.REFUGE], 0.02 * (2.0 - lamps) / at.DAY, dt)
    y[at.CYANO] += mat - mat_lost
    y[at.DIATOM] += film - film_lost
    y[at.HAIR] += hair - hair_lost
    y[at.REFUGE] += leaf - leaf_lost
    _die(x, b, mat_lost + film_lost, at.PLANKTON_C, at.PLANKTON_P)
    _die(x, b, hair_lost + leaf_lost, at.PLANT_C, at.PLANT_P)


def dinoflagellates(
    x: Any, y: Any, p: Any, g: Any, bodies: int, dt: float, kg: Any, lit: Any, warm: Any, bright_day: Any
) -> None:
    """On the bottom of the display and in the water; `bright_day` is 0 when the lamps stay out all day."""
    bright = of_light(lit, p[d.LIGHT_HALF]) / _mean_light(p)
    food = fed(x, 0, kg, p[d.DINO_N_HALF], p[d.DINO_P_HALF]) * warm * dt / at.DAY * bright
    room = share(1.0 - (y[at.CYANO] + y[at.DIATOM] + y[at.HAIR] + y[at.DINO_BED]) / p[d.ROOM_N])
    bed = _build(x, 0, y[at.DINO_BED] * p[d.DINO_GROWTH_D] * food * room, at.PLANKTON_C, at.PLANKTON_P, 0.0)
    y[at.DINO_BED] += bed
    x[0, at.DINO] += _build(x, 0, x[0, at.DINO] * p[d.DINO_GROWTH_D] * food * room, at.PLANKTON_C, at.PLANKTON_P, 0.0)
    dark = 1.0 - bright_day
    k = (p[d.DINO_LOSS_D] + p[d.DINO_DARK_D] * dark) / at.DAY
    lost = spent(y[at.DINO_BED], k, dt)
    y[at.DINO_BED] -= lost
    rested = spent(y[at.DINO_BED], p[d.CYST_D] * dark / at.DAY, dt)
    woken = spent(y[at.CYST], p[d.CYST_D] * bright_day / at.DAY, dt)
    y[at.DINO_BED] += woken - rested
    y[at.CYST] += rested - woken
    for b in range(bodies):
        gone = spent(x[b, at.DINO], k, dt)
        x[b, at.DINO] -= gone
        _fall(x, p, b, gone)
    _fall(x, p, 0, lost)
    # rise and settle towards this hour's share
    afloat = p[d.DINO_NIGHT] + (p[d.DINO_NOON] - p[d.DINO_NIGHT]) * lit
    both = y[at.DINO_BED] + x[0, at.DINO]
    risen = (afloat * both - x[0, at.DINO]) * (1.0 - np.exp(-dt / 3600.0 / _MOVE_H))
    x[0, at.DINO] += risen
    y[at.DINO_BED] -= risen


def _fall(x: Any, p: Any, b: int, dead: Any) -> None:
    """Dead dinoflagellates are detritus, and free their toxin."""
    _die(x, b, dead, at.PLANKTON_C, at.PLANKTON_P)
    x[b, at.TOXIN] += dead * p[d.DINO_TOXIN]


def lamp(x: Any, c: Any, p: Any, b: int, dt: float, kg: Any) -> None:
    """UV: first order in the passes; only what is in the water passes (sheet 10, and UV-04 of biology)."""
    rate = p[d.UV_L_H] * 1.0235 / 3600.0 / kg * p[d.UV_KILL] * above(c[at.UV], 0.0) * c[at.MAINS]
    killed = x[b, at.DINO] * (1.0 - np.exp(-rate * dt))
    x[b, at.DINO] -= killed
    _fall(x, p, b, killed)
