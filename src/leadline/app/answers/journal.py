"""Entries as JSON: as they were written, and as they stand in the journal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from leadline.measures.moments import iso

if TYPE_CHECKING:
    from leadline.app.read_journal import Page, Written
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


def whole(w: Written) -> dict[str, Any]:
    """The same with everything that was written: method, places, doubt, when it was written down."""
    e = w.entry
    return {
        **line(w), "method": e.method, "sd": e.sd, "to": e.to, "from": e.source, "recorded_at": e.recorded_at,
        "extra": dict(e.extra), "stored": e.stored, "stored_sd": e.stored_sd,
    }  # fmt: skip


def page(p: Page) -> dict[str, Any]:
    """`leadline.journal-page/1`: some entries, the newest first; the next page is what was before `more`."""
    return {
        "schema": "leadline.journal-page/1", "entries": [line(w) for w in p.entries], "found": p.found, "more": p.more,
    }  # fmt: skip
