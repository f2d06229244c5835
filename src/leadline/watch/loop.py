"""The watch itself: points in, alarms decided, messages out, once a second, for years.

One thread does all deciding. What it takes in is looked at first and then written together with the alarms that came of
it; only then is it acknowledged. What can take long (sending, asking) is done beside it.
"""

from __future__ import annotations

import contextlib
import functools
import threading
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from leadline.app import stand_orders
from leadline.app.be_heard import Signals
from leadline.app.keep_watch import WATCH, Transition, Watch
from leadline.app.parts import NO_PARTS, Parts
from leadline.app.ports import Outgoing, Store, Taken, Undelivered
from leadline.app.take_in import Door
from leadline.detect.findings import Finding
from leadline.measures.errors import LeadlineError
from leadline.measures.moments import Clock
from leadline.watch.answering import Answering
from leadline.watch.errands import CUT_OFF_S, Errand, Guard, Sending
from leadline.watch.memory import HEARD, Memory
from leadline.watch.own import Own, Reserve, feed_name, guard_name
from leadline.watch.queue import Batch, Queue
from leadline.watch.showing import Shown, show, together

if TYPE_CHECKING:
    import numpy as np

TICK_S, LOOK_S = 1.0, 30.0
AT_ONCE = 20_000  # points in one transaction
HOT_D, PACK_EVERY_S = 90.0, 24 * 3600.0
UNSAVED_S, UNSAVED_AGAIN_S = 30.0, 900.0
STUCK_S = 30.0
AHEAD_STANDS_S = 900.0
SAID_S = 120.0  # how long a mistake stands in the watch's health
JOURNAL_S = 3600.0
_MOST_WORDS = 3


@dataclass
class Loop:
    """A running watch.

    Attributes
    ----------
    open_store
        Opens the store; called in the watch's own thread, and once more for packing.
    make
        Makes the parts for the orders that stand in a store; feeds hand over to the queue given.
    guard
        Addresses to guard beside those of the orders.
    """

    path: Path
    open_store: Callable[[], Store]
    make: Callable[[Store, Queue], Parts]
    clock: Clock
    guard: tuple[str, ...] = ()
    step: Callable[[str], None] = lambda step: None
    low_bytes: int | None = None
    beat: int = 0
    started: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        self.queue = Queue(time.monotonic)
        self.own = Own(self.path) if self.low_bytes is None else Own(self.path, self.low_bytes)
        self.reserve = Reserve(self.path)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._errands: list[Errand] = []
        self.parts: Parts = NO_PARTS
        self._changing: threading.Thread | None = None
        self._guard = Guard(NO_PARTS.ask, ())
        self.answering = Answering(lambda ok, words: self.queue.report("replies", ok, words))
        # by stream: seconds off, when by the monotonic clock, how often
        self._ahead: dict[tuple[str, str], tuple[float, float, int]] = {}
        self._beat_at = time.monotonic()
        self._next_look = 0.0
        self._next_journal = time.monotonic() + JOURNAL_S
        self._next_pack = time.monotonic() + 60.0
        self._unsaved_at: float | None = None
        self.counts = {"points": 0, "late": 0, "held": 0, "refused": 0}

    # -- from outside --------------------------------------------------------------------------------

    def start(self) -> None:
        """Begin in a thread of its own."""
        self._thread = threading.Thread(target=self.run, name="watch", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End cleanly: what is taken in is written, what is not is not acknowledged."""
        self._stop.set()
        self.queue.wake()
        if self._thread is not None:
            self._thread.join(timeout=30.0)

    def health(self) -> dict[str, Any]:
        """What it says of itself; asked for by those who guard it. Holds nothing that is private."""
        quiet = time.monotonic() - self._beat_at
        troubles = [t for t in (self.own.trouble, *(f"a mistake in {k}: {v[0]}" for k, v in self._mistakes())) if t]
        if quiet > STUCK_S:
            troubles.append(f"the watch has not moved for {quiet:.0f} s")
        return {
            "schema": "leadline.health/1", "ok": not troubles and self.started.is_set(), "beat": self.beat,
            "at": self.clock.now(), "seconds_since_beat": round(quiet, 1), "words": "; ".join(troubles),
            "waiting": len(self.queue), "feeds": {k: {"ok": v.ok} for k, v in self.queue.feeds.items()}, **self.counts,
        }  # fmt: skip

    # -- the loop ------------------------------------------------------------------------------------

    def run(self) -> None:
        """Watch until told to stop. What goes wrong is kept, said, and the watch goes on."""
        self.store = self.open_store()
        try:
            self._begin()
            next_tick = time.monotonic()
            while not self._stop.is_set():
                batches = self.queue.gather(AT_ONCE, max(next_tick - time.monotonic(), 0.0))
                if batches:
                    self._guarded("points", self._take, batches, else_do=functools.partial(self._forget, batches))
                if time.monotonic() >= next_tick:
                    self.own.lag_s = time.monotonic() - next_tick
                    next_tick = time.monotonic() + TICK_S
                    self._guarded("orders", self._look_again)
                    self._guarded("answers", lambda: self.answering.deal(self.signals, self.watch, self._now()))
                    self._guarded("looking", self._tick)
                    self._guarded("sending", self._send)
                self.beat += 1
                self._beat_at = time.monotonic()
        finally:
            self._end()

    def _guarded(
        self, what: str, do: Callable[..., None], *given: Any, else_do: Callable[[], None] | None = None
    ) -> None:
        """Do one thing; what goes wrong in it stops nothing else."""
        try:
            do(*given)
        except LeadlineError as exc:
            self._no_writing(exc)
        except Exception as exc:  # the one good place: it is recorded and becomes a finding
            self._mistaken(what, f"{type(exc).__name__}: {exc}")
            if else_do is not None:
                else_do()

    def _mistaken(self, where: str, words: str) -> None:
        self.own.mistakes[where] = (words, time.monotonic())

    def _mistakes(self) -> list[tuple[str, tuple[str, float]]]:
        return [(k, v) for k, v in list(self.own.mistakes.items()) if time.monotonic() - v[1] < SAID_S]

    def _begin(self) -> None:
        self.reserve.take()
        self.door = Door(self.store)
        self.watch = Watch(self.store, works=self._works)
        self.memory = Memory(self.store, self._stop.is_set)
        self.sending = Sending(lambda: self.signals, lambda: self.parts.couriers, self._now,
                               lambda words: self._mistaken("sending", words))  # fmt: skip
        self.signals = Signals(self.store, self.parts.orders, b"", {}, self._names, self.step)
        self._guarded("orders", self._take_up)
        now = self._now()
        self.own.jumped(now, time.monotonic())
        self.store.requeue_deliveries(now)
        self._remember(self.door.systems)
        self._changes = self.store.changes()
        self.started.set()

    def _take_up(self) -> None:
        """Take up the orders that stand: couriers, feeds, guards. What stood before goes on until the new is made."""
        self._document, self._secrets = stand_orders.document(self.store), self.store.record("watch", "secrets changed")
        p = self.make(self.store, self.queue)
        old, self.parts = self.parts, p
        self.signals = Signals(self.store, p.orders, p.key, p.prints, self._names, self.step)
        watches = tuple(dict.fromkeys((*p.orders.guard.watches, *self.guard)))
        seen = {a: m for a, m in self._guard.seen.items() if a in watches}
        self._guard = Guard(p.ask, watches, seen)
        self.answering.mailbox = p.replies
        errands, self._errands = self._errands, []
        if watches:
            self._errands.append(self._errand("guard", p.orders.guard.every_s, self._guard.look))
        if p.replies is not None and p.orders.replies is not None:
            self._errands.append(self._errand("replies", p.orders.replies.every_s, self.answering.fetch))
        if p.ping is not None:
            self._errands.append(self._errand("ping", p.orders.guard.ping_every_s, self._tell_dead_man))
        mine = {f.id for f in p.orders.feeds} | {e.name for e in self._errands}
        for name in [n for n in self.queue.feeds if n not in mine]:
            del self.queue.feeds[name]

        def change() -> None:
            """Beside the watch: a machine that hangs must not hold it up. The new begin when the old have ended."""
            for part in (*old.feeds, *errands):
                part.stop()
            if old.replies is not None:
                old.replies.close()
            for part in (*p.feeds, *self._errands):
                part.start()

        self._changing = threading.Thread(target=change, name="orders", daemon=True)
        self._changing.start()
        now = self._now()
        names = {*map(feed_name, mine), *map(guard_name, watches)}
        with self.store.together():
            self.signals.settle_prints(now)
            self._tell(self.watch.decide(WATCH, self.signals.disowned(now, names)), now)

    def _errand(self, name: str, every_s: float, do: Callable[[], None]) -> Errand:
        return Errand(name, every_s, do, lambda words: self.queue.report(name, False, words))

    def _end(self) -> None:
        self.queue.close()
        if self._changing is not None:
            self._changing.join(10.0)
        for part in (*self.parts.feeds, *self._errands):
            part.stop()
        if self.parts.replies is not None:
            self.parts.replies.close()
        if hasattr(self, "sending"):
            self.sending.stop()
        self.store.close()

    def _now(self) -> float:
        return self.clock.now().timestamp()

    def _names(self, system: str) -> tuple[str, str, Mapping[str, str]]:
        return stand_orders.names_of(self.store, system)

    def _works(self, system: str) -> Sequence[Any]:
        return stand_orders.work_going_on(self.store, system, self._now())

    # -- memory --------------------------------------------------------------------------------------

    def _remember(self, names: Collection[str]) -> None:
        """Teach the lookouts of some systems the past, then bring the alarms in line with what stands."""
        now = self._now()
        self.memory.teach(self.watch, self.door.systems, names, now)
        with self.store.together():
            for system in names:
                if system in self.watch.observers:
                    carried = self.memory.carried.get(system, ())
                    self._tell(self.watch.reconcile(system, now, carried=carried), now)

    def _look_again(self) -> None:
        """Somebody else wrote to the store: descriptions and orders may be others."""
        changes = self.store.changes()
        if changes == self._changes:
            return
        self._changes = changes
        before = dict(self.door.systems)
        self.door.look()
        changed = [i for i, found in self.door.systems.items() if before.get(i) != found]
        if changed or len(before) != len(self.door.systems):
            self._remember(changed)
        given = self.store.record("watch", "secrets changed")
        if stand_orders.document(self.store) != self._document or given != self._secrets:
            self._take_up()

    # -- points --------------------------------------------------------------------------------------

    def _take(self, batches: list[Batch]) -> None:
        now = self._now()
        judged = [self.door.judge(b.feed, b.points, b.odd, now) for b in batches]
        parts: dict[str, dict[str, list[tuple[np.ndarray, np.ndarray]]]] = {}
        for j in judged:
            for key, off in j.ahead.items():
                self._ahead[key] = (off, time.monotonic(), self._ahead.get(key, (0.0, 0.0, 0))[2] + 1)
            self.answering.add(j.answers, "mqtt")
            for (system, stream), both in j.points.items():
                parts.setdefault(system, {}).setdefault(stream, []).append(both)
        points = {system: {x: together(p) for x, p in streams.items()} for system, streams in parts.items()}
        shown = {system: self._show(system, streams, now) for system, streams in points.items()}
        full = bool(self.own.trouble) and not self.reserve.take()  # what room there is, is for alarms
        held = 0
        try:
            with self.store.together():
                if not full:
                    for system in self.memory.heard:
                        self.store.put_record(HEARD, system, sorted(self.watch.observers[system].absence.live or ()))
                    for system, streams in points.items():
                        for stream, (t, v) in streams.items():
                            self.store.add_points(system, stream, t, v, shown[system].flags.get(stream))
                    held = sum(self.store.hold(j.held) for j in judged if j.held)
                for system, what in shown.items():
                    self._tell(self.watch.decide(system, what.findings), now)
                    if what.history:
                        self._reconcile(system, now)
        except LeadlineError as exc:
            self._no_writing(exc)
            full = True
        if full:
            for b in batches:
                _done(b, Taken(trouble=self.own.trouble))
            return
        self.memory.heard.clear()
        self.step("kept")
        self._writing_again()
        self.counts["held"] += held
        for b, j in zip(batches, judged, strict=True):
            count = sum(len(t) for t, _ in j.points.values())
            self.counts["points"] += count
            self.counts["refused"] += len(j.refused)
            why = tuple(f"{h.system}/{h.stream}: {h.why}" for h in j.held[len(b.odd) :][:_MOST_WORDS])
            _done(b, Taken(count, len(j.held), tuple(j.refused[:_MOST_WORDS]), why_held=why))

    def _show(self, system: str, streams: Mapping[str, tuple[np.ndarray, np.ndarray]], now_s: float) -> Shown:
        """Show a system's points to its lookouts; a system that nobody described has none."""
        observer = self.watch.observers.get(system)
        if observer is None:
            return Shown()
        self.memory.hears(system, observer, streams)
        try:
            shown = show(observer, streams, now_s)
        except Exception as exc:  # a lookout's mistake must cost no point, and no other system its watch
            self._mistaken(f"the lookouts of {system}", f"{type(exc).__name__}: {exc}")
            return Shown()
        self.counts["late"] += shown.late
        return shown

    def _reconcile(self, system: str, now_s: float) -> None:
        observer = self.watch.observers.get(system)
        if observer is not None:
            carried = self.memory.settle(system, observer)
            self._tell(self.watch.reconcile(system, now_s, carried=carried), now_s)

    def _tell(self, turned: list[Transition], now_s: float) -> None:
        if turned:
            self.signals.tell(turned, now_s)

    def _forget(self, batches: list[Batch]) -> None:
        for b in batches:
            _done(b, Taken(trouble="the watch could not read this"))

    # -- every second --------------------------------------------------------------------------------

    def _tick(self) -> None:
        now, mono = self._now(), time.monotonic()
        jump = self.own.jumped(now, mono)
        if jump:
            if jump < 0.0:
                self.store.clock_set_back(now, 12 * 3600.0)
            self._remember(self.door.systems)  # what was learned by the old clock does not fit the new one
            self._next_look = mono + LOOK_S
        findings = self._look(now, mono) if mono >= self._next_look else {}
        self._ahead = {key: x for key, x in self._ahead.items() if mono - x[1] < AHEAD_STANDS_S}
        about_itself = self.own.findings(
            now, mono, self.queue.feeds, self._guard.seen, self.parts.orders.guard.missed,
            {key: off for key, (off, _, times) in self._ahead.items() if times >= 3},
        )  # fmt: skip
        with self.store.together():
            for system, found in findings.items():
                self._tell(self.watch.decide(system, found), now)
                self._reconcile(system, now)
            itself = [*about_itself, *self.signals.prove(now), self.signals.flood(now)]
            self._tell(self.watch.decide(WATCH, itself), now)
            self._tell(self.watch.time_outs(now), now)
            self.signals.catch_up(now)
            self.signals.call(now)
        if self.own.trouble:
            self._writing_again()
        if mono >= self._next_pack:
            self._next_pack = mono + PACK_EVERY_S
            self._pack(now)

    def _look(self, now_s: float, mono_s: float) -> dict[str, list[Finding]]:
        """What the passing of time shows in each system; one system's mistake stops no other."""
        self._next_look = mono_s + LOOK_S
        read = mono_s >= self._next_journal
        self._next_journal = mono_s + JOURNAL_S if read else self._next_journal
        found: dict[str, list[Finding]] = {}
        for system, observer in self.watch.observers.items():
            found[system] = []
            try:
                found[system] += observer.tick(now_s)
                found[system] += self.memory.read_journal(observer, now_s) if read else []
            except LeadlineError:
                raise
            except Exception as exc:
                self._mistaken(f"the lookouts of {system}", f"{type(exc).__name__}: {exc}")
        return found

    def _send(self) -> None:
        now = self._now()
        self.store.requeue_deliveries(now, now - CUT_OFF_S)
        self.sending.send(self.store.due_deliveries(now))

    def _pack(self, now_s: float) -> None:
        """Older days into chunks, beside the watch and with a connection of its own."""

        def work() -> None:
            with contextlib.suppress(LeadlineError):
                store = self.open_store()
                try:
                    store.pack(now_s - HOT_D * 86400.0)
                finally:
                    store.close()

        threading.Thread(target=work, name="packing", daemon=True).start()

    def _tell_dead_man(self) -> None:
        """Only a watch that runs tells the dead-man address that it lives."""
        if time.monotonic() - self._beat_at > STUCK_S or self._mistakes() or self.parts.ping is None:
            return
        try:
            self.parts.ping()
            self.queue.report("ping", True, "")
        except Undelivered as exc:
            self.queue.report("ping", False, exc.line())

    # -- when nothing can be written -------------------------------------------------------------------

    def _no_writing(self, exc: LeadlineError) -> None:
        mono = time.monotonic()
        if not self.own.trouble:
            self.own.trouble_since = mono
        self.own.trouble = exc.line()
        if "full" in exc.what and self.reserve.give_up():
            return  # the room is for alarms: the next tick can write them
        if mono - self.own.trouble_since > UNSAVED_S and (
            self._unsaved_at is None or mono - self._unsaved_at > UNSAVED_AGAIN_S
        ):
            self._unsaved_at = mono
            self._unsaved(exc.line())

    def _writing_again(self) -> None:
        if self.own.trouble and self.reserve.take():
            self.own.trouble = ""
            self._unsaved_at = None

    def _unsaved(self, why: str) -> None:
        """The last way: told from memory by every path of everybody, for nothing can be written down first."""
        out = Outgoing(
            "unsaved", "urgent", "urgent: the watch can't write",
            f"The watch can't write anything: {why}\nNo point and no alarm is kept until that is mended.\n"
            "First: free some space on its disk, or look at it.",
        )  # fmt: skip
        couriers = dict(self.parts.couriers)

        def work() -> None:
            for courier in couriers.values():
                with contextlib.suppress(Undelivered):
                    courier.send(out)

        threading.Thread(target=work, name="unsaved", daemon=True).start()


def _done(batch: Batch, taken: Taken) -> None:
    if batch.done is not None:
        batch.done(taken)
