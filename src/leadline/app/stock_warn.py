"""What must be read, or refused, before livestock comes, moves, leaves quarantine, or meets a medicine."""

from __future__ import annotations

from collections.abc import Sequence

from leadline.app import catalogue, quarantine, stock
from leadline.app.ports import Store
from leadline.app.stock import House
from leadline.journal.entry import Entry
from leadline.livestock import census, naming, treatments
from leadline.livestock.census import Lot
from leadline.livestock.kinds import Agent
from leadline.measures.errors import BadInput
from leadline.measures.figures import day
from leadline.measures.moments import Clock, zone
from leadline.present import stock as said

_SIGNS_D = 30


def before_it_comes(store: Store, clock: Clock, system: str, kind: str, n: float = 1.0) -> list[str]:
    """What is known or likely to go wrong when so many of a kind come to a system; that a kind is unknown."""
    h = stock.house(store, clock)
    if kind.strip() and stock.understood_kind(h.catalogue, kind) is None:
        if naming.group_of(kind, {}, None) != "other":
            return []  # rock, water, a tool
        near = [said.kind_named(k) for k in stock.suggestions(h.catalogue, kind)]
        like = f" Names like it: {', '.join(near)}." if near else ""
        return [f"The catalogue does not know {kind.strip()!r}: what it eats, brings and bears is unknown.{like}"]
    return concerns(store, clock, h, system, kind, n)


def before_it_moves(store: Store, clock: Clock, animal: str, to: str, system: str = "", n: float = 1.0) -> list[str]:
    """The same of a move, and what its quarantine still asks."""
    h = stock.house(store, clock)
    lot = h.lot(animal)
    begin = stock.where(h, lot, system)
    place = census.place_of(to.strip(), begin, set(h.systems), h.vessels)
    if place == begin:
        return []
    lines = leaving(store, clock, h, lot, begin)
    if place in h.systems and lot.kind is not None:
        lines += concerns(store, clock, h, place, lot.kind.id, n, lot.id)
    return lines


def concerns(
    store: Store, clock: Clock, h: House, system: str, kind: str, n: float, leaving_out: str = ""
) -> list[str]:
    """What is known or likely to go wrong, in words."""
    found = stock.check(store, clock, system, kind, n, leaving_out=leaving_out)
    return [said.concern_said(c, h.register.lots) for c in found.serious]


def leaving(store: Store, clock: Clock, h: House, lot: Lot, system: str) -> list[str]:
    """What speaks against it leaving a system: a quarantine that is not over, signs that were noted of it."""
    local = zone(h.systems[system].time_zone)
    lines = []
    plan = quarantine.plan(store, clock, system) if system in quarantine.units(h) and lot.lives else None
    if plan is not None:
        if plan.release is None or plan.release > h.at:
            until = f" until {day(plan.release, local, h.at)}: {plan.release_why}" if plan.release else ""
            lines.append(f"Its quarantine is not over{until}.")
        due = [s.what.lower() for s in plan.steps if s.state == "due" and s.action == "treat"]
        if due:
            lines.append(f"Due before it leaves: {', '.join(dict.fromkeys(due))}.")
    noted = [
        x for x in lot.notes
        if (h.at - x.time).days < _SIGNS_D and stock.pointing(h, x.what)
    ]  # fmt: skip
    if noted:
        last = max(noted, key=lambda x: x.time)
        lines.append(f"Noted of it: {last.what.replace('-', ' ')}, {day(last.time, local, h.at)}.")
    return lines


def harmed(lots: Sequence[Lot], agent: Agent) -> tuple[list[Lot], list[Lot]]:
    """Those whom an agent is on record as harming, and those of a kind that nobody knows, whom it may."""
    known = [x for x in lots if x.kind is not None and x.kind.is_any(agent.harms)]
    return known, [x for x in lots if x.kind is None and x.lives and agent.harms]


def refuse_harm(agent: Agent, lots: Sequence[Lot], where: str = "which live here") -> None:
    """Refuse a medicine in water where those live whom it harms: copper and invertebrates never together.

    Raises
    ------
    BadInput
        With those whom it harms, or may harm.
    """
    known, unknown = harmed(lots, agent)
    if known or unknown:
        verb = "harms" if known else "may harm"
        raise BadInput(
            f"{agent.name} {verb} {', '.join(x.name for x in known or unknown)}, {where}",
            way_out="Move them first; or say that they were in other water (--moved-out, or its box on the page).",
        )


def refuse_poison(store: Store, clock: Clock, e: Entry) -> None:
    """Refuse an entry that puts a medicine into water where those live whom it harms: by itself, or with the water of a
    system that had it.

    Raises
    ------
    BadInput
        Unless the entry says `moved_out`.
    """
    if e.extra.get("moved_out") or e.subject == "dip":
        return
    ours = catalogue.catalogue(store)
    if e.kind in ("treatment", "addition"):
        agents = [a for a in treatments.agents_of(e, ours) if a.use == "medicine" and a.harms]
        if agents:
            here = stock.house(store, clock).register.at(e.system)
            for agent in agents:
                refuse_harm(agent, here)
        return
    if not (e.source or e.to) or not (e.kind == "exchange" or naming.group_of(e.subject, e.extra, None) == "water"):
        return
    h = stock.house(store, clock)
    names = set(h.systems)
    begin = census.place_of(e.source, e.system, names, h.vessels) if e.source else e.system
    end = census.place_of(e.to, e.system, names, h.vessels) if e.to else e.system
    if begin in names and end in names and begin != end:
        for _, agent in stock.poisons_in(h, begin):
            refuse_harm(agent, h.register.at(end), f"which live in {end}; the water of {begin} had it")
