"""Text for a person or JSON for a machine."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any

import click

from leadline.measures.errors import Unreachable


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


@contextmanager
def whole_file(out: Path) -> Iterator[IO[bytes]]:
    """A file that is there whole, on disk, when the block ends, and untouched when it fails.

    Raises
    ------
    Unreachable
        When it cannot be written there.
    """
    draft = out.with_name(f".{out.name}.{os.getpid()}.part")
    try:
        with open(draft, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        draft.replace(out)
    except OSError as exc:
        raise Unreachable(
            f"can't be written ({exc.strerror})", where=str(out), way_out="Choose another place."
        ) from exc
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)
