"""Nothing appears or vanishes: every change of a body of water with what it brings in and takes out.

Each function returns the new water and the flow that made it; the sum of flows is the change of every amount,
exactly (a property test holds this to 1e-9). The estimate takes its known inputs from the same numbers.
"""

from __future__ import annotations

from collections.abc import Mapping

from leadline.measures.errors import BadInput
from leadline.model.state import SALT_G_PER_MOL, Water, empty
from leadline.model.substances import FOODS, moles

Change = tuple[Water, Water]  # (what is there now, what flowed in; negative amounts flowed out)


def plus(a: Water, b: Water, sign: float = 1.0) -> Water:
    """The sum (or difference) of two bodies of water or flows."""
    keys = a.mol.keys() | b.mol.keys()
    return Water(
        a.water_kg + sign * b.water_kg,
        a.salt_kg + sign * b.salt_kg,
        {k: a.mol.get(k, 0.0) + sign * b.mol.get(k, 0.0) for k in keys},
    )


def _scaled(a: Water, factor: float) -> Water:
    return Water(a.water_kg * factor, a.salt_kg * factor, {k: v * factor for k, v in a.mol.items()})


def body(mass_kg: float, salinity: float, per_kg: Mapping[str, float]) -> Water:
    """A body of water by its mass [kg], practical salinity and species [mol/kg]."""
    if mass_kg < 0 or salinity < 0:
        raise BadInput(f"{mass_kg:g} kg of water at salinity {salinity:g}", way_out="Neither is below zero.")
    salt = mass_kg * salinity * (35.16504 / 35.0) / 1000.0
    return Water(mass_kg - salt, salt, {k: v * mass_kg for k, v in per_kg.items()})


def add_substance(water: Water, substance: str, grams: float) -> Change:
    """Something added by mass [g]: its ions, with bound water and the carbonate's air-borne part left to the gas.

    The dissolved mass is that of its ions with alkalinity as bicarbonate.
    """
    amount = moles(substance, grams)
    salt = sum(SALT_G_PER_MOL[k] * v for k, v in amount.items()) / 1000.0
    flow = plus(empty(), Water(0.0, salt, amount))
    return plus(water, flow), flow


def remove(water: Water, mass_kg: float) -> Change:
    """Water of the system taken out: an exchange's first half, skimmate, samples, a leak. [kg]"""
    if not 0.0 <= mass_kg <= water.mass_kg:
        raise BadInput(f"{mass_kg:g} kg taken from {water.mass_kg:g} kg", way_out="No more can leave than is there.")
    flow = _scaled(water, -mass_kg / water.mass_kg if water.mass_kg else 0.0)
    return plus(water, flow), flow


def pour(water: Water, new: Water) -> Change:
    """Other water poured in: an exchange's second half, top-off of any kind."""
    return plus(water, new), new


def exchange(water: Water, mass_out_kg: float, new: Water) -> Change:
    """A water change: so much out [kg], then the new water in."""
    after, out = remove(water, mass_out_kg)
    final, into = pour(after, new)
    return final, plus(out, into)


def evaporate(water: Water, mass_kg: float) -> Change:
    """Pure water that leaves through the surface. [kg]"""
    if not 0.0 <= mass_kg <= water.water_kg:
        raise BadInput(
            f"{mass_kg:g} kg evaporated from {water.water_kg:g} kg", way_out="No more can leave than is there."
        )
    flow = Water(-mass_kg, 0.0, {})
    return plus(water, flow), flow


def calcify(water: Water, calcium_mol: float, magnesium_share: float = 0.0, strontium_share: float = 0.0) -> Change:
    """Skeleton laid down: two equivalents of alkalinity for each mole of metal, shares by mole of metal."""
    metal = calcium_mol / max(1.0 - magnesium_share - strontium_share, 1e-12)
    amount = {
        "calcium": -calcium_mol,
        "magnesium": -metal * magnesium_share,
        "strontium": -metal * strontium_share,
        "alkalinity": -2.0 * metal,
        "carbon": -2.0 * metal,  # one to the skeleton, one to the air as CO2
    }
    salt = sum(SALT_G_PER_MOL[k] * v for k, v in amount.items()) / 1000.0
    flow = Water(0.0, salt, amount)
    return plus(water, flow), flow


def feed(water: Water, food: str, grams: float, released: float = 1.0) -> Change:
    """Food given [g as fed]: the nitrogen and phosphorus of which a share `released` reaches the water."""
    n_mg, p_mg = FOODS[food]
    amount = {"nitrogen": released * grams * n_mg / 14007.0, "phosphorus": released * grams * p_mg / 30973.76}
    salt = sum(SALT_G_PER_MOL[k] * v for k, v in amount.items()) / 1000.0
    flow = Water(0.0, salt, amount)
    return plus(water, flow), flow


def oxidise_ammonia(water: Water, nitrogen_mol: float) -> Change:
    """Nitrification: each mole of ammonia takes two moles of alkalinity; nitrogen stays as another form."""
    amount = {"alkalinity": -2.0 * nitrogen_mol}
    flow = Water(0.0, SALT_G_PER_MOL["alkalinity"] * amount["alkalinity"] / 1000.0, amount)
    return plus(water, flow), flow
