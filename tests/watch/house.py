"""A household of our own for the watch: a store, orders with a real command and a real mailbox, a loop to start."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from leadline.app import describe, stand_orders
from leadline.app.ports import Arrival
from leadline.watch.loop import Loop
from leadline.wiring import SystemClock, make_parts, open_store

REEF = """
[system]
id = "reef"
name = "Invented reef"
time_zone = "Europe/Oslo"
net_volume = "600 L"
[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"
period = "60 s"
[[equipment]]
id = "chiller-1"
type = "chiller"
setpoint = "25.0 degC"
[[band]]
quantity = "temperature"
aim = ["24.5 degC", "26.5 degC"]
limit = ["22.5 degC", "28.5 degC"]
"""
CLOCK = SystemClock()


def found(folder: Path) -> Path:
    """A store with the reef in it."""
    db = folder / "watched.db"
    with open_store(str(db)) as store:
        describe.add(store, CLOCK, REEF)
    return db


def give(db: Path, orders: str) -> None:
    """Give standing orders."""
    with open_store(str(db)) as store:
        stand_orders.give(store, orders)


def bell(folder: Path, name: str = "bell", code: str = "") -> str:
    """The words of a command path that keeps what it was told, one message a line, in a file."""
    script = (
        "import os,sys,json;"
        f"open({str(folder / name)!r},'a').write(json.dumps([os.environ['LEADLINE_ID'],sys.stdin.read()])+chr(10))"
    )
    return f'[[path]]\nid = "{name}"\nkind = "command"\ncommand = [{sys.executable!r}, "-c", {_toml(script + code)}]\n'


def _toml(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


ONE = """
[[person]]
id = "keeper"
paths = ["bell"]
[proof]
window = "1 h"
"""


def rung(folder: Path, name: str = "bell") -> list[tuple[str, str]]:
    """What a bell was told: ids and texts."""
    import json

    path = folder / name
    return [tuple(json.loads(line)) for line in path.read_text().splitlines()] if path.exists() else []  # type: ignore[misc]


def loop(db: Path, **more: Any) -> Loop:
    """A watch of real parts, not yet started."""
    return Loop(db, lambda: open_store(str(db)), lambda s, q: make_parts(s, q, str(db), CLOCK), CLOCK, **more)


def heating(minutes: int = 60, end: float | None = None, per_hour: float = 6.0) -> list[Arrival]:
    """An hour in which the water gains some kelvins, up to now."""
    last = CLOCK.now().timestamp() if end is None else end
    return [
        Arrival("reef", "temperature", last - 60.0 * (minutes - k), round(25.0 + per_hour * k / 60.0, 2))
        for k in range(minutes)
    ]


def until(true: Callable[[], Any], within_s: float = 15.0) -> Any:
    """Wait for something to become true; what it gave."""
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline:
        found = true()
        if found:
            return found
        time.sleep(0.02)
    raise AssertionError(f"not within {within_s} s: {true}")
