"""`leadline serve` as a process: it says where it is, answers, and ends on Ctrl-C."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from tests.cli.prompt import NORTH, NOW, process

import leadline

pytestmark = pytest.mark.door


@pytest.fixture
def db(tmp_path):
    path = tmp_path / "reef.db"
    (tmp_path / "north.toml").write_text(NORTH)
    assert process("--db", path, "system", "add", tmp_path / "north.toml").code == 0
    return path


def test_it_serves_on_a_free_port_and_ends_when_told(db):
    env = {**os.environ, "LEADLINE_NOW": NOW, "PYTHONPATH": str(Path(leadline.__file__).parents[1]),
           "PYTHONUNBUFFERED": "1"}  # fmt: skip
    running = subprocess.Popen(
        [sys.executable, "-m", "leadline", "--db", str(db), "serve", "--open", "--port", "0"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env,
    )  # fmt: skip
    try:
        assert running.stdout is not None
        said = running.stdout.readline()
        found = re.search(r"http://localhost:(\d+)", said)
        assert found, said
        page = httpx.get(f"http://127.0.0.1:{found[1]}/", timeout=30, follow_redirects=True)
        assert page.status_code == 200
        assert "North room reef" in page.text
        foreign = httpx.get(f"http://127.0.0.1:{found[1]}/", headers={"Host": "elsewhere.example"}, timeout=30)
        assert foreign.status_code == 400  # a name that somebody else points here
    finally:
        running.send_signal(signal.SIGINT)
        err = running.communicate(timeout=20)[1]
    assert running.returncode in (0, 130)
    assert "Traceback" not in err


def test_a_port_that_is_taken_is_one_line(db):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        said = process("--db", db, "serve", "--port", taken.getsockname()[1])
    assert said.code == 2
    assert said.err.count("\n") == 1
    assert "--port 0" in said.err


def test_a_damaged_store_is_said_before_it_serves(tmp_path):
    path = tmp_path / "torn.db"
    path.write_bytes(b"no database at all" * 500)
    said = process("--db", path, "serve", "--port", "0")
    assert said.code == 3
    assert said.out == ""
    assert str(path) in said.err


def test_a_demo_folder_that_cannot_be_made_is_one_line(tmp_path):
    (tmp_path / "file").write_text("x")
    said = process("demo", "--no-serve", "--folder", tmp_path / "file" / "demo")
    assert said.code == 3
    assert said.err.count("\n") == 1
