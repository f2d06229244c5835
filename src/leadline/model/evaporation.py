"""Water lost to the room's air, from the room's temperature and humidity."""

from __future__ import annotations

import math

# latent heat 2501 - 2.36 T kJ/kg is 0.13 % high at 25 degC against TEOS-10; far inside the method's 30 %
_SEAWATER_VAPOUR = 0.000537  # relative lowering of vapour pressure per unit of salinity


def saturation_pressure_pa(temperature_c: float) -> float:
    """Vapour pressure over pure liquid water. [Pa]

    References
    ----------
    Hyland and Wexler (1983), as printed in the ASHRAE Handbook - Fundamentals (2017), ch. 1, eq. 6; 0 to 200 degC.
    """
    t = temperature_c + 273.15
    return math.exp(
        -5.8002206e3 / t
        + 1.3914993
        - 4.8640239e-2 * t
        + 4.1764768e-5 * t**2
        - 1.4452093e-8 * t**3
        + 6.5459673 * math.log(t)
    )


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
    over_water = saturation_pressure_pa(water_c) * (1.0 - _SEAWATER_VAPOUR * salinity)
    drive_kpa = (over_water - relative_humidity * saturation_pressure_pa(air_c)) / 1000.0
    latent_kj_kg = 2501.0 - 2.36 * water_c
    rate_kg_s = area_m2 * activity * drive_kpa * (0.089 + 0.0782 * air_speed_m_s) / latent_kj_kg
    return max(rate_kg_s, 0.0) * 86400.0
