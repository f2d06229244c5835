"""One quantity's reckoned course through its channel, drawn as a chart of the sea is drawn.

Across, everything is placed in percent; down, in pixels: the drawing takes any width without stretching its
letters and circles. Lines live in an inner drawing that is stretched, with strokes that are not. Colours
come from the page's style sheet by class, so that one drawing serves all three lights and print.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from html import escape
from itertools import pairwise

from leadline.estimate.report import Course, Fix, QuantityEstimate
from leadline.measures import figures
from leadline.measures.moments import days_between
from leadline.present import sentences
from leadline.present.charts.scale import Depths, depths
from leadline.present.series import apart, thinned

HEIGHT = 168.0  # of the survey itself [px]
BELOW = 27.0  # graduation and dates under it [px]
AHEAD_DAYS = 14.0
_WIDE = 1000.0  # the stretched drawing's own width
_Z90 = 1.6449  # half-width of a 90 % interval in standard deviations
_NARROWEST = 290.0  # the narrowest the drawing gets, on a phone [px]
_USUAL_WIDTH = 600.0  # its usual width at a desk [px]
_COLUMNS = 300  # buckets a line is thinned to


@dataclass(frozen=True, slots=True)
class _Frame:
    start: dt.datetime
    days: float
    now: dt.datetime
    depths: Depths
    way: figures.Display
    local: dt.tzinfo

    def part(self, moment: dt.datetime) -> float:
        """Where a moment stands across, 0 to 1."""
        return days_between(self.start, moment) / self.days

    def percent(self, moment: dt.datetime) -> str:
        return f"{100 * self.part(moment):.2f}%"

    def y(self, stored: float) -> float:
        """Where a stored value stands down, clipped a little outside the survey. [px]"""
        return min(max(self.depths.y(self.way.shown(stored)), -40.0), HEIGHT + 40.0)


def svg(
    course: Course, e: QuantityEstimate, *, units: str, local: dt.tzinfo, ident: str, ahead_days: float = AHEAD_DAYS
) -> str:
    """The course as one `<svg>` element, safe to place in a page.

    Parameters
    ----------
    course, e
        What was believed along the way, and what is believed now. Stored units.
    units
        "metric" or "us": what the reader prefers.
    local
        The zone whose days and months are written.
    ident
        Prefix of the ids inside, unique on the page.
    ahead_days
        How far the outlook is drawn past now. [d]
    """
    frame = _frame(course, e, units, local, ahead_days)
    parts = [
        *_zones(frame, e, ident),
        f'<svg x="0" y="0" width="100%" height="{HEIGHT:.0f}" viewBox="0 0 {_WIDE:.0f} {HEIGHT:.0f}" '
        'preserveAspectRatio="none">',
        *_cones(frame, course, e),
        *_probe(frame, course.fixes),
        "</svg>",
    ]
    over = [*_edge(frame, course, e), *_marks(frame, course), *_fixes(frame, course.fixes)]
    title, said = _words(course, e, frame, units)
    return (
        f'<svg class="chart" role="img" aria-labelledby="{ident}-t {ident}-d" width="100%" '
        f'height="{HEIGHT + BELOW:.0f}">'
        f'<title id="{ident}-t">{escape(title)}</title><desc id="{ident}-d">{escape(said)}</desc>'
        f'<defs><pattern id="{ident}-h" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect class="landfill" width="6" height="6"/>'
        '<line class="hatch" x1="0" y1="0" x2="0" y2="6"/></pattern></defs>'
        f'<svg class="survey" x="0" y="0" width="100%" height="{HEIGHT:.0f}">{"".join(parts)}</svg>'
        f'<rect class="neatline" x="0" y="0" width="100%" height="{HEIGHT:.0f}"/>'
        f"{''.join(over)}{''.join(_depth_labels(frame))}{''.join(_dates(frame))}</svg>"
    )


def _frame(course: Course, e: QuantityEstimate, units: str, local: dt.tzinfo, ahead_days: float) -> _Frame:
    way = figures.display(course.quantity, units, course.unit)
    start = course.times[0] if course.times else course.now - dt.timedelta(days=30)
    days = max(days_between(start, course.now), 1.0)
    ahead = min(ahead_days, 0.25 * days)  # a short course is not drowned by its own outlook
    aim = [way.shown(v) for v in e.aim or ()]
    limit = [way.shown(v) for v in e.limit or ()]
    seen = [*course.mean, *(f.value for f in course.fixes if not f.doubtful), e.mean]
    spread = [*course.q05, *course.q95, e.q05, e.q95]
    floor = 0.0 if way.offset == 0.0 and course.quantity not in ("orp", "temperature") else None
    return _Frame(
        start, days + ahead, course.now,
        depths([way.shown(v) for v in seen], [way.shown(v) for v in spread], aim, limit, floor, HEIGHT),
        way, local,
    )  # fmt: skip


def _zones(frame: _Frame, e: QuantityEstimate, ident: str) -> list[str]:
    """Channel white, shoal tint, danger hatched; without a band the water is unsurveyed."""
    scale, way = frame.depths, frame.way

    def rect(low: float, high: float, look: str, fill: str = "") -> str:
        top, bottom = max(scale.y(high), 0.0), min(scale.y(low), HEIGHT)
        if bottom - top < 0.05:
            return ""
        return f'<rect class="{look}" x="0" y="{top:.1f}" width="100%" height="{bottom - top:.1f}"{fill}/>'

    if e.aim is None:
        return [rect(scale.low, scale.high, "unsurveyed")]
    aim_low, aim_high = sorted(way.shown(v) for v in e.aim)
    low, high = sorted(way.shown(v) for v in e.limit) if e.limit else (scale.low, scale.high)
    land = f' fill="url(#{ident}-h)"'
    return [
        rect(scale.low, low, "land", land),
        rect(low, aim_low, "shoal"),
        rect(aim_low, aim_high, "deep"),
        rect(aim_high, high, "shoal"),
        rect(high, scale.high, "land", land),
    ]


def _cones(frame: _Frame, course: Course, e: QuantityEstimate) -> list[str]:
    """The reckoned line in its cone up to now, and lightly the outlook past it."""
    past = [i for i, t in enumerate(course.times) if t <= course.now]
    drawn = []
    if past:
        mean, low, high = ([v[i] for i in past] for v in (course.mean, course.q05, course.q95))
        keep = sorted({*thinned(mean, 2 * _COLUMNS), *thinned(low, _COLUMNS), *thinned(high, _COLUMNS)})
        at = [_WIDE * frame.part(course.times[past[i]]) for i in keep]
        drawn.append(_cone("cone", frame, at, [low[i] for i in keep], [high[i] for i in keep]))
        drawn.append(_line("course", frame, at, [mean[i] for i in keep]))
    ahead = [(frame.part(course.now), e.mean, e.q05, e.q95)]
    beyond = [i for i, t in enumerate(course.times) if t > course.now]
    if beyond:
        ahead += [(frame.part(course.times[i]), course.mean[i], course.q05[i], course.q95[i]) for i in beyond]
    else:
        now = frame.part(course.now)
        for look in e.forecast:
            reach = _Z90 * look.sd
            ahead.append((now + look.days / frame.days, look.mean, look.mean - reach, look.mean + reach))
    ahead = ahead[: 1 + sum(a[0] <= 1.0 for a in ahead)]  # one point past the edge, which clips it
    if len(ahead) > 1:
        at = [_WIDE * a[0] for a in ahead]
        drawn.insert(0, _cone("cone ahead", frame, at, [a[2] for a in ahead], [a[3] for a in ahead]))
        drawn.append(_line("course ahead", frame, at, [a[1] for a in ahead]))
    return drawn


def _cone(look: str, frame: _Frame, at: list[float], low: list[float], high: list[float]) -> str:
    upper = [f"{x:.1f},{frame.y(v):.1f}" for x, v in zip(at, high, strict=True)]
    lower = [f"{x:.1f},{frame.y(v):.1f}" for x, v in zip(at, low, strict=True)]
    return f'<polygon class="{look}" points="{" ".join(upper + lower[::-1])}"/>'


def _line(look: str, frame: _Frame, at: list[float], values: list[float]) -> str:
    points = " ".join(f"{x:.1f},{frame.y(v):.1f}" for x, v in zip(at, values, strict=True))
    return f'<polyline class="{look}" points="{points}"/>'


def _probe(frame: _Frame, fixes: tuple[Fix, ...]) -> list[str]:
    """Probe points as one path of dots, thinned so that their extremes stay."""
    probe = [f for f in fixes if f.probe]
    if not probe:
        return []
    keep = thinned([f.value for f in probe], 2 * _COLUMNS)
    dots = "".join(f"M{_WIDE * frame.part(probe[i].time):.1f} {frame.y(probe[i].value):.1f}h0" for i in keep)
    return [f'<path class="probe" d="{dots}"/>']


def _fixes(frame: _Frame, fixes: tuple[Fix, ...]) -> list[str]:
    hand = sorted((f for f in fixes if not f.probe and frame.part(f.time) >= 0.0), key=lambda f: f.time)
    plain = [f for f in hand if not f.doubtful]
    # circles that would cover each other become dots: more of them on a phone than at a desk
    places = [frame.part(f.time) for f in plain]
    phone = {plain[i].id for i in apart([_NARROWEST * p for p in places], 7.0)}
    desk = phone | {plain[i].id for i in apart([_USUAL_WIDTH * p for p in places], 7.0)}
    seen = {
        plain[i].id for i in thinned([f.value for f in plain], 2 * _COLUMNS)
    } | desk  # years of tests in one drawing
    drawn = []
    for f in hand:
        if not f.doubtful and f.id not in seen:
            continue
        x, y = frame.percent(f.time), frame.y(f.value)
        tip = escape(
            f"{figures.moment(f.time, frame.local)}: {_value(frame, f.value)}{', ' + f.method if f.method else ''}"
        )
        if f.doubtful:
            inside = min(max(y, 9.0), HEIGHT - 9.0)
            arrow = "" if inside == y else ("M0 -9l-3 4h6z" if y < inside else "M0 9l-3 -4h6z")
            drawn.append(
                f'<svg class="doubtful" x="{x}" y="{inside:.1f}" width="1" height="1" overflow="visible">'
                f'<title>{tip}, in doubt</title><path d="M-4.5 -4.5L4.5 4.5M-4.5 4.5L4.5 -4.5"/>'
                f'<circle r="5.5"/>{f"<path d={chr(34)}{arrow}{chr(34)}/>" if arrow else ""}</svg>'
            )
        elif f.id in desk:
            look = "fix" if f.id in phone else "fix desk"
            drawn.append(
                f'<g class="{look}"><title>{tip}</title><circle cx="{x}" cy="{y:.1f}" r="5.5"/>'
                f'<circle class="dot" cx="{x}" cy="{y:.1f}" r="1.5"/></g>'
            )
        else:
            drawn.append(f'<circle class="dot" cx="{x}" cy="{y:.1f}" r="1.5"><title>{tip}</title></circle>')
    return drawn


def _edge(frame: _Frame, course: Course, e: QuantityEstimate) -> list[str]:
    """The today line, and the magenta line where the spread meets the channel's edge, with its date."""
    today = frame.percent(course.now)
    drawn = [f'<line class="today" x1="{today}" y1="0" x2="{today}" y2="{HEIGHT:.0f}"/>']
    if e.meets_edge is None or e.aim is None or not 0.0 <= frame.part(e.meets_edge) <= 1.0:
        return drawn
    low, high = e.aim
    upwards = _nearer_high(course, e, low, high)
    top = min(max(frame.y(high if upwards else low), 4.0), HEIGHT - 30.0)
    x, part = frame.percent(e.meets_edge), frame.part(e.meets_edge)
    side = 'dx="-6" text-anchor="end"' if part > 0.52 else 'dx="6"'
    date = figures.day(e.meets_edge, frame.local, course.now)
    down = HEIGHT if upwards else 8.0
    word_y = HEIGHT - 9.0 if upwards else 16.0
    drawn.append(
        f'<line class="meets" x1="{x}" y1="{top:.1f}" x2="{x}" y2="{down:.0f}"/>'
        f'<text class="meets-said" x="{x}" y="{word_y:.0f}" {side}>'
        f'<tspan class="long">spread meets the edge · </tspan>{escape(date)}</text>'
    )
    return drawn


def _nearer_high(course: Course, e: QuantityEstimate, low: float, high: float) -> bool:
    """Whether it is the upper edge that the spread meets."""
    met = e.meets_edge
    if met is None or met > course.now or not course.times:
        reach = [(o.mean - _Z90 * o.sd, o.mean + _Z90 * o.sd) for o in e.forecast if o.days <= 60] or [(e.q05, e.q95)]
        return max(r[1] for r in reach) - high >= low - min(r[0] for r in reach)
    near = min(range(len(course.times)), key=lambda i: abs((course.times[i] - met).total_seconds()))
    return course.q95[near] - high >= low - course.q05[near]


def _marks(frame: _Frame, course: Course) -> list[str]:
    """Exchanges as tall double ticks, additions and the rest as short ones, on the bottom of the survey."""
    short: list[tuple[float, str, dt.datetime]] = []
    tall: list[tuple[float, str, dt.datetime]] = []
    drawn = []
    for moment, kind, words in sorted(course.marks):
        part = frame.part(moment)
        if not 0.0 <= part <= 1.0:
            continue
        (tall if kind == "exchange" else short).append((part, words, moment))
    for i in apart([_USUAL_WIDTH * t[0] for t in tall], 4.0):
        part, words, moment = tall[i]
        tip = escape(f"{figures.moment(moment, frame.local)}: {words}")
        drawn.append(
            f'<svg class="mark" x="{100 * part:.2f}%" y="{HEIGHT:.0f}" width="1" height="1" overflow="visible">'
            f'<title>{tip}</title><path d="M-1.5 0v-11M1.5 0v-11"/></svg>'
        )
    for i in apart([_NARROWEST * s[0] for s in short], 2.0):
        part, words, moment = short[i]
        x = f"{100 * part:.2f}%"
        tip = escape(f"{figures.moment(moment, frame.local)}: {words}")
        drawn.append(
            f'<line class="mark" x1="{x}" y1="{HEIGHT:.0f}" x2="{x}" y2="{HEIGHT - 5:.0f}"><title>{tip}</title></line>'
        )
    return drawn


def _depth_labels(frame: _Frame) -> list[str]:
    return [
        f'<text class="depth" x="0" dx="-7" y="{y + 4:.1f}" text-anchor="end">{text}</text>'
        for y, text in frame.depths.labels(frame.way.digits)
    ]


def _dates(frame: _Frame) -> list[str]:
    """A graduated border of alternating months, as charts carry theirs, and the dates under it."""
    firsts = _months(frame)
    end = frame.start + dt.timedelta(days=frame.days)
    drawn, edges = [], [frame.start, *firsts, end]
    for i, (a, b) in enumerate(pairwise(edges)):
        width = 100 * (frame.part(b) - frame.part(a))
        look = "bar filled" if i % 2 else "bar"
        drawn.append(f'<rect class="{look}" x="{frame.percent(a)}" y="{HEIGHT:.0f}" width="{width:.2f}%" height="4"/>')
    today = frame.part(frame.now)
    y = f"{HEIGHT + 21:.0f}"
    drawn.append(f'<text class="date now" x="{100 * today:.2f}%" y="{y}" text-anchor="middle">today</text>')
    every = max(1, -(-len(firsts) // 6))
    shown_year = 0
    for first in firsts[-1::-every][::-1]:
        part = frame.part(first)
        if today - 0.09 < part < today + 0.05 or part > 0.95:
            continue
        look = "date tight" if part > today - 0.16 else "date"  # left out where a phone has no room for it
        local = first.astimezone(frame.local)
        text = figures.month(first, frame.local)
        if frame.days > 300 and local.year != shown_year:  # a month alone would name two of them
            text, shown_year = f"{text} ’{local.year % 100:02d}", local.year
        drawn.append(f'<text class="{look}" x="{100 * part:.2f}%" y="{y}">{text}</text>')
    if not firsts or frame.days < 45:
        text = figures.day(frame.start, frame.local)
        drawn.append(f'<text class="date" x="0" y="{y}">{text}</text>')
    return drawn


def _months(frame: _Frame) -> list[dt.datetime]:
    local = frame.start.astimezone(frame.local)
    firsts: list[dt.datetime] = []
    year, month = local.year, local.month
    end = frame.start + dt.timedelta(days=frame.days)
    while True:
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
        first = dt.datetime(year, month, 1, tzinfo=frame.local).astimezone(dt.UTC)
        if first >= end:
            return firsts
        firsts.append(first)


def _value(frame: _Frame, stored: float) -> str:
    return frame.way.with_unit(figures.number(frame.way.shown(stored), frame.way.digits))


def _words(course: Course, e: QuantityEstimate, frame: _Frame, units: str) -> tuple[str, str]:
    name = sentences.titled(course.quantity)
    hand = sum(1 for f in course.fixes if not f.probe)
    probe = len(course.fixes) - hand
    said = [
        f"Reckoned from {figures.day(frame.start, frame.local, course.now)} to "
        f"{figures.day(course.now, frame.local)} on {hand} readings by hand"
        + (f" and {probe} probe points" if probe else "")
        + f"; now {figures.figure(e.mean, e.sd, course.quantity, units, course.unit)}.",
        sentences.place_said(e, units),
        sentences.edge_said(e, frame.local, course.now),
    ]
    return f"{name}: its course through its channel", " ".join(s for s in said if s)
