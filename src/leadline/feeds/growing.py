"""A stream CSV that grows: read on from where reading stopped, through rotation, truncation and half-written lines.

The place is remembered only when everything before it is on disk. It is known again by what stands before it, not by
the file's name or number: a file that was copied back is read on, and one that was begun anew is read from its start.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import os
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from leadline.app.ports import Arrival, Intake, Odd
from leadline.feeds import payload
from leadline.feeds.handing import Said, hand_over, run
from leadline.feeds.payload import Strange, ZoneOf
from leadline.measures.errors import LeadlineError
from leadline.system.orders import FileFeed

AT_ONCE = 10_000  # lines in one batch; the next waits until these are on disk
CHUNK = 2**19  # bytes read at once: some 10,000 lines
LONGEST = 2**16  # bytes of a line; a longer one is odd, and passed over
BEFORE = 4096  # bytes before the place by which it is known again
TRY_AGAIN_S = 30.0  # after the place could not be read or written
_COLUMNS = ("time", "system", "stream", "value", "unit")
_DELIMITERS = (",", ";", "\t")

Load = Callable[[], Mapping[str, Any] | None]
Save = Callable[[dict[str, Any]], None]


@dataclass(frozen=True, slots=True)
class Place:
    """How far a file was read."""

    offset: int = 0
    line: int = 0
    columns: tuple[str, ...] = ()  # as the header has them; none: not read yet
    delimiter: str = ","
    before: str = ""  # of the bytes before the offset
    inode: int = 0

    def to_record(self) -> dict[str, Any]:
        return {
            "offset": self.offset, "line": self.line, "columns": list(self.columns), "delimiter": self.delimiter,
            "before": self.before, "inode": self.inode,
        }  # fmt: skip

    @classmethod
    def from_record(cls, record: Mapping[str, Any] | None) -> Place:
        if not record:
            return cls()
        return cls(
            int(record["offset"]), int(record["line"]), tuple(record["columns"]), str(record["delimiter"]),
            str(record["before"]), int(record["inode"]),
        )  # fmt: skip


class NoHeader(Exception):
    """The file does not begin as a stream CSV does."""


class Growing:
    """Follows one file, from `start` to `stop`.

    Parameters
    ----------
    load, save
        What was remembered, and how to remember it.
    zone_of
        The zone of a system, for times without an offset; without it these are odd.
    """

    def __init__(
        self, settings: FileFeed, intake: Intake, *, load: Load, save: Save, zone_of: ZoneOf | None = None
    ) -> None:
        self._settings = settings
        self._path = Path(settings.path).expanduser()
        self._intake = intake
        self._load = load
        self._save = save
        self._zone_of = payload.remembering(zone_of)
        self._say = Said(intake, settings.id)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._place = Place()
        self._file: BinaryIO | None = None
        self._forgetful = ""  # why the place could not be remembered
        self._last: dict[tuple[str, str], float] = {}  # time of each stream's last point [Unix s]

    def start(self) -> None:
        """Follow the file; returns at once."""
        self._stop.clear()
        self._thread = threading.Thread(target=run, args=(self._follow, self._say), name=self._settings.id, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Wait for what was handed over, and leave."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(30.0)
            self._thread = None

    def _follow(self) -> None:
        if not self._remembered():
            return
        try:
            self._finish_moved()
            while not self._stop.is_set():
                if not self._look():
                    self._stop.wait(self._settings.every_s)
        finally:
            self._close()

    def _remembered(self) -> bool:
        while not self._stop.is_set():
            try:
                self._place = Place.from_record(self._load())
            except (LeadlineError, OSError) as exc:
                self._say(False, f"cannot learn how far {self._path} was read: {exc}")
                self._stop.wait(TRY_AGAIN_S)
            except (KeyError, TypeError, ValueError):
                self._place = Place()  # remembered by a version that we do not know: better twice than never
                return True
            else:
                return True
        return False

    def _look(self) -> bool:
        """Read a batch; False when there is nothing more now."""
        try:
            self._open_newest()
            more = self._file is not None and self._read(self._file)
        except FileNotFoundError:
            self._say(False, f"there is no file {self._path} yet")
        except NoHeader as exc:
            self._say(False, f"{self._path}: {exc}")
        except OSError as exc:
            self._close()
            self._say(False, f"{self._path} cannot be read ({exc.strerror or exc})")
        else:
            if not self._stop.is_set():
                self._say(not self._forgetful, self._forgetful or f"reading {self._path}")
            return more
        return False

    # -- which file --------------------------------------------------------------------------------

    def _open_newest(self) -> None:
        """Have the file open that now has the name; finish the one before it first."""
        try:
            there = os.stat(self._path).st_ino
        except FileNotFoundError:
            there = None
        if self._file is not None and os.fstat(self._file.fileno()).st_ino != there:
            self._drain(self._file)  # there may be more in it, whether or not another is in its place already
        if there is None:
            raise FileNotFoundError
        if self._file is not None and os.fstat(self._file.fileno()).st_ino == there:
            if not _knows(self._file, self._place):  # cut short, or written anew
                self._begin_anew()
            return
        new = open(self._path, "rb")  # noqa: SIM115 - stays open, so that it can be finished when it is moved
        if not _knows(new, self._place):
            if self._file is not None:
                self._drain(self._file, last=True)
            if self._stop.is_set():
                new.close()
                return
            self._begin_anew()
        self._close()
        self._file = new

    def _begin_anew(self) -> None:
        # what writes the file may give it a header only once
        self._place = Place(columns=self._place.columns, delimiter=self._place.delimiter)
        self._last.clear()

    def _drain(self, file: BinaryIO, *, last: bool = False) -> None:
        """Read what is left of a file that was moved away; at last also a line whose end will never come."""
        try:
            while self._read(file, last=last) and not self._stop.is_set():
                pass
        except NoHeader:
            return  # nothing of it was ever read

    def _finish_moved(self) -> None:
        """When the file was moved away while we were not here: find it by what stands before our place, and finish."""
        if not self._place.offset:
            return
        try:
            with open(self._path, "rb") as file:
                if _knows(file, self._place):
                    return
        except OSError:
            pass  # not there, or not yet
        try:
            beside = [p for p in self._path.parent.iterdir() if p.name.startswith(self._path.stem) and p != self._path]
            for path in sorted(beside, key=lambda p: p.stat().st_ino != self._place.inode):
                if not path.is_file():
                    continue
                with open(path, "rb") as file:
                    if _knows(file, self._place):
                        self._drain(file, last=True)
                        return
        except OSError:
            return

    def _close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None

    # -- what it says ------------------------------------------------------------------------------

    def _read(self, file: BinaryIO, *, last: bool = False) -> bool:
        """Read a batch, hand it over, and remember the place; False when nothing was left to read."""
        file.seek(self._place.offset)
        data = file.read(CHUNK)
        pieces = data.split(b"\n")
        rest = pieces.pop()
        lines = pieces[:AT_ONCE]
        taken = sum(map(len, lines)) + len(lines)
        if not lines and len(rest) >= LONGEST:
            return self._pass_over(file)
        if not lines and last and rest:
            lines, taken = [rest], len(rest)
        if not lines:
            return False
        batch = _Batch(self._path.name, self._place, self._zone_of, self._last)
        for line in lines:
            batch.add(line)
        if last and lines == [rest]:
            batch.cut_short(rest)
        return self._keep(file, batch, self._place.offset + taken)

    def _pass_over(self, file: BinaryIO) -> bool:
        """A line without end: keep its beginning, and go on after it once it has one."""
        file.seek(self._place.offset)
        start = file.read(LONGEST)
        length = len(start)
        while piece := file.read(CHUNK):
            at = piece.find(b"\n")
            length += len(piece) if at < 0 else at
            if at >= 0:
                batch = _Batch(self._path.name, self._place, self._zone_of, self._last)
                batch.line += 1
                batch.strange("", "", start, f"a line of {length:,} bytes")
                return self._keep(file, batch, self._place.offset + length + 1)
        return False

    def _keep(self, file: BinaryIO, batch: _Batch, offset: int) -> bool:
        if batch.points or batch.odd:
            taken = hand_over(self._intake, self._settings.id, lambda: batch.points, batch.odd, self._stop)
            if taken is None:
                return False
        inode = os.fstat(file.fileno()).st_ino
        place = Place(offset, batch.line, batch.columns, batch.delimiter, _before(file, offset), inode)
        self._place = place
        try:
            self._save(place.to_record())
            self._forgetful = ""
        except (LeadlineError, OSError) as exc:
            # the points are kept; at worst they come once more after a restart
            self._forgetful = f"cannot remember how far {self._path} was read: {exc}"
        return True


class _Batch:
    """Lines of one file, read as points from a place on."""

    def __init__(self, file: str, place: Place, zone_of: ZoneOf | None, last: dict[tuple[str, str], float]) -> None:
        self.file = file
        self.line = place.line
        self.columns = place.columns
        self.delimiter = place.delimiter
        self.points: list[Arrival] = []
        self.odd: list[Odd] = []
        self._zone_of = zone_of
        self._last = last
        self._pick: list[int] = []
        self._set_columns(place.columns)

    def add(self, raw: bytes) -> None:
        self.line += 1
        raw = raw.strip(b"\0\r")  # a file that was open when the power failed may have a stretch of zeros
        if self.line == 1:
            raw = raw.removeprefix(b"\xef\xbb\xbf")
        if not raw.strip():
            return
        if (self.line == 1 or not self.columns) and self._first(raw):
            return
        system = stream = ""
        try:
            if len(raw) > LONGEST:
                raise Strange(f"a line of {len(raw):,} bytes")
            fields = self._fields(raw, self.delimiter)
            if fields[0].strip().lower() in self.columns and _is_header(fields):
                self._set_columns(_names(fields))  # what writes it began again
                return
            if not any(f.strip() for f in fields):
                return
            time, system, stream, value, unit = (fields[i].strip() if i < len(fields) else "" for i in self._pick)
            if len(fields) > len(self.columns):
                raise Strange(f"{len(fields)} fields where the header has {len(self.columns)}")
            self.points.append(self._point(time, system, stream, value, unit))
        except Strange as exc:
            self.strange(system, stream, raw, str(exc))

    def cut_short(self, raw: bytes) -> None:
        """The last line has no end: a number may lack digits, so it is for the keeper to judge."""
        if self.points:
            point = self.points.pop()
            self.strange(point.system, point.stream, raw, "the file ends in the middle of this line")

    def strange(self, system: str, stream: str, raw: bytes, why: str) -> None:
        self.odd.append(payload.odd(system, stream, raw, f"{self.file}:{self.line}: {why}"))

    def _point(self, time: str, system: str, stream: str, value: str, unit: str) -> Arrival:
        payload.name(system, "system")
        payload.name(stream, "stream")
        if not time:
            raise Strange("the time is missing")
        t = payload.moment(time, system, self._zone_of, self._last.get((system, stream)))
        v = payload.number(value)
        if not unit.isprintable():
            raise Strange("the unit is no unit")
        self._last[system, stream] = t if t is not None else 0.0
        return Arrival(system, stream, t, v, unit)

    def _first(self, raw: bytes) -> bool:
        """Whether the first line is a header. It need not be, when what writes the file was not told of a new one."""
        if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
            raise NoHeader("is in UTF-16: have it written in UTF-8")
        with contextlib.suppress(Strange):
            for delimiter in _DELIMITERS:
                fields = self._fields(raw, delimiter)
                if _is_header(fields):
                    self.delimiter = delimiter
                    self._set_columns(_names(fields))
                    return True
                if not self.columns and len(fields) in (4, 5) and self._is_point(fields):
                    self.delimiter = delimiter
                    self._set_columns(_COLUMNS[: len(fields)])
        if not self.columns:
            raise NoHeader("its first line must be time,system,stream,value or time,system,stream,value,unit")
        return False

    def _is_point(self, fields: list[str]) -> bool:
        try:
            self._point(*[f.strip() for f in (*fields, "")][:5])
        except Strange:
            return False
        return True

    def _set_columns(self, columns: tuple[str, ...]) -> None:
        self.columns = columns
        self._pick = [columns.index(c) if c in columns else len(columns) for c in _COLUMNS]

    def _fields(self, raw: bytes, delimiter: str) -> list[str]:
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError:
            raise Strange("not text in UTF-8") from None
        if '"' not in text:
            return text.split(delimiter)
        try:
            return next(csv.reader([text], delimiter=delimiter, strict=True))
        except (csv.Error, StopIteration):
            raise Strange("its quotes do not match: a quote inside text is written as two") from None


def _names(fields: list[str]) -> tuple[str, ...]:
    return tuple(f.strip().lower() for f in fields)


def _is_header(fields: list[str]) -> bool:
    return {"time", "system", "stream", "value"} <= set(_names(fields))


def _before(file: BinaryIO, offset: int) -> str:
    start = max(0, offset - BEFORE)
    file.seek(start)
    return hashlib.sha256(file.read(offset - start)).hexdigest()


def _knows(file: BinaryIO, place: Place) -> bool:
    """Whether a file is the one in which the place is: as long at least, and the same before it."""
    return place.offset == 0 or (
        os.fstat(file.fileno()).st_size >= place.offset and _before(file, place.offset) == place.before
    )
