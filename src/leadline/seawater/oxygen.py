"""Dissolved oxygen: how much the water can hold."""

from __future__ import annotations

from typing import Any

from leadline.seawater import density
from leadline.seawater.equilibria import maths, vapour_pressure_weiss1980
from leadline.seawater.masses import O2
from leadline.seawater.validity import within

STANDARD_KPA = 101.325


def saturation_garcia1992(temperature_c: Any, salinity: Any) -> Any:
    """The fit itself, at one atmosphere, unchecked: for the simulator. [µmol kg⁻¹]

    Garcia and Gordon (1992), table 1, column of Benson and Krause's data.
    """
    m = maths(temperature_c, salinity)
    t68 = 1.00024 * temperature_c  # the fit was made on IPTS-68
    x = m.log((298.15 - t68) / (273.15 + t68))
    fresh = 5.80871 + x * (3.20291 + x * (4.17887 + x * (5.10006 + x * (-9.86643e-2 + x * 3.80369))))
    salt = -7.01577e-3 + x * (-7.70028e-3 + x * (-1.13864e-2 + x * -9.51519e-3))
    return m.exp(fresh + salinity * (salt + salinity * -2.75915e-7))


def saturation(temperature_c: Any, salinity: Any, pressure_kpa: Any = STANDARD_KPA) -> Any:
    """Oxygen that seawater holds in balance with moist air, floats or arrays.

    Parameters
    ----------
    temperature_c
        Water temperature, ITS-90. [°C]
    salinity
        Practical salinity. [1]
    pressure_kpa
        Air pressure, for places above the sea. [kPa]

    Returns
    -------
    float or array
        Dissolved oxygen at saturation. [µmol kg⁻¹]

    Raises
    ------
    OutOfRange
        Outside −2 to 40 °C or salinity 0 to 45; the fit was made up to 42 and is smooth.

    References
    ----------
    Garcia and Gordon (1992), Limnol. Oceanogr. 37:1307, eq. 8, Benson and Krause column.
    """
    within("temperature", temperature_c, -2.0, 40.0, "°C")
    within("salinity", salinity, 0.0, 45.0, "")
    within("air pressure", pressure_kpa, 50.0, 110.0, "kPa")
    at_one_atmosphere = saturation_garcia1992(temperature_c, salinity)
    vapour = vapour_pressure_weiss1980(temperature_c, salinity) * STANDARD_KPA
    return at_one_atmosphere * (pressure_kpa - vapour) / (STANDARD_KPA - vapour)


def saturation_mg_l(temperature_c: Any, salinity: Any, pressure_kpa: Any = STANDARD_KPA) -> Any:
    """The same per litre. [mg L⁻¹]"""
    per_kg = saturation(temperature_c, salinity, pressure_kpa)
    return per_kg * density.kg_per_l(temperature_c, salinity) * O2 * 1e-3


def percent(oxygen_mg_l: Any, temperature_c: Any, salinity: Any, pressure_kpa: Any = STANDARD_KPA) -> Any:
    """Share of saturation. [%]"""
    return 100.0 * oxygen_mg_l / saturation_mg_l(temperature_c, salinity, pressure_kpa)
