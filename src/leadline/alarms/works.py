"""Declared work: which alarms are quiet while it goes on. It always ends by itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase

# kind: (usual minutes, longest minutes, alarm names that are quiet; {subject} is what the work is on). Judgement.
KINDS: Mapping[str, tuple[int, int, tuple[str, ...]]] = {
    "exchange": (
        90, 360,
        ("temperature-*", "salinity-*", "conductivity-*", "ph-*", "oxygen-*", "orp-*", "level-*", "topoff-*",
         "heater-*", "chiller-*", "*-pump-*", "skimmer-*"),
    ),
    "feeding": (30, 90, ("*-pump-*", "*pump*", "skimmer-*", "flow-*", "oxygen-heading-*")),
    "cleaning": (30, 180, ("{subject}-*",)),
    "service": (60, 720, ("{subject}-*",)),
}  # fmt: skip
NEVER = ("path-*", "watch-*", "*-stopped-for-good")


@dataclass(frozen=True, slots=True)
class Work:
    """Work that somebody declared: in a system, of a kind, on something (for cleaning and service), until an end."""

    system: str
    kind: str
    subject: str
    who: str
    begin_s: float
    end_s: float

    @property
    def reason(self) -> str:
        """Why alarms are quiet, in words."""
        on = f" of {self.subject}" if self.subject else ""
        return f"{self.kind}{on}, declared by {self.who or 'the keeper'}"

    @property
    def of_one(self) -> bool:
        """Whether it is on one stream or machine: then what stands of it already is quiet too."""
        return bool(self.subject)

    def quiets(self, name: str, at_s: float) -> bool:
        """Whether an alarm is quiet at a moment because of this work."""
        if not self.begin_s <= at_s < self.end_s or any(fnmatchcase(name, p) for p in NEVER):
            return False
        return any(fnmatchcase(name, p.format(subject=self.subject)) for p in KINDS[self.kind][2])
