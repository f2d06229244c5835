"""Why a number is what it is, and no surer: shares of its doubt, the readings it rests on, how it was carried."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from leadline.app import explain
from leadline.app.explain import Explained
from leadline.measures import figures
from leadline.measures.moments import zone
from leadline.measures.words import _
from leadline.present import sentences
from leadline.present import why as said
from leadline.web.pages.round import Asked, known, page
from leadline.web.ways import Right, way


async def why(request: Request) -> Response:
    """`GET /why/SYSTEM/QUANTITY`."""
    asked, system = Asked(request), request.path_params["system"]
    known(asked, system)
    asked.at_home(system)
    state, quantity = request.app.state, request.path_params["quantity"]
    x = explain.explain(state.store, state.clock, system, quantity, asked.as_of, asked.units)
    e, q, units = x.estimate, x.quantity, x.estimate.units
    local = zone(e.time_zone)
    read = figures.figure(q.mean, q.sd, quantity, units, q.unit)
    return page(
        request,
        "why.html",
        {
            "title": _("Why {quantity} is {value}").format(quantity=sentences.name(quantity), value=read)
            if q.last_reading
            else _("Why {quantity}").format(quantity=sentences.name(quantity)),
            "tabs": asked.systems(),
            "view": system,
            "frozen": asked.as_of is not None,
            "flash": None,
            "name": sentences.titled(quantity),
            "read": read,
            "system": system,
            "system_name": e.name,
            "quantity": quantity,
            "when": figures.long_moment(e.as_of, local),
            "said": _now(x, local),
            "shares": said.shares_said(x.shares),
            "surer": said.surer(x.shares, q.test_settles, sentences.name(quantity)),
            "lines": [s for s in (sentences.rate_said(q, units), *q.why[:5]) if s],
            "carried": said.carried(x.drifting, x.with_salt, x.coupled),
            "readings": _readings(x, units, local),
            "since": [(figures.moment(at, local), kind, words) for at, kind, words in reversed(x.since)],
            "prior": q.prior,
            "band": _band(x, units),
            "demand": _demand(x, units),
            "query": request.url.query,
            "volume": said.volume_said(e.net_volume_l, e.net_volume_sd_l, units),
            "stated": said.volume_said(x.system.net_volume_l, x.system.net_volume_sd_l, units),
            "others": [(n, sentences.titled(n)) for n in e.quantities if n != quantity],
        },
    )


def _now(x: Explained, local: Any) -> list[str]:
    e, q = x.estimate, x.quantity
    said_ = (sentences.now_said(q, e.units, local, e.as_of), sentences.edge_said(q, local, e.as_of))
    return [s for s in said_ if s]


def _readings(x: Explained, units: str, local: Any) -> list[dict[str, str]]:
    way_ = figures.display(x.quantity.quantity, units, x.quantity.unit)

    def shown(stored: float | None) -> str:
        return "" if stored is None else figures.number(way_.shown(stored), way_.digits)

    rows = []
    for r in x.readings:
        sd = figures.number(way_.difference(r.sd), max(way_.digits, 1))
        rows.append({
            "id": r.id, "when": figures.day(r.time, local, x.estimate.as_of), "value": shown(r.value), "sd": sd,
            "method": r.method or _("not said"), "expected": shown(r.expected),
            "judged": said.judged(r.value, r.expected, r.expected_sd, r.blunder, r.step),
        })  # fmt: skip
    return rows


def _band(x: Explained, units: str) -> str:
    b = x.system.band(x.quantity.quantity)
    if b is None:
        return ""
    whose = _("common practice") if b.is_default else _("your own")
    aim = figures.band(b.aim, b.quantity, units)
    if not b.limit:
        return _("Aim {aim} ({whose}).").format(aim=aim, whose=whose)
    limit = figures.band(b.limit, b.quantity, units)
    return _("Aim {aim}, limits {limit} ({whose}).").format(aim=aim, limit=limit, whose=whose)


def _demand(x: Explained, units: str) -> str:
    q = x.quantity
    if q.demand_mean is None or q.demand_sd is None:
        return ""
    way_ = figures.display(q.quantity, units, q.unit)
    digits = max(way_.digits, 2)
    value, sd = (figures.number(way_.difference(v), digits) for v in (q.demand_mean, q.demand_sd))
    return _("The system itself takes {value} ± {sd} a day.").format(value=way_.with_unit(value), sd=sd)


WAYS = [way("/why/{system}/{quantity}", why, Right.VIEW, name="why")]
