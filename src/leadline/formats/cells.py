"""Cells of keepers' spreadsheets: numbers with point or comma, below detection, two readings in one cell."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

from leadline.app.bring_in import Question
from leadline.measures.errors import BadInput
from leadline.measures.units import parse_number

Decimal = Literal[".", ","]
EMPTY = frozenset({
    "", "-", "--", "---", "–", "—", "n/a", "na", "n.a.", "nd", "n.d.", "none", "null", "?", "x", "/", "k.a.", "nan",
    "#n/a", "not tested", "#div/0!", "#value!", "#ref!",
})  # fmt: skip

_POINT = re.compile(r"\d+\.(?:\d{1,2}|\d{4,})$|0\.\d+$|\d{1,3}(?:,\d{3})+\.\d+$")
_COMMA = re.compile(r"\d+,(?:\d{1,2}|\d{4,})$|0,\d+$|\d{1,3}(?:\.\d{3})+,\d+$")
_EITHER = re.compile(r"[1-9]\d{0,2},\d{3}$")
_GROUPED = r"[0-9]{1,3}(?: [0-9]{3})+(?![0-9])(?:[.,][0-9]+)?"  # thousands parted by a plain space, as in French
_NUMBER = re.compile(rf"[+\-−]?\s?(?:{_GROUPED}|[0-9][0-9.,'’\u00a0\u2009\u202f]*)(?:[eE][+-]?\d+)?")
_BEFORE = {
    "<": "below_detection", "≤": "below_detection", ">": "above_range", "≥": "above_range", "~": "approximate",
    "≈": "approximate",
}  # fmt: skip


@dataclass(slots=True)
class Amount:
    """One number of a cell, with what stood around it."""

    value: float
    unit: str = ""
    note: str = ""
    extra: dict[str, Any] = field(default_factory=dict)


def is_empty(text: str) -> bool:
    """Whether a cell says that nothing was measured."""
    return text.strip().lower() in EMPTY


def decide_decimal(texts: Iterable[str], where: str) -> Decimal | None:
    """The decimal sign of one file; None when point and comma both stand for it, or neither occurs.

    Raises
    ------
    BadInput
        When the only numbers with a comma could be thousands as well (`1,320`).
    """
    point = comma = 0
    either = ""
    for text in texts:
        for found in _NUMBER.findall(text):
            number = re.sub(r"[\s'’]", "", found).strip("+-−.,")
            if _POINT.match(number):
                point += 1
            elif _COMMA.match(number):
                comma += 1
            elif _EITHER.match(number):
                either = either or number
    if comma and not point:
        return ","
    if point and not comma:
        return "."
    if either and not point:
        raise Question(
            f"{either!r} may be {either.replace(',', '')} or {either.replace(',', '.')}",
            where=where,
            way_out="Say which sign parts off decimals: --decimal , or --decimal .",
            option="decimal",
            choices=(",", "."),
        )
    return None


def amounts(text: str, decimal: Decimal | None) -> list[Amount]:
    """The numbers of one cell: `8,1`, `<0.02`, `8.1 dKH`, `8.1 / 8.2`, `8.1 (new kit)`.

    A value below detection is kept at the limit and marked `below_detection`; of several readings in one cell
    each is kept, numbered from the second on as `replicate`.

    Raises
    ------
    BadInput
        When it is no number.
    """
    text = text.strip()
    note = ""
    match = re.match(r"^(.*?\S)\s*\(([^()]*)\)$", text, re.S)
    if match:
        text, note = match[1], match[2].strip()
    parts = [p for p in re.split(r"\s*/\s*(?=[<>~≤≥≈+\-−]?\s?\d)|\s*;\s*|\s+(?:&|and|und|et|og)\s+", text) if p]
    found = []
    for i, part in enumerate(parts):
        amount = _one(part, decimal, text)
        amount.note = note
        if i:
            amount.extra["replicate"] = i + 1
        found.append(amount)
    if not found:
        raise BadInput(f"{text!r} is no number", way_out="Write it like 8.1.")
    unit = found[-1].unit
    for amount in found:  # '8.1 / 8.2 dKH'
        amount.unit = amount.unit or unit
    return found


def _one(part: str, decimal: Decimal | None, whole: str) -> Amount:
    extra: dict[str, Any] = {}
    while part and part[0] in _BEFORE:
        extra[_BEFORE[part[0]]] = True
        part = part[1:].lstrip(" =")
    part = re.sub(r"^(?:ca|approx|about|etwa|env)\.?\s+", "", part, flags=re.I)
    match = _NUMBER.match(part)
    if match is None:
        raise BadInput(f"{whole!r} is no number", way_out="Write it like 8.1, or leave the cell empty.")
    number, unit = match[0].strip(), part[match.end() :].strip()
    if unit and not re.match(r"[%°µμ\w\"]", unit):
        raise BadInput(f"{whole!r} is no number", way_out="Write it like 8.1, or leave the cell empty.")
    return Amount(parse_number(number.replace("−", "-"), decimal), unit, "", extra)
