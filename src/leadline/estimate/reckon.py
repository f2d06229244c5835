"""Dead reckoning of one system: from its journal to what is believed of every quantity, now and ahead."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from leadline.estimate import coupling
from leadline.estimate.families import FAMILIES
from leadline.estimate.grid import GAIN, LEVEL, SECOND, Bank, Motion, predict
from leadline.estimate.inputs import AHEAD_D, Events, Inputs, collect, day_of
from leadline.estimate.replay import PUMP_GAIN_SD, Track, replay
from leadline.estimate.sightings import Service, Sightings, gather
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of
from leadline.measures.moments import UTC
from leadline.measures.quantities import stored_name
from leadline.system.bands import CORE
from leadline.system.description import System

Array = np.ndarray
Probes = Mapping[str, Mapping[str, tuple[Array, Array]]]
"""Quantity → stream id → (days, values in the stored unit): 10-minute medians of points that passed."""

KEPT_TIMES = 1.5  # how much wider than a first belief a belief may grow; tuned on seeds below 1000


@dataclass(frozen=True, slots=True)
class Usual:
    """The average of known inputs per day over the last weeks."""

    log_keep: float
    dose: float
    other: float
    var: float


@dataclass(slots=True)
class Reckoning:
    """All tracks of one system as of one moment."""

    system: System
    now: float  # day
    tracks: dict[str, Track]
    inputs: Inputs
    typed: dict[str, str]  # latest readings by id, as they were typed
    warnings: tuple[str, ...]
    confirmed: frozenset[str]  # readings of which the keeper said that they are right as typed
    services: list[Service]  # in order of time
    since: float  # day of the first entry; nothing is known of the time before

    links: coupling.Couplings | None = None
    usuals: dict[str, Usual] = field(default_factory=dict)

    def moment(self) -> dt.datetime:
        return moment_of(self.now)

    def carry(self, now: float) -> None:
        """Carry known inputs on to a later moment at which nothing new was written."""
        self.inputs.go_on(now)
        for q, t in self.tracks.items():
            t.events = self.inputs.of(q)
        self.now = now
        self.links, self.usuals = None, {}

    def proved(self) -> dict[str, float]:
        """Equipment, stream or kit to the day of its last service."""
        return {about: day for day, about, _ in self.services}

    def usual(self, q: str) -> Usual:
        """What the last four weeks brought per day to a quantity."""
        if q not in self.usuals:
            t = self.tracks[q]
            self.usuals[q] = usual_inputs(t.events, self.now, t.start)
        return self.usuals[q]

    def couplings(self) -> coupling.Couplings:
        """What salinity and alkalinity say of the others."""
        if self.links is None:
            self.links = coupling.couplings(self.tracks)
        return self.links


def moment_of(day: float) -> dt.datetime:
    """A day since 1970 as a moment, to the second."""
    return dt.datetime.fromtimestamp(round(day * 86400.0), UTC)


def reckon(system: System, entries: Iterable[Entry], now: dt.datetime, probes: Probes | None = None) -> Reckoning:
    """Replay everything known of a system at `now`.

    Parameters
    ----------
    system
        What stands there.
    entries
        The journal of that system, in the order in which it was written.
    now
        Nothing that happened or was written down later is used.
    probes
        Medians of probe streams.
    """
    journal = as_of(entries, now)
    today = day_of(now)
    readings: dict[str, list[Entry]] = defaultdict(list)
    services: list[Service] = []
    for e in journal.entries:
        if e.kind == "reading":
            readings[stored_name(e.subject)].append(e)
        elif e.kind == "service":
            services.append((day_of(e.time), e.subject, e.method))
    probes = probes or {}
    names = _which(system, readings, probes)
    # the first readings say about where it stands; later ones must not change what was believed before them
    early = {q: [e.stored for e in readings[q][:5] if e.stored is not None] for q in names}
    typical = {q: float(np.median(values)) for q, values in early.items() if len(values) >= 4}
    inputs = collect(system, journal, now, names, typical)
    seen = {q: gather(system, q, readings.get(q, ()), services, probes.get(q)) for q in names}
    volume_sd = system.net_volume_sd_l / system.net_volume_l
    priors = _priors(system)

    def run(group: Sequence[str], extra: coupling.Extra | None = None, coupled: bool = False) -> dict[str, Track]:
        return replay(group, seen, inputs.events, today, volume_sd, inputs.dosed, priors, extra, coupled)

    first = [q for q in names if not FAMILIES[q].with_salt]
    tracks = run(first)
    salty = [q for q in names if FAMILIES[q].with_salt]
    built = [q for q in salty if q in ("calcium", "magnesium", "strontium")]
    tracks |= run([q for q in salty if q not in built], coupling.couplings(tracks).extra(False))
    links = coupling.couplings(tracks)
    matched = [q for q in built if links.taken is not None and coupling.dosed_alike(q, inputs, today)]
    tracks |= run(matched, links.extra(True), coupled=True)
    tracks |= run([q for q in built if q not in matched], links.extra(False))
    latest = [e for group in readings.values() for e in group[-8:]]
    typed = {e.id: f"{e.value:g} {e.unit}".strip() for e in latest if e.value is not None}
    confirmed = frozenset(str(e.extra["confirms"]) for e in journal.entries if "confirms" in e.extra)
    since = day_of(journal.entries[0].time) if journal.entries else today
    warnings = (*system.defaults, *inputs.warnings)
    ordered = {q: tracks[q] for q in names}
    return Reckoning(system, today, ordered, inputs, typed, warnings, confirmed, services, since)


def _which(system: System, readings: Mapping[str, list[Entry]], probes: Probes) -> list[str]:
    wanted = dict.fromkeys(CORE)
    wanted.update(dict.fromkeys(system.bands))
    wanted.update(dict.fromkeys(q for q in readings))
    wanted.update(dict.fromkeys(probes))
    return [q for q in wanted if q in FAMILIES]


def _priors(system: System) -> dict[str, float]:
    heaters = [e.setpoint_c for e in system.equipment if e.type == "heater" and e.setpoint_c]
    return {"temperature": float(np.mean(heaters))} if heaters else {}


# -- from the last reading to any later moment ---------------------------------------------------------


def motion_to(r: Reckoning, names: Sequence[str], start: Array, end: Array, ahead: bool) -> Motion:
    """Motion of each named quantity from `start` to `end` [d], shape (B,).

    Up to now the journal's inputs are used; ahead of now those of the last four weeks are taken to go on.
    """
    b = len(names)
    days = np.maximum(end - start, 0.0)
    keep, mean_keep = np.ones(b), np.ones(b)
    dose, other, var = np.zeros(b), np.zeros(b), np.zeros(b)
    for j, q in enumerate(names):
        events = r.tracks[q].events
        if not len(r.tracks[q].sightings):
            days[j] = 0.0  # a belief that rests on no reading neither moves nor widens
            continue
        if not ahead:
            # what happened at the very moment that is asked for counts
            k, mk, do, ot, va = events.between(np.array([start[j], end[j] + 1e-9]))
            keep[j], mean_keep[j], dose[j], other[j], var[j] = k[0], mk[0], do[0], ot[0], va[0]
            continue
        usual = r.usual(q)
        keep[j] = np.exp(usual.log_keep * days[j])
        mean_keep[j] = float(held(usual.log_keep * days[j]))
        dose[j], other[j] = usual.dose * days[j] * mean_keep[j], usual.other * days[j] * mean_keep[j]
        var[j] = usual.var * days[j]
    links = r.couplings()
    for j, q in enumerate(names):
        if not r.tracks[q].family.with_salt or not len(r.tracks[q].sightings):
            continue
        if ahead:
            ot2, va2 = links.ahead(q, days[j : j + 1], r.tracks[q].coupled)
            other[j], var[j] = other[j] + ot2[0], var[j] + va2[0]
        else:
            k2, ot2, va2 = links.between(q, start[j : j + 1], end[j : j + 1], True, r.tracks[q].coupled)
            root = float(np.sqrt(k2[0]))
            keep[j], mean_keep[j], dose[j] = keep[j] * k2[0], mean_keep[j] * root, dose[j] * root
            other[j], var[j] = other[j] * root + ot2[0], var[j] + va2[0]
    tracks = [r.tracks[q] for q in names]
    return Motion(
        days, keep, mean_keep, dose, other, var,
        np.array([t.theta for t in tracks]), np.array([t.departs for t in tracks]),
        np.stack([t.rate_walk for t in tracks]), np.stack([t.level_walk for t in tracks]),
        np.stack([t.departure for t in tracks]), np.zeros(b),
    )  # fmt: skip


def held(log_keep: float | Array) -> Array:
    """Average share that is kept of what came in steadily while `log_keep` (natural log) of it all was kept."""
    x = np.asarray(log_keep, dtype=float)
    small = np.abs(x) < 1e-6
    return np.where(small, 1.0 + x / 2.0, np.expm1(x) / np.where(small, 1.0, x))


def usual_inputs(events: Events, now: float, start: float) -> Usual:
    """What came regularly in the last four weeks, per day, as if it flowed steadily.

    What was done once (a correction by hand, a slip) is not taken to go on.

    An exchange of a share f flows as -ln(1 - f), and so does what it brings: then a tank that is changed again and
    again tends to the new water, and not below it.
    """
    window = min(AHEAD_D, max(now - start, 1.0))
    first = int(np.searchsorted(events.t, now - window, side="right"))
    last = int(np.searchsorted(events.t, now, side="right"))
    n = slice(first, last)
    regular = events.regular[n]
    log_keep = events.log_keep[n] * regular
    share = -np.expm1(log_keep)
    flows = np.where(share > 0, -log_keep / np.where(share > 0, share, 1.0), 1.0)
    return Usual(
        float(log_keep.sum()) / window - events.leak_per_day,
        float((events.dose[n] * regular).sum()) / window,
        float((events.other[n] * regular * flows).sum()) / window,
        float((events.var[n] * regular).sum()) / window,
    )


def bank_now(r: Reckoning, names: Sequence[str]) -> Bank:
    """The filters of the named quantities carried from their last readings to now."""
    tracks = [r.tracks[q] for q in names]
    bank = Bank(
        np.concatenate([t.bank.mean for t in tracks]),
        np.concatenate([t.bank.cov for t in tracks]),
        np.concatenate([t.bank.log_weight for t in tracks]),
    )
    last = np.array([t.last for t in tracks])
    predict(bank, motion_to(r, names, last, np.full(len(names), r.now), ahead=False))
    return bank


def within_reason(
    mean: Array, var: Array, t: Track, said_mean: Array | float | None = None, said_var: Array | float | None = None
) -> tuple[Array, Array]:
    """Mean and variance of a level after what every kept system tells: a belief that has grown wider than what one
    believes of a system never measured tends back to that.

    While the belief is much narrower, which is always soon after a reading, nothing is changed; and what readings said
    of a system unlike others is not talked away: `said_mean` and `said_var` are the level just after the reading on
    which the belief rests, the last one when not given.
    """
    assert t.opened is not None
    centre = float(t.opened[0][LEVEL])
    if said_mean is None or said_var is None:
        said_mean, said_var = float(t.post_mean[-1, LEVEL]), float(t.post_cov[-1, LEVEL, LEVEL])
    usual = KEPT_TIMES * max(t.family.prior[1], t.scale)
    off = np.abs(np.asarray(said_mean) - centre)
    unsure = np.minimum(2.0 * np.sqrt(np.maximum(said_var, 0.0)), np.maximum(off, 2.0 * usual))
    wide = np.maximum(np.maximum(usual, off), unsure) ** 2
    tells = wide * (1.0 + (wide / np.maximum(var, 1e-18)) ** 2)
    gain = var / (var + tells)
    return mean + gain * (centre - mean), var * (1.0 - gain)


def bank_ahead(r: Reckoning, names: Sequence[str], bank: Bank, days: float) -> Bank:
    """A copy of the present filters carried `days` ahead, known inputs going on as they are."""
    there = bank.copy()
    start = np.full(len(names), r.now)
    predict(there, motion_to(r, names, start, start + days, ahead=True))
    return there


def volume(r: Reckoning) -> tuple[float, float]:
    """Net volume [L] and its sd, as learned from what doses did.

    A dose that moves the water more than stated says that there is less water, or that the pump gives more; each
    dosed quantity has its own pump error, all share the volume.
    """
    v0 = r.system.net_volume_l
    prior = (r.system.net_volume_sd_l / v0) ** 2
    precision, total = 1.0 / prior, 0.0
    for q, t in r.tracks.items():
        if q not in r.inputs.dosed:
            continue
        w = np.exp(t.bank.log_weight[0])
        g = t.bank.mean[0, :, GAIN]
        mean = float((w * g).sum())
        var = float((w * (t.bank.cov[0, :, GAIN, GAIN] + (g - mean) ** 2)).sum())
        both = prior + PUMP_GAIN_SD**2
        if var >= both * 0.999:
            continue
        # what the readings alone say of gain, then of volume once the pump's own doubt is added back
        likelihood_var = 1.0 / (1.0 / var - 1.0 / both)
        likelihood_mean = mean * likelihood_var / var
        p = 1.0 / (likelihood_var + PUMP_GAIN_SD**2)
        precision += p
        total += p * likelihood_mean
    gain = float(np.clip(total / precision, -0.4, 0.6))  # further off than that the story is another one
    learned = v0 / (1.0 + gain)
    sd = learned / (1.0 + gain) * float(np.sqrt(1.0 / precision))
    # nobody misjudges a volume by more than a few of his own sd: doses that say so are weak, wrong or mistyped
    reach = 2.5 * r.system.net_volume_sd_l
    bounded = float(np.clip(learned, v0 - reach, v0 + reach))
    return bounded, float(np.hypot(sd, learned - bounded))


__all__ = [
    "LEVEL",
    "SECOND",
    "Probes",
    "Reckoning",
    "Sightings",
    "bank_ahead",
    "bank_now",
    "moment_of",
    "reckon",
    "volume",
]
