"""Livestock as JSON: who lives where, one animal, a quarantine's plan, a trace."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from leadline.app.answers import moment
from leadline.livestock.sight import unseen

if TYPE_CHECKING:
    from leadline.app.ports import Store
    from leadline.app.stock import House
    from leadline.livestock.census import Lot
    from leadline.livestock.paths import Step
    from leadline.livestock.quarantine import Plan
    from leadline.livestock.trace import Backward, Forward


def lot_(lot: Lot) -> dict[str, Any]:
    """One lot in terms of Darwin Core, as far as they reach."""
    science = lot.kind.scientificName if lot.kind else lot.about.get("scientificName")
    return {
        "organismID": lot.id, "scientificName": science,
        "vernacularName": lot.kind.vernacularName if lot.kind else None, "kind": lot.kind.id if lot.kind else None,
        "kind_guessed": lot.guessed, "group": lot.group,
        "about": {k: v for k, v in lot.about.items() if k not in ("kind", "scientificName")},
    }  # fmt: skip


def register(h: House, places: Sequence[str], *, gone: bool = False) -> dict[str, Any]:
    """`leadline.livestock/1`: who lives in these systems; with `gone` those that are no longer kept, too."""
    found: list[dict[str, Any]] = []
    for place in places:
        missing = {u.lot.id: u for u in unseen(h.register, place, h.at)}
        for x in h.register.at(place):
            u = missing.get(x.id)
            found.append({
                **lot_(x), "system": place, "count": x.here[place], "since": x.since(place),
                "last_seen": x.seen.get(place), "p_gone": u.p_gone if u else None,
            })  # fmt: skip
    if gone:
        found += [{**lot_(x), "system": None, "count": 0} for x in h.register.lots.values() if x.lives and not x.alive]
    return {"schema": "leadline.livestock/1", "as_of": h.at, "livestock": found, "odd": h.register.odd}


def animal(store: Store, h: House, lot: Lot) -> dict[str, Any]:
    """`leadline.animal/1`: one animal or group, with its history."""
    from leadline.app import stock

    return {
        "schema": "leadline.animal/1", "as_of": h.at, **lot_(lot), "here": lot.here,
        "stays": [{"place": s.place, "since": s.since, "until": s.until, "count": s.count} for s in lot.stays],
        "came": [{"time": c.time, "place": c.place, "source": c.source, "count": c.count} for c in lot.came],
        "gone": [{
            "time": g.time, "place": g.place, "count": g.count, "how": g.how, "exam": g.exam, "note": g.note,
        } for g in lot.gone],
        "notes": [{
            "time": n.time, "place": n.place, "what": n.what, "value": n.value, "unit": n.unit, "note": n.words,
        } for n in lot.notes],
        "hazards": [{"id": z.id, "caution": z.caution} for z in stock.cautions(h, lot)],
        "photographs": len(store.photos(subject=lot.id)),
    }  # fmt: skip


def quarantine(p: Plan, at: dt.datetime) -> dict[str, Any]:
    """`leadline.quarantine/1`."""
    return {
        "schema": "leadline.quarantine/1", "system": p.place, "as_of": at, "started": p.started, "because": p.because,
        "lots": [x.id for x in p.lots], "days": p.days, "looked_on": p.looked_on,
        "temperature": {"low": p.warmth.low_c, "high": p.warmth.high_c, "unit": "degC"} if p.warmth else None,
        "against": [{
            "pest": a.pest.id, "hosts": list(a.hosts), "window_days": [a.opens_d, a.closes_d] if a.opens_d else None,
            "observe_days": a.observe.days, "no_data": a.no_data or None,
        } for a in p.against],
        "steps": [{
            "key": s.key, "action": s.action, "what": s.what, "opens": s.opens, "closes": s.closes, "state": s.state,
            "why": s.why, "pests": list(s.pests), "done": s.done,
        } for s in p.steps],
        "release": p.release, "release_why": p.release_why, "skipped": list(p.skipped), "no_data": list(p.no_data),
        "conclusion": p.conclusion,
    }  # fmt: skip


def empty_quarantine(system: str, at: dt.datetime) -> dict[str, Any]:
    """The same of a system in which nothing lives."""
    return {"schema": "leadline.quarantine/1", "system": system, "as_of": at, "lots": []}


def forward(f: Forward) -> dict[str, Any]:
    """`leadline.trace-forward/1`."""
    return {
        "schema": "leadline.trace-forward/1", "pest": f.pest.id, "origin": f.origin, "since": f.since, "as_of": f.now,
        "exposed": [{
            "place": e.place, "chance": round(e.chance, 4), "range": [round(x, 4) for x in e.chance_range],
            "earliest": moment(e.earliest.at_s), "path": _path(e.likeliest), "hosts": list(e.hosts),
            "look_until": e.look_until,
        } for e in f.exposed],
        "carriers": list(f.carriers),
    }  # fmt: skip


def backward(b: Backward) -> dict[str, Any]:
    """`leadline.trace-backward/1`."""
    return {
        "schema": "leadline.trace-backward/1", "pest": b.pest.id, "place": b.place, "seen": b.seen,
        "suspects": [{
            "animal": s.lot or None, "came": s.came.time if s.came else None,
            "source": s.came.source if s.came else None,
            "share": round(s.share, 4), "why": s.why,
            "path": [{"place": x.place, "time": moment(x.at_s)} for x in s.path],
        } for s in b.suspects],
        "not_followed": b.not_followed, "excluded": b.excluded, "too_old": b.too_old,
    }  # fmt: skip


def _path(step: Step) -> list[dict[str, Any]]:
    return [
        {"place": x.place, "time": moment(x.at_s), "by": x.contact.by if x.contact else None,
         "what": x.contact.what if x.contact else None}
        for x in step.path()
    ]  # fmt: skip
