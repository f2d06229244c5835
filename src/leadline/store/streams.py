"""Streams: points, their hourly and daily rollups, packed days.

New points go to the table `point` (the hot tail); `pack` moves whole older days into chunks. Readers see both
alike. Whatever is written, the hours it touches are counted again from the points, and the days from the hours, in
the same transaction: a late, repeated or corrected point can do no harm, for no rollup is ever added to.

Times are kept to the millisecond. A value that is no finite number is kept as missing (flag 9). Rollups hold every
point but those flagged 4 (fail) or 9 (missing). Flags are those of QARTOD: 1 pass, 2 not evaluated, 3 suspect,
4 fail, 9 missing. Every span [start, end) includes its start and not its end.

numpy is imported where it is used: a command that reads only the journal must not pay for it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import TYPE_CHECKING

from leadline.app.ports import Added, Points, Rollup
from leadline.measures.errors import BadInput
from leadline.store.file import DatabaseFile

if TYPE_CHECKING:
    import numpy as np

    Columns = tuple[np.ndarray, np.ndarray, np.ndarray]

HOUR_MS = 3_600_000
DAY_MS = 86_400_000
TEN_MINUTES_MS = 600_000
_LATEST_S = 253_402_300_800.0  # the year 10000, where dates end
_NOT_EVALUATED, _MISSING = 2, 9
_COUNTS = "flag NOT IN (4, 9) AND v IS NOT NULL"
_TABLES = {"1h": "roll_1h", "1d": "roll_1d"}
_CHUNK = "n, t_first, t_grain, t_steps, v_scale, v_first, v_grain, v_steps, flags"
_PUT = (
    "INSERT INTO point VALUES (?, ?, ?, ?) ON CONFLICT (series, t) DO UPDATE SET v = excluded.v, flag = excluded.flag"
    " WHERE v IS NOT excluded.v OR flag <> excluded.flag"
)
_PACK_AT_ONCE = 200_000  # points in one transaction of `pack`, so that live points need not wait for long


class Streams(DatabaseFile):
    """The part of the store that keeps streams."""

    def declare_stream(self, system: str, stream: str, *, resolution: float | None = None) -> None:
        """Make a stream known, and the step of its values if it has one; points do so by themselves."""
        with self._write() as db:
            db.execute(
                "INSERT INTO stream (system, stream, resolution) VALUES (?, ?, ?) ON CONFLICT (system, stream)"
                " DO UPDATE SET resolution = ifnull(excluded.resolution, resolution)",
                (system, stream, resolution),
            )

    def streams(self, system: str | None = None) -> list[tuple[str, str]]:
        """System and stream of every stream that is known, in alphabetical order."""
        with self._read() as db:
            return db.execute(
                "SELECT system, stream FROM stream WHERE ?1 IS NULL OR system = ?1 ORDER BY system, stream", (system,)
            ).fetchall()

    def stream_revision(self, system: str) -> int:
        """A number that grows whenever points of the system's streams are added or changed.

        Points that only lengthen a stream within the ten minutes of its newest one do not count: live streams would
        else make everything that rests on ten-minute medians be reckoned anew each second.
        """
        with self._read() as db:
            return int(
                db.execute("SELECT ifnull(sum(revision), 0) FROM stream WHERE system = ?", (system,)).fetchone()[0]
            )

    def add_points(
        self,
        system: str,
        stream: str,
        times_s: Sequence[float] | np.ndarray,
        values: Sequence[float] | np.ndarray,
        flags: Sequence[int] | np.ndarray | None = None,
    ) -> Added:
        """Add or correct points, in any order; of two at the same moment the later in the call stands.

        Parameters
        ----------
        times_s
            Unix time. [s]
        values
            One each; not finite means missing.
        flags
            QARTOD flags; 2 (not evaluated) when None.

        Returns
        -------
        Added
            `new` counts points that were added or changed.

        Raises
        ------
        BadInput
            When lengths differ, or a time is not between 1970 and 9999.
        """
        t, v, f = _clean(times_s, values, flags)
        given = len(times_s)
        if not given:
            return Added(0, 0)
        with self._write() as db:
            series = _series(db, system, stream)
            _thaw(db, series, t)
            newest = db.execute("SELECT max(t) FROM point WHERE series = ?", (series,)).fetchone()[0]
            ids = [series] * t.size
            new = db.executemany(_PUT, zip(ids, t.tolist(), v.tolist(), f.tolist(), strict=True)).rowcount
            if new:
                _roll(db, series, t)
                if newest is None or t[0] <= newest or t[-1] // TEN_MINUTES_MS != newest // TEN_MINUTES_MS:
                    db.execute("UPDATE stream SET revision = revision + 1 WHERE id = ?", (series,))
        return Added(new, given - new)

    def points(self, system: str, stream: str, start_s: float, end_s: float) -> Points:
        """Points of [start, end), whatever their flag. Missing values are nan."""
        with self._read() as db:
            t, v, f = _read(db, _known(db, system, stream), _ms(start_s), _ms(end_s))
        return Points(t / 1000.0, v, f)

    def latest_point(self, system: str, stream: str, before_s: float | None = None) -> tuple[float, float] | None:
        """Time [Unix s] and value of the newest point at or before `before_s` that is neither failed nor missing."""
        with self._read() as db:
            series = _known(db, system, stream)
            until = _ms(_LATEST_S if before_s is None else before_s)
            row = db.execute(
                f"SELECT t, v FROM point WHERE series = ? AND t <= ? AND {_COUNTS} ORDER BY t DESC LIMIT 1",
                (series, until),
            ).fetchone()
            packed = _latest_packed(db, series, until)
        found = [one for one in (row, packed) if one is not None]
        if not found:
            return None
        t, v = max(found)
        return t / 1000.0, float(v)

    def medians(self, system: str, stream: str, start_s: float, end_s: float, every_s: float = 600.0) -> Points:
        """Medians of the points flagged 1 or 2, one a bucket, at the bucket's centre.

        Buckets are whole multiples of `every_s` since 1970; one that [start, end) cuts holds only what lies inside.
        The flag is the worst of those that went in: 2 when any point was not evaluated.
        """
        import numpy as np

        every = _ms(every_s)
        if every <= 0:
            raise BadInput(f"medians every {every_s} s", way_out="The step must be at least a millisecond.")
        with self._read() as db:
            t, v, f = _read(db, _known(db, system, stream), _ms(start_s), _ms(end_s))
        good = ((f == 1) | (f == 2)) & np.isfinite(v)
        t, v, f = t[good], v[good], f[good]
        if not t.size:
            return Points(t / 1000.0, v, f)
        bucket = t // every
        starts = np.flatnonzero(np.concatenate(([True], bucket[1:] != bucket[:-1])))
        middles = _group_medians(v, starts, np.diff(np.append(starts, v.size)))
        return Points((bucket[starts] + 0.5) * every / 1000.0, middles, np.maximum.reduceat(f, starts))

    def rollup(self, system: str, stream: str, start_s: float, end_s: float, bucket: str) -> Rollup:
        """Whole buckets ("1h" or "1d", UTC) that touch [start, end)."""
        import numpy as np

        if bucket not in _TABLES:
            raise BadInput(f"unknown bucket {bucket!r}", way_out="Known: 1h, 1d.")
        size = HOUR_MS if bucket == "1h" else DAY_MS
        with self._read() as db:
            found = db.execute(
                f"SELECT start, n, least, greatest, total FROM {_TABLES[bucket]}"
                " WHERE series = ? AND start >= ? AND start < ? ORDER BY start",
                (_known(db, system, stream), _ms(start_s) // size * size, _ms(end_s)),
            )
            kinds = [("s", "i8"), ("n", "i8"), ("least", "f8"), ("greatest", "f8"), ("total", "f8")]
            rows = np.fromiter(found, dtype=np.dtype(kinds))
        return Rollup(
            rows["s"] / 1000.0, rows["n"].copy(), rows["least"].copy(), rows["greatest"].copy(), rows["total"].copy()
        )

    def pack(self, before_s: float) -> int:
        """Move whole days (UTC) that ended at or before `before_s` out of the hot tail; returns how many points."""
        until = _ms(before_s) // DAY_MS * DAY_MS
        with self._read() as db:
            known = db.execute("SELECT id, resolution FROM stream ORDER BY id").fetchall()
        return sum(self._pack_series(series, resolution, until) for series, resolution in known)

    def _pack_series(self, series: int, resolution: float | None, until: int) -> int:
        import numpy as np

        from leadline.store.packing import pack_day

        packed = 0
        while True:
            with self._write() as db:
                stop = db.execute(
                    "SELECT t FROM point WHERE series = ? AND t < ? ORDER BY t LIMIT 1 OFFSET ?",
                    (series, until, _PACK_AT_ONCE),
                ).fetchone()
                # always whole days: at least the first, which may alone be larger than asked for
                end = until if stop is None else stop[0] // DAY_MS * DAY_MS
                t, v, f = _hot(db, series, 0, end)
                if not t.size and stop is not None:
                    end += DAY_MS
                    t, v, f = _hot(db, series, 0, end)
                if not t.size:
                    return packed
                days = t // DAY_MS
                starts = np.flatnonzero(np.concatenate(([True], days[1:] != days[:-1])))
                chunks = (
                    (series << 24 | int(days[a]), *pack_day(t[a:b], v[a:b], f[a:b], resolution))
                    for a, b in zip(starts, np.append(starts[1:], t.size), strict=True)
                )
                db.executemany(f"INSERT INTO chunk (id, {_CHUNK}) VALUES ({', '.join('?' * 10)})", chunks)
                db.execute("DELETE FROM point WHERE series = ? AND t < ?", (series, end))
                packed += t.size


def _ms(seconds: float) -> int:
    """Unix seconds as whole milliseconds, inside what the tables hold."""
    return round(min(max(seconds, 0.0), _LATEST_S) * 1000.0)


def _known(db: sqlite3.Connection, system: str, stream: str) -> int:
    """The number of a stream; 0, which has no points, when nobody knows it."""
    row = db.execute("SELECT id FROM stream WHERE system = ? AND stream = ?", (system, stream)).fetchone()
    return 0 if row is None else int(row[0])


def _series(db: sqlite3.Connection, system: str, stream: str) -> int:
    known = _known(db, system, stream)
    if known:
        return known
    return int(db.execute("INSERT INTO stream (system, stream) VALUES (?, ?)", (system, stream)).lastrowid or 0)


def _clean(
    times_s: Sequence[float] | np.ndarray,
    values: Sequence[float] | np.ndarray,
    flags: Sequence[int] | np.ndarray | None,
) -> Columns:
    """Times in ms, rising and each once, with the last value and flag given for it."""
    import numpy as np

    seconds = np.asarray(times_s, dtype=np.float64)
    v = np.asarray(values, dtype=np.float64) + 0.0  # a negative zero would come back from SQLite as zero
    f = np.full(seconds.shape, _NOT_EVALUATED) if flags is None else np.asarray(flags, dtype=np.int64)
    if not (seconds.ndim == 1 and seconds.shape == v.shape == f.shape):
        raise BadInput(f"{seconds.size} times, {v.size} values and {f.size} flags", way_out="Give one of each a point.")
    inside = (seconds >= 0.0) & (seconds < _LATEST_S)
    if not np.all(inside):
        wrong = float(seconds[np.argmin(inside)])
        raise BadInput(f"{wrong} is no Unix time of a point", way_out="Times run from 1970 to 9999, in seconds.")
    if f.size and (f.min() < 0 or f.max() > 9):
        raise BadInput("a flag outside 0 to 9", way_out="Use QARTOD flags: 1, 2, 3, 4 or 9.")
    missing = ~np.isfinite(v)
    if np.any(missing):
        v, f = np.where(missing, np.nan, v), np.where(missing, _MISSING, f)
    t = np.rint(seconds * 1000.0).astype(np.int64)
    if t.size > 1 and not np.all(t[1:] > t[:-1]):
        order = np.argsort(t, kind="stable")
        t, v, f = t[order], v[order], f[order]
        last = np.append(t[1:] != t[:-1], True)
        t, v, f = t[last], v[last], f[last]
    return t, v, f


def _hot(db: sqlite3.Connection, series: int, start: int, end: int) -> Columns:
    import numpy as np

    found = db.execute(
        "SELECT t, ifnull(v, 9e999), flag FROM point WHERE series = ? AND t >= ? AND t < ? ORDER BY t",
        (series, start, end),
    )
    rows = np.fromiter(found, dtype=np.dtype([("t", "i8"), ("v", "f8"), ("f", "u1")]))
    v = rows["v"].copy()
    v[np.isinf(v)] = np.nan  # infinite ones are never kept, so this was a missing one
    return rows["t"].copy(), v, rows["f"].copy()


def _read(db: sqlite3.Connection, series: int, start: int, end: int) -> Columns:
    """Points of [start, end) from the hot tail and from packed days, in time order."""
    import numpy as np

    from leadline.store.packing import Chunk, unpack_day

    if not series or end <= start:
        return np.empty(0, np.int64), np.empty(0, np.float64), np.empty(0, np.uint8)
    chunks = db.execute(
        f"SELECT {_CHUNK} FROM chunk WHERE id >= ? AND id <= ? ORDER BY id",
        (series << 24 | start // DAY_MS, series << 24 | (end - 1) // DAY_MS),
    ).fetchall()
    hot = _hot(db, series, start, end)
    if not chunks:
        return hot
    parts = [unpack_day(Chunk(*row)) for row in chunks]
    t, v, f = (np.concatenate([*(part[i] for part in parts), hot[i]]) for i in range(3))
    if hot[0].size and hot[0][0] < parts[-1][0][-1]:  # an older day was taken out again to be corrected
        order = np.argsort(t, kind="stable")
        t, v, f = t[order], v[order], f[order]
    a, b = np.searchsorted(t, (start, end))
    return t[a:b], v[a:b], f[a:b]


def _latest_packed(db: sqlite3.Connection, series: int, until: int) -> tuple[int, float] | None:
    """The newest packed point at or before `until` that counts; days are unpacked backwards until one has it."""
    ids = db.execute(
        "SELECT id FROM chunk WHERE id >= ? AND id <= ? ORDER BY id DESC",
        (series << 24, series << 24 | until // DAY_MS),
    )
    first = ids.fetchone()
    if first is None:
        return None
    import numpy as np

    from leadline.store.packing import Chunk, unpack_day

    here: int | None = first[0]
    while here is not None:
        t, v, f = unpack_day(Chunk(*db.execute(f"SELECT {_CHUNK} FROM chunk WHERE id = ?", (here,)).fetchone()))
        good = np.flatnonzero((t <= until) & (f != 4) & (f != 9) & np.isfinite(v))
        if good.size:
            return int(t[good[-1]]), float(v[good[-1]])
        following = ids.fetchone()
        here = None if following is None else following[0]
    return None


def _thaw(db: sqlite3.Connection, series: int, t: np.ndarray) -> None:
    """Take packed days that are about to change back into the hot tail; the next `pack` packs them again."""
    import numpy as np

    from leadline.store.packing import Chunk, unpack_day

    first, last = series << 24 | int(t[0]) // DAY_MS, series << 24 | int(t[-1]) // DAY_MS
    packed = [row[0] for row in db.execute("SELECT id FROM chunk WHERE id >= ? AND id <= ?", (first, last))]
    if not packed:
        return
    for id_ in np.intersect1d(packed, np.unique(t // DAY_MS) + (series << 24)).tolist():
        row = db.execute(f"SELECT {_CHUNK} FROM chunk WHERE id = ?", (id_,)).fetchone()
        days = unpack_day(Chunk(*row))
        db.executemany(
            "INSERT INTO point VALUES (?, ?, ?, ?)", zip([series] * row[0], *(d.tolist() for d in days), strict=True)
        )
        db.execute("DELETE FROM chunk WHERE id = ?", (id_,))


def _roll(db: sqlite3.Connection, series: int, t: np.ndarray) -> None:
    """Count the hours that hold `t` again from the points, and their days from the hours."""
    hours = _runs(t // HOUR_MS, HOUR_MS, series)
    db.executemany("DELETE FROM roll_1h WHERE series = ? AND start >= ? AND start < ?", hours)
    db.executemany(
        f"INSERT INTO roll_1h SELECT series, t / {HOUR_MS} * {HOUR_MS}, count(*), min(v), max(v), sum(v) FROM point"
        f" WHERE series = ? AND t >= ? AND t < ? AND {_COUNTS} GROUP BY 2",
        hours,
    )
    days = _runs(t // DAY_MS, DAY_MS, series)
    db.executemany("DELETE FROM roll_1d WHERE series = ? AND start >= ? AND start < ?", days)
    db.executemany(
        f"INSERT INTO roll_1d SELECT series, start / {DAY_MS} * {DAY_MS}, sum(n), min(least), max(greatest), sum(total)"
        " FROM roll_1h WHERE series = ? AND start >= ? AND start < ? GROUP BY 2",
        days,
    )


def _runs(places: np.ndarray, size: int, series: int) -> list[tuple[int, int, int]]:
    """Consecutive buckets joined: series, first moment, moment after the last. [ms]"""
    import numpy as np

    breaks = np.flatnonzero(np.diff(places) > 1)
    firsts = places[np.concatenate(([0], breaks + 1))] * size
    ends = (places[np.concatenate((breaks, [places.size - 1]))] + 1) * size
    return [(series, a, b) for a, b in zip(firsts.tolist(), ends.tolist(), strict=True)]


def _group_medians(v: np.ndarray, starts: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Median of each run of `v`. Runs of one length are sorted together as the rows of one table."""
    import numpy as np

    middles = np.empty(starts.size)
    for count in np.unique(counts):
        these = np.flatnonzero(counts == count)
        table = np.sort(v[starts[these][:, None] + np.arange(count)], axis=1)
        middles[these] = 0.5 * (table[:, (count - 1) // 2] + table[:, count // 2])
    return middles
