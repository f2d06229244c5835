"""Rows of a wide spreadsheet as journal entries: each filled cell is one, dated by its row."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace

from leadline.app.bring_in import FileRead, Problem, row_of
from leadline.app.ports import Parked
from leadline.formats import amounts, cells, dates, wide
from leadline.formats.headers import Column
from leadline.formats.journal_csv import HUGE, ZoneOf, left_out
from leadline.formats.subjects import OWN_NAMES
from leadline.formats.times import LocalTimes
from leadline.formats.wide import Layout, Said
from leadline.formats.workbook import Cell, Grid, shown
from leadline.journal.entry import Entry, content_id
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import UTC, from_local


def read(
    grid: Grid,
    file: str,
    said: Said,
    *,
    systems: Sequence[str] = (),
    zone_of: ZoneOf,
    now: dt.datetime,
    known: Mapping[str, frozenset[str]],
) -> FileRead:
    """All entries of a sheet, with the cells that could not be used.

    Raises
    ------
    BadInput
        When the sheet as a whole can't be read, or something must be asked first.
    """
    plan = wide.layout(grid, file, said, now.year + 1, systems)
    if left_out(file):
        plan.columns = [replace(c, role="ignore") if c.header == "reason" else c for c in plan.columns]
    out = wide.new_file(file, plan, said)
    out.problems += [Problem(file, line, "", "", row.reason, row.fields) for line, row in grid.broken]
    for column in plan.columns:
        if not column.known and column.role != "ignore":
            out.warnings.append(
                f"{file}: nobody knows column {column.header!r}; kept as {column.text()}. "
                f"Otherwise: --column '{column.header}=ignore'"
            )
    zones: dict[str, LocalTimes] = {}
    for line, row in plan.rows:
        out.rows += 1
        _row(line, row, plan, said, zones, zone_of, now, known, out)
    return out


def _row(
    line: int,
    row: list[Cell],
    plan: Layout,
    said: Said,
    zones: dict[str, LocalTimes],
    zone_of: ZoneOf,
    now: dt.datetime,
    known: Mapping[str, frozenset[str]],
    out: FileRead,
) -> None:
    fields = [shown(c) for c in row]

    def bad(i: int, reason: str) -> None:
        value = fields[i] if 0 <= i < len(fields) else ""
        out.problems.append(Problem(out.file, line, plan.columns[i].header or "date", value, reason, fields))

    if len(row) > len(plan.columns) and any(c is not None for c in row[len(plan.columns) :]):
        out.problems.append(
            Problem(out.file, line, "", "", f"{len(row)} cells where the header has {len(plan.columns)}", fields)
        )
        return
    system = said.system
    if plan.system_column >= 0 and plan.system_column < len(row) and row[plan.system_column] is not None:
        system = fields[plan.system_column]
    if system not in zones:
        try:
            zones[system] = LocalTimes(zone_of(system), now)
        except UnknownName as exc:
            if plan.system_column < 0:
                raise
            bad(plan.system_column, f"{exc.line()}" if system else "the system's id is missing")
            return
    times = zones[system]
    try:
        moment, whole_day = _moment(row, plan, times, now.year + 1)
    except _Undated as exc:
        bad(exc.column, exc.reason)
        return
    why = times.why_impossible(moment)
    if whole_day and moment > now and moment.astimezone(times.zone).date() <= now.astimezone(times.zone).date():
        why = ""  # today's row, dated noon, read in the morning
    for i, column in enumerate(plan.columns):
        cell = row[i] if i < len(row) else None
        if cell is None or column.role in ("date", "time", "system", "ignore"):
            continue
        try:
            entries = _entries(cell, column, moment, system, plan, known, out)
        except BadInput as exc:
            bad(i, exc.line())
            continue
        for entry in entries:
            if why:
                row_of_entry = {name: said for name, said in row_of(entry).items() if said and name != "id"}
                out.parked.append(Parked(0, out.file, line, why, row_of_entry))
            else:
                out.entries.append(entry)
                out.lines.append(line)


class _Undated(Exception):
    def __init__(self, column: int, reason: str) -> None:
        self.column, self.reason = column, reason


def _moment(row: Sequence[Cell], plan: Layout, times: LocalTimes, newest_year: int) -> tuple[dt.datetime, bool]:
    """The moment of a row, and whether only its day was written."""
    cell = row[plan.date] if plan.date < len(row) else None
    if cell is None:
        raise _Undated(plan.date, "this row has no date")
    offset = dt.timedelta(0) if plan.columns[plan.date].unit else None
    clock: dt.time | None = None
    if isinstance(cell, dt.datetime):
        day = cell.date()
        clock = cell.time() if cell.time() != dt.time(0) else None
    elif isinstance(cell, dt.date):
        day = cell
    else:
        try:
            found = dates.read(shown(cell), plan.order, newest_year)
        except BadInput as exc:
            raise _Undated(plan.date, exc.line()) from None
        day, clock = found.date, found.clock
        offset = found.offset if found.offset is not None else offset
    if plan.time >= 0 and plan.time < len(row) and row[plan.time] is not None:
        at = row[plan.time]
        try:
            if isinstance(at, dt.datetime):
                clock = at.time()
            elif isinstance(at, dt.time):
                clock = at
            elif isinstance(at, float) and 0 <= at < 1:  # a spreadsheet's fraction of a day
                seconds = min(round(at * 86400), 86399)
                clock = dt.time(seconds // 3600, seconds // 60 % 60, seconds % 60)
            elif not cells.is_empty(shown(at)):
                clock = dates.time_of_day(shown(at))
        except BadInput as exc:
            raise _Undated(plan.time, exc.line()) from None
    naive = dt.datetime.combine(day, clock or plan.noon)
    if offset is not None:
        return (naive - offset).replace(tzinfo=UTC), clock is None
    try:
        return from_local(naive, times.zone), clock is None
    except BadInput as exc:
        raise _Undated(plan.time if plan.time >= 0 else plan.date, exc.line()) from None


def _entries(
    cell: Cell,
    column: Column,
    moment: dt.datetime,
    system: str,
    plan: Layout,
    known: Mapping[str, frozenset[str]],
    out: FileRead,
) -> list[Entry]:
    text = shown(cell)
    if column.role == "note":
        if cells.is_empty(text):
            return []
        note = text if column.known else f"{column.header}: {text}"
        return [_identified(Entry(moment, system, "note", note=note))]
    if isinstance(cell, (dt.date, dt.time)):
        raise BadInput("is a date where a number belongs", way_out="Format the cell as a number and type it again.")
    if isinstance(cell, float):
        found = [cells.Amount(cell)]
    elif cells.is_empty(text):
        return []
    else:
        found = cells.amounts(text, plan.decimal)
    entries = []
    for amount in found:
        if column.role in (*amounts.VOLUME, *amounts.MASS_OR_VOLUME) and amount.value == 0:
            continue  # '0' in a dosing or water change column says that nothing was done
        entries.append(_entry(amount, column, moment, system, out))
        if column.role not in OWN_NAMES and column.subject not in known.get(column.role, ()):
            key = (column.role, column.subject)
            out.unknown[key] = out.unknown.get(key, 0) + 1
    return entries


def _entry(amount: cells.Amount, column: Column, moment: dt.datetime, system: str, out: FileRead) -> Entry:
    unit = amount.unit or column.unit
    rule = amounts.rule(column.role, column.subject, unit)
    if rule.refusal:
        raise BadInput(rule.refusal[1])
    if not abs(amount.value) < HUGE:
        raise BadInput("is too large to be an amount")
    stored: float | None = amount.value * rule.factor + rule.offset
    remarks: tuple[str, ...] = (rule.remark,) if rule.remark else ()
    if rule.by_value:
        stored, _, assumed = amounts.stored_by_value(column.subject, amount.value, unit, None, {}, "")
        remarks += (f"{column.subject} in {unit!r}: {'; '.join(assumed)}",) if assumed else ()
    for remark in remarks:
        said = f"{out.file}: {remark}"
        if said not in out.warnings:
            out.warnings.append(said)
    assert stored is not None
    if not rule.low <= stored <= rule.high:
        why = amounts.impossible(column.subject if column.role == "reading" else "", stored, rule)
        if why:
            raise BadInput(why)
    return _identified(
        Entry(
            moment,
            system,
            column.role,
            column.subject,
            amount.value,
            unit,
            note=amount.note,
            extra=amount.extra,
            stored=stored if rule.stores else None,
        )
    )


def _identified(entry: Entry) -> Entry:
    return replace(entry, id=content_id(entry))
