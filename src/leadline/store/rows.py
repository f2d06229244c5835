"""Entries to rows of the table `entry` and back, without loss."""

from __future__ import annotations

import datetime as dt
import functools
import json
import math
from dataclasses import replace
from typing import Any

from leadline.journal.entry import Entry, content_id
from leadline.measures.errors import BadInput

_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_MICROSECOND = dt.timedelta(microseconds=1)
_delta = dt.timedelta

COLUMNS = (
    "id", "time", "system", "kind", "subject", "value", "unit", "method", "sd", '"to"', "source", "recorded_at",
    "note", "extra", "stored", "stored_sd",
)  # fmt: skip
Row = tuple[Any, ...]
_EXTRA = 13  # the last column of what was said; the rest was worked out from it


def to_us(moment: dt.datetime) -> int:
    """A moment as whole microseconds since 1970 in UTC."""
    return (moment - _EPOCH) // _MICROSECOND


def from_us(microseconds: int) -> dt.datetime:
    """Whole microseconds since 1970 as a moment in UTC; integer arithmetic, hence exact."""
    return _EPOCH + _delta(0, 0, microseconds)


def to_row(entry: Entry) -> Row:
    """The row of an entry in the order of `COLUMNS`; an empty id is filled from its content.

    Raises
    ------
    BadInput
        When a number of the entry is not finite: such a number cannot be kept.
    """
    value, sd, stored, stored_sd = entry.value, entry.sd, entry.stored, entry.stored_sd
    if type(value) is int or type(sd) is int:  # would come back as a float and so change the id
        value, sd = None if value is None else float(value), None if sd is None else float(sd)
        entry = replace(entry, value=value, sd=sd)
    for number in (value, sd, stored, stored_sd):
        if number is not None and not math.isfinite(number):
            raise BadInput(
                f"{number} is no finite number ({entry.kind} {entry.subject} of {entry.time:%Y-%m-%d %H:%M})",
                where=entry.system,
                way_out="Leave the value out, or type the number.",
            )
    recorded = entry.recorded_at
    return (
        entry.id or content_id(entry),
        (entry.time - _EPOCH) // _MICROSECOND,
        entry.system, entry.kind, entry.subject, value, entry.unit, entry.method, sd, entry.to, entry.source,
        None if recorded is None else (recorded - _EPOCH) // _MICROSECOND,
        entry.note,
        json.dumps(entry.extra, ensure_ascii=False) if entry.extra else None,
        stored, stored_sd,
    )  # fmt: skip


def to_entry(row: Row) -> Entry:
    """The entry of a row in the order of `COLUMNS`."""
    (
        id_,
        time,
        system,
        kind,
        subject,
        value,
        unit,
        method,
        sd,
        to,
        source,
        recorded,
        note,
        extra,
        stored,
        stored_sd,
    ) = row
    return Entry(
        _EPOCH + _delta(0, 0, time), system, kind, subject, value, unit, method, sd, to, source,
        None if recorded is None else _EPOCH + _delta(0, 0, recorded),
        note, {} if extra is None else _extra(extra), stored, stored_sd, id_,
    )  # fmt: skip


_said = functools.lru_cache(maxsize=256)(json.loads)  # a doser says the same every day for years


def _extra(text: str) -> dict[str, Any]:
    """What is in the column `extra`; short texts without a list or object inside are read once."""
    if len(text) > 120 or "[" in text or text.count("{") > 1:
        return json.loads(text)
    return dict(_said(text))


def same_content(one: Row, other: Row) -> bool:
    """Whether two rows say the same; what was worked out from them (`stored`) does not count."""
    if one[:_EXTRA] != other[:_EXTRA]:
        return False
    mine, theirs = one[_EXTRA], other[_EXTRA]
    return bool(mine == theirs or (mine and theirs and json.loads(mine) == json.loads(theirs)))
