"""Who may ask what: headers that keep a page to itself, and no form from another site."""

from __future__ import annotations

import contextlib
import re
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HEADERS = {
    "content-security-policy": (
        "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cross-origin-opener-policy": "same-origin",
}
SECRET = ("/come-in/", "/shared/", "/seen/", "/calendar/")
MAX_FORM_BYTES = 64 * 1024
_HOST = re.compile(r"(?:[A-Za-z0-9._-]+|\[[0-9A-Fa-f:.]+\])(?::[0-9]{1,5})?")  # RFC 9110, 7.2, without odd names


class Guard:
    """Adds the headers to every answer, and turns away a form that another site's page sent."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        to_program = scope["path"].startswith("/api/")

        async def send_guarded(message: Message) -> None:
            if to_program and message.get("status") == 413 and _plain(message):  # said by the limit, before any route
                await _refused("The body is too large.", 413)(scope, receive, send_guarded)
                raise _Said
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                if scope["path"].startswith(SECRET):  # the address itself opens something: no other request tells it
                    headers.setdefault("referrer-policy", "strict-origin")
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
                if scope["scheme"] == "https":
                    headers.setdefault("strict-transport-security", "max-age=31536000")
            await send(message)

        headers = Headers(scope=scope)
        if not _HOST.fullmatch(headers.get("host", "")):  # an address made with it would lead anywhere
            words = "This host has no such name."
            refused = _refused(words, 400) if to_program else PlainTextResponse(words, 400)
            await refused(scope, receive, send_guarded)
            return
        if scope["method"] not in ("GET", "HEAD") and from_elsewhere(headers, scope["scheme"]):
            words = "This form came from another site, so nothing was written."
            answer = _refused(words, 403) if to_program else PlainTextResponse(words, 403)
            await answer(scope, receive, send_guarded)
            return
        with contextlib.suppress(_Said):
            await self.app(scope, receive, send_guarded)


class _Said(Exception):
    """The answer went out in another shape: what was begun is left."""


def _plain(message: Message) -> bool:
    return Headers(raw=message["headers"]).get("content-type", "").startswith("text/plain")


def _refused(words: str, status: int) -> Response:
    return JSONResponse({"schema": "leadline.refused/1", "words": words}, status)


def from_elsewhere(headers: Headers, scheme: str = "http") -> bool:
    """Whether a browser says that another site sent this. A program that says nothing is let through."""
    site = headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        return True
    origin = headers.get("origin")
    if origin is None:  # every browser of the last years says one of the two with a form; who has a session must
        return site is None and "leadline=" in headers.get("cookie", "")
    try:
        said = urlsplit(origin)
    except ValueError:  # such as http://[
        return True
    if scheme == "https" and said.scheme != "https":  # a page in the clear, which anybody on the way may have written
        return True
    return said.netloc != headers.get("host", "")
