"""The time axis: right for every span, in the system's zone, on the days when the clocks change."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.present.charts.calendar import axis, changes, regular

OSLO = ZoneInfo("Europe/Oslo")
# Directive 2000/84/EC: clocks change at 01:00 UTC on the last Sundays of March and October
SPRING = dt.datetime(2026, 3, 29, 1, 0, tzinfo=dt.UTC)
AUTUMN = dt.datetime(2026, 10, 25, 1, 0, tzinfo=dt.UTC)
HOUR, DAY = dt.timedelta(hours=1), dt.timedelta(days=1)
ZONES = (
    "UTC", "Europe/Oslo", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Apia",
    "America/Sao_Paulo", "America/Havana", "Pacific/Chatham", "Africa/Casablanca",
)  # fmt: skip


def texts(start, end, zone=OSLO, room=820):
    return [t.text for t in axis(start, end, zone, room).upper]


def test_the_hour_that_spring_skips_is_not_there():
    found = axis(SPRING - 4 * HOUR, SPRING + 4 * HOUR, OSLO, 450)
    assert [t.text for t in found.upper][:7] == ["22:00", "23:00", "00:00", "01:00", "03:00", "04:00", "05:00"]
    gaps = {b.at - a.at for a, b in zip(found.upper, found.upper[1:], strict=False)}
    assert gaps == {HOUR}  # an hour stays an hour


def test_the_hour_that_comes_twice_in_autumn_says_which_of_the_two_it_is():
    found = texts(AUTUMN - 2 * HOUR, AUTUMN + 3 * HOUR)
    at = found.index("02:00 CEST")
    assert found[at : at + 4] == ["02:00 CEST", "02:30 CEST", "02:00 CET", "02:30 CET"]
    assert found.count("01:00") == found.count("03:00") == 1


def test_days_begin_at_midnight_on_both_sides_of_a_change():
    found = axis(SPRING - 5 * DAY, SPRING + 5 * DAY, OSLO, 820)
    assert found.unit == "day"
    assert {f"{t.at.astimezone(OSLO):%H:%M}" for t in found.upper} == {"00:00"}
    gaps = [b.at - a.at for a, b in zip(found.upper, found.upper[1:], strict=False)]
    assert gaps.count(23 * HOUR) == 1  # the short day
    assert set(gaps) == {23 * HOUR, 24 * HOUR}


def test_a_day_whose_midnight_was_skipped_begins_with_its_first_moment():
    # Brazil, 2018: clocks went from 00:00 to 01:00 on 4 November (Decreto 9.242/2017), that is at 03:00 UTC
    zone = ZoneInfo("America/Sao_Paulo")
    first = dt.datetime(2018, 11, 4, 3, 0, tzinfo=dt.UTC)
    found = {t.text: t.at for t in axis(first - 4 * DAY, first + 4 * DAY, zone, 820).upper}
    assert found["4 Nov"] == first


@pytest.mark.parametrize(
    ("days", "unit", "some", "over"),
    [
        (1 / 24, "minute", "09:35", "Sun 1 Mar 2026"), (1, "hour", "18:00", "Mon 2 Mar 2026"),
        (7, "day", "5 Mar", "2026"), (30, "day", "16 Mar", "2026"), (180, "month", "Jul", "2026"),
        (425, "month", "Jan", "2027"), (1461, "month", "Oct", "2028"), (3653, "year", "2031", ""),
        (21915, "year", "2050", ""),
    ],
)  # fmt: skip
def test_every_span_is_told_in_its_own_words(days, unit, some, over):
    start = dt.datetime(2026, 3, 1, 8, 10, tzinfo=dt.UTC)  # 09:10 in Oslo, a Sunday
    found = axis(start, start + days * DAY, OSLO, 820)
    assert found.unit == unit
    assert some in [t.text for t in found.upper]
    assert over in [t.text for t in found.lower] or not over
    assert 4 <= len(found.upper) <= 18
    phone = [t for t in found.upper if t.phone and t.text]
    assert 2 <= len(phone) <= 7


@pytest.mark.law
@given(
    zone=st.sampled_from(ZONES), start=st.integers(63_072_000, 4_102_444_800),  # 1972 to 2100
    days=st.one_of(st.floats(0.01, 3), st.floats(3, 500), st.floats(500, 20_000)), room=st.floats(280, 1300),
)  # fmt: skip
def test_labels_stand_where_the_wall_clock_shows_them(zone, start, days, room):
    local = ZoneInfo(zone)
    start = dt.datetime.fromtimestamp(start, dt.UTC)
    end = start + dt.timedelta(days=days)
    found = axis(start, end, local, room)
    at = [t.at for t in found.upper]
    assert at == sorted(set(at))
    assert all(start <= m <= end for m in at)
    for tick in found.upper:
        there = tick.at.astimezone(local)  # the oracle: what zoneinfo says of that moment
        if found.unit in ("minute", "hour"):
            assert tick.text == "" or tick.text.split()[0] == f"{there:%H:%M}"
        else:
            # the first moment of its day: a minute before, it was yesterday
            before = (tick.at - dt.timedelta(minutes=1)).astimezone(local)
            assert before.date() < there.date()
        if found.unit == "year" and tick.text:
            assert tick.text == str(there.year)
            assert (there.month, there.day) == (1, 1)
    assert len([t for t in found.upper if t.text]) <= room / 44 + 2
    for tick in found.lower:
        assert str(tick.at.astimezone(local).year) in tick.text


@pytest.mark.law
@given(start=st.integers(946_684_800, 2_524_608_000), days=st.floats(0.01, 4000))
def test_round_moments_are_no_more_than_asked_for(start, days):
    start = dt.datetime.fromtimestamp(start, dt.UTC)
    found = regular(start, start + dt.timedelta(days=days), OSLO)
    assert 1 <= len(found) <= 34 or days > 0.5


def test_clock_changes_of_a_window_are_found_to_the_minute():
    assert changes(SPRING - DAY, SPRING + DAY, OSLO) == [(SPRING, HOUR)]
    assert changes(AUTUMN - DAY, AUTUMN + DAY, OSLO) == [(AUTUMN, -HOUR)]
    assert changes(SPRING + HOUR, SPRING + 3 * DAY, OSLO) == []
    # Lord Howe Island moves by half an hour: 15:00 UTC on 4 April 2026, the first Sunday of April at 2 (IANA tz, NEWS)
    howe = ZoneInfo("Australia/Lord_Howe")
    assert changes(SPRING, SPRING + 9 * DAY, howe) == [(dt.datetime(2026, 4, 4, 15, 0, tzinfo=dt.UTC), -HOUR / 2)]
