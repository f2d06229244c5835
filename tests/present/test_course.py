"""The chart of a course says what it shows, and shows all of it."""

import dataclasses
import datetime as dt
import re
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest

from leadline.estimate.report import Course, Fix, LastReading, Outlook, QuantityEstimate
from leadline.present.charts import course as drawn
from leadline.present.charts.scale import depths

NOW = dt.datetime(2026, 1, 27, 7, 10, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)
OSLO = ZoneInfo("Europe/Oslo")


def estimate(**change):
    whole = QuantityEstimate(
        "salinity", "psu", 36.4, 1.0, 34.8, 35.7, 36.4, 37.1, 38.0, 0.014, 0.004, None, None,
        LastReading(NOW - 81 * DAY, 35.4, 0.3, "refractometer"), (34.0, 36.0), (31.0, 38.0), False, 0.66, 0.04,
        (Outlook(7, 36.5, 1.1, 0.6, 0.1, 0.1), Outlook(14, 36.6, 1.2, 0.6, 0.1, 0.1)), NOW - 60 * DAY,
    )  # fmt: skip
    return dataclasses.replace(whole, **change)


def course(fixes=(), days=172, **change):
    times = tuple(NOW - (days - i) * DAY for i in range(days + 1))
    n = len(times)
    whole = Course("salinity", "psu", times, (35.2,) * n, (34.9,) * n, (35.5,) * n, tuple(fixes), NOW)
    return dataclasses.replace(whole, **change)


def draw(c, e, units="metric"):
    text = drawn.svg(c, e, units=units, local=OSLO, ident="c-x")
    ElementTree.fromstring(text)  # well formed, or this raises
    return text


def fix(days_ago, value=35.2, **more):
    return Fix(NOW - days_ago * DAY, value, 0.3, "refractometer", f"f{days_ago}", **more)


def count(text, look):
    return len(re.findall(rf'class="{look}"', text))


def test_it_carries_a_title_and_a_description_with_the_deciding_numbers():
    text = draw(course([fix(81), fix(100)]), estimate())
    assert "<title" in text
    said = re.search(r"<desc[^>]*>(.*?)</desc>", text)[1]
    for part in ("36.4 ± 1.0 psu", "66 in 100", "2 readings by hand", "34 to 36 psu", "28 Nov"):
        assert part in said


def test_zones_are_channel_shoals_and_danger():
    text = draw(course(), estimate())
    assert (count(text, "deep"), count(text, "shoal"), count(text, "land")) == (1, 2, 2)


def test_without_a_band_the_water_is_unsurveyed():
    text = draw(course(), estimate(aim=None, limit=None))
    assert count(text, "unsurveyed") == 1
    assert count(text, "deep") == 0


def test_a_doubtful_fix_has_another_shape_and_a_word():
    text = draw(course([fix(90), fix(81, 352.0, doubtful=True)]), estimate())
    assert count(text, "doubtful") == 1
    assert count(text, "fix") == 1
    assert "in doubt" in text


def test_a_blunder_does_not_flatten_the_chart():
    sane, with_blunder = (draw(course([fix(90), *more]), estimate()) for more in ([], [fix(81, 352.0, doubtful=True)]))
    depth = re.compile(r'class="deep"[^>]*height="([\d.]+)"')
    assert depth.search(sane)[1] == depth.search(with_blunder)[1]


@pytest.mark.parametrize("spike", [0, 1, 4999, 5000, 9998, 9999])
def test_a_probes_single_spike_survives_thinning(spike):
    start = NOW - 172 * DAY
    points = [
        Fix(start + i * (NOW - start) / 10_000, 37.9 if i == spike else 35.2, 0.05, "probe", f"p{i}", probe=True)
        for i in range(10_000)
    ]
    text = draw(course(points), estimate())
    heights = [float(y) for y in re.findall(r"M[\d.]+ ([\d.]+)h0", text)]
    assert len(heights) < 1300  # two for each of 300 buckets, and room to spare
    assert len([y for y in heights if y < min(sorted(heights)[-10:]) - 10]) == 1  # the one spike, far above all others


def test_crowded_fixes_become_dots_and_none_is_lost():
    text = draw(course([fix(d / 10) for d in range(1, 1700, 5)]), estimate())
    assert count(text, "dot") == 340  # every fix has its centre dot
    assert 20 < count(text, "fix") <= 42  # at a phone's 290 px, 7 px apart
    assert 20 < count(text, "fix desk") <= 86  # and further ones at a desk's 600 px


def test_months_that_occur_twice_carry_their_year():
    dates = re.findall(r'class="date[^"]*"[^>]*>([^<]+)<', draw(course(days=425), estimate()))
    assert len(dates) == len(set(dates))
    assert any("’25" in d for d in dates)
    assert not any("’" in d for d in re.findall(r'class="date[^"]*"[^>]*>([^<]+)<', draw(course(), estimate())))


def test_the_meeting_place_is_dated_and_only_when_on_the_chart():
    assert "spread meets the edge" in draw(course(), estimate())
    assert "28 Nov" in draw(course(), estimate())
    assert 'class="meets"' not in draw(course(), estimate(meets_edge=NOW - 400 * DAY))
    assert 'class="meets"' not in draw(course(), estimate(meets_edge=None))


def test_exchanges_and_additions_leave_ticks_with_words():
    marks = ((NOW - 40 * DAY, "exchange", "exchange of 120 L"), (NOW - 20 * DAY, "addition", "12 g & more"))
    text = draw(course(marks=marks), estimate())
    assert count(text, "mark") == 2
    assert "12 g &amp; more" in text


def test_words_from_a_journal_cannot_become_markup():
    bad = '"><script>alert(1)</script>'
    text = draw(course([dataclasses.replace(fix(81), method=bad)], marks=((NOW - DAY, "addition", bad),)), estimate())
    assert "<script" not in text


def test_no_inline_style_and_no_other_host():
    text = draw(course([fix(81)]), estimate())
    assert "style=" not in text
    assert "http" not in text


@pytest.mark.parametrize("days", [1, 5, 30, 400, 3650])
def test_any_span_is_drawn_with_few_dates(days):
    text = draw(course(days=days), estimate())
    assert 1 <= count(text, "date") <= 8


def test_us_readers_see_fahrenheit_at_the_side():
    n = 31
    c = course(days=30, quantity="temperature", unit="degC", mean=(25.0,) * n, q05=(24.8,) * n, q95=(25.2,) * n)
    e = estimate(
        quantity="temperature", unit="degC", mean=25.0, sd=0.1, q05=24.8, q95=25.2, aim=(24.0, 26.5), limit=(22.0, 29.0)
    )
    sides = re.findall(r'class="depth"[^>]*>([^<]+)<', draw(c, e, "us"))
    # 24 and 26.5 °C are 75.2 and 79.7 °F by definition of the scale
    assert {"75.2", "79.7"} <= set(sides)


@pytest.mark.law
@pytest.mark.parametrize("value", [0.0, 1e-6, 1.0, 1e6])
def test_a_flat_series_still_has_depth(value):
    d = depths([value], [], [], [], 0.0, 168.0)
    assert d.high > d.low
    assert 0 <= d.y(value) <= 168


def test_ten_years_of_daily_tests_stay_a_light_drawing_that_keeps_the_worst_one():
    fixes = [fix(d, 37.9 if d == 1234 else 35.2 + 0.1 * (d % 3)) for d in range(1, 3650)]
    marks = tuple((NOW - d * DAY, "exchange", "exchange of 120 L") for d in range(1, 3650, 3))
    text = draw(course(fixes, days=3650, marks=marks), estimate())
    assert len(text) < 250_000  # a page of a dozen such courses still loads at once on a local network
    assert "37.9 psu" in text


def test_drawings_of_one_page_stand_under_each_other_and_each_says_when_its_own_course_begins():
    long, short = course([fix(81)]), course([fix(20)], days=40)
    drawings = [
        drawn.svg(c, estimate(), units="metric", local=OSLO, ident="c-x", begin=long.times[0]) for c in (long, short)
    ]
    of_today = [re.search(r'class="today" x1="([\d.]+%)"', d)[1] for d in drawings]
    dates = [re.findall(r'class="date[^"]*" x="([\d.]+%)"[^>]*>([^<]*)', d) for d in drawings]
    assert of_today[0] == of_today[1]
    assert dates[0] == dates[1]
    assert "from 8 Aug " in drawings[0]  # 172 days before 27 January, in Oslo
    assert "from 18 Dec " in drawings[1]  # 40 days before
    line = re.search(r'class="course"[^>]*points="([\d.]+),', drawings[1]) or re.search(
        r'points="([\d.]+),[^"]*"[^>]*class="course"', drawings[1]
    )
    assert float(line[1]) == pytest.approx(1000 * 132 / 186, abs=0.1)  # 132 of 172 + 14 days in, of 1000 across
