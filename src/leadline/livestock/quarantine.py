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
from leadline.livestock.census import Lot, Register, animals_of, hosts
from leadline.livestock.development import Duration, longest
from leadline.livestock.kinds import Catalogue, Pest
from leadline.livestock.treatments import (
    Step,
    Warmth,
    agents_of,
    course,
    dippable,
    first_dip,
    merged,
    treated,
    window,
)

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
    "worms-seen", "nudibranch-seen", "bite-marks", "tubes-seen", "anemones-seen", "found-in-dip",
})  # fmt: skip
FAINT = frozenset({"fish-not-eating", "coral-pale", "polyps-closed", "fish-missing"})  # told, but no clock begins anew
FOUND_NOTHING = ("", "nothing", "none", "no")
Event = tuple[dt.datetime, str]


@dataclass(frozen=True, slots=True)
class Against:
    """What the plan does about one pest.

    Attributes
    ----------
    hatch, lays, observe
        Durations used. [d]
    opens_d, closes_d
        The re-treatment window, days after the last treatment; None where there is no data.
    last_due
        The latest end of the treatments that are planned, of all lots.
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
    last_due: dt.datetime | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """One unit's quarantine as it stands.

    Attributes
    ----------
    started
        When the clock began, and `because` what.
    release
        The earliest moment at which it may end by what is known; None where nobody can say.
    doubt
        Of what nobody can say how long; then `release` is no end.
    skipped
        What was not done and changes what may be concluded.
    signs
        Signs and deaths since the first of those who live there came.
    conclusion
        Never that something is absent.
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
    doubt: str
    skipped: tuple[str, ...]
    no_data: tuple[str, ...]
    signs: tuple[Event, ...]
    conclusion: str
    cautions: tuple[str, ...] = ()
    days: int = 0
    looked_on: int = 0
    treatments: tuple[tuple[dt.datetime, str], ...] = ()

    @property
    def from_when(self) -> str:
        """What the date of release rests on, as one says it before the date."""
        left = any(s.action == "treat" and s.state in ("due", "ahead") for s in self.steps)
        return "Not before, should each treatment come on the last day of its window," if left else "Not before"


@dataclass(slots=True)
class _Work:
    """What was noted in the unit: looks and searches since its clock began, all else since its first animal came."""

    treatments: list[Entry] = field(default_factory=list)
    looks: set[dt.date] = field(default_factory=set)
    searches: list[dt.datetime] = field(default_factory=list)
    signs: list[Event] = field(default_factory=list)
    faint: list[Event] = field(default_factory=list)
    deaths: list[Event] = field(default_factory=list)
    base: dict[str, str] = field(default_factory=dict)


def plan(
    place: str, register: Register, entries: Sequence[Entry], catalogue: Catalogue, warmth: Warmth | None,
    now: dt.datetime, *, photos: Sequence[dt.datetime] = (), shared: Sequence[str] = (), wet: Sequence[Event] = (),
    local: dt.tzinfo = dt.UTC,
) -> Plan | None:  # fmt: skip
    """The plan of a unit, or None where nothing lives.

    Parameters
    ----------
    entries
        Of this unit, as they are taken to stand, in order of time.
    shared
        Sentences about hands that worked in the wrong order since the clock began.
    wet
        Water, rock and tools that came in wet from where fish or others live: each begins the clock again.
    """
    lots = register.at(place)
    if not lots:
        return None
    first = min(s for x in lots if (s := x.since(place)) is not None) - dt.timedelta(hours=12)
    mine = [e for e in entries if first <= e.time <= now]
    events = _events(mine, register, place, first)
    started, because = _clock(place, lots, events, [w for w in wet if first < w[0] <= now])
    work = _work(mine, local, started, events, lots)
    against: list[Against] = []
    steps: list[Step] = []
    for p in catalogue.pests.values():
        if p.form not in ("coral-pest", "parasite", "disease") or not p.rides:
            continue
        found = _against(p, lots, place, register, work, catalogue, warmth, now, local)
        if found is not None:
            against.append(found[0])
            steps += found[1]
    steps = merged(steps) + _common(lots, work, started, now, photos, local)
    release, why, doubt = _release(place, lots, against, register, warmth, started)
    steps += _last_search(work, release, now)
    days = max(int((now - started) / _DAY), 0)
    skipped = _skipped(lots, steps, work, days, shared, warmth, catalogue, local)
    no_data = tuple(f"{a.pest.name}: {a.no_data.removeprefix('no data: ')}" for a in against if a.no_data)
    return Plan(
        place, started, because, tuple(lots), warmth, tuple(against), tuple(sorted(steps, key=_when)), release, why,
        doubt, tuple(skipped), no_data, tuple(sorted((*work.signs, *work.deaths))),
        _conclusion(days, work, warmth, skipped, no_data, local), _cautions(work, catalogue, lots), days,
        len(work.looks), tuple((e.time, _treatment_said(e, catalogue)) for e in work.treatments),
    )  # fmt: skip


def _when(s: Step) -> tuple[int, dt.datetime]:
    return ({"due": 0, "missed": 1, "ahead": 2, "done": 3}[s.state], s.opens)


@dataclass(slots=True)
class _Events:
    signs: list[Event]
    faint: list[Event]
    deaths: list[Event]


def _events(entries: Sequence[Entry], register: Register, place: str, first: dt.datetime) -> _Events:
    """Signs of disease, what a dip brought off, and deaths, since the first of those who live there came."""
    out = _Events([], [], [])
    for e in entries:
        if e.kind == "observation" and e.subject in DISEASE:
            out.signs.append((e.time, e.subject))
        elif e.kind == "observation" and e.subject in FAINT:
            out.faint.append((e.time, e.subject))
        elif e.kind == "treatment" and str(e.extra.get("found", "")).lower() not in FOUND_NOTHING:
            out.signs.append((e.time, f"{e.extra['found']} in a dip"))
    for lot in register.lots.values():
        for g in lot.gone:
            if g.place == place and g.time >= first and g.how in ("died", "missing"):
                out.deaths.append((g.time, f"{g.count:g} of {lot.name} {g.how}"))
    return out


def _clock(place: str, lots: Sequence[Lot], events: _Events, wet: Sequence[Event]) -> Event:
    """When the whole unit's clock began: its newest arrival, a later sign, a death, or what came in wet (all in, all
    out)."""
    came = [(x.newest(place), f"{x.name} came") for x in lots]
    found = [(t, why) for t, why in came if t is not None]
    found += [
        (t, f"{_said(s)} was seen" if not s.endswith("in a dip") else f"{_said(s)} was found") for t, s in events.signs
    ]
    found += [*events.deaths, *wet]
    return max(found, key=lambda f: f[0])


def _said(subject: str) -> str:
    return subject.replace("-", " ")


def _work(
    entries: Sequence[Entry], local: dt.tzinfo, started: dt.datetime, events: _Events, lots: Sequence[Lot]
) -> _Work:
    out = _Work(signs=events.signs, faint=events.faint, deaths=events.deaths)
    for e in entries:
        if e.kind == "treatment":
            out.treatments.append(e)
        if e.extra.get("base"):
            for name in animals_of(e) or [x.id for x in lots]:
                out.base[name] = str(e.extra["base"])
        if e.kind == "observation" and e.time >= started - dt.timedelta(hours=12):
            out.looks.add(e.time.astimezone(local).date())
            if any(w in e.method.lower() for w in _SEARCHES):
                out.searches.append(e.time)
    return out


def _against(
    p: Pest, lots: Sequence[Lot], place: str, register: Register, work: _Work, catalogue: Catalogue,
    warmth: Warmth | None, now: dt.datetime, local: dt.tzinfo,
) -> tuple[Against, list[Step]] | None:  # fmt: skip
    """What is done about one pest; None where it has nothing to do with who lives there."""
    ends = warmth.ends if warmth is not None else None
    mine = [x for x in lots if x.kind is not None and p.hosts and x.kind.is_any(p.hosts)]
    if not mine:
        cysts = p.form == "parasite" and bool(p.those("fallow")) and p.ride("rock") is not None
        if not cysts or not any(x.group != "fish" for x in lots):
            return None
        hold = longest(p.those("fallow"), ends)
        unknown = next((f.says for f in p.those("fallow") if f.says), hold.why)
        return Against(p, (), None, None, hold, None, None, (), "" if hold.known else unknown), []
    w, hatch, lays = window(p, warmth)
    cycle = bool(p.those("hatch") or p.those("retreat"))
    no_data = (hatch.why if not hatch.known else lays.why) if cycle and w is None else ""
    signs = p.notice.signs if p.notice is not None else ()
    named = (p.id, p.name, "unknown pest")
    ill = [t for t, s in work.signs if s in signs or s.removesuffix(" in a dip") in named]
    steps: list[Step] = []
    dues: list[dt.datetime] = []
    all_done: list[dt.datetime] = []
    for x in mine:
        came = x.newest(place)
        if came is None:
            continue
        since = max([came - dt.timedelta(hours=12), *(t for t in ill if t > came)])
        done = treated(p, work.treatments, catalogue, x, since)  # what was done before the last sign ends no course
        all_done += done
        # what only a prescription reaches is a veterinarian's: a course of it is timed once it began
        wanted = bool(done) or (p.form == "coral-pest" and dippable(p, catalogue))
        if wanted and w is not None:
            found, due = course(p, x, done, w, max(came, since), now, local)
            steps += found
            dues.append(due)
        elif wanted and not done and not cycle:
            steps.append(first_dip(p, x, came))
    return Against(
        p, tuple(x.id for x in mine), hatch, lays, longest(p.those("observe"), ends), w.opens if w else None,
        w.closes if w else None, tuple(sorted(all_done)), no_data, max(dues, default=None),
    ), steps  # fmt: skip


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
    bare = [x for x in lots if x.group == "coral" and x.id not in work.base]
    if bare:
        said = "eggs and snails sit on the base; note whether it was removed, partly or not"
        steps.append(Step("base", "inspect", "Remove base and plug", started, None, "due", said, 10.0, (), None,
                          tuple(x.id for x in bare)))  # fmt: skip
    strangers = [x for x in lots if x.kind is None]
    if strangers:
        said = "of a kind that nobody knows nothing can be said: neither what it brings nor what it does"
        steps.append(Step("kind", "ask", "Say what they are", started, None, "due", said, 1.0, (), None,
                          tuple(x.id for x in strangers)))  # fmt: skip
    for day in PHOTO_DAYS:
        due = started + day * _DAY
        taken = [t for t in photos if due - 2 * _DAY <= t <= due + 4 * _DAY]
        why = "the only cheap record of change"
        named = f"Photograph, day {day}"
        if taken:
            steps.append(Step(f"photo-{day}", "observe", named, due, None, "done", "", 2.0, (), taken[0]))
        elif now < due:
            steps.append(Step(f"photo-{day}", "observe", named, due, None, "ahead", why, 2.0))
        elif now <= due + 4 * _DAY:
            steps.append(Step(f"photo-{day}", "observe", named, due, due + 4 * _DAY, "due", why, 2.0))
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
    place: str, lots: Sequence[Lot], against: Sequence[Against], register: Register, warmth: Warmth | None,
    started: dt.datetime,
) -> tuple[dt.datetime | None, str, str]:  # fmt: skip
    """The earliest end by what is known, why, and of what nobody can say."""
    ends: list[tuple[dt.datetime, str]] = []
    if any(x.group == "fish" for x in lots):
        said = f"fish are observed for {FISH_LEAST_D:g} days at least (common practice)"
        ends.append((started + FISH_LEAST_D * _DAY, said))
    if any(x.group != "fish" for x in lots):
        warm = warmth is not None and warmth.low_c >= CORAL_WARM_C
        least = CORAL_D if warm else CORAL_COLD_D
        where = f"at {CORAL_WARM_C:g} °C or more" if warm else f"below {CORAL_WARM_C:g} °C, or where nobody measured"
        ends.append((started + least * _DAY, f"corals and others for {least:g} days {where} (common practice)"))
    unknown = []
    for a in against:
        if a.hosts and a.no_data and (warmth is None or "tested at" in a.no_data):
            unknown.append(a.pest.name)  # it was measured, but not at this temperature
        if a.observe.days is None:
            if a.hosts and a.pest.those("observe"):
                unknown.append(a.pest.name)
            continue
        days = math.ceil(a.observe.days)
        if not a.hosts:
            anchor, said = started, f"cysts of {a.pest.name} can ride along without fish: {days:g} days"
            left = _last_host_left(place, a.pest, register)
            if left is not None and left > anchor:
                anchor, said = left, f"{said}, since the last fish left"
        elif a.treatments or a.last_due is not None:
            anchor = max((*a.treatments, *((a.last_due,) if a.last_due is not None else ()), started))
            said = f"{a.pest.name}: {days:g} days after the last treatment"
        else:
            anchor, said = started, f"{a.pest.name}: {days:g} days"
        ends.append((anchor + days * _DAY, f"{said} ({a.observe.why})"))
    doubt = ", ".join(dict.fromkeys(unknown))
    if not ends:
        return None, "nobody can say", doubt
    release, why = max(ends, key=lambda e: e[0])
    return release, why, doubt


def _last_host_left(place: str, pest: Pest, register: Register) -> dt.datetime | None:
    """When the last of a pest's hosts left a place, by whatever way."""
    left = [
        s.until for x in register.lots.values() if x.lives and x.kind is not None and hosts(x, pest.hosts)
        for s in x.stays if s.place == place and s.until is not None
    ]  # fmt: skip
    return max(left, default=None)


def _skipped(
    lots: Sequence[Lot], steps: Sequence[Step], work: _Work, days: int, shared: Sequence[str], warmth: Warmth | None,
    catalogue: Catalogue, local: dt.tzinfo,
) -> list[str]:  # fmt: skip
    found = []
    for s in steps:
        if s.state == "missed" and s.closes is not None:
            last = s.closes.astimezone(local)
            found.append(f"a treatment was due until {last.day} {last:%B}")
    if days >= 2 and work.looks and len(work.looks) < 0.8 * (days + 1):
        found.append(f"looked over on {len(work.looks)} of {days + 1} days")
    corals = [x for x in lots if x.group == "coral"]
    bare = [x for x in corals if x.id not in work.base]
    if bare:
        found.append(f"nothing is noted of the base of {_names(bare)}")
    for state, words in (("partly", "was removed in part"), ("no", "was not removed")):
        those = [x for x in corals if work.base.get(x.id) == state]
        if those:
            found.append(f"the base of {_names(those)} {words}")
    if not work.searches:
        found.append("no search with lens or at night is noted")
    if warmth is None:
        found.append("the temperature is not known")
    elif days >= 6 and 0 < warmth.days < 0.3 * days:
        found.append(f"the temperature was measured on {warmth.days} {'day' if warmth.days == 1 else 'days'} only")
    found += list(shared)
    strangers = [x for x in lots if x.kind is None]
    if strangers:
        found.append(f"nobody told what {_names(strangers)} is")
    vague = [e for e in work.treatments if e.subject in ("dip", "medicine") and not agents_of(e, catalogue)]
    if vague:
        found.append(
            f"{len(vague)} treatment{'s' if len(vague) > 1 else ''} with an agent that nobody knows, not counted"
        )
    return found


def _names(lots: Sequence[Lot]) -> str:
    return ", ".join(x.name for x in lots)


def _conclusion(
    days: int, work: _Work, warmth: Warmth | None, skipped: Sequence[str], no_data: Sequence[str], local: dt.tzinfo
) -> str:
    water = f" at {warmth.said}" if warmth is not None else ""
    said = ""
    told = sorted((*work.signs, *work.deaths))
    if told:
        said = f"Signs were seen: {', '.join(_dated(told, local))}. "
    if work.looks:
        n = len(work.searches)
        searched = "" if not n else ", searched once" if n == 1 else f", searched {n} times"
        kept = "No detection since" if told else "No detection"
        said += f"{kept} in {days} days{water}, looked over on {len(work.looks)}{searched}."
    else:
        said += f"Nobody looked in {days} days{water}." if days else f"It begins today{water}."
    if work.faint:
        said += f" Also noted: {', '.join(_dated(work.faint, local))}."
    if skipped:
        said += f" It says less than it could: {'; '.join(skipped)}."
    if no_data:
        said += f" No data for {len(no_data)} of what could have come along."
    return said


def _dated(events: Sequence[Event], local: dt.tzinfo) -> list[str]:
    last: dict[str, dt.datetime] = {}
    for t, s in events:
        last[s] = max(t, last.get(s, t))
    return [f"{_said(s)} ({t.astimezone(local).day} {t.astimezone(local):%b})" for s, t in last.items()]


def _treatment_said(e: Entry, catalogue: Catalogue) -> str:
    """One treatment as it was noted."""
    known = agents_of(e, catalogue)
    parts = [f"{e.subject} with {known[0].name if known else e.extra.get('agent') or e.method or 'an unnamed agent'}"]
    parts += [_said(", ".join(animals_of(e)))] if animals_of(e) else []
    parts += [f"base {e.extra['base']}"] if e.extra.get("base") else []
    parts += [f"fell off: {e.extra['fell_off']}"] if e.extra.get("fell_off") else []
    parts += [e.note] if e.note else []
    return "; ".join(parts)


def _cautions(work: _Work, catalogue: Catalogue, lots: Sequence[Lot]) -> tuple[str, ...]:
    medicated = any(x.group == "fish" for x in lots) or any(e.subject == "medicine" for e in work.treatments)
    found = [MEDICINES] if medicated else []
    for e in work.treatments:
        for agent in agents_of(e, catalogue):
            on = animals_of(e)
            hurt = [
                x.name for x in lots if x.kind is not None and x.kind.is_any(agent.harms) and (not on or x.id in on)
            ]
            if hurt:
                found.append(f"{agent.name} harms {', '.join(hurt)}: it is on record here beside them.")
    return tuple(dict.fromkeys(found))
