"""The watch as JSON: alarms that stand, paths and their proofs, streams and their points, figures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from leadline.alarms.alarm import SPOKEN
from leadline.app.answers import moment

if TYPE_CHECKING:
    from leadline.alarms.performance import Performance
    from leadline.app.oversee import AlarmLine, PathLine, StreamLine
    from leadline.app.stream_window import Window


def standing(a: AlarmLine) -> dict[str, Any]:
    """`leadline.standing/1`: one alarm that is not normal."""
    r = a.raised
    return {
        "schema": "leadline.standing/1", "system": r.system, "alarm": r.name, "subject": r.subject,
        "state": SPOKEN.get(r.state, r.state), "priority": r.priority, "value": r.value, "because": r.because,
        "cause": r.cause, "began": moment(r.began_s), "harm_at": moment(r.harm_at_s), "until": moment(r.alarm.until_s),
        "told": [
            {"person": d.person, "path": d.path, "stage": d.stage, "tries": d.tries, "note": d.note} for d in a.told
        ],
    }  # fmt: skip


def alarms(found: Sequence[AlarmLine], at: dt.datetime) -> dict[str, Any]:
    """`leadline.alarms/1`: all that stand, the loudest first."""
    return {"schema": "leadline.alarms/1", "as_of": at, "alarms": [standing(a) for a in found]}


def paths(found: Sequence[PathLine], p_nobody: float, at: dt.datetime) -> dict[str, Any]:
    """`leadline.paths/1`: every person's every path with its proof, and the chance that nobody is reached tonight."""
    now_s = at.timestamp()
    return {
        "schema": "leadline.paths/1", "as_of": at, "p_nobody_tonight": p_nobody,
        "paths": [{
            "person": p.person, "path": p.path, "kind": p.kind, "proved": p.known.counts, "words": p.said,
            "proved_at": moment(p.known.proved_s),
            "answered": p.known.answered, "missed": p.known.missed, "p_dead": p.known.dead(now_s),
            "shares": list(p.known.shares),
        } for p in found],
    }  # fmt: skip


def figures(f: Performance) -> dict[str, Any]:
    """`leadline.figures/1`: how well the alarms serve."""
    return {"schema": "leadline.figures/1", **asdict(f), "per_week": f.per_week}


def streams(found: Sequence[StreamLine], at: dt.datetime) -> dict[str, Any]:
    """`leadline.streams/1`: every stream with its last point, and whether it still comes."""
    return {
        "schema": "leadline.streams/1", "as_of": at,
        "streams": [{
            "system": s.system, "stream": s.stream, "quantity": s.quantity or None, "unit": s.unit or None,
            "declared": s.declared, "state": s.state(at.timestamp()), "period_s": s.period_s,
            "last": None if s.last_s is None else {"time": moment(s.last_s), "value": s.value},
        } for s in found],
    }  # fmt: skip


def points(w: Window) -> dict[str, Any]:
    """`leadline.points/1`: a window of one stream, as points or in buckets."""
    return {
        "schema": "leadline.points/1", "system": w.system, "stream": w.stream, "unit": w.unit or None,
        "start": w.start, "end": w.end, "rollup": w.rollup, "more": w.more,
        "points": [{"time": moment(t), "value": v, "flag": f} for t, v, f in w.points],
        "buckets": [
            {"start": moment(t), "n": n, "least": low, "greatest": high, "mean": mean}
            for t, n, low, high, mean in w.buckets
        ],
    }  # fmt: skip
