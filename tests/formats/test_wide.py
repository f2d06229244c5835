"""Spreadsheets as keepers have them: one row a date, one column a quantity. All contents are invented."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import pytest
from tests.formats.journal_text import NOW, ZONES, zone_of

from leadline.app.bring_in import FileRead, Question
from leadline.formats import opening
from leadline.measures.errors import BadInput, UnknownName

DESK = opening.Desk(zone_of, NOW, systems=tuple(ZONES))


def read(tmp_path: Path, content: str | bytes, name: str = "tests.csv", **said: object) -> FileRead:
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    said.setdefault("system", "north-room")
    return opening.read(path, DESK, opening.Options(**said))


def short(out: FileRead) -> list[tuple]:
    assert not out.problems, [p.text() for p in out.problems]
    return [(e.time.isoformat()[:16], e.kind, e.subject, e.value, e.unit) for e in out.entries]


def xlsx(rows: list[list[object]], sheet: str = "Tests", more: dict[str, list[list[object]]] | None = None) -> bytes:
    import openpyxl

    book = openpyxl.Workbook()
    book.active.title = sheet
    for row in rows:
        book.active.append(row)
    for name, other in (more or {}).items():
        page = book.create_sheet(name)
        for row in other:
            page.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def at(day: int, hour: int = 0, minute: int = 0) -> dt.datetime:
    """A date cell of January 2026: spreadsheets know no time zone."""
    return dt.datetime(2026, 1, day, hour, minute)  # noqa: DTZ001


# Oslo is one hour ahead of UTC in January and two in July, so noon there is 11:00 and 10:00 UTC.
SHEETS = [
    pytest.param(
        "Date,Alk (dKH),Ca mg/l,pH\n2026-01-05,8.1,420,8.2\n",
        {},
        [
            ("2026-01-05T11:00", "reading", "alkalinity", 8.1, "dKH"),
            ("2026-01-05T11:00", "reading", "calcium", 420.0, "mg/l"),
            ("2026-01-05T11:00", "reading", "ph", 8.2, ""),
        ],
        id="units in headings, ISO dates",
    ),
    pytest.param(
        "Datum;Temp °C;KH\n13.01.2026;25,3;7,8\n14.01.2026;25,4;7,9\n",
        {},
        [
            ("2026-01-13T11:00", "reading", "temperature", 25.3, "°C"),
            ("2026-01-13T11:00", "reading", "alkalinity", 7.8, "dKH"),
            ("2026-01-14T11:00", "reading", "temperature", 25.4, "°C"),
            ("2026-01-14T11:00", "reading", "alkalinity", 7.9, "dKH"),
        ],
        id="semicolons, decimal comma, German words, day first by its 13th",
    ),
    pytest.param(
        "date,Temp °F,Salinity [ppt]\n01/05/2026,77.5,35\n01/20/2026,78,34.5\n",
        {},
        [
            ("2026-01-05T11:00", "reading", "temperature", 77.5, "°F"),
            ("2026-01-05T11:00", "reading", "salinity", 35.0, "ppt"),
            ("2026-01-20T11:00", "reading", "temperature", 78.0, "°F"),
            ("2026-01-20T11:00", "reading", "salinity", 34.5, "ppt"),
        ],
        id="month first by its 20th",
    ),
    pytest.param(
        "Dag\tAlkalinitet\tKalsium\n\tdKH\tmg/L\n5. januar 2026\t8,1\t420\n",
        {},
        [
            ("2026-01-05T11:00", "reading", "alkalinity", 8.1, "dKH"),
            ("2026-01-05T11:00", "reading", "calcium", 420.0, "mg/L"),
        ],
        id="tabs, a row of units, a month in words, Norwegian",
    ),
    pytest.param(
        "Date,Time,NO3 (ppm),PO4-P (ug/L)\n2025-07-05,8:30 pm,<0.2,26\n",
        {},
        [
            ("2025-07-05T18:30", "reading", "nitrate", 0.2, "ppm"),
            ("2025-07-05T18:30", "reading", "phosphate", 26.0, "ug/L as P"),
        ],
        id="a time column, below detection, phosphorus as P",
    ),
    pytest.param(
        "Date,Alk (dKH),Water change (L),Baking soda g,Notes\n"
        '2026-01-05,8.1 / 8.2,60,0,"cleaned, skimmer"\n2026-01-06,-,,25,n/a\n',
        {},
        [
            ("2026-01-05T11:00", "reading", "alkalinity", 8.1, "dKH"),
            ("2026-01-05T11:00", "reading", "alkalinity", 8.2, "dKH"),
            ("2026-01-05T11:00", "exchange", "mixed-seawater", 60.0, "L"),
            ("2026-01-05T11:00", "note", "", None, ""),
            ("2026-01-06T11:00", "addition", "sodium-bicarbonate", 25.0, "g"),
        ],
        id="two readings in a cell, exchange, dose, note, empty signs",
    ),
    pytest.param(
        "Tank log 2026,,\n,Chemistry,\nDate,Alkalinity,Mg\n2026-01-05,8.1,1320\n",
        {"units": {"alkalinity": "dKH", "Mg": "mg/L"}},
        [
            ("2026-01-05T11:00", "reading", "alkalinity", 8.1, "dKH"),
            ("2026-01-05T11:00", "reading", "magnesium", 1320.0, "mg/L"),
        ],
        id="titles above the header, units given once",
    ),
    pytest.param(
        "Tank,Date,Alk dKH\nlagoon,2026-01-05,9.1\nnorth-room,2026-01-05,8.1\n",
        {"system": ""},
        [
            ("2026-01-05T17:00", "reading", "alkalinity", 9.1, "dKH"),
            ("2026-01-05T11:00", "reading", "alkalinity", 8.1, "dKH"),
        ],
        id="a column names the system",
    ),
    pytest.param(
        "Date,Alk (dKH)\n03/04/2025,8.1\n",
        {"dates": "month-first"},
        [("2025-03-04T11:00", "reading", "alkalinity", 8.1, "dKH")],
        id="an ambiguous date, answered month first",
    ),
    pytest.param(
        "Date,Alk (dKH)\n03/04/2025,8.1\n",
        {"dates": "day-first", "time_of_day": "20:00"},
        [("2025-04-03T18:00", "reading", "alkalinity", 8.1, "dKH")],
        id="an ambiguous date, answered day first, at eight in the evening",
    ),
    pytest.param(
        "Date,Ca (mg/L),Mg (mg/L)\n2026-01-05,\"1.420,5\",\"1320,0\"\n",
        {},
        [
            ("2026-01-05T11:00", "reading", "calcium", 1420.5, "mg/L"),
            ("2026-01-05T11:00", "reading", "magnesium", 1320.0, "mg/L"),
        ],
        id="decimal comma with grouping points",
    ),
    pytest.param(
        "Date,Alk\n2026-01-05,8.1 dKH\n2026-01-06,2.9 meq/L\n",
        {},
        [
            ("2026-01-05T11:00", "reading", "alkalinity", 8.1, "dKH"),
            ("2026-01-06T11:00", "reading", "alkalinity", 2.9, "meq/L"),
        ],
        id="units in the cells",
    ),
    pytest.param(
        "Date et heure,Température (°C),Remarques\n05/01/26 08:15,25.1,\n25/01/26 09:00,25.3,écumeur nettoyé\n",
        {"columns": {"Date et heure": "date"}},
        [
            ("2026-01-05T07:15", "reading", "temperature", 25.1, "°C"),
            ("2026-01-25T08:00", "reading", "temperature", 25.3, "°C"),
            ("2026-01-25T08:00", "note", "", None, ""),
        ],
        id="French, two-digit years, time in the date cell, a column named by hand",
    ),
    pytest.param(
        xlsx(
            [
                ["Parameters", None, None],
                ["Date", "Alk (dKH)", "Temp (°F)"],
                [at(5), 8.1, 77],
                [at(6, 9, 30), 8, "78.2"],
                [None, None, None],
            ]
        ),
        {},
        [
            ("2026-01-05T11:00", "reading", "alkalinity", 8.1, "dKH"),
            ("2026-01-05T11:00", "reading", "temperature", 77.0, "°F"),
            ("2026-01-06T08:30", "reading", "alkalinity", 8.0, "dKH"),
            ("2026-01-06T08:30", "reading", "temperature", 78.2, "°F"),
        ],
        id="XLSX with date cells and a title",
    ),
    pytest.param(
        "date,parameter,result,unit\n2026-01-05,Alkalinity,8.1,dKH\n2026-01-05,Ca,420,mg/L\n2026-01-06,Alkalinity,8.2,dKH\n",
        {},
        [
            ("2026-01-05T11:00", "reading", "alkalinity", 8.1, "dKH"),
            ("2026-01-05T11:00", "reading", "calcium", 420.0, "mg/L"),
            ("2026-01-06T11:00", "reading", "alkalinity", 8.2, "dKH"),
        ],
        id="a long table, one row a test",
    ),
    pytest.param(
        xlsx([["hello"]], "About", {"2026": [["Date", "pH"], [dt.date(2026, 1, 5), 8.2]]}),
        {},
        [("2026-01-05T11:00", "reading", "ph", 8.2, "")],
        id="XLSX whose only dated sheet is the second",
    ),
    pytest.param(
        xlsx([["time", "system", "kind", "subject", "value", "unit"],
              [at(5, 8), "north-room", "reading", "alkalinity", 8.1, "dKH"]]),
        {},
        [("2026-01-05T07:00", "reading", "alkalinity", 8.1, "dKH")],
        id="a journal kept as XLSX",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("content", "said", "expected"), SHEETS)
def test_a_sheet_gives_its_entries(tmp_path, content, said, expected):
    name = "tests.xlsx" if isinstance(content, bytes) else "tests.csv"
    assert short(read(tmp_path, content, name, **said)) == expected


def test_stored_values_follow_the_definitions_of_their_units(tmp_path):
    out = read(tmp_path, "Date,Temp °F,Water change (gal),Alk (dKH)\n2026-01-05,77,10,8.0\n")
    # 77 °F is 25 °C by definition; a US gallon is 3.785411784 L (NIST SP 811); 1 meq/L is 2.804 dKH (common
    # practice, four digits, hence the tolerance)
    assert out.entries[0].stored == pytest.approx(25.0, abs=1e-9)
    assert out.entries[1].stored == pytest.approx(37.85411784, abs=1e-9)
    assert out.entries[2].stored == pytest.approx(8.0 / 2.804, rel=2e-4)


def test_a_value_below_detection_says_so(tmp_path):
    out = read(tmp_path, "Date,PO4 (mg/L)\n2026-01-05,<0.02\n")
    assert out.entries[0].extra == {"below_detection": True}


QUESTIONS = [
    pytest.param(
        "Date,Alk (dKH)\n03/04/2025,8.1\n04/05/2025,8.2\n",
        "dates",
        "'03/04/2025' may be 3 April 2025 or 4 March 2025",
        "--dates day-first",
        id="dates",
    ),
    pytest.param('Date,Mg (mg/L)\n2026-01-05,"1,320"\n', "decimal", "1320 or 1.320", "--decimal", id="decimal"),
    pytest.param(
        "Date,Alk,Temp,NO3\n2026-01-05,8.1,77,5\n",
        "unit",
        "alkalinity, temperature, nitrate",
        "--unit alkalinity=dKH --unit temperature=degF --unit nitrate=mg/L",
        id="units, with a proposal",
    ),
    pytest.param("Date,SG\n2026-01-05,1.026\n", "unit", "salinity", "--unit salinity=sg@25/25", id="bare gravity"),
    pytest.param(
        xlsx([["Date", "pH"], [dt.date(2026, 1, 5), 8.2]], "2025", {"2026": [["Date"], [dt.date(2026, 1, 6)]]}),
        "sheet",
        "'2025', '2026'",
        "--sheet",
        id="sheets",
    ),
    pytest.param(
        xlsx([["Date", "pH"], [dt.date(2026, 3, 2), 8.2], ["13/02/2026", 8.1]]),
        "dates",
        "'13/02/2026'",
        "--dates",
        id="date cells beside texts: what a spreadsheet leaves when it swaps days and months",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("content", "option", "what", "way_out"), QUESTIONS)
def test_what_could_be_two_things_is_asked(tmp_path, content, option, what, way_out):
    name = "tests.xlsx" if isinstance(content, bytes) else "tests.csv"
    with pytest.raises(Question) as asked:
        read(tmp_path, content, name)
    assert asked.value.option == option
    assert what in asked.value.what
    assert way_out in asked.value.way_out


def test_the_system_is_asked_for_when_there_are_several(tmp_path):
    with pytest.raises(Question, match="--system north-room or lagoon"):
        read(tmp_path, "Date,pH\n2026-01-05,8.2\n", system="")


def test_a_sheet_of_unknown_columns_is_not_taken_for_readings(tmp_path):
    with pytest.raises(BadInput, match="nobody knows what its columns are"):
        read(tmp_path, "Date,Score,Level of joy\n2026-01-05,8,9\n")


def test_dates_that_contradict_each_other_are_refused(tmp_path):
    with pytest.raises(BadInput, match="written both ways"):
        read(tmp_path, "Date,pH\n13/01/2026,8.2\n01/14/2026,8.1\n")


BAD_CELLS = [
    pytest.param("2026-01-05,abc,", "Alk (dKH)", "abc", id="words where a number belongs"),
    pytest.param("2026-02-30,8.1,", "Date", "2026-02-30", id="a day that does not exist"),
    pytest.param("Mean,8.1,", "Date", "Mean", id="a row of means"),
    pytest.param(",8.1,", "Date", "", id="no date"),
    pytest.param("2026-01-05,,82", "pH", "82", id="pH 82"),
    pytest.param("2026-01-05,-8.1,", "Alk (dKH)", "-8.1", id="a negative concentration"),
    pytest.param("2026-01-05,1e99,", "Alk (dKH)", "1e99", id="a huge value"),
    pytest.param("2026-01-05,8.1 furlongs,", "Alk (dKH)", "8.1 furlongs", id="an unknown unit"),
    pytest.param("2026-01-05,8,1,8.2", "", "", id="a decimal comma that parted a cell"),
    pytest.param('2026-01-05,"8.1,8.2', "", "", id="a quote that never closes"),
]


@pytest.mark.parametrize(("row", "column", "value"), BAD_CELLS)
def test_a_cell_that_cannot_be_used_is_named(tmp_path, row, column, value):
    out = read(tmp_path, f"Date,Alk (dKH),pH\n2026-01-04,8.0,8.2\n{row}\n")
    assert [e.value for e in out.entries][:2] == [8.0, 8.2], "the good row stays usable"
    (problem,) = out.problems
    assert (problem.line, problem.column, problem.value) == (3, column, value)
    assert problem.reason
    assert problem.fields, "the row itself must be there for the file of rejected rows"


def test_a_future_row_is_parked_but_todays_noon_is_not(tmp_path):
    # NOW is 13:00 in Oslo; a row of today without a time is dated by --time-of-day
    out = read(tmp_path, "Date,pH\n2026-03-01,8.2\n2026-03-02,8.1\n", time_of_day="20:00")
    assert [e.value for e in out.entries] == [8.2]
    assert [p.row["value"] for p in out.parked] == ["8.1"]


def test_a_saved_layout_reads_the_next_sheet_without_questions(tmp_path):
    first = read(tmp_path, "Date,Alk\n03/04/2025,8.1\n", units={"alkalinity": "dKH"}, dates="day-first")
    m = first.mapping
    second = read(
        tmp_path, "Date,Alk\n05/04/2025,8.3\n", system=m["system"], units=m["units"], columns=m["columns"],
        dates=m["dates"], saved=True,
    )  # fmt: skip
    assert short(second) == [("2025-04-05T10:00", "reading", "alkalinity", 8.3, "dKH")]


def test_an_unknown_column_is_kept_and_named(tmp_path):
    out = read(tmp_path, "Date,pH,Molybdenum (ug/L)\n2026-01-05,8.2,12\n")
    assert out.unknown == {("reading", "molybdenum"): 1}
    assert any("Molybdenum" in w and "ignore" in w for w in out.warnings)
    assert out.entries[1].value == 12.0


@pytest.mark.parametrize(
    "sheet",
    [
        "Date,pH,Part B (mL)\n2026-01-05,8.2,30\n",
        "Date,pH,Part B\n,,mL\n2026-01-05,8.2,30\n",
    ],
    ids=["unit in the heading", "unit below it"],
)
def test_an_unknown_column_in_millilitres_is_an_addition(tmp_path, sheet):
    # common practice: what a keeper writes down in millilitres was poured in
    out = read(tmp_path, sheet)
    assert [(e.kind, e.subject, e.value, e.unit) for e in out.entries][1:] == [("addition", "part-b", 30.0, "mL")]
    assert any("Part B" in w and "addition:part-b" in w for w in out.warnings)


@pytest.mark.parametrize(
    ("cell", "value"), [("1 320", 1320.0), ("1 320,5", 1320.5), ("1\u202f320", 1320.0), ("1 345,6 mg/l", 1345.6)]
)
def test_thousands_parted_by_a_space_are_one_number(tmp_path, cell, value):
    # Le Systeme international d'unites (BIPM, 9th edition), section 5.4.4: thousands parted by a thin space
    out = read(tmp_path, f"Date;Magnésium (mg/l);Dureté carbonatée (dKH)\n2026-01-05;{cell};7,9\n")
    assert [e.value for e in out.entries] == [value, 7.9]


def test_two_readings_that_a_slash_parts_are_still_two(tmp_path):
    out = read(tmp_path, "Date;Mg (mg/l)\n2026-01-05;1 320 / 1 340\n")
    assert [e.value for e in out.entries] == [1320.0, 1340.0]


@pytest.mark.parametrize("mark", ["'", "\u2019"], ids=["typewriter", "typographic"])
def test_an_apostrophe_of_either_kind_is_understood(tmp_path, mark):
    out = read(tmp_path, f"Date;pH;Changement d{mark}eau (L)\n2026-01-05;8,2;40\n")
    assert (out.entries[1].kind, out.entries[1].subject) == ("exchange", "mixed-seawater")


def test_a_share_of_the_water_is_refused_with_what_to_write(tmp_path):
    (problem,) = read(tmp_path, "Date,pH,Water change (%)\n2026-01-05,8.2,10\n").problems
    assert "L, mL or gal" in problem.reason


def test_a_mac_file_is_shown_as_a_mac_would_read_it(tmp_path):
    with pytest.raises(BadInput, match=r"--encoding mac_roman if this does: '.*Température"):
        read(tmp_path, "Date;Température (°C)\n2026-01-05;25,2\n".encode("mac_roman"))


def test_a_saved_encoding_gives_way_to_a_file_in_utf_8(tmp_path):
    sheet = "Date;Temp (°C)\n2026-01-05;25,2\n"
    for encoding in ("cp1252", "utf-8"):
        out = read(tmp_path, sheet.encode(encoding), saved=True, encoding_before="cp1252")
        assert short(out) == [("2026-01-05T11:00", "reading", "temperature", 25.2, "°C")]


def test_a_misspelt_column_option_offers_the_nearest(tmp_path):
    with pytest.raises(UnknownName, match="pH value"):
        read(tmp_path, "Date,pH value\n2026-01-05,8.2\n", columns={"pH vlaue": "ph"})


def test_a_file_that_calls_itself_xlsx_and_is_none_says_so(tmp_path):
    with pytest.raises(BadInput, match="no XLSX workbook"):
        read(tmp_path, b"PK\x03\x04" + b"rubbish" * 50, "tests.xlsx")
