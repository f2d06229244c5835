"""What a fit of the simulator leaves free, what stands beside it, and which records can speak of which."""

from __future__ import annotations

# name: (parameters that it scales together, prior sd of its logarithm; None: the parameter's own)
FREE: dict[str, tuple[tuple[str, ...], float | None]] = {
    "heat-loss": (("WALL_W_K",), None),
    "heat-gain": (("PUMP_W",), 0.5),
    "evaporation": (("EVAPORATION",), None),
    "gas-exchange": (("PISTON_M_H", "SKIMMER_AIR_L_H"), 0.5),
    "production": (("PRODUCTION",), None),
    "room-co2": (("ROOM_PPM",), None),
    "calcification": (("DEMAND_EQ_D",), 0.4),
    "nitrate-export": (("N_UPTAKE", "DENITRIFY_D"), 0.7),
    "phosphate-export": (("P_UPTAKE",), 0.7),
    "volume": ((), 0.0),  # its spread is the description's
}
# unknowns that are no answer by themselves, but without which the answers would be too sure
BESIDE: dict[str, tuple[tuple[str, ...], float | None]] = {
    "lamp-heat": (("LAMP_W",), None),
    "heater-power": (("HEATER_0_W", "HEATER_1_W"), None),
    "thermostat-span": (("HEATER_SPAN",), None),
    "set-point": (("HEATER_0_SET", "HEATER_1_SET"), 0.006),
    "room-warmth": (("ROOM_C",), 0.025),
    "humidity": (("ROOM_RH",), 0.1),
    "delivery": (("DOSER_0_GAIN", "DOSER_1_GAIN", "DOSER_2_GAIN", "DOSER_3_GAIN"), 0.04),
    "skimming": (("SKIM_D",), None),
    "rock-phosphate": (("ROCK_P_KG",), None),
    "skimmate": (("SKIMMATE_L_D",), None),
    "food": ((), 0.12),
    "evaporation-untold": (("EVAPORATION",), None),  # without top-off records it is only a guess from the heat
}
ALL = {**FREE, **BESIDE}
# what laws other than ours would change in an answer, one sd of its logarithm, beside what the records leave open.
# Found on simulated systems of other structure (`bench/other_structure.py`, seeds from 1000), judged on others
OTHER_LAWS = {
    "heat-loss": 0.13, "heat-gain": 0.3, "evaporation": 0.05, "gas-exchange": 0.1, "production": 0.15, "room-co2": 0.05,
    "calcification": 0.02, "nitrate-export": 0.05, "phosphate-export": 0.05, "volume": 0.066,
}  # fmt: skip
HEAT_ALONE = 0.16  # more for heat loss when no top-off tells it from evaporation


def told(name: str, has: set[str]) -> bool:
    """Whether any record could speak of a parameter at all."""
    needs = {
        "heat-loss": {"heater", "chiller", "temperature"}, "heat-gain": {"heater", "chiller", "temperature"},
        "evaporation": {"topoff"}, "gas-exchange": {"ph", "oxygen"}, "production": {"ph", "oxygen"},
        "room-co2": {"ph"}, "calcification": {"alkalinity"}, "nitrate-export": {"nitrate"},
        "phosphate-export": {"phosphate"}, "volume": {"alkalinity", "salinity", "heater"},
        "lamp-heat": {"heater", "chiller", "temperature"}, "heater-power": {"heater"},
        "thermostat-span": {"temperature"}, "set-point": {"temperature"}, "room-warmth": {"heater", "chiller"},
        "humidity": {"topoff", "heater", "chiller"},
        "delivery": {"alkalinity", "calcium"}, "skimming": {"nitrate", "phosphate"},
        "rock-phosphate": {"phosphate"}, "skimmate": {"topoff", "salinity"},
        "food": {"nitrate", "phosphate"},
    }  # fmt: skip
    if name == "evaporation-untold":
        return "topoff" not in has and bool({"heater", "chiller"} & has)
    return bool(needs[name] & has)


def inside_of(name: str) -> tuple[str, ...]:
    """The simulator's parameters that an unknown scales together."""
    return ALL[name][0] if name in ALL else ()
