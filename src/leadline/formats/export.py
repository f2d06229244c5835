"""The journal and streams written out as the contract's files, so that reading them back changes nothing."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable
from typing import TYPE_CHECKING, TextIO

from leadline.formats.journal_csv import COLUMNS
from leadline.journal.entry import Entry
from leadline.measures.moments import iso

if TYPE_CHECKING:
    from leadline.app.ports import Points


def number(value: float | None) -> str:
    """The shortest text that reads back as the same number; nothing for None."""
    if value is None:
        return ""
    text = repr(value)
    return text[:-2] if text.endswith(".0") else text


def write_journal(entries: Iterable[Entry], out: TextIO) -> int:
    """Write entries in their order, all columns of the contract and `id`. Returns the number of rows."""
    write = csv.writer(out).writerow
    write(COLUMNS)
    n = 0
    for e in entries:
        extra = json.dumps(dict(e.extra), ensure_ascii=False) if e.extra else ""
        write((
            iso(e.time), e.system, e.kind, e.subject, number(e.value), e.unit, e.method, number(e.sd), e.to,
            e.source, iso(e.recorded_at) if e.recorded_at else "", e.note, extra, e.id,
        ))  # fmt: skip
        n += 1
    return n


def write_points(system: str, stream: str, points: Points, out: TextIO, *, header: bool) -> int:
    """Write the points of one stream, in the unit they are stored in. Returns the number of rows."""
    import datetime as dt

    write = csv.writer(out).writerow
    if header:
        write(("time", "system", "stream", "value"))
    for t, v in zip(points.times_s.tolist(), points.values.tolist(), strict=True):
        write((iso(dt.datetime.fromtimestamp(t, dt.UTC)), system, stream, number(v)))
    return len(points.times_s)
