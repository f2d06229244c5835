"""Dates as keepers write them: day first or month first is decided only when the dates themselves decide it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from leadline.app.bring_in import Question
from leadline.measures.errors import BadInput

Order = Literal["day-first", "month-first", "iso"]
ORDERS = ("day-first", "month-first", "iso")

_CLOCK = r"(?:[T ,]+(?:at |um |kl\.? |à )?(\d{1,2})[:.h](\d{2})(?:[:.](\d{2})(?:\.\d+)?)?\s*([ap]\.?m\.?|uhr|h)?)?"
_ISO = re.compile(rf"(\d{{4}})[-/.](\d{{1,2}})[-/.](\d{{1,2}}){_CLOCK}\s*(Z|[+-]\d{{2}}:?\d{{2}})?$", re.I)
_WEEKDAY = r"(?:[^\W\d]{2,10}[.,]*\s+)?"
_WORD = r"([^\W\d]{3,10})\.?"
_YEAR = r"(\d{4}|\d{2})"
_NUMERIC = re.compile(rf"{_WEEKDAY}(\d{{1,2}})\s*[-/.]\s*(\d{{1,2}})\s*[-/.]\s*{_YEAR}{_CLOCK}$", re.I)
_DAY_NAME = re.compile(
    rf"{_WEEKDAY}(\d{{1,2}})(?:\.|st|nd|rd|th|er)?[\s-]+(?:of |de )?{_WORD},?[\s-]+(?:de )?{_YEAR}{_CLOCK}$", re.I
)
_NAME_DAY = re.compile(rf"{_WEEKDAY}{_WORD}\s+(\d{{1,2}})(?:st|nd|rd|th)?,?\s+(\d{{4}}){_CLOCK}$", re.I)
_TIME = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?(?:[:.](\d{2}))?\s*([ap]\.?m\.?|uhr|h)?$", re.I)

# English, German, French, Spanish, Dutch, Norwegian; the first three letters decide where they suffice.
_MONTHS = {
    "jan": 1, "ene": 1, "feb": 2, "fev": 2, "fév": 2, "mar": 3, "mär": 3, "mrz": 3, "maa": 3, "mrt": 3, "apr": 4,
    "avr": 4, "abr": 4, "may": 5, "mai": 5, "mei": 5, "jun": 6, "juin": 6, "jul": 7, "juil": 7, "aug": 8, "aou": 8,
    "aoû": 8, "ago": 8, "sep": 9, "set": 9, "okt": 10, "oct": 10, "nov": 11, "dez": 12, "dec": 12, "déc": 12,
    "des": 12, "dic": 12,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Day:
    """A date, with the time of day if one was written, and an offset if one was."""

    date: dt.date
    clock: dt.time | None = None
    offset: dt.timedelta | None = None


def read(text: str, order: str, newest_year: int) -> Day:
    """Read one date.

    Parameters
    ----------
    order
        How `3/4/2026` is to be read; dates that can be read in only one way ignore it.
    newest_year
        Two-digit years lie in the hundred years up to this one.

    Raises
    ------
    BadInput
        When it is no date.
    """
    text = " ".join(text.split())
    try:
        match = _ISO.match(text)
        if match:
            year, month, day, *clock, offset = match.groups()
            return Day(dt.date(int(year), int(month), int(day)), _clock(*clock), _offset(offset))
        match = _NUMERIC.match(text)
        if match:
            first, second, year, *clock = match.groups()
            day, month = (first, second) if order == "day-first" else (second, first)
            return Day(dt.date(_year(year, newest_year), int(month), int(day)), _clock(*clock))
        match = _DAY_NAME.match(text)
        if match and _month(match[2]):
            return Day(
                dt.date(_year(match[3], newest_year), _month(match[2]), int(match[1])), _clock(*match.groups()[3:])
            )
        match = _NAME_DAY.match(text)
        if match and _month(match[1]):
            name, day, year, *clock = match.groups()
            return Day(dt.date(int(year), _month(name), int(day)), _clock(*clock))
    except ValueError as exc:
        raise BadInput(f"is no date ({exc})") from None
    raise BadInput("is no date", way_out="Write it like 2026-03-01.")


def time_of_day(text: str) -> dt.time:
    """Read a time of day: `8:00`, `20.30`, `8:05 pm`, `8h`.

    Raises
    ------
    BadInput
        When it is none.
    """
    match = _TIME.match(" ".join(text.split()))
    clock = None
    if match:
        try:
            clock = _clock(match[1], match[2] or "00", match[3], match[4])
        except ValueError:
            clock = None
    if clock is None:
        raise BadInput(f"{text.strip()!r} is no time of day", way_out="Write it like 20:30.")
    return clock


def looks_like_one(text: str) -> bool:
    """Whether a text could be a date in some order."""
    for order in ("day-first", "month-first"):
        try:
            read(text, order, 2100)
        except BadInput:
            continue
        return True
    return False


def decide(texts: Iterable[str], where: str, newest_year: int) -> str:
    """The order in which the dates of one file are written, decided by dates possible only one way.

    Raises
    ------
    BadInput
        When no date decides it, or when they contradict each other; the way out names the option.
    """
    day_first = month_first = unsettled = ""
    for text in texts:
        match = _NUMERIC.match(" ".join(text.split()))
        if match is None:
            continue
        first, second = int(match[1]), int(match[2])
        if first > 12 >= second >= 1:
            day_first = day_first or text
        elif second > 12 >= first >= 1:
            month_first = month_first or text
        elif first != second:
            unsettled = unsettled or text
    if day_first and month_first:
        raise BadInput(
            f"dates are written both ways: {day_first!r} has its day first, {month_first!r} its month",
            where=where,
            way_out="Mend the dates of one kind, best as 2026-03-01.",
        )
    if day_first:
        return "day-first"
    if month_first:
        return "month-first"
    if unsettled:
        one = read(unsettled, "day-first", newest_year).date
        other = read(unsettled, "month-first", newest_year).date
        raise Question(
            f"{unsettled!r} may be {one.day} {one:%B %Y} or {other.day} {other:%B %Y}",
            where=where,
            way_out="Say which: --dates day-first or --dates month-first.",
            option="dates",
            choices=("day-first", "month-first"),
        )
    return "iso"


def _month(name: str) -> int:
    name = name.casefold()
    return _MONTHS.get(name[:4], 0) or _MONTHS.get(name[:3], 0)


def _year(text: str, newest: int) -> int:
    if len(text) == 4:
        return int(text)
    year = newest - newest % 100 + int(text)
    return year if year <= newest else year - 100


def _clock(hour: str | None, minute: str | None, second: str | None, half: str | None) -> dt.time | None:
    if hour is None:
        return None
    hours = int(hour)
    mark = (half or "").replace(".", "").lower()
    if mark in ("am", "pm"):
        if not 1 <= hours <= 12:
            raise ValueError("the hour is not between 1 and 12")
        hours = hours % 12 + (12 if mark == "pm" else 0)
    return dt.time(hours, int(minute or 0), int(second or 0))


def _offset(text: str | None) -> dt.timedelta | None:
    if not text:
        return None
    if text in "Zz":
        return dt.timedelta(0)
    span = dt.timedelta(hours=int(text[1:3]), minutes=int(text[-2:]))
    if span >= dt.timedelta(hours=24):
        raise ValueError("the offset is impossible")
    return -span if text[0] == "-" else span
