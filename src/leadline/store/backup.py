"""Backup while in use, and proof of what a file holds."""

from __future__ import annotations

import contextlib
import hashlib
import os
import sqlite3
from dataclasses import replace
from pathlib import Path

from leadline.app.ports import Contents
from leadline.measures.errors import BadInput, LeadlineError, Unreachable
from leadline.store import rows
from leadline.store.file import connect_for_reading, identity, make_private, migrations
from leadline.store.troubles import told


def back_up(source: Path, target: Path) -> Contents:
    """Copy an open store, as of one moment, to `target`; the copy is proven before it takes that name.

    Raises
    ------
    BadInput
        When `target` is the store itself or a file that is no backup of it.
    Unreachable
        When it cannot be written, or the copy does not prove sound.
    """
    _refuse_unrelated(source, target)
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with told(source):
            live = connect_for_reading(source)
        try:
            with told(draft):
                make_private(draft)
                copy = sqlite3.connect(draft, isolation_level=None)
                try:
                    live.backup(copy)  # in one step: readers and writers of the store go on meanwhile
                    copy.execute("PRAGMA journal_mode = DELETE").fetchone()  # a single file, readable anywhere
                finally:
                    copy.close()
        finally:
            live.close()
        contents = prove(draft)
        with told(target):
            os.replace(draft, target)
            settle_folder(target.parent)
    except BaseException:
        for left_over in (draft, draft.with_name(draft.name + "-journal")):
            with contextlib.suppress(OSError):
                left_over.unlink()
        raise
    return replace(contents, path=str(target))


def check(path: Path) -> int:
    """The version of a file whose every page is sound. Changes nothing.

    Raises
    ------
    Unreachable
        When it is damaged, not Leadline's, or of a newer version.
    """
    newest = migrations()[-1].number
    with told(path):
        db = connect_for_reading(path)
        try:
            if not identity(db):
                raise Unreachable(
                    "this database belongs to another program", where=str(path), way_out="Choose another file."
                )
            version = int(db.execute("PRAGMA user_version").fetchone()[0])
            if version > newest:
                raise Unreachable(
                    f"the backup is of a newer version ({version}) than this program ({newest})",
                    where=str(path),
                    way_out="Use the newer Leadline; nothing was changed.",
                )
            verdict = str(db.execute("PRAGMA integrity_check(1)").fetchone()[0])
            if verdict != "ok":
                raise _unsound(path, verdict)
            return version
        finally:
            db.close()


def prove(path: Path) -> Contents:
    """What a file of this version holds, read back in full: pages, entries, packed days, files. Changes nothing.

    Raises
    ------
    Unreachable
        When any of it cannot be read; else as `check`.
    """
    check(path)
    with told(path):
        db = connect_for_reading(path)
        try:
            return _count(db, path)
        finally:
            db.close()


def settle_folder(folder: Path) -> None:
    """Put a new name in a folder on disk, where the system can do that."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        with contextlib.suppress(OSError):
            os.fsync(handle)
    finally:
        os.close(handle)


def _count(db: sqlite3.Connection, path: Path) -> Contents:
    from leadline.store.packing import Chunk, unpack_day

    entries, newest = 0, None
    try:
        for row in db.execute(f"SELECT {', '.join(rows.COLUMNS)} FROM entry"):
            moment = rows.to_entry(row).time
            newest = moment if newest is None or moment > newest else newest
            entries += 1
        points = int(db.execute("SELECT count(*) FROM point").fetchone()[0])
        for row in db.execute(f"SELECT {', '.join(Chunk._fields)} FROM chunk"):
            points += unpack_day(Chunk(*row))[0].size
        files = sum(_as_its_id_says(db, kind, path) for kind in ("photo", "attachment"))
    except (sqlite3.Error, LeadlineError):
        raise
    except Exception as exc:  # whatever cannot be read back, for whatever reason, is damage
        raise _unsound(path, str(exc)) from exc
    systems = int(db.execute("SELECT count(DISTINCT system) FROM system_document").fetchone()[0])
    return Contents(str(path), systems, entries, points, newest, files=files)


def _as_its_id_says(db: sqlite3.Connection, table: str, path: Path) -> int:
    """How many files a table holds; each is read, and must still have the bytes from which its id was made."""
    n = 0
    for ident, content in db.execute(f"SELECT id, content FROM {table}"):
        if hashlib.blake2b(content, digest_size=8).hexdigest() != ident:
            raise _unsound(path, f"the {table} {ident} is no longer what it was")
        n += 1
    return n


def _unsound(path: Path, why: str) -> Unreachable:
    return Unreachable(
        f"the database is damaged ({' '.join(why.split())})",
        where=str(path),
        way_out="Use another backup; nothing was changed.",
    )


def _refuse_unrelated(source: Path, target: Path) -> None:
    where = str(target)
    if not target.parent.is_dir():
        raise Unreachable(f"there is no folder {target.parent}", where=where, way_out="Make it, or choose another.")
    if not target.exists():
        return
    if target.is_dir():
        raise BadInput("this is a folder", where=where, way_out="Add the backup's file name.")
    if os.path.samefile(source, target):
        raise BadInput("this is the store itself", where=where, way_out="Choose another file for its backup.")
    if target.with_name(target.name + "-wal").exists():
        raise BadInput("this database is in use", where=where, way_out="Choose another file for the backup.")
    try:
        theirs = _identity(target)
    except (sqlite3.Error, OSError):
        theirs = ""
    if theirs != _identity(source):
        raise BadInput(
            "this file is there already and is no backup of this store",
            where=where,
            way_out="Choose another name, or move that file away.",
        )


def _identity(path: Path) -> str:
    db = connect_for_reading(path)
    try:
        return identity(db)
    finally:
        db.close()
