"""Probes of the same water beside each other, hour by hour: which pairs part, and what is told of it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field

import numpy as np

from leadline.detect.company import Apart, Pair
from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.past import DAY_S, HOUR_S, Past
from leadline.detect.words import change, named
from leadline.measures.quantities import quantity
from leadline.system.description import System


@dataclass
class Beside:
    """All pairs of probes of one quantity; `told` is what each pair's finding is named, by pair."""

    system: System
    hand: Hand
    pasts: dict[str, Past]
    pairs: dict[tuple[str, str], Pair] = field(default_factory=dict)
    told: dict[tuple[str, str], str] = field(default_factory=dict)

    def hourly(self, track: Track, distrusted: Collection[str], now_s: float) -> Iterator[Finding]:
        """After an hour of one probe: its pairs with those that are up to the same hour."""
        mine = self.pasts[track.stream]
        hour = mine.hours[-1][0]
        for other in self.hand.of(mine.quantity):
            theirs = self.pasts.get(other.stream)
            if theirs is None or theirs is mine or not theirs.hours or theirs.hours[-1][0] != hour:
                continue
            a, b = sorted((track.stream, other.stream))
            pair = self.pairs.get((a, b))
            if pair is None:
                pair = self.pairs[a, b] = Pair(mine.nature)
            if a in distrusted or b in distrusted or (pair.diffs and pair.diffs[-1][0] >= hour):
                continue
            pair.take(hour, self.pasts[a].hours[-1][1] - self.pasts[b].hours[-1][1])
            yield from self._judged(a, b, pair, hour, now_s)

    def _judged(self, a: str, b: str, pair: Pair, hour: int, now_s: float) -> Iterator[Finding]:
        name = self.told.get((a, b), "")
        if pair.usual != pair.usual:
            yield from self._over(a, b, f"What {a} and {b} differ by is learned anew.", now_s)
            return
        if abs(pair.usual) > pair.nature.same:
            return  # not one water: a vat beside the tank
        if not name and (parted := pair.parted()) is not None:
            yield from self._tell(a, b, parted, "disagrees", hour, pair.last_ok, now_s)
        elif name.endswith("-disagrees") and pair.agree():
            pair.met()
            yield from self._over(a, b, f"{named(a)} and {b} agree again.", now_s)
        if hour % 24 != 0 or self.told.get((a, b), "").endswith("-disagrees"):
            return
        drift = pair.day(hour)
        if not name and drift is not None:
            yield from self._tell(a, b, drift, "drifting", hour, pair.learned_hour, now_s)
        elif name.endswith("-drifting") and abs(pair.shift) < 0.5 * pair.nature.drift:
            pair.met()
            yield from self._over(a, b, f"{named(a)} and {b} agree again.", now_s)

    def _tell(self, a: str, b: str, apart: Apart, how: str, hour: int, since: int, now_s: float) -> Iterator[Finding]:
        moved, still = self._mover(a, b, hour, since)
        by = apart.by if moved == a else -apart.by
        what = self.pasts[a].quantity
        shown = change(by, what, self.system, quantity(what).digits + 1)
        if apart.at_once:
            because = (
                f"{named(moved)} came to stand {shown} off what {still} lets expect, within "
                f"{spoken(apart.days * DAY_S)}: either {moved} is wrong, or the water no longer flows between them. "
                "A test by hand tells."
            )
        else:
            because = (
                f"{named(moved)} has drifted by {shown} against {still} over {apart.days:.0f} days. A test by hand "
                "tells which of the two; the estimate carries it as the probe's bias."
            )
        name = self.told[a, b] = f"{moved}-{how}"
        # water that stands still harms; a drift by itself does not
        yield from self.hand.standing.begin(name, moved, now_s, by, None, because, consequence=apart.at_once)

    def _over(self, a: str, b: str, because: str, now_s: float) -> Iterator[Finding]:
        """What a pair told is over, unless another pair tells the same."""
        name = self.told.pop((a, b), "")
        if name and name not in self.told.values():
            yield from self.hand.standing.end(name, now_s, because)

    def _mover(self, a: str, b: str, hour: int, since: int) -> tuple[str, str]:
        """Which of two moved more since an hour, and the other."""
        moved = []
        for s in (a, b):
            hours = self.pasts[s].hours
            before = [x for h, x in hours if since - 24 < h <= since]
            now = [x for h, x in hours if h > hour - 2]
            moved.append(abs(np.median(now) - np.median(before)) if before and now else 0.0)
        return (a, b) if moved[0] >= moved[1] else (b, a)


def spoken(seconds: float) -> str:
    """A span as one says it."""
    if seconds < 1.95 * HOUR_S:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / HOUR_S:.0f} h" if seconds < 2 * DAY_S else f"{seconds / DAY_S:.0f} d"
