"""One quantity's reckoned course up to now through its channel, drawn small as a chart of the sea is drawn."""

from __future__ import annotations

import datetime as dt
from html import escape
from itertools import pairwise

from leadline.estimate.report import Course, Fix, QuantityEstimate
from leadline.measures import figures
from leadline.measures.moments import days_between
from leadline.measures.words import _
from leadline.present import sentences
from leadline.present.charts import plot
from leadline.present.charts.plot import WIDE, Frame
from leadline.present.charts.scale import depths
from leadline.present.series import thinned

HEIGHT = 168.0  # of the survey itself [px]
BELOW = 27.0  # graduation and dates under it [px]
AHEAD_DAYS = 14.0
_COLUMNS = 160  # buckets of a small drawing, each with its least and greatest; the large one takes more
_Z90 = 1.6449  # half-width of a 90 % interval in standard deviations


def svg(
    course: Course,
    e: QuantityEstimate,
    *,
    units: str,
    local: dt.tzinfo,
    ident: str,
    ahead_days: float = AHEAD_DAYS,
    begin: dt.datetime | None = None,
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
    begin
        Where the drawing begins, so that those of one page stand under each other; where the course does if missing.
    """
    frame = _frame(course, e, units, local, ahead_days, begin)
    parts = [
        *plot.zones(frame, e.aim, e.limit, ident),
        f'<svg x="0" y="0" width="100%" height="{HEIGHT:.0f}" viewBox="0 0 {WIDE:.0f} {HEIGHT:.0f}" '
        'preserveAspectRatio="none">',
        *_cones(frame, course, e),
        *_probe(frame, course.fixes),
        "</svg>",
    ]
    over = [*_edge(frame, course, e), *plot.marks(frame, course.marks), *plot.fixes(frame, course.fixes)]
    title, said = _words(course, e, frame, units)
    return (
        f'<svg class="chart" role="img" aria-labelledby="{ident}-t {ident}-d" width="100%" '
        f'height="{HEIGHT + BELOW:.0f}">'
        f'<title id="{ident}-t">{escape(title)}</title><desc id="{ident}-d">{escape(said)}</desc>'
        f"{plot.hatching(ident)}"
        f'<svg class="survey" x="0" y="0" width="100%" height="{HEIGHT:.0f}">{"".join(parts)}</svg>'
        f'<rect class="neatline" x="0" y="0" width="100%" height="{HEIGHT:.0f}"/>'
        f"{''.join(over)}{''.join(plot.depth_labels(frame))}{''.join(_dates(frame))}</svg>"
    )


def _frame(
    course: Course, e: QuantityEstimate, units: str, local: dt.tzinfo, ahead_days: float, begin: dt.datetime | None
) -> Frame:
    way = figures.display(course.quantity, units, course.unit)
    start = course.times[0] if course.times else course.now - dt.timedelta(days=30)
    start = min(start, begin or start)
    days = max(days_between(start, course.now), 1.0)
    ahead = min(ahead_days, 0.25 * days)  # a short course is not drowned by its own outlook
    aim = [way.shown(v) for v in e.aim or ()]
    limit = [way.shown(v) for v in e.limit or ()]
    seen = [*course.mean, *(f.value for f in course.fixes if not f.doubtful), e.mean]
    spread = [*course.q05, *course.q95, e.q05, e.q95]
    floor = 0.0 if way.offset == 0.0 and course.quantity not in ("orp", "temperature") else None
    return Frame(
        start, days + ahead, course.now,
        depths([way.shown(v) for v in seen], [way.shown(v) for v in spread], aim, limit, floor, HEIGHT),
        way, local, columns=_COLUMNS,
    )  # fmt: skip


def _cones(frame: Frame, course: Course, e: QuantityEstimate) -> list[str]:
    """The reckoned line in its cone up to now, and lightly the outlook past it."""
    past = [i for i, t in enumerate(course.times) if t <= course.now]
    drawn = []
    if past:
        mean, low, high = ([v[i] for i in past] for v in (course.mean, course.q05, course.q95))
        keep = sorted({*thinned(mean, 2 * frame.columns), *thinned(low, frame.columns), *thinned(high, frame.columns)})
        at = [WIDE * frame.part(course.times[past[i]]) for i in keep]
        drawn.append(plot.cone("cone", frame, at, [low[i] for i in keep], [high[i] for i in keep]))
        drawn.append(plot.line("course", frame, at, [mean[i] for i in keep]))
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
        at = [WIDE * a[0] for a in ahead]
        drawn.insert(0, plot.cone("cone ahead", frame, at, [a[2] for a in ahead], [a[3] for a in ahead]))
        drawn.append(plot.line("course ahead", frame, at, [a[1] for a in ahead]))
    return drawn


def _probe(frame: Frame, fixes: tuple[Fix, ...]) -> list[str]:
    """Probe points as one path of dots, thinned so that their extremes stay."""
    probe = [f for f in fixes if f.probe]
    if not probe:
        return []
    keep = thinned([f.value for f in probe], 2 * frame.columns)
    dots = "".join(f"M{WIDE * frame.part(probe[i].time):.1f} {frame.y(probe[i].value):.1f}h0" for i in keep)
    return [f'<path class="probe" d="{dots}"/>']


def _edge(frame: Frame, course: Course, e: QuantityEstimate) -> list[str]:
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
        f'<tspan class="long">{escape(_("spread meets the edge"))} · </tspan>{escape(date)}</text>'
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


def _dates(frame: Frame) -> list[str]:
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
    drawn.append(
        f'<text class="date now" x="{100 * today:.2f}%" y="{y}" text-anchor="middle">{escape(_("today"))}</text>'
    )
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


def _months(frame: Frame) -> list[dt.datetime]:
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


def _words(course: Course, e: QuantityEstimate, frame: Frame, units: str) -> tuple[str, str]:
    name = sentences.titled(course.quantity)
    hand = sum(1 for f in course.fixes if not f.probe)
    probe = len(course.fixes) - hand
    rests = (
        _("Reckoned from {start} to {end} on {hand} readings by hand and {probe} probe points; now {value}.")
        if probe
        else _("Reckoned from {start} to {end} on {hand} readings by hand; now {value}.")
    )
    said = [
        rests.format(
            start=figures.day(course.times[0] if course.times else frame.start, frame.local, course.now),
            end=figures.day(course.now, frame.local),
            hand=hand,
            probe=probe,
            value=figures.figure(e.mean, e.sd, course.quantity, units, course.unit),
        ),
        sentences.place_said(e, units),
        sentences.edge_said(e, frame.local, course.now),
    ]
    return _("{quantity}: its course through its channel").format(quantity=name), " ".join(s for s in said if s)
