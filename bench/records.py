"""Rows of a synthetic journal as entries, through the same conversions that an import makes."""

from __future__ import annotations

import datetime as dt
from typing import Any

from leadline.journal.entry import Entry
from leadline.measures.moments import parse
from leadline.seawater import convert


def entries(rows: list[dict[str, Any]]) -> list[Entry]:
    """Entries of journal rows (contract section 3)."""
    found = []
    for k, row in enumerate(rows):
        value = row.get("value")
        value = float(value) if value not in (None, "") else None
        stored = stored_sd = None
        unit = row.get("unit") or ""
        sd = float(row["sd"]) if row.get("sd") not in (None, "") else None
        if row["kind"] == "reading" and value is not None:
            stored = convert.to_stored(row["subject"], value, unit, method=row.get("method") or "").value
            if sd is not None:
                stored_sd = convert.sd_to_stored(row["subject"], sd, unit, at=value)
        found.append(
            Entry(
                parse(row["time"], dt.UTC), row["system"], row["kind"], row.get("subject") or "", value, unit,
                row.get("method") or "", sd, row.get("to") or "", row.get("from") or "", None, row.get("note") or "",
                row.get("extra") or {}, stored, stored_sd, f"e{k}",
            )
        )  # fmt: skip
    return found
