"""Importing against plain executemany of the same rows into the same tables, in the same run.

python -m bench.importing [ROWS]
"""

from __future__ import annotations

import csv
import datetime as dt
import random
import sqlite3
import statistics
import sys
import tempfile
from pathlib import Path

from bench.store import CLOCK, plain, seconds

from leadline.app import bring_in
from leadline.formats import opening
from leadline.store import rows
from leadline.store.sqlite import SqliteStore

ROOM = '[system]\nid = "north-room"\ntime_zone = "Europe/Oslo"\nnet_volume = "1150 L"\n'
KINDS = (  # kind, subject, unit, usual value, spread
    ("reading", "alkalinity", "dKH", 8.1, 0.3), ("reading", "calcium", "mg/L", 420.0, 10.0),
    ("reading", "temperature", "degC", 25.2, 0.3), ("reading", "salinity", "psu", 35.0, 0.3),
    ("reading", "nitrate", "mg/L", 5.0, 2.0), ("reading", "phosphate", "ug/L P", 20.0, 5.0),
    ("addition", "sodium-bicarbonate", "g", 20.0, 4.0), ("topoff", "ro", "L", 9.0, 1.0),
)  # fmt: skip
TURNS = 5


def journal(path: Path, count: int, offset: str) -> None:
    """An invented journal: readings, doses and top-offs, a note on every twentieth row."""
    rng = random.Random(11)
    start = dt.datetime(2016, 1, 1, 12, 0)  # noqa: DTZ001 -- local wall time is what is being written
    span = 10 * 365 * 86400 / count
    with open(path, "w", newline="", encoding="utf-8") as file:
        write = csv.writer(file).writerow
        write(("time", "system", "kind", "subject", "value", "unit", "method", "sd", "note", "extra"))
        for n in range(count):
            moment = start + dt.timedelta(seconds=round(n * span))
            if not offset and moment.hour == 2:
                moment = moment.replace(hour=4)  # keep off the hour that the clocks skip
            kind, subject, unit, usual, spread = KINDS[n % len(KINDS)]
            value = f"{max(rng.gauss(usual, spread), 0):.2f}"
            sd = "0.1" if n % 8 == 0 else ""
            note = "after the exchange" if n % 20 == 0 else ""
            write((moment.isoformat() + offset, "north-room", kind, subject, value, unit, "titration", sd, note, ""))


def stream(path: Path, count: int) -> None:
    """Minutes of one invented probe."""
    rng = random.Random(12)
    start = dt.datetime(2024, 1, 1, tzinfo=dt.UTC)
    with open(path, "w", encoding="utf-8") as file:
        file.write("time,system,stream,value,unit\n")
        for n in range(count):
            moment = (start + dt.timedelta(minutes=n)).strftime("%Y-%m-%dT%H:%M:%SZ")
            file.write(f"{moment},north-room,temperature,{25 + rng.gauss(0, 0.1):.2f},degC\n")


def ours(path: Path, database: Path) -> None:
    """What `leadline import` does, from the file on disk to the commit."""
    with SqliteStore.open(database, clock=CLOCK) as store:
        store.save_system("north-room", ROOM, CLOCK.now())
        desk = opening.Desk(bring_in.zone_of(store), CLOCK.now(), stream=bring_in.stream_of(store))
        brought = bring_in.bring_in(store, [opening.read(path, desk, opening.Options())])
        assert not brought.refused, [p.text() for p in brought.rejected[:5]]


def compare(folder: Path, count: int, offset: str, name: str) -> int:
    """One journal, both ways, turn about so that a busy machine slows both; 1 when the aim is missed."""
    path = folder / f"{name}.csv"
    journal(path, count, offset)
    ours(path, folder / f"{name}.db")
    with SqliteStore.open(folder / f"{name}.db", clock=CLOCK) as store:
        ready = [rows.to_row(entry) for entry in store.entries()]
    assert len(ready) == count
    insert = f"INSERT INTO entry ({', '.join(rows.COLUMNS)}) VALUES ({', '.join('?' * len(rows.COLUMNS))})"
    base, taken = [], []
    for turn in range(TURNS):
        db = plain(folder / f"plain-{name}-{turn}.db")
        db.execute("BEGIN")

        def bare(db: sqlite3.Connection = db) -> None:
            db.executemany(insert, ready)
            db.execute("COMMIT")
            db.close()  # on both sides the log is folded into the file

        base.append(seconds(bare))
        taken.append(seconds(lambda turn=turn: ours(path, folder / f"{name}-{turn}.db")))  # type: ignore[misc]
    floor, whole = statistics.median(base), statistics.median(taken)
    print(f"import {count:,} journal rows, {name}: {whole * 1e3:.0f} ms, {count / whole:,.0f} rows/s")
    print(
        f"  plain executemany of the finished rows {floor * 1e3:.0f} ms, ratio {whole / floor:.2f}, "
        f"aim: within 3, {'met' if whole <= 3 * floor else 'MISSED'}"
    )
    return int(whole > 3 * floor)


def main(argv: list[str] | None = None) -> int:
    """Print the figures; the number of rows may be given. Returns how many aims were missed."""
    given = sys.argv[1:] if argv is None else argv
    count = int(given[0]) if given else 100_000
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        missed = compare(folder, count, "", "local times") + compare(folder, count, "Z", "times in UTC")
        path = folder / "stream.csv"
        stream(path, 2 * count)
        took = seconds(lambda: ours(path, folder / "stream.db"))
        print(f"import {2 * count:,} stream points: {took * 1e3:.0f} ms, {2 * count / took:,.0f} points/s")
    return missed


if __name__ == "__main__":
    main()
