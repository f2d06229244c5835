"""What the watch shows a person: alarms, paths and their proofs, streams, work, figures; and streams taken up."""

from __future__ import annotations

import datetime as dt
import statistics
from collections.abc import Mapping
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from leadline.alarms import decide, performance, proof
from leadline.alarms.alarm import ACTIVE, Event, State
from leadline.alarms.delivery import Delivery, Kind, Stage
from leadline.alarms.message import span, spoken
from leadline.alarms.performance import Performance
from leadline.alarms.proof import Proven
from leadline.alarms.raised import Happened, Raised
from leadline.alarms.works import Work
from leadline.app import be_heard, describe, path_book, stand_orders
from leadline.app.be_heard import Signals
from leadline.app.keep_watch import WATCH
from leadline.app.ports import Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.figures import chance
from leadline.measures.moments import Clock
from leadline.measures.quantities import QUANTITIES, quantity
from leadline.system.description import parse
from leadline.system.orders import CommandPath, Orders

NIGHT = (22, 7)  # hours of the local day between which an alarm wakes


@dataclass(frozen=True, slots=True)
class PathLine:
    """One person's path as shown: what it is, how far it is proved, and whether its proof is answered here."""

    person: str
    name: str
    path: str
    kind: str
    known: Proven
    said: str
    by_hand: str  # the ticket of a delivered proof that is answered here: a sounder can't carry an answer back
    ends_s: float | None = None  # when its proof no longer counts if nobody answers another; None: it does not now


@dataclass(frozen=True, slots=True)
class StreamLine:
    """One stream as shown."""

    system: str
    stream: str
    quantity: str
    unit: str
    last_s: float | None
    value: float | None
    period_s: float
    declared: bool

    def state(self, now_s: float) -> str:
        """`live`, `silent` or `never`."""
        from leadline.detect.absence import patience

        if self.last_s is None:
            return "never"
        return "silent" if now_s - self.last_s > patience(self.period_s) else "live"


@dataclass(frozen=True, slots=True)
class AlarmLine:
    """One alarm as shown: who was told, and who has it since when; nobody unless it stands acknowledged."""

    raised: Raised
    system_name: str
    time_zone: str
    told: tuple[Delivery, ...]
    held_by: str = ""
    held_s: float | None = None


def standing(store: Store) -> list[Raised]:
    """Alarms that are not normal, the loudest and oldest first."""
    found = [r for r in store.alarms() if r.state is not State.NORMAL]
    return sorted(found, key=lambda r: (r.state not in ACTIVE, -decide.RANK[r.priority], r.began_s))


def alarms(store: Store, system: str | None = None) -> list[AlarmLine]:
    """Alarms that are not normal, the loudest first, each with what was sent of it and who has it."""
    found = []
    for r in standing(store):
        if system is not None and r.system != system:
            continue
        name, time_zone, _ = stand_orders.names_of(store, r.system)
        told = [m for m in store.recent_messages(r.began_s, (r.system, r.name)) if m.kind is Kind.ALARM]
        sent = store.deliveries(max(told, key=lambda m: m.opened_s).id) if told else []
        held = _held(store, r)
        who, since = (held.who, held.at_s) if held else ("", None)
        found.append(AlarmLine(r, name, time_zone, tuple(sent), who, since))
    return found


def _held(store: Store, r: Raised) -> Happened | None:
    """The answer by which an alarm stands acknowledged."""
    if r.state not in (State.ACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED):
        return None
    events = store.alarm_events(r.alarm.since_s - 1.0, r.alarm.since_s + 1.0, r.system)
    mine = [e for e in events if e.name == r.name and e.event is Event.ACKNOWLEDGE]
    return mine[-1] if mine else None


def answers(store: Store, system: str, name: str) -> bool:
    """Whether an alarm asks for an answer, or stands over and unseen.

    Raises
    ------
    UnknownName
        When there never was one of that name.
    """
    raised = store.alarm(system, name)
    if raised is None:
        known = [r.name for r in store.alarms(system)]
        raise UnknownName("alarm", name, known, where=system, way_out="" if known else "None ever was.")
    return raised.state in (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED)


def called(system: str, name: str, because: str, orders: Orders) -> str:
    """An alarm's name as a keeper says it: the watch's own names hold ids and addresses."""
    if system == WATCH:
        for person, path in orders.used():
            if name == f"path-{person.id}-{path.id}-unproved":
                return f"{path.id} to {person.id} is unproved"
        if name.startswith("guard-") and because.startswith("The watch at "):
            return " ".join(because.split()[:4]).replace("The", "the", 1)
        if name == be_heard.FLOOD:
            return "many alarms at once"
    return spoken(name)


def chance_said(p: float) -> str:
    """A chance as people count it, down to one in a thousand; never with an exponent."""
    if p < 0.001:
        return "less than 1 in 1000"
    return f"{max(round(1000 * p), 1)} in 1000" if p < 0.01 else chance(p)


def subjects(store: Store, system: str) -> list[str]:
    """What cleaning or service may be of: streams, machines, then quantities under another name."""
    described = describe.load(store, system)
    names = [s.id for s in described.streams] + [e.id for e in described.equipment]
    names += [s for _, s in store.streams(system)] + [s.quantity for s in described.streams if s.quantity]
    return list(dict.fromkeys(names))


def paths(signals: Signals, now_s: float) -> list[PathLine]:
    """Every person's every path, with its proof."""
    known = {(k.person, k.path): k for k in signals.known()}
    by_hand: dict[str, str] = {}
    for m in signals.store.open_messages():
        if m.kind is Kind.PROOF:
            sent = [d for d in signals.store.deliveries(m.id) if d.stage in (Stage.HANDED_OVER, Stage.DELIVERED)]
            if sent:
                by_hand[m.alarm] = signals.ticket(sent[-1])
    found = []
    for person, path in signals.orders.used():
        k = known[person.id, path.id]
        ticket = by_hand.get(f"{person.id}/{path.id}", "") if isinstance(path, CommandPath) else ""
        ends = _proof_ends(signals, k, now_s)
        found.append(PathLine(person.id, person.name, path.id, path.kind, k, proof_said(k, now_s), ticket, ends))
    return found


def _proof_ends(signals: Signals, k: Proven, now_s: float) -> float | None:
    """The end of the window of the proof that is open, or of the next one."""
    if not k.counts:
        return None
    rhythm = signals.orders.proof
    if k.asked_s is not None:
        return k.asked_s + rhythm.window_s
    last = path_book.seen(signals.store, k.person, k.path, None)["last_s"]
    return proof.due_s(rhythm, last, now_s, signals.orders.time_zone) + rhythm.window_s


def proof_said(k: Proven, now_s: float) -> str:
    """How far a path is proved, in words."""
    if k.overdue:
        return "unproved: its last proof was not answered"
    asked = f", asked again {span(now_s - k.asked_s)} ago" if k.asked_s is not None else ""
    if k.proved_s is None:
        return "never proved as it is set up now" + (asked.replace(" again", "") if asked else "")
    return f"proved {span(now_s - k.proved_s)} ago{asked}"


def why_nobody(signals: Signals, now_s: float) -> list[tuple[str, str]]:
    """What the chance that nobody is reached rests on: each path's own, and the share of time that is down what
    several have in common. They are judgement where nothing was proved; see `alarms.proof`."""
    tonight = now_s + proof.TONIGHT_D * 86400.0
    known = signals.known()
    rows = [(f"{k.path} to {k.person}, dead by itself", f"{chance_said(k.dead(tonight))} ({proof_said(k, now_s)})")
            for k in known]  # fmt: skip
    shared = [s for s in sorted({x for k in known for x in k.shares}) if sum(s in k.shares for k in known) > 1]
    return rows + [(f"{s}, shared, down", chance_said(proof.DOWN.get(s, proof.DOWN_ELSE))) for s in (*shared, "watch")]


def nobody_tonight(signals: Signals, now_s: float) -> float:
    """Chance that an alarm tonight reaches nobody."""
    return proof.nobody(signals.known(), now_s + proof.TONIGHT_D * 86400.0)


def streams(store: Store, system: str | None = None) -> list[StreamLine]:
    """Every stream that is declared or came in."""
    found: list[StreamLine] = []
    there = store.streams(system)
    for i in store.systems():
        if system is not None and i != system:
            continue
        described = describe.load(store, i)
        declared = {s.id: s for s in described.streams}
        machines = {x for e in described.equipment for x in (e.stream or e.id,)}
        names = [*declared, *(s for o, s in there if o == i and s not in declared)]
        for name in names:
            said = declared.get(name)
            last = store.latest_point(i, name)
            known = said.quantity if said else name if name in QUANTITIES else ""
            unit = QUANTITIES[known].unit if known in QUANTITIES else ""
            found.append(
                StreamLine(
                    i, name, known, unit, last[0] if last else None, last[1] if last else None,
                    said.period_s if said else 300.0, said is not None or name in machines,
                )
            )  # fmt: skip
    known_systems = set(store.systems())
    for owner, name in there:
        if owner not in known_systems:
            last = store.latest_point(owner, name)
            found.append(
                StreamLine(owner, name, "", "", last[0] if last else None, last[1] if last else None, 300.0, False)
            )
    return found


def adopt(
    store: Store, clock: Clock, system: str, stream: str, *, quantity_name: str = "", unit: str = "",
    period: str = "60 s", room: bool = False, state: bool = False,
) -> str:  # fmt: skip
    """Take up a stream that came in: it is added to the system's description. Gives what it is taken for, in words.

    Parameters
    ----------
    state
        It tells whether a machine runs, as 0 and 1 or in watts: it has no quantity.

    Raises
    ------
    BadInput
        When it is declared already, when nobody says what it measures, or quantity or unit can't be read.
    UnknownName
        When nothing of that name came in.
    """
    document = describe.document(store, system)
    described = parse(document)
    if any(s.id == stream for s in described.streams):
        raise BadInput(f"{stream} is declared already", where=system, way_out="leadline system show tells how.")
    came = [s for _, s in store.streams(system)]
    if stream not in came:
        raise UnknownName("stream", stream, came, where=system)
    name = quantity_name or (stream if stream in QUANTITIES and not state else "")
    if name and state:
        raise BadInput(f"{stream} is either a {name} or a machine's state", where=system, way_out="Say one of the two.")
    if not name and not state:
        raise BadInput(
            f"what does {stream} measure?", where=system,
            way_out="Say --quantity temperature (or another); or --state when it tells whether a machine runs.",
        )  # fmt: skip
    taken = unit or (quantity(name).unit if name else "")
    lines = ["", "[[stream]]", f'id = "{stream}"']
    lines += [f'quantity = "{name}"'] if name else []
    lines += [f'unit = "{unit}"'] if unit else []
    lines += [f'period = "{period}"']
    lines += ["room = true"] if room else []
    added = document.rstrip("\n") + "\n" + "\n".join(lines) + "\n"
    parse(added)
    store.save_system(system, added, clock.now())
    if state:
        return f"a machine's state, {f'in {unit}' if unit else '0 or 1'}"
    return f"{name}, " + (
        "without a unit" if taken in ("", "1") else f"in {taken}{'' if unit else ' (its stored unit)'}"
    )


def figures(store: Store, clock: Clock, days: float = 30.0, system: str | None = None) -> Performance:
    """The alarms' figures of the last days (IEC 62682, sheet 5.2)."""
    end = clock.now().timestamp()
    begin = end - 86400.0 * days
    events = store.alarm_events(begin, end, system)
    found = performance.measure(events, begin, end, nights(store, events))
    waits = _waits(store, events, begin)
    return replace(found, median_answer_s=statistics.median(waits) if waits else None)


def _waits(store: Store, events: list[Happened], begin_s: float) -> list[float]:
    """How long people took to answer what was sent: from the first message on, for an alarm's beginning may be dated
    back, and what follows from one cause is acknowledged with it unsent. [s]"""
    said: dict[tuple[str, str], list[float]] = {}
    for m in store.recent_messages(begin_s):
        if m.kind is Kind.ALARM:
            said.setdefault((m.system, m.alarm), []).append(m.opened_s)
    asked: dict[tuple[str, str], float] = {}
    found = []
    for e in events:
        key = e.system, e.name
        if e.after is State.UNACKNOWLEDGED:
            asked.setdefault(key, e.at_s)
        elif e.event is Event.ACKNOWLEDGE and key in asked:
            began = asked.pop(key)
            told = [t for t in said.get(key, ()) if began <= t <= e.at_s]
            found += [e.at_s - min(told)] if told else []
        elif e.after is State.NORMAL:
            asked.pop(key, None)
    return found


def nights(store: Store, events: list[Happened]) -> Mapping[float, bool]:
    """For the moment of each announcement, whether it was night where the system stands."""
    zones: dict[str, ZoneInfo] = {}
    found = {}
    for e in events:
        if e.after is State.UNACKNOWLEDGED:
            if e.system not in zones:
                zones[e.system] = ZoneInfo(stand_orders.names_of(store, e.system)[1])
            found[e.at_s] = is_night(e.at_s, zones[e.system])
    return found


def is_night(at_s: float, local: ZoneInfo) -> bool:
    """Whether a moment lies between 22:00 and 07:00."""
    hour = dt.datetime.fromtimestamp(at_s, local).hour
    return hour >= NIGHT[0] or hour < NIGHT[1]


def works_going_on(store: Store, now_s: float) -> list[Work]:
    """Declared work in all systems."""
    return [w for i in store.systems() for w in stand_orders.work_going_on(store, i, now_s)]
