"""Photographs on the real file: kept, listed, dropped, backed up, and added to a file of version 2."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from leadline.app.ports import Photo
from leadline.journal.entry import Entry
from leadline.measures.errors import BadInput, Unreachable
from leadline.measures.moments import UTC, FixedClock
from leadline.store.file import migrations
from leadline.store.restore import restore
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.contract

NOON = dt.datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


def picture(colour: str, side: int = 64, kind: str = "PNG") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (side, side), colour).save(out, kind)
    return out.getvalue()


RED, BLUE, SMALL = picture("red"), picture("blue"), picture("red", 16, "JPEG")


def photo(content: bytes, subject: str = "coral-7", **more: object) -> Photo:
    whole = Photo(
        hashlib.blake2b(content, digest_size=8).hexdigest(), "north-room", subject,
        NOON.replace(microsecond=123457), NOON + dt.timedelta(days=2, microseconds=1),
        "image/png", 64, 64, 'grew by 2 cm, said "µ, 盐"',
    )  # fmt: skip
    return replace(whole, **more)  # type: ignore[arg-type]


def test_a_photograph_comes_back_as_it_was_given(store: SqliteStore, path: Path, clock: FixedClock) -> None:
    kept = photo(RED)
    assert store.add_photo(kept, RED, SMALL)
    with SqliteStore.open(path, clock=clock, write=False) as again:
        assert again.photos() == [kept]
        assert again.photo_content(kept.id) == ("image/png", RED)
        assert again.photo_content(kept.id, small=True) == ("image/jpeg", SMALL)


def test_it_is_there_after_the_file_was_closed(path: Path, clock: FixedClock) -> None:
    with SqliteStore.open(path, clock=clock) as store:
        store.add_photo(photo(RED), RED, SMALL)
    with SqliteStore.open(path, clock=clock) as store:
        assert store.photos() == [photo(RED)]
        assert store.photo_content(photo(RED).id) == ("image/png", RED)


def test_the_same_picture_is_kept_once_a_subject(store: SqliteStore) -> None:
    first, other = photo(RED), photo(RED, subject="clownfish")
    assert store.add_photo(first, RED, SMALL)
    assert not store.add_photo(replace(first, note="said anew"), RED, SMALL)
    assert store.add_photo(other, RED, SMALL)
    assert store.add_photo(replace(first, system="quarantine"), RED, SMALL)
    assert store.photos("north-room", "coral-7") == [first]
    assert len(store.photos()) == 3


def test_they_are_listed_newest_first_by_system_and_subject(store: SqliteStore) -> None:
    old = photo(RED, taken_at=NOON - dt.timedelta(days=400))
    new = photo(BLUE, taken_at=NOON - dt.timedelta(days=1))
    fish = photo(RED, subject="clownfish")
    away = photo(BLUE, system="quarantine", taken_at=NOON - dt.timedelta(days=2))
    for each in (old, away, new, fish):
        assert store.add_photo(each, RED if each.id == photo(RED).id else BLUE, SMALL)
    assert store.photos() == [fish, new, away, old]
    assert store.photos("north-room") == [fish, new, old]
    assert store.photos("north-room", "coral-7") == [new, old]
    assert store.photos(subject="coral-7") == [new, away, old]
    assert store.photos("nowhere") == store.photos("north-room", "nobody") == []


def test_a_dropped_one_is_gone_from_its_subject_alone(store: SqliteStore) -> None:
    one, other = photo(RED), photo(RED, subject="clownfish")
    for each in (one, other):
        store.add_photo(each, RED, SMALL)
    assert store.drop_photo(one.id, "north-room", "coral-7")
    assert not store.drop_photo(one.id, "north-room", "coral-7")
    assert store.photos() == [other]
    assert store.photo_content(one.id) == ("image/png", RED)
    assert store.drop_photo(other.id, "north-room", "clownfish")
    assert store.photo_content(one.id) is None
    assert store.photo_content(one.id, small=True) is None


def test_a_backup_holds_the_pictures_and_a_restore_brings_them_back(
    store: SqliteStore, path: Path, clock: FixedClock
) -> None:
    large = picture("green", 1500, "BMP")  # 6.75 MB: far more than a page of the file
    kept = photo(large, media_type="image/bmp", width=1500, height=1500)
    store.add_photo(kept, large, SMALL)
    target, elsewhere = path.with_name("copy.db"), path.with_name("restored.db")
    store.backup(str(target))
    store.drop_photo(kept.id, kept.system, kept.subject)
    restore(target, elsewhere, clock=clock)
    for file in (target, elsewhere):
        with SqliteStore.open(file, clock=clock, write=False) as again:
            assert again.photos() == [kept]
            assert again.photo_content(kept.id) == ("image/bmp", large)
            assert again.photo_content(kept.id, small=True) == ("image/jpeg", SMALL)


def test_a_file_of_version_2_is_brought_up_to_date(path: Path, clock: FixedClock) -> None:
    before = [step for step in migrations() if step.number <= 2]
    with SqliteStore.open(path, clock=clock, steps=before) as store:
        store.add_entries([Entry(NOON, "north-room", "note", note="kept")])
        with pytest.raises(sqlite3.OperationalError, match="no such table"):
            store.photos()
    with pytest.raises(Unreachable, match="older version"):
        SqliteStore.open(path, clock=clock, write=False)
    with SqliteStore.open(path, clock=clock) as store:
        assert [entry.note for entry in store.entries()] == ["kept"]
        assert store.photos() == []
        assert store.add_photo(photo(RED), RED, SMALL)
        assert store.photos() == [photo(RED)]
    (copy,) = path.parent.glob("reef.db.version-*")
    assert copy.name == "reef.db.version-2-20260301T080000Z"


def test_a_backup_of_version_2_can_be_restored(path: Path, clock: FixedClock) -> None:
    before = [step for step in migrations() if step.number <= 2]
    old = path.with_name("old.db")
    with SqliteStore.open(old, clock=clock, steps=before) as store:
        store.add_entries([Entry(NOON, "north-room", "note", note="kept")])
    assert restore(old, path, clock=clock).entries == 1
    with SqliteStore.open(path, clock=clock) as store:
        assert store.add_photo(photo(RED), RED, SMALL)


def test_a_full_file_keeps_nothing_half(store: SqliteStore) -> None:
    pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
    store._connection.execute(f"PRAGMA max_page_count = {pages + 20}")  # SQLite's own way to make a disk full
    large = picture("green", 400, "BMP")
    with pytest.raises(Unreachable, match="the disk is full"):
        store.add_photo(photo(large), large, SMALL)
    assert store.photos() == []
    assert store.add_photo(photo(RED), RED, SMALL)
    assert store._connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_half_a_character_is_refused(store: SqliteStore) -> None:
    with pytest.raises(BadInput, match="half a character"):
        store.add_photo(photo(RED, note="\ud800"), RED, SMALL)
    assert store.photos() == []


def test_a_small_picture_is_found_without_reading_the_large_one(store: SqliteStore) -> None:
    """Both kept in one row: the small one comes first, or SQLite would walk through the large one to reach it."""
    columns = [row[1] for row in store._connection.execute("PRAGMA table_info(photo)")]
    assert columns[-2:] == ["small", "content"]
    plan = store._connection.execute(
        "EXPLAIN QUERY PLAN SELECT id FROM photo WHERE system = ? AND subject = ? ORDER BY taken_at DESC", ("a", "b")
    ).fetchone()[3]
    assert "photo_by_subject" in plan
