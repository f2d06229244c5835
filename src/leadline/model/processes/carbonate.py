"""pH, CO2 and carbonate from alkalinity and DIC, warm-started from the step before.

The same constants as `seawater.carbonate` (its functions are compiled as they stand) and the same equation, without
fluoride, phosphate and silicate: 1e-6 in pH at reef water, held by a test against `seawater.carbonate`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.seawater import equilibria as eq


def _alkalinity(h: Any, dic: Any, k1: Any, k12: Any, boron: Any, kb: Any, kw: Any) -> tuple[Any, Any]:
    """Total alkalinity at this [H⁺] and its slope on ln h. [mol/kg]"""
    middle = k1 * h
    total = h * h + middle + k12
    charge = (middle + 2.0 * k12) / total
    borate = boron * kb / (kb + h)
    hydroxide = kw / h
    # d charge / d ln h = (middle - charge (2 h² + middle)) / total
    slope = dic * (middle - charge * (2.0 * h * h + middle)) / total - borate * h / (kb + h) - hydroxide - h
    return dic * charge + borate + hydroxide - h, slope


def solve(alkalinity: Any, dic: Any, t: Any, s: Any, ln_h: Any, rounds: int) -> tuple[Any, Any, Any, Any]:
    """ln [H⁺], CO2* and carbonate [mol/kg], and how CO2* follows DIC at fixed alkalinity [1].

    Newton on ln h with steps held to 1.5; `rounds` 2 from the step before
    (a step moves pH by some 0.01, and two rounds leave 1e-8), 14 from nowhere.
    """
    k1, k2 = eq.k1_lueker2000(t, s), eq.k2_lueker2000(t, s)
    kb, kw = eq.borate_dickson1990(t, s), eq.water_millero1995(t, s)
    boron = eq.total_boron_uppstrom1974(s)
    k12 = k1 * k2
    carbon = np.maximum(dic, 1e-9)
    for _ in range(rounds):
        h = np.exp(ln_h)
        found, slope = _alkalinity(h, carbon, k1, k12, boron, kb, kw)
        ln_h = ln_h - np.minimum(np.maximum((found - alkalinity) / slope, -1.5), 1.5)
    h = np.exp(ln_h)
    middle = k1 * h
    total = h * h + middle + k12
    co2, carbonate = carbon * h * h / total, carbon * k12 / total
    _, slope = _alkalinity(h, carbon, k1, k12, boron, kb, kw)
    charge = (middle + 2.0 * k12) / total
    # at fixed alkalinity d ln h/d DIC = -charge/slope; d ln CO2/d ln h = (middle + 2 k12)/total = charge
    follows = co2 / carbon - co2 * charge * charge / slope
    return ln_h, co2, carbonate, follows


def balanced_co2(ppm: Any, t: Any, s: Any) -> Any:
    """CO2* in balance with moist room air. [mol/kg]"""
    dry = 1.0 - eq.vapour_pressure_weiss1980(t, s)
    return ppm * 1e-6 * dry * eq.co2_fugacity_weiss1974(t) * eq.co2_solubility_weiss1974(t, s)


def aragonite(carbonate: Any, calcium: Any, t: Any, s: Any) -> Any:
    """Saturation state of aragonite. [1]"""
    return carbonate * calcium / eq.aragonite_mucci1983(t, s)
