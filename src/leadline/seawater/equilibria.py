"""Equilibrium constants of seawater, one function per published fit, total pH scale unless named otherwise.

All take temperature [°C, ITS-90] and practical salinity [1], floats or arrays, at the sea surface; all give
mol kg⁻¹ of seawater. A function is named quantity, first author, year; `sources.py` has the papers. The fits
are published for narrower water than they are used for here: `check_water` draws the line.
"""

from __future__ import annotations

import math
from typing import Any

from leadline.seawater.validity import within

ZERO_C = 273.15
R_ML_BAR = 83.14462618  # gas constant, CODATA 2018 [mL bar mol⁻¹ K⁻¹]

COLDEST, WARMEST = 0.0, 40.0
FRESHEST, SALTIEST = 5.0, 50.0


def maths(*values: Any) -> Any:
    """The module whose exp, log and sqrt suit the values: `math` for floats, numpy for arrays."""
    if all(isinstance(value, (int, float)) for value in values):
        return math
    import numpy as np

    return np


def check_water(temperature_c: Any, salinity: Any) -> None:
    """Refuse water for which none of the constants can be answered for.

    Lueker's constants were measured at 2 to 35 °C and salinity 19 to 43, the others at 0 to 45 °C and salinity
    5 to 45. They are smooth and are used here from 0 to 40 °C and 5 to 50, for quarantine and evaporated tanks;
    `is_extrapolated` tells when that goes beyond Lueker's own water.

    Raises
    ------
    OutOfRange
        Outside 0 to 40 °C or salinity 5 to 50.
    """
    within("temperature", temperature_c, COLDEST, WARMEST, "°C")
    within("salinity", salinity, FRESHEST, SALTIEST, "")


def is_extrapolated(temperature_c: Any, salinity: Any) -> Any:
    """Whether the water lies beyond the 2 to 35 °C and salinity 19 to 43 of Lueker et al. (2000)."""
    return (temperature_c < 2.0) | (temperature_c > 35.0) | (salinity < 19.0) | (salinity > 43.0)


def ionic_strength_dickson2007(salinity: Any) -> Any:
    """Ionic strength. [mol kg⁻¹ of water] Dickson, Sabine and Christian (2007), chapter 5."""
    return 19.924 * salinity / (1000.0 - 1.005 * salinity)


# totals that scale with salinity


def total_boron_uppstrom1974(salinity: Any) -> Any:
    """Total boron. [mol kg⁻¹] Uppström (1974): 0.232 mg B per kg and chlorinity."""
    return 0.0004157 * salinity / 35.0


def total_sulfate_morris1966(salinity: Any) -> Any:
    """Total sulfate. [mol kg⁻¹] Morris and Riley (1966)."""
    return 0.14 / 96.062 * salinity / 1.80655


def total_fluoride_riley1965(salinity: Any) -> Any:
    """Total fluoride. [mol kg⁻¹] Riley (1965)."""
    return 0.000067 / 18.998 * salinity / 1.80655


def total_calcium_riley1967(salinity: Any) -> Any:
    """Calcium of natural seawater. [mol kg⁻¹] Riley and Tongudai (1967)."""
    return 0.02128 / 40.087 * salinity / 1.80655


# scales


def bisulfate_dickson1990(temperature_c: Any, salinity: Any) -> Any:
    """KS of HSO4⁻, free scale. [mol kg⁻¹] Dickson (1990a), J. Chem. Thermodyn. 22:113."""
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    ion = ionic_strength_dickson2007(salinity)
    root = m.sqrt(ion)
    log = (
        -4276.1 / t + 141.328 - 23.093 * m.log(t)
        + (-13856.0 / t + 324.57 - 47.986 * m.log(t)) * root
        + (35474.0 / t - 771.54 + 114.723 * m.log(t)) * ion
        + (-2698.0 / t) * root * ion + (1776.0 / t) * ion * ion
    )  # fmt: skip
    return m.exp(log) * (1.0 - 0.001005 * salinity)


def fluoride_perez1987(temperature_c: Any, salinity: Any) -> Any:
    """KF of HF, free scale. [mol kg⁻¹] Perez and Fraga (1987), Mar. Chem. 21:161.

    The handbook of Dickson et al. (2007) prints the same fit for the total scale. Common programs read it as
    free, and so do we, to agree with them: the other reading lowers pH_NBS − pH_T by 0.003 and Kw by 0.6 %,
    which is far below what an electrode can tell.
    """
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    return m.exp(874.0 / t - 9.68 + 0.111 * m.sqrt(salinity))


def free_to_total(temperature_c: Any, salinity: Any) -> Any:
    """[H⁺] on the total scale over free [H⁺]. [1]"""
    return 1.0 + total_sulfate_morris1966(salinity) / bisulfate_dickson1990(temperature_c, salinity)


def seawater_to_total(temperature_c: Any, salinity: Any) -> Any:
    """[H⁺] on the total scale over that on the seawater scale. [1]"""
    sulfate = total_sulfate_morris1966(salinity) / bisulfate_dickson1990(temperature_c, salinity)
    fluoride = total_fluoride_riley1965(salinity) / fluoride_perez1987(temperature_c, salinity)
    return (1.0 + sulfate) / (1.0 + sulfate + fluoride)


def hydrogen_activity_takahashi1982(temperature_c: Any, salinity: Any) -> Any:
    """fH, apparent activity coefficient of H⁺ that joins NBS pH to the seawater scale. [1]

    Takahashi et al. (1982), GEOSECS Pacific Expedition, vol. 3, chapter 3. Liquid junctions of real probes
    scatter by ±0.05 pH around it (common practice).
    """
    t = temperature_c + ZERO_C
    return 1.2948 - 0.002036 * t + (0.0004607 - 0.000001475 * t) * salinity**2


def nbs_minus_total(temperature_c: Any, salinity: Any) -> Any:
    """pH on the NBS scale less pH on the total scale, in the same water. [1]"""
    m = maths(temperature_c, salinity)
    activity = hydrogen_activity_takahashi1982(temperature_c, salinity)
    # [H]total = r [H]sws and a(H)NBS = fH [H]sws, so pH_NBS - pH_T = log10(r / fH)
    return m.log(seawater_to_total(temperature_c, salinity) / activity) / math.log(10.0)


# the carbonate system


def co2_solubility_weiss1974(temperature_c: Any, salinity: Any) -> Any:
    """K0, CO2* over fugacity. [mol kg⁻¹ atm⁻¹] Weiss (1974), Mar. Chem. 2:203, eq. 12 and table I."""
    m = maths(temperature_c, salinity)
    h = (temperature_c + ZERO_C) / 100.0
    return m.exp(-60.2409 + 93.4517 / h + 23.3585 * m.log(h) + salinity * (0.023517 - 0.023656 * h + 0.0047036 * h * h))


def co2_fugacity_weiss1974(temperature_c: Any) -> Any:
    """Fugacity over partial pressure of CO2 in air at one atmosphere. [1] Weiss (1974), eq. 9."""
    m = maths(temperature_c)
    t = temperature_c + ZERO_C
    delta = 57.7 - 0.118 * t
    b = -1636.75 + 12.0408 * t - 0.0327957 * t**2 + 3.16528e-5 * t**3
    return m.exp((b + 2.0 * delta) * 1.01325 / (R_ML_BAR * t))


def vapour_pressure_weiss1980(temperature_c: Any, salinity: Any) -> Any:
    """Vapour pressure over seawater. [atm] Weiss and Price (1980), Mar. Chem. 8:347, eq. 10."""
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    return m.exp(24.4543 - 67.4509 * (100.0 / t) - 4.8489 * m.log(t / 100.0) - 0.000544 * salinity)


def k1_lueker2000(temperature_c: Any, salinity: Any) -> Any:
    """First dissociation of carbonic acid. [mol kg⁻¹] Lueker, Dickson and Keeling (2000), Mar. Chem. 70:105."""
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    pk = 3633.86 / t - 61.2172 + 9.67770 * m.log(t) - 0.011555 * salinity + 0.0001152 * salinity**2
    return 10.0 ** (-pk)


def k2_lueker2000(temperature_c: Any, salinity: Any) -> Any:
    """Second dissociation of carbonic acid. [mol kg⁻¹] Lueker, Dickson and Keeling (2000)."""
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    pk = 471.78 / t + 25.9290 - 3.16967 * m.log(t) - 0.01781 * salinity + 0.0001122 * salinity**2
    return 10.0 ** (-pk)


def borate_dickson1990(temperature_c: Any, salinity: Any) -> Any:
    """KB of boric acid. [mol kg⁻¹] Dickson (1990b), Deep-Sea Res. 37:755."""
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    root = m.sqrt(salinity)
    log = (
        (-8966.90 - 2890.53 * root - 77.942 * salinity + 1.728 * root * salinity - 0.0996 * salinity**2) / t
        + 148.0248 + 137.1942 * root + 1.62142 * salinity
        - (24.4344 + 25.085 * root + 0.2474 * salinity) * m.log(t) + 0.053105 * root * t
    )  # fmt: skip
    return m.exp(log)


def water_millero1995(temperature_c: Any, salinity: Any) -> Any:
    """Kw of water. [mol² kg⁻²] Millero (1995), Geochim. Cosmochim. Acta 59:661, eq. 63.

    The fit is on the seawater scale and is brought to the total scale by KS and KF. The handbook of Dickson et
    al. (2007) subtracts a constant 0.015 in ln instead; the two differ by 0.008.
    """
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    log = (
        148.9802 - 13847.26 / t - 23.6521 * m.log(t)
        + (-5.977 + 118.67 / t + 1.0495 * m.log(t)) * m.sqrt(salinity) - 0.01615 * salinity
    )  # fmt: skip
    return m.exp(log) * seawater_to_total(temperature_c, salinity)


def phosphate_yao1995(temperature_c: Any, salinity: Any) -> tuple[Any, Any, Any]:
    """KP1, KP2, KP3 of phosphoric acid. [mol kg⁻¹] Yao and Millero (1995), seawater scale, brought to total."""
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    root, ratio = m.sqrt(salinity), seawater_to_total(temperature_c, salinity)
    first = -4576.752 / t + 115.54 - 18.453 * m.log(t)
    first = first + (-106.736 / t + 0.69171) * root + (-0.65643 / t - 0.01844) * salinity
    second = -8814.715 / t + 172.1033 - 27.927 * m.log(t)
    second = second + (-160.34 / t + 1.3566) * root + (0.37335 / t - 0.05778) * salinity
    third = -3070.75 / t - 18.126
    third = third + (17.27039 / t + 2.81197) * root + (-44.99486 / t - 0.09984) * salinity
    return m.exp(first) * ratio, m.exp(second) * ratio, m.exp(third) * ratio


def silicate_yao1995(temperature_c: Any, salinity: Any) -> Any:
    """KSi of silicic acid. [mol kg⁻¹] Yao and Millero (1995), seawater scale, brought to total."""
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    ion = ionic_strength_dickson2007(salinity)
    log = (
        -8904.2 / t + 117.4 - 19.334 * m.log(t) + (-458.79 / t + 3.5913) * m.sqrt(ion)
        + (188.74 / t - 1.5998) * ion + (-12.1652 / t + 0.07871) * ion * ion
    )  # fmt: skip
    return m.exp(log) * (1.0 - 0.001005 * salinity) * seawater_to_total(temperature_c, salinity)


def ammonium_clegg1995(temperature_c: Any, salinity: Any) -> Any:
    """KNH4 of ammonium. [mol kg⁻¹] Clegg and Whitfield (1995), Geochim. Cosmochim. Acta 59:2403, eq. 18.

    Valid for salinity 0 to 40 and −2 to 40 °C, better than 5 %.
    """
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    root, warm = m.sqrt(salinity), m.sqrt(t)
    pk = (
        9.244605 - 2729.33 * (1 / 298.15 - 1 / t) + (0.04203362 - 11.24742 / t) * m.sqrt(root)
        + (-13.6416 + 1.176949 * warm - 0.02860785 * t + 545.4834 / t) * root
        + (-0.1462507 + 0.0090226468 * warm - 0.0001471361 * t + 10.5425 / t) * salinity * root
        + (0.004669309 - 0.0001691742 * warm - 0.5677934 / t) * salinity**2
        + (-2.354039e-5 + 0.009698623 / t) * salinity**2 * root
    )  # fmt: skip
    return 10.0 ** (-pk) * (1.0 - 0.001005 * salinity)


# minerals


def aragonite_mucci1983(temperature_c: Any, salinity: Any) -> Any:
    """Solubility product of aragonite. [mol² kg⁻²] Mucci (1983), Am. J. Sci. 283:780."""
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    log10 = (
        -171.945 - 0.077993 * t + 2903.293 / t + 71.595 * m.log(t) / math.log(10.0)
        + (-0.068393 + 0.0017276 * t + 88.135 / t) * m.sqrt(salinity)
        - 0.10018 * salinity + 0.0059415 * salinity * m.sqrt(salinity)
    )  # fmt: skip
    return 10.0**log10


def calcite_mucci1983(temperature_c: Any, salinity: Any) -> Any:
    """Solubility product of calcite. [mol² kg⁻²] Mucci (1983)."""
    m = maths(temperature_c, salinity)
    t = temperature_c + ZERO_C
    log10 = (
        -171.9065 - 0.077993 * t + 2839.319 / t + 71.595 * m.log(t) / math.log(10.0)
        + (-0.77712 + 0.0028426 * t + 178.34 / t) * m.sqrt(salinity)
        - 0.07711 * salinity + 0.0041249 * salinity * m.sqrt(salinity)
    )  # fmt: skip
    return 10.0**log10
