"""What falls due as a calendar: titles, days and words of each event."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import replace

from leadline.app import calendar_feed
from leadline.app.calendar_feed import Dated, Shape
from leadline.app.due import Ahead, Due
from leadline.formats.icalendar import Calendar, Event, write
from leadline.measures import figures
from leadline.measures.moments import zone
from leadline.present import sentences

ABOUT = "What falls due, reckoned anew each time it is read. What is due now stands on today until it is done."


def file(ahead: Ahead, name: str, address: str = "", dated: Dated | None = None) -> bytes:
    """The calendar as a file.

    Parameters
    ----------
    name
        How the calendar is called.
    address
        Where the site stands, so that each event leads to its page; empty: they lead nowhere.
    dated
        When each event last changed; without it, the moment of the answer.
    """
    found = events(ahead, address)
    if dated is not None:
        found = [replace(e, sequence=dated.of[e.uid][0], modified=dated.of[e.uid][1]) for e in found]
    return write(Calendar(name, ABOUT, f"{address}/week" if address else "", 1, found))


def events(ahead: Ahead, address: str = "") -> list[Event]:
    """One event for each line."""
    return [_event(d, ahead, address) for d in ahead.lines]


def shapes(found: list[Event]) -> list[Shape]:
    """What tells whether an event changed."""
    out = []
    for e in found:
        face = repr((e.begins, e.ends, e.summary))
        out.append(Shape(e.uid, _digest(face), _digest(face + repr((e.description, e.url, e.category)))))
    return out


def title(d: Due, names: Mapping[str, str]) -> str:
    """What is done to what, and where: `Test salinity, North room reef`."""
    said = f"{sentences.action(d.action)} {sentences.target(d.action, d.subject)}"
    return f"{said}, {names[d.system]}" if d.system in names else said


def name_of(feed: calendar_feed.Feed, names: Mapping[str, str]) -> str:
    """How a calendar of a feed is called."""
    who = f" for {feed.person}" if feed.person else ""
    where = f", {', '.join(names.get(s, s) for s in feed.systems)}" if feed.systems else ""
    return f"Leadline{who}{where}"


def _event(d: Due, ahead: Ahead, address: str) -> Event:
    local = zone(d.time_zone)
    more = ""
    begins: dt.date
    ends: dt.date
    if d.timed and d.until is not None:
        begins, ends = d.begins, d.until
    elif d.last is not None and not d.moves:  # a window stands where it is, from its own first day on
        begins, ends = d.begins.astimezone(local).date(), d.last
    else:  # what is due now stands on today
        begins = ends = d.day
        if d.last is not None and d.last > d.day:
            more = f" Any day until {d.last.day} {figures.month_of(d.last)}."
    text = f"{figures.minutes(d.minutes)}. {d.because}{more}"
    if d.caution:
        text += f"\nCaution: {d.caution}"
    url = f"{address}{d.page}" if address else ""
    return Event(d.uid, title(d, ahead.systems), begins, ends, ahead.as_of, 0, text, url, d.action)


def _digest(text: str) -> str:
    return hashlib.blake2b(text.encode(errors="replace"), digest_size=6).hexdigest()
