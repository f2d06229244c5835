"""Answers that come in by reply and by MQTT: kept until they are on disk, and only so many a minute."""

from __future__ import annotations

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from typing import Any

from leadline.app.be_heard import Signals
from leadline.app.keep_watch import Watch
from leadline.app.parts import Mailbox
from leadline.app.ports import Undelivered
from leadline.measures.errors import BadInput, LeadlineError

A_MINUTE, A_LOOK, MOST_WAITING = 30, 5, 500
_FORM = "0123456789ABCDEFGHJKMNPQRSTVWXYZILO-"


@dataclass
class Answering:
    """Codes that wait to be looked up, and replies that wait to be marked as seen.

    Attributes
    ----------
    report
        Says of the mailbox that it can be read, or why not.
    """

    report: Callable[[bool, str], None]
    mailbox: Mailbox | None = None
    _codes: deque[tuple[str, str]] = field(default_factory=deque)
    _replies: list[Any] = field(default_factory=list)
    _looked: deque[float] = field(default_factory=deque)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def add(self, codes: Collection[str], how: str) -> None:
        """Codes that came in; what has not the form of one is nothing."""
        with self._lock:
            for code in codes:
                said = code.strip().upper()
                if len(said) == 11 and said[5] == "-" and set(said) <= set(_FORM) and len(self._codes) < MOST_WAITING:
                    self._codes.append((said, how))

    def fetch(self) -> None:
        """Look into the mailbox, and mark what was dealt with; run beside the watch, for it may take long."""
        if self.mailbox is None:
            return
        try:
            with self._lock:
                waiting = {code for code, _ in self._codes}
                done = [r for r in self._replies if waiting.isdisjoint(r.codes)]
            if done:
                self.mailbox.confirm(done)
                with self._lock:
                    self._replies = [r for r in self._replies if r not in done]
            with self._lock:
                known = list(self._replies)
            found = [r for r in self.mailbox.fetch() if r not in known]
        except (Undelivered, LeadlineError) as exc:
            self.report(False, exc.line())
            return
        self.report(True, "")
        with self._lock:
            self._replies += found
        for r in found:
            self.add(r.codes, "reply")

    def deal(self, signals: Signals, watch: Watch, now_s: float) -> None:
        """Look up a few codes; one whose answer can't be written now waits for the next time.

        Raises
        ------
        LeadlineError
            When the store can't be written.
        """
        mono = time.monotonic()
        while self._looked and self._looked[0] < mono - 60.0:
            self._looked.popleft()
        for _ in range(min(A_LOOK, A_MINUTE - len(self._looked))):
            with self._lock:
                if not self._codes:
                    return
                code, how = self._codes[0]
            d = signals.find_code(code, now_s)
            if d is None:
                self._looked.append(mono)  # only wrong ones count: a right one is never kept waiting by others
            else:
                with contextlib.suppress(BadInput):  # too old: it is dealt with
                    signals.answer(watch, d, how, now_s)
            with self._lock:
                self._codes.popleft()

    def waiting(self) -> Sequence[str]:
        """Codes that wait."""
        return [code for code, _ in self._codes]
