"""Thin to the pixel, keep the spikes."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def thinned(values: Sequence[float] | NDArray[np.float64], most: int) -> list[int]:
    """Which points to draw: the least and the greatest of every bucket, and the two ends.

    The points are shared out evenly among `most / 2` buckets by their order, so the extremes of the whole
    series, and of every pixel's width of it, are always among those kept (min-max downsampling; unlike
    largest-triangle thinning, which may drop a spike).

    Parameters
    ----------
    values
        In order of time.
    most
        Points to keep at most, the two ends not counted; at least 2.

    Returns
    -------
    list of int
        Indices, rising.
    """
    n = len(values)
    if n <= most:
        return list(range(n))
    import numpy as np

    whole = np.asarray(values, dtype=float)
    edges = np.linspace(0, n, max(1, most // 2) + 1).astype(int)
    kept = {0, n - 1}
    for start, end in pairwise(edges):
        if end > start:
            part = whole[start:end]
            kept.add(int(start + part.argmin()))
            kept.add(int(start + part.argmax()))
    return sorted(kept)


def spiked(
    at: NDArray[np.float64], values: NDArray[np.float64], start: float, end: float, columns: int
) -> NDArray[np.int64]:
    """Which points to draw: in each column of a window the least and the greatest, and the two ends of all.

    Unlike `thinned`, columns are shares of time, not of the points: a pixel's width of a drawing.

    Parameters
    ----------
    at
        Rising moments, any unit; those outside the window count for its first and last column.
    start, end
        The window, in the same unit.

    Returns
    -------
    array
        Indices, rising; two a column at most, and the ends.
    """
    import numpy as np

    if len(at) <= 2 * columns:
        return np.arange(len(at))
    column = np.clip((at - start) * (columns / (end - start)), 0, columns - 1).astype(np.int64)
    order = np.lexsort((values, column))  # by column, then by value: its first is the least, its last the greatest
    edges = np.flatnonzero(np.diff(column[order], prepend=-1))
    ends = np.append(edges[1:], len(order)) - 1
    return np.unique(np.concatenate((order[edges], order[ends], [0, len(at) - 1])))


def apart(places: Sequence[float], least: float) -> list[int]:
    """Indices of places (rising) that stand at least `least` apart, the last one always among them."""
    kept: list[int] = []
    for i in range(len(places) - 1, -1, -1):
        if not kept or places[kept[-1]] - places[i] >= least:
            kept.append(i)
    return kept[::-1]
