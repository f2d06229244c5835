"""Set up in the browser: a first system, its parts one by one, how much water, and an old spreadsheet brought in."""

from __future__ import annotations

import datetime as dt
import functools
import html
import io
import re
import tomllib

import httpx
import openpyxl
import pytest
from tests.web.conftest import served
from tests.web.test_pages import plain

from leadline.app import describe, set_up
from leadline.measures import units
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore
from leadline.web import site
from leadline.web.pages import systems

NOW = dt.datetime(2026, 3, 1, 8, 0, tzinfo=dt.UTC)


SMALL = """() => [...document.querySelectorAll('main button, main a.button, main select, main input')]
    .filter(e => e.offsetParent && !['checkbox', 'radio', 'hidden'].includes(e.type))
    .filter(e => e.getBoundingClientRect().height < 47.5).map(e => e.outerHTML.slice(0, 90))"""


class Fresh:
    def __init__(self, address, path, clock):
        self.address, self.path, self.clock = address, path, clock
        self.client = httpx.Client(base_url=address, follow_redirects=True, timeout=30)

    def store(self):
        return SqliteStore.open(self.path, clock=self.clock)

    def document(self, system):
        with self.store() as store:
            return tomllib.loads(describe.document(store, system))


@pytest.fixture
def fresh(tmp_path):
    clock = FixedClock(NOW)
    path = tmp_path / "new.db"
    with served(site.build(lambda: SqliteStore.open(path, clock=clock), clock)) as address:
        found = Fresh(address, path, clock)
        yield found
        found.client.close()


def make(fresh, **more):
    return fresh.client.post(
        "/systems/new", data={"name": "North room", "volume": "400", "unit": "L", "time_zone": "Europe/Oslo", **more}
    )


def test_a_name_and_a_volume_make_a_system_that_takes_a_reading(fresh):
    assert "No system yet" in fresh.client.get("/").text
    page = make(fresh)
    assert page.status_code == 200
    assert "Log the first test" in page.text
    assert fresh.document("north-room")["system"] == {
        "id": "north-room", "name": "North room", "time_zone": "Europe/Oslo", "net_volume": "400 L", "units": "metric",
    }  # fmt: skip
    logged = fresh.client.post("/system/north-room/log", data={"quantity": "salinity", "value": "35,1", "unit": "psu"})
    assert "35.1" in plain(logged.text)


def test_sizes_in_inches_and_us_units(fresh):
    make(fresh, volume="", unit="gal", length="48", depth="24", height="20", length_unit="in")
    with fresh.store() as store:
        made = describe.load(store, "north-room")
    # 48 x 24 x 20 in = 23,040 in3 = 377.56 L (1 in = 2.54 cm exactly); 85 % of it is taken for water
    assert made.net_volume_l == pytest.approx(0.85 * 377.557, rel=1e-4)
    assert made.units == "us"


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"name": ""}, "a system needs a name"),
        ({"volume": ""}, "how much water?"),
        ({"volume": "lots"}, "lots"),
        ({"volume": "-4"}, "-4"),
        ({"volume": "", "length": "100", "depth": "50"}, "three sizes"),
        ({"time_zone": "Mars/Base"}, "Mars/Base"),
    ],
)
def test_what_can_not_be_used_is_said_and_nothing_is_lost(fresh, form, said):
    answer = make(fresh, **form)
    assert answer.status_code == 422
    assert said.lower() in plain(answer.text).lower()
    assert 'value="North room"' in answer.text or form.get("name") == ""
    with fresh.store() as store:
        assert store.systems() == []


PARTS = [
    ("vessel", {"id": "sump", "volume": "80 L"}, "sump"),
    ("equipment", {"id": "heater-1", "type": "heater", "power": "300 W", "setpoint": "25 degC"}, "heater-1"),
    ("stream", {"id": "temperature", "quantity": "temperature", "unit": "degC", "period": "60 s"}, "temperature"),
    (
        "method",
        {"quantity": "alkalinity", "name": "titration", "sd": "0,1 dKH", "minutes": "4"},
        "alkalinity titration",
    ),
    ("band", {"quantity": "alkalinity", "aim.0": "7,5 dKH", "aim.1": "9 dKH"}, "alkalinity"),
    ("solution", {"id": "buffer", "recipe": "sodium-carbonate = 95 g/L"}, "buffer"),
    ("neighbour", {"system": "lagoon", "distance": "1.5 m"}, "lagoon"),
]


@pytest.mark.parametrize(("kind", "form", "key"), PARTS, ids=[p[0] for p in PARTS])
def test_each_kind_of_part_is_added_changed_taken_out_and_put_back(fresh, kind, form, key):
    make(fresh)
    before = fresh.document("north-room")
    post = fresh.client.post
    added = post("/systems/north-room/part", data={"kind": kind, "key": "", **form})
    assert added.status_code == 200, plain(added.text)
    part = fresh.document("north-room")[kind][0]
    for field, value in form.items():
        name, _, number = field.partition(".")
        got = part[name][int(number)] if number else part[name]
        assert str(got) == value or isinstance(got, dict | int)
    post("/systems/north-room/part", data={"kind": kind, "key": key, "note": "moved in May"})
    assert fresh.document("north-room")[kind][0]["note"] == "moved in May"
    post("/systems/north-room/drop", data={"kind": kind, "key": key})
    assert fresh.document("north-room") == before
    post("/systems/north-room/undo")
    assert fresh.document("north-room")[kind][0]["note"] == "moved in May"


def test_a_part_that_can_not_be_leaves_the_description_alone(fresh):
    make(fresh)
    answer = fresh.client.post(
        "/systems/north-room/part",
        data={"kind": "band", "key": "", "quantity": "alkalinity", "aim.0": "9 dKH", "aim.1": "7 dKH"},
    )
    assert answer.status_code == 422
    assert "The lower value comes first" in plain(answer.text)
    assert 'value="9 dKH"' in answer.text
    half = fresh.client.post(
        "/systems/north-room/part", data={"kind": "band", "key": "", "quantity": "calcium", "aim.0": "400 mg/L"}
    )
    assert "nothing is typed" in plain(half.text)
    twice = {"kind": "vessel", "key": "", "id": "sump", "volume": "80 L"}
    fresh.client.post("/systems/north-room/part", data=twice)
    assert "Name: there is sump already" in plain(fresh.client.post("/systems/north-room/part", data=twice).text)
    assert "band" not in fresh.document("north-room")


def test_comments_and_keys_that_nobody_knows_survive_a_change(tmp_path):
    clock = FixedClock(NOW)
    written = (
        '# the old house\n[system]\nid = "reef"\nnet_volume = "400 L" # measured with a meter\nmascot = "a crab"\n\n'
        '[[vessel]]\nid = "sump"   # under the stairs\nvolume = "80 L"\n'
    )
    with SqliteStore.open(tmp_path / "x.db", clock=clock) as store:
        describe.add(store, clock, written)
        set_up.put(store, clock, "reef", "vessel", "sump", {"volume": "85 L"})
        assert describe.document(store, "reef") == written.replace("80 L", "85 L")
        with pytest.raises(BadInput):
            set_up.put(store, clock, "reef", "vessel", "sump", {"volume": "much"})
        assert describe.document(store, "reef") == written.replace("80 L", "85 L")


def test_bands_that_are_disputed_are_marked_so(fresh):
    page = make(fresh).text
    page = fresh.client.get("/systems/north-room").text
    assert "contested" in page
    assert "too little starves corals" in page


def test_how_much_water_is_worked_out_and_kept(fresh):
    make(fresh)
    query = {"dosed": "60 g", "rose_from": "7.5 dKH", "rose_to": "9.4 dKH"}
    page = fresh.client.get("/systems/north-room/volume", params=query).text
    # 60 g NaHCO3 / 84.007 g/mol = 714.2 meq; 1.9 dKH x 0.356652 = 0.67764 meq/L; V = 1054 L (IUPAC 2021 weights)
    assert "1054 ±" in plain(page)
    litres = re.search(r'name="litres" value="(\d+)"', page)[1]
    sd = re.search(r'name="sd" value="(\d+)"', page)[1]
    assert abs(int(litres) - 1054) <= 1
    fresh.client.post("/systems/north-room/volume", data={"litres": litres, "sd": sd})
    assert fresh.document("north-room")["system"]["net_volume"] == f"{litres} L"
    wrong = fresh.client.get("/systems/north-room/volume", params={"exchanged": "50 L", "before": "35"})
    assert wrong.status_code == 422


OLD = (
    "Date;Temp;Salinity;Alk;PO4;WC litres;Remarks\r\n"
    "03/04/2025;25,1;1,026;8,1;0,05;;first\r\n"
    "05/04/2025;25,3;1,0255;7,9;0,06;40;changed water\r\n"
    "11/04/2025;25,0;1,026;8,3;0,04;;\r\n"
)


def upload(fresh, name, content, **more):
    return fresh.client.post("/import", files={"file": (name, content)}, data={"system": "north-room", **more})


def everything_on(page):
    """The form of a page as a browser would send it."""
    form = {}
    for tag in re.findall(r"<input[^>]*>", page):
        name, kind = re.search(r'name="([^"]*)"', tag), re.search(r'type="([^"]*)"', tag)
        if name and (kind is None or kind[1] not in ("checkbox", "file")):
            value = re.search(r'value="([^"]*)"', tag)
            form[name[1]] = value[1] if value else ""
    for name, body in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', page, re.S):
        options = re.findall(r"<option(?: value=\"([^\"]*)\")?( selected)?[^>]*>([^<]*)", body)
        chosen = next((o for o in options if o[1]), options[0] if options else ("", "", ""))
        form[name] = chosen[0] or (chosen[2] if "value=" not in body.split(chosen[2])[0][-40:] else "")
    return form


def test_an_old_spreadsheet_is_asked_about_shown_and_brought_in_once(fresh):
    make(fresh)
    page = upload(fresh, "old.csv", OLD.encode())
    words = plain(page.text)
    assert "may be 3 April 2025 or 4 March 2025" in words
    assert "sg@25/25" in page.text
    form = {**everything_on(page.text), "dates": "day-first", "decimal": ","}
    seen = fresh.client.post(page.url.path, data={**form, "do": "look"})
    assert "15 entries" in plain(seen.text)  # 3 days x 4 readings, one exchange, two remarks
    with fresh.store() as store:
        assert store.entries("north-room") == []
    form = everything_on(seen.text)
    done = fresh.client.post(page.url.path, data={**form, "do": "bring"})
    assert "15 entries new" in plain(done.text)
    with fresh.store() as store:
        found = store.entries("north-room")
        first = next(e for e in found if e.subject == "alkalinity")
    assert (first.value, first.unit) == (8.1, "dKH")
    assert first.time.date() == dt.date(2025, 4, 3)
    assert any(e.kind == "exchange" and e.value == 40.0 for e in found)
    again = upload(fresh, "old.csv", OLD.encode())
    form = {**everything_on(again.text), "dates": "day-first", "decimal": ","}
    fresh.client.post(again.url.path, data={**form, "do": "look"})
    form = everything_on(fresh.client.get(again.url.path).text)
    assert "0 entries new, 15 already there" in plain(
        fresh.client.post(again.url.path, data={**form, "do": "bring"}).text
    )


def test_a_workbook_with_a_column_that_nobody_knows_and_a_row_that_can_not_be_used(fresh):
    make(fresh)
    book = openpyxl.Workbook()
    for row in (
        ["Date", "Alk (dKH)", "Ca mg/l", "Kitty"],
        [dt.date(2025, 5, 13), 8.1, 420, 1.0],
        [dt.date(2025, 5, 20), "8.0x", 425, 2.0],
    ):
        book.active.append(row)
    raw = io.BytesIO()
    book.save(raw)
    page = upload(fresh, "tests.xlsx", raw.getvalue())
    assert "Kitty" in page.text
    form = everything_on(page.text)
    kitty = next(k.removeprefix("was-") for k, v in form.items() if v == "Kitty")
    page = fresh.client.post(page.url.path, data={**form, f"becomes-{kitty}": "ignore", "do": "look"})
    assert "8.0x" in page.text
    form = everything_on(page.text)
    refused = fresh.client.post(page.url.path, data={**form, "do": "bring"})
    assert refused.status_code == 422
    assert "Nothing was brought in" in refused.text
    done = fresh.client.post(page.url.path, data={**form, "do": "bring", "skip_bad": "1"})
    assert "left out" in plain(done.text)
    link = re.search(r'href="(/import/[^"]*rejected[^"]*)"', done.text)[1].replace("&amp;", "&")
    assert "8.0x" in fresh.client.get(link).text
    with fresh.store() as store:
        assert sorted((e.subject, e.value) for e in store.entries("north-room")) == [
            ("alkalinity", 8.1), ("calcium", 420.0), ("calcium", 425.0),
        ]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("picture.png", b"\x89PNG\r\n\x1a\n" + b"\0" * 200),
        ("empty.csv", b""),
        ("binary.csv", bytes(range(256)) * 4),
        ("../../etc/passwd", b"a,b\n1,2\n"),
        ("broken.xlsx", b"PK\x03\x04broken"),
        ("words.csv", b"hello\nworld\n"),
    ],
)
def test_what_is_no_record_is_said_in_one_line(fresh, name, content):
    make(fresh)
    answer = upload(fresh, name, content)
    assert answer.status_code in (200, 422)
    assert 'class="error"' in answer.text or "question" in answer.text
    assert "Traceback" not in answer.text
    assert "/tmp" not in answer.text
    with fresh.store() as store:
        assert store.entries("north-room") == []


def test_rows_of_the_future_wait_and_are_judged(fresh):
    make(fresh)
    journal = "time,system,kind,subject,value,unit\n2031-01-01T08:00,north-room,reading,alkalinity,8.1,dKH\n"
    page = upload(fresh, "journal.csv", journal.encode())
    fresh.client.post(page.url.path, data={**everything_on(page.text), "do": "bring"})
    listed = fresh.client.get("/import/parked").text
    row = re.search(r'name="row" value="(\d+)"', listed)[1]
    wrong = fresh.client.post("/import/parked", data={"row": row, "time": "yesterday-ish"})
    assert wrong.status_code == 422
    fresh.client.post("/import/parked", data={"row": row, "time": "2026-01-05T08:00"})
    with fresh.store() as store:
        assert [e.time for e in store.entries("north-room")] == [dt.datetime(2026, 1, 5, 7, tzinfo=dt.UTC)]
        assert store.parked() == []


def test_equal_mistakes_of_a_file_are_one_line(fresh):
    make(fresh)
    rows = [f"2025-05-{d:02d},{'n/a?' if d % 2 else f'{d}x'},{400 + d}" for d in range(1, 29)]
    rows += ["2025-06-01,8.1,boo", "31.31.2025,8.1,400"]
    page = upload(fresh, "old.csv", ("\r\n".join(["date,Alk (dKH),Ca (mg/L)", *rows]) + "\r\n").encode())
    said = plain(page.text)
    assert "30 places can't be used" in said
    listed = [plain(x) for x in re.findall(r"<li>(.*?)</li>", page.text, re.S)]
    assert [x.partition(" Write")[0].partition(" Accepted")[0] for x in listed if x.startswith("Row")] == [
        "Rows 2, 4, 6, 8, 10, 12 and 8 more, column Alk (dKH): 'n/a?': is no number.",
        "Rows 3, 5, 7, 9, 11, 13 and 8 more, column Alk (dKH): '2x', '4x', '6x' and 11 more: unknown unit of alkalinity 'x'.",  # noqa: E501
        "Row 30, column Ca (mg/L): 'boo': is no number.",
        "Row 31, column date: '31.31.2025': is no date (month must be in 1..12)",
    ]  # fmt: skip


def test_examples_stand_in_the_reader_s_units_and_each_can_be_typed(fresh):
    make(fresh)
    assert "Such as 25.0 degC" in fresh.client.get("/systems/north-room").text
    fresh.client.post("/me/wishes", data={"units": "us"})
    assert "Such as 77.0 degF" in fresh.client.get("/systems/north-room").text
    assert "Such as 80 in" in fresh.client.get("/systems/north-room/volume").text
    for hint, theirs in systems._FOR_US.items():
        ours, other = (units.split_value_unit(x) for x in (hint, theirs))
        scale = next(d for d in ("temperature", "length", "volume", "flow", "mass") if _reads(hint, d))
        a, b = (units.parse_amount(x, scale) for x in (hint, theirs))
        assert b == pytest.approx(a, rel=0.12), (ours, other)  # near the same, in round figures


def _reads(text, dimension):
    try:
        units.parse_amount(text, dimension)
    except BadInput:
        return False
    return True


WRONG = [
    ("equipment", {"id": "h", "type": "heater", "setpoint": "warm"},
     "Set to: 'warm' does not begin with a number. For example: 25.0 degC."),
    ("equipment", {"id": "h", "type": "heater", "power": "400"}, "Power: '400' has no unit. Write it like 400 W"),
    ("equipment", {"id": "", "type": "heater"}, "Name: nothing is typed. For example: heater-1."),
    ("band", {"quantity": "alkalinity", "aim.0": "7", "aim.1": "9"}, "Aim: '7' has no unit. Write it like 7 dKH."),
    ("band", {"quantity": "calcium", "aim.0": "400", "aim.1": "450"},
     "Aim: '400' has no unit. Write it like 400 mg/L."),
    ("band", {"quantity": "alkalinity"}, "Aim: nothing is typed. For example: 7.5 dKH."),
    ("method", {"quantity": "alkalinity", "name": "t", "sd": "0.1"},
     "How far two tests of the same water differ: '0.1' has no unit. Write it like 0.1 dKH."),
    ("stream", {"id": "t", "quantity": "temperature", "unit": "furlong"},
     "Unit it sends: unknown unit of temperature 'furlong'."),
    ("room", {"relative_humidity": "500 %"}, "Relative humidity: '500 %'. Give 0.55 or 55 %."),
    ("system", {"net_volume": "many"},
     "Net volume of the water: 'many' does not begin with a number. For example: 1150 L."),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "said", "words"), WRONG)
def test_what_is_wrong_with_a_part_is_said_in_the_words_of_its_form(fresh, kind, said, words):
    make(fresh)
    before = fresh.document("north-room")
    answer = fresh.client.post("/systems/north-room/part", data={"kind": kind, "key": "", **said})
    assert answer.status_code == 422
    assert words in html.unescape(answer.text)
    assert fresh.document("north-room") == before


def test_a_second_machine_of_one_name_is_asked_for_another(fresh):
    make(fresh)
    machine = {"kind": "equipment", "key": "", "id": "heater-1", "type": "heater"}
    fresh.client.post("/systems/north-room/part", data=machine)
    assert "Name: there is heater-1 already. Change that one, or choose another name." in plain(
        fresh.client.post("/systems/north-room/part", data=machine).text
    )


def test_a_band_stands_once(fresh):
    make(fresh)
    band = {"kind": "band", "key": "", "quantity": "alkalinity", "aim.0": "7 dKH", "aim.1": "9 dKH"}
    fresh.client.post("/systems/north-room/part", data=band)
    before = fresh.document("north-room")
    again = fresh.client.post("/systems/north-room/part", data={**band, "aim.1": "10 dKH"})
    assert "Quantity: there is alkalinity already." in plain(again.text)
    assert fresh.document("north-room") == before
    changed = fresh.client.post("/systems/north-room/part", data={**band, "key": "alkalinity", "aim.1": "10 dKH"})
    assert changed.status_code == 200
    assert fresh.document("north-room")["band"][0]["aim"] == ["7 dKH", "10 dKH"]


@pytest.mark.parametrize(
    ("typed", "unit", "litres"), [("1150 L", "L", 1150.0), ("300 gal", "L", 1135.6), ("400", "L", 400.0)]
)
def test_a_volume_is_taken_with_the_unit_that_was_typed(fresh, typed, unit, litres):
    fresh.client.post("/systems/new", data={"name": "Pool", "volume": typed, "unit": unit, "time_zone": "UTC"})
    with fresh.store() as store:
        assert describe.load(store, "pool").net_volume_l == pytest.approx(litres, abs=0.1)


def test_a_thousands_sign_makes_no_jar_of_a_reef(fresh):
    answer = fresh.client.post(
        "/systems/new", data={"name": "Pool", "volume": "1.250", "unit": "L", "time_zone": "UTC"}
    )
    assert "very little water. Write 1250 L, or 1.25 L if it is so." in plain(answer.text)
    fresh.client.post("/systems/new", data={"name": "Jar", "volume": "1.25", "unit": "L", "time_zone": "UTC"})
    with fresh.store() as store:
        assert describe.load(store, "jar").net_volume_l == 1.25


def test_the_wizard_says_which_box_is_wrong(fresh):
    make(fresh)
    answer = fresh.client.get("/systems/north-room/volume?length=120&depth=60+cm&height=50+cm")
    assert "Inner length: '120' has no unit." in plain(answer.text)
    answer = fresh.client.get("/systems/north-room/volume?length=120+cm&depth=60+cm&height=50+cm&rock=lots")
    assert "Rock, dry: 'lots' does not begin with a number." in plain(answer.text)


def test_rows_that_were_left_out_come_back_without_their_reasons(fresh):
    make(fresh)
    page = upload(fresh, "old tests.csv", b"date,Alk (dKH)\n2025-05-01,8.1\n2025-05-02,boo\n")
    form = everything_on(page.text)
    done = fresh.client.post(page.url.path, data={**form, "do": "bring", "skip_bad": "1"})
    link = re.search(r'href="(/import/[^"]*rejected[^"]*)"', done.text)[1].replace("&amp;", "&")
    got = fresh.client.get(link)
    name = re.search(r'filename="([^"]*)"', got.headers["content-disposition"])[1]
    assert name == "old-tests.csv.rejected.csv"
    mended = got.text.replace("boo", "8.2")
    for called in (
        name,
        "old-tests.csv.rejected (1).csv",
        "old-tests.csv.rejected - Copy.csv",
        "rejected.csv",
    ):  # browsers number what is there already
        again = upload(fresh, called, mended.encode())
        assert "kept as note" not in again.text, called
    fresh.client.post(again.url.path, data={**everything_on(again.text), "do": "bring"})
    with fresh.store() as store:
        assert [(e.kind, e.value) for e in store.entries("north-room")] == [("reading", 8.1), ("reading", 8.2)]


def test_the_unit_that_is_proposed_comes_from_most_of_the_cells(fresh):
    make(fresh)
    rows = "".join(f"{d:02d}.05.2025;25,{d % 10}\n" for d in range(13, 25)) + "26.05.2025;78\n"
    page = upload(fresh, "old.csv", f"Date;Temp\n{rows}".encode())
    assert re.search(r'name="ask-temperature" value="degC"', page.text)


def test_a_unit_typed_as_it_is_printed_is_the_same_unit(fresh):
    make(fresh)
    for unit in ("degC", "°C"):  # the same rows, brought twice
        page = upload(fresh, "old.csv", b"date,Temp\n2025-05-01,25.2\n2025-05-02,25.3\n")
        form = {**everything_on(page.text), "ask-temperature": unit}
        fresh.client.post(page.url.path, data={**form, "do": "look"})
        fresh.client.post(page.url.path, data={**everything_on(fresh.client.get(page.url.path).text), "do": "bring"})
    with fresh.store() as store:
        assert [(e.value, e.unit) for e in store.entries("north-room")] == [(25.2, "degC"), (25.3, "degC")]


def test_no_two_methods_of_one_name_by_any_way(fresh):
    make(fresh)
    with fresh.store() as store:
        put = functools.partial(set_up.put, store, fresh.clock, "north-room", "method")
        put("", {"quantity": "alkalinity", "name": "titration", "minutes": "4"})
        put("", {"quantity": "alkalinity", "name": "colour"})
        for key, said in (
            ("", {"quantity": "alkalinity", "name": " titration "}),
            ("alkalinity colour", {"name": "titration"}),
        ):
            with pytest.raises(BadInput, match="there is alkalinity titration already"):
                put(key, said)
        put("", {"quantity": "alkalinity", "name": ""})
        put("alkalinity titration", {"quantity": "alkalinity", "minutes": "5"})  # its own name is no other's
        with pytest.raises(BadInput, match="Minutes one test takes you: 'x' is no number"):
            put("alkalinity titration", {"minutes": "x"})
        twice = describe.document(store, "north-room") + '\n[[method]]\nquantity = "alkalinity"\nname = "titration"\n'
        set_up.replace_whole(store, fresh.clock, "north-room", twice)
        with pytest.raises(BadInput, match="alkalinity titration stands twice"):
            put("alkalinity titration", {"minutes": "9"})
        with pytest.raises(BadInput, match="alkalinity titration stands twice"):
            set_up.drop(store, fresh.clock, "north-room", "method", "alkalinity titration")
        assert describe.document(store, "north-room") == twice
