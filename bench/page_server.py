"""The real pages on a loopback port, under a clock that a test may move, with a plain answer beside them.

python -m bench.page_server DATABASE NOW [watch]; prints the port. With `watch` the watch runs beside the pages, as it
does in `leadline serve`. A request that carries `x-later: SECONDS` moves the clock first. `/plain?BYTES` answers with
so many bytes and does nothing else: what the server itself costs.
"""

from __future__ import annotations

import datetime as dt
import socket
import sys
import time
from pathlib import Path

import uvicorn
from starlette.responses import HTMLResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from leadline.measures.moments import parse
from leadline.watch.loop import Loop
from leadline.web.site import build
from leadline.wiring import make_parts, open_store


class RunningClock:
    """Runs from a moment on, and can be moved ahead."""

    def __init__(self, moment: dt.datetime) -> None:
        self.moment, self.begun = moment, time.monotonic()

    def now(self) -> dt.datetime:
        return self.moment + dt.timedelta(seconds=time.monotonic() - self.begun)


class Timed:
    """The site, with the clock's lever in front of it."""

    def __init__(self, site: ASGIApp, clock: RunningClock) -> None:
        self.site, self.clock = site, clock

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            later = dict(scope["headers"]).get(b"x-later")
            if later:
                self.clock.moment += dt.timedelta(seconds=float(later))
            if scope["path"] == "/plain":
                size = int(scope["query_string"])
                await HTMLResponse(b"x" * size)(scope, receive, send)
                return
        await self.site(scope, receive, send)


def main(argv: list[str]) -> None:
    """Serve until killed."""
    path, now, *more = argv
    clock = RunningClock(parse(now))
    live = None
    if more == ["watch"]:
        live = Loop(
            Path(path), lambda: open_store(path), lambda store, queue: make_parts(store, queue, path, clock), clock, ()
        )
        live.start()
        live.started.wait(60.0)
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)  # else no TCP_NODELAY: 40 ms
    listener.bind(("127.0.0.1", 0))
    print(listener.getsockname()[1], flush=True)
    site = Timed(build(lambda: open_store(path, create=False), clock, live=live), clock)
    config = uvicorn.Config(site, log_level="warning", access_log=False, lifespan="on")
    try:
        uvicorn.Server(config).run(sockets=[listener])
    finally:
        if live is not None:
            live.stop()


if __name__ == "__main__":
    main(sys.argv[1:])
