"""Which real parts this run uses: the store's place, the clock."""

from __future__ import annotations

import datetime as dt
import os
import pathlib
from typing import TYPE_CHECKING

from leadline.measures.errors import BadInput, Unreachable

if TYPE_CHECKING:
    from leadline.store.sqlite import SqliteStore


class SystemClock:
    """The machine's own clock."""

    def now(self) -> dt.datetime:
        return dt.datetime.now(dt.UTC)  # noqa: TID251 - the one place that may ask


def store_path(given: str | None = None) -> str:
    """Path of the store: as given, from LEADLINE_DB, or one file in the platform's data folder."""
    path = given or os.environ.get("LEADLINE_DB", "")
    if "://" in path:
        raise BadInput(f"{path.split('://')[0]}:// stores are not served yet", way_out="Give the path of a file.")
    if path:
        return path
    import platformdirs

    return str(pathlib.Path(platformdirs.user_data_dir("leadline", appauthor=False)) / "leadline.db")


def compiled_folder() -> pathlib.Path:
    """Where compiled code is kept: LEADLINE_CACHE, else the platform's cache folder. Losing it costs ten seconds."""
    given = os.environ.get("LEADLINE_CACHE", "")
    if given:
        return pathlib.Path(given)
    import platformdirs

    return pathlib.Path(platformdirs.user_cache_dir("leadline", appauthor=False))


def open_store(path: str, clock: SystemClock | None = None, *, create: bool = True, write: bool = True) -> SqliteStore:
    """Open the store; its default folder is made when it is missing. One that is read-only is opened for reading.

    Raises
    ------
    Unreachable
        When it cannot be opened.
    """
    from leadline.store.file import allowed
    from leadline.store.sqlite import SqliteStore

    folder = pathlib.Path(path).parent
    if create and write and not folder.exists():
        try:
            folder.mkdir(parents=True)
        except OSError as exc:
            raise Unreachable(
                f"cannot make the folder {folder}: {exc.strerror}", way_out="Choose another with --db PATH."
            ) from exc
    place = pathlib.Path(path)
    if write and place.is_file() and not (allowed(place, os.W_OK) and allowed(folder, os.W_OK)):
        write = False  # it can still be read; whoever writes is told
    return SqliteStore.open(path, clock=clock or SystemClock(), create=create, write=write)
