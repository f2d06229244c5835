"""Thumb to command: every form posts, is written once, and redirects; a swap gets the part that changed."""

from __future__ import annotations

import hashlib
from typing import Any
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from leadline.measures.errors import BadInput
from leadline.measures.moments import parse
from leadline.measures.words import _
from leadline.present import sentences
from leadline.web import doors
from leadline.web.pages import lines
from leadline.web.pages import round as page
from leadline.web.pages.lines import Typed


def _text(form: FormData, name: str, most: int = 400) -> str:
    value = form.get(name, "")
    return value.strip()[:most] if isinstance(value, str) else ""


def _mark(form: FormData, quantity: str) -> str:
    """The mark of a reading as it was filled: sent twice it is the same; with another value it is another reading."""
    given = _text(form, "token")
    said = [quantity, *(_text(form, k) for k in ("value", "unit", "method", "other_method", "time", "note"))]
    return f"{given} {hashlib.blake2b(repr(said).encode(), digest_size=9).hexdigest()}" if given else ""


async def log(request: Request) -> Response:
    """A reading by hand."""
    form = await request.form()
    asked, system = page.Asked(request, form), request.path_params["system"]
    page.known(asked, system)
    method = _text(form, "other_method") or _text(form, "method")
    typed = Typed(
        _text(form, "form"), _text(form, "value"), _text(form, "unit"), method, _text(form, "time"),
        _text(form, "note", 2000), "", _text(form, "token"),
    )  # fmt: skip
    quantity = _text(form, "quantity")
    try:
        if not typed.value:
            raise BadInput(
                _("no value for {quantity}").format(quantity=sentences.name(quantity)),
                way_out=_("Type the number that you read."),
            )
        when = parse(typed.time, asked.see(system).local) if typed.time else None
        logged = asked.use.log(
            asked.store, request.app.state.clock, system=system, kind="reading", subject=quantity,
            value_text=typed.value, unit=typed.unit, method=method, time=when, note=typed.note,
            token=_mark(form, quantity),
        )  # fmt: skip
    except BadInput as exc:
        return _again(asked, form, system, quantity, typed, str(exc))
    doors.sign(request, logged.entry.id)
    more = " ".join(f"{said.rstrip('.')}." for said in logged.assumed)
    if logged.doubtful is not None:
        local = asked.see(system).local
        doubt = sentences.doubt_said(logged.doubtful, quantity, asked.see(system).estimate.units, local)
        more = f"{doubt} {more}".strip()
    return _after(asked, form, system, "logged", logged.entry.id, quantity, more)


async def done(request: Request) -> Response:
    """An inspection, a service, anything whose doing is all there is to say."""
    form = await request.form()
    asked, system = page.Asked(request, form), request.path_params["system"]
    page.known(asked, system)
    logs = {k.removeprefix("log_"): _text(form, k) for k in form if k.startswith("log_")}
    made = asked.use.done(
        asked.store, request.app.state.clock, system, _text(form, "action"), _text(form, "subject"),
        **({"logs": logs} if logs else {}),
    )  # fmt: skip
    doors.sign(request, _id(made))
    return _after(asked, form, system, "done", _id(made), "")


async def withdraw(request: Request) -> Response:
    """Take an entry back; it stays in the journal, with what took it back beside it."""
    form = await request.form()
    asked, system, entry = _known_entry(request, form)
    old = asked.store.entry(entry)
    doors.only_own(request, entry)
    asked.use.withdraw(asked.store, request.app.state.clock, entry)
    return _after(asked, form, system, "withdrawn", entry, old.subject if old else "")


async def confirm(request: Request) -> Response:
    """A reading in doubt is right as typed."""
    form = await request.form()
    asked, system, entry = _known_entry(request, form)
    old = asked.store.entry(entry)
    doors.only_own(request, entry)
    made = asked.use.confirm(asked.store, request.app.state.clock, entry)
    doors.sign(request, _id(made))
    return _after(asked, form, system, "settled", _id(made) or entry, old.subject if old else "")


async def correct(request: Request) -> Response:
    """A reading in doubt was another value."""
    form = await request.form()
    asked, system, entry = _known_entry(request, form)
    old = asked.store.entry(entry)
    quantity = old.subject if old else ""
    typed = Typed(_text(form, "form"), _text(form, "value"), _text(form, "unit"), token=_text(form, "token"))
    try:
        doors.only_own(request, entry)
        made = asked.use.correct(asked.store, request.app.state.clock, entry, typed.value, typed.unit)
    except BadInput as exc:
        return _again(asked, form, system, quantity, typed, str(exc))
    doors.sign(request, _id(made))
    return _after(asked, form, system, "corrected", _id(made) or entry, quantity)


async def light(request: Request) -> Response:
    """Choose a light, or leave it to the device."""
    form = await request.form()
    chosen = _text(form, "light")
    here = str(form.get("here", ""))[:2000]
    back = "/" + here.lstrip("/\\") if here.isprintable() else "/"  # never a host, whatever the address looked like
    answer = RedirectResponse(back, 303)
    doors.remember(answer, request, "light", chosen if chosen in page.LIGHTS else "")
    return answer


def _known_entry(request: Request, form: FormData) -> tuple[page.Asked, str, str]:
    asked, system = page.Asked(request, form), request.path_params["system"]
    page.known(asked, system)
    entry_id = request.path_params["entry"]
    entry = asked.store.entry(entry_id)
    if entry is None or entry.system != system:
        raise BadInput(
            _("no entry {entry} in {system}").format(entry=f"{entry_id!r}", system=system),
            way_out=_("Reload the page to see what is there now."),
        )
    return asked, system, entry_id


def _id(made: Any) -> str:
    """The id of an entry, or of the entry that something just made holds."""
    entry = getattr(made, "entry", made)
    return str(getattr(entry, "id", "") or "")


def _after(
    asked: page.Asked, form: FormData, system: str, what: str, entry_id: str, quantity: str, more: str = ""
) -> Response:
    """The page again after a write: a redirect, or for a swap the round and the course that changed."""
    everywhere = _text(form, "view") == "all"
    if asked.request.headers.get("hx-request") == "true":
        flash = page.flash_for(asked, what, entry_id, more)
        if everywhere:
            return page.overview(asked, flash=flash)
        return page.chart_room(asked, system, flash=flash, fresh=quantity)
    query: dict[str, str | int] = {"minutes": asked.minutes, "days": asked.days}
    if entry_id:
        query[what] = entry_id
    to = "/" if everywhere else f"/system/{system}"
    return RedirectResponse(f"{to}?{urlencode(query)}#round", 303)


def _again(asked: page.Asked, form: FormData, system: str, quantity: str, typed: Typed, line: str) -> Response:
    """The form again, with what was typed and one clear line: 422, as a page or as the form alone."""
    kept = Typed(typed.form, typed.value, typed.unit, typed.method, typed.time, typed.note, line, typed.token)
    if asked.request.headers.get("hx-request") == "true":
        shown = lines.entry_form(asked.see(system), quantity, kept.form, kept)
        if kept.form.startswith("k-"):
            shown = lines.as_correction(shown, asked.request.url.path)
        answer = page.page(
            asked.request, "part/form.html", {"f": shown, "view": _text(form, "view"), "asked": asked}, 422
        )
        answer.headers["hx-retarget"] = f"#form-{kept.form}"
        answer.headers["hx-reswap"] = "outerHTML"
        return answer
    if _text(form, "view") == "all":
        return page.overview(asked, typed=kept, status=422)
    return page.chart_room(asked, system, typed=kept, status=422)
