"""The first page without a line of script: what it shows, and what every form on it does."""

import html
import re

import httpx
import pytest
from tests.web.conftest import Site

pytestmark = pytest.mark.door
PAGE = "/system/north-room"


def plain(text: str) -> str:
    """The words of a page."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def subjects(text: str) -> list[str]:
    """What the round asks about, in order."""
    part = text.split('<ol class="round">')[1].split("</ol>")[0] if '<ol class="round">' in text else ""
    return [plain(h).strip() for h in re.findall(r"<h3>(.*?)</h3>", part)]


def fields(text: str, form_id: str) -> dict[str, str]:
    """What a browser would send for that form, untouched."""
    form = re.search(rf'<form id="{form_id}".*?</form>', text, re.S)[0]
    found = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if 'type="radio"' in tag and "checked" not in tag:
            continue
        found[name[1]] = html.unescape(value[1]) if value else ""
    found["unit"] = html.unescape(re.search(r'<option value="([^"]*)" selected', form)[1])
    return found


FORM = "form-r-north-room-salinity"


def enter(site: Site, value: str, form: str = FORM, **more: str) -> httpx.Response:
    sent = fields(site.client.get(PAGE).text, form) | {"value": value} | more
    return site.client.post(f"{PAGE}/log", data=sent)


def test_it_opens_on_the_round_with_the_number_that_decides(reef):
    text = reef.client.get(PAGE).text
    assert subjects(text)[:2] == ["Test salinity", "Settle alkalinity"]
    assert "81 days without a reading" in plain(text)
    assert "Tuesday 27 January, 08:10" in plain(text)  # 07:10 UTC in Oslo, in winter
    assert "25." in plain(re.search(r"<header>.*?</header>", text, re.S)[0])  # the water's temperature


def test_the_front_door_shows_all_systems_together(reef):
    text = reef.client.get("/").text
    assert "All systems" in plain(text)
    assert "North room reef" in plain(text)
    assert "Nothing measured yet" in plain(text)
    assert subjects(text)[0] == "Test salinity"


def test_every_course_has_heading_chart_table_and_why(reef):
    text = reef.client.get(PAGE).text
    for name in ("salinity", "alkalinity", "temperature", "nitrate", "calcium"):
        part = re.search(rf'<section class="course-of[^"]*" id="course-{name}".*?</section>', text, re.S)[0]
        assert "<figure>" in part
        assert "<svg" in part
        assert "<figcaption>" in part
        assert "Why" in part
        if name != "temperature":
            assert "<table>" in part
    assert "default" in plain(re.search(r'id="course-nitrate".*?</section>', text, re.S)[0])
    strontium = re.search(r'id="course-strontium".*?</section>', text, re.S)[0]
    assert "Never measured." in plain(strontium)
    assert "<svg" not in strontium


def test_a_reading_is_logged_redirects_and_the_round_ranks_anew(reef):
    answer = enter(reef, "35,1")
    assert [r.status_code for r in answer.history] == [303]
    assert answer.status_code == 200
    assert "Logged 35.1 psu salinity." in plain(answer.text)
    assert "Test salinity" not in subjects(answer.text)
    kept = list(reef.store.by_id.values())[-1]
    assert (kept.value, kept.unit, kept.method) == (35.1, "psu", "refractometer")  # the last method, preselected


def test_undo_takes_it_back(reef):
    answer = enter(reef, "35.1")
    undo = re.search(r'action="([^"]*/withdraw)"', answer.text)[1]
    after = reef.client.post(undo, data={"view": "north-room", "minutes": "10"})
    assert "Taken back" in plain(after.text)
    assert subjects(after.text)[0] == "Test salinity"


def test_the_same_form_sent_twice_is_one_entry(reef):
    sent = fields(reef.client.get(PAGE).text, FORM) | {"value": "35.1"}
    before = len(reef.store.by_id)
    reef.client.post(f"{PAGE}/log", data=sent)
    reef.client.post(f"{PAGE}/log", data=sent)
    assert len(reef.store.by_id) == before + 1


@pytest.mark.parametrize(
    ("typed", "said"),
    [("about 35", "is no number"), ("", "no value for salinity"), ("-3", "cannot be"), ("35.1.2,4", "is no number")],
)
def test_what_cannot_be_used_stays_typed_with_one_clear_line(reef, typed, said):
    before = len(reef.store.by_id)
    answer = enter(reef, typed, note="after the storm", method="hydrometer")
    assert answer.status_code == 422
    form = re.search(rf'<form id="{FORM}".*?</form>', answer.text, re.S)[0]
    assert f'value="{html.escape(typed)}"' in form
    assert 'value="after the storm"' in form
    assert 'value="hydrometer" checked' in form
    errors = re.findall(r'<p class="error"[^>]*>(.*?)</p>', answer.text)
    assert len(errors) == 1
    assert said in html.unescape(errors[0])
    assert "\n" not in errors[0]
    assert re.search(rf'<details class="entry" open>.{{0,400}}<form id="{FORM}"', answer.text, re.S)
    assert len(reef.store.by_id) == before


def test_what_was_typed_cannot_become_markup(reef):
    answer = enter(reef, '"><script>alert(1)</script>', note="<b>bold</b>")
    assert answer.status_code == 422
    assert "<script>alert" not in answer.text
    assert "<b>bold</b>" not in answer.text


def test_plus_and_minus_work_as_plain_buttons(reef):
    sent = fields(reef.client.get(PAGE).text, FORM)
    answer = reef.client.get(PAGE, params=sent | {"value": "35,1", "step": "more"})
    form = re.search(rf'<form id="{FORM}".*?</form>', answer.text, re.S)[0]
    assert 'name="value" type="text" inputmode="decimal" autocomplete="off" value="35,2"' in form
    answer = reef.client.get(PAGE, params=sent | {"value": "", "step": "less"})
    last = re.search(r"Last ([\d.]+) psu", plain(form))[1]
    assert f'value="{float(last) - 0.1:.1f}"' in answer.text


def test_minutes_choose_more_or_less(reef):
    few, many = (subjects(reef.client.get(PAGE, params={"minutes": m}).text) for m in (2, 30))
    assert few == ["Test salinity"]
    assert len(many) == 4
    for odd in ("nonsense", "-4", "1e999", "nan", ""):
        assert reef.client.get(PAGE, params={"minutes": odd}).status_code == 200


def test_an_inspection_is_done_with_one_press_and_can_be_undone(reef):
    answer = reef.client.post(f"{PAGE}/done", data={"action": "inspect", "subject": "chiller-1", "view": "north-room"})
    assert "Inspect chiller-1" not in subjects(answer.text)
    undo = re.search(r'action="([^"]*/withdraw)"', answer.text)[1]
    again = reef.client.post(undo, data={"view": "north-room"})
    assert "Inspect chiller-1" in subjects(again.text)


def test_a_doubtful_reading_can_be_kept_as_typed_or_corrected(make_site):
    for verb, data in (("confirm", {}), ("correct", {"value": "2.9", "unit": "meq/L"})):
        site = make_site()
        text = site.client.get(PAGE).text
        assert "Settle alkalinity" in subjects(text)
        entry = re.search(r"/entry/([^/]+)/confirm", text)[1]
        answer = site.client.post(f"{PAGE}/entry/{entry}/{verb}", data={"view": "north-room", **data})
        assert answer.status_code == 200
        assert "Settle alkalinity" not in subjects(answer.text)


def test_a_correction_that_is_no_number_loses_nothing(reef):
    text = reef.client.get(PAGE).text
    entry = re.search(r"/entry/([^/]+)/confirm", text)[1]
    sent = fields(text, f"form-k-{entry}") | {"value": "two"}
    answer = reef.client.post(f"{PAGE}/entry/{entry}/correct", data=sent)
    assert answer.status_code == 422
    assert 'value="two"' in answer.text
    assert "is no number" in html.unescape(answer.text)


def test_a_slip_is_kept_as_typed_and_said_at_once(reef):
    sent = fields(reef.client.get(PAGE).text, "form-c-alkalinity") | {"value": "2.8", "unit": "dKH"}
    answer = reef.client.post(f"{PAGE}/log", data=sent, headers={"hx-request": "true"})
    assert "Logged 2.8 dKH alkalinity." in plain(answer.text)
    assert "kept as typed" in plain(answer.text)


@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("/system/north-rom", 422, "Did you mean north-room?"),
        ("/nowhere", 404, "no such page"),
        (f"{PAGE}?as_of=yesterday", 422, "is no date or time"),
        ("/light", 405, "only takes a form"),
    ],
)
def test_a_wrong_address_gets_one_clear_line(reef, path, status, said):
    answer = reef.client.get(path)
    assert answer.status_code == status
    assert said in plain(answer.text)


@pytest.mark.parametrize("form", [f"{PAGE}/log", f"{PAGE}/entry/x/correct", f"{PAGE}/done"])
def test_a_forms_address_opened_again_leads_to_the_page_it_stands_on(reef, form):
    answer = reef.client.get(form)
    assert (answer.status_code, answer.url.path) == (200, PAGE)


def test_an_entry_of_another_system_is_not_touched(reef):
    entry = next(iter(reef.store.by_id))
    answer = reef.client.post(f"/system/lagoon/entry/{entry}/withdraw", data={})
    assert answer.status_code == 422
    assert entry not in reef.store.withdrawn


def test_as_it_was_known_then_shows_no_forms(reef):
    text = reef.client.get(PAGE, params={"as_of": "2025-12-01T09:30"}).text
    assert "Monday 1 December, 09:30" in plain(text)  # wall time of the system, not of the server
    assert "As it was known then." in plain(text)
    assert "Enter reading" not in plain(text)


def test_us_units_are_shown_to_whoever_prefers_them(make_site):
    text = plain(make_site("us").client.get(PAGE).text)
    assert "°F" in text
    assert "gal" in text


def test_a_swap_gets_the_round_and_the_one_course_that_changed(reef):
    sent = fields(reef.client.get(PAGE).text, FORM) | {"value": "35.1"}
    answer = reef.client.post(f"{PAGE}/log", data=sent, headers={"hx-request": "true"})
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert re.findall(r'id="(course-\w+)" hx-swap-oob="true"', answer.text) == ["course-salinity"]
    wrong = reef.client.post(f"{PAGE}/log", data=sent | {"value": "x", "token": "t2"}, headers={"hx-request": "true"})
    assert wrong.status_code == 422
    assert wrong.headers["hx-retarget"] == f"#{FORM}"
    assert wrong.text.lstrip().startswith("<form")
    assert "HX-Request" in reef.client.get(PAGE).headers["vary"]


def test_what_goes_wrong_in_a_swap_is_a_line_that_swaps_nothing_away(reef):
    answer = reef.client.post(f"{PAGE}/entry/e9999/withdraw", data={}, headers={"hx-request": "true"})
    assert answer.status_code == 400  # 422 would be swapped in place of the round
    assert answer.text.count('class="error"') == 1
    assert "no entry" in plain(answer.text)
