"""A keeper who feeds, tests, doses and changes water, and who forgets, mistypes, adjusts late and goes away.

How often is judgement: a careful person with a family. The diary holds what this keeper believes; the water does not
care.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from leadline.invented.basin import Basin
from leadline.invented.calendar import Due, at, evening
from leadline.invented.diary import Diary, Kit, figure
from leadline.system.description import System
from leadline.system.methods import DKH, Performance

# days between tests of a keeper with time: common practice
EVERY_D = {
    "temperature": 3.0, "salinity": 7.0, "alkalinity": 4.0, "calcium": 10.0, "magnesium": 21.0, "ph": 14.0,
    "nitrate": 10.0, "phosphate": 9.0, "ammonia": 30.0, "potassium": 40.0,
}  # fmt: skip
_WRITTEN = {
    "temperature": ("degC", 0.1), "salinity": ("psu", 0.1), "alkalinity": ("dKH", 0.1), "calcium": ("mg/L", 5.0),
    "magnesium": ("mg/L", 10.0), "ph": ("1", 0.01), "nitrate": ("mg/L", 0.5), "phosphate": ("mg/L", 0.01),
    "ammonia": ("mg/L", 0.05), "potassium": ("mg/L", 5.0),
}  # fmt: skip


@dataclass(frozen=True)
class Ways:
    """What kind of keeper this is.

    Attributes
    ----------
    forgets
        Chance that a test that is due is not done, or not written down. [1]
    mistypes
        Chance that a written figure is wrong: a digit swapped, a point moved, another unit. [1]
    leaves_out
        Chance that a meal or a service isn't written down. [1]
    away
        Spans of days since the beginning in which nobody is there.
    adjusts
        Whether doses are changed when alkalinity leaves its aim.
    """

    forgets: float = 0.2
    mistypes: float = 0.01
    leaves_out: float = 0.35
    away: tuple[tuple[float, float], ...] = ()
    adjusts: bool = True


@dataclass
class Household:
    """What the keeper usually gives and does: food in grams a day, an exchange every so many days."""

    food_g_d: Mapping[str, float]
    exchange: tuple[float, float, float] | None  # every days, litres, salinity
    by_hand: Mapping[str, tuple[float, float]] = field(default_factory=dict)


def mistyped(text: str, chance: random.Random) -> str:
    """A figure as a tired hand writes it."""
    digits = [i for i, c in enumerate(text) if c.isdigit()]
    kind = chance.random()
    if kind < 0.4 and len(digits) >= 2:
        i = digits[chance.randrange(len(digits) - 1)]
        j = digits[digits.index(i) + 1]
        swapped = list(text)
        swapped[i], swapped[j] = swapped[j], swapped[i]
        return "".join(swapped)
    if kind < 0.7 and "." in text:
        return text.replace(".", "")
    return f"{float(text) * (1.0 + chance.choice([-1, 1]) * 0.25):g}"


def live(basin: Basin, home: Household, ways: Ways, days: float, seed: int) -> Diary:
    """Live with a basin for so many days; gives the diary. The basin ends at its last moment."""
    system: System = basin.plan.system
    zone = ZoneInfo(system.time_zone)
    chance = random.Random(f"keeper {seed}")
    end = basin.begin + dt.timedelta(days=days)
    diary = Diary(system.id, zone, end)
    kits = {q: _kit(system, q) for q in EVERY_D if _tests(system, q)}
    for kit in kits.values():
        kit.new_lot(chance)
    due = {q: Due(EVERY_D[q], random.Random(f"{seed} {q}"), first=1 + k) for k, q in enumerate(kits)}
    change = Due(home.exchange[0], random.Random(f"{seed} change"), 4) if home.exchange else None
    hand = {s: Due(every, random.Random(f"{seed} {s}"), 2) for s, (every, _) in home.by_hand.items()}
    lots = dict.fromkeys(kits, 28)
    date = basin.begin.astimezone(zone).date()
    dosers = {k: ident for ident, (kind, k) in basin.plan.machines.items() if kind == "doser"}
    gain = 1.0
    while at(date, zone, 0) < end:
        day = (at(date, zone, 0) - basin.begin).total_seconds() / 86400.0
        away = any(a <= day < b for a, b in ways.away)
        fed = at(date, zone, 8.3 + chance.random() * 0.5)
        if fed >= basin.moment:
            basin.advance(min(fed, end))
            for food, grams in home.food_g_d.items():  # somebody feeds when the keeper is away
                given = max(chance.gauss(grams, 0.15 * grams), 0.0)
                if fed < end:
                    basin.feed(food, given)
                    if not away and chance.random() >= ways.leaves_out:
                        diary.write(fed, "feeding", food, figure(given, 0.1), "g")
        night = evening(date, zone, chance)
        basin.advance(min(night, end))
        if night < end and night >= basin.moment - dt.timedelta(seconds=basin.e.dt_s) and not away:
            basin.refill()
            seen = _sitting(basin, night, kits, due, lots, ways, diary, chance)
            if ways.adjusts and "alkalinity" in seen and dosers:
                gain = _adjust(basin, system, seen["alkalinity"], gain, dosers, night, diary)
            if change is not None and change.today():
                _exchange(basin, home, night + dt.timedelta(minutes=35), diary, chance)
            for substance, when in hand.items():
                if when.today():
                    grams = home.by_hand[substance][1]
                    basin.add(substance, grams, "g")
                    diary.write(
                        night + dt.timedelta(minutes=20), "addition", substance, figure(grams, 0.1), "g", "by-hand"
                    )
        last = at(date, zone, 23.9)
        basin.advance(min(last, end))
        for k, ident in dosers.items():
            _daily_total(basin, k, ident, last, diary)
        date += dt.timedelta(days=1)
    basin.advance(end)
    return diary


def _tests(system: System, quantity: str) -> bool:
    """Whether this keeper has a kit for it: one that is described, or one that everybody has."""
    return any(m.quantity == quantity for m in system.methods) or quantity in (
        "temperature", "salinity", "alkalinity", "calcium", "magnesium", "nitrate", "phosphate",
    )  # fmt: skip


def _kit(system: System, quantity: str) -> Kit:
    """A kit that scatters as the estimate assumes of its method, in the unit it is written in."""
    name = next((m.name for m in system.methods if m.quantity == quantity), "")
    found: Performance = system.method(quantity, name)
    unit, step = _WRITTEN[quantity]
    factor = DKH if quantity == "alkalinity" else 1.0
    return Kit(unit, name or "kit", step, found.sd / factor, found.relative, found.bias_sd / factor)


def _sitting(
    basin: Basin, night: dt.datetime, kits: Mapping[str, Kit], due: Mapping[str, Due], lots: dict[str, int], ways: Ways,
    diary: Diary, chance: random.Random,
) -> dict[str, float]:  # fmt: skip
    """An evening's tests: what was read, by quantity."""
    seen: dict[str, float] = {}
    minute = 0
    for quantity, kit in kits.items():
        if not due[quantity].today() or chance.random() < ways.forgets:
            continue
        when = night + dt.timedelta(minutes=minute)
        minute += 4
        lots[quantity] -= 1
        if lots[quantity] <= 0:
            lots[quantity] = 28
            kit.new_lot(chance)
            diary.write(when - dt.timedelta(minutes=1), "service", f"{quantity}-kit", method="new-lot")
        shown = kit.read(basin.level(quantity), chance)
        seen[quantity] = float(shown)
        if chance.random() < ways.mistypes:
            shown = mistyped(shown, chance)
        diary.write(when, "reading", quantity, shown, kit.unit, kit.method)
    return seen


def _adjust(
    basin: Basin, system: System, dkh: float, gain: float, dosers: Mapping[int, str], night: dt.datetime, diary: Diary
) -> float:
    """Raise or lower every doser by a twelfth when alkalinity is outside its aim; gives the new gain."""
    band = system.band("alkalinity")
    if band is None or band.aim[0] <= dkh * DKH <= band.aim[1]:
        return gain
    step = 13.0 / 12.0 if dkh * DKH < band.aim[0] else 11.0 / 12.0
    for k, ident in dosers.items():
        basin.set(f"DOSER_{k}_L_D", basin.get(f"DOSER_{k}_L_D") * step)
        diary.write(
            night + dt.timedelta(minutes=12), "service", ident, method="calibrated", note=f"dose times {step:.2f}"
        )
    return gain * step


def _exchange(basin: Basin, home: Household, when: dt.datetime, diary: Diary, chance: random.Random) -> None:
    assert home.exchange is not None
    _, litres, salinity = home.exchange
    true = salinity + chance.gauss(0.0, 0.2)
    basin.exchange(litres, litres * (1.0 + chance.gauss(0.0, 0.01)), {"salinity": true})
    extra = {"salinity": salinity} if chance.random() < 0.7 else None
    diary.write(when, "exchange", "mixed-seawater", figure(litres, 1.0), "L", extra=extra)


def _daily_total(basin: Basin, k: int, ident: str, when: dt.datetime, diary: Diary) -> None:
    """What the pump's own record says it gave: its programme, not what its tube let through."""
    e = next(m for m in basin.plan.system.equipment if m.id == ident)
    recipe = basin.plan.system.solutions.get(e.substance) or basin.plan.system.solutions.get(f"{ident}:{e.substance}")
    litres = basin.get(f"DOSER_{k}_L_D")
    for substance, g_l in (recipe or {}).items():
        if litres * g_l > 0.0:
            diary.write(when, "addition", substance, figure(litres * g_l, 0.1), "g", ident)
