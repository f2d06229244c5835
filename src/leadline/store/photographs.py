"""Photographs of animals and groups: the pictures themselves, so that one file still holds everything."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from leadline.app.ports import Photo
from leadline.store.file import DatabaseFile
from leadline.store.rows import from_us, to_us

_PHOTO = "id, system, subject, taken_at, added_at, media_type, width, height, note"


class Photographs(DatabaseFile):
    """The part of the store that keeps photographs."""

    def add_photo(self, photo: Photo, content: bytes, small: bytes) -> bool:
        """Keep a picture and its small JPEG; False, and nothing is changed, when its subject has it already."""
        p = photo
        with self._write() as db:
            return bool(
                db.execute(
                    f"INSERT INTO photo ({_PHOTO}, small, content) VALUES ({', '.join('?' * 11)})"
                    " ON CONFLICT (id, system, subject) DO NOTHING",
                    (
                        p.id, p.system, p.subject, to_us(p.taken_at), to_us(p.added_at), p.media_type, p.width,
                        p.height, p.note, small, content,
                    ),
                ).rowcount
            )  # fmt: skip

    def photos(self, system: str | None = None, subject: str | None = None) -> list[Photo]:
        """Photographs of a system, of a subject, or all, without their bytes; the newest first by when it was taken."""
        asked = [(name, x) for name, x in (("system", system), ("subject", subject)) if x is not None]
        which = " AND ".join(f"{name} = ?" for name, _ in asked) or "true"
        with self._read() as db:
            found = db.execute(
                f"SELECT {_PHOTO} FROM photo WHERE {which} ORDER BY taken_at DESC, added_at DESC, id, system, subject",
                [x for _, x in asked],
            ).fetchall()
        return list(map(_photo, found))

    def photo_content(self, id: str, *, small: bool = False) -> tuple[str, bytes] | None:
        """Media type and bytes of a picture, or of its small JPEG; None when no subject has it."""
        with self._read() as db:
            row = db.execute(
                "SELECT 'image/jpeg', small FROM photo WHERE id = ? LIMIT 1"
                if small
                else "SELECT media_type, content FROM photo WHERE id = ? LIMIT 1",
                (id,),
            ).fetchone()
        return None if row is None else (row[0], row[1])

    def drop_photo(self, id: str, system: str, subject: str) -> bool:
        """Remove a picture from a subject, for good; other subjects keep theirs. False when it was not there."""
        with self._write() as db:
            return bool(
                db.execute(
                    "DELETE FROM photo WHERE id = ? AND system = ? AND subject = ?", (id, system, subject)
                ).rowcount
            )


def _photo(r: Sequence[Any]) -> Photo:
    return Photo(r[0], r[1], r[2], from_us(r[3]), from_us(r[4]), r[5], r[6], r[7], r[8])
