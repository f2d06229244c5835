"""What one quantity's track says of another's: salt moves all conservative ions, skeleton takes ions in proportion.

Alkalinity, calcium, magnesium, potassium and strontium rise and fall together with salinity when water leaves or salt
comes. Calcification takes two equivalents of alkalinity with one mole of metal: 20.04 mg/L calcium for each meq/L.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from leadline.estimate.families import FAMILIES
from leadline.estimate.grid import GAIN, LEVEL, SECOND, transition_noise
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

    What the filter's own rate foretold is change. Of the jump at a reading, part corrects an older error and part is
    change since the last reading; the share of change is the share of the variance that grew since then. An error
    that a kit keeps (its bias) is not corrected by that kit, so it does not count as long as the kit stays the same.
    """
    n = len(track.sightings)
    if n < 2:
        return None
    s = track.sightings
    t = s.t
    keep, mean_keep, dose, other, _ = track.events.between(t)
    before, p = track.post_mean[:-1], track.post_cov[:-1]
    driven = keep * before[:, LEVEL] + dose * (1.0 + before[:, GAIN]) + other  # where known inputs alone would lead
    f01 = transition_noise(np.diff(t), np.full(n - 1, track.theta), np.zeros(n - 1))[0] * mean_keep
    drift = f01 * before[:, SECOND]
    row, slot = np.arange(n - 1), s.slot[1:]
    seen_var = p[:, LEVEL, LEVEL] + 2 * p[row, LEVEL, slot] + p[row, slot, slot]
    correctable = np.where(s.fresh[1:], p[:, LEVEL, LEVEL], np.maximum(seen_var, 0.0)) * keep**2
    grown = np.maximum(_grown(track, t) - p[:, LEVEL, LEVEL], 0.0)
    share = grown / np.maximum(grown + correctable, 1e-12)
    moved = drift + share * (track.post_mean[1:, LEVEL] - driven - drift)
    ratio = np.clip(moved / np.maximum(driven, 1.0), -0.3, 0.3)
    sd = np.sqrt(share * np.minimum(track.post_cov[1:, LEVEL, LEVEL], grown + correctable)) / np.maximum(driven, 1.0)
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


@dataclass(frozen=True, slots=True)
class Calcification:
    """Alkalinity taken by the system: cumulative [meq/L] at its readings `t` [d]; rate and its sd after each."""

    t: Array
    total: Array
    rate: Array
    rate_sd: Array


def calcification(track: Track) -> Calcification | None:
    """Alkalinity demand along time, from its own track; None before it is known."""
    n = len(track.sightings)
    if n < 3 or not len(track.events.t):
        return None
    t = track.sightings.t
    rate = np.maximum(-track.post_mean[:, SECOND], 0.0)
    total = np.concatenate(([0.0], np.cumsum(np.diff(t) * rate[:-1])))
    return Calcification(t, total, rate, np.sqrt(np.maximum(track.post_cov[:, SECOND, SECOND], 0.0)))


def dosed_alike(quantity: str, inputs: Inputs, today: float, window: float = 120.0) -> bool:
    """True when this quantity's doses keep step with alkalinity's, so that both logs tell the same story."""
    if quantity != "calcium":
        return True
    since = today - window
    alk, own = inputs.of("alkalinity"), inputs.of(quantity)
    a = float(alk.dose[alk.t >= since].sum())
    c = float(own.dose[own.t >= since].sum())
    return c > 0.3 * a * PER_MEQ["calcium"][0]


@dataclass(frozen=True, slots=True)
class Couplings:
    """What salinity's and alkalinity's tracks say of the others, worked out once; nothing later than asked is used."""

    salinity: Track | None
    salt: SaltChanges | None
    taken: Calcification | None

    def between(self, q: str, start: Array, end: Array, with_salt: bool, coupled: bool) -> tuple[Array, Array, Array]:
        """Keep, other input and variance of one quantity over gaps from its own reading at `start` to `end`; (n,)."""
        n = len(end)
        keep, other, var = np.ones(n), np.zeros(n), np.zeros(n)
        if with_salt and self.salinity is not None and len(self.salinity.sightings):
            log_keep, v = self._salted(self.salinity, start, end)
            keep = np.exp(log_keep)
            var = v * FAMILIES[q].prior[0] ** 2
        if coupled and self.taken is not None:
            c = self.taken
            per, doubt = PER_MEQ[q]
            gone = _cumulative(c, end) - _cumulative(c, start)
            last = np.clip(np.searchsorted(c.t, end, side="right") - 1, 0, None)
            blind = np.maximum(end - np.maximum(start, c.t[last]), 0.0)  # since alkalinity itself was read
            other = -per * gone
            var = var + (0.25 * doubt * per * gone) ** 2 + 0.5 * (per * c.rate_sd[last] * blind) ** 2
        return keep, other, var

    def _salted(self, salinity: Track, start: Array, end: Array) -> tuple[Array, Array]:
        """Log ratio by which salt moved in each gap, revealed or reckoned by its end, and its variance."""
        t = salinity.sightings.t
        last = np.searchsorted(t, end, side="right") - 1
        known = last >= 0
        last = np.clip(last, 0, None)
        log_keep, var = np.zeros(len(end)), np.zeros(len(end))
        if self.salt is not None:
            log_keep, var = _revealed(self.salt, start, end)
        d = np.where(known, np.maximum(end - np.maximum(start, t[last]), 0.0), 0.0)
        level = np.maximum(salinity.post_mean[last, LEVEL], 1.0)
        grown = d * d * salinity.post_cov[last, SECOND, SECOND] + salinity.walk[last] * d**3 / 3
        grown = grown + float(np.mean(salinity.level_walk)) * d
        log_keep = log_keep + np.clip(salinity.post_mean[last, SECOND] * d / level, -0.2, 0.2)
        return log_keep, var + np.minimum(grown, 4.0) / level**2

    def ahead(self, q: str, days: Array, coupled: bool) -> tuple[Array, Array]:
        """Other input and variance of one quantity over `days` (n,) beyond now."""
        if not coupled or self.taken is None:
            return np.zeros(len(days)), np.zeros(len(days))
        per, doubt = PER_MEQ[q]
        gone = float(self.taken.rate[-1]) * days
        rate_sd = float(self.taken.rate_sd[-1])
        return -per * gone, (0.25 * doubt * per * gone) ** 2 + 0.5 * (per * rate_sd * days) ** 2

    def extra(self, coupled: bool) -> Extra:
        """The same for `replay`: further motion of a conservative ion between its own readings."""

        def motion(quantity: str, edges: Array) -> tuple[Array, Array, Array]:
            return self.between(quantity, edges[:-1], edges[1:], True, coupled)

        return motion


def couplings(tracks: Mapping[str, Track]) -> Couplings:
    """The couplings of a system's tracks, of those that are there."""
    salinity, alk = tracks.get("salinity"), tracks.get("alkalinity")
    return Couplings(
        salinity,
        salt_changes(salinity) if salinity is not None else None,
        calcification(alk) if alk is not None else None,
    )


def _cumulative(taken: Calcification, t: Array) -> Array:
    """Alkalinity taken up to each moment [meq/L], at each moment by the rate last known then."""
    last = np.clip(np.searchsorted(taken.t, t, side="right") - 1, 0, None)
    return taken.total[last] + taken.rate[last] * (t - taken.t[last])


def _revealed(changes: SaltChanges, start: Array, end: Array) -> tuple[Array, Array]:
    """Salinity's unexplained changes revealed in each gap (start, end]: log ratio and variance, only what is since
    `start` of each."""
    n = len(end)
    first = np.searchsorted(changes.end, start, side="right")
    upto = np.searchsorted(changes.end, end, side="right")
    length = np.maximum(changes.end - changes.start, 1e-9)
    ratio = np.concatenate(([0.0], np.cumsum(changes.log_ratio)))
    var = np.concatenate(([0.0], np.cumsum(changes.sd**2)))
    out, out_var = ratio[upto] - ratio[first], var[upto] - var[first]
    # the first change revealed in the gap may have begun before it
    cut = (upto > first) & (first < len(changes.end))
    i = np.clip(first, 0, len(changes.end) - 1)
    part = np.clip((changes.end[i] - start) / length[i], 0.0, 1.0)
    out = out - np.where(cut, (1.0 - part) * changes.log_ratio[i], 0.0)
    out_var = out_var - np.where(cut, (1.0 - part) * changes.sd[i] ** 2, 0.0)
    return out, np.maximum(out_var, np.zeros(n))
