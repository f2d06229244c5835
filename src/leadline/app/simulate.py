"""Simulate: what this system will do, as an ensemble of what is believed of it, with or without a scenario."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from leadline.app import describe
from leadline.app.ports import Store
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of as journal_as_of
from leadline.measures import units
from leadline.measures.errors import BadInput, LeadlineError
from leadline.measures.moments import Clock, parse, zone

if TYPE_CHECKING:
    from leadline.model.acts import Acts
    from leadline.model.blueprint import Blueprint
    from leadline.model.members import Ensemble, Start
    from leadline.model.outcome import Outcome
    from leadline.model.scenario import Scenario

_WINDOW_D = 42.0  # how far back habits are read
_MOST_POINTS = 500  # moments kept of a run
_MOST_BYTES = 400_000_000  # of what is seen of all members
_SECONDS_A_STEP = 4e-7  # of a member's step, compiled, two threads: `python -m bench simulator`
MOST_MEMBERS, LEAST_DAYS, MOST_DAYS = 20_000, 1.0 / 24.0, 3660.0


@dataclass
class Habits:
    """What the keeper usually does, from the journal of the last weeks."""

    food_g_d: dict[str, float] = field(default_factory=dict)
    exchange: tuple[float, float, float | None] | None = None  # every so many days, litres, salinity
    since_exchange_d: float = 0.0
    by_hand: dict[str, tuple[float, float]] = field(default_factory=dict)  # substance: every so many days, grams
    by_machine: dict[str, dict[str, float]] = field(default_factory=dict)  # doser: substance to grams a day
    notes: list[str] = field(default_factory=list)


def habits(entries: list[Entry], now: dt.datetime) -> Habits:
    """Feeding, exchanges and additions of the last six weeks, as rates."""
    from leadline.model.substances import FOODS, grams_of, known

    found = Habits()
    begin = now - dt.timedelta(days=_WINDOW_D)
    recent = [e for e in journal_as_of(entries, now).entries if e.time >= begin and e.value is not None]
    if not recent:
        return found
    days = max((now - max(begin, recent[0].time)).total_seconds() / 86400.0, 7.0)
    hand: dict[str, list[float]] = {}
    machine: dict[str, dict[str, float]] = {}
    changes = [e for e in recent if e.kind == "exchange"]
    for e in recent:
        try:
            if e.kind == "feeding" and e.subject in FOODS:
                grams = units.to_grams(e.value or 0.0, e.unit or "g")
                found.food_g_d[e.subject] = found.food_g_d.get(e.subject, 0.0) + grams / days
            elif e.kind == "addition" and known(e.subject):
                for substance, grams in grams_of(e.subject, e.value or 0.0, e.unit or "g", {}).items():
                    if e.method.startswith("doser"):
                        row = machine.setdefault(e.method, {})
                        row[substance] = row.get(substance, 0.0) + grams / days
                    else:
                        hand.setdefault(substance, []).append(grams)
        except LeadlineError:
            continue  # what has no meaning as an amount was said when it was brought in
    if changes:
        litres = [units.to_litres(e.value or 0.0, e.unit or "L") for e in changes]
        salt = [float(e.extra["salinity"]) for e in changes if isinstance(e.extra.get("salinity"), int | float)]
        found.since_exchange_d = (now - changes[-1].time).total_seconds() / 86400.0
        found.exchange = (days / len(changes), sum(litres) / len(litres), sum(salt) / len(salt) if salt else None)
    found.by_hand = {s: (days / len(g), sum(g) / len(g)) for s, g in hand.items()}
    found.by_machine = machine
    return found


def put_usual(h: Habits, acts: Acts, scenario: Scenario, days: float, begin: dt.datetime, time_zone: str) -> None:
    """Put the keeper's habits into a run: two meals a day, exchanges and additions in the evening, refills."""
    local = zone(time_zone)
    usual = scenario.usual

    def each(
        every_d: float, at: str, do: Callable[[float], None], *, human: bool = True, not_before_d: float = 0.0
    ) -> None:
        today = begin.astimezone(local).replace(hour=int(at[:2]), minute=int(at[3:]), second=0, microsecond=0)
        moment = (today - begin).total_seconds() % 86400.0
        while moment < not_before_d * 86400.0:
            moment += 86400.0
        while moment < days * 86400.0:
            if not human or usual.there(moment):
                do(moment)
            moment += every_d * 86400.0

    if usual.feeding:
        total = sum(h.food_g_d.values())
        for food, grams in h.food_g_d.items():
            if total > 0.0:
                each(1.0, "08:30", lambda s, f=food, g=grams: acts.feed(s, f, 0.4 * g), human=False)  # type: ignore[misc]
                each(1.0, "18:45", lambda s, f=food, g=grams: acts.feed(s, f, 0.6 * g), human=False)  # type: ignore[misc]
    if usual.exchanges and h.exchange is not None:
        every, litres, salt = h.exchange
        extra = {"salinity": salt} if salt is not None else {}
        wait = max(every - h.since_exchange_d - 0.5, 0.0)
        each(every, "20:00", lambda s: acts.exchange(s, litres, extra=extra), not_before_d=wait)
    if usual.additions:
        for substance, (every, grams) in h.by_hand.items():
            each(every, "20:30", lambda s, x=substance, g=grams: acts.add(s, x, g, "g", say=False))  # type: ignore[misc]
    if usual.refills:

        def refill(moment: float) -> None:
            if not any(c["at"] <= moment < (c["until"] or math.inf) for c in scenario.changes if _runs_away(c)):
                acts.refill(moment)

        each(2.0, "20:15", refill)
    if not any(kind == "topoff" for kind, _ in acts.plan.machines.values()):

        def top_up(moment: float) -> None:
            acts.set_control(moment, "FILL_FORCE", 0.0)
            acts.set_control(moment + 3600.0, "FILL_FORCE", -1.0)

        acts.set_control(0.0, "FILL_FORCE", -1.0)
        each(1.0, "20:10", top_up)


def simulate(
    store: Store, clock: Clock, system: str, *, days: float, members: int, seed: int = 1, step_s: float = 600.0,
    with_text: str | None = None, cache: Path | None = None, as_of: dt.datetime | None = None,
    say: Callable[[str], None] = lambda _: None,
) -> Outcome:  # fmt: skip
    """Run an ensemble of one system from what is believed of it now.

    Parameters
    ----------
    days, members, seed, step_s
        How far [d], how many, which draws, and the step [s].
    with_text
        A scenario file's text.
    cache
        Folder of compiled code; without one numpy does it, slower.
    say
        Told what is going on when it takes a while.

    Raises
    ------
    BadInput
        For a scenario, a description or options that can't be.
    """
    from leadline.model import kernel, sight
    from leadline.model.outcome import edges, outcome

    e, acts, notes, scenario = prepare(
        store, clock, system, days=days, members=members, seed=seed, step_s=step_s, with_text=with_text, as_of=as_of,
        cache=cache, say=say,
    )  # fmt: skip
    from leadline.model.members import run

    table, parcels = acts.tables(e.p)
    e.alive = int(acts.alive)
    steps = round(days * 86400.0 / step_s)
    looks = min(_MOST_POINTS, max(_MOST_BYTES // (members * 8 * sight.N_SIGHTS), 24))
    every = max(1, -(-steps // looks))
    seconds = members * steps * _SECONDS_A_STEP
    if cache is not None and kernel.available() and seconds > 8.0:
        say(f"{members} members for {days:g} days: about {seconds:.0f} s on two cores …")
    seen = run(e, steps, table, parcels, every=every, edges=edges(e.plan.system), cache=cache)
    return outcome(e, seen, days=days, notes=notes, marks=acts.marks, scenario=scenario.name)


def prepare(
    store: Store, clock: Clock, system: str, *, days: float, members: int, seed: int, step_s: float,
    with_text: str | None, as_of: dt.datetime | None, cache: Path | None = None,
    say: Callable[[str], None] = lambda _: None,
) -> tuple[Ensemble, Acts, list[str], Scenario]:  # fmt: skip
    """The members and acts of a run, not yet run."""
    from leadline.model import scenario as words
    from leadline.model.acts import Acts
    from leadline.model.members import match_demand, muster, set_water

    check(days, members)
    begin = as_of or clock.now()
    plan, start, h = known(store, clock, system, as_of, begin)
    local = zone(plan.system.time_zone)
    scenario = words.read(with_text, begin, local) if with_text is not None else words.Scenario()
    _learned(store, system, plan, start, begin)
    for name, (low, high) in scenario.parameters.items():
        _override(plan, name, low, high)
    e = muster(plan, begin, members, seed, start, step_s)
    acts = Acts(plan, step_s)
    put_usual(h, acts, scenario, days, begin, plan.system.time_zone)
    words.put(scenario, Acts(plan, step_s), days)  # whatever cannot be is said before anything long begins
    will_compile(cache, say)
    match_demand(e, start, *acts.tables(e.p), cache=cache)
    if scenario.start:
        set_water(e, scenario.start)
    words.put(scenario, acts, days)
    return e, acts, [*h.notes, *plan.notes], scenario


def will_compile(cache: Path | None, say: Callable[[str], None]) -> None:
    """Say it when the simulator is about to be compiled."""
    from leadline.model import kernel

    if cache is not None and kernel.available() and not kernel.is_cached(cache):
        say("Compiling the simulator once for this machine (about ten seconds) …")


def known(
    store: Store, clock: Clock, system: str, as_of: dt.datetime | None, habits_until: dt.datetime
) -> tuple[Blueprint, Start, Habits]:
    """What is known of a system at a moment, in the simulator's terms: description, habits, belief of the water."""
    from leadline.model.describe import blueprint

    plan = blueprint(describe.load(store, system, as_of))
    h = habits(store.entries(system), habits_until)
    _machines_from(h, plan)
    return plan, _start(store, clock, system, as_of, h, plan), h


def _runs_away(change: Mapping[str, Any]) -> bool:
    """A container that runs out by itself; nobody refills it in a drill."""
    return change["state"] == "siphon" or (change["equipment"].startswith("topoff") and change["state"] == "stuck-on")


def check(days: float, members: int) -> None:
    if not LEAST_DAYS <= days <= MOST_DAYS:
        raise BadInput(f"--days {days:g}", way_out=f"Give an hour (0.042) to {MOST_DAYS:.0f} days.")
    if not 1 <= members <= MOST_MEMBERS:
        raise BadInput(f"--members {members}", way_out=f"Give 1 to {MOST_MEMBERS}.")


def _machines_from(h: Habits, plan: Blueprint) -> None:
    """Dosers without a programme in the description get what their own daily totals say."""
    from leadline.model import draw as d

    for ident, (kind, k) in plan.machines.items():
        if kind != "doser":
            continue
        said = plan.value(f"DOSER_{k}_L_D")
        totals = h.by_machine.pop(ident, {})
        if said <= 0.0 and totals:
            recipe = next(
                (r for n, r in plan.system.solutions.items() if n.startswith(f"{ident}:") or n in totals), None
            )
            litres = [g / recipe[s] for s, g in totals.items() if recipe and recipe.get(s)]
            if litres:
                plan.set(f"DOSER_{k}_L_D", sum(litres) / len(litres))
                plan.spread[d.DOSER_0_GAIN + k] = 0.02
                h.notes.append(f"{ident}: {1000 * litres[0]:.0f} mL a day, the mean of its own totals, is used")
        elif said <= 0.0:
            h.notes.append(f"{ident}: neither per_day nor daily totals are known; it gives nothing")
    for ident, totals in h.by_machine.items():
        for substance, grams in totals.items():
            h.by_hand[substance] = (1.0, grams)
            h.notes.append(f"{ident} is not described: its {grams:.0f} g of {substance} a day are given at once")


def _learned(store: Store, system: str, plan: Blueprint, start: Start, begin: dt.datetime) -> None:
    """What was fitted on this system's own records before this moment stands before practice."""
    import numpy as np

    from leadline.app.learn import FRESHER, LEARNED
    from leadline.estimate.unknowns import inside_of
    from leadline.model.parameters import INDEX

    record = store.record(LEARNED, system)
    if not isinstance(record, Mapping) or parse(record.get("until", "2999-01-01T00:00:00Z")) > begin:
        return
    names, middle, covariance = record["joint"]
    taken = [k for k, name in enumerate(names) if name not in FRESHER and inside_of(name)]
    groups = []
    for k in taken:
        for parameter in inside_of(names[k]):
            plan.set(parameter, record["before"][parameter] * float(np.exp(middle[k])), 0.0, "learned")
        groups.append([INDEX[parameter] for parameter in inside_of(names[k])])
    plan.joint = (groups, np.linalg.cholesky(np.array(covariance)[np.ix_(taken, taken)] + 1e-12 * np.eye(len(taken))))
    start.volume = (record["volume_l"]["mean"], record["volume_l"]["sd"])


def _override(plan: Blueprint, name: str, low: float, high: float, origin: str = "scenario") -> None:
    import math

    from leadline.model.parameters import INDEX, PARAMETERS

    if PARAMETERS[INDEX[name]].ratio and low > 0.0:
        plan.set(name, math.sqrt(low * high), math.log(high / low) / 3.2897, origin)
    else:
        plan.set(name, 0.5 * (low + high), (high - low) / 3.2897, origin)


def _pumped_meq_l_d(plan: Blueprint) -> float:
    """Alkalinity that machines bring in a day: what the estimate's rate already holds; hands are not in it."""
    from leadline.model import layout as at

    mol = sum(plan.value(f"DOSER_{k}_L_D") * plan.solutions[k, at.TA] for k in range(plan.dosers))
    return float(1000.0 * mol / plan.system.net_volume_l)


def _start(store: Store, clock: Clock, system: str, as_of: dt.datetime | None, h: Habits, plan: Blueprint) -> Start:
    """Water and demand as the estimate believes them, food as the journal tells."""
    from leadline.app import enquire
    from leadline.model.members import UNTESTED, Start
    from leadline.model.substances import food_moles

    believed = enquire.estimate(store, clock, system, as_of)
    water, takes = {}, {}
    for name, q in believed.quantities.items():
        if q.last_reading is None:
            continue
        if name in UNTESTED or name in ("ammonia", "nitrite", "copper"):
            water[name] = (max(q.mean, 0.0), q.sd)
        if name == "alkalinity":  # what machines bring less the rate that was learned with them
            takes[name] = (max(_pumped_meq_l_d(plan) - q.rate_mean, 0.0), q.rate_sd)
        elif name in ("nitrate", "phosphate"):
            takes[name] = (-q.rate_mean, q.rate_sd)  # beside what food brings, which the members add
    for name, spread in (("nitrate", 0.1), ("phosphate", 0.002)):  # untested: taken to be in balance, more or less
        takes.setdefault(name, (0.0, spread))
    if not h.food_g_d:
        grams = 0.003 * plan.system.net_volume_l
        h.food_g_d = {"pellets": grams}
        h.notes.append(f"no feeding is in the journal: {grams:.1f} g of pellets a day is assumed (judgement)")
    meals = [food_moles(food, grams) for food, grams in h.food_g_d.items()]
    food = tuple(sum(m[i] for m in meals) for i in range(3))
    return Start(water, takes, food, (believed.net_volume_l, believed.net_volume_sd_l))  # type: ignore[arg-type]
