"""Learn a system's own parameters of the simulator from its records, with their uncertainty.

A Gauss-Newton search for the most probable parameters, the simulator itself being the forward model: all perturbed
copies run as one ensemble. Priors are those of `model.parameters`; readings keep their kit's scatter and its bias as
an unknown of its own; daily features of probes are counted for less when their residuals follow each other (what the
model's structure misses is not scatter). What the records cannot tell apart is named.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from leadline.estimate.unknowns import ALL, BESIDE, FREE, HEAT_ALONE, OTHER_LAWS, told
from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model import members, sight
from leadline.model.acts import Acts
from leadline.model.blueprint import STATE_OF, Blueprint
from leadline.model.loop import ACT_AMOUNT, ACT_POOL_ADD
from leadline.model.parameters import INDEX, PARAMETERS
from leadline.model.processes import gases
from leadline.model.processes.flow import KG_L

Array = np.ndarray
Z90 = 1.6449
_STRUCTURE = {"temperature": 0.15, "ph": 0.05}  # what an instant's reading scatters about the model: judgement
_BIASED = ("temperature", "salinity", "alkalinity", "calcium", "nitrate", "phosphate", "ph")
_STARTED = ("alkalinity", "calcium", "nitrate", "phosphate", "salinity")
_ROUNDS = 12
_SERIAL = 0.6  # least correlation of a day's feature with the next day's: judgement
# differences over half a prior sd to each side: a thermostat's switching makes short ones mere noise, and noise in a
# slope reads as knowledge
_STEP, _WIDEST = 0.5, 0.2
# what the model's structure leaves over in a day's feature, one sd: judgement
_FEATURES: dict[str, tuple[tuple[str, float], ...]] = {
    "temperature": (("mean", 0.12), ("swing", 0.12)),
    "ph": (("mean", 0.03), ("swing", 0.03)),
    "oxygen": (("mean", 0.12), ("swing", 0.12)),
    "heater": (("mean", 0.05),),
    "chiller": (("mean", 0.05),),
    "topoff": (("sum", 0.08),),
}  # the top-off's is a share of its mean
NOT_LEARNED, TOGETHER = 0.2, 0.75


@dataclass
class Records:
    """What the records of a window say. Times in seconds since its beginning.

    Attributes
    ----------
    days
        Length of the window.
    readings
        (time, quantity, value, sd) in stored units.
    hourly
        Quantity, `heater`, `chiller` (share of the hour that they ran) or `topoff` (L in the hour): one value an
        hour, NaN where there is none.
    room_c
        Air temperature by the hour, when it was measured.
    """

    days: int
    readings: list[tuple[float, str, float, float]] = field(default_factory=list)
    hourly: dict[str, Array] = field(default_factory=dict)
    room_c: Array | None = None


@dataclass(frozen=True)
class Learned:
    """One parameter as the records have it: multiples of what was believed before.

    `gained` is the share of the prior's spread that the records took away.
    """

    name: str
    q05: float
    q50: float
    q95: float
    gained: float


@dataclass(frozen=True)
class Fit:
    """What was learned. `together` holds sets of names that only make sense as a whole."""

    learned: dict[str, Learned]
    parameters: dict[str, tuple[float, float]]  # draw's name: 90 % range, absolute
    volume_l: tuple[float, float]  # mean, sd
    together: tuple[tuple[str, str, float], ...]
    silent: tuple[str, ...]  # hardly told by the records
    misfit: dict[str, float]  # residual of each kind of record in its own sds, from their median
    used: dict[str, int]
    ends: Mapping[str, float]  # the water at the window's end, as the best member has it
    strained: tuple[str, ...]  # unknowns that had to go beyond three sds of what was believed: doubt the whole
    before: Mapping[str, float]  # each parameter as it was believed before
    joint: tuple[list[str], list[float], list[list[float]]]  # names, logarithms of multiples, their covariance
    rates: Mapping[str, float]  # what the best member did in the mean of the window: eq/d, mol/d, L/h


def fit(
    plan: Blueprint, window: Records, start: members.Start, acts: Acts, begin: dt.datetime, *,
    cache: Path | None = None, free: Sequence[str] = tuple(FREE),
) -> Fit:  # fmt: skip
    """Fit the free parameters to the records of a window.

    Parameters
    ----------
    plan, start
        The system in the simulator's terms, and what was believed at the window's beginning.
    acts
        What hands and machines did in the window, as the journal tells.

    Raises
    ------
    ValueError
        When the window holds nothing to learn from.
    """
    problem = _Problem(plan, window, start, acts, begin, cache, list(free))
    theta, covariance, residual = problem.solve()
    return problem.report(theta, covariance, residual)


class _Problem:
    def __init__(
        self, plan: Blueprint, window: Records, start: members.Start, acts: Acts, begin: dt.datetime,
        cache: Path | None, free: list[str],
    ) -> None:  # fmt: skip
        self.plan, self.window, self.start, self.acts, self.begin, self.cache = plan, window, start, acts, begin, cache
        has = {q for _, q, _, _ in window.readings} | set(window.hourly)
        self.free = [n for n in free if told(n, has)]
        self.started = [q for q in _STARTED if q in has]
        self.biased = [q for q in _BIASED if q in has]
        self.beside = [n for n in BESIDE if told(n, has)]
        self.names = [
            *self.free,
            *self.beside,
            *(f"start:{q}" for q in self.started),
            *(f"bias:{q}" for q in self.biased),
        ]
        self.prior = np.array([self._prior(n) for n in self.names])
        self.linear = np.array([n.startswith("bias:") for n in self.names])
        self.y, self.sd, self.kinds = self._observed()
        if not len(self.y):
            raise ValueError("nothing to learn from")

    def _prior(self, name: str) -> float:
        """Prior sd of the logarithm, or of a bias in stored units."""
        kind, _, q = name.partition(":")
        if kind == "start":
            mean, sd = self.start.water.get(q, members.UNTESTED[q])
            return min(max(sd / max(mean, 1e-9), 0.01), 1.0)
        if kind == "bias":
            mean = self.start.water.get(q, members.UNTESTED.get(q, (1.0, 1.0)))[0]
            how = self.plan.system.method(q)
            return math.hypot(how.bias_sd, how.bias_relative * mean) or 1e-6
        if name == "volume":
            return self.plan.system.net_volume_sd_l / self.plan.system.net_volume_l
        inside, given = ALL[name]
        return given if given is not None else PARAMETERS[INDEX[inside[0]]].spread

    # -- what was observed --------------------------------------------------------------------------

    def _observed(self) -> tuple[Array, Array, list[str]]:
        y: list[float] = []
        sd: list[float] = []
        kinds: list[str] = []
        for _, q, value, scatter in self.window.readings:
            y.append(value)
            sd.append(math.hypot(scatter, _STRUCTURE.get(q, 1e-9)))
            kinds.append(q)
        for name, series in self.window.hourly.items():
            for feature, floor in _FEATURES.get(name, ()):
                daily = _daily(series, feature)
                wide = floor * max(float(np.nanmean(daily)), 0.2) if feature == "sum" else floor
                y += [float(v) for v in daily]
                sd += [wide] * len(daily)
                kinds += [f"{name} {feature}"] * len(daily)
        found = np.array(y)
        self._there = np.isfinite(found)
        return (
            found[self._there],
            np.array(sd)[self._there],
            [k for k, ok in zip(kinds, self._there, strict=True) if ok],
        )

    # -- the forward model --------------------------------------------------------------------------

    def _ensemble(self, thetas: Array) -> members.Ensemble:
        e = members.muster(self.plan, self.begin, len(thetas), 1, self.start, self.acts.dt_s, certain=True)
        for m, theta in enumerate(thetas):
            for name, value in zip(self.names, theta, strict=True):
                _bend(e, m, name, float(value))
        return e

    def _room(self, e: members.Ensemble) -> None:
        """The measured room in the place of the model's: an act an hour."""
        if self.window.room_c is None:
            return
        rows = members.clock(self.begin, ZoneInfo(self.plan.system.time_zone), 3600.0, 0, self.window.days * 24)
        p = self.plan
        base = p.value("ROOM_C") + p.value("ROOM_SEASON_K") * rows[:, 4] + p.value("ROOM_DAY_K") * rows[:, 3]
        for hour, air in enumerate(self.window.room_c[: self.window.days * 24]):
            if np.isfinite(air):
                self.acts.set_control(hour * 3600.0, "ROOM_WARMER", float(air - base[hour]))
        self.window.room_c = None  # the acts hold it now

    def predict(self, thetas: Array) -> Array:
        """What each parameter set would have shown, in the order of the observations."""
        e = self._ensemble(thetas)
        self._room(e)
        table, parcels = self.acts.tables(e.p)
        if "food" in self.names:
            fed = self.acts.fed_rows()
            more = np.exp(thetas[:, self.names.index("food")])[:, None]
            table[:, fed, ACT_AMOUNT] *= more
            table[:, fed, ACT_POOL_ADD] *= more
        per_hour = round(3600.0 / self.acts.dt_s)
        seen = members.run(e, self.window.days * 24 * per_hour, table, parcels, every=per_hour, cache=self.cache)
        self.last, self.last_e = seen, e
        columns: list[Array] = []
        for time_s, q, _, _ in self.window.readings:
            hours = min(max(time_s / 3600.0, 0.0), seen.values.shape[1] - 1.001)
            k, part = int(hours), hours % 1.0
            values = seen.of(q)
            columns.append(values[:, k] * (1.0 - part) + values[:, k + 1] * part + self._bias(thetas, q))
        for name in self.window.hourly:
            simulated = _simulated(name, seen, e)
            for feature, _ in _FEATURES.get(name, ()):
                daily = np.array([_daily(row, feature) for row in simulated])
                shift = self._bias(thetas, name) if feature == "mean" else 0.0
                columns += list((daily + np.reshape(shift, (-1, 1)) if feature == "mean" else daily).T)
        found = np.array(columns).T[:, self._there]
        return np.nan_to_num(found, nan=0.0)

    def _bias(self, thetas: Array, q: str) -> Array:
        return thetas[:, self.names.index(f"bias:{q}")] if f"bias:{q}" in self.names else np.zeros(len(thetas))

    # -- the search ---------------------------------------------------------------------------------

    def solve(self) -> tuple[Array, Array, Array]:
        """Most probable parameters, their covariance, and the residuals in sds."""
        n = len(self.names)
        theta = np.zeros(n)
        steps = np.minimum(_STEP * self.prior, np.where(self.linear, np.inf, _WIDEST))
        hand = np.array([" " not in k for k in self.kinds])
        best, damping = math.inf, 0.0
        kept = theta, np.zeros(0), np.zeros((0, n))
        for _ in range(_ROUNDS):
            residual, slope = self._linear(theta, steps)
            weight = np.where(hand, _robust(residual), 1.0) * self._counts(residual, final=False)
            cost = float(
                (self._loss(residual, hand) * self._counts(residual, final=False)).sum()
                + (theta**2 / self.prior**2).sum()
            )
            if cost > best:  # worse: back, and more carefully
                theta, residual, slope = kept
                weight = np.where(hand, _robust(residual), 1.0) * self._counts(residual, final=False)
                damping = max(6.0 * damping, 1.0)
            else:
                kept, best, damping = (theta, residual, slope), cost, damping / 6.0
            information = slope.T @ (weight[:, None] * slope) + np.diag(1.0 / self.prior**2)
            gradient = slope.T @ (weight * residual) - theta / self.prior**2
            move = np.linalg.solve(information + damping * np.diag(np.diag(information)), gradient)
            move *= min(1.0, float((1.5 * self.prior / np.maximum(np.abs(move), 1e-12)).min()))
            if np.all(np.abs(move) < 0.02 * self.prior):
                break
            theta = theta + move
        theta, residual, slope = kept
        self.predict(theta[None])  # what is reported of rates is of this member
        weight = np.where(hand, _robust(residual), 1.0) * self._counts(residual, final=True)
        covariance = np.linalg.inv(slope.T @ (weight[:, None] * slope) + np.diag(1.0 / self.prior**2))
        return theta, covariance, residual

    def _linear(self, theta: Array, steps: Array) -> tuple[Array, Array]:
        """Residuals in sds at a point, and how the prediction moves with each unknown, in sds."""
        n = len(theta)
        predicted = self.predict(np.vstack([theta, theta + np.diag(steps), theta - np.diag(steps)]))
        residual = (self.y - predicted[0]) / self.sd
        return residual, ((predicted[1 : n + 1] - predicted[n + 1 :]) / (2.0 * steps[:, None]) / self.sd).T

    @staticmethod
    def _loss(residual: Array, hand: Array) -> Array:
        """Twice the negative log likelihood: Student's t with five degrees of freedom for hand tests, else Gauss."""
        return np.where(hand, 6.0 * np.log1p(residual**2 / 5.0), residual**2)

    def _counts(self, residual: Array, *, final: bool) -> Array:
        """How much each observation counts.

        A day's features follow each other, since weather and what the model's structure misses last longer than a day.
        For the final spread, a kind whose residuals are larger than its sd counts for less.
        """
        found = np.ones(len(residual))
        index = np.array(self.kinds)
        for kind in set(self.kinds):
            inside = index == kind
            r = residual[inside]
            serial, spread = 0.0, 1.0
            if " " in kind:
                serial = _SERIAL
                if final and len(r) > 6:
                    c = r - r.mean()
                    serial = max(_SERIAL, min(float((c[1:] * c[:-1]).sum() / max((c * c).sum(), 1e-12)), 0.95))
            if final:
                spread = max(1.0, float(np.sqrt(np.mean(np.minimum(r**2, 16.0)))))
            found[inside] = (1.0 - serial) / (1.0 + serial) / spread**2
        return found

    # -- the report ---------------------------------------------------------------------------------

    def report(self, theta: Array, covariance: Array, residual: Array) -> Fit:
        sd = np.sqrt(np.diag(covariance))
        learned: dict[str, Learned] = {}
        absolute: dict[str, tuple[float, float]] = {}
        wider: dict[str, float] = {}
        base = members.muster(self.plan, self.begin, 1, 1, self.start, self.acts.dt_s, certain=True)
        for i, name in enumerate(self.free):
            alone = HEAT_ALONE if name == "heat-loss" and "evaporation" not in self.free else 0.0
            t, s = float(theta[i]), math.hypot(float(sd[i]), OTHER_LAWS[name], alone)
            wider[name] = min(s, float(self.prior[i])) / float(sd[i])
            if s >= self.prior[i]:  # the records tell less than was known before: that stands
                t, s = 0.0, float(self.prior[i])
            low, mid, high = (math.exp(t - Z90 * s), math.exp(t), math.exp(t + Z90 * s))
            learned[name] = Learned(name, low, mid, high, 1.0 - s / float(self.prior[i]))
            for inside in FREE[name][0]:
                value = float(base.p[0, INDEX[inside]])
                absolute[inside] = (value * low, value * high)
        drawn = [n for n in (*self.free, *self.beside) if ALL[n][0]]
        place = [self.names.index(n) for n in drawn]
        before = {inside: float(base.p[0, INDEX[inside]]) for name in drawn for inside in ALL[name][0]}
        # what is drawn together keeps its correlations, each spread widened as the answer's is
        stretch = np.array([wider.get(n, 1.0) for n in drawn])
        together_cov = covariance[np.ix_(place, place)] * np.outer(stretch, stretch)
        joint = (drawn, [float(theta[i]) for i in place], together_cov.tolist())
        strained = tuple(n for n, t, p in zip(self.names, theta, self.prior, strict=True) if abs(t) > 3.0 * p)
        volume = self.start.volume or (self.plan.system.net_volume_l, self.plan.system.net_volume_sd_l)
        if "volume" in learned:
            of_volume = learned["volume"]
            middle = volume[0] * of_volume.q50
            volume = (middle, middle * math.log(of_volume.q95 / of_volume.q05) / (2.0 * Z90))
        scale = covariance / np.outer(sd, sd)
        together = tuple(
            (a, b, float(scale[i, j]))
            for i, a in enumerate(self.free) for j, b in enumerate(self.free)
            if i < j and abs(scale[i, j]) > TOGETHER
        )  # fmt: skip
        silent = tuple(n for n in self.free if learned[n].gained < NOT_LEARNED)
        kinds = sorted(set(self.kinds))
        index = np.array(self.kinds)
        misfit = {k: float(np.median(np.abs(residual[index == k])) / 0.6745) for k in kinds}
        used = {k: int((index == k).sum()) for k in kinds}
        ends = {n: float(self.last.values[0, -1, sight.SIGHTS.index(n)]) for n in sight.MEASURED}
        return Fit(
            learned,
            absolute,
            volume,
            together,
            silent,
            misfit,
            used,
            ends,
            strained,
            before,
            joint,
            rates(self.last_e, 0, self.window.days),
        )


def rates(e: members.Ensemble, m: int, days: float) -> dict[str, float]:
    """What a member did in the mean of a run, in terms that any model of the water would have."""
    flow = sum(gases.exchanged_kg_s(e.c[m], e.p[m], e.g[m], b) for b in range(e.bodies))
    return {
        "calcification": float(-e.led[m, at.SKELETON, at.TA] / days),
        "nitrate-export": float((e.y[m, at.GROWN_N] - e.led[m, at.NITROGEN_GAS, at.NO3]) / days),
        "phosphate-export": float(e.y[m, at.GROWN_P] / days),
        "gas-exchange": float(flow * 3600.0 / KG_L),
        "heat-loss": float(e.p[m, d.WALL_W_K]),
        "evaporation": float(e.y[m, at.EVAPORATED_KG] / days),
        "volume": float(e.g[m, :, at.FULL].sum() / KG_L),
    }  # fmt: skip


def _bend(e: members.Ensemble, m: int, name: str, value: float) -> None:
    """Apply one unknown to one member."""
    kind, _, q = name.partition(":")
    if kind == "bias":
        return
    factor = math.exp(value)
    if kind == "start":
        state = at.SALT if q == "salinity" else STATE_OF[q]
        e.x[m, :, state] *= factor
        if q == "alkalinity":
            e.x[m, :, at.DIC] *= factor
        if q == "phosphate":
            e.y[m, at.ROCK_P] *= factor
        return
    if name == "volume":
        e.x[m] *= factor
        e.g[m][:, [at.FULL, at.BRIM, at.DRAIN]] *= factor
        return
    for inside in ALL[name][0]:
        e.p[m, INDEX[inside]] *= factor
    if name == "production":
        e.y[m, at.TISSUE] *= factor


def _daily(series: Array, feature: str) -> Array:
    """One feature a day of an hourly series; NaN for days with fewer than twenty hours."""
    days = len(series) // 24
    table = np.asarray(series[: days * 24], dtype=float).reshape(days, 24)
    there = np.isfinite(table)
    enough = there.sum(axis=1) >= 20
    filled = np.where(there, table, 0.0)
    count = np.maximum(there.sum(axis=1), 1)
    if feature == "mean":
        found = filled.sum(axis=1) / count
    elif feature == "sum":
        found = filled.sum(axis=1) * 24.0 / count
    else:
        low = np.where(there, table, np.inf).min(axis=1)
        high = np.where(there, table, -np.inf).max(axis=1)
        found = high - low
    return np.where(enough, found, np.nan)


def _simulated(name: str, seen: members.Seen, e: members.Ensemble) -> Array:
    """The model's hourly series of what a record holds. [members, hours]"""
    if name in ("heater", "chiller"):
        power = float(e.p[0, d.HEATER_0_W if name == "heater" else d.CHILLER_W])
        kwh = seen.of("heater_kwh" if name == "heater" else "chiller_kwh")
        return np.diff(kwh, axis=1) * 1000.0 / max(power, 1e-9)
    if name == "topoff":
        return np.diff(seen.of("topoff_l"), axis=1)
    if name == "temperature":
        return seen.of("plant_temperature")[:, :-1]
    return seen.of(name)[:, :-1]


def _robust(residual: Array) -> Array:
    """Weights of a Student's t with five degrees of freedom: a blunder counts for little."""
    return 6.0 / (5.0 + residual**2)
