"""Contrast in all three lights, by the formula of WCAG 2.2 (relative luminance, contrast ratio)."""

import pathlib
import re

import pytest

import leadline.web

SHEET = (pathlib.Path(leadline.web.__file__).parent / "static" / "lights.css").read_text()
LIGHTS = {
    "day": r'\[data-light="day"\] \{',
    "dusk": r'\n\[data-light="dusk"\] \{',
    "night": r'\n\[data-light="night"\] \{',
}
TEXT = 4.5  # 1.4.3, text of any size
EDGE = 3.0  # 1.4.11, what a control or a drawing needs to be understood


def tokens(light: str) -> dict[str, str]:
    block = re.search(LIGHTS[light] + r"(.*?)\n\}", SHEET, re.S)[1]
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]+)", block))


def channels(colour: str) -> tuple[list[float], float]:
    parts = [int(colour[i : i + 2], 16) / 255 for i in range(1, len(colour), 2)]
    return parts[:3], parts[3] if len(parts) > 3 else 1.0


def luminance(rgb: list[float]) -> float:
    # the standard's own text: 0.03928 in WCAG, 0.04045 in the sRGB standard; no 8-bit colour lies between
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(front: str, back: str, between: str | None = None) -> float:
    under, _ = channels(back)
    if between:  # a tint that lets the ground show through
        tint, opacity = channels(between)
        under = [opacity * t + (1 - opacity) * u for t, u in zip(tint, under, strict=True)]
    high, low = sorted((luminance(channels(front)[0]), luminance(under)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_published_extremes():
    # WCAG 2.2: black on white is 21 to 1; and #767676 is the well-known lightest grey that passes on white
    assert contrast("#000000", "#ffffff") == pytest.approx(21, abs=1e-9)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize("front", ["ink", "soft", "mag"])
def test_text_can_be_read_on_paper(light, front):
    t = tokens(light)
    assert contrast(t[front], t["paper"]) >= TEXT


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize("ground", ["deep", "shoal", "land"])
def test_words_and_lines_on_the_chart_can_be_seen(light, ground):
    t = tokens(light)
    assert contrast(t["mag"], t[ground]) >= TEXT
    assert contrast(t["mag"], t["halo"]) >= TEXT
    assert contrast(t["course"], t[ground], t["cone"]) >= EDGE
    assert contrast(t["soft"], t[ground]) >= EDGE  # today, ticks


@pytest.mark.parametrize("light", LIGHTS)
def test_edges_of_controls_can_be_seen(light):
    t = tokens(light)
    assert contrast(t["edge"], t["paper"]) >= EDGE


def test_night_is_dim_and_red():
    for name, colour in tokens("night").items():
        (red, green, blue), _ = channels(colour)
        assert red >= green, name
        assert red >= blue, name
        if name in ("paper", "deep", "shoal", "land", "hatch", "line", "halo", "unsurveyed"):
            assert luminance([red, green, blue]) < 0.02, name  # grounds stay near black
        assert luminance([red, green, blue]) < 0.4, name


def test_dusk_by_device_and_dusk_by_choice_are_the_same():
    device = re.search(r":root:not\(\[data-light\]\) \{(.*?)\}", SHEET, re.S)[1]
    assert dict(re.findall(r"--([\w-]+): (#[0-9a-f]+)", device)) == tokens("dusk")
