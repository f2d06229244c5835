"""A quantity beyond its limit, and one that is outside its aim and heads for its limit.

Delays and dead-bands are starting values (sheet 5.3, judgement).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.limits import Memory, Rule, watch
from leadline.detect.machines.slopes import middle, until
from leadline.detect.words import edge as limit_said
from leadline.detect.words import named, paced, shown, when
from leadline.measures.figures import band as span_said
from leadline.system.description import Band, System

Array = np.ndarray
# dead-band in the stored unit, on-delay and off-delay in seconds
DELAYS: dict[str, tuple[float, float, float]] = {
    "temperature": (0.2, 300.0, 900.0), "ph": (0.03, 900.0, 1800.0), "salinity": (0.3, 1800.0, 3600.0),
    "oxygen": (0.2, 600.0, 1800.0),
}  # fmt: skip
_USUAL = (0.0, 900.0, 1800.0)
QUIET_S = 1700.0  # so long nothing heads for a limit before that is over
# spans of the line and of the line that tells a steepening, and how far ahead; salt moves slowly and its probe scatters
HEADING = {"salinity": (20400.0, 5400.0, 24 * 3600.0)}
_HEADING_USUAL = (5400.0, 1800.0, 6 * 3600.0)
# in which what is out of the usual dies away: water comes to rest with its room in 8 to 30 h (census); else judgement
SETTLES_S = {"temperature": 72000.0, "salinity": 1e9, "ph": 14400.0, "oxygen": 14400.0}
# half hours looked back, how far ahead, and how far out of the usual: what drifts slowly (judgement)
# what no water does within three points: the probe was moved (judgement; census B07: 3 K/h is impossible)
LEAPS, LEAPT_S = {"temperature": 1.5, "ph": 0.4, "salinity": 2.0, "oxygen": 2.0}, 1500.0
SWINGS = ("ph", "oxygen")
DRIFTS = {"temperature": (6, 30 * 3600.0, 0.25), "salinity": (36, 12 * 86400.0, 0.25)}
_SLOT_S, _SLOTS = 1800.0, 672


@dataclass
class Edges:
    """The lookout for bands: `temperature-high`, `temperature-heading-high` and their like."""

    system: System
    hand: Hand
    rules: dict[str, tuple[Rule, Memory, Rule, Memory]] = field(default_factory=dict)
    bands: dict[str, Band | None] = field(default_factory=dict)
    courses: dict[str, Course] = field(default_factory=dict)
    quiet: dict[str, float] = field(default_factory=dict)  # since when nothing heads there any more

    def take(self, track: Track, times_s: Array, values: Array) -> list[Finding]:
        """Which limits were passed, or left, by new points."""
        band = self.system.band(track.quantity) if track.quantity and not track.room else None
        if band is None or band.limit is None:
            return []
        found: list[Finding] = []
        name = track.quantity
        dead, on, off = DELAYS.get(name, _USUAL)
        lowest, highest = np.fmin.reduce(values), np.fmax.reduce(values)
        for side, edge, above in (("low", band.limit[0], False), ("high", band.limit[1], True)):
            key = f"{name}-{side}"
            place = f"{track.stream} {key}"
            if place not in self.rules:
                slow = Rule(edge, above, dead, max(on, LEAPT_S), off)
                self.rules[place] = Rule(edge, above, dead, on, off), Memory(), slow, Memory()
            rule, memory, slow, patient = self.rules[place]
            if not memory.beyond and not memory.counts and (highest <= edge if above else lowest >= edge):
                continue  # all inside, as before: nothing can turn
            word, bound = "over" if above else "under", limit_said(edge, name, self.system)
            for turn in watch(rule, memory, times_s, values):
                here = f"{named(name)} is {shown(turn.value, name, self.system, edge)}"
                if not turn.holds:
                    because = f"{here}, back inside its limit of {bound}."
                    found += self.hand.standing.end(key, turn.at_s, because)
                elif not leapt(track, turn.at_s - on - 600.0, turn.at_s):
                    because = f"{here} and has been {word} its limit of {bound} for {on / 60:.0f} min."
                    found += self.hand.standing.begin(key, name, turn.at_s, turn.value, 0.0, because)
            for turn in watch(slow, patient, times_s, values):
                if turn.holds and patient.beyond:
                    because = (
                        f"{named(name)} is {shown(turn.value, name, self.system, edge)} and has been {word} its limit "
                        f"of {bound} for {slow.on_delay_s / 60:.0f} min. It leapt there faster than water can: look "
                        "whether the probe hangs in it."
                    )
                    found += self.hand.standing.begin(key, name, turn.at_s, turn.value, 0.0, because)
        return found

    def tick(self, now_s: float) -> list[Finding]:
        """Which quantities head for a limit, and when they would reach it."""
        found: list[Finding] = []
        for t in self.hand.tracks.values():
            if not t.quantity or t.room or t.last_s is None:
                continue
            if t.stream not in self.bands:
                band = self.system.band(t.quantity)
                self.bands[t.stream] = band if band and band.limit else None
            held = self.bands[t.stream]
            if held is not None:
                course = self.courses.setdefault(t.stream, Course())
                if course.learn(t, now_s) and t.quantity in DRIFTS:
                    found += self._drift(t, held, course, now_s)
                inside = held.aim[0] <= t.last_value <= held.aim[1]
                if not inside or f"{t.quantity}-heading-low" in self.hand.standing or (
                    f"{t.quantity}-heading-high" in self.hand.standing
                ):  # fmt: skip
                    found += self._heading(t, held, course, now_s)
        return found

    def _heading(self, track: Track, band: Band, course: Course, now_s: float) -> list[Finding]:
        assert band.limit is not None
        span_s, lately_s, ahead_s = HEADING.get(track.quantity, _HEADING_USUAL)
        slope, sd, level = line(track, now_s, span_s)
        if leapt(track, now_s - span_s, now_s):
            if leapt(track, now_s - lately_s, now_s):
                return []
            slope, sd, level = line(track, now_s, lately_s)
        lately, lately_sd, level_now = line(track, now_s, lately_s)
        found: list[Finding] = []
        standing = self.hand.standing
        usual = course.ahead(now_s, sure=track.quantity not in SWINGS)
        for side, aim, limit, sign in (
            ("low", band.aim[0], band.limit[0], -1.0),
            ("high", band.aim[1], band.limit[1], 1.0),
        ):
            key = f"{track.quantity}-heading-{side}"
            here = level
            pace = slope if slope * sign > 3.0 * sd else 0.0
            steeper = (lately - slope) * sign > 2.5 * math.hypot(lately_sd, sd if np.isfinite(sd) else 0.0)
            over_s, bends = span_s, 0.0
            if np.isfinite(lately_sd) and steeper and lately * sign > 4.0 * lately_sd:
                # it steepens: what came last tells more than the hours before
                pace, here, over_s = lately, level_now, lately_s
                bends = (lately - slope) / (0.5 * (span_s - lately_s))
            if usual is not None and (pace - usual[0]) * sign < max(3.0 * sd, 0.5 * abs(usual[0])):
                pace = 0.0  # it goes its daily way
            if usual is None and track.quantity in SWINGS and (limit - here) * sign > 3600.0 * pace * sign:
                pace = 0.0  # nobody knows its day yet: only what is near and fast
            if pace and not even(track, now_s, pace, over_s):
                pace = 0.0  # water was poured in: a step is no way
            left = (limit - here) * sign
            beyond_aim = (here - aim) * sign > 0.0
            ahead = arrival(here, pace, limit, usual, SETTLES_S.get(track.quantity, 12 * 3600.0)) if pace else np.inf
            if beyond_aim and left > 0.0 and ahead < ahead_s:
                self.quiet.pop(key, None)
                sooner = min(bent(here, pace + 0.5 * bends * over_s, bends, limit), ahead) if bends else ahead
                at, faster = when(now_s + sooner, self.system, now_s), ""
                if ahead - sooner > 900.0:
                    early, late = (when(now_s + s, self.system, now_s).removeprefix("at ") for s in (sooner, ahead))
                    at, faster = f"between {early} and {late}", ", faster and faster"
                found += standing.begin(
                    key, track.quantity, now_s, here, float(sooner),
                    f"{named(track.quantity)} is {shown(here, track.quantity, self.system, limit)}, outside its aim of "
                    f"{span_said(band.aim, track.quantity, self.system.units)}, and moves by "
                    f"{paced(pace, track.quantity, self.system)}{faster}: the limit of "
                    f"{limit_said(limit, track.quantity, self.system)} is reached {at}.",
                )  # fmt: skip
            elif key in standing and left > 0.0 and not (beyond_aim and ahead < 1.5 * ahead_s):
                if now_s - self.quiet.setdefault(key, now_s) >= QUIET_S or not beyond_aim:
                    self.quiet.pop(key)
                    reads = shown(here, track.quantity, self.system, limit)
                    because = f"{named(track.quantity)} is {reads} and no longer heads for its limit."
                    found += standing.end(key, now_s, because)
            else:
                self.quiet.pop(key, None)
        return found

    def _drift(self, track: Track, band: Band, course: Course, now_s: float) -> list[Finding]:
        """Slowly out of its usual range towards a limit that is hours or days away, whatever the aim."""
        assert band.limit is not None
        slots, ahead_s, margin = DRIFTS[track.quantity]
        found: list[Finding] = []
        edges = course.usual(slots)
        if edges is None:
            return found
        lowest, highest, days = edges
        way = course.back(slots)
        there = np.isfinite(way)
        if np.count_nonzero(there) < 0.7 * slots or not there[-1]:
            return found
        here = middle([x for x in way[-3:].tolist() if x == x])
        standing = self.hand.standing
        if lowest <= here <= highest and not any(f"{track.quantity}-drifts-{s}" in standing for s in ("low", "high")):
            return found
        if np.abs(np.diff(way[there])).max() > 0.6 * abs(float(np.ptp(way[there]))):
            return found  # one step, such as an exchange, is no drift
        x = (np.arange(slots) - slots + 1.0)[there] * _SLOT_S
        slope, spread, left = _fit(x, way[there])
        sd = float(np.sqrt((left * left).sum() / (len(x) - 2) / spread))
        usual = course.ahead(now_s, sure=True)
        slope -= usual[0] if usual is not None and slots <= 12 else 0.0
        margin = max(margin, 0.3 * (highest - lowest))
        for side, edge, limit, sign in (("low", lowest, band.limit[0], -1.0), ("high", highest, band.limit[1], 1.0)):
            key = f"{track.quantity}-drifts-{side}"
            beyond = (here - edge) * sign
            arrives = until(here, slope, limit, SETTLES_S[track.quantity]) if slope * sign > 4.0 * sd else np.inf
            if beyond > margin and arrives < ahead_s and (limit - here) * sign > 0.0:
                found += standing.begin(
                    key, track.quantity, now_s, here, float(arrives),
                    f"{named(track.quantity)} is {shown(here, track.quantity, self.system, edge)}, "
                    f"{'above' if sign > 0 else 'below'} anything of the last {days:.0f} days "
                    f"({shown(edge, track.quantity, self.system, here)}), and moves by "
                    f"{paced(slope, track.quantity, self.system)}: at this rate the limit of "
                    f"{limit_said(limit, track.quantity, self.system)} is reached "
                    f"{when(now_s + arrives, self.system, now_s)}.",
                )  # fmt: skip
            elif beyond < 0.5 * margin:
                reads = shown(here, track.quantity, self.system)
                because = f"{named(track.quantity)} is {reads}, in its usual range again."
                found += self.hand.standing.end(key, now_s, because)
        return found


@dataclass
class Course:
    """The last fourteen days of a track by the half hour, and how it usually goes on from this hour of the day."""

    held: Array = field(default_factory=lambda: np.full(_SLOTS, np.nan))
    last: int = -1
    _next: int = -1
    _usual: tuple[float, float, float] | None = None

    def learn(self, track: Track, now_s: float) -> bool:
        """Take the half hour that has just passed, once; tells whether it did."""
        slot = int(now_s // _SLOT_S) - 1
        if slot <= self.last:
            return False
        for k in range(max(self.last + 1, slot - _SLOTS + 1), slot + 1) if self.last >= 0 else ():
            self.held[k % _SLOTS] = np.nan
        self.last = slot
        times = track.times
        first, end = times.searchsorted((slot * _SLOT_S, (slot + 1) * _SLOT_S))
        self.held[slot % _SLOTS] = middle([x for x in track.values[first:end].tolist() if x == x])
        return True

    def back(self, slots: int) -> Array:
        """The last so many half hours, the newest last."""
        return self.held[(self.last - np.arange(slots - 1, -1, -1)) % _SLOTS]

    def usual(self, but: int) -> tuple[float, float, float] | None:
        """What it stays between, but for its last so many half hours, and over how many days; looked at every six
        hours. None before five days."""
        if self.last >= self._next:
            self._next = self.last + 12
            past = self.back(_SLOTS)[:-but]
            past = np.sort(past[np.isfinite(past)])
            n = len(past)
            self._usual = (float(past[n // 100]), float(past[-1 - n // 100]), n / 48.0) if n >= 240 else None
        return self._usual

    def ahead(self, now_s: float, *, sure: bool = False) -> tuple[float, Array] | None:
        """Its usual slope in the last hour and a half [unit/s], and its usual change at each half hour from now on to
        six hours; None before three days are known (`sure`: or where they go different ways)."""
        slot = int(now_s // _SLOT_S) - 1
        days = slot - 48 * np.arange(1, 14)
        steps = np.concatenate(([-3], np.arange(1, 13)))
        then = self.held[(days[:, None] + steps) % _SLOTS] - self.held[days % _SLOTS][:, None]
        then = then[(days > self.last - _SLOTS + 4) & np.isfinite(then).all(axis=1)]
        if len(then) < 3:
            return None
        if sure and abs(float(np.sign(then[:, 0]).sum())) < 0.6 * len(then):
            return None  # now up, now down at this hour: a thermostat's saw, no course
        usual = np.median(then, axis=0)
        return float(-usual[0] / (3.0 * _SLOT_S)), usual[1:]


def arrival(
    level: float, pace: float, limit: float, usual: tuple[float, Array] | None, settles_s: float = np.inf
) -> float:
    """Seconds until a limit is reached: a straight line, or the day's usual course with what is out of the usual
    added, which dies away as the water settles. Infinite when that never does within six hours.
    """
    if usual is None:
        return (limit - level) / pace
    excess = pace - usual[0]
    at = np.arange(1, 13) * _SLOT_S
    way = level + usual[1] + excess * settles_s * -np.expm1(-at / settles_s)
    way, at = np.concatenate(([level], way)), np.concatenate(([0.0], at))
    past = np.flatnonzero((way - limit) * np.sign(pace) >= 0.0)
    if not len(past) or past[0] == 0:
        return np.inf if not len(past) else 0.0
    k = int(past[0])
    return float(at[k - 1] + (at[k] - at[k - 1]) * (limit - way[k - 1]) / (way[k] - way[k - 1]))


def bent(level: float, pace: float, bends: float, limit: float) -> float:
    """Seconds until a limit is reached by a way that steepens evenly, as it does now."""
    sign = 1.0 if pace > 0.0 else -1.0
    gap, pace, bends = (limit - level) * sign, pace * sign, bends * sign
    if bends <= 0.0 or gap <= 0.0:
        return gap / pace if gap > 0.0 else 0.0
    return (math.sqrt(pace * pace + 2.0 * bends * gap) - pace) / bends


def leapt(track: Track, begin_s: float, end_s: float) -> bool:
    """Whether a quantity moved from one point to the next faster than its water can."""
    most = LEAPS.get(track.quantity)
    if most is None:
        return False
    first, last = track.times.searchsorted((begin_s, end_s + 1.0))
    v = track.values[max(first - 1, 0) : last]
    t = track.times[max(first - 1, 0) : last]
    there = np.isfinite(v)
    v, t = v[there], t[there]
    # a point alone is a spike, not a leap: three in a row must be there
    steps = np.abs(v[3:] - v[:-3]) if len(v) > 3 else np.zeros(0)
    return bool(((steps > most) & (t[3:] - t[:-3] <= 1200.0)).any()) if len(steps) else False


def even(track: Track, now_s: float, pace: float, span_s: float) -> bool:
    """Whether each third of a span goes the way of the whole: at least by a quarter of its pace."""
    t, v = track.since(now_s - span_s)
    cuts = t.searchsorted((now_s - 2.0 * span_s / 3.0, now_s - span_s / 3.0))
    thirds = [part[np.isfinite(part)] for part in np.split(v, cuts)]
    if any(len(part) == 0 for part in thirds):
        return False
    a, b, c = (float(np.median(part)) for part in thirds)
    least = 0.25 * abs(pace) * span_s / 3.0
    sign = 1.0 if pace > 0.0 else -1.0
    return (b - a) * sign >= least and (c - b) * sign >= least


def line(track: Track, now_s: float, span_s: float) -> tuple[float, float, float]:
    """Slope [unit/s], its standard error, and level now, of a track's last span; nothing moves where there is too
    little: then the standard error is infinite."""
    t, v = track.since(now_s - span_s)
    inside = np.isfinite(v)
    t, v = t[inside], v[inside]
    if len(t) < 5 or t[-1] - t[0] < 0.6 * span_s:
        level = float(v[-1]) if len(v) else np.nan
        return 0.0, np.inf, level
    slope, spread, left = _fit(t, v)
    off = np.abs(left - np.median(left))
    keep = off <= np.maximum(5.0 * 1.4826 * np.median(off), 1e-9)
    if not keep.all() and keep.sum() >= 5:  # a single wild point must not tilt the line
        t, v = t[keep], v[keep]
        slope, spread, left = _fit(t, v)
    sd = float(np.sqrt(max((left * left).sum() / (len(t) - 2), 1e-8) / spread))
    return slope, sd, float(v.mean() + slope * (now_s - t.mean()))


def _fit(t: Array, v: Array) -> tuple[float, float, Array]:
    """Slope of a straight line, the spread of its times, and what it leaves."""
    x = t - t.mean()
    spread = float((x * x).sum())
    slope = float((x * (v - v.mean())).sum() / spread)
    return slope, spread, v - v.mean() - slope * x
