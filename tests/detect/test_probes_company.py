"""Probes in company: drift and disagreement of two, offset against hand tests, swing and spans of one's own past."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.detect.company import H, K, Pair, against_hand
from leadline.detect.hand import Hand, Track
from leadline.detect.past import NATURE, Past, of
from leadline.detect.probes import Probes
from leadline.detect.trust import climatology, hour_of_day
from leadline.system.description import parse

HOUR, DAY = 3600.0, 86400.0
SYSTEM = '[system]\nid = "north"\nnet_volume = "400 L"\n'


def watch(streams, days, step=600.0):
    """Findings of the lookout alone over a recording of even points; streams maps an id to quantity and values."""
    hand = Hand()
    lookout, found = Probes(parse(SYSTEM), hand), []
    n = {name: len(v) for name, (_, v) in streams.items()}
    period = {name: days * DAY / k for name, k in n.items()}
    for name, (quantity, _) in streams.items():
        hand.tracks[name] = Track(name, quantity, period[name])
    for k in range(int(days * DAY / step)):
        for name, (_, v) in streams.items():
            a, b = (int(np.ceil(x * step / period[name])) for x in (k, k + 1))
            if b > a:
                t = np.arange(a, b) * period[name]
                track = hand.tracks[name]
                track.add(t, lookout.judge(track, t, v[a:b]), v[a:b])
        found += lookout.tick((k + 1) * step)
    return lookout, found


def pair_of_probes(days, seed=1, period=300.0):
    t = np.arange(0, days * DAY, period)
    rng = np.random.default_rng(seed)
    truth = 25.2 + 0.25 * np.sin(2 * np.pi * t / DAY) + np.cumsum(rng.normal(0, 0.002, len(t)))
    a, b = (truth + rng.normal(0, 0.02, len(t)) for _ in range(2))
    return t, truth, a, b + 0.12


def test_a_slow_drift_against_the_neighbour_is_found_within_days_and_called_bias():
    t, _, a, b = pair_of_probes(30)
    b = b + np.clip(t / DAY - 10.0, 0, None) * 0.04
    _, found = watch({"temperature": ("temperature", a), "temperature-sump": ("temperature", b)}, 30)
    assert [(f.name, f.holds) for f in found] == [("temperature-sump-drifting", True)]
    # 0.2 K, the least that counts, is reached on day 15
    assert 15 * DAY <= found[0].at_s <= 18 * DAY
    assert found[0].value == pytest.approx(0.04 * (found[0].at_s / DAY - 10.5), abs=0.05)
    assert "the estimate carries it as the probe's bias" in found[0].because
    assert not found[0].consequence


def test_of_three_probes_the_one_that_drifts_is_named_once():
    t, truth, a, b = pair_of_probes(30)
    c = truth + np.random.default_rng(7).normal(0, 0.02, len(t)) - 0.1
    c = c - np.clip(t / DAY - 10.0, 0, None) * 0.05
    streams = {k: ("temperature", v) for k, v in (("temperature", a), ("temperature-2", b), ("temperature-3", c))}
    _, found = watch(streams, 30)
    assert [(f.name, f.holds) for f in found] == [("temperature-3-drifting", True)]


def test_a_step_between_two_probes_is_a_disagreement_at_once():
    t, _, a, b = pair_of_probes(12)
    a = a + (t > 9 * DAY + 5 * HOUR) * 0.9
    _, found = watch({"temperature": ("temperature", a), "temperature-sump": ("temperature", b)}, 12)
    assert [(f.name, f.holds) for f in found] == [("temperature-disagrees", True)]
    assert 9 * DAY + 6 * HOUR < found[0].at_s <= 9 * DAY + 8 * HOUR
    assert "+0.9" in found[0].because
    assert "the water no longer flows between them" in found[0].because


def test_a_vat_beside_the_tank_is_no_neighbour():
    t, _, a, b = pair_of_probes(14)
    vat = b - 6.0 + (t > 10 * DAY + 5 * HOUR) * 5.5  # warmed for an exchange
    _, found = watch({"temperature": ("temperature", a), "temperature-vat": ("temperature", vat)}, 14)
    assert not [f for f in found if f.name.endswith(("-disagrees", "-drifting"))]


def test_a_calibration_against_the_neighbour_is_no_drift():
    t, _, a, b = pair_of_probes(30)
    a = a + (t > 12 * DAY + 7 * HOUR) * 0.3
    _, found = watch({"temperature": ("temperature", a), "temperature-sump": ("temperature", b)}, 30)
    assert found == []


def test_water_that_layers_is_no_drift():
    """Two good probes of water that no longer mixes part by fits and starts, as two depths of a reef do in summer."""
    t, _, a, b = pair_of_probes(40)
    rng = np.random.default_rng(9)
    waves = np.repeat(rng.normal(0, 0.25, len(t) // 12 + 1), 12)[: len(t)]
    _, found = watch(
        {"temperature": ("temperature", a), "temperature-low": ("temperature", b - (t > 12 * DAY) * (0.25 + waves))}, 40
    )
    assert not [f for f in found if f.name.endswith("-drifting")]


@pytest.mark.parametrize("seed", range(6))
def test_two_good_probes_agree_for_two_months(seed):
    _, _, a, b = pair_of_probes(60, seed)
    _, found = watch({"temperature": ("temperature", a), "temperature-sump": ("temperature", b)}, 60)
    assert found == []


@pytest.mark.published
def test_the_daily_chart_is_the_tabular_cusum_of_print():
    """NIST/SEMATECH e-Handbook 6.3.2.3 through sheet 3.1, CUS-1: with these 20 means the upper sums are printed."""
    means = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150,
             328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]  # fmt: skip
    printed = [3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350]
    pair = Pair(NATURE["temperature"])
    pair.usual, pair.daily, pair.spread, pair.learned_hour = 325.0, 0.635, 100.0, 0
    sums = []
    for day, mean in enumerate(means, 1):
        for hour in range(24):
            pair.diffs.append((24 * day + hour, mean))
        pair.day(24 * day + 24)
        sums.append(pair.high * 0.635)
        if pair.usual != pair.usual:  # it has signalled a step and learns anew
            pair.usual, pair.learned_hour = 325.0, 0
            break
    # k is half a standard deviation here as there (0.3175); the limit is 5 sd, there 4.1959/0.635 = 6.6
    assert (K, H) == (0.5, 5.0)
    assert sums[12:] == pytest.approx(printed[: len(sums) - 12], abs=1e-9)
    assert max(sums[:12]) < H * 0.635
    assert len(sums) >= 13


def test_hand_tests_tell_bias_and_its_growth():
    rng = np.random.default_rng(2)
    days = np.arange(0.0, 120.0, 7.0)
    hand = 8.2 + rng.normal(0, 0.03, len(days))
    probe = 8.2 + 0.05 + 0.002 * days
    got = against_hand(days, hand, np.full(len(days), 0.03), probe, 0.01)
    assert got.tests == len(days)
    assert got.now == pytest.approx(0.05 + 0.002 * days[-1], abs=3 * got.sd)
    assert got.per_day == pytest.approx(0.002, abs=3 * got.per_day_sd)
    assert got.real
    assert got.grows
    said = got.sentence("ph", 2)
    assert "too high against 18 tests by hand" in said
    assert "more with each month" in said
    assert "The estimate carries it as the probe's bias" in said


def test_hand_tests_within_their_doubt_say_so():
    got = against_hand(np.array([0.0, 7.0]), np.array([8.2, 8.1]), np.array([0.1, 0.1]), np.array([8.2, 8.2]))
    assert not got.real
    assert got.per_day is None
    assert "agrees with 2 tests by hand" in got.sentence("ph", 2)
    # inverse variance: two of 0.1 leave 0.1/√2
    assert got.sd == pytest.approx(0.1 / np.sqrt(2))
    assert against_hand(np.zeros(1), np.array([np.nan]), np.ones(1), np.ones(1)) is None
    assert against_hand(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0)) is None


@pytest.mark.law
@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.floats(0, 400), min_size=3, max_size=12, unique=True),
    st.floats(-1, 1), st.floats(-0.01, 0.01), st.floats(0.01, 0.5),
)  # fmt: skip
def test_an_exact_line_is_found_exactly(days, bias, growth, sd):
    days = np.sort(np.array(days))
    got = against_hand(days, np.full(len(days), 8.0), np.full(len(days), sd), 8.0 + bias + growth * days)
    if got.per_day is None:
        assert np.ptp(days) < 1.0
    else:
        assert got.per_day == pytest.approx(growth, abs=1e-6)
        assert got.now == pytest.approx(bias + growth * days[-1], abs=1e-6)


def test_a_lost_swing_is_growth_on_the_probe_when_the_others_still_swing():
    t = np.arange(0, 24 * DAY, 300.0)
    rng = np.random.default_rng(3)
    day = np.sin(2 * np.pi * t / DAY)
    fades = np.interp(t / DAY, [0, 18, 20, 24], [1, 1, 0.25, 0.25])
    ph = np.round(8.2 + 0.12 * day * fades + rng.normal(0, 0.005, len(t)), 2)
    oxygen = np.round(6.5 + 0.6 * day + rng.normal(0, 0.03, len(t)), 2)
    _, found = watch({"ph": ("ph", ph), "oxygen": ("oxygen", oxygen)}, 24)
    assert [f.name for f in found] == ["ph-dulled"]
    assert 19 * DAY < found[0].at_s < 22 * DAY
    # a lamp that fails takes both
    oxygen = np.round(6.5 + 0.6 * day * fades + rng.normal(0, 0.03, len(t)), 2)
    _, found = watch({"ph": ("ph", ph), "oxygen": ("oxygen", oxygen)}, 24)
    assert found == []


def test_what_is_usual_is_learned_by_the_hour_and_forgotten_after_weeks():
    t = np.arange(0, 60 * DAY, 600.0)
    rng = np.random.default_rng(1)
    hour = (t / HOUR) % 24
    # a warm day from 9 to 20, half a degree cooler all through the second month
    x = 25.0 + 0.6 * ((hour >= 9) & (hour < 20)) - 0.5 * (t > 30 * DAY) + rng.normal(0, 0.03, len(t))
    lookout, _ = watch({"temperature": ("temperature", x)}, 60)
    spans = lookout.spans("temperature")
    assert spans.shape == (24, 2)
    assert spans[3, 0] < 24.5 < spans[3, 1] < 24.9  # the first month is forgotten
    assert spans[14, 0] < 25.1 < spans[14, 1] < 25.5
    assert spans[14, 0] > 24.8
    flags = climatology(np.array([24.5, 25.1, 25.1]), hour_of_day(np.array([3.0, 3.0, 14.0]) * HOUR), spans)
    assert flags.tolist() == [1, 3, 1]


def test_nothing_is_usual_before_a_week():
    lookout, _ = watch({"temperature": ("temperature", np.full(5 * 144, 25.0))}, 5)
    assert np.isnan(lookout.spans("temperature")).all()


@pytest.mark.law
@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.sampled_from([8.1, 8.1, 8.1, 8.11, 8.2, np.nan, np.inf, 99.0]), min_size=1, max_size=120),
    st.integers(1, 50),
)  # fmt: skip
def test_a_past_is_the_same_whatever_the_batches(values, size):
    values = np.array(values)
    times = np.arange(len(values)) * 300.0 + 11.0

    def learned(k: int) -> Past:
        past = of("ph", 300.0, None)
        for a in range(0, len(values), k):
            part = values[a : a + k].tolist()
            if past.calm(part):
                past.note(times[a : a + k], part, None)
            else:
                kept, bad = past.sift(part)
                past.note(times[a : a + k], part, kept if bad else None)
        past.close()
        return past

    one, many = learned(1), learned(size)
    assert list(map(repr, one.bins)) == list(map(repr, many.bins))
    assert repr(list(one.hours)) == repr(list(many.hours))
    assert (one.longest, repr(one.run_value), one.run_since) == (many.longest, repr(many.run_value), many.run_since)
    assert one.step == many.step
    assert repr(one.last_good) == repr(many.last_good)
