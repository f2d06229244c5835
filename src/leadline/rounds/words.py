"""The sentence of each line: what is, since when, and the number that decides."""

from __future__ import annotations

import math

from leadline.estimate.report import Doubtful, QuantityEstimate, SystemEstimate
from leadline.measures import figures
from leadline.measures.figures import chance, display, figure, number, span
from leadline.measures.moments import days_between, zone
from leadline.model import substances
from leadline.system.bands import MOST_A_DAY
from leadline.system.description import System


def test(e: SystemEstimate, q: QuantityEstimate, doubt: Doubtful | None, watched: bool) -> str:
    """Why a quantity is worth a test."""
    now = figure(q.mean, q.sd, q.quantity, e.units)
    if doubt is not None:
        expected = figure(doubt.expected, doubt.expected_sd, q.quantity, e.units)
        day = figures.day(doubt.time, zone(e.time_zone), e.as_of)
        kind = "a blunder" if doubt.kind == "blunder" else "a real change"
        return (
            f"{doubt.typed} on {day} where {expected} was expected: "
            f"{chance(doubt.probability)} that it is {kind}. Test again to settle it."
        )
    where = _where(e, q)
    if q.last_reading is None:
        return f"Never measured here: {now} is only a wide belief. {where}"
    age = days_between(q.last_reading.time, e.as_of)
    if watched:
        return f"{now} by the probe, no hand test needed soon. {where}"
    if age < 1.0:
        return f"{now}, read {span(age)} ago: {where[0].lower() + where[1:]}"
    return f"{now} after {span(age)} without a reading: {where[0].lower() + where[1:]}"


def _where(e: SystemEstimate, q: QuantityEstimate) -> str:
    assert q.aim is not None
    past = f", {chance(q.p_outside_limit)} past the limit" if q.limit and q.p_outside_limit >= 0.005 else ""
    if q.p_outside_aim < 0.1 and not past:
        if q.meets_edge and q.meets_edge > e.as_of:
            return f"The spread meets the edge on {figures.day(q.meets_edge, zone(e.time_zone), e.as_of)}."
        return f"{_capital(chance(q.p_outside_aim))} that it is outside the channel."
    under, over = _tail(q.mean - q.aim[0], q.sd), _tail(q.aim[1] - q.mean, q.sd)
    side = "above" if over > under else "below"
    word = f"{side} the channel" if min(under, over) < 0.05 * (under + over) else "outside the channel"
    return f"{_capital(chance(q.p_outside_aim))} that it is {word}{past}."


def _tail(distance: float, sd: float) -> float:
    """Chance that a Gaussian lies further off than `distance`: enough to say on which side it is out."""
    return 0.5 * math.erfc(distance / max(sd, 1e-12) / math.sqrt(2.0))


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def standing(e: SystemEstimate, q: QuantityEstimate) -> str:
    """Where a quantity stands against its channel, in one sentence."""
    where = _where(e, q)
    return f"{figure(q.mean, q.sd, q.quantity, e.units)}: {where[0].lower() + where[1:]}"


def correct(system: System, e: SystemEstimate, q: QuantityEstimate, action: str) -> str:
    """Why, by how much, and how fast a quantity is to be brought back."""
    assert q.aim is not None
    way = display(q.quantity, e.units)
    now = figure(q.mean, q.sd, q.quantity, e.units)
    soon = next(o for o in q.forecast if o.days >= 14.0)
    low, high = q.aim
    middle = (low + high) / 2
    if action == "dose" and q.demand_mean is not None:
        demand = way.with_unit(number(way.spread(q.demand_mean), max(way.digits, 2)))
        edge = ""
        if q.meets_edge and q.meets_edge > e.as_of:
            edge = f"; its spread meets the edge on {figures.day(q.meets_edge, zone(e.time_zone), e.as_of)}"
        text = f"{now}, the system takes {demand} a day{edge}."
        gap = -q.rate_mean  # what the present doses fall short of the demand
        if abs(gap) > max(0.5 * q.rate_sd, 0.03 * abs(q.demand_mean)):
            per_day = way.with_unit(number(way.spread(abs(gap)), max(way.digits, 2)))
            verb = "Raise" if gap > 0 else "Lower"
            text += f" {verb} the daily dose by {per_day}{_grams(system, q.quantity, abs(gap), e.net_volume_l)}."
        short = middle - q.mean
        if short > 0.2 * (high - low):
            once = way.with_unit(number(way.spread(short), way.digits))
            grams = _grams(system, q.quantity, short, e.net_volume_l)
            text += f" Add {once} once{grams}, no more than {_step(q, e)} a day."
        elif q.mean > high:
            text += f" Let it come down by no more than {_step(q, e)} a day."
        return text + _caution(text)
    there = figure(soon.mean, soon.sd, q.quantity, e.units)
    target = way.with_unit(
        number(way.shown(min(max(q.mean, low), high) if low <= q.mean <= high else middle), way.digits)
    )
    return (
        f"{now}, {there} expected in 14 days. An exchange with matched water towards {target} brings it back; "
        f"move it by no more than {_step(q, e)} a day. Heaters off while the level is down."
    )


_CAUSTIC = ("sodium-carbonate", "calcium-hydroxide", "sodium-hydroxide", "hydrochloric-acid")


def _caution(text: str) -> str:
    """The caution that belongs to a substance named in the step."""
    return " It is caustic: gloves and eye protection, and no dust." if any(c in text for c in _CAUSTIC) else ""


def _step(q: QuantityEstimate, e: SystemEstimate) -> str:
    way = display(q.quantity, e.units)
    most = MOST_A_DAY.get(q.quantity, 0.1 * abs(q.mean))
    return way.with_unit(number(way.spread(most), way.digits))


_SALT = {
    "alkalinity": "sodium-bicarbonate",
    "calcium": "calcium-chloride-dihydrate",
    "magnesium": "magnesium-chloride-hexahydrate",
}


def _grams(system: System, quantity: str, stored: float, volume_l: float) -> str:
    """What that is in grams of the salt that the system doses, or of the usual one."""
    species, per_mol = {
        "alkalinity": ("alkalinity", 1000.0),
        "calcium": ("calcium", 40078.0),
        "magnesium": ("magnesium", 24305.0),
    }.get(quantity, ("", 0.0))
    if not species:
        return ""
    names = [m.substance for m in system.equipment if m.substance in substances.SUBSTANCES]
    names = [n for n in names if species in substances.SUBSTANCES[n].species] or [_SALT[quantity]]
    one = substances.moles(names[0], 1.0)[species] * per_mol / volume_l
    return f" ({stored / one:.2g} g of {names[0]})" if one > 0 else ""
