"""Numbers as one reads them."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.measures import figures, words
from leadline.measures.quantities import QUANTITIES

OSLO = ZoneInfo("Europe/Oslo")


@pytest.mark.parametrize(
    ("value", "sd", "quantity", "units", "said"),
    [
        (36.43, 1.02, "salinity", "metric", "36.4 ± 1.0 psu"),
        (36.43, 3.4, "salinity", "metric", "36 ± 3 psu"),
        (428.3, 12.4, "calcium", "metric", "428 ± 12 mg/L"),
        (8.104, 0.031, "ph", "metric", "8.10 ± 0.03"),
        (25.0, 0.5, "temperature", "metric", "25.0 ± 0.5 °C"),
        # 25 °C is 77 °F and a difference of 0.5 °C is 0.9 °F, by definition of the Fahrenheit scale
        (25.0, 0.5, "temperature", "us", "77.0 ± 0.9 °F"),
        # 1 dKH is 10 mg/L CaO (56.077 g/mol, two equivalents): 0.35665 meq/L, so 2.853 meq/L is 8.0 dKH
        (2.8532, 0.1783, "alkalinity", "metric", "8.0 ± 0.5 dKH"),
        (25.0, 0.0004, "temperature", "metric", "25.0 ± <0.1 °C"),
    ],
)
def test_value_and_doubt_are_read_together(value, sd, quantity, units, said):
    assert str(figures.figure(value, sd, quantity, units)) == said


def test_a_quantity_nobody_knows_is_shown_as_it_is_stored():
    assert str(figures.figure(1.234, None, "unobtainium", stored_unit="ug/L")) == "1.23 µg/L"


@pytest.mark.law
@given(st.sampled_from(sorted(QUANTITIES)), st.sampled_from(["metric", "us"]))
def test_every_quantity_has_a_way_to_be_shown(quantity, units):
    way = figures.display(quantity, units)
    assert way.unit in figures.units_offered(quantity, units)
    assert figures.units_offered(quantity, units)[0] == way.unit
    assert way.factor > 0


@pytest.mark.law
@given(st.floats(-1e5, 1e5), st.integers(0, 4))
def test_a_number_reads_back_within_half_its_last_digit(value, digits):
    text = figures.number(value, digits)
    assert text not in ("−0", "−0.0", "−0.00")
    # half a unit in the last place is what rounding may cost; 1e-9 covers binary fractions near a tie
    assert float(text.replace("−", "-")) == pytest.approx(value, abs=0.5 * 10.0**-digits + 1e-9)


@pytest.mark.parametrize(
    ("p", "said"),
    [(0.66, "66 in 100"), (0.0, "less than 1 in 100"), (0.004, "less than 1 in 100"), (1.0, "more than 99 in 100")],
)
def test_chance_is_counted_and_never_certain(p, said):
    assert figures.chance(p) == said


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (81.2, "81 days"), (0.02, "29 minutes"), (1.0, "24 hours"), (2.4, "2 days"), (150, "5 months"),
        (1100, "3 years"), (-3, "1 minute"),
    ],
)  # fmt: skip
def test_spans(days, said):
    assert figures.span(days) == said


@pytest.mark.parametrize(
    ("band", "quantity", "said"),
    [
        ((34.0, 36.0), "salinity", "34 to 36 psu"), ((24.0, 26.5), "temperature", "24 to 26.5 °C"),
        ((0.0, 0.1), "phosphate", "below 0.1 mg/L"), ((0.0, 20.0), "temperature", "0 to 20 °C"),
    ],
)  # fmt: skip
def test_bands(band, quantity, said):
    assert figures.band(band, quantity) == said


@pytest.mark.parametrize(
    ("value", "said"), [(2, "2 min"), (0.5, "0.5 min"), (89, "89 min"), (95, "1 h 35 min"), (120, "2 h")]
)
def test_minutes(value, said):
    assert figures.minutes(value) == said


def test_dates_are_local_and_far_ones_carry_their_year():
    late = dt.datetime(2026, 1, 26, 23, 30, tzinfo=dt.UTC)  # already the 27th in Oslo
    assert figures.day(late, OSLO) == "27 Jan"
    assert figures.long_moment(late, OSLO) == "Tuesday 27 January, 00:30"
    assert figures.day(late - dt.timedelta(days=400), OSLO, late) == "23 Dec 2024"


@pytest.mark.parametrize(
    ("typed", "steps", "size", "then"),
    [
        ("35,1", 1, 0.1, "35,2"),
        ("35.1", -1, 0.1, "35.0"),
        ("", 1, 0.1, "34.9"),
        ("430", 1, 1.0, "431"),
        ("about 3", 1, 0.1, "about 3"),
    ],
)
def test_steps_keep_the_keepers_comma_and_words(typed, steps, size, then):
    assert figures.stepped(typed, steps, size, 34.8) == then


@pytest.fixture
def comma():
    """A reader whose decimals have a comma."""
    words.speak(words.Tongue(decimal=","))
    yield
    words.speak(words.ENGLISH)


def test_a_reader_of_commas_sees_no_point(comma):
    assert str(figures.figure(36.43, 1.02, "salinity")) == "36,4 ± 1,0 psu"
    assert str(figures.figure(25.0, 0.0004, "temperature")) == "25,0 ± <0,1 °C"
    assert figures.number(-0.04, 1) == "0,0"
    assert [figures.trimmed(v, 2) for v in (8.50, 8.0, 100.0, 8.25)] == ["8,5", "8", "100", "8,25"]
    assert [figures.plain(v) for v in (0.5, 12.0, 1500.0, -2.25)] == ["0,5", "12", "1500", "−2,25"]
    assert figures.band((34.0, 36.5), "salinity") == "34 to 36,5 psu"
    assert figures.minutes(0.5) == "0,5 min"


def test_an_empty_field_steps_with_the_readers_mark_and_a_typed_one_with_its_own(comma):
    assert figures.stepped("", 1, 0.1, 34.8) == "34,9"
    assert figures.stepped("35.1", 1, 0.1, 34.8) == "35.2"
