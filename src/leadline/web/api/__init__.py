"""The API: every operation declared once; its ways, its document, its page, its refusals."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from leadline.web.api import alarms, journal, listing, livestock, streams, systems
from leadline.web.api.operation import Operation, refused, routes, said_instead
from leadline.web.api.points import POSTS_A_MINUTE, WRONG_A_MINUTE, Pace

__all__ = ["OPERATIONS", "POSTS_A_MINUTE", "WAYS", "WRONG_A_MINUTE", "Pace", "answers_here", "instead", "refused"]

OPERATIONS: list[Operation] = [
    *systems.OPERATIONS, *journal.OPERATIONS, *streams.OPERATIONS, *alarms.OPERATIONS, *livestock.OPERATIONS,
    *listing.OPERATIONS,
]  # fmt: skip
listing.tell(OPERATIONS)


def answers_here(path: str) -> bool:
    """Whether an address is a program's: what goes wrong there is said in JSON."""
    return path.startswith("/api/") or path in ("/health", "/metrics")


def instead(request: Request, exc: Exception) -> Response:
    """What a program is told when nothing was reached, or something went wrong."""
    return said_instead(OPERATIONS, request.url.path, exc)


WAYS = [*listing.PAGE, *routes(OPERATIONS)]
