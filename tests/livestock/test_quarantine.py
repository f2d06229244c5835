"""Quarantine: windows that open and close, what a miss changes, what begins the clock again, what may be concluded."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.livestock.household import NOW, ago, arrival, entry, kept

from leadline.app.catalogue import packaged
from leadline.livestock import quarantine
from leadline.livestock.fallow import fallow
from leadline.livestock.treatments import Warmth

WARM = Warmth(27.0, 27.0, 30)


def plan(*entries, warmth=WARM, now=NOW, shared=(), photos=()):
    r = kept(*entries, moment=now)
    mine = [e for e in sorted(entries, key=lambda e: e.time) if e.system == "quarantine" and e.time <= now]
    return quarantine.plan("quarantine", r, mine, packaged(), warmth, now, shared=shared, photos=photos)


def frags(days, n=3):
    return arrival(days, "quarantine", "frags", "acropora", n)


def dip(days, agent="potassium-chloride-dip", **more):
    return entry(days, "quarantine", "treatment", "dip", agent=agent, **more)


def steps(p, pest="acropora-flatworm"):
    return [(s.key, s.state) for s in p.steps if pest in s.pests]


def of(p, key, pest="acropora-flatworm"):
    return next(s for s in p.steps if s.key == key and pest in s.pests)


@pytest.mark.published
def test_the_windows_of_new_acropora_at_27_degrees():
    """Day 14 to 26 after a dip (biology 1.1, from Barton et al. 2019); then observe 49 days and search at night."""
    p = plan(frags(20), dip(20, base="removed"))
    window = of(p, "dip-2")
    assert (window.opens - ago(20), window.closes - ago(20)) == (dt.timedelta(days=14), dt.timedelta(days=26))
    assert window.state == "due"
    # third window closes 26 d after the second; observation of one generation plus egg time follows: 20-d-old dip
    assert p.release >= ago(20) + dt.timedelta(days=2 * 26 + 49)


def test_a_dip_in_its_window_counts_one_too_early_does_not():
    assert ("dip-2", "done") in steps(plan(frags(30), dip(30), dip(12)))
    early = plan(frags(20), dip(20), dip(12))
    assert ("dip-2", "due") in steps(early)


def test_a_missed_window_begins_the_course_again_and_is_not_hidden():
    p = plan(frags(40), dip(40))
    assert ("dip-2", "missed") in steps(p)
    assert ("dip-1", "due") in steps(p)
    assert "a treatment was due until" in p.conclusion
    late = plan(frags(40), dip(40), dip(5))
    assert ("dip-2", "missed") in steps(late)
    assert ago(5) in [s.done for s in late.steps if s.key == "dip-1"]
    assert "a treatment was due until" in late.conclusion


def test_an_agent_that_is_not_on_record_as_reaching_it_does_not_count():
    """Of iodine only "some worms" is on record, of potassium chloride nudibranchs too (biology 1.3)."""
    plates = arrival(5, "quarantine", "plates", "montipora", 2)
    p = plan(plates, dip(5, agent="iodine-dip"))
    assert ("dip-1", "due") in steps(p, "montipora-nudibranch")
    assert ("dip-1", "done") in steps(plan(plates, dip(5)), "montipora-nudibranch")
    assert ("dip-1", "done") in steps(plan(frags(5), dip(5, agent="iodine-dip")))


def test_what_only_a_prescription_reaches_asks_for_no_dip_and_is_still_observed():
    p = plan(frags(5), dip(5))
    assert steps(p, "red-bug") == []
    assert any(a.pest.id == "red-bug" and a.observe.known for a in p.against)


def test_a_dip_of_others_does_not_count_for_these():
    other = arrival(5, "quarantine", "plates", "montipora", 2)
    p = plan(frags(5), other, dip(5, animals="plates"))
    assert ("dip-1", "due") in steps(p)


def test_a_newcomer_begins_the_whole_units_clock_again_but_not_the_course():
    """All in, all out (practice 6.2): observation begins anew, the course of the first goes on."""
    p = plan(frags(30), dip(30), arrival(3, "quarantine", "wrasses", "cirrhilabrus", 2))
    assert (p.started, p.because) == (ago(3), "wrasses came")
    assert p.days == 3
    assert of(p, "dip-2").opens == ago(30) + dt.timedelta(days=14)


def test_a_sign_of_disease_begins_the_clock_again():
    p = plan(
        arrival(40, "quarantine", "wrasses", "cirrhilabrus", 2),
        entry(10, "quarantine", "observation", "white-spots", animal="wrasses"),
    )
    assert (p.started, p.days) == (ago(10), 10)
    assert p.conclusion.startswith("Signs were seen: white spots (")


@pytest.mark.published
def test_fish_are_observed_for_thirty_days_at_least_and_longer_untreated():
    """GEN-01: at least 30 d observed; 45 to 76 d when nothing was treated (common practice): the worst end is used."""
    p = plan(arrival(1, "quarantine", "wrasses", "cirrhilabrus", 2))
    assert p.release - p.started >= dt.timedelta(days=76)


@pytest.mark.published
def test_wet_goods_without_fish_wait_as_long_as_a_cyst_can():
    """Biology 1.4: corals, rock and snails can carry cysts; the fallow time of section 2 applies (76 d)."""
    p = plan(arrival(1, "quarantine", "snails", "trochus", 20))
    assert p.release - p.started >= dt.timedelta(days=76)


def test_outside_tested_temperatures_it_says_so():
    cold = plan(frags(20), dip(20), warmth=Warmth(22.0, 22.5, 20))
    assert not [s for s in cold.steps if s.key == "dip-2" and "acropora-flatworm" in s.pests]
    assert "Acropora-eating flatworm: no data at 22.0 °C: tested at 24 to 27 °C" in " ".join(cold.no_data)
    unknown = plan(frags(20), dip(20), warmth=None)
    assert "the temperature is not known" in unknown.conclusion


def test_what_was_skipped_stands_in_the_conclusion():
    looked = [entry(d, "quarantine", "observation", "census", seen={"frags": 3}) for d in range(40)]
    search = entry(0.5, "quarantine", "observation", "census", method="lens, at night", seen={"frags": 3})
    whole = (frags(40), dip(40, base="removed"), dip(22), dip(4), *looked, search)
    full = plan(*whole)
    assert full.conclusion.startswith("No detection in 40 days at 27.0 °C, looked over on")
    assert "It says less" not in full.conclusion
    fixed = plan(frags(40), dip(40, base="no"), dip(22), dip(4), *looked, search)
    assert "the base of frags was not removed" in fixed.conclusion
    assert "looked over on 1 of 41 days" in plan(frags(40), dip(40, base="removed"), dip(22), dip(4), search).conclusion
    assert "no search" in plan(frags(40), dip(40, base="removed"), dip(22), dip(4), *looked).conclusion
    said = "wet work went on from quarantine to display"
    assert said in plan(*whole, shared=(said,)).conclusion


@pytest.mark.law
@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(["dip", "census", "white-spots", "frags", "wrasses"]), st.floats(0.1, 99)),
        max_size=12,
    ),
    st.one_of(st.none(), st.tuples(st.floats(18, 31), st.floats(0, 3))),
)  # fmt: skip
def test_it_never_says_that_anything_is_absent(rows, water):
    entries = [frags(120)]
    for what, days in rows:
        if what in ("frags", "wrasses"):
            kind = {"frags": "acropora", "wrasses": "cirrhilabrus"}[what]
            entries.append(arrival(days, "quarantine", f"{what}-{days:.3f}", kind))
        else:
            kind = "treatment" if what == "dip" else "observation"
            entries.append(entry(days, "quarantine", kind, what, **({"agent": "iodine-dip"} if what == "dip" else {})))
    p = plan(*entries, warmth=Warmth(water[0], water[0] + water[1]) if water else None)
    said = " ".join([p.conclusion, p.release_why, *(s.what + s.why for s in p.steps), *p.skipped])
    assert not re.search(r"\b(clean|safe|free of|healthy|eradicat|cured)\b", said, re.IGNORECASE)
    assert p.conclusion.startswith(("No detection in", "Nobody looked in", "It begins today", "Signs were seen"))
    for s in p.steps:
        assert s.closes is None or s.opens <= s.closes
        assert s.state in ("due", "done", "ahead", "missed")


def test_an_empty_unit_has_no_plan():
    assert plan(frags(40), entry(3, "quarantine", "transfer", "frags", to="display")) is None


def test_medicine_is_left_to_a_veterinarian():
    p = plan(arrival(3, "quarantine", "wrasses", "cirrhilabrus", 2))
    assert any("veterinarian" in c and "no dose" in c for c in p.cautions)


# -- a display without fish --------------------------------------------------------------------------------


@pytest.mark.published
def test_fish_free_time_and_what_begins_it_again():
    """76 d = longest reported cyst, 72 d, and its young, with margin (biology CRY-05/06); a wet transfer from a system
    with fish begins it again."""
    pest = packaged().pest("marine-white-spot")
    entries = (
        arrival(200, "display", "tang", "naso"), entry(30, "display", "transfer", "tang", to="quarantine"),
        arrival(200, "display", "table", "acropora"),
    )  # fmt: skip
    f = fallow("display", pest, kept(*entries), [], WARM)
    assert (f.since, f.until) == (ago(30), ago(30) + dt.timedelta(days=76))
    again = fallow("display", pest, kept(*entries), [(ago(8), "net came from quarantine")], WARM)
    assert again.since == ago(8)
    assert "net came from quarantine" in again.restarted[0][1]
    assert fallow("quarantine", pest, kept(*entries), [], WARM).until is None
    assert f.shorter.middle == 45
    assert f.shorter.mark.unconfirmed
    assert any("dormant" in n.lower() or "oxygen" in n.lower() for n in f.notes)
