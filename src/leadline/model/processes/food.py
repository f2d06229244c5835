"""Feeding: what fish eat, breathe and give back; detritus and dissolved carbon that bacteria use.

Fish respiration: ln R50 = 15.7 − 5.02 kK/T (Clarke and Johnston 1999) sets FISH_D. Composition of fish 45 % C, 10 % N,
2 % P of dry mass (sheet 5.3). Remineralised nitrogen comes as ammonium and carries an equivalent of alkalinity;
phosphate takes one (Wolf-Gladrow et al. 2007, memory).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, spent

BACTERIA_N, BACTERIA_P = 1.0 / 5.0, 1.0 / 50.0  # C5H7O2N; P: memory


def give_back(x: Any, b: int, nitrogen: Any, phosphorus: Any) -> None:
    """Nitrogen as ammonium, phosphorus as phosphate, with what they do to alkalinity. [mol]"""
    x[b, at.NH] += nitrogen
    x[b, at.PO4] += phosphorus
    x[b, at.TA] += nitrogen - phosphorus


def breathe(x: Any, b: int, carbon: Any) -> None:
    """Carbon burnt with oxygen, mole for mole. [mol]"""
    x[b, at.O2] -= carbon
    x[b, at.DIC] += carbon


def fish(x: Any, y: Any, p: Any, b: int, dt: float, warm: Any, air: Any) -> None:
    """Meals passed on and fasting respiration. `warm` is Q10 to 25 degC, `air` the share of breath there is."""
    k = warm * air * 24.0 / p[d.GUT_H] / at.DAY
    c, n, f = spent(y[at.GUT_C], k, dt), spent(y[at.GUT_N], k, dt), spent(y[at.GUT_P], k, dt)
    y[at.GUT_C] -= c
    y[at.GUT_N] -= n
    y[at.GUT_P] -= f
    waste = p[d.FAECES]
    built = np.minimum(p[d.FISH_GROWTH] * c, np.minimum(0.6 * n / at.FISH_N, 0.6 * f / at.FISH_P))
    x[b, at.DET_C] += waste * c
    x[b, at.DET_N] += 0.5 * waste * n
    x[b, at.DET_P] += waste * f
    fasting = spent(y[at.FISH], p[d.FISH_D] * warm * air / at.DAY, dt)
    y[at.FISH] += built - fasting
    breathe(x, b, c * (1.0 - waste) - built + fasting)
    give_back(
        x, b, n * (1.0 - 0.5 * waste) - (built - fasting) * at.FISH_N, f * (1.0 - waste) - (built - fasting) * at.FISH_P
    )


def perish(x: Any, y: Any, p: Any, b: int, dt: float, free_nh3: Any) -> None:
    """Fish that die are detritus: below 2 mg/L of oxygen, above 0.5 mg/L free ammonia as N or 0.1 mg/L chloramine.

    Marks: Pcrit of reef fish 20 to 35 % of saturation, marine 96-h LC50 of ammonia 0.09 to 3.35 mg/L (sheet of biology,
    5.3 and 5.4); chloramine and how fast: judgement.
    """
    kg = x[b, at.WATER] + x[b, at.SALT]
    stress = above(6.1e-5 - x[b, at.O2] / kg, 0.0) / 3e-5 + above(free_nh3 / kg - 3.5e-5, 0.0) / 3.5e-5
    stress = stress + above(x[b, at.CHLORAMINE] / kg - 1.4e-6, 0.0) / 1.4e-6
    dead = spent(y[at.FISH], p[d.FISH_HARM_D] * stress / at.DAY, dt)
    y[at.FISH] -= dead
    x[b, at.DET_C] += dead
    x[b, at.DET_N] += dead * at.FISH_N
    x[b, at.DET_P] += dead * at.FISH_P


def rot(x: Any, p: Any, b: int, dt: float, warm: Any, air: Any) -> None:
    """Detritus is mineralised; labile dissolved carbon becomes bacteria, which are detritus, and breath."""
    k = warm * air / p[d.ROT_D] / at.DAY
    c, n, f = spent(x[b, at.DET_C], k, dt), spent(x[b, at.DET_N], k, dt), spent(x[b, at.DET_P], k, dt)
    x[b, at.DET_C] -= c
    x[b, at.DET_N] -= n
    x[b, at.DET_P] -= f
    breathe(x, b, c)
    give_back(x, b, n, f)
    used = spent(x[b, at.DOC], warm * air / p[d.DOC_D] / at.DAY, dt)
    wanted = p[d.DOC_YIELD] * used
    kept = np.minimum(wanted, np.minimum(0.5 * x[b, at.NO3] / BACTERIA_N, 0.5 * x[b, at.PO4] / BACTERIA_P))
    x[b, at.DOC] -= used
    breathe(x, b, used - kept)
    x[b, at.DET_C] += kept
    x[b, at.DET_N] += kept * BACTERIA_N
    x[b, at.DET_P] += kept * BACTERIA_P
    x[b, at.NO3] -= kept * BACTERIA_N
    x[b, at.PO4] -= kept * BACTERIA_P
    x[b, at.TA] += kept * (BACTERIA_N + BACTERIA_P)


def demand(x: Any, y: Any, p: Any, b: int, dt: float, warm: Any, lives: Any) -> Any:
    """Oxygen that a step of the above would take at most, before tissue and nitrifiers. [mol]"""
    rate = x[b, at.DET_C] / p[d.ROT_D] + x[b, at.DOC] / p[d.DOC_D]
    rate = rate + lives * (y[at.GUT_C] * 24.0 / p[d.GUT_H] + y[at.FISH] * p[d.FISH_D])
    return rate * warm * dt / at.DAY
