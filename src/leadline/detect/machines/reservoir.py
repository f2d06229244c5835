"""A top-off's reservoir by its level: it falls too fast (siphon, leak, stuck), or will soon be empty."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.machines.slopes import level, middle
from leadline.detect.words import edge, named, when
from leadline.model.blueprint import amount
from leadline.system.description import System

NAMES = ("reservoir", "vat", "barrel")
SLOT_S = 3600.0
NOISE_M = 0.003  # what a level sensor and ripples make: judgement
REFILL_M = 0.01
FAST, QUICK_S, QUICK_M = 1.6, 1500.0, 0.02
LOW_S = 3 * 86400.0  # practice: an alarm at three days' stock


@dataclass
class _Vessel:
    track: Track
    falls: deque[float] = field(default_factory=lambda: deque(maxlen=24 * 14))  # metres in each hour; NaN: refilled
    slot: int = -1
    last: float = math.nan
    fullest: float = 0.0


@dataclass
class Reservoirs:
    """The lookout for reservoirs: `topoff-reservoir-falls`, `topoff-reservoir-low`, by the stream's name."""

    system: System
    hand: Hand
    vessels: list[_Vessel] = field(default_factory=list)

    def add(self, track: Track) -> None:
        """A level whose first point has come; only those of reservoirs are followed."""
        said = next((s for s in self.system.streams if s.id == track.stream), None)
        where = f"{track.stream} {said.vessel if said else ''}"
        if track.quantity == "level" and any(n in where for n in NAMES):
            self.vessels.append(_Vessel(track))

    def tick(self, now_s: float) -> Iterator[Finding]:
        """A quick fall at every look, the balance of the hours once an hour."""
        for v in self.vessels:
            here = level(v.track, now_s, 600.0)
            if here != here:
                continue
            v.fullest = max(v.fullest, here)
            usual = self._usual(v)
            times = v.track.times
            earlier = v.track.values[times.searchsorted(now_s - QUICK_S) : times.searchsorted(now_s - QUICK_S + 600.0)]
            before = middle([x for x in earlier.tolist() if x == x])
            if usual == usual and before - here > max(QUICK_M, 10.0 * usual * QUICK_S / SLOT_S):
                yield from self._fast(v, before - here, QUICK_S / SLOT_S, usual, here, now_s)
            slot = int(now_s // SLOT_S)
            if slot != v.slot:
                v.slot = slot
                fell = v.last - here
                v.falls.append(math.nan if fell != fell or fell < -REFILL_M else fell)
                v.last = here
                yield from self._hours(v, usual, here, now_s)

    def _usual(self, v: _Vessel) -> float:
        """Metres an hour: the median of its whole days but for the last. NaN before two."""
        held = list(v.falls)[: -24 or None]
        days = [[x for x in held[k : k + 24] if x == x] for k in range(len(held) % 24, len(held), 24)]
        means = [sum(d) / len(d) for d in days if len(d) >= 12]
        return middle(means) if len(means) >= 2 else math.nan

    def _hours(self, v: _Vessel, usual: float, here: float, now_s: float) -> Iterator[Finding]:
        falls, low = f"{v.track.stream}-falls", f"{v.track.stream}-low"
        if usual != usual:
            return
        for hours in (3, 6, 24):
            recent = [x for x in list(v.falls)[-hours:] if x == x]
            if len(recent) >= 0.6 * hours and sum(recent) > FAST * usual * len(recent) + 4.0 * NOISE_M:
                yield from self._fast(v, sum(recent), float(len(recent)), usual, here, now_s)
                break
        else:
            yield from self.hand.standing.end(falls, now_s, f"{named(v.track.stream)} falls as it used to.")
        left = here / max(usual, 1e-6) * SLOT_S
        if left < LOW_S and usual > 1e-4:
            yield from self.hand.standing.begin(
                low, v.track.stream, now_s, here, left + 2 * 86400.0,  # salinity then needs days more (census E02)
                f"{named(v.track.stream)} stands at {100 * here:.0f} cm and falls by {2400 * usual:.1f} cm a day: it "
                f"is empty {when(now_s + left, self.system, now_s)}.",
            )  # fmt: skip
        elif left > 1.2 * LOW_S:
            yield from self.hand.standing.end(low, now_s, f"{named(v.track.stream)} stands at {100 * here:.0f} cm.")

    def _fast(
        self, v: _Vessel, fell: float, hours: float, usual: float, here: float, now_s: float
    ) -> Iterator[Finding]:
        rate = fell / hours - usual
        harm, rest = self._salt(v, rate, here)
        yield from self.hand.standing.begin(
            f"{v.track.stream}-falls", v.track.stream, now_s, fell, harm,
            f"{named(v.track.stream)} fell by {100 * fell:.1f} cm in {60 * hours:.0f} min, usually by "
            f"{100 * usual * hours:.1f} cm: look for a siphon, a leak or a float{rest}.",
        )  # fmt: skip

    def _salt(self, v: _Vessel, rate_m_h: float, here: float) -> tuple[float | None, str]:
        """Seconds until salinity is at its limit, when somebody said what the reservoir holds."""
        said = next((e.rest["reservoir"] for e in self.system.equipment if "reservoir" in e.rest), None)
        if said is None or v.fullest <= 0.0:
            return None, ""
        litres_m = amount(said, "volume", "reservoir") / v.fullest
        band = self.system.band("salinity")
        limit = band.limit[0] if band and band.limit else 32.0
        need = self.system.net_volume_l * (35.0 / limit - 1.0)
        if need > litres_m * here:
            return 86400.0, f"; what is left, {litres_m * here:.0f} L, does not bring salinity to its limit"
        left = need / (litres_m * rate_m_h) * 3600.0
        said = edge(limit, "salinity", self.system)
        return left, f"; at this rate salinity reaches its limit of {said} in {left / 3600:.1f} h"
