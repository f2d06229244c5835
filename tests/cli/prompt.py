"""Whole commands as a person types them: in a process of their own, or in this one where only their words matter."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import leadline
from leadline.cli.main import run

NOW = "2026-06-01T08:00:00Z"
NORTH = """
[system]
id = "north-room"
name = "North room reef"
time_zone = "Europe/Oslo"
net_volume = "1150 L"
net_volume_sd = "60 L"

[room]
temperature = "21 degC"
relative_humidity = 0.55
co2 = "700 ppm"

[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"

[[equipment]]
id = "heater-1"
type = "heater"
power = "400 W"
setpoint = "25.0 degC"

[[method]]
quantity = "alkalinity"
name = "titration"
sd = "0.1 dKH"
minutes = 4

[[band]]
quantity = "alkalinity"
aim = ["7.5 dKH", "9.0 dKH"]
limit = ["6.0 dKH", "12.0 dKH"]

[[band]]
quantity = "salinity"
aim = ["34 psu", "36 psu"]
limit = ["31 psu", "38 psu"]
"""


@dataclass(frozen=True)
class Said:
    """What a command said and how it ended."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def process(*words: object, now: str = NOW, stdin: str | None = None, **environment: str) -> Said:
    """`python -m leadline …` in a process of its own."""
    env = {
        **{k: v for k, v in os.environ.items() if not k.startswith("LEADLINE_")},
        "LEADLINE_NOW": now, "PYTHONPATH": str(Path(leadline.__file__).parents[1]), **environment,
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-m", "leadline", *map(str, words)],
        capture_output=True, text=True, env=env, input=stdin, timeout=60, check=False,
    )  # fmt: skip
    return Said(done.returncode, done.stdout, done.stderr)


class Prompt:
    """A store and a way to type at it, in this process."""

    def __init__(self, folder: Path, capsys: Any, monkeypatch: Any) -> None:
        self.folder, self.db = folder, folder / "leadline.db"
        self.capsys, self.monkeypatch = capsys, monkeypatch
        monkeypatch.setenv("LEADLINE_NOW", NOW)
        monkeypatch.delenv("LEADLINE_DB", raising=False)

    def __call__(self, *words: object, now: str = NOW, db: bool = True) -> Said:
        self.monkeypatch.setenv("LEADLINE_NOW", now)
        self.capsys.readouterr()
        code = run([*map(str, words), *(["--db", str(self.db)] if db else [])])
        said = self.capsys.readouterr()
        return Said(code, said.out, said.err)

    def file(self, name: str, text: str) -> Path:
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path


def one_line(said):
    """One clear line on stderr, and no traceback."""
    assert "Traceback" not in said.err
    lines = [x for x in said.err.strip().splitlines() if x.strip()]
    assert len(lines) == 1, said.err
    return lines[0]
