"""What goes on beside the watch's own thread: sending, fetching replies, guarding others, telling the dead-man."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

from leadline.alarms.delivery import Delivery
from leadline.app.be_heard import Signals
from leadline.app.ports import Courier, Undelivered
from leadline.measures.errors import LeadlineError

AT_ONCE, EACH_PATH = 8, 2
CUT_OFF_S = 180.0


class Sending:
    """Tries deliveries in a few threads; one delivery is never tried by two."""

    def __init__(self, signals: Callable[[], Signals], couriers: Callable[[], Mapping[str, Courier]],
                 now: Callable[[], float], failed: Callable[[str], None]) -> None:  # fmt: skip
        self._signals, self._couriers, self._now, self._failed = signals, couriers, now, failed
        self._pool = ThreadPoolExecutor(AT_ONCE, thread_name_prefix="courier")
        self._busy: dict[int, str] = {}  # delivery: its path
        self._lock = threading.Lock()

    def send(self, due: list[Delivery]) -> None:
        """Begin with what is due and not under way, in the order given; of each path only so many at once, so that one
        that hangs holds up no other."""
        for d in due:
            with self._lock:
                mine = sum(path == d.path for path in self._busy.values())
                if d.seq in self._busy or mine >= EACH_PATH or len(self._busy) >= AT_ONCE:
                    continue
                self._busy[d.seq] = d.path
            self._pool.submit(self._one, d)

    def _one(self, d: Delivery) -> None:
        try:
            self._signals().attempt(d, self._couriers().get(d.path), self._now)
        except LeadlineError as exc:  # the store: what was tried is due again when its time is over
            self._failed(exc.line())
        except Exception as exc:  # a mistake of ours in a courier must not stop the others
            self._failed(f"{type(exc).__name__} while sending by {d.path}: {exc}")
        finally:
            with self._lock:
                self._busy.pop(d.seq, None)

    @property
    def busy(self) -> int:
        """How many are under way."""
        return len(self._busy)

    def stop(self) -> None:
        """Let what is under way end."""
        self._pool.shutdown(wait=True, cancel_futures=True)


@dataclass
class Errand:
    """Something done every so many seconds in a thread of its own, until it is stopped."""

    name: str
    every_s: float
    do: Callable[[], None]
    failed: Callable[[str], None]  # a mistake in it is said, and it goes on
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin; the first time at once."""
        self._thread = threading.Thread(target=self._run, name=self.name, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self.do()
            except Exception as exc:  # an errand that ends unheard is silence taken for health
                self.failed(f"{type(exc).__name__}: {exc}")
            self._stop.wait(self.every_s)

    def stop(self) -> None:
        """End after what is being done."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=5.0)


@dataclass
class Guard:
    """Asks other watches for their health. A beat that stands still is no sign of life, whatever else they say."""

    ask: Callable[[str], Mapping[str, Any]]
    addresses: tuple[str, ...]
    seen: dict[str, tuple[int, str]] = field(default_factory=dict)  # address: misses in a row, why
    _beats: dict[str, int] = field(default_factory=dict)

    def look(self) -> None:
        """Ask each once."""
        for address in self.addresses:
            misses, _ = self.seen.get(address, (0, ""))
            why = self._one(address)
            self.seen[address] = (misses + 1, why) if why else (0, "")

    def _one(self, address: str) -> str:
        try:
            said = self.ask(address)
        except Undelivered as exc:
            return exc.line()
        beat = said.get("beat")
        if not isinstance(beat, int):
            return "it answers, but not as a watch"
        last = self._beats.get(address)
        self._beats[address] = beat
        if last is not None and beat == last:
            return "its beat stands still: the process answers and the watch in it does not run"
        if not said.get("ok", False):
            return f"it says of itself: {said.get('words', 'not well')}"
        return ""
