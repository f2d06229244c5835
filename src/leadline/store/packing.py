"""One day of one stream in a few hundred bytes, without loss.

Times and values become whole numbers, these their differences, the differences are divided by what divides
them all (the grain), folded so that small negative ones are small (zigzag), and laid out byte plane by byte plane
for zlib. A day whose values fit no decimal grid exactly keeps the bits of its floats instead (`v_scale` 0).
"""

from __future__ import annotations

import math
import zlib
from typing import NamedTuple

import numpy as np

DAY_MS = 86_400_000
_EXACT = 2**53  # whole numbers beyond are not all floats


class Chunk(NamedTuple):
    """A packed day; columns of the table `chunk` after its id. Times in ms, values in units of 1 / `v_scale`."""

    n: int
    t_first: int
    t_grain: int
    t_steps: bytes
    v_scale: int
    v_first: int
    v_grain: int
    v_steps: bytes
    flags: bytes


def pack_day(t_ms: np.ndarray, values: np.ndarray, flags: np.ndarray, resolution: float | None = None) -> Chunk:
    """Pack points in time order. `resolution`: the step of the values, if known; tried before decimal steps."""
    t_grain, t_steps = _squeeze(np.diff(t_ms))
    scale, whole = _on_a_grid(values, resolution)
    if whole is None:
        bits = values.view(np.uint64)
        v_first, v_grain, v_steps = 0, 1, _planes(np.concatenate((bits[:1], bits[1:] ^ bits[:-1])))
    else:
        v_first = int(whole[0])
        v_grain, v_steps = _squeeze(np.diff(whole))
    kinds = np.unique(flags)
    packed_flags = (
        bytes(kinds.astype(np.uint8)) if kinds.size == 1 else zlib.compress(flags.astype(np.uint8).tobytes(), 6)
    )
    return Chunk(t_ms.size, int(t_ms[0]), t_grain, t_steps, scale, v_first, v_grain, v_steps, packed_flags)


def unpack_day(chunk: Chunk) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times [ms], values and flags of a packed day."""
    n = chunk.n
    t_ms = _unsqueeze(chunk.t_first, chunk.t_grain, chunk.t_steps, n)
    if chunk.v_scale == 0:
        values = np.bitwise_xor.accumulate(_unplanes(chunk.v_steps, n)).view(np.float64)
    else:
        values = _unsqueeze(chunk.v_first, chunk.v_grain, chunk.v_steps, n) / float(chunk.v_scale)
    if len(chunk.flags) == 1:
        flags = np.full(n, chunk.flags[0], dtype=np.uint8)
    else:
        flags = np.frombuffer(zlib.decompress(chunk.flags), dtype=np.uint8)
    return t_ms, values, flags


def _on_a_grid(values: np.ndarray, resolution: float | None) -> tuple[int, np.ndarray | None]:
    """The coarsest grid 1 / scale that gives back every bit of the values, and their places on it."""
    if not np.all(np.isfinite(values)):
        return 0, None
    scales = [10**digits for digits in range(7)]
    if resolution is not None and 0.0 < resolution < 1.0 and round(1.0 / resolution) not in scales:
        scales.insert(0, round(1.0 / resolution))
    largest = float(np.max(np.abs(values)))
    for scale in scales:
        if largest * scale >= _EXACT:
            break
        whole = np.rint(values * scale).astype(np.int64)
        if np.array_equal((whole / float(scale)).view(np.uint64), values.view(np.uint64)):
            return scale, whole
    return 0, None


def _squeeze(steps: np.ndarray) -> tuple[int, bytes]:
    """Differences as their common grain and packed multiples of it."""
    grain = int(np.gcd.reduce(steps)) if steps.size else 0
    if grain == 0:  # nothing changes, or there is one point
        return 0, b""
    multiples = steps // grain
    return grain, _planes(((multiples << 1) ^ (multiples >> 63)).view(np.uint64))


def _unsqueeze(first: int, grain: int, packed: bytes, n: int) -> np.ndarray:
    whole = np.full(n, first, dtype=np.int64)
    if packed:
        folded = _unplanes(packed, n - 1)
        multiples = (folded >> np.uint64(1)).view(np.int64) ^ -(folded & np.uint64(1)).view(np.int64)
        np.cumsum(multiples, out=whole[1:])
        whole[1:] *= grain
        whole[1:] += first
    return whole


def _planes(numbers: np.ndarray) -> bytes:
    """Unsigned numbers byte plane by byte plane, only the planes that are used, through zlib."""
    width = max(1, math.ceil(int(numbers.max()).bit_length() / 8))
    planes = np.ascontiguousarray(numbers.astype("<u8").view(np.uint8).reshape(-1, 8).T[:width])
    return zlib.compress(planes.tobytes(), 6)


def _unplanes(packed: bytes, n: int) -> np.ndarray:
    planes = np.frombuffer(zlib.decompress(packed), dtype=np.uint8).reshape(-1, n)
    whole = np.zeros((n, 8), dtype=np.uint8)
    whole[:, : planes.shape[0]] = planes.T
    return whole.reshape(-1).view("<u8")
