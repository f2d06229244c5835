"""`leadline watch --replay`: the contract's lines, on a store that holds no streams."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from tests.cli.prompt import one_line

pytestmark = pytest.mark.door
BEGIN = dt.datetime(2026, 5, 1, tzinfo=dt.UTC)


def recording(north, minutes=4 * 1440, rise_from=3000):
    rows = ["time,system,stream,value,unit"]
    for k in range(0, minutes, 2):
        stamp = (BEGIN + dt.timedelta(minutes=k)).isoformat()
        warm = 25.0 + max(0.0, (k - rise_from) / 60.0 * 0.6) if k < rise_from + 600 else 25.0
        rows.append(f"{stamp},north-room,temperature,{warm:.2f},degC")
    return north.file("streams.csv", "\n".join(rows) + "\n")


def test_transitions_are_the_contract_s_lines(north):
    said = north("watch", "--replay", recording(north), "--json")
    assert said.code == 0, said.err
    lines = [json.loads(line) for line in said.out.splitlines()]
    assert lines
    for line in lines:
        assert set(line) == {"schema", "time", "system", "alarm", "subject", "state", "priority", "value", "because"}
        assert line["schema"] == "leadline.alarm/1"
        assert line["priority"] in ("low", "medium", "high", "urgent")
    times = [line["time"] for line in lines]
    assert times == sorted(times)
    high = [line["state"] for line in lines if line["alarm"] == "temperature-high"]
    assert high == ["unacknowledged", "returned-unacknowledged", "normal"]
    heading = next(line for line in lines if line["alarm"] == "temperature-heading-high")
    first = next(line for line in lines if line["alarm"] == "temperature-high")
    assert heading["time"] < first["time"]
    assert first["priority"] == "urgent"


def test_a_recording_is_not_kept(north):
    north("watch", "--replay", recording(north))
    assert "temperature" not in north("export", "--streams", "north-room").out


def test_a_quiet_recording_says_so(north):
    said = north("watch", "--replay", recording(north, minutes=600, rise_from=5000))
    assert said.code == 0
    assert "No alarm" in said.out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "streams.csv"),
        ("time,system,stream,value\n2026-05-01T00:00:00Z,nowhere,temperature,25\n", "nowhere"),
        ("time,system,kind,subject,value,unit\n2026-05-01T00:00:00Z,north-room,reading,ph,8.2,1\n", "no streams"),
    ],
)
def test_what_is_no_recording_is_one_line(north, text, said):
    answer = north("watch", "--replay", north.file("streams.csv", text))
    assert answer.code == 2
    assert said in one_line(answer)


def test_a_missing_file_is_one_line(north):
    assert "gone.csv" in one_line(north("watch", "--replay", "gone.csv"))


def test_rows_left_out_are_counted_and_the_first_is_named(north):
    rows = [
        "time,system,stream,value,unit",
        "2026-05-01T00:00:00Z,north-room,temperature,25.0,degC",
        "9999-01-01T00:00:00Z,north-room,temperature,25.0,degC",
        "0001-01-01T00:00:00Z,north-room,temperature,25.0,degC",
    ]
    said = north("watch", "--replay", north.file("streams.csv", "\n".join(rows) + "\n"))
    assert said.code == 0
    assert "2 in all" in said.err
    assert "streams.csv:3: 9999-01-01T00:00:00Z is in the future" in said.err
    assert said.out == "No alarm would have come of it.\n"


def test_a_person_reads_local_times_and_each_return_once(north):
    said = north("watch", "--replay", recording(north))
    assert said.code == 0, said.err
    rows = said.out.splitlines()
    assert all(row[:19] >= "2026-05-01T00:00:00" for row in rows)
    assert not any(row[19] == "Z" for row in rows)
    assert len([row for row in rows if "temperature-high  " in row]) == 2
