"""Times of rows, read fast: ISO 8601 with offset, or local in the system's zone, impossible ones told apart."""

from __future__ import annotations

import datetime as dt

from leadline.measures import moments
from leadline.measures.moments import EARLIEST, UTC

FUTURE_GRACE = dt.timedelta(hours=1)  # clocks of phones and pumps differ by minutes, not by more

_fromiso = dt.datetime.fromisoformat


class LocalTimes:
    """Reads the times of one system. The offset of a day without a clock change is looked up once."""

    def __init__(self, zone: dt.tzinfo, now: dt.datetime) -> None:
        self.zone = zone
        self.latest = now + FUTURE_GRACE
        self.latest_s = self.latest.timestamp()
        self._offsets: dict[str, dt.timedelta | None] = {}

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
                offset = self._offsets[day]
            except KeyError:
                offset = self._offsets[day] = self._offset(moment)
            if offset is not None:
                return (moment - offset).replace(tzinfo=UTC)
        return moments.parse(text, self.zone)

    def _offset(self, moment: dt.datetime) -> dt.timedelta | None:
        """The day's offset, or None when the clocks change on it or next to it."""
        try:
            noon = moment.replace(hour=12, minute=0, second=0, microsecond=0, tzinfo=self.zone)
            around = {(noon + dt.timedelta(hours=h)).utcoffset() for h in (-24, -12, 0, 12, 24)}
        except (OverflowError, ValueError):
            return None
        return around.pop() if len(around) == 1 else None

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
