"""The true water of a simulated system: amounts, hour by hour, with every gain and loss counted."""

from __future__ import annotations

import math

import numpy as np
from bench.synthetic_styles import Style

HOURS = 24
DKH = 2.804  # dKH in one meq/L
# amounts carried: salt [g], alkalinity [meq], calcium, magnesium, potassium, nitrate, phosphate [mg]
SPECIES = ("salt", "alkalinity", "calcium", "magnesium", "potassium", "nitrate", "phosphate")
SALT, ALK, CA, MG, K, NO3, PO4 = range(7)


def salt_of(psu: float) -> float:
    """Grams of salt in a litre at about 25 °C: absolute salinity (psu × 35.16504/35) times density."""
    return 1.00472 * psu * (0.99705 + 0.000756 * psu)


def psu_of(salt: np.ndarray | float) -> np.ndarray | float:
    """The inverse of ``salt_of``."""
    b = 0.99705
    return (-b + np.sqrt(b * b + 4 * 0.000756 * np.asarray(salt) / 1.00472)) / (2 * 0.000756)


class Water:
    """State and processes. ``step(hour)`` moves one hour; ``ledger`` adds up what came in and went out."""

    def __init__(self, style: Style, days: int, day_of_year: int, rng: np.random.Generator) -> None:
        self.rng = rng
        n = days * HOURS
        u = lambda pair: float(rng.uniform(*pair))  # noqa: E731
        self.volume_stated = round(u(style.volume), -1)
        self.volume_rel_sd = float(rng.choice([0.05, 0.08, 0.12]))
        # people measure glass, not water: truth is more often below, and the stated doubt too small
        self.volume_true = self.volume_stated * math.exp(
            -0.03 + 1.2 * self.volume_rel_sd * float(np.clip(rng.standard_t(5), -2.5, 2.5))
        )
        self.level = self.volume_true  # where top-off holds it; moves a little when a float is knocked
        self.volume = self.volume_true
        psu = float(rng.normal(35, 0.8))
        first = np.array(
            [
                salt_of(psu),
                float(np.clip(rng.normal(8.2, 1.0), 6, 11)) / DKH,
                float(rng.normal(420, 22)),
                float(rng.normal(1320, 60)),
                float(rng.normal(395, 18)),
                float(rng.lognormal(math.log(7), 0.8)),
                float(rng.lognormal(math.log(0.07), 0.7)),
            ]
        )
        self.amount: list[float] = list(first * self.volume)
        self.ledger = [0.0] * 7  # net amount brought in since the start
        self.water_ledger = 0.0
        self.start_amount = list(self.amount)
        # --- calcification
        self.demand = u(style.demand) / DKH * self.volume_true  # [meq/day] at 2.9 meq/L, 26 °C, mean season
        self.ca_ratio = float(np.clip(rng.normal(6.8, 0.75), 5.0, 8.3)) * DKH  # [mg Ca per meq]
        self.mg_ratio = float(np.clip(rng.lognormal(math.log(0.45), 0.5), 0.1, 1.5)) * DKH  # [mg Mg per meq]
        self.half = float(rng.uniform(0.5, 3.0))  # half saturation above 1 meq/L [meq/L]
        self.growth = u(style.growth) / 100 / 30.4
        self.ceiling = float(rng.uniform(1.4, 3.0))
        self.biomass = 1.0
        self.day_share = float(rng.uniform(0.55, 0.85))
        self.po4_hurts = float(rng.uniform(0.0, 0.6))
        season = 1 + float(rng.uniform(0, 0.12)) * np.sin(
            2 * np.pi * (np.arange(n) / HOURS + day_of_year - 80) / 365.25
        )
        hour = np.arange(n) % HOURS
        lit = np.where((hour >= 10) & (hour < 20), self.day_share * 2.4, (1 - self.day_share) * 24 / 14)
        # slow, autocorrelated moods of the animals, and a faster one
        mood = _ar(rng, days, 0.97, float(rng.uniform(0.02, 0.10))) + _ar(rng, days, 0.6, 0.05)
        self.drive = (season * lit * np.exp(np.repeat(mood, HOURS))).tolist()
        # --- temperature
        setpoint = float(rng.normal(25.3, 0.6))
        warm = np.maximum(0, np.sin(2 * np.pi * (np.arange(n) / HOURS + day_of_year - 110) / 365.25))
        temperature = setpoint + float(rng.uniform(0, 1.8)) * warm**2
        temperature += float(rng.uniform(0.05, 0.35)) * np.sin(2 * np.pi * (hour - 11) / 24)
        temperature += np.repeat(_ar(rng, days, 0.8, 0.15), HOURS)
        for _ in range(rng.poisson(days / 300)):  # heater off, chiller off, a heat wave
            at, size = int(rng.integers(0, n)), float(rng.choice([-2.5, -1.5, 1.5, 2.5]))
            run = np.arange(n - at)
            temperature[at:] += size * (1 - np.exp(-run / 14.0)) * np.exp(-np.maximum(0, run - 50) / 16.0)
        self.temperature = temperature
        self.warmth = np.exp(-(((temperature - 26.3) / 4.0) ** 2)).tolist()
        # --- steps: frag racks, dead colonies, a lamp dimmed
        self.steps = sorted(
            (int(rng.integers(10, max(11, days - 5))), float(rng.choice([0.55, 0.7, 0.8, 1.15, 1.25, 1.45])))
            for _ in range(rng.poisson(style.surprises_a_year * days / 365))
        )
        self.factor = 1.0
        # --- nutrients
        self.feed_g = u(style.feeding) * self.volume_true / 100
        self.organic_n = self.feed_g * 300.0 * 1.5
        self.organic_p = self.feed_g * 30.0
        load_n, load_p = self.feed_g * 300.0 / self.volume_true, self.feed_g * 22.0 / self.volume_true
        # uptake is built to balance the load somewhere plausible, then left alone
        rest_n, rest_p = float(rng.lognormal(math.log(8), 0.7)), float(rng.lognormal(math.log(0.08), 0.6))
        self.n_half, self.p_half = float(rng.uniform(0.5, 6)), float(rng.uniform(0.01, 0.08))
        split = float(rng.uniform(0.3, 0.8))
        self.n_uptake = split * load_n * (rest_n + self.n_half) / rest_n
        self.n_loss = (1 - split) * load_n / rest_n
        self.p_uptake = 0.6 * load_p * (rest_p + self.p_half) / rest_p
        self.p_skim = 0.3 * load_p / rest_p
        self.media = 0.0  # phosphate remover, fraction of a fresh charge
        self.media_rate = float(rng.uniform(0.05, 0.15))
        self.rock = first[PO4] * float(rng.uniform(0.6, 2.0))  # concentration the rock is in balance with
        self.rock_rate, self.rock_size = float(rng.uniform(0.02, 0.15)), float(rng.uniform(5, 30))
        vigour = _ar(rng, days, 0.98, 0.2)
        self.vigour = np.repeat(np.exp(vigour), HOURS).tolist()
        self.k_uptake = float(rng.uniform(0, 0.10))  # [mg/L/day] at the starting biomass
        # --- water in and out
        dry = 1 + 0.25 * np.sin(2 * np.pi * (np.arange(n) / HOURS + day_of_year + 60) / 365.25)
        self.evaporation = (
            self.volume_true
            * float(rng.uniform(0.006, 0.016))
            * dry
            * np.exp(np.repeat(_ar(rng, days, 0.7, 0.12), HOURS))
        ).tolist()
        self.skimmate = u(style.skimmate) * self.volume_true / 100
        self.skim_mood = np.repeat(np.exp(_ar(rng, days, 0.85, 0.4)), HOURS).tolist()
        self.topoff_fails = sorted(
            (int(rng.integers(5, days)), float(rng.uniform(0.5, 6))) for _ in range(rng.poisson(1.2 * days / 365))
        )
        self.topoff_off_until = -1.0
        self.topped_today = 0.0
        self.lime_strength = 0.0  # [meq/L] of the top-off water
        self.tap_calcium = 0.0
        # --- pumps: what they really give, set by the keeper [amount per hour]
        self.pump_meq = 0.0
        self.pump_ca = 0.0
        # --- air
        base = {"limewater": 300.0}.get(style.dosing, float(rng.uniform(380, 800)))
        self.pco2 = base * np.exp(
            0.18 * np.cos(2 * np.pi * (np.arange(n) / HOURS + day_of_year) / 365.25)
            - float(rng.uniform(0.15, 0.40)) * np.sin(2 * np.pi * (hour - 11) / 24)
            + np.repeat(_ar(rng, days, 0.7, 0.12), HOURS)
        )
        self.log = np.empty((n + 1, 8))

    # -- observation -------------------------------------------------------------------------------
    def level_of(self, species: int) -> float:
        """Concentration now, in the unit of the amount per litre; salinity as psu."""
        value = self.amount[species] / self.volume
        return float(psu_of(value)) if species == SALT else value

    def record(self, hour: int) -> None:
        """Note the concentrations at the start of this hour."""
        volume = self.volume
        self.log[hour, :7] = [a / volume for a in self.amount]
        self.log[hour, 7] = volume

    def truth_grid(self) -> dict[str, np.ndarray]:
        """Hourly truth in stored units."""
        n = len(self.log) - 1
        temperature = np.append(self.temperature, self.temperature[-1])
        grid = {name: self.log[:, i].copy() for i, name in enumerate(SPECIES)}
        grid["salinity"] = np.asarray(psu_of(grid.pop("salt")))
        grid["temperature"] = temperature
        grid["volume"] = self.log[:, 7].copy()
        pco2 = np.append(self.pco2, self.pco2[n - 1])
        grid["ph"] = ph_nbs(grid["alkalinity"], pco2, temperature, grid["salinity"])
        return grid

    def parameters(self) -> dict[str, float]:
        """What was drawn, for reports."""
        return {
            "demand_dkh_per_day": self.demand / self.volume_true * DKH,
            "ca_per_dkh": self.ca_ratio / DKH,
            "mg_per_dkh": self.mg_ratio / DKH,
            "growth_per_month": self.growth * 30.4,
            "volume_stated": self.volume_stated,
        }

    # -- acts --------------------------------------------------------------------------------------
    def add(self, species: int, amount: float) -> None:
        """Bring in an amount (or take it, when negative), counted in the ledger."""
        self.amount[species] += amount
        self.ledger[species] += amount

    def add_alkali(self, meq: float, sodium: bool = True) -> None:
        """Alkalinity with its ions: sodium (22.99 mg) and bicarbonate (61.02 mg) per meq."""
        self.add(ALK, meq)
        self.add(SALT, meq * (0.08401 if sodium else 0.06102))

    def add_calcium(self, mg: float, chloride: bool = True) -> None:
        """Calcium with its chloride (2 × 35.45 mg for 40.08 mg)."""
        self.add(CA, mg)
        self.add(SALT, mg / 1000 * (2.769 if chloride else 1.0))

    def add_magnesium(self, mg: float) -> None:
        """Magnesium with its chloride (2 × 35.45 mg for 24.305 mg)."""
        self.add(MG, mg)
        self.add(SALT, mg / 1000 * 3.917)

    def exchange(self, litres_out: float, litres_in: float, new: list[float]) -> None:
        """Take water out, put other water in; ``new`` is its content per litre."""
        part = litres_out / self.volume
        for i in range(7):
            self.add(i, -self.amount[i] * part + litres_in * new[i])
        self.volume += litres_in - litres_out
        self.water_ledger += litres_in - litres_out

    def step(self, hour: int) -> None:
        """One hour of life."""
        dt = 1.0 / HOURS
        amount, ledger, volume = self.amount, self.ledger, self.volume
        day = hour // HOURS
        if hour % HOURS == 0:
            while self.steps and self.steps[0][0] <= day:
                self.factor *= self.steps.pop(0)[1]
            while self.topoff_fails and self.topoff_fails[0][0] <= day:
                self.topoff_off_until = hour + 24 * self.topoff_fails.pop(0)[1]
            room = (1 - self.biomass / self.ceiling) / (1 - 1 / self.ceiling)  # logistic
            self.biomass += self.biomass * self.growth * room
            self.level *= 1 + 0.0004 * self.rng.standard_normal()
            self.topped_today = 0.0
            self.media *= 0.985
        alk = amount[ALK] / volume
        calcium = amount[CA] / volume
        po4 = max(amount[PO4] / volume, 0.0)
        no3 = max(amount[NO3] / volume, 0.0)
        # calcification: animals, then bare precipitation on heaters and pumps when much supersaturated
        over = max(alk - 1.0, 0.0)
        eaten = (
            self.demand
            * self.biomass
            * self.factor
            * self.drive[hour]
            * self.warmth[hour]
            * (over / (over + self.half))
            * ((1.9 + self.half) / 1.9)
            / (1 + self.po4_hurts * po4)
            * (calcium / (calcium + 150.0) * 570.0 / 420.0)
        ) * dt
        crust = 0.03 * max(alk * calcium / 415.0 - 3.8, 0.0) ** 1.5 * volume * dt
        ca_out = eaten * self.ca_ratio + crust * 20.04
        mg_out = eaten * self.mg_ratio
        # food rots into nitrate and phosphate within days; plants, bacteria and rock take them
        n_new, p_new = self.organic_n * dt / 1.5, self.organic_p * dt / 1.0
        self.organic_n -= n_new
        self.organic_p -= p_new
        vigour = self.vigour[hour]
        n_out = (self.n_uptake * no3 / (no3 + self.n_half) * vigour + self.n_loss * no3) * self.volume_true * dt
        p_out = (
            (self.p_uptake * po4 / (po4 + self.p_half) * vigour + (self.p_skim + self.media * self.media_rate) * po4)
            * self.volume_true
            * dt
        )
        to_rock = self.rock_rate * (po4 - self.rock) * self.volume_true * dt
        self.rock += to_rock / (self.volume_true * self.rock_size)
        n_out, p_out = min(n_out, amount[NO3] * 0.5), min(p_out + to_rock, amount[PO4] * 0.5)
        k_out = self.k_uptake * self.biomass * self.volume_true * dt
        change = [0.0] * 7
        change[ALK] = -eaten - crust + self.pump_meq - (n_new - n_out) / 62.0
        change[CA] = -ca_out + self.pump_ca
        change[MG] = -mg_out
        change[K] = -k_out
        change[NO3] = n_new - n_out
        change[PO4] = p_new - p_out
        change[SALT] = (
            -(eaten + crust) * 0.06102
            - (ca_out + mg_out + k_out) / 1000
            + self.pump_meq * 0.08401
            + self.pump_ca / 1000 * 2.769
        )
        # skimmate leaves with all it holds; evaporation leaves alone; top-off brings the level back
        lost = self.skimmate * self.skim_mood[hour] * dt / volume
        for i in range(7):
            change[i] -= amount[i] * lost
        filled = 0.0
        volume_now = volume * (1 - lost) - self.evaporation[hour] * dt
        if hour >= self.topoff_off_until and volume_now < self.level:
            filled = min(self.level - volume_now, 0.01 * self.level)
            self.topped_today += filled
            if self.lime_strength:
                change[ALK] += filled * self.lime_strength
                change[CA] += filled * self.lime_strength * 20.04
                change[SALT] += filled * self.lime_strength * (0.06102 + 0.02004)
        self.volume = volume_now + filled
        self.water_ledger += self.volume - volume
        for i in range(7):
            amount[i] += change[i]
            ledger[i] += change[i]


def ph_nbs(alk_meq_l: np.ndarray, pco2: np.ndarray, t_c: np.ndarray, psu: np.ndarray) -> np.ndarray:
    """pH on the NBS scale of water in balance with this much CO2 [µatm].

    Constants: K0 Weiss 1974, K1 and K2 Lueker et al. 2000 (total scale), KB near Dickson 1990, from memory;
    they meet PyCO2SYS within 0.001 at two states of the test. The step to NBS is +0.13, plain practice.
    """
    tk = t_c + 273.15
    ta = alk_meq_l / 1.0235 * 1e-3
    k0 = np.exp(
        93.4517 * 100 / tk
        - 60.2409
        + 23.3585 * np.log(tk / 100)
        + psu * (0.023517 - 0.023656 * tk / 100 + 0.0047036 * (tk / 100) ** 2)
    )
    k1 = 10 ** -(3633.86 / tk - 61.2172 + 9.6777 * np.log(tk) - 0.011555 * psu + 0.0001152 * psu**2)
    k2 = 10 ** -(471.78 / tk + 25.929 - 3.16967 * np.log(tk) - 0.01781 * psu + 0.0001122 * psu**2)
    kb = 10 ** -(8.6 - 0.007 * (t_c - 25))
    boron = 4.16e-4 * psu / 35
    c = k0 * pco2 * 1e-6
    h = np.full_like(ta, 10**-8.1)
    for _ in range(12):
        carbonate = np.maximum(ta - boron * kb / (kb + h), 2e-4)
        h = (k1 * c + np.sqrt((k1 * c) ** 2 + 8 * carbonate * k1 * k2 * c)) / (2 * carbonate)
    return -np.log10(h) + 0.13


def _ar(rng: np.random.Generator, n: int, phi: float, sd: float) -> np.ndarray:
    """A mean-reverting series with this stationary sd, one value a day."""
    out = np.empty(n)
    x = sd * rng.standard_normal()
    push = sd * math.sqrt(1 - phi * phi) * rng.standard_normal(n)
    for i in range(n):
        x = phi * x + push[i]
        out[i] = x
    return out
