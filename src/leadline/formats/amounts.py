"""Amounts of journal rows: which unit a kind of entry takes, and what it comes to in the stored unit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any, NamedTuple

from leadline.measures import units
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.quantities import QUANTITIES
from leadline.seawater import convert

MASS_OR_VOLUME = ("addition", "feeding")
VOLUME = ("exchange", "topoff")
FREE_UNIT = ("arrival", "transfer", "loss", "observation", "treatment", "service", "note")
NO_UNIT = {"ph": "1", "ph_total": "1", "orp": "mV", "par": "umol photons m-2 s-1", "power": "W"}


class Rule(NamedTuple):
    """How the value of rows of one (kind, subject, unit) is read.

    `factor` and `offset` lead to the stored unit; with `by_value` the conversion depends on the value or on
    the water and goes through `convert` row by row. `refusal` says why no such row can be used: column, reason.
    """

    factor: float = 1.0
    offset: float = 0.0
    low: float = -math.inf
    high: float = math.inf
    by_value: bool = False
    stores: bool = True  # False: kept as typed, with no stored amount
    refusal: tuple[str, str] | tuple[()] = ()
    remark: str = ""


def rule(kind: str, subject: str, unit: str) -> Rule:
    """The rule for rows of that kind, subject and unit."""
    if kind == "reading":
        return _reading(subject, unit)
    if kind in VOLUME:
        if not unit:
            return Rule(refusal=("unit", "the unit is missing; write L or gal"))
        return _scaled(kind, unit, ("volume",))
    if kind in MASS_OR_VOLUME:
        if not unit:
            return Rule(refusal=("unit", "the unit is missing; write g or mL"))
        return _scaled(kind, unit, ("mass", "volume"))
    return _scaled(kind, unit, ("mass", "volume"))


def rule_as_before(kind: str, subject: str, unit: str) -> Rule:
    """The rule for rows that were accepted at another door, with less said: what can't be converted is as typed."""
    found = rule(kind, subject, unit)
    if not found.refusal:
        return found
    if kind == "reading" and not unit:
        straight = convert.linear(subject, unit)
        return Rule(*straight) if straight is not None else Rule(stores=False)
    return Rule(low=0.0, stores=kind in VOLUME and not unit)


def _scaled(kind: str, unit: str, dimensions: tuple[str, ...]) -> Rule:
    key = units.unit_key(unit)
    for dimension in dimensions:
        factor = units.SCALES[dimension].get(key)
        if factor is not None:
            return Rule(factor=factor, low=0.0)
    if kind in FREE_UNIT:
        return Rule(low=0.0, stores=False)
    if kind in VOLUME and key == "%":
        return Rule(refusal=("unit", "a share of the water can't be reckoned; write how much: L, mL or gal"))
    if kind == "feeding":
        return Rule(low=0.0, stores=False, remark=f"feedings in {unit!r} can't be weighed; kept as typed")
    known = ["g", "kg", "mg", "lb", "oz"] if "mass" in dimensions else []
    known += ["L", "mL", "gal"]
    return Rule(refusal=("unit", _near_misses("unit", unit, known)))


def _near_misses(what: str, name: str, known: list[str]) -> str:
    return str(UnknownName(what, name, known, way_out=f"Known: {', '.join(known)}."))


def _reading(subject: str, unit: str) -> Rule:
    if subject not in QUANTITIES and subject != "ph_total":
        return Rule()  # nobody knows it yet: the value as typed is all there is
    low, high = QUANTITIES["ph" if subject == "ph_total" else subject].span
    if not unit:
        unit = NO_UNIT.get(subject, "")
        if not unit:
            accepted = ", ".join(list(convert.accepted_units(subject))[:6])
            return Rule(refusal=("unit", f"the unit of {subject} is missing; write one of {accepted}"))
    try:
        straight = convert.linear(subject, unit)
        if straight is not None:
            assumed = convert.assumptions(subject, unit)
            remark = f"{subject} in {unit!r}: {'; '.join(assumed)}" if assumed else ""
            return Rule(straight[0], straight[1], low, high, remark=remark)
        convert.to_stored(subject, 1.0, unit)
    except UnknownName as exc:
        return Rule(refusal=("unit", exc.line()))
    except BadInput:
        pass  # the unit is fine, 1.0 is just no value for it (1.0 of a specific gravity, say)
    return Rule(low=low, high=high, by_value=True)


@lru_cache(maxsize=65536)
def _converted(
    quantity: str,
    value: float,
    unit: str,
    sd: float | None,
    temperature: float | None,
    salinity: float | None,
    method: str,
) -> tuple[float, float | None, tuple[str, ...]]:
    got = convert.to_stored(quantity, value, unit, temperature_c=temperature, salinity=salinity, method=method)
    stored_sd = None
    if sd is not None:
        stored_sd = convert.sd_to_stored(
            quantity, sd, unit, at=value, temperature_c=temperature, salinity=salinity, method=method
        )
    return got.value, stored_sd, got.assumed


def stored_by_value(
    quantity: str, value: float, unit: str, sd: float | None, extra: Mapping[str, Any], method: str
) -> tuple[float, float | None, tuple[str, ...]]:
    """Stored value, stored sd and what was assumed, for conversions that depend on the water.

    The row's own `extra["temperature"]` [degC] and `extra["salinity"]` [psu] are used when it has them.

    Raises
    ------
    BadInput
        When the value can't be converted.
    """
    return _converted(
        quantity, value, unit, sd, _number(extra.get("temperature")), _number(extra.get("salinity")), method
    )


def _number(thing: Any) -> float | None:
    return float(thing) if isinstance(thing, (int, float)) and math.isfinite(thing) else None


def impossible(subject: str, stored: float, rule: Rule) -> str:
    """Why an amount outside the rule's bounds is refused; nothing when it is only surprising."""
    if subject in QUANTITIES or subject == "ph_total":
        return convert.implausible("ph" if subject == "ph_total" else subject, stored) or ""
    return "an amount can't be negative" if stored < rule.low else ""
