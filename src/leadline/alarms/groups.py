"""One cause, many consequences: which alarm explains which, and when there are too many at once.

A consequence is recorded like any alarm, but it calls nobody by itself unless it is worse than what was already told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from leadline.alarms.alarm import State
from leadline.alarms.decide import RANK, Priority, louder
from leadline.alarms.raised import Raised

LONGEST_S = 24 * 3600.0  # a cause older than this explains nothing any more
FLOOD_MOST, FLOOD_ENDS, FLOOD_SPAN_S = 10, 5, 600.0  # ISA-18.2 / IEC 62682, sheet 5.2

# machine type: quantities that follow when it fails; common practice
FOLLOWS: Mapping[str, frozenset[str]] = {
    "heater": frozenset({"temperature", "oxygen"}),
    "chiller": frozenset({"temperature", "oxygen"}),
    "fan": frozenset({"temperature", "salinity"}),
    "pump": frozenset({"oxygen", "temperature", "ph", "flow", "orp"}),
    "topoff": frozenset({"salinity", "conductivity", "level"}),
    "doser": frozenset({"alkalinity", "calcium", "magnesium", "ph"}),
    "reactor": frozenset({"alkalinity", "calcium", "ph"}),
    "skimmer": frozenset({"oxygen", "ph", "orp"}),
    "light": frozenset({"ph", "oxygen", "temperature"}),
}
_ALLIED = (frozenset({"heater", "chiller", "fan"}),)


def cause_of(name: str, subject: str, at_s: float, standing: Iterable[Raised], types: Mapping[str, str]) -> str:
    """The name of a standing alarm that explains a new one; empty when none does.

    Parameters
    ----------
    standing
        Alarms of the same system whose condition holds.
    types
        Machine type by equipment id.
    """
    found = [
        r for r in standing
        if r.alarm.holds and r.name != name and at_s - r.began_s <= LONGEST_S and _explains(r, name, subject, types)
    ]  # fmt: skip
    if not found:
        return ""
    first = min(found, key=lambda r: r.began_s)
    return first.cause or first.name


def family(r: Raised) -> str:
    """What an alarm and all that share its cause have in common: the name of the cause."""
    return r.cause or r.name


def spoken_for(r: Raised, flood: Raised | None) -> bool:
    """Whether the message of a flood speaks for an alarm: it is no louder, and nobody has answered the flood yet."""
    if flood is None or not flood.alarm.holds or flood.state is not State.UNACKNOWLEDGED:
        return False
    return r.name != flood.name and not louder(r.priority, flood.priority)


def answered_with(r: Raised, answered: Raised, seen_s: float) -> bool:
    """Whether an alarm that asks is answered with another, as that was known at a moment [Unix s].

    It follows from it, or is low and of the same cause; it is no louder, and did not begin later.
    """
    if r.state is not State.UNACKNOWLEDGED or r.name == answered.name or r.alarm.since_s > seen_s:
        return False
    if louder(r.priority, answered.priority):
        return False
    return r.cause == answered.name or (family(r) == family(answered) and r.priority is Priority.LOW)


def as_shown(r: Raised, shown: Mapping[str, str], seen_s: float) -> bool:
    """Whether an alarm that asks is one of those that somebody had before them, as it was then or quieter.

    Parameters
    ----------
    shown
        Names, each with the priority that was shown.
    seen_s
        When that was. [Unix s]
    """
    loud = RANK.get(shown.get(r.name, ""))  # type: ignore[call-overload]
    return (
        r.state is State.UNACKNOWLEDGED and r.alarm.since_s < seen_s and loud is not None and RANK[r.priority] <= loud
    )


def _explains(r: Raised, name: str, subject: str, types: Mapping[str, str]) -> bool:
    if r.name == "all-streams-silent":
        return name.endswith("-silent")
    if name.endswith("-silent"):
        return False
    if r.subject == subject:
        return True
    kind = types.get(r.subject, "")
    if subject in FOLLOWS.get(kind, frozenset()):
        return True
    other = types.get(subject, "")
    return any(kind in allied and other in allied for allied in _ALLIED)


def floods(times_s: Sequence[float], now_s: float, flooding: bool) -> bool:
    """Whether alarms come faster than anybody can read: more than ten in ten minutes, until fewer than five."""
    recent = sum(now_s - FLOOD_SPAN_S < t <= now_s for t in times_s)
    return recent >= FLOOD_ENDS if flooding else recent > FLOOD_MOST
