"""Opening a file: what it is (journal, streams, spreadsheet) is told by its header, and read accordingly."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from leadline.app.bring_in import FileRead
from leadline.formats import subjects, text
from leadline.formats.journal_csv import JournalReader, Progress, ZoneOf, is_journal

XLSX_MARK = b"PK\x03\x04"


@dataclass(slots=True)
class Options:
    """What the keeper said about the files."""

    system: str = ""
    encoding: str | None = None
    sheet: str = ""
    units: Mapping[str, str] = field(default_factory=dict)  # quantity or header: unit
    columns: Mapping[str, str] = field(default_factory=dict)  # header: what the column is
    dates: str = ""  # day-first | month-first | iso
    decimal: str = ""  # . | ,
    time_of_day: str = ""


@dataclass(slots=True)
class Desk:
    """What reading needs to know of the store and the moment."""

    zone_of: ZoneOf
    now: dt.datetime
    known: Mapping[str, frozenset[str]] = field(default_factory=lambda: subjects.KNOWN)
    stream_unit: Callable[[str, str], tuple[str, str]] | None = None  # (system, stream): quantity, unit


def read(path: Path, desk: Desk, options: Options, progress: Progress | None = None) -> FileRead:
    """Read one file of any known kind.

    Raises
    ------
    BadInput
        When the file as a whole cannot be used: missing, empty, not text, an unknown header, or an ambiguous
        spreadsheet; the way out names the option that settles it.
    Unreachable
        When it may not be read.
    """
    file = str(path)
    data = text.read_bytes(path)
    if data.startswith(XLSX_MARK):
        from leadline.formats import wide, workbook

        return wide.read(workbook.grid(data, file, options.sheet), file, desk, options)
    content, notes = text.decode(data, file, options.encoding)
    delimiter = text.delimiter_of(content)
    rows = text.records(content, delimiter)
    line, header = next(rows, (1, []))
    names = header if isinstance(header, list) else header.split(delimiter)
    if is_journal(names, options.system):
        reader = JournalReader(desk.zone_of, desk.now, desk.known)
        out = reader.read(_again(line, header, rows), file, system=options.system, progress=progress)
    elif {"time", "stream", "value"} <= {n.strip().lower() for n in names}:
        from leadline.formats import stream_csv

        out = stream_csv.read(content, delimiter, file, desk, system=options.system)
    else:
        from leadline.formats import wide

        out = wide.read(wide.grid_of(content, delimiter, file), file, desk, options)
    out.warnings[:0] = notes
    if content[-1] not in "\r\n" and out.rows:
        _look_at_the_end(out, content)
    return out


def _again(line: int, header, rows):  # type: ignore[no-untyped-def]
    yield line, header
    yield from rows


def _look_at_the_end(out: FileRead, content: str) -> None:
    """A last line without its end and with fewer fields than the header was cut short, as by a full disk."""
    last = content[content.rfind("\n") + 1 :]
    if out.format != "journal" or not out.lines:
        return
    delimiter = text.delimiter_of(content)
    if last.count(delimiter) < len(out.columns) - 1 and '"' not in last:
        from leadline.app.bring_in import Problem

        line = content.count("\n") + 1
        if out.lines[-1] == line:
            out.lines.pop()
            out.entries.pop()
            fields = last.split(delimiter)
            reason = "the file ends in the middle of this row; was it cut short? End the line if it is complete"
            out.problems.append(Problem(out.file, line, "", "", reason, fields))
