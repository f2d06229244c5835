"""Mass of a litre: density of seawater and fresh water at the surface."""

from __future__ import annotations

from typing import Any

from leadline.seawater.validity import within

# Reference salinity [g/kg] of water of practical salinity 1: TEOS-10 manual (IOC, SCOR, IAPSO 2010), eq. 2.4.1.
# Closed systems have no ocean position, so the anomaly atlas of absolute salinity is left out on purpose.
REFERENCE = 35.16504 / 35.0


def of_seawater(temperature_c: Any, salinity: Any) -> Any:
    """Density at one atmosphere by TEOS-10, floats or arrays. [kg m⁻³]

    Parameters
    ----------
    temperature_c
        Water temperature, ITS-90. [°C]
    salinity
        Practical salinity. [1]

    Raises
    ------
    OutOfRange
        Outside −2 to 45 °C or salinity 0 to 80.

    References
    ----------
    IOC, SCOR and IAPSO (2010), TEOS-10 manual, through the gsw library.
    """
    import gsw

    within("temperature", temperature_c, -2.0, 45.0, "°C")
    within("salinity", salinity, 0.0, 80.0, "")
    return gsw.rho_t_exact(salinity * REFERENCE, temperature_c, 0.0)


def of_seawater_millero1981(temperature_c: float, salinity: float) -> float:
    """The same by EOS-80 for one point, without numpy: for cold starts. [kg m⁻³]

    Within 0.01 kg m⁻³ of TEOS-10 for 0 to 40 °C and salinity 0 to 42.

    References
    ----------
    Millero and Poisson (1981), Deep-Sea Res. 28A:625, in the form of Fofonoff and Millard (1983), UNESCO
    Tech. Pap. Mar. Sci. 44.
    """
    within("temperature", temperature_c, -2.0, 45.0, "°C")
    within("salinity", salinity, 0.0, 80.0, "")
    return float(unchecked_millero1981(temperature_c, salinity))


def unchecked_millero1981(temperature_c: Any, salinity: Any) -> Any:
    """The fit itself, for the simulator. [kg m⁻³]"""
    t = 1.00024 * temperature_c  # the fit was made on IPTS-68
    water = 999.842594 + t * (
        6.793952e-2 + t * (-9.095290e-3 + t * (1.001685e-4 + t * (-1.120083e-6 + t * 6.536332e-9)))
    )
    a = 8.24493e-1 + t * (-4.0899e-3 + t * (7.6438e-5 + t * (-8.2467e-7 + t * 5.3875e-9)))
    b = -5.72466e-3 + t * (1.0227e-4 - t * 1.6546e-6)
    return water + salinity * (a + b * salinity**0.5 + 4.8314e-4 * salinity)


def of_fresh_water(temperature_c: Any) -> Any:
    """Density of pure water at one atmosphere by TEOS-10. [kg m⁻³]"""
    return of_seawater(temperature_c, 0.0 * temperature_c)


def kg_per_l(temperature_c: Any = 25.0, salinity: Any = 35.0) -> Any:
    """Mass of a litre of seawater: turns µmol/kg into µmol/L. [kg L⁻¹]"""
    return of_seawater(temperature_c, salinity) / 1000.0
