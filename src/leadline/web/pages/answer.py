"""Where the link of a message leads: what it is about, and one button that answers it."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from leadline.alarms.delivery import Kind, Message, Stage
from leadline.alarms.message import span
from leadline.app import oversee
from leadline.app.be_heard import ANSWERS_FOR_S, Signals
from leadline.app.keep_watch import WATCH, Watch
from leadline.web.pages.round import page, plain_word
from leadline.web.pages.watch import short, without_asides
from leadline.web.ways import Right, post, way

TOO_OLD = "This link is wrong, or too old. The watch's page shows how things stand."


def _signals(request: Request) -> Signals:
    state = request.app.state
    found: Signals = state.signals_of(state.store)
    return found


def _shown(m: Message, signals: Signals) -> dict[str, Any]:
    """What a message says. The watch's own: its name in words, servers' answers apart, for who mends it."""
    if m.system != WATCH or m.kind is not Kind.ALARM:
        return {"title": m.subject, "paragraphs": m.text.split("\n"), "aside": []}
    text, aside = without_asides(m.text)
    title = f"{m.priority}: {oversee.called(m.system, m.alarm, m.text, signals.orders)}"
    return {"title": title, "paragraphs": text.split("\n"), "aside": [short(x) for x in aside]}


async def seen(request: Request) -> Response:
    """`GET /seen/…`: the message and its button. Opening it is no answer: programs open links too."""
    signals = _signals(request)
    state = request.app.state
    d = None if state.wrong_links.full(_who(request)) else signals.find(request.path_params["ticket"])
    m = None if d is None else state.store.message(d.message)
    now = state.clock.now().timestamp()
    if d is None or m is None or now - m.opened_s > ANSWERS_FOR_S:  # an old mail tells nobody how things stood
        state.wrong_links.may(_who(request))
        return plain_word(request, TOO_OLD, 404)
    if request.method == "GET":
        signals.opened(d, now)
    answered = m.closed_s is not None and bool(m.closed_by)
    said = ""
    if d.stage is Stage.ACKNOWLEDGED or answered:
        said = f"Answered by {_name(m.closed_by, signals)}, {span(now - (m.closed_s or now))} ago."
    elif m.closed_s is not None:
        said = f"This is over ({m.closed_how})."
    return page(request, "seen.html", {
        **_shown(m, signals), "said": said, "tabs": [], "view": "",
        "proof": m.kind is Kind.PROOF, "asks": m.closed_s is None or (m.kind is Kind.ALARM and not answered),
    })  # fmt: skip


async def answer(request: Request) -> Response:
    """`POST /seen/…`: the answer."""
    signals, state = _signals(request), request.app.state
    d = None if state.wrong_links.full(_who(request)) else signals.find(request.path_params["ticket"])
    if d is None:
        state.wrong_links.may(_who(request))
        return plain_word(request, TOO_OLD, 404)
    done = signals.answer(Watch(state.store), d, "link", state.clock.now().timestamp())
    words = f"Thank you. {done.words}" if done.first else f"It was answered before. {done.words}"
    return page(request, "seen.html", {
        **_shown(done.message, signals), "said": words, "tabs": [], "view": "",
        "proof": done.message.kind is Kind.PROOF, "asks": False,
    })  # fmt: skip


def _name(person: str, signals: Signals) -> str:
    if person == "page":
        return "somebody at the watch's page"
    return next((p.name for p in signals.orders.people if p.id == person), person)


def _who(request: Request) -> str:
    return request.client.host if request.client else "?"


WAYS = [
    way("/seen/{ticket}", seen, Right.OPEN, name="seen"),
    post("/seen/{ticket}", answer, Right.OPEN),
]
