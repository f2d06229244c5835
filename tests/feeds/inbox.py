"""An honest intake: it keeps what it takes, answers from a thread of its own, and can be told to refuse or to fail."""

from __future__ import annotations

import os
import queue
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from leadline.app.ports import Arrival, Odd, Taken

PATIENCE_S = 30.0


class Inbox:
    """What came: `points` in order, `odd`, and `reports` as (ok, words).

    With `file`, every point is on disk before it is answered.
    """

    def __init__(self, file: Path | None = None) -> None:
        self.points: list[Arrival] = []
        self.odd: list[Odd] = []
        self.batches: list[int] = []
        self.reports: list[tuple[bool, str]] = []
        self.refusals = 0
        self.failures = 0
        self.refusing = False  # no room
        self.failing = False  # taken, and then the disk is full
        self._file = open(file, "a", encoding="utf-8") if file else None  # noqa: SIM115 - closed in close()
        self._changed = threading.Condition()
        self._waiting: queue.Queue[tuple[tuple[Arrival, ...], tuple[Odd, ...], Callable[[Taken], None] | None] | None]
        self._waiting = queue.Queue()
        self._thread = threading.Thread(target=self._keep, daemon=True)
        self._thread.start()

    def offer(
        self, feed: str, points: Sequence[Arrival], odd: Sequence[Odd] = (), done: Callable[[Taken], None] | None = None
    ) -> bool:
        with self._changed:
            if self.refusing:
                self.refusals += 1
                self._changed.notify_all()
                return False
        self._waiting.put((tuple(points), tuple(odd), done))
        return True

    def report(self, feed: str, ok: bool, words: str) -> None:
        with self._changed:
            self.reports.append((ok, words))
            self._changed.notify_all()

    def close(self) -> None:
        self._waiting.put(None)
        self._thread.join(10)
        if self._file:
            self._file.close()

    def until(self, what: Callable[[Inbox], object], patience_s: float = PATIENCE_S) -> None:
        """Wait until something is so; fails with what there is when it does not come."""
        deadline = time.monotonic() + patience_s
        with self._changed:
            while not what(self):
                left = deadline - time.monotonic()
                assert left > 0, f"{len(self.points)} points, odd {self.odd[:5]}, reports {self.reports[-5:]}"
                self._changed.wait(left)

    def until_said(self, words: str, ok: bool) -> None:
        self.until(lambda box: any(given is ok and words in said for given, said in box.reports))

    def values(self) -> list[float]:
        return [p.v for p in self.points]

    def _keep(self) -> None:
        while (batch := self._waiting.get()) is not None:
            points, odd, done = batch
            with self._changed:
                failing = self.failing
                if failing:
                    self.failures += 1
                else:
                    self._write(points)
                    self.points.extend(points)
                    self.odd.extend(odd)
                    self.batches.append(len(points))
            if done:
                done(Taken(trouble="the disk is full") if failing else Taken(len(points)))
            with self._changed:
                self._changed.notify_all()

    def _write(self, points: Sequence[Arrival]) -> None:
        if self._file:
            self._file.writelines(f"{p.system},{p.stream},{p.t},{p.v!r},{p.unit}\n" for p in points)
            self._file.flush()
            os.fsync(self._file.fileno())
