"""The watch's page: alarms that stand, paths and their proofs, work, streams, figures."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from leadline.alarms import works
from leadline.alarms.alarm import State
from leadline.alarms.first_steps import first_step
from leadline.alarms.message import span, spoken
from leadline.app import be_heard, oversee, stand_orders
from leadline.app.be_heard import Signals
from leadline.app.keep_watch import WATCH, Watch
from leadline.app.oversee import AlarmLine
from leadline.measures import figures
from leadline.measures.errors import BadInput, LeadlineError
from leadline.web.pages.round import Asked, page

SHELVES = (0.5, 1.0, 4.0, 12.0)
_SAID = {
    State.UNACKNOWLEDGED: "asks for an answer", State.ACKNOWLEDGED: "somebody has it",
    State.RETURNED: "over, not seen yet", State.SHELVED: "on the shelf", State.SUPPRESSED: "quiet during work",
    State.OUT_OF_SERVICE: "out of service", State.LATCHED_UNACKNOWLEDGED: "over, not seen yet",
    State.LATCHED_ACKNOWLEDGED: "waits to be set back",
}  # fmt: skip
_STAGES = {
    "queued": "waits", "trying": "is being sent", "handed-over": "was handed over", "delivered": "arrived",
    "acknowledged": "was answered", "failed": "failed", "dropped": "was not needed",
}  # fmt: skip


async def watch(request: Request) -> Response:
    """`GET /watch`."""
    return shown(request)


def shown(request: Request, error: str = "", status: int = 200) -> Response:
    """The page, with one clear line about what could not be done."""
    asked = Asked(request)
    state = request.app.state
    store, now = state.store, state.clock.now().timestamp()
    signals: Signals = state.signals_of(store)
    live = state.live
    health = live.health() if live is not None else None
    found = oversee.figures(store, state.clock)
    gap = oversee.nobody_tonight(signals, now)
    people = oversee.paths(signals, now)
    streams = oversee.streams(store)
    return page(request, "watch.html", {
        "title": "Watch", "tabs": asked.systems(), "view": "watch", "error": error, "health": health,
        "alarms": [_alarm(a, now) for a in oversee.alarms(store)],
        "paths": people, "gap": _chance(gap), "gap_bad": gap > 0.01, "systems": asked.systems(),
        "works": [_work(w, store, now) for w in oversee.works_going_on(store, now)], "kinds": works.KINDS,
        "streams": [_stream(s, store, now) for s in streams if s.declared],
        "offered": [s for s in streams if not s.declared], "held": store.held_count(),
        "f": found, "answer": None if found.median_answer_s is None else span(found.median_answer_s),
        "said": request.query_params.get("said", "")[:120],
    }, status)  # fmt: skip


def _alarm(a: AlarmLine, now_s: float) -> dict[str, Any]:
    r = a.raised
    local = ZoneInfo(a.time_zone)
    until = r.alarm.until_s
    left = None if r.harm_at_s is None or not r.alarm.holds else r.harm_at_s - now_s
    return {
        "r": r, "name": spoken(r.name), "system": a.system_name, "state": _SAID.get(r.state, str(r.state)),
        "asks": r.state is State.UNACKNOWLEDGED, "since": f"{span(now_s - r.began_s)} ago",
        "left": "" if left is None else f"{span(left)} left" if left > 60 else "past its limit",
        "first": first_step(r.name, r.subject), "cause": spoken(r.cause),
        "until": "" if until is None else figures.moment(dt.datetime.fromtimestamp(until, dt.UTC), local),
        "reason": r.alarm.reason,
        "told": [f"{d.person} by {d.path}: {_STAGES[str(d.stage)]}{', ' + d.note if d.note else ''}" for d in a.told],
        "shelvable": r.system != WATCH and r.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED),
        "back": r.state in (State.SHELVED, State.OUT_OF_SERVICE),
        "acknowledgeable": r.state in (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED),
        "shelves": [h for h in SHELVES if h * 3600 <= _longest(r)],
    }  # fmt: skip


def _longest(r: Any) -> float:
    from leadline.alarms.decide import LONGEST_SHELF_S

    return LONGEST_SHELF_S[r.priority]


def _work(w: Any, store: Any, now_s: float) -> dict[str, str]:
    name, _, _ = stand_orders.names_of(store, w.system)
    return {"system": w.system, "name": name, "kind": w.kind, "on": w.subject, "left": span(w.end_s - now_s)}


def _stream(s: oversee.StreamLine, store: Any, now_s: float) -> dict[str, str]:
    name, _, _ = stand_orders.names_of(store, s.system)
    ago = "never" if s.last_s is None else f"{span(now_s - s.last_s)} ago"
    value = "" if s.value is None else f"{s.value:.4g}"
    return {"system": name, "stream": s.stream, "state": s.state(now_s), "value": value,
            "unit": figures.unit_label(s.unit), "ago": ago}  # fmt: skip


def _chance(p: float) -> str:
    return f"{100 * p:.2g} %" if p < 0.995 else "certain"


async def acknowledge(request: Request) -> Response:
    """An alarm is seen, here on the page."""
    form = await request.form()
    state = request.app.state
    signals: Signals = state.signals_of(state.store)
    who = _text(form, "who") or "page"
    signals.acknowledge(
        Watch(state.store), _text(form, "system"), _text(form, "alarm"), who, "page", state.clock.now().timestamp()
    )
    return _back("Acknowledged")


async def shelve(request: Request) -> Response:
    """An alarm is laid on the shelf, with an end and a reason."""
    form = await request.form()
    state = request.app.state
    try:
        hours = float(_text(form, "hours"))
    except ValueError:
        return shown(request, "Say for how long it lies on the shelf.", 422)
    try:
        stand_orders.shelve(
            state.store, state.clock, _text(form, "system"), _text(form, "alarm"), hours=hours,
            reason=_text(form, "reason"), who="page",
        )  # fmt: skip
    except BadInput as exc:
        return shown(request, exc.line(), 422)
    return _back("Shelved")


async def unshelve(request: Request) -> Response:
    """An alarm is taken from the shelf."""
    form = await request.form()
    state = request.app.state
    try:
        stand_orders.unshelve(state.store, state.clock, _text(form, "system"), _text(form, "alarm"), who="page")
    except BadInput as exc:
        return shown(request, exc.line(), 422)
    return _back("Taken back")


async def declare(request: Request) -> Response:
    """Work begins or ends."""
    form = await request.form()
    state = request.app.state
    system = _text(form, "system")
    try:
        if _text(form, "end"):
            stand_orders.end_work(state.store, state.clock, system)
            return _back("Work ended")
        minutes = _text(form, "minutes")
        stand_orders.declare(
            state.store, state.clock, system, _text(form, "kind"), subject=_text(form, "subject"),
            minutes=float(minutes.replace(",", ".")) if minutes else None, who="page",
        )  # fmt: skip
    except ValueError:
        return shown(request, "The minutes are no number.", 422)
    except LeadlineError as exc:
        return shown(request, exc.line(), 422)
    return _back("Work declared")


async def prove(request: Request) -> Response:
    """Proofs are sent now, or one that was heard is answered."""
    form = await request.form()
    state = request.app.state
    signals: Signals = state.signals_of(state.store)
    now = state.clock.now().timestamp()
    ticket = _text(form, "ticket")
    if ticket:
        d = signals.find(ticket)
        if d is None:
            return shown(request, "That proof is too old: send another.", 422)
        signals.answer(Watch(state.store), d, "heard", now)
        return _back("Proved")
    try:
        for person, path in be_heard.path_and_person(signals.orders, _text(form, "path")):
            signals.ask(person, path, now)
    except BadInput as exc:
        return shown(request, exc.line(), 422)
    return _back("Proofs are on their way")


def _text(form: FormData, name: str) -> str:
    value = form.get(name, "")
    return value.strip()[:300] if isinstance(value, str) else ""


def _back(said: str) -> Response:
    from urllib.parse import quote

    return RedirectResponse(f"/watch?said={quote(said)}", 303)
