"""The invented house as a real store: the demo itself, at a moment that stands still."""

from __future__ import annotations

import datetime as dt
import pathlib

from leadline.cli.serving import make_demo
from leadline.measures.moments import FixedClock

NOW = dt.datetime(2026, 3, 1, 8, 0, tzinfo=dt.UTC)


def built(folder: pathlib.Path, now: dt.datetime = NOW) -> pathlib.Path:
    """A store of the whole house in `folder`; gives its path."""
    return make_demo(folder, FixedClock(now))
