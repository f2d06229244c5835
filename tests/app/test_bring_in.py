"""What an import keeps, parks and refuses, over a real store."""

from __future__ import annotations

import datetime as dt

import pytest
from tests.formats.journal_text import HEADER, NOW, read, reading, zone_of

from leadline.app import bring_in
from leadline.app.bring_in import FileRead
from leadline.formats import stream_csv, subjects, text
from leadline.formats.journal_csv import JournalReader
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.story

ROOM = """
[system]
id = "north-room"
time_zone = "Europe/Oslo"
net_volume = "1150 L"

[[stream]]
id = "probe-3"
quantity = "temperature"
unit = "degF"

[[solution]]
id = "own-mix"
recipe = { "sodium-bicarbonate" = "80 g/L" }
"""


@pytest.fixture
def store(tmp_path):
    store = SqliteStore.open(tmp_path / "leadline.db", clock=FixedClock(NOW))
    store.save_system("north-room", ROOM, NOW)
    yield store
    store.close()


def points(content: str, store: SqliteStore, file: str = "streams.csv") -> FileRead:
    return stream_csv.read(
        text.records(content), file, zone_of=bring_in.zone_of(store), now=NOW, declared=bring_in.stream_of(store)
    )


def test_bringing_in_twice_adds_nothing(store):
    content = HEADER + reading() + reading(time="2026-01-06T08:00") + reading(time="2099-01-01")
    first = bring_in.bring_in(store, [read(content)])
    assert (first.new, first.already_there, first.parked) == (2, 0, 1)
    again = bring_in.bring_in(store, [read(content, "copy.csv")])
    assert (again.new, again.already_there, again.parked) == (0, 2, 0)
    assert len(store.parked()) == 1


def test_a_row_written_twice_is_kept_once(store):
    brought = bring_in.bring_in(store, [read(HEADER + reading() * 3), read(HEADER + reading(), "other.csv")])
    assert brought.new == 1
    assert len(store.entries()) == 1


def test_several_files_are_one_whole_in_order_of_time(store):
    later = read(HEADER + reading(time="2026-01-09T08:00"), "later.csv")
    earlier = read(HEADER + reading(time="2026-01-02T08:00"), "earlier.csv")
    bring_in.bring_in(store, [later, earlier])
    assert [e.time.day for e in store.entries()] == [2, 9]


def test_one_bad_row_keeps_every_file_of_the_call_out(store):
    good = read(HEADER + reading(), "good.csv")
    bad = read(HEADER + reading(value="x"), "bad.csv")
    probe = points("time,system,stream,value\n2026-01-05T08:00,north-room,temperature,25\n", store)
    brought = bring_in.bring_in(store, [good, bad, probe])
    assert brought.refused
    assert store.entries() == []
    assert store.streams() == []
    assert store.parked() == []


def test_skipping_brings_in_what_is_good(store):
    brought = bring_in.bring_in(store, [read(HEADER + reading() + reading(value="x"))], skip_bad=True)
    assert (brought.new, len(brought.rejected), brought.refused) == (1, 1, False)


ID_HEADER = HEADER.replace("extra\n", "extra,id\n")


def with_id(id: str, **given: str) -> str:
    return reading(**given).rstrip("\n") + f",{id}\n"


def test_an_id_with_other_content_is_a_bad_row(store):
    assert bring_in.bring_in(store, [read(ID_HEADER + with_id("a1"))]).new == 1
    same = bring_in.bring_in(store, [read(ID_HEADER + with_id("a1"))])
    assert (same.new, same.already_there, same.rejected) == (0, 1, ())
    other = bring_in.bring_in(store, [read(ID_HEADER + with_id("a1", value="9.9"))])
    assert other.refused
    assert (other.rejected[0].line, other.rejected[0].column, other.rejected[0].value) == (2, "id", "a1")
    assert other.rejected[0].fields
    assert store.entries()[0].value == 8.1


def test_an_id_twice_in_one_file_with_other_content_is_a_bad_row(store):
    brought = bring_in.bring_in(
        store, [read(ID_HEADER + with_id("a1") + with_id("a1", value="9.9") + with_id("b2"))], skip_bad=True
    )
    assert [p.line for p in brought.rejected] == [2, 3], "neither is known to be the right one"
    assert [e.id for e in store.entries()] == ["b2"]


def test_a_correction_comes_in_beside_what_it_corrects(store):
    fix = reading(value="8.3").rstrip("\n") + '"{""corrects"": ""a1""}",c1\n'
    bring_in.bring_in(store, [read(ID_HEADER + with_id("a1") + fix)])
    assert [(e.id, e.corrects) for e in store.entries()] == [("a1", ""), ("c1", "a1")]


def test_unknown_subjects_are_kept_offered_and_adopted(store):
    row = "2026-01-05T08:00,north-room,addition,sodium-bicarb,5,g,,,,,,,\n"
    known = subjects.known_with(bring_in.declared(store))
    brought = bring_in.bring_in(store, [read(HEADER + row)], known=known)
    (offer,) = brought.unknown_subjects
    assert (offer.kind, offer.subject, offer.rows) == ("addition", "sodium-bicarb", 1)
    assert "sodium-bicarbonate" in offer.near
    assert brought.new == 1
    bring_in.adopt(store, brought.unknown_subjects, NOW)
    assert bring_in.bring_in(store, [read(HEADER + row)]).unknown_subjects == ()
    assert "addition/sodium-bicarb" in bring_in.declared(store)


def test_a_parked_row_is_kept_with_its_right_time_or_dropped_for_good(store):
    content = HEADER + reading(time="2062-01-05T08:00") + reading(time="1970-01-01T00:00Z", value="7.7")
    bring_in.bring_in(store, [read(content)])
    first, second = store.parked()
    reader = JournalReader(bring_in.zone_of(store), NOW)
    entry = bring_in.release(store, first.id, reader.row, at=NOW, time="2026-01-05T08:00")
    assert entry.time == dt.datetime(2026, 1, 5, 7, tzinfo=dt.UTC)
    bring_in.drop(store, second.id, NOW)
    assert store.parked() == []
    assert [e.value for e in store.entries()] == [8.1]
    assert bring_in.bring_in(store, [read(content)]).parked == 0, "what was judged must not come back"
    with pytest.raises(BadInput, match="no row is parked"):
        bring_in.drop(store, second.id, NOW)


def test_streams_come_in_stored_units_flagged_and_once(store):
    content = (
        "time,system,stream,value,unit\n"
        "2026-01-05T08:01:00,north-room,probe-3,77,\n"  # declared in degF
        "2026-01-05T08:00:00,north-room,probe-3,77.18,\n"
        "2026-01-05T08:02:00,north-room,probe-3,-196.6,\n"  # a broken wire
        "2026-01-05T08:03:00,north-room,probe-3,,\n"
        "2026-01-05T08:00:00,north-room,heater-1,1,\n"
        "2026-01-05T08:00:00,north-room,return-pump,0.04,kW\n"
    )
    brought = bring_in.bring_in(store, [points(content, store)])
    assert (brought.new, brought.points_new) == (0, 6)
    assert bring_in.bring_in(store, [points(content, store)]).points_new == 0
    got = store.points("north-room", "probe-3", 0.0, 4e9)
    # 77 °F is 25 °C and 77.18 °F is 25.1 °C by definition
    assert got.values[:2].tolist() == pytest.approx([25.1, 25.0], abs=1e-9)
    assert got.flags.tolist() == [1, 1, 4, 9]  # QARTOD: pass, pass, fail, missing
    assert store.latest_point("north-room", "heater-1")[1] == 1.0
    assert store.latest_point("north-room", "return-pump")[1] == pytest.approx(40.0)


def test_a_logger_in_local_time_loses_nothing_when_the_clocks_go_back(store):
    # 26 October 2025 in Oslo: 02:00 to 03:00 runs twice, first at 00:00 UTC, again at 01:00 UTC
    rows = [f"2025-10-26T{h}:{m}:00" for h, m in [("01", "30"), ("02", "00"), ("02", "30"), ("02", "00"), ("02", "30")]]
    rows.append("2025-10-26T03:00:00")
    content = "time,system,stream,value\n" + "".join(f"{t},north-room,temperature,2{i}\n" for i, t in enumerate(rows))
    bring_in.bring_in(store, [points(content, store)])
    got = store.points("north-room", "temperature", 0.0, 4e9)
    start = dt.datetime(2025, 10, 25, 23, 30, tzinfo=dt.UTC).timestamp()
    assert ((got.times_s - start) / 60).tolist() == [0, 30, 60, 90, 120, 150]
    assert got.values.tolist() == [20, 21, 22, 23, 24, 25]


STREAM_BAD = [
    ("2026-01-05T08:00,nowhere,temperature,25,degC", "system", "nowhere"),
    ("2026-01-05T08:00,north-room,temperature,25x,degC", "value", "25x"),
    ("2026-01-05T08:00,north-room,temperature,inf,degC", "value", "inf"),
    ("2026-01-05T08:00,north-room,temperature,25,degX", "unit", "degX"),
    ("noon,north-room,temperature,25,degC", "time", "noon"),
    ("2026-01-05T08:00,north-room,,25,degC", "stream", ""),
    ("2026-01-05T08:00,north-room,salinity,9.9,sg@25/25", "value", "9.9"),
]


@pytest.mark.parametrize(("row", "column", "value"), STREAM_BAD)
def test_a_bad_point_is_named(store, row, column, value):
    out = points(f"time,system,stream,value,unit\n{row}\n2026-01-05T08:00,north-room,temperature,25,degC\n", store)
    (problem,) = out.problems
    assert (problem.line, problem.column, problem.value) == (2, column, value)
    assert len(problem.fields) == 5
    assert [p.values.tolist() for p in out.streams if p.stream == "temperature" and len(p.values)][-1] == [25.0]


def test_a_parked_point_can_be_kept(store):
    bring_in.bring_in(store, [points("time,system,stream,value\n1970-01-01T00:05Z,north-room,ph,8.1\n", store)])
    (parked,) = store.parked()

    def point(row):
        return stream_csv.point(row, zone_of=zone_of, now=NOW, declared=bring_in.stream_of(store))

    bring_in.release(store, parked.id, point, at=NOW, time="2026-01-05T08:00:00Z")
    assert store.latest_point("north-room", "ph") == (1767600000.0, 8.1)
    assert store.parked() == []


def test_a_mapping_is_found_again_and_a_misspelt_one_offers_it(store):
    bring_in.save_mapping(store, "tests", {"dates": "day-first"})
    assert bring_in.mapping(store, "tests") == {"dates": "day-first"}
    with pytest.raises(UnknownName, match="Did you mean tests"):
        bring_in.mapping(store, "test")
