"""Where the link of a message leads: what it is about, and one button that answers it."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from leadline.alarms.delivery import Kind, Stage
from leadline.alarms.message import span
from leadline.app.be_heard import Signals
from leadline.app.keep_watch import Watch
from leadline.web.pages.round import page, plain_word

TOO_OLD = "This link is wrong, or too old. The watch's page shows how things stand."


def _signals(request: Request) -> Signals:
    state = request.app.state
    return state.signals_of(state.store)


async def seen(request: Request) -> Response:
    """`GET /seen/…`: the message and its button. Opening it is no answer: programs open links too."""
    signals = _signals(request)
    state = request.app.state
    d = None if state.wrong_links.full(_who(request)) else signals.find(request.path_params["ticket"])
    m = None if d is None else state.store.message(d.message)
    if d is None or m is None:
        state.wrong_links.may(_who(request))
        return plain_word(request, TOO_OLD, 404)
    now = state.clock.now().timestamp()
    if request.method == "GET":
        signals.opened(d, now)
    answered = m.closed_s is not None and bool(m.closed_by)
    said = ""
    if d.stage is Stage.ACKNOWLEDGED or answered:
        said = f"Answered by {m.closed_by}, {span(now - (m.closed_s or now))} ago."
    elif m.closed_s is not None:
        said = f"This is over ({m.closed_how})."
    return page(request, "seen.html", {
        "title": m.subject, "message": m, "paragraphs": m.text.split("\n"), "said": said, "tabs": [], "view": "",
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
        "title": done.message.subject, "message": done.message, "paragraphs": (), "said": words, "tabs": [], "view": "",
        "proof": done.message.kind is Kind.PROOF, "asks": False,
    })  # fmt: skip


def _who(request: Request) -> str:
    return request.client.host if request.client else "?"
