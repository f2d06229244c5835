"""What a payload, a JSON line or a cell says: one point, or something odd with the reason."""

from __future__ import annotations

import datetime as dt
import json
import re
import time
from collections.abc import Callable

from leadline.app.ports import Arrival, Odd
from leadline.measures import moments, units
from leadline.measures.errors import BadInput, LeadlineError

ZoneOf = Callable[[str], dt.tzinfo]  # of a system; raises UnknownName

LONGEST = 4096  # bytes of one payload or line; a point needs 60
MOST = 1e15  # no probe sends a number beyond; the importer of stream files has the same limit
_KEPT_OF_LONG = 300
_LONGEST_NAME = 200
_LONGEST_UNIT = 60
_LAST_SECOND = 253_402_300_800.0  # the year 10000
_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_OFFSET = re.compile(r"(?:[Zz]|[+-][0-9]{2}:?[0-9]{2})$")
_NO_NUMBERS = frozenset({"nan", "inf", "infinity", "null", "none"})


class Strange(Exception):
    """Why something is no point."""


def read_payload(system: str, stream: str, payload: bytes, *, zone_of: ZoneOf | None = None) -> Arrival | Odd:
    """One MQTT payload: a number, or `{"t": ..., "v": ...}` with an optional `unit`.

    A decimal comma is understood. `zone_of` gives the zone for a time without an offset; without it such a time
    is odd, for it may be hours off.
    """
    try:
        name(system, "system")
        name(stream, "stream")
        if len(payload) > LONGEST:
            raise Strange(f"{len(payload):,} bytes, where a point has at most {LONGEST:,}")
        text = _decoded(payload).strip().removeprefix("\ufeff").strip()
        if not text:
            raise Strange("empty, where a number was expected")
        if text[0] not in '{["':
            return Arrival(system, stream, None, number(text))
        content = _json(text)
        if not isinstance(content, dict):
            return Arrival(system, stream, None, number(content))
        return _point(system, stream, content, zone_of)
    except Strange as exc:
        return odd(system, stream, payload, str(exc))


def read_lines(body: bytes, most: int, *, zone_of: ZoneOf | None = None) -> tuple[list[Arrival], list[Odd]]:
    """JSON lines of `{"system": ..., "stream": ..., "t": ..., "v": ...}`, with an optional `unit`.

    Raises
    ------
    BadInput
        With more than `most` lines: then nothing is taken.
    """
    parts = body.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    lines = [(at, part.strip()) for at, part in enumerate(parts, 1) if part.strip()]
    if len(lines) > most:
        raise BadInput(f"{len(lines):,} lines, where a request may have {most:,}", way_out="Send several requests.")
    zones = remembering(zone_of)
    points: list[Arrival] = []
    strange: list[Odd] = []
    for at, raw in lines:
        system, stream = "", ""
        try:
            if len(raw) > LONGEST:
                raise Strange(f"{len(raw):,} bytes, where a point has at most {LONGEST:,}")
            content = _json(_decoded(raw))
            if not isinstance(content, dict):
                raise Strange("no JSON object with system, stream, t and v")
            system, stream = _said(content, "system"), _said(content, "stream")
            points.append(_point(name(system, "system"), name(stream, "stream"), content, zones))
        except Strange as exc:
            strange.append(odd(system, stream, raw, f"line {at}: {exc}"))
    return points, strange


def number(value: object) -> float:
    """A finite number, also as text and with a decimal comma.

    Raises
    ------
    Strange
        With the reason.
    """
    if isinstance(value, str):
        return _from_text(value.strip())
    if isinstance(value, bool):
        raise Strange(f"{str(value).lower()} is no number: a state is sent as 0 or 1")
    if value is None:
        raise Strange("the value is missing")
    if not isinstance(value, (int, float)):
        raise Strange("the value is a list or an object, not a number")
    try:
        return _finite(float(value), f"{value}")
    except OverflowError:
        raise Strange("the value is no finite number a probe could send") from None


def moment(value: object, system: str, zone_of: ZoneOf | None, after: float | None = None) -> float | None:
    """Unix seconds of a time as sent: Unix seconds or ISO 8601; None when there is none.

    Local times need the system's zone. One that came twice, when the clocks went back, is the second if the first
    is before `after`, the stream's last point.

    Raises
    ------
    Strange
        With the reason.
    """
    if value is None:
        return None
    if isinstance(value, str):
        text = value.strip()
        if not _PLAIN.fullmatch(text):
            return _iso(text, system, zone_of, after)
        value = float(text)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise Strange("the time is neither Unix seconds nor ISO 8601")
    if not 0.0 <= value < _LAST_SECOND:  # false for nan as well
        hint = ": are these milliseconds? Send seconds" if value >= _LAST_SECOND else ""
        raise Strange(f"the time {_short(str(value))} is not in Unix seconds{hint}")
    return float(value)


def name(text: str, what: str) -> str:
    """The id of a system or stream, if it can be one.

    Raises
    ------
    Strange
        When it is missing, too long, or has signs that nobody can type.
    """
    if not text:
        raise Strange(f"the {what}'s id is missing")
    if len(text) > _LONGEST_NAME or not text.isprintable():
        raise Strange(f"{_short(ascii(text))} cannot be the id of a {what}")
    return text


def odd(system: str, stream: str, raw: bytes, why: str) -> Odd:
    """Something odd, as it was as far as it can be shown."""
    text = raw[:LONGEST].decode("utf-8", "backslashreplace")
    if len(raw) > LONGEST:
        text = f"{text[:_KEPT_OF_LONG]} … ({len(raw):,} bytes)"
    return Odd(_safe(system), _safe(stream), text, why)


def remembering(zone_of: ZoneOf | None, for_s: float = 60.0) -> ZoneOf | None:
    """The same, asked once a minute for each system: it reads the system's description every time."""
    if zone_of is None:
        return None
    known: dict[str, tuple[float, dt.tzinfo]] = {}

    def remembered(system: str) -> dt.tzinfo:
        now = time.monotonic()
        if system not in known or now - known[system][0] > for_s:
            known[system] = now, zone_of(system)
        return known[system][1]

    return remembered


def _point(system: str, stream: str, content: dict[str, object], zone_of: ZoneOf | None) -> Arrival:
    if "v" not in content:
        raise Strange("v is missing")
    unit = _said(content, "unit").strip()
    if len(unit) > _LONGEST_UNIT or not unit.isprintable():
        raise Strange("the unit is no unit")
    v = number(content["v"])
    return Arrival(system, stream, moment(content.get("t"), system, zone_of), v, unit)


def _said(content: dict[str, object], key: str) -> str:
    value = content.get(key)
    if value is None:
        return ""
    if not isinstance(value, str):
        raise Strange(f"{key} is no text")
    return value


def _decoded(raw: bytes) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        raise Strange("not text in UTF-8") from None


def _json(text: str) -> object:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):  # a deep nest, or a number of thousands of digits
        raise Strange("no valid JSON") from None


def _from_text(text: str) -> float:
    if _PLAIN.fullmatch(text):
        return _finite(float(text), text)
    if not text:
        raise Strange("the value is missing")
    if text.lower().lstrip("+-") in _NO_NUMBERS:
        raise Strange(f"{text} is no number: a probe without a value sends nothing")
    if text.lower() in ("true", "false", "on", "off"):
        raise Strange(f"{text} is no number: a state is sent as 0 or 1")
    try:
        return _finite(units.parse_number(text), text)
    except BadInput as exc:
        raise Strange(exc.line() if len(text) <= 80 else f"{_short(ascii(text))} is no number") from None


def _finite(value: float, shown: str) -> float:
    if not -MOST < value < MOST:
        raise Strange(f"{_short(shown)} is no finite number a probe could send")
    return value


def _iso(text: str, system: str, zone_of: ZoneOf | None, after: float | None) -> float:
    try:
        if _OFFSET.search(text) and len(text) > 10:
            seconds = moments.parse(text).timestamp()
        else:
            seconds = _local(moments.parse(text).replace(tzinfo=None), text, system, zone_of, after)
    except BadInput as exc:
        raise Strange(f"the time {_short(exc.line())}" if len(text) <= 80 else "the time is no ISO 8601") from None
    except (ValueError, OverflowError):  # the first and the last day of the calendar
        raise Strange(f"the time {_short(text)} is impossible") from None
    if not 0.0 <= seconds < _LAST_SECOND:
        raise Strange(f"the time {_short(text)} is before 1970")
    return seconds


def _local(naive: dt.datetime, text: str, system: str, zone_of: ZoneOf | None, after: float | None) -> float:
    zone = None
    if zone_of is not None:
        try:
            zone = zone_of(system)
        except LeadlineError:
            zone = None
    if zone is None:
        raise Strange(f"the time {text} has no offset, and the system's time zone is not known: add Z or +01:00")
    first = moments.from_local(naive, zone, text).timestamp()
    if after is not None and first < after:
        second = naive.replace(tzinfo=zone, fold=1)
        return max(first, second.timestamp())
    return first


def _short(text: str) -> str:
    return text if len(text) <= 120 else f"{text[:117]}…"


def _safe(text: str) -> str:
    return text[:_LONGEST_NAME].encode("utf-8", "backslashreplace").decode("utf-8")
