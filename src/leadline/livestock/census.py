"""Who is where, since when, and when each was last seen: worked out from the journal, as of any day."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from leadline.journal.entry import Entry
from leadline.livestock.kinds import Catalogue, Kind
from leadline.livestock.naming import group_of, kind_of

KINDS_READ = ("arrival", "transfer", "loss", "observation", "treatment", "note", "service", "exchange", "topoff")
_ECHO = dt.timedelta(hours=36)  # an arrival and a transfer of the same name within it are one happening
ABOUT = (
    "kind", "scientificName", "vernacularName", "sex", "lifeStage", "vessel", "origin", "price", "currency",
    "irreplaceable", "papers", "length_cm", "group", "born",
)  # fmt: skip
NAMING = ("kind", "scientificName", "vernacularName", "group")
Vessels = Mapping[str, Collection[str]]  # vessels of each system


@dataclass(frozen=True, slots=True)
class Came:
    """One arrival of a lot: when, where, from whom, how many."""

    time: dt.datetime
    place: str
    source: str
    count: float
    entry: str


@dataclass(frozen=True, slots=True)
class Stay:
    """So many of a lot at one place from one moment to another; `until` is None while they are there."""

    place: str
    since: dt.datetime
    until: dt.datetime | None
    count: float


@dataclass(frozen=True, slots=True)
class Gone:
    """A loss: when, where, how many, how (`died`, `missing`, `given-away`, `sold`, `killed`), what was found."""

    time: dt.datetime
    place: str
    count: float
    how: str
    exam: Mapping[str, Any]
    note: str
    entry: str


@dataclass(frozen=True, slots=True)
class Note:
    """Something noted of a lot: a sign, a measure, a birth, a dip."""

    time: dt.datetime
    place: str
    what: str
    value: float | None
    unit: str
    words: str
    entry: str


@dataclass(slots=True)
class Lot:
    """An animal, a coral or a group under one name.

    Attributes
    ----------
    kind
        Its kind in the catalogue, None when nobody knows it.
    guessed
        Whether the kind is only taken from its name, or from a part of what was said.
    about
        What was said of it: sex, price, papers, origin … (see `ABOUT`).
    here
        How many of it are at each place now.
    seen
        When it was last seen at each place.
    """

    id: str
    kind: Kind | None = None
    guessed: bool = False
    group: str = "other"
    about: dict[str, Any] = field(default_factory=dict)
    came: list[Came] = field(default_factory=list)
    here: dict[str, float] = field(default_factory=dict)
    stays: list[Stay] = field(default_factory=list)
    gone: list[Gone] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    seen: dict[str, dt.datetime] = field(default_factory=dict)

    @property
    def alive(self) -> bool:
        """Whether any of it is kept."""
        return any(n > 0 for n in self.here.values())

    @property
    def lives(self) -> bool:
        """Whether it is livestock, not rock, water or a tool."""
        return self.group not in ("rock", "water", "tool")

    @property
    def name(self) -> str:
        """What people call it."""
        return self.id.replace("-", " ")

    @property
    def irreplaceable(self) -> bool:
        """Whether the keeper said that it can't be had again."""
        return bool(self.about.get("irreplaceable"))

    def since(self, place: str) -> dt.datetime | None:
        """Since when some of it is at a place."""
        now = [s.since for s in self.stays if s.place == place and s.until is None]
        return min(now) if now else None

    def newest(self, place: str) -> dt.datetime | None:
        """When the last of those that are at a place came."""
        now = [s.since for s in self.stays if s.place == place and s.until is None]
        return max(now) if now else None

    def was_at(self, place: str, begin: dt.datetime, end: dt.datetime) -> bool:
        """Whether any of it was at a place at some moment between two."""
        return any(s.place == place and s.since <= end and (s.until is None or s.until >= begin) for s in self.stays)

    def kind_said(self) -> str:
        """Its kind as one says it, with the doubt of a guess."""
        if self.kind is None:
            return str(self.about.get("scientificName") or self.about.get("kind") or "kind unknown")
        named = self.kind.vernacularName or self.kind.scientificName
        return f"{named}, taken from its name" if self.guessed else named


@dataclass(slots=True)
class Register:
    """All lots, in order of their first arrival; and when each place was looked over."""

    lots: dict[str, Lot] = field(default_factory=dict)
    looks: dict[str, list[dt.datetime]] = field(default_factory=dict)
    odd: list[str] = field(default_factory=list)  # what does not fit together, in words

    def at(self, place: str) -> list[Lot]:
        """Livestock at a place, by name."""
        return sorted((x for x in self.lots.values() if x.lives and x.here.get(place, 0) > 0), key=lambda x: x.id)

    def hosts_at(self, place: str, tags: tuple[str, ...]) -> list[Lot]:
        """Those there that count as any of these tags; a kind nobody knows may be one."""
        return [x for x in self.at(place) if hosts(x, tags)]

    def had_hosts(self, place: str, tags: tuple[str, ...], begin: dt.datetime, end: dt.datetime) -> bool:
        """Whether any of these lived at a place at some moment between two."""
        return any(x.lives and hosts(x, tags) and x.was_at(place, begin, end) for x in self.lots.values())


def hosts(lot: Lot, tags: tuple[str, ...]) -> bool:
    """Whether a lot counts as any of these tags; a kind nobody knows may be one, and without tags everything is."""
    return lot.kind is None or not tags or lot.kind.is_any(tags)


def register(
    entries: Sequence[Entry], systems: Collection[str], catalogue: Catalogue, vessels: Vessels | None = None
) -> Register:
    """The register from the journals of all systems.

    Parameters
    ----------
    entries
        As they are taken to stand (`journal.as_of`), in order of time.
    systems
        Ids of the keeper's systems: whatever goes elsewhere has left.
    """
    out = Register()
    moved = [
        (e.subject, place_of(e.to, e.system, systems, vessels), e.time) for e in entries if e.kind == "transfer"
    ]  # fmt: skip
    for e in entries:
        if e.kind == "arrival" and e.subject:
            _arrive(out, e, catalogue, moved, systems, vessels)
        elif e.kind == "transfer" and e.subject:
            _move(out, e, place_of(e.to, e.system, systems, vessels), catalogue, systems)
        elif e.kind == "loss" and e.subject:
            _lose(out, e)
        elif e.kind in ("observation", "note", "treatment"):
            _note(out, e, catalogue)
    return out


def place_of(to: str, origin: str, systems: Collection[str], vessels: Vessels | None = None) -> str:
    """Where something went: a system, the system of a vessel (that of the origin first), or a place of others."""
    head = to.split("/")[0].strip()
    lower = {s.lower(): s for s in systems}
    if head.lower() in lower:
        return lower[head.lower()]
    known = vessels or {}
    if head in known.get(origin, ()):
        return origin
    owners = [s for s, names in known.items() if head in names]
    return owners[0] if len(owners) == 1 else to.strip()


def is_echo(e: Entry, moved: Sequence[tuple[str, str, dt.datetime]], systems: Collection[str]) -> bool:
    """Whether an arrival only repeats a transfer: of the same name, to the same place, about the same time, and from
    nobody else."""
    if (e.source and e.source not in systems) or e.extra.get("stock"):
        return False
    return any(s == e.subject and p == e.system and abs(t - e.time) <= _ECHO for s, p, t in moved)


def count_of(e: Entry) -> float:
    """How many an entry is about: one when nothing is said, none when what is said is no number of animals."""
    if e.value is None or e.unit not in ("", "1", "individuals", "pieces"):
        return 1.0
    return max(e.value, 0.0)


def _lot(out: Register, subject: str, e: Entry, catalogue: Catalogue) -> Lot:
    lot = out.lots.get(subject)
    if lot is None:
        lot = out.lots[subject] = Lot(subject)
    said = {k: e.extra[k] for k in ABOUT if e.extra.get(k) not in (None, "")}
    renamed = any(k in said for k in NAMING)
    if renamed:  # what is said of its kind now stands in place of all that was said of it before
        lot.about = {k: v for k, v in lot.about.items() if k not in NAMING}
    lot.about.update(said)
    if renamed or lot.kind is None:
        lot.kind, lot.guessed = kind_of(catalogue, subject, lot.about)
        lot.group = group_of(subject, lot.about, lot.kind)
    return lot


def _arrive(
    out: Register, e: Entry, catalogue: Catalogue, moved: Sequence[tuple[str, str, dt.datetime]],
    systems: Collection[str], vessels: Vessels | None,
) -> None:  # fmt: skip
    lot = _lot(out, e.subject, e, catalogue)
    if e.note and not lot.about.get("note"):
        lot.about["note"] = e.note
    if is_echo(e, moved, systems):  # the transfer itself moves them
        return
    n = count_of(e)
    if n <= 0:
        out.odd.append(f"{lot.name} came to {e.system}: {e.value:g} of them")
        return
    if e.extra.get("stock"):  # a register's row: so many are there; those that are known already come no second time
        n -= lot.here.get(e.system, 0.0)
        if n <= 1e-9:
            return
    begin = place_of(e.source, "", systems, vessels) if e.source else ""
    if begin in systems and begin != e.system and lot.here.get(begin, 0.0) > 0:  # it came from one of ours: it moved
        _put(lot, e.system, e.time, _take(lot, begin, e.time, n))
    else:
        elsewhere = [p for p, k in lot.here.items() if p != e.system and k > 0]
        if elsewhere and lot.lives and n == 1 and lot.here[elsewhere[0]] == 1:
            out.odd.append(f"{lot.name} came to {e.system} while it was in {elsewhere[0]}: is it two, or did it move?")
        lot.came.append(Came(e.time, e.system, e.source, n, e.id))
        _put(lot, e.system, e.time, n)
    known = max(e.time, e.recorded_at or e.time)  # whoever writes it down later has it before the eyes
    lot.seen[e.system] = max(known, lot.seen.get(e.system, known))


def _put(lot: Lot, place: str, time: dt.datetime, n: float) -> None:
    if n > 0:
        lot.here[place] = lot.here.get(place, 0.0) + n
        lot.stays.append(Stay(place, time, None, n))


def _take(lot: Lot, place: str, time: dt.datetime, n: float) -> float:
    """So many leave a place, the first that came first; gives how many there were to leave."""
    left = n
    for i, s in enumerate(lot.stays):
        if left <= 0 or s.place != place or s.until is not None:
            continue
        some = min(left, s.count)
        lot.stays[i] = Stay(place, s.since, time, some)
        if s.count > some:
            lot.stays.append(Stay(place, s.since, None, s.count - some))
        left -= some
    taken = n - left
    if taken:
        lot.here[place] = lot.here[place] - taken
        if lot.here[place] <= 1e-9:
            del lot.here[place]
    return taken


def _move(out: Register, e: Entry, to: str, catalogue: Catalogue, systems: Collection[str]) -> None:
    lot = _lot(out, e.subject, e, catalogue)
    if to == e.system:  # another vessel of the same water
        lot.about["vessel"] = e.to.split("/")[-1]
        lot.seen[to] = e.time
        return
    wanted = count_of(e) if e.value is not None else lot.here.get(e.system, 1.0)
    taken = _take(lot, e.system, e.time, wanted)
    if lot.lives and taken < wanted:
        known = f"{taken:g} were" if taken else "none was"
        out.odd.append(f"{wanted:g} of {lot.name} went from {e.system} to {to}, but {known} known there")
    n = taken or wanted
    if to in systems:
        _put(lot, to, e.time, n)
        lot.seen[to] = e.time
        return
    near = difflib.get_close_matches(to.lower(), [s.lower() for s in systems], n=1, cutoff=0.75)
    if near and lot.lives:
        out.odd.append(f"{lot.name} left {e.system} for {to!r}: did you mean {near[0]}?")
    lot.gone.append(Gone(e.time, e.system, n, "given-away", {}, f"to {to}", e.id))


def _lose(out: Register, e: Entry) -> None:
    named = out.lots.get(e.subject) or out.lots.get(str(e.extra.get("animal", "")))
    n = count_of(e)
    if named is None:
        if e.subject != "livestock":
            out.odd.append(f"{e.subject} was lost in {e.system}, but none was known there")
        named = out.lots[e.subject] = Lot(e.subject)
        taken = 0.0
    else:
        taken = _take(named, e.system, e.time, n)
        if taken < n or n <= 0:
            out.odd.append(f"{e.value or n:g} of {named.name} lost in {e.system}, but {taken:g} were known there")
    exam = e.extra.get("exam") if isinstance(e.extra.get("exam"), dict) else {}
    how = str(e.extra.get("how", "") or "died")
    named.gone.append(Gone(e.time, e.system, taken or n, how, exam or {}, e.note, e.id))


def animals_of(e: Entry) -> list[str]:
    """Ids of the lots that an entry names beside its subject."""
    found: list[str] = []
    for key in ("animals", "seen"):
        said = e.extra.get(key)
        if isinstance(said, str):
            found += [x.strip() for x in said.split(",") if x.strip()]
        elif isinstance(said, (list, dict)):
            found += map(str, said)
    if e.extra.get("animal"):
        found.append(str(e.extra["animal"]))
    return list(dict.fromkeys(found))


def _note(out: Register, e: Entry, catalogue: Catalogue) -> None:
    if e.kind == "observation" and e.subject == "census":
        out.looks.setdefault(e.system, []).append(e.time)
    for name in animals_of(e):
        lot = out.lots.get(name)
        if lot is None:
            out.odd.append(f"{e.subject or e.kind} in {e.system} names {name!r}, whom nobody knows")
            continue
        if e.kind == "note":
            _lot(out, name, e, catalogue)
        missing = e.subject in ("fish-missing", "not-seen")
        if e.kind == "observation" and not missing:
            lot.seen[e.system] = max(e.time, lot.seen.get(e.system, e.time))
        if e.kind == "treatment":
            parts = [str(e.extra.get("agent", "") or e.method).replace("-", " ")]
            parts += [f"base {e.extra['base']}"] if e.extra.get("base") else []
            parts += [f"fell off: {e.extra['fell_off']}"] if e.extra.get("fell_off") else []
            lot.notes.append(
                Note(e.time, e.system, e.subject, None, "", "; ".join([*filter(None, parts), e.note]), e.id)
            )
        elif not (e.kind == "observation" and e.subject in ("census", "seen") and not e.note):
            lot.notes.append(Note(e.time, e.system, e.subject, e.value, e.unit, e.note, e.id))
