"""The large chart of any window says what it shows, keeps its extremes, and tells two courses apart by shape."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from tests.present.test_course import NOW, estimate, fix

from leadline.present.charts import survey as drawn
from leadline.present.window import Columns, Window, moments, readout

OSLO = ZoneInfo("Europe/Oslo")
DAY = dt.timedelta(days=1)


def window(days=180.0, ahead=0.1, **change):
    end = NOW + ahead * days * DAY
    start = end - days * DAY
    at = np.linspace(start.timestamp(), end.timestamp(), 300)
    mean = 35.2 + 0.3 * np.sin(np.linspace(0, 9, 300))
    whole = Window(
        system="north-room", name="North room reef", quantity="salinity", unit="psu", start=start, end=end, now=NOW,
        units="metric", local=OSLO, at_s=at, mean=mean, sd=np.full(300, 0.2), q05=mean - 0.33, q95=mean + 0.33,
        probes=(), fixes=(fix(20), fix(30, 35.6)), marks=((NOW - 25 * DAY, "exchange", "40 L exchanged"),),
        estimate=estimate(),
    )  # fmt: skip
    return dataclasses.replace(whole, **change)


def warm(w):
    e = estimate(quantity="temperature", unit="degC", mean=25.0, sd=0.1, q05=24.8, q95=25.2, aim=(24.0, 26.5),
                 limit=(22.0, 29.0))  # fmt: skip
    n = len(w.at_s)
    flat = {k: np.full(n, v) for k, v in (("mean", 25.0), ("sd", 0.1), ("q05", 24.8), ("q95", 25.2))}
    return dataclasses.replace(
        w, quantity="temperature", unit="degC", estimate=e, fixes=(fix(21, 25.1), fix(29, 24.9, doubtful=True)),
        marks=(), **flat,
    )  # fmt: skip


def draw(*windows, **more):
    text = drawn.svg(windows, ident="x", **more)
    ElementTree.fromstring(text)  # well formed, or this raises
    assert "style=" not in text
    return text


def columns(values, days, grain="1d"):
    n = len(values)
    start = (NOW - days * DAY).timestamp()
    width = days * 86400.0 / n
    return Columns("salinity", grain, width, start + width * np.arange(n), np.full(n, 9), values - 0.02, values + 0.02)


@pytest.mark.parametrize("days", [1 / 24, 1, 7, 30, 180, 425, 1461, 3653])
def test_every_span_is_drawn_with_its_dates_and_its_line_of_now(days):
    text = draw(window(days))
    labels = re.findall(r'class="date[^"]*"[^>]*>([^<]+)<', text)
    assert 4 <= len(labels) <= 24
    assert ("today" if days > 3 else "now") in labels
    assert len(re.findall(r'class="course[^"]*"', text)) == 2  # up to now, and the outlook


def test_a_window_of_the_past_has_no_line_of_now_and_no_outlook():
    text = draw(window(30, ahead=-3))
    assert 'class="today"' not in text
    assert "ahead" not in text


def test_a_single_spike_of_ten_years_is_there_at_its_place_and_height():
    values = np.full(900, 35.2)
    values[500] = 36.9
    w = window(3650, ahead=0.0, probes=(columns(values, 3650),))
    text = draw(w)
    strokes = [tuple(map(float, m)) for m in re.findall(r"M([\d.]+) ([\d.-]+)V([\d.-]+)", text)]
    assert len(strokes) == 900
    x, _, top = min(strokes, key=lambda s: s[2])
    assert x == pytest.approx(1000 * 500.5 / 900, abs=0.1)
    others = sorted(s[2] for s in strokes)
    assert top < others[1] - 20


def test_an_extreme_beyond_the_drawing_gets_an_arrow_with_its_value():
    values = np.full(900, 35.2)
    values[500] = -127.0  # what a broken lead shows
    text = draw(window(3650, ahead=0.0, probes=(columns(values, 3650),)))
    arrows = re.findall(r'class="beyond".*?<title>([^<]+)</title>', text)
    assert len(arrows) == 1
    assert "−127.0 psu" in arrows[0]


def test_two_courses_are_told_apart_by_shape_and_have_a_depth_each():
    one = window()
    text = draw(one, warm(one))
    assert len(re.findall(r'class="course other[^"]*"', text)) == 2
    assert len(re.findall(r'<svg class="fix other[^"]*".*?<rect', text)) == 1
    assert len(re.findall(r'class="doubtful".*?<rect', text)) == 1
    right = re.findall(r'class="depth other"[^>]*>([^<]+)<', text)
    left = re.findall(r'class="depth"[^>]*>([^<]+)<', text)
    assert {"24", "26.5"} <= set(right)
    assert {"34", "36"} <= set(left)
    assert 'class="bracket"' in text
    assert "Salinity and temperature" in re.search("<title[^>]*>([^<]+)", text)[1].replace("Temperature", "temperature")


def test_the_same_quantity_of_two_systems_shares_one_depth():
    one = window()
    other = dataclasses.replace(
        one, system="lagoon", name="Lagoon", mean=one.mean + 5, q95=one.q95 + 5, q05=one.q05 + 5
    )
    text = draw(one, other)
    right = re.findall(r'class="depth other"[^>]* y="([\d.]+)"[^>]*>([^<]+)<', text)
    left = re.findall(r'class="depth"[^>]* y="([\d.]+)"[^>]*>([^<]+)<', text)
    assert right == left
    assert "Salinity of North room reef and Salinity of Lagoon" in text


def test_near_leaves_the_channel_and_fills_the_chart_with_what_is_there():
    def tall(text):
        line = re.search(r'<polyline class="course" points="([^"]+)"', text)[1]
        ys = [float(p.split(",")[1]) for p in line.split()]
        return max(ys) - min(ys)

    assert tall(draw(window(), near=True)) > 1.8 * tall(draw(window()))


def test_words_from_a_journal_cannot_become_markup():
    bad = '"><script>alert(1)</script>'
    w = window(fixes=(dataclasses.replace(fix(20), method=bad),), marks=((NOW - 9 * DAY, "observation", bad),))
    assert "<script" not in draw(w)


def test_nothing_known_is_drawn_as_nothing():
    none = np.zeros(0)
    w = window(at_s=none, mean=none, sd=none, q05=none, q95=none, fixes=(), marks=())
    text = draw(w)
    assert "nothing is reckoned here" in text.lower()
    assert "polyline" not in text
    assert readout(w, NOW, DAY) == "Nothing is reckoned here."
    assert all(m.believed is None for m in moments(w))


def test_the_numbers_at_a_moment_are_said_in_sentences():
    w = window(
        180, 0.1, mean=np.full(300, 35.2), q05=np.full(300, 34.87), q95=np.full(300, 35.53),
        probes=(columns(np.full(300, 35.3), 180),),
    )  # fmt: skip
    said = readout(w, NOW - 25 * DAY, 2 * DAY)
    assert said == (
        "35.2 ± 0.2 psu; 9 in 10 between 34.9 and 35.5. Probe at 35.3. Nearest reading 35.2 psu, 5 days after. "
        "Near: 40 L exchanged."
    )
