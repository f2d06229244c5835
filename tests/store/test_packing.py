"""Packed days give back every bit, in few bytes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.store.packing import DAY_MS, Chunk, pack_day, unpack_day

DAY = 20_000 * DAY_MS


def size(chunk: Chunk) -> float:
    """Bytes a point, with 30 for the whole numbers of the row (SQLite record format, section 2.1: at most that)."""
    return (len(chunk.t_steps) + len(chunk.v_steps) + len(chunk.flags) + 30) / chunk.n


def assert_lossless(t: np.ndarray, v: np.ndarray, f: np.ndarray, resolution: float | None = None) -> Chunk:
    chunk = pack_day(t, v, f, resolution)
    back_t, back_v, back_f = unpack_day(chunk)
    assert back_t.dtype == np.int64
    assert np.array_equal(back_t, t)
    assert np.array_equal(back_v.view(np.uint64), v.view(np.uint64))  # bits, so that nan and zero count too
    assert np.array_equal(back_f, f)
    return chunk


kinds_of_value = st.one_of(
    st.floats(),
    st.sampled_from([0.0, 1.0, 25.37, -0.0, 1e300, 5e-324, float("nan"), float("inf"), 2.0**53, -(2.0**53) - 2]),
    st.integers(-300, 4000).map(lambda k: k / 100),
    st.integers(-300, 4000).map(lambda k: k / 16),
    st.integers(-(2**53), 2**53).map(float),
)


@pytest.mark.law
@given(
    st.lists(st.integers(0, DAY_MS - 1), min_size=1, max_size=40, unique=True).map(sorted),
    st.data(),
    st.sampled_from([None, 0.01, 0.05, 0.1, 1.0, 5.0, 1 / 16, 1e-9, 0.0, float("nan")]),
)
@settings(max_examples=400, deadline=None)
def test_every_bit_comes_back(ms: list[int], data: st.DataObject, resolution: float | None) -> None:
    one_kind = data.draw(st.sampled_from([kinds_of_value, st.integers(0, 4000).map(lambda k: k / 100)]))
    values = data.draw(st.lists(one_kind, min_size=len(ms), max_size=len(ms)))
    flags = data.draw(st.lists(st.sampled_from([1, 2, 3, 4, 9]), min_size=len(ms), max_size=len(ms)))
    assert_lossless(
        np.array(ms, dtype=np.int64) + DAY,
        np.array(values, dtype=np.float64),
        np.array(flags, dtype=np.uint8),
        resolution,
    )


def probe_day(step: float, rng: np.random.Generator) -> np.ndarray:
    """A day of minutes of a probe: daily swing of 0.3, slow wander, noise of 0.02, reported in steps."""
    minute = np.arange(1440)
    raw = (
        25.0
        + 0.3 * np.sin(minute / 1440 * 2 * np.pi)
        + np.cumsum(rng.normal(0, 0.002, 1440))
        + rng.normal(0, 0.02, 1440)
    )
    places = np.rint(raw / step)
    return places / round(1 / step) if step < 1 else places * step


@pytest.mark.parametrize(
    ("step", "jitter_ms", "most"),
    [
        # the aim for minute data in steps of 0.01 is 2.5 bytes a point; the rest show what costs what
        pytest.param(0.01, 0, 2.5, id="steps of 0.01, on the minute"),
        pytest.param(0.01, 500, 3.5, id="steps of 0.01, jitter of half a second"),
        pytest.param(0.05, 0, 2.0, id="steps of 0.05"),
        pytest.param(1 / 16, 0, 2.0, id="steps of a sixteenth, as digital thermometers have"),
    ],
)
def test_a_day_of_a_probe_is_small(step: float, jitter_ms: int, most: float) -> None:
    rng = np.random.default_rng(4)
    t = DAY + np.arange(1440) * 60_000 + (rng.integers(0, jitter_ms, 1440) if jitter_ms else 0)
    chunk = assert_lossless(t, probe_day(step, rng), np.full(1440, 1, dtype=np.uint8))
    assert chunk.v_scale > 0
    assert size(chunk) <= most


def test_a_switch_that_stays_on_costs_next_to_nothing() -> None:
    t = DAY + np.arange(1440) * 60_000
    assert size(assert_lossless(t, np.ones(1440), np.full(1440, 2, dtype=np.uint8))) < 0.1


def test_values_off_every_grid_keep_their_bits() -> None:
    t = DAY + np.arange(1440) * 60_000
    celsius = (np.rint(np.random.default_rng(1).normal(78, 0.3, 1440) * 10) / 10 - 32) * 5 / 9
    assert assert_lossless(t, celsius, np.full(1440, 2, dtype=np.uint8), 0.01).v_scale == 0
