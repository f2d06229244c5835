"""The keeper of a simulated system: tests at odd times, doses, reacts, forgets, and writes it down."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from bench.synthetic_kits import Kit, make_kit
from bench.synthetic_styles import Style
from bench.synthetic_water import ALK, CA, DKH, HOURS, MG, NO3, PO4, SALT, K, Water, salt_of

SPECIES_OF = {
    "salinity": SALT,
    "alkalinity": ALK,
    "calcium": CA,
    "magnesium": MG,
    "potassium": K,
    "nitrate": NO3,
    "phosphate": PO4,
}
# grams for one meq or one mg (molar masses: NaHCO3 84.007, Na2CO3 105.988, CaCl2·2H2O 147.01,
# MgCl2·6H2O 203.30)
G_PER = {
    "sodium-bicarbonate": 84.007e-3,
    "sodium-carbonate": 105.988e-3 / 2,
    "calcium-chloride-dihydrate": 147.01 / 40.078e3,
    "magnesium-chloride-hexahydrate": 203.30 / 24.305e3,
}


class Keeper:
    """Sees the water only through kits; what is written is the journal, what is done goes into the truth."""

    def __init__(self, style: Style, water: Water, start: datetime, system_id: str, rng: np.random.Generator) -> None:
        self.style, self.water, self.start, self.system, self.rng = style, water, start, system_id, rng
        self.rows: list[dict[str, Any]] = []
        self.calibrations: dict[str, list[int]] = {}
        self.kits: dict[str, Kit] = {q: make_kit(q, style, rng) for q in style.every}
        self.states_sd = rng.random() < 0.35
        self.due = {q: rng.exponential(0.5) * every for q, every in style.every.items()}
        self.asleep_until = -1.0
        self.volume = water.volume_stated
        self.last: dict[str, tuple[float, float]] = {}  # day and value in stored units
        self.aim_alk = float(rng.uniform(7.5, 9.0)) / DKH
        self.aim_psu = float(rng.choice([34.0, 35.0, 35.0, 35.5]))
        # pumps: calibrated once, then tubing sags; solutions are mixed anew every few weeks
        self.dose = 0.0  # intended [meq/day]
        self.ca_trim = 1.0
        self.gain = [math.exp(rng.normal(0, 0.07)), math.exp(rng.normal(0, 0.07))]
        self.sag = [abs(rng.normal(0, 0.06)) / 180, abs(rng.normal(0, 0.06)) / 180]
        self.batch = [math.exp(rng.normal(0, 0.03)), math.exp(rng.normal(0, 0.03))]
        self.batch_ends = int(rng.integers(10, 50))
        self.pump_fault: tuple[float, float] = (-1.0, 1.0)
        self.carbonate = "sodium-carbonate" if rng.random() < 0.5 else "sodium-bicarbonate"
        self.in_millilitres = bool(rng.random() < 0.4)
        self.strength = float(rng.choice([1.2, 1.8, 2.0]))  # [meq/mL]
        demand = water.demand
        if style.dosing in ("pump", "hand"):
            self.dose = demand * float(rng.uniform(0.7, 1.15))
        self.lime = float(rng.uniform(0.5, 0.95)) if style.dosing == "limewater" else 0.0
        # salt mix: what the bag should give at 35 (common practice: batches vary)
        self.mix_mean = np.array(
            [
                float(rng.choice([7.0, 8.0, 8.5, 11.0])) / DKH,
                float(rng.choice([410.0, 425.0, 450.0])),
                float(rng.choice([1290.0, 1330.0, 1390.0])),
                395.0,
            ]
        )
        self.new_bag()
        self.bag_left = int(rng.integers(2, 10))
        self.exchange_every = float(rng.uniform(*style.exchange_days))
        self.exchange_part = float(rng.uniform(*style.exchange_part))
        self.next_exchange = float(rng.uniform(2, self.exchange_every))
        self.mix_aim = self.aim_psu
        self.mix_error = float(rng.normal(0, 0.3))
        self.writes_mix = rng.random() < 0.5
        self.feed_factor = 1.0
        self.fed_this_week = 0.0
        self.hour = 18

    def new_bag(self) -> None:
        """A new bag of salt: alkalinity ±5 %, calcium ±3 %, magnesium ±3 %, potassium ±3 %."""
        self.bag = self.mix_mean * np.exp(self.rng.normal(0, [0.05, 0.03, 0.03, 0.03]))

    # -- writing -----------------------------------------------------------------------------------
    def write(
        self,
        hour: int,
        kind: str,
        subject: str,
        value: float | None = None,
        unit: str = "",
        *,
        forget: float | None = None,
        minute: int = 0,
        **more: Any,
    ) -> bool:
        """One row, unless forgotten. Some amounts are written wrong."""
        rng = self.rng
        if rng.random() < (self.style.unlogged if forget is None else forget):
            return False
        if kind in ("addition", "exchange", "topoff") and forget is None and value is not None and rng.random() < 0.015:
            value *= float(rng.choice([0.1, 0.5, 2.0, 10.0]))
        at = self.start + timedelta(hours=hour, minutes=minute)
        row: dict[str, Any] = {
            "time": at.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "system": self.system,
            "kind": kind,
            "subject": subject,
        }
        if value is not None:
            row["value"] = float(f"{value:.4g}")
            row["unit"] = unit
        row.update({key: val for key, val in more.items() if val})
        self.rows.append(row)
        return True

    # -- a day -------------------------------------------------------------------------------------
    def act(self, hour: int) -> None:
        """What happens at the start of this hour."""
        of_day = hour % HOURS
        day = hour // HOURS
        if of_day == 0:
            self.dawn(day, hour)
        if of_day == self.hour:
            self.evening(day, hour)
        if of_day == 23:
            self.night(day, hour)

    def dawn(self, day: int, hour: int) -> None:
        """Pumps for the day; wear; batches; a clogged line now and then."""
        rng, water, style = self.rng, self.water, self.style
        self.hour = int(np.clip(rng.normal(18, 2.0), 8, 22))
        if style.dosing == "pump":
            if day >= self.batch_ends:
                self.batch = [math.exp(rng.normal(0, 0.03)), math.exp(rng.normal(0, 0.03))]
                self.batch_ends = day + int(rng.integers(15, 60))
            if rng.random() < 1 / 250:
                self.pump_fault = (day + float(rng.uniform(1, 9)), float(rng.choice([0.0, 0.4, 0.7, 1.5])))
            fault = self.pump_fault[1] if day < self.pump_fault[0] else 1.0
            self.gain = [g * (1 - s) for g, s in zip(self.gain, self.sag, strict=True)]
            if rng.random() < 1 / 200:
                self.gain = [math.exp(rng.normal(0, 0.05)), math.exp(rng.normal(0, 0.05))]
                self.write(hour + 12, "service", "doser-1", method="calibrated")
            water.pump_meq = self.dose / 24 * self.gain[0] * self.batch[0] * fault
            water.pump_ca = self.dose * 20.04 * self.ca_trim / 24 * self.gain[1] * self.batch[1]
        if style.dosing == "limewater":
            water.lime_strength = 40.0 * self.lime * float(rng.uniform(0.85, 1.0))  # saturated: about 41 meq/L
        grams = water.feed_g * self.feed_factor * float(rng.lognormal(0, 0.35))
        if rng.random() < 0.04:
            grams = 0.0
        n_in, p_in = grams * float(rng.normal(300, 25)), grams * float(rng.normal(30, 4))
        water.organic_n += n_in
        water.organic_p += p_in
        self.fed_this_week += grams

    def night(self, day: int, hour: int) -> None:
        """Machines and habits that write once a day or a week."""
        style, rng = self.style, self.rng
        if style.dosing == "pump" and self.dose > 0:
            if self.in_millilitres:
                extra = {"concentration": f"{self.strength * G_PER[self.carbonate] * 1000:.1f} g/L"}
                self.write(
                    hour,
                    "addition",
                    self.carbonate,
                    self.dose / self.strength,
                    "mL",
                    forget=0.002,
                    method="doser-1",
                    extra=extra,
                )
                ca = self.strength * 20.04 * G_PER["calcium-chloride-dihydrate"] * 1000
                self.write(
                    hour,
                    "addition",
                    "calcium-chloride-dihydrate",
                    self.dose * self.ca_trim / self.strength,
                    "mL",
                    forget=0.002,
                    method="doser-2",
                    extra={"concentration": f"{ca:.1f} g/L"},
                )
            else:
                self.write(
                    hour,
                    "addition",
                    self.carbonate,
                    self.dose * G_PER[self.carbonate],
                    "g",
                    forget=0.002,
                    method="doser-1",
                )
                self.write(
                    hour,
                    "addition",
                    "calcium-chloride-dihydrate",
                    self.dose * 20.04 * self.ca_trim * G_PER["calcium-chloride-dihydrate"],
                    "g",
                    forget=0.002,
                    method="doser-2",
                )
        if style.dosing == "limewater" and self.water.topped_today > 0:
            litres = self.water.topped_today * float(rng.normal(1, 0.03))
            self.write(
                hour,
                "addition",
                "calcium-hydroxide",
                litres * 1.5 * self.lime,
                "g",
                forget=0.01,
                method="topoff-1",
            )
        if rng.random() < style.logs_topoff and self.water.topped_today > 0:
            self.write(
                hour,
                "topoff",
                "ro",
                self.water.topped_today * float(rng.normal(1, 0.05)),
                "L",
                method="topoff-1",
                minute=5,
            )
        if day % 7 == 6:
            if rng.random() < style.logs_feeding and self.fed_this_week > 0:
                self.write(hour, "feeding", "pellets", self.fed_this_week * float(rng.normal(1, 0.15)), "g", minute=9)
            self.fed_this_week = 0.0

    def evening(self, day: int, hour: int) -> None:
        """Hands on: tests, reactions, exchanges, services."""
        rng, style = self.rng, self.style
        if day >= self.asleep_until and rng.random() < style.lapse:
            self.asleep_until = day + float(rng.gamma(2.0, 9.0)) * (2.0 if style.name == "lazy" else 1.0)
        if day < self.asleep_until:
            return
        minute = 1
        for quantity in self.kits:
            if quantity != "ph" and day >= self.due[quantity]:
                self.test(quantity, day, hour, minute)
                minute = min(minute + 3, 19)
        if day >= self.next_exchange:
            self.exchange(day, hour)
        if style.dosing == "hand" and day % 7 == 3:
            grams = self.dose * 7 * G_PER["sodium-bicarbonate"]
            self.give("sodium-bicarbonate", grams * float(rng.normal(1, 0.05)), hour, 31, said=grams)
            if rng.random() < 0.7:
                grams = self.dose * 7 * 20.04 * G_PER["calcium-chloride-dihydrate"] * self.ca_trim
                self.give("calcium-chloride-dihydrate", grams * float(rng.normal(1, 0.05)), hour, 33, said=grams)
        for probe in style.probes:
            if rng.random() < 1 / 75:
                self.calibrations.setdefault(probe, []).append(hour)
                self.write(hour, "service", probe, method="calibrated", minute=40)
        if rng.random() < 1 / 120:
            self.kits["salinity"].recalibrate(rng)
            self.write(hour, "service", "salinity-kit", method="calibrated", minute=41)

    # -- tests -------------------------------------------------------------------------------------
    def test(self, quantity: str, day: int, hour: int, minute: int) -> None:
        """Read a kit, write the figure, think about it."""
        rng, style, water = self.rng, self.style, self.water
        every = style.every[quantity]
        shape = 1 + 20 * style.regular
        self.due[quantity] = day + max(1.0, every * float(rng.gamma(shape, 1 / shape)))
        true = float(water.temperature[hour]) if quantity == "temperature" else water.level_of(SPECIES_OF[quantity])
        kit = self.kits[quantity]
        if kit.new_lot_due(rng) and rng.random() < 0.5:
            self.write(hour, "service", f"{quantity}-kit", method="new-lot", forget=0.0)
        seen = kit.read(true, rng)
        value = seen
        if rng.random() < style.blunder:
            value = kit.blunder(seen, rng)
        shown, unit = kit.show(value)
        sd = {"sd": round(kit.stated_sd * kit.factor, 4)} if self.states_sd and kit.stated_sd else {}
        self.write(
            hour,
            "reading",
            quantity,
            shown,
            unit,
            forget=style.unlogged / 2,
            method=kit.method,
            minute=minute,
            **sd,
        )
        before = self.last.get(quantity)
        self.last[quantity] = (day, value)
        surprise = before is not None and abs(value - before[1]) > 4 * kit.spread(value)
        if surprise and rng.random() < 0.55:
            self.due[quantity] = day + 1  # a surprise is tested again
            return
        self.react(quantity, value, before, day, hour)

    def react(self, quantity: str, value: float, before: tuple[float, float] | None, day: int, hour: int) -> None:
        """Change something when the figure asks for it: this closes the loop between readings and truth."""
        rng = self.rng
        if quantity == "alkalinity" and value > 12.0 / DKH:  # nobody doses on above 12 dKH
            self.dose *= 0.5
            self.lime = max(0.2, self.lime - 0.3) if self.lime else 0.0
            return
        if quantity == "calcium" and value > 500:
            self.ca_trim = max(0.5, 0.7 * self.ca_trim)
            return
        if quantity == "calcium" and value < 370:
            self.ca_trim = min(1.6, max(1.0, 1.15 * self.ca_trim))
        if rng.random() > self.style.react:
            return
        if quantity == "alkalinity":
            off = self.aim_alk - value
            if self.style.dosing in ("pump", "hand") and before is not None and day - before[0] < 60:
                drop = (before[1] - value) / max(day - before[0], 2.0)
                if abs(off) > 0.15 or abs(drop) > 0.06:
                    change = float(np.clip(0.6 * drop + 0.04 * off, -0.25, 0.25)) * self.volume
                    self.dose = float(np.clip(self.dose + change, 0.0, 3.5 / DKH * self.volume * 2))
            elif self.style.dosing == "limewater" and abs(off) > 0.25:
                self.lime = float(np.clip(self.lime + 0.1 * math.copysign(1, off), 0.2, 1.0))
            if off > 0.3 and rng.random() < 0.6:
                grams = min(off, 0.36) * self.volume * G_PER["sodium-bicarbonate"]
                self.give("sodium-bicarbonate", grams * float(rng.normal(1, 0.05)), hour, 30, said=grams)
        elif quantity == "calcium":
            self.ca_trim = (
                float(np.clip(self.ca_trim + (425 - value) / 600, 0.5, 1.6)) if abs(value - 425) > 15 else self.ca_trim
            )
            if value < 395 and rng.random() < 0.6:
                grams = min(425 - value, 40) * self.volume * G_PER["calcium-chloride-dihydrate"]
                self.give("calcium-chloride-dihydrate", grams * float(rng.normal(1, 0.05)), hour, 34, said=grams)
        elif quantity == "magnesium":
            if value < 1250:
                grams = min(1320 - value, 80) * self.volume * G_PER["magnesium-chloride-hexahydrate"]
                self.give("magnesium-chloride-hexahydrate", grams * float(rng.normal(1, 0.05)), hour, 36, said=grams)
        elif quantity == "salinity":
            off = value - self.aim_psu
            self.mix_aim = self.aim_psu - float(np.clip(0.8 * off, -1.5, 1.5))
            if off > 1.2:  # fresh water for salt water, a little at a time
                litres = min(off / 35, 0.025) * self.volume
                self.water.exchange(litres, litres, [0.0] * 7)
                self.write(hour, "exchange", "ro", litres, "L", minute=38)
        elif quantity == "nitrate":
            self.feed_factor = float(
                np.clip(self.feed_factor * (1.12 if value < 2 else 0.85 if value > 25 else 1.0), 0.4, 2.0)
            )
            if value > 30:
                self.next_exchange = min(self.next_exchange, day + 1)
        elif quantity == "phosphate" and value > 0.18:
            self.water.media = 1.0
            self.write(hour, "service", "reactor-1", method="replaced", forget=0.4, minute=39)

    # -- acts --------------------------------------------------------------------------------------
    def give(self, substance: str, grams: float, hour: int, minute: int, said: float) -> None:
        """A hand dose: what went in, and what was written."""
        if grams <= 0 or said <= 0:
            return
        amount = grams / G_PER[substance]
        if substance.startswith("sodium"):
            self.water.add_alkali(amount)
        elif substance.startswith("calcium"):
            self.water.add_calcium(amount)
        else:
            self.water.add_magnesium(amount)
        self.write(hour, "addition", substance, float(f"{said:.3g}"), "g", method="by-hand", minute=minute)

    def exchange(self, day: int, hour: int) -> None:
        """A water change with a salt mix that is never quite what the bag says."""
        rng, style = self.rng, self.style
        shape = 1 + 15 * style.regular
        self.next_exchange = day + max(1.0, self.exchange_every * float(rng.gamma(shape, 1 / shape)))
        self.bag_left -= 1
        if self.bag_left <= 0:
            self.new_bag()
            self.bag_left = int(rng.integers(4, 14))
            self.write(hour, "service", "salt", method="new-lot", forget=0.5)
        litres = self.exchange_part * self.volume * float(rng.choice([0.5, 1.0, 1.0, 1.0, 1.3]))
        # mixed by the keeper's own refractometer, so its bias goes into the water
        psu = self.mix_aim - self.kits["salinity"].bias + self.mix_error + float(rng.normal(0, 0.4))
        bag = self.bag * psu / 35.0
        new = [salt_of(psu), bag[0], bag[1], bag[2], bag[3], abs(float(rng.normal(0.2, 0.2))), 0.01]
        out = litres * float(rng.normal(1, 0.02))
        self.water.exchange(out, litres * float(rng.normal(1, 0.04)), new)
        extra: dict[str, float] = {}
        if self.writes_mix:
            extra["salinity"] = round(self.mix_aim, 1)
            if rng.random() < 0.3:
                extra["alkalinity"] = round(self.mix_mean[0] * DKH, 1)
                extra["calcium"] = float(self.mix_mean[1])
        self.write(hour, "exchange", "mixed-seawater", litres, "L", minute=20, extra=extra)

    def read_ph(self, truth: np.ndarray) -> None:
        """pH by hand, after the run: nobody here reacts to it."""
        kit, rng = self.kits["ph"], self.rng
        day = self.due["ph"]
        while day < (len(truth) - 1) // HOURS - 1:
            hour = int(day) * HOURS + int(rng.choice([8, 18, 19, 20]))
            kit.new_lot_due(rng)
            shown, unit = kit.show(kit.read(float(truth[hour]), rng))
            self.write(hour, "reading", "ph", shown, unit, method=kit.method, minute=50)
            day += max(1.0, self.style.every["ph"] * float(rng.gamma(3, 1 / 3)))
