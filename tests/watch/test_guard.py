"""Two watches guard each other, a dead-man address hears from one that lives, a second process is refused."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest
from tests.peers import web
from tests.watch import house
from tests.web.conftest import served

from leadline.app.keep_watch import WATCH
from leadline.measures.errors import Unreachable
from leadline.watch.lock import Lock
from leadline.web import site
from leadline.wiring import open_store

pytestmark = pytest.mark.door
ROOT = Path(__file__).parents[2]


@contextlib.contextmanager
def manned(folder, orders, **more):
    """A watch behind its health address."""
    folder.mkdir()
    db = house.found(folder)
    house.give(db, orders)
    loop = house.loop(db, **more)
    loop.start()
    try:
        assert loop.started.wait(30)
        with served(site.build(lambda: open_store(str(db)), house.CLOCK, live=loop)) as address:
            yield db, loop, address
    finally:
        loop.stop()


def guard(db):
    with open_store(str(db)) as store:
        return next((r for r in store.alarms(WATCH) if r.name.startswith("guard-")), None)


EVERY = '[guard]\nevery = "1 s"\nmissed = 2\n'


def test_each_notices_that_the_other_died_and_tells_by_its_own_way(tmp_path):
    with contextlib.ExitStack() as stack:
        one = contextlib.ExitStack()
        _, first, address = one.enter_context(manned(tmp_path / "one", house.bell(tmp_path / "one") + house.ONE))
        two = house.bell(tmp_path / "two") + house.ONE + EVERY
        other, second, _ = stack.enter_context(manned(tmp_path / "two", two, guard=(address,)))
        house.until(lambda: second._guard.seen.get(address) == (0, ""))
        assert guard(other) is None
        first.stop()  # the process still answers, its watch does not run
        said = house.until(lambda: guard(other))
        assert "stands still" in said.because or "not moved" in said.because
        house.until(lambda: [t for _, t in house.rung(tmp_path / "two") if "gave no sign of life" in t])
        one.close()
        house.until(lambda: "nothing listens" in second._guard.seen[address][1])


def test_one_that_comes_back_ends_it(tmp_path):
    with web.receiver() as peer:
        beat = iter(range(10_000))
        address = f"http://127.0.0.1:{peer.port}"
        with manned(tmp_path / "one", house.bell(tmp_path) + house.ONE + EVERY, guard=(address,)) as (db, _, _):
            house.until(lambda: guard(db))  # it answers, but not as a watch
            assert "not as a watch" in guard(db).because
            deadline = time.monotonic() + 20
            while guard(db).alarm.holds and time.monotonic() < deadline:
                peer.answers["/health"] = (200, f'{{"ok": true, "beat": {next(beat)}}}'.encode())
                time.sleep(0.2)
            assert not guard(db).alarm.holds


def test_the_dead_man_address_hears_from_a_watch_that_lives_and_not_from_one_that_stands(tmp_path):
    with web.receiver() as peer:
        orders = f'[guard]\nping = "http://127.0.0.1:{peer.port}/alive"\nping_every = "1 s"\n'
        with manned(tmp_path / "one", orders) as (_, loop, _):
            house.until(lambda: len(peer.asked) >= 2)

            def fails() -> None:
                raise ZeroDivisionError("a mistake that a test planted")

            loop._tick = fails
            house.until(lambda: "planted" in loop.health()["words"])
            assert not loop.health()["ok"]
            heard = len(peer.asked)
            before = loop.beat
            house.until(lambda: loop.beat > before + 3)  # some seconds on
            assert len(peer.asked) <= heard + 1  # one may have been under way


def test_only_one_process_watches_a_store(tmp_path):
    db = house.found(tmp_path)
    first = Lock(db)
    first.take()
    with pytest.raises(Unreachable, match="another process watches"):
        Lock(db).take()
    first.leave()
    again = Lock(db)
    again.take()
    again.leave()


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM])
def test_leadline_watch_as_a_process_takes_points_and_ends_on_a_signal(tmp_path, end):
    db = house.found(tmp_path)
    house.give(db, house.bell(tmp_path) + house.ONE)
    env = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    words = [sys.executable, "-m", "leadline", "--db", str(db)]
    token = subprocess.run(
        [*words, "watch", "token", "board"], env=env, capture_output=True, text=True, check=True
    ).stdout
    process = subprocess.Popen(
        [*words, "watch", "--port", "0"], env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )  # fmt: skip
    try:
        line = process.stdout.readline()
        address = line.split()[3]
        again = subprocess.run([*words, "watch", "--port", "0"], env=env, capture_output=True, text=True, timeout=60)
        assert again.returncode == 3
        assert "another process watches this store" in again.stderr
        rows = "\n".join(
            f'{{"system": "reef", "stream": "temperature", "t": {p.t}, "v": {p.v}}}' for p in house.heating()
        )  # fmt: skip
        head = {"authorization": f"Bearer {token.strip()}"}
        said = httpx.post(f"{address}/api/streams", content=rows, headers=head, timeout=20)
        assert said.json()["kept"] == 60
        house.until(lambda: [t for _, t in house.rung(tmp_path) if "its limit" in t])
        process.send_signal(end)
        assert process.wait(30) == 130
        assert "Traceback" not in process.stdout.read()
        lock = Lock(db)
        lock.take()  # it has let go
        lock.leave()
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
