"""The reckoned course of a quantity along time, each moment from what was known then."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from leadline.estimate.grid import GAIN, LEVEL, SECOND, STATES, transition_noise
from leadline.estimate.reckon import Reckoning, held, moment_of, within_reason
from leadline.estimate.replay import Track
from leadline.estimate.report import Course, Fix, QuantityEstimate
from leadline.measures import figures

Array = np.ndarray


def path(r: Reckoning, q: str, days: Array) -> tuple[Array, Array]:
    """Mean and sd of the level at moments from the track's start on, each from the readings known then.

    Beyond now the known inputs of the last weeks are taken to go on. One Gaussian stands for the grid.

    Parameters
    ----------
    days
        Moments, ascending (n,). [d]
    """
    t = r.tracks[q]
    past = np.minimum(days, r.now)
    mean0, cov0, walk, gap = carried(r, q, past)
    mean, var = _spread(t, mean0, cov0, walk, gap)
    extra = days - past
    if (extra > 0).any():
        mean, var = _beyond(r, t, mean, var, mean0, cov0, walk, gap.days, extra)
    if len(t.sightings):
        mean, var = within_reason(mean, np.maximum(var, 1e-18), t, mean0[:, LEVEL], cov0[:, LEVEL, LEVEL])
    return mean, np.sqrt(np.maximum(var, 1e-18))


@dataclass(frozen=True, slots=True)
class Gap:
    """What happened between a base and a moment after it: days, share kept, doses, other input, its variance; (n,)."""

    days: Array
    keep: Array
    dose: Array
    other: Array
    var: Array


def carried(r: Reckoning, q: str, past: Array) -> tuple[Array, Array, Array, Gap]:
    """The collapsed state after the last reading before each moment, and what happened from it to that moment.

    Parameters
    ----------
    past
        Moments, ascending, none after now (n,). [d]

    Returns
    -------
    mean (n, 6), cov (n, 6, 6), intensity of the rate's walk (n,), Gap
    """
    t = r.tracks[q]
    n = len(t.sightings)
    if n:
        which = np.searchsorted(t.sightings.t, past, side="right") - 1
        base = np.where(which < 0, t.start, t.sightings.t[np.clip(which, 0, None)])
        mean0, cov0, walk = t.post_mean[which], t.post_cov[which], t.walk[which]
    else:
        which, base = np.full(len(past), -1), np.full(len(past), t.start)
        mean0, cov0, walk = np.zeros((len(past), STATES)), np.zeros((len(past), STATES, STATES)), np.zeros(len(past))
    if (which < 0).any():
        assert t.opened is not None
        mean0, cov0, walk = mean0.copy(), cov0.copy(), walk.copy()
        mean0[which < 0], cov0[which < 0], walk[which < 0] = t.opened
    gap = _inputs(t, base, past)
    links = r.couplings()
    k2, more, v2 = links.between(q, base, past, t.family.with_salt, t.coupled)
    root = np.sqrt(k2)
    gap = Gap(past - base, gap.keep * k2, gap.dose * root, gap.other * root + more, gap.var * k2 + v2)
    return mean0, cov0, walk, gap


def _inputs(t: Track, base: Array, days: Array) -> Gap:
    """Known inputs from each moment's `base` to it, composed along the way."""
    edges = np.unique(np.concatenate((base, days)))
    if len(edges) < 2:
        zero = np.zeros(len(days))
        return Gap(days - base, np.ones(len(days)), zero, zero, zero)
    k, _, dose, other, iv = t.events.between(edges)
    log_keep = np.concatenate(([0.0], np.cumsum(np.log(k))))
    at, start = np.searchsorted(edges, days), np.searchsorted(edges, base)
    # each gap's input as seen from the base that it follows: scaled back by what was kept since then
    bases = np.unique(start)
    gap_base = bases[np.searchsorted(bases, np.arange(len(k)), side="right") - 1]
    back = np.exp(np.clip(log_keep[gap_base] - log_keep[1:], None, 300.0))
    keep = np.exp(log_keep[at] - log_keep[start])

    def since(x: Array) -> Array:
        run = np.concatenate(([0.0], np.cumsum(x)))
        return run[at] - run[start]

    return Gap(days - base, keep, keep * since(dose * back), keep * since(other * back), keep**2 * since(iv * back**2))


def _spread(t: Track, mean0: Array, cov0: Array, walk: Array, gap: Gap) -> tuple[Array, Array]:
    """Mean and variance of the level at the end of each gap after a collapsed state."""
    d, keep, dose = gap.days, gap.keep, gap.dose
    f, e, q00, _, _ = transition_noise(d, np.full(len(d), t.theta), walk)
    level, second, gain = mean0[:, LEVEL], mean0[:, SECOND], mean0[:, GAIN]
    p00, p01, p11 = cov0[:, LEVEL, LEVEL], cov0[:, LEVEL, SECOND], cov0[:, SECOND, SECOND]
    walk_var = _weighted(t, t.level_walk) * d
    if t.departs:
        var = keep**2 * p00 + 2 * keep * e * p01 + e**2 * p11 + _weighted(t, t.departure) * (1 - e**2)
        return keep * level + e * second + dose + gap.other, var + walk_var + gap.var
    slow = f * (1 + keep) / 2
    var = keep**2 * p00 + 2 * keep * slow * p01 + slow**2 * p11 + q00
    # the gain error of pump and volume goes with every dose
    var = var + dose**2 * cov0[:, GAIN, GAIN]
    var = var + 2 * dose * (keep * cov0[:, LEVEL, GAIN] + slow * cov0[:, SECOND, GAIN])
    return keep * level + slow * second + dose * (1.0 + gain) + gap.other, var + walk_var + gap.var


def _beyond(
    r: Reckoning, t: Track, mean: Array, var: Array, mean0: Array, cov0: Array, walk: Array, d: Array, extra: Array
) -> tuple[Array, Array]:
    """Carry mean and variance `extra` days past now, known inputs going on as usual."""
    usual = r.usual(t.quantity)
    keep = np.exp(usual.log_keep * extra)
    half = held(usual.log_keep * extra)
    theta = np.full(len(d), t.theta)
    f_all, _, q_all, _, _ = transition_noise(d + extra, theta, walk)
    f_now, _, q_now, _, _ = transition_noise(d, theta, walk)
    other, v = r.couplings().ahead(t.quantity, extra, t.coupled)
    grow = _weighted(t, t.level_walk) * extra + usual.var * extra + v
    if not t.departs:
        grow = grow + (f_all**2 - f_now**2) * cov0[:, SECOND, SECOND] + (q_all - q_now)
        grow = grow + 2 * (f_all - f_now) * cov0[:, LEVEL, SECOND]
        other = other + (f_all - f_now) * mean0[:, SECOND] * half
    brought = usual.dose * (1.0 + mean0[:, GAIN]) + usual.other
    moved = keep * mean + brought * extra * half + other
    return moved, keep**2 * var + np.maximum(grow, 0.0)


def _weighted(t: Track, values: Array) -> float:
    return float((np.exp(t.bank.log_weight[0]) * values).sum())


def course(r: Reckoning, q: str, start: float, points: int = 160, ahead_days: float = 14.0) -> Course:
    """One quantity's course from `start` [d] to some days beyond now."""
    t = r.tracks[q]
    s = t.sightings
    first = max(start, t.start)
    grid = np.linspace(first, r.now + ahead_days, points)
    at = np.unique(np.concatenate((grid, s.t[s.t >= first], s.t[s.t >= first] - 1e-4, [r.now])))
    at = at[at >= first]
    mean, sd = path(r, q, at)
    n = len(s)
    low, high = mean - 1.6448536 * sd, mean + 1.6448536 * sd
    if t.family.positive:
        mean, low, high = np.maximum(mean, 0.0), np.maximum(low, 0.0), np.maximum(high, 0.0)
    found = tuple(_fix(t, k) for k in range(n) if s.t[k] >= first)
    marked = tuple(
        (moment_of(day), kind, figures.as_read(words))
        for day, kind, words in r.inputs.marks
        if day >= first and _touches(kind, q, words)
    )
    return Course(
        q, _unit(q), tuple(moment_of(float(x)) for x in at), tuple(mean.tolist()), tuple(low.tolist()),
        tuple(high.tolist()), found, r.moment(), marked,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a track: moments [d] and what was believed at each; (n,), stored unit."""

    at: Array
    mean: Array
    sd: Array
    q05: Array
    q95: Array


_QUARTER_D = 0.25  # a pump's day is spread over its quarters [d]
_JUST = 1e-5  # just before a reading, just after a dose: about a second [d]


def stretch(r: Reckoning, e: QuantityEstimate, start: float, end: float, points: int) -> Stretch:
    """What was believed of a quantity between two days: at `points` regular moments, and on both sides of every
    reading, exchange and dose between them, so that no step of the track is lost (those of pumps as far as they can
    be told apart).

    Nothing stands before the track begins. From now on it is the estimate and its outlook, as far as that goes.
    """
    q = e.quantity
    t = r.tracks[q]
    s = t.sightings
    first = max(start, t.start if len(s) else r.since)
    last = min(end, r.now + max((o.days for o in e.forecast), default=0.0))
    if last <= first:
        none = np.zeros(0)
        return Stretch(none, none, none, none, none)
    step = (last - first) / max(points, 2)
    if step > _QUARTER_D:  # always at the same phase of what pumps bring: else their steps would beat with it
        step = np.ceil(step / _QUARTER_D) * _QUARTER_D
    grid = np.unique(np.concatenate(([first], np.arange(np.ceil(first / step) * step, last, step), [last])))
    read = s.t[(s.t >= first) & (s.t <= last)]
    by_hand = np.array([day for day, kind, words in r.inputs.marks if _touches(kind, q, words)])
    done = by_hand if step > _QUARTER_D else np.concatenate((by_hand, t.events.t))
    turn = [r.now - _JUST, r.now, *(r.now + o.days for o in e.forecast)]
    at = np.unique(np.concatenate((grid, read, read - _JUST, done, done + _JUST, turn)))
    at = at[(at >= first) & (at <= last)]
    past, ahead = at[at < r.now], at[at >= r.now] - r.now
    if not len(s):  # a belief that rests on no reading neither moves nor widens
        mean, sd = np.full(len(past), e.mean), np.full(len(past), e.sd)
        low, high = np.full(len(past), e.q05), np.full(len(past), e.q95)
    else:
        mean, sd = path(r, q, past) if len(past) else (past, past)
        low, high = mean - 1.6448536 * sd, mean + 1.6448536 * sd
    days = np.array([0.0, *(o.days for o in e.forecast)])
    m = np.interp(ahead, days, [e.mean, *(o.mean for o in e.forecast)])
    d = np.interp(ahead, days, [e.sd, *(o.sd for o in e.forecast)])
    ends = [
        np.interp(ahead, days, [now, *(o.mean + side * 1.6448536 * o.sd for o in e.forecast)])
        for now, side in ((e.q05, -1.0), (e.q95, 1.0))
    ]
    parts = [np.concatenate(p) for p in ((mean, m), (sd, d), (low, ends[0]), (high, ends[1]))]
    if t.family.positive:
        parts = [np.maximum(p, 0.0) for p in parts]
    return Stretch(at, *parts)


def fixes(r: Reckoning, q: str, start: float, end: float) -> tuple[Fix, ...]:
    """Readings by hand between two days, in order of time."""
    t = r.tracks[q]
    s = t.sightings
    a, b = np.searchsorted(s.t, (start, end + 1e-9))
    return tuple(_fix(t, k) for k in range(int(a), int(b)) if s.ids[k])


def marks(r: Reckoning, q: str, start: float, end: float) -> list[tuple[dt.datetime, str, str]]:
    """Exchanges and additions between two days that touch a quantity, and services of what measures it."""
    found = [
        (moment_of(day), kind, figures.as_read(words.replace("-", " ")))
        for day, kind, words in r.inputs.marks
        if start <= day <= end and _touches(kind, q, words)
    ]
    for day, about, what in r.services:
        if start <= day <= end and about in (q, f"{q}-kit", f"{q}-probe"):
            found.append((moment_of(day), "service", f"{about.replace('-', ' ')} {what}".strip()))
    return sorted(found)


def _fix(t: Track, k: int) -> Fix:
    s = t.sightings
    sd = float(np.hypot(s.noise_sd[k], s.relative[k] * s.value[k]))
    in_doubt = bool(t.hypotheses[k, 1] > 0.5)
    return Fix(moment_of(float(s.t[k])), float(s.value[k]), sd, s.methods[k], s.ids[k], in_doubt, not s.ids[k])


def _touches(kind: str, q: str, words: str) -> bool:
    if kind == "exchange":
        return q not in ("temperature", "ph", "oxygen", "orp")
    from leadline.model.substances import SUBSTANCES

    found = SUBSTANCES.get(words.split()[-1])
    key = {"nitrate": "nitrogen", "phosphate": "phosphorus"}.get(q, q)
    return found is not None and key in found.species


def _unit(q: str) -> str:
    from leadline.measures.quantities import QUANTITIES

    return QUANTITIES[q].unit
