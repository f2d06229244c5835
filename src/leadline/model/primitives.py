"""Two words that read the same for one number and for an array of members, interpreted or compiled."""

from __future__ import annotations

from typing import Any

import numpy as np


def above(value: Any, floor: Any) -> Any:
    """The value, and never less than the floor."""
    return np.maximum(value, floor)


def share(value: Any) -> Any:
    """The value held between 0 and 1."""
    return np.minimum(np.maximum(value, 0.0), 1.0)


def spent(amount: Any, rate: Any, seconds: float) -> Any:
    """What a first-order loss takes of an amount in a step; never more than is there.

    Backward Euler, a first-order scheme: with rate·seconds below 0.1 it is within 5 % of the exponential, and the
    error falls with the step.
    """
    k = rate * seconds
    return amount * k / (1.0 + k)


def some(condition: Any) -> bool:
    """Whether any member meets a condition: to leave out work that would change nothing."""
    return bool(np.any(condition))


def pick(condition: Any, then: Any, otherwise: Any) -> Any:
    """One of two, by a condition: `numpy.where`, which compiled for single numbers would make arrays."""
    return np.where(condition, then, otherwise)
