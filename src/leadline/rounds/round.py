"""Today's round: candidates of one system or of all, the best set for the minutes, and what can wait."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from leadline.measures.figures import day
from leadline.measures.moments import zone
from leadline.measures.words import _
from leadline.rounds.choose import FLOOR_WORTH, best_set, ranked
from leadline.rounds.item import Candidate, Later, Round


def make(
    found: Sequence[Candidate], minutes: float, as_of: dt.datetime, system: str, names: dict[str, str], time_zone: str
) -> Round:
    """Choose the round from candidates."""
    worthy = [c for c in found if c.worth / c.minutes >= FLOOR_WORTH]
    chosen = ranked(best_set(worthy, minutes))
    ids = {id(c) for c in chosen}
    waiting = [c for c in found if id(c) not in ids]
    waiting.sort(key=lambda c: -c.worth / c.minutes)
    later = []
    for c in waiting:
        missed = c.worth / c.minutes >= FLOOR_WORTH
        if missed:
            until = as_of + dt.timedelta(days={"now": 0.5, "today": 1.0}.get(c.urgency, 3.0))
            because = _("Does not fit into these {minutes} minutes. {because}").format(
                minutes=f"{minutes:g}", because=c.because
            )
        else:
            until = c.waits_until or as_of + dt.timedelta(days=28)
            because = _("Can wait until {day}. {because}").format(
                day=day(until, zone(time_zone), as_of), because=c.because
            )
        later.append(Later(c.action, c.subject, until, because, c.minutes, c.system, missed))
    return Round(system, as_of, minutes, tuple(chosen), tuple(later), names)
