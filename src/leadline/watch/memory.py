"""What the lookouts are taught after a start, and what stands meanwhile though they can't know of it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import TYPE_CHECKING

from leadline.app import journal_look, stock_look
from leadline.app.keep_watch import NoteBook, Watch, run
from leadline.app.ports import Store
from leadline.detect.findings import Finding
from leadline.system.description import System

if TYPE_CHECKING:
    from leadline.detect.observe import Observer

HEARD = "heard"  # records: streams of a system that a feed has brought
REMEMBER_D = 14.0  # how much of the past the lookouts are taught
FRESH_S, SETTLED_S = 900.0, 1200.0


class Memory:
    """Observers of all systems, taught from the store.

    Attributes
    ----------
    carried
        By system, names of alarms that stood before the lookouts were taught and that they can't see: they stand until
        points of the present have come for a while.
    heard
        Systems of which a feed brought a stream for the first time.
    """

    def __init__(self, store: Store, stopped: Callable[[], bool]) -> None:
        self.store, self._stopped = store, stopped
        self.carried: dict[str, set[str]] = {}
        self.heard: set[str] = set()
        self._since: dict[str, float] = {}

    def teach(self, watch: Watch, systems: Mapping[str, System], names: Collection[str], now_s: float) -> None:
        """Teach fresh observers of some systems the last fortnight, and say nothing of it."""
        from leadline.detect.observe import Observer

        fresh = {i: Observer(systems[i]) for i in names}
        recorded = {}
        for system, stream in self.store.streams():
            if system in fresh:
                found = self.store.points(system, stream, now_s - REMEMBER_D * 86400.0, now_s)
                recorded[system, stream] = (found.times_s, found.values)
        rehearsal = Watch(NoteBook(), fresh)
        for _ in run(rehearsal, recorded):
            if self._stopped():
                return
        for gone in set(watch.observers) - set(systems):
            del watch.observers[gone]
        watch.observers.update(fresh)
        for system, observer in fresh.items():
            self._listen(system, observer, now_s)
            self.read_journal(observer, now_s)
            self._carry(system, observer, now_s)

    def _listen(self, system: str, observer: Observer, now_s: float) -> None:
        """From now on silence counts, for the streams that a feed brings; not for the time in which nobody listened."""
        observer.absence.listens_since_s = now_s
        observer.absence.live = set(self.store.record(HEARD, system) or ())
        standing = observer.hand.standing.now
        for name in [n for n in standing if n.endswith("-silent")]:
            known = self.store.alarm(system, name)
            if known is None or not known.alarm.holds:
                del standing[name]

    def _carry(self, system: str, observer: Observer, now_s: float) -> None:
        newest = max((t.last_s for t in observer.hand.tracks.values() if t.last_s is not None), default=-1e18)
        stale = now_s - newest > FRESH_S
        self._since[system] = now_s
        self.carried[system] = {
            r.name for r in self.store.alarms(system)
            if r.alarm.holds and r.name not in observer.standing and (stale or r.name.endswith("-silent"))
        }  # fmt: skip

    def settle(self, system: str, observer: Observer) -> Collection[str]:
        """The alarms that are still carried: none once points of the present have come for twenty minutes."""
        if self.carried.get(system):
            newest = max((t.last_s for t in observer.hand.tracks.values() if t.last_s is not None), default=-1e18)
            if newest > self._since[system] + SETTLED_S:
                self.carried[system] = set()
        return self.carried.get(system, ())

    def hears(self, system: str, observer: Observer, streams: Collection[str]) -> None:
        """Note that a feed brings these streams."""
        live = observer.absence.live
        if live is not None and not live.issuperset(streams):
            live.update(streams)
            self.heard.add(system)

    def read_journal(self, observer: Observer, now_s: float) -> list[Finding]:
        """What tests by hand and doses say of probes and dosers, among the conditions that stand."""
        standing, found = observer.hand.standing, list[Finding]()
        seen = journal_look.findings(self.store, observer.system, now_s)
        for f in (*seen, *stock_look.findings(self.store, observer.system, now_s)):
            if f.holds:
                found += standing.begin(f.name, f.subject, now_s, f.value, f.harm_s, f.because, f.consequence)
            else:
                found += standing.end(f.name, now_s, f.because)
        return found
