"""One SQLite file: opening it, its version, its transactions.

WAL and synchronous=FULL: what was committed is on disk, and readers never wait for a writer.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import sqlite3
import threading
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple, Self
from urllib.parse import quote

from leadline.measures.errors import Unreachable
from leadline.measures.moments import Clock
from leadline.store.rows import to_us
from leadline.store.troubles import primary_code, told

APPLICATION_ID = 0x4C454144  # "LEAD" in the file's header, so that other programs know whose it is
BUSY_S = 5.0
_SCHEMA = Path(__file__).parent / "schema"

# A process that closes any handle of a file gives up all locks that it holds on that file, those of its other
# connections too (https://www.sqlite.org/howtocorrupt.html, 2.2). Another process would then take itself for the last
# one and remove the log that we still write to. So nobody looks into a store that this process has open.
_one_at_a_time = threading.RLock()
_open_here: Counter[tuple[int, int]] = Counter()  # device and inode: connections of this process


class Migration(NamedTuple):
    """One numbered step from an older file to a newer one."""

    number: int
    name: str
    path: Path


def migrations() -> list[Migration]:
    """All steps, in order."""
    names = sorted(name for name in os.listdir(_SCHEMA) if name.endswith(".sql"))
    return [Migration(int(name[:4]), name[5:-4], _SCHEMA / name) for name in names]


class DatabaseFile:
    """An open file. One connection, guarded so that threads take turns; processes take turns through SQLite."""

    def __init__(self, path: Path, connection: sqlite3.Connection, clock: Clock, writable: bool) -> None:
        self.path = path
        self.writable = writable
        self._connection = connection
        self._clock = clock
        self._turn = threading.RLock()
        self._place: tuple[int, int] | None = None

    @classmethod
    def open(
        cls,
        path: str | Path,
        *,
        clock: Clock,
        create: bool = True,
        write: bool = True,
        busy_s: float = BUSY_S,
        keep_older: bool = True,
        steps: Sequence[Migration] | None = None,
    ) -> Self:
        """Open the store at `path`; an older file is brought up to date, with a copy kept beside it first.

        Parameters
        ----------
        path
            The file.
        clock
            Tells when a migration ran.
        create
            Make a new file when there is none.
        write
            False opens for reading only: nothing is made, nothing is changed.
        busy_s
            How long to wait for another process that writes. [s]
        keep_older
            Keep a copy of an older file beside it before it is brought up to date.
        steps
            The migrations; the program's own unless a test hands in others.

        Raises
        ------
        Unreachable
            When it cannot be opened, is of another program or of a newer version of this one.
        """
        path = Path(path).expanduser().absolute()
        with _one_at_a_time:
            return cls._open(path, clock, create, write, busy_s, keep_older, steps)

    @classmethod
    def _open(
        cls, path: Path, clock: Clock, create: bool, write: bool, busy_s: float, keep_older: bool,
        steps: Sequence[Migration] | None,
    ) -> Self:  # fmt: skip
        steps = migrations() if steps is None else steps
        _look_before_opening(path, create=create and write, write=write)
        with told(path):
            connection = _connect(path, create=create and write, write=write, busy_s=busy_s)
            try:
                version = _version(connection, path, steps[-1].number)
                if not write and version < steps[-1].number:
                    raise Unreachable(
                        f"the database is of an older version ({version}, this program has {steps[-1].number})",
                        where=str(path),
                        way_out="Open it once for writing, which brings it up to date.",
                    )
                if write:
                    _settle(connection, busy_s)
                    if version < steps[-1].number:
                        if version > 0 and keep_older:
                            _copy_beside(connection, path, version, clock.now())
                        for step in steps:
                            _migrate(connection, step, clock.now())
            except BaseException:
                connection.close()
                raise
        made = cls(path, connection, clock, write)
        made._place = _place(path)
        if made._place is not None:
            _open_here[made._place] += 1
        return made

    @contextmanager
    def together(self) -> Iterator[None]:
        """Make all that is written inside one transaction: on disk when it ends, or, after an error, none of it."""
        with self._write():
            yield

    @contextmanager
    def _read(self) -> Iterator[sqlite3.Connection]:
        """One view of the file, whatever other processes commit meanwhile."""
        with self._turn, told(self.path), self._transaction("BEGIN") as connection:
            yield connection

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it is on disk afterwards, or, after any error, none of it."""
        with self._turn, told(self.path), self._transaction("BEGIN IMMEDIATE") as connection:
            yield connection

    @contextmanager
    def _transaction(self, begin: str) -> Iterator[sqlite3.Connection]:
        connection = self._connection
        inner = connection.in_transaction  # then this is a part of the outer one, undone alone if it fails
        connection.execute("SAVEPOINT inner" if inner else begin)
        try:
            yield connection
            connection.execute("RELEASE inner" if inner else "COMMIT")
        except BaseException:
            if connection.in_transaction:  # a full disk may have undone all of it already
                connection.execute("ROLLBACK TO inner" if inner else "ROLLBACK")
                if inner:
                    connection.execute("RELEASE inner")
            raise

    def size(self) -> int:
        """What the file and its log take on disk. [B]"""
        found = 0
        for path in (self.path, self.path.with_name(f"{self.path.name}-wal")):
            with contextlib.suppress(OSError):
                found += path.stat().st_size
        return found

    def close(self) -> None:
        """Close the file; closing twice does no harm."""
        with _one_at_a_time, self._turn:
            self._connection.close()
            if self._place is not None:
                _open_here[self._place] -= 1
                self._place = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()


def connect_for_reading(path: Path, busy_s: float = BUSY_S) -> sqlite3.Connection:
    """A connection that changes nothing.

    Where we may write, SQLite keeps its log files beside the store while this is open, which is what makes
    reading beside a writer safe, and clears them away. Where we may not, a file without such a log is read as one
    that does not change (SQLite would otherwise insist on making the log).
    """
    if allowed(path.parent, os.W_OK) and allowed(path, os.W_OK):
        mode = "mode=rw"
    else:
        mode = "mode=ro" if path.with_name(path.name + "-wal").exists() else "mode=ro&immutable=1"
    connection = sqlite3.connect(
        f"file:{quote(str(path))}?{mode}", uri=True, timeout=busy_s, isolation_level=None, check_same_thread=False
    )
    connection.execute("PRAGMA query_only = ON")
    return connection


def identity(connection: sqlite3.Connection) -> str:
    """Which store a file belongs to; empty when it is of another program."""
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        return ""
    return str(connection.execute("SELECT id FROM identity").fetchone()[0])


def allowed(path: Path, mode: int) -> bool:
    """Whether this process, as whoever it runs now, may read or write `path`."""
    return os.access(path, mode, effective_ids=os.access in os.supports_effective_ids)


def _look_before_opening(path: Path, *, create: bool, write: bool) -> None:
    """What can be said more plainly than SQLite would say it."""
    where = str(path)
    if path.is_dir():
        raise Unreachable("this is a folder, not a database", where=where, way_out="Add the file's name.")
    if not path.exists():
        if not path.parent.is_dir():
            raise Unreachable(
                f"there is no folder {path.parent}", where=where, way_out="Make it, or choose another with --db."
            )
        if not create:
            raise Unreachable(
                "there is no database here",
                where=where,
                way_out="Begin one with 'leadline system add', or choose another with --db.",
            )
    elif not allowed(path, os.R_OK):
        raise Unreachable("the database may not be read", where=where, way_out="Ask for permission to read it.")
    elif not _open_here[_place(path) or (0, 0)] and not _begins_like_a_database(
        path
    ):  # SQLite would write over a small file of another kind
        raise Unreachable(
            "this is no database, or its first page is damaged",
            where=where,
            way_out="Choose another with --db, or put a backup in its place with 'leadline restore'.",
        )
    if write and not (allowed(path.parent, os.W_OK) and (not path.exists() or allowed(path, os.W_OK))):
        raise Unreachable(
            "the database or its folder is read-only",
            where=where,
            way_out="Allow writing to the file and to its folder, or choose another with --db.",
        )


def _place(path: Path) -> tuple[int, int] | None:
    """Which file a path leads to."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _begins_like_a_database(path: Path) -> bool:
    with told(path), open(path, "rb") as handle:
        return handle.read(16) in (b"", b"SQLite format 3\0")  # https://www.sqlite.org/fileformat.html, 1.3.1


def _connect(path: Path, *, create: bool, write: bool, busy_s: float) -> sqlite3.Connection:
    if not write:
        return connect_for_reading(path, busy_s)
    mode = "rwc" if create else "rw"
    if create:
        make_private(path)
    return sqlite3.connect(
        f"file:{quote(str(path))}?mode={mode}", uri=True, timeout=busy_s, isolation_level=None, check_same_thread=False
    )


def make_private(path: Path) -> None:
    """Make a new, empty file that its owner alone may read: sessions and hashes of passphrases will lie in it, and
    SQLite gives its logs the same mode. One that is there keeps the mode that somebody gave it."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))


def _version(connection: sqlite3.Connection, path: Path, newest: int) -> int:
    """The file's version, 0 when it is empty. Refuses files of other programs and of newer versions."""
    owner = connection.execute("PRAGMA application_id").fetchone()[0]
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if owner != APPLICATION_ID:
        if owner or version or connection.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone():
            raise Unreachable(
                "this database belongs to another program", where=str(path), way_out="Choose another with --db."
            )
        return 0
    if version > newest:
        raise Unreachable(
            f"the database is of a newer version ({version}) than this program ({newest})",
            where=str(path),
            way_out="Use the newer Leadline; nothing was changed.",
        )
    return version


def _settle(connection: sqlite3.Connection, busy_s: float) -> None:
    """Write-ahead log, every commit on disk before it returns."""
    deadline = time.monotonic() + busy_s
    while True:  # two processes that make the same new file: SQLite does not wait by itself here
        try:
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
            break
        except sqlite3.OperationalError as exc:
            if primary_code(exc) != sqlite3.SQLITE_BUSY or time.monotonic() > deadline:
                raise
            time.sleep(0.01)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")


def _migrate(connection: sqlite3.Connection, step: Migration, now: dt.datetime) -> None:
    """One step and the record that it ran, in one transaction; nothing when it ran before."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        if connection.execute("PRAGMA user_version").fetchone()[0] < step.number:
            for statement in _statements(step.path.read_text(encoding="utf-8")):
                connection.execute(statement)
            connection.execute("INSERT INTO migration VALUES (?, ?, ?)", (step.number, step.name, to_us(now)))
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {step.number}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _statements(script: str) -> Iterator[str]:
    """The statements of a script, one by one: `executescript` would commit in between."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


def _copy_beside(connection: sqlite3.Connection, path: Path, version: int, now: dt.datetime) -> None:
    """Keep the older file beside the one that is about to change."""
    copy = path.with_name(f"{path.name}.version-{version}-{now:%Y%m%dT%H%M%SZ}")
    draft = path.with_name(f".{copy.name}.{os.getpid()}.part")
    make_private(draft)
    target = sqlite3.connect(draft, isolation_level=None)
    try:
        connection.backup(target)
        target.execute("PRAGMA journal_mode = DELETE").fetchone()
        copied = target.execute("PRAGMA user_version").fetchone()[0]
    finally:
        target.close()
    if copied == version:
        os.replace(draft, copy)
    else:  # another process has brought it up to date in this moment, and kept its copy
        draft.unlink()
