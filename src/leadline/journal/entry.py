"""One entry of the journal: what happened, when, as it was typed, and what it means in stored units."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from leadline.measures.moments import iso

KINDS = (
    "reading", "addition", "exchange", "topoff", "feeding", "arrival", "transfer", "loss", "observation",
    "treatment", "service", "note",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that happened in one system.

    `value`, `unit` and `sd` are as the keeper typed them; `stored` and `stored_sd` are the same in the stored
    unit of the quantity (readings: contract section 2; volumes in L, masses in g). An entry is never
    changed: a later one that carries `extra["corrects"]` stands in its place, and both are kept.
    """

    time: dt.datetime
    system: str
    kind: str
    subject: str = ""
    value: float | None = None
    unit: str = ""
    method: str = ""
    sd: float | None = None
    to: str = ""
    source: str = ""  # the column `from`
    recorded_at: dt.datetime | None = None
    note: str = ""
    extra: Mapping[str, Any] = field(default_factory=dict)
    stored: float | None = None
    stored_sd: float | None = None
    id: str = ""

    @property
    def corrects(self) -> str:
        """Id of the entry that this one stands in for, or nothing."""
        return str(self.extra.get("corrects", ""))

    @property
    def withdrawn(self) -> bool:
        """True when this entry only takes back the one it corrects."""
        return bool(self.extra.get("withdrawn", False))

    @property
    def known_at(self) -> dt.datetime:
        """When this was first known: its writing down, or its own time."""
        return max(self.time, self.recorded_at) if self.recorded_at else self.time


def content_id(entry: Entry) -> str:
    """Identity from content: the same row imported twice has the same id. 16 hex digits of BLAKE2b."""
    parts = (
        iso(entry.time), entry.system, entry.kind, entry.subject, repr(entry.value), entry.unit, entry.method,
        repr(entry.sd), entry.to, entry.source, iso(entry.recorded_at) if entry.recorded_at else "", entry.note,
        json.dumps(entry.extra, sort_keys=True, ensure_ascii=False) if entry.extra else "",
    )  # fmt: skip
    return hashlib.blake2b("\x1f".join(parts).encode(), digest_size=8).hexdigest()
