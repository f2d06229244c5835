"""Saturation of aragonite and calcite: how hard the water pushes towards stone."""

from __future__ import annotations

from typing import Any

from leadline.seawater.density import kg_per_l
from leadline.seawater.equilibria import (
    aragonite_mucci1983,
    calcite_mucci1983,
    check_water,
    total_calcium_riley1967,
)
from leadline.seawater.masses import CA


def aragonite(carbonate_umol_kg: Any, temperature_c: Any, salinity: Any, calcium_umol_kg: Any | None = None) -> Any:
    """Saturation state of aragonite, Ω. [1]

    Parameters
    ----------
    carbonate_umol_kg
        Carbonate ion. [µmol kg⁻¹]
    temperature_c, salinity
        Water temperature [°C] and practical salinity [1].
    calcium_umol_kg
        Calcium as tested; natural seawater of that salinity when None. [µmol kg⁻¹]

    Raises
    ------
    OutOfRange
        Outside 0 to 40 °C or salinity 5 to 50.
    """
    return _product(carbonate_umol_kg, salinity, calcium_umol_kg) / _checked(
        aragonite_mucci1983, temperature_c, salinity
    )


def calcite(carbonate_umol_kg: Any, temperature_c: Any, salinity: Any, calcium_umol_kg: Any | None = None) -> Any:
    """Saturation state of calcite, Ω, with the parameters of `aragonite`. [1]"""
    return _product(carbonate_umol_kg, salinity, calcium_umol_kg) / _checked(calcite_mucci1983, temperature_c, salinity)


def calcium_from_mg_l(calcium_mg_l: Any, temperature_c: Any = 25.0, salinity: Any = 35.0) -> Any:
    """Calcium per kilogram from a test per litre. [µmol kg⁻¹]"""
    return calcium_mg_l / CA * 1e3 / kg_per_l(temperature_c, salinity)


def _product(carbonate: Any, salinity: Any, calcium: Any | None) -> Any:
    molal = total_calcium_riley1967(salinity) if calcium is None else calcium * 1e-6
    return molal * carbonate * 1e-6


def _checked(constant: Any, temperature_c: Any, salinity: Any) -> Any:
    check_water(temperature_c, salinity)
    return constant(temperature_c, salinity)
