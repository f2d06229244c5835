"""Real files that grow, are moved, cut short and half written: every point comes at least once, whoever dies when."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from tests.feeds.inbox import Inbox

import leadline
from leadline.app.ports import Arrival
from leadline.feeds.growing import Growing
from leadline.measures.errors import Unreachable
from leadline.system.orders import FileFeed

HEAD = "time,system,stream,value,unit\n"
T0 = 1772352000  # 2026-03-01T08:00Z, by GNU date


class Memory:
    """Where the place is remembered."""

    def __init__(self) -> None:
        self.place: dict[str, Any] | None = None
        self.saves = 0
        self.broken = False

    def load(self) -> dict[str, Any] | None:
        return self.place

    def save(self, place: dict[str, Any]) -> None:
        if self.broken:
            raise Unreachable("the disk is full", where="reef.db")
        self.place = place
        self.saves += 1


def lines(first: int, last: int) -> str:
    return "".join(f"{T0 + n},north-room,temperature,{n}.5,degC\n" for n in range(first, last))


def values(first: int, last: int) -> list[float]:
    return [n + 0.5 for n in range(first, last)]


def append(path: Path, text: str | bytes) -> None:
    with open(path, "ab") as file:
        file.write(text.encode() if isinstance(text, str) else text)


@contextlib.contextmanager
def following(path: Path, inbox: Inbox, memory: Memory, **more: Any) -> Iterator[Growing]:
    settings = FileFeed("log", str(path), every_s=0.02)
    feed = Growing(settings, inbox, load=memory.load, save=memory.save, **more)
    feed.start()
    try:
        yield feed
    finally:
        feed.stop()


@pytest.fixture
def memory() -> Memory:
    return Memory()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "streams.csv"


@pytest.mark.story
def test_a_file_is_waited_for_and_followed(inbox: Inbox, memory: Memory, path: Path) -> None:
    with following(path, inbox, memory):
        inbox.until_said("there is no file", False)
        append(path, HEAD + lines(0, 3))
        inbox.until(lambda box: len(box.points) == 3)
        append(path, lines(3, 4))
        inbox.until(lambda box: len(box.points) == 4)
    assert inbox.points[0] == Arrival("north-room", "temperature", float(T0), 0.5, "degC")
    assert inbox.values() == values(0, 4)
    assert inbox.reports[-1] == (True, f"reading {path}")


@pytest.mark.story
def test_a_half_written_line_is_waited_for(inbox: Inbox, memory: Memory, path: Path) -> None:
    append(path, HEAD[:7])
    with following(path, inbox, memory):
        inbox.until_said("reading", True)
        append(path, HEAD[7:] + lines(0, 2) + f"{T0 + 2},north-room,temperature,2")
        inbox.until(lambda box: len(box.points) == 2)
        append(path, "7.25,degC\n")
        inbox.until(lambda box: len(box.points) == 3)
    assert inbox.values() == [0.5, 1.5, 27.25]


@pytest.mark.story
def test_reading_goes_on_where_it_stopped(inbox: Inbox, memory: Memory, path: Path) -> None:
    append(path, HEAD + lines(0, 10))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 10)
    append(path, lines(10, 12) + "nonsense\n")
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.odd) == 1)
    assert inbox.values() == values(0, 12)
    assert inbox.odd[0].why.startswith("streams.csv:14: ")
    assert inbox.odd[0].text == "nonsense"


@pytest.mark.story
def test_a_long_past_comes_in_batches_each_kept_before_the_next(inbox: Inbox, memory: Memory, path: Path) -> None:
    append(path, HEAD + lines(0, 35_000))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) >= 35_000)
    assert inbox.values() == values(0, 35_000)
    assert max(inbox.batches) <= 10_000
    assert memory.saves >= len(inbox.batches) > 3


@pytest.mark.story
@pytest.mark.parametrize("how", ["refusing", "failing"])
def test_the_place_moves_only_when_the_points_are_kept(inbox: Inbox, memory: Memory, path: Path, how: str) -> None:
    append(path, HEAD + lines(0, 5))
    setattr(inbox, how, True)
    with following(path, inbox, memory):
        inbox.until(lambda box: box.refusals + box.failures >= 3)
        assert memory.place is None
        setattr(inbox, how, False)
        inbox.until(lambda box: len(box.points) == 5)
    setattr(inbox, how, True)
    append(path, lines(5, 6))
    with following(path, inbox, memory):
        before = inbox.refusals + inbox.failures
        inbox.until(lambda box: box.refusals + box.failures > before)
    setattr(inbox, how, False)
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 6)
    assert inbox.values() == values(0, 6)


@pytest.mark.story
def test_a_file_that_is_moved_away_is_finished_first(inbox: Inbox, memory: Memory, path: Path) -> None:
    append(path, HEAD + lines(0, 5))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 5)
        inbox.refusing = True  # so that the rest is surely unread when the file is moved
        append(path, lines(5, 8) + f"{T0 + 8},north-room,temperature,8")
        path.rename(path.with_name("streams.csv.1"))
        append(path, HEAD + lines(9, 12))
        inbox.refusing = False
        inbox.until(lambda box: len(box.points) == 11)
    assert inbox.values() == values(0, 8) + values(9, 12)
    assert [(o.text, "ends in the middle" in o.why) for o in inbox.odd] == [
        (f"{T0 + 8},north-room,temperature,8", True)
    ]


@pytest.mark.story
def test_a_file_that_was_moved_while_nobody_read_is_found_and_finished(
    inbox: Inbox, memory: Memory, path: Path
) -> None:
    append(path, HEAD + lines(0, 5))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 5)
    append(path, lines(5, 8))
    path.rename(path.with_name("streams-2026-03-01.csv"))
    append(path.with_name("streams-other.csv"), HEAD + lines(100, 120))
    append(path, HEAD + lines(8, 10))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 10)
    assert inbox.values() == values(0, 10)


@pytest.mark.story
def test_a_new_file_without_a_header_has_the_columns_of_the_one_before(
    inbox: Inbox, memory: Memory, path: Path
) -> None:
    append(path, "value;time;system;stream\n" + f"1,5;{T0};north-room;ph\n")
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 1)
        path.rename(path.with_name("old"))
        append(path, f"2,5;{T0 + 1};north-room;ph\n")
        inbox.until(lambda box: len(box.points) == 2)
        path.rename(path.with_name("older"))
        append(path, HEAD + lines(3, 4))
        inbox.until(lambda box: len(box.points) == 3)
    assert inbox.values() == [1.5, 2.5, 3.5]


@pytest.mark.story
def test_a_file_cut_short_is_read_from_its_start(inbox: Inbox, memory: Memory, path: Path) -> None:
    append(path, HEAD + lines(0, 500))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 500)
        os.truncate(path, 0)
        append(path, HEAD + lines(500, 502))
        inbox.until(lambda box: len(box.points) == 502)
    # and while nobody reads, to something longer than before
    path.write_text(HEAD + lines(1000, 2000))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 1502)
    assert inbox.values() == values(0, 502) + values(1000, 2000)


@pytest.mark.story
def test_a_file_that_was_copied_back_is_read_on(inbox: Inbox, memory: Memory, path: Path) -> None:
    append(path, HEAD + lines(0, 5))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 5)
        other = path.with_name("copy")  # as an editor saves, or a backup restores
        other.write_bytes(path.read_bytes() + lines(5, 6).encode())
        other.replace(path)
        inbox.until(lambda box: len(box.points) == 6)
    assert inbox.values() == values(0, 6)


@pytest.mark.contract
def test_what_importers_of_stream_files_accept_is_read(inbox: Inbox, memory: Memory, path: Path) -> None:
    append(path, b"\xef\xbb\xbf" + b'Time;extra;"stream";value;system\r\n')
    append(path, '2026-03-01T08:00:00Z;"a;b";temperature;"25,4";north-room\r\n\r\n;;;;\r\n')
    append(path, b"\0\0\0\0" + b"2026-03-01T09:01+01:00;;temperature;25.5;north-room\n")  # after a power failure
    append(path, "time;extra;stream;value;system\n")  # what writes it began again
    append(path, f"{T0 + 120};;temperature;25.6;north-room\n")
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 3)
    assert [(p.t, p.v) for p in inbox.points] == [(T0, 25.4), (T0 + 60, 25.5), (T0 + 120, 25.6)]
    assert not inbox.odd


@pytest.mark.contract
def test_lines_that_are_no_points_are_kept_with_their_numbers(inbox: Inbox, memory: Memory, path: Path) -> None:
    bad: list[tuple[str | bytes, str]] = [
        (f"{T0},north-room,temperature,warm,degC", "no number"),
        (f"{T0},north-room,temperature,nan,degC", "no number"),
        (f"{T0},north-room,temperature,,degC", "missing"),
        (f"{T0},,temperature,1,degC", "system's id is missing"),
        (",north-room,temperature,1,degC", "time is missing"),
        ("2026-03-01T08:00,north-room,temperature,1,degC", "no offset"),
        ("soon,north-room,temperature,1,degC", "no date or time"),
        (f"{T0},north-room,temperature,1,degC,more", "6 fields where the header has 5"),
        (f'{T0},"north-room,temperature,1,degC', "quotes do not match"),
        (b"\xff\xfe\x00 ,north-room,temperature,1,", "UTF-8"),
        ("x" * 70_000, "70,000 bytes"),
        ("y" * 700_000, "700,000 bytes"),
    ]
    append(path, HEAD)
    for line, _ in bad:
        append(path, line)
        append(path, "\n")
    append(path, lines(0, 1))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 1)
    assert [o.why.split(":")[1] for o in inbox.odd] == [str(n + 2) for n in range(len(bad))]
    for (_, why), odd in zip(bad, inbox.odd, strict=True):
        assert why in odd.why
        assert len(odd.text) <= 4096
    assert memory.place is not None
    assert memory.place["line"] == len(bad) + 2


@pytest.mark.contract
def test_a_file_without_a_header_is_read_when_it_is_plain_and_else_said(
    inbox: Inbox, memory: Memory, path: Path
) -> None:
    append(path, "date,temp\n2026-03-01,25\n")
    with following(path, inbox, memory):
        inbox.until_said("its first line must be time,system,stream,value", False)
        path.write_text(lines(0, 2))
        inbox.until(lambda box: len(box.points) == 2)
    assert inbox.values() == values(0, 2)
    assert not inbox.odd


@pytest.mark.contract
def test_local_times_are_those_of_the_system(inbox: Inbox, memory: Memory, path: Path) -> None:
    # Norway's clocks go from 03:00 back to 02:00 on 25 October 2026, 01:00 UTC [tz database, rule EU]
    append(path, HEAD + "".join(f"2026-10-25T{t},north-room,ph,8.1,\n" for t in ("01:50", "02:30", "02:50", "02:10")))
    with following(path, inbox, memory, zone_of=lambda system: ZoneInfo("Europe/Oslo")):
        inbox.until(lambda box: len(box.points) == 4)
    utc = [dt.datetime.fromtimestamp(p.t or 0, dt.UTC).strftime("%H:%M") for p in inbox.points]
    assert utc == ["23:50", "00:30", "00:50", "01:10"]


@pytest.mark.story
def test_a_place_that_cannot_be_remembered_is_said_and_stops_nothing(inbox: Inbox, memory: Memory, path: Path) -> None:
    append(path, HEAD + lines(0, 2))
    memory.broken = True
    with following(path, inbox, memory):
        inbox.until_said("cannot remember how far", False)
        append(path, lines(2, 3))
        inbox.until(lambda box: len(box.points) == 3)
        memory.broken = False
        append(path, lines(3, 4))
        inbox.until_said("reading", True)
    with following(path, inbox, memory):
        append(path, lines(4, 5))
        inbox.until(lambda box: len(box.points) == 5)
    assert inbox.values() == values(0, 5)


@pytest.mark.story
def test_what_was_remembered_in_a_way_we_do_not_know_means_reading_from_the_start(
    inbox: Inbox, memory: Memory, path: Path
) -> None:
    memory.place = {"offset": "far"}
    append(path, HEAD + lines(0, 2))
    with following(path, inbox, memory):
        inbox.until(lambda box: len(box.points) == 2)


@pytest.mark.door
def test_a_folder_in_the_files_place_is_said(inbox: Inbox, memory: Memory, path: Path) -> None:
    path.mkdir()
    with following(path, inbox, memory):
        inbox.until_said("cannot be read (Is a directory)", False)


READER = """
import json, os, signal, sys
from pathlib import Path
from tests.feeds.inbox import Inbox
from leadline.feeds import growing
from leadline.system.orders import FileFeed

csv, kept, place, dies = map(Path, sys.argv[1:])
growing.AT_ONCE = 7
saves = 0

def load():
    return json.loads(place.read_text()) if place.exists() else None

def save(record):
    global saves
    saves += 1
    if str(dies) == "before" and saves == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    new = place.with_suffix(".new")
    new.write_text(json.dumps(record))
    new.replace(place)
    if str(dies) == "after" and saves == 3:
        os.kill(os.getpid(), signal.SIGKILL)

box = Inbox(kept)
feed = growing.Growing(FileFeed("log", str(csv), 0.02), box, load=load, save=save)
feed.start()
box.until(lambda box: any(p.v == 99.5 for p in box.points))
feed.stop()
box.close()
"""


@pytest.mark.door
@pytest.mark.parametrize(("dies", "again"), [("before", 7), ("after", 0)])
def test_killed_between_two_steps_nothing_is_lost(tmp_path: Path, dies: str, again: int) -> None:
    csv, kept, place = tmp_path / "streams.csv", tmp_path / "kept", tmp_path / "place"
    csv.write_text(HEAD + lines(0, 100))
    root = Path(__file__).parents[2]
    paths = os.pathsep.join((str(root), str(Path(leadline.__file__).parents[1])))

    def run(when: str) -> int:
        return subprocess.run(
            [sys.executable, "-c", READER, str(csv), str(kept), str(place), when],
            env={**os.environ, "PYTHONPATH": paths}, timeout=60, check=False,
        ).returncode  # fmt: skip

    assert run(dies) == -signal.SIGKILL
    assert run("never") == 0
    came = [float(line.split(",")[3]) for line in kept.read_text().splitlines()]
    assert list(dict.fromkeys(came)) == values(0, 100)
    assert len(came) == 100 + again  # the batch that was kept and not yet remembered comes twice
