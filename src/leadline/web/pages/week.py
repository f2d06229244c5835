"""The week, to print: what falls due on which day, with a box to tick and a line to write on."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from leadline.app import due
from leadline.app.due import Ahead, Due
from leadline.measures import figures
from leadline.measures.words import _
from leadline.present import sentences
from leadline.system.orders import ANY_TIME, CommandPath, MailPath, Orders
from leadline.web.pages.round import Asked, known, page
from leadline.web.ways import Right, way

_SEEN_DAYS = 180  # as the round's page asks: what it reckoned serves here


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the sheet."""

    action: str
    subject: str
    system: str  # its name; empty on a system's own sheet
    minutes: str
    because: str
    until: str
    caution: str
    page: str
    last: str = ""  # of a test: the last reading
    aim: str = ""
    unit: str = ""
    name: str = ""  # of a test: what the empty line is for
    boxes: tuple[tuple[str, bool], ...] = ()  # of what comes every day: a day, and whether it is due


@dataclass(frozen=True, slots=True)
class Day:
    """One heading with its lines, and the minutes that they take together."""

    title: str
    lines: tuple[Line, ...]
    minutes: str = ""


async def week(request: Request) -> Response:
    """`GET /week` and `/week/SYSTEM`: `?days=` from 1 to 28, `?person=` somebody of the standing orders."""
    asked = Asked(request)
    system = request.path_params.get("system", "")
    systems = asked.systems()
    if not systems:
        return page(request, "empty.html", {"title": "Leadline", "tabs": [], "view": "all"})
    if system:
        known(asked, system)
        asked.at_home(system)
    else:
        asked.at_first_home()
    query = request.query_params
    days, person = _days(query.get("days", "")), query.get("person", "").strip()[:60]
    ids = [system] if system else [s for s, _ in systems]
    ahead = asked.lookout.due(asked.store, ids, days, person, asked.as_of, asked.units)
    first = asked.lookout.see(asked.store, ids[0], _SEEN_DAYS, asked.as_of)
    orders = due.orders_of(asked.store)
    today = ahead.as_of.astimezone(first.local).date()
    return page(
        request,
        "week.html",
        {
            "title": _("This week")
            if days == due.WEEK_D
            else _("Today")
            if days == 1
            else _("The next {number} days").format(number=days),
            "tabs": systems,
            "view": system or "all",
            "system": system,
            "names": dict(systems),
            "sheet": _sheet(asked, ahead, today, view=system),
            "days": days,
            "person": person,
            "people": [(p.id, p.name) for p in orders.people],
            "call": _call(orders),
            "when": figures.long_moment(ahead.as_of, first.local).replace(",", f" {today.year},"),
            "zone": first.estimate.time_zone,
            "frozen": asked.as_of is not None,
        },
    )


def _days(text: str) -> int:
    try:
        return min(max(int(text), 1), due.MOST_DAYS)
    except ValueError:
        return due.WEEK_D


def _sheet(asked: Asked, ahead: Ahead, today: dt.date, *, view: str) -> list[Day]:
    """The days; before them what comes every day, after them what may be done on any."""
    end = today + dt.timedelta(days=ahead.days - 1)
    daily: dict[str, list[Due]] = {}
    free: list[Due] = []
    dated: dict[dt.date, list[Due]] = {}
    for d in ahead.lines:
        if d.daily:
            daily.setdefault(d.daily, []).append(d)
        elif ahead.days > 1 and d.last is not None and d.day <= today and d.last >= end:
            free.append(d)
        else:
            dated.setdefault(d.day, []).append(d)
    out = []
    if daily and ahead.days > 1:
        lines = [_line(asked, ahead, each[-1], view, today, each) for each in daily.values()]
        out.append(Day(_("Every day"), tuple(lines)))
    else:
        for each in daily.values():
            dated.setdefault(each[0].day, []).extend(each)
    out += [_day(asked, ahead, figures.long_day(day, today), dated[day], view, today) for day in sorted(dated)]
    if free:
        any_day = _("Any day this week") if ahead.days == due.WEEK_D else _("Any of these days")
        out.append(_day(asked, ahead, any_day, free, view, today))
    return out


def _day(asked: Asked, ahead: Ahead, title: str, lines: Sequence[Due], view: str, today: dt.date) -> Day:
    shown = tuple(_line(asked, ahead, d, view, today) for d in lines)
    return Day(title, shown, figures.minutes(sum(d.minutes for d in lines)))


def _line(asked: Asked, ahead: Ahead, d: Due, view: str, today: dt.date, each: Sequence[Due] = ()) -> Line:
    until = ""
    if d.last is not None and d.last > d.day and not each and not d.timed:
        far = d.last >= today + dt.timedelta(days=due.WEEK_D)
        until = _("until {day}").format(day=figures.short_day(d.last) + (f" {figures.month_of(d.last)}" if far else ""))
    boxes: tuple[tuple[str, bool], ...] = ()
    if each:
        all_days = [today + dt.timedelta(days=n) for n in range(ahead.days)]
        mine = {x.day for x in each}
        boxes = tuple((figures.short_day(x), x in mine) for x in all_days)
    name = ahead.systems.get(d.system, "") if not view else ""
    last = aim = unit = what = ""
    if d.action == "test":
        what = sentences.name(d.subject)
        last, aim, unit = _known_of(asked, d)
    return Line(
        sentences.action(d.action), sentences.target(d.action, d.subject), name, figures.minutes(d.minutes), d.because,
        until, d.caution, d.page, last, aim, unit, what, boxes,
    )  # fmt: skip


def _known_of(asked: Asked, d: Due) -> tuple[str, str, str]:
    """Of what is to be tested: its last reading, its band, its unit."""
    at = asked.lookout.see(asked.store, d.system, _SEEN_DAYS, asked.as_of)
    e = at.estimate.quantities.get(d.subject)
    if e is None:
        return "", "", ""
    units = at.estimate.units
    shown = figures.display(d.subject, units, e.unit)
    last = ""
    if e.last_reading is not None:
        value = figures.number(shown.shown(e.last_reading.value), shown.digits)
        last = f"{value}, {figures.day(e.last_reading.time, at.local, at.estimate.as_of)}"
        if any(x.time == e.last_reading.time for x in e.doubtful):
            last = _("{reading}, in doubt").format(reading=last)
    return last, figures.band(e.aim, d.subject, units) if e.aim is not None else "", shown.label


def _call(orders: Orders) -> list[tuple[str, str, str]]:
    """Whom to call, in which order: name, ways that are no secret, hours."""
    out = []
    for p in orders.people:
        ways = []
        for name in p.paths:
            path = orders.paths[name]
            if isinstance(path, MailPath):
                ways.append(path.to)
            else:
                ways.append(_("{path}, at this house").format(path=name) if isinstance(path, CommandPath) else name)
        hours = (
            ""
            if p.hours == ANY_TIME
            else ", ".join(_("{start} to {end}").format(start=_clock(a), end=_clock(b)) for a, b in p.hours)
        )
        out.append((p.name, "; ".join(ways), hours))
    return out


def _clock(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"


WAYS = [
    way("/week", week, Right.VIEW, name="week"),
    way("/week/{system}", week, Right.VIEW),
]
