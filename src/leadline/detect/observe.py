"""One system under watch: streams in, findings out; the same for a live feed and for a recording."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from leadline.detect.absence import Absence, patience
from leadline.detect.edges import DELAYS, Edges
from leadline.detect.findings import Finding
from leadline.detect.hand import KEPT_S, Hand, Lookout, Track
from leadline.detect.machines import Machines
from leadline.detect.nights import Nights
from leadline.detect.probes import Probes
from leadline.system.description import System

Array = np.ndarray


@dataclass
class Observer:
    """What is remembered of one system between batches, and the lookouts that share it."""

    system: System
    hand: Hand = field(default_factory=Hand)

    def __post_init__(self) -> None:
        self._declared = {s.id: s for s in self.system.streams}
        self.probes = Probes(self.system, self.hand)
        self.absence = Absence(self.system, self.hand)
        # machines before bands: of findings of one moment the cause is to come first
        self.lookouts: tuple[Lookout, ...] = (
            self.absence, self.probes, Machines(self.system, self.hand),
            Edges(self.system, self.hand), Nights(self.system, self.hand),
        )  # fmt: skip

    @property
    def standing(self) -> Mapping[str, Finding]:
        """Conditions that hold, by name."""
        return self.hand.standing.now

    @property
    def patience_s(self) -> float:
        """After so long without a point the passing of time shows nothing new."""
        return KEPT_S + max((patience(s.period_s) for s in self.system.streams), default=patience(0.0))

    def take(self, stream: str, times_s: Array, values: Array) -> list[Finding]:
        """Points of one stream, ascending and later than those before; gives what they turned."""
        if not len(times_s):
            return []
        track = self.hand.tracks.get(stream) or self._begin(stream, times_s)
        good = self.probes.judge(track, times_s, values)
        track.add(times_s, good, values)
        return [f for lookout in self.lookouts for f in lookout.take(track, times_s, good)]

    def _begin(self, stream: str, times_s: Array) -> Track:
        said = self._declared.get(stream)
        quantity = said.quantity if said else stream if stream in DELAYS else ""
        period = said.period_s if said else float(np.median(np.diff(times_s))) if len(times_s) > 2 else 300.0
        track = self.hand.tracks[stream] = Track(stream, quantity, max(period, 1.0), bool(said and said.room))
        return track

    def tick(self, now_s: float) -> list[Finding]:
        """What the passing of time shows."""
        return [f for lookout in self.lookouts for f in lookout.tick(now_s)]


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
        filling = {name: slice(*map(int, c[k])) for name, c in cuts.items() if c[k, 1] > c[k, 0]}
        yield float((first + 1.0) * step_s), filling
        for empty in range(1, int(follow[k])):
            yield float((first + 1.0 + empty) * step_s), {}
