"""How long and how often somebody may hold a line without a word: the watch needs lines of its own."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from leadline.web.doors import one_house

MOST, MOST_EACH = 400, 60  # lines at once, of all and of one address; a browser holds six
QUIET_S = 30.0  # a request that is not whole must go on by then


class Patience(H11Protocol):
    """HTTP/1.1 that hangs up on whoever holds too many lines, or says nothing on one."""

    most_each = MOST_EACH
    quiet_s = QUIET_S
    _quiet: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        here = self._house()
        theirs = sum(isinstance(c, Patience) and c._house() == here for c in self.connections)
        if len(self.connections) > MOST or theirs > self.most_each:
            transport.abort()
            return
        self._wait()

    def data_received(self, data: bytes) -> None:
        self._wait()
        super().data_received(data)

    def connection_lost(self, exc: Exception | None) -> None:
        if self._quiet is not None:
            self._quiet.cancel()
        super().connection_lost(exc)

    def _wait(self) -> None:
        if self._quiet is not None:
            self._quiet.cancel()
        self._quiet = self.loop.call_later(self.quiet_s, self._hang_up)

    def _hang_up(self) -> None:
        if self.conn.their_state in (h11.IDLE, h11.SEND_BODY):  # else it is we who have not answered yet
            self.transport.abort()

    def _house(self) -> str:
        return one_house(self.client[0]) if self.client else "?"


class BehindProxy(Patience):
    """The same where one address brings everybody."""

    most_each = MOST


def more_files() -> None:
    """As many open files as the system allows this process: lines are files."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        hard: Any = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
        resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))
