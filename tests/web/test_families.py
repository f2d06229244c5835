"""Alarms of one cause stand under one head on the watch's page, and one answer goes for the quiet ones."""

from __future__ import annotations

import datetime as dt
import re

import httpx
import pytest
from tests.app.household import proved
from tests.web.conftest import served
from tests.web.looking import WIDTHS, in_light, well_made

from leadline.alarms.alarm import State
from leadline.app import accounts
from leadline.measures.moments import UTC, FixedClock
from leadline.web import site
from leadline.web.doors import KeptDoors
from leadline.wiring import make_signals, open_store

pytestmark = pytest.mark.door
WORDS = "brass lantern over quiet shoals"


@pytest.fixture
def family(tmp_path):
    """Two machines that fight (low), one of them the wrong way (medium): three alarms of one cause; a client."""
    house = proved(tmp_path)
    house.find("heater-1-fights", 100.0, "heater-1")
    house.go(1)
    house.find("chiller-1-warms", 5.0)
    house.find("chiller-1-never-off", 100.0)
    house.go(1)
    clock = FixedClock(dt.datetime.fromtimestamp(house.now, UTC))
    accounts.make(house.store, clock, "Ada", "owner", WORDS)
    db = str(tmp_path / "x.db")
    app = site.build(
        lambda: open_store(db), clock, doors=KeptDoors(clock), signals_of=lambda s: make_signals(s, db)
    )  # fmt: skip
    with served(app) as address, httpx.Client(base_url=address, follow_redirects=True, timeout=20,
                                              headers={"origin": address}) as client:  # fmt: skip
        assert client.post("/sign-in", data={"name": "Ada", "passphrase": WORDS}).status_code == 200
        yield house, client, address
    house.store.close()


def states(house):
    return {r.name: r.state for r in house.store.alarms("reef")}


def test_the_loudest_is_the_head_and_the_others_stand_under_it(family):
    _, client, _ = family
    page = client.get("/watch").text
    alarms = page[page.index('<ul class="alarms">') :]
    assert len(re.findall(r"<h3>", alarms.split("</section>")[0])) == 1
    assert "<h3><b>chiller 1 warms</b>, Invented reef</h3>" in alarms
    under = alarms[alarms.index('<ul class="kin">') :].split("</ul>")[0]
    assert re.findall(r"<summary><b>([^<]*)</b>", under) == ["chiller 1 never off", "heater 1 fights"]


def test_one_answer_goes_for_the_family_and_says_who(family):
    house, client, _ = family
    client.post("/watch/acknowledge", data={"system": "reef", "alarm": "chiller-1-warms", "family": "1"})
    assert set(states(house).values()) == {State.ACKNOWLEDGED}
    assert "Ada has it" in client.get("/watch").text


def test_a_reason_is_one_touch_or_ones_own_words(family):
    house, client, _ = family
    ask = {"system": "reef", "alarm": "chiller-1-warms", "hours": "1"}
    none = client.post("/watch/shelve", data=ask)
    assert none.status_code == 422
    assert "Say why: whoever looks later must know." in none.text
    ready = client.post("/watch/shelve", data={**ask, "because": "a part is on its way"})
    assert "a part is on its way" in ready.text
    raised = house.store.alarm("reef", "chiller-1-warms")
    assert (raised.state, raised.alarm.reason) == (State.SHELVED, "a part is on its way")
    client.post("/watch/unshelve", data=ask)
    client.post("/watch/shelve", data={**ask, "because": "work at it", "reason": "the hose is off"})
    assert house.store.alarm("reef", "chiller-1-warms").alarm.reason == "the hose is off"
    events = house.store.alarm_events(house.now - 600.0, house.now + 600.0, "reef")
    assert {e.who for e in events if str(e.event) in ("shelve", "unshelve")} == {"Ada"}


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("width", WIDTHS)
def test_a_family_is_well_made_and_answered_with_one_touch(family, browser, width, light):
    house, client, address = family
    with in_light(browser, address, light, width) as page:
        page.context.add_cookies([{"name": k, "value": v, "url": address} for k, v in client.cookies.items()])
        page.goto(f"{address}/watch")
        page.locator(".kin summary").first.click()
        page.get_by_label("Shelve: chiller 1 warms, Invented reef").click()
        well_made(page, f"family-{width}-{light}")
        page.get_by_role("button", name="I have it: chiller 1 warms, Invented reef").click()
        page.locator("[role=status]", has_text="Acknowledged").wait_for()
    assert set(states(house).values()) == {State.ACKNOWLEDGED}


def test_the_head_s_answer_goes_for_a_told_alarm_too_and_one_alone_for_itself(family):
    house, client, _ = family
    house.find("temperature-heading-high", 5.0, "temperature")  # as loud as the head, and told before it
    house.find("chiller-1-warms", 0.5)  # louder now: told again
    house.go(1)
    assert len({m.alarm for m in house.store.open_messages()} & {"chiller-1-warms", "temperature-heading-high"}) >= 1
    client.post("/watch/acknowledge", data={"system": "reef", "alarm": "heater-1-fights"})
    assert states(house)["chiller-1-warms"] is State.UNACKNOWLEDGED
    head = re.search(r'name="family".*?name="alarm" value="([^"]*)"', client.get("/watch").text)[1]
    client.post("/watch/acknowledge", data={"system": "reef", "alarm": head, "family": "1"})
    assert set(states(house).values()) == {State.ACKNOWLEDGED}
    assert [m for m in house.store.open_messages() if m.system == "reef"] == []
