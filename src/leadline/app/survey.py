"""Everything that a chart of any window needs: one function for the page, its data, its CSV and the prompt."""

from __future__ import annotations

import datetime as dt
import re
import weakref
from typing import TYPE_CHECKING, Any

from leadline.app import enquire
from leadline.app.ports import Store
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of as known_at
from leadline.measures import figures
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import DAY_S, EARLIEST_YEAR, LATEST_YEAR, Clock, iso, parse, zone
from leadline.measures.quantities import QUANTITIES, canonical_name, stored_name
from leadline.measures.words import N_
from leadline.present import sentences
from leadline.present.charts.calendar import axis
from leadline.present.charts.scale import Depths
from leadline.present.window import Columns, Mark, Window, depth, drawn_with

if TYPE_CHECKING:
    import numpy as np

    from leadline.estimate.reckon import Reckoning
    from leadline.estimate.report import SystemEstimate
    from leadline.system.description import System

SPANS = (
    ("1h", N_("1 hour"), 1 / 24),
    ("1d", N_("1 day"), 1.0),
    ("1w", N_("1 week"), 7.0),
    ("1m", N_("1 month"), 30.0),
    ("6m", N_("6 months"), 180.0),
    ("14m", N_("14 months"), 425.0),
    ("4y", N_("4 years"), 1461.0),
    ("10y", N_("10 years"), 3653.0),
)
USUAL_SPAN = "6m"
LEAST_DAYS, MOST_DAYS = 10 / 1440, 60 * 365.25
LEAST_PX, MOST_PX, USUAL_PX = 40, 2000, 720
_AHEAD_DAYS = 14.0
_HOUR_S, _MINUTE_S = 3600.0, 60.0
_HAPPENED = {"observation": "", "treatment": "treatment", "loss": "lost"}
_COUNTED = ("census", "seen", "measured", "nothing-found")  # the livestock's own looks tell nothing of the water
_events: weakref.WeakKeyDictionary[Store, dict[str, tuple[int, list[Entry]]]] = weakref.WeakKeyDictionary()


def span_days(text: str) -> float:
    """The length of a span as it is written in an address: `6m`, or a number with h, d, w, m (month) or y. [d]

    Raises
    ------
    BadInput
        When it is none, or too short or too long to be drawn.
    """
    named = {code: days for code, _, days in SPANS}
    if text in named:
        return named[text]
    found = re.fullmatch(r"(\d{1,12}(?:[.,]\d{1,3})?)([hdwmy])", text.strip())
    if found is None:
        raise BadInput(f"{text[:40]!r} is no span", way_out=f"Known: {', '.join(named)}; or such as 36h, 10d, 3w, 2y.")
    unit = {"h": 1 / 24, "d": 1.0, "w": 7.0, "m": 30.44, "y": 365.25}[found[2]]
    return _kept_within(float(found[1].replace(",", ".")) * unit, text)


def window(start: str, end: str, span: str, now: dt.datetime, local: dt.tzinfo) -> tuple[dt.datetime, dt.datetime]:
    """The two ends of a window as asked for: all three may be empty.

    A span alone ends a little after now; with one end it reaches from there. A moment without an offset is of `local`.

    Raises
    ------
    BadInput
        One line: no time, the wrong way round, too short, too long.
    """
    begins = parse(start, local) if start.strip() else None
    ends = parse(end, local) if end.strip() else None
    if begins and ends:
        if begins >= ends:
            raise BadInput(f"from {start} to {end} is the wrong way round", way_out="Give the earlier moment first.")
        _kept_within((ends - begins).total_seconds() / DAY_S, f"{start} to {end}")
        return begins, ends
    days = span_days(span.strip() or USUAL_SPAN)
    ahead = dt.timedelta(days=min(_AHEAD_DAYS, 0.25 * days))
    length = dt.timedelta(days=days)
    if begins:
        ends = begins + length if span.strip() else now + ahead
        if begins >= ends:
            raise BadInput(f"from {start} lies ahead", way_out="Give 'to' as well, or an earlier moment.")
        _kept_within((ends - begins).total_seconds() / DAY_S, f"from {start}")
    elif ends:
        begins = ends - length
    else:
        begins, ends = now - length, now + ahead
    if not EARLIEST_YEAR <= begins.year <= ends.year <= LATEST_YEAR + 1:
        raise BadInput(f"{span} lies outside {EARLIEST_YEAR} to {LATEST_YEAR}", way_out="Ask for a shorter span.")
    return begins, ends


def _kept_within(days: float, said: str) -> float:
    if days < LEAST_DAYS:
        raise BadInput(f"{said}: a chart shows ten minutes or more", way_out="Ask for a wider window.")
    if days > MOST_DAYS:
        raise BadInput(f"{said}: a chart shows 60 years or less", way_out="Ask for a closer window.")
    return days


def survey(
    store: Store, clock: Clock, system: str, quantity: str, start: dt.datetime, end: dt.datetime,
    px: int = USUAL_PX, as_of: dt.datetime | None = None,
    known: tuple[Reckoning, SystemEstimate] | None = None,
) -> Window:  # fmt: skip
    """One quantity between two moments, no extreme left out.

    Parameters
    ----------
    start, end
        The window; past now it holds the outlook.
    px
        How wide it is drawn: a probe's points are gathered into so many columns at most. [px]
    as_of
        Nothing later is used.
    known
        What `enquire.reckoned` said of the same moment, when the caller has kept it.

    Raises
    ------
    UnknownName
        For a system or quantity that nobody knows, with near names.
    """
    from leadline.estimate import course

    if system not in store.systems():
        raise UnknownName("system", system, store.systems())
    r, e = known or enquire.reckoned(store, clock, system, as_of)
    q = stored_name(canonical_name(quantity) or quantity)
    if q not in r.tracks or q not in e.quantities:
        raise UnknownName("quantity", quantity, r.tracks)
    px = min(max(px, LEAST_PX), MOST_PX)
    a, b = start.timestamp() / DAY_S, end.timestamp() / DAY_S
    at, mean, sd, low, high = _thinned(course.stretch(r, e.quantities[q], a, b, px // 3), a, b, px)
    now = as_of or clock.now()
    marked = [*course.marks(r, q, a, b), *_happened(store, system, start, end, now)]
    return Window(
        system=system, name=r.system.name, quantity=q, unit=QUANTITIES[q].unit, start=start, end=end, now=now,
        units=r.system.units, local=zone(r.system.time_zone), at_s=at, mean=mean, sd=sd, q05=low, q95=high,
        probes=probes(store, r.system, q, start, end, now, px), fixes=course.fixes(r, q, a, min(b, r.now)),
        marks=tuple(sorted(marked)), estimate=e.quantities[q],
    )  # fmt: skip


def _thinned(s: Any, a: float, b: float, px: int) -> tuple[np.ndarray, ...]:
    """A stretch with the least and greatest of line and cone in every pixel's width; moments in Unix seconds."""
    import numpy as np

    from leadline.present.series import spiked

    keep = np.unique(np.concatenate([spiked(s.at, v, a, b, px) for v in (s.mean, s.q05, s.q95)]))
    return s.at[keep] * DAY_S, s.mean[keep], s.sd[keep], s.q05[keep], s.q95[keep]


def probes(
    store: Store, system: System, quantity: str, start: dt.datetime, end: dt.datetime, now: dt.datetime, px: int
) -> tuple[Columns, ...]:
    """What each probe of a quantity showed, in `px` columns at most; failed and missing points are left out."""
    a, b, cut = start.timestamp(), end.timestamp(), now.timestamp()
    found = (
        columns(store, system.id, stream, a, b, cut, px)
        for stream, q in enquire.carriers(store, system)
        if q == quantity
    )
    return tuple(c for c in found if len(c.at_s))


def columns(store: Store, system: str, stream: str, start: float, end: float, now: float, px: int) -> Columns:
    """One stream between two moments [Unix s]: the least and the greatest of every column, of points up to `now`.

    A column is as wide as a pixel, rounded up to whole minutes, hours or days, so that it holds whole buckets of the
    rollups and its extremes are exactly those of its points. Few points are handed on one by one.
    """
    import numpy as np

    pixel = (end - start) / px
    size, bucket = next((s for s in ((DAY_S, "1d"), (_HOUR_S, "1h")) if pixel >= s[0]), (_MINUTE_S, ""))
    width = float(np.ceil(pixel / size) * size)
    # columns stand on whole multiples of their width, so that none moves when the window does
    begin = np.floor(start / width) * width
    known = (
        np.floor(now * 1000.0 + 0.01) + 1.0
    ) / 1000.0  # points stand on milliseconds; one of this very moment counts
    until = min(np.ceil(end / width) * width, known)
    if until <= begin:
        none = np.zeros(0)
        return Columns(stream, "point", 0.0, none, none.astype(int), none, none)
    if not bucket:
        at, low = _points(store, system, stream, begin, until)
        inside = (at >= start) & (at < end)
        if inside.sum() <= 2 * px:
            return Columns(stream, "point", 0.0, at[inside], np.ones(int(inside.sum()), int), low[inside], low[inside])
        n, high = np.ones(len(at), dtype=int), low
    else:
        # the bucket of this very moment may hold points of later: it is counted from those that are known
        whole = np.floor(until / size) * size
        roll = store.rollup(system, stream, begin, whole, bucket)
        at, n, low, high = roll.start_s, roll.n, roll.least, roll.greatest
        rest = _points(store, system, stream, whole, until)[1] if whole < until else np.zeros(0)
        if len(rest):
            at, n = np.append(at, whole), np.append(n, len(rest))
            low, high = np.append(low, rest.min()), np.append(high, rest.max())
    if not len(at):
        return Columns(stream, bucket or "column", width, at, n, low, high)
    place = np.floor(at / width)
    first = np.flatnonzero(np.diff(place, prepend=-1.0))
    return Columns(
        stream, bucket or "column", width, place[first] * width, np.add.reduceat(n, first),
        np.minimum.reduceat(low, first), np.maximum.reduceat(high, first),
    )  # fmt: skip


def _points(store: Store, system: str, stream: str, start: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    import numpy as np

    p = store.points(system, stream, start, end)
    good = (p.flags != 4) & (p.flags != 9) & np.isfinite(p.values)
    return p.times_s[good], p.values[good]


def _happened(store: Store, system: str, start: dt.datetime, end: dt.datetime, now: dt.datetime) -> list[Mark]:
    """What was seen, treated and lost in a window: it may explain any course."""
    shelf = _events.setdefault(store, {})
    seq = store.last_seq(system)
    if system not in shelf or shelf[system][0] != seq:
        shelf[system] = (seq, store.entries(system, kinds=tuple(_HAPPENED)))
    return [
        (
            e.time,
            e.kind,
            " ".join(x for x in (_HAPPENED[e.kind], e.subject.replace("-", " "), e.note and f"({e.note})") if x),
        )
        for e in known_at(shelf[system][1], now).entries
        if start <= e.time <= end and e.subject not in _COUNTED
    ]


def as_json(
    windows: list[Window], px: int = USUAL_PX, *, near: bool = False,
    inner: tuple[dt.datetime, dt.datetime] | None = None,
) -> dict[str, Any]:  # fmt: skip
    """`leadline.course/1`: moments as Unix seconds, values in each quantity's stored unit; `shown` says how to print.

    The first quantity has its depth at the left; a second one at the right, or the same when it is the same quantity.
    With `inner` the depth is that of this part alone: what lies beside it is there to be panned to.
    """
    first = windows[0]
    dial = axis(first.start, first.end, first.local, float(px))
    seen = [w.cut(*inner) for w in windows] if inner else windows
    return {
        "schema": "leadline.course/1", "from": iso(first.start), "to": iso(first.end), "now": iso(first.now),
        "time_zone": first.local.key, "px": px,
        "axis": {
            "unit": dial.unit,
            "upper": [[t.at.timestamp(), t.text] for t in dial.upper],
            "lower": [[t.at.timestamp(), t.text] for t in dial.lower],
        },
        "courses": [_course_json(w, depth(drawn_with(s, seen), 1.0, near=near), px)
                    for w, s in zip(windows, seen, strict=True)],
    }  # fmt: skip


def _course_json(w: Window, deep: Depths, px: int) -> dict[str, Any]:
    way, e = w.way, w.estimate
    fixes, marks = _few(w, px)
    return {
        "system": w.system, "name": w.name, "quantity": w.quantity, "title": sentences.titled(w.quantity),
        "unit": w.unit,
        "shown": {"label": way.label, "digits": way.digits, "factor": way.factor, "offset": way.offset},
        "depth": {
            "low": deep.low, "high": deep.high,
            "labels": [[deep.high - y * (deep.high - deep.low), text] for y, text in deep.labels(way.digits, 0.045)],
        },
        "aim": list(e.aim) if e.aim else None, "limit": list(e.limit) if e.limit else None,
        "meets_edge": e.meets_edge.timestamp() if e.meets_edge else None,
        "meets_said": f"spread meets the edge · {figures.day(e.meets_edge, w.local, w.now)}" if e.meets_edge else "",
        "course": {
            "t": [round(t, 1) for t in w.at_s.tolist()],
            **{k: _short(v) for k, v in (("mean", w.mean), ("sd", w.sd), ("q05", w.q05), ("q95", w.q95))},
        },
        "probes": [
            {
                "stream": p.stream, "grain": p.grain, "width": p.width_s, "t": p.at_s.tolist(),
                "n": p.n.tolist(), "least": p.least.tolist(), "greatest": p.greatest.tolist(),
            }
            for p in w.probes
        ],
        "readings": len(w.fixes),
        "fixes": [
            {"t": f.time.timestamp(), "value": f.value, "sd": f.sd, "method": f.method, "doubtful": f.doubtful,
             "id": f.id}
            for f in fixes
        ],
        "marks": [{"t": t.timestamp(), "kind": kind, "words": words} for t, kind, words in marks],
    }  # fmt: skip


def _few(w: Window, px: int) -> tuple[list[Any], list[Mark]]:
    """Fixes with their extremes, and one mark of each kind a pixel's width: what a drawing can show."""
    import numpy as np

    from leadline.present.series import spiked

    a, b = w.start.timestamp(), w.end.timestamp()
    plain = [f for f in w.fixes if not f.doubtful]
    keep = spiked(np.array([f.time.timestamp() for f in plain]), np.array([f.value for f in plain]), a, b, px)
    fixes = sorted([plain[i] for i in keep] + [f for f in w.fixes if f.doubtful], key=lambda f: f.time)
    at: dict[tuple[int, str], list[Mark]] = {}
    for m in w.marks:
        at.setdefault((int((m[0].timestamp() - a) / (b - a) * px), m[1]), []).append(m)
    return fixes, [(m[0][0], m[0][1], m[0][2] + (f", and {len(m) - 1} more" if m[1:] else "")) for m in at.values()]


def _short(values: np.ndarray) -> list[float]:
    """Seven significant digits: more than any drawing or reader can tell, and half as many bytes."""
    return [float(f"{v:.7g}") for v in values.tolist()]
