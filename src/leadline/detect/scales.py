"""What a number would be if it had been sent on another scale: °F for °C, µS for mS, ten times too much."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from leadline.measures.errors import LeadlineError
from leadline.seawater import convert

_SLOPE_MV = 59.16  # a glass electrode at 25 °C, mV a pH (Nernst)


@dataclass(frozen=True, slots=True)
class Scale:
    """Another scale: what it is called, and what a number on it is in the stored unit (None when it is nothing)."""

    words: str
    stored: Callable[[float], float | None]


def _unit(quantity: str, unit: str) -> Callable[[float], float | None]:
    def stored(x: float) -> float | None:
        try:
            return convert.to_stored(quantity, x, unit).value
        except LeadlineError:
            return None

    return stored


_BY_UNIT: dict[str, tuple[tuple[str, str], ...]] = {
    "temperature": (("°F", "degF"), ("K", "K")),
    "salinity": (("specific gravity", "sg@25/25"), ("mS/cm", "mS/cm")),
    "conductivity": (("µS/cm", "uS/cm"),),
    "oxygen": (("% saturation", "%"), ("µmol/kg", "umol/kg")),
}
_FACTORS = ((10.0, "ten times too large"), (100.0, "a hundred times too large"), (1000.0, "a thousand times too large"),
            (0.1, "ten times too small"), (0.001, "a thousand times too small"))  # fmt: skip


def scales(quantity: str, unit: str) -> Iterator[Scale]:
    """The other scales of a quantity whose stream is declared in `unit` (empty: the stored one)."""
    for words, other in _BY_UNIT.get(quantity, ()):
        yield Scale(f"in {words}", _unit(quantity, other))
    if quantity == "temperature" and unit.lower().replace("°", "deg") in ("degf", "f"):
        # what came in °C was turned from °F on its way in
        yield Scale("sent in °C, taken for °F", lambda x: x * 1.8 + 32.0)
    if quantity == "ph":
        yield Scale("as the electrode's mV", lambda x: 7.0 - x / _SLOPE_MV)
        yield Scale("as the electrode's mV with the sign turned", lambda x: 7.0 + x / _SLOPE_MV)
    for factor, words in _FACTORS:
        yield Scale(words, lambda x, factor=factor: x / factor)  # type: ignore[misc]
