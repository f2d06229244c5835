"""A bank of filters over a grid of noise scales, three hypotheses at each reading, for many quantities at once.

State of one filter: [level, second, gain, bias of kit 1, bias of kit 2, bias of the probe]. `second` is the rate
(drifting) or the departure from the slow level (regulated). A reading sees level + departure + one bias.

Between readings the discretisation is exact for irregular times; known inputs move the mean. At a reading each
filter weighs four hypotheses (nominal; blunder; a step in rate or level; a jump of the level), collapses them,
and the grid is weighted by evidence with forgetting: the generalised pseudo-Bayes filter of first order
(Bar-Shalom, Li and Kirubarajan 2001, ch. 11) on a static grid (Magill 1965).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtr

LEVEL, SECOND, GAIN, KIT1, KIT2, PROBE = range(6)
STATES = 6
Array = np.ndarray

FORGETTING = 0.975
BLUNDER_PRIOR = 0.02
BLUNDER_TIMES = 24.0  # a blunder adds this many nominal variances …
JUMP_PRIOR = 0.004  # the level itself jumped as far as a blunder goes: a spill, a double dose; judgement
POISONED_PRIOR = 0.2  # … and where a poison leapt: believed sooner than it is proved; judgement
_HALF_LOG_2PI = 0.5 * np.log(2.0 * np.pi)


@dataclass(slots=True)
class Bank:
    """Filters of B quantities on a grid of G noise scales.

    Attributes
    ----------
    mean : (B, G, 6)
    cov : (B, G, 6, 6)
    log_weight : (B, G), normalised
    """

    mean: Array
    cov: Array
    log_weight: Array

    def copy(self) -> Bank:
        return Bank(self.mean.copy(), self.cov.copy(), self.log_weight.copy())

    def rows(self, n: int) -> Bank:
        """A view of the first n quantities."""
        return Bank(self.mean[:n], self.cov[:n], self.log_weight[:n])

    def level_moments(self, departs: Array) -> tuple[Array, Array]:
        """Mean and variance (B, G) of the published level: level plus, where `departs` (B,) is 1, the departure."""
        h = departs[:, None]
        m = self.mean[..., LEVEL] + h * self.mean[..., SECOND]
        p = self.cov
        v = p[..., LEVEL, LEVEL] + h * (2 * p[..., LEVEL, SECOND] + p[..., SECOND, SECOND])
        return m, np.maximum(v, 0.0)


@dataclass(frozen=True, slots=True)
class Motion:
    """What happens to B quantities between two readings. Arrays (B,) unless said otherwise.

    Attributes
    ----------
    days
        Length of the gap. [d]
    keep
        Share of the level that exchanges leave. [1]
    mean_keep
        The same, averaged over what the rate adds in the gap. [1]
    dose
        Known input that shares the system's gain error (volume, pump). [stored unit]
    other
        Known input that does not. [stored unit]
    input_var
        Variance of the known inputs.
    theta
        Mean reversion of the second state. [1/d]
    regulated
        1 for regulated quantities.
    rate_walk
        (B, G) intensity of the rate's walk (drifting) [stored² d⁻³].
    level_walk
        (B, G) intensity of the level's walk [stored² d⁻¹].
    departure_var
        (B, G) stationary variance of the departure (regulated).
    probe_walk
        Intensity of the probe's drift [stored² d⁻¹].
    """

    days: Array
    keep: Array
    mean_keep: Array
    dose: Array
    other: Array
    input_var: Array
    theta: Array
    regulated: Array
    rate_walk: Array
    level_walk: Array
    departure_var: Array
    probe_walk: Array

    def rows(self, n: int) -> Motion:
        return Motion(*(getattr(self, f)[:n] for f in self.__slots__))


def transition_noise(days: Array, theta: Array, rate_walk: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Exact discretisation of level' = rate, rate a mean-reverting walk.

    Parameters
    ----------
    days, theta
        Gap [d] and mean reversion [1/d], shape (B,) or (B, 1).
    rate_walk
        Intensity of the rate's walk, broadcastable. [unit² d⁻³]

    Returns
    -------
    f01, f11, q00, q01, q11
        Of F = [[1, f01], [0, f11]] and Q.

    References
    ----------
    Van Loan (1978), IEEE Trans. Automat. Contr. 23:395; for theta d below 1e-3 its series, which is exact there
    to rounding.
    """
    x = theta * days
    small = x < 1e-3
    th = np.where(small, 1.0, theta)
    e = np.exp(-x)
    f01 = np.where(small, days * (1 - x / 2 + x * x / 6), (1 - e) / th)
    q11 = np.where(small, days * (1 - x + 2 * x * x / 3), (1 - e * e) / (2 * th))
    q01 = np.where(small, days**2 / 2 * (1 - x), (1 - e) ** 2 / (2 * th * th))
    q00 = np.where(small, days**3 / 3 * (1 - 0.75 * x), (days - 2 * (1 - e) / th + (1 - e * e) / (2 * th)) / (th * th))
    return f01, e, rate_walk * q00, rate_walk * q01, rate_walk * q11


Transition = tuple[Array, Array, Array, Array, Array]


def predict(bank: Bank, motion: Motion, transition: Transition | None = None) -> None:
    """Carry every filter over the gap, in place; `transition` is `transition_noise` of it where that is known."""
    d = motion.days[:, None]
    reg = motion.regulated[:, None]
    f01, f11, q00, q01, q11 = transition or transition_noise(d, motion.theta[:, None], motion.rate_walk)
    f01 = f01 * motion.mean_keep[:, None] * (1.0 - reg)
    drifting = 1.0 - reg
    keep, dose = motion.keep[:, None], motion.dose[:, None]
    x, p = bank.mean, bank.cov
    x[..., LEVEL] = keep * x[..., LEVEL] + f01 * x[..., SECOND] + dose * (1.0 + x[..., GAIN]) + motion.other[:, None]
    x[..., SECOND] *= f11
    row = keep[..., None] * p[..., LEVEL, :] + f01[..., None] * p[..., SECOND, :] + dose[..., None] * p[..., GAIN, :]
    second = f11[..., None] * p[..., SECOND, :]
    p00 = keep * row[..., LEVEL] + f01 * row[..., SECOND] + dose * row[..., GAIN]
    p01 = f11 * row[..., SECOND]
    p11 = f11 * second[..., SECOND]
    p[..., LEVEL, :] = row
    p[..., :, LEVEL] = row
    p[..., SECOND, 1:] = second[..., 1:]
    p[..., 1:, SECOND] = second[..., 1:]
    p[..., LEVEL, LEVEL] = p00 + q00 * drifting + motion.level_walk * d + motion.input_var[:, None]
    p[..., LEVEL, SECOND] = p[..., SECOND, LEVEL] = p01 + q01 * drifting
    p[..., SECOND, SECOND] = p11 + q11 * drifting + motion.departure_var * (1.0 - f11 * f11) * reg
    if p.shape[-1] > PROBE:
        p[..., PROBE, PROBE] += motion.probe_walk[:, None] * d


def redraw(bank: Bank, which: Array, slot: Array, bias_var: Array) -> None:
    """Forget a kit's bias where `which` (B,) says that a new lot or another kit came; `slot` (B,) says whose."""
    for b in np.flatnonzero(which):
        s = int(slot[b])
        bank.mean[b, :, s] = 0.0
        bank.cov[b, :, s, :] = 0.0
        bank.cov[b, :, :, s] = 0.0
        bank.cov[b, :, s, s] = bias_var[b]


@dataclass(frozen=True, slots=True)
class Sight:
    """One reading of each of B quantities. Arrays (B,).

    `noise_var` is repeatability (B, G); `step` the scale's step; `slot` whose bias it carries; `departs` 1 where
    the departure is seen; `step_prior` chance that the rate or level stepped in the gap; `step_var` (B, G) variance
    that a step adds to the rate (drifting) or the level (regulated); `blunder_sd` (B,) or
    (B, G) further spread of a blunder; `jump_prior` chance that the level jumped as far, JUMP_PRIOR when not given.
    """

    value: Array
    noise_var: Array
    step: Array
    slot: Array
    departs: Array
    days: Array
    step_prior: Array
    step_var: Array
    regulated: Array
    blunder_sd: Array
    jump_prior: Array | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """What a reading was expected to be and what it did: predictive moments and hypothesis weights.

    `expected`, `variance` (B, G) of the reading under the nominal hypothesis, `log_weight` (B, G) before it,
    `hypotheses` (B, 3) posterior weights of nominal, blunder, step (a jump of the level is a step too).
    """

    expected: Array
    variance: Array
    log_weight: Array
    hypotheses: Array


def update(bank: Bank, sight: Sight) -> Seen:
    """Take one reading of each quantity into its filters, in place."""
    x, p = bank.mean, bank.cov
    b = np.arange(len(x))
    h1 = sight.departs[:, None]
    seen_mean = x[..., LEVEL] + h1 * x[..., SECOND] + x[b, :, sight.slot]
    u = p[..., LEVEL] + h1[..., None] * p[..., SECOND] + p[b, :, :, sight.slot]  # P H', (B, G, 6)
    prior_var = u[..., LEVEL] + h1 * u[..., SECOND] + u[b, :, sight.slot]
    # a step: rate variance V also moves the level by V d²/3 and their covariance by V d/2 (drifting)
    d = sight.days[:, None]
    drift = 1.0 - sight.regulated[:, None]
    v11 = sight.step_var * drift
    v00 = sight.step_var * (drift * d * d / 3.0 + sight.regulated[:, None])
    v01 = v11 * d / 2.0
    w = u.copy()
    w[..., LEVEL] += v00 + h1 * v01
    w[..., SECOND] += v01 + h1 * v11
    stepped_var = prior_var + v00 + 2 * h1 * v01 + h1 * h1 * v11
    noise = sight.noise_var
    coarse = (sight.step > 0.0)[:, None] & (sight.step[:, None] ** 2 > 2.0 * (prior_var + noise))
    grain = np.where(coarse, 0.0, sight.step[:, None] ** 2 / 12.0)
    blunder_sd = sight.blunder_sd if sight.blunder_sd.ndim == 2 else sight.blunder_sd[:, None]
    s = np.stack(
        (
            prior_var + noise + grain,
            prior_var + noise * (1.0 + BLUNDER_TIMES) + grain + blunder_sd**2,
            stepped_var + noise + grain,
            prior_var + blunder_sd**2 + noise + grain,
        )
    )  # (4, B, G)
    innovation = sight.value[:, None] - seen_mean
    move = np.broadcast_to(innovation, s.shape)
    shrink = 1.0 / s
    log_density = -0.5 * innovation * innovation / s - 0.5 * np.log(s) - _HALF_LOG_2PI
    if coarse.any():
        m, c, ld = _interval(innovation, sight.step[:, None], s)
        move = np.where(coarse, m, move)
        shrink = np.where(coarse, c, shrink)
        log_density = np.where(coarse, ld, log_density)
    p_step = sight.step_prior
    p_jump = np.full_like(p_step, JUMP_PRIOR) if sight.jump_prior is None else sight.jump_prior
    rest = 1.0 - BLUNDER_PRIOR - p_step - p_jump
    prior = np.stack((rest, np.full_like(p_step, BLUNDER_PRIOR), p_step, p_jump))[..., None]
    log_joint = np.log(np.maximum(prior, 1e-300)) + log_density
    top = log_joint.max(axis=0)
    weight = np.exp(log_joint - top)
    total = weight.sum(axis=0)
    weight /= total
    evidence = top + np.log(total)
    before = bank.log_weight.copy()
    log_weight = FORGETTING * before + evidence
    log_weight -= log_weight.max(axis=1, keepdims=True)
    log_weight -= np.log(np.exp(log_weight).sum(axis=1, keepdims=True))
    bank.log_weight[:] = log_weight

    # collapse: every posterior lies in the span of u = P H', w = (P + V) H', and, where the level jumped, u + J e
    a = move / s
    w0, w1, w2, w3 = weight
    far = blunder_sd**2 * a[3]  # J times the standardised innovation
    b1 = w0 * a[0] + w1 * a[1] + w3 * a[3]
    b2 = w2 * a[2]
    b3 = w3 * far
    c3 = w3 * (a[3] ** 2 - shrink[3])
    m11 = w0 * (a[0] ** 2 - shrink[0]) + w1 * (a[1] ** 2 - shrink[1]) + c3 - b1 * b1
    m22 = w2 * (a[2] ** 2 - shrink[2]) - b2 * b2
    m12 = -b1 * b2
    x += b1[..., None] * u + b2[..., None] * w
    x[..., LEVEL] += b3
    left = m11[..., None] * u + m12[..., None] * w
    right = m12[..., None] * u + m22[..., None] * w
    p += u[..., :, None] * left[..., None, :] + w[..., :, None] * right[..., None, :]
    jump = blunder_sd**2
    cross = (c3 * jump - b1 * b3)[..., None] * u - (b2 * b3)[..., None] * w
    p[..., LEVEL, :] += cross
    p[..., :, LEVEL] += cross
    p[..., LEVEL, LEVEL] += w2 * v00 + w3 * jump + c3 * jump * jump - b3 * b3
    p[..., LEVEL, SECOND] += w2 * v01
    p[..., SECOND, LEVEL] += w2 * v01
    p[..., SECOND, SECOND] += w2 * v11
    grid_weight = np.exp(log_weight)
    seen = (weight * grid_weight).sum(axis=2)
    hypotheses = np.stack((seen[0], seen[1], seen[2] + seen[3]), axis=1)
    return Seen(seen_mean, s[0], before, hypotheses)


def _interval(innovation: Array, step: Array, s: Array) -> tuple[Array, Array, Array]:
    """A reading on a coarse scale only says that the true reading lay within half a step: exact moments.

    Returns the expected innovation, the factor (S - Var)/S² that shrinks the covariance, and the log-probability
    density (probability of the step divided by its width, so that it compares with a density).
    """
    sd = np.sqrt(s)
    low, high = (innovation - step / 2) / sd, (innovation + step / 2) / sd
    flip = low > 0  # work in the lower tail, where log_ndtr is exact
    a = np.where(flip, -high, low)
    b = np.where(flip, -low, high)
    log_b, log_a = log_ndtr(b), log_ndtr(a)
    log_z = log_b + np.log1p(-np.exp(np.minimum(log_a - log_b, -1e-12)))
    phi_a = np.exp(-0.5 * a * a - _HALF_LOG_2PI - log_z)
    phi_b = np.exp(-0.5 * b * b - _HALF_LOG_2PI - log_z)
    mean = phi_a - phi_b
    var = 1.0 + a * phi_a - b * phi_b - mean * mean
    mean = np.where(flip, -mean, mean) * sd
    var = np.clip(var, 0.0, 1.0) * s
    return mean, (s - var) / (s * s), log_z - np.log(np.where(step > 0, step, 1.0))


def mixture_cdf(x: Array, mean: Array, sd: Array, weight: Array, positive: Array) -> Array:
    """P(quantity ≤ x) of a Gaussian mixture, cut at zero where `positive`.

    x : (B, K); mean, sd, weight : (B, G); positive : (B,) of 0 and 1. Returns (B, K).
    """
    below = (weight[:, None, :] * ndtr((x[..., None] - mean[:, None, :]) / sd[:, None, :])).sum(axis=2)
    at_zero = positive * (weight * ndtr(-mean / sd)).sum(axis=1)
    cut = np.minimum(at_zero, 1.0 - 1e-9)[:, None]
    return np.where(positive[:, None] > 0, np.where(x > 0, (below - cut) / (1.0 - cut), 0.0), below)
