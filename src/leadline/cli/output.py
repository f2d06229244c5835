"""Text for a person or JSON for a machine."""

from __future__ import annotations

from typing import Any

import click


def emit(value: Any) -> None:
    """One JSON document on stdout."""
    from leadline.app.answers import written

    click.echo(written(value))


def table(head: list[str], rows: list[list[str]], right: set[int] = frozenset()) -> str:  # type: ignore[assignment]
    """Columns padded to their widest cell; `right` names those set flush right."""
    widths = [max(len(r[k]) for r in [head, *rows]) for k in range(len(head))]
    lines = []
    for n, row in enumerate([head, *rows]):
        cells = [c.rjust(w) if k in right else c.ljust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True))]
        line = "  ".join(cells).rstrip()
        lines.append(click.style(line, dim=True) if n == 0 else line)
    return "\n".join(lines)
