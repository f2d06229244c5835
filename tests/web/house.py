"""The invented house as a real store: described, brought in through the public formats, ready to be served."""

from __future__ import annotations

import datetime as dt
import pathlib

from leadline.app import bring_in, describe
from leadline.formats import opening
from leadline.invented import scenario
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore

NOW = dt.datetime(2026, 3, 1, 8, 0, tzinfo=dt.UTC)


def built(folder: pathlib.Path, now: dt.datetime = NOW) -> pathlib.Path:
    """A store of the whole house in `folder`; gives its path."""
    made, clock = scenario(now), FixedClock(now)
    path = folder / "house.db"
    store = SqliteStore.open(path, clock=clock)
    for document in made.systems:
        describe.add(store, clock, document)
    desk = opening.Desk(bring_in.zone_of(store), now, stream=bring_in.stream_of(store))
    reads = []
    for name, content in (("journal.csv", made.journal_csv), ("streams.csv", made.stream_csv)):
        (folder / name).write_text(content, encoding="utf-8")
        reads.append(opening.read(folder / name, desk, opening.Options()))
    brought = bring_in.bring_in(store, reads)
    assert not brought.refused, brought.rejected[:3]
    store.close()
    return path
