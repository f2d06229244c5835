"""Known inputs between readings: what the journal says was put in, taken out and exchanged, per quantity."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np

from leadline.estimate.families import FAMILIES
from leadline.journal.entry import Entry
from leadline.journal.journal import Journal
from leadline.measures import units
from leadline.measures.errors import BadInput, LeadlineError
from leadline.model import substances, waters
from leadline.model.evaporation import kg_per_day
from leadline.model.state import SALT_G_PER_MOL
from leadline.model.waters import FRESH, composition
from leadline.system.description import System

Array = np.ndarray
DENSITY_KG_L = 1.0233  # seawater at S 35, 25 °C (TEOS-10); 0.3 % over any tank, far inside the volume's own doubt
_PSU_PER_G_KG = 35.0 / 35.16504
# ions that a balanced two-part dose leaves behind: what skeleton takes up again is not counted
_STAYS = ("magnesium", "potassium", "sodium", "chloride", "sulfate", "nitrogen", "phosphorus")
# species of the balances to stored units, per mol and litre
PER_MOL: dict[str, tuple[str, float]] = {
    "alkalinity": ("alkalinity", 1000.0),
    "calcium": ("calcium", 40078.0),
    "magnesium": ("magnesium", 24305.0),
    "potassium": ("potassium", 39098.3),
    "strontium": ("strontium", 87620.0),
    "nitrate": ("nitrogen", 62004.0),
    "ammonia": ("ammonium", 14007.0),
    "phosphate": ("phosphorus", 94969.8),
    "iodine": ("iodine", 126904470.0),
    "silicate": ("silicon", 28085000.0),
}
_SPREAD_HOURS = (3.0, 9.0, 15.0, 21.0)  # a pump's daily total, spread over its day
MOST_LAG_D = 60.0  # so long a silent pump is taken to go on
AHEAD_D = 28.0  # how far back one looks for what goes on
MOST_EVAPORATED = 3.0  # times what is reckoned from the room: fans, open lids, a dry week; judgement
HAND_ERROR = 0.04  # a weighed or measured dose; common practice
EXCHANGE_ERROR = 0.06  # a bucketed volume; common practice
ODD_TIMES, ODD_ERROR = 3.0, 0.7  # one that is three times the usual may be a slip of a digit; judgement


@dataclass(slots=True)
class Events:
    """Known inputs of one quantity, in order of time. All arrays (n,).

    `t` [d since the epoch]; `log_keep` natural log of the share that stays; `dose` shares the gain error, `other`
    does not; `var` variance of both. [stored unit]
    """

    t: Array
    log_keep: Array
    dose: Array
    other: Array
    var: Array
    leak_per_day: float = 0.0
    regular: Array = field(default_factory=lambda: np.zeros(0))  # 1 for what comes regularly and is taken to go on

    def __post_init__(self) -> None:
        if len(self.regular) != len(self.t):
            self.regular = np.ones(len(self.t))

    def with_more(self, rows: Array) -> Events:
        """These and further events; rows (n, 6) of t, log_keep, dose, other, var, regular."""
        table = np.stack((self.t, self.log_keep, self.dose, self.other, self.var, self.regular), axis=1)
        table = np.concatenate((table, rows))
        table = table[np.argsort(table[:, 0], kind="stable")]
        t, log_keep, dose, other, var, regular = table.T.copy()
        return Events(t, log_keep, dose, other, var, self.leak_per_day, regular)

    def between(self, edges: Array) -> tuple[Array, Array, Array, Array, Array]:
        """Effect of all events between consecutive `edges` (n+1,) on the level: keep, mean_keep, dose, other, var.

        An event at the very moment of an edge comes after it: one tests first and then changes.
        """
        n = len(edges) - 1
        days = np.diff(edges)
        which = np.searchsorted(edges, self.t, side="right") - 1
        inside = (which >= 0) & (which < n)
        which = which[inside]
        leak = self.leak_per_day
        if not len(which):
            keep = np.exp(-leak * days)
            zero = np.zeros(n)
            return keep, keep * _gathered(leak * days), zero, zero.copy(), zero.copy()
        t, lk = self.t[inside], self.log_keep[inside]
        total = np.cumsum(lk)
        ends = np.bincount(which, weights=lk, minlength=n)
        before = np.concatenate(([0.0], np.cumsum(ends)))[:-1]  # log keep accumulated before each gap
        after = np.exp(before[which] + ends[which] - total - leak * (edges[which + 1] - t))
        keep = np.exp(ends - leak * days)
        dose = np.bincount(which, weights=self.dose[inside] * after, minlength=n)
        other = np.bincount(which, weights=self.other[inside] * after, minlength=n)
        var = np.bincount(which, weights=self.var[inside] * after * after, minlength=n)
        # what the rate adds early in the gap is itself exchanged later in it
        following = np.append(t[1:], np.inf)
        last = np.append(which[1:] != which[:-1], True)
        span = np.where(last, edges[which + 1], following) - t
        first = np.full(n, np.nan)
        first[which[::-1]] = t[::-1]
        lead = np.where(np.isnan(first), days, first - edges[:-1])
        weighted = lead * _gathered(leak * lead) * keep
        weighted += np.bincount(which, weights=span * _gathered(leak * span) * after, minlength=n)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean_keep = np.where(days > 0, weighted / np.where(days > 0, days, 1.0), 1.0)
        return keep, mean_keep, dose, other, var


def _gathered(x: Array) -> Array:
    """(e^x - 1)/x: what a steady rate gathers under a steady loss, against the share that the loss leaves at last."""
    return np.where(x > 1e-12, np.expm1(x) / np.where(x > 1e-12, x, 1.0), 1.0)


@dataclass(frozen=True, slots=True)
class Ongoing:
    """A source that is taken to go on without being written down: a pump whose record lags, a declared doser.

    `effect` is what one day brings [stored unit], `error` its relative doubt; days from `first` to `last`, in the
    middles of quarter days.
    """

    first: float
    last: float
    effect: dict[str, float]
    error: float
    words: str


@dataclass(slots=True)
class Inputs:
    """Known inputs of every quantity up to `until` [d], and what could not be used."""

    events: dict[str, Events]
    warnings: list[str] = field(default_factory=list)
    dosed: set[str] = field(default_factory=set)  # quantities that receive doses
    marks: list[tuple[float, str, str]] = field(default_factory=list)  # day, kind, words: for courses
    ongoing: list[Ongoing] = field(default_factory=list)
    until: float = -np.inf

    def go_on(self, now: float) -> None:
        """Carry the ongoing sources to `now` [d]."""
        more: dict[str, list[Array]] = defaultdict(list)
        for o in self.ongoing:
            day = np.arange(o.first, min(o.last, now) + 1.0)
            at = (day[:, None] + np.array(_SPREAD_HOURS) / 24.0).ravel()
            at = at[(at > self.until) & (at <= now)]
            if not len(at):
                continue
            zero = np.zeros(len(at))
            for quantity, amount in o.effect.items():
                moved = np.full(len(at), amount / len(_SPREAD_HOURS))
                more[quantity].append(np.stack((at, zero, moved, zero, (o.error * moved) ** 2, zero + 1.0), axis=1))
        for quantity, blocks in more.items():
            if quantity in self.events:
                self.events[quantity] = self.events[quantity].with_more(np.concatenate(blocks))
        self.until = now

    def of(self, quantity: str) -> Events:
        found = self.events.get(quantity)
        if found is None:
            z = np.zeros(0)
            return Events(z, z, z, z, z)
        return found


def day_of(moment: dt.datetime) -> float:
    """A moment as days since 1970. [d]"""
    return moment.timestamp() / 86400.0


def is_regular(days: Sequence[float], now: float, window: float) -> bool:
    """True when something was done at least four times in the last `window` days, at a steady interval."""
    recent = np.array([d for d in days if now - window <= d <= now])
    if len(recent) < 4:
        return False
    gaps = np.diff(np.unique(recent))
    return bool(len(gaps) >= 3 and gaps.std() < 0.8 * gaps.mean() and now - recent[-1] < 2.5 * gaps.mean())


def surface_m2(system: System) -> float:
    """Open water surface: of the vessels whose size is known, else of so much water half a metre deep. [m²]"""
    known = sum(v.inner_size_m[0] * v.inner_size_m[1] for v in system.vessels if v.inner_size_m)
    return known or system.net_volume_l / 500.0


class _Collector:
    def __init__(self, system: System, now: float) -> None:
        self.system = system
        self.now = now
        self.volume = system.net_volume_l
        self.rows: dict[str, list[tuple[float, float, float, float, float, float]]] = defaultdict(list)
        self.blocks: dict[str, list[Array]] = defaultdict(list)
        self.mixing: list[tuple[float, float, dict[str, tuple[float, float]], float]] = []
        self.warnings: dict[str, None] = {}
        self.dosed: set[str] = set()
        self.ongoing: list[Ongoing] = []
        self.topped = -np.inf
        room = system.room
        self.evaporated_per_day = kg_per_day(surface_m2(system), 25.5, room.temperature_c, room.relative_humidity)
        self.marks: list[tuple[float, str, str]] = []

    def effect(self, grams: dict[str, float]) -> dict[str, float]:
        """What a dose does to each quantity, in stored units."""
        species: dict[str, float] = defaultdict(float)
        for name, g in grams.items():
            for k, v in substances.moles(name, g).items():
                species[k] += v
        moved = {q: species[key] * factor / self.volume for q, (key, factor) in PER_MOL.items() if species.get(key)}
        self.dosed.update(moved)
        salt_g = sum(SALT_G_PER_MOL[k] * species[k] for k in _STAYS if k in species)
        if salt_g:
            moved["salinity"] = salt_g / (self.volume * DENSITY_KG_L) * _PSU_PER_G_KG
        return moved

    def dose(self, days: Array, amounts: Array, errors: Array, effect: dict[str, float], regular: bool = False) -> None:
        """Doses of `amounts` units at `days`, each unit having `effect`; `errors` are relative."""
        zero = np.zeros(len(days))
        for quantity, per_unit in effect.items():
            moved = amounts * per_unit
            self.blocks[quantity].append(
                np.stack((days, zero, moved, zero, (errors * moved) ** 2, zero + regular), axis=1)
            )

    def pour(self, day: float, out_l: float, in_l: float, water: dict[str, tuple[float, float]]) -> None:
        gone = max(out_l / self.volume, 0.0)
        share = min(gone, 0.99)
        # a change of more than there is only replaces what there is: the rest of the new water ran off with the old
        came = in_l / self.volume * (share / gone if gone > share else 1.0)
        self.mixing.append((day, float(np.log1p(-share)), water, came))

    def top_off(self, day: float, litres: float) -> None:
        """More fresh water than can have evaporated since the last time thins the water: a hose left running."""
        gap = min(max(day - self.topped, 1.0), 14.0) if np.isfinite(self.topped) else 3.0
        self.topped = day
        excess = litres - MOST_EVAPORATED * self.evaporated_per_day * gap
        if excess > 0.03 * self.volume:
            share = excess / (self.volume + excess)  # nothing says whether it ran over or only rose
            self.mixing.append((day, float(np.log1p(-share)), {}, 0.0))
            self.rows["salinity"].append((day, 0.0, 0.0, 0.0, (0.3 * share * 35.0) ** 2, 0.0))
            self.warnings[f"{litres:g} L of top-off at once is more than evaporates: salinity is taken to fall"] = None

    def errors(self) -> list[float]:
        """Relative doubt of each pouring: a bucketed volume, and far more where it is unlike all others here."""
        sizes = [share for _, _, _, share in self.mixing]
        if len(sizes) < 5:
            return [EXCHANGE_ERROR] * len(sizes)
        usual = float(np.median(sizes))
        return [ODD_ERROR if s > ODD_TIMES * usual and s > 0.12 else EXCHANGE_ERROR for s in sizes]


def dose_rows(system: System, e: Entry, day: float) -> dict[str, Array]:
    """What one dose by hand does to each quantity, as rows for `Events.with_more`.

    Raises
    ------
    LeadlineError
        When its amount or substance cannot be reckoned.
    """
    c = _Collector(system, day)
    assert e.value is not None
    effect = c.effect(substances.grams_of(e.subject, e.value, e.unit, system.solutions))
    c.dose(np.array([day]), np.ones(1), np.array([HAND_ERROR]), effect)
    return {q: blocks[0] for q, blocks in c.blocks.items()}


def collect(
    system: System,
    journal: Journal,
    now: dt.datetime,
    quantities: Sequence[str],
    typical: Mapping[str, float] | None = None,
) -> Inputs:
    """Known inputs of `quantities` up to `now`, from the journal and the system's own description.

    `typical` is about where each quantity stands here, for the doubt of exchanged volumes. [stored unit]
    """
    c = _Collector(system, day_of(now))
    zone = ZoneInfo(system.time_zone)
    pumps = {e.id for e in system.equipment} | {s.id for s in system.streams}
    daily: dict[tuple[str, str, str], list[tuple[float, float]]] = defaultdict(list)
    feeding: list[tuple[float, str, float]] = []
    by_hand: dict[str, list[tuple[float, dict[str, float]]]] = defaultdict(list)
    for e in journal.entries:
        try:
            if e.kind == "addition" and e.value is not None:
                if e.method and (e.method in pumps or e.method.startswith("doser")):
                    daily[(e.method, e.subject, e.unit)].append((_local_midnight(e.time, zone), e.value))
                else:
                    grams = substances.grams_of(e.subject, e.value, e.unit, system.solutions)
                    if sum(grams.values()) > 1000.0 * system.net_volume_l:
                        raise BadInput(f"{e.value:g} {e.unit} of {e.subject} is more than the water could dissolve")
                    by_hand[e.subject].append((day_of(e.time), c.effect(grams)))
                    c.marks.append((day_of(e.time), "addition", f"{e.value:g} {e.unit} {e.subject}"))
            elif e.kind == "exchange" and e.value is not None:
                _exchange(c, e)
            elif e.kind == "topoff" and e.value is not None:
                litres = units.to_litres(e.value, e.unit or "L")
                # a top-off that nobody knows is taken for fresh water: that is what tops off
                water = composition(e.subject if waters.known(e.subject) else "ro", e.extra)
                _unknown_water(c, e, "fresh water")
                if e.subject not in FRESH or e.extra.get("salinity") or water:
                    c.pour(day_of(e.time), 0.0, litres, water)
                c.top_off(day_of(e.time), litres)
            elif e.kind == "feeding" and e.value is not None and e.subject in substances.FOODS:
                feeding.append((day_of(e.time), e.subject, units.to_grams(e.value, e.unit or "g")))
        except LeadlineError as exc:
            c.warnings[exc.what] = None
    for doses in by_hand.values():
        steady = is_regular([day for day, _ in doses], c.now, AHEAD_D)
        for day, effect in doses:
            c.dose(np.array([day]), np.ones(1), np.array([HAND_ERROR]), effect, steady)
    _spread_daily(c, daily, day_of(now))
    _declared_dosers(c, {k[0] for k in daily}, journal)
    _feedings(c, feeding)
    leak = 0.0
    for machine in system.equipment:
        if machine.type == "skimmer" and "skimmate" in machine.rest:
            leak += _litres_per_day(str(machine.rest["skimmate"])) / system.net_volume_l
    usual = typical or {}
    events = {q: _events(c, q, leak, usual.get(q, FAMILIES[q].prior[0])) for q in quantities}
    found = Inputs(events, list(c.warnings), c.dosed, c.marks, c.ongoing)
    found.go_on(day_of(now))
    return found


def _exchange(c: _Collector, e: Entry) -> None:
    assert e.value is not None
    into = e.stored if e.stored is not None else units.to_litres(e.value, e.unit or "L")
    raw = e.extra.get("volume_out")
    out = float(raw) if isinstance(raw, int | float) else into
    _unknown_water(c, e, "a salt mix, with wide doubt")
    c.pour(day_of(e.time), out, into, composition(e.subject or "mixed-seawater", e.extra))
    c.marks.append((day_of(e.time), "exchange", f"{into:g} L exchanged"))


def _unknown_water(c: _Collector, e: Entry, taken: str) -> None:
    if e.subject and not waters.known(e.subject) and "salinity" not in e.extra:
        c.warnings[f"nobody knows the water {e.subject!r}: taken for {taken}; state its salinity in the entry"] = None


def _local_midnight(moment: dt.datetime, zone: ZoneInfo) -> float:
    local = moment.astimezone(zone)
    return day_of(local.replace(hour=0, minute=0, second=0, microsecond=0))


def _spread_daily(c: _Collector, daily: dict[tuple[str, str, str], list[tuple[float, float]]], now: float) -> None:
    """A pump's daily totals over their day; a regular pump whose record lags is taken to go on."""
    for (pump, subject, unit), totals in daily.items():
        totals.sort()
        try:
            per_unit = substances.grams_of(subject, 1.0, unit, c.system.solutions)
        except LeadlineError as exc:
            c.warnings[exc.what] = None
            continue
        days = [d for d, _ in totals]
        gaps = np.diff(days[-15:]) if len(days) > 1 else np.zeros(0)
        amounts = np.array([v for _, v in totals])
        effect = c.effect(per_unit)
        if len(days) >= 4 and np.median(gaps) < 1.6:
            usual = float(np.median(amounts[-7:]))
            words = f"{pump}: {usual:g} {unit} a day of {subject} is taken to go on"
            once = {q: usual * x for q, x in effect.items()}
            c.ongoing.append(Ongoing(days[-1] + 1.0, days[-1] + MOST_LAG_D, once, 0.15, words))
            if now - days[-1] > 2.5:
                c.warnings[f"{words}; its record ends {now - days[-1] - 1:.0f} days ago"] = None
        part = len(_SPREAD_HOURS)
        at = (np.array(days)[:, None] + np.array(_SPREAD_HOURS) / 24.0).ravel()
        amount = np.repeat(amounts / part, part)
        # the rest of today's total is yet to come and is kept: it takes part when its hour has come
        c.dose(at, amount, np.full(len(at), 0.02), effect, regular=True)


def _declared_dosers(c: _Collector, logged: set[str], journal: Journal) -> None:
    """A doser with a stated daily amount and no record of its own is taken to do what was stated."""
    if not journal.entries:
        return
    start = np.floor(day_of(journal.entries[0].time))
    for e in c.system.equipment:
        if e.type != "doser" or not e.per_day_ml or not e.substance or e.id in logged:
            continue
        try:
            grams = substances.grams_of(e.substance, e.per_day_ml, "mL", c.system.solutions)
        except LeadlineError as exc:
            c.warnings[f"{e.id}: {exc.what}"] = None
            continue
        words = f"{e.id}: no record of its own; {e.per_day_ml:g} mL a day, as stated, is taken to be given"
        c.ongoing.append(Ongoing(float(start), np.inf, c.effect(grams), 0.1, words))
        c.warnings[words] = None


def _feedings(c: _Collector, feeding: list[tuple[float, str, float]]) -> None:
    """Only departures from the usual feeding move nitrate and phosphate; the usual is part of their rate."""
    if len(feeding) < 20:
        return
    by_day: dict[int, tuple[float, float]] = defaultdict(lambda: (0.0, 0.0))
    for day, food, grams in feeding:
        n, p = substances.FOODS[food]
        a, b = by_day[int(day)]
        by_day[int(day)] = (a + grams * n, b + grams * p)
    first, last = min(by_day), max(by_day)
    if len(by_day) < 0.5 * (last - first + 1):
        return  # only some meals are written down: they say nothing of the usual
    usual_n = usual_p = None
    for day in sorted(by_day):
        n, p = by_day[day]
        usual_n = n if usual_n is None else usual_n + (n - usual_n) / 21.0
        usual_p = p if usual_p is None else usual_p + (p - usual_p) / 21.0
        # of a meal out of the usual a quarter of the nitrogen and a tenth of the phosphorus show in the water; rock,
        # sand and algae take the rest (judgement)
        for quantity, extra, factor in (("nitrate", n - usual_n, 0.25 * 4.4266), ("phosphate", p - usual_p, 0.307)):
            amount = extra * factor / c.volume
            c.rows[quantity].append((day + 1.0, 0.0, 0.0, amount, (0.5 * amount) ** 2, 0.0))


def _litres_per_day(text: str) -> float:
    return units.parse_amount(text.split("/")[0].strip() or "0 L", "volume")


def _events(c: _Collector, quantity: str, leak: float, typical: float) -> Events:
    rows = list(c.rows.get(quantity, ()))
    if quantity in FAMILIES and (FAMILIES[quantity].kind == "drifting" or quantity in ("ammonia", "nitrite")):
        steady = 1.0 if is_regular([day for day, *_ in c.mixing], c.now, 90.0) else 0.0
        for (day, log_keep, water, share), error in zip(c.mixing, c.errors(), strict=True):
            mean, sd = water.get(quantity, (0.0, 0.0))
            out = -np.expm1(log_keep)
            apart = typical - mean  # what an error of the volume is an error of
            var = (share * sd) ** 2 + (error * max(out, share) * apart) ** 2
            rows.append((day, log_keep, 0.0, share * mean, var, steady))
    else:
        leak = 0.0
    blocks = c.blocks.get(quantity, [])
    if not rows and not blocks:
        z = np.zeros(0)
        return Events(z, z, z, z, z, leak)
    table = np.concatenate([*blocks, np.array(rows, dtype=float).reshape(-1, 6)])
    table = table[np.argsort(table[:, 0], kind="stable")]
    return Events(table[:, 0], table[:, 1], table[:, 2], table[:, 3], table[:, 4], leak, table[:, 5])
