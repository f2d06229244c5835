"""`leadline week` and `leadline calendar`: what is due as text, JSON and a calendar; addresses that come and go."""

from __future__ import annotations

import datetime as dt
import json
import re

import icalendar as reference
import pytest
from tests.cli.prompt import one_line, process

from leadline.app import calendar_feed, due, stand_orders
from leadline.measures.moments import FixedClock, parse
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.door


def test_the_week_as_text_json_and_calendar_says_the_same(north):
    text = north("week")
    assert text.code == 0
    assert text.out.startswith("Today, Monday 1 June\n")  # 1 June 2026 was a Monday
    assert "  [ ] Test salinity  (2 min)" in text.out
    said = north("week", "north-room", "--json").json
    assert (said["schema"], said["days"], said["systems"]) == ("leadline.week/1", 7, ["north-room"])
    assert all(d["because"] in text.out for d in said["due"])
    today = [d for d in said["due"] if d["day"] == "2026-06-01"]
    assert ("test", "salinity") in [(d["action"], d["subject"]) for d in today]
    assert {d["time_zone"] for d in said["due"]} == {"Europe/Oslo"}
    raw = process("week", "--ics", "--db", north.db)
    read = reference.Calendar.from_ical(raw.out)
    assert {str(e["UID"]) for e in read.walk("VEVENT")} == {d["uid"] for d in said["due"]}
    first = next(e for e in read.walk("VEVENT") if str(e["SUMMARY"]) == "Test salinity, North room reef")
    assert (first.start, first.end) == (dt.date(2026, 6, 1), dt.date(2026, 6, 2))
    longer = north("week", "--days", "28", "--json").json["due"]
    assert len(longer) > len(said["due"])


def test_the_file_has_the_lines_that_the_standard_asks_for(north):
    import subprocess
    import sys
    from pathlib import Path

    import leadline

    env = {"LEADLINE_NOW": "2026-06-01T08:00:00Z", "PYTHONPATH": str(Path(leadline.__file__).parents[1])}
    words = [sys.executable, "-m", "leadline", "week", "--ics", "--db", str(north.db)]
    out = subprocess.run(words, capture_output=True, check=True, env=env).stdout
    assert out.startswith(b"BEGIN:VCALENDAR\r\n")
    assert out.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in out.replace(b"\r\n", b"")  # RFC 5545, 3.1: CRLF, nothing else


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("week", "nort-room"), "Did you mean north-room?"),
        (("week", "--days", "0"), "From 1 to 28"),
        (("week", "--days", "many"), "is no number"),
        (("week", "--person", "keeper"), "The standing orders name nobody."),
        (("calendar", "make", "!"), "is no name for a calendar"),
        (("calendar", "make", "phone", "--system", "nowhere"), "unknown system"),
        (("calendar", "make", "phone", "--person", "x"), "name nobody"),
        (("calendar", "revoke", "phone"), "None is made yet."),
    ],
)
def test_what_cannot_be_used_gets_one_line(north, words, said):
    done = north(*words)
    assert done.code == 2
    assert said in one_line(done)


def test_an_address_is_made_once_listed_without_its_secret_and_revoked(north):
    orders = stand_orders.EXAMPLE.replace('time_zone = "Europe/Oslo"', 'time_zone = "UTC"')
    with SqliteStore.open(north.db, clock=FixedClock(parse("2026-06-01T08:00Z"))) as store:
        stand_orders.give(store, orders)
    made = north("calendar", "make", "keeper-phone", "--person", "keeper", "--system", "north-room")
    assert made.code == 0
    found = re.fullmatch(r"http://192\.168\.1\.20:8077/calendar/([\w-]{43})\.ics\n", made.out)
    assert found, made.out
    assert "not shown again" in made.err
    listed = north("calendar", "list")
    assert listed.out == "keeper-phone: for keeper; north-room; not read yet\n"
    assert found[1] not in north("calendar", "list", "--json").out
    assert json.loads(north("calendar", "list", "--json").out)["calendars"][0]["person"] == "keeper"
    with SqliteStore.open(north.db, clock=FixedClock(parse("2026-06-01T08:00Z"))) as store:
        feed = calendar_feed.find(store, found[1])
        assert feed is not None
        assert calendar_feed.find(store, found[1][:-1]) is None
        assert calendar_feed.find(store, "\ud800") is None
        assert calendar_feed.reach(store, feed) == (["north-room"], "keeper")
        assert due.people(store)[0].id == "keeper"
    again = north("calendar", "make", "keeper-phone")
    assert "leadline calendar revoke keeper-phone" in one_line(again)
    assert north("calendar", "revoke", "keeper-phone").out == "Taken back: keeper-phone\n"
    assert "No address stands" in north("calendar", "list").out
    with SqliteStore.open(north.db, clock=FixedClock(parse("2026-06-01T08:00Z"))) as store:
        assert calendar_feed.find(store, found[1]) is None
        assert store.records("calendar-kept") == {}


def test_as_of_and_an_empty_store(north, prompt):
    then = north("week", "--as-of", "2026-02-01T08:00", "--json").json
    assert then["as_of"] == "2026-02-01T07:00:00Z"  # Oslo is an hour ahead in winter
    assert min(d["day"] for d in then["due"]) >= "2026-02-01"
