"""Practical salinity from conductivity, from a float, from refraction, from a stated specific gravity."""

from __future__ import annotations

from typing import Any

from leadline.seawater import density
from leadline.seawater.bracket import root
from leadline.seawater.validity import within

HIGHEST = 80.0
SALTIEST_BY_CONDUCTIVITY = 50.0
SODA_GLASS_PER_K = 25e-6  # cubical expansion; from memory, borosilicate is about 10e-6
NACL_FRACTION_PER_SALINITY = 3.65 / 35.0  # % by mass of NaCl with the refraction of S = 35, CRC table (memory)


def from_conductivity(conductivity_ms_cm: Any, temperature_c: Any = 25.0) -> Any:
    """Practical salinity from the conductivity of the water at its own temperature. [1]

    Parameters
    ----------
    conductivity_ms_cm
        Conductivity at `temperature_c`, not already compensated. [mS cm⁻¹]
    temperature_c
        Temperature of that measurement, ITS-90; 25 °C suits an instrument that compensates to 25 °C. [°C]

    Raises
    ------
    OutOfRange
        When the salinity is above 50. PSS-78 ends at 42; it is smooth, and a tank left to dry is worth a number.

    References
    ----------
    PSS-78 with the extension of Hill et al. (1986) below 2, through the gsw library.
    """
    import gsw

    within("temperature", temperature_c, -2.0, 40.0, "°C")
    salinity = gsw.SP_from_C(conductivity_ms_cm, temperature_c, 0.0)
    within("salinity from this conductivity", salinity, 0.0, SALTIEST_BY_CONDUCTIVITY, "")
    return salinity


def to_conductivity(salinity: Any, temperature_c: Any = 25.0) -> Any:
    """Conductivity of seawater at its own temperature, by PSS-78. [mS cm⁻¹]"""
    import gsw

    within("temperature", temperature_c, -2.0, 40.0, "°C")
    within("salinity", salinity, 0.0, SALTIEST_BY_CONDUCTIVITY, "")
    return gsw.C_from_SP(salinity, temperature_c, 0.0)


def from_specific_conductance(shown_ms_cm: Any, temperature_c: Any, coefficient: float = 0.0191) -> Any:
    """Practical salinity from a meter that compensates to 25 °C with a fixed coefficient. [1]

    The meter's own compensation is undone first: C = shown × (1 + a (t − 25)). Leaving that out costs up to
    0.35 salinity at 20 °C.

    Parameters
    ----------
    shown_ms_cm
        Conductivity as shown. [mS cm⁻¹]
    temperature_c
        True water temperature. [°C]
    coefficient
        The meter's coefficient; 0.0191 is the usual one. [K⁻¹]
    """
    return from_conductivity(shown_ms_cm * (1.0 + coefficient * (temperature_c - 25.0)), temperature_c)


def specific_gravity(salinity: Any, sample_c: Any = 25.0, reference_c: Any = 25.0) -> Any:
    """Specific gravity on the scale sample/reference: ρ(S, sample) / ρ(0, reference). [1]"""
    return density.of_seawater(sample_c, salinity) / density.of_fresh_water(reference_c)


def from_specific_gravity(gravity: float, sample_c: float = 25.0, reference_c: float = 25.0) -> float:
    """Practical salinity of water with that specific gravity on a stated scale. [1]

    Raises
    ------
    OutOfRange
        When no salinity from 0 to 80 has it.
    """
    return from_density(
        gravity * float(density.of_fresh_water(reference_c)),
        sample_c,
        what=f"specific gravity {gravity:g} at {sample_c:g}/{reference_c:g} °C",
    )


def from_density(density_kg_m3: float, temperature_c: float, *, what: str = "") -> float:
    """Practical salinity of water with that density at that temperature. [1]"""
    return root(
        lambda s: float(density.of_seawater(temperature_c, s)) - density_kg_m3,
        0.0, HIGHEST, what=what or f"density {density_kg_m3:g} kg/m³ at {temperature_c:g} °C",
    )  # fmt: skip


def from_hydrometer(
    reading: float,
    temperature_c: float,
    sample_c: float,
    reference_c: float,
    expansion_per_k: float = SODA_GLASS_PER_K,
) -> float:
    """Practical salinity from a floating glass hydrometer read in water of another temperature. [1]

    A float of volume V(T) sinks to the mark R where ρ(water) V(T) = R ρ(0, reference) V(sample): the glass's
    expansion and the water's true temperature both count. A 60/60 °F glass read uncorrected at 26 °C
    understates salinity by 3.3.

    Parameters
    ----------
    reading
        Mark at the water line. [1]
    temperature_c
        Temperature of the water in which it floats. [°C]
    sample_c, reference_c
        The two temperatures printed on the instrument. [°C]
    expansion_per_k
        Cubical expansion of its glass. [K⁻¹]
    """
    rho = reading * float(density.of_fresh_water(reference_c))
    rho /= 1.0 + expansion_per_k * (temperature_c - sample_c)
    return from_density(rho, temperature_c, what=f"hydrometer reading {reading:g} at {temperature_c:g} °C")


def hydrometer_reading(
    salinity: float,
    temperature_c: float,
    sample_c: float,
    reference_c: float,
    expansion_per_k: float = SODA_GLASS_PER_K,
) -> float:
    """What a glass hydrometer of that scale shows in that water. [1]"""
    rho = float(density.of_seawater(temperature_c, salinity))
    rho *= 1.0 + expansion_per_k * (temperature_c - sample_c)
    return rho / float(density.of_fresh_water(reference_c))


def refractive_index_quan1995(temperature_c: Any, salinity: Any, wavelength_nm: float = 589.3) -> Any:
    """Refractive index of seawater against air. [1]

    Fitted for 0 to 30 °C and salinity 0 to 35; used here up to 40 of each, where the curve stays smooth.

    References
    ----------
    Quan and Fry (1995), Appl. Opt. 34:3477, eq. 3.
    """
    within("temperature", temperature_c, 0.0, 40.0, "°C")
    within("salinity", salinity, 0.0, 45.0, "")
    within("wavelength", wavelength_nm, 400.0, 700.0, "nm")
    t = temperature_c
    by_salt = 1.779e-4 - 1.05e-6 * t + 1.6e-8 * t**2
    by_light = (15.868 + 0.01155 * salinity - 0.00423 * t) / wavelength_nm
    return (
        1.31405 + by_salt * salinity - 2.02e-6 * t**2
        + by_light - 4382.0 / wavelength_nm**2 + 1.1455e6 / wavelength_nm**3
    )  # fmt: skip


def from_refractive_index(index: float, temperature_c: float, wavelength_nm: float = 589.3) -> float:
    """Practical salinity of water with that refractive index. [1]"""
    return root(
        lambda s: float(refractive_index_quan1995(temperature_c, s, wavelength_nm)) - index,
        0.0, 45.0, what=f"refractive index {index:g}",
    )  # fmt: skip


def from_refractometer(
    shown: float, temperature_c: float, *, set_at_c: float = 20.0, nacl_scale: bool = False
) -> float:
    """Practical salinity from a refractometer without temperature compensation. [1]

    The instrument turns a refractive index into salinity as if the water were at `set_at_c`, the temperature
    at which it was set to zero or to a standard. A compensating instrument needs `temperature_c == set_at_c`.

    Parameters
    ----------
    shown
        Salinity as shown. [1], or g/kg of NaCl when `nacl_scale`.
    temperature_c
        Temperature of the drop. [°C]
    set_at_c
        Temperature at which the instrument was set. [°C]
    nacl_scale
        The scale is for brine (NaCl in g/kg), not for seawater.
    """
    if nacl_scale:
        shown = shown / 10.0 / NACL_FRACTION_PER_SALINITY
    if temperature_c == set_at_c:
        return shown
    # the zero of the instrument moved with the water it was set on, so only the index shown counts
    index = float(refractive_index_quan1995(set_at_c, shown))
    return from_refractive_index(index, temperature_c)


def after_nacl_standard(shown: float, standard_nacl_g_kg: float, set_to: float) -> float:
    """True salinity when a seawater-scale refractometer was set on an NaCl solution. [1]

    A solution of 35 g/kg NaCl refracts like seawater of 33.6; an instrument set to 35 on it reads 1.4 too high.
    """
    return shown - (set_to - standard_nacl_g_kg / 10.0 / NACL_FRACTION_PER_SALINITY)


def from_g_per_l(dissolved_g_l: float, temperature_c: float = 25.0) -> float:
    """Practical salinity of water with that mass of sea salt in a litre. [1]"""
    return root(
        lambda s: s * density.REFERENCE * float(density.kg_per_l(temperature_c, s)) - dissolved_g_l,
        0.0, HIGHEST, what=f"{dissolved_g_l:g} g/L",
    )  # fmt: skip


def to_g_per_l(salinity: Any, temperature_c: Any = 25.0) -> Any:
    """Mass of sea salt in a litre of that water. [g L⁻¹]"""
    return salinity * density.REFERENCE * density.kg_per_l(temperature_c, salinity)
