"""Instants, spans, "as of", the Clock.

Every moment inside Leadline is an aware datetime in UTC. Local wall time is understood once, at the door.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import Protocol
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from leadline.measures.errors import BadInput

UTC = dt.UTC
DAY_S = 86400.0
EARLIEST_YEAR, LATEST_YEAR = 1700, 2300  # nobody here means another year; zones can be reckoned in all of them
EARLIEST = dt.datetime(1971, 1, 1, tzinfo=UTC)  # earlier is a clock that was never set


class Clock(Protocol):
    """Whoever needs the time is given one of these."""

    def now(self) -> dt.datetime:
        """The present moment, aware, in UTC."""


class FixedClock:
    """A clock that stands still until told otherwise: for tests and for `--as-of`."""

    def __init__(self, moment: dt.datetime) -> None:
        self.moment = moment

    def now(self) -> dt.datetime:
        return self.moment


def zone(name: str) -> ZoneInfo:
    """The IANA zone of that name.

    Raises
    ------
    BadInput
        When there is no such zone.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as exc:
        raise BadInput(f"unknown time zone {name!r}", way_out="Use an IANA name such as Europe/Oslo.") from exc


_ISO = re.compile(
    r"(\d{4})-(\d{2})-(\d{2})(?:[T ](\d{2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?)?\s*(Z|z|[+-]\d{2}:?\d{2})?$"
)


def parse(text: str, local: dt.tzinfo = UTC) -> dt.datetime:
    """Read ISO 8601, with offset or in `local` time, as an aware moment in UTC.

    A local time inside the gap of a clock change does not exist and is refused; one that happens twice is
    taken the first time, as every calendar program does.

    Raises
    ------
    BadInput
        When the text is no ISO 8601 date or time, or names a time that the clocks skipped.
    """
    match = _ISO.match(text.strip())
    if match is None:
        raise BadInput(f"{text!r} is no date or time", way_out="Write it like 2026-03-01T08:00 or 2026-03-01.")
    year, month, day, hour, minute, second, fraction, offset = match.groups()
    if not EARLIEST_YEAR <= int(year) <= LATEST_YEAR:
        raise BadInput(f"{text!r} lies outside {EARLIEST_YEAR} to {LATEST_YEAR}", way_out="Check the year.")
    try:
        moment = dt.datetime(  # noqa: DTZ001 - the zone is decided below
            int(year), int(month), int(day), int(hour or 0), int(minute or 0), int(second or 0),
            int((fraction or "0").ljust(6, "0")[:6]),
        )  # fmt: skip
    except ValueError as exc:
        raise BadInput(f"{text!r} is no date or time", way_out=f"{str(exc).capitalize()}.") from exc
    if offset:
        if offset in "Zz":
            return moment.replace(tzinfo=UTC)
        sign = -1 if offset[0] == "-" else 1
        span = dt.timedelta(hours=int(offset[1:3]), minutes=int(offset[-2:]))
        if span >= dt.timedelta(hours=24):
            raise BadInput(f"{text!r} has an impossible offset", way_out="Offsets run from -12:00 to +14:00.")
        return moment.replace(tzinfo=dt.timezone(sign * span)).astimezone(UTC)
    return from_local(moment, local, shown=text)


def from_local(naive: dt.datetime, local: dt.tzinfo, shown: str = "") -> dt.datetime:
    """A wall-clock time in `local` as an aware moment in UTC; refuses times that the clocks skipped."""
    moment = naive.replace(tzinfo=local).astimezone(UTC)
    if moment.astimezone(local).replace(tzinfo=None) != naive:
        raise BadInput(
            f"{shown or naive.isoformat()!r} was skipped when the clocks went forward",
            way_out="Give the time with its offset, for example 2026-03-29T02:30+01:00.",
        )
    return moment


def iso(moment: dt.datetime) -> str:
    """A moment as ISO 8601 in UTC with `Z`, to the second or finer only when it must be."""
    text = moment.astimezone(UTC).isoformat()
    return text.removesuffix("+00:00") + "Z"


def days_between(earlier: dt.datetime, later: dt.datetime) -> float:
    """Days from `earlier` to `later`. [d]"""
    return (later - earlier).total_seconds() / DAY_S
