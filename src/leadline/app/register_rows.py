"""Rows of a register against what is kept: what says nothing new is left out, what names fewer is asked about."""

from __future__ import annotations

import datetime as dt

from leadline.app import stock
from leadline.app.bring_in import FileRead, Problem
from leadline.app.ports import Store
from leadline.app.stock_log import MOST_NAME
from leadline.journal.entry import Entry
from leadline.livestock import naming
from leadline.livestock.census import Lot
from leadline.measures.moments import LATEST_YEAR, FixedClock

_ALL = FixedClock(dt.datetime(LATEST_YEAR, 1, 1, tzinfo=dt.UTC))  # as of everything that is written
_OURS = frozenset({"kind", "scientificName", "vernacularName"})


def sift(store: Store, read: FileRead) -> None:
    """Take out rows that are true already, and make problems of those that name fewer than are kept."""
    h = stock.house(store, _ALL)
    kept = h.register.lots
    entries, lines = [], []
    for line, e in zip(read.lines, read.entries, strict=True):
        ident = e.subject if e.kind == "arrival" else str(e.extra.get("animal", ""))
        lot = kept.get(ident)
        if len(ident) > MOST_NAME:
            reason = f"a name of {len(ident)} letters; keep it to {MOST_NAME}"
            read.problems.append(Problem(read.file, line, "organismID", ident, reason))
            continue
        other = naming.kind_of(h.catalogue, "", e.extra)[0] if e.kind == "arrival" else None
        if other is not None and lot is not None and lot.kind not in (None, other) and not lot.guessed:
            reason = f"{ident} is {lot.kind_said()} already; give this one another name"
            read.problems.append(Problem(read.file, line, "organismID", ident, reason))
            continue
        if lot is not None and lot.here.get(e.system):
            if e.kind == "arrival" and e.value is not None and e.value < lot.here[e.system] - 1e-9:
                reason = f"{lot.here[e.system]:g} are kept in {e.system}; log a loss or a move of those that are gone"
                read.problems.append(Problem(read.file, line, "organismQuantity", f"{e.value:g}", reason))
                continue
            if _said_already(lot, e):
                read.already_there += 1
                continue
        entries.append(e)
        lines.append(line)
    read.entries, read.lines = entries, lines


def _said_already(lot: Lot, e: Entry) -> bool:
    if e.kind != "arrival":
        return lot.seen.get(e.system, e.time) >= e.time
    if e.value != lot.here[e.system] or (e.note and e.note != lot.about.get("note")):
        return False
    return all(_same(lot, k, v) for k, v in e.extra.items() if k != "stock")


def _same(lot: Lot, key: str, value: object) -> bool:
    if key in _OURS and lot.kind is not None:
        return value in (lot.kind.id, lot.kind.scientificName, lot.kind.vernacularName) or lot.about.get(key) == value
    return lot.about.get(key) == value
