"""Points from a real broker at QoS 1 into the real store, beside a bare subscriber that keeps nothing; and a long file.

python -m bench.feeds [POINTS] [SECONDS]

A point is acknowledged to the broker when its transaction is on disk. The writer takes all that waits as one
transaction, either at once or once a second. In a flood kept at once the publisher, one process of the same library,
is what bounds both sides.
"""

from __future__ import annotations

import contextlib
import queue
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import paho.mqtt.client as paho
from bench.table import Figure, show
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from tests.peers import broker as peer

from leadline.app.ports import Arrival, Odd, Taken
from leadline.feeds import mqtt
from leadline.feeds.growing import Growing
from leadline.store.sqlite import SqliteStore
from leadline.system.orders import FileFeed, MqttFeed
from leadline.wiring import SystemClock, open_store

STREAMS = 20
A_SECOND = 50  # points, as in the long test of the whole watch
T0 = 1_772_352_000


class Writer:
    """An intake that writes to the store: one transaction for all that waits, at once or so many seconds apart."""

    def __init__(self, store: SqliteStore, every_s: float) -> None:
        self.kept = 0
        self.commits = 0
        self._store = store
        self._every_s = every_s
        self._waiting: queue.Queue[tuple[Sequence[Arrival], Callable[[Taken], None] | None] | None] = queue.Queue()
        self._thread = threading.Thread(target=self._write, daemon=True)
        self._thread.start()

    def offer(
        self, feed: str, points: Sequence[Arrival], odd: Sequence[Odd] = (), done: Callable[[Taken], None] | None = None
    ) -> bool:
        self._waiting.put((points, done))
        return True

    def report(self, feed: str, ok: bool, words: str) -> None:
        if not ok:
            print(f"  {feed}: {words}")

    def close(self) -> None:
        self._waiting.put(None)
        self._thread.join()

    def _write(self) -> None:
        pause = threading.Event()
        while (first := self._waiting.get()) is not None:
            pause.wait(self._every_s)
            batches = [first]
            with contextlib.suppress(queue.Empty):
                while (more := self._waiting.get_nowait()) is not None:
                    batches.append(more)
            streams: dict[tuple[str, str], list[Arrival]] = {}
            for points, _ in batches:
                for point in points:
                    streams.setdefault((point.system, point.stream), []).append(point)
            with self._store.together():
                for (system, stream), points in streams.items():
                    self._store.add_points(system, stream, [p.t or 0.0 for p in points], [p.v for p in points])
            self.commits += 1
            self.kept += sum(len(points) for points, _ in batches)
            for points, done in batches:
                if done:
                    done(Taken(len(points)))


class Acknowledged:
    """When each point was acknowledged, counted from its publishing; the value is the publisher's monotonic clock."""

    def __init__(self) -> None:
        self.took_s: list[float] = []
        self.last_s = 0.0
        self._changed = threading.Condition()

    def add(self, sent_s: Sequence[float]) -> None:
        with self._changed:
            self.last_s = time.monotonic()
            self.took_s.extend(self.last_s - s for s in sent_s)
            self._changed.notify_all()

    def until(self, count: int) -> None:
        with self._changed:
            assert self._changed.wait_for(lambda: len(self.took_s) >= count, 120), f"{len(self.took_s)} of {count} came"


class Timed(mqtt.Mqtt):
    """The feed, with the moment of each acknowledgement noted."""

    noted: Acknowledged

    def _acknowledge(self, batch: list[Any]) -> None:
        super()._acknowledge(batch)
        self.noted.add([came.what.v for came in batch])


@contextlib.contextmanager
def ours(broker: peer.Broker, folder: Path, every_s: float) -> Iterator[Acknowledged]:
    """Leadline's feed, into a store in a file."""
    noted = Acknowledged()
    clock = SystemClock()
    with open_store(str(folder / f"{time.monotonic_ns()}.db"), clock) as store:
        writer = Writer(store, every_s)
        feed = Timed(MqttFeed("broker", broker.host, broker.port, client=f"c{time.monotonic_ns()}"), "", writer, clock)
        feed.noted = noted
        feed.start()
        try:
            yield noted
        finally:
            feed.stop()
            writer.close()
        assert writer.kept == len(noted.took_s)


@contextlib.contextmanager
def bare(broker: peer.Broker) -> Iterator[Acknowledged]:
    """The library alone: it acknowledges what it received, and keeps nothing."""
    noted = Acknowledged()
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    wishes = Properties(PacketTypes.CONNECT)
    wishes.ReceiveMaximum = mqtt.WINDOW
    client.on_connect = lambda *_: client.subscribe("leadline/+/+", 1)
    client.on_message = lambda _, __, message: noted.add([float(message.payload.split(b'"v": ')[1][:-1])])
    client.connect(broker.host, broker.port, properties=wishes)
    client.loop_start()
    try:
        yield noted
    finally:
        client.disconnect()
        client.loop_stop()


def publish(port: int, count: int, a_second: float) -> None:
    """In a process of its own: points of several streams, as fast as the broker takes them or so many a second."""
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(200)
    client.connect("127.0.0.1", port)
    client.loop_start()
    print(time.monotonic(), flush=True)
    pause = threading.Event()
    start = time.monotonic()
    sent = []
    for n in range(count):
        if a_second:
            pause.wait(max(0.0, start + n / a_second - time.monotonic()))
        payload = f'{{"t": {T0 + n // STREAMS}, "v": {time.monotonic()!r}}}'
        sent.append(client.publish(f"leadline/north-room/probe-{n % STREAMS}", payload, 1))
    for one in sent:
        one.wait_for_publish()
    client.disconnect()
    client.loop_stop()


def published(broker: peer.Broker, noted: Acknowledged, count: int, a_second: float) -> tuple[float, np.ndarray]:
    """Points a second from the first sent to the last acknowledged, and how long each took. [1/s], [s]"""
    warm = [("leadline/north-room/probe-0", f'{{"t": {T0 - 1}, "v": {time.monotonic()!r}}}')]
    for _ in range(100):  # until the subscription stands
        broker.publish(warm)
        with contextlib.suppress(AssertionError):
            with noted._changed:
                assert noted._changed.wait_for(lambda: noted.took_s, 0.2)
            break
    before = len(noted.took_s)
    process = subprocess.Popen(
        [sys.executable, "-m", "bench.feeds", "publish", str(broker.port), str(count), str(a_second)],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout
    start_s = float(process.stdout.readline())
    noted.until(before + count)
    process.wait()
    process.stdout.close()
    return count / (noted.last_s - start_s), np.array(noted.took_s[before:])


def long_file(folder: Path, count: int) -> float:
    """Points a second from a long stream CSV into the store."""
    path = folder / "streams.csv"
    with open(path, "w", encoding="utf-8") as file:
        file.write("time,system,stream,value,unit\n")
        file.writelines(f"{T0 + n},north-room,temperature,{25 + n % 97 / 100:.2f},degC\n" for n in range(count))
    done = threading.Event()
    size = path.stat().st_size

    def save(place: dict[str, Any]) -> None:
        if place["offset"] >= size:
            done.set()

    with open_store(str(folder / "file.db"), SystemClock()) as store:
        writer = Writer(store, 0.0)
        feed = Growing(FileFeed("log", str(path)), writer, load=lambda: None, save=save)
        start = time.monotonic()
        feed.start()
        assert done.wait(300)
        took = time.monotonic() - start
        feed.stop()
        writer.close()
        assert writer.kept == count
    return count / took


def main(argv: list[str] | None = None) -> int:
    """Print the figures; the number of points and the seconds of the steady part may be given."""
    given = sys.argv[1:] if argv is None else argv
    if given[:1] == ["publish"]:
        publish(int(given[1]), int(given[2]), float(given[3]))
        return 0
    count = int(given[0]) if given else 20_000
    seconds = int(given[1]) if len(given) > 1 else 10
    if not Path(peer.MOSQUITTO).exists():
        print(f"no {peer.MOSQUITTO} here: nothing measured")
        return 0
    figures = []
    with tempfile.TemporaryDirectory() as name, peer.running(careful=False) as broker:
        folder = Path(name)
        with bare(broker) as noted:
            floor, _ = published(broker, noted, count, 0.0)
        with bare(broker) as noted:
            _, floor_s = published(broker, noted, seconds * A_SECOND, A_SECOND)
        for every_s in (0.0, 1.0):
            how = "kept at once" if not every_s else "kept once a second"
            with ours(broker, folder, every_s) as noted:
                rate, _ = published(broker, noted, count, 0.0)
            with ours(broker, folder, every_s) as noted:
                _, took_s = published(broker, noted, seconds * A_SECOND, A_SECOND)
            base = ("bare subscriber, keeps nothing",)
            figures += [
                Figure(f"time for a point in a flood, {how}", 1e6 / rate, "us", 1e6 / floor, *base),
                Figure(f"{A_SECOND} points/s: to acknowledgement, median, {how}", float(np.median(took_s)) * 1e3, "ms",
                       float(np.median(floor_s)) * 1e3, *base),
                Figure(f"{A_SECOND} points/s: to acknowledgement, p99, {how}", float(np.quantile(took_s, 0.99)) * 1e3,
                       "ms", float(np.quantile(floor_s, 0.99)) * 1e3, *base),
            ]  # fmt: skip
            print(f"flood of {count:,} points, {how}: {rate:,.0f} points/s; bare subscriber {floor:,.0f} points/s")
        print(f"long file: {long_file(folder, 10 * count):,.0f} points/s from CSV to disk")
    return show("Feeds: from the publisher to the acknowledgement, QoS 1", figures)


if __name__ == "__main__":
    main()
