"""One more entry taken into a reckoning, without replaying what came before it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from leadline.estimate.grid import PROBE
from leadline.estimate.inputs import day_of, dose_rows
from leadline.estimate.reckon import Reckoning, motion_to
from leadline.estimate.replay import Reading, Track, advance, collapse, most_of, nature_of
from leadline.estimate.sightings import BIAS_TIMES, Sightings, new_lots
from leadline.journal.entry import Entry
from leadline.measures.errors import LeadlineError

Array = np.ndarray
_SETTLED = 6  # fewer readings still move the scale itself
_HARMLESS = frozenset({"observation", "arrival", "transfer", "loss", "treatment"})  # they do not move the reckoning


def append(r: Reckoning, e: Entry) -> Reckoning | None:
    """The reckoning with one more entry; None when that needs a replay.

    The same as a replay to rounding, as long as nothing else was written down.
    """
    day = day_of(e.time)
    if "corrects" in e.extra or day > r.now or not r.since <= day:
        return None
    if e.kind in _HARMLESS:
        return r
    if e.kind == "note":
        said = frozenset([str(e.extra["confirms"])]) if "confirms" in e.extra else frozenset()
        return replace(r, confirmed=r.confirmed | said)
    if e.kind == "service":
        if any(t.last >= day for t in r.tracks.values() if len(t.sightings)):
            return None
        return replace(r, services=[*r.services, (day, e.subject, e.method)])
    if e.kind == "addition":
        return _added(r, e, day)
    return _read(r, e, day) if e.kind == "reading" else None


def _added(r: Reckoning, e: Entry, day: float) -> Reckoning | None:
    """A dose by hand, later than the last reading of everything it moves."""
    if e.method and (e.method.startswith("doser") or e.method in {m.id for m in r.system.equipment}):
        return None  # a pump's daily total takes the place of what was taken to go on
    try:
        rows = dose_rows(r.system, e, day)
    except LeadlineError:
        return None
    moved = [q for q in rows if q in r.tracks]
    if any(day < r.tracks[q].last for q in moved) or not set(rows) - {"salinity"} <= r.inputs.dosed:
        return None
    events = {**r.inputs.events, **{q: r.inputs.events[q].with_more(rows[q]) for q in moved}}
    marks = [*r.inputs.marks, (day, "addition", f"{e.value:g} {e.unit} {e.subject}")]
    inputs = replace(r.inputs, events=events, marks=marks)
    tracks = {q: replace(t, events=events[q]) for q, t in r.tracks.items()}
    return replace(r, inputs=inputs, tracks=tracks, links=None, usuals={})


def _read(r: Reckoning, e: Entry, day: float) -> Reckoning | None:
    """A hand reading, the newest of its quantity, by a method known for it."""
    track = r.tracks.get(e.subject)
    if track is None or e.stored is None or e.extra or len(track.sightings) < _SETTLED:
        return None
    if day < track.last or np.any(track.events.t == day):  # one tests first and then changes
        return None
    s = track.sightings
    same = [k for k, m in enumerate(s.methods) if m == e.method and s.ids[k]]
    if not same or e.method in {x.id for x in r.system.streams} | {"probe"}:
        return None
    if track.quantity in ("salinity", "alkalinity"):  # they move the others, only later than their own last readings
        others = [t.last for q, t in r.tracks.items() if q != e.subject and t.family.with_salt and len(t.sightings)]
        if others and max(others) >= day:
            return None
    return _taken(r, track, e, day, same)


def _taken(r: Reckoning, track: Track, e: Entry, day: float, same: list[int]) -> Reckoning:
    assert e.stored is not None
    s, q = track.sightings, track.quantity
    slot = int(s.slot[same[-1]])
    mine = np.flatnonzero(s.slot == slot)
    lots = new_lots(r.services, q, {x.id for x in r.system.streams} | {"probe"})
    fresh = s.methods[int(mine[-1])] != e.method or any(
        s.t[mine[-1]] < lot <= day and whose == (slot == PROBE) for lot, whose in lots
    )
    how = r.system.method(q, e.method)
    noise, relative = (e.stored_sd, 0.0) if e.stored_sd else (how.sd, how.relative)
    row = (day, e.stored, noise, relative, how.step, BIAS_TIMES * how.bias_sd, BIAS_TIMES * how.bias_relative)
    bank = track.bank.copy()
    one = np.ones(1)
    motion = motion_to(r, [q], one * track.last, one * day, ahead=False)
    bias_var = row[5] ** 2 + (row[6] * min(e.stored, most_of(track.family))) ** 2
    reading = Reading(
        one * e.stored, one * noise, one * relative, one * how.step, np.array([slot]), np.array([fresh]), one * bias_var
    )
    seen, _, _ = advance(bank, motion, reading, nature_of([track]))
    mean, cov, walk = collapse(np.exp(bank.log_weight), bank.mean, bank.cov, track.rate_walk[None])
    w = np.exp(seen.log_weight)
    expected = float((w * seen.expected).sum())
    expected_sd = float(np.sqrt((w * (seen.variance + (seen.expected - expected) ** 2)).sum()))

    def more(a: Array, x: float) -> Array:
        return np.append(a, np.array([x], dtype=a.dtype))

    sightings = Sightings(
        more(s.t, row[0]), more(s.value, row[1]), more(s.noise_sd, row[2]), more(s.relative, row[3]),
        more(s.step, row[4]), more(s.bias_sd, row[5]), more(s.bias_relative, row[6]),
        more(s.slot, slot), more(s.fresh, fresh),
        [*s.ids, e.id], [*s.methods, e.method],
    )  # fmt: skip
    longer = replace(
        track, sightings=sightings, bank=bank, last=day, foretold=None, before_level=None,
        expected=more(track.expected, expected), expected_sd=more(track.expected_sd, expected_sd),
        hypotheses=np.concatenate((track.hypotheses, seen.hypotheses)),
        post_mean=np.concatenate((track.post_mean, mean)), post_cov=np.concatenate((track.post_cov, cov)),
        walk=np.concatenate((track.walk, walk)),
    )  # fmt: skip
    typed = {**r.typed, e.id: f"{e.value:g} {e.unit}".strip() if e.value is not None else ""}
    return replace(r, tracks={**r.tracks, q: longer}, typed=typed, links=None, usuals={})
