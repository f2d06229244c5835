"""Files kept with entries of the journal: photographs, laboratory reports; what a file is, its bytes say.

Nothing that could run in a reader's browser is kept: a picture is taken apart and only what shows it is put back
together (see `photographs.cleaned`), a web page or a drawing (HTML, XML, SVG) is refused under whatever name it comes,
and a workbook with macros too. A file is of the entry that it was given to; a correction or a withdrawal of that entry
takes nothing away from it.
"""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import hashlib
import io
import unicodedata
from collections.abc import Iterable, Mapping

from leadline.app import photographs
from leadline.app.ports import Attachment, Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock

MOST_BYTES = 20_000_000  # judgement: a phone's picture has 2 to 12 MB, a laboratory's report less
MOST_FILES = 20  # with one entry; judgement
PDF, CSV, TEXT = "application/pdf", "text/csv", "text/plain"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
KINDS_SAID = "JPEG, PNG or WebP pictures, PDF, CSV, XLSX and plain text"
ENDINGS: Mapping[str, tuple[str, ...]] = {  # the first is added to a name that has none of them
    "image/jpeg": (".jpg", ".jpeg"), "image/png": (".png",), "image/webp": (".webp",), PDF: (".pdf",),
    CSV: (".csv", ".tsv", ".txt"), TEXT: (".txt", ".csv", ".tsv", ".md", ".log"), XLSX: (".xlsx",),
}  # fmt: skip

_NAME_CHARS = 100
_FORBIDDEN = str.maketrans(dict.fromkeys('<>:"/\\|?*', "_"))  # in names of files, on one system or another
_CODED = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))  # byte order marks
_HEIC = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"heif", b"mif1", b"msf1", b"avif")
_NO_PLAIN_TEXT = {
    "<": "a web page or a drawing (HTML, XML, SVG), which can hold a program", "#!": "a program",
    "%!": "a PostScript program", "{\\rtf": "an RTF document",
}  # fmt: skip
_NO_LETTERS = frozenset(map(chr, (*range(9), 11, *range(14, 32), 127)))
_HEAD = 64_000  # of a text, looked at to tell a table from prose. [characters]


def keep(store: Store, clock: Clock, entry_id: str, name: str, content: bytes, note: str = "") -> Attachment:
    """Keep a file with an entry. One that the entry has already is left as it is, and returned as it was kept.

    Parameters
    ----------
    name
        As its giver calls it; made fit for a list and for a folder.
    content
        A picture (JPEG, PNG, WebP; kept without place, comments and what else isn't needed to show it), a PDF, CSV,
        XLSX or plain text, of at most 20 MB.

    Raises
    ------
    UnknownName
        When there is no such entry.
    BadInput
        When it is none of these, damaged or too large, or the entry has as many files as it may.
    """
    if store.entry(entry_id) is None:
        raise UnknownName("entry", entry_id[:60], (), way_out="Its id stands in the journal and in the export.")
    called = _called(name)
    media_type, kept, small = _looked_at(content, called)
    called = _with_ending(called, media_type)
    there = store.attachments([entry_id])
    made = Attachment(
        hashlib.blake2b(kept, digest_size=8).hexdigest(), entry_id, called, media_type, len(kept), clock.now(),
        _line(note)[:400],
    )  # fmt: skip
    for old in there:
        if old.id == made.id:
            return old
    if len(there) >= MOST_FILES:
        raise BadInput(
            f"the entry has {len(there)} files already",
            where=called,
            way_out="Remove one, or keep this with another entry.",
        )
    store.add_attachment(made, kept, small)
    return made


def of(store: Store, entry_id: str) -> list[Attachment]:
    """The files of an entry, the oldest first."""
    return store.attachments([entry_id])


def content(store: Store, entry_id: str, ident: str, *, small: bool = False) -> tuple[Attachment, bytes]:
    """A file with its bytes, or with those of its small picture.

    Raises
    ------
    UnknownName
        When the entry has no such file, or it is no picture and has no small one.
    """
    found = store.attachment_content(ident, entry_id, small=small)
    if found is None:
        raise _unknown(store, entry_id, ident)
    return found


def anywhere(store: Store, ident: str) -> tuple[Attachment, bytes]:
    """A file by its id alone, with whichever entry it was first kept.

    Raises
    ------
    UnknownName
        When no entry has it.
    """
    found = store.attachment_content(ident)
    if found is None:
        raise UnknownName("file", ident[:60], (), way_out="Open it from its entry's page.")
    return found


def drop(store: Store, entry_id: str, ident: str) -> Attachment:
    """Remove a file from an entry, for good.

    Raises
    ------
    UnknownName
        When the entry has no such file.
    """
    found = next((a for a in store.attachments([entry_id]) if a.id == ident), None)
    if found is None or not store.drop_attachment(ident, entry_id):
        raise _unknown(store, entry_id, ident)
    return found


def counts(store: Store, lines: Mapping[str, Iterable[str]], now: dt.datetime) -> dict[str, tuple[int, int]]:
    """How many photographs and other files each line of entries had at `now`; the same file counts once."""
    of_entry: dict[str, dict[str, bool]] = {}
    for a in store.attachments(i for ids in lines.values() for i in ids):
        if a.added_at > now:
            continue
        of_entry.setdefault(a.entry, {})[a.id] = a.picture
    found = {}
    for first, ids in lines.items():
        mine = {k: v for i in ids for k, v in of_entry.get(i, {}).items()}
        if mine:
            found[first] = (sum(mine.values()), len(mine) - sum(mine.values()))
    return found


def too_large(name: str, size: int) -> BadInput:
    """What is said of a file that has too many bytes."""
    return BadInput(
        f"it has {size / 1e6:.1f} MB, more than {MOST_BYTES / 1e6:.0f} MB",
        where=_called(name),
        way_out="Save it smaller, or in parts.",
    )


def _unknown(store: Store, entry_id: str, ident: str) -> UnknownName:
    return UnknownName("file", ident[:60], [a.id for a in of(store, entry_id)], way_out="See what the entry has.")


def _line(text: str) -> str:
    """One line that can be printed: no control characters, none that turn the direction of writing."""
    plain = unicodedata.normalize("NFC", text)
    return " ".join("".join(c if unicodedata.category(c)[0] not in "CZ" else " " for c in plain).split())


def _called(name: str) -> str:
    last = name.replace("\\", "/").rstrip("/").rpartition("/")[2]
    return _line(last).translate(_FORBIDDEN).strip(". ")[-_NAME_CHARS:].strip(". ") or "file"


def _with_ending(name: str, media_type: str) -> str:
    """The name with an ending that its bytes deserve: a program that goes by the ending must not be misled."""
    ends = ENDINGS[media_type]
    return name if name.lower().endswith(ends) else f"{name}{ends[0]}"


def _looked_at(content: bytes, name: str) -> tuple[str, bytes, bytes | None]:
    """What the bytes are, what is kept of them, and the small picture."""
    if not content:
        raise BadInput("the file is empty", where=name, way_out="Choose it again.")
    if len(content) > MOST_BYTES:
        raise too_large(name, len(content))
    if content.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n")) or (content[:4] == b"RIFF" and content[8:12] == b"WEBP"):
        return _picture(content, name)
    if content[4:8] == b"ftyp" and content[8:12] in _HEIC:
        what = "an AVIF" if content[8:12] == b"avif" else "a HEIC"
        raise BadInput(
            f"this is {what} picture, which cannot be read here",
            where=name,
            way_out='Save it as JPEG; a phone takes JPEG when its camera is set to "most compatible".',
        )
    if content.startswith(b"%PDF-"):
        if b"%%EOF" not in content:
            raise BadInput("the PDF is cut short", where=name, way_out="Save it again.")
        return PDF, content, None
    if content.startswith(b"PK\x03\x04"):
        return _workbook(content, name), content, None
    return _text(content, name), content, None


def _picture(content: bytes, name: str) -> tuple[str, bytes, bytes]:
    try:
        seen = photographs.cleaned(content)
    except BadInput as exc:
        raise BadInput(exc.what, where=name, way_out=exc.way_out) from exc
    return seen.media_type, seen.kept, seen.small


def _workbook(content: bytes, name: str) -> str:
    import zipfile

    names: set[str] = set()
    with contextlib.suppress(Exception):  # whatever is wrong with an archive, it is then no workbook
        names = set(zipfile.ZipFile(io.BytesIO(content)).namelist())  # reads the table of contents alone
    if not {"[Content_Types].xml", "xl/workbook.xml"} <= names:
        raise _none_of_these("a ZIP archive and no XLSX workbook, or a damaged one", name)
    if any(n.lower().endswith("vbaproject.bin") for n in names):
        raise BadInput("this workbook holds macros", where=name, way_out="Save it as a plain .xlsx, or as CSV.")
    return XLSX


def _text(content: bytes, name: str) -> str:
    """A table, or prose; in UTF-8, in UTF-16 with a mark, or in Windows-1252."""
    marked = next((code for mark, code in _CODED if content.startswith(mark)), "")
    text = None
    for code in (marked,) if marked else ("utf-8", "cp1252"):
        with contextlib.suppress(UnicodeDecodeError):
            text = content.decode(code)
            break
    if text is None or not _NO_LETTERS.isdisjoint(text):
        raise _none_of_these("nothing that is read here", name)
    begins = text.lstrip("\ufeff \t\r\n\f")
    if not begins:
        raise BadInput("the file is empty", where=name, way_out="Choose it again.")
    for mark, what in _NO_PLAIN_TEXT.items():
        if begins.startswith(mark):
            raise _none_of_these(what, name)
    return CSV if _is_table(begins[:_HEAD]) else TEXT


def _is_table(text: str) -> bool:
    """Whether the first rows have as many cells as the heading, and more than one."""
    for delimiter in ",;\t":
        rows = [len(r) for r in csv.reader(text.splitlines()[:8], delimiter=delimiter) if r][:5]
        if len(rows) > 1 and rows[0] > 1 and len(set(rows)) == 1:
            return True
    return False


def _none_of_these(what: str, name: str) -> BadInput:
    return BadInput(f"this is {what}", where=name, way_out=f"Kept are {KINDS_SAID}.")
