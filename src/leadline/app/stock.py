"""Livestock: who is where, what came and went, what was seen of them; written as entries of the journal."""

from __future__ import annotations

import datetime as dt
import re
import weakref
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from leadline.app import catalogue, describe, record
from leadline.app.ports import Store
from leadline.app.record import Logged
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of as known_at
from leadline.livestock import census, compatibility, contacts, load, quarantine, sight
from leadline.livestock.census import ABOUT, Lot, Register
from leadline.livestock.compatibility import Concern
from leadline.livestock.kinds import Catalogue, Hazard, Kind, Pest
from leadline.livestock.load import Load
from leadline.livestock.paths import Contact
from leadline.livestock.sight import Unseen
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock
from leadline.system.description import System

HOW_GONE = ("died", "missing", "given-away", "sold", "killed")
PUMP_PRONE = "pump"
TOXIC_REMOVAL = ("removal", "cutting", "stress", "death", "handling")
_GUARD_D = 30.0  # how often an intake's guard is looked at: judgement [d]


@dataclass(slots=True)
class House:
    """Everything that is kept, as it is known at a moment."""

    at: dt.datetime
    systems: dict[str, System]
    entries: tuple[Entry, ...]
    catalogue: Catalogue
    register: Register
    _contacts: list[Contact] | None = field(default=None, repr=False)

    @property
    def vessels(self) -> dict[str, str]:
        """Vessel to system, for vessels whose name stands only once."""
        return _vessels(self.systems)

    @property
    def contacts(self) -> list[Contact]:
        """What touched what; air between neighbours is added where a trace asks for it."""
        if self._contacts is None:
            self._contacts = contacts.contacts(self.entries, self.register, set(self.systems), self.vessels)
        return self._contacts

    def lot(self, name: str) -> Lot:
        """A lot by its id.

        Raises
        ------
        UnknownName
            With near names.
        """
        found = self.register.lots.get(name) or self.register.lots.get(slug(name))
        if found is None:
            names = [x.id for x in self.register.lots.values() if x.lives]
            raise UnknownName("animal", name, names, way_out="" if names else "None has come yet.")
        return found

    def of(self, system: str) -> list[Entry]:
        """Entries of one system."""
        return [e for e in self.entries if e.system == system]

    def hazards(self, system: str, *triggers: str) -> list[tuple[Lot, Hazard]]:
        """Toxic or dangerous livestock at a system that one of these triggers sets off."""
        return [
            (x, h) for x in self.register.at(system) for h in compatibility.toxic(x, self.catalogue, *triggers)
        ]  # fmt: skip


_kept: weakref.WeakKeyDictionary[Store, tuple[object, House]] = weakref.WeakKeyDictionary()


def house(store: Store, clock: Clock, as_of: dt.datetime | None = None, on: dt.datetime | None = None) -> House:
    """Everything that is kept: now, as it was known at `as_of`, or as it was `on` a day by what is known now."""
    now = as_of or clock.now()
    systems = store.systems()
    key = (
        as_of, on, tuple((s, store.last_seq(s), store.system_document(s)) for s in systems),
        repr(store.records(catalogue.OWN)), now.replace(second=0, microsecond=0),
    )  # fmt: skip
    found = _kept.get(store)
    if found is not None and found[0] == key:
        return found[1]
    described = {s: describe.load(store, s, as_of) for s in systems}
    stands = known_at(store.entries(kinds=census.KINDS_READ), now).entries
    if on is not None:
        stands, now = tuple(e for e in stands if e.time <= on), min(on, now)
    ours = catalogue.catalogue(store)
    register = census.register(stands, set(systems), ours, _vessels(described))
    made = House(now, described, stands, ours, register)
    _kept[store] = (key, made)
    return made


def _vessels(systems: Mapping[str, System]) -> dict[str, str]:
    found: dict[str, str] = {}
    twice: set[str] = set()
    for s in systems.values():
        for v in s.vessels:
            (twice.add if v.id in found else lambda x: None)(v.id)
            found[v.id] = s.id
    return {v: s for v, s in found.items() if v not in twice and v not in systems}


def slug(name: str) -> str:
    """An id from a name: lower-case words with hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")


def free_id(register: Register, name: str) -> str:
    """An id that is not taken: `percula`, `percula-2`."""
    base = slug(name) or "animal"
    ident, n = base, 2
    while ident in register.lots:
        ident, n = f"{base}-{n}", n + 1
    return ident


# -- writing -----------------------------------------------------------------------------------------


def arrive(
    store: Store, clock: Clock, *, system: str, kind: str, animal: str = "", count: str = "", source: str = "",
    time: str | dt.datetime | None = None, note: str = "", about: Mapping[str, Any] | None = None, token: str = "",
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
    found = h.catalogue.kind(kind) if kind.strip() else None
    ident = (
        slug(animal) if animal.strip() else free_id(h.register, (found.vernacularName or found.id) if found else kind)
    )
    if not ident:
        raise BadInput(f"{animal!r} is no name", way_out="Use letters, digits and hyphens.")
    if count.strip() and _count(count) <= 0:
        raise BadInput(f"{count} of them", way_out="Give how many came, one or more.")
    unknown = sorted(set(about or ()) - set(ABOUT))
    if unknown:
        raise UnknownName("field", unknown[0], ABOUT)
    extra: dict[str, Any] = {k: v for k, v in (about or {}).items() if v not in (None, "", False)}
    if found is not None:
        extra["kind"] = found.id
    elif kind.strip():
        extra["scientificName" if re.match(r"[A-Z][a-z]+( [a-z]+)?$", kind.strip()) else "kind"] = kind.strip()
    return record.log(
        store, clock, system=system, kind="arrival", subject=ident, value_text=count, unit="", source=source, time=time,
        note=note, extra=extra, token=token,
    )  # fmt: skip


def _count(text: str) -> float:
    from leadline.measures.units import parse_number

    return parse_number(text)


def move(
    store: Store, clock: Clock, animal: str, to: str, *, system: str = "", count: str = "", note: str = "",
    time: str | dt.datetime | None = None, tool: str = "", washed: bool = False, token: str = "",
) -> Logged:  # fmt: skip
    """A lot, or part of it, goes to another system or vessel, or leaves the house."""
    h = house(store, clock)
    lot = h.lot(animal)
    begin = where(h, lot, system)
    if not to.strip():
        raise BadInput("a move to where?", way_out="Name a system, one of its vessels, or who takes it.")
    if begin == to.strip():
        raise BadInput(f"{lot.name} is in {begin} already", way_out="Name another system or vessel.")
    _enough(lot, begin, count)
    extra: dict[str, Any] = {"washed": True} if washed else {}
    if tool:
        extra["tool"] = tool
    return record.log(
        store, clock, system=begin, kind="transfer", subject=lot.id, value_text=count, unit="", to=to.strip(),
        time=time, note=note, extra=extra, token=token,
    )  # fmt: skip


def where(h: House, lot: Lot, system: str = "") -> str:
    """Where a lot is; one of several places must be named."""
    places = list(lot.here)
    if system:
        if system not in places:
            said = f"it is in {' and '.join(places)}" if places else "none of it is kept any more"
            raise BadInput(f"{lot.name} is not in {system}", way_out=f"{said[:1].upper()}{said[1:]}.")
        return system
    if not places:
        raise BadInput(f"none of {lot.name} is kept any more", way_out="Log its arrival first.")
    if len(places) > 1:
        raise BadInput(f"{lot.name} is in {' and '.join(places)}", way_out="Say which with --system.")
    return places[0]


def _enough(lot: Lot, place: str, count: str) -> None:
    if count.strip():
        wanted = _count(count)
        if not 0 < wanted <= lot.here[place]:
            raise BadInput(f"{wanted:g} of {lot.name}", way_out=f"There are {lot.here[place]:g} in {place}.")


def lose(
    store: Store, clock: Clock, animal: str, *, system: str = "", how: str = "died", count: str = "", note: str = "",
    exam: Mapping[str, str] | None = None, time: str | dt.datetime | None = None, token: str = "",
) -> Logged:  # fmt: skip
    """A lot, or part of it, died or left; with what the keeper's examination found."""
    h = house(store, clock)
    lot = h.lot(animal)
    place = where(h, lot, system)
    if how not in HOW_GONE:
        raise UnknownName("way of loss", how, HOW_GONE)
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
        found = h.catalogue.kind(str(said["kind"]))
        said["kind"] = found.id if found else said["kind"]
    place = next(iter(lot.here), None) or (lot.stays[-1].place if lot.stays else next(iter(h.systems)))
    if place not in h.systems:
        place = next(iter(h.systems))
    logged = record.log(
        store, clock, system=place, kind="note", subject="about", value_text="", unit="",
        extra={"animal": lot.id, **said},
    )  # fmt: skip
    return logged.entry


# -- reading -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Check:
    """What speaks against keeping so many of a kind at a system, and what they would take and give.

    `load` is of those that would come, `there` of the fish that are there.
    """

    kind: Kind | None
    name: str
    count: float
    system: str
    concerns: tuple[Concern, ...]
    load: Load | None
    there: Load | None
    net_volume_l: float
    temperature_c: float
    pests: tuple[str, ...]
    quarantine: str

    @property
    def hours_of_oxygen(self) -> float | None:
        """Hours in which what comes takes 1 mg/L from all the water, at the middle figure and with no gas exchanged."""
        return self.net_volume_l / self.load.oxygen_mg_h[1] if self.load else None


def check(
    store: Store, clock: Clock, system: str, kind: str, count: float = 1.0, *, leaving_out: str = "",
    as_of: dt.datetime | None = None,
) -> Check:  # fmt: skip
    """What is known, likely, reported and unknown of so many of a kind beside those at a system."""
    h = house(store, clock, as_of)
    described = describe.load(store, system, as_of)
    found = h.catalogue.kind(kind)
    residents = [x for x in h.register.at(system) if x.id != leaving_out]
    warm = temperature_of(described)
    there = [x for x in (load.of_lot(r, system, warm) for r in residents) if x is not None]
    total = _summed(there)
    if found is None:
        near = UnknownName("kind", kind, [n for k in h.catalogue.kinds.values() for n in (k.id, k.scientificName)]).near
        hint = f"; did you mean {' or '.join(near)}?" if near else ""
        said = f"nobody told the catalogue what {kind} is: nothing can be said of it{hint}"
        from leadline.livestock.kinds import Certainty, Mark

        unknown = Concern(Certainty.UNKNOWN, "gaps", said, tuple(r.id for r in residents), Mark.OWN)
        return Check(None, kind, count, system, (unknown,), None, total, described.net_volume_l, warm, (), "")
    size = max((v.inner_size_m[0] for v in described.vessels if v.inner_size_m), default=None)
    concerns = compatibility.check(
        found, count, residents, h.catalogue, net_volume_l=described.net_volume_l, longest_m=size,
        pumps_unguarded=unguarded(described),
    )  # fmt: skip
    one = load.of_kind(found, warm)
    pests = tuple(p.name for p in h.catalogue.pests.values() if p.hosts and found.is_any(p.hosts) and p.rides)
    into = "" if described.purpose != "display" else _units(h)
    return Check(
        found, found.vernacularName or found.scientificName, count, system, tuple(concerns),
        one.times(count) if one else None, total, described.net_volume_l, warm, pests, into,
    )  # fmt: skip


def _units(h: House) -> str:
    return next((s.id for s in h.systems.values() if "quarantine" in s.purpose), "")


def _summed(loads: Sequence[Load]) -> Load | None:
    if not loads:
        return None
    parts = [tuple(sum(x[i] for x in part) for i in range(3)) for part in zip(
        *((x.oxygen_mg_h, x.nitrogen_mg_d, x.weight_g) for x in loads), strict=True)]  # fmt: skip
    return Load(*parts)


def temperature_of(described: System) -> float:
    """The temperature that a system is kept at: the middle of its aim, else its heater's setpoint, else 25. [°C]"""
    band = described.bands.get("temperature")
    if band is not None:
        return sum(band.aim) / 2.0
    return next((e.setpoint_c for e in described.equipment if e.setpoint_c is not None), 25.0)


def unguarded(described: System) -> list[str]:
    """Pumps that declare no guard at their intake."""
    return [e.id for e in described.equipment if e.type == "pump" and not e.rest.get("guard")]


def guards_due(h: House, system: str) -> list[tuple[str, str, float | None]]:
    """Pumps to look at where livestock lives that a pump can shred: (pump, who lives there, days since its guard was
    looked at, None without a guard)."""
    prone = h.hazards(system, PUMP_PRONE)
    if not prone:
        return []
    who = " and ".join(dict.fromkeys(x.name for x, _ in prone))
    found: list[tuple[str, str, float | None]] = []
    for e in h.systems[system].equipment:
        if e.type != "pump":
            continue
        if not e.rest.get("guard"):
            found.append((e.id, who, None))
            continue
        looked = [x.time for x in h.of(system) if x.kind == "service" and x.subject in (e.id, f"{e.id}-guard")]
        days = (h.at - max(looked)).total_seconds() / 86400.0 if looked else 365.0
        if days > _GUARD_D:
            found.append((e.id, who, days))
    return found


def cautions(h: House, lot: Lot, *triggers: str) -> list[Hazard]:
    """What must be minded before a lot is touched, moved, cut or taken out."""
    return compatibility.toxic(lot, h.catalogue, *(triggers or TOXIC_REMOVAL))


def disturbed(h: House, system: str, hours: float = 24.0) -> list[tuple[Lot, Hazard, dt.datetime]]:
    """Toxic livestock that was moved, cut or lost here within the last hours, and nobody has looked since."""
    found = []
    entries = h.of(system)
    for e in entries:
        if e.kind not in ("transfer", "loss", "treatment") or h.at - e.time > dt.timedelta(hours=hours):
            continue
        lot = h.register.lots.get(e.subject) or h.register.lots.get(str(e.extra.get("animal", "")))
        if lot is None:
            continue
        hazards = [x for x in cautions(h, lot) if "fish" in x.victims or "all" in x.victims or x.id == "palytoxin"]
        looked = any(
            x.kind == "observation" and x.time > e.time + dt.timedelta(hours=1) for x in entries
        )  # fmt: skip
        if hazards and not looked:
            found.append((lot, hazards[0], e.time))
    return found


def not_seen(h: House, system: str) -> list[Unseen]:
    """Who was not seen for how long, the likeliest gone first."""
    return sight.unseen(h.register, system, h.at)


_SIGN_D = 14.0


def open_signs(h: House, system: str) -> list[tuple[dt.datetime, str, tuple[str, ...]]]:
    """Signs of parasites and pests noted here within a fortnight that nobody has followed up: (moment, sign, names of
    what they point to). One sign counts once; an entry `nothing-found` or a treatment after it ends it."""
    found: dict[str, tuple[dt.datetime, str, tuple[str, ...]]] = {}
    entries = h.of(system)
    settled = max((e.time for e in entries if e.kind == "treatment" or e.subject == "nothing-found"), default=None)
    for e in entries:
        if e.kind != "observation" or h.at - e.time > dt.timedelta(days=_SIGN_D):
            continue
        if settled is not None and e.time <= settled:
            continue
        pests = pointing(h, e.subject)
        if pests and e.subject in quarantine.DISEASE:
            found.setdefault(e.subject, (e.time, e.subject, tuple(p.name for p in pests)))
    return list(found.values())


def pointing(h: House, sign: str) -> list[Pest]:
    """Pests and parasites that a sign is on record as pointing to."""
    return [p for p in h.catalogue.pests.values() if p.notice is not None and sign in p.notice.signs]
