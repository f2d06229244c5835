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
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from leadline.app.be_heard import Signals
from leadline.app.ports import Store
from leadline.app.stand_orders import names_of
from leadline.measures import words
from leadline.measures.errors import LeadlineError, Unreachable
from leadline.measures.moments import Clock
from leadline.measures.words import Tongue, _
from leadline.system.orders import Orders
from leadline.web import api, forms, languages, metrics
from leadline.web.doors import Doors
from leadline.web.guard import MAX_FORM_BYTES, Guard
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
    labels, at, course, tables,
)  # fmt: skip
SIGN_INS_A_MINUTE = 6  # wrong ones, from one address or for one account


class _Static(StaticFiles):
    """Files whose address carries their version are kept by the browser; the rest is asked about each time."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        answer = await super().get_response(path, scope)
        versioned = path.startswith("vendor/")
        answer.headers["cache-control"] = "max-age=31536000, immutable" if versioned else "no-cache"
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
    found.globals["language"] = words.language
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
    doors: Doors | None = None, tongues: Mapping[str, Tongue] | None = None,
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
            Middleware(TrustedHostMiddleware, allowed_hosts=list(hosts)),
            Middleware(Guard),
            Middleware(GZipMiddleware),
            Middleware(RequestBodyLimitMiddleware, max_body_size=MAX_FORM_BYTES),  # inside, so that it is guarded too
        ],
        exception_handlers={LeadlineError: _said, HTTPException: _missing},
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
    app.state.mailroom = mailroom
    app.state.signals_of = signals_of or (lambda store: Signals(store, Orders(), b"", {}, partial(names_of, store)))
    app.state.figures = metrics.Figures(app.state)
    app.state.posts = api.Pace(api.POSTS_A_MINUTE)
    app.state.wrong_tokens = api.Pace(api.WRONG_A_MINUTE)
    app.state.sign_ins = api.Pace(SIGN_INS_A_MINUTE)
    app.state.wrong_links = api.Pace(api.WRONG_A_MINUTE)
    app.state.calendars = calendar_page.Shown()
    return app


async def _said(request: Request, exc: Exception) -> Response:
    if api.answers_here(request.url.path):
        return api.instead(request, exc)
    status = 503 if isinstance(exc, Unreachable) else 422
    return round_page.plain_word(request, str(exc), status)


async def _missing(request: Request, exc: Exception) -> Response:
    if api.answers_here(request.url.path):
        return api.instead(request, exc)
    status = exc.status_code if isinstance(exc, HTTPException) else 500
    said = {
        401: _("Sign in first."),
        404: _("There is no such page here."),
        405: _("This address only takes a form."),
        413: _("That form is too large."),
    }
    return round_page.plain_word(request, said.get(status, _("That did not work.")), status)
