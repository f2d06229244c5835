"""Mixing, evaporation, top-off, dry salt: by mass, because litres do not add up and kilograms do."""

from __future__ import annotations

import math
from collections.abc import Sequence

from leadline.measures.errors import BadInput, OutOfRange
from leadline.seawater.density import REFERENCE, kg_per_l
from leadline.seawater.validity import within


def mass_kg(volume_l: float, temperature_c: float = 25.0, salinity: float = 35.0) -> float:
    """Mass of a volume of seawater. [kg]"""
    return float(volume_l * kg_per_l(temperature_c, salinity))


def volume_l(mass: float, temperature_c: float = 25.0, salinity: float = 35.0) -> float:
    """Volume of a mass [kg] of seawater. [L]"""
    return float(mass / kg_per_l(temperature_c, salinity))


def mixed(masses_kg: Sequence[float], values: Sequence[float]) -> float:
    """Salinity, or anything counted per kilogram (alkalinity, DIC, calcium), of several waters together.

    pH does not mix so: mix alkalinity and DIC, then solve.

    Raises
    ------
    BadInput
        When there is no water, or a mass is negative.
    """
    total = math.fsum(masses_kg)
    if not total > 0.0 or min(masses_kg) < 0.0:
        raise BadInput("mixing needs water: masses of zero or more, and some above zero")
    return math.fsum(m * v for m, v in zip(masses_kg, values, strict=True)) / total


def after_evaporation(mass: float, salinity: float, evaporated_kg: float) -> float:
    """Practical salinity of a mass [kg] of seawater when pure water left (negative: was added). [1]

    Raises
    ------
    OutOfRange
        When not even the salt would be left.
    """
    left = mass - evaporated_kg
    if left <= mass * salinity * REFERENCE / 1000.0:
        raise OutOfRange(f"{mass:g} kg of this water cannot lose {evaporated_kg:g} kg by evaporation")
    return salinity * mass / left


def with_losses(
    mass: float, salinity: float, days: float, *, evaporation_kg_d: float, losses_kg_d: float, topoff: float = 0.0
) -> float:
    """Practical salinity after days at a held level: water evaporates, tank water is lost, top-off replaces.

    Parameters
    ----------
    mass
        Water of the system. [kg]
    salinity
        At the start. [1]
    evaporation_kg_d, losses_kg_d
        Pure water evaporated, and tank water lost to skimmate, splash, samples, leaks. [kg d⁻¹]
    topoff
        Practical salinity of what replaces both; 0 for fresh water. [1]
    """
    if losses_kg_d == 0.0:
        return salinity + evaporation_kg_d * topoff / mass * days
    final = topoff * (evaporation_kg_d + losses_kg_d) / losses_kg_d
    return final + (salinity - final) * math.exp(-losses_kg_d * days / mass)


def salt_per_kg_fresh(salinity: float) -> float:
    """Anhydrous sea salt that makes a kilogram of fresh water that salty. [g kg⁻¹]"""
    within("salinity", salinity, 0.0, 80.0, "")
    share = salinity * REFERENCE / 1000.0
    return 1000.0 * share / (1.0 - share)


def salt_per_l_finished(salinity: float, temperature_c: float = 25.0, bound_water: float = 0.0) -> float:
    """Sea salt in a litre of finished water; sold mixes hold 5 to 12 % of bound water. [g L⁻¹]"""
    within("bound water", bound_water, 0.0, 0.5, "")
    return float(salinity * REFERENCE * kg_per_l(temperature_c, salinity)) / (1.0 - bound_water)


def salt_to_raise(
    volume: float, salinity: float, wanted: float, temperature_c: float = 25.0, bound_water: float = 0.0
) -> float:
    """Sea salt that brings a held volume [L] from one salinity to another. [g]"""
    there = salt_per_l_finished(wanted, temperature_c, bound_water)
    return volume * (there - salt_per_l_finished(salinity, temperature_c, bound_water))


def exchange_to_reach(
    volume: float, salinity: float, wanted: float, new_water: float, temperature_c: float = 25.0
) -> float:
    """Litres of new water, replacing as many of the old, that bring a volume [L] to a salinity. [L]

    Raises
    ------
    OutOfRange
        When the new water lies on the wrong side of what is wanted.
    """
    if wanted == salinity:
        return 0.0
    if (wanted - salinity) * (new_water - wanted) <= 0.0:
        raise OutOfRange(f"water of salinity {new_water:g} cannot bring {salinity:g} to {wanted:g}")
    old = float(kg_per_l(temperature_c, salinity)) * (wanted - salinity)
    return volume * old / (float(kg_per_l(temperature_c, new_water)) * (new_water - wanted) + old)


def remaining_after_batches(share: float, times: float) -> float:
    """What is left of an old solute after that many changes of that share. [1]"""
    within("share changed", share, 0.0, 1.0, "")
    return float((1.0 - share) ** times)


def remaining_after_flow(exchanged: float, volume: float) -> float:
    """What is left after a volume has flowed through mixed water, volumes in the same unit. [1]"""
    return math.exp(-exchanged / volume)


def steady_with_batches(
    produced_per_day: float, days_between: float, share: float, new_water: float = 0.0
) -> tuple[float, float]:
    """Level just before and just after each change, when production and changes have come to balance."""
    within("share changed", share, 1e-9, 1.0, "")
    rise = produced_per_day * days_between
    return new_water + rise / share, new_water + rise * (1.0 - share) / share
