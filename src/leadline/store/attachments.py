"""Files kept with entries of the journal: the bytes themselves, so that one file still holds everything."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from leadline.app.ports import Attachment
from leadline.store.file import DatabaseFile
from leadline.store.rows import from_us, to_us

_ATTACHMENT = "id, entry, name, media_type, size, added_at, note"
_AT_ONCE = 500  # entries asked for in one statement


class Attachments(DatabaseFile):
    """The part of the store that keeps files of entries."""

    def add_attachment(self, kept: Attachment, content: bytes, small: bytes | None) -> bool:
        """Keep a file, and the small JPEG of a picture; False, and nothing is changed, when its entry has it."""
        k = kept
        with self._write() as db:
            return bool(
                db.execute(
                    f"INSERT INTO attachment ({_ATTACHMENT}, small, content) VALUES ({', '.join('?' * 9)})"
                    " ON CONFLICT (id, entry) DO NOTHING",
                    (k.id, k.entry, k.name, k.media_type, k.size, to_us(k.added_at), k.note, small, content),
                ).rowcount
            )

    def attachments(self, entries: Iterable[str]) -> list[Attachment]:
        """Files of some entries, without their bytes; the oldest first by when it was kept."""
        wanted, found = list(dict.fromkeys(entries)), list[Sequence[Any]]()
        with self._read() as db:
            for start in range(0, len(wanted), _AT_ONCE):
                batch = wanted[start : start + _AT_ONCE]
                marks = ", ".join("?" * len(batch))
                found += db.execute(f"SELECT {_ATTACHMENT} FROM attachment WHERE entry IN ({marks})", batch).fetchall()
        return sorted(map(_attachment, found), key=lambda a: (a.added_at, a.name, a.id, a.entry))

    def attachment_content(
        self, id: str, entry: str | None = None, *, small: bool = False
    ) -> tuple[Attachment, bytes] | None:
        """A file of an entry (of any when None) with its bytes, or those of its small JPEG; None when not there."""
        which = "small" if small else "content"
        where, given = ("", (id,)) if entry is None else (" AND entry = ?", (id, entry))
        with self._read() as db:
            row = db.execute(
                f"SELECT {_ATTACHMENT}, {which} FROM attachment WHERE id = ?{where} AND {which} IS NOT NULL"
                " ORDER BY added_at, entry LIMIT 1",
                given,
            ).fetchone()
        return None if row is None else (_attachment(row), row[7])

    def drop_attachment(self, id: str, entry: str) -> bool:
        """Remove a file from an entry, for good; other entries keep theirs. False when it was not there."""
        with self._write() as db:
            return bool(db.execute("DELETE FROM attachment WHERE id = ? AND entry = ?", (id, entry)).rowcount)


def _attachment(r: Sequence[Any]) -> Attachment:
    return Attachment(r[0], r[1], r[2], r[3], r[4], from_us(r[5]), r[6])
