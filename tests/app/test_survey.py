"""A window of a course: no extreme lost, nothing later than asked for, and one clear line for a window that is none."""

from __future__ import annotations

import contextlib
import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.app import describe, enquire, record, survey
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock
from leadline.present.window import moments
from leadline.store.sqlite import SqliteStore

OSLO = ZoneInfo("Europe/Oslo")
NOW = dt.datetime(2026, 3, 1, 8, 0, tzinfo=dt.UTC)
NORTH = (
    '[system]\nid = "north-room"\nname = "North room reef"\ntime_zone = "Europe/Oslo"\nnet_volume = "1150 L"\n'
    'net_volume_sd = "60 L"\n[[stream]]\nid = "temperature"\nquantity = "temperature"\nunit = "degC"\n'
)
END = NOW.timestamp()
DAYS = 420


@pytest.fixture(scope="module")
def minutes(tmp_path_factory):
    """Fourteen months of points every seven minutes with gaps, spikes, failed and missing points; most days packed."""
    rng = np.random.default_rng(19)
    at = np.sort(END - rng.choice(DAYS * 86400 // 420, 70_000, replace=False) * 420.0)
    at = at[(at < END - 90 * 86400) | (at > END - 60 * 86400)]  # a month without a probe
    v = np.rint((25.0 + 0.3 * np.sin(at / 13750.9) + rng.normal(0, 0.05, at.size)) * 100) / 100
    v[rng.choice(at.size, 300, replace=False)] += rng.choice([-9.0, 9.0], 300)
    flags = rng.choice([1, 2, 3, 4], at.size, p=[0.6, 0.38, 0.01, 0.01])
    v[rng.choice(at.size, 50, replace=False)] = np.nan
    path = tmp_path_factory.mktemp("minutes") / "reef.db"
    with SqliteStore.open(path, clock=FixedClock(NOW)) as store:
        describe.add(store, FixedClock(NOW), NORTH)
        store.add_points("north-room", "temperature", at, v, flags)
        store.pack(END - 20 * 86400.0)
        good = np.isfinite(v) & (flags != 4)
        yield store, at[good], v[good]


@pytest.mark.law
@settings(max_examples=150, deadline=None)
@given(
    length=st.one_of(st.floats(600, 86400), st.floats(86400, 40 * 86400), st.floats(40 * 86400, 3700 * 86400)),
    ahead=st.floats(-0.9, 0.3), px=st.integers(40, 1500),
    known=st.integers(0, 400 * 86_400_000).map(lambda ms: ms / 1000.0),  # points stand on milliseconds
)  # fmt: skip
def test_every_columns_extremes_are_those_of_its_points_and_no_point_is_left_out(minutes, length, ahead, px, known):
    store, at, v = minutes
    end = END + ahead * length - (0.0 if ahead > 0 else known * 0.5)
    start, now = max(end - length, 0.0), END - known
    c = survey.columns(store, "north-room", "temperature", start, end, now, px)
    assert len(c.at_s) <= 2 * px
    width = c.width_s or 1e-6
    seen = np.zeros(at.size, dtype=bool)
    for a, n, low, high in zip(c.at_s, c.n, c.least, c.greatest, strict=True):
        # the oracle: all raw points of the column that are known, by brute force
        inside = (at >= a) & (at < a + width) & (at <= now)
        assert (n, low, high) == (inside.sum(), v[inside].min(), v[inside].max())
        seen |= inside
    assert seen[(at >= start) & (at < end) & (at <= now)].all()  # a window ends before its end
    assert np.all(np.diff(c.at_s) >= c.width_s)
    assert c.width_s <= np.ceil(length / px / 60) * 60 or c.width_s <= 2 * length / px  # a pixel, rounded up


@pytest.mark.law
def test_a_column_still_filling_holds_nothing_later_than_the_moment_asked_for(minutes):
    store, at, v = minutes
    noon = dt.datetime(2026, 1, 20, 12, 17, tzinfo=dt.UTC).timestamp()
    for years, grain in ((10, "1d"), (0.3, "1h")):
        c = survey.columns(store, "north-room", "temperature", noon - years * 365 * 86400, noon + 86400, noon, 200)
        assert c.grain == grain
        last = (at >= c.at_s[-1]) & (at <= noon)
        assert c.greatest[-1] == v[last].max()
        assert c.n.sum() == ((at >= c.at_s[0]) & (at <= noon)).sum()


@pytest.fixture
def north(tmp_path):
    """Half a year of weekly tests and daily doses by hand."""
    clock = FixedClock(NOW)
    with SqliteStore.open(tmp_path / "reef.db", clock=clock) as store:
        describe.add(store, clock, NORTH)
        for k in range(26):
            when = NOW - dt.timedelta(days=7 * k + 1)
            log(store, clock, "reading", "alkalinity", f"{8.1 + (k * 3 % 5) / 10:.1f}", "dKH", when)
            log(store, clock, "addition", "sodium-bicarbonate", "30", "g", when + dt.timedelta(hours=8))
        log(store, clock, "exchange", "mixed-seawater", "150", "L", NOW - dt.timedelta(days=40))
        log(store, clock, "observation", "polyps-closed", "", "", NOW - dt.timedelta(days=30))
        yield store, clock


def log(store, clock, kind, subject, value, unit, when):
    record.log(store, clock, system="north-room", kind=kind, subject=subject, value_text=value, unit=unit, time=when)


def seen(north, quantity="alkalinity", days=180.0, as_of=None, px=300):
    store, clock = north
    end = (as_of or NOW) + dt.timedelta(days=5)
    return survey.survey(store, clock, "north-room", quantity, end - dt.timedelta(days=days), end, px, as_of)


def test_a_window_has_course_readings_and_marks(north):
    w = seen(north)
    assert len(w.fixes) == 25  # one a week; the oldest lies just before
    assert {k for _, k, _ in w.marks} == {"addition", "exchange", "observation"}
    assert w.at_s[0] >= w.start.timestamp()
    assert w.at_s[-1] <= w.end.timestamp()
    assert np.all(w.q05 <= w.mean)
    assert np.all(w.mean <= w.q95)
    assert np.all(np.diff(w.at_s) > 0)
    # at this moment the chart says what the estimate says
    e = enquire.estimate(*north, "north-room").quantities["alkalinity"]
    assert w.believed(NOW) == pytest.approx((e.mean, e.sd, e.q05, e.q95), rel=1e-9)


def test_a_dose_and_a_reading_are_steps_in_the_line_at_every_span(north):
    when = (NOW - dt.timedelta(days=14) + dt.timedelta(hours=8 - 24)).timestamp()
    for days in (3.0, 30.0, 360.0):
        end = NOW - dt.timedelta(days=14) + dt.timedelta(days=days / 2)
        store, clock = north
        w = survey.survey(store, clock, "north-room", "alkalinity", end - dt.timedelta(days=days), end, 1200)
        before = w.mean[np.searchsorted(w.at_s, when - 0.5) - 1 : np.searchsorted(w.at_s, when + 3.0)]
        # 30 g of NaHCO3 (84.007 g/mol) are 357 mmol, in 1150 L 0.3105 meq/L; the learned volume may differ by a quarter
        assert before.max() - before.min() == pytest.approx(0.3105, rel=0.25)


def test_nothing_later_than_asked_for_is_used(north):
    store, clock = north
    then = NOW - dt.timedelta(days=60)
    before = survey.as_json([seen(north, as_of=then)])
    log(store, clock, "reading", "alkalinity", "11.9", "dKH", NOW - dt.timedelta(hours=2))
    log(store, clock, "observation", "cloudy-water", "", "", then - dt.timedelta(days=1))  # written down only now
    store.add_points("north-room", "temperature", [then.timestamp() + 60], [31.0])
    assert survey.as_json([seen(north, as_of=then)]) == before
    assert survey.as_json([seen(north)]) != before


def test_before_the_first_record_nothing_is_reckoned(north):
    store, clock = north
    start = dt.datetime(1999, 1, 1, tzinfo=dt.UTC)
    w = survey.survey(store, clock, "north-room", "alkalinity", start, start + dt.timedelta(days=30))
    assert not len(w.at_s)
    assert w.believed(start + dt.timedelta(days=3)) is None
    assert all(m.believed is None and m.probed is None for m in moments(w))


def test_a_quantity_never_measured_is_drawn_as_wide_as_it_is(north):
    w = seen(north, "calcium")
    e = enquire.estimate(*north, "north-room").quantities["calcium"]
    past = w.at_s < NOW.timestamp() - 60
    assert np.ptp(w.mean[past]) == 0.0
    assert w.q95[past][0] == pytest.approx(e.q95)


def asked(start="", end="", span=""):
    return survey.window(start, end, span, NOW, OSLO)


@pytest.mark.parametrize(
    ("given", "start", "end"),
    [
        # Oslo is an hour ahead of UTC in winter, two in summer
        (("2026-01-01", "2026-02-01", ""), "2025-12-31T23:00Z", "2026-01-31T23:00Z"),
        (("2026-03-29", "", "1d"), "2026-03-28T23:00Z", "2026-03-29T23:00Z"),
        (("", "2025-07-01T12:00", "36h"), "2025-06-29T22:00Z", "2025-07-01T10:00Z"),
        (("", "", "1d"), "2026-02-28T08:00Z", "2026-03-01T14:00Z"),
        (("2026-02-28T07:00+00:00", "", ""), "2026-02-28T07:00Z", "2026-03-15T08:00Z"),
    ],
)
def test_windows_as_they_are_asked_for(given, start, end):
    assert asked(*given) == (dt.datetime.fromisoformat(start), dt.datetime.fromisoformat(end))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("2026-02-01", "2026-01-01", ""), "wrong way round"),
        (("2026-02-01", "2026-02-01", ""), "wrong way round"),
        (("0000-01-01", "", ""), "outside 1700 to 2300"),
        (("nonsense", "", ""), "no date or time"),
        (("2026-02-30", "", ""), "no date or time"),
        (("", "", "1000000000y"), "60 years or less"),
        (("1700-01-01", "2300-01-01", ""), "60 years or less"),
        (("2026-01-01T10:00", "2026-01-01T10:05", ""), "ten minutes or more"),
        (("", "", "0h"), "ten minutes or more"),
        (("", "", "fortnight"), "no span"),
        (("2031-01-01", "", ""), "lies ahead"),
        (("2026-03-29T02:30", "", ""), "skipped"),  # 1:00 UTC on the last Sunday of March (Directive 2000/84/EC)
        (("", "1700-02-01", "1y"), "outside 1700 to 2300"),
        (("2300-06-01", "", "20y"), "outside 1700 to 2300"),
        (("𝟙", "", ""), "no date or time"),
    ],
)
def test_a_window_that_is_none_gets_one_clear_line(given, said):
    with pytest.raises(BadInput) as told:
        asked(*given)
    assert said in told.value.line()
    assert "\n" not in told.value.line()


@pytest.mark.law
@given(st.text(max_size=12), st.text(max_size=12), st.text(max_size=8))
def test_no_words_break_a_window(start, end, span):
    with contextlib.suppress(BadInput):  # nothing else may be raised
        a, b = asked(start, end, span)
        assert a < b
