"""What machines ask: points posted with a token, the watch's health, and how often somebody may knock."""

from __future__ import annotations

import asyncio
import time
from collections import deque
from dataclasses import dataclass, field
from typing import cast

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from leadline.app import stand_orders
from leadline.app.ports import Store, Taken
from leadline.feeds.payload import read_lines
from leadline.measures.errors import BadInput
from leadline.measures.moments import iso

MOST_POINTS, MOST_BYTES = 10_000, 4_000_000
POSTS_A_MINUTE, WRONG_A_MINUTE = 600, 20
WAIT_S = 30.0
_HEAD = {"cache-control": "no-store"}


@dataclass
class Pace:
    """How often somebody may knock in a minute."""

    most: int
    knocks: dict[str, deque[float]] = field(default_factory=dict)

    def may(self, who: str) -> bool:
        """Whether one more is allowed now; it is counted."""
        return self._room(who, count=True)

    def full(self, who: str) -> bool:
        """Whether no more is allowed now; nothing is counted."""
        return not self._room(who, count=False)

    def forgive(self, who: str) -> None:
        """The last one was in order after all: it is not counted."""
        if self.knocks.get(who):
            self.knocks[who].pop()

    def _room(self, who: str, *, count: bool) -> bool:
        now = time.monotonic()
        mine = self.knocks.setdefault(who, deque())
        while mine and mine[0] < now - 60.0:
            mine.popleft()
        room = len(mine) < self.most
        if count and room:
            mine.append(now)
        if len(self.knocks) > 10_000:  # a scan from many addresses must not fill the memory
            self.knocks = {k: v for k, v in self.knocks.items() if v and v[-1] > now - 60.0}
        return room


async def health(request: Request) -> Response:
    """`GET /health`: whether the watch lives. No secret, no reading: anybody on the network may ask."""
    live = request.app.state.live
    if live is None:
        said = {"schema": "leadline.health/1", "ok": False, "words": "no watch runs in this process"}
        return JSONResponse(said, 503, _HEAD)
    found = live.health()
    return JSONResponse({**found, "at": iso(found["at"])}, 200 if found["ok"] else 503, _HEAD)


async def post_streams(request: Request) -> Response:
    """`POST /api/streams`: JSON lines with a bearer token; answered when the points are on disk."""
    state = request.app.state
    where = request.client.host if request.client else "?"
    if state.wrong_tokens.full(where):
        return _no(429, "too many wrong tokens from this address", {"retry-after": "60"})
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    name = stand_orders.token_name(cast(Store, state.store), token.strip()) if scheme.lower() == "bearer" else None
    if name is None:
        state.wrong_tokens.may(where)
        way = "a token is needed: leadline watch token NAME makes one"
        return _no(401, way, {"www-authenticate": "Bearer"})
    if not state.posts.may(name):
        return _no(429, f"more than {POSTS_A_MINUTE} posts a minute: put more points into one", {"retry-after": "10"})
    if state.live is None:
        return _no(503, "no watch runs in this process", {"retry-after": "30"})
    try:
        points, odd = read_lines(await request.body(), MOST_POINTS)
    except BadInput as exc:
        return _no(413, exc.line())
    if not points and not odd:
        return _no(422, "no points in this")
    loop = asyncio.get_running_loop()
    waiting: asyncio.Future[Taken] = loop.create_future()

    def settle(taken: Taken) -> None:
        if not waiting.done():  # the sender may have gone
            waiting.set_result(taken)

    def done(taken: Taken) -> None:
        loop.call_soon_threadsafe(settle, taken)

    if not state.live.queue.offer(f"post-{name}", points, odd, done):
        return _no(503, "too much waits already: send it again in a moment", {"retry-after": "2"})
    try:
        taken = await asyncio.wait_for(waiting, WAIT_S)
    except TimeoutError:
        return _no(503, "the watch did not answer in time: send it again", {"retry-after": "5"})
    if taken.trouble:
        return _no(503, taken.trouble, {"retry-after": "30"})
    said = {
        "schema": "leadline.taken/1", "kept": taken.kept, "held": taken.held, "refused": list(taken.refused),
        "why_held": [*(f"{o.system}/{o.stream}: {o.why}" for o in odd), *taken.why_held][:3],
    }  # fmt: skip
    return JSONResponse(said, 200, _HEAD)


def _no(status: int, words: str, headers: dict[str, str] | None = None) -> Response:
    return JSONResponse({"schema": "leadline.refused/1", "words": words}, status, {**_HEAD, **(headers or {})})
