"""What SQLite and the disk complain about, as one line a keeper can act on."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from leadline.measures.errors import BadInput, Unreachable

_NO_ROOM_BYTES = 256 * 1024  # less than this and neither a journal page nor its index fits

# primary result codes of SQLite (https://www.sqlite.org/rescode.html)
_TOLD = {
    sqlite3.SQLITE_BUSY: (
        "the database is locked by another program",
        "Try again in a moment; if it lasts, close the other program that has it open.",
    ),
    sqlite3.SQLITE_LOCKED: ("the database is locked", "Try again in a moment."),
    sqlite3.SQLITE_READONLY: (
        "the database is read-only, so nothing can be written",
        "Allow writing to the file and to its folder, or choose another with --db.",
    ),
    sqlite3.SQLITE_NOTADB: (
        "this is no database, or its first page is damaged",
        "Choose another with --db, or put a backup in its place with 'leadline restore'.",
    ),
    sqlite3.SQLITE_CORRUPT: (
        "the database is damaged",
        "Keep this file, and put the last backup in its place with 'leadline restore'.",
    ),
    sqlite3.SQLITE_FULL: (
        "the disk is full, so nothing of this was saved",
        "Free some space and do it again; what was saved before is safe.",
    ),
    sqlite3.SQLITE_IOERR: (
        "the disk could not be read or written",
        "Check the disk and its cable; what was saved before is safe if the disk is.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "the database cannot be opened",
        "Check that the folder exists and that you may read and write in it.",
    ),
    sqlite3.SQLITE_PERM: ("the database may not be opened", "Ask for permission to its folder."),
    sqlite3.SQLITE_AUTH: ("the database may not be opened", "Ask for permission to its folder."),
    sqlite3.SQLITE_PROTOCOL: ("the database is too busy", "Try again in a moment."),
    sqlite3.SQLITE_NOLFS: ("the file is too large for this disk", "Move it to another disk."),
    sqlite3.SQLITE_TOOBIG: ("one text is too long to be kept", "Shorten it."),
    sqlite3.SQLITE_NOMEM: ("there is no memory left", "Close other programs and try again."),
}


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite or the disk says about `path` into `Unreachable`; mistakes of our own pass through."""
    try:
        yield
    except sqlite3.Error as exc:
        trouble = unreachable(exc, path)
        if trouble is None:
            raise
        raise trouble from exc
    except UnicodeEncodeError as exc:
        raise BadInput(
            f"the text {exc.object!r} holds half a character", way_out="Type it again, or save the file as UTF-8."
        ) from exc
    except OSError as exc:
        raise Unreachable(
            f"{exc.strerror or exc}",
            where=str(exc.filename or path),
            way_out="Check that the folder exists, that you may write in it, and that the disk has room.",
        ) from exc


def unreachable(exc: sqlite3.Error, path: Path) -> Unreachable | None:
    """The same complaint for a person, or None when it is a mistake in this program."""
    code = primary_code(exc)
    if code in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN) and _no_room(path):
        code = sqlite3.SQLITE_FULL
    if code == sqlite3.SQLITE_CANTOPEN and not path.parent.is_dir():
        return Unreachable(
            f"there is no folder {path.parent}", where=str(path), way_out="Make it, or choose another with --db."
        )
    if code not in _TOLD:
        return None
    what, way_out = _TOLD[code]
    return Unreachable(what, where=str(path), way_out=way_out)


def primary_code(exc: BaseException) -> int:
    """SQLite's primary result code, or 0 when there is none."""
    code = getattr(exc, "sqlite_errorcode", None)
    return int(code) & 0xFF if code is not None else 0


def _no_room(path: Path) -> bool:
    try:
        disk = os.statvfs(path.parent)
    except (OSError, AttributeError):  # no such folder, or a system without statvfs
        return False
    return disk.f_bavail * disk.f_frsize < _NO_ROOM_BYTES
