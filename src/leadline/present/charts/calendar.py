"""The time axis of any window, from minutes to decades, in the system's own zone and across clock changes.

Moments are stepped in wall-clock time and then asked where they lie: an hour that the clocks skip gets no label, one
that happens twice gets two, told apart by the zone's abbreviation; a day is as long as it is.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

from leadline.measures import figures
from leadline.measures.moments import LATEST_YEAR

# unit, how many of it, about how long [s], room that its label wants [px]
_STEPS = (
    *(("minute", n, 60.0 * n, 50.0) for n in (1, 2, 5, 10, 15, 30)),
    *(("hour", n, 3600.0 * n, 50.0 if n < 12 else 70.0) for n in (1, 2, 3, 6, 12)),
    *(("day", n, 86400.0 * n, 58.0) for n in (1, 2, 7)),
    *(("month", n, 30.44 * 86400.0 * n, 44.0) for n in (1, 3)),
    *(("year", n, 365.2425 * 86400.0 * n, 48.0) for n in (1, 2, 5, 10, 20, 50)),
)
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_DAY_ROOM, _YEAR_ROOM = 126.0, 48.0  # of a label in the lower row [px]
_PHONE = 290.0  # the narrowest a drawing gets [px]


@dataclass(frozen=True, slots=True)
class Tick:
    """One moment of the axis; `phone` when a phone has room for its label too, `text` empty for a bare edge."""

    at: dt.datetime
    text: str
    phone: bool = True


@dataclass(frozen=True, slots=True)
class Axis:
    """Labels of the upper row, and of the lower one: the day over hours, the year over days and months."""

    unit: str  # minute, hour, day, month, year
    upper: tuple[Tick, ...]
    lower: tuple[Tick, ...]


def axis(start: dt.datetime, end: dt.datetime, local: dt.tzinfo, room: float) -> Axis:
    """The labels of a window.

    Parameters
    ----------
    start, end
        Aware; the window.
    local
        The zone whose hours and days are written.
    room
        How wide the drawing usually is. [px]
    """
    span = (end - start).total_seconds()
    unit, n, long, wants = next((s for s in _STEPS if span / s[2] * s[3] <= room), _STEPS[-1])
    found = list(dict.fromkeys(_moments(start, end, local, unit, n)))
    texts = [_text(m, local, unit) for m in found]
    if unit in ("minute", "hour"):  # the clocks went back: an hour that happens twice says which of the two it is
        day_texts = [(m.astimezone(local).date(), t) for m, t in zip(found, texts, strict=True)]
        texts = [
            f"{t} {m.astimezone(local).tzname()}" if day_texts.count(d) > 1 else t
            for m, t, d in zip(found, texts, day_texts, strict=True)
        ]
    every = max(1, -int(-(span / long * wants) // _PHONE))
    upper = tuple(
        Tick(
            m, t if _apart(m, end, span, room) >= 0.7 * wants else "",  # a word must not leave the drawing
            i % every == 0 and _apart(m, end, span, _PHONE) >= 0.7 * wants,
        )
        for i, (m, t) in enumerate(zip(found, texts, strict=True))
    )  # fmt: skip
    return Axis(unit, upper, _lower(start, end, local, unit, room))


def regular(start: dt.datetime, end: dt.datetime, local: dt.tzinfo, most: int = 32) -> list[dt.datetime]:
    """Round moments of the wall clock in a window, as close together as gives no more than `most`."""
    span = (end - start).total_seconds()
    unit, n, _, _ = next((s for s in _STEPS if span / s[2] < most), _STEPS[-1])
    return list(_moments(start, end, local, unit, n))


def _lower(start: dt.datetime, end: dt.datetime, local: dt.tzinfo, unit: str, room: float) -> tuple[Tick, ...]:
    """What the upper labels leave unsaid, at the window's start and wherever it changes."""
    if unit == "year":
        return ()
    hours = unit in ("minute", "hour")
    wants = _DAY_ROOM if hours else _YEAR_ROOM
    changes = _moments(start, end, local, "day" if hours else "year", 1)

    def said(m: dt.datetime) -> str:
        there = m.astimezone(local)
        return f"{_WEEKDAYS[there.weekday()]} {figures.day(m, local)} {there.year}" if hours else f"{there.year}"

    span = (end - start).total_seconds()
    kept: list[Tick] = []
    for m in [start, *(m for m in changes if m > start)]:
        tick = Tick(m, said(m))
        if kept and _apart(kept[-1].at, m, span, room) < wants:
            if len(kept) > 1 or _apart(kept[-1].at, m, span, room) > wants / 2:
                continue
            kept.pop()  # what is left of the first day is too narrow for its name
        if _apart(m, end, span, room) >= wants / 2 or not kept:
            kept.append(tick)
    last = None
    for i, tick in enumerate(kept):
        fits = last is None or _apart(last, tick.at, span, _PHONE) >= wants
        fits = fits and (_apart(tick.at, end, span, _PHONE) >= wants * 0.8 or i == 0)
        kept[i] = replace(tick, phone=fits)
        last = tick.at if fits else last
    return tuple(kept)


def _apart(a: dt.datetime, b: dt.datetime, span: float, room: float) -> float:
    return (b - a).total_seconds() / span * room


def _text(moment: dt.datetime, local: dt.tzinfo, unit: str) -> str:
    there = moment.astimezone(local)
    if unit in ("minute", "hour"):
        return f"{there:%H:%M}"
    if unit == "day":
        return figures.day(moment, local)
    return figures.month(moment, local) if unit == "month" else f"{there.year}"


def _moments(start: dt.datetime, end: dt.datetime, local: dt.tzinfo, unit: str, n: int) -> Iterator[dt.datetime]:
    """Every n-th minute, hour, day (7: Mondays), month or year of the wall clock that lies in [start, end]."""
    found: set[dt.datetime] = set()
    for naive in _walls(start, end, local, unit, n):
        for fold in (0, 1):
            at = naive.replace(tzinfo=local, fold=fold).astimezone(dt.UTC)
            exists = at.astimezone(local).replace(tzinfo=None, fold=0) == naive
            if unit in ("minute", "hour"):
                if exists:
                    found.add(at)
            elif fold == 0:  # a day or more begins once: with its first moment, whatever the clock shows then
                found.add(at)
    yield from sorted(m for m in found if start <= m <= end)


def _walls(start: dt.datetime, end: dt.datetime, local: dt.tzinfo, unit: str, n: int) -> Iterator[dt.datetime]:
    """Wall-clock times at which labels may stand, from before the window to after it."""
    day = start.astimezone(local).date() - dt.timedelta(days=1)
    last = min(end.astimezone(local).date() + dt.timedelta(days=1), dt.date(LATEST_YEAR + 2, 1, 1))
    if unit in ("month", "year"):
        year, month = day.year // n * n if unit == "year" else day.year, 1
        while dt.date(year, month, 1) <= last:
            yield dt.datetime(year, month, 1)  # noqa: DTZ001 - a wall clock
            month += n if unit == "month" else 12 * n
            year, month = year + (month - 1) // 12, (month - 1) % 12 + 1
        return
    # clocks change by an hour or two; nothing further from the window's ends can lie in it
    first, until = (
        m.astimezone(local).replace(tzinfo=None) + dt.timedelta(hours=by) for m, by in ((start, -3), (end, 3))
    )
    while day <= last:
        midnight = dt.datetime(day.year, day.month, day.day)  # noqa: DTZ001
        if unit == "day":
            if (n == 7 and day.weekday() == 0) or (n < 7 and day.toordinal() % n == 0):
                yield midnight
        else:
            for minute in range(0, 1440, n * (60 if unit == "hour" else 1)):
                wall = midnight + dt.timedelta(minutes=minute)
                if first <= wall <= until:
                    yield wall
        day += dt.timedelta(days=1)


def changes(start: dt.datetime, end: dt.datetime, local: dt.tzinfo) -> list[tuple[dt.datetime, dt.timedelta]]:
    """Moments of the window, to the minute, at which the clocks changed, and by how much."""
    found = []
    at = start.astimezone(dt.UTC).replace(minute=0, second=0, microsecond=0)
    while at < end:
        following = at + dt.timedelta(hours=1)
        was, became = at.astimezone(local).utcoffset(), following.astimezone(local).utcoffset()
        if was is not None and became is not None and was != became:
            change = next(
                m
                for m in (at + dt.timedelta(minutes=k) for k in range(1, 61))
                if m.astimezone(local).utcoffset() != was
            )
            if start <= change <= end:
                found.append((change, became - was))
        at = following
    return found
