"""Killed with SIGKILL right after each step, between the finding and its answer, an alarm still arrives."""

from __future__ import annotations

import datetime as dt
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.watch import house

from leadline.alarms.alarm import State
from leadline.wiring import open_store

pytestmark = [pytest.mark.door]
ROOT = Path(__file__).parents[2]


def household(folder: Path) -> Path:
    """A reef whose probe writes a growing file, and one bell."""
    db = house.found(folder)
    csv = folder / "plant.csv"
    house.give(db, house.bell(folder) + house.ONE + f'[[feed]]\nid = "plant"\nkind = "file"\npath = "{csv}"\n')
    rows = [
        f"{dt.datetime.fromtimestamp(p.t, dt.UTC).isoformat()},{p.system},{p.stream},{p.v}" for p in house.heating()
    ]
    csv.write_text("time,system,stream,value\n" + "\n".join(rows) + "\n")
    return db


def alarms_told(folder: Path) -> list[str]:
    return [id_ for id_, text in house.rung(folder) if "its limit" in text]


@pytest.mark.parametrize("step", ["kept", "opened", "queued", "claimed", "sent", "settled", "asked"])
def test_an_alarm_survives_a_kill_after(step, tmp_path):
    db = household(tmp_path)
    env = {**os.environ, "PYTHONPATH": f"{ROOT / 'src'}:{ROOT}"}
    died = subprocess.run([sys.executable, "-m", "tests.watch.dies", str(db), step], env=env, cwd=ROOT, timeout=60)
    assert died.returncode == -signal.SIGKILL
    running = house.loop(db)
    running.start()
    try:
        told = house.until(lambda: alarms_told(tmp_path))
        assert len(set(told)) == 1  # perhaps twice, with one id
        house.until(lambda: _stages(db, told[0]) == ["delivered"])
        with open_store(str(db)) as store:
            assert store.alarm("reef", "temperature-high").state is State.UNACKNOWLEDGED
            start = house.heating()[0].t - 60.0
            assert (
                len(store.points("reef", "temperature", start, start + 7200.0).times_s) == 60
            )  # none lost, none twice
    finally:
        running.stop()


def _stages(db: Path, message: str) -> list[str]:
    with open_store(str(db)) as store:
        return [str(d.stage) for d in store.deliveries(message)]


def test_a_kill_after_the_answer_does_not_ask_again(tmp_path):
    db = household(tmp_path)
    env = {**os.environ, "PYTHONPATH": f"{ROOT / 'src'}:{ROOT}"}
    died = subprocess.run(
        [sys.executable, "-m", "tests.watch.dies", str(db), "answered"], env=env, cwd=ROOT, timeout=60
    )
    assert died.returncode == -signal.SIGKILL
    before = alarms_told(tmp_path)
    running = house.loop(db)
    running.start()
    try:
        running.started.wait(20)
        house.until(lambda: running.beat > 3)
        assert alarms_told(tmp_path) == before
        with open_store(str(db)) as store:
            assert store.alarm("reef", "temperature-high").state is State.ACKNOWLEDGED
    finally:
        running.stop()
