"""A stand-in for the app behind the pages: real shapes, an invented reef, and arithmetic that is plain to see.

It lets a page be tested on exactly the case it must show (a slip, a gap, a probe, a quantity never measured).
The pages over the real app and a real store are tested in `test_story.py`.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from leadline.estimate.report import (
    Course,
    Doubtful,
    Fix,
    LastReading,
    Outlook,
    QuantityEstimate,
    SystemEstimate,
)
from leadline.journal.entry import Entry
from leadline.measures.errors import BadInput
from leadline.measures.moments import days_between
from leadline.measures.units import parse_number
from leadline.rounds.item import Candidate, Evidence, Later, Round

NOW = dt.datetime(2026, 1, 27, 7, 10, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)
TO_STORED = {"dKH": 0.356652, "meq/L": 1.0, "psu": 1.0, "degC": 1.0, "mg/L": 1.0, "1": 1.0}
BANDS = {  # stored unit, aim, limit, drift a day, noise, default band
    "salinity": ("psu", (34.0, 36.0), (31.0, 38.0), 0.014, 0.12, False),
    "alkalinity": ("meq/L", (2.675, 3.21), (2.14, 4.28), -0.0012, 0.05, False),
    "temperature": ("degC", (24.0, 26.5), (22.0, 29.0), 0.0, 0.1, False),
    "nitrate": ("mg/L", (1.0, 15.0), (0.0, 50.0), 0.02, 0.6, True),
    "calcium": ("mg/L", (400.0, 450.0), (350.0, 550.0), -0.05, 8.0, True),
    "strontium": ("mg/L", (6.0, 10.0), (3.0, 15.0), 0.0, 1.5, True),
}
STARTS = {"salinity": 35.1, "alkalinity": 2.9, "temperature": 25.1, "nitrate": 6.0, "calcium": 425.0, "strontium": 8.0}


@dataclass(frozen=True)
class Logged:
    entry: Entry
    doubtful: Doubtful | None
    assumed: tuple[str, ...]


@dataclass
class PretendStore:
    """Only what the pages themselves ask of a store."""

    def alarms(self) -> list[object]:
        """No watch runs over it."""
        return []

    by_id: dict[str, Entry] = field(default_factory=dict)
    withdrawn: set[str] = field(default_factory=set)
    settled: set[str] = field(default_factory=set)
    done: set[tuple[str, str]] = field(default_factory=set)
    revision: int = 0
    closed: bool = False

    def systems(self) -> list[str]:
        return [s for s, _ in Pretend.names]

    def last_seq(self, system: str) -> int:
        return self.revision

    def stream_revision(self, system: str) -> int:
        return 0

    def system_document(self, system: str, as_of: dt.datetime | None = None) -> str | None:
        return system

    def entry(self, id: str) -> Entry | None:
        return self.by_id.get(id)

    def close(self) -> None:
        self.closed = True


def reef_store() -> PretendStore:
    store = PretendStore()
    chance = random.Random(7)
    fixed = {"salinity": (4, 25, 47, 70, 91)}
    for quantity, days in {
        **fixed,
        "alkalinity": tuple(range(3, 178, 6)),
        "nitrate": (10, 30, 52, 75, 98, 130, 160),
        "calcium": (8, 40, 66, 101, 150),
    }.items():
        unit, _, _, drift, noise, _ = BANDS[quantity]
        for i, day in enumerate(days):
            value = STARTS[quantity] + 0.4 * drift * day + chance.gauss(0, noise)
            typed = unit
            if quantity == "alkalinity":
                value, typed = value / 0.356652, "dKH"
            if quantity == "alkalinity" and i == len(days) - 2:
                value = 2.9  # typed as dKH, meant as meq/L
            value = round(value, 1)
            put(store, Entry(
                time=NOW - (172 - day) * DAY if day < 172 else NOW - (178 - day) * DAY, system="north-room",
                kind="reading", subject=quantity, value=value, unit=typed,
                method="refractometer" if quantity == "salinity" else "drop kit", stored=value * TO_STORED[typed],
            ))  # fmt: skip
    return store


def put(store: PretendStore, entry: Entry) -> Entry:
    kept = dataclasses.replace(entry, id=f"e{len(store.by_id):03d}")
    store.by_id[kept.id] = kept
    store.revision += 1
    return kept


def _last(last: Entry, noise: float) -> LastReading:
    return LastReading(last.time, last.stored, noise, last.method, last.id)


def _probe(quantity: str, system: str, mean: float, now: dt.datetime) -> LastReading | None:
    if (quantity, system) != ("temperature", "north-room"):
        return None
    return LastReading(now - dt.timedelta(minutes=3), mean, 0.05, "probe", "p")


class Pretend:
    """The use cases, answered from the readings alone."""

    names = (("north-room", "North room reef"), ("lagoon", "Lagoon tank"))

    def __init__(self, units: str = "metric") -> None:
        self.units = units
        self.tokens: dict[str, Logged] = {}

    def systems(self, store: PretendStore) -> list[tuple[str, str]]:
        return list(self.names)

    def _readings(self, store: PretendStore, system: str, quantity: str) -> list[Entry]:
        return sorted(
            (
                e
                for e in store.by_id.values()
                if e.system == system and e.subject == quantity and e.kind == "reading" and e.id not in store.withdrawn
            ),
            key=lambda e: e.time,
        )

    def _doubtful(self, store: PretendStore, system: str, quantity: str) -> tuple[Doubtful, ...]:
        found = []
        for e in self._readings(store, system, quantity):
            expected = STARTS[quantity]
            if quantity == "alkalinity" and abs(e.stored - expected) > 1.0 and e.id not in store.settled:
                found.append(
                    Doubtful(
                        e.id, e.time, e.stored, expected, 0.05, "slip", 0.97, "looks like meq/L typed as dKH",
                        e.value, f"{e.value} {e.unit}",
                    )
                )  # fmt: skip
        return tuple(found)

    def _at(self, store: PretendStore, system: str, quantity: str, moment: dt.datetime) -> tuple[float, float]:
        _, _, _, drift, noise, _ = BANDS[quantity]
        doubtful = {d.id for d in self._doubtful(store, system, quantity)}
        before = [e for e in self._readings(store, system, quantity) if e.time <= moment and e.id not in doubtful]
        if quantity == "temperature" and system == "north-room":
            return 25.1 + 0.3 * math.sin(moment.timestamp() / 13751 / 4), 0.08
        if not before:
            return STARTS[quantity], noise * 3
        gap = days_between(before[-1].time, moment)
        return before[-1].stored + drift * gap, math.sqrt(noise**2 + (0.055 * noise * gap) ** 2 + 0.06 * noise**2 * gap)

    def estimate(self, store, clock, system, as_of=None) -> SystemEstimate:
        now = as_of or clock.now()
        quantities = {q: self._one(store, system, q, now) for q in BANDS}
        return SystemEstimate(
            system, dict(self.names)[system], now, self.units, "Europe/Oslo", quantities, 1150.0, 60.0, 1150.0,
            ("Room temperature is taken as 22 °C.",),
        )  # fmt: skip

    def _one(self, store, system: str, q: str, now: dt.datetime) -> QuantityEstimate:
        unit, aim, limit, drift, noise, default = BANDS[q]
        mean, sd = self._at(store, system, q, now)
        doubtful = self._doubtful(store, system, q)
        readings = [
            e for e in self._readings(store, system, q) if e.time <= now and e.id not in {d.id for d in doubtful}
        ]
        last = readings[-1] if readings else None

        def outside(m: float, s: float, band: tuple[float, float]) -> float:
            def phi(x: float) -> float:
                return 0.5 * (1 + math.erf(x / math.sqrt(2)))

            return phi((band[0] - m) / s) + 1 - phi((band[1] - m) / s)

        meets = None
        if last is not None:
            for day in range(400):
                at, spread = self._at(store, system, q, last.time + day * DAY)
                if at + 1.645 * spread > aim[1] or at - 1.645 * spread < aim[0]:
                    meets = last.time + day * DAY
                    break
        forecast = tuple(
            Outlook(d, mean + drift * d, math.hypot(sd, 0.1 * noise * d), 0.5, 0.1, 0.1)
            for d in (1.0, 3.0, 7.0, 14.0, 28.0)
        )
        return QuantityEstimate(
            q, unit, mean, sd, mean - 1.645 * sd, mean - 0.674 * sd, mean, mean + 0.674 * sd, mean + 1.645 * sd,
            drift, 0.004, 0.12 if q == "alkalinity" else None, 0.02 if q == "alkalinity" else None,
            _last(last, noise) if last else _probe(q, system, mean, now),
            aim, limit, default, outside(mean, sd, aim), outside(mean, sd, limit), forecast, meets,
            "" if last else "natural seawater holds about 8 mg/L, and kept water strays",
            doubtful, (), ("The last fix is carried forward with its drift.", "Spread: sum of fix, drift and noise."),
        )  # fmt: skip

    def courses(self, store, clock, system, start, as_of=None) -> dict[str, Course]:
        now = as_of or clock.now()
        found = {}
        for q, (unit, *_rest) in BANDS.items():
            doubtful = {d.id for d in self._doubtful(store, system, q)}
            hand = [
                Fix(e.time, e.stored, BANDS[q][4], e.method, e.id, e.id in doubtful)
                for e in self._readings(store, system, q)
                if start <= e.time <= now
            ]
            probe: list[Fix] = []
            if q == "temperature" and system == "north-room":
                for i in range(4000):
                    t = start + i * (now - start) / 4000
                    value = self._at(store, system, q, t)[0] + 0.05 * math.sin(i * 1.7)
                    probe.append(Fix(t, value + (1.4 if i == 2500 else 0.0), 0.05, "probe", f"p{i}", probe=True))
            if not hand and not probe:
                continue
            first = max(start, min(f.time for f in [*hand, *probe]) - DAY)
            n = 360
            times = tuple(first + i * (now - first) / n for i in range(n + 1))
            states = [self._at(store, system, q, t) for t in times]
            marks = tuple((NOW - d * DAY, "exchange", "exchange of 120 L") for d in (160, 132, 104, 76, 48, 20))
            if q == "alkalinity":
                marks += tuple((NOW - d * DAY, "addition", "sodium-bicarbonate, 12 g") for d in range(1, 170, 3))
            found[q] = Course(
                q, unit, times, tuple(m for m, _ in states), tuple(m - 1.645 * s for m, s in states),
                tuple(m + 1.645 * s for m, s in states), tuple(sorted([*hand, *probe], key=lambda f: f.time)), now,
                marks if q in ("salinity", "alkalinity") else (),
            )  # fmt: skip
        return found

    def round_for(self, store, clock, system, minutes=10.0, as_of=None) -> Round:
        now = as_of or clock.now()
        items: list[Candidate] = []
        for s, _ in self.names:
            if system not in (None, s):
                continue
            e = self._one(store, s, "salinity", now)
            if e.last_reading and e.p_outside_aim > 0.3:
                age = days_between(e.last_reading.time, now)
                items.append(
                    Candidate(
                        "test", "salinity", "now", 2, 3.0, e.p_outside_aim,
                        f"{e.mean:.1f} ± {e.sd:.1f} psu after {age:.0f} days without a reading: "
                        f"{100 * e.p_outside_aim:.0f} in 100 that it is outside the channel.",
                        (
                            Evidence("days since the last reading", age, "d"),
                            Evidence("chance outside", e.p_outside_aim),
                        ),
                        s,
                    )
                )  # fmt: skip
            for d in self._doubtful(store, s, "alkalinity"):
                items.append(
                    Candidate(
                        "ask", "alkalinity", "today", 1, 1.0, d.probability,
                        f"{d.typed} where {d.expected / 0.356652:.1f} dKH was expected: {d.guess}.",
                        (Evidence("typed", d.typed),), s, d.id,
                    )
                )  # fmt: skip
            if s == "north-room" and ("inspect", "chiller-1") not in store.done:
                items.append(
                    Candidate(
                        "inspect", "chiller-1", "today", 3, 0.5, 0.2,
                        "Not looked at for 118 days; 1 in 5 that it has failed silently.",
                        (Evidence("days since it was seen working", 118, "d"),), s,
                    )
                )  # fmt: skip
            if s == "north-room":
                items.append(
                    Candidate("test", "nitrate", "week", 5, 0.2, 0.3, "12 days old; drifts 0.02 mg/L a day.", (), s)
                )
        chosen, left, used = [], [], 0.0
        for item in items:
            if used + item.minutes <= minutes:
                chosen.append(item)
                used += item.minutes
            else:
                left.append(
                    Later(
                        item.action, item.subject, now + 9 * DAY, "Well inside its channel.", item.minutes, item.system
                    )
                )
        left.append(
            Later("test", "calcium", now + 21 * DAY, "3 in 100 to leave its channel before then.", 5, "north-room")
        )
        return Round(system or "", now, minutes, tuple(chosen), tuple(left), dict(self.names))

    def log(
        self, store, clock, *, system: str, kind: str, subject: str, value_text: str, unit: str, method: str = "",
        time: Any = None, note: str = "", extra: Mapping[str, Any] | None = None, token: str = "",
    ) -> Logged:  # fmt: skip
        if token in self.tokens:
            return self.tokens[token]
        value = parse_number(value_text)
        if value < 0:
            raise BadInput(f"{subject} {value_text} {unit} cannot be", way_out="Type what the instrument showed.")
        entry = put(store, Entry(
            time=time or clock.now(), system=system, kind=kind, subject=subject, value=value, unit=unit, method=method,
            note=note, stored=value * TO_STORED[unit],
        ))  # fmt: skip
        doubts = [d for d in self._doubtful(store, system, subject) if d.id == entry.id]
        logged = Logged(entry, doubts[0] if doubts else None, ())
        if token:
            self.tokens[token] = logged
        return logged

    def withdraw(self, store, clock, entry_id: str) -> Entry:
        store.withdrawn.add(entry_id)
        entry = store.by_id[entry_id]
        if entry.kind == "service":
            store.done = {d for d in store.done if d[1] != entry.subject}
        store.revision += 1
        return entry

    def confirm(self, store, clock, entry_id: str) -> None:
        store.settled.add(entry_id)
        store.revision += 1

    def correct(self, store, clock, entry_id: str, value_text: str, unit: str) -> Entry:
        value = parse_number(value_text)
        old = store.by_id[entry_id]
        store.withdrawn.add(entry_id)
        return put(store, dataclasses.replace(old, value=value, unit=unit, stored=value * TO_STORED[unit]))

    def done(self, store, clock, system: str, action: str, subject: str) -> Entry:
        store.done.add((action, subject))
        return put(store, Entry(time=clock.now(), system=system, kind="service", subject=subject, method=action))
