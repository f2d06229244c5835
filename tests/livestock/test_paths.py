"""Time-respecting paths against a hand-worked example, against every walk of small graphs, and the spread's chances."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.livestock.paths import Contact, backwards, earliest, reach
from leadline.livestock.spread import Reset, Way, drawn_chances, spread

# Reference sheet "Cause ranking and contact tracing", 7.2, worked by hand there (definitions of Holme and Saramäki 2012
# and Wu et al. 2014): undirected contacts, instant transfer, strictly increasing times.
SHEET = [("A", "B", 1), ("B", "C", 2), ("C", "D", 1), ("B", "D", 4), ("D", "E", 3), ("C", "E", 5)]


def made(rows) -> list[Contact]:
    return [Contact(float(t), a, b, both=True) for a, b, t in rows]


@pytest.mark.published
@pytest.mark.parametrize(
    ("origin", "lasts", "expected"),
    [
        pytest.param("A", float("inf"), {"A": 0, "B": 1, "C": 2, "D": 4, "E": 5}, id="TG-1"),
        pytest.param("A", 1.0, {"A": 0, "B": 1, "C": 2}, id="TG-2, waiting at most 1"),
        pytest.param("D", float("inf"), {"D": 0, "C": 1, "B": 2, "E": 3}, id="TG-3 from D"),
        pytest.param("E", float("inf"), {"E": 0, "D": 3, "B": 4, "C": 5}, id="TG-3 from E: A is never reached"),
    ],
)
def test_the_sheets_example(origin, lasts, expected):
    assert earliest(reach(made(SHEET), {origin: 0.0}, lasts_s=lambda _: lasts)) == expected


@pytest.mark.published
def test_possible_sources_of_e_with_their_arrival():
    """TG-4: A5 B5 C3 D3."""
    contacts = made(SHEET)
    found = {s: earliest(reach(contacts, {s: 0.0})).get("E") for s in "ABCD"}
    assert found == {"A": 5.0, "B": 5.0, "C": 3.0, "D": 3.0}
    assert set(backwards(contacts, "E", 5.0)) == set("ABCDE")


@pytest.mark.published
def test_coming_again_starts_the_clock_anew():
    """TG-5: contacts A-B 1, A-B 5, B-C 6, waiting at most 2: C is reached at 6 by the second coming."""
    contacts = made([("A", "B", 1), ("A", "B", 5), ("B", "C", 6)])
    assert earliest(reach(contacts, {"A": 0.0}, lasts_s=lambda _: 2.0)) == {"A": 0.0, "B": 1.0, "C": 6.0}


# -- every walk of small graphs ---------------------------------------------------------------------------

PLACES = "ABCDE"
contact = st.builds(
    lambda a, b, t, by, both: Contact(float(t), a, b, by, both=both),
    st.sampled_from(PLACES), st.sampled_from(PLACES), st.integers(1, 8), st.sampled_from(["hand", "water"]),
    st.booleans(),
)  # fmt: skip
CHANCE = {"hand": 0.5, "water": 0.9}
AFTER = {"hand": 0.0, "water": 2.0}


def every_walk(contacts, origin, lasts):
    """All walks that respect time, one contact after another: the slow way, by definition. Gives for each place the
    earliest arrival and the chance of the likeliest walk."""
    legs = [
        (c.at_s, a, b, c.by)
        for c in contacts
        for a, b in (((c.begin, c.end), (c.end, c.begin)) if c.both else ((c.begin, c.end),))
        if a != b
    ]
    first, best = {origin: 0.0}, {origin: 1.0}
    stack = [(origin, 0.0, 1.0)]
    while stack:
        place, came, p = stack.pop()
        for at, a, b, by in legs:
            if a != place:
                continue
            began = (
                0.0 if place == origin else came
            )  # an origin never dies out: it may leave at any time since the start
            if at <= began or at < began + AFTER[by]:
                continue
            if place != origin and at - came > lasts:
                continue
            q = p * CHANCE[by] if place != origin else CHANCE[by]
            first[b] = min(first.get(b, at), at)
            best[b] = max(best.get(b, 0.0), q)
            if b != origin:
                stack.append((b, at, q))
    return first, best


@pytest.mark.law
@settings(max_examples=1000, deadline=None)
@given(st.lists(contact, max_size=8), st.sampled_from([2.0, float("inf")]))
def test_reach_equals_every_walk_on_a_thousand_random_small_graphs(contacts, lasts):
    found = reach(
        contacts, {"A": 0.0}, lasts_s=lambda _: lasts, chance=lambda c: CHANCE[c.by], after_s=lambda c: AFTER[c.by]
    )
    first, best = every_walk(contacts, "A", lasts)
    assert earliest(found) == first
    assert {p: pytest.approx(max(s.chance for s in steps)) for p, steps in found.items()} == best


@pytest.mark.law
@settings(max_examples=300, deadline=None)
@given(st.lists(contact, max_size=8))
def test_every_step_follows_one_that_was_there_before(contacts):
    for steps in reach(contacts, {"A": 0.0}, after_s=lambda c: AFTER[c.by]).values():
        for step in steps:
            for one, other in itertools.pairwise(step.path()):
                assert one.at_s < other.at_s
                assert other.contact in contacts
                assert {one.place, other.place} == {other.contact.begin, other.contact.end}


@pytest.mark.law
@settings(max_examples=500, deadline=None)
@given(st.lists(contact, max_size=8), st.sampled_from("BCDE"))
def test_backwards_finds_the_sources_that_forwards_reaches(contacts, target):
    """An arrival at some place and time can have brought it to the target just when going forward says so."""
    ways = backwards(contacts, target, 8.0, chance=lambda c: CHANCE[c.by], after_s=lambda c: AFTER[c.by])
    for place, came in itertools.product(PLACES, range(9)):
        if place == target:
            continue
        later = [c for c in contacts if c.at_s > came]
        forward = reach(later, {place: float(came)}, chance=lambda c: CHANCE[c.by], after_s=lambda c: AFTER[c.by])
        best = max((s.chance for s in forward.get(target, ())), default=0.0)
        back = max((p for by_s, p in ways.get(place, ()) if by_s >= came), default=0.0)
        assert back == pytest.approx(best)


# -- chances ----------------------------------------------------------------------------------------------


@pytest.mark.law
@settings(max_examples=200, deadline=None)
@given(st.lists(contact, max_size=10))
def test_what_surely_carries_spreads_as_far_as_it_can_reach(contacts):
    way = {by: Way((1.0, 1.0, 1.0), AFTER[by]) for by in CHANCE}
    drawn = spread(contacts, {"A": 0.0}, lambda c: way[c.by], 8.0, np.random.default_rng(1), members=8)
    first = earliest(reach(contacts, {"A": 0.0}, after_s=lambda c: AFTER[c.by]))
    assert {p: set(when) for p, when in drawn.first_s.items()} == {p: {t} for p, t in first.items()}


@pytest.mark.published
def test_the_chance_of_all_ways_together_is_that_of_inclusion_and_exclusion():
    """Two ways from A to D that share nothing, 0.5 × 0.4 and 0.3 × 0.8: 1 - (1 - 0.2)(1 - 0.24) = 0.392 (by hand).
    A bound of five standard errors of 16,384 histories."""
    p = {("A", "B"): 0.5, ("B", "D"): 0.4, ("A", "C"): 0.3, ("C", "D"): 0.8}
    contacts = [Contact(t, a, b) for (a, b), t in zip(p, (1.0, 2.0, 1.0, 2.0), strict=True)]
    drawn = spread(
        contacts, {"A": 0.0}, lambda c: Way((p[c.begin, c.end],) * 3), 3.0, np.random.default_rng(7), members=16384
    )
    assert drawn.chance("D") == pytest.approx(0.392, abs=5 * (0.392 * 0.608 / 16384) ** 0.5)


@pytest.mark.published
def test_a_thousand_small_chances():
    """1 - 0.999^1000 = 0.6323 (by hand)."""
    contacts = [Contact(float(t), "A", "B") for t in range(1, 1001)]
    drawn = spread(
        contacts, {"A": 0.0}, lambda c: Way((0.001, 0.001, 0.001)), 2000.0, np.random.default_rng(3), members=16384
    )
    assert drawn.chance("B") == pytest.approx(0.6323, abs=5 * (0.6323 * 0.3677 / 16384) ** 0.5)


@pytest.mark.law
def test_a_tool_that_dried_carries_nothing():
    wet = [Contact(1.0, "A", "net", both=True), Contact(2.0, "net", "B", both=True)]
    dry = [Contact(1.0, "A", "net", both=True), Contact(9.0, "net", "B", both=True)]
    sure = Way((1.0, 1.0, 1.0))
    for contacts, reached in ((wet, 1.0), (dry, 0.0)):
        drawn = spread(
            contacts, {"A": 0.0}, lambda c: sure, 10.0, np.random.default_rng(1), members=8,
            lasts_s=lambda n: 3.0 if n == "net" else float("inf"),
        )  # fmt: skip
        assert drawn.chance("B") == reached


@pytest.mark.law
def test_a_place_torn_down_may_be_rid_of_it_and_what_left_before_stays():
    contacts = [Contact(1.0, "A", "Q"), Contact(2.0, "Q", "B"), Contact(5.0, "Q", "C")]
    drawn = spread(
        contacts, {"A": 0.0}, lambda c: Way((1.0, 1.0, 1.0)), 6.0, np.random.default_rng(1), members=8,
        resets=[Reset(3.0, "Q", 1.0)],
    )  # fmt: skip
    assert (drawn.chance("B"), drawn.chance("Q"), drawn.chance("C")) == (1.0, 0.0, 0.0)


@pytest.mark.published
def test_chances_drawn_from_a_range_follow_its_pert_distribution():
    """Mean of a PERT distribution: (low + 4 typical + high) / 6 (Malcolm et al. 1959, Operations Research 7:646)."""
    ease = (np.arange(4096) + 0.5) / 4096
    drawn = drawn_chances(0.05, 0.2, 0.5, ease)
    assert drawn.mean() == pytest.approx((0.05 + 0.8 + 0.5) / 6, rel=1e-3)
    assert 0.05 <= drawn.min() < drawn.max() <= 0.5
