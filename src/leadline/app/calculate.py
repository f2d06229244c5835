"""One-off calculations, each with its source and its caution: nothing here reads or writes the store."""

from __future__ import annotations

from dataclasses import dataclass

from leadline.measures import units
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.quantities import quantity
from leadline.model import substances
from leadline.seawater import convert
from leadline.system.bands import MOST_A_DAY

_SPECIES = {
    "alkalinity": ("alkalinity", 1000.0), "calcium": ("calcium", 40078.0), "magnesium": ("magnesium", 24305.0),
    "potassium": ("potassium", 39098.3), "strontium": ("strontium", 87620.0), "nitrate": ("nitrogen", 62004.0),
    "phosphate": ("phosphorus", 94969.8), "iodine": ("iodine", 126904470.0),
}  # fmt: skip
_CAUSTIC = frozenset({"sodium-carbonate", "sodium-hydroxide", "calcium-hydroxide", "hydrochloric-acid-10"})


@dataclass(frozen=True, slots=True)
class Line:
    """One result: what it is, its value, its unit."""

    what: str
    value: float
    unit: str = ""
    digits: int = 2


@dataclass(frozen=True, slots=True)
class Worked:
    """A calculation as it is handed to a person: results, where the formula comes from, what to beware of."""

    name: str
    lines: tuple[Line, ...]
    source: str
    caution: str = ""
    assumed: tuple[str, ...] = ()


def _stored(name: str, text: str, temperature_c: float, salinity: float) -> tuple[float, tuple[str, ...]]:
    value, unit = units.split_value_unit(text)
    done = convert.to_stored(name, value, unit, temperature_c=temperature_c, salinity=salinity)
    return done.value, done.assumed


def _litres(text: str) -> float:
    """A volume of water that there is."""
    litres = units.parse_amount(text, "volume")
    if litres <= 0.0:
        raise BadInput(f"{text.strip()!r} is no volume of water", way_out="Give a volume above zero, such as 400 L.")
    return litres


def converted(name: str, text: str, unit: str, temperature_c: float, salinity: float) -> Worked:
    """A value of a quantity in another unit."""
    stored, assumed = _stored(name, text, temperature_c, salinity)
    value = convert.from_stored(name, stored, unit, temperature_c=temperature_c, salinity=salinity)
    said = (Line(f"{name} {text.strip()}", value, unit, 4),)
    return Worked("convert", said, "exact factors; density and conductivity by TEOS-10 and PSS-78", "", assumed)


def carbonate(
    temperature_c: float, salinity: float, alkalinity: str, ph_nbs: float | None, room_co2_ppm: float | None
) -> Worked:
    """pH, CO2 and saturation from alkalinity and either a probe's pH or the air's CO2."""
    from leadline.seawater.carbonate import solve
    from leadline.seawater.density import kg_per_l

    if (ph_nbs is None) == (room_co2_ppm is None):
        raise BadInput("give alkalinity and one more", way_out="Either --ph (probe) or --air (CO2 of the room in ppm).")
    meq_l, assumed = _stored("alkalinity", alkalinity, temperature_c, salinity)
    ta = meq_l * 1000.0 / float(kg_per_l(temperature_c, salinity))
    state = solve(temperature_c=temperature_c, salinity=salinity, alkalinity=ta, ph_nbs=ph_nbs, xco2=room_co2_ppm)
    lines = (
        Line("total alkalinity", ta, "µmol/kg", 0), Line("dissolved inorganic carbon", state.dic, "µmol/kg", 0),
        Line("pH, NBS scale", state.ph_nbs), Line("pH, total scale", state.ph_total),
        Line("CO2 in balance with air of", state.xco2, "ppm", 0), Line("aragonite saturation", state.omega_aragonite),
    )  # fmt: skip
    source = "Lueker et al. 2000; Dickson 1990; Uppström 1974; Perez and Fraga 1987; Mucci 1983; Munhoven 2013"
    return Worked("carbonate", lines, source, "A probe's pH is good to 0.05: CO2 from it to about 15 %.", assumed)


def oxygen(temperature_c: float, salinity: float) -> Worked:
    """What the water can hold."""
    from leadline.seawater.oxygen import saturation_mg_l

    held = float(saturation_mg_l(temperature_c, salinity))
    return Worked("oxygen", (Line("saturation at sea level", held, "mg/L"),), "Garcia and Gordon 1992")


def ammonia(total_mg_n: float, ph_nbs: float, temperature_c: float, salinity: float) -> Worked:
    """Free ammonia of a total, by a probe's pH."""
    from leadline.seawater.nutrients import free_ammonia_nbs

    if total_mg_n < 0.0:
        raise BadInput(f"total ammonia of {total_mg_n:g} mg/L is below zero", way_out="Check the reading.")
    share = float(free_ammonia_nbs(ph_nbs, temperature_c, salinity))
    lines = (
        Line("free share", 100 * share, "%"),
        Line("free ammonia as NH3", total_mg_n * share * 17.031 / 14.007, "mg/L", 3),
    )
    caution = "Above 0.02 mg/L free ammonia animals suffer (common practice): change water first, calculate later."
    return Worked("ammonia", lines, "Emerson et al. 1975 with the salt term of Khoo et al. 1977", caution)


def mixed(first: tuple[str, float], second: tuple[str, float], temperature_c: float) -> Worked:
    """Salinity of two waters poured together; each is a volume and a practical salinity."""
    from leadline.seawater import mixing

    litres = [_litres(first[0]), _litres(second[0])]
    masses = [mixing.mass_kg(v, temperature_c, s) for v, s in zip(litres, (first[1], second[1]), strict=True)]
    salinity = mixing.mixed(masses, [first[1], second[1]])
    return Worked("mix", (Line("salinity", salinity, "psu", 3),), "mass balance; density by TEOS-10")


def evaporated(volume: str, salinity: float, lost: str, temperature_c: float) -> Worked:
    """Salinity after pure water evaporated and nothing replaced it."""
    from leadline.seawater import mixing

    mass = mixing.mass_kg(_litres(volume), temperature_c, salinity)
    gone = mixing.mass_kg(_litres(lost), temperature_c, 0.0)
    after = mixing.after_evaporation(mass, salinity, gone)
    return Worked("evaporate", (Line("salinity", after, "psu", 2),), "mass balance; density by TEOS-10")


def salt(volume: str, now: float, wanted: float, temperature_c: float) -> Worked:
    """Dry sea salt that raises a volume from one salinity to another."""
    from leadline.seawater import mixing

    litres = _litres(volume)
    if wanted <= now:
        raise BadInput(
            f"salt cannot bring salinity {now:g} to {wanted:g}",
            way_out="To lower it, exchange for fresher water: leadline bench exchange.",
        )
    grams = mixing.salt_to_raise(litres, now, wanted, temperature_c)
    lines = (
        Line("anhydrous sea salt", grams, "g", 0),
        Line("salt as sold, with 10 % bound water", grams / 0.9, "g", 0),
    )
    caution = "Dissolve it outside the system and raise by at most 1 psu a day where animals live (common practice)."
    return Worked("salt", lines, "mass balance; density by TEOS-10; bound water: common practice", caution)


def exchange(volume: str, now: float, wanted: float, new: float) -> Worked:
    """How much to exchange for water of another value (salinity or any concentration)."""
    litres = _litres(volume)
    if min(now, wanted, new) < 0.0:
        raise BadInput("no water holds less than nothing", way_out="Give the three values as zero or more.")
    if not min(now, new) <= wanted <= max(now, new) or now == new:
        raise BadInput(
            f"water of {new:g} cannot bring {now:g} to {wanted:g}", way_out="The wanted value lies between the two."
        )
    share = (wanted - now) / (new - now)
    lines = (Line("exchange", litres * share, "L", 1), Line("of the volume", 100 * share, "%", 1))
    return Worked("exchange", lines, "mass balance at equal density; masses give up to 0.4 % less")


def dose(name: str, rise: str, volume: str, substance: str) -> Worked:
    """Grams of a substance that raise a quantity, and over how many days at least."""
    quantity(name)
    found = _SPECIES.get(name)
    if found is None:
        raise UnknownName("quantity to dose", name, _SPECIES)
    species, per_mol = found
    litres = _litres(volume)
    stored, assumed = _stored(name, rise, 25.0, 35.0)
    if stored <= 0.0:
        raise BadInput(
            f"a dose raises {name}, and {rise.strip()} is no rise",
            way_out="Give a rise above zero; to lower it, exchange water.",
        )
    per_gram = substances.moles(substance, 1.0).get(species, 0.0) * per_mol / litres
    if per_gram <= 0.0:
        raise BadInput(f"{substance} does not raise {name}", way_out="Name a substance that holds it.")
    grams = stored / per_gram
    lines = [Line(substance, grams, "g", 1)]
    density = substances.SUBSTANCES[substance].density_g_ml if substance in substances.SUBSTANCES else None
    if density:
        lines.append(Line("by volume", grams / density, "mL", 1))
    if name in MOST_A_DAY:
        lines.append(Line("spread over at least", max(stored / MOST_A_DAY[name], 1.0), "days", 1))
    caution = "Litres are net water, not the tank's size. Test before and after."
    if substance in _CAUSTIC:
        caution = "It is caustic: gloves and eye protection, and no dust. " + caution
    return Worked(
        "dose",
        tuple(lines),
        "stoichiometry, IUPAC 2021 atomic weights; daily limits: common practice",
        caution,
        assumed,
    )
