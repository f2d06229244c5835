"""What the app needs from the outside world: a Store, and a Clock (see `measures.moments`)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from leadline.journal.entry import Entry
from leadline.measures.moments import Clock

if TYPE_CHECKING:
    import numpy as np


@dataclass(frozen=True, slots=True)
class Added:
    """What an import or an entry did."""

    new: int
    already_there: int


@dataclass(frozen=True, slots=True)
class Parked:
    """A row with an impossible time, kept for the keeper to judge."""

    id: int
    file: str
    line: int
    reason: str
    row: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Points:
    """Part of one stream, in time order. Times in Unix seconds, QARTOD flags beside the values."""

    times_s: np.ndarray
    values: np.ndarray
    flags: np.ndarray


@dataclass(frozen=True, slots=True)
class Rollup:
    """Buckets of a stream: start [Unix s], count, least, greatest, sum. Extremes are never lost."""

    start_s: np.ndarray
    n: np.ndarray
    least: np.ndarray
    greatest: np.ndarray
    total: np.ndarray


@dataclass(frozen=True, slots=True)
class Contents:
    """What a store's file holds, counted by reading all of it back."""

    path: str
    systems: int
    entries: int
    points: int
    newest: dt.datetime | None  # time of the latest entry
    set_aside: str = ""  # after a restore: where the file is that stood there before


class Store(Protocol):
    """Where everything is kept. Every write is one transaction; what returned is on disk."""

    # several writes as one transaction: `with store.together(): ...`
    def together(self) -> AbstractContextManager[None]: ...

    # systems: the document is the contract's TOML, kept as it was given; every version is kept
    def save_system(self, system: str, document: str, at: dt.datetime) -> None: ...
    def systems(self) -> list[str]: ...
    def system_document(self, system: str, as_of: dt.datetime | None = None) -> str | None: ...

    # the journal: append-only, in order of entry (`seq`)
    def add_entries(self, entries: Iterable[Entry]) -> Added: ...
    def entries(self, system: str | None = None, after_seq: int = 0) -> list[Entry]: ...
    def entry(self, id: str) -> Entry | None: ...
    def last_seq(self, system: str) -> int: ...

    # rows for the keeper to judge
    def park(self, rows: Iterable[Parked]) -> int: ...
    def parked(self) -> list[Parked]: ...
    def unpark(self, id: int) -> None: ...

    # small named records: import mappings, adopted subjects, settings
    def put_record(self, kind: str, name: str, value: Any) -> None: ...
    def record(self, kind: str, name: str) -> Any | None: ...
    def records(self, kind: str) -> dict[str, Any]: ...

    # streams
    def declare_stream(self, system: str, stream: str, *, resolution: float | None = None) -> None: ...
    def streams(self, system: str | None = None) -> list[tuple[str, str]]: ...
    def add_points(
        self,
        system: str,
        stream: str,
        times_s: Sequence[float] | np.ndarray,
        values: Sequence[float] | np.ndarray,
        flags: Sequence[int] | np.ndarray | None = None,
    ) -> Added: ...
    def points(self, system: str, stream: str, start_s: float, end_s: float) -> Points: ...
    def rollup(self, system: str, stream: str, start_s: float, end_s: float, bucket: str) -> Rollup: ...
    def latest_point(self, system: str, stream: str, before_s: float | None = None) -> tuple[float, float] | None: ...
    def medians(self, system: str, stream: str, start_s: float, end_s: float, every_s: float = 600.0) -> Points: ...
    def stream_revision(self, system: str) -> int: ...
    def pack(self, before_s: float) -> int: ...

    # what can be worked out again, kept to answer fast; losing it loses nothing
    def keep_aside(self, name: str, key: str, content: bytes) -> None: ...
    def kept_aside(self, name: str) -> tuple[str, bytes] | None: ...

    # safety
    def backup(self, target: str) -> Contents: ...
    def close(self) -> None: ...


class Restorer(Protocol):
    """Puts a backup in the place of a store that is not open."""

    def __call__(self, backup_path: str, target_path: str, *, clock: Clock) -> Contents: ...
