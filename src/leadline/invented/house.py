"""The invented house Lanternholm: three systems, fifteen months of records, in the public formats only."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from leadline.invented import descriptions
from leadline.invented.diary import as_csv
from leadline.invented.great_reef import great_reef
from leadline.invented.lagoon import lagoon
from leadline.invented.quarantine import quarantine
from leadline.invented.streams import stream_csv

ZONE = ZoneInfo("Europe/Oslo")


@dataclass(frozen=True)
class Scenario:
    """What a keeper could bring: system descriptions, a journal, probe data, and an old spreadsheet.

    ``truth`` tells what the invented water really is at ``now`` (salinity psu, alkalinity dKH, others mg/L), by
    system and quantity: for tests and for a demo that admits what it hid, never for an estimate.
    """

    systems: list[str]
    journal_csv: str
    stream_csv: str
    wide_csv: str
    truth: dict[str, dict[str, float]]


def scenario(now: dt.datetime, cache: Path | None = None) -> Scenario:
    """Fifteen months that end at ``now``, always the same for the same moment.

    Parameters
    ----------
    now
        Aware; nothing is dated at or after it.
    cache
        Folder of compiled code; without one the simulator runs in numpy, for minutes.

    Raises
    ------
    ValueError
        When ``now`` has no offset.
    """
    if now.tzinfo is None:
        raise ValueError("now must carry its offset, for example 2026-03-01T08:00:00+00:00")
    now = now.astimezone(dt.UTC)
    reef, reef_water = great_reef(now, ZONE, cache)
    pool, pool_water, wide = lagoon(now, ZONE, cache)
    ward, ward_water = quarantine(now, ZONE, cache)
    quantities = ("salinity", "alkalinity", "calcium", "magnesium", "nitrate", "phosphate", "ammonia")
    return Scenario(
        systems=[descriptions.GREAT_REEF, descriptions.LAGOON, descriptions.QUARANTINE],
        journal_csv=as_csv(reef.rows + pool.rows + ward.rows),
        stream_csv=stream_csv(now, reef_water),
        wide_csv=wide,
        truth={
            name: {quantity: water.level(quantity) for quantity in quantities}
            for name, water in (("great-reef", reef_water), ("lagoon", pool_water), ("quarantine", ward_water))
        },
    )
