"""The great reef: stony corals that outgrow their dose, and a salinity that nobody has tested for months."""

from __future__ import annotations

import datetime as dt
import math
import random
from pathlib import Path
from zoneinfo import ZoneInfo

from leadline.invented import animals, descriptions
from leadline.invented.basin import DKH, Basin, found
from leadline.invented.calendar import DAYS, Due, at, evening, local_days
from leadline.invented.diary import Diary, Kit, figure
from leadline.invented.quarantine import COHORTS
from leadline.model.substances import food_moles

SYSTEM = "great-reef"
STATED_LITRES = 1150.0
TRUE_LITRES = 1120.0
LAST_SALINITY = 89  # days ago
NEW_SCOOP = 95  # days ago: a new bucket of salt, a bigger scoop
SLIP = 6  # days ago: alkalinity read in meq/L, written as dKH
BLUNDER = 152  # days ago: a calcium of 520
DOSE_RAISED = {322: 0.76, 158: 0.92}  # days ago: dKH/day on the stated volume, 0.60 before
G_CARBONATE = 105.988e-3 / 2  # g Na2CO3 in a meq
G_CALCIUM = 147.01 / 40.078e3  # g CaCl2·2H2O in a mg Ca


# what the reef really is: the description says 1150 L and knows nothing of the rest
TRUTH = {
    "ROOM_C": 21.6, "ROOM_SEASON_K": 1.6, "ROOM_DAY_K": 0.9, "ROOM_WEATHER_K": 0.7, "ROOM_PPM": 560.0,
    "WALL_W_K": 38.0, "EVAPORATION": 0.42, "PUMP_W": 190.0, "LAMP_W": 190.0, "CHILLER_W": 900.0,
    "HEATER_0_SET": 25.05, "HEATER_1_SET": 24.5, "HEATER_SPAN": 0.2, "CHILLER_SET": 25.5, "CHILLER_SPAN": 0.3,
    "SKIMMATE_L_D": 0.4, "TUBE_Y": 0.0, "CALC_MG": 0.06, "APPETITE_SD": 0.03, "PRODUCTION": 0.031, "PISTON_M_H": 0.18,
}  # fmt: skip
FIRST_DEMAND, LATER_DEMAND = 0.60, 1.24  # dKH/day, fifteen months apart: colonies that fill their room
RECORDED_DAYS = 62


def great_reef(now: dt.datetime, zone: ZoneInfo, cache: Path | None = None) -> tuple[Diary, Basin]:
    """The diary, and the water at ``now`` with what its last two months showed."""
    acts, kits_chance = random.Random("great-reef acts"), random.Random("great-reef kits")
    diary = Diary(SYSTEM, zone, now)
    days = list(local_days(now, zone, DAYS))
    begin = at(days[0][1], zone, 0)
    meals = [food_moles("pellets", 3.2), food_moles("frozen-mysid", 9.0)]
    pond = found(
        descriptions.GREAT_REEF, begin,
        water={"salinity": 35.0, "alkalinity": 8.4 / DKH, "calcium": 428.0, "magnesium": 1345.0, "nitrate": 7.0,
               "phosphate": 0.07, "temperature": 25.2, "ph": 8.2, "potassium": 400.0},
        takes={"alkalinity": FIRST_DEMAND / DKH, "nitrate": 0.0, "phosphate": 0.0},
        truth={**TRUTH, "CORAL_GROWTH_Y": math.log(LATER_DEMAND / FIRST_DEMAND) / (DAYS / 365.25)},
        litres=TRUE_LITRES, food_mol_d=(sum(m[0] for m in meals), sum(m[1] for m in meals), sum(m[2] for m in meals)),
        seed=11, cache=cache,
    )  # fmt: skip
    kits = {
        "salinity": Kit("ppt", "refractometer", 0.5, 0.22, bias=-0.25),
        "alkalinity": Kit("dKH", "titration", 0.1, 0.09, lot_sd=0.08),
        "calcium": Kit("mg/L", "titration", 5, 4, lot_sd=4),
        "magnesium": Kit("mg/L", "titration", 10, 18, lot_sd=12),
        "nitrate": Kit("mg/L", "photometer", 0.5, 0.3, 0.05, lot_sd=0.2),
        "phosphate": Kit("mg/L", "photometer", 0.01, 0.008, 0.04, lot_sd=0.005),
    }
    every = {"salinity": 12, "alkalinity": 4, "calcium": 9, "magnesium": 24, "nitrate": 9, "phosphate": 9}
    due = {q: Due(n, random.Random(f"great-reef due {q}"), first=i + 1) for i, (q, n) in enumerate(every.items())}
    change, lots = Due(12, acts, 4), dict.fromkeys(kits, 30)
    socks, cup = Due(6, acts, 2), Due(5, acts, 3)
    dose, gain = 0.60, 0.985
    for ago, date in days:
        dawn, night = at(date, zone, 0), at(date, zone, 23.95)
        pond.advance(min(dawn, now))
        pond.recording = ago <= RECORDED_DAYS
        if ago in DOSE_RAISED:
            dose = DOSE_RAISED[ago]
            gain = 0.995
            diary.write(
                at(date, zone, 20.5),
                "service",
                "doser-1",
                method="calibrated",
                note=f"dose raised to {dose:.2f} dKH a day, cylinder agrees",
            )
        gain *= 1 - 0.00012  # tubing sags a little
        meq = dose / DKH * STATED_LITRES
        pond.dose(0, "alkalinity", meq * gain / 1000.0)
        pond.dose(1, "calcium", meq * 20.04 * 0.985 * gain / 40.078e3)
        if ago == 0:
            break
        # food: morning pellets, an evening of thawed mysid
        pellets, mysid = max(acts.gauss(3.2, 0.4), 1), max(acts.gauss(9, 1.5), 3)
        fed = at(date, zone, 8.2 + acts.random() * 0.6)
        pond.advance(fed)
        pond.feed("pellets", pellets)
        if acts.random() < 0.6:
            diary.write(fed, "feeding", "pellets", figure(pellets, 0.5), "g")
        hand = evening(date, zone, acts)
        pond.advance(min(hand, now))
        pond.feed("frozen-mysid", mysid)
        pond.refill()
        if acts.random() < 0.6:
            diary.write(hand - dt.timedelta(minutes=25), "feeding", "frozen-mysid", figure(mysid, 1), "g")
        _tests(ago, date, hand, zone, pond, diary, kits, due, lots, kits_chance)
        if change.today() and ago > 2:
            _exchange(ago, hand + dt.timedelta(minutes=35), pond, diary, acts)
        if socks.today() and acts.random() < 0.5:
            diary.write(hand + dt.timedelta(minutes=6), "service", "filter-sock", method="replaced")
        if cup.today() and acts.random() < 0.6:
            diary.write(hand + dt.timedelta(minutes=8), "service", "skimmer-1", method="cleaned")
        pond.advance(min(night, now))
        diary.write(night, "addition", "sodium-carbonate", figure(meq * G_CARBONATE, 0.1), "g", "doser-1")
        calcium = meq * 20.04 * 0.985 * G_CALCIUM
        diary.write(night, "addition", "calcium-chloride-dihydrate", figure(calcium, 0.1), "g", "doser-2")
    pond.advance(now)
    _life(diary, days, zone)
    return diary, pond


def _tests(
    ago: int,
    date: dt.date,
    hand: dt.datetime,
    zone: ZoneInfo,
    pond: Basin,
    diary: Diary,
    kits: dict[str, Kit],
    due: dict[str, Due],
    lots: dict[str, int],
    chance: random.Random,
) -> None:
    """An evening's readings, each from the true water through its kit."""
    minute = 0
    forced = {
        "salinity": {LAST_SALINITY},
        "alkalinity": {SLIP, 10},
        "calcium": {BLUNDER, BLUNDER - 1, 4},
        "nitrate": {3},
        "phosphate": {3},
        "magnesium": {11},
    }
    barred = {
        "salinity": range(LAST_SALINITY),
        "alkalinity": range(SLIP),
        "calcium": range(BLUNDER - 6, BLUNDER - 1),
        "nitrate": range(3),
        "phosphate": range(3),
        "magnesium": range(11),
    }
    for quantity, kit in kits.items():
        wanted = due[quantity].today()
        if ago in forced[quantity]:
            wanted = True
        elif ago in barred[quantity] or 222 <= ago <= 240:  # a fortnight away, and a little more
            wanted = False
        if not wanted:
            continue
        when = hand + dt.timedelta(minutes=minute)
        minute += 4
        lots[quantity] -= 1
        if lots[quantity] <= 0 and quantity != "salinity":
            lots[quantity] = 32
            kit.new_lot(chance)
            diary.write(when - dt.timedelta(minutes=1), "service", f"{quantity}-kit", method="new-lot")
        true = pond.level(quantity) * (1.00472 if quantity == "salinity" else 1.0)
        shown, note = kit.read(true, chance), ""
        if quantity == "alkalinity" and ago == SLIP:
            # the burette's other scale: meq/L read off, dKH written
            shown = figure(float(shown) / DKH, 0.1)
        if quantity == "calcium" and ago == BLUNDER:
            shown = "520"  # one syringe too many
        if quantity == "calcium" and ago == BLUNDER - 1:
            note = "again, after yesterday's odd figure"
        diary.write(when, "reading", quantity, shown, kit.unit, kit.method, note=note)
        if quantity == "magnesium" and float(shown) < 1275 and ago > 12:
            salt = "magnesium-chloride-hexahydrate"
            pond.add(salt, 300.0, "g")
            diary.write(when + dt.timedelta(minutes=9), "addition", salt, "300", "g", "by-hand")


def _exchange(ago: int, when: dt.datetime, pond: Basin, diary: Diary, chance: random.Random) -> None:
    """A water change. Mixed by the scoop: well at first, a little strong since the new scoop came."""
    litres = 90.0 if chance.random() < 0.8 else 60.0
    true_psu = 34.8 + chance.gauss(0, 0.15) if ago > NEW_SCOOP else 36.4 + chance.gauss(0, 0.2)
    part = true_psu / 35
    new = {"salinity": true_psu, "alkalinity": 8.6 * part, "calcium": 432 * part, "magnesium": 1340 * part}
    pond.exchange(litres, litres * (1 + chance.gauss(0, 0.01)), new)
    extra = {"salinity": 35.0 if ago > NEW_SCOOP else 35.5} if chance.random() < 0.7 else None
    diary.write(when, "exchange", "mixed-seawater", figure(litres, 1), "L", extra=extra)


def _life(diary: Diary, days: list[tuple[int, dt.date]], zone: ZoneInfo) -> None:
    """What happens in a house with a reef, apart from figures."""
    on = dict(days)
    for ago, kind, subject, method, note in (
        (441, "service", "refractometer", "calibrated", "on the 35 standard"),
        (430, "observation", "polyps-closed", "", "only the left bommie, open again by noon"),
        (412, "service", "ph", "calibrated", "7 and 10"),
        (395, "arrival", "acropora-frags", "", "three frags from the quarantine rack"),
        (371, "service", "return-pump", "cleaned", "citric acid, an hour"),
        (344, "observation", "spawning", "", "snails, water milky until morning"),
        (318, "service", "ph", "calibrated", ""),
        (309, "service", "chiller-1", "cleaned", "condenser full of dust"),
        (286, "arrival", "montipora-plates", "", "two, glued low on the right"),
        (268, "service", "topoff-1", "cleaned", "snail on the float"),
        (241, "note", "away", "", "two weeks away, neighbour feeds"),
        (224, "service", "ph", "calibrated", ""),
        (205, "service", "light-1", "cleaned", "lenses"),
        (178, "service", "salt", "new-lot", ""),
        (169, "service", "skimmer-1", "replaced", "new air line"),
        (151, "note", "calcium", "", "yesterday's 520 was mine, fine today"),
        (140, "arrival", "acropora-frags-2", "", "six frags, grown on in quarantine"),
        (133, "service", "ph", "calibrated", ""),
        (NEW_SCOOP, "service", "salt", "new-lot", "new bucket, new scoop"),
        (97, "service", "heater-2", "replaced", "the old one was scaled up"),
        (74, "observation", "algae-on-glass", "", "every third day now"),
        (58, "service", "return-pump", "cleaned", ""),
        (44, "service", "ph", "calibrated", ""),
        (31, "observation", "coral-pale", "", "tips of the big table, lights up 5 percent last week"),
        (23, "service", "salt", "new-lot", ""),
        (16, "observation", "snails-off-glass", "", "two on their backs"),
        (5, "note", "log", "", "busy week, only fed and looked"),
        (2, "observation", "polyps-closed", "", "birdsnest half closed in the evening"),
        (1, "service", "skimmer-1", "cleaned", ""),
    ):
        diary.write(at(on[ago], zone, 20.2), kind, subject, method=method, note=note)
    animals.life(diary, days, zone, animals.REEF, animals.REEF_EVENTS, COHORTS)
