"""A small honest water: amounts of salt, alkalinity, calcium and the rest, moved hour by hour by mass balance."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field

DKH = 2.804  # dKH in one meq/L
# Grams of anhydrous salt that stay in the water, by amount added. Molar masses: Na 22.99, HCO3 61.02, Ca 40.08,
# Cl 35.45, Mg 24.305 g/mol.
SALT_PER_MEQ_ALKALI = 0.08401
SALT_PER_MG_CALCIUM = 2.769e-3
SALT_PER_MG_MAGNESIUM = 3.917e-3
SALT_PER_MEQ_CALCIFIED = 0.06102 + 0.02004


def salt_per_litre(psu: float) -> float:
    """Salt in a litre of seawater near 25 °C: 1.00472 g/kg per psu times density. [g/L]"""
    return 1.00472 * psu * (0.99705 + 0.000756 * psu)


def psu_of(salt: float) -> float:
    """The inverse of ``salt_per_litre``. [psu]"""
    return (-0.99705 + math.sqrt(0.99705**2 + 4 * 0.000756 * salt / 1.00472)) / (2 * 0.000756)


@dataclass(frozen=True)
class Water:
    """What a litre holds: psu, dKH, mg/L. Ammonia as N, nitrate as NO3, phosphate as PO4."""

    salinity: float = 35.0
    alkalinity: float = 8.0
    calcium: float = 420.0
    magnesium: float = 1320.0
    nitrate: float = 0.2
    phosphate: float = 0.01
    ammonia: float = 0.0

    def amounts(self, litres: float) -> dict[str, float]:
        """Salt in g, alkalinity in meq, the others in mg."""
        return {
            "salt": salt_per_litre(self.salinity) * litres,
            "alkalinity": self.alkalinity / DKH * litres,
            "calcium": self.calcium * litres,
            "magnesium": self.magnesium * litres,
            "nitrate": self.nitrate * litres,
            "phosphate": self.phosphate * litres,
            "ammonia": self.ammonia * litres,
        }


FRESH = Water(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass
class Habits:
    """What the water does by itself, per day. Demand is at 8 dKH and mean light."""

    demand: float = 0.0  # dKH/day, grows
    demand_later: float = 0.0  # dKH/day after ``growing_days``
    growing_days: float = 420.0
    calcium_per_dkh: float = 6.9  # mg/L; 7.15 is pure calcium carbonate
    magnesium_per_dkh: float = 0.35
    half: float = 4.0  # dKH above 3 at which calcification is half of its most
    skimmate: float = 0.0  # L/day
    nitrate_uptake: float = 0.0  # mg/L/day at most
    nitrate_loss: float = 0.0  # 1/day
    phosphate_uptake: float = 0.0
    phosphate_loss: float = 0.0
    nitrifiers: float = 20.0  # 1/day; a young filter starts low and grows


@dataclass
class Pond:
    """One system's water. All amounts are kept; ``came_in`` adds up what entered less what left."""

    litres: float
    moment: dt.datetime
    habits: Habits
    start: dict[str, float]
    amount: dict[str, float] = field(default_factory=dict)
    came_in: dict[str, float] = field(default_factory=dict)
    pump_meq: float = 0.0  # per day, what the pump really gives
    pump_calcium: float = 0.0  # mg per day
    age_days: float = 0.0
    rotting: float = 0.0  # nitrogen in food not yet broken down [mg]
    rotting_phosphate: float = 0.0  # the same for phosphate [mg PO4]

    def __post_init__(self) -> None:
        self.full = self.litres
        self.amount = dict(self.start)
        self.came_in = dict.fromkeys(self.start, 0.0)

    def add(self, what: str, amount: float) -> None:
        """Bring in this amount, or take it when negative."""
        self.amount[what] += amount
        self.came_in[what] += amount

    def level(self, quantity: str) -> float:
        """Now: salinity in psu, alkalinity in dKH, the others in mg/L."""
        if quantity == "salinity":
            return psu_of(self.amount["salt"] / self.litres)
        value = self.amount[quantity] / self.litres
        return value * DKH if quantity == "alkalinity" else value

    def demand_now(self) -> float:
        """Alkalinity that the animals would take today at 8 dKH. [dKH/day]"""
        habits = self.habits
        part = min(1.0, self.age_days / habits.growing_days)
        smooth = part * part * (3 - 2 * part)  # slow, quick, slow: young colonies filling their room
        return habits.demand + (habits.demand_later - habits.demand) * smooth

    def advance(self, to: dt.datetime) -> None:
        """Live until then, in steps of at most an hour."""
        while self.moment < to:
            span = min(dt.timedelta(hours=1), to - self.moment)
            self._step(span.total_seconds() / 86400.0, self.moment.hour)
            self.moment += span

    def _step(self, days: float, hour: int) -> None:
        habits, litres = self.habits, self.litres
        self.age_days += days
        alk = self.amount["alkalinity"] / litres * DKH
        over = max(alk - 3.0, 0.0)
        light = 1.6 if 9 <= hour < 19 else 0.57  # ten hours of light do two thirds of the work
        eaten = self.demand_now() * self.full * light * over / (over + habits.half) * (5.0 + habits.half) / 5.0 * days
        self.add("alkalinity", -eaten / DKH + self.pump_meq * days)
        self.add("calcium", -eaten * habits.calcium_per_dkh + self.pump_calcium * days)
        self.add("magnesium", -eaten * habits.magnesium_per_dkh)
        self.add("salt", self.pump_meq * days * SALT_PER_MEQ_ALKALI + self.pump_calcium * days * SALT_PER_MG_CALCIUM)
        self.add("salt", -eaten / DKH * SALT_PER_MEQ_CALCIFIED)
        # food rots to ammonia within a day, bacteria make nitrate of it (4.427 mg NO3 for 1 mg N, 2 meq for 1 mmol)
        rot = self.rotting * (1 - math.exp(-days / 0.7))
        self.rotting -= rot
        self.add("ammonia", rot)
        self.add("alkalinity", rot / 14.007)
        freed = self.rotting_phosphate * (1 - math.exp(-days / 0.7))
        self.rotting_phosphate -= freed
        self.add("phosphate", freed)
        oxidised = self.amount["ammonia"] * (1 - math.exp(-habits.nitrifiers * days))
        self.add("ammonia", -oxidised)
        self.add("nitrate", oxidised * 4.4268)
        self.add("alkalinity", -2 * oxidised / 14.007)
        nitrate, phosphate = self.amount["nitrate"] / litres, self.amount["phosphate"] / litres
        used = min(
            (habits.nitrate_uptake * nitrate / (nitrate + 2.0) + habits.nitrate_loss * nitrate) * litres * days,
            self.amount["nitrate"],
        )
        self.add("nitrate", -used)
        self.add("alkalinity", used / 62.005)
        self.add(
            "phosphate",
            -(habits.phosphate_uptake * phosphate / (phosphate + 0.03) + habits.phosphate_loss * phosphate)
            * litres
            * days,
        )
        # skimmate takes its share of everything; the float fills it, and evaporation, with fresh water
        share = habits.skimmate * days / litres
        for what in self.amount:
            self.add(what, -self.amount[what] * share)

    def feed(self, grams: float, nitrogen: float, phosphorus_as_po4: float) -> None:
        """Food with so many mg of nitrogen and of phosphate in a gram."""
        self.rotting += grams * nitrogen
        self.rotting_phosphate += grams * phosphorus_as_po4

    def exchange(self, out: float, into: float, new: Water) -> None:
        """Take out, put in; the rest of the level is the top-off's business, with fresh water."""
        part = out / self.litres
        for what, amount in new.amounts(into).items():
            self.add(what, amount - self.amount[what] * part)

    def alkali(self, meq: float) -> None:
        """Sodium bicarbonate or carbonate by hand."""
        self.add("alkalinity", meq)
        self.add("salt", meq * SALT_PER_MEQ_ALKALI)

    def magnesium(self, mg: float) -> None:
        """Magnesium chloride by hand."""
        self.add("magnesium", mg)
        self.add("salt", mg * SALT_PER_MG_MAGNESIUM)


def ph_nbs(alkalinity_dkh: float, pco2: float, temperature: float, psu: float) -> float:
    """pH (NBS) of water in balance with this much CO2 [µatm].

    K0 Weiss 1974, K1 and K2 Lueker et al. 2000, KB near Dickson 1990 at salinity 35; NBS taken 0.13 above total.
    """
    tk = temperature + 273.15
    total = alkalinity_dkh / DKH / 1.0235e3
    k0 = math.exp(
        93.4517 * 100 / tk
        - 60.2409
        + 23.3585 * math.log(tk / 100)
        + psu * (0.023517 - 0.023656 * tk / 100 + 0.0047036 * (tk / 100) ** 2)
    )
    k1 = 10 ** -(3633.86 / tk - 61.2172 + 9.6777 * math.log(tk) - 0.011555 * psu + 0.0001152 * psu**2)
    k2 = 10 ** -(471.78 / tk + 25.929 - 3.16967 * math.log(tk) - 0.01781 * psu + 0.0001122 * psu**2)
    kb = 10 ** -(8.6 - 0.007 * (temperature - 25))
    dissolved, h = k0 * pco2 * 1e-6, 10**-8.1
    for _ in range(12):
        carbonate = max(total - 4.16e-4 * psu / 35 * kb / (kb + h), 2e-4)
        h = (k1 * dissolved + math.sqrt((k1 * dissolved) ** 2 + 8 * carbonate * k1 * k2 * dissolved)) / (2 * carbonate)
    return 0.13 - math.log10(h)
