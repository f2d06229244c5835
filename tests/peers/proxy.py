"""A real nginx on a free loopback port, set up as the guide's own block says: TLS outside, Leadline behind it."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.peers.broker import free_port
from tests.peers.certificates import Pair

NGINX = "/usr/sbin/nginx"
GUIDE = Path(__file__).parents[2] / "docs" / "guide" / "doors.md"


@dataclass(frozen=True)
class Proxy:
    """Where it answers, and what it wrote down."""

    address: str
    folder: Path

    def log(self) -> str:
        """Its access log."""
        return (self.folder / "pages.log").read_text(encoding="utf-8")

    def until_logged(self, text: str) -> str:
        """Its access log when that holds a text: nginx writes it down after it has answered."""
        deadline = time.monotonic() + 10
        while text not in self.log():
            assert time.monotonic() < deadline, f"{text!r} is not in {self.log()!r}"
            time.sleep(0.01)
        return self.log()


def settings(folder: Path, port: int, behind: int, pair: Pair) -> str:
    """The guide's block, with ports, files and certificate of this run."""
    block = re.search(r"```nginx\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL)
    assert block
    text = block[1]
    for said, here in (
        ("listen 443 ssl", f"listen 127.0.0.1:{port} ssl"), ("127.0.0.1:8077", f"127.0.0.1:{behind}"),
        ("/etc/ssl/reef.pem", str(pair.certificate)), ("/etc/ssl/reef.key", str(pair.key)),
        ("/var/log/nginx/pages.log", f"{folder}/pages.log"), ("reef.example", "localhost"),
    ):  # fmt: skip
        assert said in text, said
        text = text.replace(said, here)
    kept = " ".join(
        f"{name}_temp_path {folder}/{name};" for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    user = "user root;" if os.geteuid() == 0 else ""  # else it becomes a user of its own, who may not look in here
    return (
        f"{user} daemon off; pid {folder}/pid; error_log {folder}/error.log warn; "
        f"events {{}} http {{ {kept} access_log off;\n{text}\n}}\n"
    )


@contextlib.contextmanager
def before(behind: int, pair: Pair) -> Iterator[Proxy]:
    """The proxy before a port of this machine, stopped and cleared away at the end."""
    if not Path(NGINX).exists():
        pytest.skip(f"no {NGINX} here: install nginx to run this test")
    folder, port = Path(tempfile.mkdtemp(prefix="leadline-proxy-")), free_port()
    (folder / "nginx.conf").write_text(settings(folder, port, behind, pair), encoding="utf-8")
    running = subprocess.Popen(
        [NGINX, "-p", str(folder), "-e", str(folder / "error.log"), "-c", str(folder / "nginx.conf")],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        deadline = time.monotonic() + 10
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                errors = folder / "error.log"
                said = errors.read_text() if errors.exists() else ""
                assert running.poll() is None, f"nginx did not start: {said}"
                assert time.monotonic() < deadline, "nginx did not answer within ten seconds"
                time.sleep(0.01)
        yield Proxy(f"https://localhost:{port}", folder)
    finally:
        running.terminate()
        running.wait(20)
        shutil.rmtree(folder)
