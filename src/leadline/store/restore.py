"""Put a backup in a store's place: proven first, the old file kept beside it, the exchange in one step."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from leadline.app.ports import Contents
from leadline.measures.errors import BadInput, Unreachable
from leadline.measures.moments import Clock
from leadline.store.backup import check, prove, settle_folder
from leadline.store.file import DatabaseFile, allowed, make_private
from leadline.store.troubles import primary_code, told

_LOGS = ("-wal", "-shm", "-journal")


def restore(backup_path: str | Path, target_path: str | Path, *, clock: Clock) -> Contents:
    """Replace the store at `target_path` by a backup; until the last step the target is as it was.

    The backup itself is only read. Its copy is brought up to date if it is of an older version, read back in
    full, and then takes the target's name; what stood there is kept as `<name>.before-restore-<time>`.

    Raises
    ------
    BadInput
        When both are the same file.
    Unreachable
        When the backup is missing or damaged, when the target is in use, or when there is no room.
    """
    backup = Path(backup_path).expanduser().absolute()
    target = Path(target_path).expanduser().absolute()
    _look_first(backup, target)
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with told(target):
            make_private(draft)
            if target.exists():
                shutil.copymode(target, draft)
            shutil.copyfile(backup, draft)
            _copy_log(backup, draft)
        with _said_of(backup, draft):
            check(draft)
            with DatabaseFile.open(draft, clock=clock, create=False, keep_older=False) as fresh:  # now up to date
                _sign_out_all(fresh)
            contents = prove(draft)
        with told(target), open(draft, "rb+") as handle:
            os.fsync(handle.fileno())
        aside = _set_aside(target, f"{target.name}.before-restore-{clock.now():%Y%m%dT%H%M%SZ}")
        with told(target):
            os.replace(draft, target)
            settle_folder(target.parent)
    except BaseException:
        for left_over in (draft, *(draft.with_name(draft.name + log) for log in _LOGS)):
            with contextlib.suppress(OSError):
                left_over.unlink()
        raise
    return replace(contents, path=str(target), set_aside="" if aside is None else str(aside))


def _sign_out_all(store: DatabaseFile) -> None:
    """Sessions and invitations of the day of the backup may have ended since; nobody could say so any more."""
    with store._write() as db:
        db.execute("DELETE FROM session")
        db.execute("DELETE FROM pass WHERE kind = 'invitation'")


@contextlib.contextmanager
def _said_of(backup: Path, draft: Path) -> Iterator[None]:
    """What is wrong with the draft is wrong with the backup that it was copied from."""
    try:
        yield
    except Unreachable as exc:
        if exc.where != str(draft):
            raise
        raise Unreachable(exc.what, where=str(backup), way_out=exc.way_out) from exc


def _look_first(backup: Path, target: Path) -> None:
    if not backup.is_file():
        raise Unreachable("there is no backup here", where=str(backup), way_out="Check the file's name.")
    if not target.parent.is_dir():
        raise Unreachable(f"there is no folder {target.parent}", where=str(target), way_out="Make it first.")
    if target.is_dir():
        raise BadInput("this is a folder", where=str(target), way_out="Add the database's file name.")
    if target.exists() and os.path.samefile(backup, target):
        raise BadInput("this is the store itself", where=str(backup), way_out="Name the backup to restore from.")
    if not allowed(target.parent, os.W_OK):
        raise Unreachable(
            "the folder is read-only", where=str(target.parent), way_out="Allow writing to it, or choose another."
        )


def _copy_log(backup: Path, draft: Path) -> None:
    """A plain copy of a store in use may have its write-ahead log beside it, and the newest entries in there."""
    log = backup.with_name(backup.name + "-wal")
    if log.exists():
        shutil.copyfile(log, draft.with_name(draft.name + "-wal"))


def _set_aside(target: Path, name: str) -> Path | None:
    """Keep what stands at `target` under another name as well, whole: its log is folded in first.

    Raises
    ------
    Unreachable
        When another program has it open: it would go on writing to a file that is no longer the store.
    """
    if not target.exists():
        return None
    aside = target.with_name(name)
    beside = 1
    while aside.exists():
        beside += 1
        aside = target.with_name(f"{name}-{beside}")
    logs: tuple[str, ...] = ()
    try:
        _fold_log(target)
    except sqlite3.Error as exc:
        if primary_code(exc) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise Unreachable(
                "the store is in use",
                where=str(target),
                way_out="Stop 'leadline serve' and whatever else has it open, then restore again.",
            ) from exc
        logs = _LOGS  # damaged, which may be why it is to be replaced: kept as it is, with its logs
    with told(aside):
        try:
            os.link(target, aside)
        except OSError:  # no hard links on this disk
            shutil.copyfile(target, aside)
        for log in logs:
            if target.with_name(target.name + log).exists():
                os.replace(target.with_name(target.name + log), aside.with_name(aside.name + log))
    return aside


def _fold_log(target: Path) -> None:
    db = sqlite3.connect(target, timeout=0.5, isolation_level=None)
    try:
        db.execute("PRAGMA journal_mode = DELETE").fetchone()  # SQLite refuses while anybody else has it open
    finally:
        db.close()
