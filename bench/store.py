"""The store against plain SQLite in the same run: adding, packing, a chart of ten years.

python -m bench.store [YEARS]
"""

from __future__ import annotations

import datetime as dt
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from leadline.journal.entry import Entry
from leadline.measures.moments import UTC, FixedClock
from leadline.store import rows
from leadline.store.file import migrations
from leadline.store.sqlite import SqliteStore

CLOCK = FixedClock(dt.datetime(2026, 1, 1, tzinfo=UTC))
T0 = 1_451_606_400  # 2016-01-01 in UTC
DAY = 86_400
WHO = ("north-room", "temperature")
MIB = 2**20


def seconds(work: Callable[[], object], times: int = 1) -> float:
    """Median duration of `times` runs."""
    took = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return statistics.median(took)


def plain(path: Path) -> sqlite3.Connection:
    """The same tables, journal mode and synchronisation, without the store."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    for step in migrations():
        db.executescript(step.path.read_text(encoding="utf-8"))
    return db


def entries_of_ten_years(count: int = 20_000) -> list[Entry]:
    start = dt.datetime(2016, 1, 1, tzinfo=UTC)
    return [
        Entry(
            start + dt.timedelta(hours=4.38 * n), "north-room", "reading", "alkalinity", 8.1 + n % 7 / 10, "dKH",
            "titration", 0.1, note="after the exchange" if n % 9 == 0 else "", stored=2.89 + n % 7 / 28,
            stored_sd=0.036, extra={"salinity": 35.0} if n % 20 == 0 else {},
        )
        for n in range(count)
    ]  # fmt: skip


def probe_minutes(days: int) -> tuple[np.ndarray, np.ndarray]:
    """Minutes of a probe in steps of 0.01: daily swing of 0.3, slow wander, noise of 0.02."""
    n = days * 1440
    minute = np.arange(n)
    rng = np.random.default_rng(7)
    wander = np.cumsum(rng.normal(0, 0.002, n))
    raw = 25 + 0.3 * np.sin(minute / 1440 * 2 * np.pi) + wander - wander.mean() + rng.normal(0, 0.02, n)
    return T0 + 60.0 * minute, np.rint(raw * 100) / 100


def journal(folder: Path) -> None:
    """Adding and reading 20,000 entries."""
    entries = entries_of_ten_years()
    ready = [rows.to_row(entry) for entry in entries]
    with_ids = [rows.to_entry(row) for row in ready]
    insert = f"INSERT INTO entry ({', '.join(rows.COLUMNS)}) VALUES ({', '.join('?' * len(rows.COLUMNS))})"
    base, ours, ours_with_ids = [], [], []
    for turn in range(5):
        db = plain(folder / f"plain-{turn}.db")
        db.execute("BEGIN")
        base.append(seconds(lambda db=db: (db.executemany(insert, ready), db.execute("COMMIT"))))  # type: ignore[misc]
        db.close()
        for taken, given in ((ours, entries), (ours_with_ids, with_ids)):
            with SqliteStore.open(folder / f"ours-{turn}-{len(taken)}-{id(taken)}.db", clock=CLOCK) as store:
                taken.append(seconds(lambda store=store, given=given: store.add_entries(given)))  # type: ignore[misc]
    floor = statistics.median(base)
    print(f"add 20,000 entries: plain executemany {floor * 1e3:.0f} ms")
    for name, taken in (("with ids", ours_with_ids), ("ids worked out from the content", ours)):
        print(f"  store, {name}: {statistics.median(taken) * 1e3:.0f} ms, ratio {statistics.median(taken) / floor:.2f}")
    with SqliteStore.open(folder / "read.db", clock=CLOCK) as store:
        store.add_entries(entries)
        fetch = seconds(lambda: store._connection.execute("SELECT * FROM entry").fetchall(), 7)
        read = seconds(lambda: store.entries("north-room"), 7)
        again = seconds(lambda: store.add_entries(with_ids), 3)
        print(f"read 20,000 entries: {read * 1e3:.0f} ms; bare rows {fetch * 1e3:.0f} ms, ratio {read / fetch:.2f}")
        print(f"add the same 20,000 again: {again * 1e3:.0f} ms")


def live(folder: Path) -> None:
    """Points as they come: 20 streams, one commit a minute for each stream or for a batch."""
    t, v = probe_minutes(7)
    put = "INSERT INTO point VALUES (?, ?, ?, ?)"
    for batch in (1, 60, 1440):
        parts = [slice(start, start + batch) for start in range(0, min(t.size, 300 * batch), batch)]
        db = plain(folder / f"plain-live-{batch}.db")

        def base(db: sqlite3.Connection = db, parts: list[slice] = parts) -> None:
            for part in parts:
                db.execute("BEGIN")
                db.executemany(
                    put, [(1, int(a) * 1000, b, 1) for a, b in zip(t[part].tolist(), v[part].tolist(), strict=True)]
                )
                db.execute("COMMIT")

        with SqliteStore.open(folder / f"live-{batch}.db", clock=CLOCK) as store:

            def ours(store: SqliteStore = store, parts: list[slice] = parts) -> None:
                for part in parts:
                    store.add_points(*WHO, t[part], v[part], [1] * len(t[part]))

            floor, taken = seconds(base), seconds(ours)
        db.close()
        print(
            f"commits of {batch:,} points: plain {floor / len(parts) * 1e3:.2f} ms,"
            f" store with both rollups {taken / len(parts) * 1e3:.2f} ms, ratio {taken / floor:.2f}"
        )


def bulk_and_chart(folder: Path, years: int) -> None:
    """Years of minutes of one stream: in, packed, and drawn."""
    t, v = probe_minutes(round(years * 365.25))
    put = "INSERT INTO point VALUES (?, ?, ?, ?)"
    year = slice(0, 525_600)
    ready = list(
        zip([1] * 525_600, (t[year] * 1000).astype(int).tolist(), v[year].tolist(), [1] * 525_600, strict=False)
    )
    db = plain(folder / "plain-bulk.db")
    db.execute("BEGIN")
    floor = seconds(lambda: (db.executemany(put, ready), db.execute("COMMIT")))
    db.close()
    path = folder / "bulk.db"
    with SqliteStore.open(path, clock=CLOCK) as store:
        taken = seconds(lambda: store.add_points(*WHO, t[year], v[year]))
        print(
            f"a year of minutes at once: plain {len(ready) / floor / 1e6:.2f} M points/s, store with both rollups"
            f" {len(ready) / taken / 1e6:.2f} M points/s, time ratio {taken / floor:.2f}"
        )
        again = seconds(lambda: store.add_points(*WHO, t[year], v[year]))
        print(f"  the same year sent again: ratio {again / floor:.2f}")
        packing = seconds(lambda: store.pack(t[-1] + 2 * DAY))
        for start in range(525_600, t.size, 525_600):
            store.add_points(*WHO, t[start : start + 525_600], v[start : start + 525_600])
            packing += seconds(lambda: store.pack(t[-1] + 2 * DAY))
        kept = store._connection.execute(
            "SELECT sum(length(t_steps) + length(v_steps) + length(flags)), sum(n), count(*) FROM chunk"
        ).fetchone()
        store._connection.execute("VACUUM")
        store._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        size = path.stat().st_size
        print(
            f"packing: {t.size / packing / 1e6:.2f} M points/s; {kept[0] / kept[1]:.2f} bytes a point in {kept[2]} days"
        )
        print(f"  the whole file: {size / MIB:.1f} MiB, {size / t.size:.2f} bytes a point with rollups and all")
        assert np.array_equal(store.points(*WHO, 0, 4e9).values, v)
    with SqliteStore.open(path, clock=CLOCK) as store:
        cold = seconds(lambda: store.rollup(*WHO, T0, T0 + years * 366 * DAY, "1d"))
        chart = seconds(lambda: store.rollup(*WHO, T0, T0 + years * 366 * DAY, "1d"), 15)
        decode = seconds(lambda: store.points(*WHO, T0, T0 + years * 366 * DAY), 3)
        print(
            f"chart of {years} years of minutes, daily least and greatest:"
            f" first {cold * 1e3:.1f} ms, then {chart * 1e3:.1f} ms;"
            f" all points unpacked {decode * 1e3:.0f} ms, ratio {decode / chart:.0f}"
        )
        end = float(t[-1])
        for name, span in (("medians of 10 min, 30 days", 30), ("medians of 10 min, a year", 365)):
            print(f"{name}: {seconds(lambda span=span: store.medians(*WHO, end - span * DAY, end), 5) * 1e3:.1f} ms")  # type: ignore[misc]
        print(f"latest point: {seconds(lambda: store.latest_point(*WHO), 15) * 1e3:.2f} ms")


def main(argv: list[str] | None = None) -> int:
    """Print the figures; the number of years of the stream may be given."""
    given = sys.argv[1:] if argv is None else argv
    years = int(given[0]) if given else 10
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        journal(folder)
        live(folder)
        bulk_and_chart(folder, years)
    return 0


if __name__ == "__main__":
    main()
