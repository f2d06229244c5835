"""Files kept with entries: what they are is told by their bytes, and nothing that could run is kept."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import zipfile

import openpyxl
import pytest
from PIL import Image
from tests.app.keeper import NOW, Keeper
from tests.app.test_photographs import camera, opened, saved, scene, tells_place

from leadline.app import attachments, read_journal, record, safeguard
from leadline.app.ports import Attachment
from leadline.measures.errors import BadInput, UnknownName
from leadline.store.restore import restore
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.story

# the smallest whole PDF: header, one object, trailer and end mark (ISO 32000-1, 7.5)
PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
TABLE = b"Date;Salinity;Alk\n14.02.2026;35,1;7,9\n17.02.2026;35,0;7,7\n"
HTML = b"<!DOCTYPE html><script>alert(document.domain)</script>"
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


def workbook(**more: bytes) -> bytes:
    out = io.BytesIO()
    book = openpyxl.Workbook()
    book.active.append(["Date", "Alk"])
    book.save(out)
    with zipfile.ZipFile(out, "a") as archive:
        for name, content in more.items():
            archive.writestr(name, content)
    return out.getvalue()


@pytest.fixture
def entry(keeper: Keeper) -> str:
    return keeper.types("alkalinity", "8.1", "dKH").entry.id


def keep(keeper: Keeper, entry: str, name: str, content: bytes, note: str = "") -> Attachment:
    return attachments.keep(keeper.store, keeper.clock, entry, name, content, note)


def refused(keeper: Keeper, entry: str, name: str, content: bytes, what: str) -> None:
    """One line that names the file, says what it is and what to do; nothing is kept."""
    with pytest.raises(BadInput, match=what) as caught:
        keep(keeper, entry, name, content)
    assert "\n" not in str(caught.value)
    assert caught.value.where
    assert caught.value.way_out.endswith(".")
    assert attachments.of(keeper.store, entry) == []


@pytest.mark.parametrize(
    ("name", "content", "media_type", "called"),
    [
        ("report.pdf", PDF, "application/pdf", "report.pdf"),
        ("Report.TXT", PDF, "application/pdf", "Report.TXT.pdf"),
        ("table.csv", TABLE, "text/csv", "table.csv"),
        ("messung.csv", "Größe;°dKH\n1;2\n".encode("cp1252"), "text/csv", "messung.csv"),
        ("measured.txt", "a\tb\n1\t2\n".encode("utf-16"), "text/csv", "measured.txt"),
        ("page.html", b"only words, no page", "text/plain", "page.html.txt"),
        ("words", b"Ordinary words, in two\nlines of prose.", "text/plain", "words.txt"),
        ("book.xlsx", workbook(), attachments.XLSX, "book.xlsx"),
        ("book.zip", workbook(), attachments.XLSX, "book.zip.xlsx"),
        ("evil.html", saved(scene(), "PNG"), "image/png", "evil.html.png"),
        ("photo.jpg", saved(scene(), "WEBP"), "image/webp", "photo.jpg.webp"),
        ("photo.JPEG", saved(scene(), "JPEG"), "image/jpeg", "photo.JPEG"),
    ],
)
def test_what_it_is_its_bytes_say(keeper, entry, name, content, media_type, called):
    kept = keep(keeper, entry, name, content, " from the  laboratory\n")
    assert (kept.media_type, kept.name, kept.note, kept.added_at) == (media_type, called, "from the laboratory", NOW)
    again, bytes_ = attachments.content(keeper.store, entry, kept.id)
    assert again == kept
    assert kept.size == len(bytes_)
    assert kept.id == hashlib.blake2b(bytes_, digest_size=8).hexdigest()
    if not kept.picture:
        assert bytes_ == content  # to the byte
        with pytest.raises(UnknownName):
            attachments.content(keeper.store, entry, kept.id, small=True)


@pytest.mark.parametrize(
    ("name", "content", "what"),
    [
        ("photo.png", HTML, "a web page or a drawing"),
        ("report.pdf", b"\xef\xbb\xbf \n" + HTML, "a web page or a drawing"),
        ("drawing.png", SVG, "a web page or a drawing"),
        ("drawing.txt", b'<?xml version="1.0"?>' + SVG, "a web page or a drawing"),
        ("comment.csv", b"<!-- a,b\n1,2 -->" + HTML, "a web page or a drawing"),
        ("drawing.csv", SVG.decode().encode("utf-16"), "a web page or a drawing"),
        ("run.txt", b"#!/bin/sh\nrm -r x\n", "this is a program"),
        ("setup.csv", b"MZ\x90\x00\x03\x00\x00\x00" + bytes(200), "nothing that is read here"),
        ("animated.png", b"GIF89a" + bytes(40), "nothing that is read here"),
        ("letter.txt", b"{\\rtf1 hello}", "an RTF document"),
        ("phone.jpg", b"\0\0\0\x18ftypheic" + bytes(100), "HEIC picture, which cannot be read here"),
        ("still.png", b"\0\0\0\x1cftypavif" + bytes(100), "an AVIF picture, which cannot be read here"),
        ("cut.jpg", saved(scene())[:400], "damaged or cut short"),
        ("cut.pdf", PDF[:40], "the PDF is cut short"),
        ("archive.xlsx", b"PK\x03\x04" + bytes(60), "a ZIP archive and no XLSX workbook"),
        ("macro.xlsx", workbook(**{"xl/vbaProject.bin": b"x"}), "holds macros"),
        ("nothing.csv", b"", "the file is empty"),
        ("blank.txt", b"\n \r\n\t", "the file is empty"),
        ("\ud800\n", b"\x81\x00", "nothing that is read here"),
    ],
)
def test_what_is_something_else_is_refused_in_one_line(keeper, entry, name, content, what):
    refused(keeper, entry, name, content, what)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_place_maker_and_whatever_hides_in_a_picture_are_gone(keeper, entry, kind):
    """A polyglot: a whole ZIP and a page behind the picture, another page in its comment; and a place in its EXIF."""
    hidden = b"<html><script>alert(1)</script></html>"
    content = saved(scene(), kind, exif=camera("2026:02:14 18:30:00", turned=6, place=True)) + hidden + workbook()
    if kind == "JPEG":
        content = content[:2] + b"\xff\xfe" + (len(hidden) + 2).to_bytes(2, "big") + hidden + content[2:]
    assert tells_place(content)
    kept = keep(keeper, entry, "photo", content)
    bytes_ = attachments.content(keeper.store, entry, kept.id)[1]
    assert not tells_place(bytes_)
    for trace in (b"<script", b"<html", b"PK\x03\x04", b"MAKER"):
        assert trace not in bytes_
    assert opened(bytes_).getexif()[0x0112] == 6  # it is still shown upright
    # the coded picture itself is untouched: Pillow decodes the same pixels from both
    assert opened(bytes_).tobytes() == opened(content[: content.index(b"PK\x03\x04")]).tobytes()
    small = Image.open(io.BytesIO(attachments.content(keeper.store, entry, kept.id, small=True)[1]))
    assert (small.format, small.size, dict(small.getexif())) == ("JPEG", (320, 480), {})


def test_the_same_file_is_kept_once(keeper, entry):
    first = keep(keeper, entry, "report.pdf", PDF, "first")
    assert keep(keeper, entry, "other.pdf", PDF, "second") == first
    assert attachments.of(keeper.store, entry) == [first]
    other = keeper.types("alkalinity", "8.2", "dKH").entry.id
    assert keep(keeper, other, "report.pdf", PDF).id == first.id
    shot = saved(scene(), exif=camera("2026:02:14 18:30:00", place=True))
    assert keep(keeper, entry, "a.jpg", shot).id == keep(keeper, entry, "b.jpg", shot).id


def test_size_and_number_have_an_end(keeper, entry):
    most = b"a,b\n" * 5_000_000  # 20 MB to the byte
    assert len(most) == 20_000_000
    refused(keeper, entry, "long.csv", most + b"1", "it has 20.0 MB, more than 20 MB")
    for n in range(20):
        keep(keeper, entry, f"{n}.txt", f"the {n}th".encode())
    with pytest.raises(BadInput, match="has 20 files already"):
        keep(keeper, entry, "21.txt", b"one more")
    again = keep(keeper, entry, "again.txt", b"the 3th")  # one that is there is no further one
    assert again.name == "3.txt"
    assert len(attachments.of(keeper.store, entry)) == 20
    other = keeper.types("alkalinity", "8.2", "dKH").entry.id
    assert keep(keeper, other, "long.csv", most).size == 20_000_000


@pytest.mark.parametrize(
    ("given", "called"),
    [
        ("C:\\Users\\k\\lab report.pdf", "lab report.pdf"),
        ("../../etc/passwd", "passwd.pdf"),
        ('a"b\r\nSet-Cookie: x=1;.pdf', "a_b Set-Cookie_ x=1;.pdf"),
        ("evil\u202efdp.exe", "evil fdp.exe.pdf"),  # right-to-left override, which turns an ending round
        ("...", "file.pdf"),
        ("", "file.pdf"),
        ("x" * 300 + ".pdf", "x" * 96 + ".pdf"),
        ("Prüfbericht 盐.pdf", "Prüfbericht 盐.pdf"),
    ],
)
def test_a_name_is_fit_for_a_list_and_for_a_folder(keeper, entry, given, called):
    assert keep(keeper, entry, given, PDF).name == called


def test_corrected_and_taken_back_keep_theirs(keeper, entry):
    kept = keep(keeper, entry, "report.pdf", PDF)
    right = record.correct(keeper.store, keeper.clock, entry, "8.3", "dKH")
    also = keep(keeper, right.id, "table.csv", TABLE)
    assert attachments.of(keeper.store, entry) == [kept]
    whole = read_journal.whole(keeper.store, NOW, entry)
    assert (whole.state, [e.id for e in whole.line], whole.stands.id) == ("corrected", [entry, right.id], right.id)
    assert read_journal.whole(keeper.store, NOW, right.id).state == "stands"
    record.withdraw(keeper.store, keeper.clock, entry)
    assert read_journal.whole(keeper.store, NOW, entry).state == "withdrawn"
    lines = read_journal.lines(keeper.store, [entry, right.id])
    assert set(lines[entry]) == set(lines[right.id])
    assert attachments.counts(keeper.store, lines, NOW) == {entry: (0, 2), right.id: (0, 2)}
    assert attachments.counts(keeper.store, lines, NOW - dt.timedelta(days=1)) == {}
    assert attachments.of(keeper.store, right.id) == [also]


def test_dropped_is_gone_and_what_is_not_there_is_said(keeper, entry):
    kept = keep(keeper, entry, "report.pdf", PDF)
    with pytest.raises(UnknownName, match="unknown entry 'nowhere'"):
        keep(keeper, "nowhere", "report.pdf", PDF)
    with pytest.raises(UnknownName, match=f"Did you mean {kept.id}"):
        attachments.drop(keeper.store, entry, kept.id[:-1] + ("0" if kept.id[-1] != "0" else "1"))
    assert attachments.anywhere(keeper.store, kept.id) == (kept, PDF)
    assert attachments.drop(keeper.store, entry, kept.id) == kept
    with pytest.raises(UnknownName):
        attachments.anywhere(keeper.store, kept.id)
    assert attachments.of(keeper.store, entry) == []
    with pytest.raises(UnknownName):
        attachments.content(keeper.store, entry, kept.id)
    with pytest.raises(UnknownName, match="unknown entry"):
        read_journal.whole(keeper.store, NOW, "nowhere")


def test_backup_and_restore_carry_them(keeper, entry, tmp_path):
    kept = keep(keeper, entry, "photo.jpg", saved(scene()))
    contents = safeguard.backup(keeper.store, str(tmp_path / "copy.db"), keeper.clock)
    assert contents.files == 1
    safeguard.restore(restore, str(tmp_path / "copy.db"), str(tmp_path / "new.db"), keeper.clock)
    with SqliteStore.open(tmp_path / "new.db", clock=keeper.clock) as store:
        assert attachments.of(store, entry) == [kept]
        assert attachments.content(store, entry, kept.id) == attachments.content(keeper.store, entry, kept.id)
