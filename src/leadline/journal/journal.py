"""Entries in order, corrections beside what they correct, and "as of" reads."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from leadline.journal.entry import Entry


@dataclass(frozen=True, slots=True)
class Journal:
    """What is taken to have happened, in order of time, as it was known at one moment."""

    entries: tuple[Entry, ...]
    corrected: dict[str, Entry]  # id of an entry to the one that stands in its place

    def of_kind(self, kind: str) -> list[Entry]:
        """Entries of one kind, in order of time."""
        return [e for e in self.entries if e.kind == kind]


def as_of(entries: Iterable[Entry], moment: dt.datetime | None = None) -> Journal:
    """The journal as it was known at `moment`: nothing that happened or was written down later.

    Of several corrections of one entry the one written last counts; a correction may itself be corrected.
    Entries come in the order in which they were written (the store's order), so that the later of two
    corrections with equal times wins. A correction whose target is unknown stands for itself.
    """
    known = [e for e in entries if moment is None or (e.time <= moment and e.known_at <= moment)]
    replaced_by: dict[str, Entry] = {}
    for e in known:
        target = e.corrects
        if target and target != e.id:
            before = replaced_by.get(target)
            if before is None or e.known_at >= before.known_at:
                replaced_by[target] = e
    if not replaced_by:
        return Journal(tuple(sorted(known, key=lambda e: e.time)), {})
    superseded = set(replaced_by)
    losers = {
        e.id for e in known if e.corrects and e.corrects != e.id and replaced_by[e.corrects].id != e.id
    }  # an older correction of the same entry
    kept = [e for e in known if e.id not in superseded and e.id not in losers and not e.withdrawn]
    return Journal(tuple(sorted(kept, key=lambda e: e.time)), replaced_by)
