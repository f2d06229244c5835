"""What one quantity's track says of another's: salt moves all conservative ions, skeleton takes ions in proportion.

Alkalinity, calcium, magnesium, potassium and strontium rise and fall together with salinity when water leaves or salt
comes. Calcification takes two equivalents of alkalinity with one mole of metal: 20.04 mg/L calcium for each meq/L.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from leadline.estimate.grid import LEVEL, SECOND
from leadline.estimate.inputs import Inputs
from leadline.estimate.replay import Track

Array = np.ndarray
Extra = Callable[[str, Array], tuple[Array, Array, Array]]

# mg/L per meq/L of alkalinity taken, and relative doubt of the ratio (skeletal Mg/Ca 0.004 to 0.12 mol/mol, Sr/Ca
# 9e-3: memory; field flux ratios 1.6 to 2.06 : 1, Murillo, Jokiel and Atkinson 2014)
PER_MEQ: dict[str, tuple[float, float]] = {"calcium": (19.5, 0.12), "magnesium": (0.6, 0.9), "strontium": (0.39, 0.4)}


@dataclass(frozen=True, slots=True)
class SaltChanges:
    """Relative changes of salinity that no known input explains: between `start` and `end` [d], log ratio, its sd."""

    start: Array
    end: Array
    log_ratio: Array
    sd: Array


def salt_changes(track: Track) -> SaltChanges | None:
    """Unexplained changes of salinity, one for each reading of it.

    At a reading the filter moves its level. Part of that move corrects an older error and part is change since the
    last reading; the share of change is the share of the variance that grew since then.
    """
    n = len(track.sightings)
    if n < 2:
        return None
    t = track.sightings.t
    keep, _, dose, other, _ = track.events.between(t)
    before = track.post_mean[:-1, LEVEL]
    before_var = track.post_cov[:-1, LEVEL, LEVEL] * keep**2
    driven = keep * before + dose + other  # where known inputs alone would have brought it
    prior_var = _grown(track, t)
    share = np.clip((prior_var - before_var) / np.maximum(prior_var, 1e-12), 0.0, 1.0)
    moved = (track.post_mean[1:, LEVEL] - driven) * share
    ratio = np.clip(moved / np.maximum(driven, 1.0), -0.3, 0.3)
    sd = np.sqrt(share * track.post_cov[1:, LEVEL, LEVEL]) / np.maximum(driven, 1.0)
    return SaltChanges(t[:-1], t[1:], np.log1p(ratio), sd)


def _grown(track: Track, t: Array) -> Array:
    """Variance of the level just before each reading after the first, from the collapsed state after the one before."""
    d = np.diff(t)
    p = track.post_cov[:-1]
    walk = float(np.mean(track.level_walk))
    grown: Array = (
        p[:, LEVEL, LEVEL] + 2 * d * p[:, LEVEL, SECOND] + d * d * p[:, SECOND, SECOND]
        + track.walk[:-1] * d**3 / 3 + walk * d
    )  # fmt: skip
    return grown


def with_salt(changes: SaltChanges | None) -> Extra | None:
    """Further motion of a conservative ion from unexplained changes of salinity."""
    if changes is None:
        return None

    def extra(quantity: str, edges: Array) -> tuple[Array, Array, Array]:
        log_keep, var = _ratios(changes, edges)
        return np.exp(log_keep), np.zeros(len(edges) - 1), var * _typical(quantity) ** 2

    return extra


def _typical(quantity: str) -> float:
    from leadline.estimate.families import FAMILIES

    return FAMILIES[quantity].prior[0]


def _ratios(changes: SaltChanges, edges: Array) -> tuple[Array, Array]:
    """Log ratio and variance of salinity's change in each gap between `edges`: each change spread over its time."""
    n = len(edges) - 1
    if n <= 0:
        return np.zeros(0), np.zeros(0)
    length = np.maximum(changes.end - changes.start, 1e-9)
    # a gap that ends before the salinity reading that revealed the change sees nothing of it; the gap in which it
    # was revealed sees the part that happened since this quantity's own last reading
    out = np.zeros(n)
    which = np.searchsorted(edges, changes.end, side="left") - 1
    inside = (which >= 0) & (which < n)
    part = np.clip((changes.end - edges[np.clip(which, 0, n - 1)]) / length, 0.0, 1.0)
    out += np.bincount(which[inside], weights=(changes.log_ratio * part)[inside], minlength=n)
    var = np.bincount(which[inside], weights=((changes.sd**2) * part)[inside], minlength=n)
    return out, var


@dataclass(frozen=True, slots=True)
class Calcification:
    """Alkalinity taken by the system: cumulative [meq/L] at days `t`, and the relative doubt of its rate."""

    t: Array
    total: Array
    rate: float
    rate_sd: float


def calcification(track: Track) -> Calcification | None:
    """Alkalinity demand along time, from its own track; None before it is known."""
    n = len(track.sightings)
    if n < 3 or not len(track.events.t):
        return None
    t = track.sightings.t
    rate = np.maximum(-track.post_mean[:, SECOND], 0.0)
    total = np.concatenate(([0.0], np.cumsum(np.diff(t) * (rate[1:] + rate[:-1]) / 2)))
    sd = float(np.sqrt(max(track.post_cov[-1, SECOND, SECOND], 0.0)))
    return Calcification(t, total, float(rate[-1]), sd)


def dosed_alike(quantity: str, inputs: Inputs, today: float, window: float = 120.0) -> bool:
    """True when this quantity's doses keep step with alkalinity's, so that both logs tell the same story."""
    if quantity != "calcium":
        return True
    since = today - window
    alk, own = inputs.of("alkalinity"), inputs.of(quantity)
    a = float(alk.dose[alk.t >= since].sum())
    c = float(own.dose[own.t >= since].sum())
    return c > 0.3 * a * PER_MEQ["calcium"][0]


def with_salt_and_skeleton(changes: SaltChanges | None, taken: Calcification | None) -> Extra | None:
    """Both couplings: salinity's unexplained changes, and what skeleton took with the alkalinity."""
    salt = with_salt(changes)
    if taken is None:
        return salt

    def extra(quantity: str, edges: Array) -> tuple[Array, Array, Array]:
        n = len(edges) - 1
        if salt is None:
            keep, other, var = np.ones(n), np.zeros(n), np.zeros(n)
        else:
            keep, other, var = salt(quantity, edges)
        per, doubt = PER_MEQ[quantity]
        gone = np.diff(_cumulative(taken, edges))
        return keep, other - per * gone, var + (0.25 * doubt * per * gone) ** 2

    return extra


def _cumulative(taken: Calcification, t: Array) -> Array:
    """Alkalinity taken up to each moment [meq/L]: steady before the first and after the last reading."""
    inside: Array = np.interp(t, taken.t, taken.total)
    first = (taken.total[1] - taken.total[0]) / max(taken.t[1] - taken.t[0], 1e-9)
    early = np.minimum(t - taken.t[0], 0.0) * first
    late = np.maximum(t - taken.t[-1], 0.0) * taken.rate
    return inside + early + late


def motion_after_last(
    tracks: Mapping[str, Track], names: Sequence[str], start: Array, end: Array
) -> tuple[Array, Array, Array]:
    """Coupled keep, other input and variance of each quantity from its last reading to now. Arrays (B,)."""
    b = len(names)
    keep, other, var = np.ones(b), np.zeros(b), np.zeros(b)
    salinity = tracks.get("salinity")
    changes = salt_changes(salinity) if salinity is not None else None
    alk = tracks.get("alkalinity")
    taken = calcification(alk) if alk is not None else None
    for j, q in enumerate(names):
        t = tracks[q]
        if t.family.with_salt and salinity is not None:
            edges = np.array([start[j], end[j]])
            if changes is not None:
                ratio, v = _ratios(changes, edges)
                keep[j] *= np.exp(ratio[0])
                var[j] += v[0] * _typical(q) ** 2
            if len(salinity.sightings):
                d = max(end[j] - max(start[j], salinity.last), 0.0)
                p, level = salinity.post_cov[-1], max(float(salinity.post_mean[-1, LEVEL]), 1.0)
                grown = d * d * p[SECOND, SECOND] + float(salinity.walk[-1]) * d**3 / 3
                grown += float(np.mean(salinity.level_walk)) * d
                keep[j] *= np.exp(np.clip(salinity.post_mean[-1, SECOND] * d / level, -0.2, 0.2))
                var[j] += min(grown, 4.0) / level**2 * _typical(q) ** 2
        if t.coupled and taken is not None:
            per, doubt = PER_MEQ[q]
            gone = float(np.diff(_cumulative(taken, np.array([start[j], end[j]])))[0])
            d = max(end[j] - start[j], 0.0)
            other[j] -= per * gone
            var[j] += (0.25 * doubt * per * gone) ** 2 + (per * taken.rate_sd * d) ** 2 * 0.5
    return keep, other, var


def motion_ahead(tracks: Mapping[str, Track], names: Sequence[str], days: Array) -> tuple[Array, Array]:
    """Coupled other input and variance of each quantity over `days` ahead of now. Arrays (B,)."""
    other, var = np.zeros(len(names)), np.zeros(len(names))
    alk = tracks.get("alkalinity")
    taken = calcification(alk) if alk is not None else None
    if taken is None:
        return other, var
    for j, q in enumerate(names):
        if tracks[q].coupled:
            per, doubt = PER_MEQ[q]
            gone = taken.rate * days[j]
            other[j] -= per * gone
            var[j] += (0.25 * doubt * per * gone) ** 2 + (per * taken.rate_sd * days[j]) ** 2 * 0.5
    return other, var
