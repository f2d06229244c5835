"""Calendars out: RFC 5545's own examples, and another program's reading of whatever is written."""

from __future__ import annotations

import datetime as dt
import re
from zoneinfo import ZoneInfo

import icalendar as reference
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.formats.icalendar import Calendar, Event, clean, escaped, folded, write

WHEN = dt.datetime(2026, 3, 1, 8, 0, tzinfo=dt.UTC)
# what a TEXT value can hold (RFC 5545, 3.1 and 3.3.11): no CONTROL but HTAB and the escaped line break; no surrogate
HOLDABLE = st.text(st.characters(exclude_categories=("Cs", "Cc"), include_characters="\t\n"), max_size=300)
NASTY = st.one_of(
    HOLDABLE,
    st.text(r'\;,:"n N' + "\n\t", max_size=120),
    st.text("æ→𝄞́ ", min_size=20, max_size=200),
    st.sampled_from(["\\n", "\\\\n", ";\\,", "BEGIN:VEVENT\nEND:VCALENDAR", " leads and trails ", "a\u2028b\u2029c"]),
)  # fmt: skip
MOMENTS = st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2090, 1, 1), timezones=st.just(dt.UTC))  # noqa: DTZ001


def event(**given):
    return Event(
        **{"uid": "one", "summary": "x", "begins": WHEN.date(), "ends": WHEN.date(), "modified": WHEN, **given}
    )


def lines(content: bytes) -> list[str]:
    """Unfolded, by the words of RFC 5545, 3.1: "removing all occurrences of CRLF followed by a single white space"."""
    return content.decode().replace("\r\n ", "").split("\r\n")


def unescaped(value: str) -> str:
    r"""By the grammar of RFC 5545, 3.3.11: ESCAPED-CHAR is one of \\, \;, \, and \N or \n, which is a line break."""
    return re.sub(r"\\([\\;,nN])", lambda m: "\n" if m[1] in "nN" else m[1], value)


# -- the standard's own examples ---------------------------------------------------------------------------


@pytest.mark.published
def test_the_folded_line_of_section_3_1_unfolds_as_ours_do():
    """RFC 5545, 3.1, the example of folding; and its rule: 75 octets, excluding the line break."""
    said = "DESCRIPTION:This is a long description that exists on a long line."
    printed = b"DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"
    assert lines(printed) == [said, ""]
    assert lines(folded(said)) == [said, ""]
    twice = said + said
    assert folded(twice) == f"{twice[:75]}\r\n {twice[75:]}\r\n".encode()


@pytest.mark.published
def test_the_text_of_section_3_3_11():
    """RFC 5545, 3.3.11: the multiple line value, and the list of what is escaped; a colon is not."""
    value = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert escaped(value) == r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert escaped("\\ ; , : \n") == r"\\ \; \, : \n"


@pytest.mark.published
def test_the_days_of_section_3_6_1():
    """RFC 5545, 3.6.1: June 28th to July 8th, 2007 inclusively; DTEND is July 9th, the non-inclusive end."""
    said = lines(write(Calendar("x", events=[event(begins=dt.date(2007, 6, 28), ends=dt.date(2007, 7, 8))])))
    assert "DTSTART;VALUE=DATE:20070628" in said
    assert "DTEND;VALUE=DATE:20070709" in said
    assert "TRANSP:TRANSPARENT" in said


@pytest.mark.published
def test_the_hours_of_section_3_6_1():
    """RFC 5545, 3.6.1, the first example: 16:30 to 19:00 UTC on 3 September 1997."""
    begins = dt.datetime(1997, 9, 3, 12, 30, tzinfo=ZoneInfo("America/New_York"))  # UTC−4 in September: IANA
    said = lines(write(Calendar("x", events=[event(begins=begins, ends=begins + dt.timedelta(hours=2.5))])))
    assert "DTSTART:19970903T163000Z" in said
    assert "DTEND:19970903T190000Z" in said


@pytest.mark.published
def test_the_whole_calendar_says_how_often_to_ask():
    """RFC 7986, 5.7: REFRESH-INTERVAL takes a positive DURATION and must say so with VALUE=DURATION."""
    said = lines(write(Calendar("Reef", "What is due", "http://localhost:8077/week", 1)))
    assert said[:3] == ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Leadline//Leadline//EN"]
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT1H" in said
    assert {"NAME:Reef", "DESCRIPTION:What is due", "URL:http://localhost:8077/week"} <= set(said)
    assert not [x for x in said if x.startswith(("X-", "METHOD"))]
    assert len(reference.Calendar.from_ical(write(Calendar("Reef"))).subcomponents) == 1  # 3.4: at least one component


# -- another program reads it ------------------------------------------------------------------------------


@pytest.mark.law
@settings(deadline=None)
@given(
    uid=st.uuids().map(str), summary=NASTY, description=NASTY, name=NASTY, modified=MOMENTS,
    category=st.sampled_from(["test", "a, b; c"]), sequence=st.integers(0, 10**6),
)  # fmt: skip
def test_the_reference_library_gives_back_exactly_what_was_put_in(
    uid, summary, description, name, category, modified, sequence
):
    made = event(uid=uid, summary=summary, description=description, category=category, modified=modified,
                 sequence=sequence, url="http://192.168.1.20:8077/week?a=1,2;b#c")  # fmt: skip
    content = write(Calendar(name, description or "-", events=[made, event(uid="two")]))
    read = reference.Calendar.from_ical(content)
    assert unescaped(str(read["NAME"])) == name  # the library is older than RFC 7986, and gives a NAME as written
    assert str(read["DESCRIPTION"]) == (description or "-")
    first, second = read.walk("VEVENT")
    assert (str(first["UID"]), str(second["UID"])) == (uid, "two")
    assert str(first["SUMMARY"]) == summary
    assert str(first.get("DESCRIPTION", "")) == description
    assert [str(c) for c in first["CATEGORIES"].cats] == [category]
    assert str(first["URL"]) == made.url
    assert first["SEQUENCE"] == sequence
    assert first["LAST-MODIFIED"].dt == first["DTSTAMP"].dt == modified.replace(microsecond=0)
    assert read.errors == []


@pytest.mark.law
@settings(deadline=None)
@given(begins=MOMENTS, minutes=st.integers(1, 10**5), day=st.dates(dt.date(1990, 1, 1), dt.date(2090, 1, 1)),
       days=st.integers(0, 60))  # fmt: skip
def test_days_and_hours_come_back(begins, minutes, day, days):
    ends = begins + dt.timedelta(minutes=minutes)
    made = [event(begins=begins, ends=ends), event(begins=day, ends=day + dt.timedelta(days=days))]
    hours, whole = reference.Calendar.from_ical(write(Calendar("x", events=made))).walk("VEVENT")
    assert (hours.start, hours.end) == (begins.replace(microsecond=0), ends.replace(microsecond=0))
    assert type(whole.start) is dt.date
    assert (whole.start, whole.end) == (day, day + dt.timedelta(days=days + 1))


@pytest.mark.law
@settings(deadline=None)
@given(text=NASTY)
def test_no_line_is_longer_than_75_octets_and_none_cuts_a_character(text):
    content = folded(f"SUMMARY:{escaped(text)}")
    assert content.endswith(b"\r\n")
    for part in content.removesuffix(b"\r\n").split(b"\r\n"):
        assert len(part) <= 75
        part.decode()
    assert b"\n" not in content.replace(b"\r\n", b"")


@pytest.mark.law
@settings(deadline=None)
@given(text=st.text(st.characters(), max_size=80))
def test_what_no_calendar_can_hold_is_replaced_and_the_rest_kept(text):
    kept = clean(text)
    kept.encode()
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", kept)
    harmless = "".join(c for c in text if c.isprintable())
    assert "".join(c for c in kept if c.isprintable() and c not in " \ufffd") == re.sub("[ \ufffd]", "", harmless)


@pytest.mark.parametrize("url", ["http://a/b\r\nATTENDEE:x", "http://a/b c", "http://a/\x00", "http://a/\ud800"])
def test_an_address_that_would_break_the_line_is_left_out(url):
    assert b"URL" not in write(Calendar("x", url=url, events=[event(url=url)]))


@pytest.mark.parametrize(
    ("begins", "ends"),
    [
        (WHEN, WHEN - dt.timedelta(minutes=1)),
        (WHEN.date(), WHEN.date() - dt.timedelta(days=1)),
        (WHEN.date(), WHEN),
        (WHEN.replace(tzinfo=None), WHEN.replace(tzinfo=None)),
    ],
)
def test_an_event_that_cannot_be_is_refused(begins, ends):
    with pytest.raises(ValueError, match=r"ends|moment"):
        write(Calendar("x", events=[event(begins=begins, ends=ends)]))
