"""Test kits of the simulated keeper: heavy-tailed scatter, lots with a bias of their own, steps, slips."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from bench.synthetic_styles import Style


@dataclass(frozen=True)
class Model:
    """One way to test one quantity, in stored units. Figures: common practice for careful amateurs.

    ``sd`` and ``rel`` are repeatability (absolute, and as a part of the value), ``bias`` and ``rel_bias`` the
    scatter between lots or calibrations, ``step`` the finest figure read (in the shown unit), ``scale`` the
    factor to it (0: specific gravity).
    """

    method: str
    unit: str
    scale: float
    step: float
    sd: float
    rel: float
    bias: float
    rel_bias: float
    lot_tests: int
    minutes: int = 4
    card: tuple[float, ...] = ()


DKH = 2.804
KITS: dict[str, tuple[Model, ...]] = {
    "salinity": (
        Model("refractometer", "ppt", 1.00472, 0.5, 0.35, 0, 0.6, 0, 10**6, 2),
        Model("refractometer", "sg@25/25", 0.0, 0.0005, 0.35, 0, 0.6, 0, 10**6, 2),
        Model("conductivity-meter", "psu", 1.0, 0.1, 0.15, 0, 0.3, 0, 10**6, 2),
        Model("hydrometer", "sg@25/25", 0.0, 0.001, 0.7, 0, 1.0, 0, 10**6, 2),
    ),
    "temperature": (
        Model("glass-thermometer", "degC", 1, 0.5, 0.2, 0, 0.3, 0, 10**6, 1),
        Model("digital-thermometer", "degC", 1, 0.1, 0.05, 0, 0.2, 0, 10**6, 1),
    ),
    "alkalinity": (
        Model("titration", "dKH", DKH, 0.1, 0.1 / DKH, 0, 0.02, 0.02, 40),
        Model("drop-titration", "dKH", DKH, 0.5, 0.25 / DKH, 0, 0.05, 0.04, 40),
        Model("photometer", "dKH", DKH, 0.1, 0.22 / DKH, 0, 0.04, 0.04, 25),
        Model("titration", "meq/L", 1, 0.05, 0.1 / DKH, 0, 0.02, 0.02, 40),
        Model("photometer", "ppm CaCO3", 50.04, 1, 0.22 / DKH, 0, 0.04, 0.04, 25),
    ),
    "calcium": (
        Model("titration", "mg/L", 1, 5, 6, 0, 4, 0.02, 40, 6),
        Model("drop-titration", "mg/L", 1, 10, 10, 0, 6, 0.03, 40, 5),
        Model("drop-titration", "mg/L", 1, 20, 12, 0, 8, 0.04, 40, 5),
    ),
    "magnesium": (
        Model("titration", "mg/L", 1, 15, 20, 0, 10, 0.025, 40, 7),
        Model("drop-titration", "mg/L", 1, 30, 40, 0, 20, 0.035, 40, 7),
    ),
    "potassium": (Model("turbidity", "mg/L", 1, 10, 12, 0, 8, 0.03, 30, 10),),
    "nitrate": (
        Model("colour-card", "mg/L", 1, 0, 0.15, 0.25, 0, 0.20, 40, 6, (0, 0.5, 1, 2, 5, 10, 20, 40, 80)),
        Model("photometer", "mg/L", 1, 0.1, 0.4, 0.07, 0, 0.08, 25, 8),
        Model("colour-wheel", "mg/L as N", 1 / 4.4268, 0.1, 0.3, 0.15, 0, 0.12, 40, 6),
    ),
    "phosphate": (
        Model("photometer", "mg/L", 1, 0.01, 0.014, 0.05, 0.01, 0.05, 25, 5),
        Model("photometer", "ug/L P", 1000 / 3.0662, 1, 0.014, 0.05, 0.01, 0.05, 25, 5),
        Model(
            "colour-card",
            "mg/L",
            1,
            0,
            0.015,
            0.25,
            0,
            0.25,
            40,
            6,
            (0, 0.03, 0.06, 0.1, 0.15, 0.25, 0.5, 1.0),
        ),
    ),
    "ph": (
        Model("pen", "1", 1, 0.01, 0.03, 0, 0.06, 0, 12, 2),
        Model("colour-card", "1", 1, 0.1, 0.1, 0, 0.1, 0, 30, 3),
    ),
}


class Kit:
    """A kit in use: its present lot, and how far its stated sd is from the truth."""

    def __init__(self, model: Model, rng: np.random.Generator, states: float) -> None:
        self.model, self.method, self.unit = model, model.method, model.unit
        self.factor = model.scale or 0.000757
        wrong = float(np.exp(rng.normal(0.1, 0.3)))  # the leaflet is a little too proud, on the whole
        self.sd, self.rel = model.sd * wrong, model.rel * wrong
        self.stated_sd = model.sd if model.rel == 0 and rng.random() < states else 0.0
        self.tail = float(rng.choice([3.0, 4.0, 6.0, 30.0]))
        self.left = 0
        self.bias = self.rel_bias = 0.0
        self.recalibrate(rng)
        self.left = int(rng.integers(1, model.lot_tests))

    def recalibrate(self, rng: np.random.Generator) -> None:
        """A new lot, or a new zero: the bias is drawn anew."""
        self.bias = self.model.bias * float(rng.standard_normal())
        self.rel_bias = self.model.rel_bias * float(rng.standard_normal())

    def new_lot_due(self, rng: np.random.Generator) -> bool:
        """Use up one test; true when a new lot was opened for it."""
        self.left -= 1
        if self.left > 0:
            return False
        self.left = int(self.model.lot_tests * rng.uniform(0.6, 1.1)) + 1
        self.recalibrate(rng)
        return True

    def spread(self, value: float) -> float:
        """What the keeper thinks a reading is good for, in stored units."""
        return float(np.hypot(self.model.sd, self.model.rel * abs(value)) + 0.3 * self.model.step / self.factor)

    def read(self, true: float, rng: np.random.Generator) -> float:
        """One test: stored units in, stored units out, rounded as the kit is read."""
        noise = float(rng.standard_t(self.tail))
        value = true * (1 + self.rel_bias) * float(np.exp(self.rel * noise)) + self.bias
        value += self.sd * float(rng.standard_t(self.tail))
        value = max(value, 0.0)
        if self.model.card:
            card = np.array(self.model.card)
            return float(card[np.argmin(np.abs(np.sqrt(card) - np.sqrt(value)))])
        return self._from(round(self._to(value) / self.model.step) * self.model.step)

    def _to(self, stored: float) -> float:
        """In the shown unit. Specific gravity 25/25: 1.0264 at 35, 0.000757 a psu (TEOS-10, made linear)."""
        return stored * self.model.scale if self.model.scale else 1.0264 + 0.000757 * (stored - 35)

    def _from(self, shown: float) -> float:
        return shown / self.model.scale if self.model.scale else 35 + (shown - 1.0264) / 0.000757

    def show(self, stored: float) -> tuple[float, str]:
        """As written down."""
        digits = 4 if not self.model.scale else 2 if self.model.step < 0.1 or self.model.card else 1
        return round(self._to(stored), digits), self.unit

    def blunder(self, stored: float, rng: np.random.Generator) -> float:
        """A slip of hand or eye: digits swapped, a place lost, a wrong form of the unit, a far misreading."""
        how = int(rng.integers(0, 4))
        if how == 0 and self.model.scale:
            digits = list(f"{self._to(stored):.4g}".replace(".", "").ljust(3, "0"))
            at = int(rng.integers(0, 2))
            digits[at], digits[at + 1] = digits[at + 1], digits[at]
            size = 10 ** len(f"{int(self._to(stored))}")
            return self._from(float("0." + "".join(digits)) * size)
        if how == 1 and self.model.scale and self.model.unit not in ("ppt", "psu", "1", "degC"):
            slip = {"alkalinity": DKH}.get("alkalinity" if "KH" in self.unit else "", 4.43 if self.rel else 1.1)
            return stored / slip
        if how == 2 and self.rel:
            return stored * 10
        return max(
            0.0,
            stored + float(rng.choice([-1, 1])) * float(rng.uniform(6, 14)) * max(self.sd, self.rel * stored, 1e-3),
        )


def make_kit(quantity: str, style: Style, rng: np.random.Generator) -> Kit:
    """The kit this keeper happens to own; careful keepers own better ones."""
    models = KITS[quantity]
    weights = np.array([2.0 if style.name in ("stony", "probes") and i == 0 else 1.0 for i in range(len(models))])
    return Kit(models[int(rng.choice(len(models), p=weights / weights.sum()))], rng, states=0.6)
