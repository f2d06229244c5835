"""How well a method measures: repeatability, the step of its scale, the offset that stays with a kit or probe.

Figures are typical field performance by one careful keeper: common practice, none of them a maker's claim.
All values are in the quantity's stored unit.
"""

from __future__ import annotations

from dataclasses import dataclass

DKH = 0.356652  # meq/L: 10 mg/L CaO, exact by definition of the degree


@dataclass(frozen=True, slots=True)
class Performance:
    """What one method does to a true value.

    Attributes
    ----------
    sd
        Repeatability, one standard deviation, in the stored unit.
    relative
        Further repeatability as a fraction of the value. [1]
    bias_sd
        Spread of the offset that one kit lot or probe keeps, in the stored unit.
    bias_relative
        The same as a fraction of the value. [1]
    step
        Smallest step of the scale; 0 when it is fine against `sd`.
    minutes
        The keeper's time for one test. [min]
    """

    sd: float
    relative: float = 0.0
    bias_sd: float = 0.0
    bias_relative: float = 0.0
    step: float = 0.0
    minutes: float = 4.0


# common practice throughout: a hand kit of middling quality in careful hands
BY_QUANTITY: dict[str, Performance] = {
    "temperature": Performance(0.1, bias_sd=0.2, minutes=1),
    "salinity": Performance(0.35, bias_sd=0.35, minutes=2),
    "alkalinity": Performance(0.15 * DKH, 0.01, 0.12 * DKH, 0.01, minutes=4),
    "calcium": Performance(8.0, 0.0, 6.0, 0.0, minutes=5),
    "magnesium": Performance(25.0, 0.0, 18.0, 0.0, minutes=5),
    "potassium": Performance(12.0, 0.0, 10.0, 0.0, minutes=6),
    "strontium": Performance(0.8, 0.0, 0.6, 0.0, minutes=8),
    "ph": Performance(0.04, bias_sd=0.05, minutes=2),
    "nitrate": Performance(0.4, 0.15, 0.1, 0.12, minutes=5),
    "nitrite": Performance(0.02, 0.2, 0.0, 0.1, minutes=5),
    "ammonia": Performance(0.03, 0.2, 0.02, 0.1, minutes=5),
    "phosphate": Performance(0.012, 0.08, 0.008, 0.08, minutes=4),
    "silicate": Performance(40.0, 0.2, 20.0, 0.1, minutes=6),
    "iodine": Performance(10.0, 0.15, 8.0, 0.1, minutes=10),
    "iron": Performance(5.0, 0.3, 3.0, 0.2, minutes=8),
    "copper": Performance(3.0, 0.3, 2.0, 0.2, minutes=8),
    "zinc": Performance(4.0, 0.3, 3.0, 0.2, minutes=8),
    "mercury": Performance(0.5, 0.3, 0.3, 0.2, minutes=8),
    "oxygen": Performance(0.1, 0.0, 0.15, 0.0, minutes=2),
    "orp": Performance(8.0, 0.0, 30.0, 0.0, minutes=1),
    "par": Performance(0.0, 0.03, 0.0, 0.08, minutes=10),
    "level": Performance(0.003, minutes=1),
    "flow": Performance(0.0, 0.05, 0.0, 0.05, minutes=5),
    "power": Performance(0.3, 0.01, minutes=1),
    "conductivity": Performance(0.2, 0.0, 0.5, 0.0, minutes=2),
    "tds": Performance(1.0, 0.0, 1.0, 0.0, minutes=1),
}

_REFRACTOMETER = Performance(0.4, bias_sd=0.7, minutes=2)
# words that stand in a method's name, first match wins; common practice
BY_METHOD: dict[str, list[tuple[str, Performance]]] = {
    "salinity": [
        ("digital refract", Performance(0.3, bias_sd=0.6, minutes=2)),
        ("refract", _REFRACTOMETER),
        ("swing", Performance(1.0, bias_sd=1.2, minutes=2)),
        ("hydrom", Performance(0.3, bias_sd=0.35, minutes=4)),
        ("conduct", Performance(0.15, bias_sd=0.35, minutes=2)),
        ("salinometer", Performance(0.005, bias_sd=0.005, minutes=5)),
        ("lab", Performance(0.15, bias_sd=0.2, minutes=10)),
        ("probe", Performance(0.1, bias_sd=0.5, minutes=1)),
    ],
    "alkalinity": [
        ("drop", Performance(0.3 * DKH, 0.0, 0.3 * DKH, 0.02, minutes=4)),
        ("titrator", Performance(0.08 * DKH, 0.0, 0.2 * DKH, 0.01, minutes=1)),
        ("photom", Performance(0.25 * DKH, 0.0, 0.3 * DKH, 0.02, minutes=4)),
        ("titration", Performance(0.1 * DKH, 0.005, 0.12 * DKH, 0.01, minutes=4)),
        ("lab", Performance(0.1 * DKH, 0.0, 0.1 * DKH, 0.01, minutes=10)),
    ],
    "calcium": [
        ("lab", Performance(0.0, 0.02, 0.0, 0.03, minutes=10)),
        ("icp", Performance(0.0, 0.02, 0.0, 0.03, minutes=10)),
        ("photom", Performance(9.0, 0.0, 12.0, 0.0, minutes=5)),
        ("drop", Performance(10.0, 0.0, 10.0, 0.01, minutes=5)),
        ("titration", Performance(6.0, 0.0, 5.0, 0.01, minutes=5)),
    ],
    "magnesium": [
        ("lab", Performance(0.0, 0.02, 0.0, 0.03, minutes=10)),
        ("icp", Performance(0.0, 0.02, 0.0, 0.03, minutes=10)),
        ("drop", Performance(40.0, 0.0, 30.0, 0.01, minutes=5)),
        ("titration", Performance(20.0, 0.0, 15.0, 0.01, minutes=5)),
    ],
    "nitrate": [
        ("photom", Performance(0.5, 0.05, 0.2, 0.06, minutes=5)),
        ("lab", Performance(0.2, 0.05, 0.1, 0.05, minutes=10)),
    ],
    "phosphate": [
        ("photom", Performance(0.012, 0.04, 0.01, 0.05, minutes=4)),
        ("lab", Performance(0.01, 0.05, 0.01, 0.05, minutes=10)),
    ],
    "temperature": [("glass", Performance(0.3, bias_sd=0.4, minutes=1))],
}

PROBE: dict[str, Performance] = {
    "temperature": Performance(0.05, bias_sd=0.2),
    "ph": Performance(0.02, bias_sd=0.08),
    "salinity": Performance(0.1, bias_sd=0.5),
    "conductivity": Performance(0.1, bias_sd=0.7),
    "oxygen": Performance(0.05, bias_sd=0.2),
    "orp": Performance(5.0, bias_sd=30.0),
    "alkalinity": Performance(0.08 * DKH, bias_sd=0.2 * DKH),
}
FALLBACK = Performance(0.0, 0.1, 0.0, 0.1)


def performance(quantity: str, method: str = "") -> Performance:
    """What is assumed of a method by its name; the quantity's own default when the name says nothing."""
    words = method.lower()
    for word, found in BY_METHOD.get(quantity, ()):
        if word in words:
            return found
    return BY_QUANTITY.get(quantity, FALLBACK)


def probe_performance(quantity: str) -> Performance:
    """What is assumed of an in-water probe of that quantity."""
    return PROBE.get(quantity, BY_QUANTITY.get(quantity, FALLBACK))
