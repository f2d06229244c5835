"""A squid in a closed chamber breathes its oxygen down: respiration fitted above 4 mg/L, judged below.

Data: respR 2.3.3, `squid.rd` (Harianto, Carey and Byrne 2019, Methods Ecol. Evol. 10:912; GPL-3, so it is read where it
lies and never copied); 12.3 L, salinity 35, 14 °C. The straight line from above 4 mg/L says 2 mg/L after 18,651 s; it
took 20,130 s, since uptake falls when oxygen is scarce. Our law is R·O2/(O2 + K), with one K for all animals.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from leadline.model import parameters

FILE = Path(__file__).resolve().parents[3] / "shared" / "data" / "seawater-respirometry" / "squid_to_hypoxia_10s.csv"
MG_L = 1e-3 * 31.998 * 1.0262  # a µmol/kg in mg/L; density at 14 °C and salinity 35: 1.0262 kg/L (TEOS-10)


@pytest.mark.published
@pytest.mark.skipif(not FILE.exists(), reason="the open data are not beside this checkout")
def test_how_long_oxygen_lasts_is_foretold_better_than_by_a_straight_line():
    from tests.model.simulated import box, run

    from leadline.model import draw as d
    from leadline.model import layout as at

    with FILE.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    times = np.array([float(r["time_s"]) for r in rows])
    oxygen = np.array([float(r["o2_mg_L"]) for r in rows])
    used = (oxygen > 4.0) & (times > 600.0)

    def simulated(rate_mol_s: float) -> np.ndarray:
        """Oxygen each minute of a sealed box of a litre with this much breath at plenty. [mg/L]"""
        e, acts = box(dt_s=60.0, temperature_c=14.0, PISTON_M_H=0.0, PISTON_CALM_M_H=0.0, WALL_W_K=0.0, EVAPORATION=0.0)
        kg = e.x[0, 0, at.WATER] + e.x[0, 0, at.SALT]
        e.x[0, 0, at.O2] = oxygen[60] / MG_L * 1e-6 * kg
        e.p[:, [d.Q10, d.FISH_GROWTH]] = 1.0, 0.0
        e.p[:, d.O2_HALF] = next(p.middle for p in parameters.PARAMETERS if p.name == "O2_HALF")
        e.y[0, at.FISH] = 1e6
        e.p[:, d.FISH_D] = rate_mol_s * kg * 86400.0 / 1e6
        return run(e, acts, 9.0).of("oxygen")[0]

    def misses(rate: float) -> float:
        track = np.interp(times[used], 600.0 + 60.0 * np.arange(9 * 60 + 1), simulated(rate))
        return float((track - oxygen[used]).mean())

    rate = brentq(misses, 2e-9, 3e-8, xtol=2e-11)
    track = simulated(rate)
    moments = 600.0 + 60.0 * np.arange(len(track))
    for level, took in ((3.0, 15_670.0), (2.0, 20_130.0)):  # expected.csv of the data
        foretold = float(moments[np.argmax(track <= level)])
        straight = float(np.interp(-level, -np.polyval(np.polyfit(times[used], oxygen[used], 1), times), times))
        assert abs(foretold / took - 1.0) < 0.05
        assert abs(foretold - took) < abs(straight - took)
