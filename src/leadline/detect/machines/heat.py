"""Heaters and chillers: what they really move, whether they switch where they always did, whether two fight.

C dT/dt = rest + moved · state. What a machine moves is told by the slopes on both sides of its own switching, where
the rest (walls, evaporation, lamps, pumps) is the same on both. What it should move is what it used to; for a heater
that has no past its stated power. See sheet 8.2.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from leadline.detect.effect import Moved, blocks, moved, together
from leadline.detect.findings import Finding
from leadline.detect.hand import KEPT_S, Hand, Track
from leadline.detect.machines.rest import Rest
from leadline.detect.machines.slopes import LONG_S, Straight, level, middle, scatter, straight, until
from leadline.detect.machines.states import Machine
from leadline.detect.words import edge, hour, named, paced, ramps, shown, when
from leadline.system.description import System

J_L_K = 4090.0  # 3999 J/kg/K (TEOS-10, salinity 35) times 1.0235 kg/L
SETTLE_S = 300.0  # flow, sheath and thermometer follow a switching (judgement)
BEFORE_S, AFTER_S, LEAST_S = 2400.0, 1500.0, 590.0
SHORT_S = 300.0  # blocks of a machine that switches often
JUDGED_S = 7200.0  # later than that the rest is no longer what it was
AGAIN_S = 540.0
WEAK, NOTHING = 0.8, 0.5  # upper bounds of efficacy: sheet 8.2; half is judgement
DRIFT_PER_H = 0.1  # of what it should move, by which the rest may have changed in an hour (judgement)
ROOM_K = 2.0  # within the time of one look
BEYOND_K = 0.25  # past the point at which it has always switched (judgement)


@dataclass
class Mover:
    """A heater or chiller and what was learned of it."""

    machine: Machine
    sign: float  # +1 warms, -1 cools
    moved_w: deque[float] = field(default_factory=lambda: deque(maxlen=60))
    recent: deque[tuple[float, float, Moved]] = field(default_factory=lambda: deque(maxlen=6))  # when, run, what
    on_at: deque[float] = field(default_factory=lambda: deque(maxlen=40))  # temperatures at which it went on
    off_at: deque[float] = field(default_factory=lambda: deque(maxlen=40))
    before: Straight | None = None
    before_of: float = math.nan  # the switching that `before` belongs to
    judged_s: float = -math.inf
    sampled_s: float = -math.inf
    regressed_s: float = -math.inf
    bad: dict[str, int] = field(default_factory=dict)
    learned: int = 0
    _known: tuple[float, float, int] = (math.nan, math.nan, -1)

    @property
    def id(self) -> str:
        return self.machine.id

    def reference(self) -> tuple[float, float]:
        """What it should move and its scatter from run to run. [W] NaN when nobody knows."""
        stated = self.machine.equipment.power_w if self.machine.equipment else None
        if len(self.moved_w) >= 6:
            if self._known[2] != self.learned:
                usual = middle(self.moved_w)
                self._known = usual, scatter(self.moved_w, usual), self.learned
            return self._known[:2]
        if stated is None:
            return math.nan, math.nan
        # a chiller's electrical power is not its cooling: small ones move 1.5 to 3 times as much (memory)
        return (stated, 0.15 * stated) if self.sign > 0 else (1.5 * stated, 0.3 * stated)

    def turns(self, on: bool) -> float:
        """Where it usually goes on or off; NaN before three times."""
        seen = self.on_at if on else self.off_at
        return middle(seen) if len(seen) >= 3 else math.nan

    def count(self, name: str, bad: bool) -> int:
        """How often in a row something was so."""
        self.bad[name] = self.bad.get(name, 0) + 1 if bad else 0
        return self.bad[name]


@dataclass
class Heat:
    """The lookout for heat: `chiller-1-warms`, `heater-1-no-heat`, `heater-1-never-off` and their like."""

    system: System
    hand: Hand
    movers: list[Mover] = field(default_factory=list)
    edges: deque[float] = field(default_factory=lambda: deque(maxlen=400))  # switchings of all, ascending

    def __post_init__(self) -> None:
        self.capacity = J_L_K * self.system.net_volume_l  # [J/K]
        self.rest = Rest(self.capacity)
        self.stirred_s = -math.inf
        self.scatters: deque[float] = deque([0.02], maxlen=99)
        self._new: list[tuple[Mover, float, bool]] = []
        band = self.system.band("temperature")
        self.limit = band.limit if band and band.limit else (22.5, 28.5)
        self._ramps = ramps(self.system)

    def add(self, machine: Machine) -> None:
        """A machine whose first point has come."""
        if machine.kind in ("heater", "chiller"):
            self.movers.append(Mover(machine, 1.0 if machine.kind == "heater" else -1.0))

    def stirred(self, moments: list[float]) -> None:
        """A pump stopped or started: for a while slopes tell of the flow, not of heat."""
        self.stirred_s = max(self.stirred_s, *moments)

    def switched(self, machine: Machine, moments: list[float]) -> None:
        """A heater or chiller went on or off."""
        mover = next(m for m in self.movers if m.machine is machine)
        for t in moments:
            self.edges.append(t)
        for t, on in list(machine.edges)[-len(moments) :]:
            self._new.append((mover, t, on))

    def tick(self, now_s: float) -> list[Finding]:
        """What slopes and switchings show."""
        if not self.movers:
            return []
        track = self._thermometer(now_s)
        if track is None:
            self._new.clear()
            return []
        for mover, t, on in self._new:
            self._learn_switching(track, mover, t, on)
        self._new.clear()
        found: list[Finding] = []
        now = level(track, now_s)
        for m in self.movers:
            if m.machine.fresh(now_s):
                found += self._by_slopes(track, m, now, now_s)
                found += self._by_blocks(track, m, now, now_s)
                found += self._by_switching(track, m, now, now_s)
        found += self._fight(now_s)
        found += self._by_rest(track, now, now_s)
        return found

    def _thermometer(self, now_s: float) -> Track | None:
        for t in self.hand.tracks.values():
            if t.quantity == "temperature" and not t.room and t.last_s is not None and now_s - t.last_s < 1800.0:
                return t
        return None

    def _learn_switching(self, track: Track, mover: Mover, t: float, on: bool) -> None:
        times = track.times
        first, last = times.searchsorted((t - 301.0, t + 301.0))
        near = [x for x in track.values[first:last].tolist() if x == x]
        if near and not self._accused(mover):
            (mover.on_at if on else mover.off_at).append(sum(near) / len(near))

    def _accused(self, m: Mover) -> bool:
        return any(f"{m.id}-{what}" in self.hand.standing for what in ACCUSED)

    # -- what it moves ------------------------------------------------------------------------------

    def _by_slopes(self, track: Track, m: Mover, now: float, now_s: float) -> Iterator[Finding]:
        since = m.machine.since_s
        elapsed = now_s - since
        if not SETTLE_S + LEAST_S <= elapsed <= JUDGED_S or now_s - m.judged_s < AGAIN_S:
            return
        if self.edges and max(self.edges) > since + SETTLE_S:  # another machine switched meanwhile
            return
        if since - BEFORE_S < self.stirred_s < since + SETTLE_S or now_s - self.stirred_s < AFTER_S:
            return
        m.judged_s = now_s
        if m.before_of != since:
            m.before_of, m.before = since, self._before(track, m, since)
        after = straight(track, max(since + SETTLE_S, now_s - AFTER_S), now_s)
        reference, spread = m.reference()
        if m.before is None or after is None:
            return
        self.scatters.append(after.scatter)
        most = 3.0 * middle(self.scatters)
        if max(m.before.scatter, after.scatter) > most or self._room_moved(since, now_s):
            return  # the probe was out, water was poured in, or the room is another: this tells of no machine
        on = bool(m.machine.on)
        turn = 1.0 if on else -1.0
        watts = self.capacity * (after.slope - m.before.slope) * turn * m.sign
        drift = DRIFT_PER_H * (reference if reference == reference else 0.0) * elapsed / 3600.0
        sd = math.hypot(self.capacity * math.hypot(after.sd, m.before.sd), drift)
        got = Moved(watts, max(sd, spread if spread == spread else 0.0), 1, 1)
        yield from self._judge(track, m, got, reference, on, after, now, now_s)
        if now_s - m.sampled_s >= AFTER_S:
            m.sampled_s = now_s
            yield from self._sample(m, got, reference, on, after, now, now_s, since)

    def _room_moved(self, since: float, now_s: float) -> bool:
        """Whether a measured room changed by so much that it, not the machine, bends the water's way."""
        for t in self.hand.tracks.values():
            if t.room and t.quantity == "temperature":
                times = t.times
                shown = t.values[times.searchsorted(since - 1800.0) :]
                if len(shown) and np.nanmax(shown) - np.nanmin(shown) > ROOM_K:
                    return True
        return False

    def _before(self, track: Track, m: Mover, since: float) -> Straight | None:
        mine = max((e for e, _ in m.machine.edges if e < since), default=-math.inf)
        earlier = max((e for e in self.edges if e < since - SETTLE_S), default=mine)
        earlier = max(earlier, mine)
        begin = max(since - BEFORE_S, earlier + SETTLE_S)
        return straight(track, begin, since) if since - begin >= LEAST_S else None

    def _even(self, track: Track, since: float, now_s: float) -> bool:
        """Whether the water went one straight way since a switching: both halves of it, and from one to the other."""
        begin = max(since + SETTLE_S, now_s - AFTER_S)
        half = 0.5 * (begin + now_s)
        first, second = straight(track, begin, half), straight(track, half, now_s)
        if first is None or second is None:
            return True  # too few points to part; their scatter about the whole line was looked at
        sd = math.hypot(first.sd, second.sd)
        start = second.level - second.slope * (now_s - half)
        leap = abs(start - first.level) / (0.5 * (half - begin) * sd)
        return abs(first.slope - second.slope) < 3.5 * sd and leap < 3.5

    def _judge(
        self, track: Track, m: Mover, got: Moved, reference: float, on: bool, after: Straight, now: float, now_s: float
    ) -> Iterator[Finding]:
        """One switching, looked at twice: moves the wrong way, moves nothing, moves though it is off."""
        floor = 0.1 * (reference if reference == reference else self.capacity * 0.1 / 3600.0)
        high = got.watts + 2.33 * got.sd
        little = got.watts + 2.0 * got.sd < NOTHING * reference
        if (little or high < 0.0) and not self._even(track, m.machine.since_s, now_s):
            return  # water was poured in, or the probe moved: another look will tell
        wrong = m.count("wrong", on and high < 0.0 and got.watts < -floor)
        nothing = m.count("nothing", on and little)
        still = m.count("still", not on and little)
        so_long = f"{(now_s - m.machine.since_s) / 60:.0f} min"
        ran = f"{named(m.id)} has run for {so_long}"
        does = "heats" if m.sign > 0 else "cools"
        if wrong >= 2 and m.sign < 0:
            how = "warms the water" if after.slope > after.sd else "adds heat to the water"
            yield from self._begin(
                m, "warms", after, now, now_s, -got.watts, f"{ran} and {how}",
                f"{max(-high, 0):.0f} to {-got.watts + 2.33 * got.sd:.0f} W",
            )  # fmt: skip
        elif nothing >= (3 if m.sign > 0 else 2) and f"{m.id}-warms" not in self.hand.standing:
            how = ("gives" if m.sign > 0 else "takes away") + " less than half of its heat"
            yield from self._begin(
                m, "no-heat" if m.sign > 0 else "weak", after, now, now_s, got.watts, f"{ran} and {how}",
                f"at most {max(high, 0):.0f} of {reference:.0f} W",
            )  # fmt: skip
        elif still >= 2:
            # what went from the water when it went off is less than half of what it moves: the rest goes on
            rest = reference - got.watts - 2.0 * got.sd
            yield from self._begin(
                m, f"still-{does}", after, now, now_s, got.watts,
                f"{named(m.id)} says it has been off for {so_long} but probably still {does}",
                f"at least {rest:.0f} of its {reference:.0f} W",
            )  # fmt: skip
        elif got.watts - got.sd > 0.6 * reference and (on or f"{m.id}-still-heats" in self.hand.standing):
            for what in ("warms", "no-heat", "never-off", "never-on") if on else ("still-heats", "still-cools"):
                yield from self._end(m, what, now_s, self._well(m, got.watts))

    def _sample(
        self, m: Mover, got: Moved, reference: float, on: bool, after: Straight, now: float, now_s: float, run: float
    ) -> Iterator[Finding]:
        """Learn from a run; several together say whether it is weak."""
        share = got.watts / reference if reference == reference else 1.0
        if not self._accused(m) and got.watts > 0.0 and (len(m.moved_w) < 6 or 0.6 < share < 1.6):
            m.moved_w.append(got.watts)
            m.learned += 1
        if not on or (run < now_s and self._lamps_change(run - BEFORE_S, now_s)):
            return
        while m.recent and m.recent[0][0] < now_s - 86400.0:
            m.recent.popleft()
        m.recent.append((now_s, run, got))
        if len(m.recent) < 3 or len(m.moved_w) < 6:
            return
        last = [r for _, _, r in list(m.recent)[-3:]]
        if min(r.watts for r in last) > WEAK * reference:
            yield from self._end(m, "weak", now_s, self._well(m, last[-1].watts))
        runs = len({run for _, run, _ in list(m.recent)[-3:]})  # looks at one run share what was before it
        together_now = together(last)
        high = together_now.watts + 1.645 * together_now.sd * math.sqrt(3.0 / runs)
        if high < WEAK * reference and max(r.watts for r in last) < WEAK * reference and not self._accused(m):
            share, most = (100.0 * max(w, 0.0) / reference for w in (together_now.watts, high))
            yield from self._begin(
                m, "weak", after, now, now_s, together_now.watts / reference,
                f"{named(m.id)} {'heats' if m.sign > 0 else 'cools'} with {share:.0f} % of its usual strength in its "
                f"last runs, {most:.0f} % at most",
                f"{max(together_now.watts, 0.0):.0f} of {reference:.0f} W",
            )  # fmt: skip

    def _by_blocks(self, track: Track, m: Mover, now: float, now_s: float) -> Iterator[Finding]:
        """What a machine that switches too often for single looks moves: all its short runs of six hours together."""
        if now_s - max(m.sampled_s, m.regressed_s) < KEPT_S or not m.machine.edges:
            return
        m.regressed_s = now_s
        mine = [(t, on) for t, on in m.machine.edges if t > now_s - KEPT_S]
        if len(mine) < 12 or any(t > now_s - KEPT_S and not any(t == e for e, _ in mine) for t in self.edges):
            return
        times, warm = track.times, track.values
        at = np.array([t for t, _ in mine])
        place = np.searchsorted(at, times, side="right") - 1
        state = np.array([not mine[0][1], *(on for _, on in mine)], dtype=float)[place + 1]
        settled = np.isfinite(warm) & (times - np.where(place >= 0, at[np.maximum(place, 0)], -np.inf) > SETTLE_S)
        got = moved(blocks(times[settled], warm[settled], state[settled], block_s=SHORT_S), self.capacity)
        after = straight(track, now_s - 1800.0, now_s)
        if got is None or after is None:
            return
        got = Moved(got.watts * m.sign, got.sd, got.blocks_on, got.blocks_off)
        yield from self._sample(m, got, m.reference()[0], True, after, now, now_s, now_s)

    def _lamps_change(self, begin_s: float, end_s: float) -> bool:
        """Whether a declared light rises or falls in a span."""
        return any(
            (a - begin_h) % 24.0 < (end_s - begin_s) / 3600.0 or (begin_h - a) % 24.0 < b
            for a, b in self._ramps
            for begin_h in [hour(begin_s, self.system)]
        )

    # -- where it switches --------------------------------------------------------------------------

    def _by_switching(self, track: Track, m: Mover, now: float, now_s: float) -> Iterator[Finding]:
        """On where it has always gone off, or off where it has always gone on."""
        on = bool(m.machine.on)
        usual = m.turns(not on)
        seen = m.off_at if on else m.on_at
        spread = max(seen) - min(seen) if usual == usual else 0.0
        beyond = (now - usual) * (m.sign if on else -m.sign) - max(BEYOND_K, 0.5 * spread)
        name = "never-off" if on else "never-on"
        if beyond > 0.0 and not now_s - m.machine.since_s < 900.0:
            if m.count(name, True) < 2:
                return
            trend = straight(track, now_s - 1800.0, now_s)
            if trend is None:
                return
            should, does = ("off", "still runs") if on else ("on", "is still off")
            yield from self._begin(
                m, name, trend, now, now_s, now,
                f"{named(m.id)} has always gone {should} at {shown(usual, *self._said, now)} and {does}",
            )  # fmt: skip
        else:
            m.count(name, False)
            if beyond < -0.1 or usual != usual:
                for what in ("never-off", "never-on"):
                    because = f"The water is {shown(now, *self._said)}, where {m.id} may be {'on' if on else 'off'}."
                    yield from self._end(m, what, now_s, because)

    def _fight(self, now_s: float) -> Iterator[Finding]:
        """A heater and a chiller on at once."""
        heaters = [m for m in self.movers if m.sign > 0 and m.machine.on]
        chillers = [m for m in self.movers if m.sign < 0 and m.machine.on]
        for m in self.movers:
            if m.sign < 0:
                continue
            name = f"{m.id}-fights"
            together_s = [min(now_s - m.machine.since_s, now_s - c.machine.since_s) for c in chillers]
            longest = max((s for s in together_s if s == s), default=0.0)
            if m in heaters and longest > 1200.0:
                yield from self.hand.standing.begin(
                    name, m.id, now_s, longest / 60.0, LONG_S,
                    f"{named(m.id)} and {chillers[0].id} have been on together for {longest / 60:.0f} min: one undoes "
                    "what the other does.",
                )  # fmt: skip
            elif name in self.hand.standing and m.machine.on is False and now_s - m.machine.since_s > 3600.0:
                yield from self.hand.standing.end(name, now_s, f"{named(m.id)} is off.")

    # -- between switchings -------------------------------------------------------------------------

    def _by_rest(self, track: Track, now: float, now_s: float) -> Iterator[Finding]:
        """Heat that appeared or was lost while nothing switched."""
        if not self.rest.due(now_s):
            return
        last_edge = max(self.edges) if self.edges else -math.inf
        if max(last_edge, self.stirred_s) > now_s - 1800.0 - SETTLE_S:
            return
        if not all(m.machine.fresh(now_s) for m in self.movers):
            return
        line = straight(track, now_s - 1800.0, now_s)
        known = sum(m.reference()[0] * m.sign for m in self.movers if m.machine.on)
        if line is None or known != known:
            return
        step = self.rest.look(now_s, self.capacity * line.slope - known, self.capacity * line.sd)
        for m in self.movers:
            reference = m.reference()[0]
            if step is None or reference != reference or len(m.off_at) < 3 or step.settled is False:
                m.count("rest", False)
                continue
            gained = step.watts * m.sign
            on = bool(m.machine.on)
            clear = abs(step.watts) > max(0.6 * reference, 4.0 * step.sd) and abs(step.watts) < 1.5 * reference
            past_off = (now - m.turns(False)) * m.sign > 0.15
            unasked = clear and gained > 0.0 and not on and past_off
            lost = clear and gained < 0.0 and on
            if m.count("rest", unasked or lost) < 2 or self._accused(m):
                continue
            more = f"{abs(step.watts):.0f} W {'more' if step.watts > 0.0 else 'less'} than usual"
            if unasked:
                name, said = "still-heats" if m.sign > 0 else "still-cools", "says it is off but probably runs"
            else:
                name, said = "no-heat" if m.sign > 0 else "weak", "says it runs but probably does not"
            said = f"{named(m.id)} {said}, or the room changed"
            yield from self._begin(m, name, line, now, now_s, step.watts, said, more)

    # -- telling ------------------------------------------------------------------------------------

    def _begin(
        self, m: Mover, what: str, line: Straight, now: float, now_s: float, value: float, said: str,
        watts: str = "",
    ) -> Iterator[Finding]:  # fmt: skip
        """What it does, where the water stands and how fast it goes, what the watts say, when the limit is reached."""
        # too much heat, or want of it: a weak chiller does not harm by cold
        hot = (what in ("never-off", "still-heats")) == (m.sign > 0)
        limit = self.limit[1] if hot else self.limit[0]
        moves = abs(line.slope) > line.sd
        passed = (now - limit) * (1.0 if hot else -1.0) >= 0.0
        left = 0.0 if passed else until(now, line.slope, limit) if moves else math.inf
        pace = paced(line.slope, *self._said) if moves else "steady"
        said += f": {shown(now, *self._said, limit)}, {pace}{f' ({watts})' if watts else ''}"
        if passed:
            said += f"; that is {'over' if hot else 'under'} the limit of {edge(limit, *self._said)}"
        elif left < 3 * 86400.0:
            said += f"; at this rate the limit of {edge(limit, *self._said)} is reached "
            said += when(now_s + left, self.system, now_s)
        yield from self.hand.standing.begin(
            f"{m.id}-{what}", m.id, now_s, value, left if left < math.inf else LONG_S, f"{said}."
        )

    @property
    def _said(self) -> tuple[str, System]:
        return "temperature", self.system

    def _well(self, m: Mover, watts: float) -> str:
        return f"{named(m.id)} {'heats' if m.sign > 0 else 'cools'} again ({watts:.0f} W)."

    def _end(self, m: Mover, what: str, now_s: float, because: str) -> Iterator[Finding]:
        yield from self.hand.standing.end(f"{m.id}-{what}", now_s, because)


ACCUSED = ("warms", "weak", "no-heat", "never-off", "never-on", "still-heats", "still-cools")
