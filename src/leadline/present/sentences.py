"""The same words everywhere: names, actions, and what is said of an estimate."""

from __future__ import annotations

import datetime as dt

from leadline.estimate.report import Doubtful, QuantityEstimate
from leadline.measures import figures, quantities
from leadline.measures.moments import days_between

_NAMES = {"ph": "pH", "orp": "redox", "par": "light", "tds": "dissolved solids", "co2_air": "CO2 of the room"}
_ACTIONS = {
    "test": "Test", "dose": "Dose", "exchange": "Exchange", "inspect": "Inspect", "service": "Service",
    "prove": "Prove", "treat": "Treat", "isolate": "Isolate", "trim": "Trim", "observe": "Look at", "ask": "Settle",
}  # fmt: skip
_DONE = {
    "dose": "dosed", "exchange": "exchanged", "inspect": "inspected", "service": "serviced", "prove": "proved",
    "treat": "treated", "isolate": "isolated", "trim": "trimmed", "observe": "looked at", "test": "tested",
}  # fmt: skip
URGENCY = {"now": "now", "today": "today", "week": "this week", "later": "later"}


def name(subject: str) -> str:
    """A subject as a keeper says it: `relative_humidity` as "relative humidity", `ph` as "pH"."""
    return _NAMES.get(subject, subject.replace("_", " "))


def titled(subject: str) -> str:
    """The same at the head of a line: "Salinity", but "pH" stays as it is."""
    said = name(subject)
    return said if subject == "ph" else said[:1].upper() + said[1:]


def action(code: str) -> str:
    """The verb that a line of the round begins with."""
    return _ACTIONS.get(code, code[:1].upper() + code[1:])


def target(code: str, subject: str) -> str:
    """What a line of the round is about: what is serviced under a quantity's name is its probe."""
    said = name(subject)
    return f"{said} probe" if code == "service" and subject in quantities.QUANTITIES else said


def done(code: str) -> str:
    """What is said once it has been done."""
    return _DONE.get(code, "done")


def now_said(e: QuantityEstimate, units: str, local: dt.tzinfo, as_of: dt.datetime) -> str:
    """Where the quantity stands in its channel, and what that rests on, in one or two sentences."""
    if e.last_reading is None:
        start = "Never measured."
        prior = e.prior.removeprefix("never measured here; ").rstrip(".")  # said once is enough
        rests = (
            f" {prior[:1].upper()}{prior[1:]}."
            if prior
            else " Nothing is known of it but what such water usually holds."
        )
        return start + rests
    age = figures.span(days_between(e.last_reading.time, as_of))
    value = figures.display(e.quantity, units, e.unit)
    read = value.with_unit(figures.number(value.shown(e.last_reading.value), value.digits))
    method = e.last_reading.method
    by = f", {target('service', method)}" if method else ""  # a probe goes by its quantity
    place = f"{place_said(e, units)} " if e.aim else ""
    return f"{place}Last fix {read}{by}, {age} ago."


def place_said(e: QuantityEstimate, units: str) -> str:
    """How likely it lies outside its channel and its limits."""
    if e.aim is None:
        return "No channel is set."
    said = f"{figures.chance(e.p_outside_aim).capitalize()} that it is {outside_said(e.aim, e.quantity, units)}"
    if e.limit is not None and e.p_outside_limit >= 0.005:
        said += f", {figures.chance(e.p_outside_limit)} past the limit"
    return said + "."


def outside_said(aim: tuple[float, float], quantity: str, units: str) -> str:
    """`outside 34 to 36 psu`; for a channel that begins at nothing, `above 0.1 mg/L`."""
    band = figures.band(aim, quantity, units)
    return f"above {band.removeprefix('below ')}" if band.startswith("below ") else f"outside {band}"


def rate_said(e: QuantityEstimate, units: str) -> str:
    """How fast it moves, and what the system takes, when either is known."""
    way = figures.display(e.quantity, units, e.unit)
    parts = []
    if e.last_reading is not None and e.rate_sd > 0:
        parts.append(f"Moves {_rate(way, e.rate_mean, e.rate_sd)} a day")
    if e.demand_mean is not None and e.demand_sd is not None:
        parts.append(f"the system takes {_rate(way, e.demand_mean, e.demand_sd, sign=False)} a day")
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
    verb = "met" if e.meets_edge <= as_of else "meets"
    return f"The spread {verb} the channel's edge on {figures.day(e.meets_edge, local, as_of)}."


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
    said = f"{value} on {when} where {expected} was expected"
    if d.kind == "slip" and d.guess:
        return f"{said}: {d.guess}. It is kept as typed."
    if d.kind == "step":
        return f"{said}: {figures.chance(d.probability)} that the water really changed."
    return f"{said}: {figures.chance(d.probability)} that it is a slip of the hand. It is kept as typed."
