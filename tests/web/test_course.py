"""The page of one course over a real store: any window without script, its data, its cursor, its zoom; three lights."""

from __future__ import annotations

import csv
import datetime as dt
import gzip
import io
import json
import os
import re
import subprocess
import sys

import pytest
from tests.web import house
from tests.web.looking import PICTURES, WIDTHS, well_made
from tests.web.test_livestock import built, reef  # noqa: F401 - fixtures
from tests.web.test_pages import plain

from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.door
PAGE = "/course/great-reef/temperature"
SPANS = ("1h", "1d", "1w", "1m", "6m", "14m", "4y", "10y")


@pytest.fixture
def open_page(browser, reef):  # noqa: F811
    contexts = []

    def opened(path, width="desk", light="day", script=True, ratio=1):
        size = WIDTHS.get(width) or (int(width), 800)
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, java_script_enabled=script, device_scale_factor=ratio,
            reduced_motion="reduce", has_touch=width == "phone",
        )  # fmt: skip
        contexts.append(context)
        base = str(reef.base_url).rstrip("/")
        context.add_cookies([{"name": "light", "value": light, "url": base}])
        page = context.new_page()
        page.said = []
        page.on("console", lambda m: page.said.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: page.said.append(str(e)))
        page.asked = []
        page.on("request", lambda r: page.asked.append(r.url))
        page.goto(base + path)
        if script:
            page.locator(".pointer[aria-valuetext]").wait_for()
        return page

    yield opened
    for context in contexts:
        context.close()


def shown(page):
    return re.sub(r"\s+", " ", page.locator("#readout").inner_text())


# -- without script --------------------------------------------------------------------------------------


@pytest.mark.parametrize("span", SPANS)
def test_every_span_is_a_whole_page(reef, span):  # noqa: F811
    text = reef.get(f"{PAGE}?span={span}").text
    assert text.count('class="course"') == 1
    assert text.count('aria-current="true"') == 1
    assert "<th" in text
    assert len(re.findall(r"<tr><td>", text)) >= 1


def test_the_links_lead_closer_wider_back_and_forth(reef):  # noqa: F811
    def follow(address, move):
        text = reef.get(address).text
        link = re.search(rf'data-move="{move}" href="([^"]+)"', text)[1].replace("&amp;", "&")
        ends = re.search(r'data-from="([\d.-]+)" data-to="([\d.-]+)"', reef.get(link).text)
        return link, float(ends[1]), float(ends[2])

    now = house.NOW.timestamp()
    link, start, end = follow(f"{PAGE}?span=1w", "closer")
    assert end - start == pytest.approx(0.5 * (7 + 1.75) * 86400, abs=2)  # a week and its outlook, halved
    assert start < now < end  # what is now stays in sight
    link, start2, end2 = follow(link, "earlier")
    assert end2 - end == pytest.approx(-(end - start) / 2, abs=2)
    link, start3, end3 = follow(link, "wider")
    assert end3 - start3 == pytest.approx(2 * (end2 - start2), abs=4)
    link, start4, _ = follow(link, "later")
    assert start4 > start3
    past = reef.get(f"{PAGE}?from=2025-07-01&to=2025-07-08").text
    assert 'data-move="now"' in past
    assert "1 Jul 2025, 00:00 to 8 Jul 2025, 00:00" in past  # in Oslo, where it is summer time


def test_what_is_laid_over_and_the_depth_stay_with_every_link(reef):  # noqa: F811
    text = reef.get(f"{PAGE}?span=1w&with=lagoon/temperature&depth=near&as_of=2026-02-20").text
    for link in re.findall(r'href="(/course/[^"]+)"', text):
        if "To now" not in text[text.index(link) : text.index(link) + len(link) + 12]:
            for part in ("with=lagoon%2Ftemperature", "depth=near", "as_of=2026-02-19T23%3A00%3A00Z"):
                assert part in link.replace("&amp;", "&"), link
    assert "As it was known then." in text
    assert ">as of<" in text


def test_two_over_each_other_have_tables_for_both(reef):  # noqa: F811
    text = reef.get("/course/great-reef/alkalinity?with=calcium&span=6m").text
    assert 'class="depth other"' in text
    assert re.findall(r'<h2 id="great-reef-(\w+)-h">', text) == ["alkalinity", "calcium"]
    assert "<b>Calcium.</b>" in text


def test_the_round_leads_there_and_back(reef):  # noqa: F811
    text = reef.get("/system/great-reef").text
    link = re.search(r'<a class="closer" href="([^"]+)" aria-label="Look closer at Alkalinity"', text)[1]
    assert link == "/course/great-reef/alkalinity"
    back = re.search(r'class="back" href="([^"]+)"', reef.get(link).text)[1]
    assert back == "/system/great-reef#course-alkalinity"
    assert 'id="course-alkalinity"' in reef.get(back).text
    then = reef.get("/system/great-reef?as_of=2026-01-01").text
    assert 'href="/course/great-reef/alkalinity?as_of=2025-12-31T23%3A00%3A00Z"' in then


def test_a_day_of_clock_change_says_so(reef):  # noqa: F811
    text = reef.get(f"{PAGE}?from=2025-03-30&to=2025-03-31").text
    # Directive 2000/84/EC: 01:00 UTC on 30 March 2025, 03:00 in Oslo from then on
    assert "The clocks went forward on 30 Mar 2025, 03:00." in text
    labels = re.findall(r'class="date[^"]*"[^>]*>(\d\d:\d\d)<', text)
    assert "03:00" in labels or "04:00" in labels
    assert "02:00" not in labels


@pytest.mark.parametrize(
    ("path", "said"),
    [
        (f"{PAGE}?from=2026-02-01&to=2026-01-01", "wrong way round"),
        (f"{PAGE}?from=0000-01-01", "outside 1700 to 2300"),
        (f"{PAGE}?from=soon", "no date or time"), (f"{PAGE}?span=1000000000y", "60 years or less"),
        (f"{PAGE}?span=1e9", "no span"), (f"{PAGE}?from=2026-01-01T10:00&to=2026-01-01T10:01", "ten minutes or more"),
        (f"{PAGE}?depth=deep", "no depth"), (f"{PAGE}?with=gryphon", "unknown quantity"),
        (f"{PAGE}?with=temperature", "over itself"), (f"{PAGE}?with=nowhere/temperature", "unknown system"),
        ("/course/great-reef/gryphon", "unknown quantity"), ("/course/nowhere/temperature", "unknown system"),
        (f"{PAGE}.json?px=0", "px = 0"), (f"{PAGE}.json?px=lots", "is no number"),
        (f"{PAGE}.json?px=1e300", "px = 1e300"),
        (f"{PAGE}.json?px=nan", ""), (f"{PAGE}.json?beside=9", "beside = 9"),
        (f"{PAGE}.csv?from=2031-01-01", "lies ahead"),
        (f"{PAGE}?as_of=never", "no date or time"),
    ],
)  # fmt: skip
def test_an_address_that_asks_for_nothing_there_is_gets_one_line(reef, path, said):  # noqa: F811
    answer = reef.get(path)
    assert answer.status_code == 422
    lines = re.findall(r"<main[^>]*>(.*?)</main>", answer.text, re.S)
    assert said in plain(lines[0])
    assert "Traceback" not in answer.text


# -- data ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("span", SPANS)
@pytest.mark.parametrize("px", [60, 800])
def test_the_data_has_no_more_than_two_points_a_pixel_and_all_of_its_parts(reef, span, px):  # noqa: F811
    found = reef.get(f"{PAGE}.json?span={span}&px={px}&with=ph").json()
    assert found["schema"] == "leadline.course/1"
    assert found["time_zone"] == "Europe/Oslo"
    start, end = (dt.datetime.fromisoformat(found[k]).timestamp() for k in ("from", "to"))
    first, second = found["courses"]
    assert (first["quantity"], second["quantity"]) == ("temperature", "ph")
    for c in (first, second):
        track = c["course"]
        assert len({len(track[k]) for k in ("t", "mean", "sd", "q05", "q95")}) == 1
        assert track["t"] == sorted(track["t"])
        assert start - 1 <= track["t"][0]
        assert track["t"][-1] <= end + 1
        for p in c["probes"]:
            assert len(p["t"]) <= 2 * px
            assert all(a <= b for a, b in zip(p["least"], p["greatest"], strict=True))
        assert c["depth"]["low"] < c["depth"]["high"]
        assert len(c["aim"]) == len(c["limit"]) == 2
    assert found["axis"]["upper"]


def test_what_lies_beside_is_there_to_be_panned_to_at_the_depth_of_the_window(reef):  # noqa: F811
    alone = reef.get(f"{PAGE}.json?from=2026-01-10&to=2026-01-20&px=400").json()
    wider = reef.get(f"{PAGE}.json?from=2026-01-10&to=2026-01-20&px=400&beside=0.5").json()
    assert wider["courses"][0]["depth"]["low"] == pytest.approx(alone["courses"][0]["depth"]["low"], abs=0.2)
    span = [dt.datetime.fromisoformat(wider[k]) for k in ("from", "to")]
    assert span[1] - span[0] == dt.timedelta(days=20)
    assert wider["px"] == 800


def test_the_probe_of_the_data_is_that_of_the_store(reef):  # noqa: F811
    found = reef.get(f"{PAGE}.json?from=2025-09-01&to=2026-02-01&px=300").json()
    (probe,) = found["courses"][0]["probes"]
    with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
        p = store.points("great-reef", "temperature", probe["t"][0], probe["t"][-1] + probe["width"])
    good = (p.flags != 4) & (p.flags != 9)
    assert sum(probe["n"]) == good.sum()
    assert min(probe["least"]) == p.values[good].min()
    assert max(probe["greatest"]) == p.values[good].max()


def test_the_csv_is_that_of_the_standard_and_has_what_the_chart_has(reef):  # noqa: F811
    address = "/course/great-reef/alkalinity"
    window = "?from=2026-01-01&to=2026-02-01"
    answer = reef.get(f"{address}.csv{window}")
    assert answer.headers["content-type"].startswith("text/csv")
    assert "great-reef-alkalinity.csv" in answer.headers["content-disposition"]
    assert answer.text.count("\r\n") == answer.text.count("\n")  # RFC 4180, 2.1
    rows = list(csv.DictReader(io.StringIO(answer.text, newline=""), strict=True))
    assert list(rows[0]) == [
        "time", "system", "quantity", "unit", "row", "mean", "sd", "q05", "q95", "value", "least", "greatest", "words",
    ]  # fmt: skip
    times = [dt.datetime.fromisoformat(r["time"]) for r in rows]
    assert times == sorted(times)
    found = reef.get(f"{address}.json{window}").json()["courses"][0]
    readings = [r for r in rows if r["row"] == "reading"]
    assert [float(r["value"]) for r in readings] == pytest.approx([f["value"] for f in found["fixes"]], rel=1e-11)
    for r in rows:
        if r["row"] == "course":
            assert float(r["q05"]) <= float(r["mean"]) <= float(r["q95"])


def test_the_prompt_says_the_same(reef):  # noqa: F811
    window = ["--from", "2026-01-01", "--to", "2026-02-01", "--px", "500"]
    env = {**os.environ, "PYTHONPATH": "src", "LEADLINE_NOW": house.NOW.isoformat()}
    words = [sys.executable, "-m", "leadline", "--db", str(reef.db), "--json", "course", "great-reef", "ph", *window]
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=env)
    page = reef.get("/course/great-reef/ph.json?from=2026-01-01&to=2026-02-01&px=500").json()
    said = json.loads(done.stdout)
    page.pop("now"), said.pop("now")  # the server counts in minutes
    assert said == page


def test_a_moment_of_the_past_knows_nothing_later(reef):  # noqa: F811
    address = "/course/lagoon/alkalinity.json?as_of=2026-01-15&span=1m"
    before = reef.get(address).json()
    data = {"quantity": "alkalinity", "value": "11,5", "unit": "dKH", "token": "x"}
    assert reef.post("/system/lagoon/log", data=data).status_code == 200
    assert reef.get(address).json() == before
    assert before["now"] == "2026-01-14T23:00:00Z"
    fixes = [f["t"] for f in before["courses"][0]["fixes"]]
    assert max(fixes) <= dt.datetime(2026, 1, 14, 23, tzinfo=dt.UTC).timestamp()


# -- with script -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
def test_axe_finds_nothing_and_the_canvas_has_the_colours_of_its_light(open_page, light):
    PICTURES.mkdir(exist_ok=True)
    for width in WIDTHS:
        page = open_page("/course/great-reef/alkalinity?span=6m&with=temperature", width, light, ratio=2)
        for state in ("drawn", "taken"):
            page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
            well_made(page, f"course-{state}-{width}-{light}")
            if state == "drawn":
                with page.expect_response(lambda r: "/course/" in r.url and ".json" not in r.url):
                    page.locator('[data-move="closer"]').click()
        # a pixel of the second's danger above the first's limit is the token's own colour, at the screen's density
        seen = page.evaluate("""() => {
            const c = document.querySelector('.plotted canvas'), box = document.querySelector('.pointer');
            const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
            const hex = getComputedStyle(document.documentElement).getPropertyValue('--shoal').trim();
            const want = [1, 3, 5].map(i => parseInt(hex.slice(i, i + 2), 16));
            let n = 0;
            for (let i = 0; i < d.length; i += 4) if (want.every((w, k) => Math.abs(w - d[i + k]) < 3)) n += 1;
            return {n, ratio: c.width / c.clientWidth, shown: getComputedStyle(c).display, wide: box.clientWidth};
        }""")
        assert seen["n"] > 2000, (width, light)
        assert seen["ratio"] == pytest.approx(2, abs=0.02)
        assert seen["shown"] == "block"
        assert page.said == []


@pytest.mark.parametrize("width", WIDTHS)
def test_the_keyboard_moves_a_cursor_that_says_the_number_under_it(open_page, width):
    page = open_page("/course/great-reef/alkalinity?from=2025-12-01&to=2026-01-01", width)
    slider = page.get_by_role("slider", name="Moment on the chart")
    slider.focus()
    page.keyboard.press("Home")
    assert shown(page).startswith("1 Dec 2025, 00:00")
    assert slider.get_attribute("aria-valuetext") == "1 Dec 2025, 00:00"
    page.keyboard.press("End")
    assert shown(page).startswith("1 Jan 2026, 00:00")
    for key in ("+", "+", "-"):  # at the very edge, too, the zoom is about the cursor and keeps it in sight
        page.keyboard.press(key)
    page.wait_for_timeout(600)
    assert shown(page).startswith("1 Jan 2026, 00:00")
    assert "Nothing is reckoned here" not in shown(page)
    page = open_page("/course/great-reef/alkalinity?from=2025-12-01&to=2026-01-01", width)
    slider = page.get_by_role("slider", name="Moment on the chart")
    slider.focus()
    page.keyboard.press("End")
    page.keyboard.press("PageDown")
    assert shown(page).startswith("28 Dec 2025, 21:36")  # a tenth of 31 days
    before = int(slider.get_attribute("aria-valuenow"))
    page.keyboard.press("ArrowRight")
    pixel = page.evaluate("31 * 86400 / document.querySelector('.pointer').clientWidth")
    assert int(slider.get_attribute("aria-valuenow")) - before == pytest.approx(pixel, abs=1.5)
    page.keyboard.press("ArrowDown")  # to the reading before
    assert "here" in shown(page)
    assert "dKH; 9 in 10 between" in shown(page)
    assert page.locator("#readout").get_attribute("aria-live") == "polite"


def test_the_cursor_says_what_the_servers_own_sentence_says(open_page, reef):  # noqa: F811
    address = "/course/great-reef/alkalinity?from=2026-01-01&to=2026-01-08&with=ph"
    page = open_page(address)
    server = plain(re.search(r'id="readout".*?</div>', reef.get(address).text, re.S)[0])

    # both speak of the window's end; there the server's probe ends with the window
    def told(said):
        return re.findall(
            r"[\d.]+ ± [^;]+; 9 in 10 between [\d.]+ and [\d.]+\.|Nearest reading [^.]+\.\d [^.]+\.", said
        )

    page.locator(".pointer").focus()
    page.keyboard.press("Home")
    page.keyboard.press("End")
    assert "8 Jan 2026, 00:00" in shown(page)
    assert "8 Jan 2026, 00:00" in server
    assert len(told(server)) == 3
    assert told(shown(page)) == told(server)


def test_a_tap_and_the_pointer_place_the_cursor(open_page):
    page = open_page("/course/great-reef/alkalinity?from=2025-12-01&to=2026-01-01", "phone")
    box = page.locator(".pointer").bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + 100)
    assert shown(page).startswith("16 Dec 2025, 1")  # the middle of December, within a pixel
    assert not page.locator(".plotted.taken").count()


def test_two_fingers_zoom_and_one_pans(open_page):
    page = open_page("/course/great-reef/temperature?from=2025-12-01&to=2026-01-01", "phone")
    box = page.locator(".pointer").bounding_box()
    touch = page.context.new_cdp_session(page)
    y = box["y"] + 120

    def fingers(kind, *xs):
        points = [{"x": box["x"] + x, "y": y, "id": i} for i, x in enumerate(xs)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def ends():
        slider = page.locator(".pointer")
        return [int(slider.get_attribute(f"aria-value{k}")) for k in ("min", "max")]

    start, end = ends()
    with page.expect_response(lambda r: "/course/" in r.url and ".json" not in r.url):
        fingers("touchStart", 100, 200)
        for k in range(1, 6):
            fingers("touchMove", 100 - 10 * k, 200 + 10 * k)
        fingers("touchEnd")
    closer = ends()
    # fingers twice as far apart show half the time, about the middle between them
    assert closer[1] - closer[0] == pytest.approx((end - start) / 2, rel=0.02)
    middle = start + (end - start) * 150 / box["width"]
    assert closer[0] + (closer[1] - closer[0]) * 150 / box["width"] == pytest.approx(middle, abs=(end - start) * 0.02)
    with page.expect_response(lambda r: "/course/" in r.url and ".json" not in r.url):
        fingers("touchStart", 100)
        for k in range(1, 6):
            fingers("touchMove", 100 + 20 * k)
        fingers("touchEnd")
    moved = ends()
    assert moved[1] - moved[0] == pytest.approx(closer[1] - closer[0], abs=2)
    assert closer[0] - moved[0] == pytest.approx((closer[1] - closer[0]) * 100 / box["width"], rel=0.1)


@pytest.mark.parametrize("how", ["buttons", "keys", "wheel"])
def test_zoom_and_pan_move_the_window_and_the_tables_follow(open_page, how):
    page = open_page("/course/great-reef/temperature?from=2025-12-01&to=2026-01-01")
    old = page.locator("figcaption").inner_text()
    with page.expect_response(lambda r: "/course/" in r.url and ".json" not in r.url):
        if how == "buttons":
            page.locator('[data-move="earlier"]').click()
            page.locator('[data-move="closer"]').click()
        elif how == "keys":
            page.locator(".pointer").focus()
            page.keyboard.press("Home")
            page.keyboard.press("+")
        else:
            page.locator(".pointer").focus()
            page.locator(".pointer").hover()
            page.mouse.wheel(0, -200)
    page.wait_for_function("old => document.querySelector('figcaption').innerText !== old", arg=old)
    assert "from=2025-1" in page.url
    assert page.locator(".plotted.taken canvas").is_visible()
    # the server's drawing below is of the same window: it is what prints
    page.emulate_media(media="print")
    assert page.locator(".plotted svg.chart").is_visible()
    assert not page.locator(".plotted canvas").is_visible()
    assert page.said == []


def test_a_connection_that_drops_says_so_and_keeps_the_chart(open_page):
    page = open_page(f"{PAGE}?span=1m")
    page.context.set_offline(True)
    for _ in range(4):
        page.locator('[data-move="earlier"]').click()
    page.locator(".plotted .unsent", has_text="Nobody answered").wait_for()
    assert page.locator(".plotted canvas").is_visible()
    page.context.set_offline(False)
    page.locator('[data-move="closer"]').click()
    page.locator(".plotted .unsent").wait_for(state="detached")


@pytest.mark.parametrize("width", WIDTHS)
def test_without_script_nothing_is_missing(open_page, width):
    page = open_page("/course/great-reef/alkalinity?span=6m", width, script=False)
    assert page.locator("svg.chart.large").is_visible()
    assert "dKH; 9 in 10 between" in shown(page)
    page.locator('[data-move="closer"]').click()
    page.locator("select[name=with]").select_option("calcium")
    page.locator("select[name=depth]").select_option("near")
    page.locator(".set .send").click()
    assert page.locator(".depth.other").count() >= 2
    assert "with=calcium" in page.url
    assert page.locator("#beside table").first.is_visible()


def test_targets_are_large_enough_and_focus_is_seen(open_page):
    page = open_page(PAGE, "phone")
    small = page.evaluate(
        """[...document.querySelectorAll('.look a, .look button, .look select, .look input, .look summary')]
            .filter(e => e.type !== 'hidden' && e.getClientRects().length)
            .filter(e => { const r = e.getBoundingClientRect(); return r.height < 47.5; })
            .map(e => e.outerHTML.slice(0, 120))"""
    )
    assert small == []
    for width in (320, 390, 560, 768, 1000, 1280, 1920):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width


def test_the_first_visit_is_light(open_page):
    page = open_page("/course/great-reef/alkalinity?span=14m&with=temperature")
    sizes = {url: len(gzip.compress(page.request.get(url).body(), 6)) for url in set(page.asked)}
    assert sum(sizes.values()) < 150_000, sizes
    assert all(url.startswith(str(page.url).split("/course")[0]) for url in sizes)
