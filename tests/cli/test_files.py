"""import, export, backup, restore and parked at the prompt, over a real store."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.desk import Desk

from leadline.cli import files

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


BROKEN = [  # content, a word of the one line on stderr
    pytest.param(b"", "is empty", id="empty"),
    pytest.param(b" \n\n", "is empty", id="blank"),
    pytest.param(b"\xef\xbb\xbf", "header row", id="a mark and nothing else"),
    pytest.param(bytes(range(256)) * 20, "is not text", id="binary"),
    pytest.param(b"PK\x03\x04 and no workbook", "no XLSX workbook", id="no workbook"),
    pytest.param(b"hello\nworld\n", "no header row", id="prose"),
    pytest.param((HEADER + "2026-01-08,lagoon,note,,,,,,,,,k\u00f8l,\n").encode("cp1252"), "cp1252", id="8 bit"),
    pytest.param(b"time,system,kind,kind\n", "stands twice", id="a column twice"),
    pytest.param(b'"time,system\n', "never closed", id="a header that never ends"),
]  # fmt: skip


@pytest.mark.parametrize(("content", "word"), BROKEN)
def test_a_broken_file_is_one_clear_line(desk, content, word):
    path = write(desk, content)
    good = write(desk, GOOD, "good.csv")
    result = desk.take_in(good, path)
    assert result.exit_code == 2, result.output
    (line,) = result.stderr.splitlines()
    assert line.startswith(str(path))
    assert word in line
    assert desk.store().entries() == []


def test_missing_files_and_folders_are_one_clear_line(desk):
    write(desk, GOOD)
    missing = desk.take_in(desk.path.parent / "jurnal.csv")
    assert missing.exit_code == 2
    assert "no such file" in missing.stderr
    assert "journal.csv" in missing.stderr, "the near miss is offered"
    folder = desk.take_in(desk.path.parent)
    assert folder.exit_code == 2
    assert "is a folder" in folder.stderr


def test_a_header_alone_imports_nothing_and_is_no_error(desk):
    result = desk.take_in(write(desk, HEADER))
    assert result.exit_code == 0
    assert "0 new" in result.stdout


def test_a_file_cut_short_does_not_pass_as_whole(desk):
    # the last value was 395; the disk was full one digit earlier
    path = write(desk, GOOD + "2026-01-08T08:00,north-room,reading,orp,39")
    result = desk.take_in(path)
    assert result.exit_code == 2
    assert f"{path}:5: " in result.stderr
    assert "cut short" in result.stderr


def test_many_bad_rows_are_counted_not_listed(desk):
    path = write(desk, HEADER + "2026-01-08T08:00,north-room,reading,alkalinity,x,dKH,,,,,,,\n" * 50)
    first, total = desk.take_in(path).stderr.splitlines()
    assert first.startswith(f"{path}:2: column 'value' = 'x'")
    assert first.endswith("The same in 3, 4, 5, 6, 7, 8 and 43 more.")
    assert "50 places can't be used" in total


def test_many_kinds_of_bad_rows_are_counted_not_listed(desk):
    rows = "".join(f"2026-01-08T08:00,north-room,reading,alkalinity,8,dKH,,,,,,,{',' * k}more\n" for k in range(1, 51))
    lines = desk.take_in(write(desk, HEADER + rows)).stderr.splitlines()
    assert len(lines) == 22
    assert "30 more" in lines[20]


def test_the_named_encoding_is_used(desk):
    path = write(desk, (HEADER + "2026-01-08,north-room,note,,,,,,,,,k\u00f8l,\n").encode("cp1252"))
    assert desk.take_in("--encoding", "cp1252", path).exit_code == 0
    assert desk.store().entries()[0].note == "k\u00f8l"


def test_mixed_files_in_one_call(desk):
    streams = write(desk, "time,system,stream,value\n2026-01-05T08:00,north-room,heater-1,1\n", "streams.csv")
    sheet = write(desk, "Date,pH\n2026-01-05,8.2\n", "sheet.csv")
    result = desk.take_in(write(desk, GOOD), streams, sheet, "--system", "lagoon")
    assert result.exit_code == 0, result.output
    assert "4 new" in result.stdout
    assert "1 new points" in result.stdout
    assert [e.subject for e in desk.store().entries("lagoon")] == ["ph"]


def test_a_dry_run_keeps_nothing(desk):
    result = desk.take_in("--dry-run", write(desk, GOOD))
    assert result.exit_code == 0
    assert "3 rows" in result.stdout
    assert desk.store().entries() == []


def test_a_spreadsheet_asks_then_a_mapping_makes_the_next_import_one_command(desk):
    first = write(desk, "Date;Alk\n03.04.2025;8,1\n", "2025.csv")
    asked = desk.take_in(first)
    assert asked.exit_code == 2
    (line,) = asked.stderr.splitlines()
    for option in ("--system lagoon or north-room", "--dates day-first", "--unit alkalinity=dKH"):
        assert option in line, "all that must be said is asked for at once"
    assert desk.store().entries() == []
    told = ("--system", "north-room", "--dates", "day-first", "--unit", "alkalinity=dKH", "--save-mapping", "tests")
    assert desk.take_in(first, *told).exit_code == 0
    second = write(desk, "Date;Alk;Nitrate (mg/L)\n05.04.2025;8,3;5\n", "2026.csv")
    result = desk.take_in(second, "--mapping", "tests")
    assert result.exit_code == 0, result.output
    assert [(e.time.month, e.time.day, e.subject, e.value) for e in desk.store().entries()] == [
        (4, 3, "alkalinity", 8.1),
        (4, 5, "alkalinity", 8.3),
        (4, 5, "nitrate", 5.0),
    ]


def test_show_mapping_previews_and_keeps_nothing(desk):
    path = write(desk, "Date,Alk (dKH),Water change (L)\n2026-01-05,8.1,60\n")
    result = desk.take_in("--show-mapping", "--system", "lagoon", path)
    assert result.exit_code == 0
    assert "reading:alkalinity" in result.stdout
    assert "exchange:mixed-seawater" in result.stdout
    assert desk.store().entries() == []


def test_the_mended_rows_of_a_spreadsheet_come_in(desk):
    path = write(desk, "Date,Alk,Ca\n,dKH,mg/L\n2026-01-05,8.1,420\n2026-01-06,8.x,430\n")
    assert desk.take_in("--skip-bad", "--system", "lagoon", path).exit_code == 0
    rejected = Path(f"{path}.rejected.csv")
    rejected.write_text(rejected.read_text().replace("8.x,", "8.2,"))
    result = desk.take_in("--system", "lagoon", rejected)
    assert result.exit_code == 0, result.output
    assert "1 new, 1 already there" in result.stdout
    assert sorted(e.value for e in desk.store().entries()) == [8.1, 8.2, 420.0, 430.0]


def test_mended_rows_that_wait_are_not_overwritten(desk):
    path = write(desk, GOOD + "2026-01-08T08:00,north-room,reading,alkalinity,8.1x,dKH,,,,,,,\n")
    desk.take_in("--skip-bad", path)
    rejected = Path(f"{path}.rejected.csv")
    rejected.write_text(rejected.read_text().replace("8.1x,dKH", "8.2,dKH"))
    desk.take_in("--skip-bad", path)
    assert "8.2,dKH" in Path(f"{rejected}.before").read_text()


def test_export_gives_the_journal_back(desk, tmp_path):
    desk.take_in(write(desk, GOOD))
    out = tmp_path / "out.csv"
    assert desk.run(files.export, "--out", out).exit_code == 0
    other = tmp_path / "other"
    other.mkdir()
    fresh = Desk(other)
    assert fresh.take_in(out).exit_code == 0
    assert fresh.store().entries() == desk.store().entries()
    again = fresh.run(files.export)
    assert again.stdout_bytes == out.read_bytes()
    fresh.store().close()


def test_streams_export_and_come_back(desk, tmp_path):
    desk.take_in(write(desk, "time,system,stream,value,unit\n2026-01-05T08:00:00.5,lagoon,temperature,77.9,degF\n"))
    out = tmp_path / "streams.csv"
    assert desk.run(files.export, "--streams", "--out", out).exit_code == 0
    assert desk.take_in(out).stdout == "Imported: 0 new points, 1 already there.\n"


def test_export_of_an_unknown_system_offers_the_nearest(desk):
    result = desk.run(files.export, "--system", "lagon")
    assert result.exit_code == 2
    assert "lagoon" in result.stderr


def test_export_to_a_place_that_is_not_there(desk, tmp_path):
    result = desk.run(files.export, "--out", tmp_path / "nowhere" / "x.csv")
    assert result.exit_code == 3
    assert len(result.stderr.splitlines()) == 1


def test_backup_and_restore(desk, tmp_path):
    desk.take_in(write(desk, GOOD))
    copy = tmp_path / "copy.db"
    result = desk.run(files.backup, copy)
    assert result.exit_code == 0, result.output
    assert "3 entries" in result.stdout
    desk.take_in(write(desk, HEADER + "2026-02-05T08:00,lagoon,note,,,,,,,,,later,\n", "more.csv"))
    assert len(desk.store().entries()) == 4
    desk.store().close()
    result = desk.run(files.restore, copy, "--yes")
    assert result.exit_code == 0, result.output
    assert "kept as" in result.stdout
    desk.reopen()
    assert len(desk.store().entries()) == 3


def test_a_damaged_backup_replaces_nothing(desk, tmp_path):
    desk.take_in(write(desk, GOOD))
    desk.store().close()
    bad = tmp_path / "bad.db"
    bad.write_bytes(b"SQLite format 3\0" + b"\x5a" * 5000)
    result = desk.run(files.restore, bad, "--yes")
    assert result.exit_code == 3
    assert len(result.stderr.splitlines()) == 1
    desk.reopen()
    assert len(desk.store().entries()) == 3


def test_parked_rows_are_listed_kept_and_dropped(desk):
    desk.take_in(
        write(
            desk,
            HEADER
            + "2062-01-05T08:00,north-room,reading,alkalinity,8.1,dKH,,,,,,,\n"
            + "1970-01-01T00:00Z,north-room,reading,ph,8.2,,,,,,,,\n",
        )
    )
    listed = desk.run(files.parked).stdout.splitlines()
    assert "in the future" in listed[0]
    assert "alkalinity 8.1 dKH" in listed[0]
    assert "before 1971" in listed[1]
    assert desk.run(files.parked, "keep", 1, "--time", "2026-01-05T08:00").exit_code == 0
    assert desk.run(files.parked, "drop", 2).exit_code == 0
    assert desk.run(files.parked).stdout == "Nothing is parked.\n"
    assert [e.value for e in desk.store().entries()] == [8.1]
    assert desk.run(files.parked, "drop", 2).exit_code == 2


@pytest.mark.parametrize("command", [*files.COMMANDS, *files.parked.commands.values()], ids=lambda c: c.name)
def test_every_help_text_has_examples(command):
    assert "Examples:" in (command.help or "")


def test_no_heavy_module_is_loaded_to_offer_the_commands():
    heavy = ("numpy", "openpyxl", "scipy", "gsw", "sqlite3")
    code = f"import sys, leadline.cli.files; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_somebody_at_a_terminal_is_asked_and_answers(desk, tmp_path):
    import os
    import pty

    path = write(desk, "Date;Alk\n03.04.2025;8,1\n", "sheet.csv")
    desk.store().close()
    mine, theirs = pty.openpty()
    os.write(mine, b"lagoon\nday-first\n\n")  # the empty line takes the unit that was proposed
    command = [sys.executable, "-m", "leadline", "--db", str(desk.path), "import", str(path)]
    done = subprocess.run(command, stdin=theirs, capture_output=True, text=True, timeout=60, check=False)
    os.close(mine)
    os.close(theirs)
    assert done.returncode == 0, done.stderr
    desk.reopen()
    (entry,) = desk.store().entries("lagoon")
    assert (entry.time.month, entry.time.day, entry.value, entry.unit) == (4, 3, 8.1, "dKH")
