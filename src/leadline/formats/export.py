"""The journal and streams written out as the contract's files, so that reading them back changes nothing."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, TextIO

from leadline.app.bring_in import FileRead, Problem, number, row_of
from leadline.formats.journal_csv import COLUMNS, WORDS
from leadline.formats.text import guarded
from leadline.journal.entry import Entry
from leadline.measures.moments import iso

if TYPE_CHECKING:
    from leadline.app.ports import Points


def write_journal(entries: Iterable[Entry], out: TextIO) -> int:
    """Write entries in their order, all columns of the contract and `id`. Returns the number of rows.

    Words that a spreadsheet would take for a formula have a quote before them, which reading takes away again.
    """
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    n = 0
    for entry in entries:
        row = row_of(entry)
        writer.writerow({**row, **{c: guarded(row[c]) for c in WORDS}})
        n += 1
    return n


def write_stream_header(out: TextIO) -> None:
    """The header of a stream file."""
    csv.writer(out).writerow(("time", "system", "stream", "value"))


def write_points(system: str, stream: str, points: Points, out: TextIO) -> int:
    """Write the points of one stream, in the unit they are stored in. Returns the number of rows."""
    write = csv.writer(out).writerow
    for t, v in zip(points.times_s.tolist(), points.values.tolist(), strict=True):
        write((iso(dt.datetime.fromtimestamp(t, dt.UTC)), system, stream, number(v)))
    return len(points.times_s)


def rejected(read: FileRead, problems: Sequence[Problem]) -> str:
    """The rejected rows of one file as CSV: as they stood, each once, with the reasons in a last column."""
    out = io.StringIO(newline="")
    write = csv.writer(out).writerow
    columns = read.columns if read.columns[-1] else read.columns[:-1]  # an earlier reason is replaced
    width = len(columns)
    write([*columns, "reason"])
    for row in read.heading:  # a spreadsheet's units, which stand below its header
        write([*row, *[""] * (width - len(row))])
    reasons: dict[int, list[str]] = {}
    rows: dict[int, Sequence[str]] = {}
    for p in problems:
        rows[p.line] = p.fields
        reasons.setdefault(p.line, []).append(f"{p.column} = {p.value!r}: {p.reason}" if p.column else p.reason)
    for line, fields in rows.items():
        cells = list(fields) if len(fields) != len(read.columns) else list(fields)[:width]
        write([*cells, *[""] * (width - len(cells)), "; ".join(reasons[line])])
    return out.getvalue()
