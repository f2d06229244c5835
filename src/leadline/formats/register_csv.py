"""The register as a table: who is kept where since when, in terms of Darwin Core, with columns of our own."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from leadline.app.bring_in import FileRead, Problem
from leadline.formats.text import Broken, Rows, bare, guarded
from leadline.journal.entry import Entry, content_id
from leadline.measures.errors import BadInput
from leadline.measures.moments import iso, parse
from leadline.measures.units import parse_number

if TYPE_CHECKING:
    from leadline.app.stock import House

# https://dwc.tdwg.org/terms/; the last twelve are our own
COLUMNS = (
    "organismID", "scientificName", "vernacularName", "organismQuantity", "organismQuantityType", "sex", "lifeStage",
    "eventDate", "locationID", "organismRemarks", "kind", "source", "origin", "papers", "price", "currency",
    "irreplaceable", "length_cm", "lastSeen", "vessel", "group", "born",
)  # fmt: skip
_ABOUT = ("kind", "scientificName", "vernacularName", "sex", "lifeStage", "origin", "papers", "price", "currency",
          "vessel", "group", "born")  # fmt: skip
_YES = frozenset({"true", "yes", "1", "x"})
STOCK = "stock"  # an arrival that only says how many are there: see livestock.census


def is_register(names: Iterable[str]) -> bool:
    """Whether a header (in lower case) is that of a register."""
    names = set(names)
    named = bool(names & {"organismid", "scientificname", "vernacularname"})
    return named and bool(names & {"eventdate", "organismquantity", "individualcount", "locationid"})


def write(h: House) -> str:
    """Who is kept at that moment, one row for each lot and place."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for place in h.systems:
        for lot in h.register.at(place):
            since, last = lot.since(place), lot.seen.get(place)
            about = lot.about
            row = {
                "organismID": lot.id,
                "scientificName": lot.kind.scientificName if lot.kind else about.get("scientificName", ""),
                "vernacularName": lot.kind.vernacularName if lot.kind else about.get("vernacularName", ""),
                "organismQuantity": f"{lot.here[place]:g}", "organismQuantityType": "individuals",
                "sex": about.get("sex", ""), "lifeStage": about.get("lifeStage", ""),
                "eventDate": iso(since) if since else "", "locationID": place,
                "organismRemarks": about.get("note", ""),
                "kind": lot.kind.id if lot.kind and not lot.guessed else about.get("kind", ""),
                "source": lot.came[0].source if lot.came else "", "origin": about.get("origin", ""),
                "papers": about.get("papers", ""), "price": about.get("price", ""),
                "currency": about.get("currency", ""), "irreplaceable": "true" if lot.irreplaceable else "",
                "length_cm": about.get("length_cm", ""), "lastSeen": iso(last) if last else "",
                "vessel": about.get("vessel", ""), "group": about.get("group", ""), "born": about.get("born", ""),
            }  # fmt: skip
            writer.writerow({c: guarded(str(v)) for c, v in row.items()})
    return out.getvalue()


def read(rows: Rows, file: str, *, zone_of: Callable[[str], dt.tzinfo], now: dt.datetime, system: str = "") -> FileRead:
    """A register as journal entries: each row says how many of what are where since when.

    A row that is true already adds nobody; one that names more than are known adds the difference.

    Raises
    ------
    BadInput
        When a column stands twice.
    """
    stream = iter(rows)
    _, header = next(stream, (1, Broken("the file is empty")))
    if isinstance(header, Broken):
        raise BadInput(header.reason, where=f"{file}:1")
    known = {c.lower(): c for c in (*COLUMNS, "individualCount")}
    columns = [known.get(c.strip().lower(), c.strip()) for c in header]
    twice = sorted({c for c in columns if c and columns.count(c) > 1})
    if twice:
        raise BadInput(f"column {twice[0]!r} stands twice in the header", where=f"{file}:1", way_out="Rename one.")
    out = FileRead(file, "register", columns)
    for count, (line, fields) in enumerate(stream, start=1):
        out.rows = count
        if isinstance(fields, Broken):
            out.problems.append(Problem(file, line, "", "", fields.reason, fields.fields))
            continue
        row = {c: bare(f.strip()) for c, f in zip(columns, fields, strict=False) if c}
        if not any(row.values()):
            continue
        try:
            made = _entries(row, system, zone_of, now)
        except _Bad as bad:
            out.problems.append(Problem(file, line, bad.column, row.get(bad.column, ""), bad.reason, fields))
            continue
        for entry in made:
            out.entries.append(entry)
            out.lines.append(line)
    return out


class _Bad(Exception):
    def __init__(self, column: str, reason: str) -> None:
        self.column, self.reason = column, reason


def _entries(row: dict[str, str], system: str, zone_of: Callable[[str], dt.tzinfo], now: dt.datetime) -> list[Entry]:
    from leadline.app.stock import slug

    place = row.get("locationID") or system
    if not place:
        raise _Bad("locationID", "the system is missing; add it, or say --system ID for the whole file")
    try:
        local = zone_of(place)
    except BadInput as exc:
        raise _Bad("locationID", exc.line()) from None
    name = slug(row.get("organismID") or row.get("vernacularName") or row.get("scientificName") or row.get("kind", ""))
    if not name:
        raise _Bad("organismID", "it has no name: fill organismID, vernacularName or scientificName")
    when = _moment(row.get("eventDate", ""), "eventDate", local, now)
    typed = row.get("organismQuantity") or row.get("individualCount") or "1"
    try:
        n = parse_number(typed)
    except BadInput:
        raise _Bad("organismQuantity", "this is no number") from None
    if n <= 0:
        raise _Bad("organismQuantity", "how many there are is above zero; log a loss for those that are gone")
    extra: dict[str, Any] = {k: row[k] for k in _ABOUT if row.get(k)}
    if row.get("irreplaceable", "").lower() in _YES:
        extra["irreplaceable"] = True
    if row.get("length_cm"):
        try:
            extra["length_cm"] = parse_number(row["length_cm"])
        except BadInput:
            raise _Bad("length_cm", "this is no number") from None
    extra[STOCK] = True
    more = {k: v for k, v in row.items() if v and k not in COLUMNS and k != "individualCount"}
    extra.update({k: v for k, v in more.items() if k not in extra})
    found = [
        Entry(when, place, "arrival", name, n, source=row.get("source", ""), note=row.get("organismRemarks", ""),
              extra=extra)
    ]  # fmt: skip
    if row.get("lastSeen"):
        seen = _moment(row["lastSeen"], "lastSeen", local, now)
        if seen > when:
            found.append(Entry(seen, place, "observation", "seen", extra={"animal": name}))
    return [_identified(e) for e in found]


def _identified(e: Entry) -> Entry:
    from dataclasses import replace

    return replace(e, id=content_id(e))


def _moment(text: str, column: str, local: dt.tzinfo, now: dt.datetime) -> dt.datetime:
    if not text:
        if column == "eventDate":
            raise _Bad(column, "since when it is there is missing; a date such as 2025-03-01")
        return now
    try:
        when = parse(text, local)
    except BadInput as exc:
        raise _Bad(column, exc.line()) from None
    if when > now + dt.timedelta(hours=1):
        raise _Bad(column, "this lies in the future")
    if when.year < 1971:
        raise _Bad(column, "this is before 1971: was the clock ever set?")
    return min(when, now)
