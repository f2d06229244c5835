"""Faults of probes planted in simulated systems: whether they are called what they are, and what is called one wrongly.

Called by `bench.trust`. Seeds from 100 on were looked at while thresholds were tuned; those below were not.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from bench.trust import DAY, MONTH, Series, reference_flags
from bench.watch_quiet import LOOKALIKES
from bench.watch_water import KINDS, Lived, live

from leadline.detect.findings import Finding
from leadline.detect.observe import Observer, merged

Points = dict[str, tuple[np.ndarray, np.ndarray]]


def in_air(t: np.ndarray, x: np.ndarray, on: np.ndarray, streams: Points) -> np.ndarray:
    """It follows the room's air, with a lag of four minutes."""
    room = np.interp(t, *streams["room-temperature"]) if "room-temperature" in streams else np.full(len(t), 21.6)
    since = t - t[np.argmax(on)]
    drawn = np.random.default_rng(3).normal(0, 0.05, len(t))
    return np.where(on, np.round(room + drawn + (x - room) * np.exp(-np.maximum(since, 0.0) / 240.0), 2), x)


Plant = Callable[[np.ndarray, np.ndarray, np.ndarray, Points], np.ndarray]
PLANTED: list[tuple[str, str, str, Plant]] = [
    ("hangs in air", "temperature", "out-of-water", in_air),
    ("sends °F", "temperature", "wrong-scale", lambda t, x, on, _: np.where(on, 1.8 * x + 32.0, x)),
    ("repeats itself", "temperature", "stuck", lambda t, x, on, _: np.where(on, x[np.argmax(on)], x)),
    ("in a calibration fluid", "ph", "wrong-vessel", lambda t, x, on, _: np.where(on, 7.0, x)),
    ("sends mV", "ph", "wrong-scale", lambda t, x, on, _: np.where(on, (7.0 - x) * 59.16, x)),
    ("repeats itself", "ph", "stuck", lambda t, x, on, _: np.where(on, x[np.argmax(on)], x)),
    ("scatters by 0.12", "ph", "noisy",
     lambda t, x, on, _: x + on * np.random.default_rng(1).normal(0, 0.12, len(t))),
    ("cell in air", "salinity", "out-of-water", lambda t, x, on, _: np.where(on, 0.03, x)),
    ("sends specific gravity", "salinity", "wrong-scale",
     lambda t, x, on, _: np.where(on, 1.0 + x * 0.0264 / 35.0, x)),
    ("sends % saturation", "oxygen", "wrong-scale", lambda t, x, on, _: np.where(on, x / 6.77 * 100.0, x)),
    ("scatters by 0.6", "oxygen", "noisy",
     lambda t, x, on, _: x + on * np.random.default_rng(2).normal(0, 0.6, len(t))),
]  # fmt: skip


def flagged_at(s: Series) -> float | None:
    """The baseline: when most of a quarter of an hour failed, by ioos_qc with the sheet's thresholds."""
    failed = np.zeros(len(s.t), dtype=bool)
    for f in reference_flags(s).values():
        failed |= f == 4
    most = np.convolve(failed, np.ones(15), "full")[: len(failed)] > 7.5
    return float(s.t[np.argmax(most)]) if most.any() else None


def follow(lived: Lived, streams: Points) -> list[Finding]:
    """All findings of the lookout for trust."""
    observer, found = Observer(lived.system), list[Finding]()
    observer.lookouts = (observer.probes,)
    for now, slices in merged(streams, 600.0):
        for s, inside in slices.items():
            found += observer.take(s, *(v[inside] for v in streams[s]))
        found += observer.tick(now)
    return found


def planted(seeds: range) -> None:
    """Faults of half a day planted in quiet systems, then quiet systems in which much looks like a fault."""
    lives = [live(kind, seed, 13.0) for kind in KINDS for seed in seeds]
    print(
        f"\nFaults of 12 h planted on day 12 in {len(lives)} simulated systems: named rightly, named otherwise, hours"
    )
    print("Baseline: most of 15 min failed by ioos_qc with the sheet's thresholds, which names no cause")
    print(f"  {'':36}{'systems':>8}{'named':>8}{'other':>9}{'hours':>7}{'flagged':>9}{'hours':>7}")
    for words, stream, name, plant in PLANTED:
        hours: list[float] = []
        base: list[float] = []
        wrong = n = 0
        for k, lived in enumerate(lives):
            if stream not in lived.streams:
                continue
            n += 1
            t, x = lived.streams[stream]
            begin = lived.begin_s + (11.3 + 0.13 * (k % 7)) * DAY
            end = begin + 0.5 * DAY
            on = (t >= begin) & (t < end)
            wrongly = plant(t, x, on, lived.streams)
            came = [f for f in follow(lived, {**lived.streams, stream: (t, wrongly)}) if f.holds and f.at_s >= begin]
            right = [f.at_s for f in came if f.name == f"{stream}-{name}"]
            wrong += any(f.name != f"{stream}-{name}" for f in came)
            hours += [(right[0] - begin) / 3600.0] if right else []
            late = (t >= begin - DAY) & (t < end)
            at = flagged_at(Series("", stream, t[late], wrongly[late], late[late], on[late]))
            base += [(at - begin) / 3600.0] if at is not None and at >= begin else []
        middle, theirs = (f"{np.median(h):.1f}" if h else "-" for h in (hours, base))
        print(
            f"  {f'{stream} {words}':36}{n:>8}{len(hours):>8}{wrong:>9}{middle:>7}{len(base):>9}{theirs:>7}", flush=True
        )
    months, false = 0.0, list[str]()
    for kind in KINDS:
        for k, look in enumerate(LOOKALIKES):
            lived = live(kind, seeds[k % len(seeds)], 28.0, events=look)
            months += 28.0 * DAY / MONTH
            false += [f.name for f in follow(lived, lived.streams) if f.holds]
    said = f": {', '.join(sorted(false))}" if false else ""
    print(f"  {len(false)} findings in {months:.0f} system-months in which nothing was wrong with any probe{said}")
