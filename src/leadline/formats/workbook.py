"""Spreadsheets as grids of cells: XLSX through openpyxl, CSV as text; nothing is interpreted here."""

from __future__ import annotations

import datetime as dt
import io
import struct
import warnings
import zipfile
from dataclasses import dataclass, field

from leadline.app.bring_in import Question
from leadline.formats import text
from leadline.measures.errors import BadInput, UnknownName

Cell = str | float | bool | dt.datetime | dt.date | dt.time | None
MOST_UNPACKED, MOST_PARTS = 250_000_000, 2_000  # judgement: ten years of hourly rows unpack to some 60 MB
MOST_CELLS = 20_000_000  # a sheet that claims more is damaged or not a journal


@dataclass(slots=True)
class Grid:
    """Rows of cells with the line each stands on; `broken` holds lines that are no valid CSV."""

    rows: list[tuple[int, list[Cell]]] = field(default_factory=list)
    broken: list[tuple[int, text.Broken]] = field(default_factory=list)
    sheet: str = ""


def from_text(content: str, delimiter: str) -> Grid:
    """The grid of a CSV."""
    grid = Grid()
    for line, fields in text.records(content, delimiter):
        if isinstance(fields, text.Broken):
            grid.broken.append((line, fields))
        else:
            cells: list[Cell] = [f.strip() or None for f in fields]
            if any(c is not None for c in cells):
                grid.rows.append((line, cells))
    return grid


def from_xlsx(data: bytes, file: str, sheet: str = "") -> Grid:
    """The grid of one sheet of a workbook; values as they were last worked out, not formulas.

    Raises
    ------
    BadInput
        When it is no workbook, has no such sheet, or has several and none was named.
    """
    import openpyxl

    _refuse_bomb(data, file)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and extensions that openpyxl leaves out do not matter here
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            try:
                return _sheet(book, file, sheet)
            finally:
                book.close()
    except BadInput:
        raise
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, EOFError, SyntaxError, TypeError, IndexError) as exc:
        raise BadInput(
            "is no XLSX workbook, or a damaged one", where=file, way_out="Open and save it again, or save it as CSV."
        ) from exc


def _refuse_bomb(data: bytes, file: str) -> None:
    """Look at what the file says it unpacks to; no more than that is ever unpacked of it."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            parts = packed.infolist()
    except (zipfile.BadZipFile, ValueError, OSError, EOFError, NotImplementedError, struct.error):
        return  # said below
    size = sum(p.file_size for p in parts)
    if size > MOST_UNPACKED or len(parts) > MOST_PARTS:
        raise BadInput(
            f"unpacks to {size / 1e6:.0f} MB in {len(parts)} parts, more than a journal has", where=file,
            way_out="Save the one sheet as CSV.",
        )  # fmt: skip


def _sheet(book, file: str, sheet: str) -> Grid:  # type: ignore[no-untyped-def]
    names = [s.title for s in book.worksheets]
    if sheet:
        if sheet not in names:
            raise UnknownName("sheet", sheet, names, where=file)
        return _grid(book[sheet])
    grids = [g for g in map(_grid, book.worksheets) if g.rows]
    if not grids:
        raise BadInput("is an empty workbook", where=file, way_out="It needs a header row and rows below it.")
    dated = [g for g in grids if _has_dates(g)] or grids
    if len(dated) > 1:
        named = ", ".join(repr(g.sheet) for g in dated)
        raise Question(
            f"holds several sheets: {named}",
            where=file,
            way_out=f"Say which: --sheet {dated[0].sheet!r}.",
            option="sheet",
            choices=[g.sheet for g in dated],
        )
    return dated[0]


def _has_dates(grid: Grid) -> bool:
    from leadline.formats.dates import looks_like_one

    cells = [cells[0] for _, cells in grid.rows[:40] if cells]
    return any(isinstance(c, dt.date) or (isinstance(c, str) and looks_like_one(c)) for c in cells)


def _grid(sheet) -> Grid:  # type: ignore[no-untyped-def]
    grid = Grid(sheet=sheet.title)
    seen = 0
    for line, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
        seen += len(cells)
        if seen > MOST_CELLS:
            raise BadInput(f"sheet {sheet.title!r} claims more than {MOST_CELLS} cells", way_out="Save it as CSV.")
        row = [_cell(c) for c in cells]
        while row and row[-1] is None:
            row.pop()
        if row:
            grid.rows.append((line, row))
    return grid


def _cell(thing: object) -> Cell:
    if thing is None or isinstance(thing, (bool, float, dt.date, dt.time)):
        return thing
    if isinstance(thing, int):
        return float(thing)
    if isinstance(thing, dt.timedelta):  # a time of day beyond its column's format
        seconds = int(thing.total_seconds())
        return dt.time(seconds // 3600, seconds // 60 % 60, seconds % 60) if 0 <= seconds < 86400 else str(thing)
    return str(thing).strip() or None


def shown(cell: Cell) -> str:
    """A cell as text: what a person would have typed."""
    if cell is None:
        return ""
    if isinstance(cell, float):
        return repr(cell)[:-2] if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.isoformat(" ", "minutes" if not cell.second else "seconds").removesuffix(" 00:00")
    if isinstance(cell, (dt.date, dt.time)):
        return cell.isoformat()
    return str(cell)
