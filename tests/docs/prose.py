"""Fenced blocks and links of the project's own pages."""

from __future__ import annotations

import pathlib
import re
from dataclasses import dataclass

ROOT = pathlib.Path(__file__).resolve().parents[2]
_FENCE = re.compile(r"^```(\w+)([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
_CODE = re.compile(r"^```.*?^```$|`[^`\n]*`", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Block:
    """One fenced block: its language, the file that it stands for (or nothing), its text, and its line."""

    language: str
    file: str
    text: str
    line: int


def pages() -> list[pathlib.Path]:
    """Every page of prose that is kept in the repository."""
    return sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md"), *ROOT.glob("changelog.d/*.md")])


def told() -> list[pathlib.Path]:
    """The pages whose examples are run: the README and the guide."""
    return [ROOT / "README.md", *sorted((ROOT / "docs" / "guide").glob("*.md"))]


def blocks(page: pathlib.Path) -> list[Block]:
    """All fenced blocks of a page, in order."""
    text = page.read_text(encoding="utf-8")
    return [
        Block(m[1], m[2].strip(), m[3], text.count("\n", 0, m.start()) + 1) for m in _FENCE.finditer(text)
    ]  # fmt: skip


def links(page: pathlib.Path) -> list[str]:
    """Targets of all links and pictures of a page, code left out."""
    return _LINK.findall(_CODE.sub("", page.read_text(encoding="utf-8")))


def name(page: pathlib.Path) -> str:
    """A page's path in the repository, for test ids."""
    return str(page.relative_to(ROOT))
