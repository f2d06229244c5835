"""Compiled code of the simulator: one folder for the whole run, filled by the first test that needs it."""

import os
import tempfile
from pathlib import Path

import pytest


@pytest.fixture(scope="session", autouse=True)
def compiled_folder():
    """The folder; commands that tests start as processes find it by LEADLINE_CACHE."""
    given = os.environ.get("LEADLINE_CACHE")
    if given:
        yield Path(given)
        return
    with tempfile.TemporaryDirectory(prefix="leadline-compiled-", ignore_cleanup_errors=True) as folder:
        os.environ["LEADLINE_CACHE"] = folder
        yield Path(folder)
        del os.environ["LEADLINE_CACHE"]


@pytest.fixture(scope="session", autouse=True)
def data_folder():
    """Whoever names no store gets one of this run, never the one of whoever runs the tests."""
    before = os.environ.get("XDG_DATA_HOME")
    with tempfile.TemporaryDirectory(prefix="leadline-data-", ignore_cleanup_errors=True) as folder:
        os.environ["XDG_DATA_HOME"] = folder
        yield Path(folder)
    if before is None:
        del os.environ["XDG_DATA_HOME"]
    else:
        os.environ["XDG_DATA_HOME"] = before
