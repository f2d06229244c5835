"""One quantity, or two over each other, through any window of time, drawn large as a chart of the sea is drawn.

The first quantity has its channel as the ground and its depths at the left. A second one has its own depths at the
right and is told apart by shape: a dashed line, squares for its readings, two short strokes for a probe's column, and
a bracket at the side for its channel.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from html import escape
from itertools import pairwise
from typing import TYPE_CHECKING

from leadline.measures import figures
from leadline.measures.words import _, ngettext
from leadline.present import sentences
from leadline.present.charts import plot
from leadline.present.charts.calendar import Axis, Tick, axis
from leadline.present.charts.plot import WIDE, Frame
from leadline.present.series import apart
from leadline.present.window import Columns, Window, depth

if TYPE_CHECKING:
    import numpy as np

HEIGHT = 340.0  # of the survey itself [px]
BELOW = 44.0  # graduation and two rows of labels under it [px]
USUAL = 820.0  # its usual width at a desk [px]


def svg(windows: Sequence[Window], *, ident: str, near: bool = False, today: str = "") -> str:
    """One or two windows of the same span as one `<svg>` element, safe to place in a page.

    Parameters
    ----------
    windows
        The first gives ground, zone and labels; a second is laid over it.
    ident
        Prefix of the ids inside, unique on the page.
    near
        The depth is that of what is there, not that of the whole channel.
    today
        What stands at the line of now; a word is chosen when none is given.
    """
    first = windows[0]
    frame = _frame([w for w in windows if _shares(first, w)], near)
    e = first.estimate
    parts = [*plot.zones(frame, e.aim, e.limit, ident)]
    inner, over = _drawn(frame, first, other=False)
    labels = plot.depth_labels(frame)
    for second in windows[1:]:
        beside = frame if _shares(first, second) else _frame([second], near)
        beside = replace(beside, way=second.way)
        more, above = _drawn(beside, second, other=True)
        inner, over = inner + more, over + above
        labels += [*plot.depth_labels(beside, right=True), *_bracket(beside, second)]
    dial = axis(first.start, first.end, first.local, USUAL)
    title, said = words(windows)
    two = " two" if len(windows) > 1 else ""
    return (
        f'<svg class="chart large{two}" role="img" aria-labelledby="{ident}-t {ident}-d" width="100%" '
        f'height="{HEIGHT + BELOW:.0f}"><title id="{ident}-t">{escape(title)}</title>'
        f'<desc id="{ident}-d">{escape(said)}</desc>{plot.hatching(ident)}'
        f'<svg class="survey" x="0" y="0" width="100%" height="{HEIGHT:.0f}">{"".join(parts)}'
        f'<svg x="0" y="0" width="100%" height="{HEIGHT:.0f}" viewBox="0 0 {WIDE:.0f} {HEIGHT:.0f}" '
        f'preserveAspectRatio="none">{"".join(inner)}</svg></svg>'
        f'<rect class="neatline" x="0" y="0" width="100%" height="{HEIGHT:.0f}"/>'
        f"{''.join(_today(frame, first, today))}{''.join(over)}{''.join(labels)}{''.join(_dates(frame, dial))}</svg>"
    )


def words(windows: Sequence[Window]) -> tuple[str, str]:
    """A chart's title, and what it shows in a sentence or two each."""
    names = named(windows)
    title = _(" and ").join(names)
    first = windows[0]
    when = _("{start} to {end}").format(
        start=figures.moment(first.start, first.local), end=figures.moment(first.end, first.local)
    )
    said = [_said(w, name if len(windows) > 1 else "") for w, name in zip(windows, names, strict=True)]
    return f"{title}, {when}", " ".join(said)


def named(windows: Sequence[Window]) -> list[str]:
    """The name of each course: with its system's where there are two systems."""
    titles = [sentences.titled(w.quantity) for w in windows]
    if len({w.system for w in windows}) == 1:
        return titles
    return [_("{quantity} of {system}").format(quantity=t, system=w.name) for t, w in zip(titles, windows, strict=True)]


def _said(w: Window, name: str) -> str:
    way = w.way
    parts = []
    if len(w.mean):
        low, high = way.shown(float(w.mean.min())), way.shown(float(w.mean.max()))
        parts.append(
            _("reckoned between {low} and {high}").format(
                low=figures.number(low, way.digits), high=way.with_unit(figures.number(high, way.digits))
            )
        )
    else:
        parts.append(_("nothing is reckoned here"))
    seen = w.probed(w.start, w.end)
    if seen:
        parts.append(
            _("a probe showed {low} to {high}").format(
                low=figures.number(way.shown(seen[0]), way.digits),
                high=way.with_unit(figures.number(way.shown(seen[1]), way.digits)),
            )
        )
    n = len(w.fixes)
    parts.append(
        ngettext("{n} reading by hand", "{n} readings by hand", n).format(n=n) if n else _("no reading by hand")
    )
    said = "; ".join(parts)
    return f"{name}: {said}." if name else f"{said[:1].upper()}{said[1:]}."


def _shares(first: Window, w: Window) -> bool:
    """Whether a window is drawn in the first one's depth: the same quantity, perhaps of another system."""
    return w.quantity == first.quantity and w.units == first.units


def _frame(windows: Sequence[Window], near: bool) -> Frame:
    w = windows[0]
    return Frame(w.start, w.days, w.now, depth(windows, HEIGHT, near=near), w.way, w.local, USUAL, 700)


def _drawn(frame: Frame, w: Window, *, other: bool) -> tuple[list[str], list[str]]:
    """What is stretched with the drawing, and what stands over it."""
    import numpy as np

    look = " other" if other else ""
    start, span = w.start.timestamp(), (w.end - w.start).total_seconds()
    inner: list[str] = []
    known = w.at_s <= w.now.timestamp() + 0.5
    turn = int(known.sum())
    for part, ahead in ((slice(0, turn), ""), (slice(max(turn - 1, 0), None), " ahead")):
        at = (WIDE * (w.at_s[part] - start) / span).tolist()
        if len(at) > 1:
            low, high, mean = (v[part].tolist() for v in (w.q05, w.q95, w.mean))
            inner.insert(0, plot.cone(f"cone{look}{ahead}", frame, at, low, high))
            inner.append(plot.line(f"course{look}{ahead}", frame, at, mean))
    over: list[str] = []
    for p in w.probes:
        x = WIDE * (p.middle_s() - start) / span
        inner.append(_strokes(frame, p, x, other))
        over += _beyond(frame, p, np.clip(x / WIDE, 0.0, 1.0))
    if not other:
        over += plot.marks(frame, w.marks)
    return inner, over + plot.fixes(frame, w.fixes, square=other)


def _strokes(frame: Frame, p: Columns, x: np.ndarray, other: bool) -> str:
    """A probe's columns as strokes from least to greatest; a single point is a dot."""
    d = []
    for at, low, high in zip(x.tolist(), p.least.tolist(), p.greatest.tolist(), strict=True):
        top, bottom = frame.y(high), frame.y(low)
        if other and bottom - top >= 1.5:
            d.append(f"M{at - 1:.1f} {top:.1f}h2M{at - 1:.1f} {bottom:.1f}h2")
        else:
            d.append(f"M{at:.1f} {bottom:.1f}V{top:.1f}" if bottom - top >= 0.05 else f"M{at:.1f} {bottom:.1f}h0")
    return f'<path class="probe{" other" if other else ""}" d="{"".join(d)}"/>'


def _beyond(frame: Frame, p: Columns, part: np.ndarray) -> list[str]:
    """Arrows where a probe's extreme lies deeper or higher than the drawing reaches, each with its value."""
    import numpy as np

    drawn = []
    scale, way = frame.depths, frame.way
    for values, shape, y in ((p.greatest, "M0 1l-4 6h8z", 0.0), (p.least, "M0 -1l-4 -6h8z", frame.height)):
        shown = values * way.factor + way.offset
        out = np.flatnonzero(shown > scale.high if y == 0.0 else shown < scale.low)
        for k in apart([frame.usual * float(part[i]) for i in out], 10.0):
            i = int(out[k])
            at = dt.datetime.fromtimestamp(float(p.at_s[i]), dt.UTC)
            tip = escape(f"{figures.moment(at, frame.local)}: {frame.said(float(values[i]))}, {p.stream}")
            drawn.append(
                f'<svg class="beyond" x="{100 * float(part[i]):.2f}%" y="{y:.0f}" width="1" height="1" '
                f'overflow="visible"><title>{tip}</title><path d="{shape}"/></svg>'
            )
    return drawn


def _today(frame: Frame, w: Window, word: str) -> list[str]:
    """The line of now with its word, and the magenta line where the spread meets the channel's edge."""
    drawn = []
    met = w.estimate.meets_edge
    if 0.0 <= frame.part(w.now) <= 1.0:
        x = frame.percent(w.now)
        said = word or (_("today") if frame.days > 3 else _("now"))
        side = 'dx="-5" text-anchor="end"' if frame.part(w.now) > 0.9 else 'dx="5"'
        drawn.append(f'<line class="today" x1="{x}" y1="0" x2="{x}" y2="{frame.height:.0f}"/>'
                     f'<text class="date now" x="{x}" {side} y="14">{escape(said)}</text>')  # fmt: skip
    if met is not None and w.estimate.aim is not None and 0.0 <= frame.part(met) <= 1.0:
        x = frame.percent(met)
        side = 'dx="-6" text-anchor="end"' if frame.part(met) > 0.52 else 'dx="6"'
        date = figures.day(met, frame.local, w.now)
        drawn.append(
            f'<line class="meets" x1="{x}" y1="20" x2="{x}" y2="{frame.height:.0f}"/>'
            f'<text class="meets-said" x="{x}" y="{frame.height - 16:.0f}" {side}>'
            f'<tspan class="long">{escape(_("spread meets the edge"))} · </tspan>{escape(date)}</text>'
        )
    return drawn


def _bracket(frame: Frame, w: Window) -> list[str]:
    """The channel of the second quantity, as a bracket at the right side."""
    if w.estimate.aim is None:
        return []
    top, bottom = sorted(min(max(frame.y(v), 0.0), frame.height) for v in w.estimate.aim)
    if bottom - top < 1.0:
        return []
    return [
        f'<svg class="bracket" x="100%" y="0" width="1" height="1" overflow="visible"><title>Channel of '
        f'{escape(sentences.name(w.quantity))}</title><path d="M-5 {top:.1f}H0V{bottom:.1f}H-5"/></svg>'
    ]


def _dates(frame: Frame, dial: Axis) -> list[str]:
    """A graduated border, and the two rows of labels under it."""
    edges = [frame.start, *(t.at for t in dial.upper if frame.start < t.at < frame.end), frame.end]
    foot = frame.height
    drawn = []
    for i, (a, b) in enumerate(pairwise(edges)):
        width = 100 * (frame.part(b) - frame.part(a))
        look = "bar filled" if i % 2 else "bar"
        drawn.append(f'<rect class="{look}" x="{frame.percent(a)}" y="{foot:.0f}" width="{width:.2f}%" height="4"/>')
    for row, y in ((dial.upper, foot + 20), (dial.lower, foot + 38)):
        drawn += [_label(frame, t, y) for t in row if t.text]
    return drawn


def _label(frame: Frame, tick: Tick, y: float) -> str:
    look = "date" if tick.phone else "date desk-only"
    return f'<text class="{look}" x="{frame.percent(tick.at)}" y="{y:.0f}">{escape(tick.text)}</text>'
