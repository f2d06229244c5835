"""What is exported reads back as the same, entry for entry."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from tests.formats.journal_text import ZONES, read

from leadline.formats.export import write_journal
from leadline.journal.entry import Entry, content_id

pytestmark = pytest.mark.law

# no lone surrogates (UTF-8 has none) and no zero bytes, which the doors refuse
MOMENT_BY_HAND = dt.datetime(2026, 1, 5, 8, tzinfo=dt.UTC)
TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40)
WORD = st.from_regex(r"[a-z][a-z0-9-]{0,12}", fullmatch=True)
MOMENT = st.datetimes(dt.datetime(1971, 1, 2), dt.datetime(2026, 2, 28), timezones=st.just(dt.UTC))  # noqa: DTZ001
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False) | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=6,
)
EXTRA = st.dictionaries(WORD.map("my-".__add__), JSON, max_size=3)
AMOUNTS = [  # kind, subject, unit, least, most: within what is possible for each
    ("reading", "alkalinity", "dKH", 0.0, 100.0),
    ("reading", "temperature", "degF", 33.0, 110.0),
    ("reading", "orp", "mV", -900.0, 900.0),
    ("reading", "phosphate", "ug/L P", 0.0, 9000.0),
    ("reading", "molybdenum", "ug/L", 0.0, 1e12),
    ("addition", "sodium-bicarbonate", "g", 0.0, 1e9),
    ("addition", "own-mix", "mL", 0.0, 1e9),
    ("exchange", "mixed-seawater", "gal", 0.0, 1e9),
    ("feeding", "pellets", "pinches", 0.0, 1e3),
    ("transfer", "urchin-1", "", 0.0, 1e3),
]


# semicolons and a sign that some programs take for a line's end once turned a comma file into another
ODD = Entry(
    MOMENT_BY_HAND,
    "lagoon",
    "reading",
    "alkalinity",
    0.0,
    "dKH",
    "a",
    to="sump",
    note=";\x85",
    extra={"my-a": {";": None}},
)


@st.composite
def entries(draw) -> Entry:
    kind, subject, unit, low, high = draw(st.sampled_from(AMOUNTS))
    entry = Entry(
        draw(MOMENT), draw(st.sampled_from(sorted(ZONES))), kind, subject, draw(st.floats(low, high)), unit,
        method=draw(WORD), sd=draw(st.none() | st.floats(1e-9, 1e6)), to="sump", source=draw(TEXT),
        recorded_at=draw(st.none() | MOMENT), note=draw(TEXT), extra=draw(EXTRA),
    )  # fmt: skip
    return replace(entry, id=draw(st.just(content_id(entry)) | WORD))


@settings(deadline=None)
@given(st.lists(entries(), max_size=8, unique_by=lambda e: e.id))
@example([replace(ODD, id=content_id(ODD))])
def test_import_of_export_is_the_same(journal):
    once = io.StringIO(newline="")
    write_journal(journal, once)
    out = read(once.getvalue())
    assert not out.problems, [p.text() for p in out.problems]
    # stored values are worked out anew from what was typed; everything typed must be the same to the last bit
    assert [replace(e, stored=None, stored_sd=None) for e in out.entries] == journal
    twice = io.StringIO(newline="")
    write_journal(out.entries, twice)
    assert twice.getvalue() == once.getvalue()
    assert [e.stored for e in read(twice.getvalue()).entries] == [e.stored for e in out.entries]


def test_rejected_rows_stand_as_they_were():
    from leadline.formats.export import rejected

    out = read('time,system,kind,note\n2026-01-05,north-room,note,"a ""b"", c"\n2026-01-06,nowhere,note,x\n')
    assert rejected(out, out.problems).splitlines()[1].startswith("2026-01-06,nowhere,note,x,system = 'nowhere': ")


def test_rows_rejected_a_second_time_carry_one_reason():
    from leadline.formats.export import rejected

    again = read("time,system,kind,note,reason\n2026-01-06,nowhere,note,x,old\n", "j.csv.rejected.csv")
    head, row = rejected(again, again.problems).splitlines()
    assert head == "time,system,kind,note,reason"
    assert row.startswith("2026-01-06,nowhere,note,x,system = ")


BY_HAND = [  # what may be logged by hand says less than a file must
    Entry(MOMENT_BY_HAND, "lagoon", "reading", "alkalinity", 2.9),
    Entry(MOMENT_BY_HAND, "lagoon", "exchange", "", 40.0),
    Entry(MOMENT_BY_HAND, "lagoon", "addition", "Sodium bicarbonate", 12.0, "spoons"),
    Entry(MOMENT_BY_HAND, "lagoon", "note"),
    Entry(MOMENT_BY_HAND, "lagoon", "reading", "alkalinity", extra={"corrects": "x", "withdrawn": True}),
]


@pytest.mark.parametrize("entry", BY_HAND, ids=lambda e: f"{e.kind} {e.subject}")
def test_what_was_logged_by_hand_comes_back_as_it_was(entry):
    entry = replace(entry, id=content_id(entry))
    out = io.StringIO(newline="")
    write_journal([entry], out)
    back = read(out.getvalue())
    assert not back.problems, [p.text() for p in back.problems]
    assert replace(back.entries[0], stored=None) == entry


def test_an_id_of_ones_own_does_not_excuse_a_missing_unit():
    out = read("time,system,kind,subject,value,unit,id\n2026-01-05,lagoon,reading,alkalinity,8.1,,row-1\n")
    assert [p.column for p in out.problems] == ["unit"]
