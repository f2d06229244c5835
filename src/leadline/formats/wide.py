"""Wide spreadsheets, one row a date and one column a quantity: what each column is, and what is left to ask."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from leadline.app.bring_in import FileRead, Question
from leadline.formats import amounts, cells, dates, headers
from leadline.formats.headers import Column
from leadline.formats.workbook import Cell, Grid, shown
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.quantities import QUANTITIES, canonical_name

LOOK_FOR_HEADER = 30  # rows
NOON = "12:00"
_UNIT_WORDS = frozenset({"", "unit", "units", "einheit", "einheiten", "enhet", "unite", "unites", "unidad"})
_USUAL = {  # usual range of a kept reef and the unit it is in, to propose one; the keeper still says it
    "temperature": ((20, 31, "degC"), (68, 88, "degF")),
    "salinity": ((1.0, 1.04, "sg@25/25"), (28, 40, "ppt"), (41, 60, "mS/cm")),
    "alkalinity": ((1.5, 4.9, "meq/L"), (5, 15, "dKH"), (75, 270, "ppm CaCO3")),
}


@dataclass(slots=True)
class Said:
    """What the keeper said about spreadsheets, on the command line or in a saved mapping."""

    system: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    dates: str = ""
    decimal: str = ""
    time_of_day: str = ""
    saved: bool = False  # some of it comes from a mapping saved for another file


@dataclass(slots=True)
class Layout:
    """How one sheet is laid out, all questions answered."""

    columns: list[Column]
    date: int
    time: int
    system_column: int
    order: str
    decimal: cells.Decimal | None
    noon: dt.time
    rows: list[tuple[int, list[Cell]]]
    heading: list[list[str]]


def layout(grid: Grid, file: str, said: Said, newest_year: int, systems: Sequence[str] = ()) -> Layout:
    """Find the header, the units and the columns of a sheet.

    Raises
    ------
    BadInput
        When no header is found, or something must be asked: units, the order of dates, the decimal sign. The
        way out names the option that answers it.
    """
    at = _header_row(grid, file)
    header = [" ".join(shown(c).split()) for c in grid.rows[at][1]]
    rows = grid.rows[at + 1 :]
    if not rows:
        raise BadInput("has a header and no rows", where=file)
    columns: list[Column] = []
    heading = [header]
    units_row = _units_row(rows[0][1], header)
    if units_row:
        heading.append([shown(c) for c in rows[0][1]])
        rows = rows[1:]
    body = [cells_ for _, cells_ in rows]
    for i, name in enumerate(header):
        column = _column(name, i, said, body)
        if units_row and not column.unit and i < len(units_row) and units_row[i]:
            column = replace(column, unit=units_row[i])
            if column.role == "reading":
                column = replace(headers.as_said(name, column.text(), units_row[i]), known=column.known)
        columns.append(_poured(_with_said_unit(column, said)))
    _check_said(said, header, columns, file)
    if not any(c.known and c.role not in ("date", "time", "system") for c in columns):
        named = ", ".join(repr(h) for h in header if h)
        way_out = "Name them, for example --column 'HEADING=alkalinity' --unit 'HEADING=dKH'."
        lost = Question(
            f"nobody knows what its columns are ({named})", where=file, way_out=way_out, option="columns", choices=()
        )
        lost.preview = _previewed(columns, body)
        raise lost
    date = _the_one("date", columns, body, file)
    texts = [c for row in body if date < len(row) and isinstance(c := row[date], str)]
    asked: list[Question] = []
    if not said.system and all(c.role != "system" for c in columns):
        way_out = f"Say which: --system {' or '.join(systems[:5]) or 'ID'}."
        asked.append(
            Question("does not name its system", where=file, way_out=way_out, option="system", choices=systems)
        )
    order, decimal = said.dates, said.decimal
    try:
        order = order or dates.decide(texts, file, newest_year)
        _ask_for_mixed_dates(body, date, texts, said, file)
    except Question as question:
        asked.append(question)
    try:
        _ask_for_units(columns, body, file)
    except Question as question:
        asked.append(question)
    try:
        numbers = (c for row in body for i, c in enumerate(row) if isinstance(c, str) and _is_amount(columns, i))
        decimal = decimal or cells.decide_decimal(numbers, file) or ""
    except Question as question:
        asked.append(question)
    if asked:
        whole = Question.together(asked)
        whole.preview = _previewed(columns, body)
        raise whole
    noon = dates.time_of_day(said.time_of_day or NOON)
    roles = [c.role for c in columns]
    return Layout(
        columns, date, roles.index("time") if "time" in roles else -1,
        roles.index("system") if "system" in roles else -1, order, decimal or None, noon, rows, heading,  # type: ignore[arg-type]
    )  # fmt: skip


def mapping_of(plan: Layout, said: Said) -> dict[str, Any]:
    """The layout as a saved mapping: what the next import needs to be one command."""
    return {
        "system": said.system,
        "columns": {c.header: c.text() for c in plan.columns if c.header and c.known},
        "units": {c.header: c.unit for c in plan.columns if c.unit},
        "dates": plan.order if plan.order != "iso" else said.dates,
        "decimal": plan.decimal or "",
        "time_of_day": said.time_of_day,
    }


def preview(plan: Layout) -> list[dict[str, str]]:
    """What each column would become, with its first value."""
    return _previewed(plan.columns, [row for _, row in plan.rows])


def _previewed(columns: Sequence[Column], body: Sequence[Sequence[Cell]]) -> list[dict[str, str]]:
    out = []
    for i, column in enumerate(columns):
        first = next((shown(row[i]) for row in body if i < len(row) and row[i] is not None), "")
        out.append({"column": column.header, "becomes": column.text(), "unit": column.unit, "first": first})
    return out


def _header_row(grid: Grid, file: str) -> int:
    best, most = -1, 0
    for at, (_, row) in enumerate(grid.rows[:LOOK_FOR_HEADER]):
        told = [headers.told(c) for c in row if isinstance(c, str) and len(c) < 80]
        known = [t for t in told if t is not None]
        if len(known) > most and any(t.role == "date" or t.role == "time" for t in known):
            best, most = at, len(known)
    if best >= 0:
        return best
    for at, (_, row) in enumerate(grid.rows[:LOOK_FOR_HEADER]):  # a first column of dates without a heading
        below = grid.rows[at + 1][1] if at + 1 < len(grid.rows) else []
        if any(isinstance(c, str) and headers.told(c) for c in row) and below and _is_date(below[0]):
            return at
    raise BadInput(
        "has no header row that names a date and a quantity",
        where=file,
        way_out="A journal begins with time,system,kind,…; streams with time,system,stream,value; "
        "a spreadsheet with a date column and headings such as Alk (dKH).",
    )


def _is_date(cell: Cell) -> bool:
    return isinstance(cell, dt.date) or (isinstance(cell, str) and dates.looks_like_one(cell))


def _units_row(row: Sequence[Cell], header: Sequence[str]) -> list[str]:
    """Units below the header, or nothing when the row is already data."""
    units = [shown(c).strip("()[] ") if isinstance(c, str) else "" for c in row]
    if any(isinstance(c, (float, dt.date)) for c in row):
        return []
    found = 0
    for i, unit in enumerate(units):
        told = headers.told(header[i]) if i < len(header) else None
        if headers.plain(unit) in _UNIT_WORDS:
            units[i] = ""
        elif told is not None and told.role == "date":
            return []
        elif headers.is_unit(unit, told.subject if told else "") or (told is not None and told.subject == "ph"):
            found += 1
        elif told is not None and told.role not in ("note", "time", "system"):
            return []
    return units if found else []


def _column(name: str, i: int, said: Said, body: Sequence[Sequence[Cell]]) -> Column:
    for header, what in said.columns.items():
        if headers.plain(header) == headers.plain(name):
            return headers.as_said(name, what)
    told = headers.told(name)
    if told is not None:
        return told
    filled = [row[i] for row in body if i < len(row) and row[i] is not None and not cells.is_empty(shown(row[i]))]
    if not filled:
        return Column(name, "ignore", known=False)
    if not name:
        return Column(name, "date" if _is_date(filled[0]) else "ignore", known=False)
    numbers = sum(1 for c in filled if isinstance(c, float) or (isinstance(c, str) and _reads(c)))
    if numbers * 2 < len(filled):
        return Column(name, "note", known=False)
    bare, unit = headers._parted(name)
    slug = "-".join("".join(c if c.isalnum() else " " for c in headers.plain(bare)).split())
    return Column(name, "reading", slug, unit, known=False)


def _reads(text: str) -> bool:
    try:
        return bool(cells.amounts(text, "."))
    except BadInput:
        try:
            return bool(cells.amounts(text, ","))
        except BadInput:
            return False


def _with_said_unit(column: Column, said: Said) -> Column:
    for name, unit in said.units.items():
        same = headers.plain(name) == headers.plain(column.header)
        if same or (column.role == "reading" and (canonical_name(name) or name) == column.subject):
            return Column(column.header, column.role, column.subject, unit, column.known)
    return column


def _poured(column: Column) -> Column:
    """A column that nobody knows and that is in grams or millilitres holds what was added, never a reading."""
    if column.known or column.role != "reading" or not headers.is_unit(column.unit):
        return column
    return replace(column, role="addition")


def _check_said(said: Said, header: Sequence[str], columns: Sequence[Column], file: str) -> None:
    plain = {headers.plain(h) for h in header}
    if said.saved:
        return
    for name in said.columns:
        if headers.plain(name) not in plain:
            raise UnknownName("column", name, [h for h in header if h], where=file)
    subjects = {c.subject for c in columns}
    for name, unit in said.units.items():
        if headers.plain(name) not in plain and (canonical_name(name) or name) not in subjects:
            raise UnknownName("column or quantity", name, [*[h for h in header if h]], where=file)
        subject = canonical_name(name) or name
        if subject in QUANTITIES:
            refused = amounts.rule("reading", subject, unit).refusal
            if refused:
                raise BadInput(refused[1], where=f"--unit {name}")


def _the_one(role: str, columns: Sequence[Column], body: Sequence[Sequence[Cell]], file: str) -> int:
    found = [i for i, c in enumerate(columns) if c.role == role]
    if not found:
        # a single column called 'Time' may hold the date as well
        found = [
            i for i, c in enumerate(columns)
            if c.role == "time" and any(i < len(row) and _is_date(row[i]) for row in body)
        ]  # fmt: skip
        for i in found:
            columns[i] = Column(columns[i].header, "date")  # type: ignore[index]
    if not found:
        raise BadInput(f"has no {role} column", where=file, way_out="Name it with --column 'HEADING=date'.")
    if len(found) > 1:
        names = " and ".join(repr(columns[i].header) for i in found[:2])
        raise BadInput(f"has two {role} columns, {names}", where=file, way_out="Say --column 'HEADING=ignore'.")
    return found[0]


def _ask_for_mixed_dates(
    body: Sequence[Sequence[Cell]], date: int, texts: Sequence[str], said: Said, file: str
) -> None:
    """Date cells beside texts such as 13/02/2026 are what a spreadsheet leaves when it swapped days and months."""
    numeric = next((t for t in texts if dates._NUMERIC.match(t)), "")
    if not numeric or said.dates:
        return
    real = next((row[date] for row in body if date < len(row) and isinstance(row[date], dt.date)), None)
    if isinstance(real, dt.date) and real.day <= 12:
        raise Question(
            f"some dates are date cells ({real:%Y-%m-%d}) and some are text ({numeric!r}): the spreadsheet may have "
            "swapped day and month in the cells",
            where=file,
            way_out="Look at them, then say how the texts are written: --dates day-first or --dates month-first.",
            option="dates",
            choices=("day-first", "month-first"),
        )


def _ask_for_units(columns: Sequence[Column], body: Sequence[Sequence[Cell]], file: str) -> None:
    missing = []
    for i, column in enumerate(columns):
        if column.role == "reading" and column.subject == "salinity" and column.unit.lower() in ("sg", "sg@"):
            missing.append(column.subject + "=sg@25/25")
        elif headers.unit_missing(column) and not all(i >= len(r) or _has_unit(r[i]) for r in body):
            name = column.subject if column.role == "reading" else f"'{column.header}'"
            missing.append(f"{name}={_proposed(column, i, body)}")
    if missing:
        options = " ".join(f"--unit {m}" for m in missing)
        raise Question(
            f"the unit of {', '.join(m.partition('=')[0] for m in missing)} is not stated",
            where=file,
            way_out=f"Say it once; if these are right: {options}",
            option="unit",
            choices={m.partition("=")[0].strip("'"): m.partition("=")[2] for m in missing},
        )


def _has_unit(cell: Cell) -> bool:
    """Whether a cell says its own unit, or says nothing."""
    if cell is None or (isinstance(cell, str) and cells.is_empty(cell)):
        return True
    try:
        return isinstance(cell, str) and bool(cells.amounts(cell, None)[0].unit)
    except BadInput:
        return False


def _middle(i: int, body: Sequence[Sequence[Cell]], sign: cells.Decimal | None) -> tuple[int, float]:
    """How many numbers a column holds with that decimal sign, and their median; 0 when there is none."""
    values = []
    for row in body:
        cell = row[i] if i < len(row) else None
        if isinstance(cell, float):
            values.append(cell)
        elif isinstance(cell, str) and _reads(cell):
            try:
                values.append(cells.amounts(cell, sign)[0].value)
            except BadInput:
                continue
    return len(values), sorted(values)[len(values) // 2] if values else 0.0


def _proposed(column: Column, i: int, body: Sequence[Sequence[Cell]]) -> str:
    """A unit that would make these numbers usual ones; only ever proposed."""
    if column.role in amounts.VOLUME:
        return "L"
    if column.role in amounts.MASS_OR_VOLUME:
        return "mL"
    signs: tuple[cells.Decimal | None, ...] = (".", ",", None)
    read = [_middle(i, body, sign) for sign in signs]  # the decimal sign may still be asked for
    for _, middle in sorted(read, key=lambda r: -r[0]):  # with which most cells are numbers
        for low, high, unit in _USUAL.get(column.subject, ()):
            if low <= middle <= high:
                return unit
    return QUANTITIES[column.subject].unit


def _is_amount(columns: Sequence[Column], i: int) -> bool:
    return i < len(columns) and columns[i].role not in ("date", "time", "system", "note", "ignore")


def new_file(file: str, plan: Layout, said: Said) -> FileRead:
    """An empty result for a sheet of that layout."""
    out = FileRead(file, "wide", list(plan.heading[0]))
    out.heading = [list(row) for row in plan.heading[1:]]
    out.mapping = mapping_of(plan, said)
    out.preview = preview(plan)
    return out
