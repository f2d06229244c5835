"""The trace's page: where something can be by now, or which arrival can have brought it; drawn, and in words."""

from __future__ import annotations

import datetime as dt
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from leadline.app import stock, trace_picture
from leadline.app import trace as app
from leadline.app.stock import House
from leadline.livestock.trace import Backward
from leadline.measures import figures
from leadline.measures.errors import BadInput
from leadline.measures.moments import parse
from leadline.measures.words import _
from leadline.present import stock as said
from leadline.web.pages.livestock import house, local_of, sources
from leadline.web.pages.round import Asked, page
from leadline.web.ways import Right, way

_SHOWN = 8


async def trace(request: Request) -> Response:
    """`GET /trace`."""
    asked = Asked(request)
    asked.at_first_home()
    h = house(request, asked)
    query = {k: v.strip()[:120] for k, v in request.query_params.items()}
    local = local_of(h, query.get("place", ""))
    pointing = stock.pointing(h, query["sign"]) if query.get("sign") else []
    if pointing:
        query.setdefault("pest", pointing[0].id)
        query["ask"] = "back"
    answers: list[dict[str, Any]] = []
    error = ""
    if query.get("pest") and query.get("ask"):
        try:
            if query["ask"] == "back":
                found, b = _back(request, asked, h, query, local)
                answers.append(found)
                first = b.suspects[0]
                if first.came is not None:  # where it can be by now, should the likeliest have brought it
                    brought = {"what": "animal", "animal": first.lot, "pest": query["pest"], "since": ""}
                    answers.append(_forth(request, asked, h, brought, local, first.came.time))
            else:
                answers.append(_forth(request, asked, h, query, local))
        except BadInput as exc:
            error = f"{exc.line()[:1].upper()}{exc.line()[1:]}"
    return page(request, "trace.html", {
        "title": _("Trace"), "tabs": asked.systems(), "view": "livestock", "asked_for": query, "answers": answers,
        "error": error, "pests": [(p.id, p.name) for p in h.catalogue.pests.values() if p.rides],
        "animals": sorted(((x.id, x.name) for x in h.register.lots.values() if x.came), key=lambda x: x[1]),
        "choices": asked.systems(), "sources": sources(h), "also": [(p.id, p.name) for p in pointing],
        "flash": None, "frozen": asked.as_of is not None,
    }, 422 if error else 200)  # fmt: skip


def _day(text: str, local: dt.tzinfo) -> dt.datetime | None:
    return parse(text, local) if text else None


def _forth(
    request: Request, asked: Asked, h: House, query: dict[str, str], local: dt.tzinfo, came: dt.datetime | None = None
) -> dict[str, Any]:
    state = request.app.state
    what = query.get("what", "animal")
    given: dict[str, Any] = {"since": came or _day(query.get("since", ""), local), "as_of": asked.as_of}
    given |= {"animal": {"came_with": query.get("animal", "")}, "place": {"place": query.get("place", "")},
              "source": {"source": query.get("source", "")}}.get(what, {})  # fmt: skip
    f = app.forward(state.store, state.clock, query["pest"], **given)
    names = {s.id: s.name for s in h.systems.values()}
    return {
        "forward": True,
        "pest": f.pest.name,
        "head": (
            _("if it came with {animal}: where it can be by now").format(animal=h.lot(query["animal"]).name)
            if came
            else ""
        )
        or _("from {origin} since {day}").format(
            origin=said.place_said(f.origin, names), day=figures.day(f.since, local, f.now)
        ),
        "picture": trace_picture.of_forward(h, f) if f.exposed else "",
        "rows": [
            {
                "name": names.get(e.place, e.place),
                "said": said.chance_said(e.chance, *e.chance_range),
                "hosts": ", ".join(x.replace("-", " ") for x in e.hosts),
                "dear": e.irreplaceable,
                "until": figures.day(e.look_until, local, f.now) if e.look_until and e.look_until > f.now else "",
                "path": said.path_said(e.likeliest.path(), names, local, f.now),
                "asks": e.chance > 0.05 or bool(e.hosts),
            }
            for e in f.exposed
        ],
        "carriers": [said.place_said(c, names) for c in f.carriers],
        "notice": f.pest.notice.says if f.pest.notice else "",
    }


def _back(
    request: Request, asked: Asked, h: House, query: dict[str, str], local: dt.tzinfo
) -> tuple[dict[str, Any], Backward]:
    state = request.app.state
    place = query.get("place", "") or next(iter(h.systems), "")
    seen = _day(query.get("seen", ""), local)
    if seen is not None:  # some time on that day
        seen = seen if seen > h.at else min(seen + dt.timedelta(hours=12), h.at)
    b = app.backward(state.store, state.clock, query["pest"], place, seen, asked.as_of)
    names = {s.id: s.name for s in h.systems.values()}
    return {
        "forward": False,
        "pest": b.pest.name,
        "head": _("first seen in {place} {day}").format(
            place=names.get(b.place, b.place), day=figures.day(b.seen, local, h.at)
        ),
        "picture": trace_picture.of_backward(h, b) if any(s.path for s in b.suspects) else "",
        "rows": [
            {
                "id": s.lot,
                "name": s.lot.replace("-", " ") or _("something else"),
                "said": figures.chance(s.share),
                "why": f"{s.why[:1].upper()}{s.why[1:]}.",
                "source": s.came.source.replace("-", " ") if s.came else "",
                "path": said.path_said(s.path, names, local, b.seen) if len(s.path) > 1 else "",
            }
            for s in b.suspects[:_SHOWN]
        ],
        "excluded": b.excluded,
        "not_followed": b.not_followed,
        "too_old": b.too_old,
    }, b


WAYS = [way("/trace", trace, Right.VIEW, name="trace")]
