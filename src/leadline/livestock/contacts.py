"""What touched what: contacts between places, dealers, tools and hands, read from the journal."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping, Sequence

from leadline.journal.entry import Entry
from leadline.livestock.census import Register, group_of, place_of
from leadline.livestock.paths import Contact

SOURCE, TOOL, HANDS = "from ", "tool ", "hands"
# work that wets hands and sleeves; a reading or a feeding does so rarely, and is left out
WET_WORK = frozenset({"exchange", "treatment", "transfer", "arrival", "loss"})
WET_SERVICE = frozenset({"cleaned", "replaced", "repaired", "checked"})
DRIED_H = 24.0  # a tool that stood dry so long carries nothing on (common practice: 24 to 48 h) [h]
AEROSOL_M = 3.0  # farthest that velvet's dinospores were carried in moving air (Roberts-Thomson et al. 2006) [m]
_TORN_DOWN = frozenset({"torn-down", "disinfected", "dried", "sterilised"})
_STEP_S = 1.0


def name_of_source(source: str) -> str:
    """The node of a dealer or another keeper."""
    return SOURCE + (source or "unknown")


def is_place(node: str) -> bool:
    """Whether a node is neither dealer, tool nor hands."""
    return not node.startswith((SOURCE, TOOL)) and node.split("#")[0] != HANDS


def spoken(node: str) -> str:
    """A node as one says it."""
    head = node.split("#")[0]
    return head.removeprefix(TOOL) if head.startswith(TOOL) else head


def contacts(
    entries: Sequence[Entry], register: Register, systems: Collection[str], vessels: Mapping[str, str] | None = None
) -> list[Contact]:
    """All contacts of the journal, in order of time.

    Animals, rock and water that come or move; water drawn from another system; tools that were named
    (`extra.tool`), as long as they stayed wet; hands, in the order in which the systems were worked on, until they
    were washed (`extra.washed`).
    """
    found = list(_of_goods(entries, register, systems, vessels))
    found += _of_hands_and_tools(entries, systems)
    return sorted(found, key=lambda c: c.at_s)


def _of_goods(
    entries: Sequence[Entry], register: Register, systems: Collection[str], vessels: Mapping[str, str] | None
) -> Iterator[Contact]:
    real = {c.entry for lot in register.lots.values() for c in lot.came}
    for e in entries:
        at_s = e.time.timestamp()
        lot = register.lots.get(e.subject)
        if e.kind == "arrival":
            if lot is not None and lot.came and e.id not in real and lot.lives:
                continue  # the echo of a transfer
            begin = e.source if e.source in systems else name_of_source(e.source)
            yield Contact(at_s, begin, e.system, _carrier(e, register), e.subject, e.id)
        elif e.kind == "transfer":
            to = place_of(e.to, systems, vessels)
            by = _carrier(e, register)
            if by == "tool":
                node = TOOL + e.subject
                yield Contact(at_s, e.system, node, by, e.subject, e.id, both=True)
                if to in systems:
                    yield Contact(at_s + _STEP_S, node, to, by, e.subject, e.id, both=True)
            elif to in systems and to != e.system:
                yield Contact(at_s, e.system, to, by, e.subject, e.id)
        elif e.kind in ("exchange", "topoff", "addition") and e.source in systems and e.source != e.system:
            yield Contact(at_s, e.source, e.system, "water", e.subject or "water", e.id)


def _carrier(e: Entry, register: Register) -> str:
    lot = register.lots.get(e.subject)
    group = lot.group if lot is not None else group_of(e.subject, e.extra, None)
    return group if group in ("rock", "water", "tool") else "animal"


def _of_hands_and_tools(entries: Sequence[Entry], systems: Collection[str]) -> Iterator[Contact]:
    """Hands and each tool are nodes of their own; washed or dried, they are new ones."""
    hands, used = 0, dict[str, tuple[int, float]]()
    for e in entries:
        at_s = e.time.timestamp()
        wet = e.kind in WET_WORK or (e.kind == "service" and e.method in WET_SERVICE)
        if wet and e.system in systems and not e.extra.get("own_hands"):
            if e.extra.get("washed") == "before":
                hands += 1
            yield Contact(at_s, e.system, f"{HANDS}#{hands}", "hand", e.subject, e.id, both=True)
            if e.extra.get("washed"):
                hands += 1
        for tool in _tools(e):
            number, last_s = used.get(tool, (0, at_s))
            if e.extra.get("dried") or ((at_s - last_s) / 3600.0 > DRIED_H and e.extra.get("dry")):
                number += 1
            used[tool] = number, at_s
            yield Contact(at_s + _STEP_S / 2, e.system, f"{TOOL}{tool}#{number}", "tool", tool, e.id, both=True)


def _tools(e: Entry) -> list[str]:
    said = e.extra.get("tool")
    return [str(t) for t in said] if isinstance(said, list) else [str(said)] if said else []


def near(
    neighbours: Mapping[tuple[str, str], float], begin: dt.datetime, end: dt.datetime, most_m: float = AEROSOL_M
) -> list[Contact]:
    """Air between systems that stand near each other: one contact a day, either way.

    Parameters
    ----------
    neighbours
        Distance between the water surfaces of two systems. [m]
    """
    days = int(max((end - begin).total_seconds() // 86400.0, 0.0))
    first = begin.timestamp() + 43200.0
    return [
        Contact(first + 86400.0 * d, a, b, "aerosol", f"{metres:g} m of air", both=True)
        for (a, b), metres in neighbours.items() if metres <= most_m
        for d in range(days)
    ]  # fmt: skip


def torn_down(entries: Sequence[Entry], systems: Collection[str]) -> list[tuple[float, str]]:
    """When a place was torn down, dried or disinfected: (moment [Unix s], place)."""
    return [
        (e.time.timestamp(), e.system) for e in entries
        if e.kind == "service" and e.system in systems and e.method in _TORN_DOWN
        and e.subject in ("tank", "system", e.system, "quarantine-tank", "display")
    ]  # fmt: skip


def order_of_visits(entries: Sequence[Entry], purposes: Mapping[str, str]) -> list[tuple[dt.datetime, str, str, str]]:
    """Where wet work went the wrong way round on one evening: (moment, from, to, entry), from quarantine to a display
    within six hours and without washed hands (common practice: display first, sick animals last)."""
    rank = {"display": 0, "satellite": 1, "invertebrate-quarantine": 2, "quarantine": 3, "fish-quarantine": 3,
            "hospital": 4}  # fmt: skip
    found = []
    last: Entry | None = None
    for e in entries:
        if not (e.kind in WET_WORK or (e.kind == "service" and e.method in WET_SERVICE)) or e.system not in purposes:
            continue
        if last is not None and e.time - last.time < dt.timedelta(hours=6) and last.system != e.system:
            before, now = rank.get(purposes[last.system], 0), rank.get(purposes[e.system], 0)
            if before > now and not last.extra.get("washed") and e.extra.get("washed") != "before":
                found.append((e.time, last.system, e.system, e.id))
        last = e
    return found
