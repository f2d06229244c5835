"""`leadline course` as a person types it: a table, data, CSV, a drawing; one line for what cannot be."""

from __future__ import annotations

import csv
import io
import json
from xml.etree import ElementTree

import pytest

pytestmark = pytest.mark.door


def test_a_table_of_round_moments_and_the_readings(north):
    said = north("course", "north-room", "alkalinity", "--span", "1m").out
    assert "Alkalinity, 2 May 2026" in said
    assert "9 in 10" in said
    assert "dKH" in said
    assert said.count("25 May 2026") >= 1  # the last weekly test


def test_names_a_person_would_type_are_known(north):
    assert json.loads(north("course", "north-room", "alk", "--json").out)["courses"][0]["quantity"] == "alkalinity"


def test_csv_has_course_and_readings(north):
    rows = list(csv.DictReader(io.StringIO(north("course", "north-room", "calcium", "--csv").out)))
    kinds = {r["row"] for r in rows}
    assert {"course", "reading"} <= kinds
    assert {r["unit"] for r in rows} == {"mg/L"}


def test_the_drawing_stands_alone(north):
    said = north("course", "north-room", "alkalinity", "--with", "calcium", "--svg").out
    root = ElementTree.fromstring(said)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "prefers-color-scheme: dark" in said
    assert "Alkalinity and Calcium" in said


def test_as_of_uses_nothing_later(north):
    found = json.loads(north("--as-of", "2026-01-15", "course", "north-room", "alkalinity", "--json").out)
    assert found["now"] == "2026-01-14T23:00:00Z"
    assert max(f["t"] for f in found["courses"][0]["fixes"]) < 1768431600  # 2026-01-14T23:00:00Z


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--from", "2026-05-01", "--to", "2026-04-01"], "wrong way round"), (["--from", "0000-01-01"], "1700 to 2300"),
        (["--span", "1000000000y"], "60 years or less"), (["--csv", "--svg"], "three answers"),
        (["--with", "gryphon"], "unknown quantity"), (["--with", "nowhere/ph"], "unknown system"),
        (["--px", "1"], "px"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_one_line(north, words, said):
    done = north("course", "north-room", "alkalinity", *words)
    assert done.code == 2
    assert said in done.err
    assert done.err.count("\n") == 1
