"""Every example of the README and the guide is run, in order, as a newcomer would."""

from __future__ import annotations

import datetime as dt
import os
import pathlib
import re
import shlex
import subprocess
import sys
import zoneinfo

import pytest
from tests.docs import prose

from leadline.model import scenario
from leadline.system import orders
from leadline.system.description import parse

NOW = "2026-03-01T08:00:00Z"  # after the dates that the examples use
_NEVER_ENDS = {"serve", "demo"}  # `plan` exits with 1 where something is due
_LANGUAGES = {"console", "toml", "csv", "python", "nginx"}  # the last runs in tests/web/test_proxy.py
_TARGETS = set(re.findall(r"^([a-z-]+):", (prose.ROOT / "Makefile").read_text(), re.MULTILINE))


def _run(words: list[str], folder: pathlib.Path) -> str:
    env = {
        **os.environ, "LEADLINE_DB": str(folder / "store.db"), "LEADLINE_NOW": NOW,
        "PYTHONPATH": str(prose.ROOT / "src"), "NO_COLOR": "1",
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-m", "leadline", *words], cwd=folder, env=env, capture_output=True, text=True, check=False,
        stdin=subprocess.DEVNULL, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0 or (words[0] == "plan" and done.returncode == 1), (
        f"leadline {shlex.join(words)}\n{done.stdout}{done.stderr}"
    )
    return done.stdout + done.stderr


def _command(line: str, folder: pathlib.Path) -> str:
    words = shlex.split(line, comments=True)
    if words[0] == "make":
        assert len(words) == 2, line
        assert words[1] in _TARGETS, f"make has no target {words[1]}"
        return ""
    if words[0] == "alias":
        return ""
    assert words[0] == "leadline", f"not a command that can be tried: {line}"
    if words[1] in _NEVER_ENDS and "--no-serve" not in words:
        words = [words[0], words[1], "--help"]
    into = None
    if ">" in words:
        words, into = words[: words.index(">")], words[-1]
    said = _run(words[1:], folder)
    if into:
        (folder / into).write_text(said)
    return said


def _console(text: str, folder: pathlib.Path, where: str) -> None:
    said = ""
    for line in text.splitlines():
        if line.startswith("$ "):
            said = _command(line[2:], folder)
        elif line.strip() and line.strip() != "…":
            assert line.strip() in said, f"{where}: the page promises {line.strip()!r}, the command said\n{said}"


@pytest.mark.door
@pytest.mark.parametrize("page", prose.told(), ids=prose.name)
def test_the_examples_of_a_page_run_as_they_stand(page, tmp_path):
    found = prose.blocks(page)
    assert {b.language for b in found} <= _LANGUAGES
    for b in found:
        where = f"{prose.name(page)}:{b.line}"
        if b.file:
            (tmp_path / b.file).write_text(b.text, encoding="utf-8")
        if b.language == "toml" and "[[change]]" in b.text:
            scenario.read(b.text, dt.datetime(2026, 3, 1, tzinfo=dt.UTC), zoneinfo.ZoneInfo("Europe/Oslo"))
        elif b.language == "toml" and "[[path]]" in b.text:
            assert orders.parse(b.text).unknown == ()
        elif b.language == "toml":
            system = parse(b.text)
            assert not system.unknown, f"{where}: {system.unknown}"
        elif b.language == "python":
            exec(compile(b.text, where, "exec"), {})
        elif b.language == "console":
            _console(b.text, tmp_path, where)
