"""The watch's page, links that answer, posted points and health: over a real store and a running watch."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import re

import httpx
import pytest
from tests.watch import house
from tests.web.conftest import served
from tests.web.looking import violations, well_made

from leadline.alarms.alarm import State
from leadline.app import describe, stand_orders
from leadline.app.keep_watch import WATCH
from leadline.measures.moments import FixedClock
from leadline.web import api, site
from leadline.wiring import make_signals, open_store

pytestmark = pytest.mark.door


class Manned:
    """A site with its watch, and a client that speaks to it."""

    def __init__(self, folder, address, db, loop):
        self.folder, self.address, self.db, self.loop = folder, address, db, loop
        self.client = httpx.Client(base_url=address, follow_redirects=True, timeout=20)
        with open_store(str(db)) as store:
            self.token = stand_orders.new_token(store, house.CLOCK, "board")

    def post(self, body, token=None):
        head = {"authorization": f"Bearer {self.token}" if token is None else token}
        return self.client.post("/api/streams", content=body, headers=head)

    def heat(self):
        """An hour that passes the limit comes in, and the bell rings."""
        assert self.post("\n".join(line(p) for p in house.heating())).json()["kept"] == 60
        house.until(lambda: [t for _, t in house.rung(self.folder) if "its limit" in t])

    def state(self, name="temperature-high", system="reef"):
        with open_store(str(self.db)) as store:
            return store.alarm(system, name).state

    def ticket(self, kind="alarm"):
        with open_store(str(self.db)) as store:
            m = next(m for m in store.open_messages() if m.kind == kind)
            return make_signals(store, str(self.db)).ticket(store.deliveries(m.id)[0])


def line(p):
    return json.dumps({"system": p.system, "stream": p.stream, "t": p.t, "v": p.v})


@contextlib.contextmanager
def watched(folder, db):
    """A site with the watch of a store, from its start to its end."""
    loop = house.loop(db)
    loop.start()
    assert loop.started.wait(30)
    app = site.build(
        lambda: open_store(str(db)), house.CLOCK, live=loop, signals_of=lambda s: make_signals(s, str(db))
    )  # fmt: skip
    with served(app) as address:
        made = Manned(folder, address, db, loop)
        yield made
        made.client.close()
    loop.stop()


@pytest.fixture
def manned(tmp_path):
    db = house.found(tmp_path)
    house.give(db, '[watch]\naddress = "http://reef.local:8077"\n' + house.bell(tmp_path) + house.ONE)
    with watched(tmp_path, db) as made:
        yield made


# -- posted points -------------------------------------------------------------------------------------


def test_posted_points_are_on_disk_when_it_answers(manned):
    points = house.heating()
    said = manned.post("\n".join(map(line, points)))
    assert said.status_code == 200
    assert said.json() == {"schema": "leadline.taken/1", "kept": 60, "held": 0, "refused": [], "why_held": []}
    with open_store(str(manned.db)) as store:
        assert len(store.points("reef", "temperature", points[0].t, points[-1].t + 1.0).times_s) == 60


@pytest.mark.parametrize("token", ["", "wrong", "Bearer x", "Bearer", "Basic eDp5", b"Bearer \xff"])
def test_without_the_right_token_nothing_is_taken(manned, token):
    said = manned.post(line(house.heating()[0]), token)
    assert said.status_code == 401
    assert "leadline watch token" in said.json()["words"]
    assert manned.loop.counts["points"] == 0


def test_guessing_tokens_ends_soon(manned):
    codes = [manned.post("x", f"Bearer guess-{k}").status_code for k in range(api.WRONG_A_MINUTE + 3)]
    assert codes[: api.WRONG_A_MINUTE] == [401] * api.WRONG_A_MINUTE
    assert set(codes[api.WRONG_A_MINUTE :]) == {429}
    assert manned.post(line(house.heating()[0])).status_code == 429  # from that address, even the right one


@pytest.mark.parametrize(
    ("body", "status", "said"),
    [
        (b"", 422, "no points"),
        (b"\xff\xfe", 200, "why_held"),
        (b'{"system": "reef", "stream": "x", "t": 1, "v": 1}', 200, "before 1971"),
        (b'{"system": "reef", "stream": "<b>hi</b>", "t": 1, "v": 1}', 200, "name"),
        (b'{"system": "reef", "stream": "x", "v": "nan"}', 200, "reef/x"),
        (b"[1, 2]", 200, "held"),
        (b"{" * 5000, 200, "held"),
    ],
)
def test_what_is_no_point_is_held_with_its_reason(manned, body, status, said):
    answer = manned.post(body)
    assert answer.status_code == status
    assert said in answer.text
    if status == 200:
        assert answer.json()["kept"] == 0
        assert answer.json()["held"] == 1


def test_more_than_ten_thousand_points_or_four_megabytes_are_refused(manned):
    one = line(house.heating()[0])
    assert manned.post("\n".join([one] * 10_001)).status_code == 413
    assert manned.post("x" * 4_100_000).status_code == 413
    assert manned.post("\n".join([one] * 10_000)).json()["kept"] == 1  # one moment, once


# -- links -----------------------------------------------------------------------------------------------


def test_a_link_shows_the_alarm_and_one_button_answers(manned):
    manned.heat()
    at = f"/seen/{manned.ticket()}"
    page = manned.client.get(at).text
    assert "the limit of 28.5 °C is reached" in page
    assert "I have it" in page
    assert manned.state() is State.UNACKNOWLEDGED  # a program that opens links has answered nothing
    done = manned.client.post(at)
    assert "temperature heading high is acknowledged" in done.text
    assert manned.state() is State.ACKNOWLEDGED
    assert "answered before" in manned.client.post(at).text
    assert "Answered by keeper" in manned.client.get(at).text


def test_a_link_of_a_proof_proves_the_path(manned):
    house.until(lambda: [t for _, t in house.rung(manned.folder) if "proof of the alarm path" in t])
    done = manned.client.post(f"/seen/{manned.ticket('proof')}")
    assert "The path is proved" in done.text
    assert "proved" in manned.client.get("/watch").text


def test_wrong_links_say_nothing_and_end_soon(manned):
    codes = [manned.client.get(f"/seen/{k}-{'0' * 32}").status_code for k in range(api.WRONG_A_MINUTE + 5)]
    assert set(codes) == {404}
    house.until(lambda: [t for _, t in house.rung(manned.folder) if "proof of" in t])
    assert manned.client.get(f"/seen/{manned.ticket('proof')}").status_code == 404  # too many wrong ones before


def test_an_old_link_tells_nothing_any_more(manned):
    manned.heat()
    at = f"/seen/{manned.ticket()}"
    assert "the limit of 28.5 °C is reached" in manned.client.get(at).text
    later = FixedClock(house.CLOCK.now() + dt.timedelta(days=15))
    app = site.build(
        lambda: open_store(str(manned.db)), later, signals_of=lambda s: make_signals(s, str(manned.db))
    )  # fmt: skip
    with served(app) as address:
        old = httpx.get(f"{address}{at}")
    assert old.status_code == 404
    assert "28.5" not in old.text


def test_a_form_from_another_site_answers_nothing(manned):
    manned.heat()
    said = manned.client.post(f"/seen/{manned.ticket()}", headers={"origin": "http://evil.example"})
    assert said.status_code == 403
    assert manned.state() is State.UNACKNOWLEDGED


# -- the page ---------------------------------------------------------------------------------------------


def test_the_page_acknowledges_shelves_and_takes_back(manned):
    manned.heat()
    page = manned.client.get("/watch").text
    assert "asks for an answer" in page
    assert ["Alarm:" in manned.client.get(at).text for at in ("/", "/offline")] == [True, False]  # browsers keep that
    ask = {"system": "reef", "alarm": "temperature-high"}
    assert "Shelved" in manned.client.post("/watch/shelve", data=ask | {"hours": "0.5", "reason": "known"}).text
    assert manned.state() is State.SHELVED
    assert "on the shelf" in manned.client.get("/watch").text
    assert "Taken back" in manned.client.post("/watch/unshelve", data=ask).text
    assert manned.state() is State.UNACKNOWLEDGED
    assert "Acknowledged" in manned.client.post("/watch/acknowledge", data=ask).text
    assert manned.state() is State.ACKNOWLEDGED


@pytest.mark.parametrize(
    ("path", "form", "said"),
    [
        ("shelve", {"hours": "x"}, "for how long"),
        ("shelve", {"hours": "9", "reason": "r"}, "1 h at most"),
        ("shelve", {"hours": "0.5", "reason": ""}, "reason"),
        ("unshelve", {}, "can&#39;t be taken back"),
        ("work", {"system": "reef", "kind": "cleaning"}, "of what"),
        ("work", {"system": "reef", "kind": "dancing"}, "Unknown kind of work"),
        ("work", {"system": "nowhere", "kind": "feeding"}, "Unknown system"),
        ("work", {"system": "reef", "kind": "feeding", "minutes": "soon"}, "no number"),
        ("prove", {"path": "pigeon"}, "no path and no person"),
        ("prove", {"ticket": "1-2"}, "too old"),
    ],
)
def test_what_cannot_be_done_is_one_clear_line(manned, path, form, said):
    manned.heat()
    answer = manned.client.post(f"/watch/{path}", data={"system": "reef", "alarm": "temperature-high"} | form)
    assert answer.status_code == 422
    assert said in answer.text
    assert manned.state() is State.UNACKNOWLEDGED


def test_who_has_it_and_the_first_step_stay_after_the_answer(manned):
    manned.heat()
    at = f"/seen/{manned.ticket()}"
    answered = manned.client.post(at).text
    assert "First: Lift the covers" in answered  # the link's page keeps what it said
    assert "First: Lift the covers" in manned.client.get(at).text
    page = manned.client.get("/watch").text
    assert re.search(r'class="has">keeper has it, since \d\d:\d\d\.<', page)
    assert "<b>First:</b> Lift the covers" in page
    assert "was answered" in page


def test_what_was_typed_stays_in_the_form_that_could_not_be_used(manned):
    manned.heat()
    ask = {"system": "reef", "alarm": "temperature-high", "hours": "9", "reason": "the probe is out"}
    page = manned.client.post("/watch/shelve", data=ask).text
    assert 'value="the probe is out"' in page
    assert re.search(r'<details class="entry" open><summary class="button" aria-label="Shelve: temperature high', page)
    page = manned.client.post("/watch/shelve", data=ask | {"hours": "0.5", "reason": ""}).text
    assert "A shelf needs a reason. Say why" in page
    assert '<option value="0.5" selected>' in page
    gone = manned.client.post("/watch/shelve", data=ask | {"alarm": "ph-high"})
    assert gone.status_code == 422
    assert "You had typed: the probe is out" in gone.text
    work = {"system": "reef", "kind": "cleaning", "subject": "", "minutes": "25"}
    page = manned.client.post("/watch/work", data=work).text
    assert "Cleaning of what? Choose it in the list." in page
    assert 'value="25"' in page
    assert '<option value="cleaning" selected>' in page
    page = manned.client.post("/watch/work", data=work | {"subject": "reef/chiller-1", "minutes": "999"}).text
    assert '<option value="reef/chiller-1" selected>' in page
    assert 'value="999"' in page
    path = manned.client.post("/watch/prove", data={"path": "pigeon"})
    for text in (page, gone.text, path.text):
        assert "--" not in re.sub(r"<(link|script|meta)[^>]*>|leadline watch adopt|orders --example", "", text)


@pytest.mark.parametrize("form", ["acknowledge", "shelve", "unshelve", "work", "prove"])
def test_a_form_s_address_opened_by_hand_leads_to_the_watch(manned, form):
    answer = manned.client.get(f"/watch/{form}", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/watch"


def test_work_is_on_something_of_the_house_that_was_chosen(manned):
    with open_store(str(manned.db)) as store:
        describe.add(store, house.CLOCK, house.REEF.replace('"reef"', '"pool"').replace("Invented reef", "Pool"))
    work = {"system": "reef", "kind": "cleaning", "subject": "reef/temperature"}
    assert "cleaning of temperature" in manned.client.post("/watch/work", data=work).text
    wrong = manned.client.post("/watch/work", data=work | {"system": "pool"})
    assert wrong.status_code == 422
    assert "is of Invented reef, not of Pool" in wrong.text


def test_an_alarm_that_asks_for_nothing_is_not_said_to_be_acknowledged(manned):
    manned.heat()
    ask = {"system": "reef", "alarm": "temperature-high"}
    assert "Acknowledged" in manned.client.post("/watch/acknowledge", data=ask).text
    for alarm, said in (("temperature-high", "somebody has it"), ("no-such", "Unknown alarm"), ("", "Unknown alarm")):
        answer = manned.client.post("/watch/acknowledge", data=ask | {"alarm": alarm})
        assert answer.status_code == 422
        assert said in answer.text
        assert "Acknowledged." not in answer.text


@pytest.fixture
def deaf(tmp_path):
    """A house whose mail server can't be reached, and whose reef has a name of 300 letters."""
    db = house.found(tmp_path)
    with open_store(str(db)) as store:
        long = house.REEF.replace('"reef"', '"pool"').replace("Invented reef", "W" * 300)
        describe.add(store, house.CLOCK, long)
        store.add_points("pool", "x" * 300, [house.CLOCK.now().timestamp()], [1.0])
    mail = '[[path]]\nid = "mail"\nkind = "mail"\nto = "keeper@home.example"\nserver = "127.0.0.1:9"\ntls = "none"\n'
    orders = house.ONE.replace('["bell"]', '["bell", "mail"]').replace('"1 h"', '"1 h"\nhand_over = "1 s"')
    house.give(db, '[watch]\naddress = "http://reef.local:8077"\n' + house.bell(tmp_path) + mail + orders)
    with watched(tmp_path, db) as made:
        yield made


def test_what_servers_say_is_kept_out_of_a_keeper_s_way(deaf):
    page = house.until(lambda: "mail to keeper is unproved" in (t := deaf.client.get("/watch").text) and t, 40)
    alarm = page.split("<h3><b>mail to keeper is unproved</b>")[1].split("</li>\n")[0]
    assert "path keeper mail" not in page
    assert "127.0.0.1:9" not in alarm.split("<details")[0]
    assert " left" not in alarm
    assert not re.search(r"\de-\d", page)
    assert "127.0.0.1:9" in alarm.split("Who was told")[1]


def test_long_words_never_make_the_page_wider(browser, deaf):
    deaf.heat()
    ask = {"system": "reef", "alarm": "temperature-high", "hours": "0.5", "reason": "r" * 200}
    assert "Shelved" in deaf.client.post("/watch/shelve", data=ask).text
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    try:
        page.goto(deaf.address + "/watch")
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        wide = page.evaluate(
            "[...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > 391"
            " && !e.closest('.wide')).map(e => e.outerHTML.slice(0, 80))"
        )
        assert wide == []
    finally:
        context.close()


def test_a_form_that_could_not_be_used_is_brought_before_the_eyes(browser, manned):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    said = []
    page.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: said.append(str(e)))
    try:
        page.goto(manned.address + "/watch")
        page.locator("summary", has_text="Declare work").click()
        page.locator("select[name=kind]").select_option("cleaning")
        page.locator("button", has_text="Begin").click()
        page.locator("#wrong", has_text="Cleaning of what?").wait_for()
        assert page.locator("select[name=subject]").evaluate("e => e === document.activeElement")
        assert violations(page) == []
        page.locator("select[name=subject]").select_option("reef/temperature")
        page.locator("button", has_text="Begin").click()
        page.locator("text=cleaning of temperature").wait_for()
        assert [x for x in said if "422" not in x] == []
    finally:
        context.close()


def test_the_page_renews_itself_but_not_under_an_open_form(browser, manned):
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    said = []
    page.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: said.append(str(e)))
    asked = []
    page.on("request", lambda r: asked.append(r.url))
    page.clock.install()
    try:
        page.goto(manned.address + "/watch")
        page.locator("text=No alarm stands.").wait_for()
        manned.heat()
        page.clock.run_for(21_000)
        page.locator("h3", has_text="temperature high").wait_for()
        page.locator(".kin summary").first.click()
        page.locator("summary", has_text="Who was told").first.click()
        page.locator("#why-gap summary").click()
        page.locator("summary", has_text="Shelve").first.click()
        page.locator("input[name=reason]").first.fill("half a word")
        asked.clear()
        page.clock.run_for(21_000)
        assert asked == []  # somebody types there
        assert page.locator("input[name=reason]").first.input_value() == "half a word"
        page.locator("summary", has_text="Shelve").first.click()
        page.evaluate("document.querySelector('#live-alarms').dataset.old = 'yes'")
        page.evaluate("document.querySelector('#live-head').dataset.old = 'yes'")
        page.clock.run_for(21_000)
        page.locator("#live-alarms:not([data-old]) details.why[open]").wait_for()  # renewed, and open as it was
        page.locator("#live-head:not([data-old]) #why-gap[open]").wait_for()
        assert said == []
    finally:
        context.close()


def test_work_is_declared_and_ended(manned):
    manned.heat()
    assert (
        "cleaning of temperature"
        in manned.client.post("/watch/work", data={"system": "reef", "kind": "cleaning", "subject": "temperature"}).text
    )
    assert manned.state() is State.SUPPRESSED
    manned.client.post("/watch/work", data={"system": "reef", "end": "1"})
    assert manned.state() is State.UNACKNOWLEDGED


def test_text_from_outside_is_data(manned):
    bad = "<script>alert(1)</script>"
    manned.post(json.dumps({"system": "reef", "stream": bad, "v": 1}))
    manned.heat()
    ask = {"system": "reef", "alarm": "temperature-high", "hours": "0.5", "reason": bad}
    manned.client.post("/watch/shelve", data=ask)
    page = manned.client.get("/watch").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


def test_health_tells_whoever_asks_and_nothing_private(manned):
    said = house.until(lambda: (a := manned.client.get("/health")).status_code == 200 and a.json())
    assert said["schema"] == "leadline.health/1"
    assert said["ok"] is True
    assert "keeper" not in json.dumps(said)
    manned.loop.stop()
    manned.loop._beat_at -= 60.0
    assert manned.client.get("/health").status_code == 503


def test_figures_as_json(manned):
    manned.heat()
    said = manned.client.get("/api/figures?days=7").json()
    assert said["schema"] == "leadline.figures/1"
    assert said["announced"] == 1
    assert said["by_priority"]["urgent"] == 1.0
    assert manned.client.get("/api/figures?days=x").status_code == 422


def test_a_page_without_a_watch_says_so(tmp_path):
    db = house.found(tmp_path)
    with served(site.build(lambda: open_store(str(db)), house.CLOCK)) as address, httpx.Client(base_url=address) as c:
        assert "No watch runs in this process" in c.get("/watch").text
        assert c.get("/health").status_code == 503
        assert "Nobody is told of anything yet" in c.get("/watch").text


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
@pytest.mark.parametrize("width", [390, 1280])
def test_an_alarm_is_answered_in_a_browser(browser, manned, width, light):
    manned.heat()
    context = browser.new_context(viewport={"width": width, "height": 844})
    context.add_cookies([{"name": "light", "value": light, "url": manned.address}])
    page = context.new_page()
    said = []
    page.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else None)
    try:
        for path, name in (("/watch", "watch"), (f"/seen/{manned.ticket()}", "seen")):
            page.goto(manned.address + path)
            well_made(page, f"{name}-{width}-{light}")
            small = page.evaluate(
                "[...document.querySelectorAll('button, summary.button')].filter(b => b.offsetParent"
                " && (b.offsetHeight < 48 || b.offsetWidth < 48)).map(b => b.innerText)"
            )
            assert small == []
        page.locator("button.asking").click()
        page.locator("[role=status]", has_text="acknowledged").wait_for()
        page.goto(manned.address + "/watch")
        assert re.search("somebody has it", page.locator(".alarms").inner_text())
        assert said == []
    finally:
        context.close()
    assert manned.state() is State.ACKNOWLEDGED
    assert WATCH


def test_every_page_says_at_its_head_that_an_alarm_asks(manned):
    assert "Alarm:" not in manned.client.get("/").text
    manned.heat()
    head = manned.client.get("/").text.split('<main id="main"')[0]
    assert "temperature heading high, Invented reef" in head
    manned.client.post("/watch/acknowledge", data={"system": "reef", "alarm": "temperature-heading-high"})
    assert "Alarm:" not in manned.client.get("/").text


def test_the_chance_that_nobody_is_reached_can_be_asked_why(manned):
    why = manned.client.get("/watch").text.split('id="why-gap"')[1].split("</details>")[0]
    assert "bell to keeper, dead by itself" in why
    assert "50 in 100 (never proved" in why  # the chance of a path that was never proved: judgement, decision 0015
    assert "watch, shared, down" in why
    assert "2 in 1000" in why
