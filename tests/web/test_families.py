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
from leadline.measures.moments import UTC
from leadline.web import site
from leadline.web.doors import KeptDoors
from leadline.wiring import make_signals, open_store

pytestmark = pytest.mark.door
WORDS = "brass lantern over quiet shoals"


class Now:
    """The household's own clock."""

    def __init__(self, house):
        self.house = house

    def now(self):
        return dt.datetime.fromtimestamp(self.house.now, UTC)


@pytest.fixture
def family(tmp_path):
    """Two machines that fight (low), one of them the wrong way (medium): three alarms of one cause; a client."""
    house = proved(tmp_path)
    house.find("heater-1-fights", 100.0, "heater-1")
    house.go(1)
    house.find("chiller-1-warms", 5.0)
    house.find("chiller-1-never-off", 100.0)
    house.go(1)
    clock = Now(house)
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


def answer_of(client):
    """The first form on the page that says "I have it", as a browser would send it."""
    form = client.get("/watch").text.split('action="/watch/acknowledge">')[1].split("</form>")[0]
    found: dict[str, list[str]] = {}
    for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', form):
        found.setdefault(name, []).append(value)
    return found


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
    client.post("/watch/acknowledge", data=answer_of(client))
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


def test_the_head_s_answer_goes_for_what_is_shown_under_it_even_where_it_was_told(family):
    house, client, _ = family
    house.find("temperature-heading-high", 3.0, "temperature")  # high, as the head is, and told by itself
    house.find("chiller-1-warms", holds=False)
    house.go(1)
    house.find("chiller-1-warms", 5.0)
    house.go(1)
    form = answer_of(client)
    told = {m.alarm for m in house.store.open_messages() if m.system == "reef"}
    shown = {form["alarm"][0], *(a.partition("=")[0] for a in form["shown"])}
    assert len(told) == 2
    assert told <= shown
    client.post("/watch/acknowledge", data=form)
    assert State.UNACKNOWLEDGED not in states(house).values()
    assert [m for m in house.store.open_messages() if m.system == "reef"] == []


def test_one_alone_is_answered_alone(family):
    house, client, _ = family
    client.post("/watch/acknowledge", data={"system": "reef", "alarm": "chiller-1-never-off"})
    assert states(house)["chiller-1-warms"] is State.UNACKNOWLEDGED


def test_what_began_after_the_page_was_drawn_or_grew_louder_is_not_answered(family):
    house, client, _ = family
    form = answer_of(client)  # the page stands open while it gets worse
    house.find("temperature-high", 0.0, "temperature")  # urgent, of the same cause
    house.find("chiller-1-never-off", 0.5)  # low when it was shown
    house.go(1)
    client.post("/watch/acknowledge", data={**form, "shown": [*form["shown"], "temperature-high=urgent"]})
    assert states(house)["chiller-1-warms"] is State.ACKNOWLEDGED
    assert states(house)["temperature-high"] is State.UNACKNOWLEDGED
    assert states(house)["chiller-1-never-off"] is State.UNACKNOWLEDGED
    assert "temperature-high" in {m.alarm for m in house.store.open_messages()}


@pytest.mark.parametrize(
    "odd", [{"shown": ["chiller-1-warms=high", "x"]}, {"shown": ["chiller-1-warms=high", "temperature-high=loud"]}]
)
def test_a_form_that_was_bent_answers_the_named_alarm_alone(family, odd):
    house, client, _ = family
    sent = {"system": "reef", "alarm": "chiller-1-warms", "seen": "1e12", **odd}
    house.find("temperature-high", 0.0, "temperature")
    house.go(1)
    assert client.post("/watch/acknowledge", data=sent).status_code == 200
    assert states(house)["temperature-high"] is State.UNACKNOWLEDGED
    assert states(house)["chiller-1-warms"] is State.ACKNOWLEDGED


@pytest.mark.parametrize("seen", ["soon", "nan", "", "-1"])
def test_a_page_of_no_moment_answers_nothing(family, seen):
    house, client, _ = family
    form = {**answer_of(client), "seen": seen}
    answer = client.post("/watch/acknowledge", data=form)
    assert answer.status_code == 422
    assert "Chiller 1 warms grew louder or began anew. Look at it again." in answer.text
    assert set(states(house).values()) == {State.UNACKNOWLEDGED}


def test_an_alarm_that_rose_since_the_page_was_drawn_is_looked_at_again(family):
    house, client, _ = family
    form = answer_of(client)
    house.go(2)
    house.find("chiller-1-warms", 0.2)  # urgent now
    house.go(1)
    answer = client.post("/watch/acknowledge", data=form)
    assert answer.status_code == 422
    assert states(house)["chiller-1-warms"] is State.UNACKNOWLEDGED
    assert client.post("/watch/acknowledge", data=answer_of(client)).status_code == 200
    assert states(house)["chiller-1-warms"] is State.ACKNOWLEDGED


def test_an_urgent_alarm_that_somebody_has_stays_the_head_of_a_quiet_one_that_asks(family):
    house, client, _ = family
    client.post("/watch/acknowledge", data=answer_of(client))
    house.find("chiller-1-duty", 100.0)
    house.go(1)
    page = client.get("/watch").text
    assert "<h3><b>chiller 1 warms</b>, Invented reef</h3>" in page
    under = page[page.index('<ul class="kin">') :].split("</ul>")[0]
    assert re.search(r'<li class="low asks"><details open[^>]*><summary><b>chiller 1 duty</b>', under)


def test_the_line_over_every_page_names_a_louder_consequence(family):
    house, client, _ = family
    client.post("/watch/acknowledge", data=answer_of(client))
    assert "Alarm:" not in client.get("/journal").text
    house.find("temperature-high", 0.0, "temperature")
    house.go(1)
    assert re.search(r"Alarm:.*temperature high, Invented reef", client.get("/journal").text, re.S)
