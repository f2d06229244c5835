"""Points through the running watch to the disk, looked at and acknowledged, against bare durable inserts.

python -m bench.ingest [BATCHES]
"""

from __future__ import annotations

import json
import sqlite3
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

from bench.table import Figure, show

from leadline.app import describe
from leadline.app.ports import Arrival
from leadline.watch.loop import Loop
from leadline.wiring import SystemClock, make_parts, open_store

CLOCK = SystemClock()
STREAMS, BATCH = 20, 10_000
REEF = '[system]\nid = "reef"\ntime_zone = "UTC"\nnet_volume = "600 L"\n' + "".join(
    f'[[stream]]\nid = "s{k}"\nquantity = "temperature"\nunit = "degC"\nperiod = "6 s"\n' for k in range(4)
)


def points(batch: int) -> list[tuple[str, float, float]]:
    """Twenty streams with a point every two seconds, four of them temperatures that the lookouts look at."""
    begin = CLOCK.now().timestamp() - 86400.0 + batch * BATCH / STREAMS * 2.0
    return [(f"s{k % STREAMS}", begin + k // STREAMS * 2.0, 25.0 + 0.01 * (k // STREAMS % 7)) for k in range(BATCH)]


def plain(folder: Path, batches: int) -> list[float]:
    """The same into one table by hand: WAL, synchronous=FULL, one transaction a batch. [s]"""
    db = sqlite3.connect(folder / "plain.db", isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("CREATE TABLE point (series INT, t INT, v REAL, PRIMARY KEY (series, t)) WITHOUT ROWID")
    took = []
    for k in range(batches):
        rows = [(int(s[1:]), round(t * 1000), v) for s, t, v in points(k)]
        began = time.perf_counter()
        db.execute("BEGIN")
        db.executemany("INSERT OR REPLACE INTO point VALUES (?, ?, ?)", rows)
        db.execute("COMMIT")
        took.append(time.perf_counter() - began)
    db.close()
    return took


def stored(folder: Path, batches: int) -> list[float]:
    """The same into the store, with both roll-ups, one transaction a batch. [s]"""
    took = []
    with open_store(str(folder / "stored.db")) as store:
        for k in range(batches):
            rows = points(k)
            streams = [([t for s, t, _ in rows if s == f"s{n}"], [v for s, _, v in rows if s == f"s{n}"])
                       for n in range(STREAMS)]  # fmt: skip
            began = time.perf_counter()
            with store.together():
                for n, (t, v) in enumerate(streams):
                    store.add_points("reef", f"s{n}", t, v)
            took.append(time.perf_counter() - began)
    return took


def watched(folder: Path, batches: int) -> tuple[list[float], list[float]]:
    """Through a running watch: batches of ten thousand, then single points; from handing over to acknowledged. [s]"""
    path = folder / "watched.db"
    with open_store(str(path)) as store:
        describe.add(store, CLOCK, REEF)
    loop = Loop(path, lambda: open_store(str(path)), lambda s, q: make_parts(s, q, str(path), CLOCK), CLOCK)
    loop.start()
    loop.started.wait(30.0)

    def hand_over(given: list[Arrival]) -> float:
        done = threading.Event()
        began = time.perf_counter()
        loop.queue.offer("bench", given, (), lambda taken: done.set())
        done.wait(30.0)
        return time.perf_counter() - began

    took = [hand_over([Arrival("reef", *p) for p in points(k)]) for k in range(batches)]
    now = CLOCK.now().timestamp()
    single = [hand_over([Arrival("reef", "s0", now + 0.001 * k, 25.0)]) for k in range(300)]
    loop.stop()
    return took, single


def main(argv: list[str] | None = None) -> None:
    """Print the table."""
    given = sys.argv[1:] if argv is None else argv
    batches = int(given[0]) if given else 20
    with tempfile.TemporaryDirectory() as folder:
        bare = plain(Path(folder), batches)
        kept = stored(Path(folder), batches)
        took, single = watched(Path(folder), batches)
    rate = BATCH / statistics.median(took)
    show("Taking points in", [
        Figure("ten thousand points on disk, with roll-ups", 1000 * statistics.median(kept), "ms",
               1000 * statistics.median(bare), "bare durable inserts, no roll-ups", 2.0, True, 1000 * min(kept)),
        Figure("  judged, looked at, on disk, acknowledged", 1000 * statistics.median(took), "ms",
               1000 * statistics.median(bare), "the same", None, False, 1000 * min(took)),
        Figure("one point, looked at, on disk", 1000 * statistics.median(single), "ms", least=1000 * min(single)),
    ])  # fmt: skip
    print(f"  {rate:,.0f} points a second, in transactions of {BATCH:,}; bare {BATCH / statistics.median(bare):,.0f}")
    print(json.dumps({"points_per_s": round(rate)}))


if __name__ == "__main__":
    main()
