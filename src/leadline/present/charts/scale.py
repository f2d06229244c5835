"""How deep a chart reaches, and which depths are written at its side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from leadline.measures.figures import trimmed


@dataclass(frozen=True, slots=True)
class Depths:
    """The values between which a survey is drawn, in the shown unit, and its height. [px]"""

    low: float
    high: float
    height: float
    edges: tuple[float, ...] = ()

    def y(self, value: float) -> float:
        """Where a value stands, from the top. [px]"""
        return (self.high - value) / (self.high - self.low) * self.height

    def labels(self, digits: int, least: float = 13.0) -> list[tuple[float, str]]:
        """The edges of the bands, or round values where there are too few, none closer than `least`. [px]"""
        wanted = [e for e in self.edges if self.low <= e <= self.high]
        kept: list[float] = []
        for value in [*wanted, *(self._round_values() if len(set(wanted)) < 2 else [])]:
            y = self.y(value)
            if all(abs(self.y(k) - y) >= least for k in kept):
                kept.append(value)
        return [(self.y(v), trimmed(v, max(digits, 2))) for v in sorted(kept, reverse=True)]

    def _round_values(self) -> list[float]:
        span = self.high - self.low
        step = 10.0 ** math.floor(math.log10(span / 2))
        step *= next((m for m in (5, 2) if span / (step * m) >= 2), 1)
        first = math.ceil(self.low / step - 1e-9)
        last = math.floor(self.high / step + 1e-9)
        return [i * step for i in range(first, last + 1)]


_FAR = 2.2  # a limit further from the channel than this many of its widths is left off the drawing


def depths(
    seen: Sequence[float],
    spread: Sequence[float],
    aim: Sequence[float],
    limit: Sequence[float],
    floor: float | None,
    height: float,
) -> Depths:
    """Choose the depth of a survey.

    Parameters
    ----------
    seen
        Values that must stay in sight: the reckoned line, the fixes.
    spread
        The ends of the 90 % interval: in sight as far as that does not flatten the rest.
    aim, limit
        The bands' edges; the limits are drawn unless they lie so far off that they would flatten the rest.
    floor
        The lowest value that can be, if there is one.
    height
        Height of the drawing. [px]
    """
    must = [v for v in [*seen, *aim] if math.isfinite(v)] or [0.0, 1.0]
    low, high = min(must), max(must)
    room = (high - low) or max(abs(high) * 0.1, 1.0)
    reach = _FAR * (max(aim) - min(aim)) if len(aim) == 2 and max(aim) > min(aim) else room
    for edge in limit:
        if low - reach <= edge < low:
            low = edge
        elif high < edge <= high + reach:
            high = edge
    room = (high - low) or room
    wide = [v for v in spread if math.isfinite(v)]
    if wide:  # the spread may stretch the drawing by half its depth, no more
        low, high = max(min(low, *wide), low - 0.5 * room), min(max(high, *wide), high + 0.5 * room)
    pad = 0.1 * (high - low) if high > low else room
    low, high = low - pad, high + pad
    if floor is not None and low < floor:
        low = floor
    return Depths(low, high, height, (*aim, *limit))
