"""A probe in company: against another probe of the same water, and against the keeper's hand tests."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from leadline.detect.past import Nature
from leadline.detect.words import named

Array = np.ndarray
LEARN_D = 6  # days of difference before it is judged
K, H = 0.5, 5.0  # of the tabular CUSUM: two-sided, one false alarm in 465 days at a value a day (sheet 3.2, ARL-3)
SPREADS, LAYERED, STEADY_H, OFTEN = 8.0, 3.0, 24, 1.5
ONCE = 0.6  # a shift most of which came within hours is a step (calibration, moved cable), no drift


def scatter(values: Array | list[float]) -> float:
    """Spread about the median that a few wild values do not change: like a standard deviation."""
    x = np.asarray(values)
    return 1.4826 * float(np.median(np.abs(x - np.median(x))))


@dataclass(frozen=True, slots=True)
class Apart:
    """Two probes that no longer agree: by how much, over how many days; `at_once` when they parted within hours."""

    by: float
    days: float
    at_once: bool


class Pair:
    """The difference of two probes hour by hour: what is usual, and when it stops to be."""

    def __init__(self, nature: Nature) -> None:
        self.nature = nature
        self.diffs: deque[tuple[int, float]] = deque(maxlen=24 * 15)
        self.usual, self.spread, self.daily = np.nan, 0.0, 0.0
        self.learned_hour = 0
        self.first_hour: int | None = None
        self.high = self.low = 0.0
        self.off = 0
        self.last_ok = 0
        self.shift = 0.0  # of the last day

    def take(self, hour: int, difference: float) -> None:
        """The difference of one hour's levels, first less second."""
        if self.diffs and hour <= self.diffs[-1][0]:
            return
        self.diffs.append((hour, difference))
        if self.first_hour is None:
            self.first_hour = hour
        if self.usual != self.usual:
            if hour % 24 == 0 and hour - self.first_hour >= 24 * LEARN_D and len(self.diffs) >= 18 * LEARN_D:
                self._learn(hour)
            return
        far = abs(difference - self.usual) > self.most
        self.off = self.off + 1 if far else 0
        if not far:
            self.last_ok = hour

    def _of_days(self) -> tuple[float, float]:
        """Median of the differences in hand, and the scatter of their medians by day."""
        d = np.array([x for _, x in self.diffs])
        days = np.array([h // 24 for h, _ in self.diffs])
        medians = np.array([np.median(d[days == k]) for k in np.unique(days)])
        return float(np.median(d)), float(medians.std(ddof=1)) if len(medians) > 1 else 0.0

    def _learn(self, hour: int) -> None:
        self.usual, by_day = self._of_days()
        self.spread = scatter([x for _, x in self.diffs])
        # a floor: with a week of days the scatter of their medians is hardly known
        self.daily = max(by_day, self.nature.drift / 4.0)
        self.learned_hour = self.last_ok = hour
        self.high = self.low = 0.0
        self.off = 0

    def forget(self) -> None:
        """Learn anew what is usual, from here on."""
        self.diffs.clear()
        self.usual, self.first_hour = np.nan, None

    @property
    def most(self) -> float:
        """How far from the usual difference is too far at once."""
        return max(self.nature.apart, SPREADS * self.spread)

    def parted(self) -> Apart | None:
        """Far from the usual for two hours in a row, where it was steady before."""
        if self.off < 2:
            return None
        hour, d = self.diffs[-1]
        # two good probes of water that no longer mixes part and meet by fits and starts
        if scatter([x for h, x in self.diffs if h > hour - STEADY_H]) > LAYERED * max(
            self.spread, self.nature.drift / 4.0
        ):
            return None
        return Apart(d - self.usual, (hour - self.last_ok) / 24.0, True)

    def met(self) -> None:
        """They parted and met again: what they do in these weeks is part of what is usual.

        Each time makes the next less likely to be told: two that part every other day stand in different water.
        """
        self.spread = max(OFTEN * self.spread, scatter([x for _, x in self.diffs]))
        self.daily = max(OFTEN * self.daily, self._of_days()[1])
        self.high = self.low = 0.0

    def agree(self) -> bool:
        """Near the usual again, for two hours."""
        return len(self.diffs) >= 2 and all(abs(d - self.usual) < 0.5 * self.most for _, d in list(self.diffs)[-2:])

    def day(self, hour: int) -> Apart | None:
        """What the day that ends at `hour` says of a drift."""
        if self.usual != self.usual or hour - self.learned_hour < 24:
            return None
        recent = list(self.diffs)
        day = np.array([d for h, d in recent if hour - 24 <= h < hour])
        if len(day) < 12:
            return None
        middle = float(np.median(day))
        if scatter(day) > LAYERED * max(self.spread, self.nature.drift / 8.0):
            return None  # a drift is steady
        z = (middle - self.usual) / self.daily
        self.high, self.low = max(0.0, self.high + z - K), max(0.0, self.low - z - K)
        shift = self.shift = middle - self.usual
        if max(self.high, self.low) <= H or abs(shift) < self.nature.drift:
            return None
        if self._at_once(np.array([d for _, d in recent]), shift):
            self.forget()
            return None
        return Apart(shift, (hour - self.learned_hour) / 24.0, False)

    def _at_once(self, d: Array, shift: float) -> bool:
        """Whether most of a shift came within some hours."""
        if len(d) < 12:
            return False
        smooth = np.median(np.lib.stride_tricks.sliding_window_view(d, 5), axis=1)
        moved = smooth[6:] - smooth[:-6]
        return bool(len(moved) and np.abs(moved).max() > ONCE * abs(shift))


@dataclass(frozen=True, slots=True)
class Offset:
    """A probe against hand tests: what it reads too high at the last of them, and how that grows, each with its sd.

    `per_day` is None when fewer than three tests, or less than a day, say nothing of growth.
    """

    tests: int
    now: float
    sd: float
    per_day: float | None
    per_day_sd: float | None

    @property
    def real(self) -> bool:
        """Further from nought than twice its doubt."""
        return abs(self.now) > 2.0 * self.sd

    @property
    def grows(self) -> bool:
        """Grows or shrinks by more than twice the doubt of its growth."""
        return self.per_day is not None and self.per_day_sd is not None and abs(self.per_day) > 2.0 * self.per_day_sd

    def sentence(self, stream: str, digits: int, unit: str = "") -> str:
        """What it says of a stream, in a keeper's words."""
        of = f" {unit}" if unit and unit != "1" else ""
        if not self.real:
            return (
                f"{named(stream)} agrees with {_tests(self.tests)} by hand within their doubt: "
                f"{self.now:+.{digits}f} ± {2 * self.sd:.{digits}f}{of}."
            )
        side = "high" if self.now > 0 else "low"
        said = (
            f"{named(stream)} reads {abs(self.now):.{digits}f} ± {2 * self.sd:.{digits}f}{of} too {side} against "
            f"{_tests(self.tests)} by hand"
        )
        if self.grows and self.per_day is not None:
            toward = "more" if (self.per_day > 0) == (self.now > 0) else "less"
            said += f", and {abs(30 * self.per_day):.{digits}f}{of} {toward} with each month"
        return f"{said}. The estimate carries it as the probe's bias; calibrating it begins that bias anew."


def against_hand(days: Array, hand: Array, hand_sd: Array, probe: Array, probe_sd: float = 0.0) -> Offset | None:
    """Bias of a probe and its growth from hand tests and what the probe showed at those moments; None without any.

    A straight line by weighted least squares through the differences. Where they scatter by more than they should,
    their doubt is widened to what they show. The kit's own offset stays in the bias: more tests do not remove it.

    Parameters
    ----------
    days, hand, hand_sd, probe
        Time [d], test, its standard deviation, and the probe's median around that time (n,); NaN where there is none.
    probe_sd
        Scatter of such a median.
    """
    good = np.isfinite(hand) & np.isfinite(probe) & np.isfinite(hand_sd) & (hand_sd > 0.0)
    if not good.any():
        return None
    t, d = days[good].astype(float), (probe - hand)[good]
    var = hand_sd[good] ** 2 + probe_sd**2
    n = len(t)
    if n < 3 or np.ptp(t) < 1.0:
        weight = 1.0 / var
        mean = float((weight * d).sum() / weight.sum())
        return Offset(n, mean, float(weight.sum() ** -0.5), None, None)
    x = t - t.max()
    design = np.stack((np.ones(n), x), axis=1)
    inverse = np.linalg.inv(design.T @ (design / var[:, None]))
    solved = inverse @ (design.T @ (d / var))
    left = d - design @ solved
    wide = max(1.0, float((left * left / var).sum() / (n - 2)))
    sd = np.sqrt(np.diag(inverse) * wide)
    return Offset(n, float(solved[0]), float(sd[0]), float(solved[1]), float(sd[1]))


def _tests(n: int) -> str:
    return "1 test" if n == 1 else f"{n} tests"
