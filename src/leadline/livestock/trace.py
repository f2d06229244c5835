"""Trace: where what came with one arrival can be by now, and which arrivals can have brought what was seen."""

from __future__ import annotations

import bisect
import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from leadline.livestock.census import Came, Lot, Register
from leadline.livestock.contacts import HANDS, TOOL, is_place
from leadline.livestock.kinds import Mark, Notice, Pest, Ride
from leadline.livestock.paths import NEVER_ENDS, Contact, Step, backwards, reach
from leadline.livestock.spread import Reset, Spread, Way, spread

DAY_S = 86400.0
LOOK_BACK_D = 730.0  # arrivals longer ago than this are not weighed
FOLLOWED = 24  # arrivals whose histories are run; the others are named
DRAWN = 8  # of these, the likeliest have their path told
# Likelihoods are flattened by this power, for the model is not the world: chosen by log loss in invented outbreaks of
# other draws than those of the bench, half of them in a world where everything carries and shows a third as well.
TEMPER = 0.6
ELSEWHERE = 0.05  # weight of a way that nobody wrote down, beside an arrival of a host of weight 1: judgement
SIGN_TRUE, SIGN_FALSE = 0.6, 0.08  # that such a sign is noted where it is, and where it isn't: judgement
TEARDOWN_WORKS = 0.9  # that a place torn down, dried or disinfected is rid of it: judgement
_LAGS = (np.arange(8) + 0.5) / 8.0
_WITH_ITS_HOST_S = 120.0  # what came within two minutes of its host's move came with it
_SOONEST_D = 0.5  # nothing is seen sooner: judgement
_COMES_WITH = {"animal": 1.0, "rock": 0.3, "water": 0.3, "tool": 0.1}  # weight of what comes from outside: judgement


@dataclass(frozen=True, slots=True)
class Exposed:
    """One place that it can have reached.

    Attributes
    ----------
    chance, chance_range
        That it is there by now; and where it carries over hardly or easily.
    earliest
        The first moment, and the way.
    likeliest
        The likeliest single way.
    hosts
        Names of lots there on which it lives.
    look_until
        Until when it would have shown itself: the late end of its coming, and of what it takes to be seen.
    """

    place: str
    chance: float
    chance_range: tuple[float, float]
    earliest: Step
    likeliest: Step
    hosts: tuple[str, ...]
    irreplaceable: bool
    look_until: dt.datetime | None


@dataclass(frozen=True, slots=True)
class Forward:
    """Where it can be by now; the likeliest and dearest first, which is the order to examine."""

    pest: Pest
    origin: str
    since: dt.datetime
    now: dt.datetime
    exposed: tuple[Exposed, ...]
    carriers: tuple[str, ...]  # tools and hands that it can be on
    reached: Mapping[str, Sequence[Step]]


@dataclass(frozen=True, slots=True)
class Suspect:
    """An arrival that can have brought it: how likely beside the others, and how."""

    lot: str
    came: Came | None  # None: something that nobody wrote down
    share: float
    likelihood: float
    path: tuple[Step, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Backward:
    """Which arrivals can have brought it, the likeliest first."""

    pest: Pest
    place: str
    seen: dt.datetime
    suspects: tuple[Suspect, ...]
    not_followed: int
    excluded: int  # arrivals with no time-respecting way to the place
    too_old: int = 0  # arrivals longer ago than is weighed


@dataclass(slots=True)
class House:
    """What a trace needs to know of everything that is kept.

    Attributes
    ----------
    looks, searches
        When each place was glanced at and searched; where nothing is noted of glances, one a day is assumed.
    """

    register: Register
    contacts: list[Contact]
    systems: tuple[str, ...]
    searches: Mapping[str, Sequence[dt.datetime]] = field(default_factory=dict)
    signs: Mapping[str, float] = field(default_factory=dict)  # where a sign of it was first noted, and when [Unix s]
    torn_down: Sequence[tuple[float, str]] = ()


def ride_of(pest: Pest, contact: Contact, register: Register) -> Ride | None:
    """How a pest goes over by a contact: a host carries it as such, anything else that is wet as a surface."""
    if contact.by == "animal":
        lot = register.lots.get(contact.what)
        host = lot is None or lot.kind is None or not pest.hosts or lot.kind.is_any(pest.hosts)
        return pest.ride("animal") if host and pest.ride("animal") else pest.ride("rock")
    return pest.ride(contact.by)


def ways(pest: Pest, register: Register) -> Callable[[Contact], Way | None]:
    """How each contact carries this pest. A leg onto a tool or hand, or from it, takes half of the journey."""
    made: dict[tuple[str, str, bool], Way | None] = {}

    def way(c: Contact) -> Way | None:
        leg = not (is_place(c.begin) and is_place(c.end)) and c.by in ("tool", "hand")
        key = (c.by, c.what if c.by == "animal" else "", leg)
        if key not in made:
            ride = ride_of(pest, c, register)
            if ride is None or ride.chance[2] <= 0.0:
                made[key] = None
            else:
                chance = tuple(x**0.5 for x in ride.chance) if leg else ride.chance
                made[key] = Way((chance[0], chance[1], chance[2]), ride.after_d * DAY_S)
        return made[key]

    return way


def lasting(pest: Pest) -> Callable[[str], float]:
    """How long it lives on at a node: on tools and hands as long as they stay wet; at places without end. [s]"""

    def lasts_s(node: str) -> float:
        for head, by in ((TOOL, "tool"), (HANDS, "hand")):
            if node.startswith(head):
                ride = pest.ride(by)
                return ride.lasts_d * DAY_S if ride is not None else 0.0
        return NEVER_ENDS

    return lasts_s


def forward(
    house: House, pest: Pest, origin: str, since: dt.datetime, now: dt.datetime, rng: np.random.Generator
) -> Forward:
    """Where it can be by now when it was at `origin` (a place or a dealer) since a moment."""
    begin_s, end_s = since.timestamp(), now.timestamp()
    inside = [c for c in house.contacts if begin_s <= c.at_s <= end_s]
    way, lasts = ways(pest, house.register), lasting(pest)
    reached = _reach(inside, {origin: begin_s - 1.0}, way, lasts)
    drawn = spread(
        inside, {origin: begin_s - 1.0}, way, end_s, rng, lasts_s=lasts, resets=_resets(house, begin_s, end_s)
    )
    found = []
    for place, steps in reached.items():
        if not is_place(place) or place not in house.systems:
            continue
        hosts = house.register.hosts_at(place, pest.hosts) if pest.hosts else house.register.at(place)
        found.append(
            Exposed(
                place, drawn.chance(place), drawn.chance_range(place), min(steps, key=lambda s: s.at_s),
                max(steps, key=lambda s: s.chance), tuple(x.id for x in hosts), any(x.irreplaceable for x in hosts),
                _look_until(pest, drawn, place, now),
            )
        )  # fmt: skip
    found.sort(key=lambda x: (-x.chance * (2.0 if x.irreplaceable else 1.0) * (1.0 if x.hosts else 0.3), x.place))
    on = [n for n in reached if n.startswith((TOOL, HANDS)) and _still_on(reached[n], lasts(n), end_s)]
    return Forward(pest, origin, since, now, tuple(found), tuple(sorted(on)), reached)


def _still_on(steps: Sequence[Step], lasts_s: float, now_s: float) -> bool:
    return now_s - max(s.at_s for s in steps) <= lasts_s


def _reach(
    inside: Sequence[Contact], origins: Mapping[str, float], way: Callable[[Contact], Way | None],
    lasts: Callable[[str], float],
) -> dict[str, list[Step]]:  # fmt: skip
    def chance(c: Contact) -> float:
        w = way(c)
        return w.chance[1] if w is not None else 0.0

    def after(c: Contact) -> float:
        w = way(c)
        return w.after_s if w is not None else 0.0

    return reach(inside, origins, lasts_s=lasts, chance=chance, after_s=after)


def _resets(house: House, begin_s: float, end_s: float) -> list[Reset]:
    return [Reset(t, place, TEARDOWN_WORKS) for t, place in house.torn_down if begin_s < t <= end_s]


def _look_until(pest: Pest, drawn: Spread, place: str, now: dt.datetime) -> dt.datetime | None:
    if pest.notice is None:
        return None
    first = drawn.first_s.get(place)
    came = first[np.isfinite(first)] if first is not None else np.array([])
    late = float(np.quantile(came, 0.95)) if len(came) else now.timestamp()
    return dt.datetime.fromtimestamp(late, dt.UTC) + dt.timedelta(days=pest.notice.after_d[1])


def backward(house: House, pest: Pest, place: str, seen: dt.datetime, rng: np.random.Generator) -> Backward:
    """Which arrivals can have brought what was first seen at `place` at that moment.

    An arrival's weight is that of what came (a host, its number), times the likelihood that what came with it is first
    noticed there just then: its ways to the place, how long it takes to be seen, and every look until then, there and
    elsewhere, that found nothing.
    """
    seen_s = seen.timestamp()
    begin_s = seen_s - LOOK_BACK_D * DAY_S
    inside = sorted((c for c in house.contacts if begin_s <= c.at_s <= seen_s), key=lambda c: c.at_s)
    times = [c.at_s for c in inside]
    way, lasts = ways(pest, house.register), lasting(pest)
    open_ways = backwards(
        inside, place, seen_s, chance=lambda c: (w.chance[1] if (w := way(c)) else 0.0),
        after_s=lambda c: (w.after_s if (w := way(c)) else 0.0),
    )  # fmt: skip
    show = _Showing(pest, house, seen_s, rng)
    weighed: list[tuple[float, Lot, Came, float]] = []
    excluded = 0
    too_old = 0
    for lot in house.register.lots.values():
        for came in _first_known(lot):
            t = came.time.timestamp()
            if t > seen_s:
                continue
            if t < begin_s:
                too_old += 1
                continue
            chance = 1.0 if came.place == place else max(
                (p for by_s, p in open_ways.get(came.place, ()) if by_s >= t), default=0.0
            )  # fmt: skip
            prior = _prior(pest, lot, came)
            if chance <= 0.0 or prior <= 0.0:
                excluded += 1
                continue
            weighed.append((prior * chance * show.at_best(place, t), lot, came, prior))
    weighed.sort(key=lambda x: -x[0])
    followed: list[tuple[float, Lot, Came, float]] = []
    for _, lot, came, prior in weighed[:FOLLOWED]:
        t = came.time.timestamp()
        part = inside[bisect.bisect_left(times, t) :]
        run = spread(
            part, {came.place: t}, way, seen_s, rng, lasts_s=lasts, resets=_resets(house, t, seen_s), members=512
        )
        likelihood = show.likelihood(run, place, _moved_in(lot, came, place))
        if likelihood <= 0.0 and place not in _reach(part, {came.place: t}, way, lasts):
            excluded += 1  # it would have died out on every way
            continue
        followed.append((prior * likelihood**TEMPER, lot, came, likelihood))
    unknown = ELSEWHERE * show.from_anywhere(place, begin_s) ** TEMPER
    total = sum(w for w, *_ in followed) + unknown
    ranked = []
    for n, (w, lot, came, likelihood) in enumerate(sorted(followed, key=lambda x: -x[0])):
        t = came.time.timestamp()
        path: tuple[Step, ...] = ()
        if n < DRAWN:
            steps = _reach(inside[bisect.bisect_left(times, t) :], {came.place: t}, way, lasts).get(place, [])
            path = tuple(max(steps, key=lambda s: s.chance).path()) if steps else ()
        why = _why(came, path, pest, seen)
        ranked.append(Suspect(lot.id, came, w / total if total else 0.0, likelihood, path, why))
    ranked.append(Suspect("", None, unknown / total if total else 1.0, 0.0, (), "a way that nobody wrote down"))
    ranked.sort(key=lambda s: -s.share)
    return Backward(pest, place, seen, tuple(ranked), max(len(weighed) - FOLLOWED, 0), excluded, too_old)


def _moved_in(lot: Lot, came: Came, place: str) -> tuple[float, float] | None:
    later = [s.since for s in lot.stays if s.place == place and s.since > came.time]
    if came.place == place or not later:
        return None
    return min(later).timestamp(), came.time.timestamp()


def _first_known(lot: Lot) -> list[Came]:
    """Its arrivals; of a lot whose arrival nobody wrote down, where it is first known to have been."""
    if lot.came or not lot.stays:
        return lot.came
    first = min(lot.stays, key=lambda s: s.since)
    return [Came(first.since, first.place, "", first.count, "")]


def _prior(pest: Pest, lot: Lot, came: Came) -> float:
    """How likely such a lot brings it from outside, beside others: by what it is, and how many."""
    if lot.lives:
        host = lot.kind is None or not pest.hosts or lot.kind.is_any(pest.hosts)
        by = "animal" if host and pest.ride("animal") else "rock"
    else:
        by = lot.group
    ride = pest.ride(by)
    if ride is None:
        return 0.0
    one = 0.2 * _COMES_WITH.get(by, 0.1) * ride.chance[1]
    return float(1.0 - (1.0 - one) ** min(came.count, 50.0))


def _why(came: Came, path: Sequence[Step], pest: Pest, seen: dt.datetime) -> str:
    days = (seen - came.time).total_seconds() / DAY_S
    reached = f"came {days:.0f} days before it was seen"
    if len(path) > 1:
        there = (seen.timestamp() - path[-1].at_s) / DAY_S
        reached += f", a way leads here {there:.0f} days before"
    if pest.notice is None:
        return reached
    low, high = pest.notice.after_d
    return f"{reached}; something is to be seen {low:g} to {high:g} days after it is here"


class _Showing:
    """How likely it is first noticed at a place at one moment, given when it came there."""

    def __init__(self, pest: Pest, house: House, seen_s: float, rng: np.random.Generator) -> None:
        self.notice = pest.notice or Notice(after_d=(0.0, 90.0), glance=0.1, search=0.5, mark=Mark.JUDGEMENT)
        self.hosts = pest.hosts
        self.house = house
        self.seen_s = seen_s
        low, high = self.notice.after_d
        low = max(low, _SOONEST_D)
        self.lags_s = low * (max(high, low) / low) ** _LAGS * DAY_S  # evenly over the scale: most are seen early
        self.faint = 10.0 ** (-0.5 * rng.random(512))  # how much there is to see varies threefold between histories
        self._hosts: dict[str, bool] = {}
        self._searches = {k: np.array(sorted(t.timestamp() for t in v)) for k, v in house.searches.items()}

    def unseen(self, place: str, arrived_s: np.ndarray, faint: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Chance that no look before now found it, and that it can be seen now; by history."""
        since = arrived_s[:, None] + self.lags_s[None, :]
        with np.errstate(invalid="ignore"):
            days = np.clip((self.seen_s - since) / DAY_S, 0.0, None)
        days[~np.isfinite(days)] = 0.0
        searches = self._searches.get(place, np.array([]))
        before = np.searchsorted(searches, self.seen_s)  # the search that found it, and later ones, are no misses
        found = before - np.searchsorted(searches, np.minimum(since, self.seen_s))
        glance = np.minimum(self.notice.glance * faint, 0.999)[:, None]
        search = np.minimum(self.notice.search * faint, 0.999)[:, None]
        missed = (1.0 - glance) ** days * (1.0 - search) ** found
        return missed, since <= self.seen_s

    def likelihood(self, run: Spread, place: str, moved_in: tuple[float, float] | None = None) -> float:
        """Mean over histories: not seen before, to be seen now, and not seen anywhere else.

        `moved_in`: when the suspect itself came to the place [Unix s], and since when it may have borne it: what moves
        on its host does not begin anew.
        """
        arrived = run.since_s.get(place)
        if arrived is None:
            return 0.0
        if moved_in is not None:
            with_it = np.abs(arrived - moved_in[0]) < _WITH_ITS_HOST_S
            arrived = np.where(with_it, moved_in[1], arrived)
        faint = np.resize(self.faint, run.members)
        missed, ripe = self.unseen(place, arrived, faint)
        here = (missed * ripe).mean(axis=1) * np.minimum(self.notice.glance * faint, 1.0)
        for other, sign_s in self.house.signs.items():  # a sign elsewhere speaks for what was there, as it is not rare
            if other != place:
                here = here * (SIGN_FALSE + (SIGN_TRUE - SIGN_FALSE) * self._ripe_by(run, other, sign_s))
        for other, when in run.since_s.items():
            if other == place or other not in self.house.systems or other in self.house.signs:
                continue
            if self.hosts and not self._hosted(other):
                continue
            quiet, visible = self.unseen(other, when, faint)
            here = here * np.where(visible, quiet, 1.0).mean(axis=1)
        return float(here.mean())

    def _hosted(self, place: str) -> bool:
        if place not in self._hosts:
            self._hosts[place] = bool(self.house.register.hosts_at(place, self.hosts))
        return self._hosts[place]

    def _ripe_by(self, run: Spread, other: str, at_s: float) -> np.ndarray:
        """By history, the chance that it was at a place and could be seen there at a moment."""
        when = run.since_s.get(other)
        if when is None:
            return np.zeros(run.members)
        return np.asarray(((when[:, None] + self.lags_s[None, :]) <= at_s).mean(axis=1))

    def at_best(self, place: str, came_s: float) -> float:
        """The most that the likelihood can be for what came at a moment and reached the place at any time since."""
        when = np.linspace(came_s, self.seen_s, 16)
        missed, ripe = self.unseen(place, when, np.full(16, 0.3))
        return float((missed * ripe).mean(axis=1).max() + 1e-9)

    def from_anywhere(self, place: str, begin_s: float) -> float:
        """The likelihood of what came at any time since, from nowhere known."""
        when = np.linspace(begin_s, self.seen_s, 512)
        faint = self.faint
        missed, ripe = self.unseen(place, when, faint)
        here = (missed * ripe).mean(axis=1) * np.minimum(self.notice.glance * faint, 1.0)
        return float(here.mean()) * SIGN_FALSE ** sum(p != place for p in self.house.signs)
