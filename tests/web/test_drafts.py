"""What is typed outlives a dropped connection, and is written once: in Chromium, with its network switched off."""

from __future__ import annotations

import httpx
import pytest
from tests.web.looking import PICTURES
from tests.web.test_set_up import fresh, make  # noqa: F401 - a fixture

pytestmark = pytest.mark.door


@pytest.fixture
def phone(browser, fresh):  # noqa: F811
    make(fresh)
    context = browser.new_context(viewport={"width": 390, "height": 844}, base_url=fresh.address)
    yield context, context.new_page()
    context.close()


def entries(fresh):  # noqa: F811
    with fresh.store() as store:
        return [(e.kind, e.subject, e.value, e.note) for e in store.entries("north-room")]


def test_an_entry_of_the_journal_waits_until_somebody_answers_and_is_written_once(fresh, phone):  # noqa: F811
    context, page = phone
    page.goto("/journal?log=feeding&system=north-room")
    page.fill("[name=subject]", "pellets")
    page.fill("[name=value]", "3,5")
    context.set_offline(True)
    page.click("button.send")
    page.wait_for_selector(".draft.error")
    assert "Not sent" in page.inner_text(".draft")
    assert page.input_value("[name=value]") == "3,5"
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=PICTURES / "draft-390.png")
    context.set_offline(False)
    page.wait_for_selector("text=Send it now", timeout=15_000)
    page.click("text=Send it now")
    page.wait_for_url("**/journal?*entry=*")
    assert entries(fresh) == [("feeding", "pellets", 3.5, "")]
    page.goto("/journal?log=feeding&system=north-room")
    assert page.query_selector(".draft") is None  # done with


def test_a_reading_half_typed_is_there_after_the_page_was_closed(fresh, phone):  # noqa: F811
    context, page = phone
    page.goto("/system/north-room")
    summary = page.locator("#course-salinity summary.button")
    summary.click()
    page.fill("#v-c-salinity", "35,2")
    page.close()
    page = context.new_page()
    page.goto("/system/north-room")
    assert page.input_value("#v-c-salinity") == "35,2"
    assert "Not sent yet" in page.inner_text("#form-c-salinity .draft")
    page.locator("#form-c-salinity button.send").click()
    page.wait_for_selector("#round .flash")
    assert [e[:3] for e in entries(fresh)] == [("reading", "salinity", 35.2)]
    page.goto("/system/north-room")
    assert page.input_value("#v-c-salinity") == ""


def test_what_was_refused_is_shown_again_and_kept(fresh, phone):  # noqa: F811
    _, page = phone
    page.goto("/journal?log=addition&system=north-room")
    page.fill("[name=subject]", "sodium-carbonate")
    page.fill("[name=value]", "many")
    page.click("button.send")
    page.wait_for_selector("#wrong")
    assert page.input_value("[name=value]") == "many"
    page.goto("/journal?log=addition&system=north-room")
    assert page.input_value("[name=value]") == "many"
    page.click("text=Forget it")
    assert page.input_value("[name=value]") != "many"
    assert entries(fresh) == []


def test_the_answer_that_got_lost_makes_no_second_entry(fresh, phone):  # noqa: F811
    context, page = phone
    page.goto("/journal?log=note&system=north-room")
    page.fill("[name=note]", "lamp changed")
    form = page.evaluate("() => Object.fromEntries(new FormData(document.querySelector('form.entry-form')))")
    answer = httpx.post(f"{fresh.address}/journal/log", data=form)  # it arrived, but its answer did not
    assert answer.status_code == 303
    page.close()
    page = context.new_page()
    page.goto("/journal?log=note&system=north-room")
    assert page.input_value("[name=note]") == "lamp changed"
    page.click("button.send")
    page.wait_for_url("**/journal?*entry=*")
    assert len(entries(fresh)) == 1


def test_it_can_be_kept_as_an_app_and_says_so_when_nobody_answers(fresh, phone):  # noqa: F811
    context, page = phone
    page.goto("/journal")
    page.evaluate("async () => { await navigator.serviceWorker.ready; }")
    manifest = httpx.get(f"{fresh.address}/manifest.webmanifest")
    assert manifest.headers["content-type"] == "application/manifest+json"
    for icon in manifest.json()["icons"]:
        assert httpx.get(f"{fresh.address}{icon['src']}").status_code == 200
    cdp = context.new_cdp_session(page)
    found = cdp.send("Page.getInstallabilityErrors")
    assert [e["errorId"] for e in found["installabilityErrors"] if e["errorId"] != "in-incognito"] == []
    page.reload()
    page.evaluate("async () => { await navigator.serviceWorker.ready; }")
    context.set_offline(True)
    page.goto("/journal")
    assert page.inner_text("h1") == "No connection"
    context.set_offline(False)
