"""The system's own clock: the time of day in a finding's sentence, and when its lamps rise and fall."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from leadline.measures.errors import BadInput
from leadline.model.blueprint import amount, clock_hour
from leadline.system.description import System


def clock(at_s: float, system: System, now_s: float | None = None) -> str:
    """`03:40`; `Thu 03:40` from another day of this week; `4 March` from further away."""
    zone = ZoneInfo(system.time_zone)
    at = dt.datetime.fromtimestamp(at_s, zone)
    if now_s is None or abs(at_s - now_s) < 12 * 3600.0:
        return f"{at:%H:%M}"
    if abs(at_s - now_s) < 6 * 86400.0:
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
