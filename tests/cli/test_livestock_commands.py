"""Livestock, quarantine and trace at the prompt: whole commands over a real store."""

from __future__ import annotations

import json

import pytest

pytestmark = pytest.mark.door
UNIT = """
[system]
id = "isolation"
name = "Isolation"
time_zone = "Europe/Oslo"
net_volume = "90 L"
purpose = "quarantine"
"""


@pytest.fixture
def keeper(prompt, north):
    assert prompt("system", "add", prompt.file("unit.toml", UNIT)).code == 0
    came = ("--id", "wrasses", "--count", "2", "--from", "shop", "--at", "2026-05-01T18:00")
    done = prompt("livestock", "arrive", "isolation", "Cirrhilabrus", *came)
    assert done.code == 0, done.err
    return prompt


def test_a_life_at_the_prompt(keeper):
    assert "wrasses" in keeper("livestock", "list").out
    assert keeper("livestock", "seen", "isolation", "wrasses").code == 0
    assert keeper("livestock", "note", "wrasses", "fish-flashing", "--note", "once").code == 0
    moved = keeper("livestock", "move", "wrasses", "north-room", "--count", "1", "--tool", "blue-net")
    assert moved.code == 0
    shown = json.loads(keeper("livestock", "show", "wrasses", "--json").out)
    assert shown["schema"] == "leadline.animal/1"
    assert shown["here"] == {"isolation": 1.0, "north-room": 1.0}
    assert shown["scientificName"] == "Cirrhilabrus"
    lost = keeper("livestock", "lose", "wrasses", "--system", "north-room", "--exam", "gills=pale", "--count", "1")
    assert lost.code == 0
    listed = json.loads(keeper("livestock", "list", "--json").out)["livestock"]
    assert [(x["organismID"], x["system"], x["count"]) for x in listed] == [("wrasses", "isolation", 1.0)]
    assert keeper("livestock", "tell", "wrasses", "irreplaceable=yes", "sex=female").code == 0
    assert "irreplaceable: True" in keeper("livestock", "show", "wrasses").out


def test_what_can_be_taken_back(keeper):
    said = keeper("livestock", "lose", "wrasses", "--how", "missing", "--count", "all").out
    ident = said.split()[-1]
    assert keeper("entry", "withdraw", ident).code == 0
    assert "wrasses" in keeper("livestock", "list").out


def test_a_plan_says_what_is_due_and_exits_1(keeper):
    shown = keeper("plan", "quarantine")
    assert shown.code == 1
    assert "Day 30 since wrasses came" in shown.out
    assert "veterinarian" in shown.out
    plan = json.loads(keeper("plan", "quarantine", "isolation", "--json").out)
    assert plan["schema"] == "leadline.quarantine/1"
    assert plan["conclusion"].startswith("Nobody looked in 30 days")
    assert {"marine-white-spot", "marine-velvet"} <= {a["pest"] for a in plan["against"]}
    assert "Nothing lives in north-room" in keeper("plan", "quarantine", "north-room").out


def test_a_dip_is_logged_and_its_record_told(keeper):
    done = keeper("livestock", "treat", "isolation", "freshwater-dip", "--minutes", "5", "--fell-off", "three worms")
    assert done.code == 0
    assert "Eggs" in done.out or "eggs" in done.out
    assert "harms" not in done.err
    refused = keeper("livestock", "treat", "isolation", "copper", "--medicine")
    assert refused.code == 0  # fish alone
    assert keeper("livestock", "arrive", "isolation", "trochus", "--id", "snails").code == 0
    refused = keeper("livestock", "treat", "isolation", "copper", "--medicine")
    assert refused.code == 2
    assert "harms snails, which live here" in refused.err


def test_traces_both_ways_and_the_picture(keeper):
    assert keeper("livestock", "move", "wrasses", "north-room", "--count", "1").code == 0
    forward = json.loads(keeper("trace", "marine-white-spot", "--came-with", "wrasses", "--json").out)
    assert forward["schema"] == "leadline.trace-forward/1"
    assert [e["place"] for e in forward["exposed"]] == ["isolation", "north-room"]
    assert keeper("livestock", "note", "wrasses", "white-spots", "--system", "north-room").code == 0
    picture = keeper.folder / "trace.svg"
    back = keeper("trace", "Marine white spot", "--seen-in", "north-room", "--svg", picture)
    assert back.code == 0, back.err
    assert "wrasses" in back.out
    svg = picture.read_text()
    assert svg.startswith("<svg xmlns=")
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("trace", "marine-white-spot"), "forward or backward?"),
        (("trace", "nothing-known", "--came-with", "wrasses"), "unknown pest"),
        (("livestock", "show", "wrases"), "Did you mean wrasses?"),
        (("livestock", "move", "wrasses", "isolation"), "is in isolation already"),
        (("livestock", "seen", "isolation"), "nothing was seen"),
        (("livestock", "lose", "wrasses", "--count", "x"), "Give how many"),
        (("livestock", "lose", "wrasses", "--exam", "pale"), "has no ="),
        (("livestock", "check", "north-room", "pterois", "--count", "0"), "Give how many would come"),
        (("livestock", "photo", "wrasses", "none.jpg"), "there is no such file"),
        (("livestock", "catalogue", "gryphon"), "unknown entry"),
        (("livestock", "catalogue", "--drop", "kind/mine"), "unknown own entry"),
        (("plan", "fallow", "north-room", "gryphon"), "unknown pest"),
    ],
)
def test_what_cannot_be_used_gets_one_line(keeper, words, said):
    done = keeper(*words)
    assert done.code == 2
    assert said in done.err
    assert len(done.err.strip().splitlines()) == 1


def test_a_check_names_how_sure_it_is(keeper):
    assert keeper("livestock", "arrive", "north-room", "gramma-loreto", "--id", "gramma").code == 0
    out = keeper("livestock", "check", "north-room", "Pterois").out
    assert "predation" in out
    assert "▲" in out
    found = json.loads(keeper("livestock", "check", "north-room", "Pterois", "--json").out)
    assert {c["certainty"] for c in found["concerns"]} <= {"known", "likely", "reported", "unknown"}
    assert all(c["unconfirmed"] or c["source"] for c in found["concerns"])
    strange = keeper("livestock", "check", "north-room", "Chelmo rostrats").out
    assert "did you mean copperband butterflyfish" in strange


def test_own_entries_and_the_examination(keeper):
    example = keeper.file("own.toml", keeper("livestock", "catalogue", "--example").out)
    assert "Kept: kind/pink-tailed-trigger" in keeper("livestock", "catalogue", "--add", example).out
    assert "your own" in keeper("livestock", "catalogue", "pink-tailed-trigger").out
    assert keeper("livestock", "catalogue", "--drop", "kind/pink-tailed-trigger").code == 0
    assert json.loads(keeper("livestock", "catalogue", "--schema").out)["$defs"]["Fact"]
    assert "not frozen" in keeper("livestock", "lose", "--examine").out
    assert "Acropora" in keeper("livestock", "catalogue", "acropora-flatworm").out


def test_the_register_goes_out_and_comes_back(keeper):
    path = keeper.folder / "register.csv"
    assert keeper("livestock", "export", path).code == 0
    assert keeper("import", path).code == 0
    listed = json.loads(keeper("livestock", "list", "--json").out)["livestock"]
    assert [(x["organismID"], x["count"]) for x in listed] == [("wrasses", 2.0)]


def test_who_lived_where_on_a_day_and_what_was_known_then(keeper):
    assert keeper("livestock", "move", "wrasses", "north-room").code == 0

    def listed(*words):
        found = json.loads(keeper("livestock", "list", "--json", *words).out)["livestock"]
        return [(x["organismID"], x["system"]) for x in found]

    assert listed() == [("wrasses", "north-room")]
    assert listed("--on", "2026-05-20") == [("wrasses", "isolation")]
    assert listed("--on", "2026-04-20") == []
    assert listed("--as-of", "2026-05-20") == []  # it was written down only later
