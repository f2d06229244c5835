"""Nitrogen, phosphorus, silicate: the forms they are counted in, and how much ammonia is free.

Every pK of ammonium belongs to one pH scale. A probe set with common buffers reads NBS; feeding it to a
total-scale constant overstates free ammonia by 25 to 35 %.
"""

from __future__ import annotations

from typing import Any

from leadline.seawater import masses as m
from leadline.seawater.equilibria import ammonium_clegg1995, maths
from leadline.seawater.validity import within

NO3_PER_N = m.NO3 / m.N
NO2_PER_N = m.NO2 / m.N
NH3_PER_N = m.NH3 / m.N
NH4_PER_N = m.NH4 / m.N
PO4_PER_P = m.PO4 / m.P
P_PER_P2O5 = 2.0 * m.P / m.P2O5
SIO2_PER_SI = m.SIO2 / m.SI


def pk_ammonium_emerson1975(temperature_c: Any, salinity: Any) -> Any:
    """pK of ammonium for NBS pH; reproduces the seawater table of Bower and Bidwell (1978). [1]

    Freshwater term of Emerson et al. (1975), salt term of Khoo et al. (1977). The temperature expression
    printed in Khoo et al. was later shown to be wrong (Bell et al. 2007) and is not used.
    """
    _check(temperature_c, salinity)
    ionic = 19.9273 * salinity / (1000.0 - 1.005109 * salinity)
    t = temperature_c
    return 0.09018 + 2729.92 / (t + 273.15) + (0.1552 - 0.0003142 * t) * ionic


def pk_ammonium_bell2007(temperature_c: Any, salinity: Any) -> Any:
    """The same by the straight line of Bell et al. (2007) after Johansson and Wedborg (1980), NBS pH. [1]"""
    _check(temperature_c, salinity)
    return 10.0423 - 0.0315536 * temperature_c + 0.003071 * salinity


def pk_ammonium_clegg1995(temperature_c: Any, salinity: Any) -> Any:
    """pK of ammonium for total-scale pH, Clegg and Whitfield (1995). [1]"""
    _check(temperature_c, salinity)
    return -maths(temperature_c, salinity).log(ammonium_clegg1995(temperature_c, salinity)) / 2.302585092994046


def free_ammonia_nbs(ph_nbs: Any, temperature_c: Any, salinity: Any) -> Any:
    """Share of total ammonia that is NH3, from the pH of a common probe. [1]

    Methods differ by ±8 %; this one follows the table in use for sea aquaria (Bower and Bidwell 1978).
    """
    within("pH", ph_nbs, 2.0, 13.0, "")
    return 1.0 / (1.0 + 10.0 ** (pk_ammonium_emerson1975(temperature_c, salinity) - ph_nbs))


def free_ammonia_total(ph_total: Any, temperature_c: Any, salinity: Any) -> Any:
    """Share of total ammonia that is NH3, from pH on the total scale. [1] Clegg and Whitfield (1995)."""
    within("pH", ph_total, 2.0, 13.0, "")
    return 1.0 / (1.0 + 10.0 ** (pk_ammonium_clegg1995(temperature_c, salinity) - ph_total))


def _check(temperature_c: Any, salinity: Any) -> None:
    within("temperature", temperature_c, -2.0, 40.0, "°C")
    within("salinity", salinity, 0.0, 45.0, "")
