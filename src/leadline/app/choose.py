"""Today's round of one system or of all."""

from __future__ import annotations

import datetime as dt

from leadline.app import describe, enquire
from leadline.app.ports import Store
from leadline.measures.moments import Clock
from leadline.rounds.item import Candidate, Round


def round_for(
    store: Store, clock: Clock, system: str | None, minutes: float = 10.0, as_of: dt.datetime | None = None,
    units: str = "",
) -> Round:  # fmt: skip
    """The ranked round for so many minutes; over all systems when none is named. `units` are the reader's."""
    from leadline.rounds import round as rounds

    now = as_of or clock.now()
    ids = [system] if system else store.systems()
    found, zones = everything(store, clock, ids, as_of, units=units)
    if ids and as_of is None:
        found += _paths(store, ids[0], now.timestamp())
    names = {i: name for i, (name, _) in zones.items()}
    return rounds.make(found, minutes, now, system or "", names, zones[ids[-1]][1] if ids else "UTC")


def everything(
    store: Store, clock: Clock, ids: list[str], as_of: dt.datetime | None, *, windows: bool = True, units: str = ""
) -> tuple[list[Candidate], dict[str, tuple[str, str]]]:
    """Everything that could be done in some systems, alarm paths left out; and each system's name and time zone.

    Parameters
    ----------
    windows
        Whether what has a window of its own (steps of a quarantine, eggs) is among it, as far as it is due now.
    units
        The reader's, metric or us; empty: as each system says.
    """
    from leadline.estimate import outlook
    from leadline.estimate.reckon import moment_of
    from leadline.rounds.candidates import candidates

    now = as_of or clock.now()
    found: list[Candidate] = []
    zones: dict[str, tuple[str, str]] = {}
    for i in ids:
        described = describe.load(store, i, as_of)
        zones[i] = described.name, described.time_zone
        r, e = enquire.reckoned(store, clock, i, as_of)
        e = outlook.shown_in(r, e, units)
        proved = {k: moment_of(day) for k, day in r.proved().items()}
        live = {}
        for _, stream in store.streams(i):
            last = store.latest_point(i, stream, now.timestamp())
            if last is not None:
                live[stream] = dt.datetime.fromtimestamp(last[0], dt.UTC)
        found += candidates(described, e, proved, live, moment_of(r.since), describe.declared(store, i, now))
    return found + _livestock(store, clock, ids, as_of, windows), zones


def _livestock(
    store: Store, clock: Clock, systems: list[str], as_of: dt.datetime | None, windows: bool
) -> list[Candidate]:
    """What quarantines, animals not seen and toxic animals ask; nothing where nobody was ever logged."""
    if not store.entries(kinds=("arrival", "transfer", "loss")):  # nobody lives here: nothing more is loaded
        return []
    from leadline.app import breeding, quarantine, stock
    from leadline.measures.moments import zone
    from leadline.rounds import stock as lines

    h = stock.house(store, clock, as_of)
    found: list[Candidate] = []
    for system in systems if h.register.lots else ():
        if windows and system in quarantine.units(h):
            plan = quarantine.plan(store, clock, system, as_of)
            if plan is not None:
                found += lines.of_plan(plan, system, h.at, zone(h.systems[system].time_zone))
        found += lines.signs(stock.open_signs(h, system), system, h.at)
        if windows:
            eggs = breeding.due(store, clock, h, system)
            found += lines.broods(eggs, system, h.at, zone(h.systems[system].time_zone))
        found += lines.missing(stock.not_seen(h, system), system)
        found += lines.guards(stock.guards_due(h, system), system)
        found += lines.tonight(stock.disturbed(h, system), system, h.at)
    return found


def _paths(store: Store, system: str, now_s: float) -> list[Candidate]:
    """Alarm paths that are not known to work. They belong to no system; the first one asked for carries them."""
    from leadline.app.path_book import ORDERS

    if store.record(*ORDERS) is None:
        return []  # nobody is called: a round without a watch must not pay for one
    from dataclasses import replace

    from leadline.alarms import proof
    from leadline.app import oversee, path_book, stand_orders
    from leadline.rounds.candidates import alarm_path

    orders = stand_orders.standing(store)
    if not orders.people:
        return []
    known = path_book.known(store, orders)
    tonight = now_s + proof.TONIGHT_D * 86400.0
    nobody = proof.nobody(known, tonight)
    found = []
    for k in known:
        if not k.counts:
            mended = [replace(x, proved_s=now_s, overdue=False) if x is k else x for x in known]
            said = f"{k.path} to {k.person} is {oversee.proof_said(k, now_s)}"
            found.append(alarm_path(system, f"{k.path} to {k.person}", said, nobody, proof.nobody(mended, tonight)))
    return found
