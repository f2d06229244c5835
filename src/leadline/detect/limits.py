"""Out of bounds, far and long enough: a condition with dead-band, on-delay and off-delay over points as they come.

Live and replay run the same code: a batch of points goes in, the moments at which the condition came true or ended
come out, and what is remembered between batches is a few numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray


@dataclass(frozen=True, slots=True)
class Rule:
    """When a signal is beyond an edge, and when it is back.

    Attributes
    ----------
    edge, above
        The edge in the stored unit; whether being above it is the condition, else below.
    dead_band
        How far back inside a value must come before the condition can end. At least three sds of short noise
        (EEMUA 191 and the sheet's 5.3).
    on_delay_s, off_delay_s
        How long it must last before it counts, and how long it must be gone before it is over.
    """

    edge: float
    above: bool
    dead_band: float = 0.0
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0


@dataclass(slots=True)
class Memory:
    """What a rule remembers between batches: the side it saw last and since when, and whether its condition counts."""

    beyond: bool = False
    since_s: float = -np.inf
    counts: bool = False


@dataclass(frozen=True, slots=True)
class Turn:
    """A condition that came true, or ended."""

    at_s: float
    holds: bool
    value: float  # the latest at that moment


def watch(rule: Rule, memory: Memory, times_s: Array, values: Array) -> list[Turn]:
    """Take a batch of points, ascending; missing ones (NaN) say nothing.

    A delay can run out between two points; the turn then carries the moment at which it did, provided that the next
    point still shows that side.
    """
    there = np.isfinite(values)
    t, v = times_s[there], values[there]
    if not len(t):
        return []
    sign = 1.0 if rule.above else -1.0
    past = sign * (v - rule.edge)
    side = np.where(past > 0.0, 1, np.where(past < -rule.dead_band, -1, 0)).astype(np.int8)
    known = np.flatnonzero(side)
    first = 1 if memory.beyond else -1
    if len(known):  # between the edges it is as it was
        filled = np.empty(len(side), dtype=np.int8)
        filled[: known[0]] = first
        gaps = np.diff(np.append(known, len(side)))
        filled[known[0] :] = np.repeat(side[known], gaps)
    else:
        filled = np.full(len(side), first, dtype=np.int8)
    changes = np.flatnonzero(np.diff(np.concatenate(([first], filled))))
    turns: list[Turn] = []
    begin = memory.since_s
    state = memory.beyond
    for k in [*changes.tolist(), len(t)]:
        due = begin + (rule.on_delay_s if state else rule.off_delay_s)
        if state != memory.counts and k and due <= float(t[k - 1]):
            at = due if due > -np.inf else float(t[0])
            place = max(int(np.searchsorted(t, at, side="right")) - 1, 0)
            turns.append(Turn(at, state, float(v[place])))
            memory.counts = state
        if k < len(t):
            begin, state = float(t[k]), bool(filled[k] > 0)
            if rule.on_delay_s == 0.0 and state and not memory.counts:
                turns.append(Turn(begin, True, float(v[k])))
                memory.counts = True
            elif rule.off_delay_s == 0.0 and not state and memory.counts:
                turns.append(Turn(begin, False, float(v[k])))
                memory.counts = False
    memory.beyond, memory.since_s = state, begin
    return turns
