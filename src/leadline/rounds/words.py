"""The sentence of each line: what is, since when, and the number that decides."""

from __future__ import annotations

import math

from leadline.estimate.report import Doubtful, QuantityEstimate, SystemEstimate
from leadline.measures import figures
from leadline.measures.figures import chance, figure, span
from leadline.measures.moments import days_between, zone


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
