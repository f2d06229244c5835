"""A probe's own past: its levels by ten minutes and by hour, its step, noise, longest flat run and usual hours."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from leadline.detect.trust import LIMITS
from leadline.measures.quantities import QUANTITIES

Array = np.ndarray
BIN_S, HOUR_BINS = 600.0, 6
HOUR_S, DAY_S = 3600.0, 86400.0
LATE_S = 300.0
ENDLESS = 1e9  # no probe sends a number beyond it: taken for none
CHUNK = 12  # points over which noise is reckoned
WEEKS_D = 28
NAN = float("nan")
NEVER = -(10**15)  # no bin, hour or day yet; clocks may stand before 1970


@dataclass(frozen=True, slots=True)
class Nature:
    """What a quantity of a tank does and does not do, in its stored unit. All judgement, beside sheet 4.2.

    Attributes
    ----------
    jump
        The most between two points; a point further off waits for the next to confirm it.
    leap
        The least change within ten minutes that is looked into.
    same
        Two levels this close can be the same water.
    flat_s
        The shortest flat line that can be a fault. [s]
    apart, drift
        What two probes of one water may differ by beyond their usual difference: at once, and as a drift.
    swing
        The least swing of a day whose loss means something; endless where the lamps do not make it, as with salt, or
        a heater that rests in a warm week takes it away.
    """

    jump: float
    leap: float
    same: float
    flat_s: float
    apart: float
    drift: float
    swing: float


NATURE: dict[str, Nature] = {
    "temperature": Nature(2.0, 0.6, 1.5, 6 * HOUR_S, 0.5, 0.2, np.inf),
    "ph": Nature(0.4, 0.3, 0.3, 6 * HOUR_S, 0.2, 0.1, 0.06),
    "salinity": Nature(2.0, 1.5, 2.0, 48 * HOUR_S, 1.0, 0.5, np.inf),
    "conductivity": Nature(3.0, 2.0, 3.0, 48 * HOUR_S, 1.5, 0.7, np.inf),
    "oxygen": Nature(2.0, 1.5, 1.5, 6 * HOUR_S, 1.0, 0.5, 0.4),
    "orp": Nature(100.0, 60.0, 40.0, 4 * HOUR_S, 60.0, 30.0, 15.0),
}


@dataclass(frozen=True, slots=True)
class Bin:
    """Ten minutes of a probe as it showed them, the points that were left out among them.

    `number` counts bins since 1970; `level` is the median, NaN when no point was a number; `bad` points were left out.
    """

    number: int
    level: float
    low: float
    high: float
    points: int
    bad: int


class Past:
    """What is remembered of one probe of the water, in constant space.

    Attributes
    ----------
    home
        The level it last stood on while nothing was odd; NaN before the first.
    quiver
        How far its level usually moves in ten minutes.
    refused
        Span of values that are left out because a finding says they are not the water's; None for none.
    away_since
        The bin in which it left its home at once; None while it is at home.
    run_value, run_since, last_s
        The value it has repeated, since when, and the time of its newest point. [s]
    """

    def __init__(self, quantity: str, period_s: float, nature: Nature, widest: tuple[float, float]) -> None:
        self.quantity, self.period_s, self.nature = quantity, period_s, nature
        self.low, self.high = widest
        self.jump = nature.jump * max(1.0, (period_s / 300.0) ** 0.5)  # the rarer the points, the further apart
        self.last_good = self.last_raw = NAN
        self.refused: tuple[float, float] | None = None
        self.number = NEVER
        self.open: list[float] = []
        self.open_bad = 0
        self.bins: deque[Bin] = deque(maxlen=2 * 144)
        self.fresh: list[Bin] = []  # ended, and not yet looked at
        self.gap_s = 0.0  # between its newest points
        self.home, self.quiver = NAN, 0.0
        self.away_since: int | None = None
        self.run_value, self.run_since, self.last_s = NAN, 0.0, 0.0
        self.first_s: float | None = None
        self.longest = [0.0, 0.0]  # of this fortnight and the one before
        self.run_is_fault = False
        self.step = np.inf
        self.chunk: list[float] = []
        self.chunks = 0
        self.noises: deque[float] = deque(maxlen=24 * 14)
        self.hour_noise: list[float] = []
        self.hours: deque[tuple[int, float]] = deque(maxlen=24 * 15)
        self.hour, self.hour_levels = NEVER, list[float]()
        self.hour_ended = self.noise_ended = False
        self.table = np.full((WEEKS_D, 24), NAN)
        self.day = NEVER

    # -- points -----------------------------------------------------------------------------------------

    def sift(self, values: list[float]) -> tuple[list[float], int]:
        """The values with NaN for those left out, and how many.

        Left out is what is no number, what lies outside all that the quantity can be and came there at once, a first
        point far from the one before (the next confirms it), and what a finding refuses. What moves out of the
        possible step by step is let through: it may be a catastrophe.
        """
        kept: list[float] = []
        bad = 0
        last, before, jump = self.last_good, self.last_raw, self.jump
        low, high = self.low, self.high
        refused = self.refused or (np.inf, -np.inf)
        for v in values:
            good = False
            if abs(v) < ENDLESS:
                inside = low <= v <= high
                near = abs(v - last) <= jump and (inside or jump < np.inf)  # False for NaN
                good = near or (inside and (last != last or abs(v - before) <= jump))
                good = good and not refused[0] <= v <= refused[1]
                before = v
            if good:
                last = v
                kept.append(v)
            else:
                bad += 1
                kept.append(NAN)
        self.last_good, self.last_raw = last, before
        return kept, bad

    def calm(self, values: list[float]) -> bool:
        """True when nothing in a batch could be left out: the short way for nearly all of them."""
        low, high, total = min(values), max(values), sum(values)
        last = self.last_good
        if (
            total - total == 0.0
            and low >= self.low
            and high <= self.high
            and self.refused is None
            and (high if high > last else last) - (low if low < last else last) <= self.jump
        ):
            self.last_good = self.last_raw = values[-1]
            return True
        return False

    def note(self, times_s: Array, values: list[float], kept: list[float] | None) -> None:
        """Remember a batch; `kept` is what sifting left, None when it left all."""
        first, end = times_s.item(0), times_s.item(-1)
        number = int(first // BIN_S)
        if self.first_s is None:
            self.first_s = first
        if kept is not None or end >= (number + 1) * BIN_S or not len(values):
            self._note_each(times_s, values, kept)
            return
        if number != self.number:
            self.close()
            self.number = number
        self.open += values
        self._runs(times_s, values, first, end)

    def _note_each(self, times_s: Array, values: list[float], kept: list[float] | None) -> None:
        """A batch over several bins, or with points left out."""
        numbers = np.floor_divide(times_s, BIN_S).astype(np.int64)
        cuts = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), len(values)]
        for a, b in pairwise(cuts):
            number = int(numbers[a])
            if number != self.number:
                self.close()
                self.number = number
            some = [v for v in values[a:b] if abs(v) < ENDLESS]
            self.open += some
            self.open_bad += sum(v != v for v in kept[a:b]) if kept else 0
            if len(some) == b - a:
                self._runs(times_s[a:b], some, times_s.item(a), times_s.item(b - 1))
            elif some:
                at = times_s[a:b][np.abs(np.array(values[a:b])) < ENDLESS]
                self._runs(at, some, at.item(0), at.item(-1))

    def _runs(self, times_s: Array, values: list[float], first: float, end: float) -> None:
        """Follow how long the same value has been repeated."""
        silent = first - self.last_s > max(5.0 * self.period_s, 1800.0)
        was = self.last_s
        self.last_s = end
        self.gap_s = (end - first) / (len(values) - 1) if len(values) > 1 else first - was
        v = self.run_value
        if not silent and v == values[0] and v == values[-1] and values.count(v) == len(values):
            return
        if silent:
            self._end_run(was)
            self.run_value, self.run_since = values[0], first
        for t, x in zip(times_s.tolist(), values, strict=True):
            if x != self.run_value:
                self._end_run(was)
                self.run_value, self.run_since = x, t
            was = t

    def _end_run(self, at_s: float) -> None:
        length = at_s - self.run_since
        if length > self.longest[0] and not self.run_is_fault and self.run_value == self.run_value:
            self.longest[0] = length
        self.run_is_fault = False

    # -- bins, hours, days ------------------------------------------------------------------------------

    def due(self, now_s: float) -> bool:
        """Whether the open bin is over: its last point is there, or has had five minutes to come."""
        end = (self.number + 1) * BIN_S
        return (
            now_s >= end
            and self.number != NEVER
            and (self.last_s >= end - 1.5 * max(self.period_s, self.gap_s) or now_s >= end + LATE_S or not self.open)
        )

    def close(self) -> None:
        """End the open bin."""
        values, bad = self.open, self.open_bad
        if self.number == NEVER or not (values or bad):
            return
        number = self.number
        self.open, self.open_bad, self.number = [], 0, NEVER
        self.chunk += values
        if len(self.chunk) >= CHUNK:
            self._noise()
        n = len(values)
        if n:
            values.sort()
            found = Bin(number, values[n // 2], values[0], values[-1], n, bad)
        else:
            found = Bin(number, NAN, NAN, NAN, 0, bad)
        hour = number // HOUR_BINS
        if hour != self.hour:
            self._end_hour()
            self.hour = hour
        if n and 2 * bad < n:
            self.hour_levels.append(found.level)
        if number % HOUR_BINS == HOUR_BINS - 1:
            self._end_hour()
        self.bins.append(found)
        self.fresh = [*self.fresh[-143:], found]

    def _noise(self) -> None:
        """Scatter of a chunk of points: their mean second difference, the largest quarter left aside.

        A straight change leaves no second difference; a single wild point makes three of them, which are left aside.
        """
        c = self.chunk
        self.chunk = []
        self.chunks += 1
        seconds: list[float] = []
        a, b = c[0], c[1]
        for x in c[2:]:
            seconds.append(abs(a - 2.0 * b + x))
            a, b = b, x
        seconds.sort()
        some = seconds[: max(3 * len(seconds) // 4, 1)]
        self.hour_noise.append(sum(some) / len(some))
        if self.chunks <= 40 or self.chunks % 20 == 0:
            steps = [round(abs(y - x), 7) for x, y in pairwise(c) if y != x]
            self.step = min([self.step, *(s for s in steps if s > 0.0)])

    def _end_hour(self) -> None:
        levels, noise = self.hour_levels, self.hour_noise
        if self.hour == NEVER or not (levels or noise):
            return
        self.hour_levels, self.hour_noise = [], []
        if levels:
            levels.sort()
            level = levels[len(levels) // 2]
            self.hours.append((self.hour, level))
            day = self.hour // 24
            if day != self.day:
                for d in range(max(self.day + 1, day - WEEKS_D + 1), day + 1):
                    self.table[d % WEEKS_D] = NAN
                if day // 14 != self.day // 14:
                    self.longest = [0.0, max(self.longest)]
                self.day = day
            if self.away_since is None:  # what is being asked about must not be its own excuse
                self.table[day % WEEKS_D, self.hour % 24] = level
        if noise:
            noise.sort()
            self.noises.append(noise[len(noise) // 2])
            self.noise_ended = True
        self.hour_ended = True

    # -- what is usual ----------------------------------------------------------------------------------

    @property
    def age_s(self) -> float:
        """How long the probe has been known."""
        return 0.0 if self.first_s is None else self.last_s - self.first_s

    def flat_for_s(self) -> float:
        """How long it has repeated one value."""
        return self.last_s - self.run_since if self.run_value == self.run_value else 0.0

    def flat_most_s(self) -> float:
        """Longer than three times its own longest healthy run, and than the quantity's least, is too long.

        A probe known for less than three days has had no chance to show its longest run: four times the least.
        """
        least = self.nature.flat_s * (1.0 if self.age_s > 3 * DAY_S + self.flat_for_s() else 4.0)
        return max(least, 3.0 * max(self.longest))

    def spans(self) -> Array:
        """Lowest and highest usual value by hour of the day in UTC (24, 2); NaN before a week is known.

        Quantiles of the past four weeks at that hour and the two beside it, wider by half their span on either side:
        a season moves on while one learns from the weeks before.
        """
        around = np.stack([np.roll(self.table, s, axis=1) for s in (-1, 0, 1)])
        found = np.full((24, 2), NAN)
        days = np.isfinite(self.table).sum(axis=0)
        for h in range(24):
            if days[h] >= 7:
                values = around[:, :, h]
                low, high = np.quantile(values[np.isfinite(values)], (0.01, 0.99))
                margin = 0.5 * (high - low) + 2.0 * min(self.step, self.nature.leap / 4.0)
                found[h] = low - margin, high + margin
        return found

    def usual(self, number: int, level: float) -> bool:
        """True when it has been on that level at that hour of the day in its past."""
        hour = (number // HOUR_BINS) % 24
        if np.isfinite(self.table[:, hour]).sum() < 7:
            return False
        low, high = self.spans()[hour]
        return bool(low <= level <= high)

    def leap(self) -> float:
        """A change within ten minutes that is more than its habit."""
        return max(self.nature.leap, 6.0 * self.quiver)

    def settle(self, found: Bin) -> None:
        """A bin in which nothing was odd: its level is home."""
        if self.home == self.home:
            self.quiver += (abs(found.level - self.home) - self.quiver) / 144.0
        self.home = found.level

    def since(self, number: int) -> list[Bin]:
        """Bins from a number on, with values."""
        found: list[Bin] = []
        for b in reversed(self.bins):
            if b.number < number:
                break
            if b.points:
                found.append(b)
        return found[::-1]

    def lately(self, enough: int) -> tuple[int, int]:
        """Points of the last two bins or more, until there are enough, and how many of them were left out."""
        points = bad = 0
        for number, b in enumerate(reversed(self.bins), 1):
            # of a bin with bad points only, some may be no numbers and are no `points`
            points, bad = points + max(b.points, b.bad), bad + b.bad
            if number >= 2 and points >= enough:
                break
        return points, bad

    def before(self, number: int) -> float:
        """The level of the last bin with values before a number; NaN for none."""
        for b in reversed(self.bins):
            if b.number < number and b.points:
                return b.level
        return NAN


def of(quantity: str, period_s: float, limit: tuple[float, float] | None) -> Past:
    """An empty past of a quantity; `limit` of the system's own band widens what is possible."""
    nature = NATURE.get(quantity)
    if nature is None:
        span = QUANTITIES[quantity].span if quantity in QUANTITIES else (-np.inf, np.inf)
        return Past(quantity, period_s, Nature(np.inf, np.inf, 0.0, np.inf, np.inf, np.inf, np.inf), span)
    low, high = LIMITS[quantity].fail
    if limit is not None:
        low, high = min(low, limit[0] - nature.same), max(high, limit[1] + nature.same)
    return Past(quantity, period_s, nature, (low, high))
