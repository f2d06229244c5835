"""Sixty days of probe and equipment points of the great reef, as its probes saw what the simulator did."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from leadline.invented.basin import Basin
from leadline.model.probes import Probe, readings

DAYS = 60
FINE_DAYS = 14  # five-minute points; ten-minute ones before
CALIBRATED_AGO = 44.0  # pH probe, days


def stream_csv(now: dt.datetime, reef: Basin) -> str:
    """Contract stream rows: temperature, ph, heater-1, chiller-1 up to the last whole five minutes before ``now``."""
    chance = np.random.default_rng(20)
    end = math.floor((now.timestamp() - 1) / 300) * 300
    times, true = reef.recorded()
    gap = ((end - 33.4 * 86400, end - 33.25 * 86400),)  # the logger was unplugged for an evening
    on = np.arange(end - DAYS * 86400, end + 1, 300.0)
    fine = (on >= end - FINE_DAYS * 86400) | (on % 600 == 0)
    on = on[fine & ~((on > gap[0][0]) & (on < gap[0][1]))]
    rows: list[tuple[float, int, str]] = []
    probes = {
        "temperature": ("plant_temperature", Probe(lag_s=120.0, noise=0.02, step=0.01, offset=0.08), ".2f", "degC"),
        "ph": (
            "ph",
            Probe(lag_s=60.0, noise=0.008, step=0.01, offset=0.03, drift_per_day=0.0006,
                  calibrations=(end - CALIBRATED_AGO * 86400,)),
            ".2f", "1",
        ),
    }  # fmt: skip
    for k, (stream, (sight, probe, digits, unit)) in enumerate(probes.items()):
        at, values = readings(probe, times, true[sight], chance)
        shown = np.interp(on, at, values)
        rows += [(t, k, f"{stream},{v:{digits}},{unit}") for t, v in zip(on, shown, strict=True)]
    for k, (stream, sight) in enumerate((("heater-1", "heater_duty"), ("chiller-1", "chiller_duty")), 2):
        place = np.clip(np.searchsorted(times, on, side="right") - 1, 0, len(times) - 1)
        rows += [(t, k, f"{stream},{int(v)},1") for t, v in zip(on, true[sight][place], strict=True)]
    lines = ["time,system,stream,value,unit"]
    for t, _, said in sorted(rows):
        stamp = dt.datetime.fromtimestamp(t, dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(f"{stamp},great-reef,{said}")
    return "\r\n".join(lines) + "\r\n"
