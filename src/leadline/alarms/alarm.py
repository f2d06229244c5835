"""The life of one alarm: states and transitions of IEC 62682 (ISA-18.2), as one table.

Nothing here knows what the alarm is about, what time it is or who listens. The table is the whole of it: an event that
stands in no row for a state changes nothing and is reported as refused.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum


class State(StrEnum):
    """Where an alarm stands. The words are the contract's; the two latched ones are spoken as `spoken` says."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned-unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched-unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched-acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out-of-service"


class Event(StrEnum):
    """What can happen to an alarm."""

    ALARM = "alarm"  # its condition came true, on-delay over
    RETURN = "return"  # its condition ended, dead-band and off-delay over
    ACKNOWLEDGE = "acknowledge"
    REALARM = "re-alarm"  # a timer ran out, or it became more severe
    RESET = "reset"  # a latched alarm set back by hand
    SHELVE = "shelve"  # by a person, always with an end
    UNSHELVE = "unshelve"  # by hand, or its end has come
    SUPPRESS = "suppress"  # by declared work
    UNSUPPRESS = "unsuppress"
    REMOVE = "remove"  # from service
    RETURN_TO_SERVICE = "return to service"


S, E = State, Event
AUDIBLE = frozenset({S.UNACKNOWLEDGED})
ACTIVE = frozenset({S.UNACKNOWLEDGED, S.ACKNOWLEDGED})
_ON = (S.NORMAL, S.UNACKNOWLEDGED, S.ACKNOWLEDGED, S.RETURNED, S.LATCHED_UNACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED)
SPOKEN = {S.LATCHED_UNACKNOWLEDGED: S.RETURNED, S.LATCHED_ACKNOWLEDGED: S.ACKNOWLEDGED}

# (state, event) to the next state; a pair of states means: when the condition holds, when it does not
TABLE: dict[tuple[State, Event], State | tuple[State, State]] = {
    (S.NORMAL, E.ALARM): S.UNACKNOWLEDGED,
    (S.UNACKNOWLEDGED, E.ACKNOWLEDGE): S.ACKNOWLEDGED,
    (S.UNACKNOWLEDGED, E.RETURN): S.RETURNED,
    (S.ACKNOWLEDGED, E.RETURN): S.NORMAL,
    (S.ACKNOWLEDGED, E.REALARM): S.UNACKNOWLEDGED,
    (S.RETURNED, E.ACKNOWLEDGE): S.NORMAL,
    (S.RETURNED, E.ALARM): S.UNACKNOWLEDGED,
    (S.LATCHED_UNACKNOWLEDGED, E.ACKNOWLEDGE): S.LATCHED_ACKNOWLEDGED,
    (S.LATCHED_UNACKNOWLEDGED, E.ALARM): S.UNACKNOWLEDGED,
    (S.LATCHED_ACKNOWLEDGED, E.ALARM): S.UNACKNOWLEDGED,
    (S.LATCHED_ACKNOWLEDGED, E.RESET): S.NORMAL,
    **{(s, E.SHELVE): S.SHELVED for s in _ON},
    **{(s, E.SUPPRESS): S.SUPPRESSED for s in _ON},
    **{(s, E.REMOVE): S.OUT_OF_SERVICE for s in _ON},
    # what comes back announces itself again when its condition still holds: the key safety of shelving
    (S.SHELVED, E.UNSHELVE): (S.UNACKNOWLEDGED, S.NORMAL),
    (S.SUPPRESSED, E.UNSUPPRESS): (S.UNACKNOWLEDGED, S.NORMAL),
    (S.OUT_OF_SERVICE, E.RETURN_TO_SERVICE): (S.UNACKNOWLEDGED, S.NORMAL),
}
LATCHING: dict[tuple[State, Event], State] = {
    (S.UNACKNOWLEDGED, E.RETURN): S.LATCHED_UNACKNOWLEDGED,
    (S.ACKNOWLEDGED, E.RETURN): S.LATCHED_ACKNOWLEDGED,
}


def following(state: State, event: Event, *, holds: bool, latching: bool = False) -> State | None:
    """The state after an event; None when the event means nothing in this state.

    Parameters
    ----------
    holds
        Whether the alarm's condition is true at that moment.
    latching
        Whether this alarm stays until somebody sets it back.
    """
    if latching and (state, event) in LATCHING:
        return LATCHING[state, event]
    found = TABLE.get((state, event))
    if isinstance(found, tuple):
        return found[0] if holds else found[1]
    return found


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm as it stands.

    Attributes
    ----------
    name
        Such as `temperature-high`; one of a name in a system.
    holds
        Whether its condition is true, whatever its state.
    since_s, until_s
        When it came to its state, and when a shelf or a hush ends [Unix s]; None without an end.
    """

    name: str
    state: State = State.NORMAL
    holds: bool = False
    latching: bool = False
    since_s: float = 0.0
    until_s: float | None = None
    reason: str = ""


def after(alarm: Alarm, event: Event, at_s: float, *, until_s: float | None = None, reason: str = "") -> Alarm | None:
    """The alarm after an event; None when the event is refused.

    ALARM and RETURN change `holds` in any state, for a hushed alarm must know whether to speak when its hush ends.
    A shelf or a hush without an end is refused: that is the caller's to give.
    """
    if event in (Event.SHELVE, Event.SUPPRESS) and (until_s is None or until_s <= at_s or not reason):
        return None
    holds = {Event.ALARM: True, Event.RETURN: False}.get(event, alarm.holds)
    found = following(alarm.state, event, holds=holds, latching=alarm.latching)
    if found is None:
        return replace(alarm, holds=holds) if holds != alarm.holds else None
    ends = until_s if event in (Event.SHELVE, Event.SUPPRESS) else None
    return replace(alarm, state=found, holds=holds, since_s=at_s, until_s=ends, reason=reason)


def time_out(alarm: Alarm, at_s: float) -> Event | None:
    """The event that the end of a shelf or a hush brings, when its time has come."""
    if alarm.until_s is None or at_s < alarm.until_s:
        return None
    return {State.SHELVED: Event.UNSHELVE, State.SUPPRESSED: Event.UNSUPPRESS}.get(alarm.state)
