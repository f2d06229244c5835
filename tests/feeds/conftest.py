"""An inbox that keeps what comes, and a clock that stands still."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest
from tests.feeds.inbox import Inbox

from leadline.measures.moments import UTC, FixedClock


@pytest.fixture
def inbox() -> Iterator[Inbox]:
    box = Inbox()
    yield box
    box.close()


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(dt.datetime(2026, 3, 1, 8, 0, tzinfo=UTC))
