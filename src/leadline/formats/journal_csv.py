"""The journal CSV of the contract: rows in, entries out, with what could not be used and why."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from operator import itemgetter
from typing import Any

from leadline.app.bring_in import FileRead, Problem
from leadline.app.ports import Parked
from leadline.formats import amounts, subjects
from leadline.formats.text import Broken, Rows, bare
from leadline.formats.times import LocalTimes
from leadline.journal.entry import KINDS, Entry, content_id
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import EARLIEST
from leadline.measures.units import parse_number, split_value_unit

COLUMNS = (
    "time", "system", "kind", "subject", "value", "unit", "method", "sd", "to", "from", "recorded_at", "note",
    "extra", "id",
)  # fmt: skip
REQUIRED = ("time", "system", "kind")
WORDS = ("subject", "unit", "method", "to", "from", "note", "id")  # cells that hold whatever somebody typed
_REJECTED = re.compile(r"(^|[./\\])rejected\b[^./\\]*\.[a-z]+$", re.IGNORECASE)
HUGE = 1e15  # no amount in a kept system comes near
WATER_NUMBERS = (
    "salinity", "temperature", "alkalinity", "calcium", "magnesium", "nitrate", "phosphate", "volume_out",
)  # fmt: skip
NEEDS_VALUE = frozenset({"reading", "addition", "exchange", "topoff"})
NEEDS_SUBJECT = {
    "reading": "a quantity such as alkalinity", "addition": "a substance such as sodium-bicarbonate",
    "exchange": "the kind of water, such as mixed-seawater", "topoff": "the kind of water, such as ro",
    "feeding": "the food, such as pellets", "arrival": "the animal, coral, rock or tool",
    "transfer": "the animal, coral, rock or tool", "loss": "the animal's id, or livestock",
    "treatment": "the treatment, such as dip", "service": "the equipment's id",
}  # fmt: skip

ZoneOf = Callable[[str], dt.tzinfo]
Progress = Callable[[int], None]


def left_out(file: str) -> bool:
    """Whether a file holds rows that an import left out, by its name: its last column says why, and is ours."""
    return _REJECTED.search(file) is not None


class _Bad(Exception):
    """One cell that cannot be used: column, value, reason."""

    def __init__(self, column: str, value: str, reason: str) -> None:
        self.column, self.value, self.reason = column, value, reason


class JournalReader:
    """Reads journal rows. Rules, zones and offsets are looked up once and kept for the next row.

    Parameters
    ----------
    zone_of
        Time zone of a system; raises UnknownName for a system nobody knows.
    now
        The present moment: later rows are parked.
    known
        Known subjects by kind.
    """

    def __init__(self, zone_of: ZoneOf, now: dt.datetime, known: Mapping[str, frozenset[str]] = subjects.KNOWN) -> None:
        self._zone_of = zone_of
        self._now = now
        self._known = known
        self._times: dict[str, LocalTimes] = {}
        self._rules: dict[tuple[str, str, str], tuple[str, str, amounts.Rule, bool]] = {}

    def read(
        self,
        rows: Rows,
        file: str,
        *,
        system: str = "",
        progress: Progress | None = None,
    ) -> FileRead:
        """All rows of one file; the first is the header. `system` stands in for a missing column.

        Raises
        ------
        BadInput
            When the header is broken or lacks a required column.
        """
        stream = iter(rows)
        _, header = next(stream)
        if isinstance(header, Broken):
            raise BadInput(header.reason, where=f"{file}:1")
        columns = columns_of(header, file, system)
        if columns[-1] == "reason" and left_out(file):
            columns[-1] = ""  # our own remark on the row, not part of it
        out = FileRead(file, "journal", columns)
        width = len(columns)
        spaced = any(name != name.strip() for name in header)  # 'time, system, kind': the cells will be so too
        pick = itemgetter(*(columns.index(c) if c in columns else width for c in COLUMNS))
        others = [(i, c) for i, c in enumerate(columns) if c and c not in COLUMNS]
        pad = [""] * (width + 1)
        entries, lines, one, count = out.entries, out.lines, self._one, 0
        for count, (line, fields) in enumerate(stream, start=1):
            if progress is not None and not count % 2000:
                progress(count)
            if isinstance(fields, Broken):
                out.problems.append(Problem(file, line, "", "", fields.reason, fields.fields))
                continue
            if spaced:
                fields = [f.strip() for f in fields]
            n = len(fields)
            if n > width:
                reason = f"{n} fields where the header has {width}; a comma inside text needs quotes around it"
                out.problems.append(Problem(file, line, "", "", reason, fields))
                continue
            full = [*fields, ""] if n == width else fields + pad[n:]
            try:
                entry = one(pick(full), full, others, system, out)
            except _Bad as bad:
                before = self._accepted_before(pick(full), full, others, system, out)
                if before is None:
                    if any(f.strip() for f in fields):  # spreadsheets leave rows of nothing but commas
                        out.problems.append(Problem(file, line, bad.column, bad.value, bad.reason, fields))
                    continue
                entry = before
            if isinstance(entry, Entry):
                entries.append(entry)
                lines.append(line)
            else:
                row = {c: v for c, v in zip(columns, full, strict=False) if c and v}
                if system and "system" not in columns:
                    row["system"] = system
                out.parked.append(Parked(0, file, line, entry, row))
        out.rows = count
        for times in self._times.values():
            if times.read_as_first:
                out.warnings.append(
                    f"{file}: {len(times.read_as_first)} local times came twice when the clocks went back "
                    f"({times.read_as_first[0]}), read as the first; an offset says which"
                )
                times.read_as_first.clear()
        return out

    def row(self, row: Mapping[str, str]) -> Entry:
        """One row the keeper has judged, whatever its time.

        Raises
        ------
        BadInput
            When it still cannot be used.
        """
        columns = [c for c in row if c]
        full = [row[c] for c in columns] + [""]
        pick = itemgetter(*(columns.index(c) if c in columns else len(columns) for c in COLUMNS))
        others = [(i, c) for i, c in enumerate(columns) if c not in COLUMNS]
        try:
            entry = self._one(pick(full), full, others, "", FileRead("", "journal"), judged=True)
        except _Bad as bad:
            raise BadInput(f"column {bad.column!r} = {bad.value!r}: {bad.reason}") from None
        assert isinstance(entry, Entry)
        return entry

    def _accepted_before(
        self, cells: Sequence[str], full: Sequence[str], others: Sequence[tuple[int, str]], system: str, out: FileRead
    ) -> Entry | str | None:
        """The entry of a row that bears the very id its content has: Leadline wrote it, so it can be had back.

        Entries by hand may say less than a file must (no unit, no kind of water); an export holds them as they are.
        """
        if not cells[-1]:
            return None
        try:
            entry = self._one(cells, full, others, system, out, ours=True)
        except _Bad:
            return None
        return entry if isinstance(entry, str) or content_id(entry) == entry.id else None

    def _one(
        self,
        cells: Sequence[str],
        full: Sequence[str],
        others: Sequence[tuple[int, str]],
        default_system: str,
        out: FileRead,
        judged: bool = False,
        ours: bool = False,
    ) -> Entry | str:
        """An entry, or why the row is parked. Of `ours` less is demanded: they were accepted before."""
        if any(c[:1] == "'" for c in cells):
            cells = [bare(c) for c in cells]
        (time_text, system, kind, subject, value_text, unit, method, sd_text, to, source, recorded_text, note,
         extra_text, id_text) = cells  # fmt: skip
        system = system or default_system
        times = self._times.get(system) or self._new_system(system)
        try:
            rule_of = self._rules[kind, subject, unit]
        except KeyError:
            rule_of = self._rules[kind, subject, unit] = self._new_rule(kind, subject, unit)
        kind, subject, rule, unknown = rule_of
        try:
            time = times.read(time_text)
            recorded_at = times.read(recorded_text) if recorded_text else None
        except BadInput as exc:
            column, shown = ("recorded_at", recorded_text) if recorded_text else ("time", time_text)
            if column == "recorded_at":
                try:
                    times.read(time_text)
                except BadInput:
                    column, shown = "time", time_text
            raise _Bad(column, shown, exc.line().removeprefix(f"{shown!r} ")) from None
        extra: dict[str, Any] = {}
        if extra_text or others:
            extra = _extra(extra_text, full, others)

        value = stored = sd = stored_sd = None
        if value_text:
            factor, offset, low, high, by_value, stores, refusal, remark = rule
            if refusal and not unit:  # '8.1 dKH' in one cell
                value_text, unit = _parted(value_text)
                if unit:
                    kind, subject, rule, unknown = self._new_rule(kind, subject, unit)
                    factor, offset, low, high, by_value, stores, refusal, remark = rule
            if refusal and ours:
                rule = amounts.rule_as_before(kind, subject, unit)
                factor, offset, low, high, by_value, stores, refusal, remark = rule
            if refusal:
                column, reason = refusal
                raise _Bad(column, unit if column == "unit" else value_text, reason)
            try:
                value = float(value_text)
            except ValueError:
                value = HUGE
            if not -HUGE < value < HUGE or "_" in value_text or not value_text.isascii():
                value = _number("value", value_text)
            if sd_text:
                sd = _number("sd", sd_text)
                if sd <= 0.0:
                    raise _Bad("sd", sd_text, "a standard deviation is greater than 0; leave it empty if unknown")
            if by_value:
                stored, stored_sd, assumed = _by_value(subject, value, unit, sd, extra, method, value_text)
                if assumed:
                    _remark(out, f"{subject} in {unit!r}: {'; '.join(assumed)}")
            else:
                stored = value * factor + offset
                if sd is not None:
                    stored_sd = sd * abs(factor)
            if not low <= stored <= high:
                reason = amounts.impossible(subject if kind == "reading" else "", stored, rule)
                if reason:
                    raise _Bad("value", value_text, reason)
            if not stores:
                stored = stored_sd = None
            if remark:
                _remark(out, remark)
        elif sd_text and not ours:
            raise _Bad("sd", sd_text, "there is no value that this could be the deviation of")
        elif kind in NEEDS_VALUE and not ours and not extra.get("withdrawn"):
            raise _Bad("value", "", f"{_a(kind)} needs a value")
        if not subject and kind in NEEDS_SUBJECT and not ours and not extra.get("withdrawn"):
            raise _Bad("subject", "", f"{_a(kind)} needs {NEEDS_SUBJECT[kind]}")
        if kind == "transfer" and not to and not ours:
            raise _Bad("to", "", "a transfer needs the system or vessel it went to")
        if kind in ("note", "observation") and not (note.strip() or subject or ours or extra.get("withdrawn")):
            raise _Bad(
                "note", "", f"{_a(kind)} needs a text in 'note'" + (" or a sign in 'subject'" if kind != "note" else "")
            )
        if extra and kind in amounts.VOLUME and not ours:
            _check_water(extra)
        if not judged:
            why = "" if EARLIEST <= time <= times.latest else times.why_impossible(time)
            if not why and recorded_at is not None:
                why = times.why_impossible(recorded_at)
            if why:
                return why
        if unknown:
            key = (kind, subject)
            out.unknown[key] = out.unknown.get(key, 0) + 1
        entry = Entry(
            time, system, kind, subject, value, unit, method, sd, to, source, recorded_at, note, extra, stored,
            stored_sd, id_text,
        )  # fmt: skip
        if not id_text:
            object.__setattr__(entry, "id", content_id(entry))  # it is nobody else's until it is returned
        elif subject != cells[3]:
            typed = replace(entry, subject=cells[3])
            return typed if content_id(typed) == id_text else entry
        return entry

    def _new_system(self, system: str) -> LocalTimes:
        if not system:
            raise _Bad("system", "", "the system's id is missing")
        try:
            zone = self._zone_of(system)
        except UnknownName as exc:
            way_out = f"Did you mean {' or '.join(exc.near)}?" if exc.near else "Add it first: leadline system add."
            raise _Bad("system", system, f"unknown system. {way_out}") from None
        times = self._times[system] = LocalTimes(zone, self._now)
        return times

    def _new_rule(self, kind: str, subject: str, unit: str) -> tuple[str, str, amounts.Rule, bool]:
        if kind not in KINDS:
            plain = kind.strip().lower()
            if plain not in KINDS:
                known = UnknownName("kind", kind, KINDS)
                raise _Bad("kind", kind, known.line() if kind else f"the kind is missing; one of {', '.join(KINDS)}")
            kind = plain
        subject = subjects.settled(kind, subject.strip(), self._known)
        unknown = bool(subject) and kind not in subjects.OWN_NAMES and subject not in self._known.get(kind, ())
        return kind, subject, amounts.rule(kind, subject, unit), unknown


def columns_of(header: Sequence[str], file: str, system: str = "") -> list[str]:
    """Column names of a journal header, known ones in lower case; refuses missing and doubled ones."""
    columns = []
    for name in header:
        plain = name.strip()
        columns.append(plain.lower() if plain.lower() in COLUMNS or plain.lower() == "reason" else plain)
    while columns and not columns[-1]:
        columns.pop()  # spreadsheets leave empty columns at the right
    doubled = sorted({c for c in columns if c and columns.count(c) > 1})
    if doubled:
        raise BadInput(f"column {doubled[0]!r} stands twice in the header", where=f"{file}:1", way_out="Rename one.")
    missing = [c for c in REQUIRED if c not in columns and not (c == "system" and system)]
    if missing:
        way_out = (
            "Add it, or say --system ID once for the whole file." if missing == ["system"] else "Add it to the header."
        )
        raise BadInput(f"column {missing[0]!r} is missing", where=f"{file}:1", way_out=way_out)
    return columns


def _number(column: str, cell: str) -> float:
    try:
        value = float(cell)
        if -HUGE < value < HUGE and "_" not in cell and cell.isascii():
            return value
    except ValueError:
        pass
    try:
        value = parse_number(cell)
    except BadInput as exc:
        raise _Bad(column, cell, exc.line().removeprefix(f"{cell.strip()!r} ")) from None
    if abs(value) >= HUGE:
        raise _Bad(column, cell, "too large to be an amount")
    return value


def _parted(cell: str) -> tuple[str, str]:
    try:
        _, unit = split_value_unit(cell)
    except BadInput:
        return cell, ""
    return (cell[: cell.rindex(unit)].strip(), unit) if unit else (cell, "")


def _by_value(
    subject: str, value: float, unit: str, sd: float | None, extra: Mapping[str, Any], method: str, shown: str
) -> tuple[float, float | None, tuple[str, ...]]:
    try:
        return amounts.stored_by_value(subject, value, unit, sd, extra, method)
    except BadInput as exc:
        raise _Bad("value", shown, exc.line()) from None


def _extra(cell: str, full: Sequence[str], others: Sequence[tuple[int, str]]) -> dict[str, Any]:
    extra: dict[str, Any] = {}
    if cell:
        try:
            extra = json.loads(cell, parse_constant=_no_constant)
        except (ValueError, RecursionError) as exc:
            raise _Bad("extra", cell, f"this is no JSON object ({exc})") from None
        if not isinstance(extra, dict):
            raise _Bad("extra", cell, 'this is no JSON object; write it like {"salinity": 35.0}')
    for i, name in others:
        thing: Any = full[i]
        if thing:
            if name in WATER_NUMBERS:
                thing = _number(name, thing)
            # an unknown column never replaces what `extra` says under the same name
            extra[name if name not in extra else f"column {name}"] = thing
    return extra


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _check_water(extra: Mapping[str, Any]) -> None:
    for name in WATER_NUMBERS:
        number = extra.get(name)
        if number is None:
            continue
        if isinstance(number, bool) or not isinstance(number, (int, float)):
            raise _Bad("extra", json.dumps({name: number}), f"{name} of the new water must be a number")
        if abs(number) >= HUGE or (number < 0 and name != "temperature"):
            raise _Bad("extra", json.dumps({name: number}), f"{name} of the new water is impossible")


def _remark(out: FileRead, remark: str) -> None:
    said = f"{out.file}: {remark}"
    if said not in out.warnings:
        out.warnings.append(said)


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"


def is_journal(names: Iterable[str]) -> bool:
    """Whether a header (in lower case) is meant as that of a journal file, complete or not."""
    names = set(names)
    return "kind" in names and bool({"time", "system", "subject"} & names)
