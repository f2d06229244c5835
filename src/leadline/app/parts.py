"""What standing orders need from the outside world, in one hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from leadline.app.ports import Courier, Feed
from leadline.system.orders import Orders


class Mailbox(Protocol):
    """Where replies come in: `fetch` gives them, each with its `codes`; `confirm` marks them as seen."""

    def fetch(self) -> Sequence[Any]: ...
    def confirm(self, replies: Sequence[Any]) -> None: ...
    def close(self) -> None: ...


@dataclass
class Parts:
    """What standing orders need from the outside world; made by the wiring, again whenever the orders change.

    Attributes
    ----------
    key
        The secret from which codes and links are worked out.
    prints
        A fingerprint of each path as it is set up, by path id.
    ask
        Asks another watch, by its address, for its health.
    ping
        Tells the dead-man address that this watch lives.
    missing
        Names of secrets that nobody gave.
    """

    orders: Orders
    key: bytes = b""
    prints: Mapping[str, str] = field(default_factory=dict)
    couriers: Mapping[str, Courier] = field(default_factory=dict)
    feeds: Sequence[Feed] = ()
    replies: Mailbox | None = None
    ask: Callable[[str], Mapping[str, Any]] = lambda address: {}
    ping: Callable[[], None] | None = None
    missing: tuple[str, ...] = ()


NO_PARTS = Parts(Orders())
