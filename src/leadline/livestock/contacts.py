"""What touched what: contacts between places, dealers, tools and hands, read from the journal."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import groupby
from typing import Any

from leadline.journal.entry import Entry
from leadline.livestock.census import Register, Vessels, place_of
from leadline.livestock.naming import group_of
from leadline.livestock.paths import Contact

SOURCE, TOOL, HANDS = "from ", "tool ", "hands"
# work that wets hands and sleeves; a reading or a feeding does so rarely, and is left out
WET_WORK = frozenset({"exchange", "treatment", "transfer", "arrival", "loss"})
WET_SERVICE = frozenset({"cleaned", "replaced", "repaired", "checked"})
AEROSOL_M = 3.0  # farthest that velvet's dinospores were carried in moving air (Roberts-Thomson et al. 2006) [m]
_TORN_DOWN = frozenset({"torn-down", "disinfected", "dried", "sterilised"})
_TIES = 3  # contacts of one moment are gone through so often: any order of up to so many is possible
_STEP_S = 0.02
_DAY_S = 86400.0


def name_of_source(source: str) -> str:
    """The node of a dealer or another keeper."""
    return SOURCE + (source or "unknown")


@lru_cache(maxsize=65_536)
def is_place(node: str) -> bool:
    """Whether a node is neither dealer, tool nor hands."""
    return not node.startswith((SOURCE, TOOL)) and node.split("#")[0] != HANDS


def spoken(node: str) -> str:
    """A node as one says it."""
    head = node.split("#")[0]
    return head.removeprefix(TOOL) if head.startswith(TOOL) else head


def contacts(
    entries: Sequence[Entry], register: Register, systems: Collection[str], vessels: Vessels | None = None,
    dated: Callable[[Entry], bool] = lambda e: False,
) -> list[Contact]:  # fmt: skip
    """All contacts of the journal, in order of time.

    Animals, rock and water that come or move; water drawn from another system; tools that were named
    (`extra.tool`), as long as they stayed wet; hands, in the order in which the systems were worked on, until they
    were washed (`extra.washed`). What has one moment may have happened in any order, and what has only a day at any
    hour of it: such contacts stand several times, tied together, so that no way is missed.

    Parameters
    ----------
    dated
        Whether an entry bears a day and no hour.
    """
    hours = {e.id: dated(e) for e in entries}
    found = list(_of_goods(entries, register, systems, vessels))
    found += _of_hands_and_tools(entries, systems, vessels)
    found.sort(key=lambda c: c.at_s)
    return _tied(found, hours)


def _tied(found: Sequence[Contact], dated: Mapping[str, bool]) -> list[Contact]:
    """Contacts of one moment, and of a day without an hour, each as often as their order may need."""
    out: list[Contact] = []
    for _, group in groupby(found, key=lambda c: round(c.at_s / 60.0)):
        same = list(group)
        if len(same) == 1 and not dated.get(same[0].entry):
            out.append(same[0])
            continue
        tied = [replace(c, tie=f"{c.entry} {c.begin} {c.end}") for c in same]
        for k in range(min(len(tied), _TIES)):
            out += [replace(c, at_s=c.at_s + _STEP_S * (k * len(tied) + i)) for i, c in enumerate(tied)]
        for c in tied:
            if dated.get(c.entry):
                out.append(replace(c, at_s=c.at_s + _DAY_S - 1.0))
    return sorted(out, key=lambda c: c.at_s)


def _of_goods(
    entries: Sequence[Entry], register: Register, systems: Collection[str], vessels: Vessels | None
) -> Iterator[Contact]:
    real = {c.entry for lot in register.lots.values() for c in lot.came}
    for e in entries:
        at_s = e.time.timestamp()
        lot = register.lots.get(e.subject)
        source = place_of(e.source, e.system, systems, vessels) if e.source else ""
        if e.kind == "arrival":
            ours = source in systems and source != e.system
            if lot is not None and lot.lives and e.id not in real and not ours:
                continue  # the echo of a transfer, or a row that only counts
            begin = source if ours else name_of_source(e.source)
            yield Contact(at_s, begin, e.system, _carrier(e, register), e.subject, e.id)
        elif e.kind == "transfer":
            to = place_of(e.to, e.system, systems, vessels)
            by = _carrier(e, register)
            if by != "tool" and to in systems and to != e.system:
                yield Contact(at_s, e.system, to, by, e.subject, e.id)
        elif e.kind in ("exchange", "topoff") and source in systems and source != e.system:
            yield Contact(at_s, source, e.system, "water", e.subject or "water", e.id)


def _carrier(e: Entry, register: Register) -> str:
    lot = register.lots.get(e.subject)
    group = lot.group if lot is not None else group_of(e.subject, e.extra, None)
    return group if group in ("rock", "water", "tool") else "animal"


def _of_hands_and_tools(
    entries: Sequence[Entry], systems: Collection[str], vessels: Vessels | None
) -> Iterator[Contact]:
    """Hands and each tool are nodes of their own; washed or dried, they are new ones."""
    hands = 0
    dry: dict[str, int] = {}
    for e in entries:
        at_s = e.time.timestamp()
        if is_wet_work(e) and e.system in systems and not e.extra.get("own_hands"):
            before, after = washed(e)
            hands += before
            yield Contact(at_s, e.system, f"{HANDS}#{hands}", "hand", e.subject, e.id, both=True)
            hands += after
        for tool, end in _tools(e, systems, vessels):
            if e.extra.get("dried") is True or str(e.extra.get("dried", "")).lower() in ("true", "yes"):
                dry[tool] = dry.get(tool, 0) + 1
            node = f"{TOOL}{tool}#{dry.get(tool, 0)}"
            yield Contact(at_s, e.system, node, "tool", tool, e.id, both=True)
            if end in systems:  # a tool that was carried over is at both
                yield Contact(at_s, node, end, "tool", tool, e.id, both=True)


def is_wet_work(e: Entry) -> bool:
    """Whether an entry tells of work with hands in the water."""
    return e.kind in WET_WORK or (e.kind == "service" and e.method in WET_SERVICE)


def washed(e: Entry) -> tuple[bool, bool]:
    """Whether hands were washed before this work, and after it."""
    said = e.extra.get("washed")
    plain = str(said).strip().lower()
    return plain == "before", said is True or plain in ("after", "true", "yes")


def _tools(e: Entry, systems: Collection[str], vessels: Vessels | None) -> list[tuple[str, str]]:
    """Tools that an entry names, each with the place that it was carried to, if it was."""
    said: Any = e.extra.get("tool")
    found = [(str(t), "") for t in said] if isinstance(said, list) else [(str(said), "")] if said else []
    to = place_of(e.to, e.system, systems, vessels) if e.kind == "transfer" else ""
    if e.kind == "transfer" and group_of(e.subject, e.extra, None) == "tool":
        found.append((e.subject, to))
    elif to:
        found = [(t, to) for t, _ in found]  # the net in which an animal was carried is wet in both
    return found


def near(
    neighbours: Mapping[tuple[str, str], float], begin: dt.datetime, end: dt.datetime, most_m: float = AEROSOL_M
) -> list[Contact]:
    """Air between systems that stand near each other: one contact a day, either way.

    Parameters
    ----------
    neighbours
        Distance between the water surfaces of two systems. [m]
    """
    days = int(max((end - begin).total_seconds() // _DAY_S, 0.0))
    first = begin.timestamp() + _DAY_S / 2
    return [
        Contact(first + _DAY_S * d, a, b, "aerosol", f"{metres:g} m of air", both=True)
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
        if not is_wet_work(e) or e.system not in purposes:
            continue
        if last is not None and e.time - last.time < dt.timedelta(hours=6) and last.system != e.system:
            before, now = rank.get(purposes[last.system], 0), rank.get(purposes[e.system], 0)
            if before > now and not washed(last)[1] and not washed(e)[0]:
                found.append((e.time, last.system, e.system, e.id))
        last = e
    return found


def wet_goods(
    found: Sequence[Contact], place: str, since: dt.datetime, had_hosts: Callable[[str, dt.datetime], bool],
    tool_lasts_d: float,
) -> list[tuple[dt.datetime, str]]:  # fmt: skip
    """What came wet into a place from where hosts live or lived: water, rock, animals, tools; a dealer's goods always.

    Parameters
    ----------
    had_hosts
        Whether a place had hosts shortly before a moment.
    tool_lasts_d
        How long a wet tool carries it on. [d]
    """
    out: dict[str, tuple[dt.datetime, str]] = {}
    used: dict[str, list[tuple[float, str]]] = {}
    for c in found:
        when = dt.datetime.fromtimestamp(c.at_s, dt.UTC)
        if c.by == "tool":
            node, other = (c.begin, c.end) if c.begin.startswith(TOOL) else (c.end, c.begin)
            if other == place and when >= since:
                came = [p for t, p in used.get(node, ()) if p != place and 0 <= c.at_s - t <= tool_lasts_d * _DAY_S]
                for p in came:
                    if had_hosts(p, when):
                        out.setdefault(c.entry, (when, f"the {spoken(node).replace('-', ' ')} came wet from {p}"))
            used.setdefault(node, []).append((c.at_s, other))
        elif c.end == place and when >= since and c.by in ("water", "rock", "animal"):
            what = c.what.replace("-", " ") or c.by
            if c.begin.startswith(SOURCE):
                out.setdefault(c.entry, (when, f"{what} came from {c.begin.removeprefix(SOURCE)}"))
            elif had_hosts(c.begin, when):
                out.setdefault(c.entry, (when, f"{what} came from {c.begin}"))
    return sorted(out.values())
