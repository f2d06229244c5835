"""Oxygen and nitrogen of a fish, who was not seen, and who should not share a vessel."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.livestock.household import NOW, arrival, entry, kept

from leadline.app.catalogue import packaged
from leadline.livestock import compatibility, load, sight
from leadline.livestock.kinds import Certainty

# -- load --------------------------------------------------------------------------------------------------

# Resting uptake at 26 °C [mg O2/h], worked out apart from this code from Clarke and Johnston 1999 (J Animal Ecology
# 68:893: ln R = 15.7 - 5.02 × 1000/T for 50 g, exponent 0.80), reference sheet FOX-05; it is printed to two figures.
PLANNED = [(5, 1.7), (20, 5.2), (50, 10.9), (100, 19.0), (300, 46.0), (1000, 119.0)]


@pytest.mark.published
@pytest.mark.parametrize(("grams", "expected"), PLANNED)
def test_resting_oxygen(grams, expected):
    assert load.resting_oxygen(grams, 26.0) == pytest.approx(expected, rel=0.025)


@pytest.mark.published
def test_two_degrees_warmer_takes_about_a_tenth_more():
    """FOX-06: 28 °C is about 12 % more than 26 °C (same paper)."""
    assert load.resting_oxygen(50, 28.0) / load.resting_oxygen(50, 26.0) == pytest.approx(1.12, abs=0.01)


@pytest.mark.law
@given(st.floats(1, 2000), st.floats(18, 32))
def test_a_heavier_fish_in_warmer_water_takes_more(grams, at_c):
    assert load.resting_oxygen(grams * 1.1, at_c) > load.resting_oxygen(grams, at_c)
    assert load.resting_oxygen(grams, at_c + 1) > load.resting_oxygen(grams, at_c)


def test_ranges_are_in_order_and_a_coral_has_no_such_figure():
    one = load.of_kind(packaged().kind("Zebrasoma flavescens"), 25.0)
    for low, middle, high in (one.oxygen_mg_h, one.nitrogen_mg_d, one.weight_g):
        assert 0 < low < middle < high
    assert load.of_kind(packaged().kind("acropora"), 25.0) is None
    assert one.times(3).oxygen_mg_h[1] == pytest.approx(3 * one.oxygen_mg_h[1])


# -- not seen ----------------------------------------------------------------------------------------------


@pytest.mark.published
def test_bayes_by_hand():
    """Prior 0.1; alive, a look misses one in ten. Two misses: 0.1 / (0.1 + 0.9 × 0.01) = 0.9174 (by hand)."""
    per_year = 0.10536051565782628  # -ln 0.9 a year
    assert sight.p_gone(365.25, 2, 0.9, per_year) == pytest.approx(0.1 / 0.109, rel=1e-9)
    assert sight.p_gone(365.25, 0, 0.9, per_year) == pytest.approx(0.1, rel=1e-9)


@pytest.mark.law
@given(st.floats(0, 400), st.integers(0, 30), st.floats(0.05, 0.97), st.floats(0.01, 1.0))
def test_each_miss_and_each_day_makes_it_likelier(days, misses, glance, rate):
    p = sight.p_gone(days, misses, glance, rate)
    assert 0.0 <= p <= 1.0
    assert sight.p_gone(days, misses + 1, glance, rate) >= p
    assert sight.p_gone(days + 1, misses, glance, rate) >= p


def test_nobody_is_missed_by_looks_that_were_not_made():
    tang = arrival(50, "display", "tang", "zebrasoma-flavescens")
    quiet = sight.unseen(kept(tang), "display", NOW)[0]
    assert (quiet.looks, quiet.overdue) == (0, True)
    assert quiet.p_gone < 0.05
    assert "nobody looked since" in quiet.said
    looks = [entry(d, "display", "observation", "census", seen={}) for d in (9, 8, 7)]
    looked = sight.unseen(kept(tang, *looks), "display", NOW)[0]
    assert (looked.looks, looked.p_gone > 0.9) == (3, True)


def test_a_coral_is_never_missing_and_two_looks_of_one_evening_are_one():
    entries = (
        arrival(50, "display", "table", "acropora"), arrival(50, "display", "wrasse", "cirrhilabrus"),
        entry(5.0, "display", "observation", "census", seen={}),
        entry(4.98, "display", "observation", "census", seen={}),
    )  # fmt: skip
    found = sight.unseen(kept(*entries), "display", NOW)
    assert [u.lot.id for u in found] == ["wrasse"]
    assert found[0].looks == 1


# -- company -----------------------------------------------------------------------------------------------


def checked(kind, *residents, count=1.0, litres=1000.0, pumps=()):
    c = packaged()
    lots = kept(*(arrival(9, "display", f"r{i}", k) for i, k in enumerate(residents))).at("display")
    return compatibility.check(c.kind(kind), count, lots, c, net_volume_l=litres, longest_m=2.0, pumps_unguarded=pumps)


def about(found, what):
    return [c for c in found if c.about == what]


def test_a_lionfish_eats_what_fits_and_leaves_what_does_not():
    found = about(checked("pterois", "gramma-loreto", "naso"), "predation")
    assert [w for c in found for w in c.whom] == ["r0"]
    assert any(c.about == "people" for c in checked("pterois"))


def test_both_ways_count_what_lives_here_and_what_comes():
    """PEST-16 (common practice): a copperband may nip fleshy corals; whichever of the two comes second."""
    there = about(checked("chelmon-rostratus", "euphyllia"), "corallivory")
    come = about(checked("euphyllia", "chelmon-rostratus"), "corallivory")
    assert [c.certainty for c in there] == [c.certainty for c in come] == [Certainty.REPORTED]


def test_nothing_on_record_is_unknown_and_nothing_is_called_safe():
    found = checked("amphiprion-percula", "acropora")
    gaps = about(found, "gaps")
    assert [(c.certainty, c.whom) for c in gaps] == [(Certainty.UNKNOWN, ("r0",))]
    for kind in packaged().kinds:
        for c in checked(kind, "acropora", "amphiprion-percula", "holothuria"):
            assert "safe" not in c.says.lower().split()
            assert c.certainty in Certainty


def test_a_stranger_makes_a_gap_that_is_named():
    c = packaged()
    lots = kept(arrival(9, "display", "mystery-thing")).at("display")
    found = compatibility.check(c.kind("pterois"), 1, lots, c, net_volume_l=1000.0)
    assert any(x.about == "gaps" and x.whom == ("mystery-thing",) for x in found)


def test_a_sea_cucumber_beside_an_unguarded_pump_is_said():
    assert any("no guard is declared at return-pump" in c.says for c in checked("holothuria", pumps=("return-pump",)))
    assert not any("no guard" in c.says for c in checked("holothuria"))


def test_protected_kinds_ask_for_papers():
    """CITES appendix II covers all Scleractinia (Animals Committee AC22 Inf. 8); local law decides."""
    assert any("CITES appendix II" in c.says and "local law" in c.says for c in checked("acropora"))
    assert any("CITES appendix II" in c.says for c in checked("tridacna"))


def test_too_little_water_is_named():
    found = about(checked("pomacanthus", litres=400.0), "size")
    assert any("this system holds 400 L" in c.says for c in found)
