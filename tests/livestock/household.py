"""An invented house of three systems for the livestock tests: entries by hand, and the house that they make."""

from __future__ import annotations

import datetime as dt
from itertools import count
from typing import Any

from leadline.app.catalogue import packaged
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of
from leadline.livestock import contacts, trace
from leadline.livestock.census import Register, register

NOW = dt.datetime(2026, 3, 1, 20, 0, tzinfo=dt.UTC)
SYSTEMS = ("display", "lagoon", "quarantine")
_number = count()


def ago(days: float) -> dt.datetime:
    """So many days before now."""
    return NOW - dt.timedelta(days=days)


def entry(days: float, system: str, sort: str, subject: str, n: float | None = None, **more: Any) -> Entry:
    """An entry so many days ago; what is no field of an entry goes into its extra."""
    fields = {k: more.pop(k) for k in ("to", "source", "method", "note", "unit") if k in more}
    recorded = more.pop("recorded", None)
    return Entry(
        ago(days), system, sort, subject, n, extra=more, id=f"e{next(_number)}", recorded_at=recorded, **fields
    )


def arrival(
    days: float, system: str, who: str, kind: str = "", n: float | None = None, source: str = "shop", **more: Any
):
    """Somebody came."""
    return entry(days, system, "arrival", who, n, source=source, **({"kind": kind} if kind else {}), **more)


def kept(*entries: Entry, moment: dt.datetime = NOW) -> Register:
    """The register as of a moment."""
    return register(as_of(entries, moment).entries, SYSTEMS, packaged())


def house(*entries: Entry, moment: dt.datetime = NOW, near=(), **more: Any) -> trace.House:
    """What a trace needs."""
    stands = as_of(entries, moment).entries
    r = register(stands, SYSTEMS, packaged())
    return trace.House(
        r, [*contacts.contacts(stands, r, SYSTEMS), *near], SYSTEMS,
        torn_down=contacts.torn_down(stands, SYSTEMS), **more,
    )  # fmt: skip
