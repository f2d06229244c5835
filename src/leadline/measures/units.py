"""Numbers and units as people type them; exact unit changes, nothing assumed."""

from __future__ import annotations

import math
import re
import unicodedata
from functools import lru_cache
from typing import Literal

from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.words import decimal_mark

Decimal = Literal[".", ","]
Dimension = Literal[
    "volume", "length", "mass", "power", "temperature", "time", "flow", "dosing_rate", "fraction",
    "concentration",
]  # fmt: skip

GALLON_L = 3.785411784  # US liquid gallon, exact by definition (NIST SP 811)
POUND_G = 453.59237  # exact, international pound
INCH_M = 0.0254  # exact
BTU_PER_H_W = 1055.05585262 / 3600.0  # international table BTU

_VOLUME = {
    "l": 1.0, "liter": 1.0, "litre": 1.0, "liters": 1.0, "litres": 1.0, "dl": 0.1, "cl": 0.01, "ml": 1e-3,
    "ul": 1e-6, "cm3": 1e-3, "cc": 1e-3, "m3": 1000.0, "gal": GALLON_L, "gallon": GALLON_L,
    "gallons": GALLON_L, "usgal": GALLON_L, "galus": GALLON_L, "impgal": 4.54609, "ukgal": 4.54609,
    "floz": GALLON_L / 128, "pt": GALLON_L / 8, "qt": GALLON_L / 4, "drop": 5e-5, "drops": 5e-5,
}  # fmt: skip
_LENGTH = {
    "m": 1.0, "cm": 0.01, "mm": 1e-3, "in": INCH_M, "inch": INCH_M, "inches": INCH_M, '"': INCH_M,
    "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "ft": 12 * INCH_M, "foot": 12 * INCH_M,
    "feet": 12 * INCH_M,
}  # fmt: skip
_MASS = {
    "g": 1.0, "gram": 1.0, "grams": 1.0, "kg": 1000.0, "mg": 1e-3, "ug": 1e-6, "t": 1e6, "lb": POUND_G,
    "lbs": POUND_G, "pound": POUND_G, "pounds": POUND_G, "oz": POUND_G / 16, "ounce": POUND_G / 16,
    "ounces": POUND_G / 16,
}  # fmt: skip
_POWER = {"w": 1.0, "watt": 1.0, "watts": 1.0, "kw": 1000.0, "mw": 1e-3, "btu/h": BTU_PER_H_W}
_TIME = {
    "s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "min": 60.0, "minute": 60.0,
    "minutes": 60.0, "h": 3600.0, "hr": 3600.0, "hour": 3600.0, "hours": 3600.0, "d": 86400.0,
    "day": 86400.0, "days": 86400.0, "week": 604800.0, "weeks": 604800.0,
}  # fmt: skip
_PER = {"s": 3600.0, "min": 60.0, "h": 1.0, "hr": 1.0, "hour": 1.0, "d": 1 / 24, "day": 1 / 24}
_FLOW = {f"{v}/{t}": a * b for v, a in _VOLUME.items() for t, b in _PER.items()}
_FLOW |= {"lph": 1.0, "gph": GALLON_L, "lpm": 60.0, "gpm": 60.0 * GALLON_L, "gpd": GALLON_L / 24}
_FRACTION = {"": 1.0, "1": 1.0, "fraction": 1.0, "%": 0.01, "percent": 0.01, "ppm": 1e-6}
_CONCENTRATION = {"g/l": 1.0, "mg/l": 1e-3, "ug/l": 1e-6, "kg/m3": 1.0, "g/ml": 1000.0, "mg/ml": 1.0}

SCALES: dict[str, dict[str, float]] = {
    "volume": _VOLUME, "length": _LENGTH, "mass": _MASS, "power": _POWER, "time": _TIME, "flow": _FLOW,
    "dosing_rate": {unit: factor * 1000 / 60 for unit, factor in _FLOW.items()}, "fraction": _FRACTION,
    "concentration": _CONCENTRATION,
}  # fmt: skip

# unit: (factor, offset) to degC
TEMPERATURES: dict[str, tuple[float, float]] = {
    "degc": (1.0, 0.0), "c": (1.0, 0.0), "celsius": (1.0, 0.0), "degf": (5 / 9, -160 / 9),
    "f": (5 / 9, -160 / 9), "fahrenheit": (5 / 9, -160 / 9), "k": (1.0, -273.15), "kelvin": (1.0, -273.15),
}  # fmt: skip

_BASE = {
    "volume": "L", "length": "m", "mass": "g", "power": "W", "temperature": "degC", "time": "s",
    "flow": "L/h", "dosing_rate": "mL/min", "fraction": "fraction", "concentration": "g/L",
}  # fmt: skip
_EXAMPLES = {
    "volume": "1150 L, 300 gal", "length": "2.00 m, 24 in", "mass": "500 g, 2.5 kg, 3 lb", "power": "400 W",
    "temperature": "25 degC, 77 degF", "time": "60 s, 5 min, 2 h", "flow": "4000 L/h, 1000 gal/h",
    "dosing_rate": "12 mL/min", "fraction": "0.55, 55 %", "concentration": "84 g/L",
}  # fmt: skip


@lru_cache(maxsize=4096)
def unit_key(unit: str) -> str:
    """A unit string without its accidents: case, spaces, micro and degree signs, superscripts.

    `"µg / L"` and `"ug/l"` give the same key, and so do `"°dKH"` and `"dkh"`.
    """
    text = unicodedata.normalize("NFKC", unit.strip().replace("º", "°").replace("˚", "°"))
    text = text.lower().replace("μ", "u").replace("−", "-").replace("·", " ").replace("*", " ")
    text = text.replace("° ", "°").replace("°c", "degc").replace("°f", "degf").replace("°", "deg")
    text = re.sub(r"\bdeg(rees?)?\.? ?(?=[cf]\b)", "deg", text)
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"\b(lit(?:er|re)s?)\b", "l", text)
    text = re.sub(r"[\s_^]+", "", text)
    text = text.removeprefix("deg") if text.startswith(("degdkh", "degkh", "degdh")) else text
    text = re.sub(r"/(?:dm3|ltr)\b", "/l", text.replace("s.g.", "sg"))
    text = re.sub(r"/kg-?(?:sw|seawater)\b", "/kg", text)
    # 'mg l-1', 'umol kg^-1' are written by laboratories
    return re.sub(r"^([a-z0-9%+-]*?)(kg|l|h|min|cm)-1", r"\1/\2", text)


_SPACES = " \u00a0\u2007\u2009\u202f"
_QUOTES = "'’"
_NUMBER = re.compile(r"([+-]?)([0-9.,]+)(?:[eE]([+-]?[0-9]{1,3}))?")


def parse_typed(text: str) -> float:
    """A number as a person typed it: what may be read in two ways is read with a comma by who reads commas.

    Raises
    ------
    BadInput
        As `parse_number`.
    """
    return parse_number(text, unless="," if decimal_mark() == "," else None)


def parse_number(text: str, decimal: Decimal | None = None, unless: Decimal | None = None) -> float:
    """Read a number with decimal point or comma, grouped or not.

    Parameters
    ----------
    text
        As typed: `8.1`, `8,1`, `1 234,5`, `1,234.5`, `−0.3`, `1.2e-3`.
    decimal
        The decimal sign when it is known. Without it `1,234` may mean two numbers and is refused; a single
        point is always taken as the decimal sign.
    unless
        The decimal sign of a text that could be read in two ways, instead of refusing it.

    Raises
    ------
    BadInput
        When the text is no number, is not finite, or could be read in two ways.
    """
    bare = text.strip().replace("−", "-").replace("＋", "+")
    for sign in _SPACES:
        bare = bare.replace(sign, " ")
    for quote in _QUOTES:
        bare = bare.replace(quote, " ")
    grouped = re.fullmatch(r"([+-]? ?)([0-9]{1,3}(?: [0-9]{3})+)([.,][0-9]*)?", bare)
    if grouped:
        bare = grouped[1].strip() + grouped[2].replace(" ", "") + (grouped[3] or "").replace(",", ".")
        decimal = "."
    match = _NUMBER.fullmatch(bare)
    if match is None:
        raise BadInput(f"{text.strip()!r} is no number", way_out="Write it like 8.1 or 8,1.")
    sign, body, exponent = match.groups()
    plain = _without_groups(body, decimal, text.strip(), unless)
    try:
        value = float(f"{sign}{plain}e{exponent or 0}")
    except ValueError:
        raise BadInput(f"{text.strip()!r} is no number", way_out="Write it like 8.1 or 8,1.") from None
    if not math.isfinite(value):
        raise BadInput(f"{text.strip()!r} is too large to be a reading")
    return value


def _without_groups(body: str, decimal: Decimal | None, shown: str, unless: Decimal | None) -> str:
    points, commas = body.count("."), body.count(",")
    if decimal is None:
        if points and commas:
            decimal = "," if body.rindex(",") > body.rindex(".") else "."
        elif commas > 1:
            decimal = "."
        elif points > 1:
            decimal = ","
        elif commas == 1:
            if unless is None and re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", body):
                raise BadInput(
                    f"{shown!r} may be {body.replace(',', '')} or {body.replace(',', '.')}",
                    way_out="Write it without a thousands sign, or state the decimal sign of the file.",
                )
            decimal = unless or ","
        else:
            decimal = "."
    group = "," if decimal == "." else "."
    whole, _, part = body.partition(decimal)
    if group in part or decimal in part:
        raise BadInput(f"{shown!r} is no number", way_out="Write it like 1234.5 or 1234,5.")
    if group in whole:
        if not re.fullmatch(rf"[0-9]{{1,3}}(?:{re.escape(group)}[0-9]{{3}})+", whole):
            raise BadInput(
                f"{shown!r} is no number with {decimal!r} as its decimal sign",
                way_out="Write it like 1234.5 or 1234,5.",
            )
        whole = whole.replace(group, "")
    return f"{whole}.{part}"


_VALUE = re.compile(rf"([+\-−]?\s?[0-9.,][0-9.,{_SPACES}{_QUOTES}]*(?:[eE][+\-−]?[0-9]+)?)(.*)", re.S)


def split_value_unit(text: str, decimal: Decimal | None = None) -> tuple[float, str]:
    """Part `8.1 dKH` into 8.1 and `dKH`; the unit may be missing.

    Raises
    ------
    BadInput
        When it does not begin with a number.
    """
    match = _VALUE.fullmatch(text.strip())  # blanks are taken off by hand: in the pattern a run of them takes n² steps
    if match is None:
        raise BadInput(f"{text.strip()!r} does not begin with a number", way_out="Write it like 8.1 dKH.")
    number, unit = match.groups()
    return parse_number(number.replace("−", "-").rstrip(_SPACES + _QUOTES), decimal), unit.strip()


def scale(dimension: str, unit: str) -> float:
    """Factor from a unit to the base unit of its dimension (not for temperature).

    Raises
    ------
    UnknownName
        With near misses.
    """
    factor = SCALES[dimension].get(unit_key(unit))
    if factor is None:
        raise UnknownName(
            f"unit of {dimension.replace('_', ' ')}", unit, SCALES[dimension],
            way_out=f"Write it like {_EXAMPLES[dimension]}.",
        )  # fmt: skip
    return factor


def parse_amount(text: str, dimension: Dimension, decimal: Decimal | None = None) -> float:
    """Read an amount with its unit in the base unit of its dimension.

    Base units: volume L, length m, mass g, power W, temperature degC, time s, flow L/h, dosing rate mL/min,
    fraction 1, concentration g/L.

    Raises
    ------
    BadInput
        When it is no number, or has no unit where one is needed.
    UnknownName
        When the unit is none of that dimension.
    """
    value, unit = split_value_unit(text, decimal)
    if not unit and dimension != "fraction":
        raise BadInput(
            f"{text.strip()!r} has no unit",
            way_out=f"Write it like {_EXAMPLES[dimension]} ({_BASE[dimension]} is what is stored).",
        )
    if dimension == "temperature":
        found = TEMPERATURES.get(unit_key(unit))
        if found is None:
            raise UnknownName(
                "unit of temperature",
                unit,
                ["degC", "degF", "K"],
                way_out="Write it like 25 degC or 77 degF.",
            )
        factor, offset = found
        return value * factor + offset
    return value * scale(dimension, unit)


def to_litres(value: float, unit: str) -> float:
    """A volume in litres. [L]"""
    return value * scale("volume", unit)


def to_grams(value: float, unit: str) -> float:
    """A mass in grams. [g]"""
    return value * scale("mass", unit)
