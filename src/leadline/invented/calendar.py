"""Days and evenings of an invented keeper, in local time."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Iterator
from zoneinfo import ZoneInfo

DAYS = 456  # fifteen months


def local_days(now: dt.datetime, zone: ZoneInfo, days: int) -> Iterator[tuple[int, dt.date]]:
    """Each local date of the last ``days`` days with its age in days; today, of age 0, comes last."""
    today = now.astimezone(zone).date()
    for ago in range(days, -1, -1):
        yield ago, today - dt.timedelta(days=ago)


def at(date: dt.date, zone: ZoneInfo, hour: float) -> dt.datetime:
    """That local hour of that date, in UTC."""
    whole = dt.datetime(date.year, date.month, date.day, tzinfo=zone) + dt.timedelta(minutes=round(hour * 60))
    return whole.astimezone(dt.UTC)


def evening(date: dt.date, zone: ZoneInfo, chance: random.Random) -> dt.datetime:
    """When the keeper gets round to it: seven o'clock, give or take an hour."""
    return at(date, zone, min(max(chance.gauss(19.2, 0.9), 17.0), 22.0))


class Due:
    """Something done every so many days, never quite on the day, sometimes skipped."""

    def __init__(self, every: float, chance: random.Random, first: float = 1.0) -> None:
        self.every, self.chance, self.left = every, chance, first

    def today(self) -> bool:
        """Whether it is done today; asks once a day."""
        self.left -= 1
        if self.left > 0:
            return False
        self.left = max(1.0, self.every * self.chance.gammavariate(8, 1 / 8))
        return True

    def put_off(self, days: float) -> None:
        """Not before so many days have passed."""
        self.left = max(self.left, days)
