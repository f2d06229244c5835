"""The parts that every drawing of a course is made of: zones, cone, line, fixes, marks, depths.

Across, everything is placed in percent; down, in pixels: the drawing takes any width without stretching its
letters and circles. Lines live in an inner drawing that is stretched, with strokes that are not. Colours
come from the page's style sheet by class, so that one drawing serves all three lights and print.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from leadline.estimate.report import Fix
from leadline.measures import figures
from leadline.measures.moments import days_between
from leadline.present.charts.scale import Depths
from leadline.present.series import apart, thinned

WIDE = 1000.0  # the stretched drawing's own width
NARROWEST = 290.0  # the narrowest a drawing gets, on a phone [px]

MOST_FIXES = 600  # of one drawing


@dataclass(frozen=True, slots=True)
class Frame:
    """Where moments and values stand in one drawing."""

    start: dt.datetime
    days: float
    now: dt.datetime
    depths: Depths
    way: figures.Display
    local: dt.tzinfo
    usual: float = 600.0  # the drawing's usual width at a desk [px]
    columns: int = 300  # buckets a line is thinned to

    @property
    def height(self) -> float:
        """Of the survey itself. [px]"""
        return self.depths.height

    @property
    def end(self) -> dt.datetime:
        """Where the drawing ends."""
        return self.start + dt.timedelta(days=self.days)

    def part(self, moment: dt.datetime) -> float:
        """Where a moment stands across, 0 to 1."""
        return days_between(self.start, moment) / self.days

    def percent(self, moment: dt.datetime) -> str:
        """The same as SVG wants it."""
        return f"{100 * self.part(moment):.2f}%"

    def y(self, stored: float) -> float:
        """Where a stored value stands down, clipped a little outside the survey. [px]"""
        return min(max(self.depths.y(self.way.shown(stored)), -40.0), self.height + 40.0)

    def said(self, stored: float) -> str:
        """A stored value in the shown unit."""
        return self.way.with_unit(figures.number(self.way.shown(stored), self.way.digits))


def hatching(ident: str) -> str:
    """The pattern of the danger beyond the limits; `zones` refers to it."""
    return (
        f'<defs><pattern id="{ident}-h" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect class="landfill" width="6" height="6"/>'
        '<line class="hatch" x1="0" y1="0" x2="0" y2="6"/></pattern></defs>'
    )


def zones(frame: Frame, aim: tuple[float, float] | None, limit: tuple[float, float] | None, ident: str) -> list[str]:
    """Channel white, shoal tint, danger hatched; without a band the water is unsurveyed."""
    scale, way = frame.depths, frame.way

    def rect(low: float, high: float, look: str, fill: str = "") -> str:
        top, bottom = max(scale.y(high), 0.0), min(scale.y(low), frame.height)
        if bottom - top < 0.05:
            return ""
        return f'<rect class="{look}" x="0" y="{top:.1f}" width="100%" height="{bottom - top:.1f}"{fill}/>'

    if aim is None:
        return [rect(scale.low, scale.high, "unsurveyed")]
    aim_low, aim_high = sorted(way.shown(v) for v in aim)
    low, high = sorted(way.shown(v) for v in limit) if limit else (scale.low, scale.high)
    land = f' fill="url(#{ident}-h)"'
    return [
        rect(scale.low, low, "land", land),
        rect(low, aim_low, "shoal"),
        rect(aim_low, aim_high, "deep"),
        rect(aim_high, high, "shoal"),
        rect(high, scale.high, "land", land),
    ]


def cone(look: str, frame: Frame, at: Sequence[float], low: Sequence[float], high: Sequence[float]) -> str:
    """The 90 % spread; `at` in the stretched drawing's own width, values as stored."""
    upper = [f"{x:.1f},{frame.y(v):.1f}" for x, v in zip(at, high, strict=True)]
    lower = [f"{x:.1f},{frame.y(v):.1f}" for x, v in zip(at, low, strict=True)]
    return f'<polygon class="{look}" points="{" ".join(upper + lower[::-1])}"/>'


def line(look: str, frame: Frame, at: Sequence[float], values: Sequence[float]) -> str:
    """The reckoned line; likewise."""
    points = " ".join(f"{x:.1f},{frame.y(v):.1f}" for x, v in zip(at, values, strict=True))
    return f'<polyline class="{look}" points="{points}"/>'


def fixes(frame: Frame, found: Iterable[Fix], *, square: bool = False) -> list[str]:
    """Readings by hand: a circle (or a square) with a dot; in doubt, crossed; crowded, the dot alone."""
    hand = sorted((f for f in found if not f.probe and 0.0 <= frame.part(f.time) <= 1.0), key=lambda f: f.time)
    plain = [f for f in hand if not f.doubtful]
    # circles that would cover each other become dots: more of them on a phone than at a desk
    places = [frame.part(f.time) for f in plain]
    phone = {plain[i].id for i in apart([NARROWEST * p for p in places], 7.0)}
    desk = phone | {plain[i].id for i in apart([frame.usual * p for p in places], 7.0)}
    seen = {plain[i].id for i in thinned([f.value for f in plain], MOST_FIXES)} | desk  # years of tests in one drawing
    values = [f.value for f in plain]
    worst = {min(values), max(values)} if values else set()
    drawn = []
    for f in hand:
        if not f.doubtful and f.id not in seen:
            continue
        x, y = frame.percent(f.time), frame.y(f.value)
        method = f", {f.method}" if f.method else ""
        tip = escape(f"{figures.moment(f.time, frame.local)}: {frame.said(f.value)}{method}")
        if f.doubtful:
            inside = min(max(y, 9.0), frame.height - 9.0)
            arrow = "" if inside == y else ("M0 -9l-3 4h6z" if y < inside else "M0 9l-3 -4h6z")
            ring = '<rect x="-5" y="-5" width="10" height="10"/>' if square else '<circle r="5.5"/>'
            drawn.append(
                f'<svg class="doubtful" x="{x}" y="{inside:.1f}" width="1" height="1" overflow="visible">'
                f'<title>{tip}, in doubt</title><path d="M-4.5 -4.5L4.5 4.5M-4.5 4.5L4.5 -4.5"/>'
                f"{ring}{f'<path d={chr(34)}{arrow}{chr(34)}/>' if arrow else ''}</svg>"
            )
        elif f.id in desk and square:
            look = "fix other" if f.id in phone else "fix other desk"
            drawn.append(
                f'<svg class="{look}" x="{x}" y="{y:.1f}" width="1" height="1" overflow="visible"><title>{tip}</title>'
                '<rect x="-5" y="-5" width="10" height="10"/><circle class="dot" r="1.5"/></svg>'
            )
        elif f.id in desk:
            look = "fix" if f.id in phone else "fix desk"
            drawn.append(
                f'<g class="{look}"><title>{tip}</title><circle cx="{x}" cy="{y:.1f}" r="5.5"/>'
                f'<circle class="dot" cx="{x}" cy="{y:.1f}" r="1.5"/></g>'
            )
        else:
            # too many to be touched one by one: but for the extremes, the table and the course's own page name them
            end = f"><title>{tip}</title></circle>" if f.value in worst else "/>"
            drawn.append(f'<circle class="dot" cx="{100 * frame.part(f.time):.1f}%" cy="{y:.0f}" r="1.5"{end}')
    return drawn


def marks(frame: Frame, found: Iterable[tuple[dt.datetime, str, str]]) -> list[str]:
    """On the bottom of the survey: exchanges as tall double ticks, additions as short ones, the rest as diamonds."""
    by: dict[str, list[tuple[float, str, dt.datetime]]] = {"exchange": [], "addition": [], "": []}
    for moment, kind, words in sorted(found):
        part = frame.part(moment)
        if 0.0 <= part <= 1.0:
            by[kind if kind in by else ""].append((part, words, moment))
    drawn = []
    foot = f"{frame.height:.0f}"

    def tip(words: str, moment: dt.datetime) -> str:
        return f"<title>{escape(f'{figures.moment(moment, frame.local)}: {words}')}</title>"

    for kind, shape, least in (("exchange", "M-1.5 0v-11M1.5 0v-11", 4.0), ("", "M0 0v-4l-4 -5l4 -5l4 5l-4 5", 9.0)):
        for i in apart([frame.usual * t[0] for t in by[kind]], least):
            part, words, moment = by[kind][i]
            drawn.append(
                f'<svg class="mark" x="{100 * part:.2f}%" y="{foot}" width="1" height="1" overflow="visible">'
                f'{tip(words, moment)}<path d="{shape}"/></svg>'
            )
    for i in apart([NARROWEST * s[0] for s in by["addition"]], 2.0):
        part, words, moment = by["addition"][i]
        x = f"{100 * part:.2f}%"
        drawn.append(
            f'<line class="mark" x1="{x}" y1="{foot}" x2="{x}" y2="{frame.height - 5:.0f}">{tip(words, moment)}</line>'
        )
    return drawn


def depth_labels(frame: Frame, *, right: bool = False) -> list[str]:
    """The edges of the bands at the side, in the shown unit."""
    place = 'class="depth other" x="100%" dx="7"' if right else 'class="depth" x="0" dx="-7"'
    anchor = "start" if right else "end"
    return [
        f'<text {place} y="{y + 4:.1f}" text-anchor="{anchor}">{text}</text>'
        for y, text in frame.depths.labels(frame.way.digits)
    ]
