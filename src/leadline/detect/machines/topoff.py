"""Top-off: litres against what evaporates, a run that does not end, a rest that lasts too long.

Litres are its rate times the time it ran. What should evaporate is what its own past says, carried to today's warmth
of water and room by the evaporation of the simulator where a room is measured.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand
from leadline.detect.machines.slopes import LONG_S, level
from leadline.detect.machines.states import Machine
from leadline.detect.words import NOW_S, edge, named, shown, when
from leadline.measures.errors import LeadlineError
from leadline.model.blueprint import amount
from leadline.model.evaporation import drive_kg_m2_s
from leadline.system.description import System

USUAL_L_H = 60.0  # when no rate is described: the simulator's own middle
SLOT_S, DAYS = 3600.0, 14
RUN_SHARE = 0.004  # of the net volume in one run that nobody has ever seen: judgement
TOO_MUCH, TOO_LITTLE = 1.5, 0.5  # of what should evaporate (practice: 30 % is a leak, a float, a lid or a fan)


@dataclass
class _Filler:
    machine: Machine
    rate_l_h: float
    reservoir_l: float
    hours: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=24 * DAYS))  # litres, drive, by hour
    slot: int = -1
    on_s: float = 0.0
    known_s: float = 0.0


@dataclass
class Topoff:
    """The lookout for top-off: `topoff-1-runs-on`, `topoff-1-too-much`, `topoff-1-too-little`."""

    system: System
    hand: Hand
    fillers: list[_Filler] = field(default_factory=list)

    def add(self, machine: Machine) -> None:
        """A machine whose first point has come."""
        if machine.kind != "topoff":
            return
        rest = machine.equipment.rest if machine.equipment else {}
        self.fillers.append(
            _Filler(
                machine,
                _said(rest.get("rate"), "flow") or USUAL_L_H,
                _said(rest.get("reservoir"), "volume") or math.inf,
            )
        )

    def took(self, machine: Machine, now_s: float) -> Iterator[Finding]:
        """New points of a top-off: a run that lasts too long is seen at once."""
        f = next(x for x in self.fillers if x.machine is machine)
        name = f"{machine.id}-runs-on"
        if not machine.on:
            yield from self.hand.standing.end(name, now_s, f"{named(machine.id)} has stopped.")
            return
        if name in self.hand.standing:
            return
        ran = now_s - machine.since_s
        longest = self._longest(f)
        if not ran > longest:
            return
        litres = ran / 3600.0 * f.rate_l_h
        salinity, limit = self._salt(now_s, low=True)
        left_l = self.system.net_volume_l * (salinity / limit - 1.0)
        harm = max(left_l - litres, 0.0) / f.rate_l_h * 3600.0
        said = "salinity", self.system
        rest = f"{f.rate_l_h:g} L/h bring salinity from {shown(salinity, *said)} to its limit of {edge(limit, *said)}"
        if litres + harm / 3600.0 * f.rate_l_h > f.reservoir_l:
            end = salinity * self.system.net_volume_l / (self.system.net_volume_l + f.reservoir_l)
            rest += f", though a reservoir of {f.reservoir_l:.0f} L is empty at {shown(end, *said)}"
        at = when(now_s + harm, self.system, now_s)
        yield from self.hand.standing.begin(
            name, machine.id, now_s, litres, harm,
            f"{named(machine.id)} has run for {ran / 60:.0f} min, {litres:.1f} L, and has never run longer than "
            f"{longest / 60:.0f} min before: {rest} {at}." if machine.runs_s else
            f"{named(machine.id)} has run for {ran / 60:.0f} min, {litres:.1f} L: {rest} {at}.",
        )  # fmt: skip

    def _longest(self, f: _Filler) -> float:
        """A run that is too long: half as long again as any, or a share of the water while few are known. [s]"""
        fair = RUN_SHARE * self.system.net_volume_l / f.rate_l_h * 3600.0
        runs = sorted(s for _, s in f.machine.runs_s)
        if len(runs) < 8:
            return max(3.0 * fair, 600.0)
        return max(1.5 * runs[-1], 3.0 * runs[len(runs) // 2], min(fair, 900.0), 240.0)

    def _salt(self, now_s: float, *, low: bool) -> tuple[float, float]:
        band = self.system.band("salinity")
        limit = band.limit if band and band.limit else (32.0, 37.5)
        shown = [level(t, now_s, 3600.0) for t in self.hand.of("salinity")]
        salinity = next((s for s in shown if 20.0 < s < 45.0), 35.0)
        return salinity, limit[0 if low else 1]

    def tick(self, now_s: float) -> Iterator[Finding]:
        """Litres of the last hours against what should evaporate."""
        slot = int(now_s // SLOT_S)
        for f in self.fillers:
            m = f.machine
            if not m.fresh(now_s) or slot == f.slot:
                continue
            ran, known = m.on_s - f.on_s, m.known_s - f.known_s
            f.slot, f.on_s, f.known_s = slot, m.on_s, m.known_s
            if known < 0.7 * SLOT_S:
                continue
            f.hours.append((ran / known * f.rate_l_h, self._drive(now_s)))
            yield from self._litres(f, now_s)

    def _drive(self, now_s: float) -> float:
        """How hard the room draws on the water; NaN where no room is measured. [kg/m²/s, an arbitrary surface]"""
        warm = [level(t, now_s) for t in self.hand.of("temperature")]
        rooms = [t for t in self.hand.tracks.values() if t.room]
        air = [level(t, now_s) for t in rooms if t.quantity == "temperature"]
        damp = [level(t, now_s) for t in rooms if t.quantity == "relative_humidity"]
        if not warm or not air or warm[0] != warm[0] or air[0] != air[0]:
            return math.nan
        humid = damp[0] if damp and damp[0] == damp[0] else self.system.room.relative_humidity
        return max(float(drive_kg_m2_s(warm[0], air[0], humid, 0.1, 35.0)), 1e-7)

    def _litres(self, f: _Filler, now_s: float) -> Iterator[Finding]:
        m = f.machine
        held = np.array(f.hours)
        if len(held) < 72:
            return
        litres, drive = held[:, 0], held[:, 1]
        past, past_drive = litres[:-24], drive[:-24]
        each = np.median([s for _, s in m.runs_s]) / 3600.0 * f.rate_l_h if m.runs_s else 0.5
        much, little = f"{m.id}-too-much", f"{m.id}-too-little"
        whole = len(past) // 24 * 24
        daily = past[len(past) - whole :].reshape(-1, 24).sum(axis=1)
        usual_h = float(np.median(daily)) / 24.0 if len(daily) >= 3 else float(past.mean())
        room = np.isfinite(drive).all()
        scatter = 1.4826 * float(np.median(np.abs(daily - 24.0 * usual_h))) / 24.0 if len(daily) >= 5 else 0.2 * usual_h
        salinity, low = self._salt(now_s, low=True)
        volume = self.system.net_volume_l
        over = under = False
        for hours in (3, 6, 12, 24, 48, 96):
            if len(litres) < hours + 48:
                break
            expected = usual_h * hours
            if room:
                expected *= float(drive[-hours:].mean() / past_drive.mean())
            got = float(litres[-hours:].sum())
            sd = math.hypot(
                math.hypot(scatter * hours, 0.15 * expected), each * math.sqrt(max(expected / max(each, 1e-3), 1.0))
            )
            extra = (got - expected) / hours  # L/h
            if got > TOO_MUCH * expected and got - expected > 4.0 * sd + 0.002 * volume:
                over = True
                left = max(volume * (salinity / low - 1.0), 0.0)
                at = left / extra * 3600.0
                yield from self.hand.standing.begin(
                    much, m.id, now_s, got, at,
                    f"{named(m.id)} gave {got:.1f} L in {hours} h where {expected:.1f} L should have evaporated: "
                    f"{extra:.2f} L an hour too much, a leak, a siphon or a float; at this rate salinity reaches its "
                    f"limit of {edge(low, 'salinity', self.system)} {_span(at)}.",
                )  # fmt: skip
                break
            if hours >= 6 and got < TOO_LITTLE * expected and expected - got > 3.0 * sd:
                under = True
            if under:
                yield from self._too_little(f, now_s, -extra, f"gave {got:.1f} L in {hours} h where {expected:.1f} L")
                break
        rest, longest = now_s - m.since_s, max((s for _, s in list(m.rests_s)[-30:]), default=math.inf)
        if not m.on and len(m.rests_s) >= 8 and rest > max(2.0 * longest, 6 * 3600.0):
            under = True
            owed = usual_h * rest / 3600.0
            said = f"has rested for {rest / 3600:.0f} h ({longest / 3600:.1f} h at most before), while {owed:.1f} L"
            yield from self._too_little(f, now_s, usual_h, said)
        recent = float(litres[-12:].sum())
        expected = 12.0 * usual_h * (float(drive[-12:].mean() / past_drive.mean()) if room else 1.0)
        if not over and recent < 1.3 * expected:
            yield from self.hand.standing.end(much, now_s, f"{named(m.id)} gives what evaporates again.")
        if not under and recent > 0.7 * expected:
            yield from self.hand.standing.end(little, now_s, f"{named(m.id)} gives what evaporates again.")

    def _too_little(self, f: _Filler, now_s: float, short_l_h: float, said: str) -> Iterator[Finding]:
        salinity, high = self._salt(now_s, low=False)
        left = max(self.system.net_volume_l * (1.0 - salinity / high), 0.0) / max(short_l_h, 1e-6) * 3600.0
        limit = edge(high, "salinity", self.system)
        yield from self.hand.standing.begin(
            f"{f.machine.id}-too-little", f.machine.id, now_s, short_l_h * 24.0, left,
            f"{named(f.machine.id)} {said} should have evaporated. Look at reservoir and float; at "
            f"this rate salinity reaches its limit of {limit} {_span(left)}.",
        )  # fmt: skip


def _said(raw: object, dimension: str) -> float | None:
    if raw is None:
        return None
    try:
        return amount(raw, dimension, "topoff")
    except LeadlineError:
        return None


def _span(seconds: float) -> str:
    if seconds >= LONG_S * 10:
        return "in months"
    if seconds < NOW_S:
        return "now"
    hours = seconds / 3600.0
    if hours >= 48.0:
        return f"in {hours / 24:.0f} days"
    return f"in {hours:.0f} h" if hours >= 2.0 else f"in {seconds / 60:.0f} min"
