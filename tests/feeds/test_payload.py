"""Every input is a point with a finite value, or is kept as odd with the reason; nothing raises, nothing is lost."""

from __future__ import annotations

import datetime as dt
import json
import math
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.app.ports import Arrival, Odd
from leadline.feeds import payload
from leadline.formats import stream_csv
from leadline.measures.errors import BadInput, UnknownName

WHO = ("north-room", "temperature")


def oslo(system: str) -> dt.tzinfo:
    if system != "north-room":
        raise UnknownName("system", system, ["north-room"])
    return ZoneInfo("Europe/Oslo")


def read(raw: bytes | str) -> Arrival | Odd:
    return payload.read_payload(*WHO, raw.encode() if isinstance(raw, str) else raw)


# Expected values are read off the payload by eye; Unix seconds are those of GNU date, `date -ud 2026-03-01T08:00Z +%s`.
GOOD = [
    ("25.4", None, 25.4),
    (" 25.4\r\n", None, 25.4),
    ("\ufeff25.4", None, 25.4),
    ("25,4", None, 25.4),
    ("-0.5", None, -0.5),
    (".5", None, 0.5),
    ("1e3", None, 1000.0),
    ('"25.4"', None, 25.4),
    ('{"v": 25.4}', None, 25.4),
    ('{"v": 1}', None, 1.0),
    ('{"v": "25,4"}', None, 25.4),
    ('{"t": null, "v": 1}', None, 1.0),
    ('{"t": 1772352000, "v": 25.4}', 1772352000.0, 25.4),
    ('{"t": "1772352000.5", "v": 25.4}', 1772352000.5, 25.4),
    ('{"t": "2026-03-01T08:00:00Z", "v": 25.4}', 1772352000.0, 25.4),
    ('{"t": "2026-03-01T09:00+01:00", "v": 25.4}', 1772352000.0, 25.4),
    ('{"t": "2026-03-01 09:00:00,25+0100", "v": 25.4}', 1772352000.25, 25.4),
    ('{"t": 12, "v": 25.4}', 12.0, 25.4),  # a clock in 1970: for the intake to judge
]


@pytest.mark.contract
@pytest.mark.parametrize(("raw", "t", "v"), GOOD)
def test_a_point_is_read(raw: str, t: float | None, v: float) -> None:
    assert read(raw) == Arrival(*WHO, t, v)


BAD = [
    ("", "empty"),
    (" \n", "empty"),
    ("NaN", "no number"),
    ("-inf", "no number"),
    ("Infinity", "no number"),
    ("true", "0 or 1"),
    ("ON", "0 or 1"),
    ("null", "no number"),
    ("warm", "no number"),
    ("25.4 degC", "no number"),
    ("1,234", "may be 1234 or 1.234"),
    ("1e999", "finite"),
    ("1e15", "finite"),
    ("0x19", "no number"),
    ("1_000", "no number"),
    ("25.4\x0026", "no number"),
    ("[25.4]", "not a number"),
    ('{"v": true}', "0 or 1"),
    ('{"v": NaN}', "finite"),
    ('{"v": Infinity}', "finite"),
    ('{"v": null}', "missing"),
    ('{"v": {}}', "not a number"),
    ('{"v": 1' + "0" * 400 + "}", "finite"),
    ('{"t": 1}', "v is missing"),
    ("{25.4}", "JSON"),
    ('{"v": 1', "JSON"),
    ("[" * 4000, "JSON"),
    ('{"v": 1, "unit": 3}', "unit"),
    ('{"t": true, "v": 1}', "neither"),
    ('{"t": NaN, "v": 1}', "not in Unix seconds"),
    ('{"t": -5, "v": 1}', "not in Unix seconds"),
    ('{"t": 1772352000000, "v": 1}', "milliseconds"),
    ('{"t": "", "v": 1}', "no date or time"),
    ('{"t": "yesterday", "v": 1}', "no date or time"),
    ('{"t": "2026-03-01T08:00", "v": 1}', "no offset"),
    ('{"t": "0001-01-01T00:00+14:00", "v": 1}', "outside 1700 to 2300"),
    ('{"t": "1962-01-01T00:00Z", "v": 1}', "before 1970"),
    (b"\xff\xfe2\x005\x00", "UTF-8"),
    (b"9" * 4097, "4,097 bytes"),
]


@pytest.mark.contract
@pytest.mark.parametrize(("raw", "why"), BAD)
def test_what_is_no_point_is_kept_with_its_reason(raw: bytes | str, why: str) -> None:
    got = read(raw)
    assert isinstance(got, Odd)
    assert why in got.why
    assert (got.system, got.stream) == WHO


@pytest.mark.contract
def test_something_odd_is_kept_as_it_was_and_long_things_in_short() -> None:
    kept, cut = read("warm"), read(b"9" * 5000)
    assert isinstance(kept, Odd)
    assert isinstance(cut, Odd)
    assert kept.text == "warm"
    assert cut.text.endswith("… (5,000 bytes)")
    assert len(cut.text) < 400


@pytest.mark.contract
@pytest.mark.parametrize(("system", "why"), [("", "missing"), ("a\x07b", "cannot be the id"), ("x" * 201, "cannot be")])
def test_ids_that_nobody_can_type_are_odd(system: str, why: str) -> None:
    got = payload.read_payload(system, "temperature", b"25.4")
    assert isinstance(got, Odd)
    assert why in got.why
    assert len(got.system) <= 200


# Norway: UTC+1 in winter, UTC+2 in summer; clocks back at 03:00 on 25 October 2026 [tz database, rule EU].
@pytest.mark.contract
def test_a_local_time_needs_the_zone_of_its_system() -> None:
    raw = b'{"t": "2026-03-01T09:00", "v": 1}'
    assert payload.read_payload(*WHO, raw, zone_of=oslo) == Arrival(*WHO, 1772352000.0, 1.0)
    unknown = payload.read_payload("south-room", "temperature", raw, zone_of=oslo)
    assert isinstance(unknown, Odd)
    assert "no offset" in unknown.why


@pytest.mark.contract
def test_a_local_time_that_came_twice_is_the_second_when_the_first_is_past() -> None:
    first = payload.moment("2026-10-25T02:30", "north-room", oslo)
    assert first == dt.datetime(2026, 10, 25, 0, 30, tzinfo=dt.UTC).timestamp()
    assert payload.moment("2026-10-25T02:30", "north-room", oslo, after=first + 60) == first + 3600
    assert payload.moment("2026-10-25T01:30", "north-room", oslo, after=first + 60) == first - 3600


@pytest.mark.contract
def test_lines_of_a_request_are_read_one_by_one() -> None:
    body = (
        b'\xef\xbb\xbf{"system": "north-room", "stream": "temperature", "t": 1772352000, "v": 25.4}\r\n'
        b"\n"
        b'{"system": "north-room", "stream": "ph", "v": "8,1", "unit": "1"}\n'
        b'{"system": "north-room", "v": 1}\n'
        b'{"system": 5, "stream": "ph", "v": 1}\n'
        b"[1]\n"
        b'{"system": "north-room", "stream": "\\ud800", "v": 1}\n'
        b'{"system": "north-room", "stream": "ph", "v": tru'
    )
    points, odd = payload.read_lines(body, 10_000)
    assert points == [
        Arrival("north-room", "temperature", 1772352000.0, 25.4),
        Arrival("north-room", "ph", None, 8.1, "1"),
    ]
    assert [o.why.split(":")[0] for o in odd] == ["line 4", "line 5", "line 6", "line 7", "line 8"]
    assert odd[0].system == "north-room"
    for one in odd:
        "".join((one.system, one.stream, one.text, one.why)).encode("utf-8")  # can be written down


@pytest.mark.contract
def test_too_many_lines_are_refused_as_a_whole() -> None:
    line = b'{"system": "a", "stream": "b", "v": 1}\n'
    assert len(payload.read_lines(line * 10, 10)[0]) == 10
    with pytest.raises(BadInput, match="11 lines, where a request may have 10"):
        payload.read_lines(line * 11, 10)


@pytest.mark.law
def test_the_largest_value_is_that_of_the_importer() -> None:
    assert payload.MOST == stream_csv.HUGE


anything = st.one_of(
    st.binary(max_size=60),
    st.text(max_size=60).map(lambda s: s.encode("utf-8", "surrogatepass")),
    st.floats().map(lambda f: repr(f).encode()),
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["t", "v", "unit", "x"]), inner),
        max_leaves=6,
    ).map(lambda x: json.dumps(x).encode()),
)


def sound(got: Arrival | Odd) -> None:
    if isinstance(got, Arrival):
        assert math.isfinite(got.v)
        assert got.t is None or math.isfinite(got.t)
        written = got.system + got.stream + got.unit
    else:
        assert got.why
        written = got.system + got.stream + got.text + got.why
    written.encode("utf-8")


@pytest.mark.law
@given(st.text(max_size=12), st.text(max_size=12), anything)
def test_any_payload_is_a_point_or_odd(system: str, stream: str, raw: bytes) -> None:
    sound(payload.read_payload(system, stream, raw, zone_of=oslo))


@pytest.mark.law
@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-9e14, max_value=9e14))
def test_a_number_sent_is_the_number_read(v: float) -> None:
    assert read(repr(v)) == Arrival(*WHO, None, v)
    assert read(json.dumps({"t": 1.5, "v": v})) == Arrival(*WHO, 1.5, v)


@pytest.mark.law
@given(st.lists(anything, max_size=6))
def test_any_body_gives_one_answer_a_line(parts: list[bytes]) -> None:
    body = b"\n".join(parts)
    points, odd = payload.read_lines(body, 1000, zone_of=oslo)
    for got in (*points, *odd):
        sound(got)
    written = [line for line in body.removeprefix(b"\xef\xbb\xbf").split(b"\n") if line.strip()]
    assert len(points) + len(odd) == len(written)
