"""Write the list of the pages' sentences for translators, bring each language up to it, and compile it.

Usage: .venv/bin/python tools/strings.py [--check] [--new TAG]
With --check nothing is written; it fails when a file has drifted from the code, or a translation lost a gap.
--new begins a language: TAG as BCP 47 writes it, such as de or pt-BR.
"""

from __future__ import annotations

import ast
import pathlib
import re
import struct
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field

ROOT = pathlib.Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "leadline"
LOCALE = SOURCE / "web" / "locale"
LIST = LOCALE / "leadline.pot"
_CALLS = {"_": 1, "gettext": 1, "N_": 1, "ngettext": 2}
_GAP = re.compile(r"%\(\w+\)s|\{\w*\}")
_TAG = re.compile(r"<code>.*?</code>|<[^>]*>")  # what stands in code is typed as it is, in any language


@dataclass(slots=True)
class Message:
    """A sentence, with its plural where it has one, and where it is said."""

    one: str
    many: str = ""
    places: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)  # the translation; several where it counts

    @property
    def of_template(self) -> bool:
        return any(p.endswith(".html") for p in self.places)

    def flags(self) -> str:
        """How its gaps are written, as translators' programs want to know it."""
        text = self.one + self.many
        kinds = [k for k, mark in (("python-format", "%("), ("python-brace-format", "{")) if mark in text]
        return "".join(f", {k}" for k in kinds)


def in_templates() -> Iterator[tuple[str, str, str]]:
    """Every sentence that a template says: its file, the sentence, its plural."""
    from leadline.web.site import templates

    found = templates()
    for path in sorted((SOURCE / "web" / "templates").rglob("*.html")):
        text = path.read_text(encoding="utf-8")
        for line, called, message in found.extract_translations(text, tuple(_CALLS)):  # type: ignore[attr-defined]
            parts = message if isinstance(message, tuple) else (message,)
            yield _told(path, line, called, parts)


def in_code() -> Iterator[tuple[str, str, str]]:
    """The same of the code: what stands in `_(...)`, `N_(...)` and `ngettext(...)`."""
    for path in sorted(SOURCE.rglob("*.py")):
        if path.parts[-2:] == ("measures", "words.py"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            called = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            if called not in _CALLS or not node.args:
                continue
            parts = tuple(a.value if isinstance(a, ast.Constant) else None for a in node.args)
            if parts[0] is None and called in ("_", "gettext") and isinstance(node.args[0], ast.JoinedStr):
                raise SystemExit(f"{path}:{node.lineno}: {called}(f'...') can't be looked up: name its gaps instead")
            if parts[0] is not None:  # else a name: noted with N_ where its sentence stands
                yield _told(path, node.lineno, called, parts)


def _told(path: pathlib.Path, line: int, called: str, parts: tuple[object, ...]) -> tuple[str, str, str]:
    wanted = parts[: _CALLS[called]]
    if not all(isinstance(p, str) for p in wanted):
        raise SystemExit(f"{path}:{line}: {called} takes a sentence that is written out")
    return path.relative_to(ROOT).as_posix(), str(wanted[0]), str(wanted[1]) if len(wanted) > 1 else ""


def messages() -> list[Message]:
    """All sentences, by the first file that says them, then by their words: an order that code may move within."""
    found: dict[str, Message] = {}
    for place, one, many in (*in_templates(), *in_code()):
        there = found.setdefault(one, Message(one))
        there.many = there.many or many
        if place not in there.places:
            there.places.append(place)
    return sorted(found.values(), key=lambda m: (m.places[0], m.one))


# -- the files ---------------------------------------------------------------------------------------------


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n").replace("\t", "\\t") + '"'


def _unquoted(text: str) -> str:
    inside = text.strip()[1:-1]
    return re.sub(r"\\(.)", lambda m: {"n": "\n", "t": "\t"}.get(m[1], m[1]), inside)


def header(tag: str = "", name: str = "", plurals: str = "nplurals=2; plural=(n != 1);") -> str:
    """The first entry: no date, no name of a person or machine, so that the same sentences make the same file."""
    return (
        "Project-Id-Version: leadline\n"
        f"Language: {tag}\nLanguage-Name: {name}\nDecimal-Mark: .\n"
        "MIME-Version: 1.0\nContent-Type: text/plain; charset=UTF-8\nContent-Transfer-Encoding: 8bit\n"
        f"Plural-Forms: {plurals}\n"
    )


def written(found: list[Message], head: str) -> str:
    """A catalogue as text (the format of the GNU gettext manual, "PO Files")."""
    lines = ['msgid ""', 'msgstr ""', *(_quoted(f"{line}\n") for line in head.splitlines()), ""]
    for m in found:
        lines += [f"#: {place}" for place in m.places]
        lines += [f"#{m.flags()}"] if m.flags() else []
        lines.append(f"msgid {_quoted(m.one)}")
        if m.many:
            lines.append(f"msgid_plural {_quoted(m.many)}")
            lines += [f"msgstr[{i}] {_quoted(s)}" for i, s in enumerate(m.said or ["", ""])]
        else:
            lines.append(f"msgstr {_quoted(m.said[0] if m.said else '')}")
        lines.append("")
    return "\n".join(lines)


def read(text: str) -> dict[str, Message]:
    """A catalogue's sentences with what is said for them, by the sentence; the header under the empty one."""
    found: dict[str, Message] = {}
    parts: dict[str, str] = {}
    key = ""

    def close() -> None:
        if "msgid" in parts:
            said = [v for k, v in sorted(parts.items()) if k.startswith("msgstr")]
            found[parts["msgid"]] = Message(parts["msgid"], parts.get("msgid_plural", ""), [], said)
        parts.clear()

    for line in text.splitlines():
        began = re.match(r'(msgid_plural|msgid|msgstr(?:\[\d\])?)\s+(".*")$', line)
        if began:
            if began[1] == "msgid":
                close()
            key = began[1]
            parts[key] = _unquoted(began[2])
        elif line.startswith('"') and key:
            parts[key] += _unquoted(line)
    close()
    return found


def compiled(found: dict[str, Message]) -> bytes:
    """A catalogue as the standard library reads it (the GNU gettext manual, "MO Files")."""
    pairs = []
    for m in found.values():
        if all(m.said):
            one = f"{m.one}\0{m.many}" if m.many else m.one
            pairs.append((one.encode(), "\0".join(m.said).encode()))
    pairs.sort()
    at, tables, data = 28 + 16 * len(pairs), ([], []), b""
    for side in (0, 1):
        for pair in pairs:
            tables[side].append(struct.pack("<II", len(pair[side]), at + len(data)))
            data += pair[side] + b"\0"
    start = struct.pack("<7I", 0x950412DE, 0, len(pairs), 28, 28 + 8 * len(pairs), 0, 0)
    return start + b"".join(tables[0]) + b"".join(tables[1]) + data


def _lone_percent(text: str) -> bool:
    return bool(re.search(r"%(?!\(\w+\)s)", text.replace("%%", "")))


def faults(found: dict[str, Message]) -> list[str]:
    """What a translation lost or brought in: gaps and markup are those of the sentence, whatever their order."""
    wrong = []
    for m in found.values():
        for said in (s for s in m.said if m.one and s):
            for what, pattern in (("gaps", _GAP), ("markup", _TAG)):
                theirs = sorted(pattern.findall(said))
                if theirs not in (sorted(pattern.findall(m.one)), sorted(pattern.findall(m.many or m.one))):
                    wrong.append(f"{said!r}: its {what} are not those of {m.one!r}")
            if _lone_percent(said) and not _lone_percent(m.one):
                wrong.append(f"{said!r}: a percent sign that begins no gap is written twice, as in the sentence")
            if '"' in said and '"' not in m.one:
                wrong.append(f"{said!r}: a straight quotation mark would end an attribute; use the language's own")
    return wrong


def main(arguments: list[str]) -> int:
    check = "--check" in arguments
    known, drifted = messages(), []

    def keep(path: pathlib.Path, new: bytes) -> None:
        if not path.is_file() or path.read_bytes() != new:
            drifted.append(path.relative_to(ROOT).as_posix())
            if not check:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(new)

    keep(LIST, written(known, header()).encode())
    if "--new" in arguments:
        tag = arguments[arguments.index("--new") + 1]
        place = LOCALE / tag.replace("-", "_") / "LC_MESSAGES" / "leadline.po"
        if not place.exists():
            keep(place, written(known, header(tag, tag)).encode())
    wrong: list[str] = []
    for path in sorted(LOCALE.glob("*/LC_MESSAGES/leadline.po")):
        had = read(path.read_text(encoding="utf-8"))
        for m in known:
            m.said = had[m.one].said if m.one in had and bool(had[m.one].many) == bool(m.many) else []
        text = written(known, had[""].said[0])
        keep(path, text.encode())
        wrong += [f"{path.relative_to(ROOT).as_posix()}: {w}" for w in faults(read(text))]
        keep(path.with_suffix(".mo"), compiled(read(text)))
    for name in drifted:
        print(f"{name}: {'has drifted from the code; run make docs' if check else 'written anew'}")
    for line in wrong:
        print(line)
    return 1 if (check and drifted) or wrong else 0


if __name__ == "__main__":
    sys.path[:0] = [str(ROOT / "src"), str(ROOT)]
    sys.exit(main(sys.argv[1:]))
