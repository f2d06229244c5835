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


def apart(places: Sequence[float], least: float) -> list[int]:
    """Indices of places (rising) that stand at least `least` apart, the last one always among them."""
    kept: list[int] = []
    for i in range(len(places) - 1, -1, -1):
        if not kept or places[kept[-1]] - places[i] >= least:
            kept.append(i)
    return kept[::-1]
