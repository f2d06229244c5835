"""What one system's page shows, worked out once for every revision of its journal."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import OrderedDict
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from leadline.app.ports import Store
from leadline.estimate.report import Course, QuantityEstimate, SystemEstimate
from leadline.measures.moments import Clock, zone
from leadline.present.charts import course as drawn
from leadline.web.use import Use

_KEPT = 24


@dataclass(slots=True)
class Seen:
    """Estimate and courses of one system at one moment; charts are drawn when first asked for."""

    estimate: SystemEstimate
    courses: dict[str, Course]
    local: ZoneInfo
    charts: dict[str, str] = field(default_factory=dict)

    def chart(self, e: QuantityEstimate) -> str:
        """The course of one quantity as SVG, or nothing where there is none to draw."""
        found = self.charts.get(e.quantity)
        if found is None:
            track = self.courses.get(e.quantity)
            found = ""
            if track is not None and track.times:
                ident = f"c-{e.quantity.replace('_', '-')}"
                found = drawn.svg(track, e, units=self.estimate.units, local=self.local, ident=ident)
            self.charts[e.quantity] = found
        return found


class Lookout:
    """Keeps the last few of these, each under the journal's revision and the minute it is as of."""

    def __init__(self, use: Use, clock: Clock) -> None:
        self.use = use
        self.clock = clock
        self._kept: OrderedDict[tuple[object, ...], Seen] = OrderedDict()

    def see(self, store: Store, system: str, days: int, as_of: dt.datetime | None) -> Seen:
        """The system as it is known now, or was at `as_of`."""
        minute = (as_of or self.clock.now()).replace(second=0, microsecond=0)
        document = store.system_document(system) or ""
        key = (
            system, days, as_of, minute, store.last_seq(system), store.stream_revision(system),
            hashlib.blake2b(document.encode(), digest_size=8).digest(),
        )  # fmt: skip
        found = self._kept.get(key)
        if found is None:
            start = (as_of or self.clock.now()) - dt.timedelta(days=days)
            estimate = self.use.estimate(store, self.clock, system, as_of=as_of)
            courses = self.use.courses(store, self.clock, system, start, as_of=as_of)
            found = Seen(estimate, courses, zone(estimate.time_zone))
            self._kept[key] = found
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        else:
            self._kept.move_to_end(key)
        return found
