"""The calendar's page and the feed behind each address, over a real store, asked as calendars ask."""

from __future__ import annotations

import datetime as dt
import re

import icalendar as reference
import pytest
from tests.web import house
from tests.web.looking import WIDTHS, in_light, well_made
from tests.web.test_livestock import built, reef  # noqa: F401 - fixtures
from tests.web.test_pages import plain

from leadline.app import calendar_feed, due, stand_orders
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.door
SECRET = re.compile(r">(http://[^<]+/calendar/([\w-]+)\.ics)</textarea>")


@pytest.fixture
def called(reef):  # noqa: F811
    """The demo's house with somebody to call, reached as it is asked for."""
    with SqliteStore.open(reef.db, clock=reef.clock) as store:
        orders = stand_orders.EXAMPLE.replace('address = "http://192.168.1.20:8077"', "")
        stand_orders.give(store, orders)
    return reef


def made(reef, name="phone", **more):  # noqa: F811
    """The path of a new address, from the page that shows it."""
    page = reef.post("/calendar/make", data={"name": name, "token": f"t-{name}", **more})
    assert page.status_code == 200
    found = SECRET.search(page.text)
    assert found is not None, plain(page.text)
    assert found[1].startswith(str(reef.base_url).rstrip("/"))
    return f"/calendar/{found[2]}.ics"


def events(answer) -> dict[str, reference.Event]:
    assert answer.status_code == 200
    return {str(e["UID"]): e for e in reference.Calendar.from_ical(answer.content).walk("VEVENT")}


# -- the feed ------------------------------------------------------------------------------------------------


def test_a_calendar_reads_what_is_due(called):
    answer = called.get(made(called))
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert "private" in answer.headers["cache-control"]
    with SqliteStore.open(called.db, clock=called.clock, write=False) as store:
        known = {d.uid: d for d in due.due(store, called.clock, None, 28).lines}
    read = events(answer)
    assert read.keys() == known.keys()
    for uid, e in read.items():
        d = known[uid]
        assert d.because in str(e["DESCRIPTION"])
        assert d.caution in str(e["DESCRIPTION"])
        assert str(e["URL"]) == str(called.base_url).rstrip("/") + d.page
        assert e["TRANSP"] == "TRANSPARENT"
    dip = next(e for e in read.values() if str(e["SUMMARY"]).startswith("Treat again"))
    # the dip of 6 February in water of 25 °C: day 20 to 35, whole days, the end not counted in (RFC 5545, 3.6.1)
    assert (dip.start, dip.end) == (dt.date(2026, 2, 26), dt.date(2026, 3, 14))
    proof = next(
        e for e in read.values() if "bell and mail to keeper" in str(e["SUMMARY"]) and hasattr(e.start, "hour")
    )
    # 18:00 in Oslo in winter, four hours to answer
    assert proof.start == dt.datetime(2026, 3, 1, 17, 0, tzinfo=dt.UTC)
    assert proof.end == dt.datetime(2026, 3, 1, 21, 0, tzinfo=dt.UTC)


def test_asked_twice_it_has_not_changed_until_the_journal_has(called):
    path = made(called)
    first = called.get(path)
    tag, modified = first.headers["etag"], first.headers["last-modified"]
    for headers in ({"if-none-match": tag}, {"if-none-match": f'"x", W/{tag}'}, {"if-none-match": "*"},
                    {"if-modified-since": modified}):  # fmt: skip
        again = called.get(path, headers=headers)
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag), headers
    assert called.get(path, headers={"if-none-match": '"x"', "if-modified-since": modified}).status_code == 200
    assert called.get(path, headers={"if-modified-since": "soon"}).status_code == 200
    before = events(first)
    called.clock.moment += dt.timedelta(hours=1)
    reading = {"quantity": "salinity", "value": "35,1", "unit": "psu", "method": "refractometer", "form": "r"}
    logged = called.post("/system/great-reef/log", data={**reading, "token": "a"})
    assert logged.status_code == 200
    changed = called.get(path, headers={"if-none-match": tag})
    assert changed.status_code == 200
    assert changed.headers["etag"] != tag
    assert changed.headers["last-modified"] == "Sun, 01 Mar 2026 09:00:00 GMT"
    after = events(changed)
    gone = [str(before[u]["SUMMARY"]) for u in before.keys() - after.keys()]
    assert [s for s in gone if s.startswith("Test salinity, Great reef")]
    assert all(after[u]["SEQUENCE"] == 0 for u in after if u in before and after[u].start == before[u].start)
    untouched = [u for u in after if u in before and after[u]["DESCRIPTION"] == before[u]["DESCRIPTION"]]
    assert {after[u]["LAST-MODIFIED"].dt for u in untouched} == {house.NOW}


def test_what_is_not_done_moves_on_with_today_and_is_numbered_on(called):
    path = made(called)
    before = events(called.get(path))
    called.clock.moment += dt.timedelta(days=1)
    after = events(called.get(path))
    salinity = next(u for u, e in before.items() if str(e["SUMMARY"]).startswith("Test salinity, Great reef"))
    assert (before[salinity].start, after[salinity].start) == (dt.date(2026, 3, 1), dt.date(2026, 3, 2))
    assert (before[salinity]["SEQUENCE"], after[salinity]["SEQUENCE"]) == (0, 1)
    assert after[salinity]["LAST-MODIFIED"].dt == called.clock.moment
    dip = next(u for u, e in before.items() if str(e["SUMMARY"]).startswith("Treat again"))
    assert (after[dip].start, after[dip].end, after[dip]["SEQUENCE"]) == (before[dip].start, before[dip].end, 0)


def test_head_says_the_same_without_a_body(called):
    path = made(called)
    full, head = called.get(path), called.head(path)
    assert (head.status_code, head.content) == (200, b"")
    for name in ("etag", "last-modified", "content-type", "content-length"):
        assert head.headers[name] == full.headers[name]


def test_one_person_and_one_system(called):
    mine = [
        str(e["SUMMARY"]) for e in events(called.get(made(called, "a", person="neighbour", system="lagoon"))).values()
    ]
    assert any("neighbour-mail to neighbour" in s for s in mine)
    assert not any("keeper" in s or "Great reef" in s or "Quarantine" in s for s in mine)
    path = made(called, "b", person="neighbour")
    with SqliteStore.open(called.db, clock=called.clock) as store:  # they leave the orders: no proofs, no error
        document = stand_orders.document(store)
        begin, end = document.index('[[person]]\nid = "neighbour"'), document.index("[escalation]")
        stand_orders.give(store, document[:begin] + document[end:])
    left = [str(e["SUMMARY"]) for e in events(called.get(path)).values()]
    assert left
    assert not any(s.startswith("Prove") for s in left)


def test_wrong_and_taken_back_are_answered_alike_and_slowed_down(called):
    path = made(called)
    assert called.get(path).status_code == 200
    done = called.post("/calendar/revoke", data={"name": "phone"})
    assert "Taken back: phone" in plain(done.text)
    assert called.post("/calendar/revoke", data={"name": "phone"}).status_code == 200  # a second tap
    gone, wrong = called.get(path), called.get(f"/calendar/{'x' * 43}.ics")
    assert (gone.status_code, gone.content, gone.headers["content-type"]) == (
        wrong.status_code, wrong.content, wrong.headers["content-type"],
    )  # fmt: skip
    assert gone.status_code == 404
    right = made(called, "tablet")
    assert called.get(right).status_code == 200
    for n in range(18):
        assert called.get(f"/calendar/{n}%20{'y' * 40}.ics").status_code == 404
    slowed = called.get(f"/calendar/{'z' * 43}.ics")
    assert (slowed.status_code, slowed.headers["retry-after"]) == (429, "60")
    assert called.get(right).status_code == 429  # right or wrong: it tells nothing
    assert called.get("/seen/1-x").status_code == 404  # answering an alarm is counted apart


# -- the page ------------------------------------------------------------------------------------------------


def test_the_secret_is_long_shown_once_and_kept_as_a_hash_alone(called):
    page = called.post("/calendar/make", data={"name": "My Phone", "token": "t", "person": "keeper"})
    secret = SECRET.search(page.text)[2]
    assert len(secret) >= 43  # 256 bits in base64url (RFC 4648, 5): 43 characters
    assert "whoever has this address can read what is due here" in plain(page.text)
    assert f"webcal://{str(called.base_url).partition('://')[2].rstrip('/')}/calendar/{secret}.ics" in page.text
    assert secret not in str(page.url)
    again = called.get(str(page.url))
    assert secret not in again.text
    assert "It is not shown again" in plain(again.text)
    assert "my-phone for Keeper: all systems" in plain(called.get("/calendar").text)
    assert secret.encode() not in b"".join(p.read_bytes() for p in called.db.parent.iterdir())
    assert secret not in called.get(f"/calendar/{secret}.ics").text
    assert "last read 1 Mar 2026, 09:00" in plain(called.get("/calendar").text)


def test_two_taps_make_one(called):
    form = {"name": "phone", "token": "same"}
    first = called.post("/calendar/make", data=form, follow_redirects=False)
    second = called.post("/calendar/make", data=form, follow_redirects=False)
    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == second.headers["location"]  # the first was never followed: it still waits
    assert SECRET.search(called.get(second.headers["location"]).text)
    with SqliteStore.open(called.db, clock=called.clock, write=False) as store:
        assert [f.name for f in calendar_feed.feeds(store)] == ["phone"]
    third = called.post("/calendar/make", data=form)
    assert not SECRET.search(third.text)
    assert "was shown once" in plain(third.text)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"name": ""}, "a calendar without a name"),
        ({"name": "phöne!"}, "is no name for a calendar"),
        ({"name": "phone", "person": "gryphon"}, "unknown person"),
        ({"name": "phone", "system": "lagon"}, "did you mean lagoon"),
    ],
)
def test_what_cannot_be_used_keeps_what_was_typed(called, data, said):
    page = called.post("/calendar/make", data={"token": "t", **data})
    assert page.status_code == 422
    assert said in plain(page.text).lower()
    if data["name"]:
        assert f'value="{data["name"]}"' in page.text
    assert "None yet." in plain(page.text)
    assert called.get("/calendar/make").status_code == 200  # a reload of what was posted


def test_a_name_that_stands_is_not_taken_twice(called):
    made(called)
    page = called.post("/calendar/make", data={"name": "phone", "token": "another"})
    assert page.status_code == 422
    assert "leadline calendar revoke phone" in plain(page.text)


def test_another_sites_form_makes_nothing(called):
    headers = {"origin": "http://elsewhere.example"}
    assert called.post("/calendar/make", data={"name": "phone"}, headers=headers).status_code == 403
    assert "None yet." in plain(called.get("/calendar").text)


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
def test_axe_finds_nothing(browser, called, light):
    base = str(called.base_url).rstrip("/")
    for width in WIDTHS:
        with in_light(browser, base, light, width) as page:
            for step in ("empty", "made", "wrong"):
                page.goto(f"{base}/calendar")
                if step != "empty":
                    page.get_by_label("Name, such as phone").fill(f"phone-{width}" if step == "made" else "!")
                    page.get_by_role("button", name="Make it").click()
                    page.locator("#made, #wrong").wait_for()
                well_made(page, f"calendar-{step}-{width}-{light}")
