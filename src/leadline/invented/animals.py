"""Who lives in the invented house before and beside the cohorts of its quarantine, and what is noted of them."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from leadline.invented.calendar import at
from leadline.invented.diary import Diary

BOOK_BEGUN = 450  # days ago: whoever was there is written down then
# id, kind, how many, more of it, how many days ago it was last seen (0: at every census)
Resident = tuple[str, str, int, dict[str, Any], int]
REEF: tuple[Resident, ...] = (
    ("old-tang", "zebrasoma-flavescens", 1, {"irreplaceable": True, "origin": "wild", "sex": "unknown"}, 0),
    ("percula-pair", "amphiprion-percula", 2, {"irreplaceable": True, "origin": "captive"}, 0),
    ("six-line", "pseudocheilinus-hexataenia", 1, {}, 13),
    ("great-table", "acropora", 1, {"irreplaceable": True, "papers": "invented permit 12/345, kept in the binder"}, 0),
    ("torch", "euphyllia", 1, {}, 0),
    ("button-polyps", "palythoa", 1, {}, 0),
    ("sand-cucumber", "holothuria", 1, {}, 0),
)
LAGOON: tuple[Resident, ...] = (
    ("chromis", "chromis-viridis", 7, {}, 0),
    ("cleaner-shrimp", "lysmata-amboinensis", 2, {}, 0),
    ("leather", "sarcophyton", 1, {}, 0),
    ("zoa-mat", "zoanthus", 1, {}, 0),
    ("bubble-tip", "entacmaea-quadricolor", 1, {}, 0),
)
Event = tuple[int, float, str, str, str, str, str, dict[str, Any]]  # ago, hour, kind, subject, value, unit, note, extra
REEF_EVENTS: tuple[Event, ...] = (
    (300, 20.9, "observation", "measured", "31", "cm", "longest way across", {"animal": "great-table"}),
    (209, 21.0, "observation", "eggs-laid", "", "", "at the foot of the torch", {"animal": "percula-pair"}),
    (199, 22.6, "observation", "hatched", "", "", "after lights out", {"animal": "percula-pair"}),
    (120, 20.9, "observation", "measured", "36", "cm", "longest way across", {"animal": "great-table"}),
    (6, 21.0, "observation", "eggs-laid", "", "", "same place as always", {"animal": "percula-pair"}),
    (8, 21.7, "observation", "seen", "", "", "netted to look at its fin", {"animal": "old-tang", "tool": "blue-net"}),
    (1, 20.5, "observation", "white-spots", "", "", "four, on the tail fin", {"animal": "old-tang"}),
)
LAGOON_EVENTS: tuple[Event, ...] = (
    (260, 20.8, "loss", "chromis", "1", "", "thin for weeks", {"how": "died", "exam": {"belly": "hollow"}}),
    (133, 20.8, "loss", "chromis", "2", "", "one after the other", {"how": "missing"}),
)


def life(
    diary: Diary, days: Sequence[tuple[int, dt.date]], zone: ZoneInfo, residents: Sequence[Resident],
    events: Sequence[Event], cohorts: Sequence[tuple[Any, ...]] = (),
) -> None:  # fmt: skip
    """Arrivals when the book was begun, a census about once a week, and what was noted.

    Parameters
    ----------
    cohorts
        Those of the quarantine, which move in when they leave it.
    """
    chance = random.Random(f"{diary.system} animals")
    on = dict(days)
    kept = {r[0]: r[2] for r in residents}
    for name, kind, count, more, _ in residents:
        extra = {"kind": kind, **more}
        diary.write(at(on[BOOK_BEGUN], zone, 19.0), "arrival", name, f"{count}", note="here when the book began",
                    source="before-the-book", extra=extra)  # fmt: skip
    moved = [(c[1], c[2], c[5]) for c in cohorts if c[1] is not None]
    lost = sorted(((ago, subject, int(value)) for ago, _, kind, subject, value, *_ in events if kind == "loss"))
    for ago, date in days:
        for _, subject, n in [x for x in lost if x[0] == ago]:
            kept[subject] -= n
        if ago < BOOK_BEGUN and ago > 0 and chance.random() < 0.16:
            found = {r[0]: kept[r[0]] for r in residents if not (r[4] and ago < r[4])}
            found.update({name: n for came, name, n in moved if ago < came})
            diary.write(at(date, zone, 21.0), "observation", "census", extra={"seen": found})
    for ago, hour, kind, subject, value, unit, note, extra in events:
        diary.write(at(on[ago], zone, hour), kind, subject, value, unit, note=note, extra=extra)
