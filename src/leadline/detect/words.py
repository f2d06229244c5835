"""A finding's words: names, values with their unit, paces, and the hour on the system's own clock."""

from __future__ import annotations

import datetime as dt
import math
from zoneinfo import ZoneInfo

from leadline.measures import figures
from leadline.measures.errors import BadInput
from leadline.measures.quantities import QUANTITIES
from leadline.model.blueprint import amount, clock_hour
from leadline.system.description import System

_FAR_S = 6 * 86400.0  # further away an hour says nothing
NOW_S = 60.0  # what is nearer than the clock's own step is said to be now
_LETTERS = {"ph": "pH", "orp": "ORP", "par": "PAR", "tds": "TDS", "co2": "CO2", "uv": "UV"}


def named(name: str) -> str:
    """A quantity, stream or machine at the head of a sentence: `Temperature`, `Chiller-1`, `pH-2`."""
    first = name.split("-")[0].split("_")[0]
    rest = name[len(first) :]
    if name in QUANTITIES:
        rest = rest.replace("_", " ")
    return _LETTERS.get(first, f"{first[:1].upper()}{first[1:]}") + rest


def shown(stored: float, quantity: str, system: System, apart: float | None = None) -> str:
    """A stored value as the system's keeper reads it: `25.7 °C`, `78.3 °F`, `8.31`.

    It is given a digit more, or two, where it would else read the same as `apart`.
    """
    way = figures.display(quantity, system.units)
    digits = way.digits
    if apart is not None and apart != stored:
        while digits < way.digits + 2 and _same(way.shown(stored), way.shown(apart), digits):
            digits += 1
    return way.with_unit(figures.number(way.shown(stored), digits))


def reading(stored: float, quantity: str, system: System) -> str:
    """What a probe shows, with all of its digits: `25.13 °C`, `85000 °C`."""
    way = figures.display(quantity, system.units)
    value = way.shown(stored)
    return way.with_unit(f"{value:.4g}" if abs(value) >= 1e4 else figures.trimmed(value, way.digits + 2))


def _same(a: float, b: float, digits: int) -> bool:
    return figures.number(a, digits) == figures.number(b, digits)


def edge(stored: float, quantity: str, system: System) -> str:
    """A limit as it was described: `28.5 °C`, `8.6`."""
    way = figures.display(quantity, system.units)
    return way.with_unit(figures.trimmed(way.shown(stored), way.digits + 1))


def change(stored: float, quantity: str, system: System, digits: int | None = None, *, sign: bool = True) -> str:
    """A stored difference: `+0.38 °C`; a size has no sign. It has two figures where no digits are given."""
    way = figures.display(quantity, system.units)
    value = way.difference(stored)
    if digits is None:
        digits = max(0, min(way.digits + 1, 1 - math.floor(math.log10(abs(value))))) if value else 0
    text = figures.number(value, digits)
    return way.with_unit(f"+{text}" if sign and value > 0.0 else text)


def paced(per_s: float, quantity: str, system: System) -> str:
    """A pace: `+0.38 °C an hour`; by the day where an hour moves less than half of the last digit shown."""
    way = figures.display(quantity, system.units)
    if abs(way.difference(3600.0 * per_s)) < 0.5 * 10.0**-way.digits:
        return f"{change(86400.0 * per_s, quantity, system)} a day"
    return f"{change(3600.0 * per_s, quantity, system)} an hour"


def when(at_s: float, system: System, now_s: float) -> str:
    """`at 03:40`, `on 4 March`; `now` for what is here or past."""
    if at_s - now_s < NOW_S:
        return "now"
    far = at_s - now_s >= _FAR_S
    return f"{'on' if far else 'at'} {clock(at_s, system, now_s)}"


def clock(at_s: float, system: System, now_s: float | None = None) -> str:
    """`03:40`; `Thu 03:40` from another day of this week; `4 March` from further away."""
    zone = ZoneInfo(system.time_zone)
    at = dt.datetime.fromtimestamp(at_s, zone)
    if now_s is None or abs(at_s - now_s) < 12 * 3600.0:
        return f"{at:%H:%M}"
    if abs(at_s - now_s) < _FAR_S:
        return f"{at:%a %H:%M}"
    return f"{at.day} {at:%B}"


def hour(at_s: float, system: System) -> float:
    """Local hour of the day. [h]"""
    at = dt.datetime.fromtimestamp(at_s, ZoneInfo(system.time_zone))
    return at.hour + at.minute / 60.0 + at.second / 3600.0


def ramps(system: System) -> list[tuple[float, float]]:
    """When declared lights rise and fall: beginning and length of each, in local hours."""
    found: list[tuple[float, float]] = []
    for e in system.equipment:
        if e.type != "light" or not ("on" in e.rest and "off" in e.rest):
            continue
        try:
            on, off = clock_hour(e.rest["on"], e.id), clock_hour(e.rest["off"], e.id)
            ramp = amount(e.rest["ramp"], "time", e.id) / 3600.0 if "ramp" in e.rest else 1.0
        except BadInput:
            continue  # said where the description is read
        found += [(on % 24.0, ramp), ((off - ramp) % 24.0, ramp)]
    return found
