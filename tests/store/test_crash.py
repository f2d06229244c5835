"""A kill at any instant loses nothing acknowledged; two processes share one file."""

from __future__ import annotations

import contextlib
import datetime as dt
import math
import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from leadline.journal.entry import Entry
from leadline.measures.moments import UTC, FixedClock
from leadline.store.backup import prove
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.contract

T0 = 1_700_006_400  # a midnight in UTC
SPAN_MIN = 40_000
A_BATCH = 12
WHO = ("north-room", "temperature")

# One batch: three entries, then twelve points at moments all over four weeks; now and then old days are packed.
# It says what it has done only after the store has returned.
_WORKER = """
import datetime as dt, sys
from tests.store.test_crash import entries_of, points_of, T0, WHO
from leadline.measures.moments import FixedClock, UTC
from leadline.store.sqlite import SqliteStore
path, batch, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
store = SqliteStore.open(path, clock=FixedClock(dt.datetime(2026, 1, 1, tzinfo=UTC)))
print("open", flush=True)
for batch in range(batch, batch + count):
    store.add_entries(entries_of(batch))
    print("entries", batch, flush=True)
    times, values = points_of(batch)
    store.add_points(*WHO, times, values)
    print("points", batch, flush=True)
    if batch % 5 == 0:
        store.pack(T0 + 86400 * (batch % 28))
store.close()
"""


def entries_of(batch: int) -> list[Entry]:
    moment = dt.datetime(2026, 1, 1, tzinfo=UTC) + dt.timedelta(minutes=batch)
    return [Entry(moment, "north-room", "note", note=f"{batch} {n}", id=f"{batch}-{n}") for n in range(3)]


def points_of(batch: int) -> tuple[list[float], list[float]]:
    """Moments that no other batch has: 7919 is prime, so its multiples visit every minute of the span once."""
    minutes = [(batch * A_BATCH + n) * 7919 % SPAN_MIN for n in range(A_BATCH)]
    return [T0 + 60.0 * minute for minute in minutes], [minute % 1009 / 100 for minute in minutes]


def start(path: Path, environment: dict[str, str], batch: int, count: int = 10_000) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", _WORKER, str(path), str(batch), str(count)],
        stdout=subprocess.PIPE, text=True, env=environment, cwd=Path(__file__).parents[2],
    )  # fmt: skip


def assert_all_there(path: Path, clock: FixedClock, acknowledged: set[tuple[str, int]]) -> None:
    with SqliteStore.open(path, clock=clock, create=False) as store:
        assert store._connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        ids = {entry.id for entry in store.entries()}
        points = store.points(*WHO, 0, 4e9)
        hours, days = (store.rollup(*WHO, 0, 4e9, bucket) for bucket in ("1h", "1d"))
    there = dict(zip(points.times_s.tolist(), points.values.tolist(), strict=True))
    for what, batch in acknowledged:
        if what == "entries":
            assert {f"{batch}-{n}" for n in range(3)} <= ids
        else:
            times, values = points_of(batch)
            assert [there.get(moment) for moment in times] == values
    batches = {int(id_.split("-")[0]) for id_ in ids}
    assert len(ids) == 3 * len(batches)  # no half batch
    assert len(there) % A_BATCH == 0
    for rollup, size in ((hours, 3600), (days, 86_400)):  # counted again here, in plain Python
        groups: dict[int, list[float]] = {}
        for moment, value in there.items():
            groups.setdefault(int(moment) // size * size, []).append(value)
        assert dict(zip(rollup.start_s.tolist(), rollup.n.tolist(), strict=True)) == {
            k: len(g) for k, g in groups.items()
        }
        for place, moment in enumerate(rollup.start_s.tolist()):
            group = groups[moment]
            assert (rollup.least[place], rollup.greatest[place]) == (min(group), max(group))
            # sums in another order differ by at most n rounding errors
            assert abs(rollup.total[place] - math.fsum(group)) <= len(group) * 2.3e-16 * math.fsum(group)


def test_thirty_kills_lose_nothing_acknowledged(path: Path, clock: FixedClock, environment: dict[str, str]) -> None:
    chance = random.Random(20260301)
    acknowledged: set[tuple[str, int]] = set()
    batch = 0
    for kill in range(30):
        worker = start(path, environment, batch)
        assert worker.stdout is not None
        heard = ""
        if kill % 6 == 0:  # some die before or while they open the file
            time.sleep(chance.uniform(0.02, 0.15))
        else:
            heard += worker.stdout.readline()
            for _ in range(2 * (kill % 2)):  # numpy loads with the first points; half of them get beyond that
                heard += worker.stdout.readline()
            time.sleep(chance.uniform(0.0, 0.06))
        worker.kill()  # SIGKILL
        heard += worker.stdout.read()
        worker.wait()
        worker.stdout.close()
        complete = [line.split() for line in heard.split("\n")[:-1]]  # the last may have been cut short
        acknowledged |= {(line[0], int(line[1])) for line in complete if len(line) == 2}
        batch = max([batch, *(number for _, number in acknowledged)]) + 2
        if kill % 5 == 4:
            assert_all_there(path, clock, acknowledged)
    assert len(acknowledged) > 100
    assert batch * A_BATCH < SPAN_MIN


def test_two_processes_add_at_the_same_time(path: Path, clock: FixedClock, environment: dict[str, str]) -> None:
    workers = [start(path, environment, first, 40) for first in (0, 1000)]  # both make the file, or wait for it
    for worker in workers:
        worker.communicate()
        assert worker.returncode == 0
    everything = {
        (what, batch) for first in (0, 1000) for batch in range(first, first + 40) for what in ("entries", "points")
    }
    assert_all_there(path, clock, everything)


def test_threads_of_one_process_take_turns(store: SqliteStore, path: Path, clock: FixedClock) -> None:
    def work(first: int) -> None:
        for batch in range(first, first + 15):
            store.add_entries(entries_of(batch))
            store.add_points(*WHO, *points_of(batch))
            assert len(store.entries(after_seq=0)) % 3 == 0

    threads = [threading.Thread(target=work, args=(first,)) for first in (0, 100, 200)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    store.close()
    numbers = [batch for first in (0, 100, 200) for batch in range(first, first + 15)]
    assert_all_there(path, clock, {(what, batch) for batch in numbers for what in ("entries", "points")})


def test_a_backup_while_another_process_writes(
    store: SqliteStore, path: Path, clock: FixedClock, environment: dict[str, str]
) -> None:
    worker = start(path, environment, 0, 3000)
    assert worker.stdout is not None
    with contextlib.closing(worker.stdout):
        while worker.stdout.readline() != "points 20\n":
            pass
        acknowledged = {(what, batch) for batch in range(21) for what in ("entries", "points")}
        for turn in range(3):  # onto itself, too
            target = path.with_name(f"backup-{turn % 2}.db")
            contents = store.backup(str(target))
            assert worker.poll() is None, "the worker was to be still writing"
            assert contents.entries >= 63
            assert prove(target).entries == contents.entries
            assert_all_there(target, clock, acknowledged)
        worker.kill()
        worker.wait()


def test_the_minutes_of_the_points_are_all_different() -> None:
    everything = np.concatenate([points_of(batch)[0] for batch in range(SPAN_MIN // A_BATCH)])
    assert np.unique(everything).size == everything.size
