"""Times of rows, read fast: ISO 8601 with offset, or local in the system's zone, impossible ones told apart."""

from __future__ import annotations

import datetime as dt

from leadline.measures import moments
from leadline.measures.moments import EARLIEST, UTC

FUTURE_GRACE = dt.timedelta(hours=1)  # clocks of phones and pumps differ by minutes, not by more

_fromiso = dt.datetime.fromisoformat
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=UTC)
_EPOCH_ON_THE_WALL = _EPOCH.replace(tzinfo=None)


class LocalTimes:
    """Reads the times of one system. The offset of a day without a clock change is looked up once."""

    def __init__(self, zone: dt.tzinfo, now: dt.datetime) -> None:
        self.zone = zone
        self.latest = now + FUTURE_GRACE
        self.latest_s = self.latest.timestamp()
        self.read_as_first: list[str] = []  # local times that came twice
        self._zero: dict[str, dt.datetime | None] = {}  # by day: what the wall clock showed at the epoch

    def read(self, text: str) -> dt.datetime:
        """A moment in UTC.

        Raises
        ------
        BadInput
            When the text is no ISO 8601 date or time, or names a local time that the clocks skipped.
        """
        if len(text) > 15 and text[4] == "-" and text[7] == "-" and text[13] == ":" and text.isascii():
            try:
                moment = _fromiso(text)
            except ValueError:
                return moments.parse(text, self.zone)
            if moment.tzinfo is not None:
                return moment if moment.tzinfo is UTC else moment.astimezone(UTC)
            day = text[:10]
            try:
                zero = self._zero[day]
            except KeyError:
                offset = self._offset(moment)
                zero = self._zero[day] = None if offset is None else _EPOCH_ON_THE_WALL + offset
            if zero is not None:
                return _EPOCH + (moment - zero)  # half the time of subtracting the offset and replacing tzinfo
            if self.twice(text):
                self.read_as_first.append(text)
        return moments.parse(text, self.zone)

    def _offset(self, moment: dt.datetime) -> dt.timedelta | None:
        """The day's offset, or None when the clocks change on it."""
        try:
            start = moment.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=self.zone)
            first, last = start.utcoffset(), (start + dt.timedelta(days=1)).utcoffset()
        except (OverflowError, ValueError):
            return None
        return first if first == last else None

    def twice(self, text: str) -> bool:
        """Whether a local time came twice, when the clocks went back; it is then read as the first."""
        try:
            moment = _fromiso(text)
        except ValueError:
            return False
        if moment.tzinfo is not None:
            return False
        first = moment.replace(tzinfo=self.zone, fold=0).utcoffset()
        second = moment.replace(tzinfo=self.zone, fold=1).utcoffset()
        return first is not None and second is not None and first > second

    def why_impossible(self, moment: dt.datetime) -> str:
        """Why a row of that moment is parked for the keeper to judge, or nothing."""
        if moment < EARLIEST:
            return f"{moments.iso(moment)} is before 1971: a clock that was never set"
        if moment > self.latest:
            return f"{moments.iso(moment)} is in the future"
        return ""
