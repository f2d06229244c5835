"""The livestock's page: who lives where, who was seen, what came; and the check before anything comes."""

from __future__ import annotations

import datetime as dt
from typing import Any

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response

from leadline.app import describe, quarantine, stock, stock_log, stock_warn
from leadline.app.stock import House
from leadline.journal.entry import Entry
from leadline.livestock.census import Lot
from leadline.livestock.kinds import Certainty
from leadline.livestock.sight import unseen
from leadline.measures import figures
from leadline.measures.errors import BadInput
from leadline.measures.moments import days_between, parse, zone
from leadline.measures.units import parse_typed
from leadline.measures.words import _
from leadline.present import stock as said
from leadline.web.pages import after
from leadline.web.pages.round import Asked, page
from leadline.web.pages.typed import Typed, back, refused, text
from leadline.web.ways import Right, post, way

MOST_REGISTER_BYTES = 2_000_000


def house(request: Request, asked: Asked | None = None) -> House:
    """Everything that is kept, as of the moment that the address asks for."""
    state = request.app.state
    return stock.house(state.store, state.clock, asked.as_of if asked else None, on_day(request) if asked else None)


def on_day(request: Request) -> dt.datetime | None:
    """The end of the day that was asked for, where the first system stands; None: now.

    Raises
    ------
    BadInput
        When it is no day.
    """
    typed = request.query_params.get("on", "").strip()
    if not typed:
        return None
    store = request.app.state.store
    first = next(iter(store.systems()), None)
    local = zone(describe.load(store, first).time_zone) if first else dt.UTC
    return parse(typed, local) + dt.timedelta(hours=23, minutes=59)


def local_of(h: House, system: str = "") -> dt.tzinfo:
    """The zone in which days are written."""
    found = h.systems.get(system) or next(iter(h.systems.values()), None)
    return zone(found.time_zone) if found else dt.UTC


async def livestock(request: Request) -> Response:
    """`GET /livestock`."""
    return shown(request)


def shown(request: Request, typed: Typed | None = None, problems: tuple[str, ...] = ()) -> Response:
    """The page; with a form that could not be used, that form open, filled, and the line at it."""
    asked = Asked(request)
    asked.at_first_home()
    h = house(request, asked)
    systems = [_system(h, s) for s in h.systems]
    store = request.app.state.store
    return page(request, "livestock.html", {
        "title": _("Livestock"), "tabs": asked.systems(), "view": "livestock", "systems": systems, "typed": typed,
        "kinds": kinds_offered(h), "sources": sources(h), "flash": after.shown(request, h), "token": after.new_token(),
        "frozen": asked.as_of is not None or on_day(request) is not None,
        "day": request.query_params.get("on", "")[:10],
        "units": [(u, h.systems[u].name) for u in quarantine.units(h)], "odd": h.register.odd, "problems": problems,
        "photographed": len({p.subject for p in store.photos()}), "empty": not any(s["lots"] for s in systems),
        "gone": [
            {"id": x.id, "name": x.name, "kind": x.kind_said(), "how": x.gone[-1].how.replace("-", " "),
             "when": figures.day(x.gone[-1].time, local_of(h), h.at)}
            for x in h.register.lots.values() if x.lives and not x.alive and x.gone
        ],
    }, 200 if typed is None and not problems else 422)  # fmt: skip


def kinds_offered(h: House) -> list[tuple[str, str]]:
    """What a keeper may choose: value and words."""
    return sorted(
        ((k.scientificName, k.vernacularName or k.scientificName) for k in h.catalogue.kinds.values()),
        key=lambda k: k[1],
    )  # fmt: skip


def sources(h: House) -> list[str]:
    """Dealers and keepers who were named before, the latest first."""
    came = sorted((c for x in h.register.lots.values() for c in x.came if c.source), key=lambda c: c.time, reverse=True)
    return list(dict.fromkeys(c.source for c in came))[:12]


def _system(h: House, system: str) -> dict[str, Any]:
    local = local_of(h, system)
    late = {u.lot.id: u for u in unseen(h.register, system, h.at)}
    lots = [_row(h, x, system, late.get(x.id)) for x in h.register.at(system)]
    lots.sort(key=lambda r: r["name"])  # always in the same order: a thumb learns where each one stands
    looks = h.register.looks.get(system, [])
    last = max(looks) if looks else None
    return {
        "id": system,
        "name": h.systems[system].name,
        "lots": lots,
        "purpose": h.systems[system].purpose,
        "looked": _("last looked over {day}").format(day=figures.day(last, local, h.at))
        if last
        else _("never looked over"),
        "quarantine": system in quarantine.units(h),
    }


def _row(h: House, lot: Lot, system: str, late: Any) -> dict[str, Any]:
    last = lot.seen.get(system)
    ago = _("seen {span} ago").format(span=figures.span(days_between(last, h.at))) if last else _("not seen yet")
    overdue = late is not None and late.overdue
    return {
        "id": lot.id, "name": lot.name, "kind": lot.kind_said(), "n": figures.plain(lot.here[system]), "ago": ago,
        "late": overdue, "dear": lot.irreplaceable, "toxic": bool(stock.cautions(h, lot)),
        "gone": figures.chance(late.p_gone) if overdue and late.looks else "",
    }  # fmt: skip


async def seen(request: Request) -> Response:
    """Some were seen; or the whole system was looked over, and who is unticked was not."""
    form = await request.form()
    state = request.app.state
    system = text(form, "system")
    who = [v for v in form.getlist("animal") if isinstance(v, str)]
    looked = bool(text(form, "looked"))
    to = text(form, "to")

    def make(token: str) -> Entry:
        return stock_log.see(
            state.store, state.clock, system, who, looked_over=looked, search=text(form, "search"),
            note=text(form, "note"), token=token,
        ).entry  # fmt: skip

    at = "" if to else (f"at-{system}" if looked else f"lot-{who[0]}-{system}" if who else "")
    return after.write(
        request, form, "seen", shown, make, lambda _: to if to.startswith("/livestock") else "/livestock", at
    )


async def arrive(request: Request) -> Response:
    """Somebody comes."""
    form = await request.form()
    state = request.app.state
    about: dict[str, Any] = {k: text(form, k) for k in ("sex", "lifeStage", "origin", "papers", "price", "currency")}
    about["irreplaceable"] = bool(text(form, "irreplaceable"))

    def make(token: str) -> Entry:
        system, kind, count = text(form, "system"), text(form, "kind"), text(form, "count")
        if text(form, "length_cm"):
            about["length_cm"] = parse_typed(text(form, "length_cm"))

        def last_word() -> None:
            n = parse_typed(count) if count else 1.0
            after.stop(form, stock_warn.before_it_comes(state.store, state.clock, system, kind, n))

        return stock_log.arrive(
            state.store, state.clock, system=system, kind=kind, animal=text(form, "animal"), count=count,
            source=text(form, "source"), time=text(form, "time") or None, note=text(form, "note", 2000), about=about,
            token=token, last_word=last_word,
        ).entry  # fmt: skip

    return after.write(request, form, "arrive", shown, make, lambda e: f"/livestock/animal/{e.subject}")


async def check(request: Request) -> Response:
    """`GET /livestock/check`: what speaks against it, before anything comes."""
    asked = Asked(request)
    asked.at_first_home()
    h = house(request, asked)
    query = request.query_params
    system = query.get("system", "") or next(iter(h.systems), "")
    kind, typed_count = query.get("kind", "").strip()[:120], query.get("count", "1").strip()[:12] or "1"
    found, error = None, ""
    if kind:
        try:
            n = parse_typed(typed_count)
            if n <= 0:
                raise BadInput(
                    _("{number} of them").format(number=typed_count),
                    way_out=_("Give how many would come, one or more."),
                )
            found = stock.check(request.app.state.store, request.app.state.clock, system, kind, n, as_of=asked.as_of)
        except BadInput as exc:
            error = exc.line()
    groups = []
    if found is not None:
        for certainty in Certainty:
            lines = [
                {"about": c.about, "said": said.concern_said(c, h.register.lots), "label": said.label(c.mark),
                 "origin": said.origin(h.catalogue, c.mark, c.source), "caution": c.caution}
                for c in found.concerns if c.certainty is certainty
            ]  # fmt: skip
            if lines:
                groups.append((str(certainty), lines))
    load = said.load_said(found.load, found.net_volume_l) if found is not None and found.load else None
    return page(request, "check.html", {
        "title": _("Check"), "tabs": asked.systems(), "view": "livestock", "kinds": kinds_offered(h), "kind": kind,
        "count": typed_count, "system": system, "choices": asked.systems(), "found": found, "groups": groups,
        "error": error, "load": load, "serious": len(found.serious) if found is not None else 0,
    }, 422 if error else 200)  # fmt: skip


async def register(request: Request) -> Response:
    """`GET /livestock/register.csv`: who is kept, in terms of Darwin Core."""
    from leadline.formats import register_csv

    asked = Asked(request)
    headers = {"content-disposition": 'attachment; filename="register.csv"'}
    return Response(register_csv.write(house(request, asked)), media_type="text/csv; charset=utf-8", headers=headers)


async def bring(request: Request) -> Response:
    """A register that was written elsewhere is brought in: all of it or nothing."""
    from leadline.app import bring_in
    from leadline.formats import register_csv
    from leadline.formats import text as texts

    state = request.app.state
    store, now = state.store, state.clock.now()
    async with request.form() as form:
        sent = form.get("file")
        name, data = (sent.filename or "", await sent.read()) if isinstance(sent, UploadFile) else ("", b"")
    try:
        if not name:
            raise BadInput(_("no file was chosen"), way_out=_("Choose a CSV file."))
        content, _how = texts.decode(data, name, None, "")
        rows = list(texts.records(content, texts.delimiter_of(content))) if content.strip() else []
        header = rows[0][1] if rows else []
        if isinstance(header, texts.Broken) or not register_csv.is_register(c.strip().lower() for c in header):
            raise BadInput(
                _("this is no register"), where=name,
                way_out=_("Its header needs organismID or scientificName, eventDate and locationID."),
            )  # fmt: skip
        read = register_csv.read(iter(rows), name, zone_of=lambda s: zone(describe.load(store, s).time_zone), now=now)
    except BadInput as exc:
        return shown(request, refused("bring", form, exc))
    brought = bring_in.bring_in(store, [read])
    if brought.refused:
        return shown(request, None, tuple(p.text() for p in brought.rejected[:12]))
    return back("/livestock", brought=f"{brought.new}-{brought.already_there}")


WAYS = [
    way("/livestock", livestock, Right.VIEW, name="livestock"),
    post("/livestock/seen", seen, Right.LOG),
    post("/livestock/arrive", arrive, Right.KEEP),
    way("/livestock/check", check, Right.VIEW),
    way("/livestock/register.csv", register, Right.VIEW),
    post("/livestock/bring", bring, Right.KEEP, most_bytes=MOST_REGISTER_BYTES),
    *(way(f"/livestock/{form}", livestock, Right.VIEW) for form in ("seen", "arrive", "bring")),
]
