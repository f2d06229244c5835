"""Quarantine as it stands: the unit's plan from its journal and its water's temperature; what is done is logged."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from leadline.app import record, stock
from leadline.app.ports import Store
from leadline.app.record import Logged
from leadline.app.stock import House
from leadline.livestock import contacts, quarantine
from leadline.livestock.census import Lot
from leadline.livestock.fallow import Fallow, fallow
from leadline.livestock.kinds import Agent
from leadline.livestock.quarantine import Plan
from leadline.livestock.treatments import Warmth, reaches
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock, zone

BASES = ("removed", "partly", "no")
_LEAST_POINTS = 3


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
    started = max(s for x in lots if (s := x.since(system)) is not None)
    photos = [p.taken_at for x in lots for p in store.photos(subject=x.id) if p.taken_at <= h.at]
    return quarantine.plan(
        system, h.register, h.of(system), h.catalogue, warmth(store, system, started, h.at), h.at, photos=photos,
        shared=shared(h, system, started), local=zone(described.time_zone),
    )  # fmt: skip


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
    """Coldest and warmest daily mean of a unit's water since a moment: by its probe, else by readings by hand."""
    from leadline.app import describe

    begin_s, end_s = since.timestamp() - 86400.0, now.timestamp()
    for stream in describe.load(store, system).streams:
        if stream.quantity != "temperature" or stream.room:
            continue
        days = store.rollup(system, stream.id, begin_s, end_s, "1d")
        means = [float(t / n) for t, n in zip(days.total, days.n, strict=True) if n >= _LEAST_POINTS]
        if means:
            return Warmth(min(means), max(means), len(means))
    readings = [
        e for e in store.entries(system, kinds=("reading",))
        if e.subject == "temperature" and e.stored is not None and begin_s <= e.time.timestamp() <= end_s
        and e.known_at <= now
    ]  # fmt: skip
    if not readings:
        return None
    values = [float(e.stored) for e in readings if e.stored is not None]
    return Warmth(min(values), max(values), len({e.time.date() for e in readings}))


def treat(
    store: Store, clock: Clock, system: str, *, agent: str, what: str = "dip", animals: str = "", base: str = "",
    minutes: str = "", concentration: str = "", water: str = "", fell_off: str = "", rinse: str = "", note: str = "",
    time: str | dt.datetime | None = None, token: str = "",
) -> Logged:  # fmt: skip
    """A dip or a medicine, as it was done. Nothing here says how much of it to take.

    Raises
    ------
    BadInput
        When copper or another agent that kills them would meet animals here, until it is said that they are out.
    """
    h = stock.house(store, clock)
    if not agent.strip():
        raise BadInput("treated with what?", way_out="Name the agent, or say unknown.")
    known = h.catalogue.agent(agent)
    if base and base not in BASES:
        raise UnknownName("state of the base", base, BASES)
    hurt = harmed(h, system, known) if known and what == "medicine" else []
    if hurt and "moved out" not in note:
        raise BadInput(
            f"{known.name if known else agent} harms {', '.join(x.name for x in hurt)}, which live here",
            way_out='Move them first; or write "moved out" in the note when they are in other water.',
        )
    extra: dict[str, Any] = {"agent": known.id if known else agent.strip()}
    more: Mapping[str, str] = {
        "minutes": minutes, "concentration": concentration, "water": water, "fell_off": fell_off, "rinse": rinse,
        "base": base, "animals": animals,
    }  # fmt: skip
    extra.update({k: v for k, v in more.items() if v})
    return record.log(
        store, clock, system=system, kind="treatment", subject=what, value_text="", unit="", time=time, note=note,
        extra=extra, token=token,
    )  # fmt: skip


def harmed(h: House, system: str, agent: Agent) -> list[Lot]:
    """Livestock at a system that an agent is on record as harming."""
    return [x for x in h.register.at(system) if x.kind is not None and x.kind.is_any(agent.harms)]


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
    p = h.catalogue.pest(pest)
    wet = []
    for c in h.contacts:
        other = c.begin if c.end == system else c.end if c.both and c.begin == system else ""
        if other in h.systems and c.by in ("water", "tool", "rock", "animal") and h.register.hosts_at(other, p.hosts):
            wet.append((dt.datetime.fromtimestamp(c.at_s, dt.UTC), f"{c.what or c.by} came from {other}"))
    water = warmth(store, system, h.at - dt.timedelta(days=90), h.at)
    return fallow(system, p, h.register, wet, water)
