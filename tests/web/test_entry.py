"""One entry's page, its photographs and files: sent from a real browser, served so that nothing can run."""

from __future__ import annotations

import re

import pytest
from tests.app.test_attachments import HTML, PDF, SVG, TABLE, workbook
from tests.app.test_photographs import camera, saved, scene, tells_place
from tests.web import house
from tests.web.looking import WIDTHS, in_light, well_made
from tests.web.test_livestock import built, picture, reef  # noqa: F401 - fixtures
from tests.web.test_pages import plain

from leadline.app import attachments, read_journal
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.door
FEED = {"kind": "feeding", "system": "lagoon", "subject": "pellets", "value": "3", "unit": "g", "token": "t1"}


def opened(reef):  # noqa: F811
    return SqliteStore.open(reef.db, clock=reef.clock, write=False)


def kept(reef, ident):  # noqa: F811
    with opened(reef) as store:
        return attachments.of(store, ident)


def newest(reef, kind="feeding", system="lagoon"):  # noqa: F811
    with opened(reef) as store:
        return read_journal.entries(store, house.NOW, system=system, kind=kind).entries[0].entry


def logged(reef):  # noqa: F811
    reef.post("/journal/log", data=FEED)
    return newest(reef).id


def send(reef, ident, name, content, claimed="application/octet-stream", note=""):  # noqa: F811
    return reef.post(f"/journal/entry/{ident}/attach", data={"note": note}, files={"file": (name, content, claimed)})


def test_one_entry_whole(reef):  # noqa: F811
    sent = {"kind": "reading", "system": "great-reef", "subject": "alkalinity", "value": "8,1", "unit": "dKH"}
    reef.post("/journal/log", data={**sent, "method": "titration", "note": "twice", "time": "2026-02-27T10:15"})
    ident = newest(reef, "reading", "great-reef").id
    with opened(reef) as store:
        ident = next(e.id for e in store.entries("great-reef", kinds=("reading",)) if e.note == "twice")
    page = plain(reef.get(f"/journal/entry/{ident}").text)
    # 8.1 dKH are 8.1 / 2.8 meq/L: one degree is 10 mg/L of CaO, of which 28.04 mg are one milliequivalent (DIN 38409-7)
    for said in ("27 Feb 2026, 10:15", "As typed 8.1 dKH", "As stored 2.88", "meq/L", "Method titration", "Note twice",
                 "Great reef (invented)", ident):  # fmt: skip
        assert said in page
    reef.post("/journal/correct", data={"entry": ident, "value": "8.3", "unit": "dKH"})
    page = reef.get(f"/journal/entry/{ident}")
    assert "corrected" in plain(page.text)
    (other,) = set(re.findall(r'href="/journal/entry/([0-9a-f]{16})"', page.text))
    assert "After: 8.3 dKH" in plain(page.text)
    assert "this one counts" in plain(page.text)
    assert f'href="/journal/entry/{ident}"' in reef.get(f"/journal/entry/{other}").text
    reef.post(f"/livestock/undo/{ident}", data={"to": "/journal"})
    assert "taken back" in plain(reef.get(f"/journal/entry/{ident}").text)
    assert reef.get("/journal/entry/nowhere").status_code == 422
    assert "Traceback" not in reef.get("/journal/entry/%00%ff").text


def test_a_file_is_kept_shown_counted_and_removed(reef):  # noqa: F811
    ident = logged(reef)
    done = send(reef, ident, "shot.png", picture(), "image/png", "the dish")
    assert done.history[0].status_code == 303
    assert "Kept shot.png.jpg" in plain(done.text)
    send(reef, ident, "report.pdf", PDF)
    send(reef, ident, "report.pdf", PDF)  # the same once more
    files = kept(reef, ident)
    assert [a.name for a in files] == ["report.pdf", "shot.png.jpg"]
    assert 'alt="the dish"' in done.text
    assert "1 photograph, 1 file" in plain(reef.get("/journal").text)
    assert "1 photograph" not in plain(reef.get("/journal?as_of=2026-02-28").text)
    pdf = files[0]
    gone = reef.post(f"/journal/entry/{ident}/drop", data={"file": pdf.id, "to": ident})
    assert "Removed the file" in plain(gone.text)
    assert [a.name for a in kept(reef, ident)] == ["shot.png.jpg"]
    assert reef.get(f"/journal/entry/{ident}/file/{pdf.id}").status_code == 422
    assert reef.post(f"/journal/entry/{ident}/drop", data={"file": pdf.id}).status_code == 422


def test_what_is_kept_stays_with_what_was_corrected(reef):  # noqa: F811
    ident = logged(reef)
    send(reef, ident, "report.pdf", PDF)
    reef.post("/journal/correct", data={"entry": ident, "value": "4", "unit": "g"})
    reef.post(f"/livestock/undo/{ident}", data={"to": "/journal"})
    assert [a.name for a in kept(reef, ident)] == ["report.pdf"]
    assert "1 file" in plain(reef.get("/journal?system=lagoon").text)
    whole = reef.get(f"/journal/entry/{ident}")
    for other in set(re.findall(r'href="/journal/entry/([0-9a-f]{16})"', whole.text)):
        assert f"/journal/entry/{ident}/file/" in reef.get(f"/journal/entry/{other}").text


@pytest.mark.parametrize(
    ("name", "content", "media_type", "how"),
    [
        ("shot.jpg", saved(scene()), "image/jpeg", "inline"),
        ("shot.html", saved(scene(), "PNG"), "image/png", "inline"),
        ("report.pdf", PDF, "application/pdf", "attachment"),
        ("page.html", b"words", "text/plain", "attachment"),
        ("table.csv", TABLE, "text/csv", "attachment"),
        ("book.xlsx", workbook(), attachments.XLSX, "attachment"),
    ],
)
def test_how_it_is_served(reef, name, content, media_type, how):  # noqa: F811
    ident = logged(reef)
    send(reef, ident, name, content, "text/html")
    (a,) = kept(reef, ident)
    for query in ("", "?small=1") if a.picture else ("",):
        answer = reef.get(f"/journal/entry/{ident}/file/{a.id}{query}")
        assert answer.status_code == 200
        headers = answer.headers
        assert headers["content-type"] == ("image/jpeg" if query else media_type)
        assert headers["content-disposition"].startswith(f'{how}; filename="{a.name}"')
        assert headers["x-content-type-options"] == "nosniff"
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert policy.endswith("sandbox")
        assert headers["cross-origin-resource-policy"] == "same-origin"


def test_a_name_in_the_header_is_what_it_was(reef):  # noqa: F811
    """RFC 6266, 4.3 and appendix D: both forms; the second in UTF-8 as RFC 8187 codes it."""
    ident = logged(reef)
    send(reef, ident, 'Prüf "1"; x.pdf', PDF)
    (a,) = kept(reef, ident)
    said = reef.get(f"/journal/entry/{ident}/file/{a.id}").headers["content-disposition"]
    assert said == "attachment; filename=\"Pr_f _1_; x.pdf\"; filename*=UTF-8''Pr%C3%BCf%20_1_%3B%20x.pdf"


@pytest.mark.parametrize(("name", "content"), [("a.png", HTML), ("b.jpg", SVG), ("c.csv", SVG), ("d.exe", b"MZ\0\1")])
def test_a_disguise_is_refused_with_one_line(reef, name, content):  # noqa: F811
    ident = logged(reef)
    answer = send(reef, ident, name, content, "image/png", "note as typed")
    assert answer.status_code == 422
    assert name in plain(answer.text)
    assert 'value="note as typed"' in answer.text
    assert kept(reef, ident) == []
    assert send(reef, ident, "", b"").status_code == 422


def test_the_place_is_gone_from_what_is_served(reef):  # noqa: F811
    ident = logged(reef)
    content = saved(scene(), exif=camera("2026:02:14 18:30:00", place=True))
    assert tells_place(content)
    send(reef, ident, "shot.jpg", content)
    (a,) = kept(reef, ident)
    for query in ("", "?small=1"):
        assert not tells_place(reef.get(f"/journal/entry/{ident}/file/{a.id}{query}").content)


def test_an_entry_and_its_photograph_in_one_go(reef):  # noqa: F811
    done = reef.post("/journal/log", data=FEED, files={"file": ("dish.jpg", picture(), "image/jpeg")})
    assert "pellets 3 g" in plain(done.text)
    assert "1 photograph" in plain(done.text)
    assert [a.name for a in kept(reef, newest(reef).id)] == ["dish.jpg"]


def test_a_refused_file_leaves_the_entry_and_sent_again_adds_none(reef):  # noqa: F811
    with opened(reef) as store:
        before = len(store.entries("lagoon"))
    for _ in range(2):  # the second is a reload that sends the form again
        answer = reef.post("/journal/log", data=FEED, files={"file": ("dish.png", HTML, "image/png")})
        assert answer.status_code == 422
        said = plain(answer.text)
        assert "pellets 3 g" in said
        assert "its file was not kept" in said
        assert "dish.png: this is a web page or a drawing" in said
    large = reef.post("/journal/log", data=FEED, files={"file": ("long.csv", b"a,b\n" * 5_500_000, "text/csv")})
    assert "it has 22.0 MB, more than 20 MB" in plain(large.text)
    with opened(reef) as store:
        assert len(store.entries("lagoon")) == before + 1
    ident = newest(reef).id
    assert f'action="/journal/entry/{ident}/attach"' in answer.text
    assert kept(reef, ident) == []


def test_far_too_much_is_not_even_read(reef):  # noqa: F811
    ident = logged(reef)
    answer = send(reef, ident, "long.csv", bytes(42_000_000))
    assert answer.status_code == 413
    assert kept(reef, ident) == []


def test_a_report_that_can_be_imported_says_so(reef):  # noqa: F811
    ident = logged(reef)
    send(reef, ident, "report.csv", TABLE)
    send(reef, ident, "notes.csv", b"colour,smell\nred,none\n")
    report = next(a for a in kept(reef, ident) if a.name == "report.csv")
    page = reef.get(f"/journal/entry/{ident}").text
    assert re.findall(r'href="/import\?from=([0-9a-f]+)"', page) == [report.id]


def test_as_it_was_before_the_file_came(reef):  # noqa: F811
    with opened(reef) as store:
        old = read_journal.entries(store, house.NOW, system="lagoon", kind="reading").entries[5].entry
    send(reef, old.id, "report.pdf", PDF)
    assert "report.pdf" in reef.get(f"/journal/entry/{old.id}").text
    then = reef.get(f"/journal/entry/{old.id}?as_of=2026-02-28T20:00Z").text
    assert "report.pdf" not in then
    assert "/attach" not in then


def test_a_phone_logs_with_a_photograph_and_adds_another(browser, reef, tmp_path):  # noqa: F811
    shot = tmp_path / "IMG_0001.jpg"
    shot.write_bytes(picture())
    long = tmp_path / "long.csv"
    long.write_bytes(b"a,b\n" * 5_500_000)
    base = str(reef.base_url).rstrip("/")
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(base + "/journal?log=feeding&system=lagoon")
    page.get_by_label("Food").fill("pellets")
    page.get_by_label("Amount").fill("2,5")
    page.get_by_text("Note, time, photograph or report").tap()
    page.get_by_label("Photograph or report").set_input_files(long)
    page.get_by_text("long.csv has 22.0 MB, more than 20 MB").wait_for()
    page.get_by_role("button", name="Log it").tap()
    assert page.url.endswith("system=lagoon")  # it waits, with all that was typed
    assert page.get_by_label("Amount").input_value() == "2,5"
    page.get_by_label("Photograph or report").set_input_files(shot)
    page.get_by_role("button", name="Log it").tap()
    page.get_by_text("Undo").wait_for()
    ident = newest(reef).id
    assert [a.name for a in kept(reef, ident)] == ["IMG_0001.jpg"]
    page.locator(f'a[href="/journal/entry/{ident}"]').tap()
    camera_field = page.get_by_label("Take a photograph")
    assert camera_field.get_attribute("capture") == "environment"
    other = tmp_path / "IMG_0002.png"
    other.write_bytes(saved(scene(), "PNG"))
    camera_field.set_input_files(other)
    page.get_by_label("Note").fill("from above")
    page.get_by_role("button", name="Keep it").tap()
    page.get_by_text("Kept IMG_0002.png").wait_for()
    shown = page.get_by_role("img", name="from above")
    shown.scroll_into_view_if_needed()
    page.wait_for_function("img => img.complete && img.naturalWidth > 0", arg=shown.element_handle())
    small = [
        (t, w, h) for t, w, h in page.eval_on_selector_all(
            "main a.button, main button, main summary, main input:not([type=hidden])",
            "found => found.filter(x => x.checkVisibility()).map(x => [x.outerHTML.slice(0, 80),"
            " x.getBoundingClientRect().width, x.getBoundingClientRect().height])")
        if h < 47.5 or w < 47.5
    ]  # fmt: skip
    assert small == []
    context.close()


def test_a_kept_file_runs_nothing_in_a_browser(browser, reef):  # noqa: F811
    """Words that a browser might take for a page, and a picture with one in its comment, opened by their address."""
    ident = logged(reef)
    content = saved(scene())
    send(reef, ident, "shot.jpg", content[:2] + b"\xff\xfe\x00\x32" + HTML[:48].ljust(48) + content[2:])
    (a,) = kept(reef, ident)
    base = str(reef.base_url).rstrip("/")
    page = browser.new_page()
    ran = []
    page.on("dialog", lambda dialog: (ran.append(dialog.message), dialog.dismiss()))
    answer = page.goto(f"{base}/journal/entry/{ident}/file/{a.id}")
    assert answer.header_value("content-type") == "image/jpeg"
    assert page.evaluate("document.contentType") == "image/jpeg"
    assert ran == []
    send(reef, ident, "page.html", b"words <script>alert(1)</script>")
    words = next(x for x in kept(reef, ident) if x.media_type == "text/plain")
    page.goto(f"{base}/journal/entry/{ident}")
    page.locator(f'a[href$="{words.id}"]').evaluate(
        "link => link.removeAttribute('download')"
    )  # the header alone decides
    with page.expect_download() as got:
        page.locator(f'a[href$="{words.id}"]').click()
    assert got.value.suggested_filename == "page.html.txt"
    assert ran == []
    page.close()


@pytest.mark.parametrize("light", ["day", "dusk", "night"])
def test_axe_finds_nothing(browser, reef, light):  # noqa: F811
    ident = logged(reef)
    send(reef, ident, "shot.jpg", picture())
    send(reef, ident, "report.csv", TABLE)
    reef.post("/journal/correct", data={"entry": ident, "value": "4", "unit": "g"})
    base = str(reef.base_url).rstrip("/")
    paths = {"entry": f"/journal/entry/{ident}", "journal-service": "/journal?log=service&system=great-reef",
             "journal-vessel": "/journal?log=exchange&system=great-reef&vessel=sump"}  # fmt: skip
    for width in WIDTHS:
        with in_light(browser, base, light, width) as page:
            for shown, path in paths.items():
                page.goto(base + path)
                well_made(page, f"{shown}-{width}-{light}")
