"""What is noted of every person's every path: its proof, its misses, how it was set up."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from leadline.alarms.proof import Proven
    from leadline.app.ports import Store
    from leadline.system.orders import Orders

ORDERS = ("watch", "orders")  # the record of the standing orders: its kind and name
PATH = "path"  # records: what is known of each person's path, named person/path


def known(store: Store, orders: Orders, prints: Mapping[str, str] | None = None) -> list[Proven]:
    """What is known of every person's every path.

    Parameters
    ----------
    prints
        Fingerprints of the paths as they are set up now; without them what the watch noted last stands.
    """
    from leadline.alarms.proof import Proven

    found = []
    for person, path in orders.used():
        noted = seen(store, person.id, path.id, None if prints is None else prints.get(path.id, ""))
        found.append(
            Proven(
                person.id, path.id, noted["proved_s"], noted["asked_s"], bool(noted["overdue"]), noted["answered"],
                noted["missed"], noted["days"], tuple(path.shares),
            )
        )  # fmt: skip
    return found


def seen(store: Store, person: str, path: str, print_now: str | None) -> dict[str, Any]:
    """What is noted of one path; nothing when it is set up otherwise than it was, as far as a print tells."""
    kept = store.record(PATH, f"{person}/{path}")
    fresh = {
        "print": print_now or "", "proved_s": None, "asked_s": None, "overdue": False, "answered": 0, "missed": 0,
        "days": 0.0, "message": "", "last_s": None, "since_s": None,
    }  # fmt: skip
    if not isinstance(kept, dict) or (print_now is not None and kept.get("print") != print_now):
        return fresh  # never seen, or set up otherwise: unproved
    return {**fresh, **kept}


def keep(store: Store, person: str, path: str, noted: Mapping[str, Any]) -> None:
    """Note what is known of one path."""
    store.put_record(PATH, f"{person}/{path}", dict(noted))


def path_and_person(orders: Orders, name: str) -> list[tuple[str, str]]:
    """(person, path) pairs that a word names: a path, a person, or `person/path`; all for an empty one.

    Raises
    ------
    BadInput
        When it names nobody and nothing.
    """
    pairs = [(p.id, x.id) for p, x in orders.used()]
    found = [k for k in pairs if not name or name in (k[0], k[1], f"{k[0]}/{k[1]}")]
    if not found:
        known = ", ".join(f"{a}/{b}" for a, b in pairs) or "none: give orders first"
        raise BadInput(f"{name!r} is no path and no person", way_out=f"Known: {known}.")
    return found
