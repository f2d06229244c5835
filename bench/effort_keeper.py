"""A keeper with a plan: tests on a schedule or on Leadline's round, and corrects by one plain rule either way.

The water, the kits, the pumps and their wear are those of `bench.synthetic_water` and `bench.synthetic_keeper`. What
differs from that keeper: nobody forgets or leaves entries out here, and what is done after a reading is one rule for
both plans, so that only the choice of what to test differs.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from bench.records import entries
from bench.synthetic import describe
from bench.synthetic_keeper import G_PER, SPECIES_OF, Keeper
from bench.synthetic_kits import KITS
from bench.synthetic_styles import STYLES, Style
from bench.synthetic_water import ALK, HOURS, NO3, PO4, SALT, Water, ph_nbs, salt_of

from leadline.journal.entry import Entry
from leadline.rounds.choose import FLOOR_WORTH

EVERYTHING = ("temperature", "salinity", "alkalinity", "calcium", "magnesium", "nitrate", "phosphate", "ph")
EVENING = 18
# grams for one mg of nitrate or phosphate (molar masses: NaNO3 84.995, NO3 62.005, Na2HPO4 141.96, PO4 94.971)
_SALTS = {"sodium-nitrate": 84.995 / 62.005e3, "disodium-phosphate": 141.96 / 94.971e3}
_CORRECTIONS = ("dose", "exchange")
# aim and limit, in stored units: what is wanted of a mixed reef (common practice); pH is left to the room's air
BANDS: dict[str, tuple[tuple[float, float], tuple[float, float], str]] = {
    "temperature": ((24.5, 26.5), (22.5, 28.5), "degC"),
    "salinity": ((34.0, 36.0), (32.0, 37.5), "psu"),
    "alkalinity": ((7.0 / 2.804, 9.5 / 2.804), (6.0 / 2.804, 12.0 / 2.804), "meq/L"),
    "calcium": ((400.0, 460.0), (350.0, 520.0), "mg/L"),
    "magnesium": ((1250.0, 1420.0), (1100.0, 1650.0), "mg/L"),
    "nitrate": ((1.0, 20.0), (0.0, 50.0), "mg/L"),
    "phosphate": ((0.02, 0.15), (0.0, 0.5), "mg/L"),
}


@dataclass
class Effort:
    """What one keeper did and what became of the water, over `days` counted days."""

    days: float
    tests: dict[str, int] = field(default_factory=dict)
    test_minutes: float = 0.0
    other_minutes: float = 0.0
    out_aim: dict[str, float] = field(default_factory=dict)  # quantity-days
    out_limit: dict[str, float] = field(default_factory=dict)

    @property
    def tests_a_week(self) -> float:
        return sum(self.tests.values()) / self.days * 7

    @property
    def harm(self) -> float:
        """Quantity-days outside the aim plus quantity-days outside the limit, in 100 days."""
        return (sum(self.out_aim.values()) + sum(self.out_limit.values())) / self.days * 100

    @property
    def past_limit(self) -> float:
        return sum(self.out_limit.values()) / self.days * 100


Plan = Callable[["Planned", int], None]
"""What a keeper does on the evening of a day (counted from 0)."""


class Planned(Keeper):
    """The synthetic keeper, with a plan in the place of habit."""

    def __init__(
        self, style: Style, water: Water, start: dt.datetime, name: str, rng: np.random.Generator, plan: Plan
    ) -> None:
        super().__init__(style, water, start, name, rng)
        self.plan = plan
        self.states_sd = False
        self.aim_psu = self.mix_aim = 35.0
        self.known: list[Entry] = []
        self.blunders: set[str] = set()
        self.done: list[tuple[int, str, int]] = []  # day, quantity, minutes
        self.other: list[tuple[int, float]] = []
        self.proved: dict[str, dt.datetime] = {}

    def entries(self) -> list[Entry]:
        """The journal so far, through the conversions of an import; ids are places in it."""
        n = len(self.known)
        for k, e in enumerate(entries(self.rows[n:]), n):
            self.known.append(replace(e, id=f"e{k}"))
        return self.known

    def toml(self) -> str:
        """The system as described, with every band said."""
        lines = [describe(self).replace('[[band]]\nquantity = "alkalinity"', '[[band]]\nquantity = "-"')]
        text = lines[0][: lines[0].index('[[band]]\nquantity = "-"')]
        for q, (aim, limit, unit) in BANDS.items():
            pair = [f'["{a:.6g} {unit}", "{b:.6g} {unit}"]' for a, b in (aim, limit)]
            text += f'[[band]]\nquantity = "{q}"\naim = {pair[0]}\nlimit = {pair[1]}\n\n'
        return text

    def dawn(self, day: int, hour: int) -> None:
        super().dawn(day, hour)
        self.hour = EVENING

    def evening(self, day: int, hour: int) -> None:
        self.plan(self, day)
        if day >= self.next_exchange:
            self.exchange(day, hour)

    def moment(self, day: int) -> dt.datetime:
        return self.start + dt.timedelta(days=day, hours=EVENING)

    def measure(self, quantity: str, day: int) -> None:
        """One test, written down, and the rule applied to it."""
        hour = day * HOURS + EVENING
        water, kit, rng = self.water, self.kits[quantity], self.rng
        if quantity == "temperature":
            true = float(water.temperature[hour])
        elif quantity == "ph":
            one = [np.array([x]) for x in (water.level_of(ALK), water.pco2[hour], water.temperature[hour])]
            true = float(ph_nbs(*one, np.array([water.level_of(SALT)]))[0])
        else:
            true = water.level_of(SPECIES_OF[quantity])
        if kit.new_lot_due(rng):
            self.write(hour, "service", f"{quantity}-kit", method="new-lot", forget=0.0)
        value = kit.read(true, rng)
        wrong = rng.random() < self.style.blunder
        if wrong:
            value = kit.blunder(value, rng)
            self.blunders.add(f"e{len(self.rows)}")
        shown, unit = kit.show(value)
        self.write(hour, "reading", quantity, shown, unit, forget=0.0, method=kit.method)
        self.done.append((day, quantity, kit.model.minutes))
        before = self.last.get(quantity)
        self.last[quantity] = (day, value)
        self.mend(quantity, value, before, day, hour)

    def mend(self, quantity: str, value: float, before: tuple[float, float] | None, day: int, hour: int) -> None:
        """The rule: out of the aim, go half-way to its middle (no faster than is safe); a dose follows the trend."""
        if quantity not in BANDS:
            return
        water, volume = self.water, self.volume
        (low, high), _, _ = BANDS[quantity]
        middle = (low + high) / 2
        under, over = value < low, value > high
        half = 0.5 * (middle - value)
        if quantity == "alkalinity" and self.style.dosing == "pump" and before is not None and day > before[0]:
            drop = (before[1] - value) / max(day - before[0], 3.0)
            change = float(np.clip(0.5 * drop + 0.03 * (middle - value), -0.15, 0.15)) * volume
            self.dose = float(np.clip(self.dose + change, 0.0, 2.5 * volume))
        if quantity == "calcium" and self.style.dosing == "pump" and (under or over):
            self.ca_trim = float(np.clip(self.ca_trim + half / 600, 0.5, 1.6))
        if not (under or over):
            return
        if quantity == "temperature":
            water.temperature[hour:] += float(np.clip(half, -1.0, 1.0))
        elif quantity == "salinity":
            self.salt(half, hour)
        elif quantity == "alkalinity" and under:
            self.dosed("sodium-bicarbonate", min(half, 0.36) * volume, hour)
        elif quantity == "calcium" and under:
            self.dosed("calcium-chloride-dihydrate", min(half, 40.0) * volume, hour)
        elif quantity == "magnesium" and under:
            self.dosed("magnesium-chloride-hexahydrate", min(half, 80.0) * volume, hour)
        elif quantity == "nitrate" and under:
            self.fed("sodium-nitrate", NO3, half, hour)
        elif quantity == "nitrate":
            self.feed_factor = max(0.4, 0.85 * self.feed_factor)
            self.next_exchange = day
        elif quantity == "phosphate" and under:
            self.feed_factor = min(2.0, 1.1 * self.feed_factor)
            water.media = 0.0
            self.fed("disodium-phosphate", PO4, half, hour)
        elif quantity == "phosphate":  # less food, a binder for half of the excess, and more of it in the reactor
            self.feed_factor = max(0.4, 0.9 * self.feed_factor)
            water.media = min(water.media + 1.0, 4.0)
            water.add(PO4, half * volume)
            self.write(hour, "service", "reactor-1", method="replaced", forget=0.0)

    def fed(self, substance: str, species: int, change: float, hour: int) -> None:
        """Nitrate or phosphate as a salt."""
        amount = change * self.volume  # [mg]
        self.water.add(species, amount)
        self.write(hour, "addition", substance, amount * _SALTS[substance], "g", minute=35, forget=0.0)

    def dosed(self, substance: str, amount: float, hour: int) -> None:
        grams = amount * G_PER[substance]
        self.give(substance, grams * float(self.rng.normal(1, 0.05)), hour, 30, said=grams)

    def salt(self, change: float, hour: int) -> None:
        """Exchange a little for fresh water or for brine of 70, to move salinity by `change` [psu]."""
        fresh = change < 0
        litres = min(abs(change) / 35.0, 0.025) * self.volume
        new = [0.0] * 7 if fresh else [salt_of(70.0), *(2.0 * x for x in self.bag), 0.0, 0.0]
        self.water.exchange(litres, litres, new)
        if fresh:
            self.write(hour, "exchange", "ro", litres, "L", minute=38, forget=0.0)
        else:
            self.write(hour, "exchange", "mixed-seawater", litres, "L", minute=38, forget=0.0, extra={"salinity": 70.0})


def scheduled(interval: float, warm_up: int) -> Plan:
    """Everything every `interval` days, after a history of weekly tests."""
    due = {"next": 0.0}

    def plan(keeper: Planned, day: int) -> None:
        if day + 1e-9 < due["next"]:
            return
        for q in EVERYTHING:
            keeper.measure(q, day)
        due["next"] = due["next"] + (7.0 if day < warm_up - 7 else interval)

    return plan


def on_the_round(warm_up: int, minutes: float, every: int = 2, floor: float = FLOOR_WORTH, heed: bool = True) -> Plan:
    """After the same history: every second day what the round lists for so many minutes.

    Corrections are the rule's, as on a schedule: after a reading, and, when `heed` is set, also where the round says
    that a dose or an exchange is worth its minutes, from what is then believed in the place of a reading, a week
    apart at the soonest. Those do not compete for the round's minutes here (an exchange takes longer than they are).
    """
    from leadline.estimate.outlook import estimate
    from leadline.estimate.reckon import reckon
    from leadline.rounds import round as rounds
    from leadline.rounds.candidates import candidates
    from leadline.system.description import parse

    history = scheduled(7.0, warm_up)
    kept: dict[str, object] = {}
    mended: dict[str, int] = {}

    def plan(keeper: Planned, day: int) -> None:
        if day < warm_up:
            history(keeper, day)
            return
        if (day - warm_up) % every:
            return
        system = kept.setdefault("system", parse(keeper.toml()))
        now = keeper.moment(day)
        e = estimate(reckon(system, keeper.entries(), now))  # type: ignore[arg-type]
        found = candidates(system, e, keeper.proved, {}, keeper.start)  # type: ignore[arg-type]
        worthy = [c for c in found if c.worth / c.minutes >= floor]
        hour = day * HOURS + EVENING
        items = rounds.make(
            [c for c in worthy if c.action not in _CORRECTIONS], minutes, now, e.system, {}, "UTC"
        ).items
        for c in worthy if heed else ():
            if c.action in _CORRECTIONS and day - mended.get(c.subject, -7) >= 7:
                mended[c.subject] = day
                keeper.other.append((day, c.minutes))
                keeper.mend(c.subject, e.quantities[c.subject].mean, None, day, hour)
        for c in items:
            if c.action == "test":
                if c.subject in keeper.kits:
                    keeper.measure(c.subject, day)
                continue
            keeper.other.append((day, c.minutes))
            if c.action == "ask":
                wrong = c.entry_id in keeper.blunders
                more = {"corrects": c.entry_id, "withdrawn": True} if wrong else {"confirms": c.entry_id}
                keeper.write(hour, "note", c.subject, forget=0.0, minute=50, extra=more)
            else:
                keeper.proved[c.subject] = now
                keeper.write(hour, "service", c.subject, forget=0.0, minute=51, method="checked")

    return plan


def live(seed: int, style: str, days: int, warm_up: int, plan: Plan) -> Effort:
    """One system under one plan. The same seed gives the same water, pumps and kits under every plan."""
    chosen = replace(STYLES[style], unlogged=0.0, lapse=0.0)
    start = dt.datetime(2024, 1, 1, tzinfo=dt.UTC) + dt.timedelta(days=seed * 37 % 365)
    water = Water(chosen, days, start.timetuple().tm_yday, np.random.default_rng([77, seed]))
    keeper = Planned(chosen, water, start, f"{style}-{seed}", np.random.default_rng([78, seed]), plan)
    if "ph" not in keeper.kits:
        keeper.kits["ph"] = type(keeper.kits["salinity"])(KITS["ph"][0], keeper.rng, 0.0)
    for hour in range(days * HOURS):
        water.record(hour)
        keeper.act(hour)
        water.step(hour)
    water.record(days * HOURS)
    grid = water.truth_grid()
    first = warm_up * HOURS
    done = Effort(float(days - warm_up))
    for day, q, minutes in keeper.done:
        if day >= warm_up:
            done.tests[q] = done.tests.get(q, 0) + 1
            done.test_minutes += minutes
    done.other_minutes = sum(m for day, m in keeper.other if day >= warm_up)
    for q, (aim, limit, _) in BANDS.items():
        x = grid[q][first:]
        done.out_aim[q] = float(((x < aim[0]) | (x > aim[1])).sum()) / HOURS
        done.out_limit[q] = float(((x < limit[0]) | (x > limit[1])).sum()) / HOURS
    return done
