"""What an ensemble came to: quantiles along time, when edges were passed, and how sure that is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from leadline.model import sight
from leadline.model.members import Ensemble, Seen
from leadline.system.description import System

Array = np.ndarray
LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)
KEYS = ("q05", "q25", "q50", "q75", "q95")
EDGES = ("aim_low", "aim_high", "limit_low", "limit_high")
# sights that are told beside the measured ones, with their unit
MORE: dict[str, str] = {
    "plant_volume": "L", "free_ammonia": "mg/L as N", "omega_aragonite": "1", "chloramine": "mg/L as Cl2",
    "medicine": "g/1000 L",
    "toxin": "1", "coral": "of the start", "dinoflagellates": "g dry", "cyanobacteria": "g dry", "diatoms": "g dry",
    "hair_algae": "g dry", "refuge_algae": "g dry", "detritus": "mg/L C", "heater_kwh": "kWh", "chiller_kwh": "kWh",
    "topoff_l": "L", "evaporated_l": "L", "reservoir": "L", "floor": "L", "room_temperature": "degC", "room_co2": "ppm",
}  # fmt: skip


@dataclass(frozen=True)
class Passage:
    """An edge of a band and the chance that it is passed before the end.

    `hours` are quantiles (5, 50, 95 %) of the first passage among the members that pass, or None when none does.
    """

    edge: str
    at: float  # stored unit
    chance: float
    hours: tuple[float, float, float] | None


@dataclass(frozen=True)
class Outcome:
    """An ensemble's answer. Quantiles in stored units, one row a level of `KEYS`."""

    system: System
    begin: dt.datetime
    days: float
    members: int
    seed: int
    step_s: float
    times_s: Array
    quantiles: Mapping[str, Array]
    passages: Mapping[str, tuple[Passage, ...]]
    marks: tuple[tuple[float, str], ...]
    notes: tuple[str, ...]
    left: int  # members that left the range the model can answer for
    sources: Mapping[str, str] = field(default_factory=dict)  # parameter to where it came from
    scenario: str = ""

    def moment(self, seconds: float) -> dt.datetime:
        """An aware moment of the run."""
        return self.begin + dt.timedelta(seconds=float(seconds))


def edges(system: System) -> Array:
    """Aim and limit of the measured sights, infinite where there is none."""
    found = np.tile([-np.inf, np.inf, -np.inf, np.inf], (len(sight.MEASURED), 1))
    for i, name in enumerate(sight.MEASURED):
        band = system.band(name)
        if band is not None:
            found[i, :2] = band.aim
            if band.limit is not None:
                found[i, 2:] = band.limit
    # an edge at zero cannot be passed downwards
    found[:, [0, 2]] = np.where(found[:, [0, 2]] <= 0.0, -np.inf, found[:, [0, 2]])
    return found


def outcome(
    e: Ensemble, seen: Seen, *, days: float, notes: list[str], marks: list[tuple[float, str]], scenario: str = ""
) -> Outcome:
    """Sum up a run. Members that left the model's range count as they were until then."""
    with np.errstate(all="ignore"):
        quantiles = {name: _quantiles(seen.of(name)) for name in (*sight.MEASURED, *MORE) if name in sight.SIGHTS}
    system = e.plan.system
    bounds = edges(system)
    passages: dict[str, tuple[Passage, ...]] = {}
    for i, name in enumerate(sight.MEASURED):
        rows = []
        for k, edge in enumerate(EDGES):
            if not np.isfinite(bounds[i, k]):
                continue
            when = seen.passed_s[:, i, k]
            passed = when >= 0.0
            hours = None
            if passed.any():
                a, b, c = np.quantile(when[passed] / 3600.0, [0.05, 0.5, 0.95])
                hours = (float(a), float(b), float(c))
            rows.append(Passage(edge, float(bounds[i, k]), float(passed.mean()), hours))
        if rows:
            passages[name] = tuple(rows)
    return Outcome(
        system, e.begin, days, e.members, e.seed, e.dt_s, seen.times_s, quantiles, passages,
        tuple(sorted(marks)), tuple(dict.fromkeys(notes)), int((e.left >= 0).sum()), dict(e.plan.origin), scenario,
    )  # fmt: skip


def _quantiles(values: Array) -> Array:
    """Quantiles over members, one row a level; NaN only where nobody is left."""
    if not np.isnan(values).any():
        return np.asarray(np.quantile(values, LEVELS, axis=0))
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanquantile(values, LEVELS, axis=0))
