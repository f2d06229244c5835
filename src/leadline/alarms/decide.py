"""How loud: priority from the time to harm, as a named reason."""

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
