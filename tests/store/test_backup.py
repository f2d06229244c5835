"""Backup and restore: proven before anything is replaced."""

from __future__ import annotations

import datetime as dt
import random
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from leadline.journal.entry import Entry
from leadline.measures.errors import BadInput, Unreachable
from leadline.measures.moments import UTC, FixedClock
from leadline.store.backup import prove
from leadline.store.file import Migration, migrations
from leadline.store.restore import restore
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.contract

NOON = dt.datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
DAY = 86_400


def notes(count: int, text: str = "note") -> list[Entry]:
    return [Entry(NOON + dt.timedelta(hours=n), "north-room", "note", note=f"{text} {n}") for n in range(count)]


@pytest.fixture
def filled(store: SqliteStore) -> SqliteStore:
    store.save_system("north-room", "[system]", NOON)
    store.add_entries(notes(300))
    store.add_points(
        "north-room", "temperature", [1.7e9 + 600 * n for n in range(1000)], [25 + n / 100 for n in range(1000)]
    )
    store.pack(1.7e9 + 4 * DAY)
    return store


def everything(path: Path, clock: FixedClock) -> tuple[object, ...]:
    with SqliteStore.open(path, clock=clock, write=False) as store:
        points = store.points("north-room", "temperature", 0, 4e9)
        return store.systems(), store.entries(), points.times_s.tolist(), points.values.tolist()


def folder(path: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in path.parent.iterdir()}


def test_a_backup_holds_all_of_it_in_one_file(filled: SqliteStore, path: Path, clock: FixedClock) -> None:
    target = path.with_name("copy.db")
    contents = filled.backup(str(target))
    assert (contents.path, contents.systems, contents.entries, contents.points) == (str(target), 1, 300, 1000)
    assert contents.newest == NOON + dt.timedelta(hours=299)
    assert everything(target, clock) == everything(path, clock)
    assert not any(name.startswith(("copy.db-", ".copy")) for name in folder(path))


def test_a_later_backup_replaces_the_earlier_one(filled: SqliteStore, path: Path, clock: FixedClock) -> None:
    target = path.with_name("copy.db")
    filled.backup(str(target))
    filled.add_entries(notes(5, "later"))
    assert filled.backup(str(target)).entries == 305


def test_a_backup_never_overwrites_what_it_does_not_know(filled: SqliteStore, path: Path, clock: FixedClock) -> None:
    letter = path.with_name("letter.txt")
    letter.write_text("Dear sitter")
    other = path.with_name("other.db")
    SqliteStore.open(other, clock=clock).close()
    before = letter.read_bytes(), other.read_bytes()
    for target in (letter, other):
        with pytest.raises(BadInput, match="no backup of this store"):
            filled.backup(str(target))
    assert (letter.read_bytes(), other.read_bytes()) == before
    with pytest.raises(BadInput, match="the store itself"):
        filled.backup(str(path))
    with pytest.raises(BadInput, match="a folder"):
        filled.backup(str(path.parent))
    with pytest.raises(Unreachable, match="no folder"):
        filled.backup(str(path.parent / "no" / "copy.db"))
    target = path.with_name("in-use.db")
    filled.backup(str(target))
    with SqliteStore.open(target, clock=clock) as user:
        user.add_entries(notes(1, "new"))
        with pytest.raises(BadInput, match="in use"):
            filled.backup(str(target))


def test_a_backup_that_cannot_be_written_leaves_the_old_one(
    filled: SqliteStore, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = path.with_name("copy.db")
    filled.backup(str(target))
    before = target.read_bytes()

    def torn(draft: Path) -> None:
        raise Unreachable("the database is damaged", where=str(draft))

    monkeypatch.setattr("leadline.store.backup.prove", torn)
    filled.add_entries(notes(2, "later"))
    with pytest.raises(Unreachable):
        filled.backup(str(target))
    assert target.read_bytes() == before
    assert not any(".part" in name for name in folder(path))


def test_a_restore_brings_back_what_was_and_keeps_what_is(filled: SqliteStore, path: Path, clock: FixedClock) -> None:
    target = path.with_name("copy.db")
    filled.backup(str(target))
    then = everything(path, clock)
    filled.add_entries(notes(7, "regretted"))
    filled.close()
    now = everything(path, clock)
    contents = restore(target, path, clock=clock)
    assert (contents.path, contents.entries, contents.systems, contents.points) == (str(path), 300, 1, 1000)
    assert everything(path, clock) == then
    assert contents.set_aside == f"{path}.before-restore-20260301T080000Z"
    assert everything(Path(contents.set_aside), clock) == now
    again = restore(target, path, clock=clock)  # in the same second: nothing that was kept is overwritten
    assert again.set_aside == f"{path}.before-restore-20260301T080000Z-2"
    assert not any(".part" in name or name.endswith(("-wal", "-shm")) for name in folder(path))


def test_a_restore_to_where_nothing_is(filled: SqliteStore, path: Path, clock: FixedClock, tmp_path: Path) -> None:
    target = path.with_name("copy.db")
    filled.backup(str(target))
    contents = restore(target, tmp_path / "fresh.db", clock=clock)
    assert contents.set_aside == ""
    assert everything(tmp_path / "fresh.db", clock) == everything(target, clock)


def test_a_backup_of_an_older_version_is_brought_up_to_date(
    filled: SqliteStore, path: Path, clock: FixedClock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = path.with_name("copy.db")
    filled.backup(str(target))
    before = target.read_bytes()
    script = tmp_path / "step.sql"
    script.write_text("CREATE TABLE made_up (a TEXT);")
    steps = [*migrations(), Migration(migrations()[-1].number + 1, "made_up", script)]
    for module in ("file", "backup"):
        monkeypatch.setattr(f"leadline.store.{module}.migrations", lambda: steps)
    fresh = tmp_path / "fresh.db"
    assert restore(target, fresh, clock=clock).entries == 300
    assert target.read_bytes() == before
    with SqliteStore.open(fresh, clock=clock, write=False) as store:
        assert store._connection.execute("SELECT count(*) FROM made_up").fetchone() == (0,)
    assert not any(".part" in name or "version" in name for name in folder(path))


def test_a_plain_copy_with_its_log_beside_it_is_a_backup_too(
    filled: SqliteStore, path: Path, clock: FixedClock
) -> None:
    filled.add_entries(notes(3, "in the log"))
    copy = path.with_name("copy.db")
    shutil.copyfile(path, copy)
    shutil.copyfile(f"{path}-wal", f"{copy}-wal")
    before = {name: content for name, content in folder(copy).items() if name.startswith("copy.db")}
    assert restore(copy, path.with_name("fresh.db"), clock=clock).entries == 303
    assert {name: content for name, content in folder(copy).items() if name.startswith("copy.db")} == before


def damage_pages(whole: bytearray) -> None:
    for page in range(8192, len(whole) - 4096, 3 * 4096):
        whole[page : page + 48] = random.Random(page).randbytes(48)


def damage_by_cutting(whole: bytearray) -> None:
    del whole[len(whole) // 2 :]


def damage_header(whole: bytearray) -> None:
    whole[:16] = b"\0" * 16


def damage_owner(whole: bytearray) -> None:
    whole[68:72] = b"ELSE"


def damage_version(whole: bytearray) -> None:
    whole[60:64] = (99).to_bytes(4, "big")  # user_version (https://www.sqlite.org/fileformat.html)


@pytest.mark.parametrize(
    "damage", [damage_pages, damage_by_cutting, damage_header, damage_owner, damage_version, bytearray.clear]
)
def test_a_damaged_backup_is_refused_and_the_store_untouched(
    filled: SqliteStore, path: Path, clock: FixedClock, damage: Callable[[bytearray], None]
) -> None:
    target = path.with_name("copy.db")
    filled.backup(str(target))
    filled.close()
    whole = bytearray(target.read_bytes())
    damage(whole)
    target.write_bytes(whole)
    before = folder(path)
    with pytest.raises(Unreachable) as caught:
        restore(target, path, clock=clock)
    assert str(target) in str(caught.value)
    assert "\n" not in str(caught.value)
    assert folder(path) == before


def test_a_packed_day_that_cannot_be_unpacked_is_found(filled: SqliteStore, path: Path, clock: FixedClock) -> None:
    target = path.with_name("copy.db")
    filled.backup(str(target))
    stranger = sqlite3.connect(target)
    stranger.execute("UPDATE chunk SET v_steps = x'00112233' WHERE id = (SELECT min(id) FROM chunk)")
    stranger.commit()
    stranger.close()
    with pytest.raises(Unreachable, match="damaged"):
        prove(target)


def test_a_store_in_use_is_not_replaced(filled: SqliteStore, path: Path, clock: FixedClock) -> None:
    target = path.with_name("copy.db")
    filled.backup(str(target))
    filled.add_entries(notes(1, "new"))
    with pytest.raises(Unreachable, match="in use"):
        restore(target, path, clock=clock)
    filled.add_entries(notes(2, "newer"))
    assert len(filled.entries()) == 303
    assert sorted(folder(path)) == ["copy.db", "reef.db", "reef.db-shm", "reef.db-wal"]


def test_a_damaged_store_is_replaced_and_kept_for_whoever_can_mend_it(
    filled: SqliteStore, path: Path, clock: FixedClock
) -> None:
    target = path.with_name("copy.db")
    filled.backup(str(target))
    filled.close()
    path.write_bytes(b"\0" * 4096 + path.read_bytes()[4096:])
    ruin = path.read_bytes()
    contents = restore(target, path, clock=clock)
    assert Path(contents.set_aside).read_bytes() == ruin
    assert everything(path, clock) == everything(target, clock)


def test_what_cannot_be_restored_is_said(filled: SqliteStore, path: Path, clock: FixedClock) -> None:
    with pytest.raises(Unreachable, match="no backup here"):
        restore(path.with_name("none.db"), path, clock=clock)
    with pytest.raises(BadInput, match="the store itself"):
        restore(path, path, clock=clock)
    filled.backup(str(path.with_name("copy.db")))
    with pytest.raises(Unreachable, match="no folder"):
        restore(path.with_name("copy.db"), path.parent / "no" / "reef.db", clock=clock)
    with pytest.raises(BadInput, match="a folder"):
        restore(path.with_name("copy.db"), path.parent, clock=clock)


def test_a_restore_that_finds_no_room_leaves_the_store_untouched(
    filled: SqliteStore, path: Path, clock: FixedClock, small_disk: Path
) -> None:
    filled.add_entries(notes(4000, "long " * 40))  # 1.5 MB and more, so that two do not fit
    target = path.with_name("copy.db")
    filled.backup(str(target))
    there = small_disk / "reef.db"
    with SqliteStore.open(there, clock=clock) as store:
        store.add_entries(notes(10))
    before = folder(there)
    with pytest.raises(Unreachable, match=r"No space|disk is full"):
        restore(target, there, clock=clock)
    assert folder(there) == before
