"""How a probe sees the water: slow, noisy, stepped, drifting, fouled, stuck, spiked, silent, on a wrong clock.

Figures of a probe are judgement unless its maker says; the order of effects is that of the instrument: the membrane's
lag, then drift and noise of the electrode, then the step of the display, then what happens on the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

Array = np.ndarray
Span = tuple[float, float]


@dataclass(frozen=True)
class Probe:
    """One instrument on a stream.

    Attributes
    ----------
    period_s, jitter_s
        Time between points, and how far each strays. [s]
    lag_s
        Time constant of its response. [s]
    noise, step
        Scatter, one sd, and the smallest step of the display, in the quantity's unit.
    offset, drift_per_day, calibrations
        What it reads too high, how that grows, and when (seconds) it is set back to `offset`.
    fouling_per_day
        How much slower it answers each day since the last cleaning, as a share of `lag_s` (lag × (1 + fouling × days)).
    cleanings
        When it is cleaned. [s]
    stuck, silent
        Spans in which it repeats its last value, or sends nothing. [s]
    spikes_per_day, spike
        How often a point is wild, and how far it flies.
    loss
        Share of points lost on the way. [1]
    clock_offset_s, clock_ppm
        What its clock is ahead by, and how fast it runs. [s], [1e-6]
    """

    period_s: float = 300.0
    jitter_s: float = 0.0
    lag_s: float = 30.0
    noise: float = 0.0
    step: float = 0.0
    offset: float = 0.0
    drift_per_day: float = 0.0
    calibrations: Sequence[float] = ()
    fouling_per_day: float = 0.0
    cleanings: Sequence[float] = ()
    stuck: Sequence[Span] = ()
    silent: Sequence[Span] = ()
    spikes_per_day: float = 0.0
    spike: float = 0.0
    loss: float = 0.0
    clock_offset_s: float = 0.0
    clock_ppm: float = 0.0
    bounds: Span = field(default=(-np.inf, np.inf))


def readings(probe: Probe, times_s: Array, truth: Array, chance: np.random.Generator) -> tuple[Array, Array]:
    """The stream of a probe from the truth at even moments.

    Parameters
    ----------
    times_s, truth
        Moments [s], ascending, and the true value at each.
    chance
        The generator that decides noise, spikes and losses.

    Returns
    -------
    times, values
        As the probe's own clock and display say them.
    """
    ages = _since(times_s, probe.cleanings)
    lag = np.maximum(probe.lag_s * (1.0 + probe.fouling_per_day * ages / 86400.0), 1e-3)
    slow = _lagged(times_s, truth, lag)
    at = np.arange(times_s[0], times_s[-1] + 0.5, probe.period_s)
    at = at + chance.normal(0.0, probe.jitter_s, len(at)) if probe.jitter_s else at
    values = np.interp(at, times_s, slow)
    values = values + probe.offset + probe.drift_per_day * _since(at, probe.calibrations) / 86400.0
    values = values + chance.normal(0.0, 1.0, len(at)) * probe.noise
    wild = chance.random(len(at)) < probe.spikes_per_day * probe.period_s / 86400.0
    values = values + np.where(wild, probe.spike * chance.choice([-1.0, 1.0], len(at)), 0.0)
    for first, last in probe.stuck:
        inside = np.flatnonzero((at >= first) & (at <= last))
        if len(inside):
            values[inside] = values[max(inside[0] - 1, 0)]
    values = np.clip(values, *probe.bounds)
    if probe.step > 0.0:
        values = np.round(values / probe.step) * probe.step
    kept = chance.random(len(at)) >= probe.loss
    for first, last in probe.silent:
        kept &= ~((at >= first) & (at <= last))
    clock = at + probe.clock_offset_s + probe.clock_ppm * 1e-6 * (at - times_s[0])
    return clock[kept], values[kept]


def _since(times_s: Array, events: Sequence[float]) -> Array:
    """Time since the latest of some events, or since the first moment. [s]"""
    marks = np.array(sorted({float(times_s[0]), *events}))
    found = np.searchsorted(marks, times_s, side="right") - 1
    return times_s - marks[np.maximum(found, 0)]


def _lagged(times_s: Array, truth: Array, lag_s: Array) -> Array:
    """First-order response, exact for a truth that stands still between moments."""
    out = np.empty(len(truth))
    seen = float(truth[0])
    part = 1.0 - np.exp(-np.diff(times_s, prepend=times_s[0]) / lag_s)
    for i in range(len(truth)):
        seen += (float(truth[i]) - seen) * float(part[i])
        out[i] = seen
    return out
