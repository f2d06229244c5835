"""Where each amount stands in the simulator's arrays: water, pools, controls, parameters, ledger.

`x[body, STATE]` are amounts in one body of water and move with it; `y[POOL]` belong to the system as a whole;
`c[CONTROL]` is what the machines do; `p[PARAMETER]` is one member's draw (`parameters.py` has units and sources);
`g[body, PLACE]` is where things stand. In the numpy form each has one more axis, of members, at the end.
"""

from __future__ import annotations

# amounts in a body of water ------------------------------------------------------------------------
STATES = (
    "WATER", "SALT", "HEAT",  # kg, kg, J above 0 degC
    "TA", "DIC", "CA", "MG", "K",  # mol (alkalinity: mol of charge)
    "NH", "NO2", "NO3", "PO4", "SI", "O2",  # mol
    "DOC", "DET_C", "DET_N", "DET_P",  # mol: labile dissolved carbon; detritus
    "CHLORAMINE", "COPPER", "MEDICINE", "TOXIN",  # mol as Cl2, mol, g, units
    "DINO",  # dinoflagellates in the water, mol N
)  # fmt: skip
(
    WATER, SALT, HEAT, TA, DIC, CA, MG, K, NH, NO2, NO3, PO4, SI, O2, DOC, DET_C, DET_N, DET_P,
    CHLORAMINE, COPPER, MEDICINE, TOXIN, DINO,
) = range(len(STATES))  # fmt: skip
N_STATES = len(STATES)

# pools of the whole system -------------------------------------------------------------------------
DOSERS = 6
HEATERS = 2
POOLS = (
    "CORAL",  # calcifying capacity against the start [1]
    "AOB", "NOB",  # most that nitrifiers can oxidise [mol N/d at 25 degC]
    "TISSUE",  # carbon fixed by light and not yet respired [mol C]
    "GUT_C", "GUT_N", "GUT_P",  # food eaten, not yet passed on [mol]
    "FISH",  # fish and other feeders [mol C]
    "GROWN_N", "GROWN_P",  # built into animals and films for good [mol]
    "DINO_BED", "CYST", "CYANO", "DIATOM", "HAIR", "REFUGE",  # plants and mats [mol N]
    "ROCK_P", "MEDIA_P", "ROCK_CU",  # bound [mol]
    "CARBON_AGE",  # adsorbing carbon: share used up [1]
    "HEATER_0", "HEATER_1", "CHILLER", "FILLING",  # 1 while on
    "RESERVOIR", "FLOOR",  # kg
    "CAN_0", "CAN_1", "CAN_2", "CAN_3", "CAN_4", "CAN_5",  # what is left in each doser's container [L]
    "WEATHER", "BREATH", "APPETITE",  # slow noise of room warmth [K], room CO2 [ln], demand [ln]
    "HEATER_J", "CHILLER_J", "FILLED_KG", "EVAPORATED_KG",  # running totals, for duty and volumes
)  # fmt: skip
(
    CORAL, AOB, NOB, TISSUE, GUT_C, GUT_N, GUT_P, FISH, GROWN_N, GROWN_P, DINO_BED, CYST, CYANO, DIATOM, HAIR, REFUGE,
    ROCK_P, MEDIA_P, ROCK_CU, CARBON_AGE, HEATER_0, HEATER_1, CHILLER, FILLING, RESERVOIR, FLOOR,
    CAN_0, CAN_1, CAN_2, CAN_3, CAN_4, CAN_5, WEATHER, BREATH, APPETITE,
    HEATER_J, CHILLER_J, FILLED_KG, EVAPORATED_KG,
) = range(len(POOLS))  # fmt: skip
N_POOLS = len(POOLS)

# what the machines do ------------------------------------------------------------------------------
CONTROLS = (
    "MAINS",  # 1 with power
    "RETURN", "WAVES",  # share of full flow; of full stirring
    "HEATER_0_FORCE", "HEATER_1_FORCE", "CHILLER_FORCE", "FILL_FORCE",  # -1 off, 0 by its control, 1 on: for good
    "HEATER_0_EFFECT", "HEATER_1_EFFECT", "CHILLER_EFFECT",  # 1 as rated, 0 runs without effect, below 0 the opposite
    "LAMPS", "SKIMMER", "UV", "OZONE", "FAN", "CARBON", "MEDIA", "REFUGE_LAMPS",  # share of full
    "DOSER_0", "DOSER_1", "DOSER_2", "DOSER_3", "DOSER_4", "DOSER_5",  # times its programme
    "SIPHON_0", "SIPHON_1", "SIPHON_2", "SIPHON_3", "SIPHON_4", "SIPHON_5",  # L/h beside the programme
    "ROOM_WARMER", "ROOM_CO2", "VITALITY",  # K added; ppm added; share of healthy calcification
    "PROBE_OFFSET",  # K that the controlling thermometer reads too high
    "PROBE_STUCK",  # above 0: the temperature [degC] at which it stands still
)  # fmt: skip
(
    MAINS, RETURN, WAVES, HEATER_0_FORCE, HEATER_1_FORCE, CHILLER_FORCE, FILL_FORCE, HEATER_0_EFFECT, HEATER_1_EFFECT,
    CHILLER_EFFECT, LAMPS, SKIMMER, UV, OZONE, FAN, CARBON, MEDIA, REFUGE_LAMPS,
    DOSER_0, DOSER_1, DOSER_2, DOSER_3, DOSER_4, DOSER_5, SIPHON_0, SIPHON_1, SIPHON_2, SIPHON_3, SIPHON_4, SIPHON_5,
    ROOM_WARMER, ROOM_CO2, VITALITY, PROBE_OFFSET, PROBE_STUCK,
) = range(len(CONTROLS))  # fmt: skip
N_CONTROLS = len(CONTROLS)
AT_REST = tuple(
    1.0
    if name in ("MAINS", "RETURN", "WAVES", "LAMPS", "SKIMMER", "UV", "OZONE", "FAN", "CARBON", "MEDIA",
                "REFUGE_LAMPS", "VITALITY")
    or name.startswith("DOSER_")
    or name.endswith("_EFFECT")
    else 0.0
    for name in CONTROLS
)  # fmt: skip

# where things stand, one row a body ----------------------------------------------------------------
PLACES = (
    "AREA",  # open surface [m²]
    "WALLS",  # share of the walls' heat loss [1]
    "LIFE",  # share of nitrifying and mineralising surfaces [1]
    "FULL",  # kg at the running level
    "BRIM",  # kg at which it runs over
    "DRAIN",  # kg above the weir: leaves when the return stops
    "LIVES",  # 1 where animals, rock and lamps are
    "PLANT",  # 1 where heater, chiller, skimmer, top-off and dosers are
)
AREA, WALLS, LIFE, FULL, BRIM, DRAIN, LIVES, PLANT = range(len(PLACES))
N_PLACES = len(PLACES)

# what crosses the border of the system, by cause ---------------------------------------------------
CAUSES = (
    "AIR",  # evaporation, walls, gases
    "POWER",  # heaters, chiller, pumps, lamps
    "FILL",  # top-off
    "DOSE",
    "SKIMMATE",
    "SPILL",
    "SKELETON",
    "NITROGEN_GAS",
    "SORBENT",  # what carbon takes away for good
    "HAND",  # feeding, exchanges, additions: whatever an act brought or took
)
AIR, POWER, FILL, DOSE, SKIMMATE, SPILL, SKELETON, NITROGEN_GAS, SORBENT, HAND = range(len(CAUSES))
N_CAUSES = len(CAUSES)

# fixed proportions, mol per mol --------------------------------------------------------------------
# plankton 106:16:1 (Redfield, as in Geider and La Roche 2002); bottom plants 550:30:1 (Atkinson and Smith 1983)
PLANKTON_C, PLANKTON_P = 106.0 / 16.0, 1.0 / 16.0
PLANT_C, PLANT_P = 550.0 / 30.0, 1.0 / 30.0
# fish: 10 % N, 2 % P of dry mass (reference sheet 5.3), 45 % C (memory)
FISH_N, FISH_P = (10.0 / 14.007) / (45.0 / 12.011), (2.0 / 30.97376) / (45.0 / 12.011)
DAY = 86400.0
