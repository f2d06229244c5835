"""What a chart of one window of time shows of a quantity: course, probe columns, fixes, marks and bands."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from leadline.estimate.report import Fix, QuantityEstimate
from leadline.measures import figures
from leadline.measures.moments import DAY_S
from leadline.measures.words import _
from leadline.present.charts.calendar import regular
from leadline.present.charts.scale import Depths, depths

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray

Mark = tuple[dt.datetime, str, str]
"""When, which kind (exchange, addition, service, …), in words."""


@dataclass(frozen=True, slots=True)
class Columns:
    """A probe's points, gathered into columns: the least and the greatest of each, nothing left out.

    Attributes
    ----------
    grain
        "point": each row is one point. "1h", "1d": columns of whole hours or days (UTC). "column": of some seconds.
    width_s
        Of a column; 0 for single points. [s]
    at_s
        Where a column begins, or when the point was taken. [Unix s]
    n, least, greatest
        How many points each holds, and their extremes. [stored unit]
    """

    stream: str
    grain: str
    width_s: float
    at_s: Array
    n: Array
    least: Array
    greatest: Array

    def middle_s(self) -> Array:
        """The middle of each column. [Unix s]"""
        return self.at_s + self.width_s / 2.0


@dataclass(frozen=True, slots=True)
class Window:
    """One quantity between two moments. Values in `unit`, the stored one; arrays (n,)."""

    system: str
    name: str  # the system's, as people call it
    quantity: str
    unit: str
    start: dt.datetime
    end: dt.datetime
    now: dt.datetime  # nothing later is used
    units: str  # metric | us: what screens show
    local: ZoneInfo
    at_s: Array  # moments of the course [Unix s]
    mean: Array
    sd: Array
    q05: Array
    q95: Array
    probes: tuple[Columns, ...]
    fixes: tuple[Fix, ...]
    marks: tuple[Mark, ...]
    estimate: QuantityEstimate  # what is believed now, and the bands

    @property
    def way(self) -> figures.Display:
        """How the quantity is shown to its reader."""
        return figures.display(self.quantity, self.units, self.unit)

    @property
    def days(self) -> float:
        """Length of the window. [d]"""
        return (self.end - self.start).total_seconds() / DAY_S

    def cut(self, start: dt.datetime, end: dt.datetime) -> Window:
        """The part of it between two moments."""
        a, b = start.timestamp(), end.timestamp()
        on = (self.at_s >= a) & (self.at_s <= b)
        probes = []
        for p in self.probes:
            touch = (p.at_s + p.width_s >= a) & (p.at_s <= b)
            cut = (p.at_s[touch], p.n[touch], p.least[touch], p.greatest[touch])
            probes.append(Columns(p.stream, p.grain, p.width_s, *cut))
        return replace(
            self, start=start, end=end, at_s=self.at_s[on], mean=self.mean[on], sd=self.sd[on], q05=self.q05[on],
            q95=self.q95[on], probes=tuple(probes), fixes=tuple(f for f in self.fixes if start <= f.time <= end),
            marks=tuple(m for m in self.marks if start <= m[0] <= end),
        )  # fmt: skip

    def believed(self, moment: dt.datetime) -> tuple[float, float, float, float] | None:
        """Mean, sd, 5 % and 95 % at a moment, between the reckoned ones; None where nothing is reckoned."""
        import numpy as np

        t = moment.timestamp()
        if not len(self.at_s) or not self.at_s[0] - 1.0 <= t <= self.at_s[-1] + 1.0:
            return None
        mean, sd, low, high = (float(np.interp(t, self.at_s, v)) for v in (self.mean, self.sd, self.q05, self.q95))
        return mean, sd, low, high

    def probed(self, start: dt.datetime, end: dt.datetime) -> tuple[float, float] | None:
        """The least and the greatest that a probe showed in columns that touch a span of time."""
        import numpy as np

        a, b = start.timestamp(), end.timestamp()
        low, high = np.inf, -np.inf
        for p in self.probes:
            touch = (p.at_s + p.width_s >= a) & (p.at_s <= b)
            if touch.any():
                low, high = min(low, float(p.least[touch].min())), max(high, float(p.greatest[touch].max()))
        return (low, high) if low <= high else None


def readout(w: Window, at: dt.datetime, reach: dt.timedelta) -> str:
    """The numbers at one moment, in a sentence each: belief, probe, nearest reading, marks within `reach`."""
    way = w.way
    said = []
    known = w.believed(at)
    if known is None:
        said.append(_("Nothing is reckoned here."))
    else:
        mean, sd, low, high = known
        spread = _between(way, low, high, _("between {low} and {high}"))
        believed = figures.figure(mean, sd, w.quantity, w.units, w.unit)
        said.append(_("{value}; 9 in 10 {spread}.").format(value=believed, spread=spread))
    seen = w.probed(at - reach / 8, at + reach / 8)
    if seen:
        said.append(_("Probe {values}.").format(values=_between(way, *seen, _("{low} to {high}"))))
    if w.fixes:
        f = min(w.fixes, key=lambda f: abs((f.time - at).total_seconds()))
        away = (f.time - at).total_seconds() / DAY_S
        value = way.with_unit(figures.number(way.shown(f.value), way.digits))
        if abs(away) < 1 / 1440:
            when = _("here")
        else:
            when = (_("{span} before") if away < 0 else _("{span} after")).format(span=figures.span(abs(away)))
        nearest = (
            _("Nearest reading {value}, {when}, in doubt.") if f.doubtful else _("Nearest reading {value}, {when}.")
        )
        said.append(nearest.format(value=value, when=when))
    near = [words for t, _, words in w.marks if abs(t - at) <= reach]
    if near:
        first = "; ".join(near[:3])
        if len(near) > 3:
            said.append(_("Near: {marks}, and {number} more.").format(marks=first, number=len(near) - 3))
        else:
            said.append(_("Near: {marks}.").format(marks=first))
    return " ".join(said)


def _between(way: figures.Display, low: float, high: float, words: str) -> str:
    ends = [figures.number(way.shown(v), way.digits) for v in (low, high)]
    return _("at {value}").format(value=ends[0]) if ends[0] == ends[1] else words.format(low=ends[0], high=ends[1])


@dataclass(frozen=True, slots=True)
class Moment:
    """One row of the table beside a chart. Stored unit; None where nothing is reckoned or measured."""

    at: dt.datetime
    believed: tuple[float, float, float, float] | None  # mean, sd, 5 %, 95 %
    probed: tuple[float, float] | None


def moments(w: Window, most: int = 32) -> list[Moment]:
    """The course at round moments of the clock; the probe's extremes are those from each up to the next."""
    at = regular(w.start, w.end, w.local, most)
    return [Moment(m, w.believed(m), w.probed(m, after)) for m, after in zip(at, [*at[1:], w.end], strict=True)]


def drawn_with(w: Window, windows: Sequence[Window]) -> list[Window]:
    """Which of the windows of one chart stand in the depth of `w`: those of the same quantity, itself first."""
    return [w, *(x for x in windows if x is not w and x.quantity == w.quantity and x.units == w.units)]


def depth(windows: Sequence[Window], height: float, *, near: bool = False) -> Depths:
    """How deep the survey of one quantity (of one system, or of several) reaches, in the shown unit.

    A probe's rare extremes, as the spread's, stretch it by half at most; `near` leaves the channel's own edges out,
    so that what is there fills the chart.
    """
    import numpy as np

    first = windows[0]
    way, e = first.way, first.estimate
    seen: list[float] = []
    spread: list[float] = []
    for w in windows:
        if len(w.mean):
            seen += [float(w.mean.min()), float(w.mean.max())]
            spread += [float(w.q05.min()), float(w.q95.max())]
        seen += [f.value for f in w.fixes if not f.doubtful]
        for p in w.probes:
            if len(p.least):
                seen += [float(np.quantile(p.least, 0.01)), float(np.quantile(p.greatest, 0.99))]
                spread += [float(p.least.min()), float(p.greatest.max())]
    if not seen and not (e.aim and not near):
        seen = [e.mean]
    aim = [] if near else [way.shown(v) for v in e.aim or ()]
    limit = [] if near else [way.shown(v) for v in e.limit or ()]
    floor = 0.0 if way.offset == 0.0 and first.quantity not in ("orp", "temperature") else None
    found = depths([way.shown(v) for v in seen], [way.shown(v) for v in spread], aim, limit, floor, height)
    if near and e.aim:  # the edges are still named where they are in sight
        edges = tuple(way.shown(v) for v in (*e.aim, *(e.limit or ())))
        return Depths(found.low, found.high, height, edges)
    return found
