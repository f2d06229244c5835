"""A keeper's small system in a real store: months of records written by a simple, honest water."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from leadline.app import choose, describe, enquire, record
from leadline.estimate.report import QuantityEstimate, SystemEstimate
from leadline.journal.entry import Entry, content_id
from leadline.measures.moments import FixedClock
from leadline.rounds.item import Round
from leadline.store.sqlite import SqliteStore

NOW = dt.datetime(2026, 6, 1, 8, tzinfo=dt.UTC)
DKH = 0.356652  # meq/L: 10 mg/L CaO, by definition
BICARBONATE = 84.006  # g/mol, IUPAC weights
SMALL = """
[system]
id = "small"
name = "Small reef"
time_zone = "Europe/Oslo"
net_volume = "400 L"
net_volume_sd = "{volume_sd} L"

[room]
temperature = "21 degC"
relative_humidity = 0.5
co2 = "600 ppm"

[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"

[[equipment]]
id = "heater-1"
type = "heater"
power = "200 W"
setpoint = "25.5 degC"

[[equipment]]
id = "doser-1"
type = "doser"
substance = "sodium-bicarbonate"
concentration = "80 g/L"

[[method]]
quantity = "alkalinity"
name = "titration"
sd = "0.1 dKH"
minutes = 4

[[band]]
quantity = "salinity"
aim = ["34 psu", "36 psu"]
limit = ["31 psu", "38 psu"]

[[band]]
quantity = "alkalinity"
aim = ["7.5 dKH", "9.0 dKH"]
limit = ["6.0 dKH", "12.0 dKH"]

[[band]]
quantity = "calcium"
aim = ["400 mg/L", "450 mg/L"]
limit = ["350 mg/L", "520 mg/L"]

[[band]]
quantity = "magnesium"
aim = ["1250 mg/L", "1400 mg/L"]
limit = ["1100 mg/L", "1600 mg/L"]

[[band]]
quantity = "nitrate"
aim = ["2 mg/L", "15 mg/L"]
limit = ["0 mg/L", "50 mg/L"]

[[band]]
quantity = "temperature"
aim = ["24.5 degC", "26.5 degC"]
limit = ["22 degC", "29 degC"]
"""


class Keeper:
    """One person, one store, a clock that stands still until told otherwise."""

    def __init__(self, folder: Path, document: str | None = None, volume_sd: float = 40.0) -> None:
        self.path = folder / "small.db"
        self.clock = FixedClock(NOW)
        self.store = SqliteStore.open(self.path, clock=self.clock)
        self.system = "small"
        describe_at = FixedClock(NOW - dt.timedelta(days=3000))
        describe.add(self.store, describe_at, document or SMALL.format(volume_sd=volume_sd))

    def close(self) -> None:
        self.store.close()

    def at(self, days: float) -> dt.datetime:
        """So many days from NOW; the past is negative."""
        return NOW + dt.timedelta(days=days)

    def entry(
        self, days: float, kind: str, subject: str = "", value: float | None = None, unit: str = "", **more: Any
    ) -> Entry:
        return Entry(self.at(days), self.system, kind, subject, value, unit, **more)

    def keeps(self, entries: Iterable[Entry]) -> list[Entry]:
        """Write entries as an import does, all in one go."""
        described = describe.load(self.store, self.system)
        known = [record.understood(self.store, described, e)[0] for e in entries]
        known = [replace(e, id=content_id(e)) for e in known]
        self.store.add_entries(known)
        return known

    def types(self, subject: str, value: str, unit: str, kind: str = "reading", **more: Any) -> record.Logged:
        """One entry by hand, now."""
        return record.log(
            self.store, self.clock, system=self.system, kind=kind, subject=subject, value_text=value, unit=unit, **more
        )

    def estimate(self, as_of: dt.datetime | None = None) -> SystemEstimate:
        return enquire.estimate(self.store, self.clock, self.system, as_of)

    def believes(self, quantity: str, as_of: dt.datetime | None = None) -> QuantityEstimate:
        return self.estimate(as_of).quantities[quantity]

    def round(self, minutes: float = 10.0, as_of: dt.datetime | None = None) -> Round:
        return choose.round_for(self.store, self.clock, self.system, minutes, as_of)


USUAL = {
    "salinity": (35.0, "psu", 0.3), "alkalinity": (8.2, "dKH", 0.1), "calcium": (425.0, "mg/L", 7.0),
    "magnesium": (1320.0, "mg/L", 20.0), "nitrate": (6.0, "mg/L", 0.8), "temperature": (25.5, "degC", 0.1),
}  # fmt: skip


def quiet_year(
    keeper: Keeper, weeks: int = 26, until: float = 0.0, every: float = 7.0, leave_out: dict[str, float] | None = None,
    seed: int = 1, method: str = "titration",
) -> list[Entry]:  # fmt: skip
    """Weekly tests of a water that stays where it is; `leave_out` says from which day on a quantity is not tested."""
    rng = np.random.default_rng(seed)
    rows = []
    for k in range(weeks):
        day = until - every * (weeks - 1 - k)
        for q, (level, unit, sd) in USUAL.items():
            if leave_out and day > leave_out.get(q, 1e9):
                continue
            how = method if q == "alkalinity" else ""
            value = round(float(level + rng.normal(0, sd)), 2)
            rows.append(keeper.entry(day - 0.02, "reading", q, value, unit, method=how))
    return keeper.keeps(rows)


def dosed_water(
    keeper: Keeper, true_litres: float, days: int = 180, demand_dkh: float = 0.9, seed: int = 2, test_every: int = 4,
    changing: bool = True,
) -> None:  # fmt: skip
    """Alkalinity by mass balance in a water of `true_litres`: daily demand, doses by hand, tests every few days.

    The dose goes up and down by half from fortnight to fortnight, so that readings can tell demand from volume.
    """
    rng = np.random.default_rng(seed)
    level, rows = 8.2 * DKH, []
    middle = demand_dkh * DKH * true_litres * BICARBONATE / 1000.0  # grams a day that hold it level
    for k in range(days):
        day = -days + k
        if k % test_every == 0:
            shown = round(float((level + rng.normal(0, 0.08 * DKH)) / DKH), 2)
            rows.append(keeper.entry(day, "reading", "alkalinity", shown, "dKH", method="titration"))
        grams = middle * (1.0 if not changing else 1.5 if (k // 8) % 2 else 0.5)
        rows.append(keeper.entry(day + 0.01, "addition", "sodium-bicarbonate", round(grams, 2), "g"))
        level += round(grams, 2) / BICARBONATE * 1000.0 / true_litres - demand_dkh * DKH
    keeper.keeps(rows)
