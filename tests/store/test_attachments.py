"""Files of entries on the real file: kept, listed, dropped, proven in a backup, brought back, added to version 3."""

from __future__ import annotations

import datetime as dt
import hashlib
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from leadline.app.ports import Attachment
from leadline.journal.entry import Entry
from leadline.measures.errors import BadInput, Unreachable
from leadline.measures.moments import UTC, FixedClock
from leadline.store.backup import prove
from leadline.store.file import migrations
from leadline.store.restore import restore
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.contract

NOON = dt.datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
REPORT, PICTURE, SMALL = b"%PDF-1.7\n" + bytes(range(256)) * 40, b"a picture's bytes", b"a small one's"


def kept(content: bytes, entry: str = "e1", **more: object) -> Attachment:
    ident = hashlib.blake2b(content, digest_size=8).hexdigest()  # what an id is: said in ports.Attachment
    whole = Attachment(
        ident, entry, "report.pdf", "application/pdf", len(content), NOON.replace(microsecond=123457), 'said "µ, 盐"'
    )
    return replace(whole, **more)  # type: ignore[arg-type]


def photo(entry: str = "e1") -> Attachment:
    return kept(PICTURE, entry, media_type="image/jpeg", name="photo.jpg", added_at=NOON - dt.timedelta(days=1))


def test_a_file_comes_back_as_it_was_given(store: SqliteStore, path: Path, clock: FixedClock) -> None:
    assert store.add_attachment(kept(REPORT), REPORT, None)
    assert store.add_attachment(photo(), PICTURE, SMALL)
    with SqliteStore.open(path, clock=clock, write=False) as again:
        assert again.attachments(["e1"]) == [photo(), kept(REPORT)]  # the oldest first
        assert again.attachment_content(kept(REPORT).id, "e1") == (kept(REPORT), REPORT)
        assert again.attachment_content(photo().id, "e1", small=True) == (photo(), SMALL)
        assert again.attachment_content(kept(REPORT).id, "e1", small=True) is None  # no picture: no small one
        assert again.attachment_content(kept(REPORT).id, "e2") is None


def test_the_same_file_is_kept_once_at_an_entry_and_again_at_another(store: SqliteStore) -> None:
    assert store.add_attachment(kept(REPORT), REPORT, None)
    assert not store.add_attachment(kept(REPORT, note="said anew"), REPORT, None)
    assert store.add_attachment(kept(REPORT, "e2"), REPORT, None)
    assert store.attachments(["e1"]) == [kept(REPORT)]
    assert len(store.attachments(["e1", "e2", "e1", "e3"])) == 2
    assert store.attachments([]) == []


def test_it_is_dropped_from_one_entry_alone(store: SqliteStore) -> None:
    for entry in ("e1", "e2"):
        store.add_attachment(kept(REPORT, entry), REPORT, None)
    assert store.drop_attachment(kept(REPORT).id, "e1")
    assert not store.drop_attachment(kept(REPORT).id, "e1")
    assert store.attachments(["e1", "e2"]) == [kept(REPORT, "e2")]


def test_many_entries_are_asked_for_at_once(store: SqliteStore) -> None:
    store.add_attachment(kept(REPORT, "e1700"), REPORT, None)
    assert store.attachments(f"e{n}" for n in range(2000)) == [kept(REPORT, "e1700")]


def test_a_backup_carries_and_counts_them_and_a_restore_brings_them_back(
    store: SqliteStore, path: Path, clock: FixedClock
) -> None:
    store.add_attachment(kept(REPORT), REPORT, None)
    store.add_attachment(photo(), PICTURE, SMALL)
    target, elsewhere = path.with_name("copy.db"), path.with_name("restored.db")
    assert store.backup(str(target)).files == 2
    store.drop_attachment(kept(REPORT).id, "e1")
    assert restore(target, elsewhere, clock=clock).files == 2
    for file in (target, elsewhere):
        with SqliteStore.open(file, clock=clock, write=False) as again:
            assert again.attachments(["e1"]) == [photo(), kept(REPORT)]
            assert again.attachment_content(kept(REPORT).id, "e1") == (kept(REPORT), REPORT)


def test_a_file_that_is_no_longer_what_its_id_says_is_found_in_the_proof(store: SqliteStore, path: Path) -> None:
    store.add_attachment(kept(REPORT), REPORT, None)
    target = path.with_name("copy.db")
    store.backup(str(target))
    with sqlite3.connect(target) as db:
        db.execute("UPDATE attachment SET content = ?", (REPORT[:-1] + b"x",))
    db.close()
    with pytest.raises(Unreachable, match=f"the attachment {kept(REPORT).id} is no longer what it was"):
        prove(target)


def test_a_file_of_version_3_is_brought_up_to_date(path: Path, clock: FixedClock) -> None:
    before = [step for step in migrations() if step.number <= 3]
    old = path.with_name("old.db")
    for place in (path, old):
        with SqliteStore.open(place, clock=clock, steps=before) as store:
            store.add_entries([Entry(NOON, "north-room", "note", note="kept")])
            with pytest.raises(sqlite3.OperationalError, match="no such table"):
                store.attachments(["e1"])
    with SqliteStore.open(path, clock=clock) as store:
        assert store.attachments(["e1"]) == []
        assert store.add_attachment(kept(REPORT), REPORT, None)
        assert [e.note for e in store.entries()] == ["kept"]
    restored = restore(old, path.with_name("other.db"), clock=clock)
    assert (restored.entries, restored.files) == (1, 0)


def test_a_full_file_keeps_nothing_half(store: SqliteStore) -> None:
    pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
    store._connection.execute(f"PRAGMA max_page_count = {pages + 20}")  # SQLite's own way to make a disk full
    large = bytes(300_000)
    with pytest.raises(Unreachable, match="the disk is full"):
        store.add_attachment(kept(large), large, None)
    assert store.attachments(["e1"]) == []
    assert store.add_attachment(kept(REPORT), REPORT, None)
    assert store._connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_half_a_character_is_refused(store: SqliteStore) -> None:
    with pytest.raises(BadInput, match="half a character"):
        store.add_attachment(kept(REPORT, note="\ud800"), REPORT, None)
    assert store.attachments(["e1"]) == []


def test_a_list_reads_no_bytes(store: SqliteStore) -> None:
    """SQLite walks through a row up to the last column that is asked for: the bytes come last, the small ones first."""
    columns = [row[1] for row in store._connection.execute("PRAGMA table_info(attachment)")]
    assert columns[-2:] == ["small", "content"]
    plan = store._connection.execute(
        "EXPLAIN QUERY PLAN SELECT id FROM attachment WHERE entry IN ('a', 'b')"
    ).fetchone()
    assert "attachment_by_entry" in plan[3]
