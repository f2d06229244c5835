"""The reckoned course of a quantity along time, each moment from what was known then."""

from __future__ import annotations

import numpy as np

from leadline.estimate.grid import LEVEL, SECOND, transition_noise
from leadline.estimate.reckon import Reckoning, moment_of, usual_inputs
from leadline.estimate.replay import Track
from leadline.estimate.report import Course, Fix

Array = np.ndarray


def carry(r: Reckoning, q: str, days: Array) -> tuple[Array, Array]:
    """Mean and sd of the level at `days` after the last reading, beyond now with known inputs going on as usual."""
    t = r.tracks[q]
    from leadline.estimate import coupling

    if len(t.sightings):
        mean0, cov0, walk = t.post_mean[-1], t.post_cov[-1], float(t.walk[-1])
    else:
        mean0, cov0, walk = _collapsed(t)
    past = np.minimum(days, r.now)
    mean, var = _between(t, mean0, cov0, walk, t.last, past)
    b = len(days)
    keep2, other2, var2 = coupling.motion_after_last(r.tracks, [q] * b, np.full(b, t.last), np.maximum(past, t.last))
    mean, var = mean * keep2 + other2, var * keep2**2 + var2
    extra = np.maximum(days - r.now, 0.0)
    if extra.any():
        usual = usual_inputs(t.events, r.now, t.start)
        keep = np.exp(usual.log_keep * extra)
        other3, var3 = coupling.motion_ahead(r.tracks, [q] * b, extra)
        d_last = np.maximum(days - t.last, 0.0)
        d_now = np.maximum(past - t.last, 0.0)
        f_all, _, q_all, _, _ = transition_noise(d_last, np.full(b, t.theta), np.full(b, walk))
        f_now, _, q_now, _, _ = transition_noise(d_now, np.full(b, t.theta), np.full(b, walk))
        if t.departs:
            drift, grow = np.zeros(b), float(_weighted(t, t.level_walk)) * extra
        else:
            drift = (f_all - f_now) * mean0[SECOND]
            grow = (f_all**2 - f_now**2) * cov0[SECOND, SECOND] + (q_all - q_now)
            grow = grow + 2 * (f_all - f_now) * cov0[LEVEL, SECOND] + float(_weighted(t, t.level_walk)) * extra
        mean = keep * mean + drift * (1 + keep) / 2 + (usual.dose + usual.other) * extra * (1 + keep) / 2 + other3
        var = keep**2 * var + np.maximum(grow, 0.0) + usual.var * extra + var3
    return mean, np.sqrt(np.maximum(var, 1e-18))


def _weighted(t: Track, values: Array) -> float:
    return float((np.exp(t.bank.log_weight[0]) * values).sum())


def _collapsed(t: Track) -> tuple[Array, Array, float]:
    w = np.exp(t.bank.log_weight[0])
    mean = (w[:, None] * t.bank.mean[0]).sum(axis=0)
    dev = t.bank.mean[0] - mean
    cov = np.einsum("g,gij->ij", w, t.bank.cov[0]) + np.einsum("g,gi,gj->ij", w, dev, dev)
    return mean, cov, float((w * t.rate_walk).sum())


def _between(t: Track, mean0: Array, cov0: Array, walk: float, start: float, days: Array) -> tuple[Array, Array]:
    """Mean and variance of the level at `days` ≥ start from one collapsed state, with the journal's inputs."""
    order = np.argsort(days, kind="stable")
    ordered = np.maximum(days[order], start)
    edges = np.concatenate(([start], ordered))
    k, mk, dose, other, iv = t.events.between(edges)
    keep = np.cumprod(k)
    total = np.zeros(len(days))
    added_var = np.zeros(len(days))
    run = run_var = 0.0
    for i in range(len(days)):  # inputs compose along the path
        run = run * k[i] + dose[i] + other[i]
        run_var = run_var * k[i] ** 2 + iv[i]
        total[i], added_var[i] = run, run_var
    d = ordered - start
    f, e, q00, _, _ = transition_noise(d, np.full(len(d), t.theta), np.full(len(d), walk))
    lw = _weighted(t, t.level_walk)
    if t.departs:
        dep = _weighted(t, t.departure)
        mean = keep * mean0[LEVEL] + e * mean0[SECOND] + total
        var = cov0[LEVEL, LEVEL] + 2 * e * cov0[LEVEL, SECOND] + e**2 * cov0[SECOND, SECOND]
        var = var + lw * d + dep * (1 - e**2) + added_var
    else:
        slow = f * (1 + keep) / 2
        mean = keep * mean0[LEVEL] + slow * mean0[SECOND] + total
        var = keep**2 * cov0[LEVEL, LEVEL] + 2 * keep * slow * cov0[LEVEL, SECOND] + slow**2 * cov0[SECOND, SECOND]
        var = var + q00 + lw * d + added_var
    out_mean, out_var = np.empty(len(days)), np.empty(len(days))
    out_mean[order], out_var[order] = mean, var
    del mk
    return out_mean, out_var


def course(r: Reckoning, q: str, start: float, points: int = 160, ahead_days: float = 14.0) -> Course:
    """One quantity's course from `start` [d] to some days beyond now."""
    t = r.tracks[q]
    s = t.sightings
    first = max(start, t.start)
    grid = np.linspace(first, r.now + ahead_days, points)
    at = np.unique(np.concatenate((grid, s.t[s.t >= first], s.t[s.t >= first] - 1e-4, [r.now])))
    at = at[at >= first]
    mean, sd = np.empty(len(at)), np.empty(len(at))
    n = len(s)
    which = np.searchsorted(s.t, at, side="right") - 1  # the reading last used at each moment
    before = which < 0
    if before.any():
        assert t.opened is not None
        mean[before], var = _between(t, *t.opened, t.start, at[before])
        sd[before] = np.sqrt(var)
    for k in range(n):
        inside = which == k
        if not inside.any():
            continue
        if k == n - 1:
            mean[inside], sd[inside] = carry(r, q, at[inside])
        else:
            m, v = _between(t, t.post_mean[k], t.post_cov[k], float(t.walk[k]), float(s.t[k]), at[inside])
            mean[inside], sd[inside] = m, np.sqrt(np.maximum(v, 0.0))
    if not n:
        mean, sd = carry(r, q, at)
    low, high = mean - 1.6448536 * sd, mean + 1.6448536 * sd
    if t.family.positive:
        mean, low, high = np.maximum(mean, 0.0), np.maximum(low, 0.0), np.maximum(high, 0.0)
    doubt = {k for k in range(n) if t.hypotheses[k, 1] > 0.5}
    fixes = tuple(
        Fix(
            moment_of(float(s.t[k])), float(s.value[k]), float(np.hypot(s.noise_sd[k], s.relative[k] * s.value[k])),
            s.methods[k], s.ids[k], k in doubt, not s.ids[k],
        )
        for k in range(n) if s.t[k] >= first
    )  # fmt: skip
    marks = tuple(
        (moment_of(day), kind, words)
        for day, kind, words in r.inputs.marks
        if day >= first and _touches(kind, q, words)
    )
    return Course(
        q, _unit(q), tuple(moment_of(float(x)) for x in at), tuple(mean.tolist()), tuple(low.tolist()),
        tuple(high.tolist()), fixes, r.moment(), marks,
    )  # fmt: skip


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
