"""A keeper with half a year of quiet records, as for the app's own tests."""

from __future__ import annotations

from tests.app.conftest import keeper, settled

__all__ = ["keeper", "settled"]
