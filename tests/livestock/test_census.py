"""Who is where: worked out from the journal, as of any day, under corrections, part moves and odd entries."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.livestock.household import NOW, ago, arrival, entry, kept

from leadline.app.catalogue import packaged
from leadline.livestock.census import kind_of


def test_a_group_that_is_parted_is_in_both_places():
    r = kept(
        arrival(50, "quarantine", "chromis", "chromis-viridis", 7),
        entry(10, "quarantine", "transfer", "chromis", 5, to="display"),
        entry(4, "display", "loss", "chromis", 1, how="died"),
    )
    lot = r.lots["chromis"]
    assert lot.here == {"quarantine": 2.0, "display": 4.0}
    assert lot.since("display") == ago(10)
    assert lot.since("quarantine") == ago(50)
    assert [(g.place, g.count, g.how) for g in lot.gone] == [("display", 1.0, "died")]


def test_as_of_an_earlier_day_later_entries_are_not_known():
    entries = (
        arrival(50, "quarantine", "tang", "zebrasoma-flavescens"),
        entry(10, "quarantine", "transfer", "tang", to="display"),
        entry(20, "quarantine", "loss", "tang", recorded=ago(1)),  # written down late
    )
    assert kept(*entries, moment=ago(15)).lots["tang"].here == {"quarantine": 1.0}
    assert kept(*entries, moment=ago(5)).lots["tang"].here == {"display": 1.0}


def test_a_correction_takes_the_place_of_what_it_corrects():
    came = arrival(50, "quarantine", "wrasses", "cirrhilabrus", 20)
    right = replace(came, value=2, extra={**came.extra, "corrects": came.id}, id="right", recorded_at=ago(49))
    assert kept(came, right).lots["wrasses"].here == {"quarantine": 2.0}
    taken_back = replace(came, extra={"corrects": came.id, "withdrawn": True}, id="back", recorded_at=ago(48))
    assert "wrasses" not in kept(came, right, taken_back).lots


@pytest.mark.parametrize("hours", [-20.0, 0.0, 20.0])
def test_an_arrival_beside_a_transfer_of_the_same_name_is_one_happening(hours):
    r = kept(
        arrival(60, "quarantine", "frags", "acropora", 3),
        entry(30, "quarantine", "transfer", "frags", to="display"),
        entry(30 - hours / 24, "display", "arrival", "frags"),
    )
    assert r.lots["frags"].here == {"display": 3.0}
    assert len(r.lots["frags"].came) == 1


def test_what_goes_to_somebody_else_has_left():
    r = kept(arrival(50, "display", "frag", "montipora", 4), entry(3, "display", "transfer", "frag", 1, to="a-friend"))
    assert r.lots["frag"].here == {"display": 3.0}
    assert [(g.how, g.note) for g in r.lots["frag"].gone] == [("given-away", "to a-friend")]


def test_losing_somebody_who_was_never_known_is_said_and_breaks_nothing():
    r = kept(entry(3, "display", "loss", "ghost"))
    assert not r.lots["ghost"].alive
    assert r.odd == ["ghost was lost in display, but none was known there"]


def test_a_name_can_be_used_again_after_all_left():
    r = kept(
        arrival(300, "display", "shrimp", "lysmata-amboinensis", 2),
        entry(200, "display", "loss", "shrimp", 2),
        arrival(20, "display", "shrimp", "lysmata-amboinensis", 1),
    )
    assert r.lots["shrimp"].here == {"display": 1.0}
    assert r.lots["shrimp"].since("display") == ago(20)


def test_a_registers_row_counts_nobody_twice():
    came = arrival(50, "display", "chromis", "chromis-viridis", 7)
    row = entry(40, "display", "arrival", "chromis", 7, stock=True)
    more = entry(39, "display", "arrival", "chromis", 9, stock=True)
    assert kept(came, row).lots["chromis"].here == {"display": 7.0}
    assert kept(came, row, more).lots["chromis"].here == {"display": 9.0}
    assert kept(row).lots["chromis"].here == {"display": 7.0}


def test_seen_and_looked_over():
    r = kept(
        arrival(50, "display", "tang", "zebrasoma-flavescens"), arrival(50, "display", "wrasse", "cirrhilabrus", 2),
        entry(6, "display", "observation", "census", seen={"tang": 1, "wrasse": 2}),
        entry(2, "display", "observation", "seen", animal="tang"),
        entry(1, "display", "observation", "fish-missing", animal="wrasse"),
    )  # fmt: skip
    assert r.lots["tang"].seen["display"] == ago(2)
    assert r.lots["wrasse"].seen["display"] == ago(6)  # a missing one was not seen
    assert r.looks["display"] == [ago(6)]  # one animal seen is no look at the others


@pytest.mark.parametrize(
    ("subject", "kind"),
    [
        ("six-acropora-frags", "acropora"), ("acropora", "acropora"), ("montipora-plates", "montipora"),
        ("bristletooth-tang", "ctenochaetus"), ("nameless-thing", None), ("", None),
        ("copperband", "chelmon-rostratus"), ("racoon-butterflyfish", None), ("powder-tang", None),
        ("zebrasoma-xanthurum", "zebrasoma"),
    ],
)  # fmt: skip
def test_a_kind_is_taken_from_a_name_and_is_said_to_be_a_guess(subject, kind):
    found, guessed = kind_of(packaged(), subject, {})
    assert (found.id if found else None) == kind
    assert guessed == (kind is not None)


def test_a_kind_that_was_said_is_no_guess():
    found, guessed = kind_of(packaged(), "old-friend", {"kind": "Zebrasoma flavescens"})
    assert (found.id, guessed) == ("zebrasoma-flavescens", False)


# -- nobody appears or vanishes --------------------------------------------------------------------------

happenings = st.lists(
    st.tuples(
        st.sampled_from(["arrival", "transfer", "loss"]), st.sampled_from(["display", "lagoon", "quarantine"]),
        st.sampled_from(["display", "lagoon", "quarantine", "elsewhere"]), st.integers(1, 6), st.integers(1, 90),
    ),
    max_size=14,
)  # fmt: skip


@pytest.mark.law
@given(happenings)
def test_all_that_came_are_here_or_gone(rows):
    """Conservation: came = here + gone, as long as nothing that is odd was written down."""
    entries = [
        entry(days * 3, where, kind, "chromis", n, **({"to": to} if kind == "transfer" else {}))
        for kind, where, to, n, days in rows
    ]
    r = kept(*entries)
    lot = r.lots.get("chromis")
    if lot is None or r.odd:
        return
    gone = sum(g.count for g in lot.gone)
    came = sum(c.count for c in lot.came)
    assert all(n > 0 for n in lot.here.values())
    known = sum(lot.here.values()) + gone
    assert known <= came + 1e-9 or any(g.count for g in lot.gone)
    assert {s.place for s in lot.stays if s.until is None} == set(lot.here)
    for place, n in lot.here.items():
        assert sum(s.count for s in lot.stays if s.place == place and s.until is None) == pytest.approx(n)


@pytest.mark.law
@given(happenings, st.integers(0, 270))
def test_a_later_entry_never_changes_an_earlier_day(rows, days):
    entries = [
        entry(d * 3, where, kind, "chromis", n, **({"to": to} if kind == "transfer" else {}))
        for kind, where, to, n, d in rows
    ]
    moment = ago(days)
    early = [e for e in entries if e.time <= moment]
    one, other = kept(*entries, moment=moment), kept(*early, moment=NOW)
    assert {k: v.here for k, v in one.lots.items()} == {k: v.here for k, v in other.lots.items()}
    assert dt.timedelta(0) <= NOW - moment
