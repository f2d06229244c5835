"""What can be measured: unit, digits, span.

The canonical unit is the one in the journal and the store. The span is what is physically possible in the
water (or air) of a kept system, not what is good for it; a reading outside is a slip or another instrument.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from leadline.measures.errors import UnknownName

UnitSystem = Literal["metric", "us"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that can be measured.

    Attributes
    ----------
    name
        Canonical name.
    unit
        Canonical unit, the one in which it is stored.
    digits
        Digits after the point when shown in the canonical unit.
    span
        Lowest and highest physically possible value, in the canonical unit.
    meaning
        What exactly is stored, in a few words.
    digits_in
        Digits after the point in other units, by unit.
    us_unit
        The unit shown to whoever prefers US units, if another.
    """

    name: str
    unit: str
    digits: int
    span: tuple[float, float]
    meaning: str = ""
    digits_in: dict[str, int] = field(default_factory=dict)
    us_unit: str = ""
    slipped: float | None = None  # highest value that a slip of the unit makes of a possible one: kept and asked about

    @property
    def positive(self) -> bool:
        """Cannot be negative: amounts, concentrations, light."""
        return self.span[0] >= 0.0


_ION = {"mmol/L": 2, "umol/kg": 0, "mg/L": 0}
_NUTRIENT = {"mg/L as N": 2, "umol/L": 2, "mg/L": 2}
_TRACE = {"mg/L": 4, "umol/L": 3, "ug/L": 1}

_ALL = (
    Quantity("temperature", "degC", 1, (-2.0, 45.0), "of water or room air, ITS-90", {"degF": 1}, "degF", 120.0),
    Quantity(
        "salinity", "psu", 1, (0.0, 70.0), "practical salinity, PSS-78",
        {"g/kg": 1, "ppt": 1, "sg@25/25": 4, "sg@20/20": 4, "sg@60F/60F": 4, "mS/cm": 1}, slipped=100.0,
    ),
    Quantity(
        "alkalinity", "meq/L", 2, (0.0, 60.0), "total alkalinity, borate included",
        {"dKH": 1, "ppm CaCO3": 0, "mg/L CaCO3": 0, "mmol/L": 2, "umol/kg": 0}, slipped=400.0,
    ),
    Quantity("calcium", "mg/L", 0, (0.0, 3000.0), "dissolved calcium", _ION),
    Quantity("magnesium", "mg/L", 0, (0.0, 6000.0), "dissolved magnesium", _ION),
    Quantity("potassium", "mg/L", 0, (0.0, 3000.0), "dissolved potassium", _ION),
    Quantity("strontium", "mg/L", 1, (0.0, 300.0), "dissolved strontium", {"mmol/L": 4, "umol/kg": 1}),
    Quantity("boron", "mg/L", 1, (0.0, 100.0), "total boron, as B", {"umol/kg": 0}),
    Quantity("ph", "1", 2, (2.0, 13.0), "pH on the NBS scale of common buffers"),
    Quantity("nitrate", "mg/L", 1, (0.0, 3000.0), "nitrate as NO3", _NUTRIENT),
    Quantity("nitrite", "mg/L", 2, (0.0, 1000.0), "nitrite as NO2", _NUTRIENT),
    Quantity("ammonia", "mg/L", 2, (0.0, 1000.0), "NH3 and NH4 together, as N", _NUTRIENT),
    Quantity(
        "phosphate", "mg/L", 3, (0.0, 300.0), "orthophosphate as PO4",
        {"ug/L P": 0, "ug/L as P": 0, "mg/L as P": 3, "umol/L": 2},
    ),
    Quantity("silicate", "ug/L", 0, (0.0, 100_000.0), "reactive silicate as Si", {"mg/L": 3, "umol/L": 1}),
    Quantity("iodine", "ug/L", 0, (0.0, 20_000.0), "total iodine as I", _TRACE),
    Quantity("iron", "ug/L", 1, (0.0, 20_000.0), "dissolved iron", _TRACE),
    Quantity("copper", "ug/L", 1, (0.0, 20_000.0), "total copper", _TRACE),
    Quantity("zinc", "ug/L", 1, (0.0, 20_000.0), "total zinc", _TRACE),
    Quantity("mercury", "ug/L", 2, (0.0, 5_000.0), "total mercury", _TRACE),
    Quantity(
        "oxygen", "mg/L", 2, (0.0, 40.0), "dissolved oxygen", {"%": 0, "% saturation": 0, "umol/kg": 0}, slipped=400.0
    ),
    Quantity("orp", "mV", 0, (-1000.0, 1500.0), "oxidation-reduction potential, as the probe shows it"),
    Quantity("par", "umol photons m-2 s-1", 0, (0.0, 4000.0), "photon flux density, 400 to 700 nm"),
    Quantity("level", "m", 3, (-10.0, 20.0), "water height over the vessel's mark", {"cm": 1, "in": 2}, "in"),
    Quantity("flow", "L/h", 0, (0.0, 2_000_000.0), "volume flow", {"gal/h": 0, "m3/h": 2}, "gal/h"),
    Quantity("power", "W", 0, (0.0, 500_000.0), "electrical power"),
    Quantity("conductivity", "mS/cm", 2, (0.0, 150.0), "electrical conductivity as shown", {"uS/cm": 0}),
    Quantity("tds", "mg/L", 0, (0.0, 60_000.0), "dissolved solids as a meter shows them"),
    Quantity("relative_humidity", "fraction", 2, (0.0, 1.05), "of room air; a wet sensor passes 1", {"%": 0}),
    Quantity("co2_air", "ppm", 0, (100.0, 60_000.0), "CO2 of room air, dry mole fraction"),
)  # fmt: skip

QUANTITIES: dict[str, Quantity] = {q.name: q for q in _ALL}

# Accepted as the subject of a reading, stored as another quantity.
STORED_AS: dict[str, str] = {"ph_total": "ph"}

_PH_TOTAL = Quantity("ph_total", "1", 3, (2.0, 13.0), "pH on the total scale; stored as ph (NBS)")

_SPOKEN = {
    "temp": "temperature", "sal": "salinity", "alk": "alkalinity", "kh": "alkalinity", "ca": "calcium",
    "mg": "magnesium", "k": "potassium", "sr": "strontium", "b": "boron", "no3": "nitrate", "no2": "nitrite",
    "nh3": "ammonia", "nh4": "ammonia", "tan": "ammonia", "po4": "phosphate", "si": "silicate",
    "silica": "silicate", "iodide": "iodine", "i": "iodine", "fe": "iron", "cu": "copper", "zn": "zinc",
    "hg": "mercury", "o2": "oxygen", "do": "oxygen", "redox": "orp", "light": "par", "cond": "conductivity",
    "ec": "conductivity", "humidity": "relative_humidity", "rh": "relative_humidity", "co2": "co2_air",
    "ph_nbs": "ph",
}  # fmt: skip


def canonical_name(name: str) -> str | None:
    """The canonical name of what a person wrote (`Alk`, `NO3`, `pH total`), or None when nobody knows it."""
    key = name.strip().lower().replace("-", "_").replace(" ", "_")
    if key in QUANTITIES or key in STORED_AS:
        return key
    return _SPOKEN.get(key)


def stored_name(name: str) -> str:
    """The quantity under which a reading is kept: `ph_total` is kept as `ph`, all others as themselves."""
    return STORED_AS.get(name, name)


def quantity(name: str) -> Quantity:
    """The quantity of that canonical name.

    Raises
    ------
    UnknownName
        With near misses.
    """
    found = QUANTITIES.get(name)
    if found is not None:
        return found
    if name == "ph_total":
        return _PH_TOTAL
    spoken = canonical_name(name)
    known = [*QUANTITIES, "ph_total"]
    if spoken is not None:
        raise UnknownName("quantity", name, known, way_out=f"Did you mean {spoken}?")
    raise UnknownName("quantity", name, known, way_out=f"Known: {', '.join(known)}.")


def digits(name: str, unit: str | None = None) -> int:
    """Digits after the point with which a value of that quantity is shown in that unit."""
    q = quantity(name)
    if unit is None or unit == q.unit:
        return q.digits
    return q.digits_in.get(unit, q.digits)


def display_unit(name: str, system: UnitSystem) -> str:
    """The unit in which a screen shows the quantity; storage never changes."""
    q = quantity(name)
    return q.us_unit if system == "us" and q.us_unit else q.unit
