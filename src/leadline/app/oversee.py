"""What the watch shows a person: alarms, paths and their proofs, streams, work, figures; and streams taken up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from leadline.alarms import performance, proof
from leadline.alarms.alarm import State
from leadline.alarms.delivery import Delivery, Kind, Stage
from leadline.alarms.message import span
from leadline.alarms.performance import Performance
from leadline.alarms.proof import Proven
from leadline.alarms.raised import Happened, Raised
from leadline.alarms.works import Work
from leadline.app import be_heard, describe, stand_orders
from leadline.app.be_heard import Signals
from leadline.app.ports import Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock
from leadline.measures.quantities import QUANTITIES, quantity
from leadline.system.description import parse
from leadline.system.orders import CommandPath

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
    by_hand: str  # the ticket of an open proof that is answered here: a sounder can't carry an answer back


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
    """One alarm as shown, with who was told."""

    raised: Raised
    system_name: str
    time_zone: str
    told: tuple[Delivery, ...]


def alarms(store: Store, system: str | None = None) -> list[AlarmLine]:
    """Alarms that are not normal, the loudest first, each with what was sent of it."""
    open_messages = {(m.system, m.alarm): m for m in store.open_messages() if m.kind is Kind.ALARM}
    found = []
    for r in be_heard.standing(store):
        if system is not None and r.system != system:
            continue
        name, time_zone, _ = stand_orders.names_of(store, r.system)
        m = open_messages.get((r.system, r.name))
        found.append(AlarmLine(r, name, time_zone, tuple(store.deliveries(m.id)) if m else ()))
    return found


def paths(signals: Signals, now_s: float) -> list[PathLine]:
    """Every person's every path, with its proof."""
    known = {(k.person, k.path): k for k in signals.known()}
    by_hand: dict[str, str] = {}
    for m in signals.store.open_messages():
        if m.kind is Kind.PROOF:
            sent = [d for d in signals.store.deliveries(m.id) if d.stage is not Stage.FAILED]
            if sent:
                by_hand[m.alarm] = signals.ticket(sent[-1])
    found = []
    for person, path in signals.orders.used():
        k = known[person.id, path.id]
        ticket = by_hand.get(f"{person.id}/{path.id}", "") if isinstance(path, CommandPath) else ""
        found.append(PathLine(person.id, person.name, path.id, path.kind, k, proof_said(k, now_s), ticket))
    return found


def proof_said(k: Proven, now_s: float) -> str:
    """How far a path is proved, in words."""
    if k.overdue:
        return "unproved: its last proof was not answered"
    asked = f", asked again {span(now_s - k.asked_s)} ago" if k.asked_s is not None else ""
    if k.proved_s is None:
        return "never proved as it is set up now" + (asked.replace(" again", "") if asked else "")
    return f"proved {span(now_s - k.proved_s)} ago{asked}"


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
    period: str = "60 s", room: bool = False,
) -> None:  # fmt: skip
    """Take up a stream that came in: it is added to the system's description.

    Raises
    ------
    BadInput
        When it is declared already, or quantity or unit can't be read.
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
    name = quantity_name or (stream if stream in QUANTITIES else "")
    if name:
        quantity(name)
    lines = ["", "[[stream]]", f'id = "{stream}"']
    lines += [f'quantity = "{name}"'] if name else []
    lines += [f'unit = "{unit}"'] if unit else []
    lines += [f'period = "{period}"']
    lines += ["room = true"] if room else []
    added = document.rstrip("\n") + "\n" + "\n".join(lines) + "\n"
    parse(added)
    store.save_system(system, added, clock.now())


def figures(store: Store, clock: Clock, days: float = 30.0, system: str | None = None) -> Performance:
    """The alarms' figures of the last days (IEC 62682, sheet 5.2)."""
    end = clock.now().timestamp()
    begin = end - 86400.0 * days
    events = store.alarm_events(begin, end, system)
    return performance.measure(events, begin, end, nights(store, events))


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
