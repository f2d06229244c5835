"""What a heater or chiller really moves: slopes of temperature over spans in which it stood still, on or off.

C dT/dt = UA (room − T) + rest + moved · state. Differences of minute points put the noise on both sides and bias the
answer; straight lines over blocks with one state do not (sheet 8.2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray
BLOCK_S = 900.0


@dataclass(frozen=True, slots=True)
class Block:
    """A span with one state: its middle, slope and mean temperature."""

    at_s: float
    slope_k_s: float
    slope_sd: float
    mean_c: float
    on: bool


@dataclass(frozen=True, slots=True)
class Moved:
    """Heat that a machine adds to the water while it runs, with its standard error; below zero for cooling. [W]"""

    watts: float
    sd: float
    blocks_on: int
    blocks_off: int


def blocks(
    times_s: Array, temperature_c: Array, state: Array, block_s: float = BLOCK_S, step_c: float = 0.01
) -> list[Block]:
    """Straight lines over spans in which the state did not change.

    Parameters
    ----------
    state
        At each temperature point, 0 or 1.
    step_c
        The display's step: its rounding is the least scatter that a line can have.
    """
    found: list[Block] = []
    on = state > 0.5
    edges = np.flatnonzero(np.diff(on.astype(np.int8))) + 1
    for first, last in zip(np.concatenate(([0], edges)), np.concatenate((edges, [len(on)])), strict=True):
        begin = first
        while begin < last:
            end = int(np.searchsorted(times_s[:last], times_s[begin] + block_s, side="right"))
            if end - begin < 3 or times_s[end - 1] - times_s[begin] < 0.6 * block_s:
                break
            t = times_s[begin:end] - times_s[begin:end].mean()
            x = temperature_c[begin:end]
            spread = float((t * t).sum())
            slope = float((t * (x - x.mean())).sum() / spread)
            left = x - x.mean() - slope * t
            scatter = max(float((left * left).sum() / max(len(t) - 2, 1)), step_c**2 / 12.0)
            middle = float(times_s[begin:end].mean())
            found.append(Block(middle, slope, float(np.sqrt(scatter / spread)), float(x.mean()), bool(on[begin])))
            begin = end
    return found


def moved(found: list[Block], capacity_j_k: float, loss_w_k: float = 0.0, room_c: float | None = None) -> Moved | None:
    """Heat moved, from blocks on and off; None before there are three of each.

    Parameters
    ----------
    capacity_j_k
        Heat capacity of the water. [J/K]
    loss_w_k, room_c
        Walls' coefficient and the room, when known: they take the difference of temperature out. Both states then
        stand on the same rest of heat.
    """
    if sum(b.on for b in found) < 3 or sum(not b.on for b in found) < 3:
        return None
    on = np.array([b.on for b in found], dtype=float)
    warm = np.array([b.mean_c for b in found])
    base = warm.mean() if room_c is None else room_c
    y = capacity_j_k * np.array([b.slope_k_s for b in found]) - loss_w_k * (base - warm)
    # the day's course of lamps and room wanders: a straight line in time takes its slow part
    at = np.array([b.at_s for b in found])
    at = (at - at.mean()) / max(float(np.ptp(at)), 1.0)
    design = np.stack((np.ones(len(on)), on, at), axis=1)
    solved, *_ = np.linalg.lstsq(design, y, rcond=None)
    left = y - design @ solved
    scatter = float((left * left).sum() / max(len(y) - 3, 1))
    floor = float(np.mean([(capacity_j_k * b.slope_sd) ** 2 for b in found]))
    covariance = np.linalg.inv(design.T @ design) * max(scatter, floor)
    return Moved(float(solved[1]), float(np.sqrt(covariance[1, 1])), int(on.sum()), int((1 - on).sum()))


def together(parts: list[Moved]) -> Moved:
    """Several answers as one, each weighed by its certainty."""
    weight = np.array([1.0 / max(p.sd, 1e-9) ** 2 for p in parts])
    watts = float((weight * [p.watts for p in parts]).sum() / weight.sum())
    return Moved(watts, float(weight.sum() ** -0.5), sum(p.blocks_on for p in parts), sum(p.blocks_off for p in parts))
