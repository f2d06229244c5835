"""Spawn, hatch and settle: when eggs hatch at this water's temperature, and what came of earlier ones."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from leadline.app import quarantine, stock
from leadline.app.ports import Store
from leadline.app.stock import House
from leadline.livestock.census import Lot
from leadline.livestock.development import Duration, longest, shortest
from leadline.livestock.treatments import Warmth
from leadline.measures.figures import day, span
from leadline.measures.moments import Clock, days_between, zone

_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Brood:
    """One spawning: when it was laid, between when it should hatch and settle, and when it did.

    `hatch` and `settle` are None where there is no data at this temperature; `why` says so.
    """

    laid: dt.datetime
    hatch: tuple[dt.datetime, dt.datetime] | None
    settle: tuple[dt.datetime, dt.datetime] | None
    hatched: dt.datetime | None
    why: str
    unconfirmed: bool


def broods(store: Store, clock: Clock, animal: str, known: House | None = None) -> list[Brood]:
    """All spawnings noted of a lot, in order of time, as they are `known`."""
    h = known or stock.house(store, clock)
    lot = h.lot(animal)
    laid = [n for n in lot.notes if n.what in ("eggs-laid", "spawning")]
    out = []
    for i, n in enumerate(laid):
        following = laid[i + 1].time if i + 1 < len(laid) else h.at + _DAY
        hatched = next((x.time for x in lot.notes if x.what == "hatched" and n.time < x.time <= following), None)
        warm = quarantine.warmth(store, n.place, n.time, min(n.time + 15 * _DAY, h.at))
        out.append(_brood(lot, n.time, hatched, warm))
    return out


def due(store: Store, clock: Clock, h: House, system: str) -> list[tuple[str, dt.datetime, dt.datetime]]:
    """Eggs at a system that nobody saw hatch: whose, and between when they should."""
    found = []
    for lot in h.register.at(system):
        if any(n.what == "eggs-laid" and h.at - n.time < 30 * _DAY for n in lot.notes):
            last = broods(store, clock, lot.id, h)[-1]
            if last.hatch is not None and last.hatched is None:
                found.append((lot.name, *last.hatch))
    return found


def _brood(lot: Lot, laid: dt.datetime, hatched: dt.datetime | None, warm: Warmth | None) -> Brood:
    facts = [f for f in lot.kind.facts if f.what == "hatch" and f.temperature is not None] if lot.kind else []
    ends = warm.ends if warm is not None else None
    low, high = shortest(facts, ends), longest(facts, ends)
    if low.days is None or high.days is None:
        return Brood(laid, None, None, hatched, low.why, False)
    hatch = (laid + low.days * _DAY, laid + high.days * _DAY)
    settling = [f for f in lot.kind.facts if f.what == "settles"] if lot.kind else []
    began: Duration = shortest(settling, ends)
    ended = longest(settling, ends)
    settle = None
    if began.days is not None and ended.days is not None:
        settle = (hatched or hatch[0]) + began.days * _DAY, (hatched or hatch[1]) + ended.days * _DAY
    unsure = any(f.mark.unconfirmed for f in (*low.facts, *high.facts))
    return Brood(laid, hatch, settle, hatched, high.why, unsure)


def said(store: Store, clock: Clock, animal: str, known: House | None = None) -> list[str]:
    """The spawnings in words, the newest first."""
    h = known or stock.house(store, clock)
    lot = h.lot(animal)
    place = next(iter(lot.here), next(iter(h.systems)))
    local = zone(h.systems[place].time_zone) if place in h.systems else dt.UTC
    out = []
    for b in reversed(broods(store, clock, animal, h)):
        head = f"Laid {day(b.laid, local, h.at)}"
        if b.hatched is not None:
            out.append(f"{head}: hatched {day(b.hatched, local, h.at)}, after {span(days_between(b.laid, b.hatched))}.")
        elif b.hatch is None:
            out.append(f"{head}: when it hatches nobody can say, {b.why}.")
        else:
            label = " (unconfirmed)" if b.unconfirmed else ""
            window = f"{day(b.hatch[0], local, h.at)} to {day(b.hatch[1], local, h.at)}"
            out.append(f"{head}: hatches {window}, after lights out, {b.why}{label}.")
        if b.settle is not None and b.settle[1] > h.at:
            out.append(f"  Settles {day(b.settle[0], local, h.at)} to {day(b.settle[1], local, h.at)} (unconfirmed).")
    return out
