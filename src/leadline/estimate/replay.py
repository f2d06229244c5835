"""The journal replayed through the bank of filters: one track a quantity, each reading judged before it is used."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from leadline.estimate import slips
from leadline.estimate.families import FAMILIES, Family
from leadline.estimate.grid import (
    GAIN,
    JUMP_PRIOR,
    KIT1,
    KIT2,
    LEVEL,
    POISONED_PRIOR,
    PROBE,
    SECOND,
    STATES,
    Bank,
    Motion,
    Seen,
    Sight,
    Transition,
    predict,
    redraw,
    transition_noise,
    update,
)
from leadline.estimate.inputs import Events
from leadline.estimate.sightings import Sightings

Array = np.ndarray

# the grid: intensity of the rate's walk (scales² d⁻³) or of the departure, times repeatability
RATE_WALKS = np.array([3e-7, 1e-5, 1e-4, 1e-3, 1e-5, 1e-3, 1e-2])
LEVEL_TIMES = np.array([1.0, 1.0, 1.0, 1.0, 4.0, 4.0, 4.0])  # the family's level walk, in sd
DEPARTURES = np.array([0.1, 0.3, 1.0, 3.0, 9.0, 1.0, 4.0])  # times the family's departure variance
SLOW_TIMES = np.array([0.3, 1.0, 1.0, 1.0, 1.0, 4.0, 4.0])  # the family's level walk beside it, in sd
NOISE_TIMES = np.array([0.5, 1.0, 2.0, 4.5, 9.0])
_TIMES = np.tile(NOISE_TIMES, len(RATE_WALKS))
NOISE_PRIOR = 0.15  # log-weight of a doubling of the stated noise, squared; tuned on seeds below 1000
STEP_DAYS = 120.0  # mean time between steps of demand; judgement, resting on a design study
PUMP_GAIN_SD = 0.09  # a dosing pump's calibration; common practice
PROBE_DRIFT = 0.004  # of the probe's bias sd, squared per day: about one bias sd in eight months


@dataclass(slots=True)
class Track:
    """All that is known of one quantity: its readings as judged, and the filters after the last of them.

    Arrays over readings (n,): `expected`, `expected_sd` of the reading just before it; `hypotheses` (n, 3) weights of
    nominal, blunder, step; collapsed state after it `post_mean` (n, 6), `post_cov` (n, 6, 6); `walk` mean intensity
    of the rate's walk. `bank` holds the one quantity's filters (1, G). Days since 1970.
    """

    quantity: str
    family: Family
    scale: float
    sightings: Sightings
    events: Events
    bank: Bank
    last: float  # day of the last reading, or of the start
    start: float
    rate_walk: Array  # (G,)
    level_walk: Array  # (G,)
    departure: Array  # (G,)
    opened: tuple[Array, Array, float] | None = None  # collapsed belief before any reading: mean, cov, walk
    coupled: bool = False  # calcification's share comes from alkalinity's track
    expected: Array = field(default_factory=lambda: np.zeros(0))
    expected_sd: Array = field(default_factory=lambda: np.zeros(0))
    foretold: tuple[Array, Array, Array] | None = None  # mean, sd, weight (n, G) of each reading before it
    before_level: tuple[Array, Array] | None = None  # mean and variance (n, G) of the level itself before it
    hypotheses: Array = field(default_factory=lambda: np.zeros((0, 3)))
    post_mean: Array = field(default_factory=lambda: np.zeros((0, STATES)))
    post_cov: Array = field(default_factory=lambda: np.zeros((0, STATES, STATES)))
    walk: Array = field(default_factory=lambda: np.zeros(0))

    @property
    def departs(self) -> float:
        return 1.0 if self.family.kind == "regulated" else 0.0

    @property
    def theta(self) -> float:
        return 1.0 / self.family.memory_d


def noise_grid(regulated: bool, scale: float, family: Family) -> tuple[Array, Array, Array, Array, Array]:
    """The grid of one quantity: rate walk, level walk, departure variance, repeatability factor, log prior; (G,)."""
    walks = RATE_WALKS
    if regulated:
        factor = np.repeat(DEPARTURES, len(NOISE_TIMES))
        departure = factor * (family.departure_sd * scale) ** 2
        level = (np.repeat(SLOW_TIMES, len(NOISE_TIMES)) * family.level_walk * scale) ** 2
        rate = np.zeros_like(departure)
        prior = -0.125 * np.log2(factor) ** 2
    else:
        rate = np.repeat(walks, len(NOISE_TIMES)) * scale**2
        level = (np.repeat(LEVEL_TIMES, len(NOISE_TIMES)) * family.level_walk * scale) ** 2
        departure = np.zeros_like(rate)
        prior = np.zeros_like(rate)
    times = np.tile(NOISE_TIMES, len(walks))
    log_prior = prior - NOISE_PRIOR * np.log2(times) ** 2
    log_prior -= np.log(np.exp(log_prior).sum())
    return rate, level, departure, times, log_prior


Extra = Callable[[str, Array], tuple[Array, Array, Array]]
"""For a quantity and its edges (n+1,): further keep, other input, and its variance in each gap (n,)."""


def replay(
    quantities: Sequence[str],
    sightings: Mapping[str, Sightings],
    events: Mapping[str, Events],
    now: float,
    volume_sd: float,
    dosed: set[str],
    prior_mean: Mapping[str, float],
    extra: Extra | None = None,
    coupled: bool = False,
) -> dict[str, Track]:
    """Run the filters of `quantities` over their readings, all of them side by side.

    Parameters
    ----------
    now
        The moment at which all is asked. [d]
    volume_sd
        Relative standard deviation of the stated net volume. [1]
    prior_mean
        Prior means that the system's description decides, such as the heater's setpoint. [stored unit]
    extra
        Further motion that another quantity's track decides (salinity, calcification).
    coupled
        True when `extra` holds calcification, so that the rate is only what remains.

    Returns
    -------
    dict
        A track for each quantity, in the order given.
    """
    order = sorted(quantities, key=lambda q: -len(sightings[q]))
    tracks = [_open(q, sightings[q], events[q], now, volume_sd, q in dosed, prior_mean.get(q), coupled) for q in order]
    if not tracks:
        return {}
    counts = [len(sightings[q]) for q in order]
    n_max, b = counts[0], len(order)
    if n_max:
        _run(tracks, counts, n_max, b, extra)
    found = {t.quantity: t for t in tracks}
    return {q: found[q] for q in quantities}


def most_of(family: Family) -> float:
    """A level that systems hardly pass: what a share of a reading is taken of when the reading is far beyond it."""
    return family.prior[0] + 4.0 * family.prior[1]


def _open(
    name: str,
    seen: Sightings,
    events: Events,
    now: float,
    volume_sd: float,
    dosed: bool,
    prior: float | None,
    coupled: bool = False,
) -> Track:
    family = FAMILIES[name]
    scale = family.scale
    if family.proportional and len(seen):
        # a first reading in the wrong unit must not set the scale
        scale = max(scale, family.proportional * min(float(np.median(seen.value[:5])), most_of(family)))
    rate, level, departure, times, log_prior = noise_grid(family.kind == "regulated", scale, family)
    g = len(times)
    mean = np.zeros((1, g, STATES))
    cov = np.zeros((1, g, STATES, STATES))
    mean[..., LEVEL] = family.prior[0] if prior is None else prior
    prior_sd = family.prior[1]
    if family.positive and len(seen):
        prior_sd = max(prior_sd, 3.0 * scale)
    cov[..., LEVEL, LEVEL] = prior_sd**2
    cov[..., SECOND, SECOND] = (family.rate_sd * scale) ** 2 if family.kind == "drifting" else departure
    gain_sd = float(np.hypot(volume_sd, PUMP_GAIN_SD)) if dosed else 0.0
    cov[..., GAIN, GAIN] = gain_sd**2
    first = {}
    for slot in (KIT1, KIT2, PROBE):
        at = np.flatnonzero(seen.slot == slot)
        if len(at):
            first[slot] = at[0]
            share_of = min(float(seen.value[at[0]]), most_of(family))
            cov[..., slot, slot] = seen.bias_sd[at[0]] ** 2 + (seen.bias_relative[at[0]] * share_of) ** 2
    begin = float(seen.t[0]) if len(seen) else now
    if not len(seen):  # never measured: a belief that neither moves nor widens
        cov[..., SECOND, SECOND] *= 1e-6
        rate, level, departure = rate * 0.0, level * 0.0, departure * 1e-6
    w = np.exp(log_prior)
    opened = (mean[0, 0].copy(), np.einsum("g,gij->ij", w, cov[0]), float((w * rate).sum()))
    return Track(
        name, family, scale, seen, events, Bank(mean, cov, log_prior[None].copy()), begin, begin, rate, level,
        departure, opened, coupled,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Nature:
    """What does not change along the tracks of B quantities: arrays (B,), and (B, G) for the walks."""

    regulated: Array
    theta: Array
    scale: Array
    positive: Array
    rate_walk: Array
    level_walk: Array
    departure: Array
    quantity: tuple[str, ...]

    def rows(self, n: int) -> Nature:
        return Nature(*(getattr(self, f)[:n] for f in self.__slots__))


def nature_of(tracks: Sequence[Track]) -> Nature:
    """The constants of several tracks side by side."""
    return Nature(
        np.array([t.departs for t in tracks]),
        np.array([t.theta for t in tracks]),
        np.array([t.scale for t in tracks]),
        np.array([1.0 if t.family.positive else 0.0 for t in tracks]),
        np.stack([t.rate_walk for t in tracks]),
        np.stack([t.level_walk for t in tracks]),
        np.stack([t.departure for t in tracks]),
        tuple(t.quantity for t in tracks),
    )


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of each of B quantities, as `Sightings` has them; arrays (B,)."""

    value: Array
    noise_sd: Array
    relative: Array
    step: Array
    slot: Array
    fresh: Array
    bias_var: Array


def advance(
    part: Bank, motion: Motion, reading: Reading, nature: Nature, transition: Transition | None = None
) -> tuple[Seen, Array, Array]:
    """Carry the filters to a reading and take it in; also the level's moments (B, G) just before it."""
    predict(part, motion, transition)
    if reading.fresh.any():
        redraw(part, reading.fresh, reading.slot, reading.bias_var)
    reg, value = nature.regulated, reading.value
    mean, var = part.level_moments(reg)
    level = np.maximum(part.mean[..., LEVEL], 0.0)
    # what the reading itself says must not size the doubt with which it is judged
    spread = reading.relative[:, None] * level
    least = 1e-3 * nature.scale[:, None]  # no kit is perfect, whatever is said of it
    noise_var = _TIMES * (np.maximum(reading.noise_sd[:, None], least) ** 2 + spread**2)
    rate = np.abs(part.mean[..., SECOND])
    scale = nature.scale[:, None]
    off = np.abs(value[:, None] - mean)
    step_sd = np.where(reg[:, None] > 0, 0.8 * scale, 0.25 * rate + 0.02 * scale)
    step_prior = np.clip(-np.expm1(-motion.days / STEP_DAYS), 0.004, 0.2)
    # a gross error says nothing: its spread grows with it, as a heavy tail's would, and it pulls the less
    usual = 2.0 * nature.scale + 0.3 * np.abs(value) * nature.positive
    blunder_sd = np.maximum(usual[:, None], 0.5 * off)
    sight = Sight(
        value, noise_var, reading.step, reading.slot, reg, motion.days, step_prior, step_sd**2, reg, blunder_sd,
        _jump_prior(part, motion, reading, nature, mean, var, off),
    )  # fmt: skip
    return update(part, sight), mean, var


def _jump_prior(
    part: Bank, motion: Motion, reading: Reading, nature: Nature, mean: Array, var: Array, off: Array
) -> Array:
    """Chance (B,) that the level jumped: small between a probe's many readings, none where a slip explains it."""
    found = JUMP_PRIOR * np.where(reading.slot == PROBE, np.clip(motion.days, 0.02, 1.0), 1.0)
    # no water leaves what any tank holds in one leap: 7 psu minutes after 36 is a typing error, not a flood
    reach = np.array([8.0 * max(FAMILIES[q].prior[1], s) for q, s in zip(nature.quantity, nature.scale, strict=True)])
    poison = np.array([q in slips.POISONS for q in nature.quantity])
    found = found * np.where(poison, 1.0, np.exp(-((off.min(axis=1) / reach) ** 2)))
    far = off.min(axis=1) > 4.0 * np.sqrt(var.min(axis=1) + reading.noise_sd**2)
    for b in np.flatnonzero(far):
        w = np.exp(part.log_weight[b])
        m = float((w * mean[b]).sum())
        v = float((w * (var[b] + (mean[b] - m) ** 2)).sum()) + float(reading.noise_sd[b]) ** 2
        v += (float(reading.relative[b]) * m) ** 2
        if nature.quantity[b] in slips.POISONS and reading.value[b] > m:
            found[b] = max(found[b], POISONED_PRIOR)
            continue  # a poison in the water is not talked away as a slip, nor as a gross error
        if slips.suspect(nature.quantity[b], float(reading.value[b]), m, v**0.5) is not None:
            found[b] = 0.0
    return found


def _whole(a: Array, states: int) -> Array:
    """The array with unused states put back as zeros in its last `states` axes."""
    missing = STATES - a.shape[-1]
    return np.pad(a, [(0, 0)] * (a.ndim - states) + [(0, missing)] * states) if missing else a


def collapse(weight: Array, mean: Array, cov: Array, rate_walk: Array) -> tuple[Array, Array, Array]:
    """One Gaussian in the place of each grid: mean (..., 6), cov (..., 6, 6) and mean rate walk (...)."""
    m = np.einsum("...g,...gi->...i", weight, mean)
    dev = mean - m[..., None, :]
    c = np.einsum("...g,...gij->...ij", weight, cov) + np.einsum("...g,...gi,...gj->...ij", weight, dev, dev)
    return m, c, np.einsum("...g,...g->...", weight, np.broadcast_to(rate_walk, weight.shape))


def _run(tracks: list[Track], counts: list[int], n_max: int, b: int, extra: Extra | None) -> None:
    g = len(tracks[0].rate_walk)
    # only the states in use are carried: most quantities have one kit and no probe
    used = 1 + max([KIT1, *(int(t.sightings.slot.max()) for t in tracks if len(t.sightings))])
    bank = Bank(
        np.ascontiguousarray(np.concatenate([t.bank.mean for t in tracks])[..., :used]),
        np.ascontiguousarray(np.concatenate([t.bank.cov for t in tracks])[..., :used, :used]),
        np.concatenate([t.bank.log_weight for t in tracks]),
    )

    def table(fill: float = 0.0) -> Array:
        return np.full((n_max, b), fill)

    days, keep, mean_keep = table(), table(1.0), table(1.0)
    dose, other, input_var, drift = table(), table(), table(), table()
    value, noise, relative, step = table(), table(1.0), table(), table()
    bias_sd, bias_rel = table(), table()
    slot, fresh = table(KIT1).astype(int), table().astype(bool)
    for j, t in enumerate(tracks):
        n, s = counts[j], t.sightings
        if not n:
            continue
        edges = np.concatenate(([t.start], s.t))
        days[:n, j] = np.diff(edges)
        kp, mk, do, ot, va = t.events.between(edges)
        if extra is not None:
            k2, ot2, va2 = extra(t.quantity, edges)
            root = np.sqrt(k2)
            kp, mk, do, ot, va = kp * k2, mk * root, do * root, ot * root + ot2, va + va2
        keep[:n, j], mean_keep[:n, j], dose[:n, j], other[:n, j], input_var[:n, j] = kp, mk, do, ot, va
        value[:n, j], noise[:n, j], relative[:n, j], step[:n, j] = s.value, s.noise_sd, s.relative, s.step
        bias_sd[:n, j], bias_rel[:n, j], slot[:n, j], fresh[:n, j] = s.bias_sd, s.bias_relative, s.slot, s.fresh
        drift[:, j] = PROBE_DRIFT * (s.bias_sd[s.slot == PROBE].max() if (s.slot == PROBE).any() else 0.0) ** 2
    nature = nature_of(tracks)
    bias_var = bias_sd**2 + (bias_rel * np.minimum(value, [most_of(t.family) for t in tracks])) ** 2
    expected, variance = np.zeros((n_max, b, g)), np.ones((n_max, b, g))
    weight = np.zeros((n_max, b, g))
    level_mean, level_var = np.zeros((n_max, b, g)), np.ones((n_max, b, g))
    hypotheses = np.zeros((n_max, b, 3))
    means, covs = np.zeros((n_max, b, g, used)), np.zeros((n_max, b, g, used, used))
    after = np.zeros((n_max, b, g))
    bank_fresh = fresh.copy()
    for j, t in enumerate(tracks):  # the first use of each slot keeps the prior it was opened with
        for s_ in np.unique(t.sightings.slot):
            bank_fresh[np.flatnonzero(t.sightings.slot == s_)[0], j] = False
    # all gaps at once: one call of each function instead of one a step
    f01, f11, q00, q01, q11 = transition_noise(days[:, :, None], nature.theta[None, :, None], nature.rate_walk[None])
    active = [sum(c > k for c in counts) for k in range(n_max)]
    for k in range(n_max):
        n = active[k]
        part = bank.rows(n)
        motion = Motion(
            days[k, :n], keep[k, :n], mean_keep[k, :n], dose[k, :n], other[k, :n], input_var[k, :n], nature.theta[:n],
            nature.regulated[:n], nature.rate_walk[:n], nature.level_walk[:n], nature.departure[:n], drift[k, :n],
        )  # fmt: skip
        reading = Reading(
            value[k, :n], noise[k, :n], relative[k, :n], step[k, :n], slot[k, :n], bank_fresh[k, :n], bias_var[k, :n]
        )
        seen, level_mean[k, :n], level_var[k, :n] = advance(
            part, motion, reading, nature.rows(n), (f01[k, :n], f11[k, :n], q00[k, :n], q01[k, :n], q11[k, :n])
        )
        expected[k, :n], variance[k, :n], hypotheses[k, :n] = seen.expected, seen.variance, seen.hypotheses
        weight[k, :n] = seen.log_weight
        means[k, :n], covs[k, :n], after[k, :n] = part.mean, part.cov, part.log_weight
    weight = np.exp(weight)
    after = np.exp(after)
    mean1, cov1, walk1 = collapse(after, means, covs, nature.rate_walk)
    for j, t in enumerate(tracks):
        n = counts[j]
        t.bank.mean[..., :used] = bank.mean[j]
        t.bank.cov[..., :used, :used] = bank.cov[j]
        t.bank.log_weight[:] = bank.log_weight[j]
        if not n:
            continue
        t.last = float(t.sightings.t[-1])
        m, sd, w = expected[:n, j], np.sqrt(variance[:n, j]), weight[:n, j]
        t.expected = (w * m).sum(axis=1)
        t.expected_sd = np.sqrt((w * (sd * sd + (m - t.expected[:, None]) ** 2)).sum(axis=1))
        t.foretold = (m, sd, w)
        t.before_level = (level_mean[:n, j], level_var[:n, j])
        t.hypotheses = hypotheses[:n, j]
        t.post_mean, t.post_cov = _whole(mean1[:n, j], 1), _whole(cov1[:n, j], 2)
        t.walk = walk1[:n, j]
