"""The watch's page: alarms that stand, paths and their proofs, work, streams, figures."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import PurePath
from typing import Any
from zoneinfo import ZoneInfo

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from leadline.alarms import decide, groups, works
from leadline.alarms.alarm import ACTIVE, State
from leadline.alarms.decide import LONGEST_SHELF_S
from leadline.alarms.first_steps import first_step
from leadline.alarms.message import plain, span
from leadline.alarms.raised import Raised
from leadline.app import oversee, path_book, stand_orders
from leadline.app.be_heard import Signals
from leadline.app.keep_watch import WATCH, Watch
from leadline.app.oversee import AlarmLine
from leadline.app.ports import Store
from leadline.measures import figures
from leadline.measures.errors import BadInput
from leadline.measures.words import N_, _
from leadline.system.orders import Orders
from leadline.web.pages.round import Asked, page
from leadline.web.pages.typed import Typed, back
from leadline.web.pages.typed import text as _text
from leadline.web.ways import Right, post, way

FORMS = ("acknowledge", "shelve", "unshelve", "work", "prove")
_MOST_KIN = 40  # alarms that one answer goes for
SHELVES = (0.25, 0.5, 1.0, 4.0, 12.0)
_SAID = {
    State.UNACKNOWLEDGED: N_("asks for an answer"),
    State.ACKNOWLEDGED: N_("somebody has it"),
    State.RETURNED: N_("over, not seen yet"),
    State.SHELVED: N_("on the shelf"),
    State.SUPPRESSED: N_("quiet during work"),
    State.OUT_OF_SERVICE: N_("out of service"),
    State.LATCHED_UNACKNOWLEDGED: N_("over, not seen yet"),
    State.LATCHED_ACKNOWLEDGED: N_("waits to be set back"),
}
_REASONS = (  # why an alarm is laid on the shelf, most times
    N_("known, being mended"), N_("the probe is out or wrong"), N_("a part is on its way"), N_("work at it"),
)  # fmt: skip
_STAGES = {
    "queued": N_("waits"),
    "trying": N_("is being sent"),
    "handed-over": N_("was handed over"),
    "delivered": N_("arrived"),
    "acknowledged": N_("was answered"),
    "failed": N_("failed"),
    "dropped": N_("was not needed"),
}
_PROMPT = re.compile(r"leadline \w|--\w")  # words of the prompt, which mean nothing on a page
_ASIDE = re.compile(r"\s*\(([^()]*(?:\([^()]*\)[^()]*)*)\)")


async def watch(request: Request) -> Response:
    """`GET /watch`."""
    return shown(request)


async def home(request: Request) -> Response:
    """`GET /watch/shelve` and the like: where a form was sent to, asked for again."""
    return RedirectResponse("/watch", 303)


def shown(request: Request, typed: Typed | None = None) -> Response:
    """The page; with a form that could not be used, that form open, filled, and the line at it."""
    asked = Asked(request)
    state = request.app.state
    store, when = state.store, state.clock.now()
    now = when.timestamp()
    signals: Signals = state.signals_of(store)
    live = state.live
    health = live.health() if live is not None else None
    found = oversee.figures(store, state.clock)
    gap = oversee.nobody_tonight(signals, now)
    streams = oversee.streams(store)
    alarms = [_alarm(a, now, signals.orders, typed) for a in oversee.alarms(store)]
    families = _families(alarms)
    paths = [{"p": p, "error": typed.error if typed and typed.of("prove", path=f"{p.person}/{p.path}") else ""}
             for p in oversee.paths(signals, now)]  # fmt: skip
    systems = asked.systems()
    placed = typed is not None and (
        (typed.form == "work" and bool(systems)) or any(x["error"] for x in (*alarms, *paths))
    )
    local = ZoneInfo(stand_orders.names_of(store, systems[0][0])[1] if systems else signals.orders.time_zone)
    return page(request, "watch.html", {
        "title": _("Watch"), "tabs": systems, "view": "watch", "health": health, "typed": typed,
        "error": "" if typed is None or placed else typed.error, "made": f"{when.astimezone(local):%H:%M:%S}",
        "lost": "" if typed is None or placed else typed.values.get("reason", ""),
        "alarms": families, "reasons": [(r, _(r)) for r in _REASONS], "seen": repr(now),
        "paths": paths, "gap": oversee.chance_said(gap),
        "gap_why": oversee.why_nobody(signals, now), "systems": systems,
        "works": [_work(w, store, now) for w in oversee.works_going_on(store, now)], "kinds": works.KINDS,
        "subjects": [(i, name, oversee.subjects(store, i)) for i, name in systems],
        "work": typed if typed is not None and typed.form == "work" else None,
        "streams": [_stream(s, store, now) for s in streams if s.declared],
        "offered": [s for s in streams if not s.declared], "held": store.held_count(),
        "f": found, "answer": None if found.median_answer_s is None else span(found.median_answer_s),
        "frequent": [(_frequent(name, store, signals.orders), n) for name, n in found.most_frequent],
        "said": _(request.query_params.get("said", "")[:120]),
    }, 200 if typed is None else 422)  # fmt: skip


def _alarm(a: AlarmLine, now_s: float, orders: Orders, typed: Typed | None) -> dict[str, Any]:
    r = a.raised
    local = ZoneInfo(a.time_zone)
    until = r.alarm.until_s
    own = r.system == WATCH  # what the watch says of itself has no hour of harm
    left = None if r.harm_at_s is None or not r.alarm.holds or own else r.harm_at_s - now_s
    because, aside = without_asides(plain(r.because)) if own else (plain(r.because), [])
    mine = typed if typed and typed.form in FORMS and typed.of(typed.form, system=r.system, alarm=r.name) else None
    shelvable = not own and r.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED)
    shelved = mine if shelvable and mine and mine.form == "shelve" else None
    return {
        "r": r,
        "name": oversee.called(r.system, r.name, r.because, orders),
        "system": a.system_name,
        "state": _(_SAID.get(r.state, str(r.state))),
        "because": because,
        "asks": r.state is State.UNACKNOWLEDGED,
        "since": _("{span} ago").format(span=span(now_s - r.began_s)),
        "left": "" if left is None else _("{span} left").format(span=span(left)) if left > 60 else _("past its limit"),
        "first": first_step(r.name, r.subject) if r.state in ACTIVE or r.alarm.holds else "",
        "cause": oversee.called(r.system, r.cause, "", orders) if r.cause else "",
        "has": ""
        if a.held_s is None
        else _("{who}, since {when}").format(who=_who(a.held_by, orders), when=_clock(a.held_s, local, now_s)),
        "until": "" if until is None else _clock(until, local, now_s),
        "reason": _(r.alarm.reason) if r.alarm.reason in _REASONS else r.alarm.reason,
        "told": [
            (
                _("{person} by {path}: {stage}").format(
                    person=_name(d.person, orders), path=d.path, stage=_(_STAGES[str(d.stage)])
                ),
                short(d.note),
            )
            for d in a.told
        ],
        "aside": [short(x) for x in aside],
        "shelvable": shelvable,
        "back": r.state in (State.SHELVED, State.OUT_OF_SERVICE),
        "acknowledgeable": r.state in (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED),
        "shelves": [
            (f"{h:g}", f"{60 * h:.0f} min" if h < 1 else f"{h:g} h") for h in SHELVES if h * 3600 <= _longest(r, now_s)
        ],
        "error": mine.error if mine else "",
        "open": shelved is not None,
        "typed": shelved.values if shelved else {},
        "kin": [],
        "shown": [f"{r.name}={r.priority}"],
    }


def _families(alarms: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Alarms of one cause under one head: the loudest first, then what asks, then the newest."""
    found: dict[tuple[str, str, bool], list[dict[str, Any]]] = {}
    for a in alarms:
        found.setdefault((a["r"].system, groups.family(a["r"]), a["r"].state in ACTIVE), []).append(a)
    heads = []
    for kin in found.values():
        head, *rest = sorted(kin, key=lambda a: (-decide.RANK[a["r"].priority], not a["asks"], -a["r"].began_s))
        also = [f"{k['r'].name}={k['r'].priority}" for k in rest if k["asks"]]
        heads.append({**head, "kin": rest, "shown": [*head["shown"], *also[:_MOST_KIN]]})
    return heads


def _longest(r: Raised, now_s: float) -> float:
    """For how long an alarm may be shelved: somebody must look again while there is time. [s]"""
    longest = LONGEST_SHELF_S[r.priority]
    if r.harm_at_s is not None and r.alarm.holds and r.harm_at_s > now_s:
        longest = min(longest, max(0.5 * (r.harm_at_s - now_s), 900.0))
    return longest


def _name(person: str, orders: Orders) -> str:
    return next((p.name for p in orders.people if p.id == person), person)


def _who(who: str, orders: Orders) -> str:
    if who in ("", "page"):  # there are no accounts: whoever pressed here is not known by name
        return _("Somebody at this page has it")
    return _("{who} has it").format(who=_name(who, orders))


def _clock(at_s: float, local: ZoneInfo, now_s: float) -> str:
    """`21:21` today, with the day otherwise."""
    at, today = dt.datetime.fromtimestamp(at_s, local), dt.datetime.fromtimestamp(now_s, local)
    return f"{at:%H:%M}" if at.date() == today.date() else figures.moment(at, local)


def without_asides(text: str) -> tuple[str, list[str]]:
    """A sentence of the watch about itself without what stands in brackets: servers' answers, for who mends it."""
    return _ASIDE.sub("", text), _ASIDE.findall(text)


def short(note: str) -> str:
    """A courier's note, shortened: no program's whole path, no long answer of a server."""
    words = [PurePath(w).name if w.count("/") > 1 and w.startswith("/") else w for w in plain(note).split()]
    return plain(" ".join(words), 90)


def _frequent(name: str, store: Store, orders: Orders) -> str:
    """One of the most frequent alarms, `SYSTEM ALARM`, in words."""
    system, _space, alarm = name.partition(" ")
    raised = store.alarm(system, alarm)
    said = oversee.called(system, alarm, raised.because if raised else "", orders)
    return f"{said}, {stand_orders.names_of(store, system)[0]}"


def _work(w: Any, store: Any, now_s: float) -> dict[str, str]:
    name, *_rest = stand_orders.names_of(store, w.system)
    return {"system": w.system, "name": name, "kind": w.kind, "on": w.subject, "left": span(w.end_s - now_s)}


def _stream(s: oversee.StreamLine, store: Any, now_s: float) -> dict[str, str]:
    name, *_rest = stand_orders.names_of(store, s.system)
    ago = _("never") if s.last_s is None else _("{span} ago").format(span=span(now_s - s.last_s))
    value = "" if s.value is None else figures.plain(s.value, 4)
    return {"system": name, "stream": s.stream, "state": s.state(now_s), "value": value,
            "unit": figures.unit_label(s.unit), "ago": ago}  # fmt: skip


# -- forms ---------------------------------------------------------------------------------------------


def _again(request: Request, form: str, sent: FormData, exc: BadInput | str, instead: str = "") -> Response:
    """The page with the form as it was typed; `instead` stands for advice that is meant for the prompt."""
    if isinstance(exc, BadInput):
        where = "" if exc.where and exc.where == _text(sent, "system") else exc.where
        way_out = instead if not exc.way_out or _PROMPT.search(exc.way_out) else exc.way_out
        line = BadInput(exc.what, where=where, way_out=way_out).line()
        exc = f"{line[:1].upper()}{line[1:]}"
    return shown(request, Typed(form, exc, {k: _text(sent, k) for k in sent}))


async def acknowledge(request: Request) -> Response:
    """An alarm is seen, here on the page."""
    form = await request.form()
    state = request.app.state
    signals: Signals = state.signals_of(state.store)
    system, alarm = _text(form, "system"), _text(form, "alarm")
    try:
        if not oversee.answers(state.store, system, alarm):
            r = state.store.alarm(system, alarm)
            name = oversee.called(system, alarm, r.because, signals.orders)
            said = _("it is over") if r.state is State.NORMAL else _(_SAID[r.state])
            return _again(
                request, "acknowledge", form, _("Nothing to answer: {alarm}: {state}.").format(alarm=name, state=said)
            )
    except BadInput as exc:
        return _again(request, "acknowledge", form, exc)
    who = _asking(request, _text(form, "who"))
    shown_then = dict(pair.rpartition("=")[::2] for pair in map(str, form.getlist("shown")[: _MOST_KIN + 1]))
    now_s = state.clock.now().timestamp()
    try:
        signals.acknowledge(
            Watch(state.store), system, alarm, who, "page", now_s, shown=shown_then,
            seen_s=_seconds(_text(form, "seen")) if "seen" in form else None,
        )  # fmt: skip
    except BadInput as exc:
        return _again(request, "acknowledge", form, exc)
    return back("/watch", said=N_("Acknowledged"))


def _seconds(text: str) -> float:
    """When a page was drawn, as it says itself; long ago where it does not."""
    try:
        return float(text)
    except ValueError:
        return 0.0


def _asking(request: Request, said: str = "") -> str:
    """Who pressed: the account's name, else what was said; `page` where nobody is known by name."""
    who = request.app.state.doors.who(request)
    return (who.name if who is not None and who.account else said) or "page"


async def shelve(request: Request) -> Response:
    """An alarm is laid on the shelf, with an end and a reason."""
    form = await request.form()
    state = request.app.state
    try:
        hours = float(_text(form, "hours"))
    except ValueError:
        return _again(request, "shelve", form, _("Say for how long it lies on the shelf."))
    try:
        stand_orders.shelve(
            state.store, state.clock, _text(form, "system"), _text(form, "alarm"), hours=hours,
            reason=_text(form, "reason") or _text(form, "because"), who=_asking(request),
        )  # fmt: skip
    except BadInput as exc:
        given = _text(form, "reason") or _text(form, "because")
        why = "" if given else _("Say why: whoever looks later must know.")
        return _again(request, "shelve", form, exc, why)
    return back("/watch", said=N_("Shelved"))


async def unshelve(request: Request) -> Response:
    """An alarm is taken from the shelf."""
    form = await request.form()
    state = request.app.state
    try:
        stand_orders.unshelve(
            state.store, state.clock, _text(form, "system"), _text(form, "alarm"), who=_asking(request)
        )
    except BadInput as exc:
        return _again(request, "unshelve", form, exc)
    return back("/watch", said=N_("Taken back"))


async def declare(request: Request) -> Response:
    """Work begins or ends."""
    form = await request.form()
    state = request.app.state
    system, kind = _text(form, "system"), _text(form, "kind")
    try:
        subject = _subject(state.store, system, _text(form, "subject"))
        if _text(form, "end"):
            stand_orders.end_work(state.store, state.clock, system, kind, subject)
            return back("/watch", said=N_("Work ended"))
        minutes = _text(form, "minutes")
        stand_orders.declare(
            state.store, state.clock, system, kind, subject=subject,
            minutes=float(minutes.replace(",", ".")) if minutes else None, who=_asking(request),
        )  # fmt: skip
    except ValueError:
        return _again(request, "work", form, _("The minutes are no number."))
    except BadInput as exc:
        return _again(request, "work", form, exc, _("Choose it in the list."))
    return back("/watch", said=N_("Work declared"))


def _subject(store: Store, system: str, chosen: str) -> str:
    """What was chosen in the list, `SYSTEM/STREAM`: it must be of the house that was chosen beside it."""
    owner, sign, subject = chosen.partition("/")
    if not sign or owner not in store.systems():
        return chosen
    if owner != system:
        home, here = stand_orders.names_of(store, owner)[0], stand_orders.names_of(store, system)[0]
        raise BadInput(
            _("{subject} is of {home}, not of {here}").format(subject=subject, home=home, here=here),
            way_out=_("Choose both of one house."),
        )
    return subject


async def prove(request: Request) -> Response:
    """Proofs are sent now, or one that was heard is answered."""
    form = await request.form()
    state = request.app.state
    signals: Signals = state.signals_of(state.store)
    now = state.clock.now().timestamp()
    ticket = _text(form, "ticket")
    try:
        if ticket:
            d = signals.find(ticket)
            if d is None:
                return _again(request, "prove", form, _("That proof is too old: send another."))
            signals.answer(Watch(state.store), d, "heard", now)
            return back("/watch", said=N_("Proved"))
        for person, path in path_book.path_and_person(signals.orders, _text(form, "path")):
            signals.ask(person, path, now)
    except BadInput as exc:
        return _again(request, "prove", form, exc)
    return back("/watch", said=N_("Proofs are on their way"))


WAYS = [
    way("/watch", watch, Right.VIEW, name="watch"),
    post("/watch/acknowledge", acknowledge, Right.LOG),
    post("/watch/shelve", shelve, Right.KEEP),
    post("/watch/unshelve", unshelve, Right.KEEP),
    post("/watch/work", declare, Right.KEEP),
    post("/watch/prove", prove, Right.LOG),
    *(way(f"/watch/{form}", home, Right.VIEW) for form in FORMS),
]
