"""Opening a file: what it is (journal, streams, spreadsheet) is told by its header, and read accordingly."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from leadline.app.bring_in import Declared, FileRead, Problem, StreamPart, uncollected
from leadline.formats import journal_csv, subjects, text
from leadline.formats.journal_csv import JournalReader, Progress, ZoneOf
from leadline.formats.text import Rows
from leadline.journal.entry import Entry
from leadline.measures.errors import BadInput
from leadline.measures.moments import Clock

if TYPE_CHECKING:
    from leadline.app.ports import Store
    from leadline.formats.workbook import Grid

XLSX_MARK = b"PK\x03\x04"


@dataclass(slots=True)
class Options:
    """What the keeper said about the files; the last six concern spreadsheets alone."""

    system: str = ""
    encoding: str | None = None
    sheet: str = ""
    units: Mapping[str, str] = field(default_factory=dict)  # quantity or heading: unit
    columns: Mapping[str, str] = field(default_factory=dict)  # heading: what the column is
    dates: str = ""  # day-first | month-first | iso
    decimal: str = ""  # . | ,
    time_of_day: str = ""
    saved: bool = False  # some of it comes from a mapping saved for another file
    encoding_before: str = ""  # how that other file was encoded


@dataclass(slots=True)
class Desk:
    """What reading needs to know of the store and the moment.

    `stream` gives what is declared of a (system, stream).
    `systems` are all there are: where there is only one, a spreadsheet need not name it.
    """

    zone_of: ZoneOf
    now: dt.datetime
    known: Mapping[str, frozenset[str]] = field(default_factory=lambda: subjects.KNOWN)
    stream: Callable[[str, str], Declared] = lambda system, stream: Declared()
    systems: tuple[str, ...] = ()


def desk_for(store: Store, clock: Clock) -> Desk:
    """What reading files needs to know of a store."""
    from leadline.app import bring_in

    known = subjects.known_with(bring_in.declared(store))
    return Desk(bring_in.zone_of(store), clock.now(), known, bring_in.stream_of(store), tuple(store.systems()))


def parked_row(desk: Desk) -> Callable[[Mapping[str, str]], Entry | StreamPart]:
    """Reads a row that was parked, of a journal or of a stream, as it was read from its file."""
    from leadline.formats import stream_csv

    def read_row(row: Mapping[str, str]) -> Entry | StreamPart:
        if "stream" in row:
            return stream_csv.point(row, desk.zone_of, desk.now, desk.stream)
        return JournalReader(desk.zone_of, desk.now, desk.known).row(row)

    return read_row


def read(path: Path, desk: Desk, options: Options, progress: Progress | None = None) -> FileRead:
    """Read one file of any known kind.

    Raises
    ------
    BadInput
        When the file as a whole cannot be used: missing, empty, not text, an unknown header, or a spreadsheet
        about which something must be asked; the way out names the option that answers.
    Unreachable
        When it may not be read.
    """
    with uncollected():
        return _read(path, desk, options, progress)


def _read(path: Path, desk: Desk, options: Options, progress: Progress | None) -> FileRead:
    file = str(path)
    data = text.read_bytes(path)
    if data.startswith(XLSX_MARK):
        from leadline.formats import workbook

        grid = workbook.from_xlsx(data, file, options.sheet)
        rows: Rows = iter([(line, [workbook.shown(c) for c in cells]) for line, cells in grid.rows])
        if not grid.rows:
            raise BadInput(f"sheet {grid.sheet!r} is empty", where=file, way_out="Name another one with --sheet.")
        line, _ = next(rows)
        header = [workbook.shown(c) for c in grid.rows[0][1]]
        return _contract(file, header, line, rows, desk, options, progress) or _spreadsheet(grid, file, desk, options)
    content, notes = text.decode(data, file, options.encoding, options.encoding_before)
    if not content.strip():
        raise BadInput("is empty", where=file, way_out="A file needs one header row and rows below it.")
    delimiter = text.delimiter_of(content)
    rows = text.records(content, delimiter)
    line, first = next(rows)
    if isinstance(first, text.Broken):
        raise BadInput(first.reason, where=f"{file}:{line}")
    out = _contract(file, first, line, rows, desk, options, progress)
    if out is None:
        from leadline.formats import workbook

        out = _spreadsheet(workbook.from_text(content, delimiter), file, desk, options)
    elif content[-1] not in "\r\n":
        _look_at_the_end(out, content, delimiter)
    out.warnings[:0] = notes
    return out


def _contract(
    file: str, header: Sequence[str], line: int, rows: Rows, desk: Desk, options: Options, progress: Progress | None
) -> FileRead | None:
    """A journal or stream file, or None when the header is that of neither."""
    names = {name.strip().lower() for name in header}
    if {"time", "stream", "value"} <= names and "kind" not in names:
        from leadline.formats import stream_csv

        return stream_csv.read(
            chain([(line, list(header))], rows), file, zone_of=desk.zone_of, now=desk.now, declared=desk.stream,
            system=options.system, progress=progress,
        )  # fmt: skip
    if "kind" not in names or "time" not in names:
        from leadline.formats import register_csv

        if register_csv.is_register(names):
            return register_csv.read(
                chain([(line, list(header))], rows), file, zone_of=desk.zone_of, now=desk.now, system=options.system
            )
    if journal_csv.is_journal(names):
        reader = JournalReader(desk.zone_of, desk.now, desk.known)
        return reader.read(chain([(line, list(header))], rows), file, system=options.system, progress=progress)
    return None


def _spreadsheet(grid: Grid, file: str, desk: Desk, options: Options) -> FileRead:
    from leadline.formats import long, wide, wide_rows

    system = options.system or (desk.systems[0] if len(desk.systems) == 1 else "")
    said = wide.Said(
        system, options.columns, options.units, options.dates, options.decimal, options.time_of_day, options.saved
    )
    return wide_rows.read(
        long.as_wide(grid), file, said, systems=desk.systems, zone_of=desk.zone_of, now=desk.now, known=desk.known
    )  # fmt: skip


def _look_at_the_end(out: FileRead, content: str, delimiter: str) -> None:
    """A last line without its end and with fewer fields than the header was cut short, as by a full disk."""
    last = content[content.rfind("\n") + 1 :]
    if out.format != "journal" or not out.lines or '"' in last or last.count(delimiter) >= len(out.columns) - 1:
        return
    line = content.count("\n") + 1
    if out.lines[-1] == line:
        out.lines.pop()
        out.entries.pop()
        reason = "the file ends in the middle of this row: was it cut short? If it is complete, end the line"
        out.problems.append(Problem(out.file, line, "", "", reason, last.split(delimiter)))
