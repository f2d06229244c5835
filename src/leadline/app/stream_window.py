"""A window of one stream: its points, or its hours or days with their extremes, and where the next window begins."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from leadline.app import oversee
from leadline.app.ports import Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock

ROLLUPS = ("auto", "raw", "hour", "day")
MOST = 10_000
_RAW_DAYS, _HOUR_DAYS = 7.0, 400.0  # "auto": up to so many days as points, up to so many as hours, else as days
_BUCKETS = {"hour": ("1h", 3600.0), "day": ("1d", 86400.0)}
_FIRST_S = 86400.0  # a long window is read in spans that double, so that a limit is met early


@dataclass(frozen=True, slots=True)
class Window:
    """Part of one stream, oldest first.

    Attributes
    ----------
    unit
        Of the values; empty where none is known.
    rollup
        `raw`, `hour` or `day`.
    points
        Unix seconds, value (None where it is missing), QARTOD flag; for `raw`.
    buckets
        Start [Unix s], count, least, greatest, mean; for `hour` and `day`.
    more
        Where the next window begins when not all of it fitted.
    """

    system: str
    stream: str
    unit: str
    start: dt.datetime
    end: dt.datetime
    rollup: str
    points: tuple[tuple[float, float | None, int], ...]
    buckets: tuple[tuple[float, int, float, float, float], ...]
    more: dt.datetime | None


def look(
    store: Store, clock: Clock, system: str, stream: str, start: dt.datetime | None = None,
    end: dt.datetime | None = None, rollup: str = "auto", most: int = 1000,
) -> Window:  # fmt: skip
    """Points of [start, end), the last day when nothing is said, at most so many.

    Raises
    ------
    UnknownName
        For a system or a stream that is not there.
    BadInput
        For a window that ends before it begins, or a limit outside 1 to 10,000.
    """
    known = {s.stream: s for s in oversee.streams(store, system)}
    if system not in store.systems() and not known:
        raise UnknownName("system", system, store.systems())
    if stream not in known:
        raise UnknownName("stream", stream, known, where=system, way_out="" if known else "None ever came in.")
    if rollup not in ROLLUPS:
        raise UnknownName("rollup", rollup, ROLLUPS)
    if not 1 <= most <= MOST:
        raise BadInput(f"{most} points", way_out=f"Ask for 1 to {MOST:,}.")
    end = end or clock.now()
    start = start or end - dt.timedelta(days=1)
    if start >= end:
        raise BadInput("the window ends before it begins", way_out="Give a start that is earlier than the end.")
    days = (end - start).total_seconds() / 86400.0
    if rollup == "auto":
        rollup = "raw" if days <= _RAW_DAYS else "hour" if days <= _HOUR_DAYS else "day"
    unit = known[stream].unit
    if rollup != "raw":
        name, _ = _BUCKETS[rollup]
        r = store.rollup(system, stream, start.timestamp(), end.timestamp(), name)
        rows = [
            (float(t), int(n), float(low), float(high), float(total) / int(n))
            for t, n, low, high, total in zip(
                r.start_s[: most + 1], r.n[: most + 1], r.least[: most + 1], r.greatest[: most + 1],
                r.total[: most + 1], strict=True,
            )
            if n
        ]  # fmt: skip
        more = _moment(rows[most][0]) if len(rows) > most else None
        return Window(system, stream, unit, start, end, rollup, (), tuple(rows[:most]), more)
    points = _points(store, system, stream, start.timestamp(), end.timestamp(), most + 1)
    more = _moment(points[most][0]) if len(points) > most else None
    return Window(system, stream, unit, start, end, rollup, tuple(points[:most]), (), more)


def _points(
    store: Store, system: str, stream: str, start_s: float, end_s: float, most: int
) -> list[tuple[float, float | None, int]]:
    found: list[tuple[float, float | None, int]] = []
    span, at = _FIRST_S, start_s
    while at < end_s and len(found) < most:
        until = min(at + span, end_s)
        part = store.points(system, stream, at, until)
        for t, v, flag in zip(part.times_s, part.values, part.flags, strict=True):
            found.append((float(t), None if math.isnan(v) else float(v), int(flag)))
        at, span = until, 2.0 * span
    return found[:most]


def _moment(seconds: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(seconds, dt.UTC)
