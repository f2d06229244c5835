"""A value that stopped coming: one stream, or everything of a system at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.words import named
from leadline.system.description import System

Array = np.ndarray
SILENT_PERIODS, SILENT_LEAST_S = 5.0, 900.0
ALL = "all-streams"


@dataclass
class Absence:
    """The lookout for silence: `temperature-silent`, and `all-streams-silent` when nothing comes from a system."""

    system: System
    hand: Hand
    listens_since_s: float = -np.inf  # a watch that was down heard nobody: silence is counted from its start
    live: set[str] | None = None  # streams that a feed brings; what is only imported now and then is never silent

    def take(self, track: Track, times_s: Array, values: Array) -> list[Finding]:
        """A stream that is heard again."""
        at = float(times_s[-1])
        standing = self.hand.standing
        found = list(standing.end(f"{track.stream}-silent", at, f"{named(track.stream)} is heard again."))
        return found + list(standing.end(f"{ALL}-silent", at, f"{named(self.system.id)} is heard again."))

    def tick(self, now_s: float) -> list[Finding]:
        """Streams from which nothing has come for five of their periods, and a quarter of an hour at least."""
        quiet = {
            t.stream: now_s - max(t.last_s, self.listens_since_s)
            for t in self.hand.tracks.values()
            if t.last_s is not None and (self.live is None or t.stream in self.live)
        }
        silent = [s for s, span in quiet.items() if span > patience(self.hand.tracks[s].period_s)]
        standing = self.hand.standing
        if len(silent) == len(quiet) >= 2:
            span = min(quiet.values())
            return list(standing.begin(
                f"{ALL}-silent", ALL, now_s, None, None,
                f"Nothing has come from {self.system.id} for {span / 60:.0f} min, from none of its {len(quiet)} "
                "streams: look at power, network and broker.",
            ))  # fmt: skip
        found: list[Finding] = []
        for stream in silent:
            period = self.hand.tracks[stream].period_s
            found += standing.begin(
                f"{stream}-silent", stream, now_s, None, None,
                f"{named(stream)} has sent nothing for {quiet[stream] / 60:.0f} min; it should every {_span(period)}.",
            )  # fmt: skip
        return found


def patience(period_s: float) -> float:
    """How long a stream may be quiet. [s]"""
    return max(SILENT_PERIODS * period_s, SILENT_LEAST_S)


def _span(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds >= 60.0 else f"{seconds:.0f} s"
