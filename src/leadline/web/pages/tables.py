"""Any table of any page as CSV: the page is drawn as whoever asks may see it, and its table read from it."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any
from urllib.parse import quote, urlsplit

from markupsafe import escape
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Message

from leadline.measures import words
from leadline.measures.errors import BadInput
from leadline.measures.words import _
from leadline.web.doors import inside
from leadline.web.ways import Right, way

_TABLE = re.compile(r"</table>", re.IGNORECASE)
_FORMULA = ("=", "+", "@", "\t", "\r")  # what a spreadsheet would take for a formula, numbers apart


def with_links(text: str, here: str) -> str:
    """A page with a link under each of its tables, by which it is taken as CSV."""
    n = 0

    def link(found: re.Match[str]) -> str:
        nonlocal n
        n += 1
        to = f"/table.csv?page={quote(here, safe='')}&amp;n={n}"
        said = escape(_("CSV, table {n} of this page").format(n=n))
        return f'{found.group(0)}<p class="to-csv"><a href="{to}" aria-label="{said}">CSV</a></p>'

    return _TABLE.sub(link, text)


class _Reader(HTMLParser):
    """The cells of every table of a page, as one reads them."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[list[list[str]]] = []
        self._cell: list[str] | None = None
        self._deep = 0

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        if tag == "table":
            self.tables.append([])
            self._deep += 1
        elif tag == "tr" and self._deep:
            self.tables[-1].append([])
        elif tag in ("td", "th") and self._deep:
            self._cell = []
        elif tag == "br" and self._cell is not None:
            self._cell.append("; ")

    def handle_endtag(self, tag: str) -> None:
        if tag == "table":
            self._deep -= 1
        elif tag in ("td", "th") and self._cell is not None and self.tables and self.tables[-1]:
            words = " ".join("".join(self._cell).split()).strip("; ")
            self.tables[-1][-1].append(words.replace(" ; ", "; "))
            self._cell = None

    def handle_data(self, data: str) -> None:
        if self._cell is not None:
            self._cell.append(data)


def as_csv(text: str, n: int) -> str:
    """The nth table of a page, RFC 4180; a cell that a spreadsheet would run as a formula begins with an apostrophe.

    Raises
    ------
    BadInput
        When the page has no such table.
    """
    reader = _Reader()
    reader.feed(text)
    if not 1 <= n <= len(reader.tables):
        raise BadInput(f"this page has {len(reader.tables)} tables, not {n}", way_out="Take the link under the table.")
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    for row in reader.tables[n - 1]:
        writer.writerow([f"'{c}" if c.startswith(_FORMULA) and not _number(c) else c for c in row])
    return out.getvalue()


def _number(text: str) -> bool:
    return bool(re.fullmatch(r"[+−-]?[\d.,]+( .*)?", text))


async def table(request: Request) -> Response:
    """`GET /table.csv?page=…&n=1`."""
    target = inside(request.query_params.get("page", ""))
    number = request.query_params.get("n", "1")
    parts = urlsplit(target)
    kept = {k: v for k, v in request.scope.items() if k not in ("path_params", "endpoint", "route", "state")}
    headers = [(k, v) for k, v in request.scope["headers"] if k not in (b"accept-encoding", b"hx-request")]
    scope = {**kept, "path": parts.path, "raw_path": quote(parts.path).encode(), "state": {}, "headers": headers,
             "query_string": parts.query.encode()}  # fmt: skip
    status, body = 500, bytearray()

    async def take(message: Message) -> None:
        nonlocal status
        if message["type"] == "http.response.start":
            status = message["status"]
        elif message["type"] == "http.response.body":
            body.extend(message.get("body", b""))

    if parts.path.startswith(("/table.csv", "/shared")):
        raise BadInput("this page has no table", way_out="Take the link under the table.")
    words.speak(replace(words.tongue(), decimal="."))  # a comma stands between the cells of a CSV
    await request.app.router(scope, request.receive, take)
    if status != 200:
        raise BadInput("this page can't be read now", way_out="Open it first.")
    text = as_csv(body.decode("utf-8", "replace"), int(number) if number.isdigit() and len(number) < 5 else 0)
    name = re.sub(r"[^a-z0-9]+", "-", parts.path.lower()).strip("-") or "table"
    headers_out = {"content-disposition": f'attachment; filename="{name}-{number}.csv"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers_out)


WAYS = [way("/table.csv", table, Right.VIEW)]
