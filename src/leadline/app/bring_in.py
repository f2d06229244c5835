"""Bring records in: journal rows, spreadsheet rows and stream points, checked, once, all or nothing.

Files are read elsewhere (`leadline.formats`); what arrives here is a `FileRead`: what could be used beside
what could not. This module decides what is kept.
"""

from __future__ import annotations

import datetime as dt
import gc
import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from leadline.app.ports import Parked, Store
from leadline.journal.entry import Entry, content_id
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import iso, zone
from leadline.model import substances
from leadline.system import description

if TYPE_CHECKING:
    import numpy as np


@contextmanager
def uncollected() -> Iterator[None]:
    """Pause the garbage collector while hundreds of thousands of rows are made.

    None of them is part of a cycle; looking through them again and again would take a seventh of an import.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


ADOPTED = "adopted"  # records: subjects the keeper has taken as known, named "kind/subject"
MAPPING = "mapping"  # records: how a spreadsheet's columns are read
JUDGED = "parked-judged"  # records: parked rows the keeper has dealt with, so that they do not come back


class Question(BadInput):
    """Something about a file that must be asked, not guessed.

    `option` is the one that answers it (`dates`, `decimal`, `unit`, `sheet`, `system`). `choices` are the
    answers there are; for `unit` they are what needs one, each with a proposal. Several questions about one
    file are one error, and `parts` holds them.
    """

    def __init__(
        self, what: str, *, where: str, way_out: str, option: str, choices: Sequence[str] | Mapping[str, str]
    ) -> None:
        super().__init__(what, where=where, way_out=way_out)
        self.option = option
        self.choices = choices
        self.parts: tuple[Question, ...] = (self,)
        self.preview: list[dict[str, str]] = []  # of a spreadsheet: what each column would become so far

    @staticmethod
    def together(questions: Sequence[Question]) -> Question:
        """One question of several about the same file."""
        first = questions[0]
        whole = Question(
            "; ".join(q.what for q in questions), where=first.where, way_out=" ".join(q.way_out for q in questions),
            option=first.option, choices=first.choices,
        )  # fmt: skip
        whole.parts = tuple(questions)
        return whole


@dataclass(frozen=True, slots=True)
class Problem:
    """A row, or a cell of it, that cannot be used. `fields` is the row as it stood in the file."""

    file: str
    line: int
    column: str
    value: str
    reason: str
    fields: Sequence[str] = ()

    def text(self) -> str:
        """`file:line: column 'value' = '8,1x': reason`."""
        place = f"{self.file}:{self.line}" if self.line else self.file
        if not self.column:
            return f"{place}: {self.reason}"
        shown = self.value if len(self.value) <= 60 else self.value[:57] + "..."
        return f"{place}: column {self.column!r} = {shown!r}: {self.reason}"


def alike(problems: Sequence[Problem]) -> list[list[Problem]]:
    """Problems of the same column and reason together, each kind where its first one stood."""
    found: dict[tuple[str, str, str], list[Problem]] = {}
    for p in problems:
        found.setdefault((p.file, p.column, p.reason.replace(repr(p.value), "")), []).append(p)
    return list(found.values())


@dataclass(slots=True)
class StreamPart:
    """Points of one stream from one file, in stored units. Times in Unix seconds, QARTOD flags or None."""

    system: str
    stream: str
    times_s: np.ndarray
    values: np.ndarray
    flags: np.ndarray | None = None
    unit: str = ""


@dataclass(slots=True)
class FileRead:
    """What one file gave: what can be used, beside what cannot.

    `entries` and `lines` run side by side. `unknown` counts subjects nobody knows yet, by (kind, subject).
    """

    file: str
    format: str  # journal | stream | wide
    columns: list[str] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    streams: list[StreamPart] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    parked: list[Parked] = field(default_factory=list)
    unknown: dict[tuple[str, str], int] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    rows: int = 0
    already_there: int = 0
    # of a spreadsheet: rows that stand under the header, how its columns were read, and what each becomes
    heading: list[list[str]] = field(default_factory=list)
    mapping: dict[str, Any] = field(default_factory=dict)
    preview: list[dict[str, str]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class UnknownSubject:
    """A subject that was kept though nobody knows it, with the closest known ones."""

    kind: str
    subject: str
    rows: int
    near: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Brought:
    """What an import did, or would have done when `refused`."""

    new: int = 0
    already_there: int = 0
    points_new: int = 0
    points_already_there: int = 0
    parked: int = 0
    rejected: tuple[Problem, ...] = ()
    unknown_subjects: tuple[UnknownSubject, ...] = ()
    warnings: tuple[str, ...] = ()
    refused: bool = False
    systems: tuple[str, ...] = ()


def bring_in(
    store: Store,
    reads: Sequence[FileRead],
    *,
    skip_bad: bool = False,
    known: Mapping[str, Iterable[str]] | None = None,
    dry_run: bool = False,
) -> Brought:
    """Keep what the files gave; nothing at all when any row of any file is bad, unless `skip_bad`.

    All files of the call are one transaction: journal rows in order of time, stream points, and the rows
    parked for the keeper to judge. Bringing the same in again adds nothing.

    Parameters
    ----------
    known
        Known subjects by kind, for near misses. Subjects adopted earlier are added here.
    dry_run
        Check everything, keep nothing.
    """
    with uncollected():
        return _bring_in(store, reads, skip_bad, known or {}, dry_run)


def _bring_in(
    store: Store, reads: Sequence[FileRead], skip_bad: bool, known: Mapping[str, Iterable[str]], dry_run: bool
) -> Brought:
    for read in reads:
        if read.format == "register":
            from leadline.app import register_rows

            register_rows.sift(store, read)
    problems = [p for read in reads for p in read.problems]
    entries, clashes = _without_clashes(store, reads)
    problems += clashes
    unknown = _unknown(store, reads, known)
    warnings = tuple(w for read in reads for w in read.warnings)
    if dry_run or (problems and not skip_bad):
        return Brought(rejected=tuple(problems), unknown_subjects=unknown, warnings=warnings, refused=bool(problems))
    entries.sort(key=lambda e: e.time)
    new_points = old_points = 0
    with store.together():
        added = store.add_entries(entries)
        for part in (part for read in reads for part in read.streams):
            got = store.add_points(part.system, part.stream, part.times_s, part.values, part.flags)
            new_points += got.new
            old_points += got.already_there
        parked = _park(store, [row for read in reads for row in read.parked])
    return Brought(
        new=added.new, already_there=added.already_there + sum(r.already_there for r in reads),
        points_new=new_points, points_already_there=old_points, parked=parked, rejected=tuple(problems),
        unknown_subjects=unknown, warnings=warnings,
        systems=tuple(sorted({e.system for e in entries} | {p.system for r in reads for p in r.streams})),
    )  # fmt: skip


def _without_clashes(store: Store, reads: Sequence[FileRead]) -> tuple[list[Entry], list[Problem]]:
    """Entries once each, and the rows whose id is borne by different content, here or in the store.

    Two rows that claim one id are both refused: nothing tells which of them is right.
    """
    seen: dict[str, Entry] = {}
    torn: dict[str, str] = {}  # id: what else bears it
    for read in reads:
        for entry in read.entries:
            before = seen.setdefault(entry.id, entry)
            if before is not entry and before != entry and content_id(before) != content_id(entry):
                torn[entry.id] = "another row of this import"
    named = [entry for read in reads if "id" in read.columns for entry in read.entries]
    if named:  # only rows that bring their own id can clash with the store; content ids can't
        kept = {e.id: e for system in {e.system for e in named} for e in store.entries(system)}
        for entry in named:
            there = kept.get(entry.id)
            if there is not None and content_id(there) != content_id(entry):
                torn[entry.id] = "an entry already in the journal"
    if not torn:
        return list(seen.values()), []
    clashes = [
        _clash(read, line, entry, torn[entry.id])
        for read in reads
        for line, entry in zip(read.lines, read.entries, strict=True)
        if entry.id in torn
    ]
    return [e for e in seen.values() if e.id not in torn], clashes


def _clash(read: FileRead, line: int, entry: Entry, whose: str) -> Problem:
    reason = (
        f"this id belongs to {whose} with different content; leave the id empty, or write a later row that corrects it"
    )
    row = row_of(entry)
    if "extra" not in read.columns:  # what came from columns of the keeper's own goes back there
        row |= {name: str(thing) for name, thing in entry.extra.items() if name in read.columns}
    return Problem(read.file, line, "id", entry.id, reason, [row.get(c, "") for c in read.columns])


def row_of(entry: Entry) -> dict[str, str]:
    """An entry as a row of the journal CSV: all its columns, numbers so that they read back the same."""
    return {
        "time": iso(entry.time), "system": entry.system, "kind": entry.kind, "subject": entry.subject,
        "value": number(entry.value), "unit": entry.unit, "method": entry.method, "sd": number(entry.sd),
        "to": entry.to, "from": entry.source, "recorded_at": iso(entry.recorded_at) if entry.recorded_at else "",
        "note": entry.note, "extra": json.dumps(dict(entry.extra), ensure_ascii=False) if entry.extra else "",
        "id": entry.id,
    }  # fmt: skip


def number(value: float | None) -> str:
    """The shortest text that reads back as the same number; nothing for None."""
    if value is None:
        return ""
    text = repr(value)
    return text[:-2] if text.endswith(".0") else text


def _unknown(store: Store, reads: Sequence[FileRead], known: Mapping[str, Iterable[str]]) -> tuple[UnknownSubject, ...]:
    counts: dict[tuple[str, str], int] = {}
    for read in reads:
        for key, n in read.unknown.items():
            counts[key] = counts.get(key, 0) + n
    if not counts:
        return ()
    adopted = store.records(ADOPTED)
    found = []
    for (kind, subject), n in sorted(counts.items()):
        if f"{kind}/{subject}" not in adopted:
            near = UnknownName(kind, subject, known.get(kind, ())).near
            found.append(UnknownSubject(kind, subject, n, near))
    return tuple(found)


def adopt(store: Store, subjects: Iterable[UnknownSubject], at: dt.datetime) -> int:
    """Take subjects as known from now on; their rows were kept in any case."""
    n = 0
    for unknown in subjects:
        store.put_record(ADOPTED, f"{unknown.kind}/{unknown.subject}", {"adopted_at": iso(at)})
        n += 1
    return n


def _fingerprint(row: Mapping[str, str]) -> str:
    text = json.dumps(dict(row), sort_keys=True, ensure_ascii=False)
    return hashlib.blake2b(text.encode(), digest_size=8).hexdigest()


def _park(store: Store, rows: list[Parked]) -> int:
    """Park rows that are neither parked already nor judged before."""
    if not rows:
        return 0
    known = {_fingerprint(p.row) for p in store.parked()} | set(store.records(JUDGED))
    fresh = []
    for row in rows:
        mark = _fingerprint(row.row)
        if mark not in known:
            known.add(mark)
            fresh.append(row)
    return store.park(fresh) if fresh else 0


def release(
    store: Store,
    id: int,
    read_row: Callable[[Mapping[str, str]], Entry | StreamPart],
    *,
    at: dt.datetime,
    time: str | None = None,
) -> Entry | StreamPart:
    """Keep a parked row after all, with a corrected time if one is given, and strike it from the list.

    Raises
    ------
    BadInput
        When no row is parked under that number, or the row still cannot be used.
    """
    parked = _parked(store, id)
    row = dict(parked.row)
    if time is not None:
        row["time"] = time
    kept = read_row(row)
    with store.together():
        if isinstance(kept, Entry):
            store.add_entries([kept])
        else:
            store.add_points(kept.system, kept.stream, kept.times_s, kept.values, kept.flags)
        store.put_record(JUDGED, _fingerprint(parked.row), {"kept": dict(row), "at": iso(at)})
        store.unpark(id)
    return kept


def drop(store: Store, id: int, at: dt.datetime) -> Parked:
    """Strike a parked row from the list; what it said stays in the store's records.

    Raises
    ------
    BadInput
        When no row is parked under that number.
    """
    parked = _parked(store, id)
    with store.together():
        store.put_record(JUDGED, _fingerprint(parked.row), {"dropped": dict(parked.row), "at": iso(at)})
        store.unpark(id)
    return parked


def _parked(store: Store, id: int) -> Parked:
    for row in store.parked():
        if row.id == id:
            return row
    raise BadInput(f"no row is parked under number {id}", way_out="List them with `leadline parked`.")


def save_mapping(store: Store, name: str, mapping: Mapping[str, Any]) -> None:
    """Keep how a spreadsheet is read under a name, so that the next import is one command."""
    store.put_record(MAPPING, name, dict(mapping))


def mapping(store: Store, name: str) -> dict[str, Any]:
    """A mapping that was saved before.

    Raises
    ------
    UnknownName
        With near misses.
    """
    found = store.record(MAPPING, name)
    if found is None:
        raise UnknownName(
            "mapping", name, store.records(MAPPING), way_out="Save one with --save-mapping while importing."
        )
    return dict(found)


def zone_of(store: Store) -> Callable[[str], dt.tzinfo]:
    """Time zone of a system, from its description.

    Raises
    ------
    UnknownName
        When called with a system that the store does not know, with near misses.
    """

    def zone_of_system(system: str) -> dt.tzinfo:
        document = store.system_document(system)
        if document is None:
            way_out = "Add it first: leadline system add FILE.toml."
            raise UnknownName("system", system, store.systems(), way_out=way_out)
        return zone(description.parse(document).time_zone)

    return zone_of_system


class Declared(NamedTuple):
    """What a system says of one of its streams; nothing at all when it does not declare it."""

    quantity: str = ""
    unit: str = ""
    room: bool = False  # of the air, not the water


def stream_of(store: Store) -> Callable[[str, str], Declared]:
    """What is declared of a (system, stream)."""
    systems: dict[str, description.System | None] = {}

    def stream_of_system(system: str, stream: str) -> Declared:
        if system not in systems:
            document = store.system_document(system)
            systems[system] = description.parse(document) if document is not None else None
        known = systems[system]
        for declared in known.streams if known else ():
            if declared.id == stream:
                return Declared(declared.quantity, declared.unit, declared.room)
        return Declared()

    return stream_of_system


def declared(store: Store) -> set[str]:
    """Subjects known beyond the contract's list, each `kind/subject`.

    Those adopted, those of the substance catalogue, and the keeper's own solutions.
    """
    names = set(store.records(ADOPTED))
    names |= {f"addition/{id}" for id in substances.SUBSTANCES}
    names |= {f"feeding/{id}" for id in substances.FOODS}
    for system in store.systems():
        document = store.system_document(system)
        if document is not None:
            names |= {f"addition/{id}" for id in description.parse(document).solutions}
    return names
