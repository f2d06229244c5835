"""What was noticed, with its evidence: one shape for everything that may become an alarm."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """A condition that came true or ended.

    Attributes
    ----------
    name, subject
        `temperature-high` and what it is about: a quantity, a stream or an equipment id.
    at_s
        Unix seconds.
    holds
        Whether it came true; else it ended.
    value
        The number that decides, in its stored unit; None when there is none.
    harm_s
        Seconds from then until harm is expected; 0 when the limit is passed, None when nobody can say.
    because
        One plain sentence with the number.
    consequence
        False for what harms no animal by itself, whatever the time says.
    """

    name: str
    subject: str
    at_s: float
    holds: bool
    value: float | None
    harm_s: float | None
    because: str
    consequence: bool = True
