"""Entries in order, corrections beside what they correct, and "as of" reads."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
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

    A correction may itself be corrected, and an entry may be corrected several times: of all that was ever written
    about one happening, the word written last counts, and when that word takes it back nothing does. Entries come in
    the order in which they were written (the store's order), so that the later of two corrections with equal times
    wins. A correction whose target is unknown stands for itself.
    """
    known = [e for e in entries if moment is None or (e.time <= moment and e.known_at <= moment)]
    target = {e.id: e.corrects for e in known if e.corrects}
    if not target:
        return Journal(tuple(sorted(known, key=lambda e: e.time)), {})
    spoken_of = target.keys() | set(target.values())
    last: dict[str, Entry] = {}
    lines: dict[str, str] = {}
    for e in known:
        if e.id in spoken_of:
            root = lines[e.id] = root_of(e.id, target)
            if root not in last or e.known_at >= last[root].known_at:
                last[root] = e
    stands = {i: last[root] for i, root in lines.items()}
    kept = [e for e in known if stands.get(e.id, e).id == e.id and not e.withdrawn]
    replaced = {i: e for i, e in stands.items() if e.id != i}
    return Journal(tuple(sorted(kept, key=lambda e: e.time)), replaced)


def root_of(ident: str, target: Mapping[str, str]) -> str:
    """What a line of corrections is about in the end; of a ring, which only a torn file can hold, its least id."""
    seen = [ident]
    while target.get(seen[-1]):
        following = target[seen[-1]]
        if following in seen:
            return min(seen[seen.index(following) :])
        seen.append(following)
    return seen[-1]
