"""A real Mosquitto on a free loopback port: plain or with TLS, open or with a password; it can be killed and restarted.

It keeps its queues on disk and writes them at every change, so that what it took survives its own death; without
`careful` it does so every half hour, as its own defaults have it, and is fast.
"""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from tests.peers.certificates import Pair

MOSQUITTO = "/usr/sbin/mosquitto"


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


class Broker:
    """One Mosquitto with its folder; `start` returns when it answers."""

    def __init__(
        self, folder: Path, *, user: str = "", password: str = "", tls: Pair | None = None, ca_file: str = "",
        careful: bool = True, more: Sequence[str] = (),
    ) -> None:  # fmt: skip
        self.host, self.port = "127.0.0.1", free_port()
        self.folder = folder
        self.user, self.password, self.ca_file = user, password, ca_file
        self.database = folder / "mosquitto.db"
        self._process: subprocess.Popen[bytes] | None = None
        lines = [
            f"listener {self.port} 127.0.0.1", "persistence true", f"persistence_location {folder}/",
            *(["autosave_on_changes true", "autosave_interval 1"] if careful else []), "max_queued_messages 0",
            f"log_dest file {folder}/log", *more,
        ]  # fmt: skip
        if os.geteuid() == 0:  # else it becomes a user of its own, who may not look into this folder
            lines.append(f"user {pwd.getpwuid(0).pw_name}")
        if user:
            passwords = folder / "passwords"
            subprocess.run(["mosquitto_passwd", "-b", "-c", str(passwords), user, password], check=True)
            lines += ["allow_anonymous false", f"password_file {passwords}"]
        else:
            lines.append("allow_anonymous true")
        if tls:
            lines += [f"certfile {tls.certificate}", f"keyfile {tls.key}"]
        self._settings = folder / "mosquitto.conf"
        self._settings.write_text("\n".join(lines) + "\n", encoding="utf-8")

    def start(self) -> None:
        self._process = subprocess.Popen(
            [MOSQUITTO, "-c", str(self._settings)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        deadline = time.monotonic() + 10
        while True:
            try:
                socket.create_connection((self.host, self.port), timeout=1).close()
                return
            except OSError:
                assert self._process.poll() is None, f"Mosquitto did not start: {self.log()}"
                assert time.monotonic() < deadline, "Mosquitto did not answer within ten seconds"
                time.sleep(0.01)

    def kill(self) -> None:
        """kill -9."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        self._end(signal.SIGTERM)

    def _end(self, by: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(by)
            self._process.wait(20)
            self._process = None

    def save(self) -> None:
        """Have it write its queues to disk now, and wait until it has."""
        assert self._process is not None
        before = self.database.stat().st_mtime_ns if self.database.exists() else 0
        self._process.send_signal(signal.SIGUSR1)
        deadline = time.monotonic() + 10
        while not self.database.exists() or self.database.stat().st_mtime_ns == before:
            assert time.monotonic() < deadline, "Mosquitto did not write its database"
            time.sleep(0.01)

    def log(self) -> str:
        file = self.folder / "log"
        return file.read_text(encoding="utf-8", errors="replace") if file.exists() else ""

    def until_logged(self, text: str, times: int) -> None:
        """Wait until its log holds a text so many times; `more=["log_type all"]` has it log every packet."""
        deadline = time.monotonic() + 20
        while self.log().count(text) < times:
            assert time.monotonic() < deadline, f"{self.log().count(text)} times {text!r}"
            time.sleep(0.02)

    def publish(self, messages: Sequence[tuple[str, str | bytes]], *, qos: int = 1, retain: bool = False) -> None:
        """Publish, and return when the broker has taken all of it."""
        client = paho.Client(CallbackAPIVersion.VERSION2)
        client.max_inflight_messages_set(100)
        if self.user:
            client.username_pw_set(self.user, self.password)
        if self.ca_file:
            client.tls_set(ca_certs=self.ca_file)
        there = threading.Event()
        client.on_connect = lambda *_: there.set()
        client.connect(self.host, self.port)
        client.loop_start()
        try:
            assert there.wait(10), "the publisher was not let in"
            sent = [client.publish(topic, payload, qos, retain) for topic, payload in messages]
            for one in sent:
                one.wait_for_publish(20)
                assert one.is_published(), "the broker did not take a message"
        finally:
            client.disconnect()
            client.loop_stop()


@contextlib.contextmanager
def running(
    *, user: str = "", password: str = "", tls: Pair | None = None, ca_file: str = "", careful: bool = True,
    more: Sequence[str] = (),
) -> Iterator[Broker]:  # fmt: skip
    """A broker in a folder of its own, stopped and cleared away at the end."""
    if not Path(MOSQUITTO).exists():
        pytest.skip(f"no {MOSQUITTO} here: install Mosquitto to run this test")
    folder = Path(tempfile.mkdtemp(prefix="leadline-broker-"))
    broker = Broker(folder, user=user, password=password, tls=tls, ca_file=ca_file, careful=careful, more=more)
    try:
        broker.start()
        yield broker
    finally:
        broker.stop()
        shutil.rmtree(folder)
