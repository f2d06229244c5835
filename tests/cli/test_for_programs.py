"""Commands that stand beside the API: one entry, what is done, streams and a window of one, the journal as CSV."""

from __future__ import annotations

import csv
import io

import pytest
from click.testing import CliRunner

from leadline.cli.main import root
from leadline.wiring import SystemClock, open_store

REEF = """
[system]
id = "reef"
name = "Invented reef"
time_zone = "Europe/Oslo"
net_volume = "600 L"
[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"
period = "60 s"
[[equipment]]
id = "chiller-1"
type = "chiller"
"""
BEGIN = 1_772_323_200.0  # 2026-03-01T00:00:00Z: GNU date -u -d @1772323200


@pytest.fixture
def run(tmp_path, monkeypatch):
    """A command on a store of one system with a day of points every minute, and what it said."""
    db = tmp_path / "reef.db"
    monkeypatch.setenv("LEADLINE_NOW", "2026-03-02T08:00:00Z")
    (tmp_path / "reef.toml").write_text(REEF)

    def run_(*words: str, status: int = 0) -> str:
        done = CliRunner().invoke(root, ["--db", str(db), *words])
        assert done.exit_code == status, done.output + repr(done.exception)
        return done.stdout

    run_("system", "add", str(tmp_path / "reef.toml"))
    with open_store(str(db), SystemClock()) as store:
        times = [BEGIN + 60.0 * k for k in range(1440)]
        store.add_points("reef", "temperature", times, [25.0 + (k % 60) / 60.0 for k in range(1440)])
    run_.folder = tmp_path
    return run_


def test_one_entry_is_shown_with_what_became_of_it(run):
    ident = run("log", "reading", "reef", "alkalinity", "8.1", "dKH", "--note", "new kit").split("(")[1].split(")")[0]
    run("entry", "correct", ident, "8.4", "dKH")
    said = run("entry", "show", ident)
    for words in (
        "[corrected]",
        "reading alkalinity 8.1 dKH",
        "note: new kit",
        "8.4 dKH",
        "2026-03-02T08:00:00Z  reef",
    ):
        assert words in said


def test_what_was_done_is_noted_as_the_page_notes_it(run):
    assert "Noted: service chiller-1" in run("entry", "done", "reef", "inspect", "chiller-1")
    assert "service chiller-1  checked" in run("journal")
    run("entry", "done", "reef", "dance", "chiller-1", status=2)


def test_streams_are_listed_with_their_last_point(run):
    said = run("watch", "streams")
    assert "reef    temperature  silent" in said
    assert "25.9833" in said


def test_a_window_is_printed_as_points_or_with_its_extremes(run):
    said = run("watch", "points", "reef", "temperature", "--from", "2026-03-01T00:30Z", "--until", "2026-03-01T00:33Z")
    assert [line.split()[:2] for line in said.splitlines()[1:]] == [
        ["2026-03-01T00:30:00Z", "25.5"], ["2026-03-01T00:31:00Z", "25.5167"], ["2026-03-01T00:32:00Z", "25.5333"],
    ]  # fmt: skip
    words = ("watch", "points", "reef", "temperature", "--from", "2026-03-01T00:00Z", "--by", "hour", "--most", "2")
    head, first, second, more = run(*words).splitlines()
    assert head.split() == ["hour", "least", "mean", "greatest", "points"]
    assert first.split() == ["2026-03-01T00:00:00Z", "25", "25.4917", "25.9833", "60"]  # mean of 25 + k/60, k to 59
    assert second.startswith("2026-03-01T01:00:00Z")
    assert more == "And more: --from 2026-03-01T02:00:00Z"
    assert "No point lies there" in run("watch", "points", "reef", "temperature", "--until", "2025-01-01")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("reef", "temperatur"), "Did you mean temperature?"),
        (("rief", "temperature"), "Did you mean reef?"),
        (("reef", "temperature", "--from", "2026-04-01"), "ends before it begins"),
    ],
)
def test_a_window_that_cannot_be(run, words, said):
    done = CliRunner().invoke(root, ["--db", str(run.folder / "reef.db"), "watch", "points", *words])
    assert done.exit_code == 1
    assert said in str(done.exception)


def test_what_is_found_in_the_journal_is_written_as_csv_that_imports_back(run, tmp_path):
    run("log", "service", "reef", "chiller-1", "--method", "cleaned")
    run("log", "note", "reef", "--note", "all well")
    said = run("journal", "--kind", "service", "--csv")
    [row] = csv.DictReader(io.StringIO(said))
    assert (row["kind"], row["subject"], row["method"]) == ("service", "chiller-1", "cleaned")
    (tmp_path / "services.csv").write_text(said)
    assert "0 new, 1 already there" in run("import", str(tmp_path / "services.csv"))


def test_the_chance_that_nobody_is_reached_is_asked_why(run):
    orders = (
        '[[path]]\nid = "bell"\nkind = "command"\ncommand = ["true"]\n[[person]]\nid = "keeper"\npaths = ["bell"]\n'
    )
    (run.folder / "orders.toml").write_text(orders)
    run("watch", "orders", str(run.folder / "orders.toml"))
    assert "bell to keeper, dead by itself: 50 in 100 (never proved" in run("watch", "paths", "--why", status=1)
    assert "dead by itself" not in run("watch", "paths", status=1)
