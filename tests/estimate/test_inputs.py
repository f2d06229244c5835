"""Known inputs between readings: doses, exchanges, losses."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.estimate.filters import gap, one_filter

from leadline.estimate.grid import predict
from leadline.estimate.inputs import Events, collect, day_of
from leadline.estimate.reckon import held, usual_inputs
from leadline.journal.entry import Entry
from leadline.journal.journal import Journal
from leadline.model.waters import composition
from leadline.system.description import parse

START = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
HUNDRED = '[system]\nid = "small"\nnet_volume = "100 L"\ntime_zone = "Europe/Oslo"\n'


def events(rows, leak=0.0):
    """Rows (day, share exchanged, dose, other, var)."""
    table = np.array(rows, dtype=float).reshape(-1, 5)
    return Events(table[:, 0], np.log1p(-table[:, 1]), table[:, 2], table[:, 3], table[:, 4], leak)


def day(k: float) -> dt.datetime:
    return START + dt.timedelta(days=k)


def entry(k: float, kind: str, subject: str, value: float, unit: str, **more) -> Entry:
    return Entry(day(k), "small", kind, subject, value, unit, **more)


def inputs(*entries: Entry, document: str = HUNDRED, now: float = 30.0, quantities=("alkalinity", "calcium")):
    return collect(parse(document), Journal(tuple(sorted(entries, key=lambda e: e.time)), {}), day(now), quantities)


@pytest.mark.published
def test_exchange_of_known_water():
    # mixing by volume: 0.85 x 30 + 0.15 x 1 = 25.65; variance 0.85² x 4 + 0.15² x 0.5² and 6 % of the volume's doubt
    # on the difference, here of the 8 mg/L that is believed of any tank to 1 mg/L
    found = inputs(
        entry(1, "exchange", "mixed-seawater", 15, "L", extra={"nitrate": 1.0}), quantities=("nitrate",)
    ).events["nitrate"]
    keep, mean_keep, dose, other, var = (float(v[0]) for v in found.between(np.array([day_of(day(0)), day_of(day(2))])))
    bank = one_filter(30.0, cov=np.array([[4.0]]))
    predict(bank, gap(2.0, keep=keep, mean_keep=mean_keep, dose=dose, put_in=other, input_var=var))
    assert bank.mean[0, 0, 0] == pytest.approx(25.65, abs=1e-9)
    assert bank.cov[0, 0, 0, 0] == pytest.approx(0.85**2 * 4 + 0.15**2 * 0.5**2 + (0.06 * 0.15 * 7.0) ** 2, abs=1e-6)


@pytest.mark.published
def test_steady_loss_with_a_constant_input():
    # x(t) = x0 e^(-kt) + (u/k)(1 - e^(-kt)): x0 = 8, k = 0.05/d, u = 0.35/d, t = 3 d gives 7.860707976
    keep, mean_keep, *_ = (float(v[0]) for v in events([], leak=0.05).between(np.array([0.0, 3.0])))
    bank = one_filter(8.0, 0.35)
    predict(bank, gap(3.0, keep=keep, mean_keep=mean_keep))
    assert bank.mean[0, 0, 0] == pytest.approx(7.860707976, abs=1e-8)


@pytest.mark.published
@pytest.mark.parametrize(("share", "times", "left", "continuous"), [
    (0.10, 1, 0.9000, 0.9048), (0.10, 10, 0.3487, 0.3679), (0.20, 5, 0.3277, 0.3679), (0.30, 3, 0.3430, 0.4066),
    (0.50, 2, 0.2500, 0.3679),
])  # fmt: skip
def test_repeated_and_continuous_changes(share, times, left, continuous):
    # (1 - f)^n and exp(-Qt/V): dilution by batches and by a steady flow (mass balance)
    batch = inputs(
        *(entry(k + 1, "exchange", "ro", 100 * share, "L") for k in range(times)), quantities=("nitrate",)
    ).events["nitrate"]
    keep = batch.between(np.array([day_of(day(0)), day_of(day(29))]))[0][0]
    assert keep == pytest.approx(left, abs=5e-5)
    flow = events([], leak=share).between(np.array([0.0, float(times)]))[0][0]
    assert flow == pytest.approx(continuous, abs=5e-5)


@pytest.mark.published
@pytest.mark.parametrize(("share", "before", "after"), [(0.10, 35.0, 31.5), (0.20, 17.5, 14.0)])
def test_nitrate_settles_where_production_meets_exchange(share, before, after):
    # steady state p d/f before and p d (1 - f)/f after a change: 0.5 mg/L a day, weekly changes (mass balance)
    weekly = [(7.0 * k, share, 0, 0, 0) for k in range(1, 120)]
    found = events(weekly)
    edges = np.array([0.0, 7.0 * 118, 7.0 * 118 + 1e-9])
    keep, mean_keep, *_ = found.between(edges)
    level = 0.0
    bank = one_filter(level, 0.5)
    predict(bank, gap(edges[1], keep=keep[0], mean_keep=mean_keep[0]))
    assert bank.mean[0, 0, 0] == pytest.approx(before, abs=0.01)
    predict(bank, gap(edges[2] - edges[1], keep=keep[1], mean_keep=mean_keep[1]))
    assert bank.mean[0, 0, 0] == pytest.approx(after, abs=0.01)


@pytest.mark.published
@pytest.mark.parametrize(("substance", "grams", "quantity", "rise", "digits"), [
    ("sodium-bicarbonate", 2.996, "alkalinity", 0.356652, 2e-4),
    ("sodium-carbonate", 1.890, "alkalinity", 0.356652, 3e-4),
    ("calcium-hydroxide", 1.321, "alkalinity", 0.356652, 4e-4), ("calcium-hydroxide", 1.849, "calcium", 10.0, 3e-4),
    ("calcium-chloride-anhydrous", 2.769, "calcium", 10.0, 2e-4),
    ("calcium-chloride-dihydrate", 3.668, "calcium", 10.0, 2e-4),
    ("magnesium-chloride-hexahydrate", 8.364, "magnesium", 10.0, 1e-4),
    ("magnesium-sulfate-heptahydrate", 10.141, "magnesium", 10.0, 1e-4),
    ("sodium-nitrate", 0.137, "nitrate", 1.0, 4e-3), ("potassium-nitrate", 0.163, "nitrate", 1.0, 4e-3),
    ("potassium-chloride", 1.91, "potassium", 10.0, 3e-3),
])  # fmt: skip
def test_what_so_many_grams_do_to_100_litres(substance, grams, quantity, rise, digits):
    # stoichiometry from IUPAC standard atomic weights (2021); tolerance: half of the last digit of the printed grams
    found = inputs(entry(1, "addition", substance, grams, "g"), quantities=(quantity,)).events[quantity]
    dose = found.between(np.array([day_of(day(0)), day_of(day(2))]))[2][0]
    assert dose == pytest.approx(rise, rel=digits)


@pytest.mark.published
def test_two_part_dosing_leaves_salt():
    # CaCl2 + 2 NaHCO3 -> CaCO3 + CO2 + H2O + 2 NaCl leaves 0.020843 g/L NaCl for each dKH: 7.61 g/L and +7.4 in
    # salinity in a year of 1 dKH a day without exchange (arithmetic with IUPAC weights)
    rows = []
    for k in range(365):
        rows.append(entry(k + 0.3, "addition", "sodium-bicarbonate", 2.9961, "g"))
        rows.append(entry(k + 0.6, "addition", "calcium-chloride-dihydrate", 2.6214, "g"))
    found = inputs(*rows, now=366.0, quantities=("salinity",)).events["salinity"]
    _, _, dose, other, _ = found.between(np.array([day_of(day(0)), day_of(day(366))]))
    assert dose[0] + other[0] == pytest.approx(7.4, abs=0.05)


@pytest.mark.law
@settings(max_examples=120, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.1, 29.9), st.floats(0, 0.9), st.floats(-5, 5), st.floats(-5, 5), st.floats(0, 2)),
        max_size=12,
    ),
    st.floats(0.2, 29.8), st.floats(0, 0.05), st.floats(-2, 2),
)  # fmt: skip
def test_a_gap_cut_in_two_is_the_gap(rows, cut, leak, rate):
    found = events(sorted(rows), leak)
    k, mk, do, ot, va = found.between(np.array([0.0, 30.0]))
    k2, mk2, do2, ot2, va2 = found.between(np.array([0.0, cut, 30.0]))
    assert k[0] == pytest.approx(k2[0] * k2[1], rel=1e-9)
    assert do[0] == pytest.approx(do2[0] * k2[1] + do2[1], rel=1e-9, abs=1e-9)
    assert ot[0] == pytest.approx(ot2[0] * k2[1] + ot2[1], rel=1e-9, abs=1e-9)
    assert va[0] == pytest.approx(va2[0] * k2[1] ** 2 + va2[1], rel=1e-9, abs=1e-9)
    # what a steady rate adds: rate x days x the share of it that is left
    whole = rate * 30.0 * mk[0]
    parts = rate * cut * mk2[0] * k2[1] + rate * (30.0 - cut) * mk2[1]
    assert whole == pytest.approx(parts, rel=1e-9, abs=1e-9)


@pytest.mark.law
@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.1, 29.9), st.floats(0, 0.9), st.floats(-5, 5), st.floats(-5, 5)), min_size=1, max_size=10
    ),
    st.floats(0, 40), st.floats(-2, 2),
)  # fmt: skip
def test_a_gap_equals_walking_through_its_events(rows, level, rate):
    """Mean after the gap against a walk that takes one event after the other."""
    rows = sorted(rows)
    k, mk, do, ot, _ = events([(*r, 0.0) for r in rows]).between(np.array([0.0, 30.0]))
    x, at = level, 0.0
    for when, share, dose, other in rows:
        x = (x + rate * (when - at)) * (1 - share) + dose + other
        at = when
    x += rate * (30.0 - at)
    assert k[0] * level + rate * 30.0 * mk[0] + do[0] + ot[0] == pytest.approx(x, rel=1e-9, abs=1e-8)


@pytest.mark.law
def test_an_event_at_the_moment_of_a_reading_comes_after_it():
    found = events([(5.0, 0.5, 1.0, 2.0, 0.1)])
    k, _, do, ot, _ = found.between(np.array([0.0, 5.0, 9.0]))
    assert k.tolist() == [1.0, pytest.approx(0.5)]
    assert (do.tolist(), ot.tolist()) == ([0.0, 1.0], [0.0, 2.0])


@pytest.mark.law
def test_a_pumps_daily_total_is_spread_over_its_local_day():
    rows = [entry(k, "addition", "sodium-bicarbonate", 4.0, "g", method="doser-1") for k in range(5)]
    found = inputs(*rows, now=5.0).events["alkalinity"]
    # Oslo's midnight is 23:00 UTC in January: all doses of a day fall within it
    first = found.t[:4] - day_of(day(0))
    assert ((first > -1 / 24) & (first < 23 / 24)).all()
    assert len(set(np.round(first, 6))) == 4
    assert found.dose.sum() == pytest.approx(5 * 4.0 / 84.007 * 1000 / 100, rel=1e-4)  # 84.007 g/mol, IUPAC weights


@pytest.mark.law
def test_a_regular_pump_whose_log_stops_is_taken_to_go_on_and_says_so():
    rows = [entry(k, "addition", "sodium-bicarbonate", 4.0, "g", method="doser-1") for k in range(20)]
    found = inputs(*rows, now=30.0)
    a_day = 4.0 / 84.007 * 1000 / 100
    after = found.events["alkalinity"]
    late = after.t > day_of(day(21))
    assert after.dose[late].sum() == pytest.approx(a_day * 9, rel=0.15)
    assert (after.var[late] / after.dose[late] ** 2 > after.var[0] / after.dose[0] ** 2).all()  # less sure than a log
    assert any("doser-1" in w and "go on" in w for w in found.warnings)


@pytest.mark.law
@pytest.mark.parametrize("litres", [50.0, 99.0, 100.0, 130.0, 1000.0])
def test_a_change_of_more_water_than_there_is_only_replaces_it(litres):
    """The stated volume may be too small: 130 L into 100 L leaves new water, not 1.3 times its salt."""
    found = inputs(
        entry(1, "exchange", "mixed-seawater", litres, "L", extra={"salinity": 35.0}), quantities=("salinity",)
    ).events["salinity"]
    keep, _, _, other, _ = found.between(np.array([day_of(day(0)), day_of(day(2))]))
    assert keep[0] * 35.0 + other[0] == pytest.approx(35.0, abs=1e-9)


@pytest.mark.law
@pytest.mark.parametrize("said", [{"salinity": float("nan")}, {"salinity": 1e9}, {"salinity": -3}, {"salinity": True},
                                  {"salinity": "35"}])  # fmt: skip
def test_an_impossible_new_water_is_taken_as_the_usual(said):
    """Such rows are refused at every door; should one lie in an old store, it must not spoil every answer."""
    usual = composition("mixed-seawater", {})
    assert composition("mixed-seawater", said) == usual
    assert composition("mixed-seawater", {"salinity": 33.0})["calcium"][0] == pytest.approx(
        usual["calcium"][0] * 33 / 35
    )


@pytest.mark.law
def test_a_dry_substance_by_volume_is_named_and_left_out():
    found = inputs(entry(1, "addition", "sodium-bicarbonate", 10, "mL"))
    assert len(found.events["alkalinity"].t) == 0
    assert any("sodium-bicarbonate" in w for w in found.warnings)


@pytest.mark.law
@pytest.mark.parametrize("share", [0.05, 0.3, 0.6])
def test_a_tank_changed_again_and_again_tends_to_the_new_water(share):
    """Ahead of now exchanges go on as they were: the level tends to what is poured in, never past it."""
    t = np.arange(0.0, 28.0, 4.0) + 0.5
    n = len(t)
    poured = Events(t, np.full(n, np.log1p(-share)), np.zeros(n), np.full(n, share * 35.0), np.zeros(n))
    usual = usual_inputs(poured, 28.0, 0.0)
    days = 3000.0
    keep = np.exp(usual.log_keep * days)
    assert keep * 30.0 + usual.other * days * float(held(usual.log_keep * days)) == pytest.approx(35.0, abs=1e-6)
