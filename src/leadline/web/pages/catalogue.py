"""The catalogue's page, and that of a display without fish: what is on record, each fact with its origin."""

from __future__ import annotations

from collections.abc import Sequence

from starlette.requests import Request
from starlette.responses import Response

from leadline.app import quarantine
from leadline.livestock.kinds import Agent, Catalogue, Hazard, Kind, Pest
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.words import _
from leadline.present import stock as said
from leadline.web.pages.livestock import house
from leadline.web.pages.round import Asked, page
from leadline.web.ways import Right, way


async def catalogue(request: Request) -> Response:
    """`GET /livestock/catalogue`, and `?name=` for one entry."""
    asked = Asked(request)
    h = house(request, asked)
    c = h.catalogue
    name = request.query_params.get("name", "").strip()[:120]
    found: Kind | Pest | Agent | Hazard | None = None
    error = ""
    if name:
        try:
            found = c.entry(name)
        except UnknownName as exc:
            error = f"{exc.line()[:1].upper()}{exc.line()[1:]}"
    groups = [
        (title, sorted(((f"{shape}/{e.id}", said.entry_named(e), e.own) for e in entries), key=lambda e: e[1].lower()))
        for shape, title, entries in _groups(c)
    ]
    return page(request, "catalogue.html", {
        "title": _("Catalogue"), "tabs": asked.systems(), "view": "livestock", "name": name, "error": error,
        "found": said.entry_named(found) if found is not None else "", "own": found is not None and found.own,
        "lines": said.entry_lines(c, found) if found is not None else [], "groups": groups,
    }, 422 if error else 200)  # fmt: skip


def _groups(c: Catalogue) -> list[tuple[str, str, Sequence[Kind | Pest | Agent | Hazard]]]:
    return [
        ("pest", _("Pests, parasites, blooms"), list(c.pests.values())),
        ("agent", _("Dips, medicines, measures"), list(c.agents.values())),
        ("hazard", _("Hazards"), list(c.hazards.values())),
        ("kind", _("Kinds"), list(c.kinds.values())),
    ]


async def fallow(request: Request) -> Response:
    """`GET /livestock/fallow`: how long a system must stay without hosts of a parasite."""
    asked = Asked(request)
    asked.at_first_home()
    h = house(request, asked)
    query = request.query_params
    system = query.get("system", "") or next(iter(h.systems), "")
    pest = query.get("pest", "")
    lines: list[str] = []
    error = ""
    if pest:
        try:
            state = request.app.state
            lines = said.fallow_lines(quarantine.fallow_of(state.store, state.clock, system, pest, asked.as_of))
        except BadInput as exc:
            error = f"{exc.line()[:1].upper()}{exc.line()[1:]}"
    return page(request, "fallow.html", {
        "title": _("Without fish"), "tabs": asked.systems(), "view": "livestock", "system": system, "pest": pest,
        "choices": asked.systems(), "lines": lines, "error": error,
        "pests": [(p.id, p.name) for p in h.catalogue.pests.values() if p.those("fallow")],
    }, 422 if error else 200)  # fmt: skip


WAYS = [
    way("/livestock/catalogue", catalogue, Right.VIEW),
    way("/livestock/fallow", fallow, Right.VIEW),
]
