"""The journal, the systems and the small records, on the real file."""

from __future__ import annotations

import datetime as dt
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from leadline.app.ports import Added, Parked, Store
from leadline.journal.entry import KINDS, Entry, content_id
from leadline.measures.errors import BadInput
from leadline.measures.moments import UTC, FixedClock
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.contract

NOON = dt.datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
READING = Entry(NOON, "north-room", "reading", "alkalinity", 8.1, "dKH", "titration", 0.1, stored=2.89, stored_sd=0.036)


def test_the_store_fulfils_the_port(store: SqliteStore) -> None:
    port: Store = store  # mypy holds this; here: nothing of the port is missing
    for name in (name for name in vars(Store) if not name.startswith("_")):
        assert callable(getattr(port, name)), name


def test_an_entry_comes_back_as_it_was_given(store: SqliteStore) -> None:
    whole = Entry(
        time=NOON.replace(microsecond=123457), system="north-room", kind="transfer", subject="coral-7", value=1.5,
        unit="kg", method="net", sd=0.25, to="quarantine", source="another keeper",
        recorded_at=NOON + dt.timedelta(days=2, microseconds=1), note='said "µ, 盐"\nand more\x00', id="own-id",
        extra={"salinity": 35.0, "deep": {"list": [1, None, "x"]}}, stored=1500.0, stored_sd=250.0,
    )  # fmt: skip
    assert store.add_entries([whole, READING]) == Added(2, 0)
    assert store.entries() == [whole, replace(READING, id=content_id(READING))]
    assert store.entry("own-id") == whole
    assert store.entry("nobody") is None


texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
numbers = st.none() | st.floats(allow_nan=False, allow_infinity=False)
moments = st.datetimes(
    dt.datetime(1, 1, 2),  # noqa: DTZ001  the strategy adds the zone
    dt.datetime(9999, 12, 30),  # noqa: DTZ001
    timezones=st.just(UTC),
)
documents = st.dictionaries(
    texts, st.none() | st.booleans() | st.integers(-(2**60), 2**60) | texts | numbers, max_size=3
)
any_entry = st.builds(
    Entry, time=moments, system=texts, kind=st.sampled_from(KINDS), subject=texts, value=numbers, unit=texts,
    method=texts, sd=numbers, to=texts, source=texts, recorded_at=st.none() | moments, note=texts, extra=documents,
    stored=numbers, stored_sd=numbers,
)  # fmt: skip


@pytest.mark.law
@given(st.lists(any_entry, max_size=5))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_entry_goes_in_comes_out(store: SqliteStore, entries: list[Entry]) -> None:
    store.add_entries(entries)
    for entry in entries:
        kept = store.entry(content_id(entry))
        assert kept is not None
        # `stored` is worked out from the rest, so a same entry given earlier with another one stands
        assert replace(kept, id="", stored=None, stored_sd=None) == replace(entry, stored=None, stored_sd=None)


def test_the_same_entries_twice_add_nothing(store: SqliteStore) -> None:
    entries = [replace(READING, time=NOON + dt.timedelta(hours=n)) for n in range(1200)]
    assert store.add_entries([*entries, entries[7]]) == Added(1200, 1)
    assert store.add_entries(iter(entries)) == Added(0, 1200)
    assert store.add_entries(store.entries()) == Added(0, 1200)  # now with their ids
    assert store.add_entries([]) == Added(0, 0)


def test_a_conversion_that_improved_is_no_other_content(store: SqliteStore) -> None:
    store.add_entries([replace(READING, id="a")])
    assert store.add_entries([replace(READING, id="a", stored=2.8901)]) == Added(0, 1)
    assert store.entries()[0].stored == 2.89


def test_an_id_with_other_content_is_refused_and_nothing_of_the_call_is_kept(store: SqliteStore) -> None:
    store.add_entries([replace(READING, id="a7")])
    with pytest.raises(BadInput, match="'a7' is already that of another entry"):
        store.add_entries([replace(READING, id="new"), replace(READING, id="a7", value=8.2)])
    assert [entry.id for entry in store.entries()] == ["a7"]
    with pytest.raises(BadInput, match="'twice'"):
        store.add_entries([replace(READING, id="twice"), replace(READING, id="twice", note="other")])


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_a_number_that_is_none_is_refused(store: SqliteStore, number: float) -> None:
    with pytest.raises(BadInput, match="no finite number"):
        store.add_entries([READING, replace(READING, value=number)])
    assert store.entries() == []


def test_half_a_character_is_refused_in_one_line(store: SqliteStore) -> None:
    with pytest.raises(BadInput, match="half a character"):
        store.add_entries([READING, replace(READING, note="\ud800")])
    assert store.entries() == []


def test_a_whole_number_is_kept_as_the_same_number_and_id(store: SqliteStore) -> None:
    store.add_entries([replace(READING, value=8)])
    assert store.add_entries([replace(READING, value=8.0)]) == Added(0, 1)


def test_entries_of_one_system_in_order_of_entry(store: SqliteStore) -> None:
    late, early = replace(READING, note="first in"), replace(READING, time=NOON - dt.timedelta(days=9))
    store.add_entries([late, replace(READING, system="lagoon")])
    before = store.last_seq("north-room")
    store.add_entries([early])
    assert [entry.note for entry in store.entries("north-room")] == ["first in", ""]
    assert [entry.time for entry in store.entries("north-room", after_seq=before)] == [early.time]
    assert store.last_seq("north-room") > before
    assert store.last_seq("nowhere") == 0
    assert len(store.entries(after_seq=1)) == 2


@pytest.mark.parametrize("statement", ["UPDATE entry SET value = 9", "DELETE FROM entry"])
def test_the_file_itself_refuses_to_change_an_entry(store: SqliteStore, path: Path, statement: str) -> None:
    store.add_entries([READING])
    stranger = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        stranger.execute(statement)
    stranger.close()


def test_every_version_of_a_system_is_kept(store: SqliteStore) -> None:
    store.save_system("north-room", "one", NOON)
    store.save_system("north-room", "two", NOON + dt.timedelta(days=1))
    store.save_system("lagoon", "other", NOON)
    assert store.systems() == ["lagoon", "north-room"]
    assert store.system_document("north-room") == "two"
    assert store.system_document("north-room", NOON + dt.timedelta(hours=5)) == "one"
    assert store.system_document("north-room", NOON) == "one"
    assert store.system_document("north-room", NOON - dt.timedelta(days=400)) == "one"
    assert store.system_document("nowhere") is None
    assert store.system_document("nowhere", NOON) is None


def test_the_same_description_again_is_no_new_version(store: SqliteStore, path: Path) -> None:
    for hour in range(3):
        store.save_system("north-room", "one", NOON + dt.timedelta(hours=hour))
    reader = sqlite3.connect(path)
    assert reader.execute("SELECT count(*) FROM system_document").fetchone() == (1,)
    reader.close()


def test_parked_rows_wait_once_until_they_are_judged(store: SqliteStore) -> None:
    rows = [
        Parked(0, "a.csv", 3, "in the future", {"time": "2199-01-01", "note": "é"}),
        Parked(0, "a.csv", 4, "1970", {}),
    ]
    assert store.park(rows) == 2
    assert store.park(rows) == 0
    assert store.park([]) == 0
    first, second = store.parked()
    assert (first.file, first.line, first.reason, first.row) == ("a.csv", 3, "in the future", rows[0].row)
    store.unpark(first.id)
    store.unpark(first.id)
    assert store.parked() == [second]


def test_writes_together_are_one_transaction(store: SqliteStore, path: Path, clock: FixedClock) -> None:
    def half_done() -> None:
        with store.together():
            store.add_entries([READING])
            store.put_record("setting", "a", 1)
            store.add_points("north-room", "temperature", [1.7e9], [25.0])
            with SqliteStore.open(path, clock=clock, write=False) as outside:
                assert outside.entries() == []
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half_done()
    assert (store.entries(), store.record("setting", "a"), store.streams()) == ([], None, [])
    with store.together():
        store.add_entries([replace(READING, id="kept")])
        with pytest.raises(BadInput):  # a part that fails is undone alone
            store.add_entries([READING, replace(READING, id="kept", value=1.0)])
        store.put_record("setting", "a", 1)
    assert [entry.id for entry in store.entries()] == ["kept"]
    assert store.record("setting", "a") == 1


def test_records_by_kind_and_name(store: SqliteStore) -> None:
    mapping = {"columns": {"Alk": "alkalinity dKH"}, "days": [1, 2.5, None], "ø": True}
    store.put_record("mapping", "sheet", mapping)
    store.put_record("mapping", "other", 1)
    store.put_record("mapping", "other", 2)
    store.put_record("setting", "sheet", "x")
    assert store.record("mapping", "sheet") == mapping
    assert store.records("mapping") == {"other": 2, "sheet": mapping}
    store.put_record("mapping", "other", None)
    assert store.records("mapping") == {"sheet": mapping}
    assert store.record("mapping", "other") is None


def test_what_is_kept_aside_is_replaced(store: SqliteStore) -> None:
    assert store.kept_aside("round") is None
    store.keep_aside("round", "k1", b"\x00one")
    store.keep_aside("round", "k2", b"two")
    assert store.kept_aside("round") == ("k2", b"two")


def test_it_survives_closing_and_leaves_one_file(path: Path, clock: FixedClock) -> None:
    with SqliteStore.open(path, clock=clock) as store:
        store.add_entries([READING])
        store.add_points("north-room", "temperature", [1.7e9], [25.0])
    assert [file.name for file in path.parent.iterdir()] == ["reef.db"]
    with SqliteStore.open(path, clock=clock, create=False) as store:
        assert len(store.entries()) == 1
        store.close()


def test_reading_and_writing_the_journal_loads_nothing_heavy(path: Path, environment: dict[str, str]) -> None:
    script = f"""
import datetime as dt, sys
from leadline.store.sqlite import SqliteStore
from leadline.journal.entry import Entry
from leadline.measures.moments import FixedClock, UTC
moment = dt.datetime(2026, 1, 1, tzinfo=UTC)
with SqliteStore.open({str(path)!r}, clock=FixedClock(moment)) as store:
    store.add_entries([Entry(moment, "a", "note", note="x")])
    store.keep_aside("a", "b", b"c")
    assert len(store.entries("a")) == 1 and store.streams() == [] and store.stream_revision("a") == 0
print(sorted({{"numpy", "scipy", "zlib", "asyncio", "importlib.resources"}} & set(sys.modules)))
"""
    answer = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, env=environment, check=True)
    assert answer.stdout.strip() == "[]"
