"""The commands as the contract names them: shapes, words, exit statuses, one line for what cannot be done."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.prompt import NORTH, NOW, one_line, process

from leadline.cli.main import COMMANDS

pytestmark = pytest.mark.door


# -- help, near misses, completion -----------------------------------------------------------------------


def every_command():
    import click

    from leadline.cli.main import root

    def walk(command, path):
        yield path, command
        if isinstance(command, click.Group):
            context = click.Context(command)
            for name in command.list_commands(context):
                found = command.get_command(context, name)
                assert found is not None
                yield from walk(found, [*path, name])

    return list(walk(root, []))


@pytest.mark.parametrize("path", [" ".join(p) for p, _ in every_command()] or [""])
def test_every_help_has_an_example(prompt, path):
    said = prompt(*path.split(), "--help", db=False)
    assert said.code == 0
    assert "Example" in said.out
    assert f"leadline {path}".strip() in said.out.split("Example")[1]
    for option in ("Usage:", "--help"):
        assert option in said.out


def test_listing_commands_loads_none_of_them():
    code = (
        "import sys; from leadline.cli.main import run; run(['--help']);"
        "print([m for m in sys.modules if m.startswith('leadline.') or m == 'numpy'])"
    )
    env_free = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    loaded = env_free.splitlines()[-1]
    for module in ("leadline.store", "leadline.estimate", "leadline.web", "leadline.formats", "numpy"):
        assert f"'{module}" not in loaded


@pytest.mark.parametrize(("typed", "meant"), [
    ("rond", "round"), ("esitmate", "estimate"), ("imprt", "import"), ("bakcup", "backup"), ("systm", "system"),
])  # fmt: skip
def test_near_misses_of_commands(prompt, typed, meant):
    said = prompt(typed)
    assert said.code == 2
    assert f"Did you mean {meant}" in said.err
    assert said.out == ""


def test_near_misses_of_systems_quantities_and_kinds(north):
    for words, meant in (
        (("round", "north-rom"), "north-room"),
        (("estimate", "nort-room"), "north-room"),
        (("estimate", "north-room", "--why", "alkalinty"), "alkalinity"),
        (("log", "readng", "north-room", "alkalinity", "8.1", "dKH"), "reading"),
        (("log", "reading", "north-room", "alkalinty", "8.1", "dKH"), "alkalinity"),
        (("log", "reading", "north-room", "alkalinity", "8.1", "dKG"), "dKH"),
        (("log", "addition", "north-room", "sodium-bicarbonate", "8", "gg"), "g"),
    ):
        said = north(*words)
        assert said.code == 2, words
        assert meant in one_line(said), words


def test_a_negative_number_is_no_option(north):
    said = north("log", "reading", "north-room", "orp", "-50", "mV", "--note", "-5 after cleaning")
    assert said.code == 0, said.err
    assert '"orp", "value": -50.0' in north("log", "reading", "north-room", "orp", "-50", "mV", "--json").out
    assert "-5 after cleaning" in north("export").out


def test_us_units_are_used_in_what_is_said(prompt):
    us = NORTH.replace('name = "North room reef"', 'name = "North room reef"\nunits = "us"')
    assert prompt("system", "add", prompt.file("us.toml", us)).code == 0
    for day in range(1, 20):
        assert (
            prompt(
                "log", "reading", "north-room", "temperature", "77.4", "degF", now=f"2026-05-{day:02}T08:00:00Z"
            ).code
            == 0
        )
    said = prompt("log", "reading", "north-room", "temperature", "90", "degF")
    assert "°F was expected" in said.out
    assert "°F" in prompt("estimate", "north-room").out
    assert "°C" not in prompt("round").out


def test_a_value_without_a_unit_says_what_was_taken(north):
    said = north("log", "reading", "north-room", "temperature", "25.3")
    assert said.code == 0
    assert "assumed" in said.out
    assert "degC" in said.out


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_of_each_shell(prompt, shell):
    said = prompt("completion", shell)
    assert said.code == 0
    assert "_LEADLINE_COMPLETE" in said.out


def test_completion_really_completes():
    said = process("", _LEADLINE_COMPLETE="bash_complete", COMP_WORDS="leadline es", COMP_CWORD="1")
    assert "estimate" in said.out


def test_version(prompt):
    said = prompt("--version", db=False)
    assert (said.code, said.out.split()[0]) == (0, "leadline,") or said.out.startswith("leadline")


# -- shapes ----------------------------------------------------------------------------------------------


def test_estimate_json_has_the_contracts_shape(north):
    said = north("estimate", "north-room", "--json")
    assert said.code == 0
    e = said.json
    assert (e["schema"], e["system"], e["as_of"]) == ("leadline.estimate/1", "north-room", NOW)
    from leadline.measures.quantities import QUANTITIES

    assert {"temperature", "salinity", "alkalinity", "calcium", "magnesium", "nitrate", "phosphate"} <= set(
        e["quantities"]
    )
    # canonical units of the contract's table
    stored = {"salinity": "psu", "alkalinity": "meq/L", "calcium": "mg/L", "temperature": "degC", "nitrate": "mg/L",
              "phosphate": "mg/L", "magnesium": "mg/L", "ph": "1"}  # fmt: skip
    for name, q in e["quantities"].items():
        assert name in QUANTITIES
        assert {"unit", "mean", "sd", "q05", "q25", "q50", "q75", "q95", "rate_per_day", "last_reading", "aim", "limit",
                "p_outside_aim", "p_outside_limit", "forecast"} <= set(q)  # fmt: skip
        if name in stored:
            assert q["unit"] == stored[name]
        assert q["q05"] <= q["q25"] <= q["q50"] <= q["q75"] <= q["q95"]
        assert q["sd"] > 0
        assert set(q["rate_per_day"]) == {"mean", "sd"}
        for key in ("p_outside_aim", "p_outside_limit"):
            assert q[key] is None or 0 <= q[key] <= 1
        assert any(f["days"] == 7 for f in q["forecast"])
        for f in q["forecast"]:
            assert {"days", "mean", "sd", "p_outside_aim", "p_outside_limit"} <= set(f)
        if q["last_reading"] is not None:
            assert {"time", "value", "sd", "method"} <= set(q["last_reading"])
            assert q["last_reading"]["time"].endswith("Z")
    assert e["quantities"]["ph"]["last_reading"] is None
    alkalinity = e["quantities"]["alkalinity"]
    # 7.5 and 9.0 dKH are 2.675 and 3.210 meq/L (1 dKH = 0.356652 meq/L)
    assert alkalinity["aim"] == pytest.approx([2.675, 3.210], abs=1e-3)
    assert alkalinity["limit"] == pytest.approx([2.140, 4.280], abs=1e-3)
    assert e["quantities"]["salinity"]["last_reading"]["method"] == "refractometer"


def test_round_json_has_the_contracts_shape_and_finds_the_neglected(north):
    said = north("round", "north-room", "--json")
    assert said.code == 0
    r = said.json
    assert {"schema", "system", "as_of", "minutes", "items", "left_for_later"} <= set(r)
    assert (r["schema"], r["system"], r["as_of"], r["minutes"]) == ("leadline.round/1", "north-room", NOW, 10)
    actions = {"test", "dose", "exchange", "inspect", "service", "prove", "treat", "isolate", "trim", "observe", "ask"}
    for k, item in enumerate(r["items"], 1):
        assert {"rank", "action", "subject", "urgency", "minutes", "because", "risk", "evidence"} <= set(item)
        assert item["rank"] == k
        assert item["action"] in actions
        assert item["urgency"] in {"now", "today", "week", "later"}
        assert 0 <= item["risk"] <= 1
        for piece in item["evidence"]:
            assert {"what", "value", "unit"} <= set(piece)
    assert sum(i["minutes"] for i in r["items"]) <= 10
    assert (r["items"][0]["action"], r["items"][0]["subject"]) == ("test", "salinity")
    assert r["left_for_later"]


def test_entering_the_reading_makes_it_drop(north):
    assert north("round", "--json").json["items"][0]["subject"] == "salinity"
    done = north("log", "reading", "north-room", "salinity", "35.2", "psu", "--method", "refractometer")
    assert done.code == 0
    assert "Logged reading salinity 35.2 psu" in done.out
    after = north("round", "--json").json
    assert all(i["subject"] != "salinity" or i["action"] != "test" for i in after["items"])


def test_log_json_names_the_slip_and_the_id_serves_to_mend_it(north):
    said = north("log", "reading", "north-room", "alkalinity", "2.9", "dKH", "--json")
    assert said.code == 0
    entry = said.json
    assert entry["value"] == 2.9
    assert "meq/L" in entry["question"]["guess"]
    asked = [i for i in north("round", "--json", "--minutes", "30").json["items"] if i["action"] == "ask"]
    assert [i["entry"] for i in asked] == [entry["id"]]
    mended = north("entry", "correct", entry["id"], "2.9", "meq/L")
    assert mended.code == 0
    assert not [i for i in north("round", "--json", "--minutes", "30").json["items"] if i["action"] == "ask"]
    rows = north("export").out
    assert entry["id"] in rows
    assert "corrects" in rows


def test_check_json_counts_every_reading(north):
    said = north("estimate", "north-room", "--check", "--json")
    assert said.code == 0
    found = said.json["quantities"]
    assert found["alkalinity"]["readings"] == 31
    assert found["salinity"]["readings"] == 19
    for c in found.values():
        assert c["hits_50"] <= c["hits_90"] <= c["readings"]
        assert sum(c["pit"]) == c["readings"]
        assert c["verdict"] in ("few", "good", "narrow", "wide")


def test_people_get_words_not_json(north):
    for words in (("estimate", "north-room"), ("round",), ("estimate", "north-room", "--check"),
                  ("estimate", "north-room", "--why", "salinity"), ("system", "show", "north-room"),
                  ("system", "list")):  # fmt: skip
        said = north(*words)
        assert said.code == 0, said.err
        assert not said.out.lstrip().startswith("{")
        assert "\x1b[" not in said.out  # no colour when it is no terminal
        assert "Traceback" not in said.err
    assert "refractometer" not in north("system", "list").out


def test_system_description_comes_back_as_it_was_given(north):
    assert north("system", "show", "north-room", "--toml").out == NORTH
    shown = north("system", "show", "north-room", "--json").json
    assert shown["net_volume"]["mean"] == 1150.0


def test_system_edit_keeps_the_old_one_for_as_of(north):
    edited = NORTH.replace('"1150 L"', '"900 L"')
    said = north("system", "edit", "north-room", north.file("new.toml", edited), now="2026-06-02T08:00:00Z")
    assert said.code == 0
    now = north("system", "show", "north-room", "--json", now="2026-06-03T08:00:00Z").json
    then = north(
        "system", "show", "north-room", "--json", "--as-of", "2026-06-01T09:00", now="2026-06-03T08:00:00Z"
    ).json
    assert (now["net_volume"]["mean"], then["net_volume"]["mean"]) == (900.0, 1150.0)


# -- options anywhere, as-of -----------------------------------------------------------------------------


def test_db_json_and_as_of_stand_anywhere(north):
    db = str(north.db)
    orders = [
        ("--db", db, "--json", "round", "north-room"),
        ("round", "--db", db, "north-room", "--json"),
        ("round", "north-room", "--json", f"--db={db}"),
        ("--json", "round", "--db", db, "north-room"),
    ]
    answers = [north(*words, db=False) for words in orders]
    assert all(a.code == 0 for a in answers)
    assert len({json.dumps(a.json) for a in answers}) == 1
    early = [
        north("--as-of", "2026-01-10T08:00:00Z", "estimate", "north-room", "--json"),
        north("estimate", "--as-of=2026-01-10T08:00:00Z", "north-room", "--json"),
    ]
    assert early[0].json == early[1].json
    assert early[0].json["as_of"] == "2026-01-10T08:00:00Z"
    assert early[0].json["quantities"]["alkalinity"]["last_reading"]["time"] <= "2026-01-10T08:00:00Z"


def test_environment_names_the_store(north, monkeypatch):
    monkeypatch.setenv("LEADLINE_DB", str(north.db))
    assert north("round", "--json", db=False).json["items"]


def test_as_of_nonsense_is_one_line(north):
    for when in ("tomorrow", "2026-13-01", "12:00"):
        said = north("round", "--as-of", when)
        assert said.code == 2
        assert when in one_line(said)


def test_an_option_without_its_value_is_said_so(north):
    said = north("round", "--as-of", db=False)
    assert said.code == 2
    assert "--as-of" in said.err
    assert "Traceback" not in said.err


# -- processes -------------------------------------------------------------------------------------------

HEAVY = ("starlette", "jinja2", "openpyxl", "scipy.stats", "pandas", "uvicorn", "gsw", "multipart")


def test_a_cold_round_loads_nothing_heavy(north):
    code = (
        "import sys\nfrom leadline.cli.main import run\n"
        f"code = run(['round', '--json', '--db', {str(north.db)!r}])\n"
        "print('\\n' + ' '.join(sorted(sys.modules)))\nsys.exit(code)"
    )
    import leadline

    env = {**os.environ, "LEADLINE_NOW": NOW, "PYTHONPATH": str(Path(leadline.__file__).parents[1])}
    for _ in range(2):  # with nothing kept aside, and with a reckoning kept aside
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, check=True)
        modules = set(done.stdout.splitlines()[-1].split())
        assert "leadline.rounds.choose" in modules
        assert not [m for m in HEAVY if m in modules]


def test_the_whole_way_in_processes(tmp_path):
    """Describe, import, look, enter, look again: each a process of its own, as a keeper runs them."""
    db = tmp_path / "reef.db"
    (tmp_path / "north.toml").write_text(NORTH)
    assert process("--db", db, "system", "add", tmp_path / "north.toml").code == 0
    assert process("--db", db, "system", "show", "north-room", "--toml").out == NORTH
    done = process("--db", db, "log", "reading", "north-room", "alkalinity", "8.1", "dKH", "--method", "titration")
    assert done.code == 0
    e = process("--db", db, "estimate", "north-room", "--json").json
    assert e["quantities"]["alkalinity"]["last_reading"]["value"] == pytest.approx(8.1 * 0.356652, rel=1e-4)
    missing = process("--db", db, "round", "south-room")
    assert missing.code == 2
    assert "Did you mean" in missing.err or "Known" in missing.err
    assert missing.err.count("\n") == 1
    from_stdin = process("--db", db, "system", "add", "-", stdin=NORTH.replace("north-room", "south-room"))
    assert from_stdin.code == 0
    assert "south-room" in process("--db", db, "system", "list").out


def test_a_pipe_that_closes_early_is_no_error(north):
    import leadline

    env = {**os.environ, "LEADLINE_NOW": NOW, "PYTHONPATH": str(Path(leadline.__file__).parents[1])}
    done = subprocess.run(
        f"{sys.executable} -m leadline --db {north.db} export | head -1",
        shell=True, capture_output=True, text=True, env=env, check=False,
    )  # fmt: skip
    assert done.stdout.startswith("time") or "," in done.stdout
    assert "Traceback" not in done.stderr
    assert "BrokenPipe" not in done.stderr


def test_demo_is_made_and_its_round_finds_the_salt_creep(tmp_path):
    done = process("demo", "--no-serve", "--folder", tmp_path / "demo")
    assert done.code == 0, done.err
    r = process("--db", tmp_path / "demo" / "demo.db", "round", "--json").json
    assert (r["items"][0]["action"], r["items"][0]["subject"]) == ("test", "salinity")
    again = process("demo", "--no-serve", "--folder", tmp_path / "demo")
    assert again.code == 0


def test_commands_are_all_there():
    assert {"demo", "serve", "system", "log", "import", "export", "backup", "restore", "estimate", "round"} <= set(
        COMMANDS
    )
