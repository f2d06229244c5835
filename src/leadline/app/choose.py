"""Today's round of one system or of all."""

from __future__ import annotations

import datetime as dt

from leadline.app import describe, enquire
from leadline.app.ports import Store
from leadline.measures.moments import Clock
from leadline.rounds.item import Round


def round_for(
    store: Store, clock: Clock, system: str | None, minutes: float = 10.0, as_of: dt.datetime | None = None
) -> Round:
    """The ranked round for so many minutes; over all systems when none is named."""
    from leadline.estimate.reckon import moment_of
    from leadline.rounds import round as rounds
    from leadline.rounds.candidates import candidates

    now = as_of or clock.now()
    ids = [system] if system else store.systems()
    found, names, zone = [], {}, "UTC"
    for i in ids:
        described = describe.load(store, i, as_of)
        names[i], zone = described.name, described.time_zone
        r, e = enquire.reckoned(store, clock, i, as_of)
        proved = {k: moment_of(day) for k, day in r.proved().items()}
        live = {}
        for _, stream in store.streams(i):
            last = store.latest_point(i, stream, now.timestamp())
            if last is not None:
                live[stream] = dt.datetime.fromtimestamp(last[0], dt.UTC)
        found += candidates(described, e, proved, live, moment_of(r.since))
    return rounds.make(found, minutes, now, system or "", names, zone)
