"""The ways into the site: each address with what it takes to go there."""

from __future__ import annotations

import enum
import functools
from collections.abc import Awaitable, Callable, Sequence
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

Endpoint = Callable[[Request], Awaitable[Response]]


class Right(enum.IntEnum):
    """What somebody may do here; each holds all before it."""

    OPEN = 0  # nothing is asked: health, the sign-in, addresses that are a secret themselves
    VIEW = 1  # look at everything that is no setting of people
    LOG = 2  # write entries, answer alarms
    KEEP = 3  # change what stands there: systems, livestock, orders, other people's entries
    OWN = 4  # people, their roles, tokens, shares


def way(
    path: str, endpoint: Endpoint, right: Right, methods: Sequence[str] = ("GET",), *, name: str | None = None,
    most_bytes: int | None = None, in_person: bool = False,
) -> Route:  # fmt: skip
    """A route that asks for a right before its page is drawn. `route.right` says which, for the test of all doors.

    With `in_person` no program's token passes, whatever it may do: accounts are for people.
    """

    @functools.wraps(endpoint)
    async def guarded(request: Request) -> Response:
        if right is not Right.OPEN:
            turned_away = request.app.state.doors.turned_away(request, right, in_person=in_person)
            if turned_away is not None:
                answer: Response = turned_away
                return answer
        return await endpoint(request)

    kept: dict[str, Any] = {} if most_bytes is None else {"max_body_size": most_bytes}
    route = Route(path, guarded, methods=list(methods), name=name, **kept)
    route.right = right  # type: ignore[attr-defined]
    route.in_person = in_person  # type: ignore[attr-defined]
    return route


def post(
    path: str, endpoint: Endpoint, right: Right, *, most_bytes: int | None = None, in_person: bool = False
) -> Route:
    """The way of a form."""
    return way(path, endpoint, right, ("POST",), most_bytes=most_bytes, in_person=in_person)
