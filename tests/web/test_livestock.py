"""The livestock's pages over a real store, and in a real browser: two widths, three lights, with and without script."""

from __future__ import annotations

import io
import re

import httpx
import pytest
from tests.web import house
from tests.web.conftest import served
from tests.web.looking import WIDTHS, in_light, well_made
from tests.web.test_pages import plain

from leadline.app import stock
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore
from leadline.web import site

pytestmark = pytest.mark.door
PAGES = {
    "livestock": "/livestock", "animal": "/livestock/animal/button-polyps",
    "quarantine": "/livestock/quarantine/quarantine",
    "check": "/livestock/check?kind=Chelmon+rostratus&system=great-reef",
    "catalogue": "/livestock/catalogue?name=pest/acropora-flatworm",
    "fallow": "/livestock/fallow?system=great-reef&pest=marine-white-spot",
    "trace-back": "/trace?ask=back&pest=marine-white-spot&place=great-reef",
    "trace-forth": "/trace?ask=forth&what=animal&animal=fairy-wrasses&pest=marine-white-spot",
}  # fmt: skip


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    return house.built(tmp_path_factory.mktemp("house"))


@pytest.fixture
def reef(built, tmp_path):
    """The demo's store, copied for one test, served."""
    import shutil

    path, clock = tmp_path / "demo.db", FixedClock(house.NOW)
    shutil.copy(built, path)
    app = site.build(lambda: SqliteStore.open(path, clock=clock), clock)
    with served(app) as address, httpx.Client(base_url=address, follow_redirects=True, timeout=60) as client:
        client.db, client.clock = path, clock
        yield client


def kept(reef):
    with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
        return stock.house(store, reef.clock)


def picture() -> bytes:
    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (640, 480), (20, 90, 120)).save(out, "JPEG")
    return out.getvalue()


# -- forms ---------------------------------------------------------------------------------------------------


def test_seen_in_two_taps_and_a_look_that_misses_one(reef):
    page = reef.get("/livestock")
    assert "six line" in page.text
    done = reef.post("/livestock/seen", data={"system": "great-reef", "animal": "six-line"})
    assert "Seen: six line." in plain(done.text)
    assert kept(reef).lot("six-line").seen["great-reef"] == house.NOW
    here = [x.id for x in kept(reef).register.at("great-reef") if x.id != "old-tang"]
    reef.post("/livestock/seen", data={"system": "great-reef", "animal": here, "looked": "1", "search": "torch"})
    assert house.NOW in kept(reef).register.looks["great-reef"]
    assert kept(reef).lot("old-tang").seen["great-reef"] < house.NOW


def read_of(page):
    return re.search(r'name="read" value="([0-9a-f]+)"', page.text)[1]


def test_what_nobody_knows_is_asked_about_before_it_is_written(reef):
    page = reef.post("/livestock/arrive", data={"kind": "yelow tang", "system": "quarantine"})
    assert page.status_code == 422
    assert "yellow tang (Zebrasoma flavescens)" in plain(page.text)
    assert "yelow-tang" not in kept(reef).register.lots


def test_an_id_names_one_kind(reef):
    page = reef.post("/livestock/arrive", data={"kind": "Naso", "system": "lagoon", "animal": "chromis"})
    assert "chromis is blue-green chromis already" in plain(page.text)
    assert kept(reef).lot("chromis").kind.id == "chromis-viridis"


def test_an_arrival_with_papers_then_a_photograph_and_a_move(reef):
    form = {
        "kind": "Zoanthus", "animal": "Blue polyps", "count": "5", "system": "quarantine", "source": "harbour-shop",
        "papers": "invoice 7", "price": "80", "irreplaceable": "1", "origin": "farmed", "token": "t1",
    }  # fmt: skip
    stopped = reef.post("/livestock/arrive", data=form)
    assert stopped.status_code == 422
    assert "Log it all the same" in stopped.text  # its toxin is named before anything is written
    assert "blue-polyps" not in kept(reef).register.lots
    assert reef.post("/livestock/arrive", data={**form, "read": "of something else"}).status_code == 422
    done = reef.post("/livestock/arrive", data={**form, "read": read_of(stopped)})
    assert done.status_code == 200
    assert done.url.path == "/livestock/animal/blue-polyps"
    assert "Palytoxin" in done.text  # the caution stands where it is handled
    lot = kept(reef).lot("blue-polyps")
    assert (lot.here, lot.about["papers"], lot.irreplaceable) == ({"quarantine": 5.0}, "invoice 7", True)
    photo = reef.post("/livestock/animal/blue-polyps/photograph", files={"file": ("a.jpg", picture(), "image/jpeg")})
    assert "Kept the photograph" in plain(photo.text)
    shown = reef.get(re.search(r'src="(/livestock/photo/[0-9a-f]+\?small=1)"', photo.text)[1])
    assert (shown.status_code, shown.headers["content-type"]) == (200, "image/jpeg")
    move = {"to": "great-reef", "count": "2", "tool": "tongs"}
    early = reef.post("/livestock/animal/blue-polyps/move", data=move)
    assert "Its quarantine is not over until" in plain(early.text)
    assert kept(reef).lot("blue-polyps").here == {"quarantine": 5.0}
    moved = reef.post("/livestock/animal/blue-polyps/move", data={**move, "read": read_of(early)})
    assert "Logged: blue polyps went to Great reef" in plain(moved.text)
    assert kept(reef).lot("blue-polyps").here == {"quarantine": 3.0, "great-reef": 2.0}


def test_a_second_tap_writes_nothing_and_one_word_takes_it_back(reef):
    def there():
        with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
            return len([e for e in store.entries("great-reef") if e.subject == "seen"])

    before = there()
    tap = {"system": "great-reef", "animal": "six-line", "token": "once"}
    first = reef.post("/livestock/seen", data=tap)
    again = reef.post("/livestock/seen", data=tap)
    assert (first.url.query, there()) == (again.url.query, before + 1)
    other = reef.post("/livestock/seen", data={**tap, "animal": "old-tang"})  # the page's mark, another form
    assert "Seen: old tang." in plain(other.text)
    undo = re.search(r'action="(/livestock/undo/[^"]+)"', first.text)[1]
    back = reef.post(undo, data={"to": "/livestock"})
    assert "Taken back: seen: six line." in plain(back.text)
    assert reef.post("/livestock/undo/nothing", data={"to": "//elsewhere"}).status_code == 422


def test_a_sign_leads_to_its_trace_both_ways(reef):
    noted = reef.post("/livestock/animal/old-tang/note", data={"sign": "white-spots", "token": "n"})
    link = re.search(r'href="(/trace\?[^"]+)">Trace it', noted.text)[1].replace("&amp;", "&")
    page = reef.get(link)
    assert "Marine white spot, first seen in Great reef" in plain(page.text)
    assert "where it can be by now" in plain(page.text)


def test_release_before_its_time_asks_why(reef):
    early = reef.post("/livestock/quarantine/release", data={"who": "the keeper"})
    assert early.status_code == 422
    assert "Say why" in early.text
    assert 'value="the keeper"' in early.text
    done = reef.post("/livestock/quarantine/release", data={"who": "the keeper", "note": "the unit leaks"})
    assert "Noted the decision." in plain(done.text)


def test_the_catalogue_and_the_wait_without_fish(reef):
    """38 days egg to egg at 27 °C: Barton et al. 2019; 76 days without fish: biology CRY-05/06."""
    page = plain(reef.get("/livestock/catalogue?name=Acropora-eating flatworm").text)
    assert "Barton" in page
    assert "38" in page
    assert "mean" in plain(reef.get("/livestock/catalogue?name=acropora-flatwrm").text)
    assert reef.get("/livestock/catalogue?name=acropora-flatwrm").status_code == 422
    assert "reaches" in plain(reef.get("/livestock/catalogue?name=agent/copper").text)
    wait = plain(reef.get("/livestock/fallow?system=great-reef&pest=marine-white-spot").text)
    assert "Not fallow" in wait
    assert "76 days rest on the longest cyst" in wait
    assert reef.get("/livestock/fallow?system=great-reef&pest=gryphon").status_code == 422


def test_ticks_and_choices_survive_a_refusal(reef):
    form = {"agent": "", "animals": ["three-acropora-frags"], "found": "nothing", "base": "removed"}
    page = reef.post("/livestock/quarantine/treat", data=form).text
    assert 'value="three-acropora-frags" checked' in page
    assert '<option value="nothing" selected>' in page
    assert '<option value="removed" selected>' in page


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "2026-02-30"])
def test_days_that_no_calendar_here_holds_get_one_line(reef, day):
    for path in (f"/livestock?on={day}", f"/trace?ask=back&pest=marine-white-spot&place=great-reef&seen={day}",
                 f"/trace?ask=forth&pest=marine-white-spot&what=place&place=great-reef&since={day}",
                 f"/livestock?as_of={day}"):  # fmt: skip
        assert reef.get(path).status_code in (400, 422), path


def test_a_dip_closes_its_step(reef):
    before = reef.get("/livestock/quarantine/quarantine").text
    assert "Treat again" in before
    dip = {"agent": "iodine-dip", "animals": "three-acropora-frags", "fell_off": "one worm", "base": "removed"}
    done = reef.post("/livestock/quarantine/treat", data=dip)
    assert "Logged the dip" in plain(done.text)
    assert not re.search(r'<li id="dip-\d" class="due', done.text)


def test_a_loss_with_its_examination_and_a_note(reef):
    loss = {"how": "died", "count": "1", "exam_gills": "pale", "exam_belly": "hollow", "note": "behind the rock"}
    done = reef.post("/livestock/animal/anthias-school/lose", data=loss)
    assert "gills: pale; belly: hollow" in plain(done.text)
    assert kept(reef).lot("anthias-school").here == {"great-reef": 4.0}
    noted = reef.post("/livestock/animal/great-table/note", data={"sign": "measured", "value": "38,5", "unit": "cm"})
    assert "38.5 cm" in plain(noted.text)


def test_the_register_goes_out_and_a_torn_one_changes_nothing(reef):
    sent = reef.get("/livestock/register.csv")
    assert "organismID" in sent.text
    before = {k: v.here for k, v in kept(reef).register.lots.items()}
    done = reef.post("/livestock/bring", files={"file": ("register.csv", sent.content, "text/csv")})
    assert "Brought in" in plain(done.text)
    assert {k: v.here for k, v in kept(reef).register.lots.items()} == before
    torn = sent.text.replace("great-reef", "nowhere", 1)
    refused = reef.post("/livestock/bring", files={"file": ("register.csv", torn.encode(), "text/csv")})
    assert refused.status_code == 422
    assert "register.csv:" in refused.text
    assert "Nothing of the file was brought in" in plain(refused.text)
    for rubbish in (b"", b"\x00\xff\xfe", b"a,b\n1,2\n", picture()):
        again = reef.post("/livestock/bring", files={"file": ("x.csv", rubbish, "text/csv")})
        assert again.status_code == 422
        assert 'role="alert"' in again.text


@pytest.mark.parametrize(
    ("where", "data", "said"),
    [
        ("/livestock/arrive", {"kind": "", "system": "quarantine"}, "An arrival of what?"),
        ("/livestock/arrive", {"kind": "acropora", "system": "nowhere"}, "unknown system"),
        ("/livestock/arrive", {"kind": "acropora", "system": "quarantine", "count": "lots"}, "give how many"),
        ("/livestock/animal/old-tang/move", {"to": ""}, "A move to where?"),
        ("/livestock/animal/old-tang/move", {"to": "lagoon", "count": "3"}, "There are 1 in great-reef"),
        ("/livestock/animal/old-tang/lose", {"how": "flew"}, "unknown way of loss"),
        ("/livestock/animal/old-tang/note", {"sign": "measured", "value": "tall"}, "give it in centimetres"),
        ("/livestock/animal/old-tang/tell", {}, "Nothing was said"),
        ("/livestock/quarantine/treat", {"agent": ""}, "Treated with what?"),
        ("/livestock/quarantine/treat", {"agent": "copper", "what": "medicine"}, "harms three acropora frags"),
        ("/livestock/quarantine/release", {"who": ""}, "Decided by whom?"),
        ("/livestock/seen", {"system": "great-reef"}, "Nothing was seen"),
        ("/livestock/seen", {"system": "great-reef", "animal": "nobody"}, "unknown animal"),
    ],
)
def test_what_cannot_be_used_gets_one_line_and_writes_nothing(reef, where, data, said):
    with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
        before = len(store.entries())
    answer = reef.post(where, data=data)
    assert answer.status_code == 422
    alerts = re.findall(r'<p class="error" role="alert"[^>]*>([^<]*)<', answer.text)
    assert len(alerts) == 1
    assert said.lower() in plain(alerts[0]).lower()
    with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
        assert len(store.entries()) == before


def test_what_was_typed_stays(reef):
    answer = reef.post(
        "/livestock/arrive", data={"kind": "Zoanthus <b>", "system": "quarantine", "count": "x", "papers": "7"}
    )
    assert 'value="Zoanthus &lt;b&gt;"' in answer.text
    assert 'value="7"' in answer.text
    assert "<b>" not in answer.text.replace("<b>▲", "").split("<datalist")[0].split("<main")[1][:200]


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "æøå 鱼 🐠", "a" * 300, "../../etc/passwd", "x';drop"])
def test_hostile_names_stay_words(reef, name):
    done = reef.post("/livestock/arrive", data={"kind": name, "system": "quarantine", "note": name, "source": name})
    assert done.status_code in (200, 422)
    for path in ("/livestock", "/livestock/quarantine/quarantine", "/trace", "/system/quarantine"):
        answer = reef.get(path)
        assert answer.status_code == 200
        assert "<script>alert" not in answer.text


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/livestock/animal/nobody", 422), ("/livestock/nowhere/quarantine", 422), ("/livestock/photo/0000", 422),
        ("/livestock/check?kind=&system=great-reef", 200), ("/livestock/check?kind=x&count=-1&system=great-reef", 422),
        ("/livestock/check?kind=x&system=nowhere", 422), ("/trace?ask=back&pest=none&place=great-reef", 422),
        ("/trace?ask=forth&pest=aiptasia&what=place&place=great-reef", 422), ("/trace?sign=gone&place=x", 200),
        ("/livestock?on=rubbish", 422), ("/livestock?on=2025-09-01", 200), ("/livestock/great-reef/quarantine", 200),
        ("/livestock/seen", 200), ("/livestock/lagoon/quarantine", 200),
    ],
)  # fmt: skip
def test_addresses_by_hand(reef, path, status):
    assert reef.get(path).status_code == status


def test_who_lived_where_on_a_day(reef):
    then = reef.get("/livestock?on=2025-06-01").text
    assert "fairy wrasses" not in then
    assert "montipora plates" in then
    assert "Log its arrival" not in then


def test_the_round_leads_to_the_quarantine_and_one_press_logs_the_look(reef):
    page = reef.get("/system/quarantine?minutes=60").text
    assert 'href="/livestock/quarantine/quarantine#dip-2"' in page
    sent = dict(
        re.findall(r'name="(action|subject|log_\w+)" value="([^"]*)"', page.split("All seen")[0].split("<li")[-1])
    )
    done = reef.post("/system/quarantine/done", data={**sent, "view": "quarantine", "minutes": "60"})
    assert done.status_code == 200
    assert kept(reef).lot("fairy-wrasses").seen["quarantine"] == house.NOW


# -- in a browser --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
def test_axe_finds_nothing_and_nothing_runs_over(browser, reef, light):
    base = str(reef.base_url).rstrip("/")
    for width in WIDTHS:
        with in_light(browser, base, light, width, bypass_csp=True) as page:
            trouble: list[str] = []
            page.on("console", lambda m, t=trouble: t.append(m.text) if m.type == "error" else None)
            page.on("pageerror", lambda e, t=trouble: t.append(str(e)))
            for name, path in PAGES.items():
                page.goto(base + path)
                page.locator("html.scripted").wait_for()
                page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
                well_made(page, f"{name}-{width}-{light}")
            assert trouble == []


@pytest.mark.parametrize("script", [True, False])
def test_a_keepers_evening_by_touch(browser, reef, script):
    """From the round: two touches say that an animal was seen; three log a dip; all of it without script too."""
    base = str(reef.base_url).rstrip("/")
    context = browser.new_context(viewport={"width": 390, "height": 844}, java_script_enabled=script)
    page = context.new_page()
    page.goto(base + "/system/great-reef")
    page.get_by_role("link", name="Livestock").click()
    page.get_by_role("button", name="Seen today: six line").click()
    page.locator(".flash", has_text="Seen: six line.").wait_for()
    page.goto(base + "/livestock/quarantine/quarantine")
    page.locator("#treat ~ form select[name=agent]").select_option("iodine-dip")
    page.get_by_label("three acropora frags").check()
    page.locator("form[action$='/treat'] .send").click()
    page.locator(".flash", has_text="Logged the dip: iodine dip.").wait_for()
    page.goto(base + "/livestock/animal/button-polyps")
    page.locator("summary", has_text="Move").click()
    caution = page.locator("form[action$='/move'] .caution")
    assert "gloves" in caution.inner_text().lower()
    page.locator("form[action$='/move'] [name=other]").fill("a friend")
    page.locator("form[action$='/move'] .send").click()
    page.locator(".flash", has_text="went to a friend.").wait_for()
    page.goto(base + "/system/great-reef?minutes=10")
    assert "fish beside button polyps" in page.locator("ol.round").inner_text()
    context.close()
