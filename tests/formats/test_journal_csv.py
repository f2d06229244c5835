"""The journal CSV: what it accepts, and one clear line for everything it does not."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.formats.journal_text import HEADER, NOW, read, reading

from leadline.formats import text
from leadline.formats.times import LocalTimes
from leadline.measures.errors import BadInput
from leadline.measures.moments import from_local

UTC = dt.UTC


def only(content: str):
    out = read(content)
    assert not out.problems, [p.text() for p in out.problems]
    (entry,) = out.entries
    return entry


def test_columns_come_in_any_order_and_case_and_unknown_ones_are_kept():
    entry = only(
        "Value,colour,UNIT,subject,kind,system,time,id\n8.1,red,dKH,alkalinity,reading,north-room,2026-01-05T08:00,a1\n"
    )
    assert (entry.value, entry.unit, entry.subject, entry.id) == (8.1, "dKH", "alkalinity", "a1")
    assert entry.extra == {"colour": "red"}


def test_local_times_are_the_systems_own():
    # Oslo keeps UTC+1 in winter and UTC+2 in summer (IANA tz database)
    out = read(HEADER + reading(time="2026-01-05T08:00") + reading(time="2025-07-05T08:00"))
    assert [e.time for e in out.entries] == [
        dt.datetime(2026, 1, 5, 7, tzinfo=UTC),
        dt.datetime(2025, 7, 5, 6, tzinfo=UTC),
    ]


@pytest.mark.parametrize(
    ("written", "hour"), [("2026-01-05T08:00Z", 8), ("2026-01-05T08:00+05:00", 3), ("2026-01-05 08:00:00.5-0300", 11)]
)
def test_an_offset_stands_above_the_systems_zone(written, hour):
    assert only(HEADER + reading(time=written)).time.hour == hour


def test_microseconds_are_kept():
    assert only(HEADER + reading(time="2026-01-05T08:00:00.123456Z")).time.microsecond == 123456


@pytest.mark.parametrize("head", ["\ufeff", ""])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_marks_and_line_ends_do_not_matter(head, end):
    content, _ = text.decode((head + HEADER + reading()).replace("\n", end).encode(), "j.csv")
    assert only(content).value == 8.1


def test_semicolons_and_decimal_commas_of_a_european_spreadsheet():
    entry = only("time;system;kind;subject;value;unit\n2026-01-05T08:00;north-room;reading;alkalinity;8,1;dKH\n")
    assert entry.value == 8.1


def test_value_and_unit_in_one_cell():
    entry = only(HEADER + reading(value="8.1 dKH", unit=""))
    assert (entry.value, entry.unit) == (8.1, "dKH")


def test_names_as_people_say_them():
    assert only(HEADER + reading(subject="Alk")).subject == "alkalinity"
    out = only(HEADER + "2026-01-05T08:00,north-room,Addition,Sodium bicarbonate,25,g,,,,,,,\n")
    assert (out.kind, out.subject) == ("addition", "sodium-bicarbonate")


def test_sd_is_converted_as_a_difference():
    entry = only(HEADER + "2026-01-05T08:00,north-room,reading,temperature,77,degF,,0.9,,,,,\n")
    # 77 °F is 25 °C, and a difference of 0.9 °F is 0.5 °C, by definition
    assert entry.stored == pytest.approx(25.0, abs=1e-9)
    assert entry.stored_sd == pytest.approx(0.5, abs=1e-9)


def test_unknown_subjects_are_kept_and_counted():
    out = read(HEADER + "2026-01-05T08:00,north-room,addition,reef-elixir,25,mL,,,,,,,\n" * 2)
    assert len(out.entries) == 2
    assert out.unknown == {("addition", "reef-elixir"): 2}


def test_an_unknown_quantity_is_kept_as_typed():
    out = read(HEADER + reading(subject="molybdenum", value="12", unit="ug/L"))
    assert out.entries[0].stored == 12.0
    assert out.unknown == {("reading", "molybdenum"): 1}


BAD = [  # row, column, value, a word of the reason
    pytest.param(reading(value="8,1x"), "", "", "fields", id="a decimal comma parts the row"),
    pytest.param(reading(value='"8,1x"'), "value", "8,1x", "no number", id="not a number"),
    pytest.param(reading(value="nan"), "value", "nan", "no number", id="nan"),
    pytest.param(reading(value="inf"), "value", "inf", "no number", id="inf"),
    pytest.param(reading(value="1e999"), "value", "1e999", "large", id="overflows"),
    pytest.param(reading(value="9" * 400), "value", "9" * 400, "large", id="hundreds of digits"),
    pytest.param(reading(value="1_000"), "value", "1_000", "no number", id="a number only programmers write"),
    pytest.param(reading(value='"1,234"'), "value", "1,234", "may be", id="two readings of a comma"),
    pytest.param(reading(subject="ph", value="82", unit=""), "value", "82", "outside what is possible", id="pH 82"),
    pytest.param(reading(subject="calcium", value="-4", unit="mg/L"), "value", "-4", "outside", id="below nothing"),
    pytest.param(reading(value=""), "value", "", "needs a value", id="no value"),
    pytest.param(reading(unit=""), "unit", "", "missing", id="no unit"),
    pytest.param(reading(unit="dKG"), "unit", "dKG", "dKH", id="unknown unit, with a near miss"),
    pytest.param(reading(subject=""), "subject", "", "quantity", id="no subject"),
    pytest.param(reading(time=""), "time", "", "no date or time", id="no time"),
    pytest.param(reading(time="yesterday"), "time", "yesterday", "no date or time", id="no ISO time"),
    pytest.param(reading(time="2026-02-30T08:00"), "time", "2026-02-30T08:00", "no date", id="no such day"),
    pytest.param(reading(time="2026-01-05T25:00"), "time", "2026-01-05T25:00", "no date", id="no such hour"),
    pytest.param(reading(time="2025-03-30T02:30"), "time", "2025-03-30T02:30", "skipped", id="skipped by the clocks"),
    pytest.param(reading().replace("north-room", "north-rom"), "system", "north-rom", "north-room", id="no such room"),
    pytest.param(reading().replace("north-room", ""), "system", "", "missing", id="no system"),
    pytest.param(reading().replace("reading", "raeding"), "kind", "raeding", "reading", id="unknown kind"),
    pytest.param(
        "2026-01-05T08:00,north-room,exchange,mixed-seawater,-60,L,,,,,,,\n",
        "value", "-60", "negative", id="negative volume",
    ),
    pytest.param(
        "2026-01-05T08:00,north-room,addition,sodium-bicarbonate,-5,g,,,,,,,\n",
        "value", "-5", "negative", id="negative mass",
    ),
    pytest.param(
        "2026-01-05T08:00,north-room,exchange,mixed-seawater,60,litters,,,,,,,\n",
        "unit", "litters", "L, mL, gal", id="unknown unit of volume",
    ),
    pytest.param(
        "2026-01-05T08:00,north-room,transfer,green-chromis-1,,,,,,,,,\n", "to", "", "went to", id="transfer to nowhere"
    ),
    pytest.param("2026-01-05T08:00,north-room,note,,,,,,,,,,\n", "note", "", "text", id="an empty note"),
    pytest.param(reading().replace(",,,,,,,\n", ",,-0.1,,,,,\n"), "sd", "-0.1", "greater than 0", id="negative sd"),
    pytest.param(
        '2026-01-05T08:00,north-room,note,,,,,,,,,hi,"{""a"": 1"\n', "extra", '{"a": 1', "JSON", id="broken extra"
    ),
    pytest.param('2026-01-05T08:00,north-room,note,,,,,,,,,hi,[1]\n', "extra", "[1]", "JSON object", id="extra a list"),
    pytest.param(
        '2026-01-05T08:00,north-room,note,,,,,,,,,hi,"{""a"": NaN}"\n',
        "extra", '{"a": NaN}', "NaN is no number", id="extra with NaN",
    ),
    pytest.param(
        '2026-01-05T08:00,north-room,exchange,ro,60,L,,,,,,,"{""salinity"": -3}"\n',
        "extra", '{"salinity": -3}', "impossible", id="impossible new water",
    ),
    pytest.param('2026-01-05T08:00,north-room,note,,,,,,,,,"no end,\n', "", "", "never closed", id="open quote"),
    pytest.param('2026-01-05T08:00,north-room,note,,,,,,,,,"no" end,\n', "", "", "closing quote", id="stray quote"),
    pytest.param(reading(time="2026-01-05T08:00").rstrip("\n") + ",x,y\n", "", "", "15 fields", id="too many fields"),
]  # fmt: skip


@pytest.mark.parametrize(("row", "column", "value", "word"), BAD)
def test_a_bad_row_is_named_and_its_neighbours_stay(row, column, value, word):
    out = read(HEADER + reading(value="8.0") + row + reading(value="8.2", time="2026-01-06T08:00"))
    assert [e.value for e in out.entries] == [8.0, 8.2]
    (problem,) = out.problems
    assert (problem.line, problem.column, problem.value) == (3, column, value)
    assert word in problem.reason
    assert "\n" not in problem.text()
    assert problem.text().startswith("journal.csv:3: ")
    assert problem.fields


@pytest.mark.parametrize("time", ["1970-01-01T00:00:00Z", "1970-01-01T08:00", "2099-01-01", "2026-03-01T15:00"])
def test_impossible_times_are_parked_with_their_row(time):
    # NOW is 13:00 in Oslo; an hour ahead is a wrong clock, two hours are the future
    out = read(HEADER + reading(time=time))
    assert not out.entries
    (parked,) = out.parked
    assert (parked.line, parked.row["time"], parked.row["value"]) == (2, time, "8.1")


def test_a_clock_a_few_minutes_ahead_is_no_matter():
    assert only(HEADER + reading(time="2026-03-01T13:10")).value == 8.1


def test_the_hour_that_comes_twice_is_read_as_the_first():
    # 26 October 2025, 02:30 in Oslo: first at 00:30 UTC (summer time), again at 01:30 UTC
    out = read(HEADER + reading(time="2025-10-26T02:30") + reading(time="2025-10-26T04:30"))
    assert out.entries[0].time == dt.datetime(2025, 10, 26, 0, 30, tzinfo=UTC)
    (warning,) = out.warnings
    assert "1 local times came twice" in warning
    assert "2025-10-26T02:30" in warning


@pytest.mark.parametrize(
    ("written", "utc"),  # either side of both changes of 2025 in Oslo, at 01:00 UTC (IANA tz database)
    [
        ("2025-03-30T00:00", "2025-03-29T23:00"),
        ("2025-03-30T01:59:59", "2025-03-30T00:59:59"),
        ("2025-03-30T03:00", "2025-03-30T01:00"),
        ("2025-03-31T00:00", "2025-03-30T22:00"),
        ("2025-10-26T01:59", "2025-10-25T23:59"),
        ("2025-10-26T03:00", "2025-10-26T02:00"),
        ("2025-10-26T23:59", "2025-10-26T22:59"),
    ],
)
def test_both_sides_of_a_clock_change(written, utc):
    entry = only(HEADER + reading(time=written))
    assert entry.time == dt.datetime.fromisoformat(utc).replace(tzinfo=UTC)


HEADERS = [
    pytest.param("time,system,subject,kind,kind\n", "'kind' stands twice", id="a column twice"),
    pytest.param("system,kind,subject\n", "'time' is missing", id="no time"),
    pytest.param("time,kind,subject\n", "--system", id="no system"),
]


@pytest.mark.parametrize(("header", "word"), HEADERS)
def test_a_broken_header_is_refused_whole(header, word):
    with pytest.raises(BadInput, match=word):
        read(header + "x,y,z\n")


def test_a_header_alone_is_an_empty_journal():
    assert read(HEADER).entries == []


def test_a_thousand_open_quotes_do_not_take_a_thousand_passes():
    out = read(HEADER + '2026-01-05T08:00,north-room,note,,,,,,,,,"open,\n' * 1000)
    assert len(out.problems) <= text.BROKEN_QUOTES_SHOWN + 1
    assert "not read" in out.problems[-1].reason


def test_a_row_that_withdraws_another_needs_no_value():
    entry = only(
        HEADER
        + '2026-01-05T08:00,north-room,reading,alkalinity,,,,,,,,,"{""corrects"": ""a1"", ""withdrawn"": true}"\n'
    )
    assert entry.withdrawn
    assert entry.corrects == "a1"


DECODE = [
    pytest.param(b"\xff\xfe" + "time,system".encode("utf-16-le"), None, "time,system", id="UTF-16 with its mark"),
    pytest.param("time,syst\u00e8m".encode("cp1252"), "cp1252", "time,syst\u00e8m", id="named"),
]


@pytest.mark.parametrize(("data", "encoding", "expected"), DECODE)
def test_encodings_that_are_known_are_read(data, encoding, expected):
    assert text.decode(data, "j.csv", encoding)[0] == expected


UNDECODABLE = [
    pytest.param(
        "time,note\nx,sk\u00f8yl\n".encode("cp1252"), "j.csv:2: .*0xF8.*--encoding cp1252.*sk\u00f8yl", id="1252"
    ),
    pytest.param("time,syst".encode("utf-16-le"), "not text", id="UTF-16 without its mark"),
    pytest.param(b"\x00\x01\x02\xff\xfe" * 30, "not text", id="binary"),
    pytest.param(b"%PDF-1.7\n", "a PDF", id="PDF"),
]


@pytest.mark.parametrize(("data", "word"), UNDECODABLE)
def test_encodings_are_not_guessed(data, word):
    with pytest.raises(BadInput, match=word):
        text.decode(data, "j.csv")


@pytest.mark.law
@given(
    st.datetimes(dt.datetime(1980, 1, 1), dt.datetime(2037, 1, 1)),  # noqa: DTZ001 -- wall time
    st.sampled_from(
        ["Europe/Oslo", "America/New_York", "Australia/Lord_Howe", "Africa/Casablanca", "America/Havana", "Asia/Beirut",
         "Pacific/Apia", "Asia/Kathmandu", "America/St_Johns"]
    ),
)  # fmt: skip
def test_the_quick_reading_of_local_times_is_the_careful_one(naive, name):
    zone = ZoneInfo(name)
    quick = LocalTimes(zone, NOW)
    written = naive.isoformat()
    try:
        careful = from_local(naive, zone)
    except BadInput:
        with pytest.raises(BadInput):
            quick.read(written)
        return
    assert quick.read(written) == careful
    assert quick.read(written) == careful, "and the same once the day is known"


def test_spaces_after_commas_and_rows_of_nothing_do_no_harm():
    out = read("time, system, kind, subject, value, unit\n2026-01-05T08:00, north-room, reading, ph, 8.2, \n,,,,,\n")
    assert not out.problems, [p.text() for p in out.problems]
    assert [(e.system, e.subject, e.value) for e in out.entries] == [("north-room", "ph", 8.2)]
