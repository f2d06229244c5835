"""The exception tree, drawn.

LeadlineError                what a person sees is one line: what, where, what to do
├── BadInput          (2)    something typed, read or asked cannot be used as it stands
│   ├── UnknownName   (2)    a quantity, unit, system or file nobody knows; near misses are offered
│   └── OutOfRange    (2)    a value outside the range for which a formula was made
└── Unreachable       (3)    the store or a service cannot be reached, is locked, read-only, full or damaged
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class LeadlineError(Exception):
    """Base of everything Leadline raises on purpose; `exit_code` is what the command line returns."""

    exit_code = 2

    def __init__(self, what: str, *, where: str = "", way_out: str = "") -> None:
        self.what = what.rstrip()
        self.where = where
        self.way_out = way_out
        super().__init__(self.line())

    def line(self) -> str:
        """The one line a person reads: where, what, what to do."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        if not self.way_out:
            return head
        joint = "" if head.endswith((".", "?", "!")) else "."
        return f"{head}{joint} {self.way_out}"


class BadInput(LeadlineError):
    """Something typed, read or asked cannot be used as it stands."""


class UnknownName(BadInput):
    """A name nobody knows. `near` holds the closest known names."""

    def __init__(self, kind: str, name: str, known: Iterable[str] = (), *, where: str = "", way_out: str = ""):
        pool = sorted(known)
        self.name = name
        self.near = tuple(difflib.get_close_matches(name, pool, n=3, cutoff=0.6))
        if self.near:
            way_out = f"Did you mean {' or '.join(self.near)}?"
        elif not way_out and pool and len(pool) <= 24:
            way_out = f"Known: {', '.join(pool)}."
        super().__init__(f"unknown {kind} {name!r}", where=where, way_out=way_out)


class OutOfRange(BadInput):
    """A value outside the range for which a formula or an instrument was made."""


class Unreachable(LeadlineError):
    """The store or a service cannot be reached, is locked, read-only, full or damaged."""

    exit_code = 3
