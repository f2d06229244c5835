"""What a label opens: at a machine its service, at an instrument a reading, at a tank the choice of what was done."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from leadline.app import describe, read_journal, stock
from leadline.measures import figures
from leadline.measures.moments import zone
from leadline.measures.words import _
from leadline.present import labels, sentences
from leadline.present.labels import Thing
from leadline.system.description import System
from leadline.web.pages import after, journal
from leadline.web.pages.entry import amount
from leadline.web.pages.lines import Form, Typed, entry_form
from leadline.web.pages.round import Asked, page
from leadline.web.ways import Right, way

# what is done at a tank, the commonest first
_AT_A_VESSEL = ("exchange", "topoff", "feeding", "addition", "observation", "reading")


async def at(request: Request) -> Response:
    """`GET /at/SYSTEM/KIND/ID`."""
    asked, query = Asked(request), request.query_params
    system = describe.load(asked.store, request.path_params["system"])
    what = labels.thing(system, request.path_params["kind"], request.path_params["id"])
    here = labels.address("", system.id, what)
    flash = None
    if query.get("entry") or query.get("withdrawn"):
        flash = after.shown(request, stock.house(asked.store, request.app.state.clock))
    return page(request, "at.html", {
        "title": what.name, "tabs": asked.systems(), "view": system.id, "thing": what, "system_name": system.name,
        "asked": asked, "flash": flash, "frozen": False, "f": None, "now_said": "", "links": [], "last": [],
        **_FORMS[what.kind](asked, system, what, here),
    })  # fmt: skip


def _vessel(asked: Asked, system: System, what: Thing, here: str) -> dict[str, Any]:
    words = dict(journal.FORMS)
    at = {"system": system.id, **({"vessel": what.id} if what.id in {v.id for v in system.vessels} else {})}
    return {"log": "", "links": [(f"/journal?{urlencode({'log': k, **at})}", _(words[k])) for k in _AT_A_VESSEL]}


def _equipment(asked: Asked, system: System, what: Thing, here: str) -> dict[str, Any]:
    form = journal.form_of(asked, "service", system.id, given={"subject": what.id}, to=here)
    return {**form, "last": _last(asked, system, "service", what.id)}


def _instrument(asked: Asked, system: System, what: Thing, here: str) -> dict[str, Any]:
    last = _last(asked, system, "reading", what.quantity, what.method)
    return {"log": "", "f": _reading(asked, system, what.quantity, what.method), "last": last}


def _probe(asked: Asked, system: System, what: Thing, here: str) -> dict[str, Any]:
    now = asked.request.app.state.clock.now()
    point = asked.store.latest_point(system.id, what.id, now.timestamp())
    said, note = _("It has sent nothing yet."), ""
    if point is not None:
        value = str(figures.figure(point[1], None, what.quantity, system.units))
        ago = figures.span((now.timestamp() - point[0]) / 86400.0)
        said, note = _("It shows {value}, sent {span} ago.").format(value=value, span=ago), f"beside the probe: {value}"
    form = journal.form_of(asked, "service", system.id, given={"subject": what.id, "method": "calibrated"}, to=here)
    return {
        **form, "now_said": said, "f": _reading(asked, system, what.quantity, "", note),
        "last": _last(asked, system, "service", what.id),
    }  # fmt: skip


_FORMS = {"vessel": _vessel, "equipment": _equipment, "probe": _probe, "instrument": _instrument}


def _reading(asked: Asked, system: System, quantity: str, method: str, note: str = "") -> Form:
    """The form of the system's own page for that quantity, with the method chosen."""
    key = f"c-{quantity}"
    form = entry_form(asked.see(system.id), quantity, key, Typed(key, method=method, note=note))
    by_hand = tuple(m for m in form.methods if m not in {s.id for s in system.streams})
    return replace(form, methods=by_hand, method=method or next(iter(by_hand), ""))


def _last(asked: Asked, system: System, kind: str, subject: str, method: str = "") -> list[dict[str, str]]:
    now, local = asked.request.app.state.clock.now(), zone(system.time_zone)
    found = read_journal.last_of(asked.store, now, system.id, kind, subject, method=method)
    return [
        {"id": e.id, "when": figures.day(e.time, local, now), "said": _said(e.method or sentences.name(kind), e.note)
         if kind == "service" else amount(e)}
        for e in found
    ]  # fmt: skip


def _said(*parts: str) -> str:
    return ", ".join(p for p in parts if p)


WAYS = [way("/at/{system}/{kind}/{id}", at, Right.VIEW, name="at")]
