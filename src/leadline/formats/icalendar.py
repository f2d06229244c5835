"""iCalendar out (RFC 5545): events of whole days or of hours, as calendars of phones show them.

What is due is written as events, not as to-dos: a subscribed calendar shows events, and most leave VTODO out. They are
TRANSPARENT, so that nobody counts as busy by them, and carry no alarm: whether to be reminded is the reader's choice.
Hours are written in UTC (3.3.5, form 2), which needs no VTIMEZONE and is right whatever the clocks do; days are DATE
values (3.3.4), the same day wherever the reader is. There are no X- properties and no METHOD: this publishes, and asks
for no answer.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass

LINE_OCTETS = 75  # 3.1
PRODID = "-//Leadline//Leadline//EN"
MEDIA_TYPE = "text/calendar; charset=utf-8"
# 3.1: CONTROL is what no value may hold; HTAB may stand, and a line break is written as \n
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_LONE = re.compile(r"[\ud800-\udfff]")
# an object holds at least one component (3.4, 3.6); where nothing is due it is this one, which shows nothing
_NOTHING = (
    "BEGIN:VTIMEZONE", "TZID:Etc/UTC", "BEGIN:STANDARD", "DTSTART:19700101T000000", "TZOFFSETFROM:+0000",
    "TZOFFSETTO:+0000", "END:STANDARD", "END:VTIMEZONE",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Event:
    """One event.

    Attributes
    ----------
    begins, ends
        Two days, the last one counted in (the file's own DTEND is the day after it); or two aware moments.
    modified
        When it last changed in any way; `sequence` counts its changes of day, hour or title.
    url
        Where it is done; written only when it is an address that holds no line break.
    """

    uid: str
    summary: str
    begins: dt.date
    ends: dt.date
    modified: dt.datetime
    sequence: int = 0
    description: str = ""
    url: str = ""
    category: str = ""


@dataclass(frozen=True, slots=True)
class Calendar:
    """A calendar: its name, what it is, where the page of it stands, and how often to ask for it anew. [h]"""

    name: str
    description: str = ""
    url: str = ""
    refresh_h: int = 1
    events: Sequence[Event] = ()


def write(calendar: Calendar) -> bytes:
    """The calendar as a file, UTF-8 with CRLF.

    References
    ----------
    RFC 5545 for the object and its events; RFC 7986, 5.1, 5.2, 5.5 and 5.7, for NAME, DESCRIPTION, URL and
    REFRESH-INTERVAL of the whole.

    Raises
    ------
    ValueError
        For an event that ends before it begins, or that has a day at one end and a moment at the other.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODID}"]
    lines += [f"NAME:{escaped(calendar.name)}"]
    lines += [f"DESCRIPTION:{escaped(calendar.description)}"] if calendar.description else []
    lines += _address(calendar.url)
    lines += [f"REFRESH-INTERVAL;VALUE=DURATION:PT{calendar.refresh_h}H"]
    for e in calendar.events:
        lines += _event(e)
    if not calendar.events:
        lines += _NOTHING
    lines += ["END:VCALENDAR"]
    return b"".join(folded(line) for line in lines)


def _event(e: Event) -> list[str]:
    changed = _utc(e.modified)
    lines = ["BEGIN:VEVENT", f"UID:{escaped(e.uid)}", f"DTSTAMP:{changed}", *_span(e.begins, e.ends)]
    lines += [f"SUMMARY:{escaped(e.summary)}"]
    lines += [f"DESCRIPTION:{escaped(e.description)}"] if e.description else []
    lines += [f"CATEGORIES:{escaped(e.category)}"] if e.category else []
    lines += _address(e.url)
    # without METHOD the stamp is when it last changed (3.8.7.2), the same as LAST-MODIFIED
    return [*lines, f"LAST-MODIFIED:{changed}", f"SEQUENCE:{e.sequence}", "TRANSP:TRANSPARENT", "END:VEVENT"]


def _span(begins: dt.date, ends: dt.date) -> list[str]:
    if isinstance(begins, dt.datetime) != isinstance(ends, dt.datetime):
        raise ValueError("an event has days at both ends, or moments")
    if begins > ends:
        raise ValueError("an event ends before it begins")
    if isinstance(begins, dt.datetime):
        assert isinstance(ends, dt.datetime)
        # 3.6.1: DTEND must be later than DTSTART; without one an event of a moment ends as it begins
        end = [f"DTEND:{_utc(ends)}"] if _utc(ends) > _utc(begins) else []
        return [f"DTSTART:{_utc(begins)}", *end]
    after = ends + dt.timedelta(days=1)
    return [f"DTSTART;VALUE=DATE:{begins:%Y%m%d}", f"DTEND;VALUE=DATE:{after:%Y%m%d}"]


def _utc(moment: dt.datetime) -> str:
    if moment.tzinfo is None:
        raise ValueError("a moment without a time zone")
    return f"{moment.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}"


def _address(url: str) -> list[str]:
    """A URI is no text: nothing in it is escaped (3.3.13), so one with a blank or a line break is none."""
    return [f"URL:{url}"] if url and not re.search(r"[\s\x00-\x1f\x7f]", url) and not _LONE.search(url) else []


def clean(text: str) -> str:
    """What a text may hold: line breaks of any kind are \\n, other control characters a blank, half a character `�`."""
    kept = text.replace("\r\n", "\n").replace("\r", "\n")
    return _LONE.sub("\ufffd", _CONTROL.sub(" ", kept))


def escaped(text: str) -> str:
    r"""A TEXT value (3.3.11): backslash, semicolon, comma and line break are escaped.

    >>> print(escaped("a; b, c"))
    a\; b\, c
    """
    kept = clean(text).replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return kept.replace("\n", "\\n")


def folded(line: str) -> bytes:
    """A content line: octets of UTF-8, 75 at most before each line break, no character cut in two (3.1)."""
    out: list[bytes] = []
    part = b""
    room = LINE_OCTETS
    for character in line:
        octets = character.encode()
        if len(part) + len(octets) > room:
            out.append(part)
            part, room = b"", LINE_OCTETS - 1  # the blank that begins a continuation counts
        part += octets
    out.append(part)
    return b"\r\n ".join(out) + b"\r\n"
