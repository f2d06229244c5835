"""What cannot be done is one clear line with the exit status of the contract; nothing is lost."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from pathlib import Path

import pytest
from tests.cli.prompt import NORTH, Prompt, one_line

pytestmark = pytest.mark.door


# -- bad input -------------------------------------------------------------------------------------------


def test_empty_store_says_how_to_begin(prompt):
    for words in (("round",), ("estimate", "north-room")):  # a mistyped path makes no store
        said = prompt(*words)
        assert said.code == 3
        assert "leadline system add" in one_line(said)
        assert not prompt.db.exists()
    said = prompt("system", "list")
    assert said.code == 0
    assert "leadline system add" in said.out
    said = prompt("round", "--json")
    assert said.json["items"] == []
    said = prompt("estimate", "north-room")
    assert said.code == 2
    assert "leadline system add" in one_line(said)


@pytest.mark.parametrize(("words", "said_of_it"), [
    (("rond",), "Did you mean round?"),
    (("round", "--minutes", "x"), "'x' is no number"),
    (("round", "--minutes", "-5"), "--minutes"),
    (("round", "--minits", "5"), "--minutes"),
    (("log", "reading"), "SYSTEM"),
    (("serve", "--port", "a"), "'a' is no number"),
    (("bench", "carbonat"), "carbonate"),
    (("bench", "carbonate", "8 dKH", "--ph", "82"), "pH nbs 82"),
    (("bench", "ammonia", "-1", "8.2"), "below zero"),
    (("bench", "ammonia", "one", "8.2"), "'one' is no number"),
    (("bench", "dose", "alkalinity", "1 dKH", "-400 L", "sodium-bicarbonate"), "no volume of water"),
])  # fmt: skip
def test_words_that_are_no_command_are_answered_in_one_line(prompt, words, said_of_it):
    said = prompt(*words)
    assert said.code == 2
    assert said_of_it in one_line(said)


def test_a_comma_is_a_decimal_sign_in_a_calculation(prompt):
    assert prompt("bench", "ammonia", "1,0", "8,2").out == prompt("bench", "ammonia", "1.0", "8.2").out != ""


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
