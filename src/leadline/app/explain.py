"""Why a number is what it is, and why it is no surer: shares of its doubt, readings weighed, inputs since."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from leadline.app import describe, enquire
from leadline.app.ports import Store
from leadline.estimate.report import QuantityEstimate, SystemEstimate
from leadline.measures.errors import UnknownName
from leadline.measures.moments import Clock
from leadline.system.description import System


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading that a number rests on, as it was judged. Stored unit."""

    id: str
    time: dt.datetime
    value: float
    sd: float
    method: str
    expected: float | None
    expected_sd: float | None
    blunder: float  # chance that it hardly counts
    step: float  # chance that the water had changed its ways


@dataclass(frozen=True, slots=True)
class Explained:
    """Everything behind one number.

    Attributes
    ----------
    shares
        (name, share of the variance), the largest first; names as `estimate.doubt.Share`.
    since
        What was put in or exchanged after the last reading: moment, kind, words.
    drifting
        Whether a level and a rate carry it; else something holds it.
    """

    system: System
    estimate: SystemEstimate
    quantity: QuantityEstimate
    shares: tuple[tuple[str, float], ...]
    readings: tuple[Reading, ...]
    since: tuple[tuple[dt.datetime, str, str], ...]
    drifting: bool
    with_salt: bool
    coupled: bool


def explain(
    store: Store, clock: Clock, system: str, quantity: str, as_of: dt.datetime | None = None, units: str = ""
) -> Explained:
    """Why `quantity` of `system` is believed so.

    Raises
    ------
    UnknownName
        When nothing is reckoned under that name, with near misses.
    """
    from leadline.estimate import doubt, outlook
    from leadline.estimate.course import course
    from leadline.estimate.reckon import moment_of

    r, e = enquire.reckoned(store, clock, system, as_of)
    e = outlook.shown_in(r, e, units)
    if quantity not in e.quantities:
        raise UnknownName("quantity", quantity[:60], e.quantities)
    t = r.tracks[quantity]
    begin = t.last if len(t.sightings) else r.now - 60.0
    return Explained(
        system=describe.load(store, system, as_of),
        estimate=e,
        quantity=e.quantities[quantity],
        shares=tuple((s.name, s.share) for s in doubt.shares(r, quantity)),
        readings=tuple(
            Reading(
                w.id, moment_of(w.day), w.value, w.sd, w.method, _number(w.expected), _number(w.expected_sd),
                w.blunder, w.step,
            )
            for w in doubt.weighed(r, quantity)
        ),
        since=course(r, quantity, begin, points=2, ahead_days=0.0).marks[-30:],
        drifting=t.family.kind == "drifting",
        with_salt=t.family.with_salt,
        coupled=t.coupled,
    )  # fmt: skip


def _number(x: float) -> float | None:
    return None if x != x else x  # nan: it was not judged on its way in
