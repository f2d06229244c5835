"""A prompt, and a store with eight months of one invented system behind it."""

from __future__ import annotations

import datetime as dt

import pytest
from tests.cli.prompt import NORTH, Prompt


@pytest.fixture
def prompt(tmp_path, capsys, monkeypatch):
    return Prompt(tmp_path, capsys, monkeypatch)


@pytest.fixture
def north(prompt):
    """One system with eight months of weekly tests; salinity not tested for ninety days."""
    assert prompt("system", "add", prompt.file("north.toml", NORTH)).code == 0
    rows = ["time,system,kind,subject,value,unit,method"]
    start = dt.datetime(2025, 10, 6, 8, tzinfo=dt.UTC)
    for k in range(34):
        day = (start + dt.timedelta(days=7 * k)).isoformat()
        off = ((k * 7) % 5 - 2) / 10
        rows.append(f"{day},north-room,reading,alkalinity,{8.2 + off:.1f},dKH,titration")
        rows.append(f"{day},north-room,reading,calcium,{425 + 20 * off:.0f},mg/L,titration")
        rows.append(f"{day},north-room,reading,magnesium,{1320 + 60 * off:.0f},mg/L,titration")
        rows.append(f"{day},north-room,reading,temperature,{25.2 + off / 4:.2f},degC,")
        rows.append(f"{day},north-room,reading,nitrate,{8 + 3 * off:.1f},mg/L,")
        rows.append(f"{day},north-room,reading,phosphate,{0.06 + off / 50:.3f},mg/L,")
        if k < 22:
            rows.append(f"{day},north-room,reading,salinity,{35.1 + off:.1f},psu,refractometer")
    done = prompt("import", prompt.file("journal.csv", "\n".join(rows) + "\n"))
    assert done.code == 0, done.err
    return prompt
