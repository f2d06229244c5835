"""A trace drawn: lanes, what went over, the way that matters, and what was noted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from leadline.app.stock import House
from leadline.livestock.contacts import SOURCE, is_place
from leadline.livestock.paths import Contact, Step
from leadline.livestock.trace import Backward, Forward
from leadline.measures.figures import day
from leadline.measures.moments import zone
from leadline.present import stock as said
from leadline.present.charts import contacts as drawn
from leadline.present.charts.contacts import Lane, Noted, Reach, Stroke

_MOST_STROKES = 60


def of_forward(h: House, f: Forward, ident: str = "trace") -> str:
    """Where it can be, from where it began to now."""
    names, local = _names(h), _local(h)
    path = f.exposed[1].likeliest.path() if len(f.exposed) > 1 else f.exposed[0].likeliest.path() if f.exposed else []
    for e in f.exposed:  # the way to the likeliest place that isn't its origin
        if e.place != f.origin:
            path = e.likeliest.path()
            break
    order = [f.origin, *_on_the_way(path), *(e.place for e in f.exposed)]
    order += [s for s in h.systems if s not in order]
    order = list(dict.fromkeys(order))
    reach = {
        e.place: Reach(_at(e.earliest.at_s), e.chance, said.chance_said(e.chance, *e.chance_range)) for e in f.exposed
    }  # fmt: skip
    inside = [c for c in h.contacts if f.since.timestamp() - 1 <= c.at_s <= f.now.timestamp()]
    start = f.since - (f.now - f.since) * 0.04
    signs = f.pest.notice.signs if f.pest.notice else ()
    who = next(
        (x.id for x in h.register.lots.values() for c in x.came if c.time == f.since and c.place == f.origin), ""
    )
    came = [_came(h, f.origin, f.since, who)] if who else []
    words = "; ".join(f"{said.place_said(e.place, names)} {reach[e.place].said}" for e in f.exposed)
    return drawn.svg(
        [
            _lane(n, names, reach.get(n), h, signs, start, f.now, came if n == f.origin else ()) for n in order
        ],
        _strokes(inside, path, order, names, local), start, f.now, local=local, ident=ident,
        title=f"Where {f.pest.name} can be by {day(f.now, local)}", said=f"{words}.",
    )  # fmt: skip


def of_backward(h: House, b: Backward, ident: str = "trace") -> str:
    """The likeliest way to where it was seen."""
    names, local = _names(h), _local(h)
    named = [s for s in b.suspects if s.came is not None and s.path and s.share > 0.01][:4]
    path = list(named[0].path) if named else []
    order: list[str] = []
    for s in named:
        order += [x.place for x in s.path]
    order = list(dict.fromkeys([*(x for x in order if x != b.place), b.place]))
    came = [s.came.time for s in named if s.came is not None]
    start = min(came, default=b.seen - dt.timedelta(days=60))
    start -= (b.seen - start) * 0.04
    inside = [c for c in h.contacts if start.timestamp() <= c.at_s <= b.seen.timestamp()]
    strokes = _strokes(inside, path, order, names, local)
    signs = b.pest.notice.signs if b.pest.notice else ()
    arrivals = [(s.came.place, _came(h, s.came.place, s.came.time, s.lot)) for s in named if s.came is not None]
    shown = [(p, n if i < 1 else Noted(n.at, n.said, came=True)) for i, (p, n) in enumerate(arrivals)]
    lanes = [_lane(n, names, None, h, signs, start, b.seen, [x for p, x in shown if p == n]) for n in order]
    words = "; ".join(f"{s.lot}: {s.why}" for s in named)
    return drawn.svg(
        lanes, strokes, start, b.seen, local=local, ident=ident,
        title=f"Ways by which {b.pest.name} can have come to {names.get(b.place, b.place)}", said=f"{words}.",
    )  # fmt: skip


def _names(h: House) -> dict[str, str]:
    return {s.id: s.name for s in h.systems.values()}


def _local(h: House) -> dt.tzinfo:
    return zone(next(iter(h.systems.values())).time_zone) if h.systems else dt.UTC


def _at(at_s: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(at_s, dt.UTC)


def _on_the_way(path: Sequence[Step]) -> list[str]:
    return [x.place for x in path]


def _lane(
    node: str, names: dict[str, str], reach: Reach | None, h: House, signs: Sequence[str], start: dt.datetime,
    until: dt.datetime, came: Sequence[Noted] = (),
) -> Lane:  # fmt: skip
    noted = [
        Noted(e.time, f"{e.subject.replace('-', ' ')}: {e.note}".rstrip(": "))
        for e in h.entries
        if e.system == node and e.kind == "observation" and e.subject in signs and start <= e.time <= until
    ]
    return Lane(said.place_said(node, names), reach, not is_place(node), (*came, *noted))


def _came(h: House, place: str, when: dt.datetime, who: str) -> Noted:
    source = next((c.source for c in h.register.lots[who].came if c.time == when), "") if who in h.register.lots else ""
    words = f"{who.replace('-', ' ')}, from {source.replace('-', ' ')}" if source else who.replace("-", " ")
    return Noted(when, words, came=True, written=True)


def _strokes(
    inside: Sequence[Contact], path: Sequence[Step], order: Sequence[str], names: dict[str, str], local: dt.tzinfo
) -> list[Stroke]:
    """What went over between the lanes that are drawn; the way itself always, the rest up to a number."""
    lane = {n: i for i, n in enumerate(order)}
    on_way = {id(x.contact) for x in path if x.contact is not None}
    found: list[Stroke] = []
    for x in path:
        if x.contact is not None and x.before is not None:
            begin = x.before.place
            if begin in lane and x.place in lane:
                words = said.leg_said(x, {}, local, _at(x.at_s)).rpartition("(")[2].rstrip(")")
                fresh = words if not found or found[-1].said != words else ""  # a tool's two legs are named once
                found.append(Stroke(_at(x.at_s), lane[begin], lane[x.place], fresh, way=True))
    others = [
        c for c in inside if c.begin in lane and c.end in lane and id(c) not in on_way
        and not c.begin.startswith(SOURCE) and c.by != "aerosol"
    ]  # fmt: skip
    for c in others[-_MOST_STROKES:]:
        found.append(Stroke(_at(c.at_s), lane[c.begin], lane[c.end], c.what.replace("-", " "), both=c.both))
    return found
