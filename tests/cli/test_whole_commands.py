"""The commands as the contract names them: shapes, words, exit statuses, one line for what cannot be done."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from tests.cli.prompt import NORTH, NOW, Prompt, process

from leadline.cli.main import COMMANDS

pytestmark = pytest.mark.door


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


def one_line(said):
    """One clear line on stderr, and no traceback."""
    assert "Traceback" not in said.err
    lines = [x for x in said.err.strip().splitlines() if x.strip()]
    assert len(lines) == 1, said.err
    return lines[0]


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


# -- bad input -------------------------------------------------------------------------------------------


def test_empty_store_says_how_to_begin(prompt):
    for words in (("round",), ("system", "list")):
        said = prompt(*words)
        assert said.code == 0
        assert "leadline system add" in said.out
    said = prompt("round", "--json")
    assert said.json["items"] == []
    said = prompt("estimate", "north-room")
    assert said.code == 2
    assert "leadline system add" in one_line(said)


@pytest.mark.parametrize("words", [
    ("log", "reading", "north-room", "alkalinity", "abc", "dKH"),
    ("log", "reading", "north-room", "alkalinity"),
    ("log", "reading", "north-room"),
    ("log", "reading", "north-room", "alkalinity", "1e30", "dKH"),
    ("log", "reading", "north-room", "alkalinity", "8.1", "dKH", "--at", "2031-01-01T08:00"),
    ("log", "reading", "north-room", "alkalinity", "8.1", "dKH", "--at", "2026-03-29T02:30"),
    ("log", "reading", "north-room", "alkalinity", "8.1", "dKH", "--sd", "-1"),
    ("log", "reading", "north-room", "alkalinity", "8.1", "dKH", "--extra", "{"),
    ("log", "reading", "north-room", "alkalinity", "8.1", "dKH", "--extra", "[1]"),
    ("log", "exchange", "north-room", "mixed-seawater", "0", "L"),
    ("log", "exchange", "north-room", "mixed-seawater", "--", "-40", "L"),
    ("log", "exchange", "north-room", "mixed-seawater", "-40", "L"),
    ("log", "exchange", "north-room", "mixed-seawater", "40", "L", "--extra", '{"salinity": NaN}'),
    ("log", "exchange", "north-room", "mixed-seawater", "40", "L", "--extra", '{"salinity": -5}'),
    ("log", "exchange", "north-room", "mixed-seawater", "40", "L", "--extra", '{"salinity": 1e999}'),
    ("log", "exchange", "north-room", "mixed-seawater", "40", "L", "--extra", '{"alkalinity": "8"}'),
    ("log", "exchange", "north-room", "mixed-seawater", "40", "L", "--extra", '{"volume_out": -10}'),
    ("log", "topoff", "north-room", "ro", "5", "L", "--extra", '{"salinity": true}'),
    ("log", "transfer", "north-room", "clownfish"),
    ("entry", "confirm", "0123456789abcdef"),
    ("entry", "withdraw", "nothing"),
    ("system", "show", "nowhere"),
    ("system", "add", "missing.toml"),
])  # fmt: skip
def test_what_cannot_be_done_is_one_line_and_exit_2(north, words):
    before = north("export").out
    said = north(*words)
    assert said.code == 2, said
    assert one_line(said)
    assert said.out == ""
    assert north("export").out == before


def test_usage_errors_are_exit_2(north):
    for words in (("round", "--minutes", "-1"), ("round", "--minutes", "soon"), ("round", "a", "b"), ("nonsense",),
                  ("estimate", "north-room", "--bogus")):  # fmt: skip
        said = north(*words)
        assert said.code == 2, words
        assert "Traceback" not in said.err


def test_a_bad_description_names_file_and_place(prompt):
    path = prompt.file("bad.toml", NORTH.replace('"7.5 dKH"', '"7.5 furlongs"'))
    said = prompt("system", "add", path)
    assert said.code == 2
    line = one_line(said)
    assert "furlongs" in line
    assert "band 1" in line


def test_a_description_with_unknown_keys_is_kept_and_named_in_one_line(prompt):
    said = prompt("system", "add", prompt.file("extra.toml", NORTH + "\n[weather]\nwind = 3\n"))
    assert said.code == 0
    assert "weather" in one_line(said)
    assert "[weather]" in prompt("system", "show", "north-room", "--toml").out


def test_the_same_system_twice_is_refused_unless_it_is_the_same(north):
    assert north("system", "add", north.file("again.toml", NORTH)).code == 0
    said = north("system", "add", north.file("other.toml", NORTH.replace("1150", "1250")))
    assert said.code == 2
    assert "leadline system edit" in one_line(said)


def test_a_description_that_is_not_text(prompt):
    path = prompt.folder / "binary.toml"
    path.write_bytes(b"\xff\xfe\x00\x01")
    said = prompt("system", "add", path)
    assert said.code == 2
    assert "UTF-8" in one_line(said)


# -- the store -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [
    ("round",), ("estimate", "north-room"), ("log", "reading", "north-room", "alkalinity", "8.1", "dKH"),
    ("system", "list"), ("export",),
])  # fmt: skip
def test_a_damaged_store_is_exit_3_and_one_line(tmp_path, capsys, monkeypatch, words):
    prompt = Prompt(tmp_path, capsys, monkeypatch)
    prompt.db.write_bytes(b"this is no database, it only looks like a file" * 200)
    before = prompt.db.read_bytes()
    said = prompt(*words)
    assert said.code == 3, said
    assert str(prompt.db) in one_line(said)
    assert prompt.db.read_bytes() == before


def test_a_store_in_a_folder_that_cannot_be_made(prompt):
    file = prompt.file("a-file", "x")
    said = prompt("round", "--db", str(file / "sub" / "reef.db"), db=False)
    assert said.code == 3
    assert one_line(said)


def test_a_url_store_says_that_it_is_not_served(prompt):
    said = prompt("round", "--db", "postgresql://somewhere/reef", db=False)
    assert said.code == 2
    assert one_line(said)


def test_a_locked_store_is_exit_3(north):
    other = sqlite3.connect(north.db, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        said = north("log", "reading", "north-room", "alkalinity", "8.1", "dKH")
    finally:
        other.execute("ROLLBACK")
        other.close()
    assert said.code == 3
    assert one_line(said)


@pytest.fixture
def bound_by_permissions():
    """A folder whose permissions bind us: as root we become nobody, whom they bind, until the test is over."""
    folder = Path(tempfile.mkdtemp())
    yield folder
    if os.geteuid() != os.getuid():
        os.seteuid(0)
    folder.chmod(0o700)
    shutil.rmtree(folder)


def test_a_read_only_store_answers_and_refuses_to_write(north, bound_by_permissions):
    """Reading needs no right to write; writing says so and loses nothing."""
    words = north("round", "--json").json["items"]
    north("log", "note", "north-room", "--note", "so that all is loaded")
    path = bound_by_permissions / "reef.db"
    shutil.copy(north.db, path)
    path.chmod(0o444)
    bound_by_permissions.chmod(0o555)
    if os.geteuid() == 0:
        os.chown(bound_by_permissions, 65534, -1)
        os.chown(path, 65534, -1)
        os.seteuid(65534)
    before = path.read_bytes()
    said = north("round", "--json", "--db", str(path), db=False)
    assert said.code == 0, said.err
    assert [i["subject"] for i in said.json["items"]] == [i["subject"] for i in words]
    assert north("estimate", "north-room", "--db", str(path), db=False).code == 0
    said = north("log", "reading", "north-room", "alkalinity", "8.1", "dKH", "--db", str(path), db=False)
    assert said.code == 3
    assert "read-only" in one_line(said)
    assert path.read_bytes() == before


def test_a_folder_is_no_store(prompt):
    said = prompt("round", "--db", str(prompt.folder), db=False)
    assert said.code == 3
    assert one_line(said)


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
