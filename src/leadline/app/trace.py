"""Trace contacts: forward from an arrival, a place or a dealer; backward from where something was first seen."""

from __future__ import annotations

import datetime as dt

from leadline.app import stock
from leadline.app.ports import Store
from leadline.app.stock import House
from leadline.livestock import contacts, trace
from leadline.livestock.census import Came, Lot
from leadline.livestock.contacts import name_of_source
from leadline.livestock.kinds import Pest
from leadline.livestock.trace import Backward, Forward
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock

_SEARCHES = ("lens", "night", "search", "torch")
_SIGNS_D = 60.0  # signs elsewhere longer ago than this are another matter [d]
_SEED = 20261125  # the same question gets the same answer


def forward(
    store: Store, clock: Clock, pest: str, *, came_with: str = "", place: str = "", source: str = "",
    since: dt.datetime | None = None, as_of: dt.datetime | None = None,
) -> Forward:  # fmt: skip
    """Where it can be by now.

    Parameters
    ----------
    came_with
        A lot that brought it: from its arrival, or the one nearest before `since`.
    place, source
        Or a system where it is, or a dealer who had it, since a moment.

    Raises
    ------
    BadInput, UnknownName
        When the question is incomplete or names something nobody knows.
    """
    import numpy as np

    h = stock.house(store, clock, as_of)
    p = h.catalogue.pest(pest)
    if came_with:
        lot = h.lot(came_with)
        came = _arrival(lot, since, h.at)
        origin, begin = came.place, came.time
    elif place:
        if place not in h.systems:
            raise UnknownName("system", place, h.systems)
        origin, begin = place, _said(since, "it was there since when?")
    elif source:
        origin = name_of_source(source)
        known = sorted({c.source for x in h.register.lots.values() for c in x.came if c.source})
        if source not in known:
            raise UnknownName("source", source, known)
        begin = _said(since, "they had it since when?")
    else:
        raise BadInput("forward from what?", way_out="Name an animal that brought it, a system, or a dealer.")
    return trace.forward(_house(h, p, begin, h.at), p, origin, begin, h.at, np.random.default_rng(_SEED))


def backward(
    store: Store, clock: Clock, pest: str, place: str, seen: dt.datetime | None = None,
    as_of: dt.datetime | None = None,
) -> Backward:  # fmt: skip
    """Which arrivals can have brought what was first seen at `place` (when none is given: at its first noted sign)."""
    import numpy as np

    h = stock.house(store, clock, as_of)
    p = h.catalogue.pest(pest)
    if place not in h.systems:
        raise UnknownName("system", place, h.systems)
    moment = seen or first_sign(h, p, place)
    if moment is None:
        signs = ", ".join(p.notice.signs) if p.notice else "a sign"
        raise BadInput(
            f"{p.name} in {place}: first seen when?", way_out=f"Say --seen, or log an observation ({signs})."
        )
    if moment > h.at:
        raise BadInput("it was first seen in the future", way_out="Give a day that has come.")
    begin = moment - dt.timedelta(days=trace.LOOK_BACK_D)
    return trace.backward(_house(h, p, begin, moment), p, place, moment, np.random.default_rng(_SEED))


def first_sign(h: House, pest: Pest, place: str) -> dt.datetime | None:
    """The first noted sign of a pest at a place within the last ninety days."""
    signs = pest.notice.signs if pest.notice else ()
    recent = h.at - dt.timedelta(days=90)
    found = [e.time for e in h.of(place) if e.kind == "observation" and e.subject in signs and e.time >= recent]
    return min(found) if found else None


def _arrival(lot: Lot, since: dt.datetime | None, now: dt.datetime) -> Came:
    if not lot.came:
        raise BadInput(f"nobody logged the arrival of {lot.name}", way_out="Trace from a system instead, with its day.")
    before = [c for c in lot.came if since is None or c.time <= since + dt.timedelta(days=1)]
    return (before or lot.came)[-1]


def _said(since: dt.datetime | None, question: str) -> dt.datetime:
    if since is None:
        raise BadInput(question, way_out="Say it with --since, such as --since 2026-01-14.")
    return since


def _house(h: House, pest: Pest, begin: dt.datetime, until: dt.datetime) -> trace.House:
    """What a trace needs, with the air between neighbours from a moment on, and the latest signs before another."""
    near = {
        (s.id, n.system): n.distance_m for s in h.systems.values() for n in s.neighbours if n.system in h.systems
    }  # fmt: skip
    pairs = {k: v for k, v in near.items() if (k[1], k[0]) not in near or k[0] < k[1]}
    searched: dict[str, list[dt.datetime]] = {}
    for e in h.entries:
        if e.kind == "observation" and any(w in e.method.lower() for w in _SEARCHES):
            searched.setdefault(e.system, []).append(e.time)
    signs = pest.notice.signs if pest.notice else ()
    seen: dict[str, float] = {}
    for e in h.entries:
        since = until - e.time
        if e.kind == "observation" and e.subject in signs and dt.timedelta(0) <= since <= dt.timedelta(days=_SIGNS_D):
            seen[e.system] = e.time.timestamp()
    return trace.House(
        h.register, [*h.contacts, *contacts.near(pairs, begin, h.at)], tuple(h.systems), searched, seen,
        contacts.torn_down(h.entries, set(h.systems)),
    )  # fmt: skip
