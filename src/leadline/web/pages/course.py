"""One quantity's course by itself: any window of time, another quantity over it, its numbers, its data."""

from __future__ import annotations

import datetime as dt
import io
import json
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote, urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from leadline.app import survey
from leadline.formats.course_csv import write_course
from leadline.measures import figures
from leadline.measures.errors import BadInput
from leadline.measures.moments import iso
from leadline.measures.quantities import canonical_name, stored_name
from leadline.measures.units import parse_typed
from leadline.measures.words import _
from leadline.present import sentences
from leadline.present.charts import survey as drawn
from leadline.present.window import Window, moments, readout
from leadline.web.pages.round import Asked, known, page
from leadline.web.ways import Right, way

_MOST_ROWS = 24
_DEPTHS = ("channel", "near")


@dataclass(frozen=True, slots=True)
class View:
    """What a request wants to see of which course."""

    asked: Asked
    system: str
    quantity: str
    start: dt.datetime
    end: dt.datetime
    now: dt.datetime
    span: str  # the named span up to now, or nothing
    over: str  # what lies over it, as it stands in the address, or nothing
    near: bool

    @property
    def frozen(self) -> bool:
        """Whether it is looked at as it was known at an earlier moment."""
        return self.asked.as_of is not None

    def link(self, kind: str = "", **change: str) -> str:
        """The address of this view, some of it changed."""
        window = {"span": self.span} if self.span else {"from": iso(self.start), "to": iso(self.end)}
        if "from" in change or "span" in change:
            window = {}
        rest = {"with": self.over, "depth": "near" if self.near else ""}
        if self.asked.as_of is not None:
            rest["as_of"] = iso(self.asked.as_of)
        query = {k: v for k, v in {**window, **rest, **change}.items() if v}
        return f"/course/{quote(self.system)}/{quote(self.quantity)}{kind}" + (f"?{urlencode(query)}" if query else "")

    def moved(self, start: dt.datetime, end: dt.datetime) -> str:
        """The address of another window."""
        start, end = (m.replace(microsecond=0) for m in (start, end))
        return self.link(**{"from": iso(start), "to": iso(end)})


def _view(request: Request) -> View:
    asked = Asked(request)
    system = request.path_params["system"]
    known(asked, system)
    asked.at_home(system)
    query = request.query_params
    local = asked.lookout.see(asked.store, system, asked.days, None).local
    now = (asked.as_of or request.app.state.clock.now()).replace(second=0, microsecond=0)
    span = query.get("span", "").strip()
    start, end = survey.window(query.get("from", ""), query.get("to", ""), span, now, local)
    alone = not query.get("from", "").strip() and not query.get("to", "").strip()
    deep = query.get("depth", "").strip() or "channel"
    if deep not in _DEPTHS:
        raise BadInput(f"{deep[:40]!r} is no depth", way_out=f"Known: {', '.join(_DEPTHS)}.")
    quantity = request.path_params["quantity"]
    quantity = stored_name(canonical_name(quantity) or quantity)
    return View(
        asked, system, quantity, start, end, now, (span or survey.USUAL_SPAN) if alone else "",
        query.get("with", "").strip()[:120], deep == "near",
    )  # fmt: skip


def _windows(view: View, px: int, ends: tuple[dt.datetime, dt.datetime] | None = None) -> list[Window]:
    """The course asked for, and what is laid over it."""
    asked = view.asked
    both = [(view.system, view.quantity)]
    if view.over:
        other, _slash, quantity = view.over.rpartition("/")
        known(asked, other or view.system)
        both.append((other or view.system, stored_name(canonical_name(quantity) or quantity)))
        if both[0] == both[1]:
            raise BadInput(_("a course over itself says nothing"), way_out=_("Choose another quantity to lay over it."))
    ends = ends or (view.start, view.end)
    found = [asked.lookout.window(asked.store, s, q, ends, px, asked.as_of) for s, q in both]
    return [replace(w, units=asked.units) for w in found] if asked.units else found


async def one(request: Request) -> Response:
    """`GET /course/SYSTEM/QUANTITY`: `?from=&to=` or `?span=`, `?with=`, `?depth=near`, `?as_of=`."""
    view = _view(request)
    windows = _windows(view, survey.USUAL_PX)
    first = windows[0]
    e = first.estimate
    now = figures.figure(e.mean, e.sd, e.quantity, first.units, e.unit)
    caption = drawn.words(windows)[1]
    ends = [figures.moment(m, first.local) for m in (first.start, first.end)]
    names = drawn.named(windows)
    at = min(max(first.now, first.start), first.end)
    return page(
        request,
        "course.html",
        {
            "title": f"{sentences.titled(first.quantity)}, {first.name}",
            "tabs": view.asked.systems(),
            "view": view.system,
            "name": sentences.titled(first.quantity),
            "system_name": first.name,
            "now": now,
            "measured": e.last_reading is not None,
            "said": sentences.now_said(e, first.units, first.local, first.now),
            "back": f"/system/{view.system}" + (f"?as_of={quote(iso(view.asked.as_of))}" if view.asked.as_of else ""),
            "back_to": f"#course-{first.quantity}",
            "frozen": view.frozen,
            "unfrozen": view.link(as_of=""),
            "as_of": iso(view.asked.as_of) if view.asked.as_of else "",
            "chart": Markup(drawn.svg(windows, ident="course", near=view.near, today="as of" if view.frozen else "")),
            "when": _("{start} to {end}").format(start=ends[0], end=ends[1]),
            "caption": caption,
            "spans": _spans(view),
            "steps": _steps(view),
            "data": view.link(".json"),
            "csv": view.link(".csv"),
            "over": view.over,
            "near": view.near,
            "deeper": view.link(depth="" if view.near else "near"),
            "alone": view.link(**{"with": ""}),
            "begins": f"{view.start.astimezone(first.local):%Y-%m-%dT%H:%M}",
            "ends": f"{view.end.astimezone(first.local):%Y-%m-%dT%H:%M}",
            "starts_s": view.start.timestamp(),
            "ends_s": view.end.timestamp(),
            "others": _others(view),
            "changed": _changed(first),
            "at": figures.moment(at, first.local),
            "readouts": [
                (n, readout(w, at, (view.end - view.start) / 100)) for n, w in zip(names, windows, strict=True)
            ],
            "keys": [
                (n, figures.display(w.quantity, w.units, w.unit).label) for n, w in zip(names, windows, strict=True)
            ]
            if len(windows) > 1
            else [],
            "tables": [_tables(w, n) for n, w in zip(names, windows, strict=True)],
        },
    )


def _spans(view: View) -> list[tuple[str, str, bool]]:
    """The spans up to now, or, from a window in the past, of the same length about its middle."""
    middle = view.start + (view.end - view.start) / 2
    found = []
    for code, words, days in survey.SPANS:
        half = dt.timedelta(days=days) / 2
        if view.start <= view.now <= view.end:
            found.append((view.link(span=code), _(words), code == view.span))
        else:
            found.append((view.moved(middle - half, middle + half), _(words), False))
    return found


def _steps(view: View) -> list[tuple[str, str, str]]:
    """Earlier, closer, wider, later and back to now: id, words, address; no address where it does not go on."""
    length = view.end - view.start
    anchor = view.now if view.start < view.now < view.end else view.start + length / 2

    def scaled(by: float) -> str:
        days = length.total_seconds() / 86400.0 * by
        if not survey.LEAST_DAYS <= days <= survey.MOST_DAYS:
            return ""
        return _moved(view, anchor + (view.start - anchor) * by, anchor + (view.end - anchor) * by)

    half = length / 2
    here = view.start <= view.now <= view.end
    later = _moved(view, view.start + half, view.end + half) if view.start + half < view.now else ""
    return [
        ("earlier", _("Earlier"), _moved(view, view.start - half, view.end - half)),
        ("closer", _("Closer"), scaled(0.5)), ("wider", _("Wider"), scaled(2.0)), ("later", _("Later"), later),
        *([] if here else [("now", _("To now"), view.link(span=survey.USUAL_SPAN))]),
    ]  # fmt: skip


def _moved(view: View, start: dt.datetime, end: dt.datetime) -> str:
    return view.moved(start, end) if start.year >= 1700 and end.year <= 2300 else ""


def _others(view: View) -> list[tuple[str, str, bool]]:
    """What may be laid over it: other measured quantities of the system, and the same ones of others."""
    asked = view.asked
    found = []
    for system, name in asked.systems():
        here = system == view.system
        if view.frozen and not here:  # every other system would be reckoned as of then, only to name what it has
            continue
        estimate = asked.lookout.reckoned(asked.store, system, asked.as_of)[1]
        for q, e in estimate.quantities.items():
            if (e.last_reading is None and here) or (here and q == view.quantity) or (not here and q != view.quantity):
                continue
            code = q if here else f"{system}/{q}"
            found.append((code, sentences.titled(q) if here else f"{sentences.titled(q)}, {name}", code == view.over))
    if view.over and not any(on for _, _, on in found):
        found.append((view.over, view.over, True))
    return found


def _changed(w: Window) -> list[str]:
    """Clock changes inside a short window, said in words: the axis jumps there."""
    from leadline.present.charts.calendar import changes

    if w.days > 9:
        return []
    return [
        (
            _("The clocks went forward on {when}.") if by > dt.timedelta(0) else _("The clocks went back on {when}.")
        ).format(when=figures.moment(at, w.local))
        for at, by in changes(w.start, w.end, w.local)
    ]


def _tables(w: Window, name: str) -> dict[str, Any]:
    """The numbers of a chart as tables: regular moments, readings, marks."""
    way = w.way

    def said(v: float) -> str:
        return figures.number(way.shown(v), way.digits)

    rows, found = [], moments(w)
    whole = all(f"{m.at.astimezone(w.local):%H:%M}" == "00:00" for m in found)
    for m in found:
        if m.believed is None and m.probed is None:
            continue
        f = figures.figure(*m.believed[:2], w.quantity, w.units, w.unit) if m.believed else None
        rows.append((
            _brief(m.at, w, whole), f"{f.value} ± {f.sd}" if f else "",
            _("{low} to {high}").format(low=said(m.believed[2]), high=said(m.believed[3])) if m.believed else "",
            "" if m.probed is None else _("{low} to {high}").format(low=said(m.probed[0]), high=said(m.probed[1])),
        ))  # fmt: skip
    hand = [
        (figures.moment(f.time, w.local), said(f.value), f.method or _("not said"), f.doubtful)
        for f in w.fixes[::-1][:_MOST_ROWS]
    ]
    marks = [(figures.moment(t, w.local), words) for t, _, words in w.marks[::-1][:_MOST_ROWS]]
    return {
        "name": name, "id": f"{w.system}-{w.quantity}", "unit": way.label, "rows": rows,
        "probed": any(len(p.at_s) for p in w.probes), "readings": hand, "marks": marks,
        "more_readings": len(w.fixes) - len(hand), "more_marks": len(w.marks) - len(marks),
    }  # fmt: skip


def _brief(at: dt.datetime, w: Window, whole: bool) -> str:
    """A moment as short as it is clear in this window; `whole` when all of them begin days."""
    there = at.astimezone(w.local)
    day = f"{figures.day(at, w.local)} {there.year}" if w.days > 300 else figures.day(at, w.local)
    return day if whole else f"{day}, {there:%H:%M}"


async def data(request: Request) -> Response:
    """`GET /course/SYSTEM/QUANTITY.json`: `leadline.course/1`; `?px=` columns, `?beside=` so much more at each side."""
    view = _view(request)
    px = _number(request, "px", survey.USUAL_PX, survey.LEAST_PX, survey.MOST_PX)
    beside = _number(request, "beside", 0.0, 0.0, 1.0)
    more = (view.end - view.start) * beside
    ends = (view.start - more, view.end + more)
    wide = min(round(px * (1 + 2 * beside)), survey.MOST_PX)
    windows = _windows(view, wide, ends)
    found = survey.as_json(windows, wide, near=view.near, inner=(view.start, view.end) if beside else None)
    return Response(json.dumps(found, ensure_ascii=False, allow_nan=False), media_type="application/json")


def _number(request: Request, name: str, usual: float, least: float, most: float) -> Any:
    said = request.query_params.get(name, "").strip()
    if not said:
        return usual
    value = parse_typed(said)
    if not least <= value <= most:
        raise BadInput(f"{name} = {said[:40]}", way_out=f"Give {least:g} to {most:g}.")
    return round(value) if isinstance(usual, int) else value


async def table(request: Request) -> Response:
    """`GET /course/SYSTEM/QUANTITY.csv`: course, readings, probe columns and marks of the window."""
    view = _view(request)
    out = io.StringIO(newline="")
    write_course(_windows(view, survey.MOST_PX), out)
    headers = {"content-disposition": f'attachment; filename="{view.system}-{view.quantity}.csv"'}
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)


WAYS = [
    way("/course/{system}/{quantity}.json", data, Right.VIEW),
    way("/course/{system}/{quantity}.csv", table, Right.VIEW),
    way("/course/{system}/{quantity}", one, Right.VIEW),
]
