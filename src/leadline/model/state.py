"""Amounts held by one body of water at one moment, and by nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from leadline.model.substances import ATOM, SPECIES

# grams that one mole adds to dissolved salt; alkalinity is carried as bicarbonate, N and P as the ions
SALT_G_PER_MOL: dict[str, float] = {
    "alkalinity": ATOM["H"] + ATOM["C"] + 3 * ATOM["O"],
    "calcium": ATOM["Ca"], "magnesium": ATOM["Mg"], "potassium": ATOM["K"], "strontium": ATOM["Sr"],
    "sodium": ATOM["Na"], "chloride": ATOM["Cl"], "sulfate": ATOM["S"] + 4 * ATOM["O"],
    "nitrogen": ATOM["N"] + 3 * ATOM["O"], "ammonium": ATOM["N"] + 4 * ATOM["H"],
    "phosphorus": ATOM["P"] + 4 * ATOM["O"],
    "iodine": ATOM["I"], "silicon": ATOM["Si"] + 4 * ATOM["O"] + 4 * ATOM["H"],
    "carbon": 0.0, "organic_carbon": 0.0,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Water:
    """Water [kg], other salt [kg] and species [mol] of one body of water.

    `salt_kg` is all dissolved salt. Species are amounts within it that are followed by name.
    """

    water_kg: float
    salt_kg: float
    mol: Mapping[str, float]

    @property
    def mass_kg(self) -> float:
        """Water and salt together. [kg]"""
        return self.water_kg + self.salt_kg

    @property
    def salinity(self) -> float:
        """Practical salinity, by the reference composition (IOC, SCOR, IAPSO 2010). [1]"""
        return 1000.0 * self.salt_kg / self.mass_kg / (35.16504 / 35.0)

    def per_kg(self, species: str) -> float:
        """Concentration of a species. [mol per kg of seawater]"""
        return self.mol.get(species, 0.0) / self.mass_kg


def empty() -> Water:
    """No water at all."""
    return Water(0.0, 0.0, dict.fromkeys(SPECIES, 0.0))
