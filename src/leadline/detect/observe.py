"""One system under watch: streams in, findings out; the same for a live feed and for a recording.

What it notices: a quantity beyond its limit; one that is outside its aim and heads for its limit; a stream that fell
silent; one whose points can't be trusted. Delays and dead-bands are starting values (sheet 5.3, judgement).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from leadline.detect.findings import Finding
from leadline.detect.limits import Memory, Rule, watch
from leadline.detect.trust import FAIL, flag
from leadline.system.description import System

Array = np.ndarray
# dead-band in the stored unit, on-delay and off-delay in seconds
DELAYS: dict[str, tuple[float, float, float]] = {
    "temperature": (0.2, 300.0, 900.0), "ph": (0.03, 900.0, 1800.0), "salinity": (0.3, 1800.0, 3600.0),
    "oxygen": (0.2, 600.0, 1800.0),
}  # fmt: skip
_USUAL = (0.0, 900.0, 1800.0)
KEPT_S = 3 * 3600.0  # how much of each stream is kept in hand
HEADING_SPAN_S, HEADING_AHEAD_S = 5400.0, 6 * 3600.0
SILENT_PERIODS, SILENT_LEAST_S = 5.0, 900.0
DISTRUST_S = 900.0


@dataclass
class _Stream:
    quantity: str
    period_s: float
    times: Array = field(default_factory=lambda: np.zeros(0))
    values: Array = field(default_factory=lambda: np.zeros(0))
    last_s: float | None = None


@dataclass
class Observer:
    """What is remembered of one system between batches."""

    system: System
    streams: dict[str, _Stream] = field(default_factory=dict)
    edges: dict[str, tuple[Rule, Memory]] = field(default_factory=dict)
    standing: dict[str, Finding] = field(default_factory=dict)  # conditions that hold, by name

    def __post_init__(self) -> None:
        self._declared = {s.id: s for s in self.system.streams}

    @property
    def patience_s(self) -> float:
        """After so long without a point the passing of time shows nothing new."""
        return KEPT_S + max((SILENT_PERIODS * s.period_s for s in self.system.streams), default=SILENT_LEAST_S)

    # -- points ------------------------------------------------------------------------------------

    def take(self, stream: str, times_s: Array, values: Array) -> list[Finding]:
        """Points of one stream, ascending and later than those before; gives what they turned."""
        if not len(times_s):
            return []
        s = self.streams.get(stream)
        if s is None:
            said = self._declared.get(stream)
            quantity = said.quantity if said and not said.room else stream if stream in DELAYS else ""
            period = said.period_s if said else float(np.median(np.diff(times_s))) if len(times_s) > 2 else 300.0
            s = self.streams[stream] = _Stream(quantity, max(period, 1.0))
        good = self._trusted(stream, s, times_s, values)
        s.last_s = float(times_s[-1])
        s.times = np.concatenate((s.times, times_s))
        s.values = np.concatenate((s.values, good))
        keep = s.times >= s.last_s - KEPT_S
        s.times, s.values = s.times[keep], s.values[keep]
        found = self._end(f"{stream}-silent", s.last_s, f"{stream} is heard again.")
        if s.quantity:
            found += self._limits(s.quantity, times_s, good)
        return found

    def _trusted(self, stream: str, s: _Stream, times_s: Array, values: Array) -> Array:
        """The values with those that fail the tests of trust left out."""
        if not s.quantity:
            return values.astype(float)
        tail = 20
        t = np.concatenate((s.times[-tail:], times_s))
        v = np.concatenate((s.values[-tail:], values))
        flags = flag(s.quantity, t, v)[-len(times_s) :]
        return np.where(flags == FAIL, np.nan, values)

    def _limits(self, quantity: str, times_s: Array, values: Array) -> list[Finding]:
        band = self.system.band(quantity)
        if band is None or band.limit is None:
            return []
        found: list[Finding] = []
        dead, on, off = DELAYS.get(quantity, _USUAL)
        for name, edge, above in (("low", band.limit[0], False), ("high", band.limit[1], True)):
            key = f"{quantity}-{name}"
            rule, memory = self.edges.setdefault(key, (Rule(edge, above, dead, on, off), Memory()))
            for turn in watch(rule, memory, times_s, values):
                word = "over" if above else "under"
                because = (
                    f"{quantity} is {turn.value:.2f}, {word} its limit of {edge:g}, for {on / 60:.0f} min."
                    if turn.holds else f"{quantity} is {turn.value:.2f}, back inside its limit of {edge:g}."
                )  # fmt: skip
                found.append(Finding(key, quantity, turn.at_s, turn.holds, turn.value, 0.0, because))
        return found

    # -- time --------------------------------------------------------------------------------------

    def tick(self, now_s: float) -> list[Finding]:
        """What the passing of time shows: silence, distrust, headings."""
        found: list[Finding] = []
        for stream, s in self.streams.items():
            found += self._silence(stream, s, now_s)
            found += self._distrust(stream, s, now_s)
            if s.quantity:
                found += self._heading(s, now_s)
        return found

    def _silence(self, stream: str, s: _Stream, now_s: float) -> list[Finding]:
        quiet = now_s - (s.last_s or now_s)
        if quiet <= max(SILENT_PERIODS * s.period_s, SILENT_LEAST_S):
            return []
        return self._begin(
            f"{stream}-silent", stream, now_s, None, None,
            f"{stream} has sent nothing for {quiet / 60:.0f} min; it should every {s.period_s / 60:.0f}.",
        )  # fmt: skip

    def _distrust(self, stream: str, s: _Stream, now_s: float) -> list[Finding]:
        recent = s.times > now_s - DISTRUST_S
        recent[-3:] = True  # of a slow stream, its last three points
        name = f"{stream}-distrusted"
        if s.quantity and recent.sum() >= 3 and np.isnan(s.values[recent]).mean() > 0.5:
            return self._begin(name, stream, now_s, None, None, f"{stream} shows what the water cannot be.")
        if name in self.standing and recent.sum() >= 3 and not np.isnan(s.values[recent]).any():
            return self._end(name, now_s, f"{stream} shows possible values again.")
        return []

    def _heading(self, s: _Stream, now_s: float) -> list[Finding]:
        band = self.system.band(s.quantity)
        if band is None or band.limit is None:
            return []
        slope, sd, level = _line(s, now_s, HEADING_SPAN_S)
        found: list[Finding] = []
        for name, aim, limit, sign in (
            ("low", band.aim[0], band.limit[0], -1.0),
            ("high", band.aim[1], band.limit[1], 1.0),
        ):
            key = f"{s.quantity}-heading-{name}"
            left = (limit - level) * sign
            pace = slope * sign
            ahead = left / pace if pace > 3.0 * sd and pace > 0.0 else np.inf
            if (level - aim) * sign > 0.0 and left > 0.0 and ahead < HEADING_AHEAD_S:
                at = _clock(now_s + ahead, self.system.time_zone)
                found += self._begin(
                    key, s.quantity, now_s, level, float(ahead),
                    f"{s.quantity} is {level:.2f}, outside its aim, and moves by {3600 * slope:+.2f} an hour: "
                    f"the limit of {limit:g} is reached at {at}.",
                )  # fmt: skip
            elif left > 0.0 and not (ahead < 1.5 * HEADING_AHEAD_S and (level - aim) * sign > 0.0):
                found += self._end(key, now_s, f"{s.quantity} is {level:.2f} and no longer heads for its limit.")
        return found

    # -- conditions that hold ------------------------------------------------------------------------

    def _begin(
        self, name: str, subject: str, at_s: float, value: float | None, harm_s: float | None, because: str
    ) -> list[Finding]:
        if name in self.standing:
            return []
        self.standing[name] = found = Finding(name, subject, at_s, True, value, harm_s, because)
        return [found]

    def _end(self, name: str, at_s: float, because: str) -> list[Finding]:
        was = self.standing.pop(name, None)
        return [] if was is None else [Finding(name, was.subject, at_s, False, was.value, None, because)]


def _line(s: _Stream, now_s: float, span_s: float) -> tuple[float, float, float]:
    """Slope, its standard error, and level now, of a stream's last span; nothing moves when there is too little."""
    inside = (s.times > now_s - span_s) & np.isfinite(s.values)
    t, v = s.times[inside], s.values[inside]
    if len(t) < 5 or t[-1] - t[0] < 0.6 * span_s:
        level = float(v[-1]) if len(v) else np.nan
        return 0.0, np.inf, level
    x = t - t.mean()
    spread = float((x * x).sum())
    slope = float((x * (v - v.mean())).sum() / spread)
    left = v - v.mean() - slope * x
    sd = float(np.sqrt(max((left * left).sum() / (len(t) - 2), 1e-8) / spread))
    return slope, sd, float(v.mean() + slope * (now_s - t.mean()))


def _clock(at_s: float, time_zone: str) -> str:
    import datetime as dt
    from zoneinfo import ZoneInfo

    return dt.datetime.fromtimestamp(at_s, ZoneInfo(time_zone)).strftime("%H:%M")


def merged(
    points: Mapping[str, tuple[Array, Array]], step_s: float, patience_s: float = np.inf
) -> Iterator[tuple[float, dict[str, slice]]]:
    """Windows of a recording in order of time: their end, and each stream's slice of points.

    Where no stream has a point for longer than `patience_s`, the rest of the gap is passed over.
    """
    filled = np.unique(np.concatenate([np.floor(t / step_s) for t, _ in points.values()]))
    cuts = {name: np.searchsorted(t, (filled * step_s, (filled + 1.0) * step_s)).T for name, (t, _) in points.items()}
    follow = np.append(np.minimum(np.diff(filled), np.ceil(patience_s / step_s)), 1.0)
    for k, first in enumerate(filled):
        yield (first + 1.0) * step_s, {name: slice(*map(int, c[k])) for name, c in cuts.items() if c[k, 1] > c[k, 0]}
        for empty in range(1, int(follow[k])):
            yield (first + 1.0 + empty) * step_s, {}
