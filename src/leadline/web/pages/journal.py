"""The journal's page: an entry of any kind with its fields, and everything that was written, to search and undo."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from leadline.app import attachments, describe, read_journal, record, stock
from leadline.app.ports import Store
from leadline.app.read_journal import Written
from leadline.journal.entry import KINDS, Entry
from leadline.measures import figures
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import iso, parse, zone
from leadline.measures.quantities import QUANTITIES, canonical_name
from leadline.measures.units import parse_typed
from leadline.measures.words import N_, _
from leadline.present import files, sentences
from leadline.present import stock as said
from leadline.system.bands import CORE
from leadline.web import doors
from leadline.web.pages import after
from leadline.web.pages import entry as entry_page
from leadline.web.pages.entry import amount
from leadline.web.pages.livestock import local_of
from leadline.web.pages.round import Asked, page
from leadline.web.pages.typed import Typed, text
from leadline.web.ways import Right, post, way

# what is written here, as a keeper says it; livestock and readings have pages of their own beside it
FORMS = (
    ("exchange", N_("Water change")),
    ("addition", N_("Addition")),
    ("feeding", N_("Feeding")),
    ("topoff", N_("Top-off")),
    ("service", N_("Service")),
    ("observation", N_("Observation")),
    ("note", N_("Note")),
    ("reading", N_("Reading")),
)
_MEASURED = ("exchange", "addition", "feeding", "topoff", "reading")
_UNITS = {"exchange": "L", "topoff": "L", "addition": "g", "feeding": "g"}
_WHAT = {
    "exchange": N_("New water"),
    "addition": N_("What"),
    "feeding": N_("Food"),
    "topoff": N_("Water"),
    "service": N_("Machine or part"),
    "observation": N_("What was seen"),
    "note": N_("About"),
    "reading": N_("Quantity"),
}

_FILLED = ("subject", "method", "vessel", "unit", "note", "value", "salinity", "time")
SERVICES = ("cleaned", "calibrated", "replaced", "refilled", "repaired")  # contract, section 3


async def journal(request: Request) -> Response:
    """`GET /journal`: `?log=KIND` opens that form, `&system=&subject=&method=&vessel=` fill it, or
    `&instead=ENTRY`, whose place it takes; `?system=`, `?kind=`,
    `?q=` and `?before=` search."""
    return shown(request)


def shown(request: Request, typed: Typed | None = None) -> Response:
    """The page; with a form that could not be used, that form open, filled, and the line at it."""
    asked = Asked(request)
    systems = asked.systems()
    asked.at_first_home()
    state, query = request.app.state, request.query_params
    now = asked.as_of or state.clock.now()
    form = typed.values.get("kind", "") if typed else query.get("log", "")
    form = form if form in dict(FORMS) and (typed is None or typed.form == "log") else ""
    old = _instead(request, typed.values.get("instead", "") if typed else query.get("instead", "")) if form else None
    system = (typed.values.get("system", "") if typed else old.system if old else query.get("system", "")).strip()
    if system and system not in dict(systems):
        raise UnknownName("system", system, dict(systems))
    kind, words = query.get("kind", "").strip(), query.get("q", "").strip()[:120]
    if kind and kind not in KINDS:
        raise UnknownName("kind of entry", kind, KINDS)
    before = parse(query["before"]) if query.get("before") else None
    found = read_journal.entries(state.store, now, system=system, kind=kind, words=words, before=before)
    h = stock.house(state.store, state.clock, asked.as_of)
    names = dict(systems)
    return page(request, "journal.html", {
        "title": _("Journal"), "tabs": systems, "view": "journal", "frozen": asked.as_of is not None,
        "flash": after.shown(request, h), "kind": kind, "q": words, "kinds": KINDS,
        "searched": bool(words or kind or before), "amended": entry_page.AMENDED,
        **form_of(asked, form, system, typed, instead=old),
        "days": _days(found.entries, names, lambda s: local_of(h, s), h.at, _files(state.store, now, found.entries),
                      _signed(request, found.entries)),
        "found": found.found, "more": iso(found.more) if found.more else "",
    }, 200 if typed is None else 422)  # fmt: skip


def form_of(
    asked: Asked, form: str, system: str, typed: Typed | None = None, given: Mapping[str, str] | None = None,
    to: str = "", instead: Entry | None = None,
) -> dict[str, Any]:  # fmt: skip
    """What `part/written.html` needs: the form of one kind, filled from `given` (else from the address), then typed.

    `instead` is the entry whose place it takes, and fills it; `to` is the page that is shown after it was written, and
    again when it could not be; the journal when empty.
    """
    state, systems = asked.request.app.state, asked.systems()
    now = asked.as_of or state.clock.now()
    put = _as_it_was(instead, asked) if instead else asked.request.query_params if given is None else given
    filled = {k: str(put.get(k, "")).strip()[:2000] for k in _FILLED}
    last: list[Entry] = []
    offered: list[str] = []
    vessels: list[str] = []
    if form and systems:
        into = system or systems[0][0]
        last = read_journal.last_amounts(state.store, now, into, form)
        offered = read_journal.subjects(state.store, into, form, last)
        vessels = [v.id for v in describe.load(state.store, into).vessels]
    same = next((e for e in last if not filled["subject"] or e.subject == filled["subject"]), None)
    values = {
        "subject": filled["subject"] or (same.subject if same else ""), "value": filled["value"],
        "method": filled["method"] or (same.method if same and form == "service" else ""),
        "unit": filled["unit"] or (same.unit if same else _UNITS.get(form, "")), "note": filled["note"],
        "vessel": filled["vessel"] if filled["vessel"] in vessels else "", "salinity": filled["salinity"],
        "time": filled["time"], **(typed.values if typed else {}),
    }  # fmt: skip
    quantity = canonical_name(values["subject"]) if form == "reading" else None
    own: tuple[str, ...] = ()
    if quantity in QUANTITIES and form and systems:  # its own units: that of another quantity must not stay
        own = figures.units_offered(
            str(quantity), asked.units or describe.load(state.store, system or systems[0][0]).units
        )
        if instead and values["unit"] not in own:  # as it was typed, though nobody is offered it today
            own = (values["unit"], *own)
        values["unit"] = values["unit"] if values["unit"] in own else own[0]
    other = values["method"] if values["method"] not in SERVICES else ""
    return {
        "typed": typed,
        "forms": [(k, _(w)) for k, w in FORMS],
        "log": form,
        "token": after.new_token(),
        "system": system,
        "what": _(_WHAT.get(form, "")),
        "offered": offered,
        "measured": form in _MEASURED,
        "services": SERVICES,
        "v": values,
        "other_method": values.get("other_method", other),
        "accept": entry_page.ACCEPT,
        "most": attachments.MOST_BYTES,
        "vessels": vessels if values["vessel"] else [],
        "to": to,
        "own_units": [(u, figures.unit_label(u) or sentences.name(str(quantity))) for u in own],
        "instead": instead.id if instead else "",
        "instead_said": put.get("said", "") if instead else "",
        "usual": [] if to or instead else _usual(form, system or (systems[0][0] if systems else ""), last, offered),
    }


def _instead(request: Request, ident: str) -> Entry | None:
    """The entry whose place another shall take."""
    entry = request.app.state.store.entry(ident) if ident else None
    if ident and (entry is None or entry.kind not in entry_page.AMENDED):
        raise UnknownName("entry", ident[:60], (), way_out=_("Look for it in the journal."))
    return entry


def _as_it_was(e: Entry, asked: Asked) -> dict[str, str]:
    """What the form of an entry held when it was written, its moment as the clock on the wall had it."""
    local = zone(describe.load(asked.request.app.state.store, e.system).time_zone)
    below = "<" if e.extra.get("below_detection") else ""
    said_of = f"{sentences.name(e.subject).replace('-', ' ')} {amount(e)}".strip() or e.kind
    return {
        "subject": e.subject, "method": e.method, "unit": e.unit, "note": e.note,
        "time": f"{e.time.astimezone(local):%Y-%m-%dT%H:%M}",
        "value": "" if e.value is None else f"{below}{e.value:.12g}", "vessel": str(e.extra.get("vessel", "")),
        "salinity": str(e.extra.get("salinity", "")), "said": f"{said_of} ({figures.moment(e.time, local)})",
    }  # fmt: skip


def _usual(form: str, system: str, last: Sequence[Entry], offered: Sequence[str]) -> list[tuple[str, str]]:
    """What was written last of this kind, and where one touch fills it in again."""
    at = {"log": form, "system": system}
    if form == "service":
        return [(s.replace("-", " "), f"/journal?{urlencode({**at, 'subject': s})}") for s in offered[:10]]
    if form == "reading":  # the quantities that were read before, then those that every reef has read
        names = dict.fromkeys([*(e.subject for e in last), *CORE])
        return [(sentences.titled(q), f"/journal?{urlencode({**at, 'subject': q})}") for q in list(names)[:10]]
    if form not in _MEASURED:
        return []
    return [
        (f"{e.subject.replace('-', ' ')} {amount(e)}".strip(),
         f"/journal?{urlencode({**at, 'subject': e.subject, 'value': figures.plain(e.value), 'unit': e.unit})}")
        for e in last[:6] if e.value is not None
    ]  # fmt: skip


def _files(store: Store, now: dt.datetime, found: Sequence[Written]) -> dict[str, str]:
    anew = {w.entry.id: str(w.entry.extra["instead_of"]) for w in found if w.entry.extra.get("instead_of")}
    lines = read_journal.lines(store, [*(w.entry.id for w in found), *anew.values()])
    lines = {w.entry.id: lines[w.entry.id] + lines.get(anew.get(w.entry.id, ""), []) for w in found}
    return {i: files.counted(*n) for i, n in attachments.counts(store, lines, now).items()}


def _signed(request: Request, found: Any) -> dict[str, tuple[str, bool]]:
    """Who wrote each entry, by name, and whether whoever asks may change it."""
    store, who = request.app.state.store, request.app.state.doors.who(request)
    keeper = who is not None and who.right >= Right.KEEP
    told = request.app.state.doors.kept and who is not None and not who.guest  # a shared page names nobody
    authors = store.authors([w.entry.id for w in found]) if told else {}
    names = {a.id: a.name for a in store.accounts()} if authors else {}
    return {
        w.entry.id: (names.get(authors.get(w.entry.id, ""), ""),
                     keeper or (who is not None and bool(who.account) and authors.get(w.entry.id) == who.account))
        for w in found
    }  # fmt: skip


def _days(
    found: Any, names: dict[str, str], local: Any, now: Any, kept: Mapping[str, str],
    signed: Mapping[str, tuple[str, bool]],
) -> list[tuple[str, list[dict[str, Any]]]]:  # fmt: skip
    days: dict[str, list[dict[str, Any]]] = {}
    for w in found:
        there = local(w.entry.system)
        at = w.entry.time.astimezone(there)
        days.setdefault(figures.day(w.entry.time, there, now), []).append({
            "time": f"{at:%H:%M}", "system": names.get(w.entry.system, w.entry.system), "kind": w.entry.kind,
            "change": "" if w.state == "withdrawn" else (w.instead or w.entry).id,
            "id": w.entry.id, "state": w.state, "files": kept.get(w.entry.id, ""), "by": signed[w.entry.id][0],
            "mine": signed[w.entry.id][1], **_said(w),
        })  # fmt: skip
    return list(days.items())


def _said(w: Written) -> dict[str, str]:
    e = w.entry
    who = str(e.extra.get("animal", "")) if isinstance(e.extra.get("animal", ""), str) else ""
    subject = sentences.name(e.subject).replace("-", " ")
    parts = [
        who.replace("-", " "),
        e.method if e.kind == "service" else "",
        _("to {place}").format(place=e.to) if e.to else "",
        _("from {source}").format(source=e.source) if e.source else "",
        e.note,
    ]
    return {
        "subject": subject,
        "amount": amount(e),
        "more": ", ".join(p for p in parts if p),
        "instead": amount(w.instead) if w.instead is not None else "",
        "value": figures.plain(e.value) if e.value is not None else "",
        "unit": e.unit,
    }


async def table(request: Request) -> Response:
    """`GET /journal.csv`: what was searched for, as a journal that imports back."""
    import io

    from leadline.formats.export import write_journal

    asked = Asked(request)
    asked.at_first_home()
    state, query = request.app.state, request.query_params
    out = io.StringIO(newline="")
    write_journal(
        read_journal.with_corrections(
            state.store, asked.as_of or state.clock.now(), system=query.get("system", ""), kind=query.get("kind", ""),
            words=query.get("q", "")[:120],
        ),
        out,
    )  # fmt: skip
    headers = {"content-disposition": 'attachment; filename="journal.csv"'}
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)


async def log(request: Request) -> Response:
    """An entry of any kind, and the file that was sent with it. When the file is refused the entry stays all the same,
    and its page says why; the form sent again is still the same entry."""
    state = request.app.state
    async with request.form() as form:
        try:
            name, data, wrong = *await entry_page.sent(form, "file"), None
        except BadInput as exc:
            name, data, wrong = "", b"", exc
    system, kind = text(form, "system"), text(form, "kind")
    written: list[Entry] = []

    def make(token: str) -> Entry:
        if system not in state.store.systems():
            raise UnknownName("system", system, state.store.systems())
        extra: dict[str, Any] = {"salinity": parse_typed(text(form, "salinity"))} if text(form, "salinity") else {}
        vessel = text(form, "vessel")
        if vessel:
            vessels = [v.id for v in describe.load(state.store, system).vessels]
            if vessel not in vessels:
                raise UnknownName(f"vessel of {system}", vessel, vessels)
            extra["vessel"] = vessel
        what: dict[str, Any] = {
            "system": system, "subject": text(form, "subject"), "value_text": text(form, "value"),
            "unit": text(form, "unit"), "method": text(form, "other_method") or text(form, "method"),
            "time": text(form, "time") or None, "note": text(form, "note", 2000),
        }  # fmt: skip
        old = _instead(request, text(form, "instead"))
        if old is None:
            return record.log(state.store, state.clock, kind=kind, extra=extra, token=token, **what).entry
        doors.only_own(request, old.id)
        if "method" not in form and "other_method" not in form:  # not every form asks for it
            del what["method"]
        kept = {k: v for k, v in old.extra.items() if k not in ("salinity", "vessel", "below_detection")}
        return record.amend(state.store, state.clock, old.id, token=token, extra={**kept, **extra}, **what).entry

    def onward(entry: Entry) -> str:
        written.append(entry)
        to = text(form, "to")
        return to if after.OURS.fullmatch(to) else f"/journal?system={entry.system}"

    answer = after.write(request, form, "log", shown, make, onward)
    if not written:
        return answer
    try:
        if wrong is not None:
            raise wrong
        if name:
            attachments.keep(state.store, state.clock, written[0].id, name, data)
    except BadInput as exc:
        lead = _("{logged}; its file was not kept").format(
            logged=said.entry_said(written[0], dict(describe.systems(state.store)))
        )
        return entry_page.shown(request, written[0].id, entry_page.not_kept(form, exc), lead)
    return answer


async def correct(request: Request) -> Response:
    """An amount was another; both stay in the journal."""
    form = await request.form()
    state, entry, system = request.app.state, text(form, "entry"), text(form, "system")

    def make(token: str) -> Entry:
        doors.only_own(request, entry)
        return record.correct(state.store, state.clock, entry, text(form, "value"), text(form, "unit"))

    return after.write(request, form, "correct", shown, make, lambda _: f"/journal?system={system}")


WAYS = [
    way("/journal", journal, Right.VIEW, name="journal"),
    way("/journal.csv", table, Right.VIEW),
    post("/journal/log", log, Right.LOG, most_bytes=entry_page.MOST_BODY_BYTES),
    post("/journal/correct", correct, Right.LOG),
    *(way(f"/journal/{form}", journal, Right.VIEW) for form in ("log", "correct")),
]
