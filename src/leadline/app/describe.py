"""What stands there: add, show, edit and list systems."""

from __future__ import annotations

import datetime as dt
import functools

from leadline.app.ports import Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock
from leadline.system.description import System, parse


def add(store: Store, clock: Clock, document: str, *, replace: bool = False) -> System:
    """Keep a system's description; the document is kept as it was given, and every version with it.

    Raises
    ------
    BadInput
        When it cannot be read, or a system of that id is known and `replace` is not asked for.
    """
    system = parse(document)
    known = store.system_document(system.id)
    if known is not None and not replace and known != document:
        raise BadInput(
            f"a system {system.id!r} is already described",
            way_out=f"Change it with: leadline system edit {system.id} FILE",
        )
    if known != document:
        store.save_system(system.id, document, clock.now())
    return system


def systems(store: Store) -> list[tuple[str, str]]:
    """Id and name of every system."""
    return [(i, load(store, i).name) for i in store.systems()]


def document(store: Store, system: str, as_of: dt.datetime | None = None) -> str:
    """The description of a system as it was given.

    Raises
    ------
    UnknownName
        With near misses and how to add one.
    """
    found = store.system_document(system, as_of)
    if found is None:
        known = store.systems()
        way = "" if known else "Describe one first: leadline system add FILE.toml"
        raise UnknownName("system", system, known, way_out=way)
    return found


def load(store: Store, system: str, as_of: dt.datetime | None = None) -> System:
    """The description of a system, read."""
    return _read(document(store, system, as_of))


_read = functools.lru_cache(maxsize=64)(parse)  # a page asks for the same description several times
