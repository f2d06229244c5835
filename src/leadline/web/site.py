"""The whole site: its routes, its templates, and the parts it was handed."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from functools import partial
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.body_limit import RequestBodyLimitMiddleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Match, Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from leadline.app.be_heard import Signals
from leadline.app.ports import Store
from leadline.app.stand_orders import names_of
from leadline.measures import figures, words
from leadline.measures.errors import LeadlineError, Unreachable
from leadline.measures.moments import Clock
from leadline.measures.words import Tongue, _
from leadline.system.orders import Orders
from leadline.web import api, forms, languages, metrics
from leadline.web.doors import Doors, Weighing
from leadline.web.guard import HEADERS, MAX_FORM_BYTES, Guard
from leadline.web.pages import (
    after,
    animal,
    answer,
    at,
    catalogue,
    course,
    door,
    journal,
    labels,
    livestock,
    orders,
    people,
    quarantine,
    systems,
    tables,
    take_in,
    trace,
    watch,
    week,
    why,
)
from leadline.web.pages import app as app_page
from leadline.web.pages import calendar as calendar_page
from leadline.web.pages import entry as entry_page
from leadline.web.pages import mailroom as mailroom_page
from leadline.web.pages import round as round_page
from leadline.web.seen import Lookout
from leadline.web.staging import Staging
from leadline.web.use import Use, app_use
from leadline.web.ways import Right, post, way

ROOMS = (
    livestock, animal, quarantine, catalogue, after, journal, trace, watch, answer, mailroom_page, api, door, people,
    systems, take_in, why, app_page, week, calendar_page, entry_page,
    labels, at, course, tables, orders,
)  # fmt: skip
SIGN_INS_A_MINUTE = 6  # wrong ones, from one address
ACCOUNT_TRIES_A_MINUTE = 30  # wrong ones for one account, from all addresses


class _Static(StaticFiles):
    """Files whose address carries their version are kept by the browser; the rest is asked about each time."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        answer = await super().get_response(path, scope)
        versioned = path.startswith("vendor/")
        answer.headers["cache-control"] = "max-age=31536000, immutable" if versioned else "no-cache"
        if answer.headers.get("content-type") == "image/svg+xml":
            answer.headers["content-type"] = "image/svg+xml; charset=utf-8"
        return answer


def templates() -> jinja2.Environment:
    """The templates, every value escaped unless it says that it is markup of our own.

    Their sentences are said in the language of the running request (`measures.words`): each is compiled once for all.
    """
    found = jinja2.Environment(
        loader=jinja2.PackageLoader("leadline.web"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
        auto_reload=False,  # else each part of a page is looked up on the disk again, as long as all its sentences take
    )
    found.policies["ext.i18n.trimmed"] = True
    found.newstyle_gettext = True  # type: ignore[attr-defined]
    found.globals |= {"_": languages.said, "gettext": languages.said, "ngettext": languages.counted}
    found.globals |= {"language": words.language, "decimal_mark": words.decimal_mark, "number": figures.number}
    return found


def ways() -> list[Route]:
    """Every address but the static files, in the order in which they are tried."""
    return [
        way("/", round_page.everything, Right.VIEW, name="everything"),
        way("/system/{system}", round_page.one, Right.VIEW, name="system"),
        post("/system/{system}/log", forms.log, Right.LOG),
        post("/system/{system}/done", forms.done, Right.LOG),
        post("/system/{system}/entry/{entry}/withdraw", forms.withdraw, Right.LOG),
        post("/system/{system}/entry/{entry}/confirm", forms.confirm, Right.LOG),
        post("/system/{system}/entry/{entry}/correct", forms.correct, Right.LOG),
        post("/light", forms.light, Right.OPEN),
        *(w for room in ROOMS for w in room.WAYS),
    ]  # fmt: skip


def build(
    store_factory: Callable[[], Store], clock: Clock, use: Use | None = None, hosts: Sequence[str] = ("*",),
    live: Any | None = None, signals_of: Callable[[Store], Signals] | None = None, mailroom: Any | None = None,
    doors: Doors | None = None, secrets: Any | None = None, tongues: Mapping[str, Tongue] | None = None,
) -> Starlette:  # fmt: skip
    """The web application.

    Parameters
    ----------
    store_factory
        Opens the store; called once, in the thread that serves.
    clock
        What the time is asked of.
    use
        The use cases; those of `leadline.app` when nothing else is handed in.
    hosts
        Names by which a browser may ask for it: a foreign name that points here (DNS rebinding) is refused.
    live
        The watch that runs in this process: `health()` and its `queue`; None when none does.
    signals_of
        Makes the way from alarms to people over a store; one that calls nobody when nothing is handed in.
    mailroom
        The demo's own mailboxes; None elsewhere.
    doors
        Who may go where; an open house when nothing is handed in.
    secrets
        Keeps passwords of the ways to people beside the store, by `names()` and `put(name, value)`; None: nobody does.
    tongues
        The languages there are, by tag; those whose catalogues lie beside the pages when nothing is handed in.
    """
    chosen = use or app_use()
    spoken = languages.shelf() if tongues is None else tongues

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        app.state.store = store_factory()
        try:
            yield
        finally:
            app.state.store.close()
            app.state.staging.close()

    static = Path(str(resources.files("leadline.web"))) / "static"
    app = Starlette(
        routes=[
            *ways(),
            Mount("/static", _Static(directory=static), name="static"),
        ],
        middleware=[
            Middleware(metrics.Counted),
            Middleware(languages.Spoken, known=spoken),
            Middleware(Guard),
            Middleware(TrustedHostMiddleware, allowed_hosts=list(hosts), www_redirect=False),
            Middleware(GZipMiddleware),
            Middleware(RequestBodyLimitMiddleware, max_body_size=MAX_FORM_BYTES),  # inside, so that it is guarded too
        ],
        exception_handlers={
            LeadlineError: _said,
            HTTPException: _missing,
            UnicodeError: _unread,
            RecursionError: _unread,
            Exception: _broken,
        },
        lifespan=lifespan,
    )
    app.state.doors = doors or Doors()
    app.state.tongues = spoken
    app.state.staging = Staging()
    app.state.clock = clock
    app.state.use = chosen
    app.state.lookout = Lookout(chosen, clock)
    app.state.templates = templates()
    app.state.live = live
    app.state.secrets = secrets
    app.state.mailroom = mailroom
    app.state.signals_of = signals_of or (lambda store: Signals(store, Orders(), b"", {}, partial(names_of, store)))
    app.state.figures = metrics.Figures(app.state)
    app.state.posts = api.Pace(api.POSTS_A_MINUTE)
    app.state.wrong_tokens = api.Pace(api.WRONG_A_MINUTE)
    app.state.sign_ins = api.Pace(SIGN_INS_A_MINUTE)
    app.state.account_tries = api.Pace(ACCOUNT_TRIES_A_MINUTE)
    app.state.weighing = Weighing()
    app.state.wrong_links = api.Pace(api.WRONG_A_MINUTE)
    app.state.calendars = calendar_page.Shown()
    return app


async def _said(request: Request, exc: Exception) -> Response:
    if api.answers_here(request.url.path):
        return api.instead(request, exc)
    status = 503 if isinstance(exc, Unreachable) else 422
    return round_page.plain_word(request, str(exc), status)


async def _unread(request: Request, exc: Exception) -> Response:
    """Signs that are no text, or a nest without end."""
    return round_page.plain_word(request, "That can't be read: it holds odd signs, or is nested too deeply.", 422)


async def _broken(request: Request, exc: Exception) -> Response:
    """A fault of ours. Outside all else, so it brings its own headers; what it was stands in the log alone."""
    words = "Something broke here. Nothing was lost; the log of the program says what it was."
    return PlainTextResponse(words, 500, {**HEADERS, "cache-control": "no-store"})


def _home_of(path: str) -> str:
    """The nearest page above a form's address; empty when there is none."""
    parts = path.strip("/").split("/")
    for n in range(len(parts) - 1, 0, -1):
        above = "/" + "/".join(parts[:n])
        scope = {"type": "http", "method": "GET", "path": above}
        if any(w.matches(scope)[0] is Match.FULL for w in ways()):
            return above
    return ""


async def _missing(request: Request, exc: Exception) -> Response:
    if api.answers_here(request.url.path):
        return api.instead(request, exc)
    status = exc.status_code if isinstance(exc, HTTPException) else 500
    if status == 405 and request.method == "GET":  # a form's address, by a reload: the page it stands on
        to = _home_of(request.url.path)
        if to:
            return RedirectResponse(to, 303)
    said = {
        401: _("Sign in first."),
        404: _("There is no such page here."),
        405: _("This address only takes a form."),
        413: _("That form is too large."),
    }
    return round_page.plain_word(request, said.get(status, _("That did not work.")), status)
