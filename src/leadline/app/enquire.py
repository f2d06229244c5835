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
from leadline.measures.moments import Clock
from leadline.measures.quantities import QUANTITIES
from leadline.system.description import System

if TYPE_CHECKING:
    from leadline.estimate.reckon import Probes, Reckoning
    from leadline.estimate.score import Calibration

_FRESH_S = 60.0  # a reckoning may serve for a minute when nothing new was written
_NAME = "reckoning:"
_Kept = tuple[tuple[object, ...], dt.datetime, "Reckoning"]
_kept: weakref.WeakKeyDictionary[Store, dict[str, _Kept]] = weakref.WeakKeyDictionary()

# probe medians are thinned with age: half-hourly for two days, six-hourly for a month, every third day before
_THIN = ((2.0, 1800.0), (30.0, 21600.0), (420.0, 259200.0))


def reckoning(store: Store, clock: Clock, system: str, as_of: dt.datetime | None = None) -> Reckoning:
    """The system reckoned as of a moment (now when none is given); kept for a minute while nothing changes."""
    from leadline.estimate.reckon import reckon

    now = as_of or clock.now()
    document = describe.document(store, system, as_of)
    key = (store.last_seq(system), store.stream_revision(system), hash(document), as_of)
    shelf = _kept.setdefault(store, {})
    found = shelf.get(system)
    if found is not None and found[0] == key and abs((now - found[1]).total_seconds()) < _FRESH_S:
        return found[2]
    described = describe.load(store, system, as_of)
    r = None if as_of else _thawed(store, described, document, now)
    if r is None:
        r = reckon(described, store.entries(system), now, probes(store, described, now))
        if as_of is None:
            from leadline.estimate.keep import freeze

            store.keep_aside(_NAME + system, _key(store, system, document), freeze(r))
    if as_of is None:
        shelf[system] = (key, now, r)
    return r


def _key(store: Store, system: str, document: str) -> str:
    said = f"{__version__}|{store.last_seq(system)}|{store.stream_revision(system)}|{document}"
    return hashlib.blake2b(said.encode(), digest_size=16).hexdigest()


def _thawed(store: Store, system: System, document: str, now: dt.datetime) -> Reckoning | None:
    """The last reckoning carried to now, when nothing was written since and it is not too old to carry."""
    kept = store.kept_aside(_NAME + system.id)
    if kept is None or kept[0] != _key(store, system.id, document):
        return None
    from leadline.estimate.inputs import day_of
    from leadline.estimate.keep import thaw

    r = thaw(kept[1], system, day_of(now))
    return r


def probes(store: Store, system: System, now: dt.datetime) -> Probes:
    """10-minute medians of every probe stream that carries a quantity, thinned with age, in days and stored units."""
    import numpy as np

    found: dict[str, dict[str, tuple[np.ndarray, np.ndarray]]] = {}
    end = now.timestamp()
    declared = {s.id: s for s in system.streams}
    for _, stream in store.streams(system.id):
        said = declared.get(stream)
        quantity = said.quantity if said else stream if stream in QUANTITIES else ""
        if not quantity or quantity not in QUANTITIES or (said and said.room):
            continue
        times, values = [], []
        newest = end
        for age_d, every in _THIN:
            oldest = end - age_d * 86400.0
            part = store.medians(system.id, stream, oldest, newest, 600.0)
            if len(part.times_s):
                keep = np.unique(np.floor(part.times_s / every), return_index=True)[1]
                times.append(part.times_s[keep])
                values.append(part.values[keep])
            newest = oldest
        if times:
            t, v = np.concatenate(times), np.concatenate(values)
            order = np.argsort(t)
            found.setdefault(quantity, {})[stream] = (t[order] / 86400.0, v[order])
    return found


def estimate(store: Store, clock: Clock, system: str, as_of: dt.datetime | None = None) -> SystemEstimate:
    """Everything believed about a system."""
    from leadline.estimate import outlook

    return outlook.estimate(reckoning(store, clock, system, as_of))


def courses(
    store: Store, clock: Clock, system: str, start: dt.datetime, as_of: dt.datetime | None = None
) -> dict[str, Course]:
    """The reckoned course of every quantity from `start` to a little beyond now."""
    from leadline.estimate.course import course

    r = reckoning(store, clock, system, as_of)
    return {q: course(r, q, start.timestamp() / 86400.0) for q in r.tracks}


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
