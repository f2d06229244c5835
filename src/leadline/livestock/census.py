"""Who is where, since when, and when each was last seen: worked out from the journal, as of any day."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from leadline.journal.entry import Entry
from leadline.livestock.kinds import GROUPS, Catalogue, Kind

KINDS_READ = ("arrival", "transfer", "loss", "observation", "treatment", "note", "service", "exchange", "topoff")
_ECHO = dt.timedelta(hours=36)  # an arrival and a transfer of the same name within it are one happening
_WET_GOODS = {
    "rock": "rock", "rocks": "rock", "rubble": "rock", "sand": "rock", "gravel": "rock", "plug": "rock",
    "water": "water", "net": "tool", "nets": "tool", "siphon": "tool", "hose": "tool", "bucket": "tool",
    "tongs": "tool", "scraper": "tool", "pump": "tool", "tool": "tool", "tools": "tool", "thermometer": "tool",
}  # fmt: skip
ABOUT = (
    "kind", "scientificName", "vernacularName", "sex", "lifeStage", "vessel", "origin", "price", "currency",
    "irreplaceable", "papers", "length_cm", "group", "born",
)  # fmt: skip


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
    """Something noted of a lot: a sign, a measure, a birth."""

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
        Whether the kind is only taken from its name.
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
        """Since when it is at a place."""
        now = [s.since for s in self.stays if s.place == place and s.until is None]
        return min(now) if now else None

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
        return [x for x in self.at(place) if x.kind is None or x.kind.is_any(tags)]


def group_of(subject: str, about: Mapping[str, Any], kind: Kind | None) -> str:
    """What sort of thing moved: a group of kinds, or rock, water, tool."""
    said = str(about.get("group", ""))
    if said in GROUPS or said in ("rock", "water", "tool"):
        return said
    if kind is not None:
        return kind.group
    for word in re.split(r"[^a-z]+", subject.lower()):
        if word in _WET_GOODS:
            return _WET_GOODS[word]
    return "other"


def kind_of(catalogue: Catalogue, subject: str, about: Mapping[str, Any]) -> tuple[Kind | None, bool]:
    """The kind that was said, or the one that its name holds (`six-acropora-frags`), and whether that is a guess."""
    for key in ("kind", "scientificName", "vernacularName"):
        if about.get(key):
            found = catalogue.kind(str(about[key]))
            if found is not None:
                return found, False
    if about.get("kind") or about.get("scientificName"):
        return None, False
    found = catalogue.kind(subject)
    if found is not None:
        return found, True
    words = [_singular(w) for w in re.split(r"[^a-z]+", subject.lower()) if w]
    best: Kind | None = None
    length = 0
    for k in catalogue.kinds.values():
        for name in (k.id, k.scientificName, k.vernacularName, *k.also):
            parts = [_singular(w) for w in re.split(r"[^a-z]+", name.lower()) if w]
            if parts and len(parts) > length and _inside(parts, words):
                best, length = k, len(parts)
    return best, best is not None


def _singular(word: str) -> str:
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")) else word


def _inside(parts: Sequence[str], words: Sequence[str]) -> bool:
    n = len(parts)
    return any(list(words[i : i + n]) == list(parts) for i in range(len(words) - n + 1))


def register(
    entries: Sequence[Entry], systems: Collection[str], catalogue: Catalogue,
    vessels: Mapping[str, str] | None = None,
) -> Register:  # fmt: skip
    """The register from the journals of all systems.

    Parameters
    ----------
    entries
        As they are taken to stand (`journal.as_of`), in order of time.
    systems
        Ids of the keeper's systems: whatever goes elsewhere has left.
    vessels
        Vessel to the system that it belongs to.
    """
    out = Register()
    moved = [(e.subject, place_of(e.to, systems, vessels), e.time) for e in entries if e.kind == "transfer"]
    came: list[tuple[str, str, dt.datetime]] = []
    for e in entries:
        if e.kind == "arrival" and e.subject:
            echo = _echo(moved, e.subject, e.system, e.time)
            _arrive(out, e, catalogue, echo=echo)
            if not echo:
                came.append((e.subject, e.system, e.time))
        elif e.kind == "transfer" and e.subject:
            _move(out, e, place_of(e.to, systems, vessels), catalogue, kept=systems)
        elif e.kind == "loss" and e.subject:
            _lose(out, e)
        elif e.kind in ("observation", "note", "treatment"):
            _note(out, e, catalogue)
    return out


def place_of(to: str, systems: Collection[str], vessels: Mapping[str, str] | None = None) -> str:
    """Where something went: a system, the system of a vessel, or a place that isn't the keeper's."""
    head = to.split("/")[0].strip()
    return head if head in systems else (vessels or {}).get(to.strip(), to.strip())


def _echo(moved: Sequence[tuple[str, str, dt.datetime]], subject: str, place: str, time: dt.datetime) -> bool:
    return any(s == subject and p == place and abs(t - time) <= _ECHO for s, p, t in moved)


def count_of(e: Entry) -> float:
    """How many an entry is about; one when nothing is said."""
    return e.value if e.value is not None and e.value > 0 and e.unit in ("", "1", "individuals", "pieces") else 1.0


def _lot(out: Register, subject: str, e: Entry, catalogue: Catalogue) -> Lot:
    lot = out.lots.get(subject)
    if lot is None:
        lot = out.lots[subject] = Lot(subject)
    lot.about.update({k: e.extra[k] for k in ABOUT if e.extra.get(k) not in (None, "")})
    if lot.kind is None or lot.guessed:
        lot.kind, lot.guessed = kind_of(catalogue, subject, lot.about)
        lot.group = group_of(subject, lot.about, lot.kind)
    return lot


def _arrive(out: Register, e: Entry, catalogue: Catalogue, *, echo: bool) -> None:
    lot = _lot(out, e.subject, e, catalogue)
    if e.note and not lot.about.get("note"):
        lot.about["note"] = e.note
    if echo:  # the transfer itself moves them
        return
    n = count_of(e)
    if e.extra.get("stock"):  # a register's row: so many are there; those that are known already come no second time
        n -= lot.here.get(e.system, 0.0)
        if n <= 1e-9:
            return
    lot.came.append(Came(e.time, e.system, e.source, n, e.id))
    _put(lot, e.system, e.time, n)
    lot.seen[e.system] = max(e.time, lot.seen.get(e.system, e.time))


def _put(lot: Lot, place: str, time: dt.datetime, n: float) -> None:
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


def _move(out: Register, e: Entry, to: str, catalogue: Catalogue, kept: Collection[str]) -> None:
    lot = _lot(out, e.subject, e, catalogue)
    if to == e.system:  # another vessel of the same water
        lot.about["vessel"] = e.to.split("/")[-1]
        lot.seen[to] = e.time
        return
    n = count_of(e) if e.value is not None else lot.here.get(e.system, 1.0)
    taken = _take(lot, e.system, e.time, n)
    if not taken:
        if lot.lives:
            out.odd.append(f"{lot.name} went from {e.system} to {to}, but none was known there")
        taken = n
        if lot.came and e.system not in {c.place for c in lot.came}:
            pass
    if to in kept:
        _put(lot, to, e.time, taken)
        lot.seen[to] = e.time
    else:
        lot.gone.append(Gone(e.time, e.system, taken, "given-away", {}, f"to {to}", e.id))


def _lose(out: Register, e: Entry) -> None:
    named = out.lots.get(e.subject) or out.lots.get(str(e.extra.get("animal", "")))
    n = count_of(e)
    if named is None:
        if e.subject != "livestock":
            out.odd.append(f"{e.subject} was lost in {e.system}, but none was known there")
        named = out.lots[e.subject] = Lot(e.subject)
    taken = _take(named, e.system, e.time, n)
    exam = e.extra.get("exam") if isinstance(e.extra.get("exam"), dict) else {}
    how = str(e.extra.get("how", "") or "died")
    named.gone.append(Gone(e.time, e.system, taken or n, how, exam or {}, e.note, e.id))


def _note(out: Register, e: Entry, catalogue: Catalogue) -> None:
    if e.kind == "observation" and e.subject in ("census", "seen"):
        out.looks.setdefault(e.system, []).append(e.time)
    counted = e.extra.get("seen")
    names = list(counted) if isinstance(counted, (list, dict)) else []
    animal = str(e.extra.get("animal", ""))
    if animal:
        names.append(animal)
    for name in map(str, names):
        lot = out.lots.get(name)
        if lot is None:
            continue
        if e.kind == "note":
            _lot(out, name, e, catalogue)
        missing = e.subject in ("fish-missing", "not-seen")
        if e.kind == "observation" and not missing:
            lot.seen[e.system] = max(e.time, lot.seen.get(e.system, e.time))
        if not (e.kind == "observation" and e.subject in ("census", "seen") and not e.note):
            lot.notes.append(Note(e.time, e.system, e.subject, e.value, e.unit, e.note, e.id))
