"""A course as CSV: what was reckoned, read, measured by a probe and done in one window of time.

One row a moment, RFC 4180, UTC, values in the quantity's stored unit. `row` says what stands there: `course` (mean,
sd, q05, q95), `reading` (value, sd, words: the method), `probe` (least and greatest of a column of points that begins
at `time`, words: the stream), `mark` (words).
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterable, Sequence
from typing import TextIO

from leadline.measures.moments import iso
from leadline.present.window import Window

COLUMNS = (
    "time", "system", "quantity", "unit", "row", "mean", "sd", "q05", "q95", "value", "least", "greatest", "words",
)  # fmt: skip


def write_course(windows: Iterable[Window], out: TextIO) -> int:
    """Write windows one after the other, each in order of time. Returns the number of rows."""
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    n = 0
    for w in windows:
        for at, cells in sorted(_rows(w), key=lambda r: r[0]):
            moment = dt.datetime.fromtimestamp(round(at, 3), dt.UTC)
            writer.writerow([iso(moment), w.system, w.quantity, w.unit, *cells])
            n += 1
    return n


def _rows(w: Window) -> Iterable[tuple[float, Sequence[str]]]:
    for at, *belief in zip(*(v.tolist() for v in (w.at_s, w.mean, w.sd, w.q05, w.q95)), strict=True):
        yield at, ("course", *(f"{v:.7g}" for v in belief), "", "", "", "")
    for f in w.fixes:
        words = f"{f.method}, in doubt" if f.doubtful and f.method else "in doubt" if f.doubtful else f.method
        yield f.time.timestamp(), ("reading", "", f"{f.sd:.7g}", "", "", f"{f.value:.12g}", "", "", words)
    for p in w.probes:
        for at, low, high in zip(p.at_s.tolist(), p.least.tolist(), p.greatest.tolist(), strict=True):
            yield at, ("probe", "", "", "", "", "", f"{low:.12g}", f"{high:.12g}", p.stream)
    for moment, _, words in w.marks:
        yield moment.timestamp(), ("mark", "", "", "", "", "", "", "", words)
