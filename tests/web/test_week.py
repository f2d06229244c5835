"""The week's page over the demo's store: what it says, with and without script; printed, ink on white on one sheet."""

from __future__ import annotations

import io
import re
import zlib

import pytest
from tests.web.looking import AXE, PICTURES, WIDTHS, in_light, well_made
from tests.web.test_livestock import built, reef  # noqa: F401 - fixtures
from tests.web.test_pages import plain

from leadline.app import due, stand_orders
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.door
PAGES = {"week": "/week", "week-one": "/week/great-reef"}


@pytest.fixture
def called(reef):  # noqa: F811
    """The demo's house with somebody to call."""
    with SqliteStore.open(reef.db, clock=reef.clock) as store:
        stand_orders.give(store, stand_orders.EXAMPLE)
    return reef


def lines(reef, systems=None, days=7, person=""):  # noqa: F811
    with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
        return due.due(store, reef.clock, systems, days, person).lines


def test_each_line_stands_on_its_day_with_its_box_its_minutes_and_its_why(called):
    page = called.get("/week")
    assert page.status_code == 200
    said = plain(page.text)
    heads = re.findall(r'<h2 id="d-\d+">(.*?)(?: <span|</h2>)', page.text)
    # 1 March 2026 was a Sunday; the dip of 6 February belongs to 26 February to 13 March, over this whole week
    assert heads[:2] == ["Every day", "Today, Sunday 1 March"]
    assert heads[-1] == "Any day this week"
    assert "until Fri 13 March" in said.rpartition("Any day this week")[2]
    assert "As of Sunday 1 March 2026, 09:00 , Europe/Oslo" in said
    for d in lines(called):
        assert plain(d.because) in said, d
    assert "Last 34.8, 2 Dec; aim 34 to 36 psu." in said  # the demo's last reading of salinity, 89 days ago
    assert page.text.count('class="write"') == len([d for d in lines(called) if d.action == "test"])
    foot = said.rpartition("Whom to call")[2]
    assert "Keeper : push; bell, at this house; keeper@home.example (07:00 to 22:30)" in foot
    assert "secret" not in page.text


def test_one_system_one_person_other_days(called):
    one = plain(called.get("/week/lagoon").text)
    assert "bubble tip here" in one.lower()
    assert "tools: white spots" not in one
    mine = plain(called.get("/week?person=neighbour").text)
    assert "neighbour-mail to neighbour" in mine
    assert "bell and mail to keeper" not in mine
    today = called.get("/week?days=1")
    assert "Every day" not in plain(today.text)
    assert "Wednesday 4 March" not in plain(today.text)
    assert called.get("/week?days=many").status_code == 200
    then = called.get("/week?as_of=2026-02-01T08:00")
    assert "As it was known then." in plain(then.text)
    for bad in ("/week/nowhere", "/week?person=gryphon", "/week?as_of=soon"):
        answer = called.get(bad)
        assert answer.status_code == 422, bad
        assert "Traceback" not in answer.text


def test_the_rounds_page_leads_to_it_and_nobody_to_call_leaves_a_line(reef):  # noqa: F811
    assert 'href="/week"' in reef.get("/").text
    assert 'href="/week/great-reef"' in reef.get("/system/great-reef").text
    assert "The standing orders name nobody. Write somebody here:" in plain(reef.get("/week").text)


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
def test_axe_finds_nothing(browser, called, light):
    base = str(called.base_url).rstrip("/")
    for width in WIDTHS:
        with in_light(browser, base, light, width) as page:
            for shown, path in PAGES.items():
                page.goto(base + path)
                page.locator("html.scripted").wait_for()
                well_made(page, f"{shown}-{width}-{light}")
                button = page.get_by_role("button", name="Print").bounding_box()
                assert button["height"] >= 48


def test_the_button_prints_and_without_script_a_hint_stands_there(browser, called):
    context = browser.new_context()
    page = context.new_page()
    page.add_init_script("window.print = () => { document.title = 'printed' }")
    page.goto(f"{called.base_url}/week")
    page.get_by_role("button", name="Print").click()
    assert page.title() == "printed"
    assert page.locator(".hint").is_hidden()
    context.close()
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{called.base_url}/week")
    assert page.locator(".hint").is_visible()
    assert page.get_by_role("button", name="Print").is_hidden()
    context.close()


def inks(pdf: bytes) -> tuple[list[float], list[float]]:
    """Of a PDF: how light the ink of each piece of text is (0 black, 1 white), and of each area filled before any."""
    text, paper = [], []
    for part in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        try:
            drawn = zlib.decompress(part)
        except zlib.error:
            continue
        fill = 0.0  # ISO 32000-1, 8.4: black until said otherwise
        if b"BT" not in drawn:
            continue
        for m in re.finditer(rb"([\d.]+) ([\d.]+) ([\d.]+) rg|\b(BT)\b|\b(re\s+f)\b", drawn):
            if m[4]:
                text.append(fill)
            elif m[5]:
                paper += [fill] if not text else []
            else:
                fill = max(float(m[1]), float(m[2]), float(m[3]))
    return text, paper


def test_printed_it_is_dark_ink_on_white_and_one_sheet_whatever_the_light(browser, called):
    base = str(called.base_url).rstrip("/")
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.add_cookies([{"name": "light", "value": "night", "url": base}])
    page = context.new_page()
    page.goto(f"{base}/week")
    pdf = page.pdf(format="A4", print_background=True)
    (PICTURES / "week.pdf").write_bytes(pdf)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
    text, paper = inks(pdf)
    assert len(text) > 40
    assert max(text) <= 0.34  # 12.6:1 on white at the lightest, by WCAG 2.2's formula; 4.5:1 is asked
    assert paper[0] == 1.0  # the sheet itself
    page.emulate_media(media="print")
    gone = "nav, button, .lights, .tabs, .skip:not(:focus), .calling, .screen"
    assert [x for x in page.locator(gone).all() if x.is_visible() and not x.evaluate("e => e.matches('.skip')")] == []
    page.evaluate(AXE)
    wrong = page.evaluate("() => axe.run(document, {runOnly: ['color-contrast']})")["violations"]
    assert wrong == []
    whole = page.screenshot(path=PICTURES / "week-print.png", full_page=True)
    from PIL import Image

    picture = Image.open(io.BytesIO(whole)).convert("RGB")
    assert picture.getpixel((2, 2)) == (255, 255, 255)
    assert page.locator("li").first.evaluate("e => getComputedStyle(e).breakInside") == "avoid"
    context.close()


def test_no_page_asks_for_anything_elsewhere(browser, called):
    base = str(called.base_url).rstrip("/")
    context = browser.new_context()
    page = context.new_page()
    asked, said = [], []
    page.on("request", lambda r: asked.append(r.url))
    page.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else None)
    for path in (*PAGES.values(), "/calendar"):
        page.goto(base + path)
        page.locator("html.scripted").wait_for()
    assert said == []
    assert all(u.startswith(base) for u in asked)
    context.close()


def test_of_one_day_the_most_worth_of_its_minutes_comes_first_as_in_the_round(called):
    round_ = plain(called.get("/system/great-reef?minutes=60").text)
    first = [w for w in ("salinity", "alkalinity") if f"Test {w}" in round_]
    assert first[0] == "salinity"
    page = plain(called.get("/week/great-reef").text)
    assert page.index("Test salinity") < min(page.index(x) for x in ("Inspect guard", "Test alkalinity") if x in page)
    assert re.search(r"As of \w+ \d+ \w+ 2026, \d\d:\d\d", page)
