"""The doubt of a number, parted: the parts make up the whole, and each follows what it is said to come from."""

from __future__ import annotations

import datetime as dt

import pytest

from leadline.app import describe, enquire, explain, record
from leadline.estimate import doubt
from leadline.estimate.course import path
from leadline.measures.errors import UnknownName
from leadline.measures.moments import FixedClock
from leadline.present import why as said
from leadline.store.sqlite import SqliteStore

NOW = dt.datetime(2026, 3, 1, 8, 0, tzinfo=dt.UTC)
TOML = '[system]\nid = "reef"\ntime_zone = "UTC"\nnet_volume = "400 L"\nnet_volume_sd = "20 L"\n'


@pytest.fixture
def make(tmp_path):
    stores = []

    def build(more: str = "", days=(40, 30, 20, 10), dose: float = 0.0, sd: str = "0.1 dKH"):
        clock = FixedClock(NOW)
        store = SqliteStore.open(tmp_path / f"{len(stores)}.db", clock=clock)
        stores.append(store)
        describe.add(store, clock, TOML + more)
        for d in days:
            record.log(
                store, clock, system="reef", kind="reading", subject="alkalinity", value_text="8.0", unit="dKH",
                time=NOW - dt.timedelta(days=d), sd_text="0.1",
            )  # fmt: skip
        if dose:
            record.log(
                store, clock, system="reef", kind="addition", subject="sodium-carbonate", value_text=str(dose),
                unit="g", time=NOW - dt.timedelta(days=5),
            )  # fmt: skip
        return store, clock

    yield build
    for store in stores:
        store.close()


def of(store, clock, quantity="alkalinity"):
    return {s.name: s for s in doubt.shares(enquire.reckoning(store, clock, "reef"), quantity)}


@pytest.mark.law
@pytest.mark.parametrize("quantity", ["alkalinity", "calcium", "salinity", "temperature", "nitrate"])
def test_the_parts_make_up_the_variance_of_the_course(make, quantity):
    import numpy as np

    store, clock = make(dose=20.0)
    r = enquire.reckoning(store, clock, "reef")
    parts = doubt.shares(r, quantity)
    assert sum(p.share for p in parts) == pytest.approx(1.0, abs=0.03)  # parts below half a percent are left out
    if len(r.tracks[quantity].sightings):
        _, sd = path(r, quantity, np.array([r.now]))
        assert sum(p.variance for p in parts) == pytest.approx(float(sd[0]) ** 2, rel=0.03)


def test_what_was_never_measured_rests_on_the_first_belief_alone(make):
    store, clock = make()
    assert of(store, clock, "magnesium")["prior"].share > 0.9


def test_long_silence_is_movement_and_a_fresh_test_is_the_reading(make):
    old, fresh = of(*make(days=(140, 130, 120))), of(*make(days=(21, 14, 7, 0)))
    assert next(iter(old)) == "movement"
    assert old["movement"].share > 0.9
    assert fresh["kit"].share + fresh["readings"].share > 0.8
    assert fresh.get("movement", doubt.Share("", 0, 0)).share < 0.2


def test_a_kit_that_may_be_off_makes_its_offset_the_doubt(make):
    sure = '[[method]]\nquantity = "alkalinity"\nname = ""\nsd = "0.1 dKH"\nbias_sd = "0.01 dKH"\n'
    off = sure.replace("0.01", "0.6")
    days = (28, 21, 14, 7, 0)
    loose, tight = of(*make(off, days))["kit"], of(*make(sure, days))["kit"]
    assert loose.share > 0.6
    assert loose.variance > 10 * tight.variance


def test_a_great_dose_since_the_last_test_brings_the_pumps_doubt(make):
    assert "doses" not in of(*make())
    assert of(*make(dose=120.0))["doses"].share > of(*make(dose=20.0))["doses"].share


def test_readings_are_shown_with_what_was_expected_of_them(make):
    store, clock = make()
    x = explain.explain(store, clock, "reef", "alkalinity")
    assert [round(r.value, 3) for r in x.readings] == [2.853] * 4  # 8.0 dKH x 0.356652 meq/L
    assert x.readings[0].expected == pytest.approx(2.853, abs=0.1)
    assert [r.time for r in x.readings] == sorted((r.time for r in x.readings), reverse=True)
    with pytest.raises(UnknownName, match="alkalinity"):
        explain.explain(store, clock, "reef", "alkalinty")


@pytest.mark.law
@pytest.mark.parametrize("shares", [[0.333, 0.333, 0.334], [0.995, 0.005], [1.0], [0.5, 0.25, 0.125, 0.125]])
def test_percents_in_words_are_whole_and_make_a_hundred(shares):
    names = list(said.PARTS)[: len(shares)]
    found = said.shares_said(list(zip(names, shares, strict=True)))
    assert sum(n for _, n in found) == 100
