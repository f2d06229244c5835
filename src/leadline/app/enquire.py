"""How is it, how was it, how sure: estimates, courses and the running calibration of one system."""

from __future__ import annotations

import datetime as dt
import hashlib
import weakref
from typing import TYPE_CHECKING

from leadline import __version__
from leadline.app import describe
from leadline.app.ports import Store
from leadline.estimate.report import Course, SystemEstimate
from leadline.journal.entry import Entry
from leadline.measures import words
from leadline.measures.moments import Clock
from leadline.measures.quantities import QUANTITIES
from leadline.system.description import System, parse

if TYPE_CHECKING:
    import numpy as np

    from leadline.estimate.reckon import Probes, Reckoning
    from leadline.estimate.score import Calibration

_MOST_APPENDED = 40  # more new entries than this are replayed
_NAME = "reckoning:"
_Kept = tuple[str, int, "Reckoning"]  # key, sequence number of the journal, the reckoning
_kept: weakref.WeakKeyDictionary[Store, dict[str, _Kept]] = weakref.WeakKeyDictionary()

_A_MOMENT_D = 30.0 / 86400.0  # a page asks for estimate and round one after the other
_believed: weakref.WeakKeyDictionary[Store, dict[str, tuple[str, int, float, SystemEstimate]]] = (
    weakref.WeakKeyDictionary()
)

# probe medians are thinned with age: half-hourly for two days, six-hourly for a month, every third day before
_THIN = ((2.0, 1800.0), (30.0, 21600.0), (420.0, 259200.0))


def reckoning(store: Store, clock: Clock, system: str, as_of: dt.datetime | None = None) -> Reckoning:
    """The system reckoned as of a moment, now when none is given.

    What was reckoned before serves again: as it is when nothing was written since, with a new reading appended when
    that is all that was written, and not at all otherwise or for a moment in the past.
    """
    from leadline.estimate.inputs import day_of
    from leadline.estimate.reckon import reckon

    if as_of is not None:
        described = describe.load(store, system, as_of)
        return reckon(described, store.entries(system), as_of, probes(store, described, as_of))
    now = clock.now()
    document = describe.document(store, system)
    from leadline.estimate.keep import RECKONING, freeze

    said = f"{__version__}|{RECKONING}|{store.stream_revision(system)}|{document}"
    key = hashlib.blake2b(said.encode(), digest_size=16).hexdigest()
    shelf = _kept.setdefault(store, {})
    found = shelf.get(system) or _thawed(store, system, document, day_of(now))
    if found is not None and found[0] == key and found[2].now <= day_of(now):
        new, seq = _since(store, system, found[1])
        longer = _with_new(new, found[2], now)
        if longer is not None:
            shelf[system] = (key, seq, longer)
            return longer
    described = describe.load(store, system)
    everything, seq = _since(store, system, 0)
    r = reckon(described, everything, now, probes(store, described, now))
    if any(e.known_at > now for e in everything) or _ahead(store, system, now):
        shelf.pop(system, None)  # something lies ahead of this clock: it must be seen when its time has come
        return r
    shelf[system] = (key, seq, r)
    store.keep_aside(_NAME + system, f"{key}:{seq}", freeze(r))
    return r


def _since(store: Store, system: str, seq: int) -> tuple[list[Entry], int]:
    """Entries written after `seq`, and the number of the last of them: nothing written meanwhile is counted twice."""
    while True:
        last = store.last_seq(system)
        found = store.entries(system, after_seq=seq)
        if store.last_seq(system) == last:
            return found, last


def _ahead(store: Store, system: str, now: dt.datetime) -> bool:
    """True when a stream holds a point later than `now`."""
    points = (store.latest_point(system, stream) for _, stream in store.streams(system))
    return any(p is not None and p[0] > now.timestamp() for p in points)


def _thawed(store: Store, system: str, document: str, now: float) -> _Kept | None:
    """What another process kept aside."""
    from leadline.estimate.keep import thaw

    kept = store.kept_aside(_NAME + system)
    if kept is None:
        return None
    key, _, seq = kept[0].partition(":")
    r = thaw(kept[1], parse(document), now) if seq.isdigit() else None
    return (key, int(seq), r) if r is not None else None


def _with_new(new: list[Entry], r: Reckoning, now: dt.datetime) -> Reckoning | None:
    """The same reckoning at a later moment, with the few entries written since; None when it needs a replay."""
    from leadline.estimate.append import append
    from leadline.estimate.inputs import day_of

    if len(new) > _MOST_APPENDED or any(e.known_at > now for e in new):
        return None
    r.carry(day_of(now))
    longer: Reckoning | None = r
    for e in sorted(new, key=lambda e: e.time):
        longer = append(longer, e) if longer is not None else None
    return longer


def probes(store: Store, system: System, now: dt.datetime) -> Probes:
    """10-minute medians of every probe stream that carries a quantity, thinned with age, in days and stored units."""
    import numpy as np

    found: dict[str, dict[str, tuple[np.ndarray, np.ndarray]]] = {}
    end = now.timestamp()
    midnight = end // 86400.0 * 86400.0  # what is thinned changes once a day, not with every question
    for stream, quantity in carriers(store, system):
        times, values = [], []
        newest = end
        for age_d, every in _THIN:
            oldest = midnight - age_d * 86400.0
            part = store.medians(system.id, stream, oldest, newest, 600.0)
            if len(part.times_s):
                keep = _middle_of_each(part.times_s, part.values, every)
                times.append(part.times_s[keep])
                values.append(part.values[keep])
            newest = oldest
        if times:
            t, v = np.concatenate(times), np.concatenate(values)
            order = np.argsort(t)
            found.setdefault(quantity, {})[stream] = (t[order] / 86400.0, v[order])
    return found


def carriers(store: Store, system: System) -> list[tuple[str, str]]:
    """Every stream that measures a quantity of the water, and which."""
    declared = {s.id: s for s in system.streams}
    found = []
    for _, stream in store.streams(system.id):
        said = declared.get(stream)
        quantity = said.quantity if said else stream if stream in QUANTITIES else ""
        if quantity in QUANTITIES and not (said and said.room):
            found.append((stream, quantity))
    return found


def _middle_of_each(times_s: np.ndarray, values: np.ndarray, every_s: float) -> np.ndarray:
    """Index of the median point of each window of `every_s`: a real 10-minute median, and never a glitch among them."""
    import numpy as np

    window = np.floor(times_s / every_s)
    order = np.lexsort((values, window))
    first = np.flatnonzero(np.diff(window[order], prepend=-1.0))
    count = np.diff(np.append(first, len(order)))
    return np.sort(order[first + (count - 1) // 2])


def estimate(
    store: Store, clock: Clock, system: str, as_of: dt.datetime | None = None, units: str = ""
) -> SystemEstimate:
    """Everything believed about a system; `units` are the reader's, metric or us, else the system's own."""
    from leadline.estimate import outlook

    r, e = reckoned(store, clock, system, as_of)
    return outlook.shown_in(r, e, units)


def reckoned(
    store: Store, clock: Clock, system: str, as_of: dt.datetime | None = None
) -> tuple[Reckoning, SystemEstimate]:
    """The reckoning and what it lets one believe; the belief of a moment ago serves again while nothing is written."""
    from leadline.estimate import outlook

    r = reckoning(store, clock, system, as_of)
    if as_of is not None:
        return r, outlook.estimate(r)
    kept = _kept.get(store, {}).get(system)
    if kept is None:  # something lies ahead of this clock: nothing of it may serve again
        return r, outlook.estimate(r)
    key, seq, _reckoning = kept
    shelf = _believed.setdefault(store, {})
    place = f"{system} {words.manner()}"  # a belief says why, in sentences
    found = shelf.get(place)
    if found is not None and found[:2] == (key, seq) and 0.0 <= r.now - found[2] <= _A_MOMENT_D:
        return r, found[3]
    e = outlook.estimate(r)
    shelf[place] = (key, seq, r.now, e)
    return r, e


def courses(
    store: Store,
    clock: Clock,
    system: str,
    start: dt.datetime,
    as_of: dt.datetime | None = None,
    only: str | None = None,
) -> dict[str, Course]:
    """The reckoned course of every quantity, or of one, from `start` to a little beyond now."""
    from leadline.estimate.course import course

    r = reckoning(store, clock, system, as_of)
    return {q: course(r, q, start.timestamp() / 86400.0) for q in r.tracks if only in (None, q)}


def check(store: Store, clock: Clock, system: str, as_of: dt.datetime | None = None) -> dict[str, Calibration]:
    """The system's own running calibration: every reading judged before it was used, per quantity and pooled."""
    import numpy as np

    from leadline.estimate.score import calibration, gaussian_crps, mixture_crps, mixture_pit

    r = _judged(store, clock, system, as_of)
    out, all_pit, all_crps, all_last = {}, [], [], []
    for q, t in r.tracks.items():
        hand = np.array([bool(i) for i in t.sightings.ids], dtype=bool)
        if t.foretold is None or hand.sum() < 4:
            continue
        m, sd, w = t.foretold
        y = t.sightings.value
        pit = mixture_pit(y, m, sd, w, t.family.positive)[hand][3:]
        crps = mixture_crps(y[hand], m[hand], sd[hand], w[hand])[3:]
        steps = np.diff(y[hand])
        spread = np.sqrt(np.maximum(np.cumsum(steps**2) / np.arange(1, len(steps) + 1), 1e-12))
        last = gaussian_crps(y[hand][2:-1], np.maximum(spread[1:-1], 1e-9), y[hand][3:])
        out[q] = calibration(pit, crps, last)
        all_pit.append(pit)
        all_crps.append(crps / t.scale)
        all_last.append(last / t.scale)
    if out:
        out["pooled"] = calibration(np.concatenate(all_pit), np.concatenate(all_crps), np.concatenate(all_last))
    return out


def _judged(store: Store, clock: Clock, system: str, as_of: dt.datetime | None) -> Reckoning:
    """A reckoning with the scores of all its readings, replayed from the first."""
    from leadline.estimate.reckon import reckon

    now = as_of or clock.now()
    described = describe.load(store, system, as_of)
    return reckon(described, store.entries(system), now, probes(store, described, now))
