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
from leadline.measures.words import N_, _
from leadline.web.pages.round import page, plain_word
from leadline.web.pages.watch import short, without_asides
from leadline.web.ways import Right, post, way

TOO_OLD = N_("This link is wrong, or too old. The watch's page shows how things stand.")


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
        return plain_word(request, _(TOO_OLD), 404)
    if request.method == "GET":
        signals.opened(d, now)
    answered = m.closed_s is not None and bool(m.closed_by)
    said = ""
    if d.stage is Stage.ACKNOWLEDGED or answered:
        said = _("Answered by {who}, {span} ago.").format(
            who=_name(m.closed_by, signals), span=span(now - (m.closed_s or now))
        )
    elif m.closed_s is not None:
        said = _("This is over ({how}).").format(how=m.closed_how)
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
        return plain_word(request, _(TOO_OLD), 404)
    done = signals.answer(Watch(state.store), d, "link", state.clock.now().timestamp())
    words = (
        _("Thank you. {more}").format(more=done.words)
        if done.first
        else _("It was answered before. {more}").format(more=done.words)
    )
    return page(request, "seen.html", {
        **_shown(done.message, signals), "said": words, "tabs": [], "view": "",
        "proof": done.message.kind is Kind.PROOF, "asks": False,
    })  # fmt: skip


def _name(person: str, signals: Signals) -> str:
    if person == "page":
        return _("somebody at the watch's page")
    return next((p.name for p in signals.orders.people if p.id == person), person)


def _who(request: Request) -> str:
    return request.client.host if request.client else "?"


WAYS = [
    way("/seen/{ticket}", seen, Right.OPEN, name="seen"),
    post("/seen/{ticket}", answer, Right.OPEN),
]
