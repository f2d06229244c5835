"""Proof that a path works: when the next is due, how sure one may be, and the chance that an alarm reaches nobody.

A path counts as proved only by an answer that came back through it. Sheet 6.2 (proof tests, common cause), 5.4.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from leadline.alarms.delivery import Delivery, Stage
from leadline.alarms.message import span
from leadline.system.orders import Rhythm

# a path fails once in 120 days until its own proofs say otherwise (sheet DLV-2, judgement): Gamma(1, 120 d)
PRIOR_FAILURES, PRIOR_DAYS = 1.0, 120.0
NEVER_PROVED, UNANSWERED = 0.5, 0.9  # chance that such a path is dead: judgement
TONIGHT_D = 0.5
# what paths share, and the share of time it is down: mains 342 min a year (US EIA Electric Power Annual 11.1, 2023),
# internet between 99 and 99.9 % (memory), a home's own network as much again, and the watch's own machine, which all
# paths share (judgement)
DOWN: Mapping[str, float] = {"mains": 342.0 / 525_600.0, "internet": 0.004, "network": 0.002, "watch": 0.002}
DOWN_ELSE = 0.005  # anything else that paths are said to share: judgement


@dataclass(frozen=True, slots=True)
class Proven:
    """What is known of one person's path.

    Attributes
    ----------
    proved_s
        When an answer last came back through it as it is now set up; None: never. [Unix s]
    asked_s
        When the last proof was asked for that is not answered; None when none is open.
    overdue
        Whether that proof's window has passed.
    answered, missed
        Proofs that were answered and that were not, ever.
    days
        For how long it has been proved on and off. [d]
    shares
        What it has in common with other paths.
    """

    person: str
    path: str
    proved_s: float | None
    asked_s: float | None
    overdue: bool
    answered: int
    missed: int
    days: float
    shares: tuple[str, ...]

    @property
    def counts(self) -> bool:
        """Whether the path counts as proved."""
        return self.proved_s is not None and not self.overdue

    def rate_per_day(self) -> float:
        """Failures a day: the prior, updated with its own misses. [1/d]"""
        return (PRIOR_FAILURES + self.missed) / (PRIOR_DAYS + self.days)

    def dead(self, at_s: float) -> float:
        """Chance that it does not work at a moment by a fault of its own."""
        if self.overdue:
            return UNANSWERED
        if self.proved_s is None:
            return NEVER_PROVED
        return 1.0 - math.exp(-self.rate_per_day() * max(at_s - self.proved_s, 0.0) / 86400.0)


def nobody(paths: Sequence[Proven], at_s: float) -> float:
    """Chance that an alarm at a moment reaches nobody: every path's own fault, and what they have in common.

    Exact: all states of what is shared are gone through.
    """
    return miss([(p.dead(at_s), (*p.shares, "watch")) for p in paths], DOWN)


def miss(paths: Sequence[tuple[float, Sequence[str]]], down: Mapping[str, float]) -> float:
    """Chance that all paths fail; each has a chance of its own and the names of what it shares.

    >>> round(miss([(0.02, ("common",)), (0.05, ("common",)), (0.01, ("common",))], {"common": 0.005}), 8)
    0.00500995
    """
    if not paths:
        return 1.0
    shared = sorted({s for _, shares in paths for s in shares})
    total = 0.0
    for states in itertools.product((False, True), repeat=len(shared)):
        failed = {name for name, is_down in zip(shared, states, strict=True) if is_down}
        chance = math.prod(
            down.get(name, DOWN_ELSE) if name in failed else 1.0 - down.get(name, DOWN_ELSE) for name in shared
        )
        total += chance * math.prod(1.0 if failed.intersection(shares) else own for own, shares in paths)
    return total


def mean_unavailability(days: float, mean_life_d: float) -> float:
    """Share of time that a path is dead unnoticed when it is proved every so many days (sheet DLV-2).

    >>> round(mean_unavailability(1.0, 120.0), 6)
    0.004155
    """
    x = days / mean_life_d
    return 1.0 - (1.0 - math.exp(-x)) / x


def due_s(rhythm: Rhythm, last_asked_s: float | None, now_s: float, time_zone: str) -> float:
    """When the next proof is to be asked for: at the set hour, so many days after the last. [Unix s]

    Without a last one it is now. A clock change moves it with the wall clock.
    """
    if last_asked_s is None:
        return now_s
    local = ZoneInfo(time_zone)
    last = dt.datetime.fromtimestamp(last_asked_s, local)
    at = dt.time(rhythm.at_minute // 60, rhythm.at_minute % 60)
    day = last.date() + dt.timedelta(days=rhythm.every_d)
    found = dt.datetime.combine(day, at, local).timestamp()
    if rhythm.every_d == 1 and last.time() < at:  # asked in between, by hand or at the start: today's hour still comes
        found = dt.datetime.combine(last.date(), at, local).timestamp()
    return found


def missed(tries: Sequence[Delivery], asked_s: float, now_s: float, said: Rhythm) -> str:
    """Why an open proof counts as missed; empty while it may still be answered."""
    if tries and tries[-1].stage is Stage.FAILED:
        return f"it could not be sent ({tries[-1].note})"
    if tries and tries[-1].stage in (Stage.QUEUED, Stage.TRYING) and now_s - asked_s > said.hand_over_s:
        return f"nothing took it for {span(now_s - asked_s)} ({tries[-1].note or 'no try yet'})"
    if now_s - asked_s > said.window_s:
        return f"no answer within {span(said.window_s)}"
    return ""
