"""A course of treatments: which one reaches what, on whom, and in which window the next belongs."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from leadline.journal.entry import Entry
from leadline.livestock.census import Lot, animals_of
from leadline.livestock.development import Duration, longest, shortest
from leadline.livestock.kinds import Agent, Catalogue, Pest
from leadline.livestock.naming import agents_in
from leadline.measures.figures import number

ROUNDS = 3  # treatments of one course against something that lays eggs (sheet: day 0, window, window)
SHY = 0.965  # a window closes this share of the way to the earliest laying: a day in twenty-seven
_DAY = dt.timedelta(days=1)
MINUTES = 20.0
ON_ARRIVAL = "acts on what moves; eggs survive every dip"


@dataclass(frozen=True, slots=True)
class Warmth:
    """The unit's water since its animals came: coldest and warmest [°C], and on how many days it was measured."""

    low_c: float
    high_c: float
    days: int = 0

    @property
    def ends(self) -> tuple[float, float]:
        """Both ends. [°C]"""
        return self.low_c, self.high_c

    @property
    def said(self) -> str:
        """As one says it."""
        if self.high_c - self.low_c < 0.15:
            return f"{number(self.low_c, 1)} °C"
        return f"{number(self.low_c, 1)} to {number(self.high_c, 1)} °C"


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do in a window.

    Attributes
    ----------
    action
        As the round says it: `treat`, `observe`, `inspect`, `ask`.
    closes
        None: it stays due.
    state
        `done`, `due`, `ahead` or `missed`.
    lots
        Ids of those whom it is about; empty: all.
    """

    key: str
    action: str
    what: str
    opens: dt.datetime
    closes: dt.datetime | None
    state: str
    why: str
    minutes: float
    pests: tuple[str, ...] = ()
    done: dt.datetime | None = None
    lots: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Window:
    """Days after a treatment at which the next one belongs: first and last [d], and why."""

    opens: int
    closes: int
    why: str


def reaches(agent: Agent, pest: Pest) -> bool:
    """Whether an agent is on record as reaching a pest's mobile stages, wholly or in part."""
    for r in agent.reaches:
        if r.of == pest.id:
            return r.does != "not"
    return any(r.of in pest.is_a and r.does == "reaches" for r in agent.reaches)


def dippable(pest: Pest, catalogue: Catalogue) -> bool:
    """Whether a dip that needs no prescription is on record, by the pest's own name, as reaching it."""
    return any(
        a.use == "dip" and not a.veterinary and any(r.of == pest.id and r.does != "not" for r in a.reaches)
        for a in catalogue.agents.values()
    )


def agents_of(e: Entry, catalogue: Catalogue) -> list[Agent]:
    """Agents that a treatment names and the catalogue knows."""
    named = str(e.extra.get("agent", "") or e.method or e.subject)
    return agents_in(catalogue, named) if named else []


def treated(
    pest: Pest, treatments: Sequence[Entry], catalogue: Catalogue, lot: Lot, since: dt.datetime
) -> list[dt.datetime]:
    """When one lot was treated against a pest, since it came, with an agent that is on record as reaching it.

    A treatment that names no animals was for all that were there.
    """
    found = []
    for e in treatments:
        on = animals_of(e)
        if e.time < since or (on and lot.id not in on):
            continue
        if any(reaches(a, pest) for a in agents_of(e, catalogue)):
            found.append(e.time)
    return sorted(found)


def window(pest: Pest, warmth: Warmth | None) -> tuple[Window | None, Duration, Duration]:
    """Where the next treatment belongs: not before all eggs then present have hatched, not after the first hatchling
    can lay; None where there is no data. With the durations used."""
    ends = warmth.ends if warmth is not None else None
    hatch, lays = longest(pest.those("hatch"), ends), shortest(pest.those("lays"), ends)
    if hatch.days is not None and lays.days is not None:
        opens, closes = math.ceil(hatch.days - 1e-9), math.floor(SHY * lays.days + 1e-9)
        if opens <= closes:
            return Window(
                opens, closes,
                f"eggs present at the last treatment have hatched by day {opens}; none that hatched can have laid "
                f"before day {closes + 1}",
            ), hatch, lays  # fmt: skip
        return Window(
            opens, opens,
            f"all have hatched only by day {opens}, and at these temperatures the first can lay from day {closes + 1}: "
            "one round more than usual",
        ), hatch, lays  # fmt: skip
    soon, late = shortest(pest.those("retreat"), ends), longest(pest.those("retreat"), ends)
    if not any(f.most is not None for f in pest.those("hatch")) and soon.days and late.days:
        opens, closes = math.floor(soon.days), math.ceil(late.days)
        if opens == closes:  # "about weekly": a day either way
            opens, closes = opens - 1, closes + 1
        why = f"commonly repeated every {opens} to {closes} days (common practice); its life cycle is poorly known"
        return Window(opens, closes, why), late, soon
    return None, hatch, lays


def first_dip(p: Pest, lot: Lot, came: dt.datetime, why: str = ON_ARRIVAL) -> Step:
    """The dip that is due when somebody came."""
    return Step("dip-1", "treat", "Dip on arrival", came, None, "due", why, MINUTES, (p.id,), None, (lot.id,))


def course(
    p: Pest, lot: Lot, done: Sequence[dt.datetime], w: Window, came: dt.datetime, now: dt.datetime, local: dt.tzinfo
) -> tuple[list[Step], dt.datetime]:
    """The treatments of one lot's course, and when the last of them is due at the latest. One that came too early does
    not count; one too late begins the course again."""

    def step(key: str, what: str, opens: dt.datetime, closes: dt.datetime | None, state: str, why: str,
             at: dt.datetime | None = None) -> Step:  # fmt: skip
        return Step(key, "treat", what, opens, closes, state, why, MINUTES, (p.id,), at, (lot.id,))

    def day(moment: dt.datetime) -> dt.date:
        return moment.astimezone(local).date()

    if not done:
        return [first_dip(p, lot, came)], max(now, came) + (ROUNDS - 1) * w.closes * _DAY
    steps = [step("dip-1", "Treated", done[0], None, "done", "the course began", done[0])]
    last, n, later = done[0], 1, list(done[1:])
    while n < ROUNDS:
        begin, end = last + w.opens * _DAY, last + w.closes * _DAY
        hits = [t for t in later if day(begin) <= day(t) <= day(end)]
        late = [t for t in later if day(t) > day(end)]
        n += 1
        if hits:
            steps.append(step(f"dip-{n}", "Treated again", begin, end, "done", w.why, hits[0]))
            last = hits[0]
            later = [t for t in later if t > last]
        elif late:
            steps.append(step(f"dip-{n}", "Treat again", begin, end, "missed", w.why))
            last, n, later = late[0], 1, late[1:]
            steps.append(step("dip-1", "Treated", last, None, "done", "too late: the course began again", last))
        elif day(now) > day(end):
            steps.append(step(f"dip-{n}", "Treat again", begin, end, "missed", w.why))
            again = f"the window closed on day {w.closes}: the course begins again"
            steps.append(step("dip-1", "Treat again", end, None, "due", again))
            return steps, now + (ROUNDS - 1) * w.closes * _DAY
        else:
            state = "due" if day(now) >= day(begin) else "ahead"
            steps.append(step(f"dip-{n}", "Treat again", begin, end, state, w.why))
            return steps, end + (ROUNDS - n) * w.closes * _DAY
    return steps, last


def merged(steps: Sequence[Step]) -> list[Step]:
    """One line for what is one treatment: of several lots against one pest, or against several pests whose windows
    meet."""
    out: list[Step] = []
    for s in sorted(steps, key=lambda s: (s.state != "due", s.opens, s.pests, s.lots)):
        for i, o in enumerate(out):
            joined = _joined(o, s)
            if joined is not None:
                out[i] = joined
                break
        else:
            out.append(s)
    return out


def _joined(o: Step, s: Step) -> Step | None:
    if (o.state, o.action, o.what) != (s.state, s.action, s.what) or not (o.lots == s.lots or o.pests == s.pests):
        return None
    pests, lots = tuple(dict.fromkeys((*o.pests, *s.pests))), tuple(dict.fromkeys((*o.lots, *s.lots)))
    if s.state in ("done", "missed"):
        return replace(o, pests=pests, lots=lots) if (o.done, o.opens) == (s.done, s.opens) else None
    begin = max(o.opens, s.opens)
    ends = [t for t in (o.closes, s.closes) if t is not None]
    end = min(ends) if ends else None
    if (o.closes is None) != (s.closes is None) or (end is not None and begin > end):
        return None
    why = o.why if o.why == s.why else f"{o.why}; {s.why}"
    return replace(o, opens=begin, closes=end, why=why, pests=pests, lots=lots)
