"""`leadline journal`: what was written is found, with what stands in its place."""

from __future__ import annotations

import json

import pytest
from tests.cli.test_livestock_commands import keeper  # noqa: F401 - a fixture


@pytest.fixture
def written(keeper):  # noqa: F811
    for words in (
        ("log", "feeding", "north-room", "pellets", "30", "g", "--at", "2026-02-01T10:00"),
        ("log", "service", "north-room", "skimmer-1", "--method", "cleaned", "--at", "2026-02-02T10:00"),
        ("log", "note", "isolation", "--note", "lights an hour late", "--at", "2026-02-03T10:00"),
    ):
        assert keeper(*words).code == 0
    return keeper


def test_found_by_words_system_and_kind(written):
    assert "service skimmer-1" in written("journal", "skimmer", "cleaned").out
    assert "lights" not in written("journal", "--system", "north-room").out
    assert written("journal", "--kind", "feeding").out.count("\n") == 1
    assert "Nothing like it was written" in written("journal", "gryphon").out
    first = written("journal", "--most", "1").out
    assert "And more: --before" in first
    more = first.split("--before ")[1].split()[0]
    assert first.splitlines()[0] not in written("journal", "--before", more).out


def test_what_was_corrected_and_taken_back_says_so(written):
    ident = json.loads(written("journal", "--kind", "feeding", "--json").out)["id"]
    assert written("entry", "correct", ident, "3", "g").code == 0
    assert "[corrected: 3 g]" in written("journal", "pellets").out
    assert written("entry", "withdraw", ident).code == 0
    assert "[taken back]" in written("journal", "pellets").out
    assert json.loads(written("journal", "--kind", "feeding", "--json").out)["state"] == "withdrawn"


def test_a_wrong_time_is_written_anew_and_the_rest_stays(written):
    ident = json.loads(written("journal", "--kind", "feeding", "--json").out)["id"]
    assert written("entry", "amend", ident).code == 2  # nothing was said to be otherwise
    assert written("entry", "amend", ident, "--at", "2026-01-31T09:15", "--system", "isolation").code == 0
    old, new = (
        json.loads(written("journal", "--system", s, "--kind", "feeding", "--json").out)
        for s in ("north-room", "isolation")
    )
    assert (old["state"], new["state"]) == ("withdrawn", "stands")
    assert new["time"].startswith("2026-01-31")
    assert [new[k] for k in ("subject", "value", "unit")] == ["pellets", 30.0, "g"]
    again = written("entry", "amend", ident, "--at", "2026-01-30T09:15")
    assert again.code == 2
    assert "taken back already" in again.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("journal", "--system", "nort-room"), "Did you mean north-room?"),
        (("journal", "--kind", "feding"), "Did you mean feeding or reading?"),
        (("journal", "--before", "soon"), "is no date or time"),
        (("journal", "--most", "0"), "Ask for one or more"),
    ],
)
def test_what_cannot_be_used_gets_one_line(written, words, said):
    done = written(*words)
    assert done.code == 2
    assert said in done.err
