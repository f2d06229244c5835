"""The rest of the carbonate system from any two of alkalinity, DIC, pH and CO2.

Two paths share the constants and the equations: numpy for arrays, plain floats for one point (no numpy is
loaded). Alkalinity rises strictly with pH at fixed DIC and at fixed CO2, so there is exactly one answer, and a
bracket that holds it can be written down before the search begins (Munhoven 2013, Geosci. Model Dev. 6:1367).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any

from leadline.measures.errors import BadInput, OutOfRange
from leadline.seawater import equilibria as eq
from leadline.seawater.validity import within

_TOLERANCE = 1e-10  # in ln [H⁺]; 4e-11 in pH
_ROUNDS = 100


@dataclass(frozen=True, slots=True)
class Carbonate:
    """The whole carbonate system of some water; every field a float, or all of them arrays of one shape.

    Attributes
    ----------
    alkalinity, dic
        Total alkalinity and dissolved inorganic carbon. [µmol kg⁻¹]
    ph_total, ph_nbs
        On the two scales; NBS by fH of Takahashi et al. (1982). [1]
    pco2, xco2
        Partial pressure in moist air [µatm], and mole fraction in dry air at one atmosphere [ppm], in balance
        with the water.
    co2, bicarbonate, carbonate, borate, hydroxide
        [µmol kg⁻¹]
    omega_aragonite, omega_calcite
        Saturation states. [1]
    """

    alkalinity: Any
    dic: Any
    ph_total: Any
    ph_nbs: Any
    pco2: Any
    xco2: Any
    co2: Any
    bicarbonate: Any
    carbonate: Any
    borate: Any
    hydroxide: Any
    omega_aragonite: Any
    omega_calcite: Any

    def row(self, index: int) -> Carbonate:
        """One point out of arrays."""
        return Carbonate(*(float(getattr(self, f.name)[index]) for f in fields(self)))


@dataclass(slots=True)
class _Water:
    """Constants and totals of the water. [mol kg⁻¹]"""

    k0: Any
    k1: Any
    k2: Any
    kb: Any
    kw: Any
    ks: Any
    kf: Any
    z: Any
    bt: Any
    st: Any
    ft: Any
    kp: tuple[Any, Any, Any] | None
    ksi: Any
    pt: Any
    sit: Any


def _water(t: Any, s: Any, phosphate: Any, silicate: Any, boron_ratio: Any) -> _Water:
    ks, st = eq.bisulfate_dickson1990(t, s), eq.total_sulfate_morris1966(s)
    minor = _any(phosphate) or _any(silicate)
    return _Water(
        k0=eq.co2_solubility_weiss1974(t, s),
        k1=eq.k1_lueker2000(t, s),
        k2=eq.k2_lueker2000(t, s),
        kb=eq.borate_dickson1990(t, s),
        kw=eq.water_millero1995(t, s),
        ks=ks,
        kf=eq.fluoride_perez1987(t, s),
        z=1.0 + st / ks,
        bt=eq.total_boron_uppstrom1974(s) * boron_ratio,
        st=st,
        ft=eq.total_fluoride_riley1965(s),
        kp=eq.phosphate_yao1995(t, s) if minor else None,
        ksi=eq.silicate_yao1995(t, s) if minor else 1.0,
        pt=phosphate * 1e-6,
        sit=silicate * 1e-6,
    )


def _any(value: Any) -> bool:
    return bool(value.any()) if hasattr(value, "any") else value != 0.0


def _minor(h: Any, w: _Water) -> tuple[Any, Any]:
    """Alkalinity of everything but carbon, and its slope on ln h. [mol kg⁻¹]"""
    kbh = w.kb + h
    borate = w.bt * w.kb / kbh
    hydroxide = w.kw / h
    free = h / w.z
    ksf = w.ks + free
    bisulfate = w.st * free / ksf
    kff = w.kf + free
    fluoride = w.ft * free / kff
    alkalinity = borate + hydroxide - free - bisulfate - fluoride
    slope = -borate * h / kbh - hydroxide - free - bisulfate * w.ks / ksf - fluoride * w.kf / kff
    if w.kp is not None:
        kp1, kp2, kp3 = w.kp
        a, b, c, d = h * h * h, kp1 * h * h, kp1 * kp2 * h, kp1 * kp2 * kp3
        total = a + b + c + d
        charge = (c + 2.0 * d - a) / total
        alkalinity = alkalinity + w.pt * charge
        # d/dln h of (c + 2d - a)/total, each term being a power of h
        slope = slope + w.pt * ((c - 3.0 * a) - charge * (3.0 * a + 2.0 * b + c)) / total
        ksh = w.ksi + h
        silicate = w.sit * w.ksi / ksh
        alkalinity = alkalinity + silicate
        slope = slope - silicate * h / ksh
    return alkalinity, slope


def _of_dic(h: Any, w: _Water, dic: Any) -> tuple[Any, Any]:
    """Total alkalinity at fixed DIC and its slope on ln h."""
    rest, slope = _minor(h, w)
    k12 = w.k1 * w.k2
    middle = w.k1 * h
    total = h * h + middle + k12
    charge = (middle + 2.0 * k12) / total
    turn = (middle - charge * (2.0 * h * h + middle)) / total
    return rest + dic * charge, slope + dic * turn


def _of_co2(h: Any, w: _Water, co2: Any) -> tuple[Any, Any]:
    """Total alkalinity at fixed CO2* and its slope on ln h."""
    rest, slope = _minor(h, w)
    bicarbonate = co2 * w.k1 / h
    carbonate = bicarbonate * w.k2 / h
    return rest + bicarbonate + 2.0 * carbonate, slope - bicarbonate - 4.0 * carbonate


def _bounds(w: _Water, alkalinity: Any, carbon: Any, fixed_co2: bool, m: Any) -> tuple[Any, Any]:
    """Lowest and highest ln h that can hold the answer.

    Everything but the water's own part of alkalinity, Kw/h − h/z, lies between `least` and `most`; the roots
    of the water part alone, with either taken off, enclose the root of the whole.
    """
    least = -(w.st + w.ft + w.pt)
    most = w.bt + 2.0 * w.pt + w.sit
    lowest = _water_root(w, alkalinity - least, m)
    if not fixed_co2:
        return m.log(lowest), m.log(_water_root(w, alkalinity - most - 2.0 * carbon, m))
    # At fixed CO2 carbon's part has no highest value. With spare = |TA − most| the sum of these three makes
    # −h/z outweigh twice the spare, and hydroxide with bicarbonate, and carbonate, each at most half of it.
    spare = abs(alkalinity - most) + 1e-6
    first = w.kw + carbon * w.k1
    second = 2.0 * carbon * w.k1 * w.k2
    return m.log(lowest), m.log(2.0 * w.z * spare + 2.0 * first / spare + m.sqrt(2.0 * second / spare))


def _water_root(w: _Water, alkalinity: Any, m: Any) -> Any:
    """h > 0 with Kw/h − h/z = alkalinity, written so that neither sign cancels."""
    root = m.sqrt(alkalinity * alkalinity + 4.0 * w.kw / w.z)
    if isinstance(alkalinity, float):
        if alkalinity > 0.0:
            return 2.0 * w.kw / (root + alkalinity)
        return 0.5 * w.z * (root - alkalinity)
    import numpy as np

    return np.where(alkalinity > 0.0, 2.0 * w.kw / (root + np.abs(alkalinity)), 0.5 * w.z * (root - alkalinity))


def _solve_point(w: _Water, alkalinity: float, carbon: float, fixed_co2: bool) -> float:
    low, high = _bounds(w, alkalinity, carbon, fixed_co2, math)
    system = _of_co2 if fixed_co2 else _of_dic
    x = min(max(math.log(1e-8), low), high)
    for _ in range(_ROUNDS):
        value, slope = system(math.exp(x), w, carbon)
        gap = value - alkalinity
        step = -gap / slope
        # judged on the Newton step, before the bracket may cut it: an end of the bracket is never an answer
        if abs(step) < _TOLERANCE:
            return math.exp(x + step)
        if gap > 0.0:  # too alkaline: more acid is needed
            low = x
        else:
            high = x
        x += step
        if not low < x < high:
            x = 0.5 * (low + high)
    raise OutOfRange(f"no pH was found for alkalinity {alkalinity * 1e6:.6g} µmol/kg")


def _solve_many(w: _Water, alkalinity: Any, carbon: Any, fixed_co2: bool) -> Any:
    import numpy as np

    low, high = _bounds(w, alkalinity, carbon, fixed_co2, np)
    system = _of_co2 if fixed_co2 else _of_dic
    x = np.clip(np.full(alkalinity.shape, math.log(1e-8)), low, high)
    for _ in range(_ROUNDS):
        value, slope = system(np.exp(x), w, carbon)
        gap = value - alkalinity
        step = -gap / slope
        settled = np.abs(step) < _TOLERANCE
        if settled.all():
            return np.exp(x + step)
        alkaline = gap > 0.0
        low = np.where(alkaline, x, low)
        high = np.where(alkaline, high, x)
        after = x + step
        inside = (after > low) & (after < high)
        # a settled point must not be thrown back to the middle by its own shrunken bracket
        x = np.where(inside | settled, after, 0.5 * (low + high))
    worst = float(alkalinity[~settled].flat[0]) * 1e6
    raise OutOfRange(f"no pH was found for alkalinity {worst:.6g} µmol/kg")


def solve(
    *,
    temperature_c: Any = 25.0,
    salinity: Any = 35.0,
    alkalinity: Any | None = None,
    dic: Any | None = None,
    ph_total: Any | None = None,
    ph_nbs: Any | None = None,
    pco2: Any | None = None,
    xco2: Any | None = None,
    calcium: Any | None = None,
    phosphate: Any = 0.0,
    silicate: Any = 0.0,
    boron_ratio: Any = 1.0,
) -> Carbonate:
    """The carbonate system from exactly two of alkalinity, DIC, pH and CO2.

    Parameters
    ----------
    temperature_c, salinity
        Water temperature, ITS-90 [°C], and practical salinity [1].
    alkalinity, dic
        Total alkalinity and dissolved inorganic carbon. [µmol kg⁻¹]
    ph_total, ph_nbs
        pH on the total scale, or as an NBS-calibrated probe shows it. [1]
    pco2, xco2
        Partial pressure in moist air [µatm], or dry mole fraction as a room meter shows it [ppm].
    calcium
        As tested; natural seawater of that salinity when None. [µmol kg⁻¹]
    phosphate, silicate
        Totals. [µmol kg⁻¹]
    boron_ratio
        Total boron over that of natural seawater; some salts carry half or double. [1]

    Returns
    -------
    Carbonate
        Floats when everything given is a float, else arrays of the shape to which the inputs broadcast.

    Raises
    ------
    BadInput
        Unless exactly two independent parameters are given.
    OutOfRange
        Outside 0 to 40 °C or salinity 5 to 50 (see `equilibria.check_water`), or for impossible values.

    References
    ----------
    Lueker et al. (2000), Dickson (1990), Uppström (1974), Perez and Fraga (1987), Weiss (1974), Millero (1995),
    Mucci (1983), Takahashi et al. (1982); solver after Munhoven (2013).

    Examples
    --------
    >>> round(solve(temperature_c=25.0, salinity=35.0, alkalinity=2300.0, dic=2000.0).ph_total, 4)
    8.0459
    """
    given = {
        "alkalinity": alkalinity, "dic": dic, "ph_total": ph_total, "ph_nbs": ph_nbs, "pco2": pco2, "xco2": xco2,
    }  # fmt: skip
    named = {name: value for name, value in given.items() if value is not None}
    kinds = {name.split("_")[0].removeprefix("p").removeprefix("x") for name in named}
    if len(named) != 2 or len(kinds) != 2:
        raise BadInput(
            f"the carbonate system needs two of alkalinity, dic, one pH and one CO2, not {', '.join(named) or 'none'}"
        )
    names, raw = list(named), list(named.values())
    values: list[Any] = [temperature_c, salinity, phosphate, silicate, boron_ratio, *raw]
    if calcium is not None:
        values.append(calcium)
    if all(isinstance(value, (int, float)) for value in values):
        m: Any = math
        cast: list[Any] = [float(value) for value in values]
    else:
        import numpy as np

        m = np
        cast = list(np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in values)))
    t, s, p, si, boron = cast[:5]
    eq.check_water(t, s)
    known = dict(zip(names, cast[5:7], strict=True))
    _check(known, p, si, boron)
    tested = cast[7] if calcium is not None else None
    w = _water(t, s, p, si, boron)
    fugacity = eq.co2_fugacity_weiss1974(t)
    dryness = 1.0 - eq.vapour_pressure_weiss1980(t, s)
    scale_gap = eq.nbs_minus_total(t, s)

    if "ph_nbs" in known:
        known["ph_total"] = known.pop("ph_nbs") - scale_gap
    if "xco2" in known:
        known["pco2"] = known.pop("xco2") * dryness
    co2 = known["pco2"] * 1e-6 * fugacity * w.k0 if "pco2" in known else None
    h = _acid(w, known, co2, m)

    ratio_1, ratio_2 = w.k1 / h, w.k1 * w.k2 / (h * h)
    if co2 is None:
        if "dic" in known:
            co2 = known["dic"] * 1e-6 / (1.0 + ratio_1 + ratio_2)
        else:
            co2 = (known["alkalinity"] * 1e-6 - _minor(h, w)[0]) / (ratio_1 + 2.0 * ratio_2)
            within("DIC that this alkalinity and pH leave", co2, 0.0, math.inf, "mol/kg", "One of them is wrong.")
    bicarbonate, carbonate = co2 * ratio_1, co2 * ratio_2
    ta = known["alkalinity"] * 1e-6 if "alkalinity" in known else _of_co2(h, w, co2)[0]
    total = m.log(1.0 / h) / math.log(10.0)
    partial = co2 / (fugacity * w.k0)
    product = (eq.total_calcium_riley1967(s) if tested is None else tested * 1e-6) * carbonate
    return Carbonate(
        alkalinity=ta * 1e6,
        dic=(co2 + bicarbonate + carbonate) * 1e6,
        ph_total=total,
        ph_nbs=total + scale_gap,
        pco2=partial * 1e6,
        xco2=partial / dryness * 1e6,
        co2=co2 * 1e6,
        bicarbonate=bicarbonate * 1e6,
        carbonate=carbonate * 1e6,
        borate=w.bt * w.kb / (w.kb + h) * 1e6,
        hydroxide=w.kw / h * 1e6,
        omega_aragonite=product / eq.aragonite_mucci1983(t, s),
        omega_calcite=product / eq.calcite_mucci1983(t, s),
    )


def _acid(w: _Water, known: dict[str, Any], co2: Any, m: Any) -> Any:
    """[H⁺] on the total scale from whichever two are known. [mol kg⁻¹]"""
    if "ph_total" in known:
        return 10.0 ** (-known["ph_total"])
    if "alkalinity" in known:
        carbon = known["dic"] * 1e-6 if co2 is None else co2
        solver = _solve_point if m is math else _solve_many
        return solver(w, known["alkalinity"] * 1e-6, carbon, co2 is not None)
    # DIC and CO2: a quadratic in h, dic = co2 (1 + k1/h + k1 k2/h²)
    rest = known["dic"] * 1e-6 - co2
    within("DIC less its dissolved CO2", rest, 1e-12, math.inf, "mol/kg", "One of the two is wrong.")
    return (co2 * w.k1 + m.sqrt((co2 * w.k1) ** 2 + 4.0 * rest * co2 * w.k1 * w.k2)) / (2.0 * rest)


def _check(known: dict[str, Any], phosphate: Any, silicate: Any, boron: Any) -> None:
    limits = {
        "alkalinity": (-50_000.0, 200_000.0, "µmol/kg"), "dic": (1e-6, 200_000.0, "µmol/kg"),
        "ph_total": (1.0, 14.0, ""), "ph_nbs": (1.0, 14.0, ""), "pco2": (1e-6, 1e6, "µatm"),
        "xco2": (1e-6, 1e6, "ppm"),
    }  # fmt: skip
    for name, value in known.items():
        lowest, highest, unit = limits[name]
        within(name.replace("_", " ").replace("ph ", "pH "), value, lowest, highest, unit)
    within("phosphate", phosphate, 0.0, 1e5, "µmol/kg")
    within("silicate", silicate, 0.0, 1e5, "µmol/kg")
    within("boron ratio", boron, 0.0, 20.0, "")


def revelle(state: Carbonate, *, temperature_c: Any = 25.0, salinity: Any = 35.0, boron_ratio: Any = 1.0) -> Any:
    """Revelle factor, d ln CO2 / d ln DIC at fixed alkalinity. [1]

    Analytic, without phosphate and silicate: the buffer of the rest of the alkalinity carries the answer.
    """
    w = _water(temperature_c, salinity, 0.0, 0.0, boron_ratio)
    h = 10.0 ** (-state.ph_total)
    carbon_charge = state.bicarbonate + 2.0 * state.carbonate
    at_fixed_co2 = _of_co2(h, w, state.co2 * 1e-6)[1] * 1e6
    # with x = ln h and y = ln CO2: dTA = at_fixed_co2 dx + carbon_charge dy = 0, dDIC = -carbon_charge dx + DIC dy
    dx_dy = -carbon_charge / at_fixed_co2
    return state.dic / (state.dic - carbon_charge * dx_dy)
