"""The first page: today's round, and each quantity's course through its channel."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any, cast

from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from leadline.alarms import groups
from leadline.alarms.alarm import State
from leadline.alarms.decide import RANK
from leadline.alarms.raised import Raised
from leadline.app import oversee
from leadline.app.accounts import shareable
from leadline.app.ports import Store
from leadline.measures import figures, quantities
from leadline.measures.errors import UnknownName, Unreachable
from leadline.measures.moments import parse
from leadline.measures.units import GALLON_L
from leadline.measures.words import N_, _
from leadline.present import sentences
from leadline.present.why import volume_said
from leadline.rounds.item import Round
from leadline.web.doors import cookie_name
from leadline.web.pages import lines
from leadline.web.pages.lines import Typed
from leadline.web.pages.soundings import sounding, soundings
from leadline.web.seen import Lookout, Seen
from leadline.web.use import Use
from leadline.web.ways import Right

LIGHTS = ("day", "dusk", "night")
SPANS = ((30, N_("1 month")), (180, N_("6 months")), (425, N_("14 months")), (1461, N_("4 years")))
_DAYS = 180
_LEAST, _MOST, _USUAL = 2, 60, 10


class Asked:
    """What a request wants to see, read once and kept within reason."""

    def __init__(self, request: Request, query: Mapping[str, Any] | QueryParams | None = None) -> None:
        found = request.query_params if query is None else query
        self.request = request
        self.minutes = _whole(str(found.get("minutes", "")), _LEAST, _MOST, _USUAL)
        self.days = _whole(str(found.get("days", "")), 7, 3660, _DAYS)
        self._as_of = str(found.get("as_of", "")).strip()
        self.as_of: dt.datetime | None = parse(self._as_of) if self._as_of else None

    def at_home(self, system: str) -> None:
        """Take an `as_of` without an offset in the system's own time zone."""
        if self._as_of:
            now = self.lookout.see(self.store, system, self.days, None)
            self.as_of = parse(self._as_of, now.local)

    def at_first_home(self) -> None:
        """The same for a page of all systems: in the zone of the first."""
        for system, _name in self.systems()[:1]:
            self.at_home(system)

    @property
    def store(self) -> Store:
        return cast(Store, self.request.app.state.store)

    @property
    def use(self) -> Use:
        return cast(Use, self.request.app.state.use)

    @property
    def lookout(self) -> Lookout:
        return cast(Lookout, self.request.app.state.lookout)

    def systems(self) -> list[tuple[str, str]]:
        return self.lookout.systems(self.store)

    def see(self, system: str) -> Seen:
        return self.lookout.see(self.store, system, self.days, self.as_of, self.units)

    @property
    def may_log(self) -> bool:
        """Whether whoever asks may write entries."""
        who = self.request.app.state.doors.who(self.request)
        return who is not None and who.right >= Right.LOG

    @property
    def units(self) -> str:
        """The reader's own units; empty: as each system says."""
        who = self.request.app.state.doors.who(self.request)
        units = str(who.wishes.get("units", "")) if who is not None else ""
        return units if units in ("metric", "us") else ""

    def round(self, system: str | None) -> Round:
        return self.lookout.round(self.store, system, self.minutes, self.as_of, self.units)


def _whole(text: str, least: int, most: int, usual: int) -> int:
    try:
        return min(max(round(float(text.replace(",", "."))), least), most)
    except (ValueError, OverflowError):
        return usual


async def everything(request: Request) -> Response:
    """`/`: the round over all systems; with a single system, that system's page."""
    asked = Asked(request)
    systems = asked.systems()
    if not systems:
        return page(request, "empty.html", {"title": "Leadline", "tabs": [], "view": "all"})
    if len(systems) == 1:
        return RedirectResponse(f"/system/{systems[0][0]}", 303)
    return overview(asked, typed=_stepped(asked, None), flash=flashed(asked))


async def one(request: Request) -> Response:
    """`/system/ID`: its round and its courses."""
    asked = Asked(request)
    system = request.path_params["system"]
    known(asked, system)
    asked.at_home(system)
    return chart_room(asked, system, typed=_stepped(asked, system), flash=flashed(asked))


def known(asked: Asked, system: str) -> None:
    """Refuse a system that nobody knows, offering near names."""
    systems = [s for s, _ in asked.systems()]
    if system not in systems:
        raise UnknownName("system", system, systems)


def overview(
    asked: Asked, typed: Typed | None = None, flash: Mapping[str, str] | None = None, status: int = 200
) -> Response:
    """All systems: their round, and one line of soundings each."""
    systems = asked.systems()
    seen = {s: asked.see(s) for s, _ in systems}
    found = lines.ranked(asked.round(None), seen, view="all", typed=typed, flash=flash)
    if _wants_part(asked.request):
        return page(asked.request, "part/round.html", {"round": found, "asked": asked, "frozen": False}, status)
    shown = [
        {
            "id": s,
            "name": name,
            "soundings": [x for x in soundings(seen[s], (), None, frozen=True, drawn=False) if x.measured][:6],
        }
        for s, name in systems
    ]
    first = next(iter(seen.values()))
    return page(
        asked.request,
        "all.html",
        {
            "title": _("All systems"),
            "tabs": systems,
            "view": "all",
            "when": figures.long_moment(first.estimate.as_of, first.local),
            "round": found,
            "asked": asked,
            "systems": shown,
            "frozen": asked.as_of is not None,
        },
        status,
    )


def chart_room(
    asked: Asked,
    system: str,
    typed: Typed | None = None,
    flash: Mapping[str, str] | None = None,
    status: int = 200,
    fresh: str = "",
) -> Response:
    """One system: its round, then its courses. `fresh` is a quantity whose course an answer in part carries."""
    at = asked.see(system)
    found = asked.round(system)
    frozen = asked.as_of is not None
    shown = lines.ranked(found, {system: at}, view=system, typed=typed, flash=flash)
    if _wants_part(asked.request):
        e = at.estimate.quantities.get(fresh)
        course = sounding(at, e, None, frozen) if e is not None else None
        part = {"round": shown, "course": course, "asked": asked, "frozen": frozen}
        return page(asked.request, "part/answer.html", part, status)
    first = [item.subject for item in found.items if item.action in ("test", "dose", "exchange", "ask")]
    courses = soundings(at, first, typed, frozen or not asked.may_log)
    temperature = at.estimate.quantities.get("temperature")
    warm = ""
    if temperature is not None and temperature.last_reading is not None:
        read = figures.figure(temperature.mean, None, "temperature", at.estimate.units)
        warm = str(read)
    return page(
        asked.request,
        "one.html",
        {
            "title": at.estimate.name,
            "tabs": asked.systems(),
            "view": system,
            "when": figures.long_moment(at.estimate.as_of, at.local),
            "warm": warm,
            "volume": _volume(at),
            "round": shown,
            "courses": [c for c in courses if c.measured],
            "unmeasured": [c for c in courses if not c.measured],
            "warnings": (_volume_why(at), *at.estimate.warnings),
            "asked": asked,
            "spans": [(days, _(words)) for days, words in SPANS],
            "frozen": frozen,
        },
        status,
    )


def _volume(at: Seen) -> str:
    e = at.estimate
    return _("{amount} of water").format(amount=volume_said(e.net_volume_l, e.net_volume_sd_l, e.units))


def _volume_why(at: Seen) -> str:
    factor, unit = (1 / GALLON_L, "gal") if at.estimate.units == "us" else (1.0, "L")
    stated = figures.number(at.estimate.net_volume_stated_l * factor, 0)
    return _("The water is stated as {stated} {unit}; what doses and exchanges did puts it at {water}.").format(
        stated=stated, unit=unit, water=_volume(at)
    )


def flashed(asked: Asked) -> dict[str, str]:
    """The quiet line after an entry, from the address alone, so that a reload says the same."""
    query = asked.request.query_params
    for what in ("logged", "done", "settled", "corrected", "withdrawn"):
        entry_id = query.get(what, "")
        if entry_id:
            return flash_for(asked, what, entry_id)
    return {}


def flash_for(asked: Asked, what: str, entry_id: str, more: str = "") -> dict[str, str]:
    """What is said of an entry just made or taken back, and the way to undo it."""
    entry = asked.store.entry(entry_id)
    if entry is None:
        return {}
    at = f"/system/{entry.system}/entry/{entry_id}"
    back = {"undo": f"{at}/withdraw" if what in ("logged", "done", "settled") else "", "value": "", "unit": ""}
    if what == "settled":
        entry = asked.store.entry(str(entry.extra.get("confirms", ""))) or entry
    was = asked.store.entry(entry.corrects) if what == "corrected" and entry.corrects else None
    if was is not None and was.value is not None:  # taken back by the old words again, so that both stay in the journal
        back = {"undo": f"{at}/correct", "value": repr(was.value), "unit": was.unit}
    amount = ""
    if entry.value is not None:
        digits = max(0, min(4, len(repr(entry.value).partition(".")[2]) if not float(entry.value).is_integer() else 0))
        amount = f"{figures.number(entry.value, digits)} {figures.unit_label(entry.unit)}".rstrip()
    subject = sentences.name(entry.subject)
    words = {
        "logged": (_("Logged {amount} {subject}.") if amount else _("Logged it {subject}.")).format(
            amount=amount, subject=subject
        ),
        "done": _("Noted: {subject} done.").format(subject=subject),
        "settled": _("Kept as typed: {amount} {subject}.").format(amount=amount, subject=subject),
        "corrected": _("Corrected to {amount} {subject}.").format(amount=amount, subject=subject),
        "withdrawn": _("Taken back: {amount} {subject}.").format(amount=amount, subject=subject),
    }[what]
    return {"words": words.replace("  ", " "), "more": more, **back}


def _stepped(asked: Asked, system: str | None) -> Typed | None:
    """A form whose − or + was pressed without script, or that a link asks to open."""
    query = asked.request.query_params
    form = query.get("form", "")
    if not form:
        return None
    quantity, unit, value = query.get("quantity", ""), query.get("unit", ""), query.get("value", "")
    owner = query.get("system", system or "")
    if owner in dict(asked.systems()) and query.get("step") in ("more", "less"):
        at = asked.see(owner)
        e = at.estimate.quantities.get(quantity)
        way = figures.display(quantity, at.estimate.units, e.unit if e else "")
        size = (
            lines.step(quantities.digits(quantity, unit)) if unit != way.unit and quantity else lines.step(way.digits)
        )
        value = figures.stepped(value, 1 if query["step"] == "more" else -1, size, lines.start_value(at, quantity))
    return Typed(
        form,
        value,
        unit,
        query.get("method", ""),
        query.get("time", ""),
        query.get("note", ""),
        "",
        query.get("token", ""),
    )


def _wants_part(request: Request) -> bool:
    headers = request.headers
    return headers.get("hx-request") == "true" and headers.get("hx-history-restore-request") != "true"


def light_of(request: Request) -> str:
    """The light a reader chose, or nothing when the device decides."""
    chosen = request.cookies.get(cookie_name(request, "light"), "")
    return chosen if chosen in LIGHTS else ""


def page(request: Request, name: str, context: dict[str, Any], status: int = 200) -> Response:
    """A template as an answer."""
    template = request.app.state.templates.get_template(name)
    context = {**context, **_standing(request)}
    context["past"] = bool(context.get("frozen"))
    context["frozen"] = context["past"] or not context["may_log"]
    more = {"has_mail": request.app.state.mailroom is not None, "calling": _calling(request)}
    text = template.render(light=light_of(request), lights=LIGHTS, path=request.url.path, **more, **context)
    if "<table" in text and request.method == "GET" and not context["guest"]:
        from leadline.web.pages.tables import with_links

        text = with_links(text, context["here"])
    return HTMLResponse(text, status, {"vary": "HX-Request, Cookie, Accept-Language"})


def _standing(request: Request) -> dict[str, Any]:
    """What whoever asks may do: a page offers nothing else."""
    who = request.app.state.doors.who(request)
    right = Right.OPEN if who is None else who.right
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    guest = who is not None and who.guest
    whose = f"of {who.account}" if who is not None and not guest else ""
    return {
        "may_log": right >= Right.LOG, "may_keep": right >= Right.KEEP, "may_own": right >= Right.OWN, "guest": guest,
        "shared_until": request.scope.get("leadline.shared", ""), "here": here,
        "outside": request.scope.get("leadline.outside", here),
        "whose": whose,  # drafts on this device are of whoever typed them
        "shareable": not guest and request.app.state.doors.kept and shareable(request.url.path),
    }  # fmt: skip


def _calling(request: Request) -> str:
    """Which alarms ask for an answer, in one line for the head of every page; empty when none does.

    Not on the page without a connection: a browser keeps that one, and would show an alarm of that day to anybody.
    """
    if request.url.path.startswith(("/watch", "/seen", "/offline")) or _wants_part(request) or not _may_see(request):
        return ""
    try:
        stand = request.app.state.store.alarms()
    except Unreachable:  # the page that is drawn says so itself
        return ""
    loudest: dict[tuple[str, str], Raised] = {}  # of each cause
    for r in sorted(stand, key=lambda r: (RANK[r.priority], -r.began_s)):
        if r.state is State.UNACKNOWLEDGED:
            loudest[r.system, groups.family(r)] = r
    asking = list(loudest.values())
    if not asking:
        return ""
    first = max(asking, key=lambda r: (RANK[r.priority], -r.began_s))
    more = _(", and {number} more").format(number=len(asking) - 1) if len(asking) > 1 else ""
    signals = request.app.state.signals_of(request.app.state.store)
    name = oversee.called(first.system, first.name, first.because, signals.orders)
    return f"{name}, {signals.names(first.system)[0]}{more}"


def _may_see(request: Request) -> bool:
    """Whether whoever asks may know of alarms: not at the door, not with the link of one page."""
    who = request.app.state.doors.who(request)
    return who is not None and not who.guest


def plain_word(request: Request, words: str, status: int) -> Response:
    """One clear line: as a page of its own; for a swap as a line alone, under a status that swaps nothing away."""
    if _wants_part(request):
        return page(request, "part/word.html", {"words": words}, 400 if status == 422 else status)
    return page(request, "word.html", {"title": "Leadline", "words": words, "tabs": [], "view": ""}, status)
