"""Where feeds hand over: one queue, bounded, emptied by the watch's own thread."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from leadline.app.ports import Arrival, Odd, Taken

MOST_POINTS = 200_000


@dataclass(frozen=True, slots=True)
class Batch:
    """What one feed handed over at once."""

    feed: str
    points: Sequence[Arrival]
    odd: Sequence[Odd]
    done: Callable[[Taken], None] | None

    def __len__(self) -> int:
        return len(self.points) + len(self.odd)


@dataclass(frozen=True, slots=True)
class FeedState:
    """What a feed last said of itself."""

    ok: bool
    words: str
    since_s: float  # monotonic


class Queue:
    """The `Intake` of a running watch."""

    def __init__(self, monotonic: Callable[[], float], most: int = MOST_POINTS) -> None:
        self._monotonic, self._most = monotonic, most
        self._batches: deque[Batch] = deque()
        self._waiting = 0
        self._there = threading.Condition()
        self._closed = False
        self.feeds: dict[str, FeedState] = {}

    def offer(
        self, feed: str, points: Sequence[Arrival], odd: Sequence[Odd] = (), done: Callable[[Taken], None] | None = None
    ) -> bool:
        """Hand over a batch; False when too much waits already, or the watch has stopped."""
        batch = Batch(feed, points, odd, done)
        with self._there:
            if self._closed or (self._waiting and self._waiting + len(batch) > self._most):
                return False
            self._batches.append(batch)
            self._waiting += len(batch)
            self._there.notify()
        return True

    def report(self, feed: str, ok: bool, words: str) -> None:
        """Keep what a feed says of itself."""
        was = self.feeds.get(feed)
        since = was.since_s if was is not None and was.ok == ok else self._monotonic()
        self.feeds[feed] = FeedState(ok, words, since)

    def gather(self, most: int, wait_s: float) -> list[Batch]:
        """What waits, up to about so many points; waits so long for the first."""
        with self._there:
            if not self._batches and not self._closed:
                self._there.wait(wait_s)
            found: list[Batch] = []
            count = 0
            while self._batches and (not found or count + len(self._batches[0]) <= most):
                batch = self._batches.popleft()
                count += len(batch)
                found.append(batch)
            self._waiting -= count
            return found

    def wake(self) -> None:
        """Let whoever waits look around."""
        with self._there:
            self._there.notify_all()

    def close(self) -> None:
        """Take nothing more; what waits was not acknowledged and will be sent again."""
        with self._there:
            self._closed = True
            left = list(self._batches)
            self._batches.clear()
            self._waiting = 0
            self._there.notify_all()
        for batch in left:
            if batch.done is not None:
                batch.done(Taken(trouble="the watch has stopped"))

    def __len__(self) -> int:
        return self._waiting
