"""What is put in on purpose: exact stoichiometry of every substance a keeper adds, and what a solution holds.

Molar masses from the IUPAC abridged standard atomic weights (2021). Compositions are those of the pure
substance; a liquid's strength is stated with it. Food figures are ceilings from composition (protein / 6.25;
phosphorus from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from leadline.measures.errors import BadInput, UnknownName

ATOM: dict[str, float] = {
    "H": 1.008, "C": 12.011, "N": 14.007, "O": 15.999, "Na": 22.98977, "Mg": 24.305, "P": 30.97376, "S": 32.06,
    "Cl": 35.45, "K": 39.0983, "Ca": 40.078, "Sr": 87.62, "I": 126.90447, "Si": 28.085, "Br": 79.904,
}  # fmt: skip

# What the balances follow, in mol (alkalinity in mol of charge). "spectator" ions make salinity and stay.
SPECIES = (
    "alkalinity", "carbon", "calcium", "magnesium", "potassium", "strontium", "sodium", "chloride", "sulfate",
    "nitrogen", "ammonium", "phosphorus", "organic_carbon", "iodine", "silicon",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Substance:
    """One mole (solids) or one litre (liquids) of something added, in the species the balances follow.

    Attributes
    ----------
    molar_mass
        [g/mol]; for a liquid the grams in one mL are given by `density` and `species` is per gram.
    species
        mol of each species per mol of substance.
    """

    id: str
    molar_mass: float
    species: Mapping[str, float]
    density_g_ml: float | None = None  # liquids are typed in mL
    strength: float = 1.0  # mass fraction of the active substance


def _mass(**atoms: int) -> float:
    return sum(ATOM[a] * n for a, n in atoms.items())


_ALL = [
    Substance("sodium-bicarbonate", _mass(Na=1, H=1, C=1, O=3), {"alkalinity": 1, "carbon": 1, "sodium": 1}),
    Substance("sodium-carbonate", _mass(Na=2, C=1, O=3), {"alkalinity": 2, "carbon": 1, "sodium": 2}),
    Substance("sodium-hydroxide", _mass(Na=1, O=1, H=1), {"alkalinity": 1, "sodium": 1}),
    Substance("calcium-chloride-dihydrate", _mass(Ca=1, Cl=2, H=4, O=2), {"calcium": 1, "chloride": 2}),
    Substance("calcium-chloride-anhydrous", _mass(Ca=1, Cl=2), {"calcium": 1, "chloride": 2}),
    Substance("calcium-hydroxide", _mass(Ca=1, O=2, H=2), {"calcium": 1, "alkalinity": 2}),
    Substance("calcium-carbonate", _mass(Ca=1, C=1, O=3), {"calcium": 1, "alkalinity": 2, "carbon": 1}),
    Substance("magnesium-chloride-hexahydrate", _mass(Mg=1, Cl=2, H=12, O=6), {"magnesium": 1, "chloride": 2}),
    Substance("magnesium-sulfate-heptahydrate", _mass(Mg=1, S=1, O=11, H=14), {"magnesium": 1, "sulfate": 1}),
    Substance("potassium-chloride", _mass(K=1, Cl=1), {"potassium": 1, "chloride": 1}),
    Substance("strontium-chloride-hexahydrate", _mass(Sr=1, Cl=2, H=12, O=6), {"strontium": 1, "chloride": 2}),
    Substance("sodium-chloride", _mass(Na=1, Cl=1), {"sodium": 1, "chloride": 1}),
    Substance("sodium-sulfate", _mass(Na=2, S=1, O=4), {"sodium": 2, "sulfate": 1}),
    Substance("sodium-nitrate", _mass(Na=1, N=1, O=3), {"sodium": 1, "nitrogen": 1}),
    Substance("potassium-nitrate", _mass(K=1, N=1, O=3), {"potassium": 1, "nitrogen": 1}),
    Substance("calcium-nitrate-tetrahydrate", _mass(Ca=1, N=2, O=10, H=8), {"calcium": 1, "nitrogen": 2}),
    Substance("ammonium-chloride", _mass(N=1, H=4, Cl=1), {"ammonium": 1, "chloride": 1}),
    # phosphate bought as Na2HPO4; HPO4 carries one equivalent over the zero level of alkalinity
    Substance("disodium-phosphate", _mass(Na=2, H=1, P=1, O=4), {"sodium": 2, "phosphorus": 1, "alkalinity": 1}),
    Substance("monosodium-phosphate", _mass(Na=1, H=2, P=1, O=4), {"sodium": 1, "phosphorus": 1}),
    Substance("potassium-iodide", _mass(K=1, I=1), {"potassium": 1, "iodine": 1}),
    Substance("hydrochloric-acid-10", _mass(H=1, Cl=1), {"alkalinity": -1, "chloride": 1}, 1.047, 0.10),
    Substance("ethanol-40", _mass(C=2, H=6, O=1), {"organic_carbon": 2}, 0.948, 0.333),
    Substance("acetic-acid-5", _mass(C=2, H=4, O=2), {"organic_carbon": 2}, 1.005, 0.05),
]
SUBSTANCES: dict[str, Substance] = {s.id: s for s in _ALL}
_BY_WORD = {"vinegar": "acetic-acid-5", "baking-soda": "sodium-bicarbonate", "soda-ash": "sodium-carbonate"}

# reference composition at S = 35, mmol per kg of seawater (Dickson et al. 2007, memory), per g of sea salt
SEA_SALT_G_PER_KG = 35.16504
_REFERENCE_MMOL_KG = {
    "sodium": 468.96, "magnesium": 52.82, "calcium": 10.28, "potassium": 10.21, "strontium": 0.0907,
    "chloride": 545.87, "sulfate": 28.24, "alkalinity": 2.30, "carbon": 2.0,
}  # fmt: skip

# per gram as fed: mg N, mg P (ceilings before uptake and export; proximate analyses, P from memory)
FOODS: dict[str, tuple[float, float]] = {
    "frozen-mysid": (17.0, 2.2),
    "frozen-brine": (9.0, 1.2),
    "pellets": (76.0, 15.0),
    "flakes": (76.0, 15.0),
    "dried-seaweed": (56.0, 5.5),
    "phytoplankton": (2.0, 0.3),
}
# mg of carbon in a gram as fed: dry part times 40 to 45 % (memory)
FOOD_CARBON: dict[str, float] = {
    "frozen-mysid": 75.0, "frozen-brine": 40.0, "pellets": 420.0, "flakes": 420.0, "dried-seaweed": 330.0,
    "phytoplankton": 12.0,
}  # fmt: skip


def food_moles(food: str, grams: float) -> tuple[float, float, float]:
    """Carbon, nitrogen and phosphorus of food as fed; an unknown food is taken for thawed mysid. [mol]"""
    kind = food if food in FOODS else "frozen-mysid"
    n_mg, p_mg = FOODS[kind]
    return grams * FOOD_CARBON[kind] / 12011.0, grams * n_mg / 14007.0, grams * p_mg / 30973.76


def moles(substance: str, grams: float) -> dict[str, float]:
    """Moles of each species in `grams` of a substance (for a liquid: grams of the liquid).

    Raises
    ------
    UnknownName
        With near misses, when the substance is not in the catalogue.
    """
    ident = _BY_WORD.get(substance, substance)
    if ident == "sea-salt":  # dry sea salt as sold holds some water; 10 % is common practice
        kg_seawater = grams * 0.90 / SEA_SALT_G_PER_KG
        return {k: v * 1e-3 * kg_seawater for k, v in _REFERENCE_MMOL_KG.items()}
    found = SUBSTANCES.get(ident)
    if found is None:
        raise UnknownName("substance", substance, [*SUBSTANCES, "sea-salt"])
    n = grams * found.strength / found.molar_mass
    return {k: v * n for k, v in found.species.items()}


def known(substance: str) -> bool:
    """True when the catalogue holds this substance."""
    return _BY_WORD.get(substance, substance) in SUBSTANCES or substance == "sea-salt"


def grams_of(substance: str, value: float, unit: str, solutions: Mapping[str, Mapping[str, float]]) -> dict[str, float]:
    """Grams of each catalogue substance in an addition as it was typed.

    `solutions` maps an own solution to grams per litre of each substance (a recipe). A dry substance typed in
    mL needs a solution whose name is that substance or ends in `:substance` (a dosing pump's container).

    Raises
    ------
    BadInput
        When the amount has no meaning: a dry substance by volume without a concentration.
    UnknownName
        For a substance that neither the catalogue nor a recipe holds.
    """
    from leadline.measures import units

    by_volume = unit.strip().lower() in _VOLUME_UNITS
    if substance in solutions:
        if not by_volume:
            raise BadInput(f"{substance} is a solution, {value:g} {unit} is no volume", way_out="Give it in mL or L.")
        litres = units.to_litres(value, unit)
        return {k: g_l * litres for k, g_l in solutions[substance].items()}
    if not by_volume:
        return {substance: units.to_grams(value, unit or "g")} if known(substance) else _unknown(substance, solutions)
    litres = units.to_litres(value, unit)
    found = SUBSTANCES.get(_BY_WORD.get(substance, substance))
    if found is not None and found.density_g_ml:
        return {substance: litres * 1000.0 * found.density_g_ml}
    for name, recipe in solutions.items():
        if name.endswith(f":{substance}"):
            return {k: g_l * litres for k, g_l in recipe.items()}
    if found is None and substance != "sea-salt":
        _unknown(substance, solutions)
    raise BadInput(
        f"{value:g} {unit} of {substance}: a dry substance by volume",
        way_out="Give grams, or state the solution's concentration with the doser.",
    )


_VOLUME_UNITS = frozenset({"ml", "l", "litre", "litres", "liter", "liters", "gal", "fl oz", "floz", "cl", "dl"})


def _unknown(substance: str, solutions: Mapping[str, Mapping[str, float]]) -> dict[str, float]:
    raise UnknownName("substance", substance, [*SUBSTANCES, "sea-salt", *solutions])
