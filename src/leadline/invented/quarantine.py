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
# arrived, left (days ago), who, how much they eat [g pellets a day], kind, how many, from whom; None: still here
COHORTS = (
    (428, 395, "acropora-frags", 0.0, "acropora", 3, "harbour-shop"),
    (352, 310, "clownfish-pair", 0.25, "amphiprion-ocellaris", 2, "a-friend"),
    (318, 286, "montipora-plates", 0.0, "montipora", 2, "harbour-shop"),
    (246, 199, "bristletooth-tang", 0.45, "ctenochaetus", 1, "harbour-shop"),
    (172, 140, "acropora-frags-2", 0.0, "acropora", 6, "a-friend"),
    (101, 55, "anthias-school", 0.6, "pseudanthias", 6, "harbour-shop"),
    (24, None, "three-acropora-frags", 0.0, "acropora", 3, "harbour-shop"),
    (9, None, "fairy-wrasses", 0.35, "cirrhilabrus", 2, "hilltop-shop"),
)
LOOKED = 0.75  # share of days on which somebody looks them over and writes it down


TRUTH = {
    "ROOM_C": 21.6, "ROOM_SEASON_K": 1.4, "ROOM_DAY_K": 0.8, "WALL_W_K": 7.0, "EVAPORATION": 0.3, "PUMP_W": 8.0,
    "LAMP_W": 0.0, "HEATER_0_SET": 25.0, "HEATER_SPAN": 0.4, "DEMAND_EQ_D": 0.0, "PRODUCTION": 0.0, "DENITRIFY_D": 0.01,
    "N_UPTAKE": 0.0, "P_UPTAKE": 1e-5, "FILTER_DECAY_D": 0.05,
}  # fmt: skip


def quarantine(now: dt.datetime, zone: ZoneInfo, cache: Path | None = None) -> tuple[Diary, Basin]:
    """The diary, and the water at ``now``."""
    chance, looks = random.Random("quarantine"), random.Random("quarantine looks")
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
        for arrived, left, who, _, kind, count, source in COHORTS:
            if ago == arrived:
                about = {"kind": kind} | ({"papers": "seller's invoice, origin farmed"} if kind == "acropora" else {})
                came = hand - dt.timedelta(minutes=120)
                diary.write(came, "arrival", who, f"{count}", source=source, note="drip, one hour", extra=about)
            if ago == left:
                seen = "0"
                diary.write(hand + dt.timedelta(minutes=25), "transfer", who, to="great-reef")
        if here and looks.random() < LOOKED and ago not in (12, 8):
            there = {"seen": {c[2]: c[5] for c in here}}
            diary.write(hand - dt.timedelta(minutes=6), "observation", "census", extra=there)
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
    dipped = {"agent": "freshwater-dip", "minutes": "5"}
    first = {
        "agent": "iodine-dip", "minutes": "10", "base": "removed", "fell_off": "two small snails",
        "animals": "three-acropora-frags", "rinse": "to waste",
    }  # fmt: skip
    all_seen = {"seen": {"three-acropora-frags": 3}}  # the wrasses came three days later
    for ago, kind, subject, method, note, extra in (
        (427, "treatment", "dip", "", "", {"agent": "iodine-dip", "base": "partly", "animals": "acropora-frags"}),
        (351, "treatment", "dip", "", "fresh water, five minutes", dipped),
        (340, "observation", "white-spots", "", "three on the male's fin", {"animal": "clownfish-pair"}),
        (244, "observation", "fish-flashing", "", "twice in ten minutes", {"animal": "bristletooth-tang"}),
        (198, "service", "filter-sponge", "cleaned", "bleached, dried", None),
        (171, "treatment", "dip", "", "", {"agent": "iodine-dip", "base": "removed", "animals": "acropora-frags-2"}),
        (100, "treatment", "dip", "", "fresh water, five minutes", dipped),
        (96, "loss", "anthias-school", "", "jumped behind the lid", {"how": "died", "exam": {"gills": "pale"}}),
        (54, "service", "tank", "dried", "torn down, sponge bleached and dried", None),
        (23, "treatment", "dip", "", "", first),
        (12, "observation", "census", "lens and torch", "base and underside: nothing", all_seen),
        (10, "service", "heater-1", "cleaned", "checked on and off", None),
        (8, "observation", "fish-breathing-fast", "", "both, settled by evening", {"animal": "fairy-wrasses",
                                                                                   "tool": "blue-net"}),
        (4, "observation", "fish-flashing", "", "once, the larger one", {"animal": "fairy-wrasses"}),
    ):  # fmt: skip
        value = "1" if kind == "loss" else ""
        diary.write(at(on[ago], zone, 21.1), kind, subject, value, method=method, note=note, extra=extra)
    return diary, pond
