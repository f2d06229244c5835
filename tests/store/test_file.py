"""A file that is locked, read-only, damaged, foreign, newer, older, missing, or on a full disk."""

from __future__ import annotations

import datetime as dt
import random
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import leadline
from leadline.journal.entry import Entry
from leadline.measures.errors import Unreachable
from leadline.measures.moments import UTC, FixedClock
from leadline.store.file import APPLICATION_ID, DatabaseFile, Migration, migrations
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.contract

NOON = dt.datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


def notes(count: int, text: str = "x", first: int = 0) -> list[Entry]:
    return [
        Entry(NOON + dt.timedelta(minutes=first + n), "north-room", "note", note=f"{text}{n}") for n in range(count)
    ]


@contextmanager
def one_line(what: str, where: Path) -> Iterator[None]:
    """One line that says what, where, and what to do."""
    with pytest.raises(Unreachable, match=what) as caught:
        yield
    assert caught.value.exit_code == 3
    assert "\n" not in str(caught.value)
    assert str(where) in str(caught.value)
    assert caught.value.way_out.endswith(".")


def test_what_guards_the_file_is_set(store: SqliteStore, path: Path) -> None:
    asked = {name: store._connection.execute(f"PRAGMA {name}").fetchone()[0] for name in (
        "journal_mode", "synchronous", "foreign_keys", "busy_timeout", "application_id", "user_version")}  # fmt: skip
    # synchronous 2 is FULL (https://www.sqlite.org/pragma.html#pragma_synchronous)
    assert asked == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 5000,
                     "application_id": APPLICATION_ID, "user_version": migrations()[-1].number}  # fmt: skip
    # bytes 68 to 71 of the header hold the application id (https://www.sqlite.org/fileformat.html)
    store._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert path.read_bytes()[68:72] == b"LEAD"


def test_no_database_where_none_is_to_be_made(path: Path, clock: FixedClock) -> None:
    for write in (True, False):
        with one_line("there is no database here", path):
            SqliteStore.open(path, clock=clock, create=False, write=write)
    with one_line("there is no database here", path):
        SqliteStore.open(path, clock=clock, write=False)
    assert list(path.parent.iterdir()) == []


def test_no_folder(tmp_path: Path, clock: FixedClock) -> None:
    with one_line("there is no folder", tmp_path / "no" / "reef.db"):
        SqliteStore.open(tmp_path / "no" / "reef.db", clock=clock)
    with one_line("a folder, not a database", tmp_path):
        SqliteStore.open(tmp_path, clock=clock)


def test_reading_leaves_nothing_behind_and_changes_nothing(path: Path, clock: FixedClock) -> None:
    with SqliteStore.open(path, clock=clock) as store:
        store.add_entries(notes(3))
    before = path.read_bytes()
    with SqliteStore.open(path, clock=clock, write=False) as store:
        assert len(store.entries()) == 3
        store.keep_aside("round", "k", b"v")  # let go: what can be worked out again is no reason to fail
        assert store.kept_aside("round") is None
        with one_line("read-only", path):
            store.add_entries(notes(4))
    assert [file.name for file in path.parent.iterdir()] == [path.name]
    assert path.read_bytes() == before


def test_reading_beside_a_writer_sees_what_was_committed(store: SqliteStore, path: Path, clock: FixedClock) -> None:
    store.add_entries(notes(2))
    with SqliteStore.open(path, clock=clock, write=False) as reader:
        assert len(reader.entries()) == 2
        store.add_entries(notes(5))
        assert len(reader.entries()) == 5


def test_a_read_only_file_and_folder(as_nobody: Path, clock: FixedClock) -> None:
    path = as_nobody / "reef.db"
    with SqliteStore.open(path, clock=clock) as store:
        store.add_entries(notes(3))
    path.chmod(0o444)
    with one_line("read-only", path):
        SqliteStore.open(path, clock=clock)
    path.chmod(0o644)
    as_nobody.chmod(0o555)
    with one_line("read-only", path):
        SqliteStore.open(path, clock=clock)
    with one_line("read-only", as_nobody / "new.db"):
        SqliteStore.open(as_nobody / "new.db", clock=clock)
    with SqliteStore.open(path, clock=clock, write=False) as store:
        assert len(store.entries()) == 3
        assert [file.name for file in as_nobody.iterdir()] == [path.name]
    path.chmod(0o000)
    with one_line("may not be read", path):
        SqliteStore.open(path, clock=clock, write=False)


def test_it_became_read_only_while_open(as_nobody: Path, clock: FixedClock) -> None:
    path = as_nobody / "reef.db"
    SqliteStore.open(path, clock=clock).close()
    with SqliteStore.open(path, clock=clock) as store:
        store._connection.execute("PRAGMA query_only = ON")
        with one_line("read-only", path):
            store.add_entries(notes(1))


@pytest.mark.parametrize(
    "content", [b"time,system,kind\n2026-01-01,a,note\n" * 50, b"SQLite format 3\x00" + b"\xff" * 5000, b"x"]
)
def test_a_file_that_is_no_database_is_left_alone(path: Path, clock: FixedClock, content: bytes) -> None:
    path.write_bytes(content)
    for write in (True, False):
        with one_line("no database|damaged", path):
            SqliteStore.open(path, clock=clock, write=write)
    assert path.read_bytes() == content


def test_an_empty_file_becomes_a_store(path: Path, clock: FixedClock) -> None:
    path.touch()
    with SqliteStore.open(path, clock=clock, create=False) as store:
        assert store.add_entries(notes(1)).new == 1


def test_another_programs_database_is_left_alone(path: Path, clock: FixedClock) -> None:
    theirs = sqlite3.connect(path)
    theirs.execute("CREATE TABLE recipe (name)")
    theirs.close()
    before = path.read_bytes()
    for write in (True, False):
        with one_line("another program", path):
            SqliteStore.open(path, clock=clock, write=write)
    assert path.read_bytes() == before


def test_a_newer_version_is_refused(path: Path, clock: FixedClock) -> None:
    SqliteStore.open(path, clock=clock).close()
    newer = sqlite3.connect(path)
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    before = path.read_bytes()
    with one_line(r"newer version \(99\)", path):
        SqliteStore.open(path, clock=clock)
    assert path.read_bytes() == before


@pytest.mark.parametrize("seed", range(8))
def test_overwritten_bytes_are_told_or_harmless_but_never_a_crash(path: Path, clock: FixedClock, seed: int) -> None:
    with SqliteStore.open(path, clock=clock) as store:
        store.add_entries(notes(400))
        store.add_points("north-room", "temperature", [1.7e9 + 60 * n for n in range(3000)], [25.0] * 3000)
    whole = bytearray(path.read_bytes())
    chance = random.Random(seed)
    for _ in range(6):
        page = chance.randrange(1, len(whole) // 4096) * 4096
        whole[page : page + 64] = chance.randbytes(64)  # the page's own header: SQLite must notice when it reads it
    path.write_bytes(whole)
    told: list[str] = []
    try:
        with SqliteStore.open(path, clock=clock) as store:
            for ask in (
                store.entries, lambda: store.add_entries(notes(50, "new")), lambda: store.entry("none"),
                lambda: store.points("north-room", "temperature", 0, 4e9),
                lambda: store.add_points("north-room", "temperature", [1.7e9 + 7], [1.0]),
                lambda: store.rollup("north-room", "temperature", 0, 4e9, "1h"),
            ):  # fmt: skip
                try:
                    ask()
                except Unreachable as trouble:
                    told.append(str(trouble))
    except Unreachable as trouble:
        told.append(str(trouble))
    assert told, "six ruined pages of this file cannot all be unused"
    assert all("damaged" in line and "restore" in line and "\n" not in line for line in told)


_HOLD = """
import sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
for statement in sys.argv[2].split(";"):
    db.execute(statement).fetchall()
print("held", flush=True)
sys.stdin.read()
"""


@contextmanager
def held_by_another(path: Path, statements: str) -> Iterator[None]:
    other = subprocess.Popen(
        [sys.executable, "-c", _HOLD, str(path), statements], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    try:
        yield
    finally:
        other.communicate()


def test_a_writer_elsewhere_locks_writing_not_reading(path: Path, clock: FixedClock) -> None:
    with SqliteStore.open(path, clock=clock, busy_s=0.2) as store:
        store.add_entries(notes(3))
        with held_by_another(path, "BEGIN IMMEDIATE"):
            assert len(store.entries()) == 3
            with one_line("locked by another program", path):
                store.add_entries(notes(1, "new"))
            store.keep_aside("round", "k", b"v")
        assert len(store.entries()) == 3
        assert store.add_entries(notes(1, "new")).new == 1


def test_a_database_locked_as_a_whole_cannot_be_opened(path: Path, clock: FixedClock) -> None:
    SqliteStore.open(path, clock=clock).close()
    with (
        held_by_another(path, "PRAGMA locking_mode = EXCLUSIVE;BEGIN EXCLUSIVE"),
        one_line("locked by another program", path),
    ):
        SqliteStore.open(path, clock=clock, busy_s=0.2)
    with SqliteStore.open(path, clock=clock) as store:
        assert store.entries() == []


def fill(store: SqliteStore) -> int:
    """Add entries and points until the disk is full; how many calls were acknowledged."""

    acknowledged = 0

    def add_for_ever() -> None:
        nonlocal acknowledged
        while True:
            store.add_entries(notes(20, "long " * 40, first=acknowledged * 20))
            times = [1.7e9 + 6000 * acknowledged + n for n in range(20)]
            store.add_points("north-room", "temperature", times, [1.0] * 20)
            acknowledged += 1

    with pytest.raises(Unreachable, match="the disk is full") as caught:
        add_for_ever()
    assert caught.value.way_out.startswith("Free some space")
    return acknowledged


def assert_whole(store: SqliteStore, turns: int) -> None:
    """Nothing that was acknowledged is lost, nothing is half done."""
    assert store._connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert len(store.entries()) in (20 * turns, 20 * turns + 20)  # entries may have fitted where points did not
    points = store.points("north-room", "temperature", 0, 4e9).values.size
    assert points == 20 * turns
    assert int(store.rollup("north-room", "temperature", 0, 4e9, "1d").n.sum()) == points


def test_a_full_file_leaves_nothing_half_done(store: SqliteStore) -> None:
    pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
    store._connection.execute(f"PRAGMA max_page_count = {pages + 60}")  # SQLite's own way to make a disk full
    turns = fill(store)
    assert turns > 2
    assert_whole(store, turns)
    store.keep_aside("round", "k", b"x" * 500_000)
    assert store.kept_aside("round") is None
    store._connection.execute("PRAGMA max_page_count = 1000000")
    assert store.add_entries(notes(1, "after")).new == 1


def test_a_full_disk_leaves_nothing_half_done(small_disk: Path, clock: FixedClock) -> None:
    path = small_disk / "reef.db"
    with SqliteStore.open(path, clock=clock) as store:
        turns = fill(store)
        assert turns > 2
        assert_whole(store, turns)
        target = small_disk / "backup.db"
        with pytest.raises(Unreachable, match="disk is full"):
            store.backup(str(target))
        assert not any("backup" in file.name for file in small_disk.iterdir())
        assert_whole(store, turns)
    ballast = small_disk / "ballast"
    with pytest.raises(OSError, match="No space"):
        ballast.write_bytes(b"\0" * 2_000_000)
    with one_line("disk is full", small_disk / "new.db"):
        SqliteStore.open(small_disk / "new.db", clock=clock)
    ballast.unlink()
    with SqliteStore.open(path, clock=clock) as store:
        assert_whole(store, turns)


@pytest.fixture
def next_step(tmp_path: Path) -> Migration:
    """A made-up migration after the newest."""
    script = tmp_path / "step.sql"
    script.write_text(
        "CREATE TABLE made_up (a TEXT);\n"
        "CREATE TRIGGER made_up_stays BEFORE DELETE ON made_up BEGIN\n  SELECT RAISE(ABORT, 'no; never');\nEND;\n"
        "INSERT INTO made_up VALUES ('x; y');\n",
        encoding="utf-8",
    )
    return Migration(migrations()[-1].number + 1, "made_up", script)


def test_an_older_file_is_brought_up_to_date_and_a_copy_kept(
    tmp_path: Path, clock: FixedClock, next_step: Migration
) -> None:
    path = tmp_path / "old.db"
    with SqliteStore.open(path, clock=clock) as store:
        store.add_entries(notes(3))
    steps = [*migrations(), next_step]
    with one_line("older version", path):
        SqliteStore.open(path, clock=clock, write=False, steps=steps)
    with SqliteStore.open(path, clock=clock, steps=steps) as store:
        assert len(store.entries()) == 3
        assert store._connection.execute("SELECT a FROM made_up").fetchall() == [("x; y",)]
        ran = store._connection.execute("SELECT number, name FROM migration").fetchall()
        assert ran == [(step.number, step.name) for step in steps]
    (copy,) = tmp_path.glob("old.db.version-*")
    assert copy.name == f"old.db.version-{next_step.number - 1}-20260301T080000Z"
    with SqliteStore.open(copy, clock=clock, write=False) as old:
        assert len(old.entries()) == 3
    with SqliteStore.open(path, clock=clock, steps=steps):
        assert len(list(tmp_path.glob("old.db.version-*"))) == 1


def test_a_migration_that_fails_leaves_the_file_as_it_was(
    tmp_path: Path, clock: FixedClock, next_step: Migration
) -> None:
    path = tmp_path / "old.db"
    with SqliteStore.open(path, clock=clock) as store:
        store.add_entries(notes(3))
    next_step.path.write_text(next_step.path.read_text() + "INSERT INTO nowhere VALUES (1);\n")
    with pytest.raises(sqlite3.OperationalError, match="nowhere"):
        DatabaseFile.open(path, clock=clock, steps=[*migrations(), next_step])
    with SqliteStore.open(path, clock=clock) as store:
        assert len(store.entries()) == 3
        assert store._connection.execute("SELECT 1 FROM sqlite_schema WHERE name = 'made_up'").fetchall() == []


def test_opening_it_again_gives_no_lock_away(tmp_path):
    """A second opening in one process must not look into the file: closing that handle would give up the locks of the
    first, and another process that comes and goes would remove the log that the first still writes to."""
    path = tmp_path / "x.db"
    clock = FixedClock(NOON)
    script = (
        "import sys; sys.path.insert(0, sys.argv[2]); from leadline.wiring import open_store;"
        "s = open_store(sys.argv[1]); print(s.record('k', 'n')); s.close()"
    )
    source = str(Path(leadline.__file__).parents[1])

    def another() -> str:
        done = subprocess.run(
            [sys.executable, "-c", script, str(path), source], capture_output=True, text=True, check=True
        )
        return done.stdout.strip()

    with SqliteStore.open(path, clock=clock) as first:
        first.put_record("k", "n", 0)
        for value in range(1, 4):
            SqliteStore.open(path, clock=clock).close()  # as a page, a packing thread or a command does
            first.put_record("k", "n", value)
            assert another() == str(value)
            first.put_record("k", "n", value + 10)
            assert another() == str(value + 10)
    assert another() == "13"
