"""Water lost to the room's air, from the room's temperature and humidity."""

from __future__ import annotations

from typing import Any

from leadline.seawater.equilibria import maths

_SEAWATER_VAPOUR = 0.000537  # relative lowering of vapour pressure per unit of salinity


def saturation_pressure_pa(temperature_c: Any) -> Any:
    """Vapour pressure over pure liquid water. [Pa]

    References
    ----------
    Hyland and Wexler (1983), as printed in the ASHRAE Handbook - Fundamentals (2017), ch. 1, eq. 6; 0 to 200 degC.
    """
    m = maths(temperature_c)
    t = temperature_c + 273.15
    return m.exp(
        -5.8002206e3 / t
        + 1.3914993
        - 4.8640239e-2 * t
        + 4.1764768e-5 * t**2
        - 1.4452093e-8 * t**3
        + 6.5459673 * m.log(t)
    )


def latent_j_kg(temperature_c: Any) -> Any:
    """Latent heat of evaporation. [J/kg] A straight line, 0.13 % high at 25 degC against TEOS-10."""
    return 2.501e6 - 2360.0 * temperature_c


def drive_kg_m2_s(water_c: Any, air_c: Any, relative_humidity: Any, air_speed_m_s: Any, salinity: Any) -> Any:
    """What leaves a square metre of rippled surface; below zero where the room's vapour condenses. [kg m⁻² s⁻¹]

    The form of `kg_per_day` before its activity factor, for floats and arrays.
    """
    over_water = saturation_pressure_pa(water_c) * (1.0 - _SEAWATER_VAPOUR * salinity)
    drive_pa = over_water - relative_humidity * saturation_pressure_pa(air_c)
    return drive_pa * (0.089 + 0.0782 * air_speed_m_s) / latent_j_kg(water_c)


def kg_per_day(
    area_m2: float,
    water_c: float,
    air_c: float,
    relative_humidity: float,
    air_speed_m_s: float = 0.1,
    activity: float = 0.74,
    salinity: float = 35.0,
) -> float:
    """Evaporation from an open surface, never below zero. [kg/d]

    Parameters
    ----------
    area_m2
        Open water surface. [m²]
    water_c, air_c
        Water and room temperature. [°C]
    relative_humidity
        Of the room. [fraction]
    air_speed_m_s
        Over the surface. [m/s]
    activity
        0.5 to 0.74 for calm water, 1 for a rippled surface; to be learned from measured top-off. [1]

    Notes
    -----
    Accuracy is about ±30 % before `activity` has been learned.

    References
    ----------
    The pool form of ASHRAE Applications in SI; activity factors: Smith, Löf, Jones (1998), ASHRAE Trans. 104(1A).
    """
    rate_kg_s = area_m2 * activity * drive_kg_m2_s(water_c, air_c, relative_humidity, air_speed_m_s, salinity)
    return max(rate_kg_s, 0.0) * 86400.0
