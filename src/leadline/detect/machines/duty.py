"""Duty: the share of the day a heater or chiller runs, where it climbs to, and what the room explains of it."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand
from leadline.detect.machines.slopes import LONG_S, kendall, level, theil_sen
from leadline.detect.machines.states import Machine
from leadline.detect.words import clock, named
from leadline.system.description import System

Array = np.ndarray
DAY = 86400.0
DAYS, LEAST_DAYS, AHEAD_DAYS = 28, 7, 21.0
SURE = 2.6  # Mann-Kendall: one in two hundred (one-sided)
LEAP = 0.3  # of a day more than the room explains


@dataclass
class _Duty:
    machine: Machine
    days: deque[tuple[float, float, float]] = field(
        default_factory=lambda: deque(maxlen=DAYS)
    )  # when, duty, room − water
    day: int = -1
    on_s: float = 0.0
    known_s: float = 0.0
    gaps: list[float] = field(default_factory=list)


@dataclass
class Duty:
    """The lookout for duty: `chiller-1-duty`, `heater-1-duty`."""

    system: System
    hand: Hand
    duties: list[_Duty] = field(default_factory=list)
    slot: int = -1

    def add(self, machine: Machine) -> None:
        """A machine whose first point has come."""
        if machine.kind in ("heater", "chiller"):
            self.duties.append(_Duty(machine))

    def tick(self, now_s: float) -> Iterator[Finding]:
        """Once an hour the room, once a day the duty."""
        slot = int(now_s // 3600.0)
        if slot == self.slot or not self.duties:
            return
        self.slot = slot
        gap = self._gap(now_s)
        for d in self.duties:
            d.gaps.append(gap)
            if slot // 24 == d.day:
                continue
            m = d.machine
            ran, known = m.on_s - d.on_s, m.known_s - d.known_s
            first = d.day < 0
            d.day, d.on_s, d.known_s = slot // 24, m.on_s, m.known_s
            room = [g for g in d.gaps if g == g]
            d.gaps.clear()
            if first or known < 0.6 * DAY:
                continue
            d.days.append((now_s, ran / known, sum(room) / len(room) if len(room) >= 12 else math.nan))
            yield from self._climb(d, now_s)

    def _gap(self, now_s: float) -> float:
        water = [level(t, now_s) for t in self.hand.of("temperature")]
        air = [level(t, now_s) for t in self.hand.tracks.values() if t.room and t.quantity == "temperature"]
        return air[0] - water[0] if air and water else math.nan

    def _climb(self, d: _Duty, now_s: float) -> Iterator[Finding]:
        m, name = d.machine, f"{d.machine.id}-duty"
        if len(d.days) < LEAST_DAYS:
            return
        at, duty, gap = np.array(d.days).T
        at = (at - now_s) / DAY
        explained, how = _by_room(duty, gap, at)
        recent = explained[-LEAST_DAYS * 2 :]
        pace = theil_sen(at[-len(recent) :], recent)
        sure = kendall(recent)
        today = float(duty[-1])
        left = (1.0 - float(np.median(duty[-3:]))) / pace if pace > 0.0 else math.inf
        usual = float(np.median(explained[:-1]))
        scatter = 1.4826 * float(np.median(np.abs(explained[:-1] - usual)))
        leapt = float(explained[-1]) - usual > max(LEAP, 5.0 * scatter) and float(explained[-2]) - usual > 0.5 * LEAP
        if sure > SURE and pace > 0.004 and left < AHEAD_DAYS and today > 0.3:
            on = clock(now_s + left * DAY, self.system, now_s)
            yield from self.hand.standing.begin(
                name, m.id, now_s, today, max(left, 1.01) * DAY,
                f"{named(m.id)} ran {100 * today:.0f} % of the last day, {100 * pace:.1f} points more each day{how}: "
                f"at this rate it runs without a pause on {on}, in {left:.0f} days, and can do no more.",
            )  # fmt: skip
        elif today > 0.97 and usual < 0.9:
            yield from self.hand.standing.begin(
                name, m.id, now_s, today, 2 * DAY,
                f"{named(m.id)} ran {100 * today:.0f} % of the last day, usually {100 * usual:.0f} %: it has no "
                "reserve left.",
            )  # fmt: skip
        elif leapt:
            yield from self.hand.standing.begin(
                name, m.id, now_s, today, LONG_S,
                f"{named(m.id)} ran {100 * today:.0f} % of the last day, usually {100 * usual:.0f} %{how}: a lid, a "
                "draught, a machine that works against it, or its own weakness.", consequence=False,
            )  # fmt: skip
        elif float(explained[-1]) - usual < 0.5 * LEAP and not (sure > SURE and pace > 0.0 and left < 2 * AHEAD_DAYS):
            yield from self.hand.standing.end(name, now_s, f"{named(m.id)} ran {100 * today:.0f} % of the last day.")


def _by_room(duty: Array, gap: Array, at: Array) -> tuple[Array, str]:
    """Duty as it would be at the mean room: what the room explains is taken out where it is measured."""
    if not np.isfinite(gap).all() or np.ptp(gap) < 1.0:
        return duty, ""
    design = np.stack((np.ones(len(gap)), gap - gap.mean(), at), axis=1)
    solved, *_ = np.linalg.lstsq(design, duty, rcond=None)
    return duty - solved[1] * (gap - gap.mean()), ", at the same warmth of the room"
