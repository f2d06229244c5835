"""A watch that lives through a bad day: its broker dies, mail is down, the disk fills, the clock is set.

Fifty points a second over a real broker. Nothing that was acknowledged is lost, every alarm arrives. The short form is
part of every run; the long one (ten minutes) runs with LEADLINE_LONG=1, as `make soak` does.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import subprocess
import threading
import time

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from tests.peers import broker
from tests.watch import house

from leadline.alarms.delivery import Kind
from leadline.watch.loop import Loop
from leadline.wiring import make_parts, open_store

pytestmark = pytest.mark.door
A_SECOND, STREAMS = 50, 25
LONG = os.environ.get("LEADLINE_LONG") == "1"


class Shifted:
    """The machine's clock, set by a test."""

    by = dt.timedelta(0)

    def now(self) -> dt.datetime:
        return house.CLOCK.now() + self.by


class Publisher(threading.Thread):
    """Sends fifty points a second with their own time, at QoS 1; knows what the broker has acknowledged.

    What a dying broker did not acknowledge is sent again by the client, as devices do.
    """

    def __init__(self, b: broker.Broker) -> None:
        super().__init__(daemon=True)
        self.client = paho.Client(CallbackAPIVersion.VERSION2, client_id="soak-plant", clean_session=False)
        self.client.max_queued_messages_set(0)
        self.client.reconnect_delay_set(0.2, 1.0)
        self.waiting: dict[int, tuple[str, float, float]] = {}
        self.early: set[int] = set()  # acknowledged before `publish` came back with the number
        self.acknowledged: list[tuple[str, float, float]] = []
        self.lock = threading.Lock()
        self.client.on_publish = self._acknowledged
        self.client.connect(b.host, b.port)
        self.client.loop_start()
        self.ending = threading.Event()

    def _acknowledged(self, client: object, data: object, mid: int, *more: object) -> None:
        with self.lock:
            if mid in self.waiting:
                self.acknowledged.append(self.waiting.pop(mid))
            else:
                self.early.add(mid)

    def run(self) -> None:
        begin, sent = time.monotonic(), 0
        while not self.ending.is_set():
            due = int((time.monotonic() - begin) * A_SECOND)
            for k in range(sent, due):
                t = house.CLOCK.now().timestamp() + (k % A_SECOND) * 1e-3  # no two points of a stream at one moment
                self._send(f"p{k % STREAMS}", t, float(k % 997))
            sent = max(sent, due)
            time.sleep(0.02)

    def heat(self) -> None:
        """A device that was away brings an hour in which the tank became too warm."""
        for p in house.heating():
            self._send("temperature", p.t, p.v)

    def _send(self, name: str, t: float, v: float) -> None:
        done = self.client.publish(f"leadline/reef/{name}", f'{{"t": {t:.3f}, "v": {v}}}', qos=1)
        point = (name, round(t, 3), v)
        with self.lock:  # never held over `publish`, which waits for the thread that calls us back
            if done.mid in self.early:
                self.early.discard(done.mid)
                self.acknowledged.append(point)
            else:
                self.waiting[done.mid] = point

    def stop(self) -> None:
        self.ending.set()
        self.join()
        house.until(lambda: not self.waiting, 60)
        self.client.disconnect()
        self.client.loop_stop()


def orders(folder, port, feed):
    return house.bell(folder) + (
        f'[[path]]\nid = "mail"\nkind = "mail"\nto = "keeper@home.example"\nserver = "127.0.0.1:{port}"\ntls = "none"\n'
        '[[person]]\nid = "keeper"\npaths = ["mail", "bell"]\n[escalation]\nnext_path = "2 s"\nrepeat = "10 min"\n'
        '[proof]\nwindow = "2 h"\n'
        f'[[feed]]\nid = "plant"\nkind = "mqtt"\nserver = "127.0.0.1:{feed}"\n'
    )  # fmt: skip


@pytest.mark.parametrize(
    "seconds", [24.0, pytest.param(600.0, marks=pytest.mark.skipif(not LONG, reason="LEADLINE_LONG=1"))]
)
def test_nothing_acknowledged_is_lost_and_every_alarm_arrives(tmp_path, record_property, seconds):
    disk = tmp_path / "disk"
    disk.mkdir()
    small = (
        os.geteuid() == 0
        and not subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=64m", "tmpfs", str(disk)], capture_output=True, check=False
        ).returncode
    )
    clock = Shifted()
    from leadline.couriers.mailbox import Mailbox

    box = Mailbox(tmp_path / "mail")
    box.start()
    try:
        with broker.running(careful=True) as b:
            db = house.found(disk)
            house.give(db, orders(tmp_path, box.port, b.port))
            loop = Loop(
                db, lambda: open_store(str(db)), lambda s, q: make_parts(s, q, str(db), clock), clock, low_bytes=1
            )
            loop.start()
            assert loop.started.wait(30)
            house.until(lambda: loop.queue.feeds.get("plant") and loop.queue.feeds["plant"].ok, 20)
            plant = Publisher(b)
            plant.start()
            began = time.monotonic()

            def at(share: float) -> None:
                time.sleep(max(began + share * seconds - time.monotonic(), 0.0))

            at(0.1)
            b.kill()
            at(0.15)
            b.start()
            at(0.3)
            box.stop()  # mail is down, and the tank is too warm for good
            plant.heat()
            at(0.45)
            filler = disk / "filler"
            if small:
                _fill(filler)
            at(0.6)
            filler.unlink(missing_ok=True)
            at(0.65)
            clock.by = dt.timedelta(hours=2)
            at(0.75)
            clock.by = dt.timedelta(0)
            box.start()
            at(1.0)
            plant.stop()
            house.until(lambda: not len(loop.queue), 60)
            sent = plant.acknowledged
            lost = house.until(lambda: _all_there(db, sent), 90)
            assert lost == "none"
            _every_alarm_arrived(db, tmp_path, box)
            if small:
                with open_store(str(db)) as store:
                    assert any(e.name == "watch-disk-full" for e in store.alarm_events(0.0, 4e9))
            with open_store(str(db)) as store:
                assert any(e.name == "watch-clock" for e in store.alarm_events(0.0, 4e9))
            assert len(sent) > 0.8 * A_SECOND * seconds
            record_property("points acknowledged and kept", len(sent))
            loop.stop()
    finally:
        box.stop()
        if small:
            subprocess.run(["umount", "-l", str(disk)], check=False)


def _fill(filler):
    """To the last byte: a log file that is reused takes no new room for a long while."""
    with contextlib.suppress(OSError), open(filler, "wb", buffering=0) as out:
        while out.write(b"x" * 4096):
            pass


def _all_there(db, sent):
    """`none` when every acknowledged point is in the store, or held with its reason."""
    with open_store(str(db)) as store:
        there = {}
        for _, stream in store.streams("reef"):
            p = store.points("reef", stream, 0.0, 4e9)
            there[stream] = {(round(t, 3), v) for t, v in zip(p.times_s.tolist(), p.values.tolist(), strict=True)}
        held = store.held_count()
    missing = [s for s in sent if (s[1], s[2]) not in there.get(s[0], set())]
    return "none" if len(missing) <= held and (not missing or held) else ""


def _every_alarm_arrived(db, folder, box):
    with open_store(str(db)) as store:
        messages = [m for m in store.recent_messages(0.0) if m.kind is Kind.ALARM and m.closed_how != "told again"]
    assert any(m.system == "reef" for m in messages)

    def arrived():
        mails = "\n".join(str(m["Message-ID"]) for m in box.messages())
        bells = {i.partition(".")[0] for i, _ in house.rung(folder)}
        return all(m.id in mails or m.id in bells for m in messages)

    house.until(arrived, 60)
