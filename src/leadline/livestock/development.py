"""How long a life stage takes at the water's own temperature: the worst end, between tested temperatures only."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from leadline.livestock.kinds import Fact
from leadline.measures.figures import number, plain

NEAR_K = 0.5  # a test at 24 °C is taken to hold within this much of it: tanks and thermometers wander so far


@dataclass(frozen=True, slots=True)
class Duration:
    """A stage's duration at some temperature. [d]

    `days` is None where there is no data; `why` says so, or what it rests on.
    """

    days: float | None
    why: str
    facts: tuple[Fact, ...] = ()

    @property
    def known(self) -> bool:
        """Whether there is a number."""
        return self.days is not None


def by_linear_rate(one: tuple[float, float], other: tuple[float, float], at_c: float) -> float:
    """Duration where the rate of development grows in a straight line with temperature (degree-days). [d]

    Parameters
    ----------
    one, other
        Temperature [°C] and duration [d], tested.
    at_c
        Between the two; beyond them nothing is known. [°C]
    """
    (t1, d1), (t2, d2) = one, other
    rate = 1.0 / d1 + (1.0 / d2 - 1.0 / d1) * (at_c - t1) / (t2 - t1)
    return 1.0 / rate


def by_q10(one: tuple[float, float], other: tuple[float, float], at_c: float) -> float:
    """Duration where the rate grows by the same factor with every degree (a Q10 law). [d]"""
    (t1, d1), (t2, d2) = one, other
    return d1 * (d2 / d1) ** ((at_c - t1) / (t2 - t1))


def threshold_and_degree_days(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    """Temperature at which a linear rate reaches zero [°C], and degree-days above it [°C d]."""
    (t1, d1), (t2, d2) = one, other
    slope = (1.0 / d2 - 1.0 / d1) / (t2 - t1)
    return t1 - (1.0 / d1) / slope, 1.0 / slope


def q10(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Factor by which ten degrees quicken it. [1]"""
    (t1, d1), (t2, d2) = one, other
    return float((d1 / d2) ** (10.0 / (t2 - t1)))


def longest(facts: Sequence[Fact], warmth_c: tuple[float, float] | None) -> Duration:
    """The longest that a stage can take anywhere between two temperatures; for "until all have hatched".

    Parameters
    ----------
    facts
        All facts of that stage, each with the temperature at which it was tested.
    warmth_c
        Coldest and warmest of the water; None when nobody measured it. [°C]
    """
    return _worst(facts, warmth_c, max, lambda f: f.most)


def shortest(facts: Sequence[Fact], warmth_c: tuple[float, float] | None) -> Duration:
    """The shortest that a stage can take; for "before any has laid"."""
    return _worst(facts, warmth_c, min, lambda f: f.least)


def _worst(
    facts: Sequence[Fact], warmth_c: tuple[float, float] | None, worst: Callable[..., float],
    end: Callable[[Fact], float | None],
) -> Duration:  # fmt: skip
    numbers = [f for f in facts if end(f) is not None]
    if not numbers:
        return Duration(None, "no data: nobody has published how long it takes")
    if any(f.temperature is None for f in numbers):
        free = [f for f in numbers if f.temperature is None]
        value = worst(float(end(f) or 0.0) for f in free)
        return Duration(value, "reported without a temperature", tuple(free))
    if warmth_c is None:
        return Duration(None, "no data: the water's temperature is not known")
    found: list[float] = []
    used: list[Fact] = []
    for at_c in dict.fromkeys(warmth_c):
        value_here, facts_here = _at(numbers, at_c, worst, end)
        if value_here is None:
            low = min(f.temperature[0] for f in numbers if f.temperature)
            high = max(f.temperature[1] for f in numbers if f.temperature)
            tested = f"{plain(low)} °C" if low == high else f"{plain(low)} to {plain(high)} °C"
            return Duration(None, f"no data at {number(at_c, 1)} °C: tested at {tested}")
        found.append(value_here)
        used += facts_here
    said = (
        f"at {number(warmth_c[0], 1)} °C"
        if warmth_c[0] == warmth_c[1]
        else f"at {number(warmth_c[0], 1)} to {number(warmth_c[1], 1)} °C"
    )
    return Duration(worst(found), said, tuple(dict.fromkeys(used)))


def _at(
    facts: Sequence[Fact], at_c: float, worst: Callable[..., float], end: Callable[[Fact], float | None]
) -> tuple[float | None, list[Fact]]:
    """The worst end at one temperature: of tests that hold there, and of both laws between two that enclose it."""
    values: list[float] = []
    used: list[Fact] = []
    for f in facts:
        assert f.temperature is not None
        if f.temperature[0] - NEAR_K <= at_c <= f.temperature[1] + NEAR_K:
            values.append(float(end(f) or 0.0))
            used.append(f)
    below = [f for f in facts if f.temperature and f.temperature[1] <= at_c]
    above = [f for f in facts if f.temperature and f.temperature[0] >= at_c]
    if not values and below and above:
        low = max(below, key=lambda f: f.temperature[1] if f.temperature else -math.inf)
        high = min(above, key=lambda f: f.temperature[0] if f.temperature else math.inf)
        assert low.temperature is not None
        assert high.temperature is not None
        one = (low.temperature[1], float(end(low) or 0.0))
        other = (high.temperature[0], float(end(high) or 0.0))
        if one[1] > 0.0 and other[1] > 0.0 and one[0] < other[0]:
            values += [by_linear_rate(one, other, at_c), by_q10(one, other, at_c)]
            used += [low, high]
    return (worst(values), used) if values else (None, used)
