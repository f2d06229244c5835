"""A household of our own for alarms: a store, the watch over it, couriers that take, refuse or stall, a clock."""

from __future__ import annotations

import functools

from leadline.app import describe, stand_orders
from leadline.app.be_heard import Signals
from leadline.app.keep_watch import WATCH, Watch
from leadline.app.ports import Outgoing, Receipt, Undelivered
from leadline.detect.findings import Finding
from leadline.detect.observe import Observer
from leadline.measures.moments import FixedClock, parse
from leadline.wiring import open_store

MIN, HOUR, DAY = 60.0, 3600.0, 86400.0
START = parse("2026-05-01T10:00:00Z").timestamp()
REEF = """
[system]
id = "reef"
name = "Invented reef"
time_zone = "UTC"
net_volume = "600 L"
[[equipment]]
id = "chiller-1"
type = "chiller"
[[equipment]]
id = "heater-1"
type = "heater"
"""
ORDERS = """
[watch]
address = "http://reef.local:8077"
[[path]]
id = "mail"
kind = "mail"
to = "keeper@home.example"
server = "mail.home.example"
[[path]]
id = "bell"
kind = "command"
command = ["bell"]
[[path]]
id = "letter"
kind = "mail"
to = "neighbour@home.example"
server = "mail.home.example"
[[person]]
id = "keeper"
paths = ["mail", "bell"]
[[person]]
id = "neighbour"
paths = ["letter"]
[replies]
server = "mail.home.example"
user = "reef"
password = "secret:mail"
"""


class Box:
    """A courier that keeps what it is given, or is out of order in one of the two ways there are."""

    def __init__(self) -> None:
        self.got: list[Outgoing] = []
        self.broken: bool | None = None  # None works; True for good, False for now

    def send(self, message: Outgoing) -> Receipt:
        if self.broken is not None:
            raise Undelivered("no server answers", permanent=self.broken)
        self.got.append(message)
        return Receipt("handed-over", "taken")


class House:
    """A store, the watch over it, the couriers, and a clock that moves when told."""

    def __init__(self, folder) -> None:
        self.now = START
        self.store = open_store(str(folder / "x.db"))
        describe.add(self.store, FixedClock(parse("2026-05-01")), REEF)
        self.watch = Watch(
            self.store,
            {"reef": Observer(describe.load(self.store, "reef"))},
            works=lambda s: stand_orders.work_going_on(self.store, s, self.now),
        )
        self.couriers = {name: Box() for name in ("mail", "bell", "letter")}
        self.orders(ORDERS)

    def orders(self, text: str, prints=None) -> None:
        read = stand_orders.give(self.store, text)
        given = dict.fromkeys(read.paths, "print") if prints is None else prints
        self.signals = Signals(
            self.store, read, b"k" * 32, given, functools.partial(stand_orders.names_of, self.store)
        )  # fmt: skip

    def proved(self) -> None:
        """Every path is proved now."""
        for p, x in self.signals.orders.used():
            seen = self.signals._seen(p.id, x.id)
            self.signals._keep(p.id, x.id, seen | {"proved_s": self.now, "since_s": self.now - DAY})

    def find(self, name, harm_h=None, subject="chiller-1", holds=True, system="reef"):
        harm = None if harm_h is None else harm_h * HOUR
        finding = Finding(name, subject, self.now, holds, 1.0, harm, "Because.")
        with self.store.together():
            self.signals.tell(self.watch.decide(system, [finding]), self.now)

    def go(self, minutes=0.0) -> None:
        """Let minutes pass, one by one, doing what the loop does."""
        for _ in range(max(int(minutes), 1)):
            self.now += MIN if minutes else 0.0
            with self.store.together():
                self.signals.tell(self.watch.time_outs(self.now), self.now)
                itself = [*self.signals.prove(self.now), self.signals.flood(self.now)]
                self.signals.tell(self.watch.decide(WATCH, itself), self.now)
                self.signals.catch_up(self.now)
                self.signals.call(self.now)
            for d in self.store.due_deliveries(self.now):
                self.signals.attempt(d, self.couriers.get(d.path), lambda: self.now)

    def told(self, name):
        return [o.subject for o in self.couriers[name].got if not o.subject.startswith("proof")]

    def answer(self, name, how="link"):
        """Answer the last message that a path brought."""
        code = self.couriers[name].got[-1].code
        return self.signals.answer(self.watch, self.signals.find_code(code, self.now), how, self.now)


def proved(folder) -> House:
    """A household whose every path is proved, and whose next proof is this evening's."""
    made = House(folder)
    made.proved()
    for person, path in made.signals.orders.used():
        seen = made.signals._seen(person.id, path.id)
        made.signals._keep(person.id, path.id, seen | {"last_s": START})
    return made


def unproved(house: House) -> list[str]:
    """Paths that do not count as proved."""
    return sorted(k.path for k in house.signals.known() if not k.counts)
