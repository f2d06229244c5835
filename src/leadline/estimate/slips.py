"""A slip of the unit shows as a ratio: the reading against what was expected, and what it would be in another unit.

The entry is kept as typed and the keeper is asked; nothing is ever changed silently.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# factor by which the typed value must be multiplied to be right, and what was probably meant (practice of the trade;
# factors are exact conversions rounded to four digits)
_DKH_PER_MEQ = 2.8038
_RATIOS: dict[str, tuple[tuple[float, str], ...]] = {
    "alkalinity": (
        (_DKH_PER_MEQ, "meq/L typed as dKH"),
        (1 / _DKH_PER_MEQ, "dKH typed as meq/L"),
        (1 / 17.848, "mg/L CaCO3 typed as dKH"),
        (17.848, "dKH typed as mg/L CaCO3"),
        (1 / 50.043, "mg/L CaCO3 typed as meq/L"),
        (50.043, "meq/L typed as mg/L CaCO3"),
    ),
    "nitrate": ((4.4266, "mg/L as N typed as NO3"), (1 / 4.4266, "mg/L NO3 typed as N")),
    "nitrite": ((3.2844, "mg/L as N typed as NO2"), (1 / 3.2844, "mg/L NO2 typed as N")),
    "ammonia": ((1 / 1.2879, "NH4 typed as N"), (1 / 1.2159, "NH3 typed as N")),
    "phosphate": (
        (3.0661, "mg/L as P typed as PO4"),
        (1 / 3.0661, "mg/L PO4 typed as P"),
        (0.0030661, "ug/L P typed as mg/L PO4"),
        (326.14, "mg/L PO4 typed as ug/L P"),
        (0.001, "ug/L typed as mg/L"),
    ),
    "silicate": ((2.1393, "Si typed as SiO2"), (1 / 2.1393, "SiO2 typed as Si")),
    "calcium": ((40.078, "mmol/L typed as mg/L"), (0.4004, "mg/L CaCO3 typed as Ca")),
    "magnesium": ((24.305, "mmol/L typed as mg/L"), (0.2429, "mg/L CaCO3 typed as Mg")),
    "level": ((0.01, "cm typed as m"), (0.0254, "in typed as m")),
    "flow": ((3.7854, "gallons typed as litres"), (1 / 3.7854, "litres typed as gallons")),
}
POISONS = frozenset({"copper", "zinc", "mercury", "ammonia", "nitrite", "iodine"})
_DECIMAL = "decimal point slipped"
_OPEN = frozenset({"nitrate", "phosphate", "silicate"})  # of which a neglected tank may hold ten times what harms
_THOUSAND = frozenset({"iodine", "iron", "copper", "zinc", "mercury", "silicate", "phosphate"})


@dataclass(frozen=True, slots=True)
class Slip:
    """What a reading would be, had another unit been meant."""

    value: float  # stored unit
    words: str
    ratio: float


def suspect(
    quantity: str, value: float, expected: float, sd: float, typed_unit: str = "",
    limit: tuple[float, float] | None = None,
) -> Slip | None:  # fmt: skip
    """The most likely slip behind a surprising reading, or None.

    Parameters
    ----------
    quantity
        Canonical name.
    value
        The reading, in the stored unit.
    expected, sd
        What was expected of it, in the stored unit; `sd` includes the kit's noise.
    typed_unit
        As it was typed, where known: a slip names the unit that was typed.
    limit
        Beyond which harm is expected; missing for a poison, of which much may be true.

    Notes
    -----
    A slip is suspected only when the reading as typed lies more than 3.2 sd away, the reading in the other unit lies
    within two and a half, and the slip explains it at least 150 times better: a real change is not talked away.
    After long without a reading almost anything was expected. Then a reading of less than half or more than twice
    what harms, more than one sd away, is suspected when the slip would bring it between the limits.
    """
    if sd <= 0 or not math.isfinite(value):
        return None
    z = abs(value - expected) / sd
    if z < 3.2:
        return _absurd(quantity, value, expected, z, typed_unit, limit) if z > 1.0 and limit else None
    best: Slip | None = None
    best_z = 2.5
    for slip in _candidates(quantity, value, expected):
        if not _fits(slip.words, typed_unit):
            continue
        other = abs(slip.value - expected) / sd
        if other < best_z and (z * z - other * other) / 2.0 > math.log(150.0):
            best, best_z = slip, other
    return best


def _absurd(
    quantity: str, value: float, expected: float, z: float, typed_unit: str, limit: tuple[float, float]
) -> Slip | None:
    low, high = limit
    if quantity in _OPEN:
        return None
    if low / 2.0 <= value <= 2.0 * high:
        return None
    found = [
        s for s in _candidates(quantity, value, expected)
        if _fits(s.words, typed_unit) and max(low, 1e-9) <= s.value <= high
        and abs(s.value - expected) < abs(value - expected)
    ]  # fmt: skip
    return min(found, key=lambda s: abs(s.value - expected)) if found else None


def _fits(words: str, typed_unit: str) -> bool:
    """False when the slip is of another unit than the one that was typed."""
    _, _, named = words.partition(" typed as ")
    unit = typed_unit.lower()
    if not named or not unit or named.lower() not in ("dkh", "meq/l", "mg/l caco3"):
        return True
    if "caco3" in unit or unit == "ppm":
        return "caco3" in named.lower()
    return named.lower() == unit


def _candidates(quantity: str, value: float, expected: float) -> list[Slip]:
    found = [Slip(value * f, words, 1 / f) for f, words in _RATIOS.get(quantity, ())]
    if quantity in _THOUSAND:
        found += [Slip(value * 1000.0, "mg/L typed as ug/L", 1e-3), Slip(value / 1000.0, "ug/L typed as mg/L", 1e3)]
    if quantity == "temperature":
        found.append(Slip((value - 32.0) / 1.8, "°F typed as °C", 1.8))
        found.append(Slip(value * 1.8 + 32.0, "°C typed as °F", 1 / 1.8))
    if quantity == "salinity":
        if 1.0 < value < 1.05:  # a specific gravity typed as psu; 25/25 (TEOS-10 fit, within 0.01)
            found.append(Slip(1321.08 * (value - 1.0) + 0.157, "specific gravity typed as psu", value / expected))
        if 40.0 < value < 65.0:  # conductivity at 25 °C typed as psu; slope at S 35 (PSS-78)
            found.append(Slip(35.0 + 0.742 * (value - 53.07), "mS/cm typed as psu", value / expected))
    # a slipped decimal point, any quantity that is not a scale
    if quantity in ("calcium", "magnesium"):
        found.append(Slip(value * 1000.0, "point typed for a thousands sign", 1e-3))
    if quantity not in ("ph", "temperature", "salinity"):
        found += [Slip(value * 10.0, _DECIMAL, 0.1), Slip(value / 10.0, _DECIMAL, 10.0)]
    if quantity in POISONS and value > expected:  # much of a poison may be true
        found = [s for s in found if s.ratio >= 100.0]
    return found
