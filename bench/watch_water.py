"""Invented systems for the bench of the watch: lived through minute by minute, as their probes and plugs report them.

Everything is drawn from the seed: what the description does not know (losses, lamps, true volume), the weather, the
keeper's hours, noise, lost points and clocks. A scenario adds events. The truth is kept beside the streams.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from leadline.invented import descriptions
from leadline.invented.basin import DKH, Basin, found
from leadline.invented.great_reef import TRUTH as REEF_TRUTH
from leadline.invented.lagoon import TRUTH as LAGOON_TRUTH
from leadline.invented.quarantine import TRUTH as QUARANTINE_TRUTH
from leadline.model import layout
from leadline.model.acts import Acts
from leadline.model.probes import Probe, readings
from leadline.model.substances import food_moles
from leadline.system.description import System
from leadline.wiring import compiled_folder

Array = np.ndarray
DAY = 86400.0
STEP_S = 60.0
BEGIN = dt.datetime(2026, 3, 2, tzinfo=dt.UTC)


def _stream(ident: str, quantity: str, unit: str, room: bool = False) -> str:
    more = "room = true" if room else ""
    return f'\n[[stream]]\nid = "{ident}"\nquantity = "{quantity}"\nunit = "{unit}"\nperiod = "60 s"\n{more}\n'


_SALT = _stream("salinity", "salinity", "psu")
_AIR = _stream("oxygen", "oxygen", "mg/L")
_PH = _stream("ph", "ph", "1")
_WARM = _stream("temperature", "temperature", "degC")
_ROOM = _stream("room-temperature", "temperature", "degC", room=True)


@dataclass(frozen=True)
class Kind:
    """One kind of system: its description, its truth, and what reports."""

    document: str
    truth: Mapping[str, float]
    litres: float
    food: float  # g of pellets a day
    streams: tuple[str, ...]


KINDS = {
    "great-reef": Kind(
        descriptions.GREAT_REEF.replace('period = "300 s"', 'period = "60 s"') + _SALT + _AIR + _ROOM,
        {**REEF_TRUTH, "ROOM_PPM": 480.0}, 1120.0, 4.5,
        ("temperature", "ph", "salinity", "oxygen", "room-temperature", "heater-1", "chiller-1", "topoff-1",
         "return-pump"),
    ),
    "lagoon": Kind(
        descriptions.LAGOON + _WARM + _PH + _SALT,
        {**LAGOON_TRUTH, "ROOM_PPM": 480.0}, 376.0, 0.9,
        ("temperature", "ph", "salinity", "heater-1", "topoff-1", "return-pump"),
    ),
    "quarantine": Kind(
        descriptions.QUARANTINE + _WARM + _AIR, dict(QUARANTINE_TRUTH), 90.0, 0.3,
        ("temperature", "oxygen", "heater-1", "pump-1"),
    ),
}  # fmt: skip
_SPREAD = {
    "WALL_W_K": 0.1, "LAMP_W": 0.2, "PUMP_W": 0.08, "EVAPORATION": 0.15, "HEATER_SPAN": 0.15, "CHILLER_W": 0.1,
    "CHILLER_SPAN": 0.15, "PRODUCTION": 0.15,
}  # fmt: skip
# noise, step, drift a day, lag [s]: ordinary probes, as in `app/make_up.py` (judgement)
_PROBES = {
    "temperature": (0.02, 0.01, 0.0005, 60.0), "ph": (0.008, 0.01, 0.0008, 60.0),
    "salinity": (0.03, 0.01, -0.004, 30.0), "oxygen": (0.04, 0.01, -0.004, 90.0),
    "room-temperature": (0.05, 0.1, 0.0, 300.0),
}  # fmt: skip
_SIGHT = {"temperature": "plant_temperature", "room-temperature": "room_temperature"}


@dataclass
class Life:
    """One life being planned: acts into the simulator, and what streams show of it that the simulator does not know."""

    kind: str
    days: float
    chance: np.random.Generator
    acts: Acts
    basin: Basin
    stopped: list[tuple[float, float, float]] = field(default_factory=list)  # return pump: from, to, share of power
    report: list[Callable[[dict[str, tuple[Array, Array]]], None]] = field(default_factory=list)
    calibrations: list[float] = field(default_factory=list)
    silent: list[tuple[float, float]] = field(default_factory=list)
    fed: Callable[[float], bool] = lambda _: True

    def stop(self, begin: float, end: float, share: float = 0.0, watts: float = 0.0) -> None:
        """The return pump runs at a share of its flow, and draws a share of its power."""
        self.acts.set_control(begin, "RETURN", share)
        if end < self.days * DAY:
            self.acts.set_control(end, "RETURN", 1.0)
        self.stopped.append((begin, end, watts))

    def room(self, hours: Array, kelvins: Array) -> None:
        """The room warmer by so much, in steps of a quarter of an hour."""
        for h in np.arange(hours[0], hours[-1] + 0.25, 0.25):
            self.acts.set_control(h * 3600.0, "ROOM_WARMER", float(np.interp(h, hours, kelvins)))


@dataclass
class Lived:
    """Streams as they were reported, and the truth minute by minute. Times in unix seconds."""

    system: System
    streams: dict[str, tuple[Array, Array]]
    times: Array
    truth: dict[str, Array]
    begin_s: float


def live(
    kind: str, seed: int, days: float, *, room_c: float = 21.6, begin: dt.datetime = BEGIN,
    truth: Mapping[str, float] | None = None, events: Callable[[Life], None] | None = None,
    document: Callable[[str], str] = lambda text: text, exchanges: bool = True,
) -> Lived:  # fmt: skip
    """Live through so many days."""
    k = KINDS[kind]
    chance = np.random.default_rng([seed, len(kind)])
    drawn = {n: v * float(np.exp(_SPREAD.get(n, 0.0) * chance.normal())) for n, v in k.truth.items()}
    drawn |= {"ROOM_C": room_c, "ROOM_WEATHER_K": 0.7, "ROOM_DAY_K": 0.9, **(truth or {})}
    litres = k.litres * (1.0 + 0.04 * float(chance.normal()))
    basin = found(
        document(k.document), begin,
        water={"salinity": 35.0, "temperature": 25.1, "ph": 8.15, "alkalinity": 8.0 / DKH, "calcium": 425.0,
               "magnesium": 1330.0, "nitrate": 6.0, "phosphate": 0.06},
        takes={"alkalinity": 0.0 if kind != "great-reef" else 0.8 / DKH, "nitrate": 0.0, "phosphate": 0.0},
        truth=drawn, litres=litres, food_mol_d=food_moles("pellets", k.food), seed=seed, cache=compiled_folder(),
        step_s=STEP_S,
    )  # fmt: skip
    if kind == "quarantine":
        basin.e.y[0, [layout.AOB, layout.NOB]] = 8e-4
    acts = Acts(basin.plan, STEP_S)
    life = Life(kind, days, chance, acts, basin)
    if events is not None:
        events(life)
    _usual(life, k, litres, exchanges)
    whole = Basin(basin.e, compiled_folder(), acts)
    whole.recording = True
    for d in np.arange(1.0, days + 1.0):
        whole.advance(begin + dt.timedelta(days=min(float(d), days)))
    times, seen = whole.recorded()
    return Lived(basin.plan.system, _streams(life, k, times, seen), times, seen, begin.timestamp())


def _usual(life: Life, k: Kind, litres: float, exchanges: bool) -> None:
    """Meals with a pause of the return pump on most evenings, refills, an exchange a week, and a keeper's hours."""
    chance, acts = life.chance, life.acts
    if life.kind == "great-reef":  # alkalinity is kept
        meq = 0.8 / DKH * litres
        life.basin.dose(0, "alkalinity", meq / 1000.0)
        life.basin.dose(1, "calcium", meq * 20.04 / 40.078e3)
    for day in range(int(np.ceil(life.days))):
        morning = (day + (7.5 + chance.normal(0.0, 0.3)) / 24.0) * DAY
        evening = (day + (18.0 + chance.normal(0.0, 0.5)) / 24.0) * DAY
        if life.fed(day):
            acts.feed(morning, "pellets", 0.4 * k.food * float(np.exp(0.15 * chance.normal())))
            acts.feed(evening, "pellets", 0.6 * k.food * float(np.exp(0.15 * chance.normal())))
            if chance.random() < 0.8 and life.kind != "quarantine":
                life.stop(evening, evening + 60.0 * float(chance.integers(8, 26)))
        acts.refill(evening + 1200.0)
        if exchanges and day % 7 == 5:
            out = 0.1 * litres * float(chance.uniform(0.6, 1.2))
            new = {"salinity": 35.0 + float(chance.normal(0, 0.2)), "temperature": float(chance.uniform(21.0, 25.5))}
            acts.exchange(evening + 3600.0, out, "mixed-seawater", {**new, "alkalinity": 8.4})
            if life.kind != "quarantine":
                life.stop(evening + 3000.0, evening + 3000.0 + 60.0 * float(chance.integers(15, 28)))


def _streams(life: Life, k: Kind, times: Array, seen: dict[str, Array]) -> dict[str, tuple[Array, Array]]:
    chance, begin = life.chance, float(times[0])
    found: dict[str, tuple[Array, Array]] = {}
    for name in k.streams:
        if name in _PROBES:
            noise, step, drift, lag = _PROBES[name]
            probe = Probe(
                period_s=60.0, lag_s=lag, noise=noise, step=step, offset=float(chance.normal(0.0, 3.0 * noise)),
                drift_per_day=drift * float(chance.normal(1.0, 0.4)),
                calibrations=[begin + c for c in life.calibrations] if name == "ph" else (),
                silent=[(begin + a, begin + b) for a, b in life.silent], loss=0.002,
                spikes_per_day=0.02, spike=40.0 * noise, fouling_per_day=0.05, clock_ppm=float(chance.normal(0, 20.0)),
                cleanings=[begin + d * DAY for d in range(7, int(life.days), 14)],
            )  # fmt: skip
            found[name] = readings(probe, times, seen[_SIGHT.get(name, name)], chance)
            continue
        if name in ("return-pump", "pump-1"):
            usual = 62.0 if name == "return-pump" else 6.0
            power = usual * (1.0 + 0.01 * chance.normal(size=len(times)))
            for a, b, share in life.stopped:
                power[(times >= begin + a) & (times < begin + b)] *= share
            value = np.round(power, 1)
            if life.kind == "lagoon":
                value = (power > 1.0).astype(float)
        elif name == "topoff-1":
            value = _runs(seen["topoff_l"], life.basin.get("FILL_L_H"), 0.0007 * life.basin.litres)
        else:
            value = seen["heater_duty" if name.startswith("heater") else "chiller_duty"].astype(float)
        kept = chance.random(len(times)) >= 0.002
        for a, b in life.silent:
            kept &= ~((times >= begin + a) & (times < begin + b))
        found[name] = times[kept], value[kept]
    for change in life.report:
        change(found)
    return found


def _runs(litres: Array, rate_l_h: float, span_l: float) -> Array:
    """On and off of a top-off: the simulator lets a settled float trickle, a real one fills by whole spans."""
    per_step = rate_l_h * STEP_S / 3600.0
    on = np.zeros(len(litres))
    owed, running = 0.0, False
    for k, more in enumerate(np.diff(litres, prepend=litres[0]).tolist()):
        owed += more
        running = owed > 0.0 if running else owed >= span_l
        if running:
            on[k] = 1.0
            owed -= per_step
    return on


def harms(
    lived: Lived, after_s: float, quantities: tuple[str, ...] = ("temperature", "salinity", "oxygen", "ph")
) -> tuple[float, str] | None:
    """When the true water first stays beyond a limit for five minutes, and which; None when it never does."""
    first: tuple[float, str] | None = None
    late = lived.times >= after_s
    for name in quantities:
        band = lived.system.band(name)
        if band is None or band.limit is None:
            continue
        v = lived.truth[name][late]
        beyond = (v < band.limit[0]) | (v > band.limit[1])
        held = np.convolve(beyond, np.ones(5), "valid") >= 5
        if held.any():
            at = float(lived.times[late][int(np.argmax(held))])
            if first is None or at < first[0]:
                first = at, name
    return first


def watch(lived: Lived, until_s: float = np.inf, edges_only: bool = False) -> tuple[list[Any], int]:
    """Every finding of the observer over these streams, each with the moment at which it was known; and the points."""
    from leadline.detect.edges import Edges
    from leadline.detect.observe import Observer, merged

    observer = Observer(lived.system)
    if edges_only:
        observer.lookouts = tuple(x for x in observer.lookouts if isinstance(x, Edges))
    found: list[Any] = []
    points = 0
    for now, slices in merged(lived.streams, 600.0):
        if now > until_s + 600.0:
            break
        for stream, inside in slices.items():
            t, v = lived.streams[stream]
            found += observer.take(stream, t[inside], v[inside])
            points += inside.stop - inside.start
        found += observer.tick(now)
    return found, points
