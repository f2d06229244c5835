"""Every parameter of the simulator: what it means, its value and range before a system is known, and from where.

A member draws each of its own. What the description says and what was learned on the system stand before the
figures here (`build.py`). `docs/science/simulator.md` prints this table.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter and what is believed of it before anything was learned.

    Attributes
    ----------
    middle
        Median of the draw, in `unit`. None when only the description can say; `build.py` then derives it.
    spread
        One standard deviation: of the logarithm when `ratio`, else in `unit`. 0 keeps it fixed.
    low, high
        No draw leaves this range.
    mark
        `sourced`, `common practice`, `memory`, `judgement` or `description`.
    """

    name: str
    meaning: str
    unit: str
    middle: float | None
    spread: float
    low: float
    high: float
    ratio: bool
    mark: str
    source: str


def _ratio(name: str, meaning: str, unit: str, middle: float | None, spread: float, low: float, high: float,
           mark: str, source: str) -> Parameter:  # fmt: skip
    return Parameter(name, meaning, unit, middle, spread, low, high, True, mark, source)


def _plain(name: str, meaning: str, unit: str, middle: float | None, spread: float, low: float, high: float,
           mark: str, source: str) -> Parameter:  # fmt: skip
    return Parameter(name, meaning, unit, middle, spread, low, high, False, mark, source)


BIG = 1e9
_WARMTH = (
    _ratio("WALL_W_K", "heat lost through walls and surface for each kelvin above the room", "W/K", None, 0.25, 0.1, 1e5,
           "sourced", "U of glass 7.2 W/m²K (film 8.3, memory of ASHRAE); areas from the description"),
    _ratio("PUMP_W", "heat of submerged pumps", "W", None, 0.3, 0.0, 1e5, "sourced",
           "all power of a submerged pump ends as heat; 0.06 W per litre when no power is given (judgement)"),
    _ratio("LAMP_W", "lamp heat that reaches the water at full light", "W", None, 0.3, 0.0, 1e5, "common practice",
           "30 to 60 % of the lamps' power; 300 W per m² of display when no power is given (judgement)"),
    _ratio("HEATER_0_W", "power of the first heater", "W", 0.0, 0.04, 0.0, 1e5, "description", "tolerance: judgement"),
    _ratio("HEATER_1_W", "power of the second heater", "W", 0.0, 0.04, 0.0, 1e5, "description", "tolerance: judgement"),
    _plain("HEATER_0_SET", "set point of the first heater", "degC", 25.0, 0.15, 5.0, 40.0, "description",
           "offset of a thermostat: judgement"),
    _plain("HEATER_1_SET", "set point of the second heater", "degC", 24.5, 0.15, 5.0, 40.0, "description",
           "offset of a thermostat: judgement"),
    _ratio("HEATER_SPAN", "between a heater's switching off and on again", "K", 0.25, 0.3, 0.05, 3.0, "common practice",
           "0.2 to 0.5 K"),
    _ratio("CHILLER_W", "heat the chiller moves", "W", 0.0, 0.12, 0.0, 1e5, "description",
           "twice its electrical power (memory: small machines move 1.5 to 3 times)"),
    _plain("CHILLER_SET", "set point of the chiller", "degC", 26.0, 0.15, 5.0, 40.0, "description",
           "offset of a thermostat: judgement"),
    _ratio("CHILLER_SPAN", "between the chiller's switching on and off again", "K", 0.5, 0.3, 0.1, 4.0,
           "common practice", "0.5 to 1 K"),
    _ratio("EVAPORATION", "activity factor of the surface", "1", 0.7, 0.35, 0.15, 4.0, "sourced",
           "Smith, Löf and Jones (1998): 0.74 undisturbed; 1 rippled; weirs and spray above"),
    _ratio("AIR_M_S", "air speed over the surface", "m/s", 0.1, 0.3, 0.0, 2.0, "judgement", "still room"),
    _ratio("FAN_M_S", "air speed under a cooling fan", "m/s", 1.5, 0.3, 0.0, 6.0, "judgement", "sheet, 7.3, fan row"),
)  # fmt: skip
_ROOM = (
    _plain("ROOM_C", "mean room temperature", "degC", 22.0, 0.5, 0.0, 40.0, "description", "a room's sensor or word"),
    _plain("ROOM_SEASON_K", "half of the room's yearly swing", "K", 1.5, 0.6, 0.0, 8.0, "judgement", "heated house"),
    _plain("ROOM_DAY_K", "half of the room's daily swing", "K", 0.8, 0.3, 0.0, 5.0, "judgement", "heated house"),
    _ratio("ROOM_WEATHER_K", "slow noise of the room's temperature, sd", "K", 0.6, 0.3, 0.0, 4.0, "judgement",
           "five days' memory"),
    _plain("ROOM_RH", "relative humidity of the room", "1", 0.5, 0.05, 0.05, 0.95, "description", "a room's sensor"),
    _ratio("ROOM_PPM", "mean CO2 of the room", "ppm", 600.0, 0.12, 380.0, 5000.0, "sourced",
           "ventilated bedroom below 750, closed above 1150 (DTU 2023)"),
    _plain("ROOM_PPM_DAY", "half of the daily swing of ln CO2: people at home", "1", 0.15, 0.06, 0.0, 1.0, "judgement",
           "evening above morning"),
    _ratio("ROOM_PPM_NOISE", "slow noise of ln CO2, sd", "1", 0.12, 0.3, 0.0, 1.0, "judgement", "a day's memory"),
)  # fmt: skip
_GAS = (
    _ratio("PISTON_M_H", "gas transfer velocity of the stirred surface, oxygen", "m/h", 0.2, 0.4, 0.005, 2.0,
           "judgement", "calm lakes 0.015 to 0.03 (Cole 2010); flow and ripples well above"),
    _ratio("PISTON_CALM_M_H", "the same when nothing moves", "m/h", 0.02, 0.3, 0.002, 0.2, "sourced",
           "k600 0.35 to 0.74 m/d (Cole et al. 2010)"),
    _ratio("SKIMMER_AIR_L_H", "water brought to balance with air by the skimmer", "L/h", None, 0.4, 0.0, 1e6,
           "judgement", "0.7 of the volume an hour; the sheet calls 1 to 3 an hour strong"),
)  # fmt: skip
_LIGHT = (
    _plain("LIGHT_ON_H", "lamps begin", "h", 10.0, 0.0, 0.0, 24.0, "description", "local time"),
    _plain("LIGHT_OFF_H", "lamps end", "h", 20.0, 0.0, 0.0, 48.0, "description", "local time"),
    _plain("LIGHT_RAMP_H", "dawn and dusk", "h", 1.5, 0.0, 0.0, 12.0, "description", "inside the lit hours"),
    _ratio("LIGHT_HALF", "share of full light at which production is half", "1", 0.35, 0.3, 0.05, 3.0, "judgement",
           "saturation at 100 to 250 of some 300 µmol/m²s (S94, S95)"),
    _ratio("PRODUCTION", "oxygen made at full light", "mol/h", None, 0.35, 0.0, 1e4, "judgement",
           "25 µmol/kg/h and 8 for each dKH/day of demand: night fall 0.2 to 1 mg/L/h (common practice)"),
    _ratio("TISSUE_D", "time in which fixed carbon is respired", "d", 12.0, 0.4, 1.0, 90.0, "judgement",
           "makes respiration follow production"),
)  # fmt: skip
_CORALS = (
    _ratio("DEMAND_EQ_D", "alkalinity that skeletons take in a day at the reference water", "mol/d", None, 0.4, 0.0, 1e4,
           "common practice", "mixed 0.3 to 0.8 dKH a day; soft 0 to 0.2; learned as soon as there are readings"),
    _plain("CALC_DARK", "calcification in the dark against full light", "1", 0.4, 0.1, 0.05, 1.0, "memory",
           "light-enhanced calcification, about threefold"),
    _ratio("CALC_OMEGA_HALF", "half-saturation of calcification on Ω-1", "1", 3.3, 0.35, 0.3, 20.0, "memory",
           "15 % for each unit of Ω (Chan and Connolly 2013)"),
    _plain("CALC_BEST_C", "temperature of most calcification", "degC", 26.5, 0.7, 23.0, 29.0, "memory", "reef corals"),
    _ratio("CALC_WIDTH_K", "kelvins from there to no calcification", "K", 8.0, 0.15, 4.0, 20.0, "judgement",
           "a parabola; energetics fall above 30 degC (S62)"),
    _plain("CALC_MG", "magnesium in skeletons, mol per mol of metal", "1", 0.03, 0.015, 0.0, 0.15, "memory",
           "0.004 coral, 0.12 coralline algae"),
    _plain("CORAL_GROWTH_Y", "yearly growth of the demand, ln", "1/yr", 0.15, 0.15, -0.5, 1.5, "judgement",
           "colonies that fill their room"),
    _ratio("APPETITE_SD", "slow noise of ln demand, sd", "1", 0.05, 0.3, 0.0, 0.5, "judgement", "ten days' memory"),
    _ratio("PRECIPITATE_OMEGA", "Ω from which stone falls out by itself", "1", 17.0, 0.12, 8.0, 40.0, "memory",
           "likely at 15 to 20"),
    _ratio("PRECIPITATE_D", "share of two fifths of the scarcer of calcium and carbon that falls out a day for each unit of Ω above", "1/d", 0.3, 0.5, 0.0, 10.0,
           "judgement", "no rate was found for tanks"),
)  # fmt: skip
_FOOD = (
    _plain("EATEN", "share of food that is eaten", "1", 0.85, 0.07, 0.2, 1.0, "judgement", "the rest rots"),
    _ratio("GUT_H", "time in which a meal is passed on", "h", 8.0, 0.25, 1.0, 48.0, "memory",
           "most ammonia within 6 to 12 h of a meal"),
    _plain("FAECES", "share of the meal that leaves as detritus", "1", 0.2, 0.05, 0.02, 0.6, "judgement", "by carbon"),
    _plain("FISH_GROWTH", "share of the meal built in", "1", 0.15, 0.05, 0.0, 0.5, "memory",
           "adults keep almost nothing, growing fish 20 to 40 % of N"),
    _ratio("FISH_D", "share of their carbon that fish respire fasting, at 25 degC", "1/d", 0.017, 0.3, 0.0, 0.2,
           "sourced", "ln R50 = 15.7 - 5.02 kK/T (Clarke and Johnston 1999), 50 g fish, 25 % dry, 45 % C"),
    _ratio("ROT_D", "time in which detritus is mineralised", "d", 4.0, 0.4, 0.3, 60.0, "judgement", "days, not weeks"),
    _ratio("DOC_D", "time in which labile dissolved carbon is used", "d", 0.7, 0.4, 0.05, 10.0, "common practice",
           "bloom 12 to 36 h after a dose"),
    _plain("DOC_YIELD", "carbon kept by the bacteria", "1", 0.5, 0.06, 0.2, 0.8, "memory", "0.4 to 0.6"),
    _ratio("Q10", "how life speeds up in ten kelvin", "1", 2.0, 0.12, 1.2, 3.5, "sourced",
           "1.83 among and 2.40 within fish species (Clarke and Johnston 1999)"),
)  # fmt: skip
_NITROGEN = (
    _ratio("AOB_MOL_D", "ammonia that a settled filter could oxidise in a day", "mol/d", None, 0.4, 0.0, 1e4, "judgement",
           "eight times the usual load"),
    _ratio("AOB_HALF", "ammonia at which it works at half", "mol/kg", 1.0e-5, 0.5, 1e-6, 1e-3, "judgement",
           "0.14 mg/L as N"),
    _ratio("NOB_HALF", "the same for nitrite", "mol/kg", 6e-6, 0.5, 1e-6, 1e-3, "judgement", "0.3 mg/L nitrite"),
    _ratio("AOB_GROWTH_D", "fastest growth of ammonia oxidisers", "1/d", 0.45, 0.25, 0.05, 2.0, "memory",
           "doubling in one to two days at best"),
    _ratio("NOB_GROWTH_D", "fastest growth of nitrite oxidisers", "1/d", 0.35, 0.25, 0.05, 2.0, "memory", "slower"),
    _ratio("FILTER_DECAY_D", "their decay", "1/d", 0.03, 0.4, 0.0, 0.5, "memory", "an empty tank forgets in weeks"),
    _ratio("O2_HALF", "oxygen at which nitrifiers and fish slow to half", "mol/kg", 2.5e-5, 0.4, 1e-6, 2e-4, "memory",
           "Pcrit of reef fish 20 to 35 % of saturation"),
    _ratio("DENITRIFY_D", "nitrate lost to nitrogen gas in rock and sand", "1/d", 0.03, 0.7, 0.0, 2.0, "judgement",
           "learned from nitrate readings"),
    _ratio("N_UPTAKE", "most nitrogen that films and animals take for good", "mol/d", None, 0.6, 0.0, 1e3, "judgement",
           "learned from nitrate readings"),
    _ratio("N_HALF", "nitrate at which that is half", "mol/kg", 1e-4, 0.4, 1e-7, 1e-3, "judgement", "6 mg/L nitrate"),
    _ratio("P_UPTAKE", "most phosphorus that films and animals take for good", "mol/d", None, 0.6, 0.0, 1e3, "judgement",
           "learned from phosphate readings"),
    _ratio("P_HALF", "phosphate at which that is half", "mol/kg", 1.5e-6, 0.4, 1e-9, 1e-4, "judgement", "0.14 mg/L"),
    _ratio("ROCK_P_D", "exchange of phosphate with rock and sand", "1/d", 0.15, 0.5, 0.0, 5.0, "judgement",
           "a reservoir that gives back for months (common practice)"),
    _ratio("ROCK_P_KG", "water that would hold as much phosphate as the rock, for each kg of water", "kg/kg", 8.0, 0.6,
           0.0, 200.0, "judgement", "the same"),
    _ratio("MEDIA_L_D", "water cleared of phosphate a day by fresh media", "kg/d", 0.0, 0.4, 0.0, 1e5, "judgement",
           "present when a reactor is described"),
    _ratio("MEDIA_MOL", "phosphate that fills the media", "mol", 0.03, 0.4, 1e-6, 1e3, "judgement", "4 to 8 weeks"),
)  # fmt: skip
_MACHINES = (
    _ratio("RETURN_L_H", "flow of the return pump", "L/h", None, 0.15, 0.0, 1e6, "description",
           "five times the volume when none is given; head takes its part (common practice)"),
    _ratio("FILL_L_H", "top-off flow", "L/h", 60.0, 0.1, 0.0, 1e5, "description", "else 60"),
    _ratio("FILL_SPAN_KG", "fall of the level that starts the top-off", "kg", 0.4, 0.3, 0.02, 50.0, "judgement", "float"),
    _ratio("SKIMMATE_L_D", "tank water that leaves with the skimmate", "L/d", None, 0.5, 0.0, 1e3, "judgement",
           "0.03 % of the volume"),
    _ratio("SKIM_D", "detritus and dissolved carbon taken by the skimmer", "1/d", 0.35, 0.5, 0.0, 20.0, "sourced",
           "took 20 to 30 % of measurable organic carbon (2009-2010 study in the sheet); rate judged from it"),
    _ratio("CARBON_KG_D", "water cleared a day by fresh adsorbing carbon", "kg/d", 0.0, 0.5, 0.0, 1e5, "judgement",
           "present when described"),
    _ratio("CARBON_LIFE_D", "time in which carbon is used up", "d", 21.0, 0.3, 1.0, 200.0, "common practice",
           "2 to 4 weeks"),
    _ratio("UV_L_H", "flow through the UV lamp", "L/h", 0.0, 0.15, 0.0, 1e6, "description", ""),
    _plain("UV_KILL", "share of cells inactivated in a pass", "1", 0.5, 0.25, 0.0, 1.0, "judgement",
           "no dose table exists for these genera (sheet UV-03)"),
    _ratio("OZONE_MOL_H", "organic carbon oxidised by ozone", "mol/h", 0.0, 0.4, 0.0, 1e3, "judgement", "when described"),
    _ratio("TUBE_Y", "yearly loss of delivery of a dosing tube", "1/yr", 0.04, 0.7, 0.0, 1.0, "judgement", "wear"),
    *(_ratio(f"DOSER_{i}_L_D", f"programme of doser {i + 1}", "L/d", 0.0, 0.0, 0.0, 1e4, "description", "")
      for i in range(6)),
    *(_plain(f"DOSER_{i}_GAIN", f"delivery of doser {i + 1} against its setting", "1", 1.0, 0.04, 0.0, 5.0, "judgement",
             "calibration error") for i in range(6)),
    *(_plain(f"DOSER_{i}_PARTS", f"portions a day of doser {i + 1}", "1/d", 24.0, 0.0, 0.0, 1e4, "description",
             "24 when nothing is said (common practice)") for i in range(6)),
)  # fmt: skip
_BLOOMS = (
    _ratio("DINO_GROWTH_D", "fastest growth of bottom dinoflagellates", "1/d", 0.5, 0.4, 0.05, 1.5, "sourced",
           "Ostreopsis above 0.7/d (S30), Amphidinium up to 0.7/d (S33), Prorocentrum 0.1 to 0.5/d (memory)"),
    _plain("DINO_NIGHT", "share in the water at night", "1", 0.25, 0.2, 0.0, 0.95, "sourced",
           "contested: field series found the peak by day (S32), keepers report night"),
    _plain("DINO_NOON", "share in the water at full light", "1", 0.25, 0.2, 0.0, 0.95, "sourced", "the same"),
    _ratio("DINO_N_HALF", "nitrogen at which they grow at half", "mol/kg", 1e-6, 0.5, 1e-8, 1e-4, "judgement", "scarce"),
    _ratio("DINO_P_HALF", "phosphorus at which they grow at half", "mol/kg", 5e-8, 0.5, 1e-9, 1e-5, "judgement", "scarce"),
    _ratio("DINO_LOSS_D", "loss in light and dark", "1/d", 0.08, 0.4, 0.0, 1.0, "judgement", "grazing, export, death"),
    _ratio("DINO_DARK_D", "further loss in the dark", "1/d", 0.05, 0.7, 0.0, 1.0, "memory",
           "many survive weeks of darkness (Carney et al. 2011)"),
    _ratio("CYST_D", "share that rests as cysts for each dark day, and wakes for each lit one", "1/d", 0.03, 0.7, 0.0, 1.0,
           "sourced", "cysts germinated for five months (S34); rate judged"),
    _ratio("DINO_TOXIN", "toxin freed for each mol N that dies", "units/mol", 1.0, 0.5, 0.0, 1e3, "judgement",
           "scale only: no dose is known"),
    _ratio("CYANO_GROWTH_D", "fastest growth of blue-green mats", "1/d", 0.35, 0.4, 0.05, 1.5, "memory",
           "cover doubles in 1 to 5 days"),
    _ratio("DIATOM_GROWTH_D", "fastest growth of diatom films", "1/d", 0.8, 0.3, 0.1, 2.0, "common practice",
           "0.5 to 2 divisions a day"),
    _ratio("HAIR_GROWTH_D", "fastest growth of hair algae", "1/d", 0.2, 0.35, 0.02, 0.6, "memory", "0.1 to 0.3/d"),
    _ratio("REFUGE_GROWTH_D", "fastest growth of algae in the refuge", "1/d", 0.15, 0.35, 0.0, 0.6, "memory",
           "leafy algae"),
    _ratio("MAT_HALF_N", "nitrogen at which mats and algae grow at half", "mol/kg", 2e-6, 0.5, 1e-8, 1e-4, "judgement", ""),
    _ratio("MAT_HALF_P", "phosphorus at which they grow at half", "mol/kg", 1e-7, 0.5, 1e-9, 1e-5, "judgement", ""),
    _ratio("SI_HALF", "silicate at which diatoms grow at half", "mol/kg", 3e-6, 0.4, 1e-8, 1e-4, "memory", "cultures, 1 to 5 µmol/L"),
    _ratio("GRAZE_D", "what grazers take of mats and algae", "1/d", 0.12, 0.5, 0.0, 2.0, "judgement", "snails, fish"),
    _ratio("ROOM_N", "nitrogen in mats and algae when their room is full", "mol", None, 0.4, 1e-6, 1e3, "judgement",
           "0.6 mol/m² of display floor: 500 g wet"),
)  # fmt: skip
_POISONS = (
    _ratio("TOXIN_D", "time in which a toxin decays", "d", 2.0, 0.6, 0.05, 60.0, "judgement", "unknown for tanks"),
    _ratio("CHLORAMINE_D", "time in which chloramine decays", "d", 1.5, 0.5, 0.05, 30.0, "memory",
           "far slower than chlorine, which halves within the hour (S83)"),
    _ratio("COPPER_D", "time in which copper binds to rock", "d", 6.0, 0.6, 0.2, 200.0, "judgement", ""),
    _ratio("MEDICINE_D", "time in which a medicine decays", "d", 5.0, 0.6, 0.1, 200.0, "judgement", "by agent"),
    _ratio("FISH_HARM_D", "loss of fish a day at twice a danger mark", "1/d", 8.0, 0.5, 0.0, 100.0, "judgement",
           "hours; marks in processes/food.py"),
    _ratio("HARM_D", "loss of coral capacity a day at twice a danger mark", "1/d", 0.3, 0.5, 0.0, 5.0, "judgement",
           "marks in processes/calcification.py"),
)  # fmt: skip

PARAMETERS: tuple[Parameter, ...] = (
    *_WARMTH, *_ROOM, *_GAS, *_LIGHT, *_CORALS, *_FOOD, *_NITROGEN, *_MACHINES, *_BLOOMS, *_POISONS,
)  # fmt: skip
NAMES: tuple[str, ...] = tuple(p.name for p in PARAMETERS)
INDEX: dict[str, int] = {name: i for i, name in enumerate(NAMES)}
N_PARAMETERS = len(PARAMETERS)
