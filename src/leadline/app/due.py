"""What falls due in the next days: when, for whom, why, and where it is done."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from leadline.alarms import proof
from leadline.app import choose, path_book, quarantine, stand_orders, stock
from leadline.app.ports import Store
from leadline.app.stock import House
from leadline.livestock.fallow import Fallow
from leadline.livestock.treatments import Step
from leadline.measures import figures
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock, zone
from leadline.measures.words import _
from leadline.rounds import stock as lines
from leadline.rounds.choose import FLOOR_WORTH
from leadline.rounds.item import URGENCIES, Candidate
from leadline.system.orders import Orders, Person

MOST_DAYS = 28  # so far the round looks ahead
WEEK_D = 7
NOBODY = "-"  # a person without proofs and without systems of their own: whose name left the orders
FALLOW_MINUTES = 5.0
_SPACE = uuid.uuid5(uuid.NAMESPACE_OID, "leadline.due")
_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that falls due.

    Attributes
    ----------
    uid
        The same for the same thing each time it is asked for; what comes every day has one for each day.
    system
        Empty for what belongs to no system: proofs of alarm paths.
    person
        Whose it is alone; empty: of all who look after the system.
    begins, until
        A window has both; without `until` it is due on the day on which it begins, and stays due.
    day, last
        The days of both in the time zone of the system (of the standing orders, for proofs); `day` is never before
        today.
    timed
        Whether the hour matters; else it is a matter of days.
    moves
        Whether it stands on today until it is done; else it stands where it is.
    daily
        What is the same for what comes every day; empty for what comes once.
    page
        Where on the site it is done.
    caution
        What can hurt somebody, where `because` does not say so.
    """

    uid: str
    system: str
    action: str
    subject: str
    begins: dt.datetime
    until: dt.datetime | None
    day: dt.date
    last: dt.date | None
    time_zone: str
    minutes: float
    urgency: str
    because: str
    page: str
    person: str = ""
    timed: bool = False
    daily: str = ""
    caution: str = ""
    moves: bool = False


@dataclass(frozen=True, slots=True)
class Ahead:
    """What falls due in so many days from a moment on, for whom and in which systems (their names beside the ids)."""

    as_of: dt.datetime
    days: int
    person: str
    systems: dict[str, str]
    lines: tuple[Due, ...]


def due(
    store: Store, clock: Clock, systems: Sequence[str] | None, days: int, person: str = "",
    as_of: dt.datetime | None = None, units: str = "",
) -> Ahead:  # fmt: skip
    """Everything that falls due today and on the days after, `days` in all, sorted by day.

    Lines of the round that are worth their minutes are due today, those of this week until the sixth day after; what
    the round leaves for later is due on the day until which it can wait. Steps of quarantines and fallow times keep
    their windows; a look at a quarantine and a proof that the watch asks for come once for each day. Days are those of
    the system's own time zone, whatever its clocks do.

    Parameters
    ----------
    systems
        Ids; all systems when None.
    person
        Somebody of the standing orders: the proofs of their paths alone, and what is due in the systems that they look
        after. Nobody: what is due for all, everybody's proofs with it.
    as_of
        As it was known then. Proofs have no past: they are left out.

    Raises
    ------
    BadInput
        When `days` lies outside 1 to 28: nothing is known of a later time.
    UnknownName
        For a system or a person that nobody knows.
    """
    if not 1 <= days <= MOST_DAYS:
        raise BadInput(f"{days} days", way_out=f"From 1 to {MOST_DAYS}: the round looks no farther ahead.")
    known = store.systems()
    for s in systems or ():
        if s not in known:
            raise UnknownName("system", s, known)
    orders = stand_orders.standing(store)
    who = None if person in ("", NOBODY) else somebody(orders, person)
    ids = [s for s in known if systems is None or s in systems]
    if who is not None and who.looks_after:
        ids = [s for s in ids if s in who.looks_after]
    now = as_of or clock.now()
    found, zones = choose.everything(store, clock, ids, as_of, windows=False, units=units)
    found.sort(key=lambda c: -c.worth / c.minutes)  # of one day the most worth of its minutes comes first
    out = [d for c in found if (d := _of_round(c, now, days, zones[c.system][1])) is not None]
    if store.entries(kinds=("arrival", "transfer", "loss")):  # nobody lives here: nothing more is loaded
        h = stock.house(store, clock, as_of)
        for system in ids:
            out += _of_quarantine(store, clock, h, system, days, as_of)
            out += _of_fallow(store, h, system, days)
            out += _of_eggs(store, clock, h, system, days)
    if as_of is None and person != NOBODY:
        out += _of_paths(store, orders, who, now, days)
    names = {i: zones[i][0] for i in ids}
    return Ahead(now, days, person, names, tuple(sorted(_told_apart(out), key=_order)))


def somebody(orders: Orders, person: str) -> Person:
    """A person of the standing orders.

    Raises
    ------
    UnknownName
        With who is named there.
    """
    found = next((p for p in orders.people if p.id == person), None)
    if found is None:
        names = [p.id for p in orders.people]
        raise UnknownName("person", person, names, way_out="" if names else "The standing orders name nobody.")
    return found


def orders_of(store: Store) -> Orders:
    """The standing orders."""
    return stand_orders.standing(store)


def people(store: Store) -> tuple[Person, ...]:
    """Those whom the standing orders name, in the order in which they are called."""
    return stand_orders.standing(store).people


def _order(d: Due) -> tuple[dt.date, dt.datetime, int]:
    timed = d.begins if d.timed else dt.datetime.max.replace(tzinfo=dt.UTC)
    return d.day, timed, URGENCIES.index(d.urgency)


def _told_apart(found: Iterable[Due]) -> list[Due]:
    """The same uid never stands twice: a second thing of one name is numbered."""
    seen: dict[str, int] = {}
    out = []
    for d in found:
        n = seen[d.uid] = seen.get(d.uid, 0) + 1
        out.append(d if n == 1 else replace(d, uid=_uid(d.uid, str(n))))
    return out


def _uid(*parts: str) -> str:
    """RFC 7986, 5.3: a UUID that tells nothing of what it stands for; the same for the same thing."""
    return str(uuid.uuid5(_SPACE, "\x1f".join(parts)))


def _end_of(day: dt.date, local: dt.tzinfo) -> dt.datetime:
    """The last minute of a local day."""
    return dt.datetime.combine(day, dt.time(23, 59), local).astimezone(dt.UTC)


def _midnight(day: dt.date, local: dt.tzinfo) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(), local).astimezone(dt.UTC)


def _within(begins: dt.date, last: dt.date | None, today: dt.date, days: int) -> dt.date | None:
    """The day on which something stands: its first one from today on; None when it is over or too far ahead."""
    if (last is not None and last < today) or begins > today + (days - 1) * _DAY:
        return None
    return max(begins, today)


# -- the round -----------------------------------------------------------------------------------------


def _of_round(c: Candidate, now: dt.datetime, days: int, time_zone: str) -> Due | None:
    """One line of the round; None for what is not worth its minutes in these days."""
    local = zone(time_zone)
    today = now.astimezone(local).date()
    begins, until, because = now, None, c.because
    if c.worth / c.minutes < FLOOR_WORTH:
        if c.waits_until is None or not now < c.waits_until < now + MOST_DAYS * _DAY:
            return None
        begins = c.waits_until
        because = _("Can wait until {day}. {because}").format(day=figures.day(begins, local, now), because=because)
    elif c.urgency not in ("now", "today"):
        until = _end_of(today + (WEEK_D - 1) * _DAY, local)
    last = until.astimezone(local).date() if until is not None else None
    day = _within(begins.astimezone(local).date(), last, today, days)
    if day is None:
        return None
    page = c.page or f"/system/{c.system}"
    return Due(
        _uid(c.system, c.action, c.subject, c.entry_id), c.system, c.action, c.subject, begins, until, day, last,
        time_zone, c.minutes, c.urgency, because, page, moves=begins == now,
    )  # fmt: skip


# -- quarantine, fallow, eggs --------------------------------------------------------------------------


def _of_quarantine(
    store: Store, clock: Clock, h: House, system: str, days: int, as_of: dt.datetime | None
) -> list[Due]:
    """Steps that are due or ahead, each with its window; the daily look; the day of release."""
    if system not in quarantine.units(h):
        return []
    plan = quarantine.plan(store, clock, system, as_of)
    if plan is None:
        return []
    time_zone = h.systems[system].time_zone
    local = zone(time_zone)
    today = h.at.astimezone(local).date()
    at = f"/livestock/{system}/quarantine"
    caution = " ".join(plan.cautions)
    out: list[Due] = []
    for s in plan.steps:
        subject = lines.about(s, plan)
        if s.key == "look":
            out += _looks(s, system, subject, today, days, time_zone)
        if s.key == "look" or s.state not in ("due", "ahead"):
            continue
        last = s.closes.astimezone(local).date() if s.closes is not None else None
        day = _within(s.opens.astimezone(local).date(), last, today, days)
        if day is None:
            continue
        urgency = "week" if s.state == "ahead" else lines.urgency(s, h.at)
        because = f"{s.why[:1].upper()}{s.why[1:]}."
        out.append(
            Due(
                _uid(system, "quarantine", s.key, *sorted(s.pests), "", *sorted(s.lots)), system, s.action, subject,
                s.opens, s.closes, day, last, time_zone, s.minutes, urgency, because, f"{at}#{s.key}",
                caution=caution if s.action == "treat" else "",
            )
        )  # fmt: skip
    if plan.release is not None and not plan.doubt:
        open_steps = any(s.state == "due" and s.key != "look" for s in plan.steps)
        day = _within(plan.release.astimezone(local).date(), None, today, days)
        if day is not None and not (open_steps and plan.release <= h.at):
            when = figures.day(plan.release, local, h.at)
            who = ", ".join(x.name for x in plan.lots)
            because = f"{plan.from_when} {when}: {plan.release_why}. {plan.conclusion}"
            out.append(
                Due(
                    _uid(system, "release"), system, "ask", f"release of {who}", plan.release, None, day, None,
                    time_zone, 5.0, "week", because, at,
                )
            )  # fmt: skip
    return out


def _looks(s: Step, system: str, subject: str, today: dt.date, days: int, time_zone: str) -> list[Due]:
    """The look of every day; of today only until somebody looked."""
    local = zone(time_zone)
    out = []
    for n in range(1 if s.state == "done" else 0, days):
        day = today + n * _DAY
        out.append(
            Due(
                _uid(system, "quarantine", s.key, day.isoformat()), system, s.action, subject, _midnight(day, local),
                _end_of(day, local), day, day, time_zone, s.minutes, "today", f"{s.why[:1].upper()}{s.why[1:]}.",
                f"/livestock/{system}/quarantine#{s.key}", daily=f"{system} look",
            )
        )  # fmt: skip
    return out


def _of_fallow(store: Store, h: House, system: str, days: int) -> list[Due]:
    """The day until which a system must stay without hosts at least. Of parasites with the same hosts the one that
    takes longest counts: before it ends no host may come back, whatever the others say."""
    time_zone = h.systems[system].time_zone
    local = zone(time_zone)
    today = h.at.astimezone(local).date()
    latest: dict[tuple[str, ...], Fallow] = {}
    for pest in h.catalogue.pests.values():
        if not pest.those("fallow") or h.register.hosts_at(system, pest.hosts):
            continue
        f = quarantine.fallow_in(store, h, system, pest)
        known = latest.get(pest.hosts)
        if f.until is not None and (known is None or known.until is None or f.until > known.until):
            latest[pest.hosts] = f
    out = []
    for f in latest.values():
        assert f.until is not None
        assert f.since is not None
        if f.until < h.at:
            continue
        day = _within(f.until.astimezone(local).date(), None, today, days)
        if day is None:
            continue
        since, until = figures.day(f.since, local, h.at), figures.day(f.until, local, h.at)
        again = f" The clock began again: {f.restarted[-1][1]}." if f.restarted else ""
        because = (
            f"Without hosts since {since}; {f.days.days:g} days are the least, until {until} ({f.pest.name}).{again}"
        )
        out.append(
            Due(
                _uid(system, "fallow", *sorted(f.pest.hosts)), system, "ask",
                f"end of the time without {' or '.join(f.pest.hosts) or 'hosts'}", f.until, None, day, None, time_zone,
                FALLOW_MINUTES, "week", because, f"/livestock/fallow?system={system}&pest={f.pest.id}",
                caution=" ".join(f.notes),
            )
        )  # fmt: skip
    return out


def _of_eggs(store: Store, clock: Clock, h: House, system: str, days: int) -> list[Due]:
    """Eggs that should hatch in these days."""
    from leadline.app import breeding

    time_zone = h.systems[system].time_zone
    local = zone(time_zone)
    out = []
    for who, begin, end in breeding.due(store, clock, h, system):
        last = end.astimezone(local).date()
        day = _within(begin.astimezone(local).date(), last, h.at.astimezone(local).date(), days)
        for c in lines.broods([(who, begin, end)], system, begin, local) if day is not None else ():
            assert day is not None
            out.append(
                Due(
                    _uid(system, "eggs", who, begin.date().isoformat()), system, c.action, c.subject, begin, end, day,
                    last, time_zone, c.minutes, "today", c.because, c.page,
                )
            )  # fmt: skip
    return out


# -- alarm paths ---------------------------------------------------------------------------------------


def _of_paths(store: Store, orders: Orders, who: Person | None, now: dt.datetime, days: int) -> list[Due]:
    """Proofs: those that are missing now, and those that the watch will ask for. They belong to the path's person;
    what is asked for at the same moment is one line."""
    local = zone(orders.time_zone)
    now_s = now.timestamp()
    asked: dict[tuple[str, dt.datetime], list[str]] = {}
    missing: dict[tuple[str, str], list[str]] = {}
    for person, path in orders.used():
        if who is not None and person.id != who.id:
            continue
        noted = path_book.seen(store, person.id, path.id, None)
        if noted["asked_s"] is not None and not noted["overdue"]:
            moment = dt.datetime.fromtimestamp(noted["asked_s"], dt.UTC)
            asked.setdefault((person.id, moment), []).append(path.id)
        elif noted["overdue"]:
            missing.setdefault((person.id, "the last proof was not answered"), []).append(path.id)
        elif noted["proved_s"] is None:
            missing.setdefault((person.id, "never proved as it is set up now"), []).append(path.id)
        for moment in _asked_at(orders, noted["last_s"], now_s, days):
            asked.setdefault((person.id, moment), []).append(path.id)
    out = []
    today = now.astimezone(local).date()
    for (ident, why), paths in missing.items():
        because = f"{why[:1].upper()}{why[1:]}: an alarm may not arrive."
        out.append(
            Due(
                _uid("path", ident, why), "", "prove", f"{_listed(paths)} to {ident}", now, None, today, None,
                orders.time_zone, 1.0 * len(paths), "today", because, "/watch#paths", ident, moves=True,
            )
        )  # fmt: skip
    for (ident, moment), paths in asked.items():
        until = moment + dt.timedelta(seconds=orders.proof.window_s)
        there, end = moment.astimezone(local), until.astimezone(local)
        day = _within(there.date(), end.date(), today, days)
        if day is None or until < now:
            continue
        because = f"The watch asks at {there:%H:%M}; an answer by {end:%H:%M} proves it."
        every = f"{ident} proof {there:%H:%M}" if orders.proof.every_d == 1 else ""
        out.append(
            Due(
                _uid("proof", ident, there.date().isoformat(), f"{there:%H:%M}"), "", "prove",
                f"{_listed(paths)} to {ident}", moment, until, day, end.date(), orders.time_zone, 1.0 * len(paths),
                "today", because, "/watch#paths", ident, True, every,
            )
        )  # fmt: skip
    return out


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _asked_at(orders: Orders, last_s: float | None, now_s: float, days: int) -> list[dt.datetime]:
    """When the watch will ask for proofs of one path, by the rule by which it does. What should have been asked for
    already is asked for as soon as a watch runs: that has no hour, and is left out."""
    local = zone(orders.time_zone)
    end = dt.datetime.fromtimestamp(now_s, local).date() + days * _DAY
    found: list[dt.datetime] = []
    last = now_s if last_s is None else last_s
    while True:
        at_s = proof.due_s(orders.proof, last, now_s, orders.time_zone)
        moment = dt.datetime.fromtimestamp(at_s, dt.UTC)
        if moment.astimezone(local).date() >= end:
            return found
        if at_s >= now_s:
            found.append(moment)
        last = at_s if at_s > now_s else now_s
