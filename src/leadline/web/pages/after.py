"""After a form of livestock: what was written, the way to take it back, and no second entry for a second tap."""

from __future__ import annotations

import contextlib
import hashlib
import re
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from leadline.app import describe, record, stock
from leadline.app.stock import House
from leadline.journal.entry import Entry
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.words import N_, _
from leadline.present import stock as said
from leadline.web import doors
from leadline.web.pages.typed import Typed, back, read_mark, refused, text
from leadline.web.ways import Right, post

OURS = re.compile(r"/at/[a-z0-9-]+/[a-z]+/[A-Za-z0-9._~%-]+")  # a page that a label opens: a form may lead back to it
_DONE = {"photo": N_("Kept the photograph")}


@dataclass(frozen=True, slots=True)
class Flash:
    """The quiet line after a write."""

    words: str
    more: str = ""
    undo: str = ""  # the entry that can be taken back
    lot: str = ""  # whom it was seen of
    trace: str = ""  # where a sign is followed up


def new_token() -> str:
    """A mark for the forms of one page."""
    return secrets.token_urlsafe(9)


def token(form: FormData) -> str:
    """The mark of one form as it was filled: pressed twice it is the same, filled anew it is another."""
    given = text(form, "token", 60)
    if not given:
        return ""
    rest = repr(sorted((k, v) for k, v in form.multi_items() if isinstance(v, str)))
    return f"{given} {hashlib.blake2b(rest.encode(), digest_size=9).hexdigest()}"


def before(request: Request, form: FormData) -> Entry | None:
    """What this very form wrote already."""
    return record.sent(request.app.state.store, token(form)) if text(form, "token") else None


def shown(request: Request, h: House) -> Flash | None:
    """The quiet line after a write, from the address alone, so that a reload says the same."""
    query = request.query_params
    store = request.app.state.store
    if query.get("done") in _DONE:
        return Flash(_(_DONE[query["done"]]))
    if query.get("brought", "").replace("-", "").isdigit():
        new, _dash, old = query["brought"].partition("-")
        return Flash(_("Brought in: {new} new, {old} already there").format(new=new, old=old))
    taken_back = query.get("withdrawn", "")
    entry = store.entry(query.get("entry", "") or taken_back)
    if entry is None:
        return None
    names = {s.id: s.name for s in h.systems.values()}
    words = said.entry_said(entry, names)
    if taken_back:
        return Flash(_("Taken back: {what}").format(what=words[:1].lower() + words[1:]))
    lot = entry.subject if entry.subject in h.register.lots else str(entry.extra.get("animal", ""))
    sign = entry.subject if entry.kind == "observation" and stock.pointing(h, entry.subject) else ""
    trace = f"/trace?place={entry.system}&sign={sign}" if sign else ""
    more = ""
    if entry.kind == "arrival" and lot in h.register.lots:
        typed = str(entry.extra.get("kind", "") or entry.subject)
        more = stock.taken_as(h.catalogue, typed, h.register.lots[lot])
    if entry.kind in ("addition", "exchange"):  # what nobody knows is kept and moves nothing: that must be said
        with contextlib.suppress(BadInput):  # what was understood once may be refused by today's description
            notes = record.understood(store, describe.load(store, entry.system), entry)[1]
            more = " ".join(f"{n[:1].upper()}{n[1:]}." for n in notes)
    undo = "" if entry.extra.get("instead_of") else entry.id  # taken back alone, the older one would be lost with it
    return Flash(words, more, undo, lot if entry.kind == "observation" else "", trace)


def write(
    request: Request, form: FormData, name: str, page: Callable[[Request, Typed], Response],
    make: Callable[[str], Entry], to: Callable[[Entry], str], anchor: str = "",
) -> Response:  # fmt: skip
    """Write what a form says, once, and go to the page that shows it; else the form as it was filled, with the line."""
    try:
        entry = before(request, form) or make(token(form))
    except Stop as exc:
        return page(request, refused(name, form, exc, exc.lines))
    except BadInput as exc:
        return page(request, refused(name, form, exc))
    doors.sign(request, entry.id)
    return back(to(entry), anchor, entry=entry.id)


class Stop(BadInput):
    """What is known to speak against it, to be read before it is sent again."""

    def __init__(self, lines: Sequence[str]) -> None:
        super().__init__(_("read this first"), way_out=_("Then send it again, or leave it."))
        self.lines = lines


async def undo(request: Request) -> Response:
    """Take an entry of livestock back; it stays in the journal, with what took it back beside it."""
    form = await request.form()
    state, ident = request.app.state, request.path_params["entry"]
    old = state.store.entry(ident)
    if old is None:
        raise UnknownName("entry", ident[:60], ())
    doors.only_own(request, ident)
    record.withdraw(state.store, state.clock, ident)
    to = text(form, "to")
    if to == "/journal" or OURS.fullmatch(to):
        return back(to, withdrawn=ident)
    h = stock.house(state.store, state.clock)
    if not to.startswith("/livestock") or (to.rpartition("/")[2] not in h.register.lots and "/animal/" in to):
        to = "/livestock"
    return back(to, withdrawn=ident)


def stop(form: FormData, lines: Sequence[str]) -> None:
    """Stop what would be written when there is something to read first, unless just this was read."""
    if lines and text(form, "read") != read_mark(lines):
        raise Stop(lines)


WAYS = [post("/livestock/undo/{entry}", undo, Right.LOG)]
