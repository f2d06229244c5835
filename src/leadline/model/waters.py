"""What a poured-in water holds when the keeper did not say: mean and spread, in stored units per quantity.

Common practice throughout; natural seawater from its standard composition (memory). `extra` of an exchange or
top-off overrides any of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from leadline.measures.errors import BadInput
from leadline.measures.quantities import QUANTITIES
from leadline.system.methods import DKH

_MIXED = {
    "salinity": (35.0, 0.8),
    "alkalinity": (8.2 * DKH, 1.2 * DKH),
    "calcium": (425.0, 22.0),
    "magnesium": (1310.0, 60.0),
    "potassium": (395.0, 22.0),
    "strontium": (8.0, 1.2),
    "nitrate": (0.2, 0.3),
    "phosphate": (0.01, 0.02),
    "silicate": (60.0, 60.0),
    "iodine": (55.0, 18.0),
}
_NATURAL = {
    **_MIXED,
    "salinity": (35.0, 0.5),
    "alkalinity": (6.6 * DKH, 0.3 * DKH),
    "calcium": (415.0, 8.0),
    "magnesium": (1295.0, 20.0),
}
_TAP = {
    "salinity": (0.2, 0.15),
    "alkalinity": (3.0 * DKH, 3.0 * DKH),
    "calcium": (50.0, 30.0),
    "magnesium": (8.0, 6.0),
    "potassium": (3.0, 2.0),
    "strontium": (0.2, 0.2),
    "nitrate": (8.0, 9.0),
    "phosphate": (0.6, 0.8),
    "silicate": (4000.0, 3000.0),
    "copper": (30.0, 60.0),
}
WATERS: dict[str, dict[str, tuple[float, float]]] = {
    "mixed-seawater": _MIXED,
    "natural-seawater": _NATURAL,
    "ro": {},
    "distilled": {},
    "rain": {},
    "tap": _TAP,
}
DOUBT_OF_UNKNOWN = 4.0  # times the spread of a salt mix, for a water nobody knows; judgement
FRESH = frozenset({"ro", "distilled", "tap", "rain"})
# what `extra` of an exchange or top-off may state, and the factor to the stored unit (contract section 3)
STATED = {
    "salinity": (1.0, 0.3),
    "alkalinity": (DKH, 0.3 * DKH),
    "calcium": (1.0, 10.0),
    "magnesium": (1.0, 30.0),
    "nitrate": (1.0, 0.5),
    "phosphate": (1.0, 0.02),
    "potassium": (1.0, 12.0),
}


def known(kind: str) -> bool:
    """True when the composition of this kind of water is known."""
    return kind in WATERS


def composition(kind: str, extra: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    """Mean and sd of each quantity in a poured-in water; what is not named is absent from it.

    When only the salinity of a salt mix is stated, its ions scale with it. A water nobody knows is taken for a salt mix
    with wide doubt, or for fresh water when its stated salinity says so.
    """
    usual = WATERS.get(kind)
    if usual is None:
        said = extra.get("salinity")
        fresh = isinstance(said, int | float) and said < 5.0
        usual = {} if fresh else {name: (mean, DOUBT_OF_UNKNOWN * sd) for name, (mean, sd) in _MIXED.items()}
    found = dict(usual)
    stated = {name: value for name in STATED if (value := _possible(name, extra.get(name))) is not None}
    if "salinity" in stated and usual.get("salinity", (0.0, 0.0))[0] > 1.0:
        ratio = stated["salinity"] / usual["salinity"][0]
        for name in ("alkalinity", "calcium", "magnesium", "potassium", "strontium"):
            mean, sd = usual[name]
            found[name] = (mean * ratio, sd)
    for name, value in stated.items():
        found[name] = (value, STATED[name][1])
    return found


def _possible(name: str, value: Any) -> float | None:
    """What is stated of a water, in the stored unit; None when it is no number or no water holds it."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    low, high = QUANTITIES[name].span
    stored = float(value) * STATED[name][0]
    return stored if low <= stored <= high else None


def check(extra: Mapping[str, Any]) -> None:
    """Refuse an `extra` of an exchange or top-off that states what no water can be.

    Raises
    ------
    BadInput
        Naming the key and what stands there.
    """
    for name in STATED:
        value = extra.get(name)
        if value is not None and _possible(name, value) is None:
            raise BadInput(
                f"{name} of the new water: {value!r} is not possible",
                way_out='Give a number, such as {"salinity": 35.0, "alkalinity": 8.2}; alkalinity is in dKH.',
            )
    out = extra.get("volume_out")
    if out is not None and (isinstance(out, bool) or not isinstance(out, int | float) or not 0 <= out < 1e9):
        raise BadInput(f"volume_out {out!r} is no volume", way_out="Give litres, zero or more.")
