"""From a system's description to the simulator's terms: bodies of water, machines, solutions, and each parameter.

What the description leaves out is taken from practice and named in `notes`, in words for the keeper.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from leadline.measures import units
from leadline.measures.errors import BadInput
from leadline.model import layout as at
from leadline.model import waters
from leadline.model.parameters import INDEX
from leadline.model.state import SALT_G_PER_MOL
from leadline.model.substances import SUBSTANCES, moles
from leadline.seawater import masses
from leadline.system.description import System

Array = np.ndarray
FILM_W_M2_K = 7.2  # glass of 12 mm with still air on both sides: sheet 7.4
SUMP_DEPTH_M = 0.35  # of a vessel given by volume alone: judgement
_STATE = {
    "alkalinity": at.TA, "carbon": at.DIC, "calcium": at.CA, "magnesium": at.MG, "potassium": at.K,
    "nitrogen": at.NO3, "ammonium": at.NH, "phosphorus": at.PO4, "organic_carbon": at.DOC, "silicon": at.SI,
}  # fmt: skip
# stored unit to mol per litre
PER_L: dict[str, float] = {
    "alkalinity": 1e-3, "calcium": 1e-3 / masses.CA, "magnesium": 1e-3 / masses.MG, "potassium": 1e-3 / masses.K,
    "nitrate": 1e-3 / masses.NO3, "nitrite": 1e-3 / masses.NO2, "ammonia": 1e-3 / masses.N,
    "phosphate": 1e-3 / masses.PO4, "silicate": 1e-6 / masses.SI, "oxygen": 1e-3 / masses.O2,
    "copper": 1e-6 / masses.CU,
}  # fmt: skip
STATE_OF = {
    "alkalinity": at.TA, "calcium": at.CA, "magnesium": at.MG, "potassium": at.K, "nitrate": at.NO3, "nitrite": at.NO2,
    "ammonia": at.NH, "phosphate": at.PO4, "silicate": at.SI, "oxygen": at.O2, "copper": at.COPPER,
}  # fmt: skip


@dataclass
class Blueprint:
    """One system in the simulator's terms.

    Attributes
    ----------
    bodies
        Names of the bodies of water, the display first and the one with the machines last.
    places
        `g` of the layout at the stated volume, one row a body.
    middle, spread
        Of each parameter, in the order of `PARAMETERS`; a spread is of the logarithm where the parameter is a ratio.
    machines
        Equipment id to (what it is, its number): `("heater", 0)`.
    solutions, water
        What a litre of each doser's container, and a kg of top-off, holds, by state.
    containers
        Litres in each doser's container.
    notes
        What was assumed, a sentence each.
    """

    system: System
    bodies: tuple[str, ...]
    places: Array
    middle: Array
    spread: Array
    machines: dict[str, tuple[str, int]]
    solutions: Array
    water: Array
    containers: list[float]
    reservoir_kg: float
    notes: list[str] = field(default_factory=list)
    joint: tuple[list[list[int]], Array] | None = None  # parameters drawn together: their places, and a Cholesky factor
    origin: dict[str, str] = field(default_factory=dict)  # parameter: "description" | "learned"

    @property
    def mass_kg(self) -> float:
        """Water of all bodies at the stated volume. [kg]"""
        return float(self.places[:, at.FULL].sum())

    @property
    def dosers(self) -> int:
        """How many dosing machines there are."""
        return len(self.containers)

    def set(self, name: str, value: float, spread: float | None = None, origin: str = "description") -> None:
        """Put a value in a parameter's place, with its spread when there is one."""
        i = INDEX[name]
        self.middle[i] = value
        if spread is not None:
            self.spread[i] = spread
        self.origin[name] = origin

    def value(self, name: str) -> float:
        """The middle of a parameter."""
        return float(self.middle[INDEX[name]])


def amount(raw: Any, dimension: str, where: str) -> float:
    """An amount as typed in a description, in house units; errors name the field."""
    try:
        found = units.parse_amount(str(raw), dimension)  # type: ignore[arg-type]
    except BadInput as exc:
        raise BadInput(exc.what, where=where, way_out=exc.way_out) from exc
    if found < 0 and dimension != "temperature":
        raise BadInput(f"{raw!r} is below zero", where=where, way_out="Give zero or more.")
    return found


def clock_hour(raw: Any, where: str) -> float:
    """A time of day, `10:00` or `10:30`, in hours."""
    if isinstance(raw, dt.time):
        return raw.hour + raw.minute / 60.0
    found = re.fullmatch(r"\s*(\d{1,2})[:.h](\d{2})\s*", str(raw))
    if not found or int(found[1]) > 24 or int(found[2]) > 59:
        raise BadInput(f"{raw!r} is no time of day", where=where, way_out='Write it as "10:00".')
    return int(found[1]) + int(found[2]) / 60.0


def parcel(grams: Mapping[str, float]) -> Array:
    """What so many grams of each substance bring, by state. The salt they leave is that of their ions. [mol, kg]"""
    found = np.zeros(at.N_STATES)
    for substance, g in grams.items():
        for species, n in moles(substance, g).items():
            found[at.SALT] += SALT_G_PER_MOL[species] * n / 1000.0
            if species in _STATE:
                found[_STATE[species]] += n
        if substance in SUBSTANCES and SUBSTANCES[substance].density_g_ml:
            found[at.WATER] += g * (1.0 - SUBSTANCES[substance].strength) / 1000.0
    return found


def water_parcel(kind: str, extra: Mapping[str, Any] | None = None, co2_ppm: float = 600.0) -> Array:
    """What a kg of some water holds, by state, in balance with room air when it is salt. [mol/kg]"""
    held = {name: mean for name, (mean, _) in waters.composition(kind, extra or {}).items()}
    found = composed(held, co2_ppm)
    stated = (extra or {}).get("chloramine", 0.0)  # mg/L as Cl2
    found[at.CHLORAMINE] = float(stated) / (2.0 * masses.CL) / 1000.0
    return found


def composed(held: Mapping[str, float], co2_ppm: float = 600.0, ph_nbs: float | None = None) -> Array:
    """A kg of water from concentrations in stored units; without a pH in balance with the room's CO2."""
    from leadline.seawater import carbonate, density, oxygen

    s = held.get("salinity", 0.0)
    per_kg = 1000.0 / density.of_seawater_millero1981(25.0, s)
    found = np.zeros(at.N_STATES)
    found[at.SALT] = s * 35.16504 / 35.0 / 1000.0
    found[at.WATER] = 1.0 - found[at.SALT]
    for name, state in STATE_OF.items():
        found[state] = held.get(name, 0.0) * PER_L[name] * per_kg
    if s < 5.0:  # no fit holds: carbon as bicarbonate
        found[at.DIC] = found[at.TA]
    elif ph_nbs is not None:
        t = held.get("temperature", 25.0)
        found[at.DIC] = (
            carbonate.solve(temperature_c=t, salinity=s, alkalinity=found[at.TA] * 1e6, ph_nbs=ph_nbs).dic * 1e-6
        )
    else:
        t = held.get("temperature", 25.0)
        found[at.DIC] = (
            carbonate.solve(temperature_c=t, salinity=s, alkalinity=found[at.TA] * 1e6, xco2=co2_ppm).dic * 1e-6
        )
    if "oxygen" not in held:
        found[at.O2] = float(oxygen.saturation_garcia1992(held.get("temperature", 25.0), s)) * 1e-6
    return found
