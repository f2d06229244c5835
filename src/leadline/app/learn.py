"""Learn what the simulator needs to know of one system from its own journal and streams, and keep it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from leadline.app import describe
from leadline.app.ports import Store
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of as journal_as_of
from leadline.measures import units
from leadline.measures.errors import BadInput, LeadlineError
from leadline.measures.moments import Clock, FixedClock, iso, zone

if TYPE_CHECKING:
    import numpy as np

    from leadline.estimate.learn import Fit, Records
    from leadline.model.acts import Acts
    from leadline.system.description import System

LEARNED = "learned"  # the kind of record it is kept under
STEP_S = 1200.0  # the fit runs in steps of twenty minutes
SHORTEST, LONGEST = 14, 120  # days
# what a later simulation does not take from here: demand and uptake come fresher from the estimate
FRESHER = ("calcification", "nitrate-export", "phosphate-export", "food", "delivery")


def learn(
    store: Store, clock: Clock, system: str, *, days: int = 45, cache: Path | None = None,
    as_of: dt.datetime | None = None, keep: bool = True, say: Callable[[str], None] = lambda _: None,
) -> Fit:  # fmt: skip
    """Fit the parameters that matter to the records of the last `days` days.

    Raises
    ------
    BadInput
        When the window is too short or too long, or holds too little.
    """
    from leadline.app import simulate
    from leadline.estimate.learn import fit
    from leadline.model.acts import Acts

    if not SHORTEST <= days <= LONGEST:
        raise BadInput(f"--days {days}", way_out=f"Give {SHORTEST} to {LONGEST}.")
    described = describe.load(store, system, as_of)
    local = zone(described.time_zone)
    end = (as_of or clock.now()).astimezone(local).replace(hour=0, minute=0, second=0, microsecond=0)
    begin = (end - dt.timedelta(days=days)).astimezone(dt.UTC)
    end = end.astimezone(dt.UTC)
    entries = [e for e in journal_as_of(store.entries(system), end).entries if e.time >= begin]
    window = _records(store, described, entries, begin, days)
    spoken = len(window.readings) + 24 * len(window.hourly)
    if spoken < 12:
        raise BadInput(
            f"{system}: {len(window.readings)} readings and no probe in the {days} days up to last midnight are too "
            "little to learn from",
            way_out="Test a few more times" + (", or give --days 90." if days < 90 else "."),
        )
    plan, start, h = simulate.known(store, FixedClock(begin), system, begin, end)
    acts = Acts(plan, STEP_S)
    _usual(acts, h, entries, begin, end, described)
    simulate.will_compile(cache, say)
    found = fit(plan, window, start, acts, begin, cache=cache)
    if keep:
        store.put_record(LEARNED, system, as_record(found, begin, days))
    return found


def as_record(found: Fit, begin: dt.datetime, days: int) -> dict[str, Any]:
    """A fit as it is kept, and as the command line prints it."""
    return {
        "begin": iso(begin), "until": iso(begin + dt.timedelta(days=days)), "days": days,
        "parameters": {name: {"q05": low, "q95": high} for name, (low, high) in found.parameters.items()},
        "volume_l": {"mean": found.volume_l[0], "sd": found.volume_l[1]},
        "learned": {
            n: {"q05": v.q05, "q50": v.q50, "q95": v.q95, "gained": v.gained} for n, v in found.learned.items()
        },
        "together": [list(t) for t in found.together], "hardly_told": list(found.silent),
        "strained": list(found.strained), "misfit": found.misfit,
        "used": found.used, "joint": list(found.joint), "before": dict(found.before), "rates": dict(found.rates),
    }  # fmt: skip


def _records(store: Store, system: System, entries: list[Entry], begin: dt.datetime, days: int) -> Records:
    """Readings, and hourly means of the streams that can tell something."""
    import numpy as np

    from leadline.estimate.learn import Records
    from leadline.model import sight

    window = Records(days)
    for e in entries:
        if e.kind == "reading" and e.subject in sight.MEASURED and e.stored is not None:
            how = system.method(e.subject, e.method)
            sd = e.stored_sd or float(np.hypot(how.sd, how.relative * e.stored)) or 1e-6
            window.readings.append(
                ((e.time - begin).total_seconds(), e.subject, e.stored, float(np.hypot(sd, how.step / 3.5)))
            )
    declared = {s.id: s for s in system.streams}
    for _, stream in store.streams(system.id):
        series = _hourly(store, system.id, stream, begin, days)
        if not np.isfinite(series).any():
            continue
        said = declared.get(stream)
        name = said.quantity if said else stream
        if said and said.room:
            if said.quantity == "temperature":
                window.room_c = series
        elif name in ("temperature", "ph", "oxygen"):
            window.hourly[name] = series
        else:
            _machine(window, system, stream, series)
    _topped_up(window, entries, begin, days)
    return window


def _hourly(store: Store, system: str, stream: str, begin: dt.datetime, days: int) -> np.ndarray:
    """Means of a stream by the hour, NaN where there is none."""
    import numpy as np

    first = begin.timestamp()
    rolled = store.rollup(system, stream, first, first + days * 86400.0, "1h")
    found = np.full(days * 24, np.nan)
    place = np.round((rolled.start_s - first) / 3600.0).astype(int)
    inside = (place >= 0) & (place < len(found)) & (rolled.n > 0)
    found[place[inside]] = rolled.total[inside] / rolled.n[inside]
    return found


def _machine(window: Records, system: System, stream: str, series: np.ndarray) -> None:
    """A machine's state or power as the share of the hour that it ran."""
    import numpy as np

    e = next((m for m in system.equipment if stream in (m.stream, m.id)), None)
    if e is None or e.type not in ("heater", "chiller", "topoff"):
        return
    top = float(np.nanmax(series))
    duty = series / (e.power_w or top) if top > 1.5 else series
    if e.type == "topoff" and "rate" in e.rest:
        window.hourly["topoff"] = duty * units.parse_amount(str(e.rest["rate"]), "flow")
    elif e.type != "topoff" and e.type not in window.hourly:
        window.hourly[e.type] = np.clip(duty, 0.0, 1.0)


def _topped_up(window: Records, entries: list[Entry], begin: dt.datetime, days: int) -> None:
    """Top-offs of the journal, each spread over the time since the one before."""
    import numpy as np

    if "topoff" in window.hourly:
        return
    rows = []
    for e in entries:
        if e.kind == "topoff" and e.value is not None:
            try:
                rows.append(((e.time - begin).total_seconds() / 3600.0, units.to_litres(e.value, e.unit or "L")))
            except LeadlineError:
                continue  # said when it was brought in
    if len(rows) < 4:
        return
    series = np.full(days * 24, np.nan)
    for (one, _), (two, litres) in pairwise(rows):
        a, b = int(one), max(int(two), int(one) + 1)
        series[a:b] = np.nan_to_num(series[a:b]) + litres / (b - a)
    window.hourly["topoff"] = series


def _usual(acts: Acts, h: Any, entries: list[Entry], begin: dt.datetime, end: dt.datetime, system: System) -> None:
    """What was done in the window: food as its mean, exchanges and additions when they were written."""
    from leadline.model.substances import known

    days = round((end - begin).total_seconds() / 86400.0)
    for day in range(days):
        for food, grams in h.food_g_d.items():
            acts.feed(day * 86400.0 + 8.5 * 3600.0, food, 0.4 * grams)
            acts.feed(day * 86400.0 + 18.7 * 3600.0, food, 0.6 * grams)
        acts.refill(day * 86400.0 + 20.0 * 3600.0)
    for e in entries:
        at_s = (e.time - begin).total_seconds()
        if e.value is None:
            continue
        try:
            if e.kind == "exchange":
                acts.exchange(at_s, units.to_litres(e.value, e.unit or "L"), e.subject or "mixed-seawater", e.extra)
            elif e.kind == "addition" and known(e.subject) and e.method not in acts.plan.machines:
                acts.add(at_s, e.subject, e.value, e.unit or "g", say=False)
        except LeadlineError:
            continue  # said when it was brought in
