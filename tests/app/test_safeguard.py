"""Backing up and restoring as the keeper does it, on real files."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from leadline.app import safeguard
from leadline.journal.entry import Entry
from leadline.measures.errors import Unreachable
from leadline.measures.moments import UTC, FixedClock
from leadline.store.restore import restore
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.story

NOW = dt.datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def test_a_keeper_backs_up_regrets_and_restores(tmp_path: Path) -> None:
    path, copy, clock = tmp_path / "reef.db", str(tmp_path / "copy.db"), FixedClock(NOW)
    with SqliteStore.open(path, clock=clock) as store:
        assert safeguard.last_backup(store) is None
        store.add_entries([Entry(NOW, "north-room", "note", note="good")])
        contents = safeguard.backup(store, copy, clock)
        assert (contents.entries, contents.newest) == (1, NOW)
        assert safeguard.last_backup(store) == safeguard.LastBackup(NOW, copy, 1)
        store.add_entries([Entry(NOW, "north-room", "note", note="regretted")])
    restored = safeguard.restore(restore, copy, str(path), clock)
    assert restored.entries == 1
    with SqliteStore.open(path, clock=clock) as store:
        assert [entry.note for entry in store.entries()] == ["good"]


def test_a_backup_that_failed_is_not_noted_as_done(tmp_path: Path) -> None:
    clock = FixedClock(NOW)
    with SqliteStore.open(tmp_path / "reef.db", clock=clock) as store:
        with pytest.raises(Unreachable):
            safeguard.backup(store, str(tmp_path / "no" / "copy.db"), clock)
        assert safeguard.last_backup(store) is None
