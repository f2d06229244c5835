"""How an invented keeper writes: rows of a journal, figures as the kit shows them."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

COLUMNS = ("time", "system", "kind", "subject", "value", "unit", "method", "sd", "to", "from", "note", "extra")


@dataclass
class Diary:
    """One system's rows, in the columns of the journal format. Nothing from ``now`` on is ever written."""

    system: str
    zone: ZoneInfo
    now: dt.datetime
    rows: list[dict[str, str]] = field(default_factory=list)

    def write(
        self,
        at: dt.datetime,
        kind: str,
        subject: str,
        value: str = "",
        unit: str = "",
        method: str = "",
        note: str = "",
        extra: Mapping[str, Any] | None = None,
        to: str = "",
        source: str = "",
    ) -> None:
        """Add one row; ``at`` is aware, the row shows local time with its offset."""
        if at >= self.now:
            return
        local = at.astimezone(self.zone).replace(second=0, microsecond=0)
        self.rows.append(
            {
                "time": local.isoformat(),
                "system": self.system,
                "kind": kind,
                "subject": subject,
                "value": value,
                "unit": unit,
                "method": method,
                "sd": "",
                "to": to,
                "from": source,
                "note": note,
                "extra": json.dumps(extra) if extra else "",
            }
        )


@dataclass
class Kit:
    """A test in use: scatter, step, and a bias that is drawn anew with each lot."""

    unit: str
    method: str
    step: float
    sd: float
    relative: float = 0.0
    lot_sd: float = 0.0
    bias: float = 0.0

    def read(self, true: float, chance: random.Random) -> str:
        """The figure that the keeper writes down."""
        value = true * (1 + chance.gauss(0, self.relative)) + self.bias + chance.gauss(0, self.sd)
        return figure(max(value, 0.0), self.step)

    def new_lot(self, chance: random.Random) -> None:
        """Open the next pack."""
        self.bias = chance.gauss(0, self.lot_sd)


def figure(value: float, step: float) -> str:
    """A number rounded to a step, with as many decimals as the step has and no more."""
    text = f"{round(value / step) * step:.4f}"
    decimals = len(f"{step:.4f}".rstrip("0").split(".")[1])
    return text[: len(text) - 4 + decimals].rstrip(".")


def as_csv(rows: Iterable[dict[str, str]]) -> str:
    """Rows in order of their moment, as RFC 4180 text."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(sorted(rows, key=lambda row: dt.datetime.fromisoformat(row["time"])))
    return out.getvalue()
