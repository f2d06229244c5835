"""The stream CSV of the contract: probe and equipment-state points, one a row, many rows."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from operator import itemgetter

import numpy as np

from leadline.app.bring_in import Declared, FileRead, Problem, StreamPart
from leadline.app.ports import Parked
from leadline.detect import trust
from leadline.formats.journal_csv import Progress, ZoneOf, left_out
from leadline.formats.text import Broken, Rows
from leadline.formats.times import LocalTimes
from leadline.measures import units
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.quantities import QUANTITIES, quantity, stored_name
from leadline.seawater import convert

COLUMNS = ("time", "system", "stream", "value", "unit")
MISSING = frozenset({"", "nan", "NaN", "NAN", "null", "NULL"})
HUGE = 1e15

StreamOf = Callable[[str, str], Declared]  # (system, stream)
_fromiso = dt.datetime.fromisoformat


@dataclass(slots=True)
class _Channel:
    """Points of one (system, stream, unit) while they are gathered, as typed."""

    system: str
    stream: str
    unit: str
    times: LocalTimes
    quantity: str
    room: bool = False
    t: list[float] = field(default_factory=list)
    v: list[float] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    last: float = -math.inf


class _Bad(Exception):
    def __init__(self, column: str, value: str, reason: str) -> None:
        self.column, self.value, self.reason = column, value, reason


def read(
    rows: Rows,
    file: str,
    *,
    zone_of: ZoneOf,
    now: dt.datetime,
    declared: StreamOf,
    system: str = "",
    progress: Progress | None = None,
    park: bool = True,
) -> FileRead:
    """All points of one file, in stored units and in order of time.

    An empty value or `nan` is a missing point and kept as such. A value outside what is possible is a fault of
    the probe, not of the file: it is kept and flagged as bad. A local time that came twice, when the clocks
    went back, is the second one if the stream has passed the first already.

    Raises
    ------
    BadInput
        When the header lacks a column.
    """
    stream = iter(rows)
    _, header = next(stream)
    columns = _columns(header, file, system)
    out = FileRead(file, "stream", columns)
    width = len(columns)
    pick = itemgetter(*(columns.index(c) if c in columns else width for c in COLUMNS))
    pad = [""] * (width + 1)
    channels: dict[tuple[str, str, str], _Channel] = {}
    earliest, missing, twice = 86400.0 * 365, 0, 0
    for line, fields in stream:
        out.rows += 1
        if progress is not None and not out.rows % 10_000:
            progress(out.rows)
        if isinstance(fields, Broken):
            out.problems.append(Problem(file, line, "", "", fields.reason, fields.fields))
            continue
        n = len(fields)
        if n != width:
            if n > width:
                reason = f"{n} fields where the header has {width}"
                out.problems.append(Problem(file, line, "", "", reason, fields))
                continue
            fields = fields + pad[n:-1]
        time_text, system_text, stream_text, value_text, unit = pick((*fields, ""))
        try:
            try:
                channel = channels[system_text, stream_text, unit]
            except KeyError:
                channel = _channel(system_text or system, stream_text, unit, zone_of, now, declared)
                channels[system_text, stream_text, unit] = channel
            t = _time(time_text, channel.times)
            if t < channel.last and channel.times.twice(time_text):
                t, twice = t + 3600.0, twice + 1
            if value_text in MISSING:
                value, missing = math.nan, missing + 1
            else:
                value = _value(value_text)
        except _Bad as bad:
            if any(f.strip() for f in fields):  # spreadsheets leave rows of nothing but commas
                out.problems.append(Problem(file, line, bad.column, bad.value, bad.reason, fields))
            continue
        if park and not earliest <= t <= channel.times.latest_s:
            why = channel.times.why_impossible(dt.datetime.fromtimestamp(t, dt.UTC))
            row = {c: v for c, v in zip(columns, fields, strict=False) if c and v}
            row.setdefault("system", channel.system)
            out.parked.append(Parked(0, file, line, why, row))
            continue
        channel.last = t
        channel.t.append(t)
        channel.v.append(value)
        channel.lines.append(line)
    if missing:
        out.warnings.append(f"{file}: {missing} points without a value, kept as missing")
    if twice:
        out.warnings.append(f"{file}: {twice} local times that came twice were read as the second")
    for channel in channels.values():
        _settle(channel, out)
    return out


def _columns(header: list[str] | Broken, file: str, system: str) -> list[str]:
    if isinstance(header, Broken):
        raise BadInput(header.reason, where=f"{file}:1")
    columns = [h.strip().lower() for h in header]
    if columns[-1] == "reason" and left_out(file):
        columns[-1] = ""
    for needed in ("time", "system", "stream", "value"):
        if needed not in columns and not (needed == "system" and system):
            way_out = "Say --system ID once for the whole file." if needed == "system" else "Add it to the header."
            raise BadInput(f"column {needed!r} is missing", where=f"{file}:1", way_out=way_out)
    return columns


def _channel(system: str, stream: str, unit: str, zone_of: ZoneOf, now: dt.datetime, declared: StreamOf) -> _Channel:
    if not system:
        raise _Bad("system", "", "the system's id is missing")
    if not stream:
        raise _Bad("stream", "", "the stream's id is missing")
    try:
        zone = zone_of(system)
    except UnknownName as exc:
        way_out = f"Did you mean {' or '.join(exc.near)}?" if exc.near else "Add it first: leadline system add."
        raise _Bad("system", system, f"unknown system. {way_out}") from None
    name, usual, room = declared(system, stream)
    name = name or (stream if stream in QUANTITIES or stream == "ph_total" else "")
    unit = unit.strip() or usual
    channel = _Channel(system, stream, unit, LocalTimes(zone, now), name, room)
    if name and unit:
        try:
            convert.linear(name, unit)
        except BadInput as exc:
            raise _Bad("unit", unit, exc.line()) from None
    elif unit and units.unit_key(unit) not in units.SCALES["power"] and units.unit_key(unit) not in ("1", "on/off"):
        channel.unit = ""  # a state or a channel nobody knows: kept as it comes
    return channel


def _time(text: str, times: LocalTimes) -> float:
    try:
        return times.read(text).timestamp()
    except BadInput as exc:
        try:
            seconds = float(text)  # Unix seconds, as live streams send them
        except ValueError:
            raise _Bad("time", text, exc.line().removeprefix(f"{text!r} ")) from None
        if not 0.0 <= seconds < 253_402_300_800.0:
            raise _Bad("time", text, "is neither ISO 8601 nor Unix seconds") from None
        return seconds


def _value(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        try:
            value = units.parse_number(text)
        except BadInput as exc:
            raise _Bad("value", text, exc.line().removeprefix(f"{text.strip()!r} ")) from None
    if not -HUGE < value < HUGE:
        raise _Bad("value", text, "is no finite number a probe could send")
    return value


def _settle(channel: _Channel, out: FileRead) -> None:
    """Turn a channel's points into stored units, sort them, and flag them."""
    if not channel.t:
        return
    t = np.array(channel.t)
    v = np.array(channel.v)
    keep = np.ones(t.size, dtype=bool)
    if channel.quantity:
        v = _stored(channel, v, keep, out)
    elif channel.unit:
        v = v * units.SCALES["power"].get(units.unit_key(channel.unit), 1.0)
    order = np.argsort(t, kind="stable")
    order = order[keep[order]]
    t, v = t[order], v[order]
    out.streams.append(StreamPart(channel.system, channel.stream, t, v, flags(channel, t, v), channel.unit))


def _stored(channel: _Channel, v: np.ndarray, keep: np.ndarray, out: FileRead) -> np.ndarray:
    name, unit = channel.quantity, channel.unit
    if not unit:
        stored = quantity(name).unit
        if stored != "1":
            out.warnings.append(f"{out.file}: {channel.stream} has no unit, read as {stored}")
        return v
    straight = convert.linear(name, unit)
    if straight is not None:
        return v * straight[0] + straight[1]
    converted: dict[float, float] = {}  # a probe has few different values: each is worked out once
    result = np.full(v.size, np.nan)
    for i, value in enumerate(v.tolist()):
        if math.isnan(value):
            continue
        if value not in converted:
            try:
                converted[value] = convert.to_stored(name, value, unit).value
            except BadInput as exc:
                keep[i] = False
                line = channel.lines[i]
                moment = dt.datetime.fromtimestamp(channel.t[i], dt.UTC).isoformat()
                row = {"time": moment, "system": channel.system, "stream": channel.stream, "value": repr(value)}
                fields = [row.get(c, unit if c == "unit" else "") for c in out.columns]
                out.problems.append(Problem(out.file, line, "value", f"{value:g}", exc.line(), fields))
                continue
        result[i] = converted[value]
    return result


def flags(channel: _Channel, times_s: np.ndarray, values: np.ndarray) -> np.ndarray:
    """QARTOD flags of a channel's points: by the tests of its quantity in water, and by what is possible at all."""
    name = stored_name(channel.quantity)
    given = trust.flag("" if channel.room else name, times_s, values).astype(np.int64)
    if name:
        low, high = quantity(name).span
        given[(values < low) | (values > high)] = trust.FAIL
    return given


def point(row: Mapping[str, str], zone_of: ZoneOf, now: dt.datetime, declared: StreamOf) -> StreamPart:
    """One parked point the keeper has judged, whatever its time.

    Raises
    ------
    BadInput
        When it still cannot be used.
    """
    columns: Sequence[str] = list(row)
    rows: list[tuple[int, list[str] | Broken]] = [(1, list(columns)), (2, [row[c] for c in columns])]
    got = read(iter(rows), "", zone_of=zone_of, now=now, declared=declared, park=False)
    if got.problems:
        raise BadInput(got.problems[0].text().removeprefix(":2: "))
    return got.streams[0]
