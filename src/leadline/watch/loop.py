"""The watch itself: points in, alarms decided, messages out, once a second, for years.

One thread does all deciding. What it takes in is looked at first and then written together with the alarms that came of
it; only then is it acknowledged. What can take long (sending, asking) is done beside it.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from leadline.alarms.alarm import ACTIVE, State
from leadline.alarms.raised import Raised
from leadline.app import stand_orders
from leadline.app.be_heard import Signals
from leadline.app.keep_watch import WATCH, NoteBook, Transition, Watch, run
from leadline.app.ports import NO_PARTS, Outgoing, Parts, Store, Taken, Undelivered
from leadline.app.take_in import Door
from leadline.detect.findings import Finding
from leadline.measures.errors import LeadlineError
from leadline.measures.moments import Clock
from leadline.watch.errands import Errand, Guard, Sending
from leadline.watch.own import Own, Reserve
from leadline.watch.queue import Batch, Queue
from leadline.watch.showing import Shown, show, together

if TYPE_CHECKING:
    import numpy as np

    from leadline.detect.observe import Observer

HEARD = "heard"  # records: streams of a system that a feed has brought
TICK_S, LOOK_S = 1.0, 30.0
AT_ONCE = 20_000  # points in one transaction
REMEMBER_D = 14.0  # how much of the past the lookouts are taught after a start
HOT_D, PACK_EVERY_S = 90.0, 24 * 3600.0
UNSAVED_S, UNSAVED_AGAIN_S = 30.0, 900.0
STUCK_S = 30.0
AHEAD_STANDS_S = 900.0
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
        self._answers: list[tuple[str, str]] = []  # code, how
        self._ahead: dict[tuple[str, str], tuple[float, float]] = {}  # seconds off, and when by the monotonic clock
        self._beat_at = time.monotonic()
        self._next_look = 0.0
        self._next_journal = time.monotonic() + JOURNAL_S
        self._next_pack = time.monotonic() + 60.0
        self._mistake = ""
        self._heard: set[str] = set()  # systems of which a stream was heard by a feed for the first time
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
        troubles = [t for t in (self.own.trouble, self._mistake) if t]
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
                try:
                    if batches:
                        self._take(batches)
                    if time.monotonic() >= next_tick:
                        self.own.lag_s = time.monotonic() - next_tick
                        next_tick = time.monotonic() + TICK_S
                        self._tick()
                        self._mistake = ""
                except LeadlineError as exc:
                    self._no_writing(exc)
                except Exception as exc:  # the one good place: it is recorded and becomes a finding of its guard
                    self._mistake = f"a mistake in the watch: {type(exc).__name__}: {exc}"
                    self._forget(batches)
                self.beat += 1
                self._beat_at = time.monotonic()
        finally:
            self._end()

    def _begin(self) -> None:
        self.reserve.take()
        self.door = Door(self.store)
        self.watch = Watch(self.store, works=self._works)
        self.sending = Sending(lambda: self.signals, lambda: self.parts.couriers, self._now, self._send_failed)
        self._take_up()
        now = self._now()
        self.own.jumped(now, time.monotonic())
        self.store.requeue_deliveries(now)
        self._remember()
        self._changes = self.store.changes()
        self.started.set()

    def _take_up(self) -> None:
        """Take up the orders that stand: couriers, feeds, guards."""
        self._put_down()
        self._document = stand_orders.document(self.store)
        self.parts = self.make(self.store, self.queue)
        p = self.parts
        self.signals = Signals(self.store, p.orders, p.key, p.prints, self._names, self.step)
        self.signals.settle_prints()
        self.queue.feeds.clear()
        for feed in p.feeds:
            feed.start()
        watches = tuple(dict.fromkeys((*p.orders.guard.watches, *self.guard)))
        self._guard = Guard(p.ask, watches)
        if watches:
            self._errands.append(Errand("guard", p.orders.guard.every_s, self._guard.look))
        if p.replies is not None and p.orders.replies is not None:
            self._errands.append(Errand("replies", p.orders.replies.every_s, self._fetch))
        if p.ping is not None:
            self._errands.append(Errand("ping", p.orders.guard.ping_every_s, self._tell_dead_man))
        for errand in self._errands:
            errand.start()

    def _put_down(self) -> None:
        for feed in self.parts.feeds:
            feed.stop()
        for errand in self._errands:
            errand.stop()
        self._errands = []
        if self.parts.replies is not None:
            self.parts.replies.close()

    def _end(self) -> None:
        self.queue.close()
        self._put_down()
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

    def _remember(self) -> None:
        """Teach the lookouts the last fortnight, say nothing of it, then bring the alarms in line with what stands."""
        from leadline.detect.observe import Observer

        now = self._now()
        self.watch.observers = {i: Observer(s) for i, s in self.door.systems.items()}
        rehearsal = Watch(NoteBook(), self.watch.observers)
        recorded = {}
        for system, stream in self.store.streams():
            if system in self.watch.observers:
                found = self.store.points(system, stream, now - REMEMBER_D * 86400.0, now)
                recorded[system, stream] = (found.times_s, found.values)
        for _ in run(rehearsal, recorded):
            if self._stop.is_set():
                return
        with self.store.together():
            for system, observer in self.watch.observers.items():
                self._listen(system, observer, now)
                self._read_journal(system, observer, now)
                self._tell(self.watch.reconcile(system, now, started=True), now)

    def _listen(self, system: str, observer: Observer, now_s: float) -> None:
        """From now on silence counts, for the streams that a feed brings; not for the time in which nobody listened."""
        observer.absence.listens_since_s = now_s
        observer.absence.live = set(self.store.record(HEARD, system) or ())
        standing = observer.hand.standing.now
        for name in [n for n in standing if n.endswith("-silent")]:
            known = self.store.alarm(system, name)
            if known is None or not known.alarm.holds:
                del standing[name]

    def _read_journal(self, system: str, observer: Observer, now_s: float) -> list[Finding]:
        """What tests by hand and doses say of probes and dosers, among the conditions that stand."""
        from leadline.app import journal_look

        standing, found = observer.hand.standing, list[Finding]()
        for f in journal_look.findings(self.store, observer.system, now_s):
            if f.holds:
                found += standing.begin(f.name, f.subject, now_s, f.value, f.harm_s, f.because, f.consequence)
            else:
                found += standing.end(f.name, now_s, f.because)
        return found

    def _look_again(self) -> None:
        """Somebody else wrote to the store: descriptions and orders may be others."""
        changes = self.store.changes()
        if changes == self._changes:
            return
        self._changes = changes
        before = dict(self.door.systems)
        self.door.look()
        if self.door.systems != before:
            self._remember()
        if stand_orders.document(self.store) != self._document or self.parts.missing:
            self._take_up()

    # -- points --------------------------------------------------------------------------------------

    def _take(self, batches: list[Batch]) -> None:
        now = self._now()
        judged = [self.door.judge(b.feed, b.points, b.odd, now) for b in batches]
        parts: dict[str, dict[str, list[tuple[np.ndarray, np.ndarray]]]] = {}
        for j in judged:
            self._ahead.update({key: (off, time.monotonic()) for key, off in j.ahead.items()})
            self._answers += [(code, "mqtt") for code in j.answers]
            for (system, stream), both in j.points.items():
                parts.setdefault(system, {}).setdefault(stream, []).append(both)
        points = {system: {x: together(p) for x, p in streams.items()} for system, streams in parts.items()}
        shown = {system: self._show(system, streams, now) for system, streams in points.items()}
        full = bool(self.own.trouble) and not self.reserve.take()  # what room there is, is for alarms
        held = 0
        try:
            with self.store.together():
                if not full:
                    for system in self._heard:
                        self.store.put_record(HEARD, system, sorted(self.watch.observers[system].absence.live or ()))
                    for system, streams in points.items():
                        for stream, (t, v) in streams.items():
                            self.store.add_points(system, stream, t, v, shown[system].flags.get(stream))
                    held = sum(self.store.hold(j.held) for j in judged if j.held)
                for system, what in shown.items():
                    self._tell(self.watch.decide(system, what.findings), now)
        except LeadlineError as exc:
            self._no_writing(exc)
            full = True
        if full:
            for b in batches:
                _done(b, Taken(trouble=self.own.trouble))
            return
        self._heard.clear()
        self.step("kept")
        self._writing_again()
        self.counts["held"] += held
        for b, j in zip(batches, judged, strict=True):
            count = sum(len(t) for t, _ in j.points.values())
            self.counts["points"] += count
            self.counts["refused"] += len(j.refused)
            _done(b, Taken(count, len(j.held), tuple(j.refused[:_MOST_WORDS])))

    def _show(self, system: str, streams: Mapping[str, tuple[np.ndarray, np.ndarray]], now_s: float) -> Shown:
        """Show a system's points to its lookouts; a system that nobody described has none."""
        observer = self.watch.observers.get(system)
        if observer is None:
            return Shown()
        live = observer.absence.live
        if live is not None and not live.issuperset(streams):
            live.update(streams)
            self._heard.add(system)
        shown = show(observer, streams, now_s)
        self.counts["late"] += shown.late
        return shown

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
            self._remember()  # what was learned by the old clock does not fit the new one
            self._next_look = mono + LOOK_S
        self._look_again()
        self._answer(now)
        findings: dict[str, list[Finding]] = {}
        if mono >= self._next_look:
            self._next_look = mono + LOOK_S
            read = mono >= self._next_journal
            self._next_journal = mono + JOURNAL_S if read else self._next_journal
            for system, observer in self.watch.observers.items():
                findings[system] = observer.tick(now) + (self._read_journal(system, observer, now) if read else [])
        orders = self.parts.orders
        self._ahead = {key: (off, at) for key, (off, at) in self._ahead.items() if mono - at < AHEAD_STANDS_S}
        about_itself = self.own.findings(
            now, mono, self.queue.feeds, self._guard.seen, orders.guard.missed,
            {key: off for key, (off, _) in self._ahead.items()},
        )  # fmt: skip
        with self.store.together():
            for system, found in findings.items():
                self._tell(self.watch.decide(system, found), now)
                self._tell(self.watch.reconcile(system, now), now)
            self._tell(self.watch.decide(WATCH, about_itself + self.signals.prove(now)), now)
            self._tell(self.watch.time_outs(now), now)
            self.signals.catch_up(now)
            self.signals.call(now)
        if self.own.trouble:
            self._writing_again()
        self.sending.send(self.store.due_deliveries(now))
        if mono >= self._next_pack:
            self._next_pack = mono + PACK_EVERY_S
            self._pack(now)

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

    # -- answers -------------------------------------------------------------------------------------

    def _fetch(self) -> None:
        """Look for replies; they are marked as seen only when their answers are on disk."""
        replies = self.parts.replies
        try:
            found = replies.fetch()  # type: ignore[union-attr]
        except (Undelivered, LeadlineError) as exc:
            self.queue.report("replies", False, exc.line())
            return
        self.queue.report("replies", True, "")
        if found:
            with self._replied:
                self._answers += [(code, "reply") for r in found for code in r.codes]
            self.queue.wake()
            self._to_confirm = [*self._to_confirm, *found]

    _replied = threading.Lock()
    _to_confirm: Sequence[Any] = ()

    def _answer(self, now_s: float) -> None:
        with self._replied:
            answers, self._answers = self._answers, []
            confirm, self._to_confirm = self._to_confirm, ()
        for code, how in answers:
            d = self.signals.find_code(code, now_s)
            if d is not None:
                with contextlib.suppress(LeadlineError):
                    self.signals.answer(self.watch, d, how, now_s)
        if confirm and self.parts.replies is not None:
            with contextlib.suppress(LeadlineError):
                self.parts.replies.confirm(confirm)

    def _tell_dead_man(self) -> None:
        """Only a watch that runs tells the dead-man address that it lives."""
        if time.monotonic() - self._beat_at > STUCK_S or self._mistake or self.parts.ping is None:
            return
        try:
            self.parts.ping()
            self.queue.report("ping", True, "")
        except Undelivered as exc:
            self.queue.report("ping", False, exc.line())

    def _send_failed(self, words: str) -> None:
        self._mistake = words

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

    # -- for pages -----------------------------------------------------------------------------------

    def open_alarms(self) -> list[Raised]:
        """Alarms that stand."""
        return [r for r in self.store.alarms() if r.state in ACTIVE or r.state is State.RETURNED]


def _done(batch: Batch, taken: Taken) -> None:
    if batch.done is not None:
        batch.done(taken)
