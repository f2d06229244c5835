"""Stage durations and re-treatment windows against what is published of them."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.app.catalogue import packaged
from leadline.livestock import development
from leadline.livestock.development import longest, shortest
from leadline.livestock.kinds import Fact, Mark
from leadline.livestock.treatments import Warmth, window

# Benedenia seriolae eggs, first hatch 16 d at 14 °C and 5 d at 28 °C: Ernst et al. 2005, J Fish Dis,
# doi 10.1111/j.1365-2761.2004.00605.x. What follows from them was worked out apart from this code
# (fish-parasite-stage-facts, expected.csv, public domain facts).
COLD, WARM = (14.0, 16.0), (28.0, 5.0)


@pytest.mark.published
def test_linear_rate_of_the_eggs():
    threshold, degree_days = development.threshold_and_degree_days(COLD, WARM)
    assert threshold == pytest.approx(7.63636, abs=0.05)
    assert degree_days == pytest.approx(101.818, abs=0.5)
    assert development.by_linear_rate(COLD, WARM, 21.0) == pytest.approx(7.61905, abs=0.1)


@pytest.mark.published
def test_q10_of_the_eggs_and_that_the_two_laws_differ():
    assert development.q10(COLD, WARM) == pytest.approx(2.2952, abs=0.01)
    assert development.by_q10(COLD, WARM, 21.0) == pytest.approx(8.94427, abs=0.1)
    eggs = [
        Fact(what="hatch", typical=d, unit="d", temperature=(t, t), mark=Mark.SOURCE, source="ERN05")
        for t, d in (COLD, WARM)
    ]
    assert longest(eggs, (21.0, 21.0)).days == pytest.approx(8.94427, abs=0.1)  # the worst of both
    assert shortest(eggs, (21.0, 21.0)).days == pytest.approx(7.61905, abs=0.1)
    # at 30 °C nothing hatched: neither law may be carried on
    assert longest(eggs, (21.0, 30.0)).days is None
    assert "no data at 30.0" in longest(eggs, (21.0, 30.0)).why


@pytest.mark.published
@pytest.mark.parametrize(
    ("at_c", "opens", "closes"),
    [
        # reference sheet biology 1.1, derived there from Barton et al. 2019, Frontiers in Marine Science 6:524
        pytest.param(27.0, 14, 26, id="Acropora-eating flatworm, 27 °C"),
        pytest.param(24.0, 24, 43, id="Acropora-eating flatworm, 24 °C"),
    ],
)
def test_window_of_the_acropora_flatworm(at_c, opens, closes):
    w = window(packaged().pest("acropora-flatworm"), Warmth(at_c, at_c))[0]
    assert w is not None
    assert (w.opens, w.closes) == (opens, closes)


@pytest.mark.published
def test_window_of_the_skin_fluke():
    """About day 6 to 9 at 25 to 27 °C, from eggs that hatch in 5 to 6 days and worms mature 10 to 11 days after
    (Neobenedenia girellae, Fish Pathology, Bondad-Reantaso et al. 1995; biology FLU-03, FLU-05)."""
    w = window(packaged().pest("skin-fluke"), Warmth(25.0, 25.0))[0]
    assert w is not None
    assert (w.opens, w.closes) == (6, 9)


@pytest.mark.published
def test_a_window_lies_within_the_published_generation():
    """38 d egg to egg at 27 °C, 64 d at 24 °C (Barton et al. 2019): a window never reaches it."""
    for at_c, generation in ((27.0, 38.0), (24.0, 64.0)):
        w, hatch, lays = window(packaged().pest("acropora-flatworm"), Warmth(at_c, at_c))
        assert w is not None
        assert w.closes < generation
        assert hatch.days < generation
        assert lays.days < generation


@pytest.mark.law
@given(st.floats(24.0, 27.0), st.floats(24.0, 27.0))
def test_a_wider_range_of_temperature_only_narrows_the_window(one, other):
    pest = packaged().pest("acropora-flatworm")
    low, high = min(one, other), max(one, other)
    wide = window(pest, Warmth(low, high))[0]
    for at_c in (low, high):
        narrow = window(pest, Warmth(at_c, at_c))[0]
        assert wide.opens >= narrow.opens
        assert wide.closes <= narrow.closes or wide.closes == wide.opens


@pytest.mark.law
@pytest.mark.parametrize("at_c", [20.0, 23.4, 27.6, 31.0])
def test_outside_the_tested_range_there_is_no_data(at_c):
    w, hatch, _ = window(packaged().pest("acropora-flatworm"), Warmth(at_c, at_c))
    assert w is None
    assert hatch.why.startswith(f"no data at {at_c:.1f} °C: tested at 24 to 27 °C")


@pytest.mark.published
def test_a_fish_free_system_waits_longer_than_the_longest_cyst_and_its_young():
    """Colorni 1985, Dis Aquat Org 1:19-22: tomites as late as day 28 and alive up to 48 h, so 30 d are the least a
    fish-free system must wait (expected.csv: a lower bound only). Our fallow time must lie above it."""
    fallow = longest(packaged().pest("marine-white-spot").those("fallow"), (25.0, 26.0))
    assert fallow.days is not None
    assert fallow.days >= 30.0
    assert fallow.days == 76.0  # biology CRY-05/06: longest reported cyst 72 d and the theront's life, with margin


@pytest.mark.published
def test_a_facts_dates_and_marks_survive():
    f = packaged().pest("marine-white-spot").those("fallow-short")[0]
    assert (f.middle, f.mark) == (45.0, Mark.PRACTICE)
    assert f.mark.unconfirmed
    assert dt.timedelta(days=f.middle) < dt.timedelta(days=76)
