"""Made-up streams for the tests of trust: a quiet reef, its probes with noise and steps, and what can befall them."""

from __future__ import annotations

import numpy as np

from leadline.detect.observe import Observer, merged
from leadline.detect.past import BIN_S
from leadline.system.description import parse

HOUR, DAY = 3600.0, 86400.0
SYSTEM = """
[system]
id = "north"
time_zone = "Europe/Oslo"
net_volume = "400 L"
[room]
temperature = "21 degC"
[[equipment]]
id = "heater-1"
type = "heater"
power = "300 W"
setpoint = "25.0 degC"
[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"
period = "60 s"
vessel = "display"
[[stream]]
id = "temperature-sump"
quantity = "temperature"
unit = "degC"
period = "60 s"
vessel = "sump"
[[stream]]
id = "temperature-vat"
quantity = "temperature"
unit = "degC"
period = "60 s"
vessel = "vat"
[[stream]]
id = "room-temperature"
quantity = "temperature"
unit = "degC"
period = "300 s"
room = true
[[stream]]
id = "salinity"
quantity = "salinity"
unit = "psu"
period = "60 s"
[[stream]]
id = "ph"
quantity = "ph"
unit = "1"
period = "60 s"
[[stream]]
id = "orp"
quantity = "orp"
unit = "mV"
period = "60 s"
[[stream]]
id = "oxygen"
quantity = "oxygen"
unit = "mg/L"
period = "60 s"
[[stream]]
id = "conductivity"
quantity = "conductivity"
unit = "mS/cm"
period = "60 s"
"""
ALL = ("wrong-scale", "out-of-water", "wrong-vessel", "stuck", "noisy", "dulled", "drifting", "disagrees", "distrusted")
ONE, TEN_MINUTES = "a point at a time", "ten minutes at once"


def tank(days=3.0, seed=1, period=60.0):
    """Truth of a quiet reef at even moments: temperature, pH, oxygen, ORP and salinity with their daily swings."""
    t = np.arange(0.0, days * DAY, period) + 7.0
    day = 2 * np.pi * t / DAY
    slow = np.cumsum(np.random.default_rng(seed).normal(0, 0.0004, len(t)))
    return t, {
        "temperature": 25.2 + 0.25 * np.sin(day) + slow,
        "salinity": 35.0 + 0.1 * np.sin(day / 2.3) + 0.3 * slow,
        "ph": 8.18 + 0.09 * np.sin(day - 0.6) + 0.05 * slow,
        "orp": 350.0 - 12.0 * np.sin(day - 0.6),
        "oxygen": 6.6 + 0.5 * np.sin(day - 0.4),
        "conductivity": 53.0 + 0.1 * np.sin(day / 2.3),
    }


NOISE = {"temperature": (0.015, 0.01), "salinity": (0.03, 0.01), "ph": (0.006, 0.01), "orp": (1.5, 1.0),
         "oxygen": (0.03, 0.01), "conductivity": (0.04, 0.01)}  # fmt: skip


def shown(quantity, truth, seed=2, step=None):
    """What a healthy probe makes of it: noise, and the step of its display."""
    noise, usual = NOISE[quantity]
    step = step or usual
    return np.round((truth + np.random.default_rng(seed).normal(0, noise, len(truth))) / step) * step


def heater(t, on=1200.0, off=2400.0):
    """A heater that runs for twenty minutes of every hour."""
    return ((t % (on + off)) < on).astype(float)


def watch(streams, batch=TEN_MINUTES, system=SYSTEM, every=600.0):
    """All findings of probes, in order; streams maps an id to times and values."""
    observer, found = Observer(parse(system)), []
    for now, slices in merged(streams, every):
        for stream, inside in slices.items():
            t, v = (x[inside] for x in streams[stream])
            for k in range(len(t)) if batch == ONE else [slice(None)]:
                part = slice(k, k + 1) if batch == ONE else k
                found += observer.take(stream, t[part], v[part])
        found += observer.tick(now)
    return found


def ours(found):
    """Those about probes: name, whether it holds, hour."""
    return [(f.name, f.holds, f.at_s / HOUR) for f in found if f.name.endswith(ALL)]


def both(streams, **more):
    """The findings, the same with points one by one and ten minutes at once, within a tick."""
    at_once, singly = watch(streams, **more), watch(streams, ONE, **more)
    a, b = ours(at_once), ours(singly)
    assert [x[:2] for x in a] == [x[:2] for x in b]
    assert all(abs(x[2] - y[2]) <= BIN_S / HOUR for x, y in zip(a, b, strict=True))
    return at_once


def named(found, name):
    """The one finding of that name that came true."""
    some = [f for f in found if f.name == name and f.holds]
    assert len(some) == 1, [f.name for f in found]
    return some[0]


def limits_on_lies(found, quantity, truth):
    """Limit alarms that rest on a number the water never was. (What a delay makes of a gap is the limits' affair.)"""
    low, high = truth[quantity].min(), truth[quantity].max()
    room = 0.2 * (high - low) + 5 * NOISE[quantity][0]
    return [
        f for f in found
        if f.holds and f.name in (f"{quantity}-low", f"{quantity}-high") and not low - room < f.value < high + room
    ]  # fmt: skip


def lifted(t, values, begin, end, air, tau=240.0):
    """A probe taken into air from `begin` to `end`: it follows the air with a lag, and the water again after."""
    out = values.copy()
    inside = (t >= begin) & (t < end)
    out[inside] = air + (values[inside] - air) * np.exp(-(t[inside] - begin) / tau)
    if inside.any():
        left = out[inside][-1] - values[inside][-1]
        after = t >= end
        out[after] += left * np.exp(-(t[after] - end) / 40.0)
    return out


def quiet(t, truth, *names):
    return {n: (t, shown(n.split("-")[0], truth[n.split("-")[0]], seed=k)) for k, n in enumerate(names, 5)}


def mixed(truth, t, at, share, new, minutes=15.0):
    """An exchange: a share of the water is replaced within some minutes."""
    done = np.clip((t - at) / (60 * minutes), 0.0, 1.0)
    return truth + (new - truth) * share * done
