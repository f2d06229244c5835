"""Typing an entry: kept as typed, a slip of the unit noticed, nothing changed silently."""

from __future__ import annotations

import pytest
from tests.app.keeper import DKH, USUAL, quiet_year

from leadline.app import record
from leadline.measures.errors import BadInput, UnknownName

pytestmark = pytest.mark.story

# what was typed, what the water really holds (USUAL), and the unit that was meant; ratios: exact conversions, as
# keepers confuse them (common practice): 1 meq/L = 2.804 dKH = 50.04 mg/L CaCO3; NO3 = 4.43 N; PO4 = 3.07 P
SLIPS = [
    ("alkalinity", "2.93", "dKH", "meq/L", 8.2 * DKH),
    ("alkalinity", "146", "dKH", "CaCO3", 8.2 * DKH),
    ("alkalinity", "8.2", "meq/L", "dKH", 8.2 * DKH),
    ("alkalinity", "8.2", "ppm CaCO3", "dKH", 8.2 * DKH),
    ("alkalinity", "82", "dKH", "decimal", 8.2 * DKH),
    ("alkalinity", "0.82", "dKH", "decimal", 8.2 * DKH),
    ("nitrate", "1.36", "mg/L", "as N", 6.0),
    ("nitrate", "26.6", "mg/L", "N", 6.0),
    ("calcium", "42.5", "mg/L", "decimal", 425.0),
    ("calcium", "10.6", "mg/L", "mmol/L", 425.0),
    ("magnesium", "132", "mg/L", "decimal", 1320.0),
    ("magnesium", "54.3", "mg/L", "mmol/L", 1320.0),
    ("temperature", "77.9", "degC", "°F", 25.5),
    ("salinity", "1.0264", "psu", "gravity", 35.0),
    ("salinity", "53.07", "psu", "mS/cm", 35.0),
]


@pytest.mark.parametrize(("quantity", "value", "unit", "word", "truth"), SLIPS)
def test_a_slip_of_the_unit_is_noticed_and_kept_as_typed(settled, quantity, value, unit, word, truth):
    settled.clock.moment = settled.at(3.0)
    done = settled.types(quantity, value, unit)
    assert done.doubtful is not None
    assert done.doubtful.kind == "slip"
    assert word in done.doubtful.guess
    # what it would have been, within what a kit tells apart
    assert done.doubtful.guess_value == pytest.approx(truth, rel=0.1)
    assert done.entry.value == float(value)
    assert done.entry.unit == unit
    stored = settled.store.entry(done.entry.id)
    assert (stored.value, stored.unit) == (float(value), unit)
    asked = [c for c in settled.round(60.0).items if c.action == "ask" and c.subject == quantity]
    assert len(asked) == 1
    assert asked[0].entry_id == done.entry.id


@pytest.mark.parametrize(
    ("level", "value", "word"),
    [(0.4, "0.13", "as P"), (0.4, "1.23", "P"), (0.4, "4.0", "decimal"), (0.4, "0.0004", "")],
)
def test_slips_of_phosphate(keeper, level, value, word):
    """PO4 = 3.07 P and a thousand between micrograms and milligrams: asked about, or at least not believed."""
    keeper.keeps(
        keeper.entry(-7.0 * k - 0.1, "reading", "phosphate", round(level + 0.004 * (k % 3), 3), "mg/L", method="lab")
        for k in range(20)
    )
    before = keeper.believes("phosphate")
    done = keeper.types("phosphate", value, "mg/L", method="lab")
    assert done.doubtful is not None
    if done.doubtful.kind == "slip":
        assert word in done.doubtful.guess
        assert done.doubtful.guess_value == pytest.approx(level, rel=0.3)
    assert keeper.believes("phosphate").mean == pytest.approx(before.mean, rel=0.6)


def test_a_first_reading_a_thousand_times_too_high_is_asked_about(settled):
    """50 µg/L typed as 50 mg/L of phosphate: no reef holds a hundredth of it."""
    done = settled.types("phosphate", "50", "mg/L")
    assert done.doubtful is not None


@pytest.mark.parametrize(("quantity", "level"), [(q, USUAL[q]) for q in USUAL])
def test_an_honest_reading_is_not_asked_about(settled, quantity, level):
    settled.clock.moment = settled.at(3.0)
    value, unit, sd = level
    for off in (-1.5, 0.0, 1.5):
        done = settled.types(quantity, f"{value + off * sd:.3f}", unit)
        assert done.doubtful is None, (quantity, off)


def test_a_real_change_is_not_talked_away(settled):
    """Alkalinity really fell to 6.4 dKH: no unit explains it, so that it is no slip."""
    settled.clock.moment = settled.at(3.0)
    done = settled.types("alkalinity", "6.4", "dKH", method="titration")
    assert done.doubtful is None or done.doubtful.kind in ("blunder", "step")


def test_confirming_stops_the_question_for_good(settled):
    settled.clock.moment = settled.at(3.0)
    done = settled.types("alkalinity", "2.93", "dKH")
    assert any(c.action == "ask" for c in settled.round(60.0).items)
    record.confirm(settled.store, settled.clock, done.entry.id)
    for days in (3.1, 4.0, 20.0):
        settled.clock.moment = settled.at(days)
        r = settled.round(60.0)
        assert not any(c.action == "ask" for c in r.items)
        assert not any(x.action == "ask" for x in r.left_for_later)
    assert settled.store.entry(done.entry.id).value == 2.93


def test_correcting_a_slip_ends_the_question(settled):
    settled.clock.moment = settled.at(3.0)
    done = settled.types("alkalinity", "2.93", "dKH")
    record.correct(settled.store, settled.clock, done.entry.id, "2.93", "meq/L")
    assert not any(c.action == "ask" for c in settled.round(60.0).items)
    q = settled.believes("alkalinity")
    assert q.last_reading.value == pytest.approx(2.93)
    assert q.mean == pytest.approx(8.2 * DKH, abs=0.3 * DKH)


def test_a_slip_does_not_drag_the_estimate_along(settled):
    settled.clock.moment = settled.at(3.0)
    before = settled.believes("alkalinity")
    settled.types("alkalinity", "2.93", "dKH")
    after = settled.believes("alkalinity")
    assert after.mean == pytest.approx(before.mean, abs=1.0 * DKH)  # 5.3 dKH off as typed
    assert after.sd >= 0.95 * before.sd


def test_gallons_typed_as_litres_are_noticed(settled):
    """An exchange of 40 gallons typed as 40 L is not to be seen; but ten times the usual volume is."""
    done = settled.types("mixed-seawater", "40", "gal", kind="exchange")
    # 1 US gallon is 3.785411784 L (NIST SP 811)
    assert done.entry.stored == pytest.approx(151.416, abs=1e-3)
    assert done.entry.value == 40.0


BAD = [
    ("reading", "alkalinity", "", "dKH", "no value"),
    ("reading", "alkalinity", "abc", "dKH", "abc"),
    ("reading", "alkalinity", "nan", "dKH", "nan"),
    ("reading", "alkalinity", "inf", "dKH", "inf"),
    ("reading", "alkalinity", "-8", "dKH", "-8"),
    ("reading", "alkalinity", "1e12", "dKH", "1e+12"),
    ("reading", "alkalinity", "8.1", "parsec", "parsec"),
    ("reading", "alkalinty", "8.1", "dKH", "alkalinity"),
    ("reading", "salinity", "-1", "psu", "-1"),
    ("reading", "temperature", "-300", "degC", "-300"),
    ("reading", "", "8.1", "dKH", ""),
    ("exchange", "mixed-seawater", "-40", "L", "-40"),
    ("exchange", "mixed-seawater", "0", "L", "volume"),
    ("exchange", "mixed-seawater", "", "", "volume"),
    ("exchange", "mixed-seawater", "40", "kg", "kg"),
    ("topoff", "ro", "nan", "L", "nan"),
    ("addition", "sodium-bicarbonate", "-5", "g", "amount"),
    ("addition", "sodium-bicarbonate", "", "g", "amount"),
    ("addition", "sodium-bicarbonate", "5", "parsec", "parsec"),
    ("addition", "", "5", "g", "of what"),
    ("transfer", "clownfish", "", "", "--to"),
    ("service", "", "", "", "of what"),
    ("soaking", "x", "", "", "kind of entry"),
]


@pytest.mark.parametrize(("kind", "subject", "value", "unit", "says"), BAD)
def test_bad_input_is_one_line_and_nothing_is_written(keeper, kind, subject, value, unit, says):
    with pytest.raises(BadInput) as caught:
        keeper.types(subject, value, unit, kind=kind)
    line = caught.value.line()
    assert "\n" not in line
    assert says.lower() in line.lower()
    assert keeper.store.entries("small") == []


def test_an_unknown_system_offers_near_misses(keeper):
    keeper.system = "smal"
    with pytest.raises(UnknownName, match="small"):
        keeper.types("alkalinity", "8.1", "dKH")


def test_an_unknown_substance_is_kept_and_named_not_dropped(keeper):
    """A subject nobody knows is kept and offered for adoption, never dropped."""
    quiet_year(keeper, weeks=4)
    done = keeper.types("coral-tonic", "12", "g", kind="addition")
    assert keeper.store.entry(done.entry.id) is not None
    assert any("coral-tonic" in w for w in keeper.estimate(keeper.at(0.1)).warnings)


def test_what_is_typed_in_any_unit_is_stored_in_one(keeper):
    cases = [
        ("alkalinity", "8.2", "dKH", 8.2 * DKH), ("alkalinity", "146.4", "ppm CaCO3", 146.4 / 50.043),
        ("temperature", "77.9", "degF", 25.5), ("calcium", "10.6", "mmol/L", 10.6 * 40.078),
        ("nitrate", "1.355", "mg/L as N", 1.355 * 62.004 / 14.007), ("phosphate", "33", "ug/L P", 0.1012),
    ]  # fmt: skip
    for quantity, value, unit, stored in cases:
        assert keeper.types(quantity, value, unit).entry.stored == pytest.approx(stored, rel=1e-3), (quantity, unit)


def test_what_is_put_in_is_weighed_and_a_feeding_may_go_by_other_measures(keeper):
    assert keeper.types("sodium-bicarbonate", "1", "oz", kind="addition").entry.stored == pytest.approx(
        28.3495, abs=1e-3
    )
    assert keeper.types("own-mix", "20", "mL", kind="addition").entry.stored == pytest.approx(0.02)
    cubes = keeper.types("frozen-mysid", "3", "cubes", kind="feeding").entry
    assert (cubes.value, cubes.unit, cubes.stored) == (3.0, "cubes", None)


def test_a_readings_own_temperature_is_used(keeper):
    # S 35 has 53.07 mS/cm at 25 °C and 42.914 at 15 °C (PSS-78, UNESCO Technical Papers in Marine Science 36)
    cold = keeper.types("salinity", "42.914", "mS/cm", extra={"temperature": 15.0}).entry
    assert cold.stored == pytest.approx(35.0, abs=0.02)


def test_ph_on_the_total_scale_is_kept_with_its_scale(keeper):
    """Total and NBS scale are 0.14 apart in seawater (Zeebe and Wolf-Gladrow 2001): an export must not lose which."""
    e = keeper.types("ph_total", "8.0", "").entry
    assert e.stored == pytest.approx(8.14, abs=0.01)
    again = keeper.types(e.subject, f"{e.value}", e.unit).entry
    assert again.stored == e.stored
    assert keeper.believes("ph").last_reading.value == pytest.approx(e.stored)


def test_imported_ph_on_the_total_scale_counts(keeper):
    keeper.store.add_entries([keeper.entry(-1.0, "reading", "ph_total", 8.0, "1", stored=8.137, id="0123456789abcdef")])
    assert keeper.believes("ph").last_reading is not None


def test_a_hose_left_running_is_not_evaporation(settled):
    """100 L of fresh water into 400 L at once: 35 x 400/500 = 28 psu, or 26 when as much ran over."""
    settled.types("ro", "100", "L", kind="topoff")
    settled.clock.moment = settled.at(0.05)
    q = settled.believes("salinity")
    assert q.mean < 33.0 or q.sd > 2.0


def test_a_done_inspection_starts_its_clock_again(settled):
    settled.clock.moment = settled.at(400.0)

    def asked():
        r = settled.round(600.0)
        return any(c.action == "inspect" and c.subject == "heater-1" for c in r.items)

    assert asked()
    record.done(settled.store, settled.clock, "small", "inspect", "heater-1")
    assert not asked()
