"""The lookout for machines: it keeps their states, and asks each kind's own lookout what they show."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.machines.duty import Duty
from leadline.detect.machines.floats import Floats, is_float
from leadline.detect.machines.heat import Heat
from leadline.detect.machines.pumps import Pumps
from leadline.detect.machines.reservoir import Reservoirs
from leadline.detect.machines.states import Machine, kind_of
from leadline.detect.machines.topoff import Topoff
from leadline.system.description import System

Array = np.ndarray
LOOK_S = 540.0


@dataclass
class Machines:
    """All machines of a system that tell their state or power, described or not."""

    system: System
    hand: Hand
    known: dict[str, Machine | None] = field(default_factory=dict)
    looked_s: float = -np.inf

    def __post_init__(self) -> None:
        self.heat = Heat(self.system, self.hand)
        self.pumps = Pumps(self.system, self.hand)
        self.topoff = Topoff(self.system, self.hand)
        self.reservoirs = Reservoirs(self.system, self.hand)
        self.floats = Floats(self.system, self.hand)
        self.duty = Duty(self.system, self.hand)

    def take(self, track: Track, times_s: Array, values: Array) -> list[Finding]:
        """New points of one stream; those of probes say nothing here."""
        name = track.stream
        if name not in self.known:
            self._meet(track)
        machine = self.known[name]
        if machine is None:
            return []
        moments = machine.take(times_s, values)
        if moments and machine.kind in ("heater", "chiller"):
            self.heat.switched(machine, moments)
        elif moments and machine.kind == "pump":
            self.heat.stirred(moments)
        elif machine.kind == "topoff":
            return list(self.topoff.took(machine, machine.last_s))
        return []

    def _meet(self, track: Track) -> None:
        self.known[track.stream] = None
        self.reservoirs.add(track)
        if track.quantity not in ("", "power"):
            return
        kind, equipment = kind_of(self.system, track.stream)
        if kind:
            machine = self.known[track.stream] = Machine(track.stream, kind, equipment)
            for lookout in (self.heat, self.topoff, self.duty):
                lookout.add(machine)
            self.pumps.add(machine, track)
        elif is_float(track.stream):
            machine = self.known[track.stream] = Machine(track.stream, "float")
            self.floats.floats.append(machine)

    def tick(self, now_s: float) -> list[Finding]:
        """What the passing of time shows of all machines: looked at every ten minutes, however often it is asked."""
        if 0.0 <= now_s - self.looked_s < LOOK_S:  # a backlog that comes in goes back in time: it is looked at too
            return []
        self.looked_s = now_s
        return [
            *self.heat.tick(now_s), *self.pumps.tick(now_s), *self.topoff.tick(now_s), *self.floats.tick(now_s),
            *self.duty.tick(now_s), *self.reservoirs.tick(now_s),
        ]  # fmt: skip
