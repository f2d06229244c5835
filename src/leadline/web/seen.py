"""What one system's page shows, worked out once for every revision of its journal."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, cast
from zoneinfo import ZoneInfo

from leadline.app import due, enquire, survey
from leadline.app.path_book import ORDERS, PATH
from leadline.app.ports import Store
from leadline.estimate.report import Course, QuantityEstimate, SystemEstimate
from leadline.measures import words
from leadline.measures.moments import Clock, zone
from leadline.present.charts import course as drawn
from leadline.present.window import Window
from leadline.rounds.item import Round
from leadline.web.use import Use

if TYPE_CHECKING:
    from leadline.estimate.reckon import Reckoning

_KEPT = 48
_MOST_PAST = 4


@dataclass(slots=True)
class Seen:
    """Estimate and courses of one system at one moment; courses are reckoned and drawn when first asked for."""

    estimate: SystemEstimate
    reckoned: Callable[[], dict[str, Course]]
    local: ZoneInfo
    charts: dict[str, str] = field(default_factory=dict)
    rows: dict[str, Any] = field(default_factory=dict)  # the last readings of each quantity as a page lists them
    _courses: dict[str, Course] | None = None

    @property
    def courses(self) -> dict[str, Course]:
        """The course of every quantity."""
        if self._courses is None:
            self._courses = self.reckoned()
        return self._courses

    @property
    def begin(self) -> dt.datetime | None:
        """Where the first of the courses begins, and with it the drawing of each."""
        return min(
            (c.times[0] for q, c in self.courses.items() if c.times and q in self.estimate.quantities), default=None
        )

    def chart(self, e: QuantityEstimate) -> str:
        """The course of one quantity as SVG, or nothing where there is none to draw."""
        found = self.charts.get(e.quantity)
        if found is None:
            track = self.courses.get(e.quantity)
            found = ""
            if track is not None and track.times:
                ident, begin = f"c-{e.quantity.replace('_', '-')}", self.begin
                found = drawn.svg(track, e, units=self.estimate.units, local=self.local, ident=ident, begin=begin)
            self.charts[e.quantity] = found
        return found


class Lookout:
    """Keeps the last few of these, each under the journal's revision and the minute it is as of."""

    def __init__(self, use: Use, clock: Clock) -> None:
        self.use = use
        self.clock = clock
        self._kept: OrderedDict[tuple[object, ...], Any] = OrderedDict()
        # these are many, and must not push out the pages; a reckoning is large
        self._windows: OrderedDict[tuple[object, ...], Any] = OrderedDict()
        self._past: OrderedDict[tuple[object, ...], Any] = OrderedDict()

    def see(self, store: Store, system: str, days: int, as_of: dt.datetime | None, units: str = "") -> Seen:
        """The system as it is known now, or was at `as_of`."""

        def look() -> Seen:
            start = (as_of or self.clock.now()) - dt.timedelta(days=days)
            estimate = self.use.estimate(store, self.clock, system, as_of=as_of, **({"units": units} if units else {}))
            courses = partial(self.use.courses, store, self.clock, system, start, as_of=as_of)
            return Seen(estimate, courses, zone(estimate.time_zone))

        key = ("seen", days, as_of, units, *self._revision(store, [system], as_of))
        return cast(Seen, self._once(key, look))

    def systems(self, store: Store) -> list[tuple[str, str]]:
        """Ids and names, read again only when a description changed."""
        key = ("systems", *((s, store.system_document(s)) for s in store.systems()))
        return cast(list[tuple[str, str]], self._once(key, lambda: self.use.systems(store)))

    def round(
        self, store: Store, system: str | None, minutes: float, as_of: dt.datetime | None, units: str = ""
    ) -> Round:
        """The round of one system, or of all, for so many minutes."""
        systems = [system] if system else [s for s, _ in self.systems(store)]
        key = ("round", minutes, as_of, units, system, *self._revision(store, systems, as_of))
        wished = {"units": units} if units else {}

        def rank() -> Round:
            return self.use.round_for(store, self.clock, system, float(minutes), as_of=as_of, **wished)

        return cast(Round, self._once(key, rank))

    def due(
        self, store: Store, systems: list[str], days: int, person: str, as_of: dt.datetime | None = None,
        units: str = "",
    ) -> due.Ahead:  # fmt: skip
        """What falls due. Livestock of one system touches that of others: the journal of each counts."""
        orders = (store.record(*ORDERS), repr(store.records(PATH)), repr(store.records("catalogue")))
        key = ("due", days, person, as_of, units, tuple(systems), *orders,
               *self._revision(store, store.systems(), as_of))  # fmt: skip
        return cast(due.Ahead, self._once(key, lambda: due.due(store, self.clock, systems, days, person, as_of, units)))

    def window(
        self, store: Store, system: str, quantity: str, ends: tuple[dt.datetime, dt.datetime], px: int,
        as_of: dt.datetime | None,
    ) -> Window:  # fmt: skip
        """One quantity between two moments. A past moment is reckoned once for all windows that are looked through.

        All of it runs where the request is answered: the store has one connection, whose readers take turns, so that
        a thread would make the other pages wait just as long; the longest read takes some tens of milliseconds.
        """

        def look() -> Window:
            known = self.reckoned(store, system, as_of)
            return survey.survey(store, self.clock, system, quantity, *ends, px, as_of, known)

        key = ("window", quantity, *ends, px, as_of, *self._revision(store, [system], as_of))
        return cast(Window, self._once(key, look, self._windows))

    def reckoned(self, store: Store, system: str, as_of: dt.datetime | None) -> tuple[Reckoning, SystemEstimate]:
        """The reckoning of a system and its estimate; one of a past moment is kept, one of now is kept below."""
        if as_of is None:
            return enquire.reckoned(store, self.clock, system)
        key = ("reckoned", as_of, *self._revision(store, [system], as_of))
        found = self._once(
            key, lambda: enquire.reckoned(store, self.clock, system, as_of), self._past, _MOST_PAST
        )  # fmt: skip
        return cast("tuple[Reckoning, SystemEstimate]", found)

    def _revision(self, store: Store, systems: list[str], as_of: dt.datetime | None) -> list[object]:
        """What must have changed before an answer may change: the minute, the journal, streams, descriptions."""
        parts: list[object] = [(as_of or self.clock.now()).replace(second=0, microsecond=0)]
        for system in systems:
            document = store.system_document(system) or ""
            digest = hashlib.blake2b(document.encode(), digest_size=8).digest()
            parts.append((system, store.last_seq(system), store.stream_revision(system), digest))
        return parts

    def _once(
        self, key: tuple[object, ...], work: Callable[[], Any],
        shelf: OrderedDict[tuple[object, ...], Any] | None = None, most: int = _KEPT,
    ) -> Any:  # fmt: skip
        kept = self._kept if shelf is None else shelf
        key = (words.manner(), *key)  # what is kept holds sentences
        if key not in kept:
            kept[key] = work()
            while len(kept) > most:
                kept.popitem(last=False)
        kept.move_to_end(key)
        return kept[key]
