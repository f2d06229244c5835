"""Probes that can't be trusted: which points are left out, and what is wrong with the probe."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from leadline.detect import past, steering
from leadline.detect.beside import Beside, spoken
from leadline.detect.diagnosis import Cause, Signs
from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.past import BIN_S, Bin, Past
from leadline.detect.words import change, named, reading, shown
from leadline.measures.quantities import quantity
from leadline.system.description import System

Array = np.ndarray
ADOPT_BINS = 36  # six hours away without a cause: the water is so now
NOISY, NOISY_BEYOND, NOISY_TIMES = 6.0, 2.5, 3  # times its usual, times nearly its worst, so often in a row; judgement
JUMPY = 12.0  # so many times its usual scatter it may jump from point to point; judgement
DULL, DULL_LEAST, DULL_DAYS = 0.4, 0.6, 6  # of its usual swing, of its least swing; days to know it; judgement
DULL_TIMES, DULL_RECENT = 4, 12  # six-hourly looks in a row; and so many that are too fresh to be usual
STIRRED_S = 3600.0


@dataclass
class _Watched:
    """One probe under watch and what is thought of it."""

    track: Track
    past: Past
    judged: bool  # a probe of the water whose quantity has tests
    cause: Cause | None = None
    missed: int = 0
    usual_noise: tuple[float, float] = (np.nan, np.nan)
    noise_day: int = -1
    noisy_times: int = 0
    swings: list[float] = field(default_factory=list)
    dull_times: int = 0


@dataclass
class Probes:
    """The lookout for trust: `temperature-out-of-water`, `ph-stuck`, `salinity-wrong-scale` and their like.

    One finding per probe and cause. `distrusted` is what is left when no cause is found.
    """

    system: System
    hand: Hand
    watched: dict[str, _Watched] = field(default_factory=dict)
    pasts: dict[str, Past] = field(default_factory=dict)
    beside: Beside = field(init=False)

    def __post_init__(self) -> None:
        self.beside = Beside(self.system, self.hand, self.pasts)

    def judge(self, track: Track, times_s: Array, raw: Array) -> Array:
        """The values with those that fail the tests of trust left out (NaN). Called before they are in hand."""
        if not track.quantity:
            return np.asarray(raw, dtype=float)
        w = self.watched.get(track.stream) or self._begin(track)
        values: list[float] = raw.tolist()
        if w.past.calm(values):
            w.past.note(times_s, values, None)
            return np.asarray(raw, dtype=float)
        kept, bad = w.past.sift(values)
        w.past.note(times_s, values, kept if bad else None)
        return np.array(kept)

    def _begin(self, track: Track) -> _Watched:
        band = self.system.band(track.quantity)
        judged = track.quantity in past.NATURE and not track.room
        limit = band.limit if band and not track.room else None
        kept = past.of(track.quantity if judged else "", track.period_s, limit)
        if not judged:
            low, high = quantity(track.quantity).span
            kept.low, kept.high = low, high
        w = self.watched[track.stream] = _Watched(track, kept, judged)
        if judged:
            self.pasts[track.stream] = kept
        return w

    def take(self, track: Track, times_s: Array, values: Array) -> list[Finding]:
        """Nothing: trust is judged by time."""
        return []

    def tick(self, now_s: float) -> list[Finding]:
        """What the ten minutes that are over show of each probe."""
        found: list[Finding] = []
        looked: list[_Watched] = []
        for w in self.watched.values():
            if w.past.due(now_s):
                w.past.close()
            if w.past.fresh:
                looked.append(w)
                found += self._look(w, now_s)
        for w in looked:  # once all are up to the hour
            if w.past.hour_ended:
                w.past.hour_ended = False
                if w.judged:
                    found += self._hourly(w, now_s)
        return found

    def _look(self, w: _Watched, now_s: float) -> list[Finding]:
        """What the bins that ended show of one probe."""
        p, found = w.past, list[Finding]()
        fresh, p.fresh = p.fresh, []
        for b in fresh:
            if not w.judged:
                continue
            if w.cause is None and not b.bad and p.away_since is None and abs(b.level - p.home) <= p.leap():
                p.settle(b)
            else:
                found += self._odd(w, b, now_s)
        if fresh[-1].bad or f"{w.track.stream}-distrusted" in self.hand.standing:
            found += self._distrust(w, now_s)
        if w.judged and (p.flat_for_s() >= STIRRED_S or f"{w.track.stream}-stuck" in self.hand.standing):
            found += self._stuck(w, now_s)
        return found

    def spans(self, stream: str) -> Array:
        """Climatology of a stream from its own past: usual span by hour of the day in UTC (24, 2)."""
        return self.watched[stream].past.spans()

    # -- at once ----------------------------------------------------------------------------------------

    def _odd(self, w: _Watched, newest: Bin, now_s: float) -> Iterator[Finding]:
        """A probe that left its home, or has not found one yet."""
        p = w.past
        if w.cause is not None:
            yield from self._stands(w, w.cause, newest, now_s)
            if w.cause is not None:
                return
        level = newest.level
        if not newest.points:
            return
        if p.home != p.home:
            if p.away_since is None:
                p.away_since = newest.number
            if not newest.bad and self._plain(w, level):
                p.away_since, p.home = None, level
                return
        elif abs(level - p.home) <= p.leap() and 2 * newest.bad <= newest.points:
            p.away_since = None
            p.settle(newest)
            return
        elif p.away_since is None:
            p.away_since = newest.number
        signs = Signs(self.system, self.hand, self.pasts, w.track, p)
        cause = signs.cause(now_s)
        if cause is not None:
            w.cause, w.missed = cause, 0
            p.refused = cause.refused
            yield from self._named(w, cause, now_s)
        elif newest.number - p.away_since >= ADOPT_BINS and not newest.bad:
            p.away_since, p.home = None, level

    def _plain(self, w: _Watched, level: float) -> bool:
        """Whether a first level may be this water's: within the possible, and no clearer on another scale."""
        return w.past.low <= level <= w.past.high

    def _named(self, w: _Watched, cause: Cause, now_s: float) -> Iterator[Finding]:
        stream = w.track.stream
        steered = steering.steered(self.system, self.hand, w.track, w.past.home)
        because = f"{cause.because} {steered.words}".strip()
        yield from self.hand.standing.begin(
            f"{stream}-{cause.name}", stream, now_s, cause.level, steered.harm_s, because, steered.consequence
        )
        yield from self.hand.standing.end(
            f"{stream}-distrusted", now_s, f"{named(stream)} is {cause.name.replace('-', ' ')}."
        )
        if not cause.sure or w.past.away_since is None:
            return
        # what its values raised since they left the water is taken back, unless another probe stands there too
        band = self.system.band(w.past.quantity)
        if band is None or band.limit is None:
            return
        low, high = band.limit
        others = [self.pasts[t.stream].home for t in self.hand.of(w.past.quantity) if t.stream in self.pasts]
        if all(low <= h <= high for h in others):
            for side in ("low", "high", "heading-low", "heading-high"):
                name = f"{w.past.quantity}-{side}"
                was = self.hand.standing.now.get(name)
                if was is not None and was.at_s >= w.past.away_since * BIN_S:
                    yield from self.hand.standing.end(name, now_s, f"It was not the water: {cause.because}")

    def _stands(self, w: _Watched, cause: Cause, newest: Bin, now_s: float) -> Iterator[Finding]:
        """Whether a cause still shows; two bins without it end it."""
        p, stream = w.past, w.track.stream
        signs = Signs(self.system, self.hand, self.pasts, w.track, p)
        still = signs.holds(cause, newest)
        if still is not None:
            w.cause, w.missed = still, 0
            p.refused = still.refused
            return
        w.missed += 1
        home = p.home == p.home and abs(newest.level - p.home) <= p.nature.same
        if w.missed < 2 and not (home and not newest.bad):
            return
        w.cause, p.refused, p.away_since = None, None, None
        if not newest.bad:
            p.home = newest.level
        yield from self.hand.standing.end(
            f"{stream}-{cause.name}", now_s,
            f"{named(stream)} reads {shown(newest.level, p.quantity, self.system)}: it shows the water again.",
        )  # fmt: skip

    def _distrust(self, w: _Watched, now_s: float) -> Iterator[Finding]:
        """A probe most of whose last points were left out, when no cause is known."""
        name, stream = f"{w.track.stream}-distrusted", w.track.stream
        level = w.past.bins[-1].level
        # what could be water, and only leaps about, is given twice the time
        enough = 3 if not w.past.low <= level <= w.past.high else 6
        points, bad = w.past.lately(enough)
        if points < enough:
            return
        # the first bin away is too early to name a cause
        early = w.past.away_since is not None and w.past.bins[-1].number <= w.past.away_since
        if bad > 0.5 * points and w.cause is None and not early:
            reads = f"reads {reading(level, w.past.quantity, self.system)}" if level == level else "sends no numbers"
            because = (
                f"{named(stream)} {reads}: {bad} of its last {points} points are not what the water can be. Its "
                "values are not used for limits."
            )
            yield from self.hand.standing.begin(name, stream, now_s, None, None, because, consequence=False)
        elif not bad:
            yield from self.hand.standing.end(name, now_s, f"{named(stream)} shows possible values again.")

    def _stuck(self, w: _Watched, now_s: float) -> Iterator[Finding]:
        """A value that repeats for longer than this probe ever did, or while machines must have moved it."""
        p, stream, name = w.past, w.track.stream, f"{w.track.stream}-stuck"
        flat, most = p.flat_for_s(), p.flat_most_s()
        if name in self.hand.standing:
            if flat < STIRRED_S:
                yield from self.hand.standing.end(name, now_s, f"{named(stream)} moves again.")
            return
        if w.cause is not None or now_s - p.last_s > max(5 * p.period_s, 3 * BIN_S):
            return
        if flat >= most:
            longest = max(p.longest)
            why = (
                f"its longest such run before was {spoken(longest)}" if longest else "no healthy probe of its kind does"
            )
        elif (stirred := steering.stirred(self.system, self.hand, w.track, p, now_s)) is not None:
            why = stirred
        else:
            return
        p.run_is_fault = True
        steered = steering.steered(self.system, self.hand, w.track, p.home, stuck=True)
        value = reading(p.run_value, p.quantity, self.system)
        because = f"{named(stream)} has shown {value} without a change for {spoken(flat)}; {why}. {steered.words}"
        yield from self.hand.standing.begin(
            name, stream, now_s, p.run_value, steered.harm_s, because.strip(), steered.consequence
        )

    # -- by the hour and by the day ---------------------------------------------------------------------

    def _hourly(self, w: _Watched, now_s: float) -> Iterator[Finding]:
        p = w.past
        yield from self._noisy(w, now_s)
        if not p.hours:
            return
        yield from self._dulled(w, p.hours[-1][0], now_s)
        # one known not to show the water says nothing about its neighbour
        told = {s for s, o in self.watched.items() if o.cause is not None}
        yield from self.beside.hourly(w.track, told, now_s)

    def _noisy(self, w: _Watched, now_s: float) -> Iterator[Finding]:
        """Scatter many times what it was."""
        p, name = w.past, f"{w.track.stream}-noisy"
        if len(p.noises) < 48 or not p.hours or not p.noise_ended:
            return
        p.noise_ended = False
        if w.cause is not None or f"{w.track.stream}-distrusted" in self.hand.standing:
            p.noises.pop()  # its scatter now is not what it scatters in water
            return
        day = p.hours[-1][0] // 24
        if day != w.noise_day and not w.noisy_times:
            w.noise_day = day
            some = sorted(p.noises)
            w.usual_noise = some[len(some) // 2], some[int(0.98 * (len(some) - 1))]
            p.jump = max(p.jump, JUMPY * w.usual_noise[0])
        usual, worst = w.usual_noise
        now = p.noises[-1]
        # rounding alone leaves second differences of half a step or so
        floor = max(usual, 0.7 * p.step if np.isfinite(p.step) else 0.0, 1e-9)
        if now > max(NOISY * floor, NOISY_BEYOND * worst):
            w.noisy_times += 1
            if w.noisy_times >= NOISY_TIMES:
                because = (
                    f"{named(w.track.stream)} scatters {now / floor:.0f} times as much as it used to: "
                    "a failing probe, a bad contact, or air bubbles at its tip."
                )
                yield from self.hand.standing.begin(
                    name, w.track.stream, now_s, now / floor, None, because, consequence=False
                )
        elif now < 0.5 * max(NOISY * floor, NOISY_BEYOND * worst):
            w.noisy_times = 0
            yield from self.hand.standing.end(name, now_s, f"{named(w.track.stream)} is as quiet as it used to be.")

    def _dulled(self, w: _Watched, hour: int, now_s: float) -> Iterator[Finding]:
        """A day's swing that is lost though the other probes still swing."""
        p, name = w.past, f"{w.track.stream}-dulled"
        if hour % 6 or len(p.hours) < 25:
            return
        day = [x for h, x in p.hours if h > hour - 25]
        if len(day) < 20:
            return
        swing = max(day) - min(day)
        if w.cause is not None or f"{w.track.stream}-stuck" in self.hand.standing:
            return
        known = w.swings
        if len(known) >= 4 * DULL_DAYS:
            some = sorted(known)
            # of days ago: what fades little by little must not become what is usual
            usual, least = some[len(some) // 2], min(known[:-DULL_RECENT])
            enough = max(p.nature.swing, 8.0 * (p.step if np.isfinite(p.step) else 0.0))
            if usual >= enough and swing < min(DULL * usual, DULL_LEAST * least):
                others = [
                    o.track.stream
                    for o in self.watched.values()
                    if o is not w and o.judged and len(o.swings) >= 4 * DULL_DAYS and _swings(o)
                ]
                w.dull_times += 1
                if others and w.dull_times >= DULL_TIMES:
                    say = partial(change, quantity=p.quantity, system=self.system, sign=False)
                    because = (
                        f"{named(w.track.stream)} swung by {say(swing)} within a day; it used to by {say(usual)}, "
                        f"never by less than {say(least)}. {named(others[0])} still swings as it used to: look for "
                        "growth or a film on the probe."
                    )
                    yield from self.hand.standing.begin(
                        name, w.track.stream, now_s, swing, None, because, consequence=False
                    )
                return  # a dull day is not what is usual
            w.dull_times = 0
            if swing > 0.75 * usual:
                yield from self.hand.standing.end(name, now_s, f"{named(w.track.stream)} swings as it used to.")
        known.append(swing)
        del known[: -4 * 14]


def _swings(w: _Watched) -> bool:
    """Whether a probe has swung in the last day as it used to."""
    some = sorted(w.swings)
    day = [x for _, x in list(w.past.hours)[-24:]]
    usual = some[len(some) // 2]
    return usual >= w.past.nature.swing and max(day) - min(day) > 0.7 * usual
