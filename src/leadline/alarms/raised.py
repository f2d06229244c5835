"""An alarm with what is known of it: subject, priority, number, time to harm, cause; and what happened to it."""

from __future__ import annotations

from dataclasses import dataclass

from leadline.alarms.alarm import Alarm, Event, State
from leadline.alarms.decide import Priority


@dataclass(frozen=True, slots=True)
class Raised:
    """An alarm as it stands.

    Attributes
    ----------
    system, subject
        Where, and what it is about: a quantity, a stream, an equipment id or a path.
    value
        The number that decides, stored unit.
    began_s, harm_at_s, again_at_s
        When its condition began, when harm is expected, and when it speaks again if it still holds. [Unix s]
    cause
        The name of the alarm whose consequence it is; empty when it stands for itself.
    """

    system: str
    alarm: Alarm
    subject: str
    priority: Priority
    value: float | None
    because: str
    began_s: float
    harm_at_s: float | None = None
    cause: str = ""
    again_at_s: float | None = None

    @property
    def name(self) -> str:
        """Its name within the system."""
        return self.alarm.name

    @property
    def state(self) -> State:
        """Where it stands."""
        return self.alarm.state


@dataclass(frozen=True, slots=True)
class Happened:
    """One transition of an alarm."""

    at_s: float
    system: str
    name: str
    event: Event
    before: State
    after: State
    priority: Priority
    cause: str = ""
    who: str = ""  # a person, or empty for the watch itself
    words: str = ""
