"""Who stands at the door, and what they may do here."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from leadline.web.ways import Right


@dataclass(frozen=True, slots=True)
class Who:
    """Who asks."""

    account: str = ""  # empty in an open house
    name: str = ""
    right: Right = Right.OWN


class Doors:
    """An open house: everybody who can reach this address is its owner."""

    def who(self, request: Request) -> Who:
        """Who asks."""
        return Who()

    def turned_away(self, request: Request, right: Right) -> Response | None:
        """The answer to somebody who may not go there; None when they may."""
        return None
