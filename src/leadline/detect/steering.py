"""Machines that a probe steers or that must move it: heaters and chillers by their states."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from leadline.detect.diagnosis import J_PER_L_K
from leadline.detect.hand import Hand, Track
from leadline.detect.past import Past
from leadline.detect.words import change, named
from leadline.system.description import Equipment, System

ON = 0.5  # a state above it, or a power in W, is on
LONG_ON_S = 1200.0


@dataclass(frozen=True, slots=True)
class Steered:
    """What follows when a machine is steered by a probe that does not show the water."""

    consequence: bool
    harm_s: float | None
    words: str


def thermal(system: System, hand: Hand) -> Iterator[tuple[Equipment, Track | None]]:
    """Heaters and chillers, each with the track of its state when there is one."""
    for e in system.equipment:
        if e.type in ("heater", "chiller"):
            yield e, hand.tracks.get(e.stream or e.id) or hand.tracks.get(e.id)


def steered(system: System, hand: Hand, track: Track, home: float, stuck: bool = False) -> Steered:
    """Whether a heater or chiller may act on what a probe of temperature shows.

    Nothing in a description says which probe steers which machine. A machine that has run without a pause for twenty
    minutes is taken to be misled; where there is no other probe of the water, one with a set-point may be.
    """
    if track.quantity != "temperature":
        return Steered(False, None, "")
    alone = sum(1 for _ in hand.of("temperature")) == 1
    for e, state in thermal(system, hand):
        on = state is not None and _running_s(state) >= LONG_ON_S
        if on and not stuck:
            harm = _until_harm(system, e, home)
            pace = 3600.0 * (e.power_w or 0.0) / (system.net_volume_l * J_PER_L_K)
            most = change(pace, "temperature", system, 1, sign=False)
            by = f" and moves the water by up to {most} an hour" if pace else ""
            return Steered(True, harm, f"{named(e.id)} runs without a pause{by}: it may be steered by this probe.")
        if alone and e.setpoint_c is not None:
            return Steered(True, None, f"{named(e.id)} may be steered by this probe: watch it.")
    return Steered(False, None, "")


def _running_s(state: Track) -> float:
    """How long a machine has been on without a pause, until its newest point. [s]"""
    on = state.raw > ON
    if not len(on) or not on[-1]:
        return 0.0
    off = np.flatnonzero(~on)
    return float(state.times[-1] - state.times[off[-1] + 1 if len(off) else 0])


def _until_harm(system: System, e: Equipment, home: float) -> float | None:
    """How long a machine takes to bring the water from its home to the limit, with nothing against it. [s]"""
    band = system.band("temperature")
    if band is None or band.limit is None or not e.power_w or home != home:
        return None
    left = band.limit[1] - home if e.type == "heater" else home - band.limit[0]
    return max(left, 0.0) * system.net_volume_l * J_PER_L_K / e.power_w


def stirred(system: System, hand: Hand, track: Track, past: Past, now_s: float) -> str | None:
    """In words, that a heater or chiller ran long enough to move the water while a probe stood still; else None.

    Two spans of running and two of rest at least, each worth several steps of the display: one alone could be held
    in balance by the room.
    """
    if track.quantity != "temperature" or not np.isfinite(past.step):
        return None
    for e, state in thermal(system, hand):
        if state is None or not e.power_w:
            continue
        k = int(np.searchsorted(state.times, past.run_since))
        t, on = state.times[k:], state.raw[k:] > ON
        if len(t) < 4:
            continue
        edges = np.flatnonzero(np.diff(on.astype(np.int8))) + 1
        starts = np.concatenate(([0], edges))
        ends = np.append(t[edges], t[-1])
        spans = ends - t[starts]
        pace = e.power_w / (system.net_volume_l * J_PER_L_K)
        could = spans[on[starts]] * pace
        worth = could > max(5.0 * past.step, 0.05)
        rests = spans[~on[starts]] > 300.0
        if worth.sum() >= 2 and rests.sum() >= 2:
            return (
                f"{e.id} ran {int(on[starts].sum())} times meanwhile and should have moved it by "
                f"{change(float(could.max()), 'temperature', system, 2, sign=False)} each time"
            )
    return None
