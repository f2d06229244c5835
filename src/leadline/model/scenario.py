"""A scenario file: what happens in a simulated run beside the usual, in TOML, read with the field named when it errs.

[[change]]            # a machine's state, from a moment on and, with `for`, until it is mended
at = "2 d 6 h"        # since the beginning; or "2 d 19:00", or a time with its date
equipment = "chiller-1"
state = "warms"
for = "12 h"

[[act]]               # once, or with `every` again and again
at = "1 d 19:00"
every = "7 d"
kind = "exchange"     # exchange topoff addition feeding bloom harvest refill
subject = "mixed-seawater"
value = 90
unit = "L"

[usual]               # what of the keeper's habits goes on: feeding, exchanges, additions, refills
exchanges = false
from = "3 d"          # the keeper is away from then …
until = "17 d"        # … until then

[start]               # the water at the beginning, where it is known better
alkalinity = "7.2 dKH"

[parameter]           # a parameter of the simulator: a value, or [low, high] of a 90 % range
ROOM_C = 28.0
"""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from leadline.measures import units
from leadline.measures.errors import BadInput, LeadlineError, UnknownName
from leadline.measures.quantities import QUANTITIES
from leadline.model import waters
from leadline.model.acts import Acts
from leadline.model.blueprint import STATE_OF
from leadline.model.processes.flow import KG_L
from leadline.model.substances import FOODS
from leadline.seawater import convert

T = TypeVar("T")
_SPAN = re.compile(r"(\d+(?:\.\d+)?)\s*(weeks?|w|days?|d|hours?|h|minutes?|min|m|seconds?|s)\b", re.IGNORECASE)
_SECONDS = {"w": 604800.0, "d": 86400.0, "h": 3600.0, "m": 60.0, "s": 1.0}
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})\s*$")
_MOST_REPEATS = 20_000


@dataclass(frozen=True)
class Usual:
    """Which habits go on, and when the keeper is away (seconds since the beginning; none: never)."""

    feeding: bool = True
    exchanges: bool = True
    additions: bool = True
    refills: bool = True
    away: tuple[float, float] | None = None

    def there(self, at_s: float) -> bool:
        """Whether the keeper is there at a moment."""
        return self.away is None or not self.away[0] <= at_s < self.away[1]


@dataclass(frozen=True)
class Scenario:
    """A scenario as read: changes and acts to be put into `Acts`, and what it says of start and parameters."""

    name: str = ""
    changes: tuple[Mapping[str, Any], ...] = ()
    acts: tuple[Mapping[str, Any], ...] = ()
    usual: Usual = field(default_factory=Usual)
    start: Mapping[str, float] = field(default_factory=dict)  # stored units
    parameters: Mapping[str, tuple[float, float]] = field(default_factory=dict)  # low, high; equal when one value


def span_s(text: Any, where: str) -> float:
    """A span such as `2 d 6 h`, `90 min`. [s]"""
    said = str(text).strip()
    if said.startswith(("-", "−")) and _SPAN.search(said):
        raise BadInput(f"{text!r} is before the run begins", where=where, way_out="Count from its beginning on.")
    found = _SPAN.findall(said)
    if not found or _SPAN.sub("", said).strip(" ,"):
        raise BadInput(f"{text!r} is no span of time", where=where, way_out='Write "2 d 6 h", "90 min".')
    return sum(float(n) * _SECONDS[u[0].lower()] for n, u in found)


def moment_s(text: Any, begin: dt.datetime, zone: ZoneInfo, where: str) -> float:
    """A moment since the beginning: a span, a span of days with a time of day, or a date and time. [s]"""
    if isinstance(text, dt.time):
        text = f"{text:%H:%M}"
    if isinstance(text, dt.datetime):
        moment = text if text.tzinfo else text.replace(tzinfo=zone)
    else:
        said = str(text).strip()
        clock = _CLOCK.search(said)
        head = said[: clock.start()].strip() if clock else said
        if clock and (not head or _SPAN.fullmatch(head)):
            days = int(span_s(head, where) // 86400) if head else 0
            if days > 36_525:
                raise BadInput(f"{text!r} is more than a century away", where=where, way_out="Give an earlier moment.")
            local = begin.astimezone(zone)
            if int(clock[1]) > 23 or int(clock[2]) > 59:
                raise BadInput(f"{text!r} is no time of day", where=where, way_out='Write "1 d 19:00".')
            date = local.date() + dt.timedelta(days=days)
            moment = dt.datetime(date.year, date.month, date.day, int(clock[1]), int(clock[2]), tzinfo=zone)
            if not head and moment < begin:
                moment += dt.timedelta(days=1)
        else:
            try:
                moment = dt.datetime.fromisoformat(said)
            except ValueError:
                return span_s(text, where)
            moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
    seconds = (moment - begin).total_seconds()
    if seconds < 0:
        raise BadInput(f"{text} is before the run begins", where=where, way_out="Give a moment from its beginning on.")
    return seconds


def read(document: str, begin: dt.datetime, zone: ZoneInfo) -> Scenario:
    """Read a scenario file.

    Raises
    ------
    BadInput
        With the table and field that can't be used.
    """
    try:
        data = tomllib.loads(document)
    except (tomllib.TOMLDecodeError, RecursionError) as exc:
        raise BadInput(f"not valid TOML: {exc}", way_out="Compare it with the example in the guide.") from exc
    _only(data, "", {"name", "note", "change", "act", "usual", "start", "parameter"})
    changes = [_change(t, f"change {i + 1}", begin, zone) for i, t in enumerate(_tables(data, "change"))]
    acts = [_act(t, f"act {i + 1}", begin, zone) for i, t in enumerate(_tables(data, "act"))]
    _no_contradiction(changes)
    return Scenario(
        str(data.get("name", "")), tuple(changes), tuple(acts), _usual(_table(data, "usual"), begin, zone),
        _start(_table(data, "start")), _parameters(_table(data, "parameter")),
    )  # fmt: skip


def put(scenario: Scenario, acts: Acts, days: float) -> None:
    """Put a scenario's changes and acts into a run of so many days.

    Raises
    ------
    UnknownName, BadInput
        For machines, states, substances and amounts that can't be, with the table's number.
    """
    end = days * 86400.0
    for kind, rows in (("change", scenario.changes), ("act", scenario.acts)):
        for i, row in enumerate(rows):
            if row["at"] >= end:
                raise BadInput(
                    f"it begins {row['at'] / 86400:.1f} d after the start, the run lasts {days:g} d",
                    where=f"{kind} {i + 1}.at", way_out="Give an earlier moment, or more --days.",
                )  # fmt: skip
    for i, c in enumerate(scenario.changes):
        _named(lambda c=c: acts.change(c["at"], c["equipment"], c["state"], c["value"]), f"change {i + 1}")  # type: ignore[misc]
        if c["until"] is not None and c["until"] <= end:
            acts.change(c["until"], c["equipment"], "normal")
    for i, a in enumerate(scenario.acts):
        at_s, n = a["at"], 0
        while at_s <= end and n < _MOST_REPEATS:
            _named(lambda a=a, at_s=at_s: _do(acts, a, at_s), f"act {i + 1}")  # type: ignore[misc]
            n += 1
            if a["every"] is None:
                break
            at_s += a["every"]


def _do(acts: Acts, a: Mapping[str, Any], at_s: float) -> None:
    kind, subject, value, unit = a["kind"], a["subject"], a["value"], a["unit"]
    if kind in ("exchange", "topoff"):
        litres, held = units.to_litres(value, unit or "L"), acts.plan.mass_kg / KG_L
        if litres > held:
            raise BadInput(
                f"{value:g} {unit} is more than the {held:.0f} L that the system holds",
                way_out="Give less, several times if need be.",
            )
        if kind == "exchange":
            acts.exchange(at_s, litres, subject or "mixed-seawater", a["extra"])
        else:
            acts.pour(at_s, litres, subject or "ro", a["extra"])
    elif kind == "addition":
        acts.add(at_s, subject, value, unit)
    elif kind == "feeding":
        acts.feed(at_s, subject or "pellets", units.to_grams(value, unit or "g"))
    elif kind in ("bloom", "harvest"):
        acts.bloom(at_s, subject, units.to_grams(value, unit or "g") * (1.0 if kind == "bloom" else -1.0))
    else:
        acts.refill(at_s)


def _change(t: Mapping[str, Any], where: str, begin: dt.datetime, zone: ZoneInfo) -> dict[str, Any]:
    _only(t, where, {"at", "equipment", "state", "for", "value", "note"})
    for key in ("equipment", "state"):
        if not isinstance(t.get(key), str):
            raise BadInput(
                f"{key} is missing", where=where, way_out='Say, for example, equipment = "chiller-1", state = "off".'
            )
    at_s = moment_s(t.get("at", "0 s"), begin, zone, f"{where}.at")
    lasts = span_s(t["for"], f"{where}.for") if "for" in t else None
    if lasts == 0.0:
        raise BadInput(f"for = {t['for']!r} lasts no time", where=where, way_out='Give a span, such as "6 h".')
    value = t.get("value")
    if value is not None and (isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= 1e4):
        raise BadInput(f"value = {value!r} is no number that can be", where=where, way_out="Give a plain number.")
    return {
        "at": at_s, "equipment": t["equipment"], "state": t["state"], "until": None if lasts is None else at_s + lasts,
        "value": value,
    }  # fmt: skip


def _no_contradiction(changes: list[dict[str, Any]]) -> None:
    """Two different states of one machine at the same moment."""
    seen: dict[tuple[str, float], str] = {}
    for i, c in enumerate(changes):
        key = (c["equipment"], c["at"])
        if seen.setdefault(key, c["state"]) != c["state"]:
            raise BadInput(
                f"{c['equipment']} is {seen[key]} and {c['state']} at the same moment", where=f"change {i + 1}",
                way_out="Give one of them another time.",
            )  # fmt: skip


_KINDS = ("exchange", "topoff", "addition", "feeding", "bloom", "harvest", "refill")


def _act(t: Mapping[str, Any], where: str, begin: dt.datetime, zone: ZoneInfo) -> dict[str, Any]:
    _only(t, where, {"at", "every", "kind", "subject", "value", "unit", "extra", "note"})
    kind = str(t.get("kind", ""))
    if kind not in _KINDS:
        raise BadInput(f"kind = {kind!r}", where=where, way_out=f"Use one of {', '.join(_KINDS)}.")
    value = t.get("value", 0.0 if kind == "refill" else None)
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= 1e7:
        raise BadInput(f"value = {value!r}", where=where, way_out="Give an amount above zero, and its unit.")
    subject = str(t.get("subject", ""))
    if kind in ("exchange", "topoff") and subject and not waters.known(subject):
        raise UnknownName("water", subject, waters.WATERS, where=where)
    if kind == "feeding" and subject and subject not in FOODS:
        raise UnknownName("food", subject, FOODS, where=where)
    if kind in ("addition", "bloom", "harvest") and not subject:
        raise BadInput("subject is missing", where=where, way_out="Say what is put in.")
    every = span_s(t["every"], f"{where}.every") if "every" in t else None
    if every is not None and every < 600.0:
        raise BadInput(f"every = {t['every']!r}", where=where, way_out="At most every ten minutes.")
    extra = t.get("extra", {})
    if not isinstance(extra, dict):
        raise BadInput("extra is no table", where=where, way_out="Write extra = { salinity = 35.0 }.")
    _only(extra, f"{where}.extra", {*waters.STATED, "temperature", "volume_out", "chloramine"})
    _named(lambda: waters.check(extra), f"{where}.extra")
    for key in ("temperature", "chloramine"):
        most = 45.0 if key == "temperature" else 10.0
        said = extra.get(key, 0.0)
        if isinstance(said, bool) or not isinstance(said, int | float) or not 0.0 <= said <= most:
            raise BadInput(f"{key} = {said!r}", where=f"{where}.extra", way_out=f"Give a number from 0 to {most:g}.")
    if kind != "refill" and not t.get("unit"):
        raise BadInput("unit is missing", where=where, way_out='Say, for example, unit = "L" or unit = "g".')
    return {
        "at": moment_s(t.get("at", "0 s"), begin, zone, f"{where}.at"), "every": every, "kind": kind,
        "subject": subject, "value": float(value), "unit": str(t.get("unit", "")), "extra": extra,
    }  # fmt: skip


def _usual(t: Mapping[str, Any], begin: dt.datetime, zone: ZoneInfo) -> Usual:
    flags = ("feeding", "exchanges", "additions", "refills")
    _only(t, "usual", {*flags, "from", "until"})
    for key in flags:
        if not isinstance(t.get(key, True), bool):
            raise BadInput(f"{key} = {t[key]!r}", where="usual", way_out="Say true or false.")
    away = None
    if "from" in t or "until" in t:
        leaves = moment_s(t.get("from", "0 s"), begin, zone, "usual.from")
        returns = moment_s(t["until"], begin, zone, "usual.until") if "until" in t else float("inf")
        if returns <= leaves:
            raise BadInput("the keeper returns before leaving", where="usual.until", way_out="Correct from or until.")
        away = (leaves, returns)
    return Usual(**{key: bool(t.get(key, True)) for key in flags}, away=away)


def _start(t: Mapping[str, Any]) -> dict[str, float]:
    found = {}
    for name, raw in t.items():
        where = f"start.{name}"
        if name not in QUANTITIES:
            raise UnknownName("quantity", name, list(QUANTITIES), where="start")
        if name not in {*STATE_OF, "temperature", "salinity", "ph"}:
            raise BadInput("the simulator does not carry it", where=where, way_out="Leave it out.")
        number, unit = _named(lambda: units.split_value_unit(str(raw)), where)  # noqa: B023 - called at once
        if not unit and QUANTITIES[name].unit != "1":
            wanted = f"{raw} {QUANTITIES[name].unit}"
            raise BadInput(f"{raw!r} has no unit", where=where, way_out=f'Write it with one, such as "{wanted}".')
        stored = _named(lambda: convert.to_stored(name, number, unit).value, where)  # noqa: B023 - called at once
        low, high = QUANTITIES[name].span
        if not low <= stored <= high:
            unit = "" if QUANTITIES[name].unit == "1" else f" {QUANTITIES[name].unit}"
            raise BadInput(f"{raw!r} is no water", where=where, way_out=f"Give {low:g} to {high:g}{unit}.")
        found[name] = stored
    return found


def _parameters(t: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    from leadline.model.parameters import INDEX, PARAMETERS

    found = {}
    for name, raw in t.items():
        if name.upper() not in INDEX:
            raise UnknownName("parameter", name, list(INDEX), where="parameter")
        pair = raw if isinstance(raw, list) else [raw, raw]
        if (
            len(pair) != 2
            or any(isinstance(v, bool) or not isinstance(v, int | float) for v in pair)
            or pair[0] > pair[1]
        ):
            raise BadInput(f"{name} = {raw!r}", where="parameter", way_out="Give a number, or [low, high].")
        q = PARAMETERS[INDEX[name.upper()]]
        if not q.low <= pair[0] <= pair[1] <= q.high:
            raise BadInput(
                f"{name} = {raw!r}", where="parameter", way_out=f"{q.meaning}: give {q.low:g} to {q.high:g} {q.unit}."
            )
        found[name.upper()] = (float(pair[0]), float(pair[1]))
    return found


def _only(t: Mapping[str, Any], where: str, known: set[str]) -> None:
    for key in t:
        if key not in known:
            raise UnknownName("key", key, sorted(known), where=where)


def _table(data: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = data.get(key, {})
    if not isinstance(found, dict):
        raise BadInput(f"[{key}] is no table", way_out=f"Write [{key}] with lines below it.")
    return found


def _tables(data: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    found = data.get(key, [])
    if not isinstance(found, list) or not all(isinstance(t, dict) for t in found):
        raise BadInput(f"[{key}] must be written [[{key}]]", way_out=f"There can be several of {key}.")
    return found


def _named(do: Callable[[], T], where: str) -> T:
    try:
        return do()
    except UnknownName as exc:
        raise BadInput(exc.what, where=where, way_out=exc.way_out) from exc
    except LeadlineError as exc:
        raise BadInput(exc.what, where=exc.where or where, way_out=exc.way_out) from exc
