"""What is due in a calendar of one's own: addresses made, shown once, taken back; and the feed behind each."""

from __future__ import annotations

import datetime as dt
import email.utils
import hashlib
import secrets
from collections import OrderedDict
from dataclasses import dataclass, field

from starlette.requests import Request
from starlette.responses import Response

from leadline.app import calendar_feed, due
from leadline.app.calendar_feed import Feed
from leadline.formats import due_calendar, icalendar
from leadline.measures import figures
from leadline.measures.errors import BadInput
from leadline.measures.moments import zone
from leadline.measures.words import _
from leadline.web.api import WRONG_A_MINUTE, Pace
from leadline.web.pages import after
from leadline.web.pages.round import Asked, page
from leadline.web.pages.typed import Typed, back, refused, text
from leadline.web.ways import Right, post, way

NOWHERE = "This address leads nowhere: it is wrong, or it was taken back."
_MOST_WAITING = 50


@dataclass
class Shown:
    """Secrets that wait to be shown, each once: they are nowhere but in this process's memory. And who knocks at wrong
    addresses: a count of its own, so that a calendar with an old address never keeps anybody from answering an alarm.
    """

    waiting: OrderedDict[str, tuple[str, str]] = field(default_factory=OrderedDict)  # ticket: name, secret
    wrong: Pace = field(default_factory=lambda: Pace(WRONG_A_MINUTE))

    def keep(self, name: str, secret: str) -> str:
        """Keep a secret until it is shown; gives the ticket for it."""
        ticket = secrets.token_urlsafe(9)
        self.waiting[ticket] = name, secret
        while len(self.waiting) > _MOST_WAITING:
            self.waiting.popitem(last=False)
        return ticket

    def ticket(self, name: str) -> str:
        """The ticket of a secret that was not shown yet; empty when it was."""
        return next((t for t, (n, _) in self.waiting.items() if n == name), "")

    def show(self, ticket: str) -> tuple[str, str]:
        """The name and the secret behind a ticket, this once."""
        return self.waiting.pop(ticket, ("", ""))


async def feed(request: Request) -> Response:
    """`GET /calendar/SECRET.ics`: what is due, as a calendar."""
    state = request.app.state
    shown: Shown = state.calendars
    where = request.client.host if request.client else "?"
    if shown.wrong.full(where):  # the same to right and wrong ones, so that it tells nothing
        return Response("Too many wrong addresses were asked for: wait a minute.\n", 429, {"retry-after": "60"})
    found = calendar_feed.find(state.store, request.path_params["secret"])
    if found is None:
        shown.wrong.may(where)
        return Response(f"{NOWHERE}\n", 404, media_type="text/plain; charset=utf-8")
    systems, person = calendar_feed.reach(state.store, found)
    ahead = state.lookout.due(state.store, systems, calendar_feed.FEED_DAYS, person)
    address = _address(request)
    shapes = due_calendar.shapes(due_calendar.events(ahead, address))
    dated = calendar_feed.read(state.store, state.clock, found, shapes)
    body = due_calendar.file(ahead, due_calendar.name_of(found, ahead.systems), address, dated)
    tag = f'"{hashlib.blake2b(body, digest_size=16).hexdigest()}"'
    headers = {
        "etag": tag, "last-modified": email.utils.format_datetime(dated.modified, usegmt=True),
        "cache-control": "private, no-cache", "content-disposition": 'inline; filename="leadline.ics"',
    }  # fmt: skip
    if _unchanged(request, tag, dated.modified):
        return Response(None, 304, headers)
    return Response(body, 200, headers, icalendar.MEDIA_TYPE)


def _unchanged(request: Request, tag: str, modified: dt.datetime) -> bool:
    """RFC 9110, 13.2.2: tags decide where any are given, compared weakly; else the date."""
    given = request.headers.get("if-none-match")
    if given is not None:
        return given.strip() == "*" or tag in [t.strip().removeprefix("W/") for t in given.split(",")]
    try:
        since = email.utils.parsedate_to_datetime(request.headers.get("if-modified-since", ""))
    except ValueError:
        return False
    return since.tzinfo is not None and modified <= since


def _address(request: Request) -> str:
    """How the site is reached: as the standing orders say it, else as it was asked for."""
    return due.orders_of(request.app.state.store).address or str(request.base_url).rstrip("/")


async def calendars(request: Request) -> Response:
    """`GET /calendar`: the addresses that stand, and the form for another."""
    return shown(request)


def shown(request: Request, typed: Typed | None = None) -> Response:
    """The page; an address just made is shown this once."""
    asked, state = Asked(request), request.app.state
    systems, query = asked.systems(), request.query_params
    names = dict(systems)
    ticket = query.get("made", "")
    made, secret = state.calendars.show(ticket) if ticket and request.method == "GET" else ("", "")
    people = {p.id: p.name for p in due.people(asked.store)}
    first = asked.lookout.see(asked.store, systems[0][0], asked.days, None).local if systems else zone("UTC")
    now = state.clock.now()
    address = f"{_address(request)}/calendar/{secret}.ics" if secret else ""
    return page(request, "calendar.html", {
        "title": _("In your calendar"), "tabs": systems, "view": "calendar", "systems": systems,
        "people": list(people.items()), "typed": typed, "token": after.new_token(),
        "feeds": [_said(f, names, people, first, now) for f in calendar_feed.feeds(asked.store)],
        "made": made, "address": address, "subscribe": f"webcal://{address.partition('://')[2]}" if address else "",
        "only_here": any(x in address for x in ("//localhost", "//127.", "//[::1]")),
        "was_shown": bool(ticket) and not secret, "gone": query.get("gone", "")[:60],
        "may": state.doors.who(request).right >= Right.KEEP,
    }, 200 if typed is None else 422)  # fmt: skip


def _said(f: Feed, names: dict[str, str], people: dict[str, str], local: dt.tzinfo, now: dt.datetime) -> dict[str, str]:
    who = (
        people.get(f.person, _("{person}, who is not in the standing orders").format(person=f.person))
        if f.person
        else _("all")
    )
    what = ", ".join(names.get(s, s) for s in f.systems) or _("all systems")
    last = _("last read {when}").format(when=figures.moment(f.fetched, local)) if f.fetched else _("not read yet")
    return {"name": f.name, "who": who, "what": what, "made": figures.day(f.made, local, now), "last": last}


async def make(request: Request) -> Response:
    """A new address."""
    form = await request.form()
    state = request.app.state
    try:
        found, secret = calendar_feed.make(
            state.store, state.clock, text(form, "name", 60), text(form, "person", 60),
            [s for s in form.getlist("system") if isinstance(s, str)], token=text(form, "token", 60),
        )  # fmt: skip
    except BadInput as exc:
        return shown(request, refused("make", form, exc))
    ticket = state.calendars.keep(found.name, secret) if secret else state.calendars.ticket(found.name) or "before"
    return back("/calendar", "made", made=ticket)


async def revoke(request: Request) -> Response:
    """Take an address back; a second tap finds it gone, as was wanted."""
    form = await request.form()
    name = text(form, "name", 60)
    store = request.app.state.store
    if name in [f.name for f in calendar_feed.feeds(store)]:
        calendar_feed.revoke(store, name)
    return back("/calendar", gone=name)


WAYS = [
    way("/calendar", calendars, Right.VIEW, name="calendar"),
    way("/calendar/{secret}.ics", feed, Right.OPEN),  # the address is the secret
    post("/calendar/make", make, Right.KEEP),
    post("/calendar/revoke", revoke, Right.KEEP),
    *(way(f"/calendar/{form}", calendars, Right.VIEW) for form in ("make", "revoke")),
]
