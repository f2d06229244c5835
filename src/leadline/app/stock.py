"""Livestock: who is where, what came and went, what was seen of them; written as entries of the journal."""

from __future__ import annotations

import datetime as dt
import re
import weakref
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from leadline.app import catalogue, describe
from leadline.app.ports import Store
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of as known_at
from leadline.livestock import census, compatibility, contacts, load, naming, quarantine, sight, treatments
from leadline.livestock.census import Lot, Register
from leadline.livestock.compatibility import Concern
from leadline.livestock.kinds import Agent, Catalogue, Certainty, Hazard, Kind, Mark, Pest
from leadline.livestock.load import Load
from leadline.livestock.paths import Contact
from leadline.livestock.sight import Unseen
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock, zone
from leadline.system.description import System

WORST_FIRST = {"predation": 0, "poison": 1, "aggression": 2, "size": 3, "needs": 9}
NO_STOP = ("needs", "gaps", "papers")  # worth reading in a check, no reason to stop
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
    _worked_out: dict[str, list[Contact]] = field(default_factory=dict, repr=False)  # shared by copies of other moments

    @property
    def vessels(self) -> dict[str, list[str]]:
        """Vessels of each system."""
        return _vessels(self.systems)

    @property
    def contacts(self) -> list[Contact]:
        """What touched what; air between neighbours is added where a trace asks for it."""
        if "contacts" not in self._worked_out:
            local = {s.id: zone(s.time_zone) for s in self.systems.values()}

            def dated(e: Entry) -> bool:  # a day and no hour: it may have been at any hour of it
                there = e.time.astimezone(local.get(e.system, dt.UTC))
                return (there.hour, there.minute, there.second) == (0, 0, 0)

            self._worked_out["contacts"] = contacts.contacts(
                self.entries, self.register, set(self.systems), self.vessels, dated
            )
        return self._worked_out["contacts"]

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
            raise UnknownName(
                "animal", name[:60], names, way_out="The register lists who is kept." if names else "None has come yet."
            )
        return found

    def of(self, system: str) -> list[Entry]:
        """Entries of one system."""
        return [e for e in self.entries if e.system == system]

    def hazards(self, system: str, *triggers: str) -> list[tuple[Lot, Hazard]]:
        """Toxic or dangerous livestock at a system that one of these triggers sets off."""
        return [
            (x, h) for x in self.register.at(system) for h in compatibility.toxic(x, self.catalogue, *triggers)
        ]  # fmt: skip


_kept: weakref.WeakKeyDictionary[Store, tuple[object, House, dict[str, int]]] = weakref.WeakKeyDictionary()


def house(store: Store, clock: Clock, as_of: dt.datetime | None = None, on: dt.datetime | None = None) -> House:
    """Everything that is kept: now, as it was known at `as_of`, or as it was `on` a day by what is known now."""
    now = as_of or clock.now()
    systems = store.systems()
    key = (as_of, on, tuple((s, store.system_document(s)) for s in systems), repr(store.records(catalogue.OWN)))
    found = _kept.get(store)
    if found is not None and found[0] == key and found[1].at <= now and _nothing_new(store, found[2]):
        return replace(found[1], at=min(on, now) if on is not None else now)  # time alone moves nobody
    seqs = {s: store.last_seq(s) for s in systems}
    described = {s: describe.load(store, s, as_of) for s in systems}
    everything = store.entries(kinds=census.KINDS_READ)
    stands = known_at(everything, now).entries
    if on is not None:
        stands, now = tuple(e for e in stands if e.time <= on), min(on, now)
    ours = catalogue.catalogue(store)
    register = census.register(stands, set(systems), ours, _vessels(described))
    made = House(now, described, stands, ours, register)
    if not any(e.known_at > now for e in everything):  # else something comes to be known by time alone
        _kept[store] = (key, made, seqs)
    return made


def _nothing_new(store: Store, seqs: dict[str, int]) -> bool:
    """Whether nothing that tells of livestock was written since; readings and doses are looked past once."""
    for system, seq in seqs.items():
        last = store.last_seq(system)
        if last < seq or (last > seq and store.entries(system, after_seq=seq, kinds=census.KINDS_READ)):
            return False
        seqs[system] = last
    return True


def _vessels(systems: Mapping[str, System]) -> dict[str, list[str]]:
    return {s.id: [v.id for v in s.vessels] for s in systems.values()}


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


def understood_kind(known: Catalogue, words: str) -> Kind | None:
    """The kind that some words mean: by its name, by a name inside them, by a telling word (`copperband`)."""
    if not words.strip():
        return None
    return known.kind(words) or naming.inside(known, words)


def suggestions(known: Catalogue, words: str) -> list[Kind]:
    """Kinds with names like some words."""
    return naming.near(known, words) if words.strip() else []


def taken_as(known: Catalogue, words: str, lot: Lot) -> str:
    """What the words of an arrival were understood as, and what else they could mean; one sentence, or nothing."""
    if not lot.lives:
        return f"Taken as {lot.group}."
    if lot.kind is not None:
        name = lot.kind.vernacularName
        return f"Taken as {lot.kind.scientificName}{f' ({name})' if name else ''}."
    near = [k.scientificName for k in suggestions(known, words)]
    like = f" Names like it: {', '.join(near)}." if near else ""
    return f"The catalogue does not know this kind: what it needs, brings and does is unknown.{like}"


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


# -- reading -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Check:
    """What speaks against keeping so many of a kind at a system, and what they would take and give.

    `load` is of those that would come, `there` of the fish that are there; `guessed`: its kind was
    only found inside what was typed.
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
    guessed: bool = False

    @property
    def serious(self) -> list[Concern]:
        """What is known or likely to go wrong, the worst first."""
        found = [c for c in self.concerns if c.certainty in ("known", "likely") and c.about not in NO_STOP]
        return sorted(found, key=lambda c: WORST_FIRST.get(c.about, 5))

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
    found = understood_kind(h.catalogue, kind)
    residents = [x for x in h.register.at(system) if x.id != leaving_out]
    warm = temperature_of(described)
    there = [x for x in (load.of_lot(r, system, warm) for r in residents) if x is not None]
    total = _summed(there)
    if found is None:
        near_names = [k.vernacularName or k.scientificName for k in suggestions(h.catalogue, kind)]
        hint = f"; did you mean {', '.join(near_names)}?" if near_names else ""
        said = f"the catalogue does not know {kind}: nothing can be said of it{hint}"
        unknown = Concern(Certainty.UNKNOWN, "gaps", said, (), Mark.JUDGEMENT)
        return Check(None, kind, count, system, (unknown,), None, total, described.net_volume_l, warm, (), "")
    size = max((v.inner_size_m[0] for v in described.vessels if v.inner_size_m), default=None)
    concerns = compatibility.check(
        found, count, residents, h.catalogue, net_volume_l=described.net_volume_l, longest_m=size,
        pumps_unguarded=unguarded(described),
    )  # fmt: skip
    poisoned = poisoned_by(h, system, found)
    certain = list(Certainty)
    concerns = sorted(
        [*([poisoned] if poisoned else []), *concerns],
        key=lambda c: (certain.index(c.certainty), WORST_FIRST.get(c.about, 5)),
    )
    one = load.of_kind(found, warm)
    pests = tuple(p.name for p in h.catalogue.pests.values() if p.hosts and found.is_any(p.hosts) and p.rides)
    into = "" if described.purpose != "display" else _units(h)
    return Check(
        found, found.vernacularName or found.scientificName, count, system, tuple(concerns),
        one.times(count) if one else None, total, described.net_volume_l, warm, pests, into,
        found is not h.catalogue.kind(kind),
    )  # fmt: skip


def poisons_in(h: House, system: str) -> list[tuple[dt.datetime, Agent]]:
    """Medicines that were used in a system's water since it was last torn down, the latest first."""
    down = [t for t, place in contacts.torn_down(h.entries, set(h.systems)) if place == system]
    return [
        (e.time, agent) for e in reversed(h.of(system))
        if e.kind in ("treatment", "addition") and e.subject != "dip"
        and not any(t > e.time.timestamp() for t in down)
        for agent in treatments.agents_of(e, h.catalogue) if agent.use == "medicine"
    ]  # fmt: skip


def poisoned_by(h: House, system: str, kind: Kind) -> Concern | None:
    """A medicine that was used in a system's water, that harms this kind, and that nobody has been rid of since: rock,
    sand and plumbing give copper back."""
    for at, agent in poisons_in(h, system):
        if kind.is_any(agent.harms):
            day = at.astimezone(zone(h.systems[system].time_zone)).date()
            said = (
                f"{agent.name.lower()} was used in this water on {day} and harms it; rock, sand and plumbing can give "
                "it back: measure first"
            )
            return Concern(Certainty.KNOWN, "poison", said, (), Mark.SOURCE, "S28")
    return None


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
    here = h.of(system)
    came = [
        e for e in h.entries
        if e.kind == "transfer" and e.system != system
        and census.place_of(e.to, e.system, set(h.systems), h.vessels) == system
    ]  # fmt: skip
    for e in sorted((*here, *came), key=lambda e: e.time):
        if e.kind not in ("transfer", "loss", "treatment") or h.at - e.time > dt.timedelta(hours=hours):
            continue
        lot = h.register.lots.get(e.subject) or h.register.lots.get(str(e.extra.get("animal", "")))
        if lot is None:
            continue
        hazards = [x for x in cautions(h, lot) if "fish" in x.victims or "all" in x.victims or x.id == "palytoxin"]
        looked = any(x.kind == "observation" and x.time > e.time + dt.timedelta(hours=1) for x in here)
        if hazards and not looked:
            found.append((lot, hazards[0], e.time))
    return found


def not_seen(h: House, system: str) -> list[Unseen]:
    """Who was not seen for how long, the likeliest gone first."""
    return sight.unseen(h.register, system, h.at)


_SIGN_D = 14.0


def open_signs(h: House, system: str) -> list[tuple[dt.datetime, str, tuple[str, ...], str]]:
    """Signs of parasites and pests noted here within a fortnight that nobody has followed up.

    (last moment, sign, names of what they point to, of whom). One sign counts once; an entry `nothing-found` or a
    treatment after it ends it."""
    found: dict[str, tuple[dt.datetime, str, tuple[str, ...], str]] = {}
    entries = h.of(system)
    settled = max((e.time for e in entries if e.kind == "treatment" or e.subject == "nothing-found"), default=None)
    for e in entries:
        if e.kind != "observation" or h.at - e.time > dt.timedelta(days=_SIGN_D):
            continue
        if settled is not None and e.time <= settled:
            continue
        pests = pointing(h, e.subject)
        if pests and e.subject in quarantine.DISEASE:
            before = found.get(e.subject)
            who = ", ".join(dict.fromkeys(filter(None, [before[3] if before else "", str(e.extra.get("animal", ""))])))
            found[e.subject] = (e.time, e.subject, tuple(p.name for p in pests), who.replace("-", " "))
    return list(found.values())


def pointing(h: House, sign: str) -> list[Pest]:
    """Pests and parasites that a sign is on record as pointing to."""
    return [p for p in h.catalogue.pests.values() if p.notice is not None and sign in p.notice.signs]
