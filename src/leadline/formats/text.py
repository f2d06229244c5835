"""Text files as they come: encodings, delimiters, quotes that never close, one clear line for each trouble."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from leadline.measures.errors import BadInput, Unreachable

_MARKS = (  # byte order marks, longest first
    (b"\xff\xfe\x00\x00", "utf-32"), (b"\x00\x00\xfe\xff", "utf-32"), (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"),
)  # fmt: skip
_NOT_TEXT = {
    b"%PDF": "a PDF", b"\xd0\xcf\x11\xe0": "an old .xls workbook", b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture", b"\x1f\x8b": "a compressed file", b"SQLite format 3": "a database",
}  # fmt: skip
BROKEN_QUOTES_SHOWN = 50
_FORMULA = re.compile(r"'*[=+\-@\t\r\0]")  # OWASP ASVS 5.0.0, 1.2.10: what a spreadsheet takes for a formula
_GUARDED = re.compile(r"''*[=+\-@\t\r\0]")


@dataclass(frozen=True, slots=True)
class Broken:
    """A line that breaks the quoting rules: why, and its cells as they would be without any quotes."""

    reason: str
    fields: tuple[str, ...] = ()


Rows = Iterator[tuple[int, "list[str] | Broken"]]


def read_bytes(path: Path) -> bytes:
    """The whole file.

    Raises
    ------
    BadInput
        When it is missing, a folder, or empty.
    Unreachable
        When it is there and may not be read.
    """
    name = str(path)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        near = _near(path)
        way_out = f"Did you mean {near}?" if near else "Check the path."
        raise BadInput("no such file", where=name, way_out=way_out) from None
    except IsADirectoryError:
        raise BadInput("is a folder", where=name, way_out="Name the files in it.") from None
    except OSError as exc:
        raise Unreachable(f"cannot be read ({exc.strerror})", where=name, way_out="Check its permissions.") from exc
    if not data.strip():
        raise BadInput("is empty", where=name, way_out="A file needs one header row and rows below it.")
    return data


def _near(path: Path) -> str:
    import difflib

    try:
        names = [p.name for p in path.parent.iterdir()]
    except OSError:
        return ""
    found = difflib.get_close_matches(path.name, names, n=1, cutoff=0.75)
    return str(path.with_name(found[0])) if found else ""


def decode(data: bytes, file: str, encoding: str | None = None, else_as: str = "") -> tuple[str, list[str]]:
    """Text of a file, and what the keeper should know about how it was read.

    UTF-8, with or without a mark, and anything that carries a byte order mark is read without asking. Other
    encodings are not guessed: the error names the first offending line and how Windows-1252 would read it.
    `else_as` is the encoding of an earlier file of the same kind, used when this one is not UTF-8.

    Raises
    ------
    BadInput
        When it is no text, or not in UTF-8 and no encoding was named.
    """
    for head, what in _NOT_TEXT.items():
        if data.startswith(head):
            raise BadInput(f"is {what}, not text", where=file, way_out="Save it as CSV (UTF-8) or XLSX.")
    mark = next((name for head, name in _MARKS if data.startswith(head)), None)
    chosen = encoding or mark or "utf-8"
    try:
        text = _decoded(data, chosen, else_as)
    except LookupError:
        raise BadInput(f"unknown encoding {encoding!r}", way_out="For example utf-8, cp1252 or utf-16.") from None
    except UnicodeDecodeError as exc:
        raise _undecodable(data, file, chosen, exc) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise BadInput("is not text (a zero byte)", where=f"{file}:{line}", way_out="Save it as CSV (UTF-8) or XLSX.")
    notes = [f"{file}: read as {chosen.upper()}"] if mark and mark.startswith(("utf-16", "utf-32")) else []
    return text.removeprefix("\ufeff"), notes


def _decoded(data: bytes, chosen: str, else_as: str) -> str:
    try:
        return data.decode(chosen)
    except UnicodeDecodeError:
        if not else_as or chosen != "utf-8":
            raise
        return data.decode(else_as)


def _undecodable(data: bytes, file: str, chosen: str, exc: UnicodeDecodeError) -> BadInput:
    line = data.count(b"\n", 0, exc.start) + 1
    start = data.rfind(b"\n", 0, exc.start) + 1
    around = data[max(start, exc.start - 12) : exc.start + 12].split(b"\n")[0]
    shown = around.decode("cp1252", "replace").strip()
    what = f"byte 0x{data[exc.start]:02X} is not {chosen.upper()}"
    if any(b < 9 for b in data[:4096]):
        return BadInput(f"is not text ({what})", where=f"{file}:{line}", way_out="Save it as CSV (UTF-8) or XLSX.")
    way_out = f"Save the file as UTF-8, or add --encoding cp1252 if this reads right: {shown!r}"
    if 0x80 <= data[exc.start] < 0xA0:  # where Mac Roman has its accented letters, and Windows next to none
        way_out += f", or --encoding mac_roman if this does: {around.decode('mac_roman').strip()!r}"
    way_out += "."
    return BadInput(what, where=f"{file}:{line}", way_out=way_out)


def delimiter_of(text: str) -> str:
    """The delimiter: comma, semicolon or tab. The header of a contract file tells; else the one that parts best."""
    # not splitlines(): that parts at signs which are data within a field
    lines = [line for line in text[:20_000].replace("\r", "\n").split("\n")[:60] if line.strip()][:20]
    for delimiter in (",", ";", "\t"):
        names = {name.strip().strip('"').lower() for name in lines[0].split(delimiter)} if lines else set()
        if {"time", "kind"} <= names or {"time", "stream", "value"} <= names:
            return delimiter
    best, best_score = ",", 0.0
    for delimiter in (",", ";", "\t"):
        counts = [len(fields) - 1 for fields in csv.reader(lines, delimiter=delimiter)]
        usual = max(set(counts), key=lambda n: (counts.count(n), n)) if counts else 0
        score = usual and counts.count(usual) / len(counts) * (1 + min(usual, 20) / 20)
        if score > best_score + 1e-9:
            best, best_score = delimiter, score
    return best


def records(text: str, delimiter: str = ",") -> Rows:
    """Rows of a CSV as (line where it starts, fields); one that breaks the quoting rules is `Broken`.

    After a broken row reading goes on at the next line, so that one stray quote does not swallow the file.
    """
    # not splitlines(): that parts at form feeds and other signs that are data within a field
    lines = list(io.StringIO(text, newline=""))
    at, broken = 0, 0
    while at < len(lines):
        reader = csv.reader(lines[at:] if at else lines, delimiter=delimiter, strict=True)
        base, start = at, at
        try:
            for fields in reader:
                if fields:
                    yield start + 1, fields
                start = base + reader.line_num
            return
        except csv.Error as exc:
            broken += 1
            yield start + 1, Broken(_quoting(str(exc)), tuple(lines[start].strip().replace('"', "").split(delimiter)))
            if broken >= BROKEN_QUOTES_SHOWN:
                yield start + 2, Broken("too many broken rows; the rest of the file was not read")
                return
            at = start + 1


def _quoting(message: str) -> str:
    if "unexpected end" in message or "field larger" in message:
        return "a quote opened in this row is never closed; double a quote inside text, or close it"
    if "expected after" in message:
        return "a quoted text goes on after its closing quote; write a quote inside text as two quotes"
    return f"this row is no valid CSV ({message})"


def guarded(cell: str) -> str:
    """A cell of words with a quote before it where a spreadsheet would otherwise reckon with it."""
    return f"'{cell}" if _FORMULA.match(cell) else cell


def bare(cell: str) -> str:
    """The cell as it was before it was guarded."""
    return cell[1:] if _GUARDED.match(cell) else cell
