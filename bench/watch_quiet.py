"""Quiet lives for the bench of the watch: nothing breaks, and much looks as if it did (census, negative controls)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from bench.watch_water import DAY, Life

HOUR = 3600.0


def hot_week(life: Life) -> None:
    """A week in which the room is four kelvins warmer, as far as the system bears it."""
    most = 4.0 if life.kind == "great-reef" else 2.5
    h = float(life.chance.uniform(10.0, life.days - 11.0)) * 24.0
    life.room(np.array([h, h + 48, h + 144, h + 192]), np.array([0.0, most, most, 0.0]))


def door_open(life: Life) -> None:
    """Airing: some quarters of an hour in which the room is six kelvins colder."""
    for day in np.arange(3.0, life.days - 1.0):
        if life.chance.random() < 0.3:
            at = (day + float(life.chance.uniform(0.25, 0.9))) * DAY
            life.acts.set_control(at, "ROOM_WARMER", -6.0)
            life.acts.set_control(at + float(life.chance.uniform(600.0, 2400.0)), "ROOM_WARMER", 0.0)


def cool_exchanges(life: Life) -> None:
    """An exchange every fourth day with water of 19 to 22 °C and a little other salt."""
    litres = life.basin.litres
    for day in range(3, int(life.days), 4):
        at = (day + float(life.chance.uniform(0.4, 0.8))) * DAY
        new = {"temperature": float(life.chance.uniform(19.0, 22.0)), "salinity": float(life.chance.normal(35.0, 0.5))}
        life.acts.exchange(at, 0.08 * litres, "mixed-seawater", new)


def lamps(life: Life) -> None:
    """New lamps half as strong again, or the old ones dimmed."""
    at = float(life.chance.uniform(8.0, life.days - 8.0)) * DAY
    life.acts.set_control(at, "LAMPS", float(life.chance.choice([0.6, 1.5])))


def calibrations(life: Life) -> None:
    """pH steps at a calibration, and hours in which probes are out of the water or in a buffer."""
    steps = [float(d) * DAY for d in np.arange(6.0, life.days, 9.0)]
    life.calibrations += steps
    lift = float(life.chance.normal(0.0, 0.08))
    begin = life.basin.begin.timestamp()

    def change(found: dict[str, tuple[np.ndarray, np.ndarray]]) -> None:
        if "ph" in found:
            t, v = found["ph"]
            v = v.copy()
            for k, s in enumerate(steps):
                v[t >= begin + s] += lift * (-1.0) ** k
                v[(t >= begin + s) & (t < begin + s + 600.0)] = 7.0
            found["ph"] = t, v
        t, v = found["temperature"]
        v = v.copy()
        for s in steps:
            v[(t >= begin + s) & (t < begin + s + 480.0)] = 22.0  # in the hand, in the sink
        found["temperature"] = t, v

    life.report.append(change)


def holiday(life: Life) -> None:
    """A fortnight without food, exchange or hands."""
    first = float(life.chance.uniform(5.0, life.days - 16.0))
    life.fed = lambda day: not first <= day < first + 14.0


def algae(life: Life) -> None:
    """A tank full of algae: pH and oxygen swing by twice as much."""
    life.basin.set("PRODUCTION", life.basin.get("PRODUCTION") * 1.8)


def lost_points(life: Life) -> None:
    """The logger is off for minutes to hours, the room sensor's radio too."""
    for _ in range(8):
        at = float(life.chance.uniform(1.0, life.days - 1.0)) * DAY
        life.silent.append((at, at + float(life.chance.choice([300.0, 600.0, 840.0]))))


def long_pauses(life: Life) -> None:
    """Feeding pauses and services of the return pump of nearly half an hour, twice a day."""
    for day in range(int(life.days)):
        at = (day + float(life.chance.uniform(0.3, 0.6))) * DAY
        life.stop(at, at + float(life.chance.uniform(1200.0, 1740.0)))


def season(life: Life) -> None:
    """The room warms over the month, by five kelvins where a chiller stands: the heater rests at last."""
    life.room(np.array([0.0, life.days * 24.0]), np.array([0.0, 5.0 if life.kind == "great-reef" else 1.5]))


def plain(life: Life) -> None:
    """Nothing at all."""


LOOKALIKES: tuple[Callable[[Life], None], ...] = (
    plain, hot_week, door_open, cool_exchanges, lamps, calibrations, holiday, algae, lost_points, long_pauses, season,
)  # fmt: skip
