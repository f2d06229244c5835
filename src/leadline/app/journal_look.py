"""What the journal and the streams show together: probes against tests by hand, dosers against what the water says.

Looked at once an hour; it uses nothing written down after the moment it is asked for.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from leadline.app.ports import Store
from leadline.detect.findings import Finding
from leadline.detect.machines import dosing
from leadline.detect.machines.dosing import Reading
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of
from leadline.measures import figures, units
from leadline.measures.errors import LeadlineError
from leadline.measures.quantities import QUANTITIES
from leadline.seawater.masses import MEQ_PER_DKH
from leadline.system.description import Equipment, System

DAY = 86400.0
HAND_D, RECENT_D, PAST_D = 60.0, 14.0, 90.0
_AROUND_S = 900.0  # a probe's median this far around a test stands against it
_LEAST_TESTS, _LEAST_PAST = 3, 4
_USE_CHANGES = 0.15  # how much a system's use of alkalinity changes between seasons and weeks; judgement
# how far off a probe may be before it is said: judgement, stored units
_OFF = {"temperature": 0.4, "ph": 0.15, "salinity": 0.8, "oxygen": 0.6, "alkalinity": 0.25}
_DIGITS = {"temperature": 1, "ph": 2, "salinity": 1, "oxygen": 1, "alkalinity": 2}


def findings(store: Store, system: System, now_s: float) -> list[Finding]:
    """Findings that hold, and those that are known not to (a finding with `holds` False)."""
    moment = dt.datetime.fromtimestamp(now_s, dt.UTC)
    entries = [e for e in as_of(store.entries(system.id), moment).entries if e.time.timestamp() > now_s - PAST_D * DAY]
    return [*_by_hand(store, system, entries, now_s), *_dosers(system, entries, now_s)]


def _by_hand(store: Store, system: System, entries: Sequence[Entry], now_s: float) -> list[Finding]:
    import numpy as np

    from leadline.detect.company import against_hand

    found: list[Finding] = []
    for s in system.streams:
        if s.room or s.quantity not in _OFF:
            continue
        cut = max([now_s - HAND_D * DAY, *_calibrated(entries, s.id, s.quantity)])
        tests = [
            e for e in entries
            if e.kind == "reading" and e.subject == s.quantity and e.stored is not None and e.time.timestamp() > cut
            and e.method != s.id
        ]  # fmt: skip
        rows = []
        for e in tests:
            at = e.time.timestamp()
            near = store.points(system.id, s.id, at - _AROUND_S, at + _AROUND_S)
            good = near.values[np.isin(near.flags, (1, 2)) & np.isfinite(near.values)]
            if len(good):
                sd = e.stored_sd or system.method(s.quantity, e.method).sd
                rows.append((at / DAY, float(e.stored or 0.0), sd, float(np.median(good))))
        name = f"{s.id}-off"
        if len(rows) < _LEAST_TESTS:
            continue
        days, hand, hand_sd, probe = np.array(rows).T
        off = against_hand(days, hand, hand_sd, probe)
        if off is None:
            continue
        holds = off.real and abs(off.now) - 1.645 * off.sd > _OFF[s.quantity]
        words = off.sentence(s.id, _DIGITS[s.quantity], figures.unit_label(QUANTITIES[s.quantity].unit))
        found.append(Finding(name, s.id, now_s, holds, off.now, None, words, consequence=False))
    return found


def _calibrated(entries: Sequence[Entry], *names: str) -> list[float]:
    return [e.time.timestamp() for e in entries if e.kind == "service" and e.subject in names]


def _dosers(system: System, entries: Sequence[Entry], now_s: float) -> list[Finding]:
    """Each doser of alkalinity: what share of what it says it gives arrives. The system's use is told by its past."""
    band = system.band("alkalinity")
    readings = [
        Reading(e.time.timestamp(), e.stored, e.stored_sd or system.method("alkalinity", e.method).sd)
        for e in entries if e.kind == "reading" and e.subject == "alkalinity" and e.stored is not None
    ]  # fmt: skip
    if band is None or band.limit is None or len(readings) < _LEAST_PAST + dosing.LEAST_READINGS:
        return []
    cut = now_s - RECENT_D * DAY
    past, recent = [r for r in readings if r.at_s <= cut], [r for r in readings if r.at_s > cut - 2.0 * DAY]
    found: list[Finding] = []
    for machine in system.equipment:
        doses = _doses(system, machine, entries, now_s)
        if machine.type != "doser" or not doses:
            continue
        other = _other(system, machine.id, entries, readings)
        uses = _uses(past, doses, other)
        got = None if uses is None else dosing.arrived(recent, doses, uses, other)
        if got is None:
            continue
        said = dosing.finding(machine.id, got, now_s, readings[-1].value, band.limit, RECENT_D)
        if said is not None:
            found.append(said)
        for side in ("too-little", "too-much"):
            name = f"{machine.id}-{side}"
            if said is None or said.name != name:
                words = f"{100 * got.share:.0f} % of what {machine.id} says it gave arrived."
                found.append(Finding(name, machine.id, now_s, False, got.share, None, words))
    return found


def _uses(
    past: Sequence[Reading], doses: Sequence[tuple[float, float]], other: Sequence[tuple[float, float]]
) -> tuple[float, float] | None:
    """What the system used a day while all of the dose is taken to have arrived, and its doubt. [meq/L/d]"""
    import numpy as np

    if len(past) < _LEAST_PAST:
        return None
    at = np.array([r.at_s for r in past])
    given = sum(v for t, v in (*doses, *other) if at[0] < t <= at[-1])
    days = (at[-1] - at[0]) / DAY
    if days < RECENT_D:
        return None
    ends = (past[0].sd ** 2 + past[-1].sd ** 2) ** 0.5 / days
    mean = (given - (past[-1].value - past[0].value)) / days
    return mean, float(np.hypot(ends, _USE_CHANGES * abs(mean)))


def _meq_l(system: System, subject: str, value: float, unit: str) -> float:
    from leadline.model import substances

    grams = substances.grams_of(subject, value, unit, system.solutions)
    moles = sum(substances.moles(s, g).get("alkalinity", 0.0) for s, g in grams.items())
    return 1000.0 * moles / system.net_volume_l


def _doses(system: System, machine: Equipment, entries: Sequence[Entry], now_s: float) -> list[tuple[float, float]]:
    """Portions of one doser: its own record, else what its description says it gives."""
    own = [e for e in entries if e.kind == "addition" and e.method == machine.id and e.value is not None]
    try:
        if own:
            rows = [(e.time.timestamp(), _meq_l(system, e.subject, e.value or 0.0, e.unit)) for e in own]
        elif machine.per_day_ml and machine.substance:
            daily = _meq_l(system, machine.substance, machine.per_day_ml, "mL")
            rows = [(now_s - k * DAY, daily) for k in range(int(PAST_D))]
        else:
            return []
    except LeadlineError:
        return []
    return rows if any(abs(v) > 1e-6 for _, v in rows) else []


def _other(
    system: System, doser: str, entries: Sequence[Entry], readings: Sequence[Reading]
) -> list[tuple[float, float]]:
    """What additions by hand and other dosers bring; exchanges as far as their water is known."""
    found: list[tuple[float, float]] = []
    for e in entries:
        try:
            if e.kind == "addition" and e.method != doser and e.value is not None:
                found.append((e.time.timestamp(), _meq_l(system, e.subject, e.value, e.unit)))
            elif e.kind == "exchange" and e.value is not None and isinstance(e.extra.get("alkalinity"), int | float):
                share = min(units.to_litres(e.value, e.unit or "L") / system.net_volume_l, 1.0)
                before = [r.value for r in readings if r.at_s <= e.time.timestamp()]
                if before:
                    new = float(e.extra["alkalinity"]) * MEQ_PER_DKH
                    found.append((e.time.timestamp(), share * (new - before[-1])))
        except LeadlineError:
            continue
    return found
