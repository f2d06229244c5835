"""The journal's page over a real store: each kind written, found, corrected, taken back; two widths, three lights."""

from __future__ import annotations

import csv
import io
import os
import re
import subprocess
import sys

import pytest
from tests.web import house
from tests.web.looking import PICTURES, WIDTHS, in_light, well_made
from tests.web.test_entry import picture
from tests.web.test_livestock import built, reef  # noqa: F401 - fixtures
from tests.web.test_pages import plain

from leadline.app import read_journal
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.door


def found(reef, **given):  # noqa: F811
    with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
        return read_journal.entries(store, house.NOW, **given)


@pytest.mark.parametrize(
    ("kind", "form", "said"),
    [
        (
            "exchange",
            {"subject": "mixed-seawater", "value": "60", "unit": "L", "salinity": "35,1"},
            "mixed seawater 60 L",
        ),
        ("addition", {"subject": "sodium-carbonate", "value": "12,5", "unit": "g"}, "sodium carbonate 12.5 g"),
        ("feeding", {"subject": "pellets", "value": "3", "unit": "g"}, "pellets 3 g"),
        ("topoff", {"value": "8", "unit": "L"}, "topoff 8 L"),
        ("service", {"subject": "skimmer-1", "method": "cleaned"}, "skimmer 1"),
        ("observation", {"subject": "cloudy-water"}, "cloudy water"),
        ("note", {"note": "lights an hour late"}, "Logged the note"),
        ("reading", {"subject": "alkalinity", "value": "8,1", "unit": "dKH"}, "alkalinity 8.1 dKH"),
    ],
)
def test_every_kind_is_written_and_found(reef, kind, form, said):  # noqa: F811
    assert reef.get(f"/journal?log={kind}&system=great-reef").status_code == 200
    before = found(reef, system="great-reef", kind=kind).found
    sent = {"kind": kind, "system": "great-reef", "token": "t", **form}
    done = reef.post("/journal/log", data=sent)
    assert said in plain(done.text)
    again = reef.post("/journal/log", data=sent)
    assert again.url.query == done.url.query  # two taps are one entry
    now = found(reef, system="great-reef", kind=kind)
    assert now.found == before + 1
    assert now.entries[0].state == "stands"
    if kind == "exchange":
        assert now.entries[0].entry.extra["salinity"] == 35.1


def test_corrected_and_taken_back_both_stay(reef):  # noqa: F811
    sent = {"kind": "feeding", "system": "lagoon", "subject": "pellets", "value": "30", "unit": "g"}
    page = reef.post("/journal/log", data=sent)
    ident = re.search(r'action="/livestock/undo/([0-9a-f]+)"', page.text)[1]
    right = reef.post("/journal/correct", data={"entry": ident, "value": "3", "unit": "g"})
    assert right.status_code == 200
    first = found(reef, system="lagoon", kind="feeding").entries[0]
    assert (first.state, first.entry.value, first.instead.value) == ("corrected", 30.0, 3.0)
    reef.post(f"/livestock/undo/{ident}", data={"to": "/journal"})
    assert found(reef, system="lagoon", kind="feeding").entries[0].state == "withdrawn"
    assert "taken back" in plain(reef.get("/journal?system=lagoon").text)


def test_a_wrong_time_and_system_are_written_anew_and_nothing_is_lost(browser, reef):  # noqa: F811
    sent = {"kind": "exchange", "system": "lagoon", "subject": "mixed-seawater", "value": "6.125", "unit": "L",
            "salinity": "35.1", "note": "a slip of the hand", "time": "2026-03-01T08:30"}  # fmt: skip
    page = reef.post("/journal/log", data=sent)
    ident = re.search(r'action="/livestock/undo/([0-9a-f]+)"', page.text)[1]
    reef.post(f"/journal/entry/{ident}/attach", files={"file": ("tap.txt", b"from the tap\n", "text/plain")})
    reef.post("/journal/correct", data={"entry": ident, "value": "61.25", "unit": "L"})
    ident = found(reef, system="lagoon", words="slip hand").entries[0].instead.id
    context = browser.new_context(viewport={"width": 390, "height": 844}, base_url=str(reef.base_url).rstrip("/"))
    seen = context.new_page()
    seen.goto(f"/journal/entry/{ident}")
    seen.click("text=Another time, system or name")
    form = seen.locator("form.written")
    assert "mixed seawater 61.25 L" in form.inner_text()
    filled = {n: form.locator(f"[name={n}]").input_value() for n in sent if n not in ("kind",)}
    assert filled == {k: v for k, v in {**sent, "value": "61.25"}.items() if k != "kind"}
    seen.screenshot(path=PICTURES / "amend-390.png", full_page=True)
    form.locator("[name=system]").select_option("great-reef")
    form.locator("[name=time]").fill("2026-02-28T07:10")
    form.locator("button.send").click()
    seen.wait_for_url("**/journal?system=great-reef&entry=*")
    assert seen.query_selector(".flash form") is None  # taken back alone, the older one would be lost with it
    old = found(reef, system="lagoon", words="slip hand").entries[0]
    new = found(reef, system="great-reef", words="slip hand").entries[0]
    assert (old.state, new.state) == ("withdrawn", "stands")
    assert f"{new.entry.time:%m-%d}" == "02-28"
    assert (new.entry.value, new.entry.extra) == (61.25, {"salinity": 35.1, "instead_of": ident})
    seen.goto(f"/journal/entry/{new.entry.id}")
    assert "tap.txt" in seen.inner_text("body")  # what was kept with it goes along
    seen.click("text=In the place of")
    assert seen.url.endswith(ident)
    assert "Written anew" in seen.inner_text("body")
    assert not seen.locator("text=Another time, system or name").count()
    again = reef.post("/journal/log", data={**sent, "instead": ident, "time": "2026-03-02T08:30"})
    assert again.status_code == 422
    assert "taken back already" in plain(again.text)
    context.close()


def test_a_reading_written_anew_keeps_the_unit_it_was_typed_in(reef):  # noqa: F811
    sent = {"kind": "reading", "system": "lagoon", "subject": "salinity", "value": "1.0264", "unit": "sg@25/25"}
    page = reef.post("/journal/log", data=sent)
    ident = re.search(r'action="/livestock/undo/([0-9a-f]+)"', page.text)[1]
    form = reef.get(f"/journal?log=reading&instead={ident}").text
    assert re.search(r'<option value="sg@25/25" selected>', form)
    assert reef.get("/journal?log=reading&instead=gryphon").status_code == 422


def test_search_and_pages(reef):  # noqa: F811
    page = plain(reef.get("/journal?q=white spots&system=great-reef").text)
    assert "old tang, four, on the tail fin" in page
    assert "Nothing like it was written" in plain(reef.get("/journal?q=gryphon").text)
    first = found(reef)
    assert 50 <= len(first.entries) < 60  # what shares the last moment stands with it
    assert first.more is not None
    second = found(reef, before=first.more)
    assert {w.entry.id for w in first.entries}.isdisjoint(w.entry.id for w in second.entries)
    assert second.entries[0].entry.time < first.entries[-1].entry.time
    seen, before = 0, None
    while True:
        page = found(reef, kind="feeding", before=before)
        seen, before = seen + len(page.entries), page.more
        if before is None:
            break
    assert seen == found(reef, kind="feeding").found
    assert reef.get("/journal?as_of=2026-01-01").status_code == 200
    assert "Take it back" not in reef.get("/journal?as_of=2026-01-01").text


def test_what_was_found_goes_out_and_imports_back(reef, tmp_path):  # noqa: F811
    sent = {"kind": "feeding", "system": "lagoon", "subject": "gammarus", "value": "30", "unit": "g"}
    page = reef.post("/journal/log", data=sent)
    ident = re.search(r'action="/livestock/undo/([0-9a-f]+)"', page.text)[1]
    reef.post("/journal/correct", data={"entry": ident, "value": "3", "unit": "g"})
    table = reef.get("/journal.csv?system=lagoon&q=gammarus")
    rows = list(csv.DictReader(io.StringIO(table.text)))
    assert [r["value"] for r in rows] == ["30", "3"]
    (tmp_path / "journal.csv").write_bytes(table.content)
    words = [sys.executable, "-m", "leadline", "--db", str(reef.db), "import", str(tmp_path / "journal.csv")]
    done = subprocess.run(words, capture_output=True, text=True, check=True, env={**os.environ, "PYTHONPATH": "src"})
    assert "0 new, 2 already there" in done.stdout


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"kind": "exchange", "subject": "mixed-seawater", "value": "lots", "unit": "L"}, "is no number"),
        ({"kind": "addition", "subject": "sodium-carbonate", "value": "12", "unit": "furlong"}, "unknown unit"),
        ({"kind": "feeding", "subject": "", "value": "12", "unit": "g"}, "feeding of what?"),
        ({"kind": "topoff", "value": "8", "unit": "L", "time": "2031-01-01T10:00"}, "lies in the future"),
        ({"kind": "topoff", "value": "8", "unit": "L", "system": "nowhere"}, "unknown system"),
        ({"kind": "gryphon"}, "unknown kind of entry"),
    ],
)
def test_what_cannot_be_used_keeps_what_was_typed(reef, data, said):  # noqa: F811
    before = found(reef).found
    page = reef.post("/journal/log", data={"system": "great-reef", "note": "kept as typed", **data})
    assert page.status_code == 422
    assert said in plain(page.text).lower()
    assert found(reef).found == before
    if data["kind"] != "gryphon" and "system" not in data:
        assert 'value="kept as typed"' in page.text


@pytest.mark.parametrize("path", ["/journal?system=nowhere", "/journal?kind=gryphon", "/journal?before=soon"])
def test_an_address_that_asks_for_nothing_known_gets_one_line(reef, path):  # noqa: F811
    assert reef.get(path).status_code in (400, 404, 422)


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
def test_axe_finds_nothing(browser, reef, light):  # noqa: F811
    base = str(reef.base_url).rstrip("/")
    old = found(reef, kind="exchange").entries[0].entry.id
    paths = {"journal": "/journal", "journal-log": "/journal?log=addition&system=great-reef",
             "journal-anew": f"/journal?log=exchange&instead={old}"}  # fmt: skip
    for width in WIDTHS:
        with in_light(browser, base, light, width) as page:
            for shown, path in paths.items():
                page.goto(base + path)
                well_made(page, f"{shown}-{width}-{light}")


def test_less_than_a_kit_can_show_is_not_read_as_the_number(reef):  # noqa: F811
    sent = {"kind": "reading", "system": "great-reef", "subject": "phosphate", "value": "<0,03", "unit": "mg/L"}
    reef.post("/journal/log", data=sent)
    page = plain(reef.get("/journal?q=phosphate&kind=reading").text)
    assert "phosphate <0.03 mg/L" in page


@pytest.mark.parametrize("words", ["431.5", "431,5", "431.5 calcium"])
def test_an_amount_is_found_by_its_number(reef, words):  # noqa: F811
    reef.post("/journal/log", data={"kind": "reading", "system": "great-reef", "subject": "calcium", "value": "431.5",
                                    "unit": "mg/L"})  # fmt: skip
    assert "calcium 431.5 mg/L" in plain(reef.get(f"/journal?q={words}").text)
    assert "Nothing like it was written" in plain(reef.get("/journal?q=98765.4").text)


def test_a_photograph_stays_with_what_is_written_anew(reef):  # noqa: F811
    done = reef.post("/journal/log", data={"kind": "note", "system": "great-reef", "note": "xenia at noon"},
                     files={"file": ("a.png", picture(), "image/png")})  # fmt: skip
    old = re.search(r"entry=([0-9a-f]+)", str(done.url))[1]
    reef.post("/journal/log", data={"kind": "note", "system": "great-reef", "note": "xenia at noon", "instead": old,
                                    "time": "2026-02-27T12:00"})  # fmt: skip
    page = reef.get("/journal?q=xenia+noon").text
    stands = [x for x in re.findall(r'<li class="(\w+)">(.*?)</li>', page, re.S) if x[0] == "stands"]
    assert len(stands) == 1
    assert "1 photograph" in stands[0][1]


@pytest.mark.parametrize(
    ("typed", "kept", "said"),
    [
        ("Baking soda", "baking-soda", ""),
        ("my salt mix", "my salt mix", "Nobody knows 'my salt mix': kept, but not reckoned."),
    ],
)
def test_what_nobody_knows_is_said_when_it_is_logged(reef, typed, kept, said):  # noqa: F811
    done = reef.post("/journal/log", data={"kind": "addition", "system": "great-reef", "subject": typed, "value": "10",
                                           "unit": "g"})  # fmt: skip
    assert said in plain(done.text)
    assert ("not reckoned" in plain(done.text)) == bool(said)
    assert found(reef, system="great-reef", kind="addition").entries[0].entry.subject == kept
