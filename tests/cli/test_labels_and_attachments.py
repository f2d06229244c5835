"""Files of entries and labels at the prompt: whole commands over a real store."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from tests.app.test_attachments import HTML, PDF
from tests.app.test_photographs import saved, scene
from tests.cli.prompt import one_line, process
from tests.present.scan import NEEDED, drawn, scanned

pytestmark = pytest.mark.door
AT = "http://192.168.1.20:8077"


@pytest.fixture
def entry(north):
    return north("log", "reading", "north-room", "alkalinity", "8.1", "dKH", "--json").json["id"]


def test_a_file_goes_in_is_listed_and_comes_out(north, entry, tmp_path):
    pdf = tmp_path / "report.pdf"
    pdf.write_bytes(PDF)
    kept = north("entry", "attach", entry, pdf, "--note", "the laboratory's", "--json").json
    assert (kept["schema"], kept["name"], kept["media_type"]) == ("leadline.file/1", "report.pdf", "application/pdf")
    assert north("entry", "attach", entry, pdf).code == 0  # once more is the same one
    (tmp_path / "shot.jpg").write_bytes(saved(scene()))
    assert "Kept shot.jpg" in north("entry", "attach", entry, tmp_path / "shot.jpg").out
    listed = north("entry", "files", entry, "--json").json["files"]
    assert {f["name"] for f in listed} == {"report.pdf", "shot.jpg"}
    assert "report.pdf  PDF, 69 bytes  2026-06-01  the laboratory's" in north("entry", "files", entry).out
    shown = north("entry", "show", entry, "--json").json
    assert (shown["schema"], shown["state"], len(shown["files"])) == ("leadline.whole-entry/1", "stands", 2)
    done = north("entry", "file", entry, kept["id"], "--out", tmp_path / "out.pdf")
    assert done.code == 0
    assert (tmp_path / "out.pdf").read_bytes() == PDF
    piped = process("--db", north.db, "entry", "file", entry, kept["id"])
    assert piped.out.encode() == PDF
    assert "Removed report.pdf" in north("entry", "drop-file", entry, kept["id"]).out
    assert [f["name"] for f in north("entry", "files", entry, "--json").json["files"]] == ["shot.jpg"]


def test_corrected_it_is_shown_with_what_it_was(north, entry, tmp_path):
    (tmp_path / "report.pdf").write_bytes(PDF)
    north("entry", "attach", entry, tmp_path / "report.pdf")
    north("entry", "correct", entry, "8.3", "dKH")
    shown = north("entry", "show", entry)
    assert "[corrected]" in shown.out
    assert re.search(r"also [0-9a-f]{16}: 8.3 dKH  this one counts", shown.out)
    assert "report.pdf" in shown.out
    north("entry", "withdraw", entry)
    assert "[taken back]" in north("entry", "show", entry).out
    assert "report.pdf" in north("entry", "files", entry).out


def test_a_backup_says_that_it_carries_them(north, entry, tmp_path):
    (tmp_path / "report.pdf").write_bytes(PDF)
    kept = north("entry", "attach", entry, tmp_path / "report.pdf", "--json").json["id"]
    assert ", 1 files, read back and found whole" in north("backup", tmp_path / "copy.db").out
    north("entry", "drop-file", entry, kept)
    assert north("restore", tmp_path / "copy.db", "--yes", "--json").json["files"] == 1
    assert "report.pdf" in north("entry", "files", entry).out


def test_what_cannot_be_done_is_one_line(north, entry, tmp_path):
    (tmp_path / "page.png").write_bytes(HTML)
    for words, said_of_it in (
        (("attach", entry, tmp_path / "page.png"), "page.png: this is a web page or a drawing"),
        (("attach", entry, tmp_path / "none.pdf"), "there is no such file"),
        (("attach", entry, tmp_path), "this is a folder"),
        (("attach", "nowhere", tmp_path / "page.png"), "unknown entry 'nowhere'"),
        (("files", "nowhere"), "unknown entry 'nowhere'"),
        (("show", "nowhere"), "unknown entry 'nowhere'"),
        (("file", entry, "nowhere"), "unknown file 'nowhere'"),
        (("drop-file", entry, "nowhere"), "unknown file 'nowhere'"),
    ):
        done = north("entry", *words)
        assert done.code == 2
        assert said_of_it in one_line(done)


@NEEDED
def test_labels_as_one_file_that_needs_no_other(north, tmp_path):
    done = north("system", "labels", "north-room", "--address", AT, "--out", tmp_path / "labels.html")
    assert done.code == 0, done.err
    assert "4 labels in" in done.out
    page = (tmp_path / "labels.html").read_text()
    assert re.findall(r"<(?:script|link|img|iframe)\b|url\(|@import", page) == []
    assert page.count('class="code"') == 4
    (tmp_path / "code.png").write_bytes(drawn(re.search(r"<svg.*?</svg>", page, re.DOTALL)[0]))
    assert scanned(tmp_path / "code.png") == [f"{AT}/at/north-room/vessel/north-room"]
    some = north("system", "labels", "north-room", "--address", AT, "--only", "instrument", "--only", "heater-1",
                 "--size", "grid", "--skip", "3", "--out", tmp_path / "some.html", "--json").json  # fmt: skip
    assert [x["address"].removeprefix(f"{AT}/at/north-room/") for x in some["labels"]] == [
        "equipment/heater-1", "instrument/alkalinity-titration"
    ]  # fmt: skip
    assert (tmp_path / "some.html").read_text().count('class="place free"') == 3


@NEEDED
def test_labels_as_svg(north, tmp_path):
    assert north("system", "labels", "north-room", "--address", AT, "--svg", tmp_path / "codes").code == 0
    found = {p.name: p.read_text() for p in (tmp_path / "codes").iterdir()}
    assert set(found) == {
        "vessel-north-room.svg", "equipment-heater-1.svg", "probe-temperature.svg",
        "instrument-alkalinity-titration.svg",
    }  # fmt: skip
    for name, svg in found.items():
        ET.fromstring(svg)
        (tmp_path / "code.png").write_bytes(drawn(svg))
        kind, _, ident = name.removesuffix(".svg").partition("-")
        assert scanned(tmp_path / "code.png") == [f"{AT}/at/north-room/{kind}/{ident}"]


def test_the_address_comes_from_the_orders_or_must_be_said(north, tmp_path):
    done = north("system", "labels", "north-room", "--out", tmp_path / "labels.html")
    assert done.code == 2
    assert "--address" in one_line(done)
    orders = north.file("orders.toml", '[watch]\naddress = "http://reef.local:8077"\n')
    assert north("watch", "orders", orders, "--nobody").code == 0
    assert north("system", "labels", "north-room", "--out", tmp_path / "labels.html").code == 0
    assert "reef.local:8077/at/north-room" in (tmp_path / "labels.html").read_text()
    here = north("system", "labels", "north-room", "--address", "http://localhost:8077", "--out", tmp_path / "x.html")
    assert here.code == 0
    assert "a phone can't reach it" in one_line(here)


@pytest.mark.parametrize(
    ("words", "said_of_it"),
    [
        (("nowhere", "--address", AT, "--out", "x.html"), "unknown system 'nowhere'"),
        (("north-room", "--address", "reef/at", "--out", "x.html"), "is no web address"),
        (("north-room", "--address", AT, "--size", "a5", "--out", "x.html"), "unknown size of labels"),
        (("north-room", "--address", AT, "--only", "heater-2", "--out", "x.html"), "Did you mean"),
        (("north-room", "--address", AT), "say where the labels go"),
        (("north-room", "--address", AT, "--out", "/nowhere/at/all.html"), "can't be written"),
    ],
)
def test_labels_that_cannot_be_made_are_one_line(north, words, said_of_it):
    done = north("system", "labels", *words)
    assert done.code in (2, 3)
    assert said_of_it in one_line(done)
