"""Ten invented years of one system in a real store, brought in through the real import; and the demo house.

The water and the keeper are those of `bench.synthetic` (stony corals, two dosing pumps that log each day); the
keeper here also writes down nearly every top-off, so that the journal is as long as a diligent one gets.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from bench.synthetic import SyntheticSystem, as_csv, make_system
from bench.synthetic_styles import STYLES

from leadline.app import bring_in, describe
from leadline.formats.opening import Options, desk_for, read
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore

DAYS = 3650
SEED = 11


@dataclass(frozen=True)
class House:
    """A store on disk and the moment at which its records end."""

    path: Path
    now: dt.datetime
    system: str
    entries: int
    points: int = 0


def invent(style: str, days: int = DAYS, seed: int = SEED) -> SyntheticSystem:
    """A system of a style whose keeper logs four top-offs in five."""
    name = f"{style}-diligent"
    STYLES[name] = replace(STYLES[style], name=name, logs_topoff=0.8)
    try:
        return make_system(seed, days=days, style=name)
    finally:
        del STYLES[name]


def build(folder: Path, style: str = "stony", days: int = DAYS, probes: bool = False) -> House:
    """Bring the invented records into a new store in `folder`, streams packed as they are when older than a month."""
    made = invent(style, days)
    now = dt.datetime.fromtimestamp(made.end, dt.UTC)
    journal = folder / f"{style}-{days}.csv"
    journal.write_text(as_csv(made.journal), encoding="utf-8")
    path = folder / f"{style}-{days}.db"
    clock = FixedClock(now)
    points = 0
    with SqliteStore.open(path, clock=clock) as store:
        describe.add(store, clock, made.system_toml)
        desk = desk_for(store, clock)
        brought = bring_in.bring_in(store, [read(journal, desk, Options())], known=desk.known)
        if brought.refused:  # a simulated slip that is impossible, such as 62 °C: the keeper would take the row out
            out = {p.line for p in brought.rejected}
            lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
            journal.write_text("".join(x for n, x in enumerate(lines, 1) if n not in out), encoding="utf-8")
            brought = bring_in.bring_in(store, [read(journal, desk, Options())], known=desk.known)
        assert not brought.refused, [p.text() for p in brought.rejected[:5]]
        for stream, times, values in made.streams if probes else ():
            store.add_points(made.system_id, stream, times, values, np.ones(len(times), dtype=int))
            points += len(times)
        store.pack(made.end - 30 * 86400.0)
        count = len(store.entries(made.system_id))
    return House(path, now, made.system_id, count, points)


def demo(folder: Path) -> House:
    """The demo's own database, as `leadline demo` makes it, ending at a fixed date."""
    from leadline.cli.serving import make_demo

    now = dt.datetime(2026, 3, 2, 18, 0, tzinfo=dt.UTC)
    path = make_demo(folder / "demo", FixedClock(now))
    with SqliteStore.open(path, clock=FixedClock(now)) as store:
        systems = store.systems()
        count = len(store.entries())
    return House(path, now, systems[0], count)
