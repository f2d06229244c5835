"""The shapes of a round: candidates, chosen items, and what can wait."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

ACTIONS = (
    "test", "dose", "exchange", "inspect", "service", "prove", "treat", "isolate", "trim", "observe", "ask",
)  # fmt: skip
URGENCIES = ("now", "today", "week", "later")


@dataclass(frozen=True, slots=True)
class Evidence:
    """One number that a line rests on."""

    what: str
    value: float | str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something that could be done now, what it costs and what it is worth."""

    action: str
    subject: str
    urgency: str
    minutes: float
    worth: float  # expected harm avoided, in days of one quantity past its limit
    risk: float  # the probability that decides, 0 to 1
    because: str
    evidence: tuple[Evidence, ...] = ()
    system: str = ""
    entry_id: str = ""  # the entry this asks about
    waits_until: dt.datetime | None = None  # when it would become urgent if left
    page: str = ""  # where on the site it is done, when a press of a button does not say it all
    logs: tuple[tuple[str, str], ...] = ()  # how its doing is written, where that differs from the usual


@dataclass(frozen=True, slots=True)
class Later:
    """What is left for later, and until when it can wait."""

    action: str
    subject: str
    until: dt.datetime | None
    because: str
    minutes: float
    system: str = ""
    worthy: bool = False  # worth its minutes, but there was no room for it


@dataclass(frozen=True, slots=True)
class Round:
    """The ranked list of what to do now, and why."""

    system: str  # "" for all systems together
    as_of: dt.datetime
    minutes: float
    items: tuple[Candidate, ...]
    left_for_later: tuple[Later, ...]
    names: dict[str, str] = field(default_factory=dict)  # system id to its name
