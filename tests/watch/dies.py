"""A watch that is killed right after a named step: run as a process of its own by `test_crash`."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

from tests.watch.house import loop

from leadline.app.keep_watch import Watch


def main() -> None:
    db, step = Path(sys.argv[1]), sys.argv[2]

    def die(done: str) -> None:
        if done == step:
            os.kill(os.getpid(), signal.SIGKILL)

    running = loop(db, step=die)
    running.start()
    deadline = time.monotonic() + 20.0
    while time.monotonic() < deadline:  # answer whatever was told, so that the last step is reached too
        if running.started.is_set() and (db.parent / "bell").exists():
            for m in running.store.open_messages():
                told = [d for d in running.store.deliveries(m.id) if str(d.stage) == "delivered"]
                if m.kind == "alarm" and told:
                    running.signals.answer(Watch(running.store), told[0], "prompt", time.time())  # noqa: TID251
        time.sleep(0.05)
    sys.exit(3)  # the step was never reached


main()
