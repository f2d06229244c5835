"""The sentence of each line: what is, since when, and the number that decides."""

from __future__ import annotations

import math

from leadline.estimate.report import Doubtful, QuantityEstimate, SystemEstimate
from leadline.measures import figures
from leadline.measures.figures import chance, figure, span
from leadline.measures.moments import days_between, zone
from leadline.measures.words import _


def test(e: SystemEstimate, q: QuantityEstimate, doubt: Doubtful | None, watched: bool) -> str:
    """Why a quantity is worth a test."""
    now = figure(q.mean, q.sd, q.quantity, e.units)
    if doubt is not None:
        expected = figure(doubt.expected, doubt.expected_sd, q.quantity, e.units)
        day = figures.day(doubt.time, zone(e.time_zone), e.as_of)
        said = (
            _("{value} on {day} where {expected} was expected: {chance} that it is a blunder. Test again to settle it.")
            if doubt.kind == "blunder"
            else _(
                "{value} on {day} where {expected} was expected: {chance} that it is a real change. "
                "Test again to settle it."
            )
        )
        return said.format(value=doubt.typed, day=day, expected=expected, chance=chance(doubt.probability))
    where = _where(e, q)
    if q.last_reading is None:
        return _("Never measured here: {value} is only a wide belief. {where}").format(value=now, where=where)
    age = days_between(q.last_reading.time, e.as_of)
    if watched:
        return _("{value} by the probe, no hand test needed soon. {where}").format(value=now, where=where)
    if age < 1.0:
        return _("{value}, read {span} ago: {where}").format(value=now, span=span(age), where=_small(where))
    return _("{value} after {span} without a reading: {where}").format(value=now, span=span(age), where=_small(where))


def _where(e: SystemEstimate, q: QuantityEstimate) -> str:
    assert q.aim is not None
    past = chance(q.p_outside_limit) if q.limit and q.p_outside_limit >= 0.005 else ""
    said = _capital(chance(q.p_outside_aim))
    if q.p_outside_aim < 0.1 and not past:
        if q.meets_edge and q.meets_edge > e.as_of:
            day = figures.day(q.meets_edge, zone(e.time_zone), e.as_of)
            return _("The spread meets the edge on {day}.").format(day=day)
        return _("{chance} that it is outside the channel.").format(chance=said)
    under, over = _tail(q.mean - q.aim[0], q.sd), _tail(q.aim[1] - q.mean, q.sd)
    if min(under, over) >= 0.05 * (under + over):
        word = _("outside the channel")
    else:
        word = _("above the channel") if over > under else _("below the channel")
    if past:
        return _("{chance} that it is {outside}, {past} past the limit.").format(chance=said, outside=word, past=past)
    return _("{chance} that it is {outside}.").format(chance=said, outside=word)


def _tail(distance: float, sd: float) -> float:
    """Chance that a Gaussian lies further off than `distance`: enough to say on which side it is out."""
    return 0.5 * math.erfc(distance / max(sd, 1e-12) / math.sqrt(2.0))


def _small(text: str) -> str:
    return text[0].lower() + text[1:]


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
