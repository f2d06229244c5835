"""Set up: the systems, each in small steps that can wait, and how much water there is."""

from __future__ import annotations

import functools
import zoneinfo
from collections.abc import Callable
from dataclasses import replace
from typing import Any
from urllib.parse import quote

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from leadline.app import describe, set_up, volume
from leadline.measures import figures, units
from leadline.measures.errors import BadInput
from leadline.measures.units import GALLON_L
from leadline.measures.words import N_, _, ngettext
from leadline.present import sentences
from leadline.present.why import volume_said
from leadline.system import bands
from leadline.system.description import PURPOSES, System
from leadline.system.methods import performance
from leadline.web.pages.round import Asked, known, page
from leadline.web.pages.typed import Typed, back, refused, text
from leadline.web.ways import Right, post, way

_SAID = {
    "made": N_("It is made"),
    "kept": N_("Kept"),
    "dropped": N_("Taken out"),
    "undone": N_("As it was before"),
    "volume": N_("Kept"),
}
_PURPOSE_SAID = {
    "display": N_("a display"),
    "satellite": N_("a satellite of another"),
    "fish-quarantine": N_("quarantine for fish"),
    "invertebrate-quarantine": N_("quarantine for invertebrates"),
    "quarantine": N_("quarantine"),
    "hospital": N_("a hospital"),
}
_MACHINE_SAID = {
    "topoff": N_("top-off"), "uv": N_("UV lamp"), "ups": N_("battery backup (UPS)"), "doser": N_("dosing pump"),
}  # fmt: skip
_UNITS_SAID = {"metric": N_("metric"), "us": N_("US")}
_SHORT = {
    "sd": "± {}",
    "minutes": N_("{} min"),
    "stream": N_("seen by {}"),
    "period": N_("every {}"),
    "vessel": N_("in {}"),
    "spare_volume": N_("{} free above"),
    "setpoint": N_("set to {}"),
    "rate": N_("at {}"),
    "per_day": N_("{} a day"),
    "on": N_("from {}"),
    "off": N_("to {}"),
    "reservoir": N_("from {}"),
    "room": N_("of the room's air"),
    "distance": N_("{} away"),
}


@functools.cache
def zones() -> tuple[str, ...]:
    """Time zones by area and place, those of people."""
    areas = ("Africa/", "America/", "Antarctica/", "Asia/", "Atlantic/", "Australia/", "Europe/", "Indian/", "Pacific/")
    return ("UTC", *sorted(z for z in zoneinfo.available_timezones() if z.startswith(areas)))


async def systems(request: Request) -> Response:
    """`GET /systems`: all of them, and a new one."""
    asked = Asked(request)
    store = request.app.state.store
    found = [(s, name, _summary(describe.load(store, s))) for s, name in asked.systems()]
    return page(request, "systems.html", {
        "title": _("Set up"), "tabs": asked.systems(), "view": "systems", "found": found,
    })  # fmt: skip


def _summary(s: System) -> str:
    parts = [volume_said(s.net_volume_l, s.net_volume_sd_l, s.units), _(_PURPOSE_SAID.get(s.purpose, s.purpose))]
    machines, streams = len(s.equipment), len(s.streams)
    parts += [ngettext("{n} machine", "{n} machines", machines).format(n=machines)] if machines else []
    parts += [ngettext("{n} stream", "{n} streams", streams).format(n=streams)] if streams else []
    return " · ".join(parts)


async def new(request: Request) -> Response:
    """`GET /systems/new`: a name, and how much water."""
    return _new(request)


def _new(request: Request, typed: Typed | None = None) -> Response:
    asked = Asked(request)
    return page(request, "system-new.html", {
        "title": _("A new system"), "tabs": asked.systems(), "view": "systems", "typed": typed, "zones": zones(),
        "purposes": [(p, _(_PURPOSE_SAID[p])) for p in PURPOSES], "first": not asked.systems(),
        "zone": _last_zone(request),
    }, 200 if typed is None else 422)  # fmt: skip


def _last_zone(request: Request) -> str:
    """The zone of the systems that are there, for the next one; empty where there is none."""
    store = request.app.state.store
    found = store.systems()
    return describe.load(store, found[-1]).time_zone if found else ""


async def make(request: Request) -> Response:
    """The first description."""
    form = await request.form()
    state = request.app.state
    unit = text(form, "unit") or "L"
    length = text(form, "length_unit") or "cm"
    try:
        sizes = [_unit({k: text(form, k, 20)}, k, length) for k in ("length", "depth", "height")]
        amount = text(form, "volume", 40)
        made = set_up.begin(
            state.store, state.clock, name=text(form, "name"), volume=_unit({"volume": amount}, "volume", unit),
            size=() if amount else sizes, time_zone=text(form, "time_zone"), units="us" if unit == "gal" else "metric",
            purpose=text(form, "purpose"),
        )  # fmt: skip
    except BadInput as exc:
        return _new(request, refused("new", form, exc))
    return back(f"/systems/{made.id}", done="made")


async def one(request: Request) -> Response:
    """`GET /systems/ID`: what stands there, part by part."""
    return _one(request)


def _one(request: Request, typed: Typed | None = None) -> Response:
    asked, ident = Asked(request), request.path_params["system"]
    known(asked, ident)
    state, query = request.app.state, request.query_params
    document = describe.document(state.store, ident)
    s = describe.load(state.store, ident)
    units = asked.units or s.units
    opened = typed.values.get("kind", "") if typed else query.get("part", "")
    key = typed.values.get("key", "") if typed else query.get("key", "")
    return page(request, "set-up.html", {
        "title": s.name, "tabs": asked.systems(), "view": "systems", "system": s, "typed": typed,
        "said": _(_SAID.get(query.get("done", ""), "")), "made": query.get("done") == "made",
        "undoable": query.get("done") in ("kept", "dropped", "volume") and len(state.store.system_versions(ident)) > 1,
        "head": _single(document, set_up.HEAD, opened, typed, units),
        "room": _single(document, set_up.ROOM, opened, typed, units),
        "kinds": [_kind(document, k, s, opened, key, typed, units) for k in set_up.KINDS.values()],
        "defaults": s.defaults, "unknown": s.unknown, "bands": _bands(s, units),
        "volume": volume_said(s.net_volume_l, s.net_volume_sd_l, units), "document": document,
        "reckoned": _reckoned(asked, s, units),
        "whole": typed.values.get("document", document) if typed and typed.form == "whole" else document,
        "zones": zones(), "choice_said": _choice_said, "performance": _performances(s, units),
    }, 200 if typed is None else 422)  # fmt: skip


def _reckoned(asked: Asked, s: System, units: str) -> str:
    """How much water doses and exchanges speak for, where that is not what is stated."""
    try:
        e = asked.see(s.id).estimate
    except BadInput:  # what can't be reckoned is mended on this very page
        return ""
    stated = volume_said(s.net_volume_l, s.net_volume_sd_l, units)
    said = volume_said(e.net_volume_l, e.net_volume_sd_l, units)
    return said if said != stated else ""


def _choice_said(key: str, choice: str) -> str:
    """A choice of a form as one says it."""
    if key == "quantity":
        return sentences.titled(choice)
    words = {"type": _MACHINE_SAID, "purpose": _PURPOSE_SAID, "units": _UNITS_SAID}.get(key, {})
    return _(words[choice]) if choice in words else choice.replace("degC", "°C").replace("degF", "°F")


_FOR_US = {  # examples as they are, and near them what a reader of US units would type
    "25.0 degC": "77.0 degF", "21 degC": "70 degF", "2.00 m": "80 in", "0.75 m": "30 in", "0.65 m": "25 in",
    "75 cm": "30 in", "65 cm": "25 in", "1.5 m": "5 ft", "180 L": "50 gal", "70 L": "20 gal", "40 L": "10 gal",
    "1150 L": "300 gal", "60 L": "15 gal", "100 L": "25 gal", "4000 L/h": "1000 gal/h", "2 L/h": "0.5 gal/h",
    "90 kg": "200 lb", "40 kg": "90 lb",
}  # fmt: skip


def example(hint: str, units: str) -> str:
    """An example of an amount in the reader's units."""
    return _FOR_US.get(hint, hint) if units == "us" else hint


def localized(kind: set_up.Kind, units: str = "metric") -> set_up.Kind:
    """A kind of part in the reader's language, its examples in their units."""
    fields = tuple(replace(f, label=_(f.label), hint=example(f.hint, units)) for f in kind.fields)
    return replace(kind, title=_(kind.title), one=_(kind.one), says=_(kind.says), fields=fields)


def _single(document: str, kind: set_up.Kind, opened: str, typed: Typed | None, units: str) -> dict[str, Any]:
    found = set_up.parts(document, kind.id)
    values = dict(found[0]) if found else {}
    mine = typed if typed is not None and typed.form == "part" and typed.values.get("kind") == kind.id else None
    if mine is not None:
        values.update(mine.values)
    return {"kind": localized(kind, units), "now": values, "open": opened == kind.id,
            "error": mine.error if mine else "",
            "shown": [(_(f.label), _choice_said(f.key, values[f.key])) for f in kind.fields
                      if values.get(f.key)]}  # fmt: skip


def _kind(
    document: str, kind: set_up.Kind, s: System, opened: str, key: str, typed: Typed | None, units: str
) -> dict[str, Any]:  # fmt: skip
    mine = (
        typed if typed is not None and typed.values.get("kind") == kind.id and typed.form in ("part", "drop") else None
    )
    rows = []
    for part in set_up.parts(document, kind.id):
        own = set_up.key_of(kind, part)
        here = mine is not None and mine.values.get("key") == own
        rows.append({
            "key": own, "name": _named(kind, part), "said": _said(kind, part),
            "contested": bands.DISPUTED.get(part.get("quantity", ""), "") if kind.id == "band" else "",
            "now": {**part, **mine.values} if here and mine is not None else part,
            "open": opened == kind.id and key == own, "error": mine.error if here and mine is not None else "",
        })  # fmt: skip
    fresh = mine is not None and not mine.values.get("key")
    return {
        "kind": localized(kind, units), "rows": rows, "open": opened == kind.id and not key,
        "now": dict(mine.values) if fresh and mine is not None else _start(kind, s),
        "error": mine.error if fresh and mine is not None else "",
    }  # fmt: skip


def _start(kind: set_up.Kind, s: System) -> dict[str, str]:
    """What a new part begins with: a free name for a machine."""
    return (
        {"unit": "degC", "quantity": "temperature", "period": "60 s"} if kind.id == "stream" and not s.streams else {}
    )


def _named(kind: set_up.Kind, part: dict[str, str]) -> str:
    names = [sentences.titled(part.get(n, "")) if n == "quantity" else part.get(n, "") for n in kind.names]
    return ", ".join(n for n in names if n) or _("without a name")


def _said(kind: set_up.Kind, part: dict[str, str]) -> str:
    lists: dict[str, list[str]] = {}
    for f in kind.fields:
        if "." in f.key and part.get(f.key):
            lists.setdefault(f.key.partition(".")[0], []).append(_choice_said("", part[f.key]))
    said = [
        f"{name.replace('_', ' ')} {(' × ' if name == 'inner_size' else ' to ').join(v)}" for name, v in lists.items()
    ]
    for f in kind.fields:
        value = part.get(f.key, "")
        if value and "." not in f.key and f.key not in kind.names:
            said.append(_(_SHORT.get(f.key, "{}")).format(_choice_said(f.key, value).replace("\n", ", ")))
    return " · ".join(said)


def _bands(s: System, units: str) -> list[dict[str, str]]:
    """Every quantity's band: the system's own or the common one, and what is disputed about it."""
    rows = []
    for q in dict.fromkeys([*s.bands, *bands.DEFAULTS]):
        b = s.band(q)
        if b is None:
            continue
        rows.append({
            "quantity": q, "name": sentences.titled(q), "aim": figures.band(b.aim, q, units),
            "limit": figures.band(b.limit, q, units) if b.limit else _("none"),
            "origin": _("common practice") if b.is_default else _("your own"),
            "contested": bands.DISPUTED.get(q, "") if q in bands.CONTESTED else "",
            "key": "" if b.is_default else q,
        })  # fmt: skip
    return rows


def _performances(s: System, units: str) -> list[tuple[str, str, str]]:
    """How well each core quantity is taken to be measured where no method is described."""
    described = {m.quantity for m in s.methods}
    rows = []
    for q in bands.CORE:
        if q not in described:
            p = performance(q)
            way_ = figures.display(q, units)
            sd = way_.with_unit(figures.number(way_.difference(p.sd), max(way_.digits, 2)))
            share = f"{100 * p.relative:.0f}"
            doubt = _("± {sd} and {share} % of the value").format(sd=sd, share=share) if p.relative else f"± {sd}"
            rows.append((sentences.titled(q), doubt, f"{figures.plain(p.minutes)} min"))
    return rows


async def keep_part(request: Request) -> Response:
    """A part is added or changed."""
    return await _changed(request, "part", "kept", lambda form, system, state: set_up.put(
        state.store, state.clock, system, text(form, "kind"), text(form, "key"),
        {f.key: text(form, f.key, 2000) for f in set_up.kind_of(text(form, "kind")).fields if f.key in form},
    ))  # fmt: skip


async def drop_part(request: Request) -> Response:
    """A part is taken out; the description before stays."""
    return await _changed(request, "drop", "dropped", lambda form, system, state: set_up.drop(
        state.store, state.clock, system, text(form, "kind"), text(form, "key")
    ))  # fmt: skip


async def undo(request: Request) -> Response:
    """The description before the last change."""
    return await _changed(
        request, "undo", "undone", lambda form, system, state: set_up.undo(state.store, state.clock, system)
    )


async def whole(request: Request) -> Response:
    """The description as one text."""
    return await _changed(request, "whole", "kept", lambda form, system, state: set_up.replace_whole(
        state.store, state.clock, system, str(form.get("document", "")).replace("\r\n", "\n")
    ))  # fmt: skip


async def _changed(request: Request, name: str, done: str, make: Callable[[FormData, str, Any], System]) -> Response:
    form = await request.form()
    system = request.path_params["system"]
    known(Asked(request), system)
    try:
        make(form, system, request.app.state)
    except BadInput as exc:
        typed = refused(name, form, exc)
        if name == "whole":
            values = {**typed.values, "document": str(form.get("document", ""))[: set_up.MOST_BYTES]}
            typed = Typed(name, typed.error, values)
        return _one(request, typed)
    kind = text(form, "kind")
    return back(f"/systems/{system}", f"part-{kind}" if kind else "", done=done)


async def download(request: Request) -> Response:
    """`GET /systems/ID.toml`: the description as it was given."""
    system = request.path_params["system"]
    known(Asked(request), system)
    headers = {"content-disposition": f"attachment; filename*=UTF-8''{quote(system)}.toml"}
    return Response(describe.document(request.app.state.store, system), media_type="application/toml", headers=headers)


# -- how much water ------------------------------------------------------------------------------------


async def water(request: Request) -> Response:
    """`GET /systems/ID/volume`: by sizes, by an exchange, by a dose; what is typed is worked out at once."""
    asked, ident = Asked(request), request.path_params["system"]
    known(asked, ident)
    state = request.app.state
    query = {k: v.strip()[:40] for k, v in request.query_params.items()}
    s = describe.load(state.store, ident)
    units = asked.units or s.units
    worked, error = None, ""
    if any(v for k, v in query.items() if k not in ("as_of", "done")):
        try:
            worked = volume.together(_ways(query))
        except BadInput as exc:
            line = exc.line()
            error = f"{line[:1].upper()}{line[1:]}"
    lines = {x.what: x.value for x in worked.lines} if worked else {}
    return page(
        request,
        "volume.html",
        {
            "title": _("How much water: {system}").format(system=s.name),
            "tabs": asked.systems(),
            "view": "systems",
            "system": s,
            "v": query,
            "stated": volume_said(s.net_volume_l, s.net_volume_sd_l, units),
            "error": error,
            "worked": worked,
            "ways": [
                (x.what.removeprefix("by "), volume_said(x.value, lines[f"{x.what}, ±"], units))
                for x in (worked.lines if worked else ())
                if f"{x.what}, ±" in lines
            ],
            "found": volume_said(lines["net volume"], lines["one standard deviation"], units) if worked else "",
            "litres": f"{lines['net volume']:.0f}" if worked else "",
            "sd": f"{max(lines['one standard deviation'], 1.0):.0f}" if worked else "",
            "defaults": _known_sizes(s, units),
            "eg": functools.partial(example, units=units),
        },
        422 if error else 200,
    )


def _known_sizes(s: System, units: str) -> dict[str, str]:
    """Sizes and volumes of the vessels that are described, to begin with."""
    sized = [v for v in s.vessels if v.inner_size_m]
    others = [v for v in s.vessels if not v.inner_size_m and v.volume_l]
    found: dict[str, str] = {}
    if sized and sized[0].inner_size_m:
        inch = units == "us"
        found = {
            k: f"{figures.plain(x / 0.0254, 3)} in" if inch else f"{figures.plain(x)} m"
            for k, x in zip(("length", "depth", "height"), sized[0].inner_size_m, strict=True)
        }
    if others:
        litres = sum(v.volume_l or 0.0 for v in others)
        found["others"] = (
            f"{figures.plain(litres / GALLON_L, 3)} gal" if units == "us" else f"{figures.plain(litres)} L"
        )
    return found


_BOXES: dict[str, tuple[str, units.Dimension]] = {
    "length": (N_("Inner length"), "length"), "depth": (N_("Depth"), "length"), "height": (N_("Water"), "length"),
    "others": (N_("Sump and pipes, at their running level"), "volume"), "rock": (N_("Rock, dry"), "mass"),
    "sand": (N_("Sand, dry"), "mass"), "exchanged": (N_("Exchanged"), "volume"),
    "dosed": (N_("Sodium bicarbonate"), "mass"),
}  # fmt: skip
_USUAL_UNIT = {"rock": "kg", "sand": "kg", "exchanged": "L", "dosed": "g"}


def _ways(q: dict[str, str]) -> list[volume.Way]:
    ways = []
    for key, (label, dimension) in _BOXES.items():
        if q.get(key):
            try:
                units.parse_amount(_unit(q, key, _USUAL_UNIT.get(key, "")), dimension)
            except BadInput as exc:
                raise BadInput(exc.what, where=_(label), way_out=exc.way_out) from exc
    sizes = [q.get(k, "") for k in ("length", "depth", "height")]
    if any(sizes) or q.get("others"):
        others = [q["others"]] if q.get("others") else []
        tanks = [sizes] if any(sizes) else []
        ways.append(volume.from_sizes(tanks, others, _unit(q, "rock", "kg"), _unit(q, "sand", "kg")))
    if any(q.get(k) for k in ("exchanged", "before", "after", "new")):
        ways.append(volume.from_exchange(
            _unit(q, "exchanged", "L"), q.get("before", ""), q.get("after", ""), q.get("new", "")
        ))  # fmt: skip
    if any(q.get(k) for k in ("dosed", "rose_from", "rose_to")):
        ways.append(volume.from_dose(
            q.get("quantity") or "alkalinity", _unit(q, "dosed", "g"), q.get("substance") or "sodium-bicarbonate",
            q.get("rose_from", ""), q.get("rose_to", ""),
        ))  # fmt: skip
    return ways


def _unit(q: dict[str, str], key: str, unit: str) -> str:
    """What was typed, with its usual unit where none was."""
    typed = q.get(key, "")
    return f"{typed} {unit}" if typed and typed[-1].isdigit() else typed


async def keep_volume(request: Request) -> Response:
    """The volume that was worked out goes into the description."""
    form = await request.form()
    state, system = request.app.state, request.path_params["system"]
    known(Asked(request), system)
    try:
        set_up.put(state.store, state.clock, system, "system", "", {
            "net_volume": f"{text(form, 'litres', 12)} L", "net_volume_sd": f"{text(form, 'sd', 12)} L",
        })  # fmt: skip
    except BadInput as exc:
        return _one(request, refused("volume", form, exc))
    return back(f"/systems/{system}", done="volume")


WAYS = [
    way("/systems", systems, Right.VIEW, name="systems"),
    way("/systems/new", new, Right.KEEP),
    post("/systems/new", make, Right.KEEP),
    way("/systems/{system}", one, Right.VIEW, name="set-up"),
    way("/systems/{system}/description.toml", download, Right.VIEW),
    post("/systems/{system}/part", keep_part, Right.KEEP),
    post("/systems/{system}/drop", drop_part, Right.KEEP),
    post("/systems/{system}/undo", undo, Right.KEEP),
    post("/systems/{system}/whole", whole, Right.KEEP, most_bytes=2 * set_up.MOST_BYTES),
    way("/systems/{system}/volume", water, Right.VIEW),
    post("/systems/{system}/volume", keep_volume, Right.KEEP),
    *(way(f"/systems/{{system}}/{form}", one, Right.VIEW) for form in ("part", "drop", "undo", "whole")),
]
