"""Text for a person or JSON for a machine."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import click

from leadline.measures.moments import iso


def emit(value: Any) -> None:
    """One JSON document on stdout."""
    click.echo(json.dumps(value, ensure_ascii=False, default=_plain, allow_nan=False))


def _plain(value: Any) -> Any:
    if isinstance(value, dt.datetime):
        return iso(value)
    raise TypeError(type(value).__name__)


def table(head: list[str], rows: list[list[str]], right: set[int] = frozenset()) -> str:  # type: ignore[assignment]
    """Columns padded to their widest cell; `right` names those set flush right."""
    widths = [max(len(r[k]) for r in [head, *rows]) for k in range(len(head))]
    lines = []
    for n, row in enumerate([head, *rows]):
        cells = [c.rjust(w) if k in right else c.ljust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True))]
        line = "  ".join(cells).rstrip()
        lines.append(click.style(line, dim=True) if n == 0 else line)
    return "\n".join(lines)
