"""What the prompt prints with --json and the API answers: one function for each schema, and how it is written."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

from leadline.measures.moments import iso


def written(value: Any) -> str:
    """One JSON document; moments as ISO 8601 in UTC, and no number that JSON does not know."""
    return json.dumps(value, ensure_ascii=False, default=_plain, allow_nan=False)


def moment(seconds: float | None) -> dt.datetime | None:
    """Unix seconds as a moment."""
    return None if seconds is None else dt.datetime.fromtimestamp(seconds, dt.UTC)


def _plain(value: Any) -> Any:
    if isinstance(value, dt.datetime):
        return iso(value)
    raise TypeError(type(value).__name__)
