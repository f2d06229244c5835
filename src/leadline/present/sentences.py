"""The same words everywhere: names, actions, and what is said of an estimate."""

from __future__ import annotations

import datetime as dt

from leadline.estimate.report import Doubtful, QuantityEstimate
from leadline.measures import figures, quantities
from leadline.measures.moments import days_between
from leadline.measures.words import N_, _
from leadline.rounds.item import Later, Round

_NAMES = {
    "ph": N_("pH"),
    "orp": N_("redox"),
    "par": N_("light"),
    "tds": N_("dissolved solids"),
    "co2_air": N_("CO2 of the room"),
}
_ACTIONS = {
    "test": N_("Test"),
    "dose": N_("Dose"),
    "exchange": N_("Exchange"),
    "inspect": N_("Inspect"),
    "service": N_("Service"),
    "prove": N_("Prove"),
    "treat": N_("Treat"),
    "isolate": N_("Isolate"),
    "trim": N_("Trim"),
    "observe": N_("Look at"),
    "ask": N_("Settle"),
}
_DONE = {
    "dose": N_("dosed"),
    "exchange": N_("exchanged"),
    "inspect": N_("inspected"),
    "service": N_("serviced"),
    "prove": N_("proved"),
    "treat": N_("treated"),
    "isolate": N_("isolated"),
    "trim": N_("trimmed"),
    "observe": N_("looked at"),
    "test": N_("tested"),
}
URGENCY = {"now": N_("now"), "today": N_("today"), "week": N_("this week"), "later": N_("later")}


# quantities as they are named; here so that the catalogues hold them
NAMED = (
    N_("temperature"), N_("salinity"), N_("alkalinity"), N_("calcium"), N_("magnesium"), N_("potassium"),
    N_("strontium"), N_("boron"), N_("nitrate"), N_("nitrite"), N_("ammonia"), N_("phosphate"), N_("silicate"),
    N_("iodine"), N_("iron"), N_("copper"), N_("zinc"), N_("mercury"), N_("oxygen"), N_("level"), N_("flow"),
    N_("power"), N_("conductivity"), N_("relative humidity"),
)  # fmt: skip


def name(subject: str) -> str:
    """A subject as a keeper says it: `relative_humidity` as "relative humidity", `ph` as "pH"."""
    return _(_NAMES.get(subject, subject.replace("_", " ")))


def titled(subject: str) -> str:
    """The same at the head of a line: "Salinity", but "pH" stays as it is."""
    said = name(subject)
    return said if subject == "ph" else said[:1].upper() + said[1:]


def action(code: str) -> str:
    """The verb that a line of the round begins with."""
    return _(_ACTIONS.get(code, code[:1].upper() + code[1:]))


def target(code: str, subject: str) -> str:
    """What a line of the round is about: what is serviced under a quantity's name is its probe."""
    said = name(subject)
    return (
        _("{quantity} probe").format(quantity=said) if code == "service" and subject in quantities.QUANTITIES else said
    )


def done(code: str) -> str:
    """What is said once it has been done."""
    return _(_DONE.get(code, "done"))


def idle(found: Round) -> str:
    """Why a round is empty: what there is takes longer, or can wait, and what comes first."""
    long = [x for x in found.left_for_later if x.worthy]
    if long:
        least = min(long, key=lambda x: x.minutes)
        return _("Nothing fits into {minutes}: {what} would take {needed}.").format(
            minutes=figures.minutes(found.minutes), what=_what(least, found), needed=figures.minutes(least.minutes)
        )
    dated = [(x.until, x) for x in found.left_for_later if x.until is not None]
    if not dated:
        return _("Nothing is known that needs you.")
    until, first = min(dated, key=lambda d: d[0])
    return _("Nothing that is known needs you now. First to come: {what}, within {span}.").format(
        what=_what(first, found), span=figures.span(days_between(found.as_of, until))
    )


def _what(x: Later, found: Round) -> str:
    where = f", {found.names.get(x.system, x.system)}" if len(found.names) > 1 and x.system else ""
    return f"{action(x.action).lower()} {target(x.action, x.subject)}{where}"


def now_said(e: QuantityEstimate, units: str, local: dt.tzinfo, as_of: dt.datetime) -> str:
    """Where the quantity stands in its channel, and what that rests on, in one or two sentences."""
    if e.last_reading is None:
        start = _("Never measured.")
        prior = e.prior.removeprefix("never measured here; ").rstrip(".")  # said once is enough
        rests = (
            f" {prior[:1].upper()}{prior[1:]}."
            if prior
            else " " + _("Nothing is known of it but what such water usually holds.")
        )
        return start + rests
    age = figures.span(days_between(e.last_reading.time, as_of))
    value = figures.display(e.quantity, units, e.unit)
    read = value.with_unit(figures.number(value.shown(e.last_reading.value), value.digits))
    method = e.last_reading.method
    place = f"{place_said(e, units)} " if e.aim else ""
    if not method:
        return place + _("Last fix {value}, {span} ago.").format(value=read, span=age)
    by = target("service", method)  # a probe goes by its quantity
    return place + _("Last fix {value}, {method}, {span} ago.").format(value=read, method=by, span=age)


def place_said(e: QuantityEstimate, units: str) -> str:
    """How likely it lies outside its channel and its limits."""
    if e.aim is None:
        return _("No channel is set.")
    chance, outside = figures.chance(e.p_outside_aim).capitalize(), outside_said(e.aim, e.quantity, units)
    if e.limit is not None and e.p_outside_limit >= 0.005:
        return _("{chance} that it is {outside}, {past} past the limit.").format(
            chance=chance, outside=outside, past=figures.chance(e.p_outside_limit)
        )
    return _("{chance} that it is {outside}.").format(chance=chance, outside=outside)


def outside_said(aim: tuple[float, float], quantity: str, units: str) -> str:
    """`outside 34 to 36 psu`; for a channel that begins at nothing, `above 0.1 mg/L`."""
    if figures.begins_at_nothing(aim, quantity):
        way = figures.display(quantity, units)
        return _("above {high}").format(high=way.with_unit(figures.trimmed(way.shown(aim[1]), way.digits)))
    return _("outside {band}").format(band=figures.band(aim, quantity, units))


def rate_said(e: QuantityEstimate, units: str) -> str:
    """How fast it moves, and what the system takes, when either is known."""
    way = figures.display(e.quantity, units, e.unit)
    parts = []
    if e.last_reading is not None and e.rate_sd > 0:
        parts.append(_("moves {rate} a day").format(rate=_rate(way, e.rate_mean, e.rate_sd)))
    if e.demand_mean is not None and e.demand_sd is not None:
        parts.append(_("the system takes {rate} a day").format(rate=_rate(way, e.demand_mean, e.demand_sd, sign=False)))
    if not parts:
        return ""
    said = "; ".join(parts) + "."
    return said[:1].upper() + said[1:]


def _rate(way: figures.Display, mean: float, sd: float, sign: bool = True) -> str:
    value, spread = way.difference(mean), way.spread(sd)
    digits = figures.doubt_digits(spread, way.digits + 3)
    text = figures.number(value, digits)
    plus = "+" if sign and value > 0 and text.strip("0.") else ""
    return way.with_unit(f"{plus}{text} ± {figures.number(spread, digits)}")


def edge_said(e: QuantityEstimate, local: dt.tzinfo, as_of: dt.datetime) -> str:
    """When the spread meets the channel's edge, or met it."""
    if e.meets_edge is None or e.last_reading is None:
        return ""
    met = e.meets_edge <= as_of
    said = (
        _("The spread met the channel's edge on {day}.") if met else _("The spread meets the channel's edge on {day}.")
    )
    return said.format(day=figures.day(e.meets_edge, local, as_of))


def _typed(words: str) -> str:
    """What was typed, its unit printed as everywhere else: `77 degC` as "77 °C"."""
    value, _, unit = words.partition(" ")
    return f"{value} {figures.unit_label(unit)}".strip()


def doubt_said(d: Doubtful, quantity: str, units: str, local: dt.tzinfo) -> str:
    """Why a reading is in doubt, in one sentence."""
    way = figures.display(quantity, units)
    value = _typed(d.typed) or way.with_unit(figures.number(way.shown(d.value), way.digits))
    expected = figures.figure(d.expected, d.expected_sd, quantity, units)
    when = figures.day(d.time, local)
    gaps = {"value": value, "day": when, "expected": expected, "chance": figures.chance(d.probability)}
    if d.kind == "slip" and d.guess:
        said = _("{value} on {day} where {expected} was expected: {guess}. It is kept as typed.")
        return said.format(**gaps, guess=d.guess)
    if d.kind == "step":
        return _("{value} on {day} where {expected} was expected: {chance} that the water really changed.").format(
            **gaps
        )
    return _(
        "{value} on {day} where {expected} was expected: {chance} that it is a slip of the hand. It is kept as typed."
    ).format(**gaps)
