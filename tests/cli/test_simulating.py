"""`leadline simulate` and `leadline learn` as typed: charts, JSON, made-up files that import, and wrong words."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET

import pytest
from tests.cli.prompt import one_line

pytestmark = pytest.mark.door


def test_charts_a_table_and_json(north, tmp_path):
    said = north("simulate", "north-room", "--days", 4, "--members", 20, "--out", tmp_path / "out")
    assert said.code == 0, said.err
    assert "4 days ahead, 20 members" in said.out
    assert "Alkalinity" in said.out
    drawn = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert "alkalinity.svg" in drawn
    assert "outcome.json" in drawn
    for path in (tmp_path / "out").glob("*.svg"):
        root = ET.fromstring(path.read_text(encoding="utf-8"))
        assert root.tag.endswith("svg")
    kept = json.loads((tmp_path / "out" / "outcome.json").read_text(encoding="utf-8"))
    answer = north("simulate", "north-room", "--days", 4, "--members", 20, "--json").json
    assert answer == kept
    assert answer["schema"] == "leadline.simulation/1"
    assert len(answer["times"]) == len(answer["quantities"]["ph"]["q50"])
    for q in answer["quantities"].values():
        assert all(a <= b for a, b in zip(q["q05"], q["q95"], strict=True) if a is not None)
        assert all(0.0 <= p["chance"] <= 1.0 for p in q.get("passes", []))


def test_a_scenario_from_a_file(north, tmp_path):
    scenario = north.file("hot.toml", 'name = "Hot"\n[[change]]\nat = "12 h"\nequipment = "room"\nstate = "hot"\n')
    answer = north("simulate", "north-room", "--days", 3, "--members", 15, "--with", scenario, "--json").json
    assert answer["scenario"] == "Hot"
    assert answer["quantities"]["temperature"]["q50"][-1] > 26.0
    assert answer["acts"][0]["what"] == "room hot"


def test_made_up_files_come_in_through_the_usual_import(north, tmp_path):
    folder = tmp_path / "made-up"
    said = north("simulate", "north-room", "--days", 30, "--truth", folder)
    assert said.code == 0, said.err
    assert "nobody measured it" in said.out
    elsewhere = ("--db", tmp_path / "other.db")
    assert north(*elsewhere, "system", "add", folder / "system.toml", db=False).code == 0
    done = north(*elsewhere, "import", folder / "journal.csv", folder / "streams.csv", db=False)
    assert done.code == 0, done.err
    assert north(*elsewhere, "parked", db=False).out.count("line") == 0
    believed = north(*elsewhere, "estimate", "north-room", "--json", db=False).json["quantities"]
    assert believed["alkalinity"]["last_reading"]


def test_learning_is_kept_said_and_forgotten(north):
    said = north("learn", "north-room", "--days", 90)
    assert said.code == 0, said.err
    assert "than before" in said.out
    answer = north("learn", "north-room", "--days", 90, "--json").json
    assert answer["schema"] == "leadline.learned/1"
    for row in answer["learned"].values():
        assert row["q05"] <= row["q50"] <= row["q95"]
    after = north("simulate", "north-room", "--days", 1, "--members", 5, "--json").json
    assert "learned" in after["parameters_from"].values()
    assert north("learn", "north-room", "--forget").code == 0
    after = north("simulate", "north-room", "--days", 1, "--members", 5, "--json").json
    assert "learned" not in after["parameters_from"].values()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("simulate", "north-rom"), "north-room"),
        (("simulate", "north-room", "--days", "-3"), "--days"),
        (("simulate", "north-room", "--days", "nan"), "--days"),
        (("simulate", "north-room", "--members", "0"), "--members"),
        (("simulate", "north-room", "--members", "many"), "--members"),
        (("simulate", "north-room", "--step", "7 min"), "--step"),
        (("simulate", "north-room", "--step", "soon"), "--step"),
        (("simulate", "north-room", "--with", "no-such-file.toml"), "no-such-file.toml"),
        (("learn", "north-room", "--days", "3"), "--days"),
        (("learn", "nowhere"), "nowhere"),
    ],
)
def test_wrong_words_are_one_line(north, words, said):
    answer = north(*words)
    assert answer.code == 2
    assert said in one_line(answer)


def test_a_folder_that_cannot_be_written_is_said(north, tmp_path):
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    said = north("simulate", "north-room", "--days", 1, "--members", 3, "--out", tmp_path / "file")
    assert said.code == 3
    assert "cannot write" in one_line(said)


def test_a_broken_scenario_is_named_by_table_and_field(north):
    scenario = north.file("bad.toml", '[[change]]\nequipment = "heater-1"\nstate = "of"\n')
    said = north("simulate", "north-room", "--with", scenario)
    assert said.code == 2
    assert "change 1" in one_line(said)
    assert "Did you mean off" in one_line(said)


def test_made_up_records_never_write_over_anything(north, tmp_path):
    (tmp_path / "journal.csv").write_text("mine\n", encoding="utf-8")
    said = north("simulate", "north-room", "--days", 1, "--truth", tmp_path)
    assert said.code == 2
    assert "journal.csv would be written over" in one_line(said)
    assert (tmp_path / "journal.csv").read_text(encoding="utf-8") == "mine\n"
    assert [p.name for p in tmp_path.iterdir() if p.name == "streams.csv"] == []


@pytest.mark.parametrize("document", ["foo = 1\n", "[parameter]\nfoo = 1\n", "[start]\nfoo = '1 mg/L'\n"])
def test_what_a_scenario_names_wrongly_is_said_with_its_file(north, document):
    said = north("simulate", "north-room", "--with", north.file("odd.toml", document))
    assert said.code == 2
    assert "odd.toml" in one_line(said)
    assert "foo" in said.err


@pytest.mark.parametrize("more", [(), ("--truth", "short")])
def test_a_run_shorter_than_an_hour_is_refused(north, tmp_path, more):
    more = [str(tmp_path / m) if m == "short" else m for m in more]
    said = north("simulate", "north-room", "--days", "0.001", *more)
    assert said.code == 2
    assert "Give an hour" in one_line(said)
