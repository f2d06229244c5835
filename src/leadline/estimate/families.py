"""How each quantity moves between readings: the family of its dynamics, its scale, and what is believed before
anybody measured.

A scale is about half of a usual band; all noise grids are in units of it. Priors are wide: natural composition
of seawater and reef-tank custom (common practice), never a target. Values in the stored unit of the quantity.
"""

from __future__ import annotations

from dataclasses import dataclass

from leadline.system.methods import DKH


@dataclass(frozen=True, slots=True)
class Family:
    """The dynamics of one quantity.

    Attributes
    ----------
    kind
        "drifting": level and rate, integrated irregular-time noise. "regulated": something holds the level, and
        what remains is a slow walk with a mean-reverting departure.
    scale
        Unit of the noise grids, stored unit.
    rate_sd
        Prior of the rate, scales per day.
    level_walk
        White noise of the level, scales per square-root day.
    memory_d
        Mean-reversion time of the rate (drifting) or of the departure (regulated). [d]
    departure_sd
        Stationary spread of the departure (regulated), scales.
    prior
        Mean and sd before any reading.
    positive
        True when the quantity cannot be below zero and often is near it.
    proportional
        Share of the level that the scale must at least be, for quantities that wander by a share of themselves.
    with_salt
        True when the quantity rises and falls with salinity (conservative ions, alkalinity).
    origin
        Where the prior comes from.
    """

    kind: str
    scale: float
    rate_sd: float
    level_walk: float
    memory_d: float
    prior: tuple[float, float]
    departure_sd: float = 0.0
    positive: bool = False
    proportional: float = 0.0
    with_salt: bool = False
    origin: str = "common practice"


_NATURAL = "standard seawater composition (memory) and reef-tank custom"
FAMILIES: dict[str, Family] = {
    "salinity": Family("drifting", 0.5, 0.03, 0.096, 240.0, (35.0, 1.5), origin=_NATURAL),
    "alkalinity": Family("drifting", DKH, 0.6, 0.096, 1e9, (8.2 * DKH, 1.6 * DKH), with_salt=True, origin=_NATURAL),
    "calcium": Family("drifting", 20.0, 0.2, 0.072, 1e9, (425.0, 45.0), with_salt=True, origin=_NATURAL),
    "magnesium": Family("drifting", 50.0, 0.06, 0.06, 365.0, (1320.0, 110.0), with_salt=True, origin=_NATURAL),
    "potassium": Family("drifting", 20.0, 0.05, 0.06, 365.0, (400.0, 35.0), with_salt=True, origin=_NATURAL),
    "strontium": Family("drifting", 1.0, 0.05, 0.06, 365.0, (8.0, 2.0), with_salt=True, origin=_NATURAL),
    "nitrate": Family("drifting", 3.0, 0.12, 0.144, 60.0, (8.0, 12.0), positive=True, proportional=0.25),
    "phosphate": Family("drifting", 0.03, 0.12, 0.3, 40.0, (0.08, 0.12), positive=True, proportional=0.25),
    "silicate": Family("drifting", 60.0, 0.1, 0.12, 60.0, (100.0, 150.0), positive=True, proportional=0.25),
    "iodine": Family("drifting", 15.0, 0.1, 0.12, 60.0, (55.0, 25.0), positive=True, proportional=0.2),
    "iron": Family("drifting", 5.0, 0.1, 0.12, 30.0, (3.0, 6.0), positive=True, proportional=0.3),
    "copper": Family("drifting", 2.0, 0.05, 0.12, 60.0, (1.0, 2.5), positive=True, proportional=0.3),
    "zinc": Family("drifting", 4.0, 0.05, 0.12, 60.0, (3.0, 6.0), positive=True, proportional=0.3),
    "mercury": Family("drifting", 0.2, 0.05, 0.12, 60.0, (0.02, 0.1), positive=True, proportional=0.3),
    "ammonia": Family("regulated", 0.05, 0.0, 0.12, 3.0, (0.02, 0.05), 0.4, positive=True, proportional=0.3),
    "nitrite": Family("regulated", 0.05, 0.0, 0.12, 3.0, (0.03, 0.06), 0.4, positive=True, proportional=0.3),
    "temperature": Family("regulated", 0.5, 0.0, 0.096, 0.5, (25.5, 1.0), 0.5),
    "ph": Family("regulated", 0.1, 0.0, 0.084, 0.5, (8.15, 0.15), 0.7),
    "oxygen": Family("regulated", 0.4, 0.0, 0.084, 0.5, (6.5, 0.6), 0.8, positive=True),
    "orp": Family("regulated", 30.0, 0.0, 0.12, 1.0, (330.0, 60.0), 0.6),
    "par": Family("regulated", 30.0, 0.0, 0.036, 1.0, (150.0, 120.0), 0.1, positive=True, proportional=0.1),
    "level": Family("regulated", 0.01, 0.0, 0.12, 0.5, (0.0, 0.5), 0.5),
    "flow": Family("regulated", 200.0, 0.0, 0.06, 5.0, (2000.0, 2500.0), 0.2, positive=True, proportional=0.1),
    "power": Family("regulated", 5.0, 0.0, 0.06, 1.0, (50.0, 200.0), 0.3, positive=True, proportional=0.1),
    "conductivity": Family("drifting", 0.7, 0.05, 0.06, 240.0, (53.0, 2.5)),
    "tds": Family("drifting", 1.0, 0.03, 0.12, 90.0, (1.0, 3.0), positive=True, proportional=0.2),
    "relative_humidity": Family("regulated", 0.05, 0.0, 0.12, 0.5, (0.5, 0.15), 1.0, positive=True),
    "co2_air": Family("regulated", 80.0, 0.0, 0.12, 0.5, (600.0, 200.0), 1.0, positive=True),
}


def family(quantity: str) -> Family | None:
    """The dynamics of a quantity, or None for one that is kept but not reckoned."""
    return FAMILIES.get(quantity)
