"""In which language a page is said: the reader's wish, else what their browser asks for, else English."""

from __future__ import annotations

import functools
import gettext
from collections.abc import Mapping
from dataclasses import replace
from importlib import resources
from typing import Any

from markupsafe import Markup, escape
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from leadline.measures import words
from leadline.measures.errors import LeadlineError
from leadline.measures.words import DECIMALS, ENGLISH, Tongue
from leadline.web.doors import tastes

_DOMAIN = "leadline"
_OWN_NAME = "Language-Name"  # a header of the catalogue: what the language calls itself
_MARK = "Decimal-Mark"  # another: a point or a comma
_SILENT = ("/static/", "/api/", "/metrics")  # files, feeds, and answers to programs: in English


def shelf() -> dict[str, Tongue]:
    """English, and every language that a compiled catalogue beside this module holds, by its tag."""
    found = {ENGLISH.tag: ENGLISH}
    folder = resources.files("leadline.web") / "locale"
    for place in sorted(folder.iterdir(), key=lambda p: p.name) if folder.is_dir() else ():
        compiled = place / "LC_MESSAGES" / f"{_DOMAIN}.mo"
        if compiled.is_file():
            with compiled.open("rb") as file:
                catalogue = gettext.GNUTranslations(file)
            tag = place.name.replace("_", "-")
            said = catalogue.info()
            mark = said.get(_MARK.lower(), ".")
            found[tag] = Tongue(tag, said.get(_OWN_NAME.lower(), tag), catalogue, mark if mark in DECIMALS else ".")
    return found


@functools.lru_cache(maxsize=16_384)  # the sentences without gaps, in the languages that are read
def _whole(text: str) -> Markup:
    return Markup(text.replace("%%", "%"))


def said(message: str, **gaps: Any) -> Markup:
    """What a template says: the sentence, trusted as the template is, and what fills its gaps, escaped.

    It stands in the place of what Jinja's extension would install, which asks its context three times for each
    sentence: a tenth of the time of a page.
    """
    text = words.gettext(message)
    return Markup(text % {k: escape(v) for k, v in gaps.items()}) if gaps else _whole(text)


def counted(one: str, many: str, number: int, **gaps: Any) -> Markup:
    """The same of what is counted; `num` is the number."""
    text = words.ngettext(one, many, number)
    return Markup(text % {k: escape(v) for k, v in {"num": number, **gaps}.items()})


def wanted(accept: str, known: Mapping[str, Tongue]) -> str:
    """The best known language of an Accept-Language header (RFC 9110, 12.5.4); empty when it names none.

    `no-NO` is content with `no` (the lookup of RFC 4647, 3.4); of two that are liked alike the first is taken.
    """
    liked: list[tuple[float, str]] = []
    for part in accept[:1000].split(","):
        tag, _, q = part.partition(";")
        try:
            liking = float(q.partition("=")[2]) if q.strip() else 1.0
        except ValueError:
            continue
        if 0 < liking <= 1:
            liked.append((liking, tag.strip().lower()))
    by_name = {tag.lower(): tag for tag in known}
    for _, tag in sorted(liked, key=lambda x: -x[0]):
        while tag:
            if tag in by_name:
                return by_name[tag]
            tag = tag.rpartition("-")[0]
    return ""


def of(request: Request, known: Mapping[str, Tongue]) -> Tongue:
    """The language of whoever asks: what they wished, else what their browser asks for, else English.

    With the decimal mark that they wished, else the language's own.
    """
    mine = tastes(request)
    try:
        who = request.app.state.doors.who(request)
    except LeadlineError:  # the store is not reached: the page that says so is still said in some language
        who = None
    wished = {**mine, **{k: v for k, v in who.wishes.items() if v}} if who is not None else mine
    tongue = known.get(wished["language"]) or known.get(wanted(request.headers.get("accept-language", ""), known))
    return _with_mark(tongue or ENGLISH, wished["decimal"])


@functools.lru_cache(maxsize=64)
def _with_mark(tongue: Tongue, mark: str) -> Tongue:
    return replace(tongue, decimal=mark) if mark in DECIMALS and mark != tongue.decimal else tongue


class Spoken:
    """The door that sets the language of a request, before any page is drawn. Nobody else sets it."""

    def __init__(self, app: ASGIApp, known: Mapping[str, Tongue]) -> None:
        self.app, self.known = app, known

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            feed = scope["path"].endswith(".ics")
            silent = feed or scope["path"].startswith(_SILENT) or "authorization" in Headers(scope=scope)
            words.speak(ENGLISH if silent else of(Request(scope), self.known))
        await self.app(scope, receive, send)
