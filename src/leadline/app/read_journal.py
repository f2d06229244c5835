"""The journal to read and to write from: newest first, corrections beside what they correct, usual amounts."""

from __future__ import annotations

import datetime as dt
import functools
import weakref
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from leadline.app import describe
from leadline.app.ports import Store
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of as known_at
from leadline.journal.journal import root_of
from leadline.measures.errors import UnknownName
from leadline.model import substances, waters

_OFFERED = 12
_kept: weakref.WeakKeyDictionary[Store, tuple[object, list[Entry]]] = weakref.WeakKeyDictionary()


@dataclass(frozen=True, slots=True)
class Written:
    """An entry as it stands in the journal, and what became of it."""

    entry: Entry
    state: str  # stands | corrected | withdrawn
    instead: Entry | None = None  # what stands in its place


@dataclass(frozen=True, slots=True)
class Page:
    """Some entries, the newest first; `more` is the moment before which the next page begins."""

    entries: tuple[Written, ...]
    more: dt.datetime | None
    found: int


@dataclass(frozen=True, slots=True)
class Whole:
    """One entry with all that was ever written about the same happening, in the order of writing."""

    entry: Entry
    state: str  # stands | corrected | withdrawn
    line: tuple[Entry, ...]  # itself among them
    stands: Entry | None  # what counts; None when it was taken back
    confirmed: tuple[Entry, ...]  # notes that say it is right as typed
    instead_of: Entry | None = None  # what was taken back for it
    anew: Entry | None = None  # what was written in its place


def whole(store: Store, now: dt.datetime, ident: str) -> Whole:
    """An entry as it was known at `now`, with what it corrects and what corrects it.

    Raises
    ------
    UnknownName
        When there was no such entry.
    """
    known = [e for e in _everything(store) if e.time <= now and e.known_at <= now]
    entry = next((e for e in known if e.id == ident), None)
    if entry is None:
        raise UnknownName("entry", ident[:60], (), way_out="Look for it in the journal.")
    mine = set(lines(store, [ident])[ident])
    line = tuple(e for e in known if e.id in mine)
    last = known_at(line, now).entries
    stands = last[0] if last else None
    state = "withdrawn" if stands is None else "stands" if stands.id == ident else "corrected"
    confirmed = tuple(e for e in known if e.extra.get("confirms") == ident)
    before = entry.extra.get("instead_of", "")
    return Whole(
        entry, state, line, stands, confirmed, next((e for e in known if e.id == before), None),
        next((e for e in known if e.extra.get("instead_of") == ident and not e.corrects), None),
    )  # fmt: skip


def lines(store: Store, ids: Iterable[str]) -> dict[str, list[str]]:
    """For each of some entries the ids of all that was written about the same happening, its own among them."""
    target = {e.id: e.corrects for e in _everything(store) if e.corrects}
    of: dict[str, list[str]] = {}
    for ident in target:
        of.setdefault(root_of(ident, target), []).append(ident)
    roots = {ident: root_of(ident, target) for ident in ids}
    return {ident: list(dict.fromkeys([root, *of.get(root, []), ident])) for ident, root in roots.items()}


def entries(
    store: Store, now: dt.datetime, *, system: str = "", kind: str = "", words: str = "",
    before: dt.datetime | None = None, most: int = 50,
) -> Page:  # fmt: skip
    """Entries that were known at `now` and hold all of the words in their subject, amount, note, method or places.

    An entry that only corrects or takes back another stands beside that one, not by itself.
    """
    wanted = [w for w in words.lower().split() if w]
    known = [
        e for e in _everything(store)
        if (not system or e.system == system) and (not kind or e.kind == kind) and e.time <= now and e.known_at <= now
    ]  # fmt: skip
    lines = [e for e in known if not e.corrects and (before is None or e.time < before) and _holds(e, wanted)]
    lines.sort(key=lambda e: e.time, reverse=True)
    last = lines[most - 1].time if len(lines) > most else None
    mine = lines if last is None else [e for e in lines if e.time >= last]  # what shares a moment shares a page
    shown = _became(mine, known, now)
    return Page(tuple(shown), last if len(shown) < len(lines) else None, len(lines))


def counts(store: Store) -> dict[str, int]:
    """How many entries each system has, corrections counted."""
    found = dict.fromkeys(store.systems(), 0)
    for e in _everything(store):
        found[e.system] = found.get(e.system, 0) + 1
    return found


def _became(mine: Sequence[Entry], known: Sequence[Entry], now: dt.datetime) -> list[Written]:
    """Entries with what corrects or takes back each of them."""
    told = {e.id for e in mine} | {x for e in known if e.corrects for x in (e.id, e.corrects)}
    stands = known_at([e for e in known if e.id in told], now)
    standing = {e.id for e in stands.entries}
    shown = []
    for e in mine:
        instead = stands.corrected.get(e.id)
        gone = e.id not in standing and (instead is None or instead.withdrawn)
        state = "withdrawn" if gone else "corrected" if instead is not None else "stands"
        shown.append(Written(e, state, None if gone else instead))
    return shown


def _everything(store: Store) -> list[Entry]:
    """All entries in the order of writing, read once for as long as nothing new is written."""
    key = tuple((s, store.last_seq(s)) for s in store.systems())
    kept = _kept.get(store)
    if kept is None or kept[0] != key:
        kept = _kept[store] = (key, store.entries())
    return kept[1]


def with_corrections(
    store: Store, now: dt.datetime, *, system: str = "", kind: str = "", words: str = ""
) -> list[Entry]:  # fmt: skip
    """The same entries as they were written, with what corrects or takes back one of them, in the order of writing."""
    wanted = [w for w in words.lower().split() if w]
    known = [
        e for e in _everything(store) if (not system or e.system == system) and e.time <= now and e.known_at <= now
    ]
    ids: set[str] = set()
    out = []
    for e in known:
        mine = e.corrects in ids if e.corrects else (not kind or e.kind == kind) and _holds(e, wanted)
        if mine:
            ids.add(e.id)
            out.append(e)
    return out


def _holds(e: Entry, wanted: Sequence[str]) -> bool:
    if not wanted:
        return True
    amount = "" if e.value is None else f"{e.value:g}"
    number = f"{amount} {amount.replace('.', ',')} {e.unit}"
    text = _text(e.subject, e.note, e.method, e.to, e.source, e.kind, str(e.extra.get("animal", "")), number)
    return all(w in text for w in wanted)


@functools.lru_cache(maxsize=65_536)  # the same words are looked through with every letter of a search
def _text(*parts: str) -> str:
    text = " ".join(parts).lower()
    return f"{text} {text.replace('-', ' ').replace('_', ' ')}"


def last_amounts(store: Store, now: dt.datetime, system: str, kind: str) -> list[Entry]:
    """The last entry of each subject of a kind, the most recent first: what a keeper probably writes again."""
    found: dict[str, Entry] = {}
    stands = known_at(
        [e for e in _everything(store) if e.system == system and e.kind == kind and e.time <= now], now
    ).entries
    for e in sorted(stands, key=lambda e: e.time, reverse=True):
        found.setdefault(e.subject, e)
    return list(found.values())[:_OFFERED]


def last_of(
    store: Store, now: dt.datetime, system: str, kind: str, subject: str, *, method: str = "", most: int = 5
) -> list[Entry]:  # fmt: skip
    """The last entries of one kind and subject (and method) that stand, the most recent first."""
    stands = known_at(
        [e for e in _everything(store) if e.system == system and e.kind == kind and e.time <= now], now
    ).entries
    mine = [e for e in stands if e.subject == subject and method in ("", e.method)]
    return sorted(mine, key=lambda e: e.time, reverse=True)[:most]


def subjects(store: Store, system: str, kind: str, last: Sequence[Entry]) -> list[str]:
    """What can be written of a kind: what was written before, then what the description and the tables know."""
    described = describe.load(store, system)
    known: list[str] = []
    if kind == "addition":
        known = [*described.solutions, *substances.SUBSTANCES]
    elif kind == "exchange":
        known = list(waters.WATERS)
    elif kind == "service":
        known = [e.id for e in described.equipment]
    return list(dict.fromkeys([*(e.subject for e in last if e.subject), *known]))
