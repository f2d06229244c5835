"""Short journal files for tests, and a reader for a north room in Oslo at a fixed moment."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from leadline.app.bring_in import FileRead
from leadline.formats import text
from leadline.formats.journal_csv import JournalReader
from leadline.measures.errors import UnknownName

NOW = dt.datetime(2026, 3, 1, 12, 0, tzinfo=dt.UTC)
ZONES = {"north-room": "Europe/Oslo", "lagoon": "America/New_York"}
HEADER = "time,system,kind,subject,value,unit,method,sd,to,from,recorded_at,note,extra\n"


def zone_of(system: str) -> ZoneInfo:
    if system not in ZONES:
        raise UnknownName("system", system, ZONES)
    return ZoneInfo(ZONES[system])


def read(content: str, file: str = "journal.csv") -> FileRead:
    return JournalReader(zone_of, NOW).read(text.records(content, text.delimiter_of(content)), file)


def reading(value: str = "8.1", unit: str = "dKH", time: str = "2026-01-05T08:00", subject: str = "alkalinity") -> str:
    return f"{time},north-room,reading,{subject},{value},{unit},,,,,,,\n"
