"""Sixty days of probe and equipment points of the great reef, from a small heat balance and the carbonate system."""

from __future__ import annotations

import datetime as dt
import math
import random
from bisect import bisect_right
from zoneinfo import ZoneInfo

from leadline.invented.pond import ph_nbs

DAYS = 60
FINE_DAYS = 14  # five-minute points; ten-minute ones before
HEATER_W, CHILLER_W, HEAT_GAIN_W = 300.0, 450.0, 215.0  # pumps and lamps lead to heat in the water
LOSS_W_PER_K = 62.0  # to the room, evaporation included
HEAT_J_PER_K = 1120.0 * 1.0235 * 3993.0  # litres × kg/L × J/(kg K) of seawater
CALIBRATED_AGO = 44.0  # pH probe, days


def stream_csv(now: dt.datetime, zone: ZoneInfo, water: list[tuple[float, float, float]]) -> str:
    """Contract stream rows: temperature, ph, heater-1, chiller-1 up to the last whole five minutes before ``now``."""
    chance = random.Random("streams")
    end = math.floor((now.timestamp() - 1) / 300) * 300
    start = end - DAYS * 86400
    moments = [row[0] for row in water]
    temperature, heater, chiller = 25.1, False, False
    weather = air = 0.0
    lines = ["time,system,stream,value,unit"]
    gap = (end - 33.4 * 86400, end - 33.25 * 86400)  # the logger was unplugged for an evening
    ph_bias = 0.03
    for second in range(start, end + 1, 60):
        local = dt.datetime.fromtimestamp(second, zone)
        hour = local.hour + local.minute / 60
        if second % 3600 == 0:
            weather += -weather * 0.015 + chance.gauss(0, 0.14)
            air += -air * 0.1 + chance.gauss(0, 0.04)
        season = math.cos(2 * math.pi * (local.timetuple().tm_yday - 205) / 365.25)
        room = 21.6 + 1.6 * season + 0.9 * math.sin(2 * math.pi * (hour - 10) / 24) + weather
        lamps = 230.0 * max(0.0, min(1.0, (hour - 10) / 1.5, (20 - hour) / 1.5))
        watts = HEAT_GAIN_W + lamps - LOSS_W_PER_K * (temperature - room) + HEATER_W * heater - CHILLER_W * chiller
        temperature += watts * 60 / HEAT_J_PER_K
        heater = temperature < 25.15 if heater else temperature < 24.95
        chiller = temperature > 25.35 if chiller else temperature > 25.65
        fine = second >= end - FINE_DAYS * 86400
        if second % (300 if fine else 600) or gap[0] < second < gap[1]:
            continue
        _, alkalinity, psu = water[max(bisect_right(moments, second) - 1, 0)]
        swing = 0.26 * math.sin(2 * math.pi * (hour - 12) / 24)
        pco2 = 520.0 * math.exp(-swing + air - 0.05 * season)
        since = (second - end) / 86400 + CALIBRATED_AGO
        if since < 0:
            drift = 0.05  # the old calibration, by then a while ago
        else:
            drift = ph_bias + 0.0006 * since
        ph = ph_nbs(alkalinity, pco2, temperature, psu) + drift + chance.gauss(0, 0.008)
        stamp = dt.datetime.fromtimestamp(second, dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        shown = temperature + 0.08 + chance.gauss(0, 0.02)
        lines.append(f"{stamp},great-reef,temperature,{shown:.2f},degC")
        lines.append(f"{stamp},great-reef,ph,{ph:.2f},1")
        lines.append(f"{stamp},great-reef,heater-1,{int(heater)},1")
        lines.append(f"{stamp},great-reef,chiller-1,{int(chiller)},1")
    return "\r\n".join(lines) + "\r\n"
