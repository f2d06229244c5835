"""How loud, and when again: priority from the time to harm and the consequence."""

from __future__ import annotations

from enum import StrEnum

HOUR = 3600.0


class Priority(StrEnum):
    """The contract's words."""

    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"
    URGENT = "urgent"


# a keeper needs half an hour to act, and may sleep eight: judgement
_BY_TIME = ((1.0 * HOUR, Priority.URGENT), (6.0 * HOUR, Priority.HIGH), (24.0 * HOUR, Priority.MEDIUM))


def priority(harm_s: float | None, *, consequence: bool = True) -> Priority:
    """Priority from the seconds until harm; `consequence` is False for what harms no animal by itself."""
    if not consequence:
        return Priority.LOW
    if harm_s is None:
        return Priority.MEDIUM
    for span, found in _BY_TIME:
        if harm_s <= span:
            return found
    return Priority.LOW


def risen(loud: Priority, harm_at_s: float | None, at_s: float) -> Priority | None:
    """The priority to which an alarm that still holds has risen because its hour draws near; None when it has not.

    High at most: what is urgent shows by itself, for then the limit is at hand and a forecast is no longer needed.
    """
    if harm_at_s is None:
        return None
    found = priority(max(harm_at_s - at_s, _BY_TIME[0][0] + 1.0))
    return found if louder(found, loud) else None


RANK = {Priority.LOW: 0, Priority.MEDIUM: 1, Priority.HIGH: 2, Priority.URGENT: 3}


def louder(one: Priority, other: Priority) -> bool:
    """Whether one priority is above the other."""
    return RANK[one] > RANK[other]


def again_s(loud: Priority, at_s: float, harm_at_s: float | None) -> float | None:
    """When an acknowledged alarm speaks again if its condition still holds; None: never.

    Half of what is left until harm, between fifteen minutes and four hours: somebody said "I have it", and if nothing
    got better by then it may be that nobody has. Judgement.
    """
    if loud is Priority.LOW:
        return None
    if loud is Priority.MEDIUM:
        return at_s + 12 * HOUR
    left = HOUR if harm_at_s is None else harm_at_s - at_s
    return at_s + min(max(0.5 * left, 0.25 * HOUR), 4 * HOUR)


LONGEST_SHELF_S = {
    Priority.URGENT: HOUR,
    Priority.HIGH: 12 * HOUR,
    Priority.MEDIUM: 12 * HOUR,
    Priority.LOW: 168 * HOUR,
}
