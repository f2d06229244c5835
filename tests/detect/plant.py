"""The plant of the sheet's 8.2, which is not ours: C dT/dt = UA (room − T) + rest + machines, by the minute."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from leadline.detect.observe import Observer, merged
from leadline.system.description import parse

C, UA, REST, COOLS, ROOM = 1.6e6, 15.0, 80.0, 450.0, 27.0  # J/K, W/K, W, W, °C: the sheet's figures
DAY, HOUR, MINUTE = 86400.0, 3600.0, 60.0
LITRES = C / 4090.0  # 391 L


def chilled(
    days: float, effect: Callable[[float], float] = lambda t: 1.0, *, room: Callable[[float], float] = lambda t: ROOM,
    on_above: float = 25.3, off_below: float = 24.8, noise: float = 0.02, seed: int = 1,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:  # fmt: skip
    """Times, true and shown temperature, and state of the chiller; `effect(t)` is its share of 450 W."""
    n = round(days * 1440)
    t, warm, state = np.arange(n) * MINUTE, np.empty(n), np.zeros(n)
    warm[0], on = 25.0, 0.0
    for i in range(n - 1):
        on = 1.0 if warm[i] > on_above else 0.0 if warm[i] < off_below else on
        state[i] = on
        heat = UA * (room(t[i]) - warm[i]) + REST - COOLS * effect(t[i]) * on
        warm[i + 1] = warm[i] + MINUTE * heat / C
    state[-1] = on
    shown = np.round(warm + noise * np.random.default_rng(seed).standard_normal(n), 2)
    return t, warm, shown, state


def heated(
    days: float, watts: float = 200.0, effect: Callable[[float], float] = lambda t: 1.0,
    says: Callable[[float, float], float] = lambda t, on: on, stuck: Callable[[float], bool] = lambda t: False,
    *, room: float = 20.0, seed: int = 2,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:  # fmt: skip
    """The same tank in a cold room with a heater: on below 24.9 °C, off above 25.1 °C."""
    n = round(days * 1440)
    t, warm, state = np.arange(n) * MINUTE, np.empty(n), np.zeros(n)
    warm[0], on = 25.0, 0.0
    for i in range(n - 1):
        on = 1.0 if warm[i] < 24.9 else 0.0 if warm[i] > 25.1 else on
        runs = 1.0 if stuck(t[i]) else on
        state[i] = says(t[i], runs)
        warm[i + 1] = warm[i] + MINUTE * (UA * (room - warm[i]) + watts * effect(t[i]) * runs) / C
    state[-1] = state[-2]
    shown = np.round(warm + 0.02 * np.random.default_rng(seed).standard_normal(n), 2)
    return t, warm, shown, state


def system(more: str = "") -> str:
    """A description of that tank."""
    return f"""
[system]
id = "plant"
time_zone = "Europe/Oslo"
net_volume = "{LITRES:.1f} L"
[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"
period = "60 s"
[[band]]
quantity = "temperature"
aim = ["24.5 degC", "26.5 degC"]
limit = ["22.5 degC", "28.5 degC"]
{more}
"""


def found_in(document: str, streams: Mapping[str, tuple[np.ndarray, np.ndarray]]):
    """Every finding of the observer over a recording, in order."""
    observer, found = Observer(parse(document)), []
    for now, slices in merged(streams, 600.0):
        for stream, inside in slices.items():
            t, v = streams[stream]
            found += observer.take(stream, t[inside], v[inside])
        found += observer.tick(now)
    return found


def first(found, name: str):
    """The first beginning of a finding of that name, or None."""
    return next((f for f in found if f.holds and f.name == name), None)
