"""Back up, restore, and know when that was last done."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from leadline.app.ports import Contents, Restorer, Store
from leadline.measures.moments import Clock, iso, parse

_KIND, _LAST = "safeguard", "last-backup"


@dataclass(frozen=True, slots=True)
class LastBackup:
    """When and where the store was last backed up, and how many entries the copy held."""

    at: dt.datetime
    path: str
    entries: int


def backup(store: Store, target: str, clock: Clock) -> Contents:
    """Copy the store to `target` while it is in use, prove the copy, and note in the store that it was done.

    Raises
    ------
    BadInput
        When `target` is a file that is no backup of this store.
    Unreachable
        When it cannot be written.
    """
    contents = store.backup(target)
    store.put_record(_KIND, _LAST, {"at": iso(clock.now()), "path": contents.path, "entries": contents.entries})
    return contents


def last_backup(store: Store) -> LastBackup | None:
    """The last backup that was made from here, or None: then a lost disk loses everything."""
    noted = store.record(_KIND, _LAST)
    return None if noted is None else LastBackup(parse(noted["at"]), noted["path"], int(noted["entries"]))


def restore(restorer: Restorer, source: str, target: str, clock: Clock) -> Contents:
    """Put the backup `source` in the place of the store `target`, which nobody may have open.

    Raises
    ------
    Unreachable
        When the backup does not prove sound or the store is in use; the store is then as it was.
    """
    return restorer(source, target, clock=clock)
