"""Entries in order, corrections beside what they correct, and reads as of a moment."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.journal.entry import Entry, content_id
from leadline.journal.journal import as_of

pytestmark = pytest.mark.law
START = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)


def hour(k: float) -> dt.datetime:
    return START + dt.timedelta(hours=k)


def written(
    at: float, value: float = 8.0, recorded: float | None = None, corrects: str = "", withdrawn: bool = False
) -> Entry:
    extra: dict[str, object] = {"corrects": corrects} if corrects else {}
    if withdrawn:
        extra["withdrawn"] = True
    e = Entry(
        hour(at), "north-room", "reading", "alkalinity", value, "dKH", extra=extra,
        recorded_at=None if recorded is None else hour(recorded),
    )  # fmt: skip
    return replace(e, id=content_id(e))


@st.composite
def journals(draw):
    """Entries in order of writing; some correct or take back an earlier one, corrections included."""
    n = draw(st.integers(0, 10))
    entries: list[Entry] = []
    clock = 0.0
    for k in range(n):
        clock += draw(st.sampled_from([0.0, 0.5, 3.0, 40.0]))
        target = draw(st.sampled_from([None, *range(len(entries))])) if entries else None
        if target is None:
            e = written(max(clock - draw(st.floats(0, 30)), 0.0), float(k), clock)
        else:
            old = entries[target]
            e = Entry(
                old.time, old.system, old.kind, old.subject, float(k), "dKH", recorded_at=hour(max(clock, 0.0)),
                extra={"corrects": old.id, **({"withdrawn": True} if draw(st.booleans()) else {})},
            )  # fmt: skip
            e = replace(e, id=content_id(e))
        entries.append(e)
    return entries


def family(entries, e):
    """The first entry of the line of corrections in which this one stands."""
    by_id = {x.id: x for x in entries}
    while e.corrects in by_id and e.corrects != e.id:
        e = by_id[e.corrects]
    return e.id


@settings(max_examples=200, deadline=None)
@given(journals(), st.floats(-1, 450))
def test_of_each_entry_the_word_written_last_counts(entries, at):
    moment = hour(at)
    known = [e for e in entries if e.time <= moment and (e.recorded_at or e.time) <= moment]
    last: dict[str, Entry] = {}
    for e in known:
        root = family(known, e)
        if root not in last or e.known_at >= last[root].known_at:
            last[root] = e
    expected = sorted((e.time, e.id) for e in last.values() if not e.withdrawn)
    got = as_of(entries, moment).entries
    assert sorted((e.time, e.id) for e in got) == expected
    assert [e.time for e in got] == sorted(e.time for e in got)


@settings(max_examples=150, deadline=None)
@given(journals(), st.floats(-1, 450), st.floats(0, 100))
def test_what_was_known_then_does_not_depend_on_what_came_later(entries, at, later):
    then = hour(at)
    only_known = [e for e in entries if e.known_at <= then]
    assert as_of(entries, then) == as_of(only_known, then)
    assert as_of(entries, then) == as_of(as_known_rows(entries, hour(at + later)), then)
    for e in as_of(entries, then).entries:
        assert e.time <= then
        assert e.known_at <= then


def as_known_rows(entries, moment):
    return [e for e in entries if e.known_at <= moment]


def test_written_down_late_is_not_known_early():
    late = written(5, 8.2, recorded=50)
    assert as_of([late], hour(49)).entries == ()
    assert as_of([late], hour(50)).entries == (late,)


def test_a_correction_counts_from_when_it_was_written():
    first = written(5, 81.0)
    mended = written(5, 8.1, recorded=30, corrects=first.id)
    assert as_of([first, mended], hour(29)).entries == (first,)
    found = as_of([first, mended], hour(31))
    assert found.entries == (mended,)
    assert found.corrected[first.id] == mended


def test_a_correction_of_a_correction_and_a_withdrawal():
    first = written(5, 81.0)
    second = written(5, 8.4, recorded=10, corrects=first.id)
    third = written(5, 8.1, recorded=20, corrects=second.id)
    gone = written(5, 8.1, recorded=30, corrects=third.id, withdrawn=True)
    assert as_of([first, second, third]).entries == (third,)
    assert as_of([first, second, third, gone]).entries == ()
    assert as_of([first, second, third, gone], hour(25)).entries == (third,)


def test_two_corrections_of_one_entry_of_which_the_older_is_corrected_again():
    """Only one reading was ever taken: only one may count."""
    first = written(5, 81.0)
    older = written(5, 8.4, recorded=10, corrects=first.id)
    newer = written(5, 8.1, recorded=20, corrects=first.id)
    of_older = written(5, 8.3, recorded=30, corrects=older.id)
    assert as_of([first, older, newer, of_older]).entries == (of_older,)


def test_a_correction_of_something_unknown_stands_for_itself():
    lost = written(5, 8.1, recorded=6, corrects="0123456789abcdef")
    assert as_of([lost]).entries == (lost,)


def test_corrections_in_a_ring_lose_nothing():
    """Ids from a file can point at each other; the last written still stands for what was measured."""
    a = Entry(hour(5), "north-room", "reading", "alkalinity", 8.0, "dKH", extra={"corrects": "b"}, id="a")
    b = Entry(
        hour(5), "north-room", "reading", "alkalinity", 8.2, "dKH", extra={"corrects": "a"}, id="b", recorded_at=hour(6)
    )
    assert as_of([a, b]).entries == (b,)


@given(st.floats(allow_nan=False, allow_infinity=False), st.text(max_size=20), st.text(max_size=20))
def test_identity_follows_content(value, note, method):
    e = Entry(hour(1), "north-room", "reading", "alkalinity", value, "dKH", method, note=note)
    assert content_id(e) == content_id(replace(e))
    assert len(content_id(e)) == 16
    assert content_id(e) != content_id(replace(e, note=note + "x"))
    assert content_id(e) != content_id(replace(e, time=hour(2)))
    # text that slides from one column to the next is another entry
    if note != method:
        assert content_id(e) != content_id(replace(e, method=note, note=method))


def test_local_and_utc_times_of_one_moment_are_one_entry():
    oslo = dt.timezone(dt.timedelta(hours=1))
    a = Entry(hour(1), "north-room", "note")
    b = Entry(hour(1).astimezone(oslo), "north-room", "note")
    assert content_id(a) == content_id(b)
