"""The store in one SQLite file: systems, journal, parked rows, records; streams, alarms and photographs beside it."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from leadline.app.ports import Added, Contents, Parked
from leadline.journal.entry import Entry
from leadline.measures.errors import BadInput
from leadline.store import rows
from leadline.store.accounts import Accounts
from leadline.store.alarms import Alarms
from leadline.store.attachments import Attachments
from leadline.store.photographs import Photographs
from leadline.store.rows import to_entry, to_us
from leadline.store.streams import Streams
from leadline.store.troubles import primary_code, told

_COLUMNS = ", ".join(rows.COLUMNS)
_INSERT = f"INSERT INTO entry ({_COLUMNS}) VALUES ({', '.join('?' * len(rows.COLUMNS))}) ON CONFLICT (id) DO NOTHING"
_AT_ONCE = 500  # ids asked for in one statement


class SqliteStore(Streams, Alarms, Photographs, Attachments, Accounts):
    """Fulfils `leadline.app.ports.Store`. Made with `SqliteStore.open(path, clock=...)`."""

    # systems

    def save_system(self, system: str, document: str, at: dt.datetime) -> None:
        """Keep a new version of a system's description; saving the same one again adds nothing."""
        with self._write() as db:
            newest = db.execute(
                "SELECT document FROM system_document WHERE system = ? ORDER BY saved_at DESC, seq DESC LIMIT 1",
                (system,),
            ).fetchone()
            if newest is None or newest[0] != document:
                db.execute(
                    "INSERT INTO system_document (system, document, saved_at) VALUES (?, ?, ?)",
                    (system, document, to_us(at)),
                )

    def systems(self) -> list[str]:
        """Ids of all systems, in alphabetical order."""
        with self._read() as db:
            return [row[0] for row in db.execute("SELECT DISTINCT system FROM system_document ORDER BY system")]

    def system_document(self, system: str, as_of: dt.datetime | None = None) -> str | None:
        """The description that stood at `as_of` (now when None), or None for an unknown system.

        A moment before the first version gets the first version: the water was there before it was described.
        """
        with self._read() as db:
            row = None
            if as_of is not None:
                row = db.execute(
                    "SELECT document FROM system_document WHERE system = ? AND saved_at <= ?"
                    " ORDER BY saved_at DESC, seq DESC LIMIT 1",
                    (system, to_us(as_of)),
                ).fetchone()
            if row is None:
                order = "saved_at DESC, seq DESC" if as_of is None else "saved_at, seq"
                row = db.execute(
                    f"SELECT document FROM system_document WHERE system = ? ORDER BY {order} LIMIT 1", (system,)
                ).fetchone()
            return None if row is None else str(row[0])

    def system_versions(self, system: str) -> list[tuple[dt.datetime, str]]:
        """Every description of a system with the moment it was saved, the oldest first."""
        with self._read() as db:
            found = db.execute(
                "SELECT saved_at, document FROM system_document WHERE system = ? ORDER BY saved_at, seq", (system,)
            ).fetchall()
        return [(rows.from_us(at), document) for at, document in found]

    # journal

    def add_entries(self, entries: Iterable[Entry]) -> Added:
        """Add entries in the order given, all or none. One that is there already is counted and left alone.

        Raises
        ------
        BadInput
            When an id is there with other content.
        """
        listed = list(entries)
        with told(self.path):  # a text that is none shows when its id is worked out
            given = list(map(rows.to_row, listed))
        if not given:
            return Added(0, 0)
        with self._write() as db:
            new = db.executemany(_INSERT, given).rowcount
            if new < len(given):
                _refuse_other_content(db, given)
        return Added(new, len(given) - new)

    def entries(self, system: str | None = None, after_seq: int = 0, kinds: Sequence[str] | None = None) -> list[Entry]:
        """Entries of one system, or of all, in order of entry; only those after `after_seq`, and of some kinds."""
        with self._read() as db:
            return list(map(to_entry, self._entry_rows(db, system, after_seq, kinds)))

    def entry(self, id: str) -> Entry | None:
        """The entry with that id."""
        with self._read() as db:
            row = db.execute(f"SELECT {_COLUMNS} FROM entry WHERE id = ?", (id,)).fetchone()
            return None if row is None else to_entry(row)

    def last_seq(self, system: str) -> int:
        """The place of the newest entry of a system in the order of entry; 0 when there is none."""
        with self._read() as db:
            return int(db.execute("SELECT ifnull(max(seq), 0) FROM entry WHERE system = ?", (system,)).fetchone()[0])

    @staticmethod
    def _entry_rows(
        db: sqlite3.Connection, system: str | None, after_seq: int, kinds: Sequence[str] | None
    ) -> Iterator[rows.Row]:
        wanted, given = ["seq > ?"], list[str | int]([after_seq])
        if system is not None:
            wanted.append("system = ?")
            given.append(system)
        if kinds is not None:
            wanted.append(f"kind IN ({', '.join('?' * len(kinds))})")
            given += kinds
        return db.execute(f"SELECT {_COLUMNS} FROM entry WHERE {' AND '.join(wanted)} ORDER BY seq", given)

    # rows for the keeper to judge

    def park(self, rows: Iterable[Parked]) -> int:
        """Keep rows for the keeper to judge (their `id` is given here); returns how many are new."""
        given = [(row.file, row.line, row.reason, json.dumps(dict(row.row), ensure_ascii=False)) for row in rows]
        with self._write() as db:
            return (
                db.executemany(
                    "INSERT INTO parked (file, line, reason, row) VALUES (?, ?, ?, ?)"
                    " ON CONFLICT (file, line, row) DO NOTHING",
                    given,
                ).rowcount
                if given
                else 0
            )

    def parked(self) -> list[Parked]:
        """All rows that wait for the keeper, oldest first."""
        with self._read() as db:
            found = db.execute("SELECT id, file, line, reason, row FROM parked ORDER BY id").fetchall()
        return [Parked(id_, file, line, reason, json.loads(row)) for id_, file, line, reason, row in found]

    def unpark(self, id: int) -> None:
        """Forget a parked row, once judged; an unknown one is no error."""
        with self._write() as db:
            db.execute("DELETE FROM parked WHERE id = ?", (id,))

    # small named records

    def put_record(self, kind: str, name: str, value: Any) -> None:
        """Keep a JSON value under a name; None removes it."""
        with self._write() as db:
            if value is None:
                db.execute("DELETE FROM record WHERE kind = ? AND name = ?", (kind, name))
            else:
                db.execute(
                    "INSERT INTO record VALUES (?, ?, ?) ON CONFLICT (kind, name) DO UPDATE SET value = excluded.value",
                    (kind, name, json.dumps(value, ensure_ascii=False)),
                )

    def record(self, kind: str, name: str) -> Any | None:
        """The value under a name, or None."""
        with self._read() as db:
            row = db.execute("SELECT value FROM record WHERE kind = ? AND name = ?", (kind, name)).fetchone()
        return None if row is None else json.loads(row[0])

    def records(self, kind: str) -> dict[str, Any]:
        """All values of a kind by name."""
        with self._read() as db:
            found = db.execute("SELECT name, value FROM record WHERE kind = ? ORDER BY name", (kind,)).fetchall()
        return {name: json.loads(value) for name, value in found}

    # what can be worked out again

    def keep_aside(self, name: str, key: str, content: bytes) -> None:
        """Keep something that can be worked out again. Where that is impossible now (a full, locked or read-only
        store) it is let go: an answer must not fail because it could not be remembered."""
        if not self.writable:
            return
        with self._turn, told(self.path):
            (patience,) = self._connection.execute("PRAGMA busy_timeout").fetchone()
            self._connection.execute("PRAGMA busy_timeout = 50")  # [ms]
            try:
                self._connection.execute(
                    "INSERT INTO aside VALUES (?, ?, ?)"
                    " ON CONFLICT (name) DO UPDATE SET key = excluded.key, content = excluded.content",
                    (name, key, content),
                )
            except sqlite3.OperationalError as exc:
                if primary_code(exc) not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_FULL):
                    raise
            finally:
                self._connection.execute(f"PRAGMA busy_timeout = {patience}")

    def kept_aside(self, name: str) -> tuple[str, bytes] | None:
        """What was kept under a name: its key and content."""
        with self._read() as db:
            row = db.execute("SELECT key, content FROM aside WHERE name = ?", (name,)).fetchone()
        return None if row is None else (row[0], row[1])

    # safety

    def backup(self, target: str) -> Contents:
        """Copy the store, as it is at one moment and while it is in use, to the file `target`.

        Raises
        ------
        BadInput
            When `target` is the store itself or a file that is no backup of it.
        Unreachable
            When it cannot be written, or the copy does not prove sound; an older backup is then still there.
        """
        from leadline.store.backup import back_up

        return back_up(self.path, Path(target).expanduser().absolute())


def _refuse_other_content(db: sqlite3.Connection, given: list[rows.Row]) -> None:
    """Raise when one of the ids stands for something else in the store."""
    for start in range(0, len(given), _AT_ONCE):
        batch = given[start : start + _AT_ONCE]
        marks = ", ".join("?" * len(batch))
        there = {
            row[0]: row
            for row in db.execute(f"SELECT {_COLUMNS} FROM entry WHERE id IN ({marks})", [row[0] for row in batch])
        }
        for row in batch:
            if not rows.same_content(row, there[row[0]]):
                raise BadInput(
                    f"the id {row[0]!r} is already that of another entry"
                    f" ({there[row[0]][3]} {there[row[0]][4]} of {rows.from_us(there[row[0]][1]):%Y-%m-%d %H:%M})",
                    where=row[2],
                    way_out='Leave the id out, or correct that entry with {"corrects": "' + row[0] + '"}.',
                )
