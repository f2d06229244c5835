"""Bands for a mixed reef with stony corals, used when a system declares none; named when they are used.

`aim` is where the keeper wants to be, `limit` the edge beyond which harm is expected. In stored units.
Origin: common practice, natural values from the composition of standard seawater (memory); the ceilings of
several nutrients and of alkalinity are contested.
"""

from __future__ import annotations

from leadline.system.methods import DKH

Range = tuple[float, float]

DEFAULTS: dict[str, tuple[Range, Range | None]] = {
    "temperature": ((24.5, 26.5), (22.5, 28.5)),
    "salinity": ((34.0, 36.0), (32.0, 37.5)),
    "ph": ((7.9, 8.45), (7.6, 8.6)),
    "alkalinity": ((7.0 * DKH, 10.0 * DKH), (6.0 * DKH, 12.0 * DKH)),
    "calcium": ((400.0, 460.0), (350.0, 520.0)),
    "magnesium": ((1250.0, 1420.0), (1100.0, 1650.0)),
    "potassium": ((370.0, 430.0), (330.0, 480.0)),
    "strontium": ((6.0, 11.0), (4.0, 18.0)),
    "nitrate": ((1.0, 20.0), (0.0, 50.0)),
    "nitrite": ((0.0, 0.2), (0.0, 1.0)),
    "ammonia": ((0.0, 0.1), (0.0, 0.25)),
    "phosphate": ((0.02, 0.15), (0.005, 0.5)),
    "iodine": ((35.0, 90.0), (20.0, 200.0)),
    "copper": ((0.0, 5.0), (0.0, 10.0)),
    "zinc": ((0.0, 15.0), (0.0, 50.0)),
    "oxygen": ((5.5, 9.0), (4.5, 12.0)),
}
CONTESTED = frozenset({"alkalinity", "nitrate", "phosphate", "nitrite", "iodine", "strontium", "ph"})
# reckoned even when nobody ever measured them: what was never tested is wide open, and says so
CORE = ("temperature", "salinity", "alkalinity", "calcium", "magnesium", "nitrate", "phosphate", "ph")

# the most by which a deliberate correction may move a quantity in a day, stored unit (common practice)
MOST_A_DAY: dict[str, float] = {
    "alkalinity": 0.5 * DKH, "calcium": 20.0, "magnesium": 50.0, "salinity": 0.5, "potassium": 10.0,
    "nitrate": 5.0, "phosphate": 0.03,
}  # fmt: skip

# what is disputed about each, in a sentence for whoever chooses a band; common practice and memory
DISPUTED: dict[str, str] = {
    "alkalinity": "above 9 dKH with very little nutrient, burnt tips are often told and seldom shown; how fast it may "
    "move in a day nobody has measured well",
    "nitrate": "harm depends on its ratio to phosphate and on heat; there is no single safe number",
    "phosphate": "fine reefs stand above 0.5 mg/L, and too little starves corals; the ceiling is disputed, the floor "
    "is not",
    "nitrite": "chloride protects fish in the sea: it marks a broken filter rather than poisons",
    "iodine": "the error of most tests is wider than the band",
    "strontium": "whether it needs dosing at all is disputed",
    "ph": "low pH with normal alkalinity is mostly harmless where it is steady",
}  # fmt: skip
