"""One watch a store: two that decide about the same alarms would each undo what the other does."""

from __future__ import annotations

import os
from pathlib import Path
from typing import IO

from leadline.measures.errors import Unreachable


class Lock:
    """Held while a watch runs on a store; the system lets it go when the process ends, however it ends."""

    def __init__(self, store_path: Path) -> None:
        self.path = store_path.with_name(store_path.name + ".watching")
        self._file: IO[str] | None = None

    def take(self) -> None:
        """Take it.

        Raises
        ------
        Unreachable
            When another process has it.
        """
        self._file = open(self.path, "a+", encoding="utf-8")  # noqa: SIM115 - held for as long as the watch runs
        try:
            _lock(self._file)
        except OSError as exc:
            self._file.seek(0)
            pid = self._file.read(20).strip()
            self._file.close()
            self._file = None
            raise Unreachable(
                f"another process watches this store{f' ({pid})' if pid else ''}", where=str(self.path),
                way_out="Stop that one first, or leave it: one watch is enough.",
            ) from exc  # fmt: skip
        self._file.seek(0)
        self._file.truncate()
        self._file.write(f"{os.getpid()}\n")
        self._file.flush()

    def leave(self) -> None:
        """Let it go."""
        if self._file is not None:
            self._file.close()
            self._file = None


if os.name == "nt":

    def _lock(file: IO[str]) -> None:
        import msvcrt

        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]

else:

    def _lock(file: IO[str]) -> None:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
