"""The best set for the minutes there are, chosen exactly; ties by urgency."""

from __future__ import annotations

import math
from collections.abc import Sequence

from leadline.rounds.item import URGENCIES, Candidate

TICK = 0.5  # minutes are counted in halves
FLOOR_WORTH = 0.02  # harm avoided per minute below which the keeper's time is worth more; see bench/effort.py


def _ticks(minutes: float) -> int:
    return max(1, math.ceil(minutes / TICK - 1e-9))


def best_set(candidates: Sequence[Candidate], minutes: float) -> list[Candidate]:
    """The subset with the greatest worth that fits into `minutes` (0/1 knapsack, dynamic programming, exact).

    Of sets with equal worth the one with the more urgent items wins, then the shorter.
    """
    room = int(minutes / TICK + 1e-9)
    if room <= 0:
        return []
    # value: (worth, urgency score, minutes unused); lexicographic order makes the tie-breaks exact
    best: list[tuple[float, int, int]] = [(0.0, 0, 0)] * (room + 1)
    took: list[list[bool]] = []
    for c in candidates:
        t, u = _ticks(c.minutes), len(URGENCIES) - URGENCIES.index(c.urgency)
        row = [False] * (room + 1)
        for left in range(room, t - 1, -1):
            w, v, m = best[left - t]
            new = (round(w + c.worth, 12), v + u, m - t)
            if new > best[left]:
                best[left], row[left] = new, True
        took.append(row)
    chosen, left = [], room
    for i in range(len(candidates) - 1, -1, -1):
        if took[i][left]:
            chosen.append(candidates[i])
            left -= _ticks(candidates[i].minutes)
    return chosen


def ranked(chosen: Sequence[Candidate]) -> list[Candidate]:
    """Most urgent first, then by harm avoided per minute."""
    return sorted(chosen, key=lambda c: (URGENCIES.index(c.urgency), -c.worth / c.minutes, c.subject))
