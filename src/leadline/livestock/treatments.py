"""A course of treatments: which one reaches what, and in which window the next belongs."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

from leadline.journal.entry import Entry
from leadline.livestock.development import Duration, longest, shortest
from leadline.livestock.kinds import Agent, Catalogue, Pest

ROUNDS = 3  # treatments of one course against something that lays eggs (sheet: day 0, window, window)
SHY = 0.965  # a window closes this share of the way to the earliest laying: a day in twenty-seven
_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Warmth:
    """The unit's water since the clock began: coldest and warmest [°C], and on how many of its days it was measured."""

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
            return f"{self.low_c:.1f} °C"
        return f"{self.low_c:.1f} to {self.high_c:.1f} °C"


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do in a window.

    Attributes
    ----------
    action
        As the round says it: `treat`, `observe`, `inspect`.
    closes
        None: it stays due.
    state
        `done`, `due`, `ahead` or `missed`.
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


def reaches(agent: Agent, pest: Pest) -> bool:
    """Whether an agent is on record as reaching a pest's mobile stages, wholly or in part."""
    for r in agent.reaches:
        if r.of == pest.id:
            return r.does != "not"
    return any(r.of in pest.is_a and r.does == "reaches" for r in agent.reaches)


def dippable(pest: Pest, catalogue: Catalogue) -> bool:
    """Whether a dip that needs no prescription is on record as reaching it; else what to use is a veterinarian's."""
    return any(a.use == "dip" and not a.veterinary and reaches(a, pest) for a in catalogue.agents.values())


def treated(
    pest: Pest, treatments: Sequence[Entry], catalogue: Catalogue, hosts: Sequence[str] = (),
    since: dt.datetime | None = None,
) -> list[dt.datetime]:  # fmt: skip
    """When a pest was treated: with an agent that is on record as reaching it, on one of these hosts, since one came.

    A dip whose agent nobody named counts for corals, and is said so elsewhere.
    """
    found = []
    for e in treatments:
        named = str(e.extra.get("agent", "") or e.method)
        agent = catalogue.agent(named) if named and named != "unknown" else None
        on = str(e.extra.get("animals", ""))
        if (since is not None and e.time < since) or (on and hosts and not any(x in on for x in hosts)):
            continue
        if (agent is None and e.subject == "dip" and pest.form == "coral-pest") or (
            agent is not None and reaches(agent, pest)
        ):
            found.append(e.time)
    return sorted(found)


def window(pest: Pest, warmth: Warmth | None) -> tuple[int | None, int | None, Duration, Duration]:
    """Days after a treatment at which the next one belongs: not before all eggs then present have hatched, not after
    the first hatchling can lay. [d]"""
    ends = warmth.ends if warmth is not None else None
    hatch, lays = longest(pest.those("hatch"), ends), shortest(pest.those("lays"), ends)
    if hatch.days is not None and lays.days is not None:
        opens, closes = math.ceil(hatch.days - 1e-9), math.floor(SHY * lays.days + 1e-9)
        if opens <= closes:
            return opens, closes, hatch, lays
        return opens, opens, hatch, lays  # as early as all have hatched; some may have laid: said by the caller
    every = shortest(pest.those("retreat"), ends), longest(pest.those("retreat"), ends)
    if (
        not [f for f in pest.those("hatch") if f.most is not None]
        and every[0].days is not None
        and every[1].days is not None
    ):
        return math.floor(every[0].days), math.ceil(every[1].days), every[1], every[0]
    return None, None, hatch, lays


def first_dip(p: Pest, hosts: tuple[str, ...], started: dt.datetime, now: dt.datetime) -> Step:
    return Step(
        "dip-1", "treat", "Dip on arrival", started, None, "due", "acts on what moves; eggs survive every dip", 20.0,
        (p.id,),
    )  # fmt: skip


def course(
    p: Pest, hosts: tuple[str, ...], done: Sequence[dt.datetime], opens: int, closes: int, started: dt.datetime,
    now: dt.datetime,
) -> tuple[list[Step], dt.datetime | None]:  # fmt: skip
    """The treatments of one course. One that came too early does not count, one too late begins the course again."""
    if not done:
        first = first_dip(p, hosts, started, now)
        return [first], now + (ROUNDS - 1) * closes * _DAY
    steps = [Step("dip-1", "treat", "Treated", done[0], None, "done", "the course began", 20.0, (p.id,), done[0])]
    last, n = done[0], 1
    later = list(done[1:])
    while n < ROUNDS:
        begin, end = last + opens * _DAY, last + closes * _DAY
        why = (
            f"eggs present at the last treatment have hatched by day {opens}; none that hatched can have laid before "
            f"day {closes + 1}"
        )
        hits = [t for t in later if begin - _DAY / 2 <= t <= end + _DAY]
        late = [t for t in later if t > end + _DAY]
        n += 1
        if hits:
            steps.append(Step(f"dip-{n}", "treat", "Treated again", begin, end, "done", why, 20.0, (p.id,), hits[0]))
            last = hits[0]
            later = [t for t in later if t > last]
        elif late:
            steps.append(Step(f"dip-{n}", "treat", "Treat again", begin, end, "missed", why, 20.0, (p.id,)))
            last, n = late[0], 1
            later = late[1:]
            steps.append(
                Step(
                    "dip-1",
                    "treat",
                    "Treated",
                    last,
                    None,
                    "done",
                    "too late: the course began again",
                    20.0,
                    (p.id,),
                    last,
                )
            )
        elif now > end + _DAY:
            steps.append(Step(f"dip-{n}", "treat", "Treat again", begin, end, "missed", why, 20.0, (p.id,)))
            again = f"the window closed on day {closes}: a hatchling can have laid, so the course begins again"
            steps.append(Step("dip-1", "treat", "Treat again", now, None, "due", again, 20.0, (p.id,)))
            return steps, now + (ROUNDS - 1) * closes * _DAY
        else:
            state = "due" if now >= begin else "ahead"
            steps.append(Step(f"dip-{n}", "treat", "Treat again", begin, end, state, why, 20.0, (p.id,)))
            return steps, end + (ROUNDS - n) * closes * _DAY
    return steps, last


def merged(steps: Sequence[Step]) -> list[Step]:
    """One treatment for several pests where their windows meet."""
    out: list[Step] = []
    for s in sorted(steps, key=lambda s: (s.state != "due", s.opens)):
        for i, o in enumerate(out):
            if o.state != s.state or o.action != s.action or (s.state == "done" and o.done != s.done):
                continue
            begin = max(o.opens, s.opens)
            ends = [t for t in (o.closes, s.closes) if t is not None]
            end = min(ends) if ends else None
            if s.state == "done" or ((o.key == "dip-1") == (s.key == "dip-1") and (end is None or begin <= end)):
                why = (
                    o.why
                    if o.closes == s.closes and o.opens == s.opens
                    else f"{o.why} ({', '.join(o.pests)}); {s.why} ({', '.join(s.pests)})"
                )
                out[i] = Step(
                    o.key,
                    o.action,
                    o.what,
                    begin,
                    end,
                    o.state,
                    why,
                    o.minutes,
                    tuple(dict.fromkeys((*o.pests, *s.pests))),
                    o.done,
                )
                break
        else:
            out.append(s)
    return out
