"""Quarantine as it stands: the unit's plan from its journal and its water's temperature; what is done is logged."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from leadline.app import record, stock
from leadline.app.ports import Store
from leadline.app.record import Logged
from leadline.app.stock import House
from leadline.journal.journal import as_of as known_at
from leadline.livestock import contacts, naming, quarantine
from leadline.livestock.fallow import Fallow, fallow
from leadline.livestock.kinds import Agent, Pest
from leadline.livestock.quarantine import Plan
from leadline.livestock.treatments import Warmth, reaches
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock, zone

BASES = ("removed", "partly", "no")
_LEAST_HOURS = 6  # of a day, for its mean to count
_CYST_D = 76.0  # so long after its last fish a system can still give cysts: the fallow time [d]
PARASITE = "marine-white-spot"  # whose cysts live longest on what is wet


def units(h: House) -> list[str]:
    """Systems that serve as quarantine."""
    return [s.id for s in h.systems.values() if "quarantine" in s.purpose or s.purpose == "hospital"]


def plan(store: Store, clock: Clock, system: str, as_of: dt.datetime | None = None) -> Plan | None:
    """The plan of a unit, or None where nothing lives in it."""
    h = stock.house(store, clock, as_of)
    described = h.systems.get(system)
    if described is None:
        raise UnknownName("system", system, h.systems)
    lots = h.register.at(system)
    if not lots:
        return None
    first = min(s for x in lots if (s := x.since(system)) is not None)
    newest = max(s for x in lots if (s := x.newest(system)) is not None)
    photos = [p.taken_at for x in lots for p in store.photos(subject=x.id) if p.taken_at <= h.at]
    return quarantine.plan(
        system, h.register, h.of(system), h.catalogue, warmth(store, system, first, h.at), h.at, photos=photos,
        shared=shared(h, system, newest), wet=wet(h, system, first, PARASITE), local=zone(described.time_zone),
    )  # fmt: skip


def wet(h: House, system: str, since: dt.datetime, pest: str) -> list[tuple[dt.datetime, str]]:
    """What came into a system wet from where hosts of a parasite live, or lived within the life of its cysts; rock,
    coral and water of a dealer always. Arrivals and moves of livestock are told apart from it."""
    p = h.catalogue.pests.get(pest)
    tags = p.hosts if p is not None else ("fish",)
    ride = p.ride("tool") if p is not None else None

    def had_hosts(place: str, when: dt.datetime) -> bool:
        return h.register.had_hosts(place, tags, when - dt.timedelta(days=_CYST_D), when)

    return contacts.wet_goods(h.contacts, system, since, had_hosts, ride.lasts_d if ride else 28.0)


def shared(h: House, system: str, since: dt.datetime) -> list[str]:
    """What hands did in the wrong order between this unit and others since its clock began, in words."""
    purposes = {s.id: s.purpose for s in h.systems.values()}
    wrong = [
        (begin, end) for t, begin, end, _ in contacts.order_of_visits(h.entries, purposes)
        if t >= since and system in (begin, end)
    ]  # fmt: skip
    found = []
    for pair in dict.fromkeys(wrong):
        n = wrong.count(pair)
        often = f" on {n} evenings" if n > 1 else ""
        found.append(f"wet work went on from {pair[0]} to {pair[1]}{often} without a note that hands were washed")
    return found


def warmth(store: Store, system: str, since: dt.datetime, now: dt.datetime) -> Warmth | None:
    """Coldest and warmest day of a unit's water since a moment, or in the fortnight before now where that is longer: by
    its probes, and by readings by hand."""
    import numpy as np

    from leadline.app import describe

    begin_s = min(since.timestamp() - 86400.0, now.timestamp() - 14 * 86400.0)
    means: dict[int, float] = {}
    for stream in describe.load(store, system).streams:
        if stream.quantity != "temperature" or stream.room:
            continue
        hours = store.rollup(system, stream.id, begin_s, now.timestamp(), "1h")
        days = (hours.start_s // 86400.0).astype(int)
        for day in np.unique(days):
            part = days == day
            if part.sum() >= _LEAST_HOURS:
                means.setdefault(int(day), float(hours.total[part].sum() / hours.n[part].sum()))
    stands = known_at(store.entries(system, kinds=("reading",)), now).entries
    for e in stands:
        if e.subject == "temperature" and e.stored is not None and e.time.timestamp() >= begin_s:
            means.setdefault(int(e.time.timestamp() // 86400.0), float(e.stored))
    return Warmth(min(means.values()), max(means.values()), len(means)) if means else None


def treat(
    store: Store, clock: Clock, system: str, *, agent: str, what: str = "dip", animals: Sequence[str] = (),
    base: str = "", minutes: str = "", concentration: str = "", water: str = "", found: str = "", fell_off: str = "",
    rinse: str = "", moved_out: bool = False, note: str = "", time: str | dt.datetime | None = None, token: str = "",
) -> Logged:  # fmt: skip
    """A dip or a medicine, as it was done. Nothing here says how much of it to take.

    Parameters
    ----------
    animals
        Ids of those who were treated; all that live there when none is named.
    found
        What came off: `nothing`, a pest's id, or `unknown pest`.
    moved_out
        That those whom the agent harms were in other water.

    Raises
    ------
    BadInput
        When copper or another agent that kills them would meet animals here, until it is said that they are out.
    """
    h = stock.house(store, clock)
    if system not in h.systems:
        raise UnknownName("system", system, h.systems)
    if not agent.strip():
        raise BadInput("treated with what?", way_out="Choose the agent, or say unknown.")
    known = naming.agents_in(h.catalogue, agent)
    if not known and agent.strip().lower() != "unknown":
        names = [n for a in h.catalogue.agents.values() for n in (a.id, a.name.lower())]
        near = UnknownName("agent", agent.strip().lower(), names).near
        if near:
            raise UnknownName("agent", agent.strip().lower(), names)
    if base and base not in BASES:
        raise UnknownName("state of the base", base, BASES)
    here = h.register.at(system)
    lots = [h.lot(a) for a in animals] or here
    strangers = [x.id for x in lots if not x.here.get(system)]
    if strangers:
        raise BadInput(f"{strangers[0]} is not in {system}", way_out="Name those who live there.")
    from leadline.app import stock_warn

    for a in known:
        if a.use == "medicine" and not moved_out:
            stock_warn.refuse_harm(a, here)
    extra: dict[str, Any] = {"agent": known[0].id if len(known) == 1 else agent.strip()}
    more: Mapping[str, Any] = {
        "minutes": minutes, "concentration": concentration, "water": water, "fell_off": fell_off, "rinse": rinse,
        "base": base, "animals": [x.id for x in lots] if animals else [], "found": found, "moved_out": moved_out,
    }  # fmt: skip
    extra.update({k: v for k, v in more.items() if v})
    return record.log(
        store, clock, system=system, kind="treatment", subject=what, value_text="", unit="", time=time, note=note,
        extra=extra, token=token,
    )  # fmt: skip


def against(h: House, agent: Agent) -> tuple[list[str], list[str]]:
    """What an agent is on record as reaching, and as not reaching, among pests and stages."""
    names = {p.id: p.name for p in h.catalogue.pests.values()}
    hits = [names.get(r.of, r.of) for r in agent.reaches if r.does != "not"]
    misses = [names.get(r.of, r.of) for r in agent.reaches if r.does == "not"]
    return hits, misses


def dips_for(h: House, plan_: Plan) -> list[Agent]:
    """Dips that are on record as reaching something of what the plan is against, for the form."""
    pests = [a.pest for a in plan_.against if a.hosts]
    dips = [a for a in h.catalogue.agents.values() if a.use == "dip"]
    return sorted(dips, key=lambda a: -sum(reaches(a, p) for p in pests))


def fallow_of(store: Store, clock: Clock, system: str, pest: str, as_of: dt.datetime | None = None) -> Fallow:
    """A display without hosts of a parasite: since when, until when at least."""
    h = stock.house(store, clock, as_of)
    if system not in h.systems:
        raise UnknownName("system", system, h.systems)
    return fallow_in(store, h, system, h.catalogue.pest(pest))


def fallow_in(store: Store, h: House, system: str, p: Pest) -> Fallow:
    """The same, as things are known in a house."""
    came = wet(h, system, dt.datetime.min.replace(tzinfo=dt.UTC), p.id)
    water = warmth(store, system, h.at - dt.timedelta(days=90), h.at)
    return fallow(system, p, h.register, came, water)
