"""Lines of the round as the template wants them: words, minutes, and the form behind each."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from leadline.estimate.report import Doubtful
from leadline.measures import figures, quantities
from leadline.measures.words import _
from leadline.present import sentences
from leadline.rounds.item import Candidate, Evidence, Later, Round
from leadline.web.seen import Seen

# How such water is measured; words of the trade, common practice. What was used before comes first.
_METHODS = {
    "salinity": ("refractometer", "hydrometer", "conductivity meter", "laboratory"),
    "temperature": ("glass thermometer", "electronic thermometer"),
    "alkalinity": ("drop kit", "titration", "photometer", "laboratory"),
    "calcium": ("drop kit", "titration", "laboratory"),
    "magnesium": ("drop kit", "titration", "laboratory"),
    "ph": ("meter", "drop kit"),
    "oxygen": ("meter", "drop kit"),
    "nitrate": ("colour kit", "photometer", "laboratory"),
    "phosphate": ("colour kit", "photometer", "laboratory"),
}
_OTHERWISE = ("kit", "photometer", "laboratory")
MOST_METHODS = 5


@dataclass(frozen=True, slots=True)
class Typed:
    """What a keeper typed that could not be used, or is still being typed: nothing of it is lost."""

    form: str
    value: str = ""
    unit: str = ""
    method: str = ""
    time: str = ""
    note: str = ""
    error: str = ""
    token: str = ""


@dataclass(frozen=True, slots=True)
class Form:
    """One entry form."""

    key: str  # unique on the page
    to: str  # where it is sent
    system: str
    quantity: str
    name: str
    value: str
    unit: str
    units: tuple[tuple[str, str], ...]  # as sent, as printed
    method: str
    methods: tuple[str, ...]
    last: str  # the last value and when, in words
    step: str  # what one press of + adds, in words
    start: str  # where + and − begin when nothing is typed
    error: str
    opened: bool
    token: str
    time: str = ""
    note: str = ""
    send: str = ""
    entry: bool = True  # a new entry; False: the correction of one


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the round."""

    rank: int
    urgency: str
    urgency_said: str
    first: bool
    action: str
    action_said: str
    subject: str
    subject_said: str
    system: str
    system_name: str  # empty on a system's own page
    because: str
    minutes: str
    minutes_said: str
    form: Form | None
    entry_id: str
    evidence: tuple[tuple[str, str], ...]
    anchor: str  # the quantity's course on this page
    correction: Form | None = None
    to_log: str = ""  # where an amount is logged that no press of a button can know
    page: str = ""  # where it is done, when no press of a button says it all
    logs: tuple[tuple[str, str], ...] = ()  # how its doing is written
    send: str = ""


@dataclass(frozen=True, slots=True)
class Wait:
    """One thing that can wait."""

    said: str
    until: str
    because: str
    minutes: str


@dataclass(frozen=True, slots=True)
class Ranked:
    """The round as shown."""

    lines: tuple[Line, ...]
    waits: tuple[Wait, ...]
    waits_said: str
    idle: str  # why the round is empty, where it is
    minutes: int
    needed: str
    view: str  # a system's id, or "all"
    flash: Mapping[str, str] = field(default_factory=dict)


def ranked(
    found: Round, seen: Mapping[str, Seen], *, view: str, typed: Typed | None, flash: Mapping[str, str] | None = None
) -> Ranked:
    """The round as the template wants it; `seen` holds the systems it speaks of."""
    lines = tuple(_line(i, item, found, seen, view, typed) for i, item in enumerate(found.items, 1))
    waits = tuple(_wait(item, found, seen, view) for item in found.left_for_later)
    names = [sentences.name(item.subject) for item in found.left_for_later]
    said = ", ".join(dict.fromkeys(names[:6]))
    if len(names) > 6:
        said = _("{names} and {number} more").format(names=said, number=len(names) - 6)
    needed = figures.minutes(sum(item.minutes for item in found.items))
    idle = "" if lines else sentences.idle(found)
    return Ranked(lines, waits, said, idle, round(found.minutes), needed, view, flash or {})


def _line(rank: int, item: Candidate, found: Round, seen: Mapping[str, Seen], view: str, typed: Typed | None) -> Line:
    system = item.system or found.system
    at = seen[system]
    quantity = item.subject in at.estimate.quantities or item.subject in quantities.QUANTITIES
    form = correction = None
    if item.action == "test" and quantity:
        form = entry_form(at, item.subject, f"r-{system}-{item.subject}", typed)
    if item.action == "ask" and item.entry_id:
        correction = _correction(at, item, typed)
    return Line(
        rank=rank,
        urgency=item.urgency,
        urgency_said=_(sentences.URGENCY.get(item.urgency, item.urgency)),
        first=rank == 1 and item.urgency == "now",
        action=item.action,
        action_said=sentences.action(item.action),
        subject=item.subject,
        subject_said=sentences.target(item.action, item.subject),
        system=system,
        system_name=found.names.get(system, at.estimate.name) if view == "all" and item.action != "prove" else "",
        because=item.because,
        minutes=figures.minutes(item.minutes),
        minutes_said=figures.span(item.minutes / 1440),
        form=form,
        entry_id=item.entry_id,
        evidence=tuple((e.what, evidence_said(e)) for e in item.evidence),
        anchor=f"course-{item.subject}" if view != "all" and item.subject in at.estimate.quantities else "",
        correction=correction,
        to_log=_to_log(item.action, system),
        page=item.page,
        logs=item.logs,
        send={"seen": _("Seen"), "census": _("All seen")}.get(dict(item.logs).get("subject", ""), _("Done")),
    )


def _to_log(action: str, system: str) -> str:
    """Where the amount of what was done is logged."""
    kind = {"exchange": "exchange", "dose": "addition"}.get(action, "")
    return f"/journal?log={kind}&system={system}" if kind else ""


def evidence_said(e: Evidence) -> str:
    """One number of the evidence with its unit."""
    if isinstance(e.value, str):
        return f"{e.value} {figures.unit_label(e.unit)}".strip()
    size = abs(e.value)
    digits = 0 if size >= 100 or float(e.value).is_integer() else 1 if size >= 10 else 2 if size >= 0.1 else 3
    text = figures.trimmed(e.value, digits)
    return f"{text} {figures.unit_label(e.unit)}".strip()


def _wait(item: Later, found: Round, seen: Mapping[str, Seen], view: str) -> Wait:
    system = item.system or found.system
    local = seen[system].local if system in seen else dt.UTC
    said = f"{sentences.action(item.action)} {sentences.target(item.action, item.subject)}"
    if view == "all" and system:
        said += f" ({found.names.get(system, system)})"
    until = _("no date set")
    if item.until:
        until = _("until {day}").format(day=figures.day(item.until, local, found.as_of))
    return Wait(said, until, item.because, figures.minutes(item.minutes))


def entry_form(at: Seen, quantity: str, key: str, typed: Typed | None) -> Form:
    """The form for a reading of one quantity: last value and method known, unit chosen, step sized."""
    units = at.estimate.units
    e = at.estimate.quantities.get(quantity)
    way = figures.display(quantity, units, e.unit if e else "")
    track = at.courses.get(quantity)
    used = [f.method for f in reversed(track.fixes) if f.method and not f.probe][:200] if track else []
    last_method, last = "", _("Never measured before.")
    if e and e.last_reading:
        last_method = e.last_reading.method
        value = way.with_unit(figures.number(way.shown(e.last_reading.value), way.digits))
        last = _("Last {value}, {day}").format(
            value=value, day=figures.day(e.last_reading.time, at.local, at.estimate.as_of)
        )
    methods = list(dict.fromkeys([m for m in (last_method, *used) if m]))
    methods = list(dict.fromkeys([*methods, *_METHODS.get(quantity, _OTHERWISE)]))[:MOST_METHODS]
    mine = typed if typed and typed.form == key else None
    if mine and mine.method and mine.method not in methods:
        methods.append(mine.method)
    return Form(
        key=key,
        to=f"/system/{at.estimate.system}/log",
        system=at.estimate.system,
        quantity=quantity,
        name=sentences.name(quantity),
        value=mine.value if mine else "",
        unit=mine.unit if mine and mine.unit else way.unit,
        units=tuple((u, figures.unit_label(u) or sentences.name(quantity)) for u in _units(quantity, units, mine)),
        method=mine.method if mine else (last_method or methods[0]),
        methods=tuple(methods),
        last=last,
        step=figures.trimmed(step(way.digits), way.digits),
        start=f"{start_value(at, quantity):.{way.digits}f}",
        error=mine.error if mine else "",
        opened=mine is not None,
        token=mine.token if mine and mine.token else secrets.token_urlsafe(9),
        time=mine.time if mine else "",
        note=mine.note if mine else "",
        send=_("Log it"),
    )


def step(digits: int) -> float:
    """What one press of + adds: one in the last digit shown. Shown unit."""
    return float(10.0**-digits)


def start_value(at: Seen, quantity: str) -> float:
    """Where the + and − begin when nothing is typed: the last reading, or what is believed. Shown unit."""
    e = at.estimate.quantities.get(quantity)
    if e is None:
        return 0.0
    way = figures.display(quantity, at.estimate.units, e.unit)
    return way.shown(e.last_reading.value if e.last_reading else e.mean)


def _units(quantity: str, units: str, typed: Typed | None) -> tuple[str, ...]:
    offered = figures.units_offered(quantity, units)
    if typed and typed.unit and typed.unit not in offered:
        return (*offered, typed.unit)
    return offered


def _correction(at: Seen, item: Candidate, typed: Typed | None) -> Form:
    """The form that corrects an entry in doubt, what it may have meant already filled in."""
    key = f"k-{item.entry_id}"
    quantity, doubt = _doubt(at, item)
    form = entry_form(at, quantity, key, typed)
    value = form.value
    last = form.last
    if doubt is not None:
        way = figures.display(quantity, at.estimate.units)
        shown = doubt.guess_value if doubt.guess_value is not None else doubt.value
        value = value or figures.number(way.shown(shown), way.digits)
        last = _("Typed as {typed}").format(
            typed=doubt.typed or way.with_unit(figures.number(way.shown(doubt.value), way.digits))
        )
    to = f"/system/{at.estimate.system}/entry/{item.entry_id}/correct"
    return as_correction(replace(form, value=value, last=last), to)


def as_correction(form: Form, to: str) -> Form:
    """The same form, sent as the correction of an entry."""
    return replace(form, to=to, methods=(), send=_("Correct it"), entry=False)


def _doubt(at: Seen, item: Candidate) -> tuple[str, Doubtful | None]:
    for name, e in at.estimate.quantities.items():
        for doubt in e.doubtful:
            if doubt.id == item.entry_id:
                return name, doubt
    return item.subject, None
