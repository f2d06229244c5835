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
from string import Template

from leadline.measures import figures
from leadline.measures.moments import days_between
from leadline.measures.quantities import QUANTITIES
from leadline.present.charts.scale import Depths, depths
from leadline.present.series import apart, thinned

_BELOW = 27.0  # graduation and dates under the survey [px]
_HEAD = 32.0  # title over it [px]
_RAIL = 16.0  # words of the acts between the two, when there are any [px]
_ROW = 16.0  # from one line of words to the next [px]
_SIZE = 12.0  # of the letters [px]
_EM = 0.56  # a letter's usual width, in its size: no letter is measured here
_HOURLY_DAYS = 4.0  # a shorter span is told in hours
_DATE_ROOM = 68.0  # the least from one date to the next [px]

# As in the web's lights.css, which this floor can't see; a test holds the two together.
DAY = {
    "paper": "#fbf8ef", "ink": "#1d2932", "soft": "#566470", "edge": "#6d7781", "deep": "#ffffff", "shoal": "#d6e7f3",
    "land": "#efe2bd", "hatch": "#d9c68f", "unsurveyed": "#f4f1e6", "mag": "#a3246f", "course": "#1d2932",
    "cone": "#2f6f9f", "halo": "#fffdf6",
}  # fmt: skip
DUSK = {
    "paper": "#17222b", "ink": "#e8e4d8", "soft": "#9fb0bb", "edge": "#7c8e9a", "deep": "#1f2e39", "shoal": "#2b4354",
    "land": "#3f3828", "hatch": "#544a33", "unsurveyed": "#1b2832", "mag": "#f39ccd", "course": "#f3efe2",
    "cone": "#8fc1e6", "halo": "#17222b",
}  # fmt: skip
_COLOURS = Template(  # written out, not as CSS variables, which not every viewer of a mailed file knows
    ".fan{background:$paper}.fan .paper{fill:$paper}.fan text{fill:$soft}.fan .head,.fan .now{fill:$ink}"
    ".fan .deep{fill:$deep}.fan .shoal{fill:$shoal}.fan .unsurveyed{fill:$unsurveyed}.fan .landfill{fill:$land}"
    ".fan .hatch{stroke:$hatch}.fan .neatline,.fan .edge{stroke:$edge}.fan .bar{fill:$paper;stroke:$edge}"
    ".fan .filled{fill:$edge}.fan .cone{fill:$cone}.fan .median,.fan .track{stroke:$course}.fan .mark{stroke:$soft}"
    ".fan .passes{stroke:$mag;fill:$paper}.fan .passes-said{fill:$mag;stroke:$halo}"
)
_SHAPES = (
    ".fan{max-width:100%;height:auto;font-family:system-ui,'DejaVu Sans',sans-serif;font-size:12px;"
    "font-variant-numeric:tabular-nums}.fan .head{font-size:15px;font-weight:600}.fan .now{font-style:italic}"
    ".fan .land{fill:url(#fan-h)}.fan .hatch{stroke-width:1.4}.fan .neatline,.fan .dashed{fill:none}"
    ".fan .edge{stroke-width:.8;opacity:.55}.fan .cone{fill-opacity:.16}.fan .half{fill-opacity:.22}.fan .median,"
    ".fan .track{fill:none;stroke-width:1.7;stroke-linejoin:round}.fan .track{stroke-width:1}.fan .beside{"
    "stroke-width:.8;opacity:.6}.fan .passes{stroke-width:1.5}.fan .dashed{stroke-dasharray:5 3}"
    ".fan .passes-said{font-style:italic;paint-order:stroke;stroke-width:3px;stroke-linejoin:round}"
)
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, slots=True)
class Fan:
    """What an ensemble says of one quantity, in its stored unit; NaN is a gap."""

    quantity: str  # contract name, or the name of an extra such as "coral"
    title: str
    times: tuple[dt.datetime, ...]  # aware, UTC, rising, at least two
    quantiles: Mapping[str, Sequence[float]]  # "q05", "q25", "q50", "q75", "q95", as long as `times`, or none
    tracks: tuple[Sequence[float], ...] = ()  # single members, as long as `times`
    aim: tuple[float, float] | None = None
    limit: tuple[float, float] | None = None
    marks: tuple[tuple[dt.datetime, str], ...] = ()  # acts, in a few words
    passes: tuple[tuple[dt.datetime, str], ...] = ()  # "aim, 3 Mar, 72 %"; when none, median or spread tell
    unit: str = ""  # of a quantity that `measures.quantities.QUANTITIES` lacks


@dataclass(frozen=True, slots=True)
class _Frame:
    """The fan in the shown unit, and where things stand."""

    fan: Fan
    way: figures.Display
    local: dt.tzinfo
    lines: dict[str, list[float]]  # the quantiles
    tracks: list[list[float]]
    lead: list[float]  # the median, or the only track
    bands: list[tuple[str, float, float]]  # aim and limit: name, low, high
    depths: Depths
    days: float
    high: float  # of the survey [px]
    wide: float = 1.0  # likewise
    at: tuple[float, ...] = ()  # where each time stands across [px]

    def x(self, moment: dt.datetime) -> float:
        """Where a moment stands across the survey. [px]"""
        return self.wide * days_between(self.fan.times[0], moment) / self.days

    def y(self, value: float) -> float:
        """Where a shown value stands down, at most some heights outside the survey, which cuts it. [px]"""
        return min(max(self.depths.y(value), -20 * self.high), 20 * self.high)

    def within(self, value: float) -> float:
        """Where it stands, or the end of the survey that is nearest to it. [px]"""
        return min(max(self.depths.y(value), 0.0), self.high)

    def said(self, value: float) -> str:
        return figures.number(value, self.way.digits)

    def date(self, moment: dt.datetime) -> str:
        """The day, and the hour on a short chart."""
        day = figures.day(moment, self.local, self.fan.times[0])
        return f"{day}, {moment.astimezone(self.local):%H:%M}" if self.days < _HOURLY_DAYS else day


def svg(fan: Fan, *, units: str, local: dt.tzinfo, width: int = 860, height: int = 300) -> str:
    """The fan as one SVG file, `width` by `height` [px].

    It is for a reader who prefers `units`, "metric" or "us", and whose days and hours are those of the zone `local`.
    """
    top = _HEAD + (_RAIL if fan.marks else 0.0)
    frame = _frame(fan, units, local, max(height - top - _BELOW, 40.0))
    soundings, ends = _soundings(frame), _ends(frame)
    left = 13.0 + max((_long(words) for _, words in soundings), default=0.0)
    right = 24.0 + max((_long(value + words) for _, value, words in ends), default=0.0)
    frame = replace(frame, wide=max(width - left - right, 60.0))
    frame = replace(frame, at=tuple(map(frame.x, fan.times)))
    passes = _passes(frame)
    over = [_written("depth", -7.0, y + 4.0, _text(words), "end") for y, words in soundings]
    for y, value, words in ends:
        over.append(_written("end", frame.wide + 7.0, y + 4.0, f'<tspan class="now">{value}</tspan> {_text(words)}'))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="fan" role="img" aria-labelledby="fan-t fan-d" '
        f'width="{width}" height="{height}" viewBox="0 0 {width} {height}">'
        f'<title id="fan-t">{_text(fan.title)}</title><desc id="fan-d">{_text(_sentence(frame, passes))}</desc>'
        f"<style>{_SHAPES}{_COLOURS.substitute(DAY)}"
        f"@media screen and (prefers-color-scheme: dark){{{_COLOURS.substitute(DUSK)}}}"
        "@media print{.fan{background:none}.fan .paper{fill:none}}</style>"
        '<defs><pattern id="fan-h" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect class="landfill" width="6" height="6"/><path class="hatch" d="M0 0v6"/></pattern></defs>'
        f'<rect class="paper" width="{width}" height="{height}"/>{_heading(frame, left)}'
        f'<svg class="survey" x="{left:.1f}" y="{top:.1f}" width="{frame.wide:.1f}" height="{frame.high:.1f}">'
        f"{''.join([*_zones(frame), *_water(frame)])}</svg>"
        f'<g transform="translate({left:.1f} {top:.1f})">'
        f'<rect class="neatline" width="{frame.wide:.1f}" height="{frame.high:.1f}"/>'
        f"{''.join([*over, *_dates(frame), *_marks(frame), *_passing(frame, passes)])}</g></svg>"
    )


def _text(words: str) -> str:
    """Words that can't become markup, without what XML can't hold."""
    return escape(_NO_XML.sub("", words))


def _written(look: str, x: float, y: float, inner: str, anchor: str = "start") -> str:
    return f'<text class="{look}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{inner}</text>'


def _long(words: str, size: float = _SIZE) -> float:
    """About how long words are. [px]"""
    return len(words) * size * _EM


def _cut(words: str, room: float, size: float = _SIZE) -> str:
    fits = max(int(room / (size * _EM)), 1)
    return words if len(words) <= fits else words[: fits - 1] + "…"


def _finite(*lines: Sequence[float]) -> list[float]:
    return [v for line in lines for v in line if math.isfinite(v)]


def _frame(fan: Fan, units: str, local: dt.tzinfo, height: float) -> _Frame:
    way = figures.display(fan.quantity, units, fan.unit)
    lines = {name: [float(way.shown(v)) for v in line] for name, line in fan.quantiles.items()}
    tracks = [[float(way.shown(v)) for v in line] for line in fan.tracks]
    aim, limit = ([float(way.shown(v)) for v in band or ()] for band in (fan.aim, fan.limit))
    bands = [(name, min(band), max(band)) for name, band in (("aim", aim), ("limit", limit)) if band]
    lead = lines.get("q50", tracks[0] if len(tracks) == 1 and not lines else [])
    spread, seen = _finite(*lines.values()), _finite(lead, *tracks)
    every = [*spread, *seen, *_finite(aim, limit)]
    most = max(map(abs, every), default=0.0)
    if fan.quantity not in QUANTITIES and most > 0.0:  # nobody knows its digits: three significant ones of the greatest
        way = replace(way, digits=min(max(2 - math.floor(math.log10(most)), 0), 6))
    floor = 0.0 if min(every, default=0.0) >= 0.0 else None
    must = seen or spread if bands else spread or seen  # without a channel the whole fan is what there is to see
    survey = depths(must, spread, _finite(aim), _finite(limit), floor, height)
    days = days_between(fan.times[0], fan.times[-1])
    return _Frame(fan, way, local, lines, tracks, lead, bands, survey, days, height)


def _soundings(frame: _Frame) -> list[tuple[float, str]]:
    """Place down and words of the depths at the side: every edge on the chart by its name, then round values."""
    edges = sorted(((v, name) for name, *band in frame.bands for v in band), reverse=True)
    placed: list[tuple[float, str]] = []
    for value, same in groupby(edges, lambda edge: edge[0]):
        if frame.depths.low <= value <= frame.depths.high:  # pushed down where they would cover each other
            y = max(frame.y(value), placed[-1][0] + _SIZE if placed else 0.0)
            names = ", ".join(sorted(name for _, name in same))
            placed.append((y, f"{names} {figures.trimmed(value, max(frame.way.digits, 2))}"))
    if _finite(*frame.lines.values(), *frame.tracks):
        between = replace(frame.depths, edges=()).labels(frame.way.digits, 24.0)
        placed += [(y, words) for y, words in between if all(abs(y - other) >= 18.0 for other, _ in placed)]
    return placed


def _ends(frame: _Frame) -> list[tuple[float, str, str]]:
    """Place down, value and name of what stands at the end of the fan, as many as there is room for."""
    names = (("median", "q50"), ("95 %", "q95"), ("5 %", "q05"), ("75 %", "q75"), ("25 %", "q25"))
    lines = [(name, frame.lines[key]) for name, key in names if key in frame.lines]
    if len(frame.tracks) == 1:
        lines.append(("one run" if lines else "", frame.tracks[0]))
    placed: list[tuple[float, str, str]] = []
    for name, line in lines:
        if math.isfinite(line[-1]):
            y = frame.within(line[-1])
            beyond = " ↑" if frame.y(line[-1]) < y else " ↓" if frame.y(line[-1]) > y else ""
            if all(abs(y - other) >= 13.0 for other, _, _ in placed):
                placed.append((y, frame.said(line[-1]), name + beyond))
    return placed


def _heading(frame: _Frame, left: float) -> str:
    """Title and unit, and from when to when if there is room."""
    label = frame.way.label
    title = _cut(frame.fan.title, frame.wide - _long(label), 15.0)
    words = f'<tspan class="head">{_text(title)}</tspan> {_text(label)}'
    span = " to ".join(figures.moment(t, frame.local) for t in (frame.fan.times[0], frame.fan.times[-1]))
    fits = _long(title, 15.0) + _long(label) + 24.0 + _long(span) < frame.wide
    return _written("", left, 21.0, words) + (_written("", left + frame.wide, 21.0, span, "end") if fits else "")


def _zones(frame: _Frame) -> list[str]:
    """Channel white, shoal tint, danger hatched; without a band the water is unsurveyed."""
    drawn = [("shoal" if frame.fan.aim else "unsurveyed", -math.inf, math.inf)]
    for name, low, high in frame.bands:
        drawn += [("deep", low, high)] if name == "aim" else [("land", -math.inf, low), ("land", high, math.inf)]
    parts = []
    for look, low, high in drawn:
        top, deep = frame.within(high), frame.within(low) - frame.within(high)
        place = f'y="{top:.1f}" width="{frame.wide:.1f}" height="{deep:.1f}"'
        parts.append(f'<rect class="{look}" {place}/>' if deep > 0.05 else "")
    edges = (frame.y(v) for _, *band in frame.bands for v in band)
    return parts + [f'<path class="edge" d="M0 {y:.1f}h{frame.wide:.1f}"/>' for y in edges]


def _runs(frame: _Frame, *lines: Sequence[float]) -> list[list[tuple[float, int]]]:
    """Which points to draw and where across, between the gaps: ends and extremes of every pixel's width."""
    known = [all(map(math.isfinite, values)) for values in zip(*lines, frame.at, strict=True)]
    runs = []
    for good, run in groupby(range(len(known)), known.__getitem__):
        kept: set[int] = set()
        for _, column in groupby(run if good else (), lambda i: int(frame.at[i])):
            part = list(column)
            for line in lines:
                kept.update(part[k] for k in thinned([line[i] for i in part], 2))
        wider = (0.0,) if len(kept) > 1 else (-0.75, 0.75)  # a moment alone between two gaps is still seen
        runs.append([(frame.at[i] + more, i) for i in sorted(kept) for more in wider])
    return [run for run in runs if run]


def _water(frame: _Frame) -> list[str]:
    """Cones, tracks over them, the median over all, each lifted at its gaps."""

    def points(run: Sequence[tuple[float, int]], line: Sequence[float]) -> str:
        return " ".join(f"{x:.1f},{frame.y(line[i]):.1f}" for x, i in run)

    drawn = []
    for look, *keys in (("cone", "q05", "q95"), ("cone half", "q25", "q75")):
        if all(key in frame.lines for key in keys):
            low, high = (frame.lines[key] for key in keys)
            for run in _runs(frame, low, high):
                drawn.append(f'<polygon class="{look}" points="{points(run, high)} {points(run[::-1], low)}"/>')
    beside = "track" if frame.tracks and frame.lead is frame.tracks[0] else "track beside"
    for look, line in [*((beside, track) for track in frame.tracks), ("median", frame.lines.get("q50", []))]:
        path = "M".join(points(run, line) for run in _runs(frame, line)) if line else ""
        drawn.append(f'<path class="{look}" d="M{path}"/>' if path else "")
    return drawn


def _marks(frame: _Frame) -> list[str]:
    """Acts as ticks hanging from the upper edge; what they were stands over the first of each kind."""
    marks = sorted((x, words, t) for t, words in frame.fan.marks if 0.0 <= (x := frame.x(t)) <= frame.wide)
    near = set(apart([x for x, *_ in marks], 2.0))
    free, done, drawn = 0.0, [""], []  # where the next words may begin; which were written
    for i, (x, words, moment) in enumerate(marks):
        if i in near:
            tip = _text(f"{figures.moment(moment, frame.local)}: {words}")
            drawn.append(f'<path class="mark" d="M{x:.1f} 0v7"><title>{tip}</title></path>')
        begin = min(max(x - 3.0, 0.0), frame.wide - _long(words))
        if words not in done and begin >= free:
            done.append(words)
            free = begin + _long(words) + 8.0
            drawn.append(_written("act", begin, -5.0, _text(words)))
    return drawn


def _passes(frame: _Frame) -> list[tuple[dt.datetime, str]]:
    """Where edges are passed, with dated words: as handed in, or as the median and the 90 % band show it."""
    if frame.fan.passes:
        given = ((moment, words, figures.day(moment, frame.local)) for moment, words in frame.fan.passes)
        return sorted((t, words if day in words else f"{words}, {frame.date(t)}") for t, words, day in given)
    found: list[tuple[dt.datetime, str]] = []
    for name, low, high in frame.bands:
        outer = [(frame.lines.get("q05", []), low, math.inf), (frame.lines.get("q95", []), -math.inf, high)]
        for share, sides in (("1 in 2 " if frame.lines else "", [(frame.lead, low, high)]), ("1 in 20 ", outer)):
            firsts = [f for side in sides if side[0] and (f := _first(frame.fan.times, *side)) is not None]
            if firsts:
                found.append((min(firsts), f"{share}beyond the {name}, {frame.date(min(firsts))}"))
                break
    return sorted(found)


def _first(times: Sequence[dt.datetime], line: Sequence[float], low: float, high: float) -> dt.datetime | None:
    """When a line first lies outside, straight between its points."""
    for i, value in enumerate(line):
        if value < low or value > high:
            before, edge = line[i - 1] if i else math.nan, low if value < low else high
            if not math.isfinite(before):
                return times[i]
            return times[i - 1] + (edge - before) / (value - before) * (times[i] - times[i - 1])
    return None


def _passing(frame: _Frame, passes: list[tuple[dt.datetime, str]]) -> list[str]:
    """Magenta: a lozenge on the edge, a dashed line away from the danger, and the words at its end."""
    drawn, over = [], []
    said: list[tuple[float, float, float]] = []
    for x, whole in ((frame.x(moment), words) for moment, words in reversed(passes)):  # earlier lines end in inner rows
        if not 0.0 <= x <= frame.wide:
            continue
        i = min(range(len(frame.at)), key=lambda k: abs(frame.at[k] - x))
        there = _finite([line[i] for line in (*frame.lines.values(), *frame.tracks)]) or [0.0]
        bands = sorted(frame.bands, key=lambda band: band[0] not in whole.lower())  # the one that is named first
        _, low, high = bands[0] if bands else ("", -math.inf, math.inf)
        upper = max(there) - high >= low - min(there)  # the side on which the fan reaches further out
        edge, words = frame.within(high if upper else low), _cut(whole, frame.wide - 8.0)
        anchor, begin = "start", x + 8.0
        if begin + _long(words) > frame.wide:  # no room after the line: before it, or else across it
            anchor, begin = ("end", x - 8.0 - _long(words)) if x - 8.0 > _long(words) else ("start", 4.0)
        y, step = (frame.high - 8.0, -_ROW) if upper else (17.0, _ROW)
        while any(abs(y - row) < _ROW and begin < b and a < begin + _long(words) for row, a, b in said):
            y += step
        said.append((y, begin, begin + _long(words)))
        line = f'<path class="passes dashed" d="M{x:.1f} {edge:.1f}V{y + (4.0 if upper else -11.0):.1f}"/>'
        lozenge = f'<path class="passes" d="M{x:.1f} {edge - 4.5:.1f}l4.5 4.5-4.5 4.5-4.5-4.5z"/>'
        drawn.append(f'<g class="pass"><title>{_text(whole)}</title>{line}{lozenge}</g>')
        over.append(_written("passes-said", x - 8.0 if anchor == "end" else begin, y, _text(words), anchor))
    return drawn + over


def _dates(frame: _Frame) -> list[str]:
    """A graduated border of alternating spans, and round local dates or hours under it, as many as have room."""
    most, days, local = max(frame.wide / _DATE_ROOM, 2.0), frame.days, frame.local
    first, last = (t.astimezone(local) for t in (frame.fan.times[0], frame.fan.times[-1]))
    steps = [1, 5, 15, 30, 60, 120, 180, 360, 720] if days < _HOURLY_DAYS else []
    steps += [1440 * d for d in (1, 2, 3, 5, 7, 14)] if days <= 120 else []
    step = next((m for m in steps if days * 1440 / m <= most), 0)  # [min]
    found: dict[dt.datetime, str] = {}
    midnight = dt.datetime.combine(first.date(), dt.time(), tzinfo=local)
    for minute in range(0, math.ceil(days + 2) * 1440, step) if step else ():
        there = (midnight + dt.timedelta(minutes=minute)).astimezone(dt.UTC)  # by the clock on the wall
        found[there] = figures.day(there, local) if minute % 1440 == 0 else f"{there.astimezone(local):%H:%M}"
    every = next((m for m in (1, 2, 3, 6, 12, 24, 60, 120, 240) if days / (30.44 * m) <= most), 1200)
    for month in range(first.year * 12 + first.month - 1, last.year * 12 + last.month) if not step else ():
        if month % every == 0:
            there = dt.datetime(month // 12, month % 12 + 1, 1, tzinfo=local).astimezone(dt.UTC)
            year = f" ’{month // 12 % 100:02d}" if days > 300 else ""  # a month alone would name two of them
            found[there] = f"{month // 12}" if every >= 12 else figures.month(there, local) + year
    ticks = [(x, found[t]) for t in sorted(found) if 0.0 <= (x := frame.x(t)) <= frame.wide]
    drawn = [_written("date", x, frame.high + 19.0, words, "middle") for x, words in ticks]
    for i, (a, b) in enumerate(pairwise([0.0, *(x for x, _ in ticks), frame.wide])):
        place = f'x="{a:.1f}" y="{frame.high:.1f}" width="{b - a:.1f}" height="4"'
        drawn.append(f'<rect class="bar{" filled" if i % 2 else ""}" {place}/>')
    return drawn


def _sentence(frame: _Frame, passes: list[tuple[dt.datetime, str]]) -> str:
    """The one sentence that gives the numbers."""
    line = frame.lead or next(iter(frame.tracks), [])
    known = [i for i, v in enumerate(line) if math.isfinite(v)]
    if not known:
        return f"{frame.fan.title}: no value."
    start, end = (figures.moment(frame.fan.times[i], frame.local) for i in (known[0], known[-1]))
    who = f"{start} to {end} {'the median' if 'q50' in frame.lines else 'one run'}"
    course = f"{frame.said(line[known[0]])} to {frame.way.with_unit(frame.said(line[known[-1]]))}"
    ends = _finite([frame.lines[key][known[-1]] for key in ("q05", "q95") if key in frame.lines])
    least, most = frame.said(min(_finite(line))), frame.said(max(_finite(line)))
    spread = f"the 5 to 95 % band then {' to '.join(map(frame.said, ends))}" if len(ends) == 2 else ""
    said = [f"{frame.fan.title}: from {who} goes from {course}", spread or f"lowest {least}, highest {most}"]
    for name, *band in frame.bands:
        said.append(f"{name} {' to '.join(figures.trimmed(v, frame.way.digits) for v in band)}")
    if passes:
        said.append(f"edge passed: {'; '.join(words for _, words in passes)}")
    elif frame.bands and frame.lead:
        said.append("no edge is passed" + (" by the median or the 5 to 95 % band" if ends else ""))
    return "; ".join(said) + "."
