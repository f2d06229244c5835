"""Pumps: power that fell, rose or went, against what each usually draws.

A feeding pause is no fault: a stop counts after 35 minutes. Without a return or circulation pump the first harm is
want of oxygen; how long it takes is judgement from the census (C01: 4 to 12 h, C03: 12 to 72 h) and said so.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.machines.slopes import LONG_S
from leadline.detect.machines.states import ABSURD, Machine
from leadline.detect.words import named
from leadline.system.description import System

PAUSE_S = 2100.0
WEAK, STRONG = 0.8, 1.3  # of its usual power: the census has 0.4 to 0.7 for an air-lock, 0.8 to 0.9 for a slow clog
SLOT_S, KNOWN_SLOTS = 1800.0, 24
RETURN_H, OTHER_H = 6.0, 18.0  # until want of oxygen or warmth hurts: judgement, inside the census's ranges


@dataclass
class _Pump:
    machine: Machine
    track: Track
    levels: deque[float] = field(default_factory=lambda: deque(maxlen=336))  # mean power while on, by half hour [W]
    usual: float = math.nan
    lowest: float = 0.0
    highest: float = math.inf
    slot: int = -1
    low: int = 0
    high: int = 0


@dataclass
class Pumps:
    """The lookout for pumps: `return-pump-stopped`, `return-pump-weak`, `return-pump-strained`."""

    system: System
    hand: Hand
    pumps: list[_Pump] = field(default_factory=list)

    def add(self, machine: Machine, track: Track) -> None:
        """A machine whose first point has come; skimmers and UV lamps are told by their power too."""
        if machine.kind in ("pump", "skimmer", "uv"):
            self.pumps.append(_Pump(machine, track))

    def tick(self, now_s: float) -> Iterator[Finding]:
        """Which of them stopped or weakened."""
        for p in self.pumps:
            if p.machine.fresh(now_s):
                yield from self._stopped(p, now_s)
                if p.machine.in_watts:
                    yield from self._power(p, now_s)

    def _hours(self, p: _Pump) -> float:
        if p.machine.kind != "pump":
            return 72.0
        return RETURN_H if "return" in p.machine.id or self._only(p) else OTHER_H

    def _only(self, p: _Pump) -> bool:
        return not any(o is not p and o.machine.kind == "pump" and o.machine.on for o in self.pumps)

    def _stopped(self, p: _Pump, now_s: float) -> Iterator[Finding]:
        m = p.machine
        name = f"{m.id}-stopped"
        if m.on:
            yield from self.hand.standing.end(name, now_s, f"{named(m.id)} runs again.")
            return
        still = now_s - m.since_s
        usual = max((s for _, s in m.rests_s), default=0.0)  # a pump of a wave-maker rests as a habit
        often = m.on_s > 0.9 * m.known_s or (len(m.rests_s) >= 5 and m.on_s > 0.1 * m.known_s)
        if not (still > max(PAUSE_S, 2.0 * min(usual, 6 * 3600.0) if m.on_s < 0.9 * m.known_s else 0.0)):
            return
        if m.known_s < 6 * 3600.0 or not often:
            return
        hours = self._hours(p)
        yield from self.hand.standing.begin(
            name, m.id, now_s, m.last_value, max(hours * 3600.0 - still, 0.0),
            f"{named(m.id)} has stood still for {still / 60:.0f} min and usually never rests so long; "
            + self._assumed(p, hours),
        )  # fmt: skip

    def _assumed(self, p: _Pump, hours: float) -> str:
        if p.machine.kind != "pump":
            return "gas exchange is the less for it."
        return (
            f"without it oxygen or warmth is taken to last {hours:.0f} h (judgement): look at plug, impeller and "
            "water level."
        )

    def _power(self, p: _Pump, now_s: float) -> Iterator[Finding]:
        m = p.machine
        slot = int(now_s // SLOT_S)
        usual = p.usual if len(p.levels) >= KNOWN_SLOTS else math.nan
        name, strained = f"{m.id}-weak", f"{m.id}-strained"
        times = p.track.times
        recent = p.track.values[times.searchsorted(now_s - 600.0) :]
        running = [x for x in recent.tolist() if -ABSURD < x < ABSURD]
        if not running or not m.on or (not now_s - m.since_s > 600.0 and m.since_s == m.since_s):
            return
        mean = sum(running) / len(running)
        if usual == usual:
            p.low = p.low + 1 if mean < min(WEAK * usual, 0.95 * p.lowest) else 0
            p.high = p.high + 1 if mean > max(STRONG * usual, 1.05 * p.highest) else 0
            if p.low >= 2:
                share = mean / usual
                hours = self._hours(p) * (2.0 if share < 0.6 else 8.0)
                yield from self.hand.standing.begin(
                    name, m.id, now_s, mean, hours * 3600.0,
                    f"{named(m.id)} draws {mean:.0f} W and used to draw {usual:.0f} W: its flow has fallen; at less "
                    f"flow oxygen is taken to last {hours:.0f} h (judgement). Look for air, a snail, a clogged guard.",
                )  # fmt: skip
            elif p.high >= 2:
                yield from self.hand.standing.begin(
                    strained, m.id, now_s, mean, LONG_S,
                    f"{named(m.id)} draws {mean:.0f} W and used to draw {usual:.0f} W: it rubs or is dammed up.",
                )  # fmt: skip
            elif mean > 0.9 * usual:
                yield from self.hand.standing.end(name, now_s, f"{named(m.id)} draws {mean:.0f} W again.")
            if mean < 1.15 * usual:
                yield from self.hand.standing.end(strained, now_s, f"{named(m.id)} draws {mean:.0f} W again.")
        if slot != p.slot:
            p.slot = slot
            if name not in self.hand.standing and p.low == 0 and p.high == 0:
                p.levels.append(mean)
                ranked = sorted(p.levels)
                p.usual, rare = ranked[len(ranked) // 2], len(ranked) // 50
                p.lowest, p.highest = ranked[rare], ranked[-1 - rare]
