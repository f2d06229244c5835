"""Measurements by others: reef and coastal bottles, estuary sondes. Every expected number stands in expected.csv."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from leadline.seawater import density, oxygen, salinity
from leadline.seawater.carbonate import solve

DATA = Path(__file__).parents[1] / "data"


def _table(path: Path) -> dict[str, np.ndarray]:
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))

    def number(text: str) -> float:
        try:
            return float(text)
        except ValueError:
            return np.nan

    return {name: np.array([number(row[name]) for row in rows]) for name in rows[0]}


def _expected(name: str) -> dict[str, tuple[float, float]]:
    found: dict[str, tuple[float, float]] = {}
    with (DATA / name / "expected.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            # "same, max" stands below several checks
            key = row["check"] if row["check"] not in found else f"{row['check']} (again)"
            found[key] = (float(row["value"]), float(row["tolerance"]) or 1e-9)
    return found


def _robust_sd(x: np.ndarray) -> float:
    return float(1.4826 * np.median(np.abs(x - np.median(x))))


REEF = _expected("noaa-reef-bottles-dry-tortugas")
COAST = _expected("noaa-wcoa2013-bottles")


@pytest.fixture(scope="module")
def reef() -> dict[str, np.ndarray]:
    return _table(DATA / "noaa-reef-bottles-dry-tortugas" / "bottles_2024_06.csv")


@pytest.fixture(scope="module")
def coast() -> dict[str, np.ndarray]:
    table = _table(DATA / "noaa-wcoa2013-bottles" / "bottles_2013_08.csv")
    good = np.ones(len(table["f_ta"]), dtype=bool)
    for flag in ("f_ta", "f_dic", "f_ph", "f_ctdsal"):  # a river plume is flagged in salinity
        good &= np.isin(table[flag], (2, 6))
    return {name: values[good] for name, values in table.items()}


def _near(table: dict[str, tuple[float, float]], check: str, value: float) -> None:
    expected, tolerance = table[check]
    assert value == pytest.approx(expected, abs=tolerance), check


SET = "Lueker00 K1K2, Dickson90 KSO4, Uppstrom74 B, Perez-Fraga87 KF: "


@pytest.mark.published
def test_reef_bottles_match_what_noaa_published(reef):
    # NOAA's own values are at 1.25 dbar, ours at the surface: far inside the tolerance
    state = solve(
        temperature_c=reef["temp_insitu_degC"], salinity=reef["salinity_psu"],
        alkalinity=reef["ta_umol_kg"], dic=reef["dic_umol_kg"],
    )  # fmt: skip
    gaps = {
        "pH_total": state.ph_total - reef["ph_total_insitu_published"],
        "pCO2": state.pco2 - reef["pco2_uatm_published"],
        "saturation_aragonite": state.omega_aragonite - reef["omega_arag_published"],
    }
    for name, gap in gaps.items():
        _near(REEF, f"{SET}from TA+DIC in situ, {name} minus published: mean", gap.mean())
        _near(REEF, f"{SET}{name} minus published: max abs", np.abs(gap).max())


@pytest.mark.published
def test_reef_bottle_with_a_bad_temperature(reef):
    bad = reef["bottle_id"] == 22215
    others = reef["temp_insitu_degC"]
    score = (others[bad][0] - np.median(others)) / _robust_sd(others)
    _near(REEF, "temperature outlier: robust z of bottle 22215 (22.14 degC)", score)
    state = solve(
        temperature_c=29.0, salinity=float(reef["salinity_psu"][bad][0]),
        alkalinity=float(reef["ta_umol_kg"][bad][0]), dic=float(reef["dic_umol_kg"][bad][0]),
    )  # fmt: skip
    _near(REEF, "bottle 22215 pH_T recomputed at 29.0 degC (published 8.0252 at 22.14)", state.ph_total)
    _near(REEF, "its pCO2 at 29.0 degC (published 431.4)", state.pco2)


@pytest.mark.published
def test_reef_lab_ph_is_poor_and_we_do_not_hide_it(reef):
    state = solve(
        temperature_c=reef["ph_lab_temp_degC"], salinity=reef["salinity_psu"],
        alkalinity=reef["ta_umol_kg"], dic=reef["dic_umol_kg"],
    )  # fmt: skip
    gap = (reef["ph_total_measured_lab"] - state.ph_total)[np.isfinite(reef["ph_total_measured_lab"])]
    _near(REEF, f"{SET}measured lab pH minus pH(TA,DIC) at lab temp: mean", gap.mean())
    _near(REEF, f"{SET}same, sd", gap.std(ddof=1))


@pytest.mark.published
def test_reef_alkalinity_per_litre(reef):
    rho = density.kg_per_l(reef["temp_insitu_degC"], reef["salinity_psu"])
    meq = float(np.median(reef["ta_umol_kg"] * rho / 1000.0))
    _near(REEF, "alkalinity median in meq/L at sample density (TEOS-10, S and T in situ)", meq)
    ratio = reef["dic_umol_L"] / reef["dic_umol_kg"] / density.kg_per_l(25.0, reef["salinity_psu"])
    _near(REEF, "dic_umol_L / dic_umol_kg / (rho at 25 degC/1000): mean", ratio.mean())


WEST = "Lueker00+Dickson90+Uppstrom74+PF87: "


def _water(table: dict[str, np.ndarray]) -> dict[str, object]:
    return {
        "temperature_c": 25.0,  # where pH was measured
        "salinity": table["ctd_salinity_psu"],
        "phosphate": np.nan_to_num(table["phosphate_umol_kg"]),
        "silicate": np.nan_to_num(table["silicate_umol_kg"]),
    }


@pytest.mark.published
def test_coast_bottles_computed_against_measured_ph(coast):
    assert len(coast["f_ta"]) == int(COAST["rows with TA, DIC and pH all flag 2 or 6"][0])
    state = solve(**_water(coast), alkalinity=coast["ta_umol_kg"], dic=coast["dic_umol_kg"])
    gap = state.ph_total - coast["ph_total_at_ph_temp"]
    name = f"{WEST}pH(TA,DIC) - measured pH_T at 25 degC: "
    # the offset of 0.0105 is known in the field; a program that shows none here is tuned wrongly
    _near(COAST, name + "mean", gap.mean())
    _near(COAST, name + "median", float(np.median(gap)))
    _near(COAST, name + "sd", gap.std(ddof=1))
    _near(COAST, name + "robust sd (1.4826 MAD)", _robust_sd(gap))
    _near(COAST, "pH_NBS minus pH_total at 25 degC, S 31-35: mean", float(np.mean(state.ph_nbs - state.ph_total)))


@pytest.mark.published
def test_coast_bottles_the_other_two_pairs(coast):
    measured = coast["ph_total_at_ph_temp"]
    dic = solve(**_water(coast), alkalinity=coast["ta_umol_kg"], ph_total=measured).dic - coast["dic_umol_kg"]
    ta = solve(**_water(coast), dic=coast["dic_umol_kg"], ph_total=measured).alkalinity - coast["ta_umol_kg"]
    for name, gap in (("DIC(TA,pH)", dic), ("TA(DIC,pH)", ta)):
        _near(COAST, f"{WEST}{name} - measured: mean", gap.mean())
        _near(COAST, f"{WEST}{name} - measured: median", float(np.median(gap)))
        _near(COAST, f"{WEST}{name} - measured: robust sd (1.4826 MAD)", _robust_sd(gap))


@pytest.mark.published
def test_coast_bottles_carbonate_ion(coast):
    good = np.isin(coast["f_co3"], (2, 6)) & np.isfinite(coast["carbonate_ion_umol_kg_at_25C"])
    table = {name: values[good] for name, values in coast.items()}
    state = solve(**_water(table), alkalinity=table["ta_umol_kg"], dic=table["dic_umol_kg"])
    gap = state.carbonate - table["carbonate_ion_umol_kg_at_25C"]
    assert len(gap) == int(COAST[f"{WEST}CO3(TA,DIC, 25 degC) - measured: n"][0])
    _near(COAST, f"{WEST}same, median", float(np.median(gap)))
    _near(COAST, f"{WEST}same, robust sd", _robust_sd(gap))


@pytest.mark.published
def test_coast_bottles_nutrients_matter(coast):
    water = _water(coast)
    full = solve(**water, alkalinity=coast["ta_umol_kg"], dic=coast["dic_umol_kg"]).ph_total
    water |= {"phosphate": 0.0, "silicate": 0.0}
    gap = solve(**water, alkalinity=coast["ta_umol_kg"], dic=coast["dic_umol_kg"]).ph_total - full
    _near(COAST, "effect of leaving out phosphate and silicate on pH(TA,DIC): mean", gap.mean())
    _near(COAST, "same, max", gap.max())


@pytest.mark.published
def test_oxygen_of_coast_bottles():
    table = _table(DATA / "noaa-wcoa2013-bottles" / "bottles_2013_08.csv")
    good = np.isin(table["f_o2"], (2, 6)) & (table["f_ctdsal"] == 2) & np.isfinite(table["temp_its90_degC"])
    t, s = table["temp_its90_degC"][good], table["ctd_salinity_psu"][good]
    share = 100.0 * table["winkler_o2_umol_kg"][good] / oxygen.saturation(t, s)
    _near(COAST, "O2 saturation by gsw.O2sol_SP_pt: median", float(np.median(share)))
    _near(COAST, "same, max (again)", share.max())


@pytest.fixture(scope="module")
def sondes() -> dict[str, np.ndarray]:
    return _table(DATA / "swmp-apalachicola" / "sondes_every_37th.csv")


@pytest.mark.published
def test_specific_conductance_gives_the_logged_salinity_back(sondes):
    t, shown, logged = (sondes[n] for n in ("temperature_degC", "spec_cond_25C_mS_cm", "salinity_psu"))
    gap = salinity.from_specific_conductance(shown, t) - logged
    # full set: mean -0.0075, sd 0.0290, all within 0.1; a 37th of it scatters by 0.0005 around the mean
    assert gap.mean() == pytest.approx(-0.0075, abs=0.002)
    assert gap.std() == pytest.approx(0.1 / np.sqrt(12), abs=0.002)
    assert np.abs(gap).max() <= 0.1
    # taking it as conductivity at the water's own temperature is the trap: 1.6 psu
    low = shown < 50.0  # above it would even be refused
    wrong = salinity.from_conductivity(shown[low], t[low]) - logged[low]
    assert wrong.mean() > 1.0


@pytest.mark.published
def test_percent_saturation_gives_the_logged_oxygen_back(sondes):
    t, s = sondes["temperature_degC"], sondes["salinity_psu"]
    gap = sondes["oxygen_pct_sat"] / 100.0 * oxygen.saturation_mg_l(t, s) - sondes["oxygen_mg_L"]
    assert gap.mean() == pytest.approx(-0.007, abs=0.003)
    assert gap.std() == pytest.approx(0.1 / np.sqrt(12), abs=0.003)  # the source rounds to 0.1 mg/L
