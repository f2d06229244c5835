"""import, export, backup, restore and parked at the prompt, over a real store."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.desk import Desk

pytestmark = pytest.mark.door

HEADER = "time,system,kind,subject,value,unit,method,sd,to,from,recorded_at,note,extra\n"
GOOD = HEADER + (
    "2026-01-05T08:00,north-room,reading,alkalinity,8.1,dKH,titration,0.1,,,,,\n"
    '2026-01-06T08:00,north-room,exchange,mixed-seawater,60,L,,,,,,,"{""salinity"": 35.0}"\n'
    "2026-01-07T08:00,north-room,addition,sodium-bicarbonate,25,g,,,,,,,\n"
)


@pytest.fixture
def desk(tmp_path: Path):
    desk = Desk(tmp_path)
    yield desk
    desk.store().close()


def write(desk: Desk, content: str | bytes, name: str = "journal.csv") -> Path:
    path = desk.path.parent / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def test_a_journal_comes_in_once_however_often_it_is_imported(desk):
    path = write(desk, GOOD)
    first = desk.take_in(path)
    assert first.exit_code == 0, first.output
    assert "3 new, 0 already there" in first.stdout
    second = desk.take_in(path)
    assert "0 new, 3 already there" in second.stdout
    assert len(desk.store().entries("north-room")) == 3


def test_nothing_of_a_file_with_a_bad_row_comes_in(desk):
    path = write(desk, GOOD + "2026-01-08T08:00,north-room,reading,alkalinity,8.1x,dKH,,,,,,,\n")
    result = desk.take_in(path)
    assert result.exit_code == 2
    assert f"{path}:5: column 'value' = '8.1x': " in result.stderr
    assert desk.store().entries() == []


def test_skip_bad_brings_in_the_rest_and_the_mended_rows_later(desk):
    path = write(desk, GOOD + "2026-01-08T08:00,north-room,reading,alkalinity,8.1x,dKH,,,,,,,\n")
    result = desk.take_in("--skip-bad", path)
    assert result.exit_code == 0, result.output
    assert len(desk.store().entries()) == 3
    rejected = Path(f"{path}.rejected.csv")
    head, row = rejected.read_text().splitlines()
    assert head == HEADER.strip() + ",reason"
    assert row.startswith("2026-01-08T08:00,north-room,reading,alkalinity,8.1x,dKH")
    rejected.write_text(rejected.read_text().replace("8.1x,dKH", "8.2,dKH"))
    assert desk.take_in(rejected).exit_code == 0
    entries = desk.store().entries("north-room")
    assert len(entries) == 4
    assert entries[-1].value == 8.2
    assert entries[-1].extra == {}, "our own remark on the row must not become part of it"


def test_json_output_names_every_rejected_row(desk):
    desk.json = True
    path = write(desk, GOOD + "2026-01-08T08:00,north-rom,reading,alkalinity,8.1,dKH,,,,,,,\n")
    result = desk.take_in(path)
    answer = json.loads(result.stdout)
    assert answer["schema"] == "leadline.import/1"
    assert answer["imported"] is False
    assert [(r["line"], r["column"], r["value"]) for r in answer["rejected"]] == [(5, "system", "north-rom")]
    assert "north-room" in answer["rejected"][0]["reason"]
