"""Heat: what it takes to warm, to boil off and to melt."""

from __future__ import annotations

from typing import Any

from leadline.seawater.density import REFERENCE, of_seawater
from leadline.seawater.validity import within


def capacity(temperature_c: Any, salinity: Any) -> Any:
    """Heat capacity of seawater at constant pressure. [J kg⁻¹ K⁻¹] TEOS-10 through gsw."""
    import gsw

    _check(temperature_c, salinity)
    return gsw.cp_t_exact(salinity * REFERENCE, temperature_c, 0.0)


def capacity_per_l(temperature_c: Any, salinity: Any) -> Any:
    """Heat that warms a litre by one kelvin. [J L⁻¹ K⁻¹]"""
    return capacity(temperature_c, salinity) * of_seawater(temperature_c, salinity) / 1000.0


def of_evaporation(temperature_c: Any, salinity: Any = 0.0) -> Any:
    """Latent heat of evaporation from seawater. [J kg⁻¹] TEOS-10 through gsw."""
    import gsw

    _check(temperature_c, salinity)
    return gsw.latentheat_evap_t(salinity * REFERENCE, temperature_c)


def of_melting(salinity: Any = 0.0) -> Any:
    """Latent heat of ice melting into seawater at its freezing point. [J kg⁻¹] TEOS-10 through gsw."""
    import gsw

    within("salinity", salinity, 0.0, 80.0, "")
    return gsw.latentheat_melting(salinity * REFERENCE, 0.0)


def cooled_by_ice(
    mass_kg: float, temperature_c: float, salinity: float, ice_kg: float, ice_c: float = 0.0
) -> tuple[float, float]:
    """Temperature [°C] and practical salinity after ice has melted into the water.

    References
    ----------
    McDougall et al. (2014), J. Phys. Oceanogr. 44:1751, through gsw (melting_ice_into_seawater).
    """
    import gsw

    _check(temperature_c, salinity)
    within("ice temperature", ice_c, -40.0, 0.0, "°C")
    absolute = salinity * REFERENCE
    conservative = gsw.CT_from_t(absolute, temperature_c, 0.0)
    # gsw takes ice at its melting point exactly only from just below it
    after, warmth, _ = gsw.melting_ice_into_seawater(
        absolute, conservative, 0.0, ice_kg / (mass_kg + ice_kg), min(ice_c, -1e-4)
    )
    return float(gsw.t_from_CT(after, warmth, 0.0)), float(after / REFERENCE)


def _check(temperature_c: Any, salinity: Any) -> None:
    within("temperature", temperature_c, -2.0, 45.0, "°C")
    within("salinity", salinity, 0.0, 80.0, "")
