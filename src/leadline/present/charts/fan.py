"""A simulated ensemble drawn as a fan over the chart of its water: a file that stands alone.

It is opened in a browser, printed or mailed. It carries its own colours (day; dusk where the reader's screen is
dark; day again on paper), asks for nothing from elsewhere and runs nothing. Everything is placed in pixels.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from itertools import groupby, pairwise

from leadline.measures import figures
from leadline.measures.moments import days_between
from leadline.measures.quantities import QUANTITIES
from leadline.present.charts.scale import Depths, depths
from leadline.present.series import apart, thinned

_BELOW = 27.0  # graduation and dates under the survey [px]
_HEAD = 32.0  # title over it [px]
_RAIL = 16.0  # words of the acts between the two, when there are any [px]
_ROW = 15.0  # from one line of words to the next [px]
_SIZE = 12.0  # of the letters [px]
_EM = 0.6  # a letter's usual width, in its size: no letter is measured here
_HOURLY_DAYS = 4.0  # a shorter span is told in hours
_DATE_ROOM = 68.0  # the least from one date to the next [px]

# As in the web's lights.css, which this floor can't see; a test holds the two together.
_DAY = {
    "paper": "#fbf8ef", "ink": "#1d2932", "soft": "#566470", "edge": "#6d7781", "deep": "#ffffff", "shoal": "#d6e7f3",
    "land": "#efe2bd", "hatch": "#d9c68f", "unsurveyed": "#f4f1e6", "mag": "#a3246f", "course": "#1d2932",
    "cone": "#2f6f9f", "halo": "#fffdf6",
}  # fmt: skip
_DUSK = {
    "paper": "#17222b", "ink": "#e8e4d8", "soft": "#9fb0bb", "edge": "#7c8e9a", "deep": "#1f2e39", "shoal": "#2b4354",
    "land": "#3f3828", "hatch": "#544a33", "unsurveyed": "#1b2832", "mag": "#f39ccd", "course": "#f3efe2",
    "cone": "#8fc1e6", "halo": "#17222b",
}  # fmt: skip
_COLOURS = (
    ("", "background:{paper}"), (".paper", "fill:{paper}"), ("text", "fill:{soft}"), (".head,.now", "fill:{ink}"),
    (".deep", "fill:{deep}"), (".shoal", "fill:{shoal}"), (".unsurveyed", "fill:{unsurveyed}"),
    (".landfill", "fill:{land}"), (".hatch", "stroke:{hatch}"), (".neatline,.edge", "stroke:{edge}"),
    (".bar", "fill:{paper};stroke:{edge}"), (".bar.filled", "fill:{edge}"), (".cone", "fill:{cone}"),
    (".median,.track", "stroke:{course}"), (".mark", "stroke:{soft}"), (".passes", "stroke:{mag};fill:{paper}"),
    (".passes-said", "fill:{mag};stroke:{halo}"),
)  # fmt: skip
_SHAPES = (
    ".fan{max-width:100%;height:auto;font-family:system-ui,'DejaVu Sans',sans-serif;font-size:12px;"
    "font-variant-numeric:tabular-nums}.fan .head{font-size:15px;font-weight:600}.fan .now{font-style:italic}"
    ".fan .hatch{stroke-width:1.4}.fan .neatline{fill:none}.fan .edge{stroke-width:.8;opacity:.55}"
    ".fan .cone{fill-opacity:.16}.fan .cone.half{fill-opacity:.22}"
    ".fan .median,.fan .track{fill:none;stroke-width:1.7;stroke-linejoin:round;stroke-linecap:round}"
    ".fan .track{stroke-width:1}.fan .track.beside{stroke-width:.8;opacity:.6}"
    ".fan .passes{stroke-width:1.5}.fan .dashed{stroke-dasharray:5 3}"
    ".fan .passes-said{font-style:italic;paint-order:stroke;stroke-width:4px;stroke-linejoin:round}"
)
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, slots=True)
class Fan:
    """What an ensemble says of one quantity, in its stored unit.

    Attributes
    ----------
    quantity
        Contract name, or the name of an extra such as "coral".
    times
        Aware moments in UTC, rising, at least two.
    quantiles
        "q05", "q25", "q50", "q75", "q95", each as long as `times`. NaN is a gap. Empty when there are only tracks.
    tracks
        Single members, each as long as `times`.
    marks
        Acts: the moment, and a few words.
    passes
        Where an edge is passed, and words such as "aim, 3 Mar, 72 %". When empty, the place is looked for where
        the median, or else the end of the 90 % band, or else the only track, first leaves aim and limit.
    unit
        Shown with a quantity that is not one of `measures.quantities.QUANTITIES`.
    """

    quantity: str
    title: str
    times: tuple[dt.datetime, ...]
    quantiles: Mapping[str, Sequence[float]]
    tracks: tuple[Sequence[float], ...] = ()
    aim: tuple[float, float] | None = None
    limit: tuple[float, float] | None = None
    marks: tuple[tuple[dt.datetime, str], ...] = ()
    passes: tuple[tuple[dt.datetime, str], ...] = ()
    unit: str = ""


@dataclass(frozen=True, slots=True)
class _Frame:
    fan: Fan
    way: figures.Display
    local: dt.tzinfo
    depths: Depths
    wide: float  # of the survey [px]
    at: list[float]  # where each time stands across [px]

    @property
    def days(self) -> float:
        return days_between(self.fan.times[0], self.fan.times[-1])

    @property
    def high(self) -> float:
        """Height of the survey. [px]"""
        return self.depths.height

    def x(self, moment: dt.datetime) -> float:
        """Where a moment stands across the survey. [px]"""
        return self.wide * days_between(self.fan.times[0], moment) / self.days

    def inside(self, moment: dt.datetime) -> bool:
        return self.fan.times[0] <= moment <= self.fan.times[-1]

    def y(self, stored: float) -> float:
        """Where a stored value stands down, at most some heights outside the survey, which cuts it. [px]"""
        return min(max(self.depths.y(self.way.shown(stored)), -20 * self.high), 20 * self.high)

    def said(self, stored: float) -> str:
        return figures.number(self.way.shown(stored), self.way.digits)

    def date(self, moment: dt.datetime) -> str:
        """The day, and the hour on a short chart."""
        day = figures.day(moment, self.local, self.fan.times[0])
        return f"{day}, {moment.astimezone(self.local):%H:%M}" if self.days < _HOURLY_DAYS else day


def svg(fan: Fan, *, units: str, local: dt.tzinfo, width: int = 860, height: int = 300) -> str:
    """The fan as one SVG file.

    Parameters
    ----------
    units
        "metric" or "us": what the reader prefers.
    local
        The zone whose days and hours are written.
    width, height
        Of the whole drawing. [px]
    """
    way = _way(fan, units)
    top = _HEAD + (_RAIL if fan.marks else 0.0)
    survey = _depths(fan, way, max(height - top - _BELOW, 40.0))
    soundings = _soundings(fan, way, survey)
    left = max((_long(words) for _, words in soundings), default=0.0) + 13.0
    bare = _Frame(fan, way, local, survey, 1.0, [])
    ends = _ends(bare)
    right = max((_long(f"{value} {words}") for _, value, words in ends), default=0.0) + 20.0
    frame = replace(bare, wide=max(width - left - right, 60.0))
    frame = replace(frame, at=[frame.x(t) for t in fan.times])
    passes = _passes(frame)
    over = [
        *(f'<text class="depth" x="-7" y="{y + 4:.1f}" text-anchor="end">{_text(words)}</text>' for y, words in soundings),
        *(
            f'<text class="end" x="{frame.wide + 7:.1f}" y="{y + 4:.1f}"><tspan class="now">{value}</tspan> '
            f"{_text(words)}</text>"
            for y, value, words in ends
        ),
        *_marks(frame), *_passing(frame, passes), *_dates(frame),
    ]  # fmt: skip
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="fan" role="img" aria-labelledby="fan-t fan-d" '
        f'width="{width}" height="{height}" viewBox="0 0 {width} {height}">'
        f'<title id="fan-t">{_text(fan.title)}</title><desc id="fan-d">{_text(_sentence(frame, passes))}</desc>'
        f"<style>{_SHAPES}{_light(_DAY)}@media screen and (prefers-color-scheme: dark){{{_light(_DUSK)}}}"
        "@media print{.fan{background:none}.fan .paper{fill:none}}</style>"
        '<defs><pattern id="fan-h" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect class="landfill" width="6" height="6"/><line class="hatch" x1="0" y1="0" x2="0" y2="6"/></pattern></defs>'
        f'<rect class="paper" width="{width}" height="{height}"/>{_heading(frame, left, width)}'
        f'<svg class="survey" x="{left:.1f}" y="{top:.1f}" width="{frame.wide:.1f}" height="{frame.high:.1f}">'
        f"{''.join([*_zones(frame), *_cones(frame), *_lines(frame)])}</svg>"
        f'<g transform="translate({left:.1f} {top:.1f})">'
        f'<rect class="neatline" width="{frame.wide:.1f}" height="{frame.high:.1f}"/>{"".join(over)}</g></svg>'
    )


def _light(colours: Mapping[str, str]) -> str:
    return "".join(
        f"{','.join(f'.fan {one}'.strip() for one in where.split(','))}{{{how.format(**colours)}}}"
        for where, how in _COLOURS
    )


def _text(words: str) -> str:
    """Words that can't become markup, without what XML can't hold."""
    return escape(_NO_XML.sub("", words))


def _long(words: str, size: float = _SIZE) -> float:
    """About how long words are. [px]"""
    return len(words) * size * _EM


def _cut(words: str, room: float, size: float = _SIZE) -> str:
    fits = max(int(room / (size * _EM)), 1)
    return words if len(words) <= fits else words[: fits - 1] + "…"


def _finite(values: Sequence[float]) -> list[float]:
    return [v for v in values if math.isfinite(v)]


def _way(fan: Fan, units: str) -> figures.Display:
    """How it is shown; a quantity that only this ensemble knows, with three significant digits of its greatest."""
    way = figures.display(fan.quantity, units, fan.unit)
    if fan.quantity in QUANTITIES:
        return way
    most = max((abs(v) for line in (*fan.quantiles.values(), *fan.tracks) for v in _finite(line)), default=0.0)
    return replace(way, digits=min(max(2 - math.floor(math.log10(most)), 0), 6) if most > 0.0 else 2)


def _depths(fan: Fan, way: figures.Display, height: float) -> Depths:
    def shown(*lines: Sequence[float]) -> list[float]:
        return [way.shown(v) for line in lines for v in _finite(line)]

    seen, spread = shown(fan.quantiles.get("q50", ()), *fan.tracks), shown(*fan.quantiles.values())
    aim, limit = sorted(shown(fan.aim or ())), sorted(shown(fan.limit or ()))
    floor = 0.0 if min([0.0, *seen, *spread, *aim, *limit]) == 0.0 else None
    return depths(seen or spread, spread, aim, limit, floor, height)


def _soundings(fan: Fan, way: figures.Display, survey: Depths) -> list[tuple[float, str]]:
    """Place down and words of the depths at the side: every edge on the chart by its name, then round values."""
    names: dict[float, str] = {}
    for name, band in (("aim", fan.aim), ("limit", fan.limit)):
        for edge in (way.shown(v) for v in band or ()):
            if survey.low <= edge <= survey.high:
                names[edge] = f"{names[edge]}, {name}" if edge in names else name
    placed: list[tuple[float, str]] = []
    for value, name in sorted(names.items(), reverse=True):  # pushed down where they would cover each other
        y = max(survey.y(value), placed[-1][0] + _SIZE if placed else 0.0)
        placed.append((y, f"{name} {figures.trimmed(value, max(way.digits, 2))}"))
    over = max(placed[-1][0] - survey.height, 0.0) if placed else 0.0
    placed = [
        (min(y, survey.height - (len(placed) - 1 - i) * _SIZE) if over else y, w) for i, (y, w) in enumerate(placed)
    ]
    for y, words in replace(survey, edges=()).labels(way.digits, 24.0):
        if all(abs(y - other) >= 18.0 for other, _ in placed):
            placed.append((y, words))
    return placed


def _ends(frame: _Frame) -> list[tuple[float, str, str]]:
    """Place down, value and name of what stands at the end of the fan, as many as there is room for."""
    lines = [(name, frame.fan.quantiles.get(key)) for key, name in (
        ("q50", "median"), ("q95", "95 %"), ("q05", "5 %"), ("q75", "75 %"), ("q25", "25 %"))]  # fmt: skip
    if len(frame.fan.tracks) == 1:
        lines.append(("one run" if frame.fan.quantiles else "", frame.fan.tracks[0]))
    placed: list[tuple[float, str, str]] = []
    for name, line in lines:
        if line is None or not math.isfinite(line[-1]):
            continue
        true = frame.y(line[-1])
        y = min(max(true, 0.0), frame.high)
        beyond = " ↑" if true < 0.0 else " ↓" if true > frame.high else ""
        if all(abs(y - other) >= 13.0 for other, _, _ in placed):
            placed.append((y, frame.said(line[-1]), name + beyond))
    return placed


def _heading(frame: _Frame, left: float, width: int) -> str:
    """Title and unit, and from when to when if there is room."""
    fan, label = frame.fan, frame.way.label
    title = _cut(fan.title, width - left - _long(label) - 12.0, 15.0)
    start, end = (
        figures.moment(t, frame.local) if frame.days < _HOURLY_DAYS
        else f"{figures.day(t, frame.local)} {t.astimezone(frame.local).year}"
        for t in (fan.times[0], fan.times[-1])
    )  # fmt: skip
    span, edge = f"{start} to {end}", left + frame.wide
    fits = left + _long(title, 15.0) + _long(label) + 24.0 + _long(span) < edge
    return (
        f'<text x="{left:.1f}" y="21"><tspan class="head">{_text(title)}</tspan>'
        f"{f'<tspan dx={chr(34)}8{chr(34)}>{_text(label)}</tspan>' if label else ''}</text>"
        + (f'<text x="{edge:.1f}" y="21" text-anchor="end">{span}</text>' if fits else "")
    )


def _zones(frame: _Frame) -> list[str]:
    """Channel white, shoal tint, danger hatched; without a band the water is unsurveyed."""
    fan, scale = frame.fan, frame.depths

    def rect(low: float, high: float, look: str, fill: str = "") -> str:
        top, bottom = max(scale.y(high), 0.0), min(scale.y(low), frame.high)
        if bottom - top < 0.05:
            return ""
        return f'<rect class="{look}" y="{top:.1f}" width="{frame.wide:.1f}" height="{bottom - top:.1f}"{fill}/>'

    ends = (scale.low, scale.high)
    low, high = sorted(frame.way.shown(v) for v in fan.limit) if fan.limit else ends
    drawn = [rect(low, high, "shoal" if fan.aim else "unsurveyed")]
    if fan.aim:
        aim_low, aim_high = sorted(frame.way.shown(v) for v in fan.aim)
        drawn.append(rect(aim_low, aim_high, "deep"))
    land = ' fill="url(#fan-h)"'
    drawn += [rect(scale.low, min(low, scale.high), "land", land), rect(max(high, scale.low), scale.high, "land", land)]
    for edge in sorted(
        {scale.y(frame.way.shown(v)) for v in (*(fan.aim or ()), *(fan.limit or ())) if math.isfinite(v)}
    ):
        drawn.append(f'<path class="edge" d="M0 {edge:.1f}h{frame.wide:.1f}"/>' if 0.0 < edge < frame.high else "")
    return drawn


def _runs(frame: _Frame, *lines: Sequence[float]) -> list[list[int]]:
    """Which points to draw, between the gaps: the ends and extremes of every pixel's width."""
    known = [all(map(math.isfinite, values)) for values in zip(*lines, strict=True)]
    runs = []
    for good, run in groupby(range(len(frame.at)), lambda i: known[i]):
        if not good:
            continue
        kept: set[int] = set()
        for _, column in groupby(run, lambda i: int(frame.at[i])):
            part = list(column)
            for line in lines:
                kept.update(part[k] for k in thinned([line[i] for i in part], 2))
        runs.append(sorted(kept))
    return runs


def _cones(frame: _Frame) -> list[str]:
    drawn = []
    for look, lower, upper in (("cone", "q05", "q95"), ("cone half", "q25", "q75")):
        low, high = frame.fan.quantiles.get(lower), frame.fan.quantiles.get(upper)
        if low is None or high is None:
            continue
        for run in _runs(frame, low, high):
            over = [(frame.at[i], frame.y(high[i])) for i in run]
            under = [(frame.at[i], frame.y(low[i])) for i in reversed(run)]
            if len(run) == 1:  # a moment alone between two gaps is still seen
                over, under = ([(x + w, y) for (x, y) in side for w in (-0.75, 0.75)] for side in (over, under))
                under.reverse()
            drawn.append(f'<polygon class="{look}" points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in over + under)}"/>')
    return drawn


def _lines(frame: _Frame) -> list[str]:
    """Tracks under the median, each one path that is lifted at its gaps."""
    median = frame.fan.quantiles.get("q50")
    beside = "track beside" if median is not None or len(frame.fan.tracks) > 1 else "track"
    lines = [(beside, track) for track in frame.fan.tracks] + ([("median", median)] if median is not None else [])
    drawn = []
    for look, line in lines:
        runs = ([f"{frame.at[i]:.1f} {frame.y(line[i]):.1f}" for i in run] for run in _runs(frame, line))
        path = "".join(f"M{run[0]}" + ("L" + " ".join(run[1:]) if len(run) > 1 else "h0") for run in runs)
        if path:
            drawn.append(f'<path class="{look}" d="{path}"/>')
    return drawn


def _marks(frame: _Frame) -> list[str]:
    """Acts as ticks hanging from the upper edge; what they were stands over the first of each kind."""
    marks = sorted(m for m in frame.fan.marks if frame.inside(m[0]))
    places = [frame.x(moment) for moment, _ in marks]
    drawn = []
    for i in apart(places, 2.0):
        tip = _text(f"{figures.moment(marks[i][0], frame.local)}: {marks[i][1]}")
        drawn.append(f'<path class="mark" d="M{places[i]:.1f} 0v7"><title>{tip}</title></path>')
    written: set[str] = set()
    free = 0.0  # where the next words may begin
    for x, (_, words) in zip(places, marks, strict=True):
        begin = min(max(x - 3.0, 0.0), frame.wide - _long(words))
        if words not in written and begin >= free:
            written.add(words)
            free = begin + _long(words) + 10.0
            drawn.append(f'<text class="act" x="{begin:.1f}" y="-5">{_text(words)}</text>')
    return drawn


def _passes(frame: _Frame) -> list[tuple[dt.datetime, str]]:
    """Where edges are passed, with dated words: as handed in, or as the median and the 90 % band show it."""
    fan = frame.fan
    if fan.passes:
        given = ((moment, words, figures.day(moment, frame.local)) for moment, words in fan.passes)
        return [(moment, words if date in words else f"{words}, {date}") for moment, words, date in sorted(given)]
    sole = fan.tracks[0] if len(fan.tracks) == 1 and not fan.quantiles else None
    found: list[tuple[dt.datetime, str]] = []
    for name, band in (("aim", fan.aim), ("limit", fan.limit)):
        if band is None:
            continue
        low, high = sorted(band)
        tries = [("1 in 2 ", (("q50", low, high),)), ("1 in 20 ", (("q05", low, math.inf), ("q95", -math.inf, high)))]
        for share, sides in tries:
            firsts = [_first(fan.times, fan.quantiles[k], a, b) for k, a, b in sides if k in fan.quantiles]
            first = min((f for f in firsts if f is not None), default=None)
            if first is not None:
                found.append((first, f"{share}beyond the {name}, {frame.date(first)}"))
                break
        first = _first(fan.times, sole, low, high) if sole is not None else None
        if first is not None:
            found.append((first, f"beyond the {name}, {frame.date(first)}"))
    return sorted(found)


def _first(times: Sequence[dt.datetime], line: Sequence[float], low: float, high: float) -> dt.datetime | None:
    """When a line first lies outside, straight between its points."""
    before: tuple[dt.datetime, float] | None = None
    for moment, value in zip(times, line, strict=True):
        if value < low or value > high:
            if before is None:
                return moment
            edge = low if value < low else high
            return before[0] + float((edge - before[1]) / (value - before[1])) * (moment - before[0])
        before = (moment, value) if math.isfinite(value) else None
    return None


def _passing(frame: _Frame, passes: list[tuple[dt.datetime, str]]) -> list[str]:
    """Magenta: a lozenge on the edge, a dashed line away from the danger, and the words at its end."""
    drawn = []
    said: list[tuple[float, float, float]] = []
    for moment, words in passes:
        if not frame.inside(moment):
            continue
        x = frame.x(moment)
        edge, upper = _edge(frame, moment, words)
        text = _cut(words, max(x, frame.wide - x) - 8.0)
        left = x > 0.55 * frame.wide or (x + _long(text) + 8.0 > frame.wide)
        begin = x - 8.0 - _long(text) if left else x + 8.0
        y, step = (frame.high - 8.0, -_ROW) if upper else (17.0, _ROW)
        while any(abs(y - other) < _ROW and begin < b and a < begin + _long(text) for other, a, b in said):
            y += step
        said.append((y, begin, begin + _long(text)))
        drawn.append(
            f'<g><title>{_text(words)}</title><path class="passes dashed" d="M{x:.1f} {edge:.1f}V'
            f'{frame.high if upper else 0.0:.1f}"/><path class="passes" d="M{x:.1f} {edge - 4.5:.1f}l4.5 4.5l-4.5 4.5'
            f'l-4.5 -4.5z"/></g><text class="passes-said" x="{x + (-8.0 if left else 8.0):.1f}" y="{y:.1f}"'
            f"{' text-anchor=' + chr(34) + 'end' + chr(34) if left else ''}>{_text(text)}</text>"
        )
    return drawn


def _edge(frame: _Frame, moment: dt.datetime, words: str) -> tuple[float, bool]:
    """How far down the passed edge lies [px], and whether it is an upper one: where the fan reaches further out."""
    fan = frame.fan
    i = min(range(len(fan.times)), key=lambda k: abs((fan.times[k] - moment).total_seconds()))
    there = _finite([line[i] for line in (*fan.quantiles.values(), *fan.tracks)])
    bands = [band for name, band in (("aim", fan.aim), ("limit", fan.limit)) if band and name in words.lower()]
    band = next(iter(bands), fan.aim or fan.limit)
    if band is None or not there:
        return 0.0, True
    upper = max(there) - max(band) > min(band) - min(there)
    return min(max(frame.y(max(band) if upper else min(band)), 0.0), frame.high), upper


def _dates(frame: _Frame) -> list[str]:
    """A graduated border of alternating spans, and the dates or hours under it."""
    ticks = _ticks(frame)
    edges = [0.0, *(x for x, _ in ticks), frame.wide]
    drawn = [
        f'<rect class="bar{" filled" if i % 2 else ""}" x="{a:.1f}" y="{frame.high:.1f}" width="{b - a:.1f}" height="4"/>'
        for i, (a, b) in enumerate(pairwise(edges))
    ]
    middle = f'y="{frame.high + 19:.1f}" text-anchor="middle"'
    return drawn + [f'<text class="date" x="{x:.1f}" {middle}>{words}</text>' for x, words in ticks]


def _ticks(frame: _Frame) -> list[tuple[float, str]]:
    """Where round local times stand [px], and how they are written, no more than there is room for."""
    most = max(frame.wide / _DATE_ROOM, 2.0)
    first, last = (t.astimezone(frame.local) for t in (frame.fan.times[0], frame.fan.times[-1]))
    days = [first.date() + dt.timedelta(days=i) for i in range((last.date() - first.date()).days + 1)]
    found: dict[dt.datetime, str] = {}
    if frame.days < _HOURLY_DAYS:
        step = next((m for m in (1, 5, 15, 30, 60, 120, 180, 360, 720) if frame.days * 1440 / m <= most), 1440)
        for day in days:
            for minute in range(0, 1440, step):
                there = dt.datetime.combine(day, dt.time(minute // 60, minute % 60), tzinfo=frame.local)
                moment = there.astimezone(dt.UTC)
                hour = f"{moment.astimezone(frame.local):%H:%M}"  # another than asked for where clocks skipped it
                found[moment] = figures.day(moment, frame.local) if minute == 0 else hour
    elif frame.days <= 14 * most and frame.days <= 120:
        step = next(d for d in (1, 2, 3, 5, 7, 14) if frame.days / d <= most)
        for day in days[::step]:
            moment = dt.datetime.combine(day, dt.time(), tzinfo=frame.local).astimezone(dt.UTC)
            found[moment] = figures.day(moment, frame.local)
    else:
        step = next((m for m in (1, 2, 3, 6, 12, 24, 60, 120, 240) if frame.days / (30.44 * m) <= most), 1200)
        for month in range(first.year * 12 + first.month - 1, last.year * 12 + last.month):
            if month % step == 0:
                moment = dt.datetime(month // 12, month % 12 + 1, 1, tzinfo=frame.local).astimezone(dt.UTC)
                year = f" ’{month // 12 % 100:02d}" if frame.days > 300 else ""  # a month alone would name two of them
                found[moment] = f"{month // 12}" if step >= 12 else figures.month(moment, frame.local) + year
    return [(frame.x(t), words) for t, words in sorted(found.items()) if frame.inside(t)]


def _sentence(frame: _Frame, passes: list[tuple[dt.datetime, str]]) -> str:
    """The one sentence that gives the numbers."""
    fan, way = frame.fan, frame.way
    median = fan.quantiles.get("q50")
    line = median if median is not None else fan.tracks[0] if fan.tracks else ()
    known = [i for i, v in enumerate(line) if math.isfinite(v)]
    if not known:
        return f"{fan.title}: no value."
    first, last = known[0], known[-1]
    start, end = (figures.moment(fan.times[i], frame.local) for i in (first, last))
    said = [f"{fan.title}: from {start} to {end} "]
    if median is not None:
        said.append(f"the median goes from {frame.said(line[first])} to {way.with_unit(frame.said(line[last]))}")
        ends = [fan.quantiles[k][last] for k in ("q05", "q95") if k in fan.quantiles]
        if len(_finite(ends)) == 2:
            said.append(f", with 5 to 95 % of the runs then at {' to '.join(map(frame.said, ends))}")
    else:
        least, most = (
            frame.said(line[i]) for i in (min(known, key=line.__getitem__), max(known, key=line.__getitem__))
        )
        said.append(f"one run goes from {frame.said(line[first])} to {way.with_unit(frame.said(line[last]))}")
        said.append(f", between {least} and {most}")
    for name, band in (("aim", fan.aim), ("limit", fan.limit)):
        if band:
            said.append(f"; {name} {' to '.join(figures.trimmed(way.shown(v), way.digits) for v in sorted(band))}")
    if passes:
        said.append(f"; edge passed: {'; '.join(words for _, words in passes)}")
    elif (fan.aim or fan.limit) and (median is not None or len(fan.tracks) == 1):
        said.append("; no edge is passed" + (" by the median or the 5 to 95 % band" if median is not None else ""))
    return "".join(said) + "."
