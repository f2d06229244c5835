"""Handing over: a batch is offered until it is taken, and waited for until it is on disk."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence

from leadline.app.ports import Arrival, Intake, Odd, Taken

FIRST_WAIT_S = 0.1
LONGEST_WAIT_S = 5.0
LAST_WORD_S = 5.0  # how long a feed that is being stopped still waits for its last batch


def hand_over(
    intake: Intake,
    feed: str,
    points: Callable[[], Sequence[Arrival]],
    odd: Sequence[Odd],
    stop: threading.Event,
    *,
    patience_s: float = float("inf"),
) -> Taken | None:
    """Offer a batch until it is on disk; None when it isn't, because of `stop` or for want of patience.

    `points` is asked before every offer: a point without a time of its own is given the moment when it came
    once it had to wait. A batch with trouble is offered again from here: no sender need send it twice.
    """
    until = time.monotonic() + patience_s
    wait_s = FIRST_WAIT_S
    while True:
        answered = threading.Event()
        answers: list[Taken] = []

        def done(taken: Taken, answered: threading.Event = answered, answers: list[Taken] = answers) -> None:
            answers.append(taken)
            answered.set()

        if intake.offer(feed, points(), odd, done):
            if not _answered(answered, stop):
                return None
            if not answers[0].trouble:
                return answers[0]
        if stop.is_set() or time.monotonic() > until or stop.wait(wait_s):
            return None
        wait_s = min(2 * wait_s, LONGEST_WAIT_S)


def _answered(answered: threading.Event, stop: threading.Event) -> bool:
    while not answered.wait(0.2):
        if stop.is_set():
            return answered.wait(LAST_WORD_S)
    return True


def run(work: Callable[[], None], say: Callable[[bool, str], None]) -> None:
    """Do a thread's work; a fault of ours that ends it does not end it unheard."""
    try:
        work()
    except BaseException as exc:
        say(False, f"stopped by a fault of this program ({type(exc).__name__}: {exc}): start the watch again")
        raise


class Said:
    """Reports how a feed is, and only when that has changed."""

    def __init__(self, intake: Intake, feed: str) -> None:
        self._intake = intake
        self._feed = feed
        self._last: tuple[bool, str] | None = None
        self._lock = threading.Lock()

    def __call__(self, ok: bool, words: str) -> None:
        with self._lock:
            if (ok, words) == self._last:
                return
            self._last = ok, words
        self._intake.report(self._feed, ok, words)
