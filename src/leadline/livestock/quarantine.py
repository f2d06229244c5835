"""Where a newcomer stands: observation, re-treatment and release, from life cycles and the unit's own water.

The worst end of every duration counts. A window opens when all eggs present at the last treatment have hatched, and
closes before any hatchling lays. Nothing here ever says that an animal is free of anything.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from leadline.journal.entry import Entry
from leadline.livestock.census import Lot, Register
from leadline.livestock.development import Duration, longest
from leadline.livestock.kinds import Catalogue, Pest
from leadline.livestock.treatments import Step, Warmth, course, dippable, first_dip, merged, treated, window

CORAL_D, CORAL_COLD_D, CORAL_WARM_C = 60.0, 90.0, 26.0  # derived; common practice
FISH_LEAST_D = 30.0  # common practice: least observation of fish
MEDICINES = (
    "Medicines: Leadline keeps time and records, and shows no dose. Ask a veterinarian; local law decides; never with "
    "fish meant to be eaten."
)
PHOTO_DAYS = (0, 7, 14, 30)  # common practice
_DAY = dt.timedelta(days=1)
_SEARCHES = ("lens", "night", "search", "torch")
DISEASE = frozenset({
    "white-spots", "velvet-dust", "fish-flashing", "fish-breathing-fast", "slime", "tissue-loss", "brown-jelly",
    "worms-seen", "nudibranch-seen", "bite-marks", "tubes-seen", "anemones-seen",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Against:
    """What the plan does about one pest.

    Attributes
    ----------
    hatch, lays, observe
        Durations used. [d]
    opens_d, closes_d
        The re-treatment window, days after the last treatment; None where there is no data.
    """

    pest: Pest
    hosts: tuple[str, ...]
    hatch: Duration | None
    lays: Duration | None
    observe: Duration
    opens_d: int | None
    closes_d: int | None
    treatments: tuple[dt.datetime, ...]
    no_data: str = ""
    last_due: dt.datetime | None = None  # the latest end of the treatments that are planned


@dataclass(frozen=True, slots=True)
class Plan:
    """One unit's quarantine as it stands.

    Attributes
    ----------
    started
        When the clock began, and `because` what.
    release
        The earliest moment at which it may end; None where nobody can say.
    skipped
        What was not done and changes what may be concluded.
    conclusion
        One sentence; never that something is absent.
    """

    place: str
    started: dt.datetime
    because: str
    lots: tuple[Lot, ...]
    warmth: Warmth | None
    against: tuple[Against, ...]
    steps: tuple[Step, ...]
    release: dt.datetime | None
    release_why: str
    skipped: tuple[str, ...]
    no_data: tuple[str, ...]
    signs: tuple[tuple[dt.datetime, str], ...]
    conclusion: str
    cautions: tuple[str, ...] = ()
    days: int = 0
    looked_on: int = 0

    @property
    def open(self) -> bool:
        """Whether something still has to be done or waited for."""
        return bool(self.lots)


@dataclass(slots=True)
class _Work:
    """What was noted in the unit since its clock began."""

    treatments: list[Entry] = field(default_factory=list)
    looks: set[dt.date] = field(default_factory=set)
    searches: list[dt.datetime] = field(default_factory=list)
    signs: list[tuple[dt.datetime, str]] = field(default_factory=list)
    base: str = ""


def plan(
    place: str, register: Register, entries: Sequence[Entry], catalogue: Catalogue, warmth: Warmth | None,
    now: dt.datetime, *, photos: Sequence[dt.datetime] = (), shared: Sequence[str] = (), local: dt.tzinfo = dt.UTC,
) -> Plan | None:  # fmt: skip
    """The plan of a unit, or None where nothing lives.

    Parameters
    ----------
    entries
        Of this unit, as they are taken to stand, in order of time.
    shared
        Sentences about hands, tools or water that were shared with other systems since the clock began.
    """
    lots = register.at(place)
    if not lots:
        return None
    started, because = _clock(place, lots, entries)
    mine = [e for e in entries if e.time >= started - dt.timedelta(hours=12) and e.time <= now]
    first = min(s for x in lots if (s := x.since(place)) is not None) - dt.timedelta(hours=12)
    # observation begins anew with every newcomer; a course of treatments goes on from the first of those treated
    work = _work(mine, local, [e for e in entries if e.kind == "treatment" and first <= e.time <= now])
    pests = [p for p in catalogue.pests.values() if p.form in ("coral-pest", "parasite", "disease") and p.rides]
    against: list[Against] = []
    steps: list[Step] = []
    for p in pests:
        hosts = tuple(x.id for x in lots if x.kind is not None and p.hosts and x.kind.is_any(p.hosts))
        rides_along = not hosts and p.form == "parasite" and bool(p.those("fallow")) and p.ride("rock") is not None
        came = min((x.since(place) or started for x in lots if x.id in hosts), default=started)
        if not hosts and not (rides_along and any(x.group != "fish" for x in lots)):
            continue
        a, mine_steps = _against(p, hosts, rides_along, work, catalogue, warmth, started, now, came)
        against.append(a)
        steps += mine_steps
    steps = merged(steps) + _common(lots, work, started, now, photos, local)
    release, why = _release(lots, against, work, warmth, started)
    steps += _last_search(work, release, now)
    days = max(int((now - started) / _DAY), 0)
    skipped = _skipped(lots, steps, work, days, shared, warmth)
    no_data = tuple(f"{a.pest.name}: {a.no_data.removeprefix('no data: ')}" for a in against if a.no_data)
    return Plan(
        place, started, because, tuple(lots), warmth, tuple(against), tuple(sorted(steps, key=_when)), release, why,
        tuple(skipped), no_data, tuple(work.signs), _conclusion(days, work, warmth, skipped, no_data),
        _cautions(work, catalogue, lots),
        days, len(work.looks),
    )  # fmt: skip


def _when(s: Step) -> tuple[int, dt.datetime]:
    return ({"due": 0, "missed": 1, "ahead": 2, "done": 3}[s.state], s.opens)


def _clock(place: str, lots: Sequence[Lot], entries: Sequence[Entry]) -> tuple[dt.datetime, str]:
    """When the whole unit's clock began: its newest arrival, or a later sign of disease (all in, all out)."""
    newest = max(((x.since(place), x) for x in lots), key=lambda t: t[0] or dt.datetime.min.replace(tzinfo=dt.UTC))
    started = newest[0]
    assert started is not None
    because = f"{newest[1].name} came"
    ill = [e for e in entries if e.kind == "observation" and e.subject in DISEASE and e.time > started]
    if ill:
        started, because = ill[-1].time, f"{ill[-1].subject.replace('-', ' ')} was seen"
    return started, because


def _work(entries: Sequence[Entry], local: dt.tzinfo, treatments: list[Entry]) -> _Work:
    out = _Work(treatments)
    for e in treatments:
        out.base = str(e.extra.get("base", "") or out.base)
    for e in entries:
        day = e.time.astimezone(local).date()
        out.base = str(e.extra.get("base", "") or out.base)
        if e.kind == "observation":
            out.looks.add(day)
            if any(w in e.method.lower() for w in _SEARCHES):
                out.searches.append(e.time)
            if e.subject in DISEASE:
                out.signs.append((e.time, e.subject))
    return out


def _against(
    p: Pest, hosts: tuple[str, ...], rides_along: bool, work: _Work, catalogue: Catalogue, warmth: Warmth | None,
    started: dt.datetime, now: dt.datetime, came: dt.datetime,
) -> tuple[Against, list[Step]]:  # fmt: skip
    ends = warmth.ends if warmth is not None else None
    if rides_along:
        hold = longest(p.those("fallow"), ends)
        unknown = next((f.says for f in p.those("fallow") if f.says), hold.why)
        return Against(p, (), None, None, hold, None, None, (), "" if hold.known else unknown), []
    opens, closes, hatch, lays = window(p, warmth)
    observe = longest(p.those("observe"), ends)
    done = treated(p, work.treatments, catalogue, hosts, came - dt.timedelta(hours=12))
    cycle = bool(p.those("hatch") or p.those("retreat"))
    no_data = ""
    if cycle and opens is None:
        no_data = hatch.why if not hatch.known else lays.why
    steps: list[Step] = []
    last_due = None
    # what only a prescription reaches is a veterinarian's: a course of it is timed once it began
    wanted = bool(done) or (p.form == "coral-pest" and dippable(p, catalogue))
    if wanted and cycle and opens is not None and closes is not None:
        steps, last_due = course(p, hosts, done, opens, closes, started, now)
    elif wanted and p.form == "coral-pest" and not done and not cycle:
        steps = [first_dip(p, hosts, started, now)]
    return Against(p, hosts, hatch, lays, observe, opens, closes, tuple(done), no_data, last_due), steps


def _common(
    lots: Sequence[Lot], work: _Work, started: dt.datetime, now: dt.datetime, photos: Sequence[dt.datetime],
    local: dt.tzinfo,
) -> list[Step]:  # fmt: skip
    """What every quarantine asks, whatever may have come along."""
    fish = any(x.group == "fish" for x in lots)
    today = now.astimezone(local).date()
    what = "breathing, spots, appetite, faeces" if fish else "bites, pale edges, ribbons of eggs, worms"
    morning = dt.datetime.combine(today, dt.time(), local).astimezone(dt.UTC)
    state = "done" if today in work.looks else "due"
    why = "a day without a look is a day that says nothing"
    steps = [Step("look", "observe", f"Look them over: {what}", morning, None, state, why, 2.0)]
    if any(x.group == "coral" for x in lots) and not work.base:
        said = "eggs and snails sit on the base; note whether it was removed, partly or not"
        steps.append(Step("base", "inspect", "Remove base and plug", started, None, "due", said, 10.0))
    for day in PHOTO_DAYS:
        due = started + day * _DAY
        taken = [t for t in photos if due - 2 * _DAY <= t <= due + 4 * _DAY]
        if taken:
            steps.append(
                Step(f"photo-{day}", "observe", f"Photograph, day {day}", due, None, "done", "", 2.0, (), taken[0])
            )
        elif now < due:
            steps.append(
                Step(
                    f"photo-{day}",
                    "observe",
                    f"Photograph, day {day}",
                    due,
                    None,
                    "ahead",
                    "the only cheap record of change",
                    2.0,
                )
            )
        elif now <= due + 4 * _DAY:
            steps.append(
                Step(
                    f"photo-{day}",
                    "observe",
                    f"Photograph, day {day}",
                    due,
                    due + 4 * _DAY,
                    "due",
                    "the only cheap record of change",
                    2.0,
                )
            )
    return steps


def _last_search(work: _Work, release: dt.datetime | None, now: dt.datetime) -> list[Step]:
    if release is None:
        return []
    opens = release - 5 * _DAY
    done = [t for t in work.searches if t >= opens]
    why = "most pests come out at night, and low numbers are easily missed"
    what = "Search at night, with lens and red light"
    if done:
        return [Step("night", "inspect", what, opens, release, "done", why, 15.0, (), done[0])]
    return [Step("night", "inspect", what, opens, None, "due" if now >= opens else "ahead", why, 15.0)]


def _release(
    lots: Sequence[Lot], against: Sequence[Against], work: _Work, warmth: Warmth | None, started: dt.datetime
) -> tuple[dt.datetime | None, str]:
    ends: list[tuple[dt.datetime, str]] = []
    if any(x.group == "fish" for x in lots):
        ends.append(
            (started + FISH_LEAST_D * _DAY, f"fish are observed for {FISH_LEAST_D:g} days at least (common practice)")
        )
    if any(x.group not in ("fish",) for x in lots):
        warm = warmth is not None and warmth.low_c >= CORAL_WARM_C
        least = CORAL_D if warm else CORAL_COLD_D
        where = f"at {CORAL_WARM_C:g} °C or more" if warm else f"below {CORAL_WARM_C:g} °C, or where nobody measured"
        ends.append((started + least * _DAY, f"corals and others for {least:g} days {where} (common practice)"))
    for a in against:
        if a.observe.days is None:
            continue
        days = math.ceil(a.observe.days)
        if not a.hosts:
            anchor, said = started, f"cysts of {a.pest.name} can ride along without fish: {days:g} days"
        elif a.treatments or a.last_due is not None:
            anchor = max((*a.treatments, *((a.last_due,) if a.last_due is not None else ()), started))
            said = f"{a.pest.name}: {days:g} days after the last treatment"
        else:
            anchor, said = started, f"{a.pest.name}: {days:g} days"
        ends.append((anchor + days * _DAY, f"{said} ({a.observe.why})"))
    if not ends:
        return None, "nobody can say"
    return max(ends, key=lambda e: e[0])


def _skipped(
    lots: Sequence[Lot], steps: Sequence[Step], work: _Work, days: int, shared: Sequence[str], warmth: Warmth | None
) -> list[str]:
    found = [
        f"a treatment was due until {s.closes.day} {s.closes:%B}" if s.closes else "a treatment was missed"
        for s in steps
        if s.state == "missed"
    ]
    if days >= 2 and len(work.looks) < 0.8 * (days + 1):
        found.append(f"looked over on {len(work.looks)} of {days + 1} days")
    if any(x.group == "coral" for x in lots):
        if not work.base:
            found.append("nothing is noted of the base")
        elif work.base != "removed":
            found.append(f"the base was {'removed in part' if work.base == 'partly' else 'not removed'}")
    if not work.searches:
        found.append("no search with lens or at night is noted")
    if warmth is None:
        found.append("the temperature is not known")
    found += list(shared)
    unnamed = [
        e for e in work.treatments if e.subject in ("dip", "medicine") and not (e.extra.get("agent") or e.method)
    ]
    if unnamed:
        found.append(f"{len(unnamed)} treatment{'s' if len(unnamed) > 1 else ''} without an agent's name")
    return found


def _conclusion(days: int, work: _Work, warmth: Warmth | None, skipped: Sequence[str], no_data: Sequence[str]) -> str:
    water = f" at {warmth.said}" if warmth is not None else ""
    if work.signs:
        names = ", ".join(dict.fromkeys(s.replace("-", " ") for _, s in work.signs))
        return f"Signs were seen: {names}. {days} days since{water}."
    searched = f"{len(work.searches)} search{'es' if len(work.searches) != 1 else ''}"
    said = f"No detection in {days} days{water}, looked over on {len(work.looks)}, {searched}."
    if skipped:
        said += f" It says less than it could: {'; '.join(skipped)}."
    if no_data:
        said += f" No data for {len(no_data)} of what could have come along."
    return said


def _cautions(work: _Work, catalogue: Catalogue, lots: Sequence[Lot]) -> tuple[str, ...]:
    medicated = any(x.group == "fish" for x in lots) or any(e.subject == "medicine" for e in work.treatments)
    found = [MEDICINES] if medicated else []
    for e in work.treatments:
        agent = (
            catalogue.agent(str(e.extra.get("agent", "") or e.method)) if (e.extra.get("agent") or e.method) else None
        )
        if agent is None:
            continue
        hurt = [x.name for x in lots if x.kind is not None and x.kind.is_any(agent.harms)]
        if hurt:
            found.append(f"{agent.name} harms {', '.join(hurt)}: it is on record here beside them.")
    return tuple(dict.fromkeys(found))
