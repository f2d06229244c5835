"""Files that were sent and wait to be brought in: on this machine's disk, for an hour, never in the store."""

from __future__ import annotations

import re
import secrets
import shutil
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from leadline.formats.opening import Options
from leadline.measures.errors import BadInput
from leadline.measures.words import _

MOST_BYTES = 40_000_000  # of one form
MOST_WAITING_BYTES = 400_000_000
KEPT_S = 3600.0


@dataclass(slots=True)
class Waiting:
    """Some files, what was said about them, and whose they are."""

    id: str
    account: str
    files: list[Path]
    options: Options
    made: float = field(default_factory=time.monotonic)
    rejected: dict[str, str] = field(default_factory=dict)  # after an import: file name to its rejected rows


class Staging:
    """The files that wait. The folder is made when first needed, and goes with the process."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._waiting: dict[str, Waiting] = {}

    def keep(self, files: Sequence[tuple[str, bytes]], system: str, account: str) -> Waiting:
        """Files by name and content, until they are brought in or an hour is over.

        Raises
        ------
        BadInput
            When none holds anything, or too much waits already.
        """
        given = [(name, content) for name, content in files if content]
        if not given:
            raise BadInput(_("no file was chosen, or it is empty"), way_out=_("Choose a CSV or XLSX file."))
        self._forget_old()
        if self._size() + sum(len(c) for _, c in given) > MOST_WAITING_BYTES:
            raise BadInput(
                _("too many files wait to be brought in"), way_out=_("Bring those in first, or wait an hour.")
            )
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="leadline-import-"))
        ident = secrets.token_urlsafe(12)
        folder = self._folder / ident
        folder.mkdir(mode=0o700)
        paths: list[Path] = []
        for i, (name, content) in enumerate(given):
            path = folder / _plain(name, i)
            if path in paths:
                path = folder / f"{i}-{path.name}"
            path.write_bytes(content)
            paths.append(path)
        found = self._waiting[ident] = Waiting(ident, account, paths, Options(system=system))
        return found

    def find(self, ident: str, account: str) -> Waiting | None:
        """What waits under that id, for whoever sent it."""
        self._forget_old()
        found = self._waiting.get(ident)
        return found if found is not None and found.account == account else None

    def forget(self, ident: str) -> None:
        """The files go."""
        found = self._waiting.pop(ident, None)
        if found is not None and self._folder is not None:
            shutil.rmtree(self._folder / ident, ignore_errors=True)

    def close(self) -> None:
        """All of them go."""
        self._waiting.clear()
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None

    def _forget_old(self) -> None:
        for ident in [i for i, w in self._waiting.items() if w.made < time.monotonic() - KEPT_S]:
            self.forget(ident)

    def _size(self) -> int:
        return sum(p.stat().st_size for w in self._waiting.values() for p in w.files if p.exists())


def _plain(name: str, number: int) -> str:
    """A file's own name without any folder or odd sign in it."""
    bare = re.sub(r"[^\w. ()+-]", "_", name.replace("\\", "/").rpartition("/")[2]).strip(". ")[-80:]
    return bare or f"file-{number + 1}.csv"
