"""A keeper with an empty store, and one with half a year of quiet records."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.app.keeper import Keeper, quiet_year


@pytest.fixture
def keeper(tmp_path: Path) -> Iterator[Keeper]:
    found = Keeper(tmp_path)
    yield found
    found.close()


@pytest.fixture
def settled(keeper: Keeper) -> Keeper:
    """Half a year of weekly tests of everything, the last of them this morning."""
    quiet_year(keeper)
    return keeper
