"""How well the alarms serve: the figures of IEC 62682 / ISA-18.2 clause 16 over a span (sheet 5.2)."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from leadline.alarms.alarm import State
from leadline.alarms.decide import Priority
from leadline.alarms.groups import FLOOD_ENDS, FLOOD_MOST, FLOOD_SPAN_S
from leadline.alarms.raised import Happened

DAY_S, STALE_S = 86400.0, 86400.0
CHATTER = 0.05  # index above which an alarm chatters: memory (Kondaveeti)


@dataclass(frozen=True, slots=True)
class Performance:
    """The figures of one span.

    Attributes
    ----------
    announced, days
        Alarms that spoke, and the span. [d]
    most_in_ten_minutes, busy_share
        The most in any ten minutes, and the share of ten-minute periods with more than ten.
    floods, flood_share
        Floods, and the share of the time in one.
    most_frequent
        The ten most frequent names, each with its count; `top_share` is theirs of all.
    chattering
        Names whose chatter index is above 0.05, each with its index.
    fleeting
        Alarms that came and went within a minute.
    stale
        Names that stood for longer than a day, each with the longest. [d]
    by_priority
        Share of each priority.
    answered, median_answer_s
        Alarms that were acknowledged, and the median time to it; None when none was.
    nights
        Alarms of high or urgent priority between 22:00 and 07:00 local time.
    shelved, suppressed
        How often.
    """

    days: float
    announced: int
    most_in_ten_minutes: int
    busy_share: float
    floods: int
    flood_share: float
    most_frequent: tuple[tuple[str, int], ...]
    top_share: float
    chattering: Mapping[str, float]
    fleeting: int
    stale: Mapping[str, float]
    by_priority: Mapping[str, float]
    answered: int
    median_answer_s: float | None
    nights: int
    shelved: int
    suppressed: int

    @property
    def per_week(self) -> float:
        """Alarms that spoke, a week."""
        return 7.0 * self.announced / self.days if self.days else 0.0


def chatter_index(times_s: Sequence[float]) -> float:
    """Mean of one over the seconds between successive alarms of one name (sheet MET-2); 0 for fewer than two."""
    gaps = [max(b - a, 1.0) for a, b in itertools.pairwise(times_s)]
    return sum(1.0 / g for g in gaps) / len(gaps) if gaps else 0.0


def measure(events: Sequence[Happened], begin_s: float, end_s: float, is_night: Mapping[float, bool]) -> Performance:
    """The figures of a span from what happened in it, in order of time.

    Parameters
    ----------
    is_night
        For the moment of each announcement of high or urgent priority, whether it was night there.
    """
    days = max((end_s - begin_s) / DAY_S, 1e-9)
    inside = [e for e in events if begin_s <= e.at_s < end_s]
    spoken = [e for e in inside if e.after is State.UNACKNOWLEDGED and not e.cause]
    times = [e.at_s for e in spoken]
    names = [f"{e.system} {e.name}" for e in spoken]
    counts = Counter(names)
    top = counts.most_common(10)
    busiest, flood_s, floods = _bursts(times)
    periods = Counter(int((t - begin_s) // FLOOD_SPAN_S) for t in times)
    busy = sum(n > FLOOD_MOST for n in periods.values())
    chatter = {n: chatter_index([t for t, m in zip(times, names, strict=True) if m == n]) for n in counts}
    fleeting, stale, waits = _spans(inside, end_s)
    loud = Counter(str(e.priority) for e in spoken)
    return Performance(
        days, len(spoken), busiest, busy / max((end_s - begin_s) / FLOOD_SPAN_S, 1.0), floods,
        flood_s / max(end_s - begin_s, 1.0), tuple(top), sum(n for _, n in top) / len(spoken) if spoken else 0.0,
        {n: x for n, x in chatter.items() if x > CHATTER}, fleeting, stale,
        {str(p): loud[str(p)] / len(spoken) if spoken else 0.0 for p in Priority},
        len(waits), sorted(waits)[len(waits) // 2] if waits else None,
        sum(is_night.get(e.at_s, False) for e in spoken if e.priority in (Priority.HIGH, Priority.URGENT)),
        sum(e.after is State.SHELVED for e in inside), sum(e.after is State.SUPPRESSED for e in inside),
    )  # fmt: skip


def _bursts(times: Sequence[float]) -> tuple[int, float, int]:
    """The most in any ten minutes; seconds in flood; number of floods."""
    most, first, flood_s, floods = 0, 0, 0.0, 0
    since: float | None = None
    for k, t in enumerate(times):
        while times[first] <= t - FLOOD_SPAN_S:
            first += 1
            if since is not None and k - first < FLOOD_ENDS:
                flood_s += max(times[first - 1] + FLOOD_SPAN_S - since, 0.0)
                since = None
        most = max(most, k - first + 1)
        if since is None and k - first + 1 > FLOOD_MOST:
            since, floods = t, floods + 1
    if since is not None:  # until fewer than five are left in the last ten minutes
        flood_s += max(times[max(len(times) - FLOOD_ENDS, 0)] + FLOOD_SPAN_S - since, 0.0)
    return most, flood_s, floods


def _spans(events: Sequence[Happened], end_s: float) -> tuple[int, dict[str, float], list[float]]:
    """Fleeting alarms, stale ones with their longest span [d], and the waits until an answer [s]."""
    standing: dict[str, float] = {}
    asked: dict[str, float] = {}
    fleeting, waits = 0, list[float]()
    stale: dict[str, float] = {}
    for e in events:
        key = f"{e.system} {e.name}"
        if e.after is State.UNACKNOWLEDGED:
            standing.setdefault(key, e.at_s)
            asked.setdefault(key, e.at_s)
        elif e.after in (State.NORMAL, State.RETURNED) and key in standing:
            span = e.at_s - standing.pop(key)
            fleeting += span < 60.0
            if span > STALE_S:
                stale[key] = max(stale.get(key, 0.0), span / DAY_S)
        if e.event.value == "acknowledge" and key in asked:
            waits.append(e.at_s - asked.pop(key))
    for key, since in standing.items():
        if end_s - since > STALE_S:
            stale[key] = max(stale.get(key, 0.0), (end_s - since) / DAY_S)
    return fleeting, stale, waits
