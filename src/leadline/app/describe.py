"""What stands there: add, show, edit and list systems."""

from __future__ import annotations

import datetime as dt
import functools

from leadline.app.ports import Store
from leadline.measures.errors import BadInput, LeadlineError, UnknownName
from leadline.measures.moments import Clock
from leadline.system.description import System, parse

_SET_UP = dt.timedelta(days=30)


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


def declared(store: Store, system: str, now: dt.datetime) -> dict[str, dt.datetime]:
    """When each machine and probe was first described that came after the system was set up.

    What was described within the first month counts as there from the beginning: a set-up grows step by step.
    """
    versions = [(at, text) for at, text in store.system_versions(system) if at <= now]
    return dict(_added(tuple(versions))) if len(versions) > 1 else {}


@functools.lru_cache(maxsize=16)
def _added(versions: tuple[tuple[dt.datetime, str], ...]) -> tuple[tuple[str, dt.datetime], ...]:
    found: dict[str, dt.datetime] = {}
    for at, text in versions:
        for ident in _ids(text):
            found.setdefault(ident, at)
    set_up = versions[0][0] + _SET_UP
    return tuple((ident, at) for ident, at in found.items() if at > set_up)


@functools.lru_cache(maxsize=512)
def _ids(document: str) -> frozenset[str]:
    try:
        described = parse(document)
    except LeadlineError:  # written when other things could be said: history fails no page
        return frozenset()
    return frozenset({*(m.id for m in described.equipment), *(s.id for s in described.streams)})


_read = functools.lru_cache(maxsize=64)(parse)  # a page asks for the same description several times
