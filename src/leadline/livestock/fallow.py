"""A display without hosts: fish-free time, and what begins its clock again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from leadline.livestock.census import Register
from leadline.livestock.development import Duration, longest
from leadline.livestock.kinds import Fact, Pest
from leadline.livestock.treatments import Warmth

_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Fallow:
    """A display without hosts: since when, until when at least, and what began the clock again."""

    place: str
    pest: Pest
    since: dt.datetime | None
    until: dt.datetime | None
    days: Duration
    shorter: Fact | None
    restarted: tuple[tuple[dt.datetime, str], ...]
    hosts: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def said(self) -> str:
        """In words."""
        if self.hosts:
            return f"Not fallow: {', '.join(self.hosts)} {'lives' if len(self.hosts) == 1 else 'live'} here."
        if self.since is None:
            return "No host is known to have been here."
        if self.until is None:
            return f"Without hosts since {self.since.day} {self.since:%B %Y}. {self.days.why}."
        least = f"{self.until.day} {self.until:%B %Y} at least ({self.days.days:g} days)"
        return f"Without hosts since {self.since.day} {self.since:%B %Y}; until {least}."


def fallow(
    place: str, pest: Pest, register: Register, wet_contacts: Sequence[tuple[dt.datetime, str]],
    warmth: Warmth | None,
) -> Fallow:  # fmt: skip
    """Fish-free time of a display. Any host, shared wet tool or transfer from a system with hosts begins it again."""
    here = register.hosts_at(place, pest.hosts)
    ends = [
        s.until for lot in register.lots.values() for s in lot.stays
        if s.place == place and s.until is not None and (lot.kind is None or lot.kind.is_any(pest.hosts)) and lot.lives
    ]  # fmt: skip
    days = longest(pest.those("fallow"), warmth.ends if warmth else None)
    shorter = next(iter(pest.those("fallow-short")), None)
    notes = tuple(f.says for f in pest.those("dormant") if f.says)
    if here or not ends:
        return Fallow(place, pest, None, None, days, shorter, (), tuple(x.name for x in here), notes)
    since = max(ends)
    again = [(t, w) for t, w in wet_contacts if t > since]
    if again:
        since = max(t for t, _ in again)
    until = since + days.days * _DAY if days.days is not None else None
    return Fallow(place, pest, since, until, days, shorter, tuple(again), (), notes)
