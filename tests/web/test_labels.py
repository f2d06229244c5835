"""Labels on the page, on paper and in the hand: drawn, printed, read by another reader, and what each one opens."""

from __future__ import annotations

import re
import shutil
import subprocess
from urllib.parse import urlencode

import pytest
from PIL import Image
from tests.present.scan import NEEDED, scanned
from tests.web import house
from tests.web.looking import WIDTHS, in_light, well_made
from tests.web.test_livestock import built, reef  # noqa: F401 - fixtures
from tests.web.test_pages import plain

from leadline.app import describe, read_journal
from leadline.present import labels
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.door
AT = "http://192.168.1.20:8077"
OF = {
    "vessel": "/at/great-reef/vessel/display", "equipment": "/at/great-reef/equipment/skimmer-1",
    "probe": "/at/great-reef/probe/temperature", "instrument": "/at/great-reef/instrument/alkalinity-titration",
}  # fmt: skip


def newest(reef, kind):  # noqa: F811
    with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
        return read_journal.entries(store, house.NOW, system="great-reef", kind=kind).entries[0].entry


def every(reef):  # noqa: F811
    """Addresses of all labels of the great reef, written out here from its description."""
    with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
        s = describe.load(store, "great-reef")
    machines = {e.id for e in s.equipment}
    found = [f"vessel/{v.id}" for v in s.vessels] + [f"equipment/{m}" for m in machines]
    found += [f"probe/{x.id}" for x in s.streams if x.quantity and x.id not in machines]
    found += [f"instrument/{m.quantity}-{m.name.replace(' ', '-')}" for m in s.methods]
    return sorted(f"/at/great-reef/{x}" for x in found)


def in_order(reef):  # noqa: F811
    return re.findall(r"<small>[^<]*?(/at/[^<]+)</small>", reef.get("/system/great-reef/labels").text)


def printed(text):
    return sorted(re.findall(r"<small>[^<]*?(/at/[^<]+)</small>", text))


def test_one_for_each_thing_under_the_address_of_the_page(reef):  # noqa: F811
    page = reef.get("/system/great-reef/labels")
    assert printed(page.text) == every(reef)
    host = page.url.netloc.decode()
    assert f"<small>{host}/at/great-reef/vessel/display</small>" in page.text
    assert "a phone can't reach it" in plain(page.text)
    assert page.text.count('class="code"') == len(every(reef))
    for address in every(reef):
        assert reef.get(address).status_code == 200, address


def test_only_what_is_ticked_and_after_used_places(reef):  # noqa: F811
    query = [("chosen", "1"), ("only", "probe:ph"), ("only", "vessel:sump"), ("size", "a4-99x38"), ("skip", "13"),
             ("address", AT)]  # fmt: skip
    page = reef.get(f"/system/great-reef/labels?{urlencode(query)}")
    assert printed(page.text) == ["/at/great-reef/probe/ph", "/at/great-reef/vessel/sump"]
    assert page.text.count('class="sheet a4-99x38"') == 2
    assert page.text.count('class="place free"') == 13
    assert "can't reach" not in plain(page.text)
    assert 'value="probe:ph" checked' in page.text
    assert 'value="probe:temperature" checked' not in page.text
    none = reef.get("/system/great-reef/labels?chosen=1")
    assert "Nothing is chosen" in plain(none.text)


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("address=javascript:alert(1)", "is no web address"), ("address=http://reef/at/x", "more than a host"),
        ("size=a4-1x1", "unknown size of labels"), ("skip=many", "used places"), ("skip=-1", "used places"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_said_and_stays(reef, query, said):  # noqa: F811
    page = reef.get(f"/system/great-reef/labels?{query}")
    assert page.status_code == 422
    assert said in plain(page.text).lower()
    assert "javascript" not in page.text or 'value="javascript:alert(1)"' in page.text
    assert reef.get("/system/nowhere/labels").status_code == 422


# width, height and gap between columns in mm, as sheets of labels are sold; columns and rows; the paper
# A4 is 210 by 297 mm (ISO 216), Letter 8.5 by 11 inches (ANSI/ASME Y14.1)
A4, LETTER = (210.0, 297.0), (215.9, 279.4)
SOLD = {
    "a4-63x34": (63.5, 33.9, 2.5, 3, 8, A4), "a4-70x37": (70.0, 37.0, 0.0, 3, 8, A4),
    "a4-99x38": (99.1, 38.1, 2.5, 2, 7, A4), "a4-38x21": (38.1, 21.2, 2.5, 5, 13, A4),
    "letter-67x25": (66.7, 25.4, 3.1, 3, 10, LETTER), "grid": (90.0, 45.0, 0.0, 2, 6, A4),
}  # fmt: skip


def test_all_sizes_are_tried():
    assert set(SOLD) == {s.id for s in labels.SHEETS}


@NEEDED
@pytest.mark.parametrize("size", SOLD)
def test_a_printed_sheet_is_read_by_another_reader(browser, reef, tmp_path, size):  # noqa: F811
    """The page printed by Chromium as PDF, the PDF drawn by poppler at 300 dots an inch, each place cut out as a label
    would be, and its code read by zbarimg."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not here: apt-get install poppler-utils")
    page = browser.new_page()
    page.goto(f"{str(reef.base_url).rstrip('/')}/system/great-reef/labels?{urlencode({'address': AT, 'size': size})}")
    page.pdf(path=tmp_path / "sheet.pdf", prefer_css_page_size=True, print_background=False)
    page.close()
    subprocess.run(["pdftoppm", "-r", "300", "-gray", "-png", "sheet.pdf", "sheet"], cwd=tmp_path, check=True)
    drawn = sorted(tmp_path.glob("sheet*.png"))
    wide, high, gap, columns, rows, paper = SOLD[size]
    assert len(drawn) == -(-len(every(reef)) // (columns * rows))  # no page too many
    dot, found = 300 / 25.4, []
    left, top = (paper[0] - columns * wide - (columns - 1) * gap) / 2, (paper[1] - rows * high) / 2
    for sheet in drawn:
        image = Image.open(sheet)
        assert image.size == pytest.approx((paper[0] * dot, paper[1] * dot), abs=6)
        for n in range(columns * rows):
            x, y = left + (n % columns) * (wide + gap), top + (n // columns) * high
            image.crop((x * dot, y * dot, (x + wide) * dot, (y + high) * dot)).save(tmp_path / "place.png")
            found += scanned(tmp_path / "place.png")
    assert found == [f"{AT}{x}" for x in in_order(reef)]  # each whole in its place, in the order of the page
    words = subprocess.run(["pdftotext", "sheet.pdf", "-"], cwd=tmp_path, capture_output=True, text=True).stdout
    assert "Display" in words
    assert "Show these" not in words  # nothing but labels is printed
    assert "Journal" not in words


def test_places_stand_where_the_size_says(browser, reef):  # noqa: F811
    """On the screen as on paper: each place is as large as it says, lies on the sheet, and holds its whole code."""
    mm = 96 / 25.4  # CSS: one inch is 96 px
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    for size, (wide, high, *_) in SOLD.items():
        page.goto(
            f"{str(reef.base_url).rstrip('/')}/system/great-reef/labels?{urlencode({'address': AT, 'size': size})}"
        )
        sheet, places = page.evaluate("""() => {
            const sheet = document.querySelector('.sheet').getBoundingClientRect();
            const places = [...document.querySelectorAll('.sheet')][0].querySelectorAll('.place');
            return [[sheet.width, sheet.height], [...places].map(p => { const b = p.getBoundingClientRect();
              return [b.left - sheet.left, b.top - sheet.top, b.width, b.height]; })]; }""")
        for left, top, width, height in places:
            assert (width / mm, height / mm) == pytest.approx((wide, high), abs=0.1), size
            assert left >= -0.1
            assert left + width <= sheet[0] + 0.1
            assert top >= -0.1
            assert top + height <= sheet[1] + 0.1
        codes = page.evaluate("""() => [...document.querySelectorAll('.place')].every(p => { const c =
            p.querySelector('.code').getBoundingClientRect(), b = p.getBoundingClientRect();
            return c.left >= b.left && c.right <= b.right && c.top >= b.top - .5 && c.bottom <= b.bottom + .5; })""")
        assert codes, size
    page.close()


@NEEDED
@pytest.mark.parametrize("light", ["day", "dusk", "night"])
def test_a_phone_reads_the_screen_in_every_light(browser, reef, tmp_path, light):  # noqa: F811
    base = str(reef.base_url).rstrip("/")
    context = browser.new_context(viewport={"width": 1280, "height": 900}, device_scale_factor=2)
    context.add_cookies([{"name": "light", "value": light, "url": base}])
    page = context.new_page()
    page.goto(f"{base}/system/great-reef/labels?{urlencode({'address': AT, 'size': 'grid'})}")
    page.locator(".drawn").screenshot(path=tmp_path / "screen.png")
    context.close()
    assert scanned(tmp_path / "screen.png") == [f"{AT}{x}" for x in every(reef)]


# what a label opens


def test_an_instrument_opens_its_reading_with_the_method_chosen(reef):  # noqa: F811
    page = reef.get(OF["instrument"])
    assert 'value="titration" checked' in page.text
    assert 'name="quantity" value="alkalinity"' in page.text
    form = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page.text))
    to = re.search(r'class="entry-form" method="post" action="([^"]+)"', page.text)[1]
    reef.post(to, data={**form, "value": "7,9", "unit": "dKH", "method": "titration"})
    e = newest(reef, "reading")
    assert (e.subject, e.value, e.unit, e.method) == ("alkalinity", 7.9, "dKH", "titration")
    assert "7.9 dKH" in plain(reef.get(OF["instrument"]).text)


def test_a_machine_opens_its_service_and_comes_back_to_itself(reef):  # noqa: F811
    page = reef.get(OF["equipment"])
    for done in ("cleaned", "calibrated", "replaced", "refilled", "repaired"):
        assert f'type="radio" name="method" value="{done}"' in page.text
    form = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page.text))
    assert (form["system"], form["subject"], form["kind"]) == ("great-reef", "skimmer-1", "service")
    sent = {**form, "method": "repaired", "note": "new wheel"}
    after = reef.post("/journal/log", data=sent)
    assert after.url.path == OF["equipment"]
    assert "repaired, new wheel" in plain(after.text)
    e = newest(reef, "service")
    assert (e.subject, e.method, e.note) == ("skimmer-1", "repaired", "new wheel")
    again = reef.post("/journal/log", data=sent)
    assert again.url == after.url  # two taps are one entry
    undone = reef.post(f"/livestock/undo/{e.id}", data={"to": OF["equipment"]})
    assert undone.url.path == OF["equipment"]
    assert "Taken back" in plain(undone.text)
    assert "new wheel" not in plain(reef.get(OF["equipment"]).text)
    away = reef.post("/journal/log", data={**sent, "token": "x", "to": "//elsewhere.example/at"})
    assert away.url.path == "/journal"


def test_a_tank_opens_the_choice_and_its_name_goes_along(reef):  # noqa: F811
    page = reef.get(OF["vessel"])
    found = re.findall(
        r'<a class="button" href="/journal\?log=(\w+)&amp;system=great-reef&amp;vessel=display"', page.text
    )
    assert found == ["exchange", "topoff", "feeding", "addition", "observation", "reading"]
    form = reef.get("/journal?log=exchange&system=great-reef&vessel=display").text
    assert "<option selected>display</option>" in form
    sent = {"kind": "exchange", "system": "great-reef", "subject": "mixed-seawater", "value": "40", "unit": "L",
            "vessel": "display", "token": "t"}  # fmt: skip
    reef.post("/journal/log", data=sent)
    e = newest(reef, "exchange")
    assert e.extra["vessel"] == "display"
    assert "Vessel display" in plain(reef.get(f"/journal/entry/{e.id}").text)
    wrong = reef.post("/journal/log", data={**sent, "vessel": "dispaly", "token": "u"})
    assert wrong.status_code == 422
    assert "Did you mean display?" in plain(wrong.text)


def test_a_probe_opens_a_test_beside_it_and_its_calibration(reef):  # noqa: F811
    page = reef.get(OF["probe"])
    with SqliteStore.open(reef.db, clock=reef.clock, write=False) as store:
        _, value = store.latest_point("great-reef", "temperature")
    assert f"It shows {value:.1f} °C" in plain(page.text)
    assert f'value="beside the probe: {value:.1f} °C"' in page.text
    assert 'name="method" value="calibrated" checked' in page.text
    assert 'name="method" value="temperature"' not in page.text  # the probe is no way to test it by hand
    assert reef.get("/at/great-reef/probe/ph").status_code == 200


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("/at/great-reef/equipment/skimer-1", "Did you mean skimmer-1"),
        ("/at/great-reef/vessel/displa", "Did you mean display"),
        ("/at/great-reef/instrument/alkalinity-titrator", "Did you mean alkalinity-titration"),
        ("/at/great-reef/gryphon/display", "Known: equipment, instrument, probe, vessel"),
        ("/at/great-ref/vessel/display", "Did you mean great-reef"),
    ],
)
def test_an_unknown_label_gets_near_names(reef, path, said):  # noqa: F811
    answer = reef.get(path)
    assert answer.status_code == 422
    assert said in plain(answer.text)


def test_the_form_of_a_journal_is_filled_from_its_address(reef):  # noqa: F811
    page = reef.get("/journal?log=reading&system=great-reef&subject=calcium&method=titration&note=x").text
    assert 'name="subject" list="offered" autocomplete="off" maxlength="120" required value="calcium"' in page
    assert 'name="method" autocomplete="off" maxlength="60" value="titration"' in page
    other = reef.get("/journal?log=service&system=great-reef&subject=salt&method=new-lot").text
    assert 'name="other_method" autocomplete="off" maxlength="60" value="new-lot"' in other
    assert "<script>" not in reef.get("/journal?log=note&system=great-reef&note=%22%3E%3Cscript%3E").text


@pytest.mark.parametrize("scripted", [True, False])
def test_a_thumb_logs_from_a_label(browser, reef, scripted):  # noqa: F811
    base = str(reef.base_url).rstrip("/")
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, java_script_enabled=scripted
    )
    page = context.new_page()
    page.goto(base + OF["instrument"])
    page.locator("input[name=value]").fill("8,0")
    page.get_by_role("button", name="Log it").first.tap()
    page.get_by_text("Logged 8 dKH alkalinity").wait_for()
    assert newest(reef, "reading").method == "titration"
    page.goto(base + OF["equipment"])
    page.get_by_role("radio", name="refilled").tap()
    page.get_by_role("button", name="Log it").tap()
    page.get_by_text("Undo").wait_for()
    assert newest(reef, "service").method == "refilled"
    page.goto(base + OF["vessel"])
    page.get_by_role("link", name="Top-off").tap()
    page.get_by_label("Amount").fill("3")
    page.get_by_role("button", name="Log it").tap()
    page.get_by_text("Undo").wait_for()
    assert newest(reef, "topoff").extra["vessel"] == "display"
    context.close()


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
def test_axe_finds_nothing_and_every_target_fits_a_thumb(browser, reef, light):  # noqa: F811
    base = str(reef.base_url).rstrip("/")
    for width in WIDTHS:
        with in_light(browser, base, light, width) as page:
            for shown, path in {**OF, "labels": "/system/great-reef/labels"}.items():
                page.goto(base + path)
                well_made(page, f"label-{shown}-{width}-{light}")
                small = page.eval_on_selector_all(
                    "main .button, main button, main .chip span, main .tick, main select, main input[type=text]",
                    "found => found.filter(x => x.checkVisibility() && !x.classList.contains('unseen'))"
                    ".map(x => [x.outerHTML.slice(0, 90), x.getBoundingClientRect().height])"
                    ".filter(([, high]) => high < 47.5)",
                )
                assert small == [], (shown, width)
