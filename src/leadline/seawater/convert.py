"""The one bridge between what a person types and what is stored: per litre, per kilogram, dKH, °F, sg."""

from __future__ import annotations

import difflib
import math
from functools import lru_cache
from typing import NamedTuple

from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.quantities import quantity, stored_name
from leadline.measures.units import unit_key
from leadline.seawater import unit_rules
from leadline.seawater.unit_rules import STANDARD_SALINITY, STANDARD_TEMPERATURE_C, Rule

__all__ = [
    "STANDARD_SALINITY", "STANDARD_TEMPERATURE_C", "Stored", "accepted_units", "from_stored", "implausible",
    "linear", "sd_from_stored", "sd_to_stored", "stored_name", "to_stored",
]  # fmt: skip


class Stored(NamedTuple):
    """A value in the stored unit, and what had to be assumed to get it there."""

    value: float
    assumed: tuple[str, ...] = ()


def to_stored(
    name: str,
    value: float,
    unit: str,
    *,
    temperature_c: float | None = None,
    salinity: float | None = None,
    method: str = "",
) -> Stored:
    """Turn a value as typed into the canonical unit of its quantity.

    A `ph_total` becomes pH on the NBS scale; keep it under `stored_name("ph_total")`, which is `ph`.

    Parameters
    ----------
    name
        Canonical name of the quantity.
    value, unit
        As typed. An empty unit means the canonical one, and that is said in `assumed`.
    temperature_c
        Of the sample. For a conductivity it must be a temperature stated with that very reading: most meters
        compensate to 25 °C, and then nothing should be given. [°C]
    salinity
        Practical salinity of the sample, for units per kilogram and for % saturation. [1]
    method
        How it was measured. It may name the scale of a bare `sg` ("hydrometer 20/20"); with
        `glass-hydrometer` and a temperature, the float is corrected for the temperature of the water.

    Raises
    ------
    UnknownName
        When quantity or unit is unknown, with near misses and what is accepted.
    BadInput
        When the unit leaves out what it needs, or the value is not finite.
    OutOfRange
        When no water could give that value.
    """
    if not math.isfinite(value):
        raise BadInput(f"{name} {value} is no finite number")
    unit = _settle(name, unit, method)
    rule = _rule(name, unit)
    if rule.line is not None:
        factor, offset = rule.line
        return Stored(value * factor + offset, rule.assumed + _unsaid(name, unit))
    scale = unit_rules.gravity_scale(unit) if name == "salinity" else None
    if scale is not None and temperature_c is not None and _is_glass(method):
        from leadline.seawater.salinity import from_hydrometer

        return Stored(from_hydrometer(value, temperature_c, *scale), ("float of soda glass",))
    t, s, said = _water(rule, temperature_c, salinity)
    return Stored(rule.to_stored(value, t, s), rule.assumed + said)


def from_stored(
    name: str,
    value: float,
    unit: str,
    *,
    temperature_c: float | None = None,
    salinity: float | None = None,
) -> float:
    """Turn a stored value into another unit: the inverse of `to_stored`.

    Raises
    ------
    UnknownName, BadInput, OutOfRange
        As `to_stored`.
    """
    rule = _rule(name, unit)
    if rule.line is not None:
        factor, offset = rule.line
        return (value - offset) / factor
    t, s, _ = _water(rule, temperature_c, salinity)
    return rule.from_stored(value, t, s)


def sd_to_stored(
    name: str,
    sd: float,
    unit: str,
    *,
    at: float | None = None,
    at_stored: float | None = None,
    temperature_c: float | None = None,
    salinity: float | None = None,
    method: str = "",
) -> float:
    """Turn one standard deviation as typed into the stored unit, as a difference.

    0.9 degF is 0.5 degC whatever the temperature; 0.0004 of specific gravity is about 0.53 of salinity.

    Parameters
    ----------
    sd, unit
        As typed.
    at
        The reading it belongs to, in the same unit; it matters where the unit is not a straight line. [unit]
    at_stored
        The same in the stored unit, if that is at hand. Without either, usual reef water is taken.

    Raises
    ------
    BadInput
        When it is negative or not finite; else as `to_stored`.
    """
    if not (math.isfinite(sd) and sd >= 0.0):
        raise BadInput(f"sd {sd} of {name} must be zero or more")
    unit = _settle(name, unit, method)
    rule = _rule(name, unit)
    if rule.line is not None:
        return abs(sd * rule.line[0])
    t, s, _ = _water(rule, temperature_c, salinity)
    if at is None:
        at = rule.from_stored(_USUAL.get(name, 1.0) if at_stored is None else at_stored, t, s)
    step = 1e-4 * max(abs(at), 1e-3)
    slope = (rule.to_stored(at + step, t, s) - rule.to_stored(at - step, t, s)) / (2.0 * step)
    return abs(slope) * sd


def sd_from_stored(
    name: str,
    sd: float,
    unit: str,
    *,
    at_stored: float | None = None,
    temperature_c: float | None = None,
    salinity: float | None = None,
) -> float:
    """Turn a stored standard deviation into another unit, as a difference."""
    one = sd_to_stored(name, 1.0, unit, at_stored=at_stored, temperature_c=temperature_c, salinity=salinity)
    return sd / one


@lru_cache(maxsize=8192)
def linear(name: str, unit: str) -> tuple[float, float] | None:
    """Factor and offset of `stored = value × factor + offset`, or None when the water matters.

    The quick way for imports: cached, and loads neither numpy nor gsw.

    Raises
    ------
    UnknownName, BadInput
        As `to_stored`.
    """
    return _rule(name, unit).line


def assumptions(name: str, unit: str) -> tuple[str, ...]:
    """What reading that unit assumes, before anything of the water is known."""
    return _rule(name, unit).assumed + _unsaid(name, unit)


def needs(name: str, unit: str) -> tuple[str, ...]:
    """Which of `temperature` and `salinity` of the sample that unit needs."""
    return _rule(name, unit).needs


def accepted_units(name: str) -> tuple[str, ...]:
    """Units that can be typed for a quantity, the canonical one first; spelling variants are not listed."""
    quantity(name)
    return unit_rules.ACCEPTED[name]


def implausible(name: str, stored_value: float) -> str | None:
    """Why a stored value cannot be kept: impossible, and by no slip of the unit either; None when it is kept.

    78 °C is impossible and kept all the same: it is 78 °F, and the keeper will be asked.
    """
    q = quantity(name)
    lowest, highest = q.span
    if lowest <= stored_value <= (q.slipped or highest):
        return None
    unit = "" if q.unit == "1" else f" {q.unit}"
    return f"{name} {stored_value:.6g}{unit} is outside what is possible, {lowest:g} to {highest:g}{unit}"


_USUAL = {"salinity": 35.0, "oxygen": 6.7, "ph": 8.2, "ph_total": 8.2, "alkalinity": 2.85}


def _rule(name: str, unit: str) -> Rule:
    found = unit_rules.rule(name, unit)
    if found is None:
        raise _unknown_unit(name, unit)
    return found


def _unknown_unit(name: str, unit: str) -> UnknownName:
    accepted = accepted_units(name)
    error = UnknownName(f"unit of {name}", unit)
    by_key = {u.lower(): u for u in reversed(accepted)}
    error.near = tuple(by_key[k] for k in difflib.get_close_matches(unit.strip().lower(), by_key, n=2, cutoff=0.6))
    listed = f"Accepted: {', '.join(accepted)}."
    error.way_out = f"Did you mean {' or '.join(error.near)}? {listed}" if error.near else listed
    error.args = (error.line(),)
    return error


def _settle(name: str, unit: str, method: str) -> str:
    """The unit, with the scale of a bare specific gravity taken from the method when it names one."""
    if name == "salinity" and method and unit_key(unit) in ("sg", "specificgravity", "gravity", "d"):
        for word in method.replace("_", " ").split():
            scale = word if "/" in word else ""
            if scale and unit_rules.gravity_scale(scale) is not None:
                return f"sg@{scale.lower().removeprefix('sg').lstrip('@')}"
    return unit


def _is_glass(method: str) -> bool:
    text = method.lower()
    return "glass" in text and "hydrometer" in text


def _unsaid(name: str, unit: str) -> tuple[str, ...]:
    q = quantity(name)
    return () if unit.strip() or q.unit == "1" else (f"no unit: {q.unit} taken",)


def _water(rule: Rule, temperature_c: float | None, salinity: float | None) -> tuple[float, float, tuple[str, ...]]:
    said: list[str] = []
    if temperature_c is None:
        temperature_c = STANDARD_TEMPERATURE_C
        if "temperature" in rule.needs:
            said.append(f"water at {temperature_c:g} degC")
    if salinity is None:
        salinity = STANDARD_SALINITY
        if "salinity" in rule.needs:
            said.append(f"salinity {salinity:g} psu")
    return temperature_c, salinity, tuple(said)
