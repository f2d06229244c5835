"""A sudden change: one odd reading is tested again, two that agree are believed, and the round says so."""

from __future__ import annotations

import pytest
from tests.app.keeper import DKH

pytestmark = pytest.mark.story

# quantity, unit, readings as (days from now, value), where it really is now; what keepers meet: a spill, a double
# dose, a pump that sticks, a heater that does (common practice)
CHANGES = [
    ("alkalinity", "dKH", [(0.1, 6.6), (0.3, 6.0), (0.5, 5.6)], 5.6 * DKH),
    ("alkalinity", "dKH", [(1, 6.0), (2, 6.0), (3, 6.0)], 6.0 * DKH),
    ("alkalinity", "dKH", [(7, 6.0), (14, 6.0)], 6.0 * DKH),
    ("alkalinity", "dKH", [(1, 10.5), (1.1, 10.6)], 10.5 * DKH),
    ("salinity", "psu", [(1, 38.5), (1.1, 38.4)], 38.4),
    ("temperature", "degC", [(3, 29.5), (3.05, 29.4)], 29.4),
    ("calcium", "mg/L", [(1, 340), (2, 335), (3, 338)], 337.0),
    ("magnesium", "mg/L", [(7, 1050), (8, 1040)], 1045.0),
    ("ph", "", [(1, 7.5), (1.1, 7.5)], 7.5),
]


def typed(keeper, quantity, unit, readings):
    done = None
    for days, value in readings:
        keeper.clock.moment = keeper.at(days)
        done = keeper.types(quantity, str(value), unit, method="titration" if quantity == "alkalinity" else "")
    return done


@pytest.mark.parametrize(("quantity", "unit", "readings", "truth"), CHANGES)
def test_readings_that_agree_are_believed(settled, quantity, unit, readings, truth):
    typed(settled, quantity, unit, readings)
    q = settled.believes(quantity)
    assert q.mean == pytest.approx(truth, abs=max(2.0 * q.sd, 0.01 * truth))
    assert q.p_outside_aim > 0.9
    if q.limit and not q.limit[0] <= truth <= q.limit[1]:
        assert q.p_outside_limit > 0.4


@pytest.mark.parametrize(("quantity", "unit", "value"), [
    ("alkalinity", "dKH", 6.0), ("alkalinity", "dKH", 11.5), ("salinity", "psu", 38.5), ("temperature", "degC", 29.5),
])  # fmt: skip
def test_one_odd_reading_is_to_be_tested_again_now(settled, quantity, unit, value):
    before = settled.believes(quantity)
    done = typed(settled, quantity, unit, [(7, value)])
    assert done.doubtful is not None
    q = settled.believes(quantity)
    assert q.sd > 1.5 * before.sd  # it may be true
    again = [c for c in settled.round(10.0).items if c.action == "test" and c.subject == quantity]
    assert again
    assert again[0].urgency == "now"
    assert f"{value:g}" in again[0].because


@pytest.mark.parametrize(("quantity", "unit", "value", "usual"), [
    ("alkalinity", "dKH", 6.0, 8.2), ("salinity", "psu", 38.5, 35.0), ("calcium", "mg/L", 340, 425),
])  # fmt: skip
def test_a_blunder_is_forgotten_when_the_next_reading_is_as_usual(settled, quantity, unit, value, usual):
    before = settled.believes(quantity)
    typed(settled, quantity, unit, [(1, value), (1.1, usual), (1.2, usual)])
    after = settled.believes(quantity)
    assert after.mean == pytest.approx(before.mean, abs=2.5 * before.sd)
    assert after.p_outside_aim < 0.25


def test_copper_in_the_water_is_believed(settled):
    """200 µg/L three times over: invertebrates die at a tenth of it (common practice)."""
    typed(settled, "copper", "ug/L", [(1, 200), (1.1, 210), (1.2, 205)])
    q = settled.believes("copper")
    assert q.mean > 50.0
    assert q.p_outside_limit > 0.9


def test_magnesium_known_to_be_past_its_limit_asks_for_something(settled):
    typed(settled, "magnesium", "mg/L", [(7, 1050), (8, 1040), (8.1, 1045)])
    assert settled.believes("magnesium").p_outside_limit > 0.5
    about = [c for c in settled.round(60.0).items if c.subject == "magnesium"]
    assert about


def test_alkalinity_known_to_be_past_its_limit_asks_for_something_now(settled):
    typed(settled, "alkalinity", "dKH", [(0.1, 6.6), (0.3, 6.0), (0.5, 5.6)])
    about = [c for c in settled.round(60.0).items if c.subject == "alkalinity"]
    assert about
    assert about[0].urgency in ("now", "today")


def test_salinity_known_to_be_out_asks_for_something_now(settled):
    """37.9 ± 0.9 psu, 97 in 100 above its channel and 46 in 100 past its limit."""
    typed(settled, "salinity", "psu", [(1, 38.5), (1.1, 38.4)])
    assert settled.believes("salinity").p_outside_aim > 0.9
    about = [c for c in settled.round(60.0).items if c.subject == "salinity" and c.urgency in ("now", "today")]
    assert about
