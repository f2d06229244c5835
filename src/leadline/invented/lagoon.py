"""The lagoon: soft corals, well kept, every week the same. Its first months are in an old spreadsheet."""

from __future__ import annotations

import datetime as dt
import random
from pathlib import Path
from zoneinfo import ZoneInfo

from leadline.invented import animals, descriptions
from leadline.invented.basin import DKH, Basin, found
from leadline.invented.calendar import DAYS, Due, at, evening, local_days
from leadline.invented.diary import Diary, Kit, figure
from leadline.model.substances import food_moles

SYSTEM = "lagoon"
LITRES = 380.0
BEFORE = 400  # days of spreadsheet before the journal begins
WIDE_HEADER = "Date;Salinity (psu);Temp (°C);KH (dKH);Ca (mg/L);Mg (mg/L);NO3 (mg/L);PO4 (mg/L);Remarks"


TRUTH = {
    "ROOM_C": 21.6, "ROOM_SEASON_K": 1.4, "ROOM_DAY_K": 0.8, "WALL_W_K": 20.0, "EVAPORATION": 0.4, "PUMP_W": 40.0,
    "LAMP_W": 60.0, "HEATER_0_SET": 25.2, "HEATER_SPAN": 0.3, "SKIMMATE_L_D": 0.06, "CORAL_GROWTH_Y": 0.15,
    "CALC_MG": 0.03,
}  # fmt: skip


def lagoon(now: dt.datetime, zone: ZoneInfo, cache: Path | None = None) -> tuple[Diary, Basin, str]:
    """The diary, the water at ``now``, and the spreadsheet that went before (day first, comma, semicolons)."""
    chance = random.Random("lagoon")
    diary = Diary(SYSTEM, zone, now)
    days = list(local_days(now, zone, DAYS + BEFORE))
    pond = found(
        descriptions.LAGOON, at(days[0][1], zone, 0),
        water={"salinity": 34.9, "alkalinity": 8.0 / DKH, "calcium": 420.0, "magnesium": 1310.0, "nitrate": 5.0,
               "phosphate": 0.06, "temperature": 25.2, "ph": 8.2},
        takes={"alkalinity": 0.045 / DKH, "nitrate": 0.0, "phosphate": 0.0}, truth=TRUTH, litres=LITRES * 0.99,
        food_mol_d=food_moles("pellets", 0.9), seed=12, cache=cache, step_s=600.0,
    )  # fmt: skip
    kits = {
        "salinity": Kit("psu", "conductivity-meter", 0.1, 0.08, bias=0.05),
        "temperature": Kit("degC", "glass-thermometer", 0.5, 0.15),
        "alkalinity": Kit("dKH", "titration", 0.1, 0.08, lot_sd=0.06),
        "calcium": Kit("mg/L", "titration", 5, 4, lot_sd=4),
        "magnesium": Kit("mg/L", "titration", 10, 18, lot_sd=10),
        "nitrate": Kit("mg/L", "photometer", 0.5, 0.3, 0.05),
        "phosphate": Kit("mg/L", "photometer", 0.01, 0.008, 0.03),
    }
    every = {"calcium": 14.0, "magnesium": 28.0}
    due = {quantity: Due(every.get(quantity, 7.0), random.Random(f"lagoon {quantity}"), 2) for quantity in kits}
    change, session, wide, low = Due(8, chance, 6), Due(7, chance, 3), [WIDE_HEADER], False
    for ago, date in days:
        pond.advance(min(at(date, zone, 0), now))
        if ago == 0:
            break
        hand = evening(date, zone, chance)
        grams = max(0.0, chance.gauss(0.9, 0.12))
        pond.advance(hand)
        pond.feed("pellets", grams)
        pond.refill()
        if ago <= DAYS and date.weekday() == 6:
            diary.write(
                hand - dt.timedelta(minutes=20), "feeding", "pellets", figure(grams * 7, 0.5), "g", note="the week"
            )
        read: dict[str, str] = {}
        sitting = session.today()
        for quantity, kit in kits.items():
            if ago > DAYS:  # the spreadsheet: one sitting a week, the longer tests not each time
                wanted = sitting and chance.random() < min(1.0, 7.0 / every.get(quantity, 7.5))
            else:
                late = ago == 2 and quantity in ("salinity", "alkalinity", "nitrate")
                wanted = due[quantity].today() or late
            if wanted:
                true = pond.level(quantity)
                read[quantity] = kit.read(true, chance)
        low = low if "alkalinity" not in read else float(read["alkalinity"]) < 8.2
        if ago <= DAYS:
            for minute, (quantity, shown) in enumerate(read.items()):
                when = hand + dt.timedelta(minutes=4 * minute)
                diary.write(when, "reading", quantity, shown, kits[quantity].unit, kits[quantity].method)
        elif read:
            remark = "new lamp" if ago == DAYS + 200 else ""
            cells = [read.get(quantity, "").replace(".", ",") for quantity in kits]
            wide.append(";".join([date.strftime("%d.%m.%Y"), *cells, remark]))
        if change.today():
            litres = 40.0
            new = {"salinity": 35.0 + chance.gauss(0, 0.12), "alkalinity": 8.6, "calcium": 440.0, "magnesium": 1340.0}
            pond.exchange(litres, litres, new)
            if ago <= DAYS:
                diary.write(
                    hand + dt.timedelta(minutes=32),
                    "exchange",
                    "mixed-seawater",
                    "40",
                    "L",
                    extra={"salinity": round(new["salinity"], 1), "temperature": 25.0},
                )
        if date.weekday() == 2 and low:
            grams = 6.0
            pond.add("sodium-bicarbonate", grams, "g")
            if ago <= DAYS:
                diary.write(hand + dt.timedelta(minutes=34), "addition", "sodium-bicarbonate", "6", "g", "by-hand")
    pond.advance(now)
    on = dict(days)
    for ago, kind, subject, method, note in (
        (402, "service", "alkalinity-kit", "new-lot", ""),
        (330, "service", "skimmer-1", "cleaned", ""),
        (291, "service", "conductivity-meter", "calibrated", "53.0 mS/cm standard"),
        (255, "observation", "spawning", "", ""),
        (202, "service", "heater-1", "cleaned", "tested on and off"),
        (181, "service", "alkalinity-kit", "new-lot", ""),
        (120, "service", "conductivity-meter", "calibrated", ""),
        (64, "service", "skimmer-1", "cleaned", ""),
        (30, "service", "conductivity-meter", "calibrated", "53.0 mS/cm standard, read 52.9"),
        (12, "service", "topoff-1", "cleaned", ""),
    ):
        diary.write(at(on[ago], zone, 20.6), kind, subject, method=method, note=note)
    animals.life(diary, [d for d in days if d[0] <= DAYS], zone, animals.LAGOON, animals.LAGOON_EVENTS)
    return diary, pond, "\r\n".join(wide) + "\r\n"
