"""What a keeper's own records come to: estimates over a real store."""

from __future__ import annotations

import datetime as dt
import random

import numpy as np
import pytest
from tests.app.keeper import DKH, NOW, USUAL, Keeper, dosed_water, quiet_year

from leadline.app import enquire, record
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.story
CORE = ("temperature", "salinity", "alkalinity", "calcium", "magnesium", "nitrate", "phosphate", "ph")


# -- what was never measured, and what was long ago --------------------------------------------------------


def test_an_empty_journal_is_wide_open_and_says_so(keeper):
    e = keeper.estimate()
    assert set(CORE) <= set(e.quantities)
    for q in e.quantities.values():
        assert q.last_reading is None
        assert "never measured" in q.prior
        assert q.q05 < q.mean < q.q95
    salinity = e.quantities["salinity"]
    assert salinity.q95 - salinity.q05 > 3.0  # wider than its whole aim
    assert salinity.p_outside_aim > 0.3


def test_well_tested_quantities_are_known_to_their_kit(settled):
    e = settled.estimate()
    alkalinity = e.quantities["alkalinity"]
    assert alkalinity.mean == pytest.approx(8.2 * DKH, abs=0.2 * DKH)
    assert alkalinity.sd < 0.3 * DKH
    assert e.quantities["salinity"].mean == pytest.approx(35.0, abs=0.5)
    assert e.quantities["magnesium"].mean == pytest.approx(1320.0, abs=30.0)
    for q in ("salinity", "alkalinity", "calcium", "magnesium", "nitrate", "temperature"):
        found = e.quantities[q]
        assert found.q05 <= found.q25 <= found.q50 <= found.q75 <= found.q95
        assert found.p_outside_aim < 0.1, q


def test_ninety_days_of_silence_open_every_quantity(settled):
    now = settled.estimate().quantities
    settled.clock.moment = settled.at(90)
    later = settled.estimate().quantities
    for q in ("salinity", "alkalinity", "calcium", "magnesium", "nitrate"):
        assert later[q].sd > 1.5 * now[q].sd, q
        assert later[q].p_outside_aim > now[q].p_outside_aim
    assert later["alkalinity"].last_reading.time == settled.at(-0.02)


def test_spread_grows_with_every_day_of_silence(settled):
    spreads = []
    for day in (0, 3, 10, 30, 60, 120):
        settled.clock.moment = settled.at(day)
        spreads.append([settled.believes(q).sd for q in ("salinity", "alkalinity", "calcium", "nitrate")])
    assert (np.diff(np.array(spreads), axis=0) > -1e-9).all()


def test_a_reading_narrows_its_quantity_at_once(keeper):
    quiet_year(keeper, leave_out={"salinity": -90.0})
    before = keeper.believes("salinity")
    keeper.types("salinity", "35.1", "psu", method="refractometer")
    after = keeper.believes("salinity")
    assert after.sd < 0.8 * before.sd
    assert after.last_reading.value == pytest.approx(35.1)
    assert after.p_outside_aim < before.p_outside_aim


def test_forecast_opens_and_horizons_are_those_asked_for(settled):
    q = settled.believes("alkalinity")
    assert [o.days for o in q.forecast][:3] == [1.0, 3.0, 7.0]
    assert any(o.days >= 14.0 for o in q.forecast)
    spread = [q.sd, *(o.sd for o in q.forecast)]
    assert spread == sorted(spread)
    for o in q.forecast:
        assert o.p_reaches_limit >= o.p_outside_limit - 1e-12


# -- only what was known --------------------------------------------------------------------------------------


def test_as_of_uses_nothing_later(keeper):
    quiet_year(keeper, until=-30.0)
    then = keeper.at(-30.0)
    before = keeper.estimate(then)
    written = keeper.keeps(
        [
            keeper.entry(-29.0, "reading", "alkalinity", 6.1, "dKH", method="titration"),
            keeper.entry(-28.0, "exchange", "mixed-seawater", 200.0, "L"),
            # it happened before but was written down after
            keeper.entry(-31.0, "reading", "salinity", 38.0, "psu", recorded_at=keeper.at(-3.0)),
            keeper.entry(-33.0, "addition", "sodium-bicarbonate", 60.0, "g", recorded_at=keeper.at(-2.0)),
        ]
    )
    assert keeper.estimate(then) == before
    now = keeper.estimate()
    assert written[2].id in now.quantities["salinity"].rests_on
    assert now.quantities["salinity"].sd > before.quantities["salinity"].sd
    assert now.quantities["alkalinity"].mean != pytest.approx(before.quantities["alkalinity"].mean, abs=0.05)


def test_as_of_the_moment_a_late_row_was_written_uses_it(keeper):
    quiet_year(keeper, until=-30.0)
    keeper.keeps([keeper.entry(-28.0, "reading", "salinity", 38.0, "psu", recorded_at=keeper.at(-3.0))])
    assert keeper.believes("salinity", keeper.at(-3.1)).last_reading.value != 38.0
    assert keeper.believes("salinity", keeper.at(-3.0)).last_reading.value == 38.0


def test_as_of_a_moment_before_the_records_is_an_open_belief(settled):
    q = settled.believes("alkalinity", settled.at(-400))
    assert q.last_reading is None


def test_a_reckoning_kept_aside_is_the_one_that_a_replay_gives(settled):
    """Cold starts carry the last reckoning forward; nothing in the answer may show it."""
    settled.types("sodium-bicarbonate", "12", "g", kind="addition")
    settled.types("mixed-seawater", "40", "L", kind="exchange")
    settled.estimate()
    for days in (0.5, 9.0, 70.0):
        later = settled.at(days)
        with SqliteStore.open(settled.path, clock=FixedClock(later)) as other:
            carried = enquire.estimate(other, FixedClock(later), "small")
            replayed = enquire.estimate(other, FixedClock(later), "small", later)
        for q, a in carried.quantities.items():
            b = replayed.quantities[q]
            if a.last_reading is None:
                continue  # see below
            assert a.mean == pytest.approx(b.mean, rel=1e-6, abs=1e-9), (q, days)
            assert a.sd == pytest.approx(b.sd, rel=1e-6), (q, days)
            assert a.p_outside_aim == pytest.approx(b.p_outside_aim, abs=1e-6)
            assert a.last_reading == b.last_reading
            assert [o.mean for o in a.forecast] == pytest.approx([o.mean for o in b.forecast], rel=1e-6, abs=1e-9)


def test_a_belief_without_any_reading_is_the_same_carried_or_replayed(settled):
    settled.types("mixed-seawater", "40", "L", kind="exchange")
    settled.estimate()
    later = settled.at(0.5)
    with SqliteStore.open(settled.path, clock=FixedClock(later)) as other:
        carried = enquire.estimate(other, FixedClock(later), "small").quantities["phosphate"]
        replayed = enquire.estimate(other, FixedClock(later), "small", later).quantities["phosphate"]
    assert (carried.mean, carried.sd) == pytest.approx((replayed.mean, replayed.sd), rel=1e-6)


@pytest.mark.parametrize("quantity", ["alkalinity", "salinity", "calcium", "nitrate", "temperature"])
def test_taking_in_one_reading_is_what_a_replay_gives(settled, quantity):
    values = {"alkalinity": ("8.3", "dKH"), "salinity": ("35.6", "psu"), "calcium": ("431", "mg/L"),
              "nitrate": ("7.1", "mg/L"), "temperature": ("25.4", "degC")}  # fmt: skip
    settled.estimate()
    settled.clock.moment = settled.at(6.0)
    method = "titration" if quantity == "alkalinity" else ""
    settled.types(quantity, *values[quantity], method=method)
    one = settled.estimate()
    whole = settled.estimate(settled.clock.moment)
    for q, a in one.quantities.items():
        b = whole.quantities[q]
        assert a.mean == pytest.approx(b.mean, rel=1e-6, abs=1e-9), q
        assert a.sd == pytest.approx(b.sd, rel=1e-6), q
        assert a.last_reading == b.last_reading


def test_a_reading_and_an_exchange_of_one_minute_are_what_a_replay_gives(settled):
    """Typed one after the other with the same time: one tests first and then changes."""
    settled.clock.moment = settled.at(6.0)
    when = settled.at(5.9)
    settled.types("mixed-seawater", "120", "L", kind="exchange", time=when)
    settled.estimate()
    settled.types("nitrate", "6.2", "mg/L", time=when)
    one, whole = settled.believes("nitrate"), settled.believes("nitrate", settled.clock.moment)
    assert (one.mean, one.sd) == pytest.approx((whole.mean, whole.sd), rel=1e-6)
    assert one.mean == pytest.approx(6.2 * 0.7, rel=0.15)


@pytest.mark.parametrize("seed", range(6))
def test_a_week_of_entries_one_by_one_is_what_a_replay_gives(keeper, seed):
    """Doses, exchanges, late rows, new lots and readings as they come, each answered at once."""
    rng = random.Random(seed)
    quiet_year(keeper, weeks=10, seed=seed)
    now = 0.01
    for _ in range(8):
        now += rng.choice([0.0004, 0.02, 0.5, 3.0, 9.0])
        keeper.clock.moment = keeper.at(now)
        what = rng.choice(["dose", "exchange", "lot", "late", *USUAL])
        if what == "dose":
            keeper.types("sodium-bicarbonate", "15", "g", kind="addition")
        elif what == "exchange":
            keeper.types("mixed-seawater", "50", "L", kind="exchange")
        elif what == "lot":
            keeper.types("calcium-kit", "", "", kind="service", method="new-lot")
        elif what == "late":
            keeper.types("alkalinity", "8.4", "dKH", method="titration", time=keeper.at(now - rng.random() * 20))
        else:
            level, unit, sd = USUAL[what]
            method = "titration" if what == "alkalinity" else rng.choice(["", "refractometer"])
            keeper.types(what, f"{level + rng.gauss(0, sd):.3f}", unit, method=method)
        one, whole = keeper.estimate(), keeper.estimate(keeper.clock.moment)
        for q, a in one.quantities.items():
            b = whole.quantities[q]
            assert a.mean == pytest.approx(b.mean, rel=1e-6, abs=1e-9), (q, what)
            assert a.sd == pytest.approx(b.sd, rel=1e-5), (q, what)


# -- corrections ------------------------------------------------------------------------------------------------


def test_a_correction_replays_the_past(settled):
    wrong = settled.types("calcium", "405", "mg/L")
    low = settled.believes("calcium")
    record.correct(settled.store, settled.clock, wrong.entry.id, "445", "mg/L")
    mended = settled.believes("calcium")
    assert mended.mean > low.mean
    assert mended.last_reading.value == 445.0
    kept = [e for e in settled.store.entries("small") if e.kind == "reading" and e.subject == "calcium"]
    assert {e.value for e in kept} >= {405.0, 445.0}  # both are kept


def test_a_corrected_past_equals_never_having_slipped(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    straight, mended = Keeper(tmp_path / "a"), Keeper(tmp_path / "b")
    quiet_year(straight)
    quiet_year(mended)
    straight.keeps([straight.entry(-20.5, "reading", "alkalinity", 8.4, "dKH", method="titration")])
    (slip,) = mended.keeps([mended.entry(-20.5, "reading", "alkalinity", 84.0, "dKH", method="titration")])
    record.correct(mended.store, mended.clock, slip.id, "8.4", "dKH")
    a, b = straight.believes("alkalinity"), mended.believes("alkalinity")
    assert (a.mean, a.sd) == pytest.approx((b.mean, b.sd), rel=1e-12)
    straight.close()
    mended.close()


def test_a_withdrawn_entry_no_longer_counts(settled):
    before = settled.believes("alkalinity")
    odd = settled.types("alkalinity", "10.4", "dKH", method="titration")
    assert settled.believes("alkalinity").mean != pytest.approx(before.mean, abs=1e-6)
    record.withdraw(settled.store, settled.clock, odd.entry.id)
    after = settled.believes("alkalinity")
    assert (after.mean, after.sd) == pytest.approx((before.mean, before.sd), rel=1e-9)
    assert settled.store.entry(odd.entry.id) is not None  # it stays in the journal


def test_a_withdrawn_dose_no_longer_counts(settled):
    before = settled.believes("alkalinity")
    dose = settled.types("sodium-bicarbonate", "60", "g", kind="addition")
    settled.clock.moment = settled.at(0.01)
    raised = settled.believes("alkalinity")
    # 60 g in 400 L: 60/84.006/400 = 1.786 meq/L
    assert raised.mean - before.mean == pytest.approx(60 / 84.006 * 1000 / 400, rel=0.12)
    record.withdraw(settled.store, settled.clock, dose.entry.id)
    # a quarter of an hour of drift lies between
    assert settled.believes("alkalinity").mean == pytest.approx(before.mean, rel=1e-4)


def test_what_happened_at_this_very_moment_counts(settled):
    before = settled.believes("alkalinity")
    settled.types("sodium-bicarbonate", "60", "g", kind="addition")
    assert settled.believes("alkalinity").mean > before.mean + 1.0


def test_correcting_what_nobody_wrote_is_one_line(settled):
    for act in (record.withdraw, record.confirm):
        with pytest.raises(UnknownName, match="0123456789abcdef"):
            act(settled.store, settled.clock, "0123456789abcdef")
    with pytest.raises(UnknownName):
        record.correct(settled.store, settled.clock, "nothing", "8.1", "dKH")


def test_a_correction_that_cannot_be_read_changes_nothing(settled):
    good = settled.types("alkalinity", "8.3", "dKH", method="titration")
    n = len(settled.store.entries("small"))
    for value, unit in (("abc", "dKH"), ("8.1", "parsec"), ("-3", "dKH"), ("1e9", "dKH")):
        with pytest.raises(BadInput):
            record.correct(settled.store, settled.clock, good.entry.id, value, unit)
    assert len(settled.store.entries("small")) == n


def test_the_same_token_twice_is_one_entry(settled):
    n = len(settled.store.entries("small"))
    for _ in range(3):
        settled.types("alkalinity", "8.3", "dKH", token="form-1")
    assert len(settled.store.entries("small")) == n + 1


# -- one water ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", ["calcium", "magnesium", "alkalinity"])
def test_salinity_that_rose_lifts_what_was_not_tested_since(keeper, quantity):
    """35 to 38 psu in twelve weekly tests with one kit: conservative ions rise by 38/35, 8.6 % (evaporation)."""
    quiet_year(keeper, until=-84.0)
    keeper.keeps([keeper.entry(-84 + 7 * k, "reading", "salinity", 35 + 0.25 * k, "psu") for k in range(1, 13)])
    before, now = keeper.believes(quantity, keeper.at(-83.9)), keeper.believes(quantity)
    # the kit's own scatter may take a third of so slow a creep for its own
    assert now.mean / before.mean == pytest.approx(38.0 / 35.0, abs=0.04)


def test_salinity_that_rose_lifts_the_ions_at_least_in_its_direction(keeper):
    quiet_year(keeper, until=-84.0)
    keeper.keeps([keeper.entry(-84 + 7 * k, "reading", "salinity", 35 + 0.25 * k, "psu") for k in range(1, 13)])
    assert keeper.believes("salinity").mean == pytest.approx(38.0, abs=0.6)
    for q in ("calcium", "magnesium", "alkalinity"):
        assert keeper.believes(q).mean > 1.01 * keeper.believes(q, keeper.at(-83.9)).mean
    nitrate = keeper.believes("nitrate")
    assert nitrate.mean == pytest.approx(6.0, abs=2 * nitrate.sd)  # not pulled along beyond its own spread


def test_calcium_follows_the_alkalinity_demand_between_its_own_tests(keeper):
    """1 dKH a day taken without calcium being dosed: 7.15 mg/L of calcium for each dKH (CaCO3)."""
    rng = np.random.default_rng(3)
    rows = []
    for day in range(-120, 1):
        grams = 1.0 * DKH * 400 * 84.006 / 1000
        rows.append(keeper.entry(day - 0.3, "addition", "sodium-bicarbonate", round(grams, 2), "g"))
        calcium = 7.15 / 10 * 3.668 * 4  # grams for 7.15 mg/L in 400 L: 3.668 g give 10 mg/L in 100 L
        if day < -20:
            rows.append(keeper.entry(day - 0.2, "addition", "calcium-chloride-dihydrate", round(calcium, 2), "g"))
        if day % 3 == 0:
            rows.append(keeper.entry(day - 0.1, "reading", "alkalinity", round(8.2 + rng.normal(0, 0.08), 2), "dKH"))
        if day < -20 and day % 7 == 0:
            rows.append(keeper.entry(day - 0.1, "reading", "calcium", round(425 + rng.normal(0, 6)), "mg/L"))
    keeper.keeps(rows)
    start = keeper.believes("calcium", keeper.at(-20.0))
    now = keeper.believes("calcium")
    assert start.mean == pytest.approx(425, abs=12)
    # twenty days without calcium while alkalinity goes on being taken: 143 mg/L less
    assert start.mean - now.mean == pytest.approx(143, rel=0.3)
    assert now.p_outside_aim > 0.8


def test_the_net_volume_is_learned_from_what_known_doses_do(tmp_path):
    """The water is a fifth less than stated; doses that swing move the readings more than they should."""
    keeper = Keeper(tmp_path, volume_sd=80.0)
    dosed_water(keeper, true_litres=320.0, days=240)
    e = keeper.estimate()
    assert e.net_volume_stated_l == 400.0
    assert e.net_volume_l == pytest.approx(320.0, abs=2.5 * e.net_volume_sd_l)
    assert e.net_volume_l < 365.0
    assert e.net_volume_sd_l < 60.0
    keeper.close()


def test_a_stated_volume_that_is_right_stays(tmp_path):
    keeper = Keeper(tmp_path, volume_sd=80.0)
    dosed_water(keeper, true_litres=400.0, days=240)
    e = keeper.estimate()
    assert e.net_volume_l == pytest.approx(400.0, abs=2.5 * e.net_volume_sd_l)
    assert e.net_volume_l == pytest.approx(400.0, rel=0.1)
    keeper.close()


def test_demand_is_what_the_doses_replace(keeper):
    dosed_water(keeper, true_litres=400.0, demand_dkh=0.9, changing=False)
    q = keeper.believes("alkalinity")
    assert q.demand_mean == pytest.approx(0.9 * DKH, abs=max(3 * q.demand_sd, 0.1 * DKH))
    assert q.demand_mean == pytest.approx(0.9 * DKH, rel=0.15)
    assert abs(q.rate_mean) < 0.15 * DKH


def test_an_exchange_brings_nitrate_towards_the_new_water(settled):
    before = settled.believes("nitrate")
    settled.types("mixed-seawater", "200", "L", kind="exchange", extra={"nitrate": 0.0})
    settled.clock.moment = settled.at(0.01)
    assert settled.believes("nitrate").mean == pytest.approx(before.mean / 2, rel=0.15)


def test_a_new_lot_opens_the_kit_again(settled):
    """The first reading of a new lot may be off by the new lot's own offset: more is forgiven it."""
    settled.clock.moment = settled.at(1.0)
    settled.types("calcium", "428", "mg/L")
    without = enquire.reckoning(settled.store, settled.clock, "small").tracks["calcium"].expected_sd[-1]
    settled.keeps([settled.entry(0.5, "service", "calcium-kit", method="new-lot")])
    with_lot = enquire.reckoning(settled.store, settled.clock, "small").tracks["calcium"].expected_sd[-1]
    assert with_lot > 1.15 * without


def warm(keeper, degrees):
    """A month of a healthy probe at 25.5, the last two days at `degrees`."""
    times = keeper.at(-30.0).timestamp() + np.arange(30 * 720) * 120.0
    values = np.where(times > keeper.at(-2.0).timestamp(), degrees, 25.5)
    values[::7] = 40.0  # a glitch every seventh point: a median of five does not see it
    keeper.store.add_points("small", "temperature", times, values)


def test_probe_points_feed_the_estimate_as_medians(settled):
    warm(settled, 27.4)
    q = settled.believes("temperature")
    assert q.mean == pytest.approx(27.4, abs=0.3)  # a probe's own offset is 0.2
    assert q.last_reading.method == "temperature"
    assert q.p_outside_aim > 0.95
    assert settled.believes("temperature", settled.at(-2.1)).mean == pytest.approx(25.5, abs=0.3)
    assert settled.believes("temperature", settled.at(-1.5)).mean > 27.0  # believed within half a day


def test_a_room_probe_says_nothing_of_the_water(tmp_path):
    document = open_room_document()
    keeper = Keeper(tmp_path, document)
    times = keeper.at(-1.0).timestamp() + np.arange(600) * 60.0
    keeper.store.add_points("small", "air", times, np.full(600, 18.0))
    assert keeper.believes("temperature").last_reading is None
    keeper.close()


def open_room_document() -> str:
    from tests.app.keeper import SMALL

    return SMALL.format(volume_sd=40) + '\n[[stream]]\nid = "air"\nquantity = "temperature"\nroom = true\n'


def test_a_doser_whose_log_stops_is_named_and_opens_the_estimate(keeper):
    rows = []
    rng = np.random.default_rng(8)
    for day in range(-60, 1):
        if day < -9:
            rows.append(keeper.entry(day - 0.33, "addition", "sodium-bicarbonate", 300.0, "mL", method="doser-1"))
        if day % 4 == 0 and day < -8:
            value = round(8.2 + rng.normal(0, 0.08), 2)
            rows.append(keeper.entry(day, "reading", "alkalinity", value, "dKH", method="titration"))
    keeper.keeps(rows)
    e = keeper.estimate()
    assert any("doser-1" in w for w in e.warnings)
    assert e.quantities["alkalinity"].mean == pytest.approx(8.2 * DKH, abs=1.0 * DKH)  # taken to have gone on


# -- clocks --------------------------------------------------------------------------------------------------------


def test_a_local_time_that_the_clocks_skipped_is_refused(settled):
    settled.clock.moment = NOW
    with pytest.raises(BadInput, match="skipped"):
        settled.types("alkalinity", "8.1", "dKH", time="2026-03-29T02:30")


def test_local_times_on_both_sides_of_a_clock_change(settled):
    a = settled.types("alkalinity", "8.1", "dKH", time="2026-03-29T01:30", note="before")
    b = settled.types("alkalinity", "8.1", "dKH", time="2026-03-29T03:30", note="after")
    assert (b.entry.time - a.entry.time) == dt.timedelta(hours=1)
    # Oslo goes from UTC+1 to UTC+2 on that night (IANA time zone database)
    assert a.entry.time == dt.datetime(2026, 3, 29, 0, 30, tzinfo=dt.UTC)


def test_future_and_impossible_times_are_refused(settled):
    n = len(settled.store.entries("small"))
    for when in ("2031-01-01T08:00", "1969-12-31T23:00", "2026-02-30", "yesterday"):
        with pytest.raises(BadInput):
            settled.types("alkalinity", "8.1", "dKH", time=when)
    assert len(settled.store.entries("small")) == n


# -- its own calibration ------------------------------------------------------------------------------------------


def test_calibration_equals_a_count_by_hand(keeper):
    """Each reading against what was expected just before it: reckoned here one reading at a time."""
    quiet_year(keeper, weeks=16, seed=5)
    found = enquire.check(keeper.store, keeper.clock, "small")
    r = enquire.reckoning(keeper.store, keeper.clock, "small")
    for q in ("alkalinity", "salinity", "nitrate"):
        c = found[q]
        t = r.tracks[q]
        mean, sd, weight = (a[3:] for a in t.foretold)
        y = t.sightings.value[3:]
        from scipy.stats import norm

        pit = (weight * norm.cdf((y[:, None] - mean) / sd)).sum(axis=1)
        assert c.readings == len(y) == 13
        if q != "nitrate":
            assert c.hits_50 == int(((pit > 0.25) & (pit < 0.75)).sum())
            assert c.hits_90 == int(((pit > 0.05) & (pit < 0.95)).sum())
            assert sum(c.pit) == 13
    pooled = found["pooled"]
    assert pooled.readings == sum(c.readings for q, c in found.items() if q != "pooled")
    assert pooled.hits_90 == sum(c.hits_90 for q, c in found.items() if q != "pooled")


def test_each_reading_is_judged_before_it_is_used(keeper):
    """What a reading was expected to be is what was believed a moment before it was written."""
    rows = quiet_year(keeper, weeks=12, seed=6)
    r = enquire.reckoning(keeper.store, keeper.clock, "small")
    track = r.tracks["magnesium"]
    last = max((e for e in rows if e.subject == "magnesium"), key=lambda e: e.time)
    before = keeper.believes("magnesium", last.time - dt.timedelta(seconds=1))
    # the kit's own offset belongs to what is expected of the reading, not to the level
    assert track.expected[-1] == pytest.approx(before.mean, abs=0.6 * before.sd + 3.0)


def test_too_few_readings_are_not_judged(keeper):
    quiet_year(keeper, weeks=3)
    assert enquire.check(keeper.store, keeper.clock, "small") == {}
