"""How each unit of each quantity becomes the stored one: a table of rules, and what a rule assumes."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from leadline.measures.errors import BadInput
from leadline.measures.quantities import quantity
from leadline.measures.units import SCALES, TEMPERATURES, parse_number, unit_key
from leadline.seawater import masses as m

STANDARD_TEMPERATURE_C = 25.0
STANDARD_SALINITY = 35.0

Change = Callable[[float, float, float], float]  # value, temperature [°C], salinity


@dataclass(frozen=True, slots=True)
class Rule:
    """One unit of one quantity.

    Attributes
    ----------
    to_stored, from_stored
        Functions of value, temperature [°C] and practical salinity.
    line
        Factor and offset when the change is affine and needs nothing of the water.
    needs
        Which properties of the water the change needs.
    assumed
        What had to be assumed to read the unit.
    """

    to_stored: Change
    from_stored: Change
    line: tuple[float, float] | None = None
    needs: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()


def affine(factor: float, offset: float = 0.0, *assumed: str) -> Rule:
    """stored = value × factor + offset."""
    return Rule(
        lambda value, _t, _s: value * factor + offset,
        lambda stored, _t, _s: (stored - offset) / factor,
        (factor, offset),
        (),
        assumed,
    )


def per_kilogram(factor: float, *assumed: str) -> Rule:
    """stored (per litre) = value (per kilogram) × factor × density."""

    def density(t: float, s: float) -> float:
        from leadline.seawater.density import kg_per_l

        return float(kg_per_l(t, s))

    return Rule(
        lambda value, t, s: value * factor * density(t, s),
        lambda stored, t, s: stored / (factor * density(t, s)),
        None,
        ("temperature", "salinity"),
        assumed,
    )


# What a concentration can be expressed as, and the factor from mass of that to mass of the stored form.
_FORMS: dict[str, dict[str, float]] = {
    "alkalinity": {"caco3": m.MEQ_PER_MG_CACO3, "hco3": m.MEQ_PER_MG_HCO3, "cao": 2 / m.CAO},
    "calcium": {"ca": 1.0, "caco3": m.CA / m.CACO3},
    "magnesium": {"mg": 1.0, "caco3": m.MG / m.CACO3},
    "potassium": {"k": 1.0},
    "strontium": {"sr": 1.0},
    "boron": {"b": 1.0},
    "nitrate": {"no3": 1.0, "n": m.NO3 / m.N, "no3-n": m.NO3 / m.N},
    "nitrite": {"no2": 1.0, "n": m.NO2 / m.N, "no2-n": m.NO2 / m.N},
    "ammonia": {
        "n": 1.0, "nh3-n": 1.0, "nh4-n": 1.0, "tan": 1.0, "nh3/nh4-n": 1.0, "nh3": m.N / m.NH3,
        "nh4": m.N / m.NH4,
    },
    "phosphate": {"po4": 1.0, "p": m.PO4 / m.P, "po4-p": m.PO4 / m.P, "p2o5": 2 * m.PO4 / m.P2O5},
    "silicate": {"si": 1.0, "sio2": m.SI / m.SIO2, "sio2-si": 1.0, "sio3-si": 1.0},
    "iodine": {"i": 1.0},
    "iron": {"fe": 1.0},
    "copper": {"cu": 1.0},
    "zinc": {"zn": 1.0},
    "mercury": {"hg": 1.0},
    "oxygen": {"o2": 1.0},
    "tds": {},
}  # fmt: skip

_MOLAR: dict[str, float] = {
    "calcium": m.CA, "magnesium": m.MG, "potassium": m.K, "strontium": m.SR, "boron": m.B, "nitrate": m.NO3,
    "nitrite": m.NO2, "ammonia": m.N, "phosphate": m.PO4, "silicate": m.SI, "iodine": m.I, "iron": m.FE,
    "copper": m.CU, "zinc": m.ZN, "mercury": m.HG, "oxygen": m.O2, "alkalinity": 1.0,
}  # fmt: skip

_TRACE = {"silicate", "iodine", "iron", "copper", "zinc", "mercury"}

_MG_PER_L = {"g/l": 1e3, "mg/l": 1.0, "ug/l": 1e-3, "ng/l": 1e-6, "g/m3": 1.0, "mg/m3": 1e-3, "ug/ml": 1.0}
_BY_MASS = {"ppm": 1.0, "ppb": 1e-3}
_MG_PER_KG = {"g/kg": 1e3, "mg/kg": 1.0, "ug/kg": 1e-3}
_MMOL_PER_L = {
    "mol/l": 1e3, "mmol/l": 1.0, "umol/l": 1e-3, "nmol/l": 1e-6, "mol/m3": 1.0, "mmol/m3": 1e-3, "mm": 1.0,
    "um": 1e-3, "nm": 1e-6,
}  # fmt: skip
_MMOL_PER_KG = {"mol/kg": 1e3, "mmol/kg": 1.0, "umol/kg": 1e-3, "nmol/kg": 1e-6}
_MEQ = {"eq/l": 1e3, "meq/l": 1.0, "meq": 1.0, "mval/l": 1.0, "mval": 1.0, "ueq/l": 1e-3}
_MEQ_PER_KG = {"eq/kg": 1e3, "meq/kg": 1.0, "ueq/kg": 1e-3}

_ION = re.compile(
    r"(no3|no2|nh3/nh4|nh3|nh4|po4|sio2|sio3|ca|mg|k|sr|i|fe|cu|zn|hg)(?:[0-9]?[+-]{0,3})(?:-?(?:as)?(n|p|si))?"
)
_WORDS = {
    "calciumcarbonate": "caco3", "total": "", "iodide": "i",
    "nitrogen": "n", "phosphorus": "p", "silicon": "si", "nitrate": "no3", "nitrite": "no2",
    "orthophosphate": "po4", "phosphate": "po4", "ammonia": "nh3", "ammonium": "nh4", "silica": "sio2",
    "calcium": "ca", "magnesium": "mg", "potassium": "k", "strontium": "sr", "copper": "cu", "iron": "fe",
}  # fmt: skip
_BASES = sorted(
    [*_MG_PER_L, *_BY_MASS, *_MG_PER_KG, *_MMOL_PER_L, *_MMOL_PER_KG, *_MEQ, *_MEQ_PER_KG], key=len, reverse=True
)
_INNER = re.compile(r"(n|u|m|)(g|mol|eq)-?([a-z][a-z0-9-]*)/(l|kg)")  # mg N/L, ug-P/L


def _split(key: str) -> tuple[str, str] | None:
    """Base unit and what it is expressed as: `mg/lasno3-n` is (`mg/l`, `no3-n`)."""
    key = re.sub(r"[()\[\],:]", "", key)
    inner = _INNER.fullmatch(key)
    if inner:
        return f"{inner[1]}{inner[2]}/{inner[4]}", _form(inner[3])
    for base in _BASES:
        if key.startswith(base):
            return base, _form(key[len(base) :])
    for base in _BASES:  # NO3-N mg/L
        if key.endswith(base):
            return base, _form(key[: -len(base)])
    return None


def _form(text: str) -> str:
    text = text.removeprefix("as").strip("-")
    for word, sign in _WORDS.items():
        text = text.replace(word, sign)
    turned = re.fullmatch(r"(n|p|si)-([a-z].*)", text)  # N-NO3, as some laboratories write it
    ion = _ION.fullmatch(f"{turned[2]}-{turned[1]}" if turned else text)
    if ion:
        return f"{ion[1]}-{ion[2]}" if ion[2] else ion[1]
    return text


def _concentration(name: str, key: str) -> Rule | None:
    forms = _FORMS[name]
    split = _split(key)
    if split is None:
        return None
    base, form = split
    to_unit = 1e3 if name in _TRACE else 1.0  # stored as ug/L
    if base in _MEQ or base in _MEQ_PER_KG:
        if name != "alkalinity" or form:
            return None
        return affine(_MEQ[base]) if base in _MEQ else per_kilogram(_MEQ_PER_KG[base])
    if base in _MMOL_PER_L or base in _MMOL_PER_KG:
        if name not in _MOLAR or (form and form not in forms):
            return None
        # a mole of alkalinity is an equivalent; a mole of CaCO3 is two
        mass = _MOLAR[name] * (2.0 if name == "alkalinity" and form == "caco3" else 1.0) * to_unit
        if base in _MMOL_PER_L:
            return affine(_MMOL_PER_L[base] * mass)
        return per_kilogram(_MMOL_PER_KG[base] * mass)
    assumed: tuple[str, ...] = ()
    if form:
        if form not in forms:
            return None
        factor = forms[form] * to_unit
    elif name == "alkalinity":
        factor = forms["caco3"]
        assumed = (f"{base} read as CaCO3",)
    else:
        factor = to_unit
        if name == "phosphate" and base in ("ug/l", "ppb"):
            assumed = (f"{base} read as PO4, not as P (3.07 apart)",)
    if base in _BY_MASS:
        if name != "alkalinity" or not form:
            litre = "mg/L" if base == "ppm" else "ug/L"
            assumed += (f"{base} read as {litre}, not per kilogram (2.3 % apart)",)
        return affine(_BY_MASS[base] * factor, 0.0, *assumed)
    if base in _MG_PER_L:
        return affine(_MG_PER_L[base] * factor, 0.0, *assumed)
    return per_kilogram(_MG_PER_KG[base] * factor, *assumed)


_SG = re.compile(r"(?:sg|specificgravity|d|gravity|)[@(]?([0-9]+(?:[.,][0-9]+)?)(?:deg)?([cf]?)/"
                 r"([0-9]+(?:[.,][0-9]+)?)(?:deg)?([cf]?)\)?")  # fmt: skip


def gravity_scale(unit: str) -> tuple[float, float] | None:
    """Sample and reference temperature of a specific-gravity scale such as `sg@60F/60F`. [°C]

    A number without a mark is °C, unless it is over 40 and the other is marked °F (`77/77F`).

    Raises
    ------
    BadInput
        When a temperature over 45 carries no mark.
    """
    match = _SG.fullmatch(unit_key(unit))
    if match is None:
        return None
    first, mark, second, other = match.groups()

    def celsius(text: str, own: str, others: str) -> float:
        number = parse_number(text)
        own = own or ("f" if others == "f" and number > 40.0 else "c")
        if own == "c" and number > 45.0:
            raise BadInput(f"{text} in {unit!r} has no unit", way_out="Write sg@25/25 in °C or sg@77F/77F in °F.")
        return (number - 32.0) / 1.8 if own == "f" else number

    return celsius(first, mark, other), celsius(second, other, mark)


def _gravity(sample_c: float, reference_c: float) -> Rule:
    def forward(value: float, _t: float, _s: float) -> float:
        from leadline.seawater.salinity import from_specific_gravity

        return from_specific_gravity(value, sample_c, reference_c)

    def backward(stored: float, _t: float, _s: float) -> float:
        from leadline.seawater.salinity import specific_gravity

        return float(specific_gravity(stored, sample_c, reference_c))

    return Rule(forward, backward)


def _salinity(key: str, unit: str) -> Rule | None:
    if key in ("psu", "1", "pss", "pss-78", "pss78", "practicalsalinity", "sp"):
        return affine(1.0)
    if key in ("g/kg", "ppt", "‰", "permille", "o/oo", "sa"):
        note = () if key in ("g/kg", "sa") else (f"{unit} read as grams of salt in a kilogram (TEOS-10)",)
        return affine(35.0 / 35.16504, 0.0, *note)
    if key in ("mg/kg", "g/kgnacl"):
        return affine(35.0 / 35.16504 * 1e-3) if key == "mg/kg" else None
    scale = gravity_scale(unit)
    if scale is not None:
        return _gravity(*scale)
    if key == "g/l":

        def of_litre(value: float, t: float, _s: float) -> float:
            from leadline.seawater.salinity import from_g_per_l

            return from_g_per_l(value, t)

        def to_litre(stored: float, t: float, _s: float) -> float:
            from leadline.seawater.salinity import to_g_per_l

            return float(to_g_per_l(stored, t))

        return Rule(of_litre, to_litre, None, ("temperature",))
    compensated = re.fullmatch(r"(ms/cm|us/cm|s/m|ms/m)(?:@|at)?25(?:degc|c)?", key)
    bare = compensated[1] if compensated else key
    factor = {"ms/cm": 1.0, "ms": 1.0, "us/cm": 1e-3, "us": 1e-3, "s/m": 10.0, "ms/m": 0.01}.get(bare)
    if factor is None:
        return None

    def of_current(value: float, t: float, _s: float) -> float:
        from leadline.seawater.salinity import from_conductivity

        return float(from_conductivity(value * factor, 25.0 if compensated else t))

    def to_current(stored: float, t: float, _s: float) -> float:
        from leadline.seawater.salinity import to_conductivity

        return float(to_conductivity(stored, 25.0 if compensated else t)) / factor

    return Rule(of_current, to_current, None, () if compensated else ("temperature",))


def _oxygen(key: str) -> Rule | None:
    if key in (
        "%",
        "%saturation",
        "%sat",
        "%sat.",
        "percent",
        "percentsaturation",
        "saturation%",
        "%airsaturation",
        "%airsat",
        "%o2",
    ):

        def full(t: float, s: float) -> float:
            from leadline.seawater.oxygen import saturation_mg_l

            return float(saturation_mg_l(t, s)) / 100.0

        return Rule(
            lambda value, t, s: value * full(t, s), lambda stored, t, s: stored / full(t, s), None,
            ("temperature", "salinity"),
        )  # fmt: skip
    if key in ("ml/l", "mlo2/l"):
        return affine(m.O2 / 22.3916)  # molar volume of oxygen at 0 °C and one atmosphere, Garcia & Gordon 1992
    return _concentration("oxygen", key)


def _ph(key: str, *, total: bool) -> Rule | None:
    if not total and key in ("1", "ph", "nbs", "phnbs", "ph_nbs", "nbsscale", "units", "phunits", "-"):
        return affine(1.0)
    if key not in ("total", "phtotal", "totalscale", "ph(total)") and not (total and key in ("1", "ph")):
        return None

    def gap(t: float, s: float) -> float:
        from leadline.seawater.equilibria import check_water, nbs_minus_total

        check_water(t, s)
        return float(nbs_minus_total(t, s))

    return Rule(
        lambda value, t, s: value + gap(t, s), lambda stored, t, s: stored - gap(t, s), None,
        ("temperature", "salinity"),
    )  # fmt: skip


_SIMPLE: dict[str, dict[str, float]] = {
    "orp": {"mv": 1.0, "v": 1000.0},
    "par": {
        "umolphotonsm-2s-1": 1.0, "umolphotons/m2/s": 1.0, "umolm-2s-1": 1.0, "umol/m2/s": 1.0, "umol/(m2s)": 1.0,
        "umol/m2s": 1.0, "umol/sm2": 1.0, "umol": 1.0, "ppfd": 1.0, "par": 1.0, "ue": 1.0, "uem-2s-1": 1.0,
        "umolphotons/m2s": 1.0,
    },
    "level": SCALES["length"],
    "flow": SCALES["flow"],
    "power": SCALES["power"],
    "conductivity": {"ms/cm": 1.0, "ms": 1.0, "us/cm": 1e-3, "us": 1e-3, "s/m": 10.0, "ms/m": 0.01, "ds/m": 1.0},
    "relative_humidity": {"fraction": 1.0, "1": 1.0, "%": 0.01, "%rh": 0.01, "rh%": 0.01, "percent": 0.01},
    "co2_air": {"ppm": 1.0, "ppmv": 1.0, "ppmco2": 1.0, "umol/mol": 1.0, "%": 1e4, "fraction": 1e6},
}  # fmt: skip

_TDS_FACTOR = re.compile(r"us/cm(?:x|@|×|,?factor|\()?=?([0-9]*[.,][0-9]+)\)?")


def _tds(key: str, unit: str) -> Rule | None:
    if key.startswith("us/cm"):
        match = _TDS_FACTOR.fullmatch(key)
        if match is None:
            raise BadInput(
                f"{unit!r} says nothing of dissolved solids without the meter's factor",
                way_out="State it, for example: uS/cm x 0.5. Or log it as conductivity.",
            )
        return affine(parse_number(match[1]))
    if key in ("ppm", "mg/l", "ppt", "g/l"):
        thousand = 1000.0 if key in ("ppt", "g/l") else 1.0
        return affine(thousand)
    return None


@lru_cache(maxsize=8192)
def rule(name: str, unit: str) -> Rule | None:
    """The rule for a unit of a quantity, or None when nobody knows it.

    Raises
    ------
    UnknownName
        When the quantity is unknown.
    BadInput
        When the unit leaves out what it needs: the temperatures of a specific gravity, a meter's factor.
    """
    q = quantity(name)
    key = unit_key(unit)
    if not key:
        return rule(name, q.unit)
    if name == "temperature":
        line = TEMPERATURES.get(key)
        return affine(*line) if line else None
    if name == "salinity":
        if key in ("sg", "specificgravity", "gravity", "d"):
            raise BadInput(
                "a specific gravity needs both its temperatures: a bare 1.025 may be salinity 32.6 to 37.2",
                way_out="Write what stands on the instrument: sg@25/25, sg@20/20 or sg@60F/60F.",
            )
        return _salinity(key, unit)
    if name in ("ph", "ph_total"):
        return _ph(key, total=name == "ph_total")
    if name == "oxygen":
        return _oxygen(key)
    if name == "tds":
        return _tds(key, unit)
    if name in _SIMPLE:
        factor = _SIMPLE[name].get(key)
        return None if factor is None else affine(factor)
    if name == "alkalinity" and key in ("dkh", "kh", "dh", "degreeskh"):
        return affine(m.MEQ_PER_DKH)
    return _concentration(name, key)


ACCEPTED: dict[str, tuple[str, ...]] = {
    "temperature": ("degC", "degF", "K"),
    "salinity": ("psu", "ppt", "g/kg", "g/L", "sg@25/25", "sg@20/20", "sg@60F/60F", "mS/cm", "uS/cm", "mS/cm@25"),
    "alkalinity": (
        "meq/L", "dKH", "ppm CaCO3", "mg/L CaCO3", "mmol/L", "umol/kg", "umol/L", "ueq/kg", "mval/L", "mg/L HCO3",
    ),
    "calcium": ("mg/L", "ppm", "mg/kg", "mmol/L", "mmol/kg", "umol/kg", "mg/L CaCO3"),
    "nitrate": ("mg/L", "mg/L as N", "mg/L NO3-N", "ppm", "umol/L", "umol/kg", "ug/L"),
    "ammonia": ("mg/L", "mg/L as N", "mg/L as NH3", "mg/L as NH4", "ppm", "umol/L", "umol/kg", "ug/L"),
    "phosphate": (
        "mg/L", "mg/L as PO4", "mg/L as P", "ug/L", "ug/L P", "ug/L as P", "ppm", "ppb", "ppb P", "umol/L", "umol/kg",
    ),
    "silicate": ("ug/L", "mg/L", "ug/L as SiO2", "mg/L as SiO2", "ppm", "ppb", "umol/L", "umol/kg"),
    "ph": ("1", "NBS", "total"),
    "ph_total": ("1", "total"),
    "oxygen": ("mg/L", "% saturation", "umol/kg", "umol/L", "mL/L", "ppm"),
    "orp": ("mV", "V"),
    "par": ("umol photons m-2 s-1", "umol/m2/s", "ppfd"),
    "level": ("m", "cm", "mm", "in", "ft"),
    "flow": ("L/h", "gal/h", "m3/h", "L/min", "gal/min", "mL/min"),
    "power": ("W", "kW"),
    "conductivity": ("mS/cm", "uS/cm", "S/m"),
    "tds": ("mg/L", "ppm", "uS/cm x 0.5"),
    "relative_humidity": ("fraction", "%"),
    "co2_air": ("ppm", "%"),
}  # fmt: skip
for _name in ("magnesium", "potassium", "strontium", "boron"):
    ACCEPTED[_name] = ("mg/L", "ppm", "mg/kg", "mmol/L", "mmol/kg", "umol/kg")
ACCEPTED["nitrite"] = ("mg/L", "mg/L as N", "mg/L NO2-N", "ppm", "umol/L", "umol/kg", "ug/L")
for _name in ("iodine", "iron", "copper", "zinc", "mercury"):
    ACCEPTED[_name] = ("ug/L", "mg/L", "ppm", "ppb", "umol/L", "nmol/L", "umol/kg")
