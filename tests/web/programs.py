"""The demo's house as a program meets it: served on loopback, with a clock that stands still or a watch that runs."""

from __future__ import annotations

import contextlib
import json
import pathlib
import shutil
from collections.abc import Iterator

import httpx
from tests.watch import house as watched
from tests.web import house
from tests.web.conftest import served

from leadline.app import stand_orders
from leadline.measures.moments import FixedClock
from leadline.web import site
from leadline.wiring import make_signals, open_store


class Door:
    """A served house: its address, its store, the token of a device, and a client that says what it is told to."""

    def __init__(self, address: str, db: pathlib.Path, token: str) -> None:
        self.address, self.db, self.token = address, db, token
        self.client = httpx.Client(base_url=address, timeout=60)

    def get(self, path: str, **query: object) -> httpx.Response:
        return self.client.get(path, params=query or None)

    def send(self, method: str, path: str, body: object, **headers: str) -> httpx.Response:
        return self.client.request(method, path, json=body, headers=headers)

    def heat(self) -> None:
        """An hour comes in that passes the limit."""
        points = watched.heating()
        lines = "\n".join(json.dumps({"system": "great-reef", "stream": p.stream, "t": p.t, "v": p.v}) for p in points)
        said = self.client.post("/api/streams", content=lines, headers={"authorization": f"Bearer {self.token}"})
        assert said.json()["kept"] == len(points)
        watched.until(lambda: any(a["alarm"] == "temperature-high" for a in self.get("/api/alarms").json()["alarms"]))


@contextlib.contextmanager
def still(demo_db: pathlib.Path, folder: pathlib.Path) -> Iterator[Door]:
    """A copy of the demo at its own moment, with nobody watching."""
    db, clock = folder / "still.db", FixedClock(house.NOW)
    shutil.copy(demo_db, db)
    app = site.build(lambda: open_store(str(db)), clock, signals_of=lambda s: make_signals(s, str(db)))
    with served(app) as address:
        door = Door(address, db, "")
        with door.client:
            yield door


@contextlib.contextmanager
def living(demo_db: pathlib.Path, folder: pathlib.Path) -> Iterator[Door]:
    """A copy of the demo today, with its watch, a bell named mail, and a device's token."""
    db = folder / "living.db"
    shutil.copy(demo_db, db)
    watched.give(db, watched.bell(folder, "mail") + watched.ONE.replace("bell", "mail"))
    with open_store(str(db)) as store:
        token = stand_orders.new_token(store, watched.CLOCK, "board")
    loop = watched.loop(db)
    loop.start()
    try:
        assert loop.started.wait(30)
        app = site.build(
            lambda: open_store(str(db)), watched.CLOCK, live=loop, signals_of=lambda s: make_signals(s, str(db))
        )  # fmt: skip
        with served(app) as address:
            door = Door(address, db, token)
            with door.client:
                yield door
    finally:
        loop.stop()
