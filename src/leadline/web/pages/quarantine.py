"""A quarantine's page: where it stands, what is due and why, when it may end, and the form of a dip."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from leadline.app import quarantine, record, stock
from leadline.journal.entry import Entry
from leadline.measures import figures
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.words import _
from leadline.present import stock as said
from leadline.present.charts import quarantine as drawn
from leadline.web.pages import after
from leadline.web.pages.livestock import house, local_of
from leadline.web.pages.round import Asked, page
from leadline.web.pages.typed import Typed, text
from leadline.web.ways import Right, post, way


async def unit(request: Request) -> Response:
    """`GET /livestock/SYSTEM/quarantine`."""
    return shown(request)


def shown(request: Request, typed: Typed | None = None) -> Response:
    """The page; with a form that could not be used, that form open, filled, and the line at it."""
    asked = Asked(request)
    system = request.path_params["system"]
    h = house(request, asked)
    if system not in h.systems:
        raise UnknownName("system", system, h.systems)
    state = request.app.state
    plan = quarantine.plan(state.store, state.clock, system, asked.as_of)
    local = local_of(h, system)
    common: dict[str, Any] = {
        "title": h.systems[system].name, "tabs": asked.systems(), "view": "livestock", "system": system, "typed": typed,
        "flash": after.shown(request, h), "token": after.new_token(), "frozen": asked.as_of is not None, "plan": plan,
    }  # fmt: skip
    if plan is None:
        return page(request, "quarantine.html", common, 200 if typed is None else 422)
    names = {a.pest.id: a.pest.name for a in plan.against}
    dips = [(a.id, a.name, ", ".join(a.harms)) for a in quarantine.dips_for(h, plan)]
    others = [(a.id, a.name) for a in h.catalogue.agents.values() if a.use == "medicine"]
    return page(request, "quarantine.html", {
        **common,
        "since": figures.day(plan.started, local, h.at),
        "stands": [s if s.endswith(".") else f"{s}." for s in plan.conclusion.split(". ") if s],
        "picture": drawn.svg(plan, h.at, local=local, ident="quarantine"),
        "steps": [_step(s, names, local, h.at) for s in plan.steps],
        "release": figures.day(plan.release, local, h.at) if plan.release else "",
        "given": [(figures.day(t, local, h.at), what) for t, what in plan.treatments],
        "early": plan.release is None or plan.release > h.at or bool(plan.doubt),
        "against": [_against(a, h) for a in plan.against], "dips": dips, "medicines": others,
        "dip_cautions": _cautions(h), "who": [(x.id, x.name) for x in plan.lots],
    }, 200 if typed is None else 422)  # fmt: skip


def _step(s: Any, names: dict[str, str], local: Any, now: Any) -> dict[str, Any]:
    return {
        "key": s.key, "what": s.what, "state": s.state, "when": said.window_said(s, local, now),
        "why": f"{s.why[:1].upper()}{s.why[1:]}." if s.why else "",
        "against": ", ".join(names.get(p, p) for p in s.pests), "minutes": figures.minutes(s.minutes),
        "asks": s.state == "due", "treat": s.action == "treat", "look": s.key == "look",
    }  # fmt: skip


def _against(a: Any, h: Any) -> dict[str, Any]:
    facts = [f for d in (a.hatch, a.lays, a.observe) if d is not None for f in d.facts]
    if a.opens_d is not None:
        window = _("treat again on day {first} to {last}").format(first=a.opens_d, last=a.closes_d)
    elif a.no_data:
        window = a.no_data
    else:
        window = ""
    return {
        "id": a.pest.id,
        "name": a.pest.name,
        "hosts": ", ".join(x.replace("-", " ") for x in a.hosts) or _("rides along"),
        "window": window,
        "observe": _("{number} days").format(number=f"{a.observe.days:.0f}")
        if a.observe.days is not None
        else _("no data"),
        "facts": [
            (f.what.replace("-", " "), said.fact_said(f), said.origin(h.catalogue, f.mark, f.source))
            for f in dict.fromkeys(facts)
        ],
    }


def _cautions(h: Any) -> list[tuple[str, str, str]]:
    """Each caution once, with the dips that it is of."""
    dips = [a for a in h.catalogue.agents.values() if a.use == "dip"]
    found: dict[tuple[str, str], list[str]] = {}
    for a in dips:
        for f in a.cautions:
            found.setdefault((said.fact_said(f), said.label(f.mark)), []).append(a.name.lower())
    return [
        (line, label, _("every dip") if len(names) == len(dips) else ", ".join(names))
        for (line, label), names in found.items()
    ]


async def treat(request: Request) -> Response:
    """A dip or a medicine, as it was done."""
    form = await request.form()
    state, system = request.app.state, request.path_params["system"]
    who = [v for v in form.getlist("animals") if isinstance(v, str)]

    def make(token: str) -> Entry:
        if not text(form, "other") and not text(form, "agent"):
            raise BadInput(_("treated with what?"), way_out=_("Choose the agent, or say that it is not known."))
        return quarantine.treat(
            state.store, state.clock, system, agent=text(form, "other") or text(form, "agent"),
            what="medicine" if text(form, "what") == "medicine" else "dip", animals=who, base=text(form, "base"),
            minutes=text(form, "minutes"), concentration=text(form, "concentration"), water=text(form, "water"),
            found=text(form, "found"), fell_off=text(form, "fell_off"), rinse=text(form, "rinse"),
            moved_out=bool(text(form, "moved_out")), note=text(form, "note", 2000), time=text(form, "time") or None,
            token=token,
        ).entry  # fmt: skip

    return after.write(request, form, "treat", shown, make, lambda _: f"/livestock/{system}/quarantine")


async def release(request: Request) -> Response:
    """Who decided on release, and why: noted; the animals are moved on their own pages."""
    form = await request.form()
    state, system = request.app.state, request.path_params["system"]

    def make(token: str) -> Entry:
        who, why = text(form, "who"), text(form, "note", 2000)
        plan = quarantine.plan(state.store, state.clock, system)
        if not who:
            raise BadInput(_("decided by whom?"), way_out=_("Write a name: whoever asks later must know."))
        early = plan is not None and (plan.release is None or plan.release > state.clock.now() or plan.doubt)
        if early and not why:
            raise BadInput(_("this is before it should be"), way_out=_("Say why: whoever asks later must know."))
        h = stock.house(state.store, state.clock)
        return record.log(
            state.store, state.clock, system=system, kind="note", subject="release", value_text="", unit="",
            note=f"release decided by {who}. {why}".strip(), token=token,
            extra={"animals": [x.id for x in h.register.at(system)], "conclusion": plan.conclusion if plan else ""},
        ).entry  # fmt: skip

    return after.write(request, form, "release", shown, make, lambda _: f"/livestock/{system}/quarantine")


WAYS = [
    way("/livestock/{system}/quarantine", unit, Right.VIEW, name="quarantine"),
    post("/livestock/{system}/treat", treat, Right.KEEP),
    post("/livestock/{system}/release", release, Right.KEEP),
]
