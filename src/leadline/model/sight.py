"""What a perfect instrument would show of the amounts, in the stored units of the contract."""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.processes import carbonate, flow, room, warmth
from leadline.seawater import equilibria as eq
from leadline.seawater import masses
from leadline.seawater.density import unchecked_millero1981

# first those with a name in the contract, in its stored units; then what explains them
SIGHTS = (
    "temperature", "salinity", "alkalinity", "calcium", "magnesium", "potassium", "ph",
    "nitrate", "nitrite", "ammonia", "phosphate", "silicate", "oxygen", "copper",
    "plant_volume", "free_ammonia", "omega_aragonite", "dic", "chloramine", "medicine", "toxin", "coral",
    "dinoflagellates", "cyanobacteria", "diatoms", "hair_algae", "refuge_algae", "detritus",
    "heater_duty", "chiller_duty", "heater_kwh", "chiller_kwh", "topoff_l", "evaporated_l", "reservoir", "floor",
    "room_temperature", "room_co2", "light", "plant_temperature",
)  # fmt: skip
N_SIGHTS = len(SIGHTS)
MEASURED = SIGHTS[:14]
_DINO, _MAT = 12.011 * 106.0 / 16.0 / 0.4, 12.011 * 550.0 / 30.0 / 0.3  # g dry per mol N, 40 and 30 % carbon (STO-06)


def look(
    out: Any, x: Any, y: Any, c: Any, p: Any, g: Any, ln_h: Any, bodies: int, hour: float, day_wave: float,
    year_wave: float,
) -> None:  # fmt: skip
    """Fill `out[sight]` from the display's water and the system's pools."""
    kg = flow.mass(x, 0)
    hub = bodies - 1
    t, s = warmth.temperature(x, 0), warmth.salinity(x, 0)
    litre = unchecked_millero1981(t, s) / 1000.0  # kg/L
    per_l = litre / kg
    found, _, co3, _ = carbonate.solve(x[0, at.TA] / kg, x[0, at.DIC] / kg, t, s, ln_h[0], 2)
    milli = 1000.0 * per_l
    out[0], out[1] = t, s
    out[2] = x[0, at.TA] * milli
    out[3] = x[0, at.CA] * milli * masses.CA
    out[4] = x[0, at.MG] * milli * masses.MG
    out[5] = x[0, at.K] * milli * masses.K
    out[6] = -found / 2.302585092994046 + eq.nbs_minus_total(t, s)
    out[7] = x[0, at.NO3] * milli * masses.NO3
    out[8] = x[0, at.NO2] * milli * masses.NO2
    out[9] = x[0, at.NH] * milli * masses.N
    out[10] = x[0, at.PO4] * milli * masses.PO4
    out[11] = x[0, at.SI] * milli * masses.SI * 1000.0
    out[12] = x[0, at.O2] * milli * masses.O2
    out[13] = x[0, at.COPPER] * milli * masses.CU * 1000.0
    out[14] = flow.mass(x, hub) / litre
    out[15] = out[9] / (1.0 + np.exp(found) / eq.ammonium_clegg1995(t, s))
    out[16] = co3 * x[0, at.CA] / kg / eq.aragonite_mucci1983(t, s)
    out[17] = x[0, at.DIC] / kg * 1e6
    out[18] = x[0, at.CHLORAMINE] * milli * 2.0 * masses.CL
    out[19] = x[0, at.MEDICINE] * milli
    out[20] = x[0, at.TOXIN] / kg
    out[21] = y[at.CORAL]
    out[22] = (y[at.DINO_BED] + x[0, at.DINO]) * _DINO
    out[23] = y[at.CYANO] * _DINO
    out[24] = y[at.DIATOM] * _DINO
    out[25] = y[at.HAIR] * _MAT
    out[26] = y[at.REFUGE] * _MAT
    out[27] = x[0, at.DET_C] * milli * 12.011
    out[28] = warmth.forced(c[at.HEATER_0_FORCE], y[at.HEATER_0], c[at.MAINS])
    out[29] = warmth.forced(c[at.CHILLER_FORCE], y[at.CHILLER], c[at.MAINS])
    out[30] = y[at.HEATER_J] / 3.6e6
    out[31] = y[at.CHILLER_J] / 3.6e6
    out[32] = y[at.FILLED_KG] / 0.9971  # fresh water at 25 degC [kg/L]
    out[33] = y[at.EVAPORATED_KG] / 0.9971
    out[34] = y[at.RESERVOIR]
    out[35] = y[at.FLOOR]
    out[36] = room.warmth_c(day_wave, year_wave, y, c, p)
    out[37] = room.co2_ppm(day_wave, y, c, p)
    out[38] = room.light(hour, p) * c[at.LAMPS] * c[at.MAINS]
    out[39] = warmth.temperature(x, hub) + 0.0 * p[d.ROOM_C]
