"""What an animal takes of the oxygen and gives of nitrogen: planning figures, with their spread."""

from __future__ import annotations

import math
from dataclasses import dataclass

from leadline.livestock.census import Lot
from leadline.livestock.kinds import Kind

_O2_MG_MMOL = 31.998
_N_MG_MMOL = 14.007
# Clarke and Johnston (1999), J Animal Ecology 68:893, resting uptake of a 50-g teleost: ln R = 15.7 - 5020/T
_C, _B = 15.7, 5020.0
_MASS = 50.0
EXPONENT, EXPONENTS = 0.80, (0.633, 0.89)  # the same paper; Nilsson et al. 2007 and Jerde et al. 2019: contested
ACTIVE = (2.0, 3.0)  # times the resting uptake, fed and active: memory
NITROGEN = (0.1, 0.2, 0.3)  # mol N given off per mol O2 taken up by a fed fish: memory
SHAPE = (0.010, 0.020, 0.035)  # weight in g of a fish of 1 cm, where weight goes with length cubed: memory


@dataclass(frozen=True, slots=True)
class Load:
    """Uptake of oxygen [mg/h] and what is given off as nitrogen [mg/d]: low, middle, high."""

    oxygen_mg_h: tuple[float, float, float]
    nitrogen_mg_d: tuple[float, float, float]
    weight_g: tuple[float, float, float]

    def times(self, n: float) -> Load:
        """So many of them."""
        return Load(*(tuple(x * n for x in part) for part in (self.oxygen_mg_h, self.nitrogen_mg_d, self.weight_g)))  # type: ignore[arg-type]


def resting_oxygen(weight_g: float, temperature_c: float, exponent: float = EXPONENT) -> float:
    """Resting oxygen uptake of a bony fish. [mg/h]

    References
    ----------
    Clarke and Johnston (1999): ln R [mmol/h] = 15.7 - 5.02 × 1000/T for 50 g, scaled by weight to the power 0.80.
    """
    mmol_h = math.exp(_C - _B / (temperature_c + 273.15)) * (weight_g / _MASS) ** exponent
    return mmol_h * _O2_MG_MMOL


def weight(length_cm: float) -> tuple[float, float, float]:
    """Weight of a fish of that length: low, middle, high. [g]"""
    return tuple(a * length_cm**3 for a in SHAPE)  # type: ignore[return-value]


def of_kind(kind: Kind | None, temperature_c: float, length_cm: float | None = None) -> Load | None:
    """Of one animal, grown up unless a length is given; None where nothing is known (not a fish, or no size)."""
    if kind is None or kind.group != "fish":
        return None
    said, grown = kind.fact("weight"), kind.fact("adult-length")
    if length_cm is None and said is not None and said.middle is not None:
        grams = (said.least or said.middle, said.middle, said.most or said.middle)
    else:
        size = length_cm if length_cm is not None else grown.most if grown is not None else None
        if size is None:
            return None
        grams = weight(size)
    ends = [resting_oxygen(g, temperature_c, x) for g in (grams[0], grams[2]) for x in (EXPONENT, *EXPONENTS)]
    oxygen = (min(ends), resting_oxygen(grams[1], temperature_c) * 2.5, max(ends) * ACTIVE[1])
    mmol_d = [x * 24.0 / _O2_MG_MMOL for x in (oxygen[0], oxygen[1], oxygen[2])]
    nitrogen = tuple(m * q * _N_MG_MMOL for m, q in zip(mmol_d, NITROGEN, strict=True))
    return Load(oxygen, (nitrogen[0], nitrogen[1], nitrogen[2]), grams)


def of_lot(lot: Lot, place: str, temperature_c: float) -> Load | None:
    """Of all of a lot at a place."""
    length = lot.about.get("length_cm")
    one = of_kind(lot.kind, temperature_c, float(length) if isinstance(length, (int, float)) else None)
    return one.times(lot.here.get(place, 0.0)) if one is not None else None
