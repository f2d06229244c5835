"""Messages and their deliveries: queued, handed over, delivered, acknowledged. Only an answer closes a message."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from leadline.alarms.decide import Priority


class Kind(StrEnum):
    """What a message is for."""

    ALARM = "alarm"  # asks for an answer
    PROOF = "proof"  # asks for one tap, to prove the path
    NOTICE = "notice"  # only says something: done when handed over


class Stage(StrEnum):
    """How far a delivery has come."""

    QUEUED = "queued"
    TRYING = "trying"  # written before the try: after a crash it is tried again
    HANDED_OVER = "handed-over"  # a server took it
    DELIVERED = "delivered"  # it reached the end of its path: opened, or sounded
    ACKNOWLEDGED = "acknowledged"
    FAILED = "failed"  # for good
    DROPPED = "dropped"  # the message was closed first


WAITING = (Stage.QUEUED, Stage.TRYING)
_FIRST_WAIT_S, _LONGEST_WAIT_S, _NOTICE_TRIES = 5.0, 300.0, 8


@dataclass(frozen=True, slots=True)
class Message:
    """What somebody must be told.

    Attributes
    ----------
    id
        One and the same in every duplicate.
    opened_s, harm_at_s, calm_s, closed_s
        Unix seconds; `calm_s` is when the condition ended by itself.
    closed_by, closed_how
        Who answered, and by which way.
    """

    id: str
    kind: Kind
    system: str
    alarm: str
    priority: Priority
    subject: str
    text: str
    opened_s: float
    harm_at_s: float | None = None
    calm_s: float | None = None
    closed_s: float | None = None
    closed_by: str = ""
    closed_how: str = ""


@dataclass(frozen=True, slots=True)
class Delivery:
    """One message to one person by one path in one turn of calling."""

    seq: int
    message: str
    person: str
    path: str
    turn: int
    stage: Stage
    opened_s: float
    tries: int
    next_try_s: float
    changed_s: float
    note: str = ""


def back_off_s(tries: int) -> float:
    """How long to wait after so many tries that failed: 5 s, doubled each time, five minutes at most."""
    return float(min(_FIRST_WAIT_S * 2.0 ** max(tries - 1, 0), _LONGEST_WAIT_S))


def gives_up(kind: Kind, tries: int) -> bool:
    """Whether so many temporary failures end it: never for an alarm."""
    return kind is Kind.NOTICE and tries >= _NOTICE_TRIES
