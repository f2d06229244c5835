"""From tracks to what people ask: mean, spread, quantiles, chances now and ahead, and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from leadline.estimate import passage, slips
from leadline.estimate.course import path
from leadline.estimate.grid import LEVEL, SECOND, STATES, Bank, mixture_cdf
from leadline.estimate.inputs import day_of
from leadline.estimate.reckon import Reckoning, bank_ahead, bank_now, moment_of, volume, within_reason
from leadline.estimate.replay import Track, collapse
from leadline.estimate.report import Doubtful, LastReading, Outlook, QuantityEstimate, SystemEstimate
from leadline.estimate.sightings import Sightings
from leadline.measures import figures
from leadline.measures.quantities import QUANTITIES
from leadline.measures.words import _, ngettext
from leadline.system.bands import DEFAULTS

Array = np.ndarray
Ahead = tuple[float, Array, Array, Array, Array]  # days, mean, sd, P(outside aim), P(outside limit)
HORIZONS = (1.0, 3.0, 7.0, 14.0, 28.0)
_LEVELS = np.array([0.05, 0.25, 0.5, 0.75, 0.95])
_HARDLY = 5.0  # standard deviations from what was expected, at which a reading is doubted without a slip to explain it
_DOUBT_DAYS = 45.0  # an older surprise that nobody followed up is history


class Mixture:
    """The published level of several quantities: Gaussian mixtures (B, G), cut at zero where nothing can be below."""

    def __init__(self, bank: Bank, departs: Array, positive: Array) -> None:
        self.mean, var = bank.level_moments(departs)
        self.sd = np.sqrt(np.maximum(var, 1e-18))
        self.weight = np.exp(bank.log_weight)
        self.positive = positive

    def cdf(self, x: Array) -> Array:
        """P(level ≤ x); x (B, K)."""
        return mixture_cdf(x, self.mean, self.sd, self.weight, self.positive)

    def moments(self) -> tuple[Array, Array]:
        """Mean and sd (B,), after the cut at zero where there is one."""
        m = (self.weight * self.mean).sum(axis=1)
        v = (self.weight * (self.sd**2 + (self.mean - m[:, None]) ** 2)).sum(axis=1)
        low = self.positive > 0
        if low.any():
            a = -self.mean[low] / self.sd[low]
            phi = np.exp(-0.5 * a * a) / np.sqrt(2 * np.pi)
            from scipy.special import ndtr

            over = np.maximum(ndtr(-a), 1e-12)
            lam = phi / over
            cm = self.mean[low] + self.sd[low] * lam
            cv = self.sd[low] ** 2 * np.maximum(1 + a * lam - lam * lam, 1e-9)
            w = self.weight[low] * over
            w = w / w.sum(axis=1, keepdims=True)
            m[low] = (w * cm).sum(axis=1)
            v[low] = (w * (cv + (cm - m[low][:, None]) ** 2)).sum(axis=1)
        return m, np.sqrt(v)

    def quantiles(self, p: Array = _LEVELS) -> Array:
        """Quantiles (B, K) by bisection on the mixture's distribution."""
        reach = 9.0 * self.sd.max(axis=1)
        low = np.repeat((self.mean.min(axis=1) - reach)[:, None], len(p), axis=1)
        high = np.repeat((self.mean.max(axis=1) + reach)[:, None], len(p), axis=1)
        low = np.where(self.positive[:, None] > 0, np.maximum(low, 0.0), low)
        high = np.where(self.positive[:, None] > 0, np.maximum(high, 1e-9), high)
        for _step in range(40):
            mid = 0.5 * (low + high)
            under = self.cdf(mid) < p
            low, high = np.where(under, mid, low), np.where(under, high, mid)
        middle: Array = 0.5 * (low + high)
        return middle

    def outside(self, low: Array, high: Array) -> Array:
        """P(level < low or > high) (B,); nan edges give nan."""
        edges = np.stack((low, high), axis=1)
        c = self.cdf(np.where(np.isnan(edges), 0.0, edges))
        # an edge at zero of a quantity that cannot be below it is no edge
        below = np.where((self.positive > 0) & (low <= 0), 0.0, c[:, 0])
        return np.where(np.isnan(low), np.nan, np.clip(below + 1.0 - c[:, 1], 0.0, 1.0))


def believed(bank: Bank, tracks: Sequence[Track]) -> Mixture:
    """The levels of several tracks as they are published, within what every kept system tells."""
    positive = np.array([1.0 if t.family.positive else 0.0 for t in tracks])
    mix = Mixture(bank, np.array([t.departs for t in tracks]), positive)
    for j, t in enumerate(tracks):
        if len(t.sightings):
            mix.mean[j], var = within_reason(mix.mean[j], mix.sd[j] ** 2, t)
            mix.sd[j] = np.sqrt(np.maximum(var, 1e-18))
    return mix


def estimate(r: Reckoning) -> SystemEstimate:
    """Everything believed about a system, ready to be shown."""
    names = list(r.tracks)
    tracks = [r.tracks[q] for q in names]
    positive = np.array([1.0 if t.family.positive else 0.0 for t in tracks])
    aim, limit = _edges(r, names)
    bank = bank_now(r, names)
    now = believed(bank, tracks)
    mean, sd = now.moments()
    quant = now.quantiles()
    out_aim, out_limit = now.outside(*aim), now.outside(*limit)
    ahead: list[Ahead] = []
    for days in HORIZONS:
        there = bank_ahead(r, names, bank, days)
        mix = believed(there, tracks)
        m, s = mix.moments()
        ahead.append((days, m, s, mix.outside(*aim), mix.outside(*limit)))
    slope, slope_sd = _rates(bank, tracks, ahead, mean)
    reach = _reaches(tracks, bank, ahead, mean, limit, out_limit, positive)
    found = {}
    for j, q in enumerate(names):
        t = tracks[j]
        band = r.system.band(q)
        outlooks = tuple(
            Outlook(
                d, float(m[j]), float(s[j]), _num(oa[j]), max(_num(ol[j]), 0.0),
                max(_num(ol[j]), _num(out_limit[j]), float(reach[k][j])),
            )
            for k, (d, m, s, oa, ol) in enumerate(ahead)
        )  # fmt: skip
        demand, demand_sd = _demand(r, q, bank, j)
        last = _last(r, t)
        doubt = doubtful(r, t)
        q05, q25, q50, q75, q95 = (float(v) for v in quant[j])
        found[q] = QuantityEstimate(
            q, QUANTITIES[q].unit, float(mean[j]), float(sd[j]), q05, q25, q50, q75, q95,
            float(slope[j]), float(slope_sd[j]), demand, demand_sd, last,
            band.aim if band else None, band.limit if band else None, bool(band and band.is_default),
            _num(out_aim[j]), _num(out_limit[j]), outlooks, _meets(r, q, band.aim if band else None),
            "" if len(t.sightings) else _prior_words(r, q), doubt, tuple(i for i in t.sightings.ids[::-1][:6] if i),
            why(r, q, float(mean[j]), float(sd[j])), _settles(r, q, float(mean[j]), bank, j),
        )  # fmt: skip
    v, v_sd = volume(r)
    d = r.system
    return SystemEstimate(d.id, d.name, r.moment(), d.units, d.time_zone, found, v, v_sd, d.net_volume_l, r.warnings)


def _settles(r: Reckoning, q: str, mean: float, bank: Bank, j: int) -> float:
    """Share of the present variance that one more test by the usual kit removes; its lasting bias it cannot."""
    t = r.tracks[q]
    s = t.sightings
    hand = [k for k in range(len(s)) if s.ids[k]]
    how = r.system.method(q, s.methods[hand[-1]] if hand else "")
    noise = how.sd**2 + (how.relative * mean) ** 2
    one = slice(j, j + 1)
    _, cov, _ = collapse(np.exp(bank.log_weight[one]), bank.mean[one], bank.cov[one], t.rate_walk[None])
    h = np.zeros(STATES)
    h[LEVEL], h[SECOND] = 1.0, t.departs
    level_var = float(h @ cov[0] @ h)
    if not hand:
        noise += how.bias_sd**2 + (how.bias_relative * mean) ** 2
        return level_var / max(level_var + noise, 1e-18)
    z = h.copy()
    z[int(s.slot[hand[-1]])] = 1.0
    with_reading = float(h @ cov[0] @ z)
    return float(np.clip(with_reading**2 / max((z @ cov[0] @ z + noise) * level_var, 1e-18), 0.0, 1.0))


def _num(x: float) -> float:
    return 0.0 if np.isnan(x) else float(x)


def _edges(r: Reckoning, names: Sequence[str]) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    aim, limit = np.full((len(names), 2), np.nan), np.full((len(names), 2), np.nan)
    for j, q in enumerate(names):
        band = r.system.band(q)
        if band:
            aim[j] = band.aim
            if band.limit:
                limit[j] = band.limit
    return (aim[:, 0], aim[:, 1]), (limit[:, 0], limit[:, 1])


def _rates(bank: Bank, tracks: Sequence[Track], ahead: Sequence[Ahead], mean: Array) -> tuple[Array, Array]:
    """Net change per day now: the next day's expected change, with the rate's own spread."""
    slope = ahead[0][1] - mean
    w = np.exp(bank.log_weight)
    r = bank.mean[..., SECOND]
    m = (w * r).sum(axis=1)
    v = (w * (bank.cov[..., SECOND, SECOND] + (r - m[:, None]) ** 2)).sum(axis=1)
    regulated = np.array([t.departs for t in tracks]) > 0
    return slope, np.sqrt(np.where(regulated, ahead[0][2] ** 2, v))


def _reaches(
    tracks: Sequence[Track],
    bank: Bank,
    ahead: Sequence[Ahead],
    mean: Array,
    limit: tuple[Array, Array],
    now: Array,
    positive: Array,
) -> list[Array]:
    """Chance of ever passing the limit up to each horizon."""
    w = np.exp(bank.log_weight)
    rate = bank.mean[..., SECOND]
    m0, v0 = bank.level_moments(np.array([t.departs for t in tracks]))
    m = (w * m0).sum(axis=1)
    v = (w * (v0 + (m0 - m[:, None]) ** 2)).sum(axis=1)
    r = (w * rate).sum(axis=1)
    rv = (w * (bank.cov[..., SECOND, SECOND] + (rate - r[:, None]) ** 2)).sum(axis=1)
    c = (w * (bank.cov[..., LEVEL, SECOND] + (m0 - m[:, None]) * (rate - r[:, None]))).sum(axis=1)
    walk = np.array([(w[j] * t.level_walk).sum() for j, t in enumerate(tracks)])
    low = np.where((positive > 0) & (limit[0] <= 0), -np.inf, limit[0])
    regulated = np.array([t.departs for t in tracks]) > 0
    memory = np.array([t.family.memory_d for t in tracks])
    out = []
    for days, am, _low, _high, p_end in ahead:
        p = passage.from_uncertain(days, low, limit[1], m, v, (am - mean) / days, rv, c, walk + 1e-12)
        # a departure forgets itself in `memory_d`: so many independent looks
        looks = np.minimum(1.0 + days / np.maximum(memory * 2.0, 0.25), 30.0)
        seldom = 1.0 - (1.0 - np.fmax(np.nan_to_num(p_end), np.nan_to_num(now))) ** looks
        out.append(np.where(np.isnan(limit[0]), 0.0, np.where(regulated, seldom, p)))
    return out


def _demand(r: Reckoning, q: str, bank: Bank, j: int) -> tuple[float | None, float | None]:
    """What the system takes per day: the negative rate, where doses are known; with skeleton's share for ions."""
    t = r.tracks[q]
    if q not in r.inputs.dosed or t.departs or len(t.sightings) < 3:
        return None, None
    w = np.exp(bank.log_weight[j])
    rate = bank.mean[j, :, SECOND]
    m = float((w * rate).sum())
    v = float((w * (bank.cov[j, :, SECOND, SECOND] + (rate - m) ** 2)).sum())
    taken = -m
    if t.coupled:
        from leadline.estimate.coupling import PER_MEQ

        c = r.couplings().taken
        if c is not None:
            per, doubt = PER_MEQ[q]
            alk, alk_sd = float(c.rate[-1]), float(c.rate_sd[-1])
            taken += per * alk
            v += (per * alk_sd) ** 2 + (doubt * per * alk) ** 2 * 0.1
    return taken, float(np.sqrt(v))


def _last(r: Reckoning, t: Track) -> LastReading | None:
    s = t.sightings
    if not len(s):
        return None
    k = len(s) - 1
    sd = float(np.hypot(s.noise_sd[k], s.relative[k] * s.value[k]))
    return LastReading(moment_of(float(s.t[k])), float(s.value[k]), sd, s.methods[k], s.ids[k])


def _meets(r: Reckoning, q: str, aim: tuple[float, float] | None) -> dt.datetime | None:
    """When the 90 % spread first touches an edge of the aim, after the last reading; None within 60 days."""
    if aim is None:
        return None
    t = r.tracks[q]
    if not len(t.sightings):
        return r.moment()
    days, low, high = cone(r, q, np.linspace(t.last, r.now + 60.0, 61))
    low_edge = aim[0] if not (t.family.positive and aim[0] <= 0) else -np.inf
    touch = np.flatnonzero((low < low_edge) | (high > aim[1]))
    return moment_of(float(days[touch[0]])) if len(touch) else None


def cone(r: Reckoning, q: str, days: Array) -> tuple[Array, Array, Array]:
    """5 % and 95 % of a quantity at moments from its last reading on (one Gaussian per moment). [d], stored unit."""
    mean, sd = path(r, q, days)
    low, high = mean - 1.6448536 * sd, mean + 1.6448536 * sd
    if r.tracks[q].family.positive:
        low, high = np.maximum(low, 0.0), np.maximum(high, 0.0)
    return days, low, high


def doubtful(r: Reckoning, t: Track) -> tuple[Doubtful, ...]:
    """Recent surprises that nobody has settled: the last reading, or one whose successor does not bear it out."""
    s = t.sightings
    n = len(s)
    found = []
    for k in range(max(n - 4, 0), n):
        if r.now - s.t[k] > _DOUBT_DAYS or not s.ids[k]:
            continue
        if s.ids[k] not in r.typed or s.ids[k] in r.confirmed:
            continue
        expected, sd = _foreseen(t, k)
        unit = r.typed[s.ids[k]].partition(" ")[2]
        slip = slips.suspect(t.quantity, float(s.value[k]), expected, sd, unit, _harms(r, t.quantity))
        typed = r.typed[s.ids[k]]
        p_blunder, p_step = (min(float(p), 1.0) for p in t.hypotheses[k, 1:3])
        if abs(s.value[k] - expected) > _HARDLY * sd and not (t.quantity in slips.POISONS and s.value[k] > expected):
            p_blunder = max(p_blunder, 0.6)
        again = _borne_out(s, k, expected)
        if slip is not None and not (again and " typed as " not in slip.words):  # a wrong unit may be typed twice
            found.append(
                Doubtful(
                    s.ids[k], moment_of(float(s.t[k])), float(s.value[k]), expected, sd, "slip",
                    max(p_blunder, 0.5), slip.words, slip.value, typed,
                )
            )  # fmt: skip
        elif k == n - 1 and p_blunder + p_step > 0.5 and not again:
            kind = "blunder" if p_blunder >= p_step else "step"
            found.append(
                Doubtful(
                    s.ids[k], moment_of(float(s.t[k])), float(s.value[k]), expected, sd, kind,
                    p_blunder if kind == "blunder" else p_step, "", None, typed,
                )
            )  # fmt: skip
    return tuple(found)


def _borne_out(s: Sightings, k: int, expected: float) -> bool:
    """Whether the reading before or after one lies nearer to it than to what was expected: both were right."""
    v = s.value[k]
    beside = [s.value[j] for j in (k - 1, k + 1) if 0 <= j < len(s)]
    return any(abs(x - v) < 0.5 * abs(expected - v) for x in beside)


def _foreseen(t: Track, k: int) -> tuple[float, float]:
    """What a reading was expected to be, and its sd; long after the one before, what every kept system tells."""
    mean, sd = float(t.expected[k]), float(t.expected_sd[k])
    if k == 0:
        return mean, sd
    said = float(t.post_mean[k - 1, LEVEL]), float(t.post_cov[k - 1, LEVEL, LEVEL])
    m, var = within_reason(np.asarray(mean), np.asarray(sd**2), t, *said)
    return float(m), float(np.sqrt(var))


def _harms(r: Reckoning, q: str) -> tuple[float, float] | None:
    """Beyond what harm is expected, here or by common practice, whichever is wider; None for a poison."""
    own = r.system.band(q)
    limits = [x for x in (own.limit if own else None, DEFAULTS.get(q, (None, None))[1]) if x is not None]
    if not limits or q in slips.POISONS:
        return None
    return min(x[0] for x in limits), max(x[1] for x in limits)


def _prior_words(r: Reckoning, q: str) -> str:
    origin = r.tracks[q].family.origin
    return f"never measured here; a wide belief from {origin}"


def shown_in(r: Reckoning, e: SystemEstimate, units: str) -> SystemEstimate:
    """The same estimate for somebody who reads metric or US units; empty: as the system says."""
    if not units or units == e.units:
        return e
    same = {q: replace(x, why=why(r, q, x.mean, x.sd, units)) for q, x in e.quantities.items()}
    return replace(e, units=units, quantities=same)


def why(r: Reckoning, q: str, mean: float, sd: float, units: str = "") -> tuple[str, ...]:
    """Plain sentences: what the number rests on, how it was carried, where its doubt comes from."""
    t = r.tracks[q]
    s = t.sightings
    way = figures.display(q, units or r.system.units)

    def said(stored: float) -> str:
        return way.with_unit(figures.number(way.difference(stored), max(way.digits, 1)))

    lines = []
    if not len(s):
        lines.append(
            _("No reading of {quantity} is known here. The belief is {prior}.").format(
                quantity=q, prior=_prior_words(r, q).split("; ")[1]
            )
        )
    else:
        hand = sum(1 for i in s.ids if i)
        if hand < len(s):
            rests = ngettext(
                "It rests on {n} reading and {probes} probe medians; the last is {span} old.",
                "It rests on {n} readings and {probes} probe medians; the last is {span} old.", hand,
            )  # fmt: skip
        else:
            rests = ngettext(
                "It rests on {n} reading; the last is {span} old.",
                "It rests on {n} readings; the last is {span} old.", hand,
            )  # fmt: skip
        lines.append(rests.format(n=hand, probes=len(s) - hand, span=figures.span(r.now - t.last)))
        if len(s) > 1 and t.hypotheses[-1, 1] > 0.5:
            lines.append(_("The last reading is in doubt and hardly counts until another settles it."))
        level = float(np.sqrt(max(t.post_cov[-1, LEVEL, LEVEL], 0.0)))
        lines.append(
            _("Just after that reading its doubt was ± {then}; carried to now it is ± {now}.").format(
                then=said(level), now=said(sd)
            )
        )
        lines.append(_("That doubt holds the offset that a kit or probe may keep, which no reading by it can show."))
        k, _salt, dose, other, _sd = t.events.between(np.array([t.last, max(r.now, t.last) + 1e-9]))
        if dose[0]:
            lines.append(_("Since then doses added {amount} (mass balance).").format(amount=said(float(dose[0]))))
        if k[0] < 0.999:
            moved = float(other[0] - (1.0 - k[0]) * t.post_mean[-1, LEVEL])
            lines.append(
                _("Exchanges left {share} % of the old water and moved it by {amount}.").format(
                    share=f"{100 * k[0]:.0f}", amount=said(moved)
                )
            )
        elif other[0]:
            lines.append(
                _("Top-off and feeding out of the usual moved it by {amount}.").format(amount=said(float(other[0])))
            )
    if t.family.kind == "drifting":
        lines.append(_("Between readings a level and a rate carry it; how far these may wander the readings teach."))
    else:
        lines.append(_("Something holds it: a slow level, and departures from it that fade."))
    if t.coupled:
        lines.append(_("Calcification's share follows the alkalinity taken, two equivalents to one mole of metal."))
    if t.family.with_salt:
        lines.append(_("It rises and falls with salinity."))
    return tuple(lines)


__all__ = ["HORIZONS", "Mixture", "cone", "day_of", "doubtful", "estimate", "why"]
