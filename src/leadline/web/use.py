"""What the pages ask of the app: each name is one use case, handed in so that a page never picks its parts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any, Protocol

from leadline.app.ports import Store
from leadline.estimate.report import Course, Doubtful, SystemEstimate
from leadline.journal.entry import Entry
from leadline.measures.moments import Clock
from leadline.rounds.item import Round


class Logged(Protocol):
    """What became of an entry."""

    @property
    def entry(self) -> Entry: ...
    @property
    def doubtful(self) -> Doubtful | None: ...
    @property
    def assumed(self) -> tuple[str, ...]: ...


class Use(Protocol):
    """The use cases behind the first page; `leadline.app` offers them, `app_use` binds them."""

    def systems(self, store: Store) -> list[tuple[str, str]]: ...
    def estimate(
        self, store: Store, clock: Clock, system: str, as_of: dt.datetime | None = None, units: str = ""
    ) -> SystemEstimate: ...
    def courses(
        self, store: Store, clock: Clock, system: str, start: dt.datetime, as_of: dt.datetime | None = None
    ) -> dict[str, Course]: ...
    def round_for(
        self,
        store: Store,
        clock: Clock,
        system: str | None,
        minutes: float = 10.0,
        as_of: dt.datetime | None = None,
        units: str = "",
    ) -> Round: ...
    def log(
        self,
        store: Store,
        clock: Clock,
        *,
        system: str,
        kind: str,
        subject: str,
        value_text: str,
        unit: str,
        method: str = "",
        time: Any = None,
        note: str = "",
        extra: Mapping[str, Any] | None = None,
        token: str = "",
    ) -> Logged: ...
    def withdraw(self, store: Store, clock: Clock, entry_id: str) -> Entry: ...
    def confirm(self, store: Store, clock: Clock, entry_id: str) -> Any: ...
    def correct(self, store: Store, clock: Clock, entry_id: str, value_text: str, unit: str) -> Any: ...
    def done(
        self, store: Store, clock: Clock, system: str, action: str, subject: str, logs: Mapping[str, str] | None = None
    ) -> Any: ...


def app_use() -> Use:
    """The real use cases."""
    from types import SimpleNamespace
    from typing import cast

    from leadline.app import choose, describe, enquire, record

    return cast(
        Use,
        SimpleNamespace(
            systems=describe.systems,
            estimate=enquire.estimate,
            courses=enquire.courses,
            round_for=choose.round_for,
            log=record.log,
            withdraw=record.withdraw,
            confirm=record.confirm,
            correct=record.correct,
            done=record.done,
        ),
    )
