"""A real store in a real folder, and a clock that stands still."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

import leadline
from leadline.measures.moments import UTC, FixedClock
from leadline.store.sqlite import SqliteStore


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(dt.datetime(2026, 3, 1, 8, 0, tzinfo=UTC))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "reef.db"


@pytest.fixture
def store(path: Path, clock: FixedClock) -> Iterator[SqliteStore]:
    with SqliteStore.open(path, clock=clock) as opened:
        yield opened


@pytest.fixture
def environment() -> dict[str, str]:
    """For another Python process that uses the store."""
    return {**os.environ, "PYTHONPATH": str(Path(leadline.__file__).parents[1])}


@pytest.fixture
def as_nobody() -> Iterator[Path]:
    """A folder whose permissions bind us: as root we become nobody, whom they bind, until the test is over."""
    folder = Path(tempfile.mkdtemp())
    if sys.platform == "win32":
        pytest.skip("file permissions here are those of POSIX")
    root = os.geteuid() == 0
    if root:
        os.chown(folder, 65534, -1)
        os.seteuid(65534)
    try:
        yield folder
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o777)
        for inside in folder.rglob("*"):
            inside.chmod(0o777)
        shutil.rmtree(folder)


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A real disk of 1.5 MB."""
    folder = Path(tempfile.mkdtemp())
    mounted = sys.platform == "linux" and os.geteuid() == 0
    if mounted:
        mounted = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=1500k", "tmpfs", str(folder)], capture_output=True, check=False
        ).returncode == 0  # fmt: skip
    if not mounted:
        folder.rmdir()
        pytest.skip("a small disk can be made only by root on Linux")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)
    folder.rmdir()
