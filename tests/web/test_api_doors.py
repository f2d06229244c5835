"""Who may ask the API for what, and the page that lists it, in a browser: two widths, three lights."""

from __future__ import annotations

import httpx
import pytest
from starlette.responses import JSONResponse
from tests.web import house
from tests.web.conftest import served
from tests.web.looking import WIDTHS, in_light, well_made
from tests.web.test_api import READING, asked, door, prompt, refused

from leadline.measures.moments import FixedClock
from leadline.web import api, site
from leadline.web.api.document import target
from leadline.web.doors import Doors
from leadline.web.ways import Right
from leadline.wiring import open_store

__all__ = ["asked", "door"]  # fixtures
pytestmark = pytest.mark.door

# -- rights ----------------------------------------------------------------------------------------------


class Guest(Doors):
    """Somebody who may look and log, and no more."""

    def turned_away(self, request, right, *, in_person=False):
        return None if right <= Right.LOG else JSONResponse({"schema": "leadline.refused/1", "words": "no"}, 403)


class Stranger(Doors):
    """Nobody who is known here."""

    def turned_away(self, request, right, *, in_person=False):
        return JSONResponse({"schema": "leadline.refused/1", "words": "who?"}, 401)


def at(door, doors):
    return served(site.build(lambda: open_store(str(door.db)), FixedClock(house.NOW), doors=doors))


def test_every_operation_asks_for_its_right_before_anything_is_read(asked):
    before = prompt(asked.db, "journal", "--most", "1")
    for doors, most in ((Stranger(), Right.OPEN), (Guest(), Right.LOG)):
        with at(asked, doors) as address, httpx.Client(base_url=address) as client:
            for o in api.OPERATIONS:
                said = client.request(o.method, target(o), content=b"{", headers={"content-type": "text/plain"})
                turned_away = said.status_code in (401, 403) and said.json()["words"] in ("no", "who?")
                assert turned_away == (o.right > most), o.id
            assert (client.get("/api").status_code == 401) == isinstance(doors, Stranger)
    assert prompt(asked.db, "journal", "--most", "1") == before


@pytest.mark.parametrize("kind", ["arrival", "transfer", "treatment"])
def test_who_may_only_log_changes_nobody_who_lives_there(door, kind):
    entry = {"system": "lagoon", "kind": kind, "subject": "old-tang", "to": "quarantine"}
    with at(door, Guest()) as address, httpx.Client(base_url=address) as client:
        refused(client.post("/api/journal", json=entry), 403, "the right to keep livestock")
        assert client.post("/api/journal", json=READING).status_code == 201


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
@pytest.mark.parametrize("width", list(WIDTHS))
def test_the_page_is_read_by_everybody(browser, asked, width, light):
    with in_light(browser, asked.address, light, width) as page:
        page.goto(f"{asked.address}/api")
        well_made(page, f"api-{width}-{light}")
