"""The quarantine tank: cohorts come and go, and the young filter shows as ammonia after each."""

from __future__ import annotations

import datetime as dt
import random
from pathlib import Path
from zoneinfo import ZoneInfo

from leadline.invented import descriptions
from leadline.invented.basin import DKH, Basin, found
from leadline.invented.calendar import DAYS, at, evening, local_days
from leadline.invented.diary import Diary, Kit, figure
from leadline.model import layout

SYSTEM = "quarantine"
LITRES = 90.0
# arrived, left (days ago), who, how much they eat [g pellets a day]; None: still here
COHORTS = (
    (428, 395, "acropora-frags", 0.0),
    (352, 310, "pair-of-clownfish", 0.25),
    (318, 286, "montipora-plates", 0.0),
    (246, 199, "bristletooth-tang", 0.45),
    (172, 140, "acropora-frags", 0.0),
    (101, 55, "school-of-anthias", 0.6),
    (9, None, "pair-of-wrasses", 0.35),
)


TRUTH = {
    "ROOM_C": 21.6, "ROOM_SEASON_K": 1.4, "ROOM_DAY_K": 0.8, "WALL_W_K": 7.0, "EVAPORATION": 0.3, "PUMP_W": 8.0,
    "LAMP_W": 0.0, "HEATER_0_SET": 25.0, "HEATER_SPAN": 0.4, "DEMAND_EQ_D": 0.0, "PRODUCTION": 0.0, "DENITRIFY_D": 0.01,
    "N_UPTAKE": 0.0, "P_UPTAKE": 1e-5, "FILTER_DECAY_D": 0.05,
}  # fmt: skip


def quarantine(now: dt.datetime, zone: ZoneInfo, cache: Path | None = None) -> tuple[Diary, Basin]:
    """The diary, and the water at ``now``."""
    chance = random.Random("quarantine")
    diary = Diary(SYSTEM, zone, now)
    days = list(local_days(now, zone, DAYS))
    pond = found(
        descriptions.QUARANTINE, at(days[0][1], zone, 0),
        water={"salinity": 34.5, "alkalinity": 7.6 / DKH, "calcium": 410.0, "magnesium": 1290.0, "nitrate": 4.0,
               "phosphate": 0.05, "temperature": 25.0, "ph": 8.1},
        truth=TRUTH, litres=LITRES, food_mol_d=(0.0, 0.0, 0.0), seed=13, cache=cache, step_s=600.0,
    )  # fmt: skip
    pond.e.y[0, [layout.AOB, layout.NOB]] = 4e-4  # a young filter: mol N a day
    ammonia = Kit("mg/L as N", "colour-card", 0.05, 0.02, 0.15)
    salinity = Kit("ppt", "refractometer", 0.5, 0.3)
    nitrate = Kit("mg/L", "colour-card", 2.5, 0.5, 0.15)
    temperature = Kit("degC", "glass-thermometer", 0.5, 0.15)
    seen = "0"
    for ago, date in days:
        pond.advance(min(at(date, zone, 0), now))
        if ago == 0:
            break
        hand = evening(date, zone, chance) + dt.timedelta(minutes=50)  # last of the round, own net
        pond.advance(min(hand, now))
        here = [c for c in COHORTS if c[0] >= ago and (c[1] is None or c[1] < ago)]
        food = sum(c[3] for c in here)
        if food and hand < now:
            grams = food * max(0.3, chance.gauss(1, 0.15))
            pond.feed("pellets", grams)
            if chance.random() < 0.7:
                diary.write(hand - dt.timedelta(minutes=4), "feeding", "pellets", figure(grams, 0.05), "g")
        for arrived, left, who, _ in COHORTS:
            if ago == arrived:
                diary.write(hand - dt.timedelta(minutes=120), "arrival", who, source="shop", note="drip, one hour")
            if ago == left:
                seen = "0"
                diary.write(hand + dt.timedelta(minutes=25), "transfer", who, to="great-reef")
        age = min((c[0] - ago for c in here), default=99)
        fish = any(c[3] for c in here)
        if (fish and (age <= 14 or ago % 4 == 0)) or (not fish and ago % 11 == 0):
            seen = ammonia.read(pond.level("ammonia"), chance)
            diary.write(hand, "reading", "ammonia", seen, ammonia.unit, "colour-card")
        if ago % 6 == 1 and here:
            true = pond.level("salinity") * 1.00472
            diary.write(
                hand + dt.timedelta(minutes=3),
                "reading",
                "salinity",
                salinity.read(true, chance),
                "ppt",
                "refractometer",
            )
        if ago % 3 == 0 and here:
            shown = temperature.read(pond.level("temperature"), chance)
            diary.write(hand + dt.timedelta(minutes=2), "reading", "temperature", shown, "degC", "glass-thermometer")
        if ago % 13 == 5 and here:
            shown = nitrate.read(pond.level("nitrate"), chance)
            diary.write(hand + dt.timedelta(minutes=6), "reading", "nitrate", shown, "mg/L", "colour-card")
        if (here and ago % 5 == 2) or ago % 21 == 20 or (fish and float(seen) >= 0.2):
            new = {"salinity": 34.5 + chance.gauss(0, 0.25), "alkalinity": 7.8, "calcium": 415.0, "magnesium": 1300.0}
            pond.exchange(25, 25, new)
            diary.write(
                hand + dt.timedelta(minutes=12), "exchange", "mixed-seawater", "25", "L", extra={"salinity": 34.5}
            )
    pond.advance(now)
    on = dict(days)
    for ago, kind, subject, method, note in (
        (351, "treatment", "dip", "", "fresh water, five minutes"),
        (340, "observation", "white-spots", "", "three on the male's fin"),
        (244, "observation", "fish-flashing", "", "twice in ten minutes"),
        (198, "service", "filter-sponge", "cleaned", "bleached, dried"),
        (100, "treatment", "dip", "", "fresh water, five minutes"),
        (96, "loss", "one-anthias", "", "jumped behind the lid"),
        (54, "service", "filter-sponge", "cleaned", ""),
        (10, "service", "heater-1", "cleaned", "checked on and off"),
        (8, "observation", "fish-breathing-fast", "", "both, settled by evening"),
        (4, "observation", "fish-flashing", "", "once, the larger one"),
    ):
        diary.write(at(on[ago], zone, 21.1), kind, subject, method=method, note=note)
    return diary, pond
