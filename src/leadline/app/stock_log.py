"""What happens to livestock, written into the journal: who came, moved, was lost, was seen, what was noted."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from leadline.app import describe, record
from leadline.app.ports import Store
from leadline.app.record import Logged
from leadline.app.stock import free_id, house, slug, suggestions, understood_kind, where
from leadline.journal.entry import Entry
from leadline.livestock import census
from leadline.livestock.census import ABOUT, Lot
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock

MOST_NAME = 60
HOW_GONE = ("died", "missing", "given-away", "sold", "killed", "thrown-away")
NOTED = frozenset({
    "measured", "eggs-laid", "spawning", "hatched", "settled", "nothing-found", "seen", "fish-missing", "moulted",
})  # fmt: skip


def _nothing() -> None:
    return None


def arrive(
    store: Store, clock: Clock, *, system: str, kind: str, animal: str = "", count: str = "", source: str = "",
    time: str | dt.datetime | None = None, note: str = "", about: Mapping[str, Any] | None = None, token: str = "",
    last_word: Callable[[], None] = _nothing,
) -> Logged:  # fmt: skip
    """An animal, a group, a coral or a rock comes.

    Parameters
    ----------
    kind
        Id or name of its kind; one that the catalogue does not know is kept as it is typed.
    animal
        Its id; made from the kind's name when none is given.
    about
        What else is known of it (see `census.ABOUT`).

    Raises
    ------
    BadInput, UnknownName
        In one line.
    """
    if not kind.strip() and not animal.strip():
        raise BadInput("an arrival of what?", way_out="Name its kind, such as Amphiprion percula, or its own name.")
    h = house(store, clock)
    found = understood_kind(h.catalogue, kind)
    called = (found.vernacularName or found.id) if found else kind
    ident = slug(animal) if animal.strip() else free_id(h.register, called)
    if not ident:
        raise BadInput(f"{animal!r} is no name", way_out="Use letters, digits and hyphens.")
    if len(ident) > MOST_NAME:
        raise BadInput(f"a name of {len(ident)} letters", way_out=f"Keep it to {MOST_NAME}.")
    there = h.register.lots.get(ident)
    if there is not None and there.kind is not None and not there.guessed and kind.strip() and found is not there.kind:
        raise BadInput(
            f"{ident} is {there.kind_said()} already", where="its own name", way_out="Give this one another name."
        )
    _whole(count)
    unknown = sorted(set(about or ()) - set(ABOUT))
    if unknown:
        raise UnknownName("field", unknown[0], ABOUT)
    extra: dict[str, Any] = {k: v for k, v in (about or {}).items() if v not in (None, "", False)}
    if "length_cm" in extra:
        extra["length_cm"] = _length(extra["length_cm"])
    if found is not None:
        extra["kind"] = found.id
        if found is not h.catalogue.kind(kind):
            extra["said"] = kind.strip()
    elif kind.strip():
        extra["kind"] = kind.strip()
    last_word()
    return record.log(
        store, clock, system=system, kind="arrival", subject=ident, value_text=count, unit="", source=source, time=time,
        note=note, extra=extra, token=token,
    )  # fmt: skip


def _count(text: str) -> float:
    from leadline.measures.units import parse_typed

    return parse_typed(text)


_MOST = 100_000


def _whole(count: str) -> float | None:
    """How many were typed: a whole number, one or more; None when nothing was."""
    if not count.strip():
        return None
    try:
        n = _count(count)
    except BadInput:
        n = 0.5
    if n != int(n) or not 0 < n <= _MOST:
        raise BadInput(f"{count.strip()[:20]!r} of them", way_out="Give how many: a whole number, such as 2.")
    return n


def _length(said: Any) -> float:
    try:
        cm = _count(str(said))
    except BadInput:
        cm = 0.0
    if not 0.0 < cm < 2000.0:
        raise BadInput(f"a length of {str(said)[:20]!r} cm", way_out="Give it in centimetres, such as 12.5.")
    return cm


def move(
    store: Store, clock: Clock, animal: str, to: str, *, system: str = "", count: str = "", note: str = "",
    time: str | dt.datetime | None = None, tool: str = "", washed: bool = False, away: bool = False, token: str = "",
    last_word: Callable[[], None] = _nothing,
) -> Logged:  # fmt: skip
    """A lot, or part of it, goes to another system or vessel, or leaves the house.

    Parameters
    ----------
    away
        That it leaves the house, should its new place be named like one of ours.
    last_word
        Called when all else is sound, just before it is written: what it raises stops it.
    """
    h = house(store, clock)
    lot = h.lot(animal)
    begin = where(h, lot, system)
    if not to.strip():
        raise BadInput("a move to where?", way_out="Name a system, one of its vessels, or who takes it.")
    place = census.place_of(to, begin, set(h.systems), h.vessels)
    if place not in h.systems and not away:
        vessels = [v for names in h.vessels.values() for v in names]
        ours = [*h.systems, *(s.name for s in h.systems.values()), *vessels]
        near = UnknownName("", to.strip(), ours).near
        if near or to.strip() in vessels:
            way_out = f"Did you mean {' or '.join(near)}? " if near else "Name the system, too: SYSTEM/VESSEL. "
            raise BadInput(
                f"nobody knows a system or one vessel {to.strip()[:60]!r}",
                way_out=f"{way_out}Say so if it leaves the house.",
            )
    if begin == to.strip():
        raise BadInput(f"{lot.name} is in {begin} already", way_out="Name another system or vessel.")
    _enough(lot, begin, count)
    extra: dict[str, Any] = {"washed": True} if washed else {}
    if tool:
        extra["tool"] = tool
    last_word()
    return record.log(
        store, clock, system=begin, kind="transfer", subject=lot.id, value_text=count, unit="", to=to.strip(),
        time=time, note=note, extra=extra, token=token,
    )  # fmt: skip


def _enough(lot: Lot, place: str, count: str) -> None:
    wanted = _whole(count)
    if wanted is not None and wanted > lot.here[place]:
        raise BadInput(f"{wanted:g} of {lot.name}", way_out=f"There are {lot.here[place]:g} in {place}.")


def lose(
    store: Store, clock: Clock, animal: str, *, system: str = "", how: str = "died", count: str = "", note: str = "",
    exam: Mapping[str, str] | None = None, time: str | dt.datetime | None = None, token: str = "",
) -> Logged:  # fmt: skip
    """A lot, or part of it, died or left; with what the keeper's examination found."""
    h = house(store, clock)
    lot = h.lot(animal)
    place = where(h, lot, system)
    if not how:
        raise BadInput("lost how?", way_out=f"Choose one: {', '.join(HOW_GONE)}.")
    if how not in HOW_GONE:
        raise UnknownName("way of loss", how or "nothing", HOW_GONE)
    if count.strip().lower() == "all":
        count = f"{lot.here[place]:g}"
    if not count.strip() and lot.here[place] > 1:
        raise BadInput(
            f"how many of {lot.name}?", way_out=f"There are {lot.here[place]:g} in {place}; say how many, or all."
        )
    _enough(lot, place, count)
    extra: dict[str, Any] = {"how": how}
    found = {k: v for k, v in (exam or {}).items() if v}
    if found:
        extra["exam"] = found
    n = count or f"{lot.here[place]:g}"
    return record.log(
        store, clock, system=place, kind="loss", subject=lot.id, value_text=n, unit="", time=time, note=note,
        extra=extra, token=token,
    )  # fmt: skip


def see(
    store: Store, clock: Clock, system: str, animals: Sequence[str] = (), *, counts: Mapping[str, float] | None = None,
    looked_over: bool = False, search: str = "", note: str = "", time: str | dt.datetime | None = None, token: str = "",
) -> Logged:  # fmt: skip
    """Some were seen; with `looked_over` the whole system was, and whoever is not named was not seen."""
    h = house(store, clock)
    describe.load(store, system)
    ids = [h.lot(a).id for a in animals]
    strangers = [i for i in ids if not h.register.lots[i].here.get(system)]
    if strangers:
        raise BadInput(f"{strangers[0]} is not in {system}", way_out="Log its move or arrival first.")
    if not ids and not looked_over:
        raise BadInput("nothing was seen", way_out="Name an animal, or say that you looked over the system.")
    if len(ids) == 1 and not looked_over:
        extra: dict[str, Any] = {"animal": ids[0]}
        subject, value = "seen", f"{counts[ids[0]]:g}" if counts and ids[0] in counts else ""
    else:
        extra = {"seen": {i: counts[i] if counts and i in counts else True for i in ids}}
        subject, value = "census" if looked_over else "seen", ""
    return record.log(
        store, clock, system=system, kind="observation", subject=subject, value_text=value, unit="", time=time,
        note=note, extra=extra, method=search, token=token,
    )  # fmt: skip


def note(
    store: Store, clock: Clock, animal: str, sign: str, *, system: str = "", value: str = "", unit: str = "",
    note: str = "", time: str | dt.datetime | None = None, token: str = "",
) -> Logged:  # fmt: skip
    """A sign, a measure or a birth of a lot: `white-spots`, `measured` 12 cm, `eggs-laid`, `hatched`."""
    h = house(store, clock)
    lot = h.lot(animal)
    place = where(h, lot, system)
    if not sign.strip():
        raise BadInput("noted what?", way_out="Give a sign such as white-spots, measured or eggs-laid.")
    known = {s for p in h.catalogue.pests.values() if p.notice for s in p.notice.signs} | NOTED
    if slug(sign) not in known:
        near = UnknownName("sign", slug(sign), known).near
        if near:
            raise UnknownName("sign", slug(sign), known)
    if slug(sign) == "measured" and not value.strip():
        raise BadInput("measured how much?", way_out="Give the amount and its unit, such as 31 cm.")
    if slug(sign) == "measured" and unit.strip() in ("", "cm"):
        _length(value)
    return record.log(
        store, clock, system=place, kind="observation", subject=slug(sign), value_text=value, unit=unit, time=time,
        note=note, extra={"animal": lot.id}, token=token,
    )  # fmt: skip


def tell(store: Store, clock: Clock, animal: str, about: Mapping[str, Any]) -> Entry:
    """Say more of a lot: its sex, papers, price, that it can't be had again; what stood before stays in the journal."""
    h = house(store, clock)
    lot = h.lot(animal)
    unknown = sorted(set(about) - set(ABOUT))
    if unknown:
        raise UnknownName("field", unknown[0], ABOUT)
    said = dict(about)
    if said.get("kind"):
        found = understood_kind(h.catalogue, str(said["kind"]))
        near = [k.vernacularName or k.scientificName for k in suggestions(h.catalogue, str(said["kind"]))]
        if found is None and (near or not re.match(r"[A-Z][a-z]+( [a-z]+)?$", str(said["kind"]))):
            way_out = (
                f"Did you mean {' or '.join(near)}?" if near else "Give a name of the catalogue, or a scientific one."
            )
            raise BadInput(f"nobody knows the kind {str(said['kind'])[:60]!r}", way_out=way_out)
        said["kind"] = found.id if found else said["kind"]
    if "length_cm" in said:
        said["length_cm"] = _length(said["length_cm"])
    place = next(iter(lot.here), None) or (lot.stays[-1].place if lot.stays else next(iter(h.systems)))
    if place not in h.systems:
        place = next(iter(h.systems))
    logged = record.log(
        store, clock, system=place, kind="note", subject="about", value_text="", unit="",
        extra={"animal": lot.id, **said},
    )  # fmt: skip
    return logged.entry
