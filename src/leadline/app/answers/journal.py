"""Entries as JSON: as they were written, and as they stand in the journal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from leadline.measures.moments import iso

if TYPE_CHECKING:
    from collections.abc import Iterable

    from leadline.app.ports import Attachment
    from leadline.app.read_journal import Page, Whole, Written
    from leadline.app.record import Logged
    from leadline.journal.entry import Entry


def entry(e: Entry) -> dict[str, Any]:
    """`leadline.entry/1`: an entry just made."""
    return {
        "schema": "leadline.entry/1", "id": e.id, "time": iso(e.time), "system": e.system, "kind": e.kind,
        "subject": e.subject, "value": e.value, "unit": e.unit, "stored": e.stored, "method": e.method,
    }  # fmt: skip


def logged(done: Logged) -> dict[str, Any]:
    """The same, with what was assumed of its unit, and the question that a reading raises."""
    doubt = done.doubtful
    return {
        **entry(done.entry), "assumed": list(done.assumed),
        "question": None if doubt is None else {
            "kind": doubt.kind, "expected": doubt.expected, "expected_sd": doubt.expected_sd, "guess": doubt.guess,
            "guess_value": doubt.guess_value,
        },
    }  # fmt: skip


def line(w: Written) -> dict[str, Any]:
    """`leadline.journal/1`: an entry as it stands in the journal."""
    e = w.entry
    return {
        "schema": "leadline.journal/1", "id": e.id, "time": e.time, "system": e.system, "kind": e.kind,
        "subject": e.subject, "value": e.value, "unit": e.unit, "note": e.note, "state": w.state,
        "instead": w.instead.id if w.instead is not None else None,
    }  # fmt: skip


def whole(found: Whole, kept: Iterable[Attachment]) -> dict[str, Any]:
    """`leadline.whole-entry/1`: an entry with all that was written about the same happening, and its files."""
    e = found.entry
    instead = found.stands.id if found.state == "corrected" and found.stands is not None else None
    return {
        "schema": "leadline.whole-entry/1", "id": e.id, "time": e.time, "system": e.system, "kind": e.kind,
        "subject": e.subject, "value": e.value, "unit": e.unit, "note": e.note, "state": found.state,
        "instead": instead, "method": e.method, "sd": e.sd, "to": e.to, "from": e.source,
        "recorded_at": e.recorded_at, "extra": dict(e.extra), "stored": e.stored, "stored_sd": e.stored_sd,
        "line": [x.id for x in found.line], "files": list(map(file, kept)),
    }  # fmt: skip


def file(a: Attachment) -> dict[str, Any]:
    """A file kept with an entry, without its bytes."""
    return {"id": a.id, "entry": a.entry, "name": a.name, "media_type": a.media_type, "size": a.size,
            "added_at": iso(a.added_at), "note": a.note}  # fmt: skip


def page(p: Page) -> dict[str, Any]:
    """`leadline.journal-page/1`: some entries, the newest first; the next page is what was before `more`."""
    return {
        "schema": "leadline.journal-page/1", "entries": [line(w) for w in p.entries], "found": p.found, "more": p.more,
    }  # fmt: skip
