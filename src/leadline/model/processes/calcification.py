"""Skeletons: how fast corals calcify, and stone that falls out by itself.

A mole of carbonate takes two equivalents of alkalinity and one of carbon (sheet 4.1). Rate: Michaelis-Menten on Ω−1
(15 % for a unit of Ω at reef water, Chan and Connolly 2013, memory), light-enhanced, a parabola of temperature.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, share, some, spent

REFERENCE_OMEGA = 4.3  # of 8 dKH and some 480 ppm
SALT_PER_CA = (40.078 + 2.0 * 61.016) / 1000.0  # kg of dissolved salt that a mole takes along, alkalinity as HCO3
SALT_PER_MG = (24.305 + 2.0 * 61.016) / 1000.0


def of_light(lit: Any, half: Any) -> Any:
    """What light does for production and calcification: 0 in the dark, 1 at full light. [1]"""
    return lit * (1.0 + half) / (lit + half)


def pace(omega: Any, lit: Any, t: Any, p: Any) -> Any:
    """Calcification against full light at Ω 4.3 and the best temperature. [1]"""
    over = above(omega - 1.0, 0.0)
    half = p[d.CALC_OMEGA_HALF]
    by_omega = over / (over + half) * (REFERENCE_OMEGA - 1.0 + half) / (REFERENCE_OMEGA - 1.0)
    by_light = p[d.CALC_DARK] + (1.0 - p[d.CALC_DARK]) * of_light(lit, p[d.LIGHT_HALF])
    off = (t - p[d.CALC_BEST_C]) / p[d.CALC_WIDTH_K]
    return by_omega * by_light * above(1.0 - off * off, 0.0)


def _lay_down(x: Any, led: Any, b: int, metal: Any, magnesium: Any) -> None:
    ca, mg = metal * (1.0 - magnesium), metal * magnesium
    salt = ca * SALT_PER_CA + mg * SALT_PER_MG
    x[b, at.CA] -= ca
    x[b, at.MG] -= mg
    x[b, at.TA] -= 2.0 * metal
    x[b, at.DIC] -= metal
    x[b, at.SALT] -= salt
    led[at.SKELETON, at.CA] -= ca
    led[at.SKELETON, at.MG] -= mg
    led[at.SKELETON, at.TA] -= 2.0 * metal
    led[at.SKELETON, at.DIC] -= metal
    led[at.SKELETON, at.SALT] -= salt


def act(x: Any, y: Any, c: Any, p: Any, g: Any, led: Any, b: int, dt: float, omega: Any, lit: Any, t: Any) -> None:
    """Corals of the display, and precipitation anywhere. DEMAND_EQ_D is what `pace` 1 takes in a day."""
    living = p[d.DEMAND_EQ_D] * y[at.CORAL] * np.exp(y[at.APPETITE]) * c[at.VITALITY] * g[b, at.LIVES]
    metal = 0.5 * living * pace(omega, lit, t, p) * dt / at.DAY
    if some(metal > 0.0):
        metal = np.minimum(metal, 0.1 * np.minimum(x[b, at.CA], x[b, at.DIC]))
        _lay_down(x, led, b, metal, p[d.CALC_MG])
    over = above(omega - p[d.PRECIPITATE_OMEGA], 0.0)
    if some(over > 0.0):
        fallen = spent(0.4 * np.minimum(x[b, at.CA], x[b, at.DIC]), p[d.PRECIPITATE_D] * over / at.DAY, dt)
        _lay_down(x, led, b, fallen, 0.0 * fallen)


def settle(x: Any, y: Any, p: Any, b: int, dt: float, t: Any, s: Any, ln_h: Any, toxic: Any, free_nh3: Any) -> None:
    """Coral capacity: grows slowly, loses when water is beyond a danger mark, and recovers.

    Marks: 31 and 18 degC, salinity 28 and 41, oxygen 2.5 mg/L, copper 10 µg/L, free ammonia 0.1 mg/L as N, chloramine
    0.02 mg/L, pH 7.45 and 8.65 on the total scale, alkalinity 5 and 14 dKH (sheet of biology, 5.1 to 5.5; the last
    three: judgement). How fast capacity falls beyond them is judgement: HARM_D at twice the distance.
    """
    kg = x[b, at.WATER] + x[b, at.SALT]
    stress = above(t - 31.0, 0.0) / 2.0 + above(18.0 - t, 0.0) / 3.0 + above(28.0 - s, 0.0) / 4.0
    stress = stress + above(s - 41.0, 0.0) / 4.0 + above(7.8e-5 - x[b, at.O2] / kg, 0.0) / 3.9e-5
    stress = stress + above(x[b, at.COPPER] / kg - 1.6e-7, 0.0) / 1.6e-7
    stress = stress + above(free_nh3 / kg - 7e-6, 0.0) / 7e-6 + toxic
    ph = -ln_h / 2.302585092994046
    stress = stress + above(ph - 8.65, 0.0) / 0.3 + above(7.45 - ph, 0.0) / 0.3
    alkalinity = x[b, at.TA] / kg
    stress = stress + above(1.74e-3 - alkalinity, 0.0) / 5e-4 + above(alkalinity - 4.87e-3, 0.0) / 1.5e-3
    stress = stress + above(x[b, at.CHLORAMINE] / kg - 2.8e-7, 0.0) / 2.8e-7
    lost = spent(y[at.CORAL], p[d.HARM_D] * stress / at.DAY, dt)
    grown = y[at.CORAL] * p[d.CORAL_GROWTH_Y] / 365.25 * dt / at.DAY * (1.0 - share(stress))
    y[at.CORAL] += grown - lost
