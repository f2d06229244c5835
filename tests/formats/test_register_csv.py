"""The register as a table: round trips, keepers' own tables, and rows that cannot be used."""

from __future__ import annotations

import csv
import datetime as dt
import io

import pytest
from tests.cli.desk import NOW, Desk

from leadline.app import stock, stock_log
from leadline.formats import register_csv
from leadline.measures.errors import BadInput

HEAD = "organismID,scientificName,organismQuantity,eventDate,locationID"


@pytest.fixture
def desk(tmp_path):
    return Desk(tmp_path)


def house(desk):
    return stock.house(desk.store(), desk.clock)


def fill(desk):
    store, clock = desk.store(), desk.clock
    early = (NOW - dt.timedelta(days=80)).isoformat()
    stock_log.arrive(
        store, clock, system="lagoon", kind="Chromis viridis", animal="school", count="7", time=early, source="shop"
    )
    stock_log.arrive(
        store, clock, system="north-room", kind="Zebrasoma flavescens", animal="old-tang", time=early,
        about={"irreplaceable": True, "papers": 'permit "7", of 2011; kept', "length_cm": 19.5, "sex": "unknown"},
        note="here since, æøå 🐠",
    )  # fmt: skip
    stock_log.arrive(store, clock, system="lagoon", kind="some thing of mine", animal="mystery", time=early)
    stock_log.move(store, clock, "school", "north-room", count="3")
    stock_log.see(store, clock, "north-room", ["old-tang"])


def holdings(desk):
    return {k: v.here for k, v in house(desk).register.lots.items() if v.alive}


def test_a_register_written_and_read_elsewhere_says_the_same(desk, tmp_path):
    fill(desk)
    text = register_csv.write(house(desk))
    other = Desk(tmp_path / "other") if (tmp_path / "other").mkdir() is None else desk
    path = tmp_path / "register.csv"
    path.write_text(text, encoding="utf-8")
    assert other.take_in(path).exit_code == 0
    assert holdings(other) == holdings(desk)
    assert register_csv.write(house(other)) == text
    tang = house(other).lot("old-tang")
    assert (tang.irreplaceable, tang.about["papers"], tang.about["length_cm"]) == (
        True,
        'permit "7", of 2011; kept',
        19.5,
    )
    assert tang.kind.id == "zebrasoma-flavescens"


def test_bringing_it_into_the_store_it_came_from_adds_nobody(desk, tmp_path):
    fill(desk)
    before = holdings(desk)
    path = tmp_path / "register.csv"
    path.write_text(register_csv.write(house(desk)), encoding="utf-8")
    entries = len(desk.store().entries("lagoon"))
    for _ in range(2):
        assert desk.take_in(path).exit_code == 0
        assert holdings(desk) == before
    assert len(desk.store().entries("lagoon")) == entries  # not one row was new


def test_a_count_that_is_higher_adds_the_difference(desk, tmp_path):
    fill(desk)
    path = tmp_path / "register.csv"
    text = register_csv.write(house(desk))
    rows = list(csv.DictReader(io.StringIO(text)))
    for row in rows:
        if row["organismID"] == "school" and row["locationID"] == "lagoon":
            row["organismQuantity"] = "6"
            row["eventDate"] = NOW.isoformat()
    out = io.StringIO()
    writer = csv.DictWriter(out, register_csv.COLUMNS)
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(out.getvalue(), encoding="utf-8")
    assert desk.take_in(path).exit_code == 0
    assert house(desk).lot("school").here == {"lagoon": 6.0, "north-room": 3.0}


def test_a_count_that_is_lower_is_asked_about_by_name(desk, tmp_path):
    fill(desk)
    path = tmp_path / "register.csv"
    path.write_text(register_csv.write(house(desk)).replace(",4,individuals", ",2,individuals"), encoding="utf-8")
    done = desk.take_in(path)
    assert done.exit_code == 2
    assert "4 are kept in lagoon; log a loss or a move" in done.output
    assert house(desk).lot("school").here == {"lagoon": 4.0, "north-room": 3.0}


def test_an_empty_file_says_so(desk, tmp_path):
    with pytest.raises(BadInput, match="the file is empty"):
        register_csv.read(iter([]), "none.csv", zone_of=lambda s: dt.UTC, now=NOW)


def test_a_keepers_own_table_in_the_terms_of_darwin_core(desk, tmp_path):
    """Terms as at https://dwc.tdwg.org/terms/ ; further columns are kept."""
    path = tmp_path / "mine.csv"
    path.write_text(
        "vernacularName;individualCount;eventDate;locationID;myShelf\n"
        "yellow tang;1;2024-05-01;north-room;left\nChromis;4;2024-06-01;lagoon;\n",
        encoding="utf-8",
    )
    done = desk.take_in(path)
    assert done.exit_code == 0, done.output
    lot = house(desk).lot("yellow-tang")
    assert (lot.kind.id, lot.here) == ("zebrasoma-flavescens", {"north-room": 1.0})
    entry = next(e for e in desk.store().entries("north-room") if e.subject == "yellow-tang")
    assert entry.extra["myShelf"] == "left"


@pytest.mark.parametrize(
    ("row", "column", "said"),
    [
        ("tang,X,two,2024-01-01,lagoon", "organismQuantity", "this is no number"),
        ("tang,X,0,2024-01-01,lagoon", "organismQuantity", "above zero"),
        ("tang,X,nan,2024-01-01,lagoon", "organismQuantity", "no number"),
        ("tang,X,1,,lagoon", "eventDate", "is missing"),
        ("tang,X,1,yesterday,lagoon", "eventDate", "is no date"),
        ("tang,X,1,2031-01-01,lagoon", "eventDate", "lies in the future"),
        ("tang,X,1,1969-01-01,lagoon", "eventDate", "before 1971"),
        ("tang,X,1,2024-01-01,lagon", "locationID", "Did you mean lagoon"),
        ("tang,X,1,2024-01-01,", "locationID", "the system is missing"),
        (",,1,2024-01-01,lagoon", "organismID", "no name"),
        ("tang,X,1,2024-01-01,lagoon,too,many", "", ""),
    ],
)
def test_a_row_that_cannot_be_used_is_named_and_nothing_is_brought_in(desk, tmp_path, row, column, said):
    path = tmp_path / "register.csv"
    path.write_text(f"{HEAD}\ngood,Naso,1,2024-01-01,lagoon\n{row}\n", encoding="utf-8")
    done = desk.take_in(path)
    if not column:
        assert done.exit_code == 0  # further cells without a heading are left alone
        return
    assert done.exit_code == 2
    assert f"register.csv:3: column '{column}'" in done.output
    assert said in done.output
    assert not house(desk).register.lots
    assert desk.take_in(path, "--skip-bad").exit_code == 0
    assert list(house(desk).register.lots) == ["good"]


def test_a_column_that_stands_twice_is_refused(desk, tmp_path):
    path = tmp_path / "register.csv"
    path.write_text(f"{HEAD},eventDate\n", encoding="utf-8")
    assert "column 'eventDate' stands twice" in str(desk.take_in(path).exception)
