"""A fan says what the ensemble says, alone in its file: nothing bridged, nothing lost, nothing by colour alone."""

import datetime as dt
import math
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.present.charts.fan import Fan, svg

START = dt.datetime(2026, 3, 1, 7, 0, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)
OSLO = ZoneInfo("Europe/Oslo")
NAN = math.nan
LIGHTS = Path(__file__).parents[2] / "src/leadline/web/static/lights.css"
WIDE = {"q05": -2.0, "q25": -1.0, "q50": 0.0, "q75": 1.0, "q95": 2.0}


def fan(middle, half=0.0, step=DAY, **change):
    """Quantiles that lie -2, -1, 0, 1 and 2 times `half` beside `middle`."""
    times = tuple(START + i * step for i in range(len(middle)))
    lines = {name: [v + k * half for v in middle] for name, k in WIDE.items()}
    return replace(Fan("calcium", "Calcium, Great reef", times, lines), **change)


def draw(one, **more):
    return ElementTree.fromstring(svg(one, **{"units": "metric", "local": OSLO, **more}))


def of(tree, look):
    return [e for e in tree.iter() if look in e.get("class", "").split()]


def words(tree, look):
    return ["".join(e.itertext()) for e in of(tree, look)]


def points(element):
    """Points of a polygon, or of a path's pieces one after another."""
    numbers = re.findall(r"(-?[\d.]+),(-?[\d.]+)", element.get("points") or element.get("d"))
    return [(float(x), float(y)) for x, y in numbers]


def said(tree):
    return tree.find("{*}desc").text


def width(tree):
    return float(of(tree, "neatline")[0].get("width"))


def falling(**change):
    """From 440 by 2 a day for 30 days: the median passes an edge at 420 after ten days."""
    return fan([440.0 - 2.0 * i for i in range(31)], 2.0, **change)


def test_it_stands_alone_and_is_named_for_those_who_hear_it():
    text = svg(falling(aim=(420, 450), limit=(380, 500)), units="metric", local=OSLO)
    tree = ElementTree.fromstring(text)
    assert tree.get("role") == "img"
    ids = [tree.find("{*}title").get("id"), tree.find("{*}desc").get("id")]
    assert tree.get("aria-labelledby").split() == ids
    assert tree.find("{*}title").text == "Calcium, Great reef"
    assert "<script" not in text
    assert text.replace('xmlns="http://www.w3.org/2000/svg"', "").count("http") == 0
    assert re.findall(r"url\(([^)]*)\)", text) == ["#fan-h"]


def test_the_description_carries_the_numbers_in_one_sentence():
    told = said(draw(falling(aim=(420, 450), limit=(390, 500))))
    for part in (
        "1 Mar 2026, 08:00",
        "31 Mar 2026, 09:00",
        "440 to 380 mg/L",
        "376 to 384",
        "420 to 450",
        "390 to 500",
    ):
        assert part in told
    assert "1 in 2 beyond the aim, 11 Mar" in told
    assert told.count(". ") == 0


def test_what_was_handed_in_as_passed_is_said_and_drawn_as_it_is():
    tree = draw(falling(aim=(420, 450), passes=((START + 12 * DAY, "aim, 13 Mar, 72 %"),)))
    assert "edge passed: aim, 13 Mar, 72 %" in said(tree)
    assert words(tree, "passes-said") == ["aim, 13 Mar, 72 %"]


def test_a_pass_whose_words_forgot_the_date_gets_it():
    assert words(draw(falling(passes=((START + 12 * DAY, "aim"),))), "passes-said") == ["aim, 13 Mar"]


def test_the_median_marks_the_edge_it_passes_where_it_passes_it():
    tree = draw(falling(aim=(421, 450)))  # 440 - 2 a day meets 421 after nine and a half days
    [line] = of(tree, "dashed")
    x, edge = map(float, re.match(r"M([\d.]+) ([\d.]+)", line.get("d")).groups())
    assert x == pytest.approx(width(tree) * 9.5 / 30, abs=0.1)
    assert words(tree, "passes-said") == ["1 in 2 beyond the aim, 10 Mar"]
    [deep] = of(tree, "deep")
    assert edge == pytest.approx(float(deep.get("y")) + float(deep.get("height")), abs=0.11)  # its lower edge


def test_where_only_the_spread_passes_it_is_marked_as_less_probable():
    tree = draw(fan([440.0] * 31, 4.0, quantiles={"q05": [440.0 - i for i in range(31)], "q50": [440.0] * 31,
                "q95": [441.0] * 31}, aim=(420, 450)))  # fmt: skip
    assert words(tree, "passes-said") == ["1 in 20 beyond the aim, 21 Mar"]


def test_a_fan_that_stays_in_its_channel_asks_for_nothing():
    tree = draw(fan([430.0] * 10, 2.0, aim=(420, 450)))
    assert of(tree, "passes") == []
    assert "no edge is passed" in said(tree)


def test_edges_are_named_in_words():
    sides = words(draw(falling(aim=(400, 450), limit=(370, 480))), "depth")
    assert {"aim 400", "aim 450", "limit 370", "limit 480"} <= set(sides)


def test_edges_that_are_one_are_named_together_and_close_ones_do_not_cover_each_other():
    tree = draw(falling(aim=(400, 450), limit=(399, 450)))
    sides = {"".join(e.itertext()): float(e.get("y")) for e in of(tree, "depth")}
    assert "aim, limit 450" in sides
    assert sides["limit 399"] - sides["aim 400"] >= 11.0


def test_zones_are_channel_shoal_and_danger_and_without_a_band_unsurveyed():
    tree = draw(falling(aim=(400, 450), limit=(370, 480)))
    assert [len(of(tree, look)) for look in ("deep", "shoal", "land", "unsurveyed")] == [1, 1, 2, 0]
    bare = draw(falling())
    assert [len(of(bare, look)) for look in ("deep", "shoal", "land", "unsurveyed")] == [0, 0, 0, 1]


def test_a_gap_is_never_joined_across():
    middle = [430.0] * 10 + [NAN] * 5 + [440.0] * 10
    tree = draw(fan(middle, 3.0))
    [median] = of(tree, "median")
    pieces = [[float(x) for x in re.findall(r"([\d.]+),", piece)] for piece in median.get("d").split("M")[1:]]
    step = width(tree) / 24
    assert [(min(p), max(p)) for p in pieces] == [
        (pytest.approx(0, abs=0.1), pytest.approx(9 * step, abs=0.1)),
        (pytest.approx(15 * step, abs=0.1), pytest.approx(24 * step, abs=0.1)),
    ]
    for band in of(tree, "cone"):
        across = [x for x, _ in points(band)]
        assert max(across) < 9.1 * step or min(across) > 14.9 * step
    assert len(of(tree, "cone")) == 4  # two bands, two pieces each


def test_a_moment_alone_between_gaps_is_still_seen():
    tree = draw(fan([NAN, 430.0, NAN, 440.0, 440.0], 3.0))
    first = of(tree, "median")[0].get("d").split("M")[1]
    across = [float(x) for x in re.findall(r"([\d.]+),", first)]
    assert max(across) - min(across) == pytest.approx(1.5, abs=0.11)


def test_nothing_known_is_an_empty_channel():
    tree = draw(fan([NAN] * 5, aim=(400, 450)))
    assert of(tree, "median") == of(tree, "cone") == []
    assert len(of(tree, "deep")) == 1
    assert said(tree).endswith("no value.")


@pytest.mark.parametrize("spike", [0, 1, 4999, 5000, 9998, 9999])
def test_a_single_spike_in_a_fine_track_survives_thinning_and_the_track_is_light(spike):
    track = [25.0] * 10_000
    track[spike] = 26.0
    times = tuple(START + i * dt.timedelta(minutes=10) for i in range(10_000))
    tree = draw(Fan("temperature", "T", times, {}, tracks=(track,), aim=(24.0, 27.0)))
    down = [y for _, y in points(of(tree, "track")[0])]
    assert len(down) < 4 * 860  # first, least, greatest and last of every pixel
    [deep] = of(tree, "deep")  # from 24 to 27: where 26 and 25 lie in it follows
    top, tall = float(deep.get("y")), float(deep.get("height"))
    assert min(down) == pytest.approx(top + tall / 3, abs=0.2)
    assert max(down) == pytest.approx(top + tall * 2 / 3, abs=0.2)


def test_thinning_goes_by_pixels_not_by_points():
    # a thousand points in the first hour, then one a day: of those after it none may be lost
    times = [START + i * dt.timedelta(seconds=3) for i in range(1000)] + [START + i * DAY for i in range(1, 31)]
    track = [25.0] * 1000 + [25.0 + 0.1 * (i % 3) for i in range(1, 31)]
    tree = draw(Fan("temperature", "T", tuple(times), {}, tracks=(track,)))
    late = [x for x, _ in points(of(tree, "track")[0]) if x > width(tree) / 31]
    assert len(late) == 30


@pytest.mark.law
@given(st.lists(st.one_of(st.just(NAN), st.floats(0.0, 2000.0)), min_size=2, max_size=60), st.floats(0.0, 50.0))
def test_whatever_the_series_the_file_is_well_formed_and_its_numbers_are_finite(middle, half):
    text = svg(fan(middle, half, aim=(400, 450), limit=(350, 500)), units="metric", local=OSLO)
    ElementTree.fromstring(text)
    assert not re.search(r"\b(nan|inf)\b", text)


def test_words_from_a_journal_cannot_become_markup_nor_break_the_file():
    bad = '"><script>alert(1)</script>&\x00\x0b'
    one = falling(title=bad, quantity="coral", unit=bad, aim=(420, 450), marks=((START + DAY, bad),))
    text = svg(replace(one, passes=((START + DAY, bad),)), units="metric", local=OSLO)
    tree = ElementTree.fromstring(text)
    assert "<script" not in text
    assert tree.find("{*}title").text == bad[:-2]


def test_acts_stand_at_their_moment_and_say_what_they_were():
    tree = draw(falling(marks=((START + 15 * DAY, "exchange of 120 L"), (START + 40 * DAY, "too late"))))
    [mark] = of(tree, "mark")
    assert float(re.match(r"M([\d.]+)", mark.get("d"))[1]) == pytest.approx(width(tree) / 2, abs=0.1)
    assert "exchange of 120 L" in "".join(mark.itertext())
    assert words(tree, "act") == ["exchange of 120 L"]


def test_many_acts_of_a_kind_are_ticks_with_their_words_written_once():
    tree = draw(falling(marks=tuple((START + i * DAY, "dose") for i in range(1, 30))))
    assert len(of(tree, "mark")) == 29
    assert words(tree, "act") == ["dose"]


def test_words_of_acts_and_passes_do_not_cover_each_other():
    acts = tuple((START + i * DAY, f"exchange {i}") for i in range(1, 30))
    passes = tuple((START + (10 + i) * DAY, f"aim, {11 + i} Mar, 72 %") for i in range(4))
    tree = draw(falling(aim=(420, 450), marks=acts, passes=passes))
    across = sorted((float(e.get("x")), len("".join(e.itertext()))) for e in of(tree, "act"))
    assert all(a + 6.0 * long <= b for (a, long), (b, _) in pairwise(across))
    rows = [float(e.get("y")) for e in of(tree, "passes-said")]
    assert len(set(rows)) == len(rows) == 4


def test_letters_stay_inside_the_picture():
    tree = draw(falling(aim=(420, 450), limit=(390, 500)), width=420, height=240)
    left = float(of(tree, "survey")[0].get("x"))
    for e in tree.iter("{*}text"):
        long, x = 6.0 * len("".join(e.itertext())), float(e.get("x"))
        x += 0.0 if "class" in e.attrib and e.get("class") == "" else left
        start = x - {"start": 0.0, "middle": long / 2, "end": long}[e.get("text-anchor")]
        assert start >= 0.0
        assert start + long <= 425.0


def test_us_readers_see_fahrenheit():
    one = fan([25.0] * 5, 0.1, quantity="temperature", aim=(24.0, 26.5))
    tree = draw(one, units="us")
    # 24, 25 and 26.5 °C are 75.2, 77 and 79.7 °F by definition of the scale
    assert {"aim 75.2", "aim 79.7"} <= set(words(tree, "depth"))
    assert "77.0 to 77.0 °F" in said(tree)


def test_alkalinity_is_shown_in_degrees():
    # one degree is 10 mg CaO per litre, 0.357 meq/L: 2.853216 meq/L is 8 dKH
    assert "8.0 to 8.0 dKH" in said(draw(fan([2.853216] * 5, quantity="alkalinity")))


def test_an_extra_is_shown_as_stored_with_its_unit_and_enough_digits():
    tree = draw(fan([0.0041, 0.0052], quantity="coral", unit="m²"))
    assert "0.00410 to 0.00520 m²" in said(tree)


def test_hours_on_a_short_chart_and_local_ones():
    tree = draw(fan([430.0] * 25, step=dt.timedelta(hours=1)))  # from 08:00 in Oslo
    dates = words(tree, "date")
    assert "2 Mar" in dates
    assert "12:00" in dates
    place = {w: float(e.get("x")) for w, e in zip(dates, of(tree, "date"), strict=True)}
    assert place["12:00"] == pytest.approx(width(tree) * 4 / 24, abs=0.1)
    assert place["2 Mar"] == pytest.approx(width(tree) * 16 / 24, abs=0.1)


def test_midnight_is_the_local_one_also_after_the_clocks_went_forward():
    tree = draw(fan([430.0] * 11, times=tuple(START + (24 + i) * DAY for i in range(11))))
    place = {"".join(e.itertext()): float(e.get("x")) for e in of(tree, "date")}
    # midnight of 30 March in Oslo is 22:00 UTC, 4 days and 15 hours after 25 March 07:00 UTC
    assert place["30 Mar"] == pytest.approx(width(tree) * (4 + 15 / 24) / 10, abs=0.1)


@pytest.mark.parametrize("days", [0.02, 1, 3.9, 4, 30, 119, 121, 400, 3650, 20_000])
def test_any_span_has_a_few_dates_that_differ(days):
    dates = words(draw(fan([430.0, 431.0], step=days * DAY)), "date")
    assert 1 <= len(dates) <= 14
    if days >= 1:
        assert len(set(dates)) == len(dates) or days < 4


def test_colours_are_those_of_the_page_by_day_and_at_dusk_and_paper_is_never_dark():
    text = svg(falling(aim=(420, 450), limit=(390, 500)), units="metric", local=OSLO)
    style = re.search(r"<style>(.*?)</style>", text, re.S)[1]
    day, dusk = style.split("@media screen and (prefers-color-scheme: dark)")
    css = LIGHTS.read_text(encoding="utf-8")
    for where, light in ((day, "day"), (dusk, "dusk")):
        block = re.search(rf'\[data-light="{light}"\] {{(.*?)}}', css, re.S)[1]
        tokens = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]+);", block))
        for name in "paper ink soft edge deep shoal land hatch unsurveyed mag course halo".split():  # noqa: SIM905
            assert tokens[name] in where
        assert tokens["cone"][:7] in where  # its opacity stands apart: two bands lie over each other
