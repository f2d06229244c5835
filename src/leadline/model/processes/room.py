"""The room and the lamps: warmth, moist, CO2 and light, by the hour, the season and slow chance."""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, share

# an hour's memory of each slow noise, and what keeps its spread: judgement
_WEATHER, _BREATH, _APPETITE = np.exp(-1.0 / 120.0), np.exp(-1.0 / 24.0), np.exp(-1.0 / 240.0)
_WEATHER_NEW, _BREATH_NEW = np.sqrt(1.0 - _WEATHER**2), np.sqrt(1.0 - _BREATH**2)
_APPETITE_NEW = np.sqrt(1.0 - _APPETITE**2)


def light(hour: float, p: Any) -> Any:
    """Lamps' share of full at a local hour: a trapezoid between on and off. [1]"""
    ramp = above(p[d.LIGHT_RAMP_H], 0.02)
    since = (hour - p[d.LIGHT_ON_H]) % 24.0
    left = p[d.LIGHT_OFF_H] - p[d.LIGHT_ON_H] - since
    return share(np.minimum(since / ramp, left / ramp))


def pass_an_hour(y: Any, p: Any, chance: Any) -> None:
    """Move the slow noises on by an hour; `chance` holds three standard normal numbers."""
    y[at.WEATHER] = y[at.WEATHER] * _WEATHER + p[d.ROOM_WEATHER_K] * _WEATHER_NEW * chance[0]
    y[at.BREATH] = y[at.BREATH] * _BREATH + p[d.ROOM_PPM_NOISE] * _BREATH_NEW * chance[1]
    y[at.APPETITE] = y[at.APPETITE] * _APPETITE + p[d.APPETITE_SD] * _APPETITE_NEW * chance[2]


def warmth_c(day_wave: float, year_wave: float, y: Any, c: Any, p: Any) -> Any:
    """Air temperature. [°C] The waves are −1 to 1: of the day (peak at 16 h) and of the year (peak in July)."""
    return p[d.ROOM_C] + p[d.ROOM_SEASON_K] * year_wave + p[d.ROOM_DAY_K] * day_wave + y[at.WEATHER] + c[at.ROOM_WARMER]


def co2_ppm(day_wave: float, y: Any, c: Any, p: Any) -> Any:
    """CO2 of dry room air. [ppm]"""
    return p[d.ROOM_PPM] * np.exp(p[d.ROOM_PPM_DAY] * day_wave + y[at.BREATH]) + c[at.ROOM_CO2]
