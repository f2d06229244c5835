"""Floats and level switches that stopped changing where they used to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand
from leadline.detect.machines.states import Machine
from leadline.detect.words import named
from leadline.system.description import System

NAMES = ("float", "level", "switch")
KNOWN_S, LEAST = 3 * 86400.0, 6
HARM_S = 86400.0  # a float that lies shows in the water within a day or so (census E01, E02): judgement


def is_float(stream: str) -> bool:
    """Whether a stream without a quantity is named like a float or switch."""
    return any(word in stream for word in NAMES)


@dataclass
class Floats:
    """The lookout for floats: `sump-float-stuck`."""

    system: System
    hand: Hand
    floats: list[Machine] = field(default_factory=list)

    def tick(self, now_s: float) -> Iterator[Finding]:
        """Which of them has stood for four times as long as it ever did."""
        for m in self.floats:
            if not m.fresh(now_s):
                continue
            name = f"{m.id}-stuck"
            still = now_s - m.since_s
            spans = [s for _, s in (*m.runs_s, *m.rests_s)]
            if len(spans) >= LEAST and m.known_s > KNOWN_S and still > max(4.0 * max(spans), 6 * 3600.0):
                yield from self.hand.standing.begin(
                    name, m.id, now_s, float(bool(m.on)), HARM_S,
                    f"{named(m.id)} has shown {int(bool(m.on))} for {still / 3600:.0f} h and never stood longer than "
                    f"{max(spans) / 3600:.1f} h before: move it by hand.",
                )  # fmt: skip
            elif still < 3600.0 or now_s - m.since_s < max(spans, default=0.0):
                yield from self.hand.standing.end(name, now_s, f"{named(m.id)} moves again.")
