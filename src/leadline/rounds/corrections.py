"""What to do about a quantity that is out or on its way: which way, how much, of what, how fast.

The direction follows from where the level stands, then from where it goes; never up from above the channel, never down
from below it. Amounts are spread over days at the pace animals bear (common practice).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from leadline.estimate.report import QuantityEstimate, SystemEstimate
from leadline.measures import figures
from leadline.measures.figures import Display, display, figure, number, trimmed
from leadline.measures.moments import zone
from leadline.measures.words import N_, _
from leadline.model import substances
from leadline.system.bands import MOST_A_DAY

# one salt for each quantity that raises it and little else; a keeper's own solution is for the daily dose
RAISED_BY: dict[str, tuple[str, str, float]] = {
    "alkalinity": ("sodium-bicarbonate", "alkalinity", 1000.0),
    "calcium": ("calcium-chloride-dihydrate", "calcium", 40078.0),
    "magnesium": ("magnesium-chloride-hexahydrate", "magnesium", 24305.0),
    "potassium": ("potassium-chloride", "potassium", 39098.3),
}
# what a fresh salt mix holds about, stored unit: an exchange leads there (common practice)
MIX: dict[str, float] = {
    "alkalinity": 8.2 * 0.356652, "calcium": 425.0, "magnesium": 1310.0, "potassium": 395.0, "strontium": 8.0,
    "nitrate": 0.0, "phosphate": 0.0, "silicate": 0.0, "iodine": 55.0,
}  # fmt: skip
POISONS: dict[str, str] = {
    "ammonia": N_(
        "Change as much matched water as stands ready, at once and again; no food, more air, find the source."
    ),
    "nitrite": N_("Change as much matched water as stands ready, at once and again; feed nothing, find the source."),
    "copper": N_("Change as much matched water as stands ready, at once and again; fresh carbon; find the metal."),
    "zinc": N_("Change as much matched water as stands ready, at once and again; fresh carbon; find the metal."),
    "mercury": N_("Keep hands out. Change as much matched water as stands ready; fresh carbon; ask a laboratory."),
}
CAUSES: dict[str, str] = {
    "temperature": N_("Look at heater, chiller, fan, flow and room; believe another thermometer first."),
    "ph": N_("Look at the room's CO2, the skimmer's air, limewater and reactor; check the probe in a buffer."),
    "oxygen": N_("Add air and surface movement at once, then look for the cause."),
    "orp": N_("Look at flow, feeding and the probe."),
    "conductivity": N_("Compare with a salinity of another kind."),
}
EXCHANGE_MIN = 20.0  # water that stands ready, siphon, refill (common practice)
LARGEST_EXCHANGE = 0.2  # of the volume a day (common practice for matched water)
SALTY = 40.0  # psu of the water with which a low salinity is raised (common practice)


@dataclass(frozen=True, slots=True)
class Advice:
    """One correction: the action of the contract, its minutes, and what to do in words."""

    action: str
    minutes: float
    words: str


def advise(e: SystemEstimate, q: QuantityEstimate) -> Advice | None:
    """What to do about a quantity; None where nothing that a keeper can do on this belief would help."""
    assert q.aim is not None
    name = q.quantity
    if name in POISONS:
        return Advice("exchange", EXCHANGE_MIN, _(POISONS[name])) if q.mean > q.aim[1] else None
    if name in CAUSES:
        return Advice("inspect", 4.0, _(CAUSES[name]))
    if name == "salinity":
        return _salinity(e, q)
    if name in RAISED_BY:
        return _built(e, q)
    if q.mean > q.aim[1] and name in MIX:
        return _thin(e, q)
    if q.mean < q.aim[0] and name in ("nitrate", "phosphate"):
        return Advice("inspect", 3.0, _("Feed a little more or export less; no exchange raises it."))
    return None


def _target(q: QuantityEstimate) -> float:
    assert q.aim is not None
    return (q.aim[0] + q.aim[1]) / 2.0


def _salinity(e: SystemEstimate, q: QuantityEstimate) -> Advice:
    way = display("salinity", e.units)
    step, litres = MOST_A_DAY["salinity"], _litres(e)
    goal = way.with_unit(number(way.shown(_target(q)), way.digits))
    high = q.mean > _target(q)
    volume = litres * step / q.mean if high else litres * step / max(SALTY - q.mean, 2.0)
    what = _("fresh water") if high else _("salt water of {salinity} psu").format(salinity=f"{SALTY:g}")
    pace = way.with_unit(number(way.spread(step), way.digits))
    text = _(
        "Each day replace at most {volume} of tank water by {what} ({pace}), slowly into flow, "
        "until a test says {goal}. Heaters off while the level is down."
    ).format(volume=_volume(volume, e.units), what=what, pace=pace, goal=goal)
    return Advice("exchange", EXCHANGE_MIN, text)


def _built(e: SystemEstimate, q: QuantityEstimate) -> Advice:
    """Alkalinity, calcium, magnesium, potassium: taken by the system, given by doses."""
    assert q.aim is not None
    way = display(q.quantity, e.units)
    low, high = q.aim
    most = MOST_A_DAY[q.quantity]
    given = max((q.demand_mean or 0.0) + q.rate_mean, 0.0) if q.demand_mean is not None else 0.0
    parts = []
    if q.demand_mean is not None:
        parts.append(_("The system takes {amount} a day.").format(amount=_amount(way, max(q.demand_mean, 0.0))))
    if q.mean > high:
        if given > 0.0:
            less = min(given, most)
            parts.append(
                _("Give {amount} less a day ({share} % of the dose) until it is back.").format(
                    amount=_amount(way, less), share=f"{100 * less / given:.0f}"
                )
            )
        else:
            parts.append(_("Add nothing that raises it until it is back."))
        return Advice("dose", 3.0, " ".join(parts))
    short = _target(q) - q.mean
    falling = -q.rate_mean
    sure = abs(q.rate_mean) > max(0.5 * q.rate_sd, 0.03 * abs(q.demand_mean or 0.0))
    if falling > 0.0 and sure and given > 0.0:
        parts.append(
            _("Raise the daily dose by {amount} ({share} %).").format(
                amount=_amount(way, falling), share=f"{100 * falling / given:.0f}"
            )
        )
    elif falling < 0.0 and sure and given > 0.0 and q.mean >= low:
        less = min(-falling, given)
        parts.append(
            _("Lower the daily dose by {amount} ({share} %).").format(
                amount=_amount(way, less), share=f"{100 * less / given:.0f}"
            )
        )
    if q.mean < low or (short > 0.2 * (high - low) and falling >= 0.0):
        days = max(math.ceil(short / most - 1e-9), 1)
        salt, species, per_mol = RAISED_BY[q.quantity]
        per_gram = substances.moles(salt, 1.0)[species] * per_mol / _litres(e)
        each = _("{amount} of {salt}").format(amount=_grams(short / days / per_gram), salt=salt)
        when = _("once") if days == 1 else _("on each of {days} days").format(days=days)
        parts.append(
            _("Add {amount} {when} ({each}), besides the daily dose.").format(
                amount=_amount(way, short / days), when=when, each=each
            )
        )
    if not parts or (q.demand_mean is not None and len(parts) == 1):
        parts.append(_("Hold the doses as they are and test again in some days."))
    return Advice("dose", 3.0, " ".join(parts))


def _thin(e: SystemEstimate, q: QuantityEstimate) -> Advice | None:
    """What only an exchange brings down: so much of the volume, in so many days."""
    new, goal = MIX[q.quantity], _target(q)
    if new >= goal or q.mean <= goal:
        return None
    share = (q.mean - goal) / (q.mean - new)
    days = max(math.ceil(math.log(1.0 - share) / math.log(1.0 - LARGEST_EXCHANGE) - 1e-9), 1)
    daily = 1.0 - (1.0 - share) ** (1.0 / days)
    when = _("once") if days == 1 else _("on each of {days} days").format(days=days)
    text = _(
        "Exchange {volume} for matched salt water {when}, and look for the source. Heaters off while the level is down."
    ).format(volume=_volume(daily * _litres(e), e.units), when=when)
    return Advice("exchange", EXCHANGE_MIN, text)


def _litres(e: SystemEstimate) -> float:
    """The smaller of stated and learned volume: an amount reckoned on too much water is an overdose. [L]"""
    return min(e.net_volume_l, e.net_volume_stated_l)


def _amount(way: Display, stored: float) -> str:
    return way.with_unit(trimmed(way.spread(stored), max(way.digits, 2) if way.spread(stored) < 10 else way.digits))


def _grams(grams: float) -> str:
    digits = 0 if grams >= 20 else 1 if grams >= 1 else 2
    return f"{number(grams, digits)} g"


def _volume(litres: float, units: str) -> str:
    if units == "us":
        return f"{number(litres / 3.785411784, 1)} gal"
    return f"{number(litres, 0 if litres >= 10 else 1)} L"


def standing(e: SystemEstimate, q: QuantityEstimate) -> str:
    """Where it stands and where it goes, with the number that decides."""
    now = figure(q.mean, q.sd, q.quantity, e.units)
    soon = next(o for o in q.forecast if o.days >= 14.0)
    then = figure(soon.mean, soon.sd, q.quantity, e.units)
    chance = figures.chance(q.p_outside_aim)
    if not q.meets_edge or q.meets_edge <= e.as_of:
        return _("{value}, {chance} that it is outside the channel; {then} in 14 days.").format(
            value=now, chance=chance, then=then
        )
    return _(
        "{value}, {chance} that it is outside the channel; {then} in 14 days; its spread meets the edge on {day}."
    ).format(value=now, chance=chance, then=then, day=figures.day(q.meets_edge, zone(e.time_zone), e.as_of))
