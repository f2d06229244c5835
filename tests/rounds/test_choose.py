"""The best set for the minutes, against every subset there is."""

from __future__ import annotations

import datetime as dt
import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.rounds.choose import best_set, ranked
from leadline.rounds.item import URGENCIES, Candidate
from leadline.rounds.round import make

pytestmark = pytest.mark.law

# worths in sixty-fourths and minutes in halves: sums are exact, so that ties are ties
candidate = st.builds(
    Candidate, st.sampled_from(["test", "dose", "inspect"]), st.sampled_from("abcdef"), st.sampled_from(URGENCIES),
    st.integers(1, 24).map(lambda k: k / 2), st.integers(1, 12).map(lambda k: k / 64), st.just(0.5), st.just("because"),
)  # fmt: skip


def urgency(chosen):
    return sum(len(URGENCIES) - URGENCIES.index(c.urgency) for c in chosen)


@settings(max_examples=150, deadline=None)
@given(st.lists(candidate, max_size=10), st.integers(0, 60).map(lambda k: k / 2))
def test_no_subset_is_worth_more_and_ties_go_to_the_urgent(found, minutes):
    chosen = best_set(found, minutes)
    assert sum(c.minutes for c in chosen) <= minutes
    best = (0.0, 0)
    for n in range(len(found) + 1):
        for some in itertools.combinations(found, n):
            if sum(c.minutes for c in some) <= minutes:
                best = max(best, (sum(c.worth for c in some), urgency(some)))
    assert (sum(c.worth for c in chosen), urgency(chosen)) == best
    assert len({id(c) for c in chosen}) == len(chosen)


def item(subject, worth, minutes=2.0, urgency="week", action="test"):
    return Candidate(action, subject, urgency, minutes, worth, 0.4, f"{subject} because.", system="north-room")


def test_two_small_ones_beat_one_large_one():
    large = item("calcium", 0.5, 10.0)
    small = [item("salinity", 0.3, 5.0), item("temperature", 0.3, 5.0)]
    assert sorted(c.subject for c in best_set([large, *small], 10.0)) == ["salinity", "temperature"]
    assert best_set([large, *small], 0.0) == []


def test_order_is_urgency_then_worth_for_each_minute():
    found = [
        item("a", 0.1, 10, "week"),
        item("b", 0.1, 2, "week"),
        item("c", 0.01, 10, "now"),
        item("d", 0.9, 1, "later"),
    ]
    assert [c.subject for c in ranked(found)] == ["c", "b", "a", "d"]


NOW = dt.datetime(2026, 3, 1, 8, tzinfo=dt.UTC)


def test_everything_is_either_done_or_left_for_later_with_a_time():
    found = [item("a", 0.4, 6), item("b", 0.3, 6, "now"), item("c", 0.2, 6), item("d", 1e-6, 6, "later")]
    r = make(found, 12.0, NOW, "north-room", {"north-room": "North"}, "Europe/Oslo")
    assert [c.subject for c in r.items] == ["b", "a"]
    assert sorted(x.subject for x in r.left_for_later) == ["c", "d"]
    for x in r.left_for_later:
        assert x.until is not None
        assert x.until > NOW
        assert x.because


def test_what_is_not_worth_the_minutes_is_not_asked_even_when_there_is_time():
    r = make([item("quiet", 1e-6)], 600.0, NOW, "north-room", {}, "UTC")
    assert r.items == ()
    assert r.left_for_later[0].subject == "quiet"
