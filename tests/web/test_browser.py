"""The page in a real browser: at a phone's width and a desk's, in three lights, with and without script."""

import re

import pytest
from tests.web.looking import PICTURES, WIDTHS, violations

pytestmark = pytest.mark.door
PAGE = "/system/north-room"


@pytest.fixture
def open_page(browser, reef):
    contexts = []

    def opened(path=PAGE, width="phone", light="day", script=True, wait=True):
        size = WIDTHS.get(width) or (int(width), 800)
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, java_script_enabled=script)
        contexts.append(context)
        if light:
            context.add_cookies([{"name": "light", "value": light, "url": reef.address}])
        page = context.new_page()
        page.said = []
        page.on("console", lambda m: page.said.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: page.said.append(str(e)))
        page.asked = []
        page.on("request", lambda r: page.asked.append(r.url))
        page.goto(reef.address + path)
        if script and wait:
            page.locator("html.scripted").wait_for()
        return page

    yield opened
    for context in contexts:
        context.close()


def on_round(page):
    return [re.sub(r"\s+", " ", t).strip() for t in page.locator("ol.round h3").all_inner_texts()]


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
@pytest.mark.parametrize("width", WIDTHS)
def test_a_reading_is_entered_ranks_anew_and_is_undone(open_page, reef, width, light):
    page = open_page(width=width, light=light)
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=PICTURES / f"round-{width}-{light}.png", full_page=True, caret="initial")
    assert on_round(page)[0] == "Test salinity"
    course = page.locator("#course-salinity .sounding")
    believed = course.inner_text()
    # touch one: open; the field has the focus; touch two: log it
    page.locator("ol.round summary", has_text="Enter reading").first.click()
    page.locator("[name=value]:focus").wait_for()
    page.keyboard.type("35,1")
    page.screenshot(path=PICTURES / f"entry-{width}-{light}.png", caret="initial")
    page.locator("#form-r-north-room-salinity .send").click()
    page.locator(".flash", has_text="Logged 35.1 psu salinity.").wait_for()
    assert "Test salinity" not in on_round(page)
    assert course.inner_text() == "35.1" != believed
    assert "Logged 35.1 psu" in page.locator("#said").inner_text()
    page.screenshot(path=PICTURES / f"logged-{width}-{light}.png", caret="initial")
    page.locator(".undo").click()
    page.locator(".flash", has_text="Taken back").wait_for()
    assert on_round(page)[0] == "Test salinity"
    assert course.inner_text() == believed
    assert page.said == []  # (a screenshot with a hidden caret would add a style that the policy refuses)
    assert all(url.startswith(reef.address) for url in page.asked)


def test_wrong_input_keeps_what_was_typed_and_says_one_line(open_page):
    page = open_page()
    page.locator("ol.round summary", has_text="Enter reading").first.click()
    page.locator("[name=value]:focus").wait_for()
    page.keyboard.type("abut 35")
    page.keyboard.press("Enter")
    error = page.locator("#form-r-north-room-salinity .error")
    error.wait_for()
    assert page.locator(".error").count() == 1
    assert "is no number" in error.inner_text()
    field = page.locator("#form-r-north-room-salinity [name=value]")
    assert field.input_value() == "abut 35"
    assert page.locator("[name=value]:focus").count() == 1
    field.fill("35.1")
    page.keyboard.press("Enter")
    page.locator(".flash", has_text="Logged 35.1 psu").wait_for()


def test_a_connection_that_drops_loses_nothing(open_page):
    page = open_page()
    page.locator("ol.round summary", has_text="Enter reading").first.click()
    page.locator("[name=value]:focus").wait_for()
    page.keyboard.type("35.1")
    page.context.set_offline(True)
    page.keyboard.press("Enter")
    page.locator(".error", has_text="Not sent").wait_for()
    assert page.locator("#form-r-north-room-salinity [name=value]").input_value() == "35.1"
    page.context.set_offline(False)
    page.locator("#form-r-north-room-salinity .send").click()
    page.locator(".flash", has_text="Logged 35.1 psu").wait_for()


def test_an_answer_that_refuses_says_its_line_and_keeps_the_round(open_page, reef):
    page = open_page()
    page.locator("ol.round form.act button", has_text="right as typed").wait_for()
    reef.store.by_id.clear()  # as if another hand had emptied it meanwhile
    page.locator("ol.round form.act button", has_text="right as typed").click()
    page.locator(".error", has_text="no entry").wait_for()
    assert on_round(page)[0] == "Test salinity"


def test_the_slider_speaks_and_ranks(open_page):
    page = open_page(width="desk")
    assert len(on_round(page)) == 3
    slider = page.locator("#minutes")
    slider.focus()
    page.keyboard.press("End")
    page.locator("#minutes-said", has_text="60").wait_for()
    page.locator("ol.round h3", has_text="nitrate").wait_for()
    assert "minutes=60" in page.url
    page.keyboard.press("Home")
    page.locator("ol.round:not(:has(li + li))").wait_for()
    assert on_round(page) == ["Test salinity"]


def test_steps_count_from_the_last_value_and_keep_a_comma(open_page):
    page = open_page()
    page.locator("ol.round summary", has_text="Enter reading").first.click()
    form = page.locator("#form-r-north-room-salinity")
    last = float(re.search(r"Last ([\d.]+)", form.locator(".last").inner_text())[1])
    form.locator("[data-step='1']").click()
    assert form.locator("[name=value]").input_value() == f"{last + 0.1:.1f}"
    form.locator("[name=value]").fill("34,9")
    form.locator("[data-step='-1']").click()
    assert form.locator("[name=value]").input_value() == "34,8"


def test_without_script_the_same_is_done(open_page):
    page = open_page(script=False)
    page.locator("ol.round summary", has_text="Enter reading").first.click()
    form = page.locator("#form-r-north-room-salinity")
    form.locator("[name=value]").fill("35.1")
    form.locator("[value=more]").click()
    form = page.locator("#form-r-north-room-salinity")
    assert form.locator("[name=value]").input_value() == "35.2"
    form.locator("[name=value]").press("Enter")  # logs it, and is not taken for the minus button
    page.locator(".flash", has_text="Logged 35.2 psu").wait_for()
    assert "Test salinity" not in on_round(page)
    page.locator(".undo").click()
    page.locator(".flash", has_text="Taken back").wait_for()
    page.locator("#minutes").evaluate("e => e.value = 2")
    page.locator(".have button").click()
    assert on_round(page) == ["Test salinity"]


def test_a_light_is_chosen_by_one_press_and_stays(open_page):
    page = open_page(light="")
    day = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.locator(".lights button", has_text="Night").click()
    page.wait_for_load_state()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") != day
    page.reload()
    assert page.locator("html").get_attribute("data-light") == "night"


def test_the_device_chooses_dusk_when_nobody_chose(browser, reef):
    context = browser.new_context(color_scheme="dark")
    page = context.new_page()
    page.goto(reef.address + PAGE)
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    context.close()
    assert ground == "rgb(23, 34, 43)"  # --paper of dusk, #17222b


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
@pytest.mark.parametrize("path", [PAGE, "/", "/nowhere"])
def test_axe_finds_nothing(open_page, path, light):
    page = open_page(path, width="phone" if light == "day" else "desk", light=light)
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    assert violations(page) == []


@pytest.mark.parametrize("path", [PAGE, "/"])
def test_nothing_scrolls_sideways_even_with_everything_open(open_page, path):
    page = open_page(path)
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    for width in (320, 390, 559, 560, 768, 999, 1000, 1280, 1920):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width
        outside = page.evaluate(
            """[...document.querySelectorAll('main *, .top *')].filter(e => {
                const r = e.getBoundingClientRect();
                const off = r.width > 1 && (r.right > innerWidth + 1 || r.left < -1);
                return off && !e.closest('.chart .survey, .tabs, .places');
            }).map(e => e.outerHTML.slice(0, 120))"""
        )
        assert outside == [], width


def test_targets_are_large_enough_for_wet_hands(open_page):
    page = open_page()
    page.evaluate("document.querySelectorAll('details.entry').forEach(d => { d.open = true })")
    small = page.evaluate(
        """[...document.querySelectorAll(
                'button, summary.button, .entry-form select, .entry-form input, .tabs a, .places a, #minutes')]
            .filter(e => e.type !== 'hidden' && !e.matches('.unseen') && e.getClientRects().length)
            .filter(e => { const r = e.getBoundingClientRect(); return r.height < 47.5 || r.width < 47.5; })
            .map(e => e.outerHTML.slice(0, 120))"""
    )
    assert small == []


def test_focus_is_seen(open_page):
    page = open_page(width="desk")
    for _ in range(12):
        page.keyboard.press("Tab")
        seen = page.evaluate(
            """(() => { const e = document.activeElement, s = getComputedStyle(e);
                return s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2; })()"""
        )
        assert seen, page.evaluate("document.activeElement.outerHTML.slice(0, 200)")


def test_it_prints_on_paper_with_readings_and_the_moment(open_page):
    page = open_page(light="night")
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    for control in ("form", "button", "details.entry", "input"):
        assert not any(page.locator(control).nth(i).is_visible() for i in range(page.locator(control).count())), control
    assert page.locator("table").first.is_visible()
    assert page.locator("time").first.is_visible()
