"""Streams on the real file: hot and packed points read alike, rollups follow whatever is written."""

from __future__ import annotations

import datetime as dt
import math
import statistics
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.app.ports import Added, Points
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.contract

DAY = 86_400
T0 = 19_700 * DAY  # a midnight in UTC
WHO = ("north-room", "temperature")
FOREVER = (0.0, 4e9)


def minutes(days: float, start: float = T0) -> tuple[np.ndarray, np.ndarray]:
    t = start + 60.0 * np.arange(round(days * 1440))
    return t, np.rint(2500 + 30 * np.sin(t / DAY * 2 * np.pi) + (t / 60 * 7919) % 5) / 100


def as_dict(points: Points) -> dict[float, tuple[float | None, int]]:
    return {
        t: (None if math.isnan(v) else v, f)
        for t, v, f in zip(points.times_s.tolist(), points.values.tolist(), points.flags.tolist(), strict=True)
    }


def assert_rollups_follow(store: SqliteStore, expected: dict[float, tuple[float | None, int]]) -> None:
    """Rollups against plain Python over the points that ought to be there."""
    for bucket, size in (("1h", 3600), ("1d", DAY)):
        groups: dict[float, list[float]] = {}
        for t, (v, flag) in sorted(expected.items()):
            if flag not in (4, 9) and v is not None:
                groups.setdefault(round(t * 1000) // (size * 1000) * size, []).append(v)
        rollup = store.rollup(*WHO, *FOREVER, bucket)
        assert rollup.start_s.tolist() == list(groups)
        assert rollup.n.tolist() == [len(group) for group in groups.values()]
        assert rollup.least.tolist() == [min(group) for group in groups.values()]
        assert rollup.greatest.tolist() == [max(group) for group in groups.values()]
        for total, group in zip(rollup.total.tolist(), groups.values(), strict=True):
            # sums in another order differ by at most n rounding errors of the sum of magnitudes
            assert abs(total - math.fsum(group)) <= len(group) * 2.3e-16 * math.fsum(map(abs, group))


def test_points_come_back_in_time_order_whatever_the_order_they_came_in(store: SqliteStore) -> None:
    t, v = minutes(2)
    order = np.random.default_rng(3).permutation(t.size)
    assert store.add_points(*WHO, t[order], v[order]) == Added(2880, 0)
    back = store.points(*WHO, *FOREVER)
    assert np.array_equal(back.times_s, t)
    assert np.array_equal(back.values, v)
    assert set(back.flags.tolist()) == {2}
    part = store.points(*WHO, T0 + 60, T0 + 180)
    assert part.times_s.tolist() == [T0 + 60, T0 + 120]  # the start belongs, the end does not


def test_a_resend_never_counts_twice(store: SqliteStore) -> None:
    t, v = minutes(1)
    store.add_points(*WHO, t, v)
    revision = store.stream_revision("north-room")
    assert store.add_points(*WHO, t.tolist(), v.tolist()) == Added(0, 1440)
    assert store.stream_revision("north-room") == revision
    assert_rollups_follow(store, as_dict(store.points(*WHO, *FOREVER)))
    assert store.rollup(*WHO, *FOREVER, "1d").n.tolist() == [1440]


def test_a_correction_takes_an_extreme_back(store: SqliteStore) -> None:
    store.add_points(*WHO, [T0, T0 + 60, T0 + 120], [25.0, 99.9, 25.1])
    assert store.add_points(*WHO, [T0 + 60], [25.05]) == Added(1, 0)
    rollup = store.rollup(*WHO, *FOREVER, "1d")
    assert (rollup.n.tolist(), rollup.least.tolist(), rollup.greatest.tolist()) == ([3], [25.0], [25.1])
    assert store.stream_revision("north-room") == 2


def test_failed_and_missing_points_are_kept_but_are_no_extremes(store: SqliteStore) -> None:
    t = [T0 + 60.0 * n for n in range(5)]
    store.add_points(*WHO, t, [25.0, -127.0, 26.0, 40.0, math.nan], [1, 4, 3, 9, 1])
    back = store.points(*WHO, *FOREVER)
    assert back.values[:4].tolist() == [25.0, -127.0, 26.0, 40.0]
    assert back.flags.tolist() == [1, 4, 3, 9, 9]  # a value that is none is missing, whatever its flag said
    rollup = store.rollup(*WHO, *FOREVER, "1h")
    assert (rollup.n.tolist(), rollup.least.tolist(), rollup.greatest.tolist()) == ([2], [25.0], [26.0])
    store.add_points(*WHO, [t[0], t[2]], [25.0, 26.0], [4, 4])
    assert store.rollup(*WHO, *FOREVER, "1h").n.tolist() == []
    assert store.rollup(*WHO, *FOREVER, "1d").n.tolist() == []


def test_packed_days_read_like_hot_ones(store: SqliteStore) -> None:
    t, v = minutes(5)
    flags = np.where(np.arange(t.size) % 500 == 0, 3, 1)
    store.add_points(*WHO, t, v, flags)
    store.add_points("lagoon", "level", t[:10], v[:10])
    before = [
        store.points(*WHO, *FOREVER),
        store.medians(*WHO, *FOREVER),
        store.points(*WHO, T0 + 90_000, T0 + 190_030),
    ]
    latest = store.latest_point(*WHO), store.latest_point(*WHO, T0 + 100_000)
    revision = store.stream_revision("north-room")
    assert store.pack(T0 + 3 * DAY + 5) == 3 * 1440 + 10
    assert store.pack(T0 + 3 * DAY + 5) == 0
    after = [store.points(*WHO, *FOREVER), store.medians(*WHO, *FOREVER), store.points(*WHO, T0 + 90_000, T0 + 190_030)]
    for one, other in zip(before, after, strict=True):
        assert np.array_equal(one.times_s, other.times_s)
        assert np.array_equal(one.values, other.values)
        assert np.array_equal(one.flags, other.flags)
    assert (store.latest_point(*WHO), store.latest_point(*WHO, T0 + 100_000)) == latest
    assert store.latest_point("lagoon", "level") == (t[9], v[9])
    assert store.stream_revision("north-room") == revision
    assert_rollups_follow(store, as_dict(after[0]))


def test_a_late_point_opens_a_packed_day_and_the_next_pack_closes_it(store: SqliteStore) -> None:
    t, v = minutes(4)
    store.add_points(*WHO, t, v)
    store.pack(T0 + 3 * DAY)
    expected = as_dict(store.points(*WHO, *FOREVER))
    late = {T0 + DAY + 30.5: 99.0, T0 + DAY + 60.0: 24.0, T0 - DAY: 20.0, T0 + 9 * DAY: 21.0}
    assert store.add_points(*WHO, list(late), list(late.values())) == Added(4, 0)
    expected |= {moment: (value, 2) for moment, value in late.items()}
    assert as_dict(store.points(*WHO, *FOREVER)) == expected
    assert list(as_dict(store.points(*WHO, *FOREVER))) == sorted(expected)
    assert_rollups_follow(store, expected)
    assert store.pack(T0 + 3 * DAY) == 1441 + 1
    assert as_dict(store.points(*WHO, *FOREVER)) == expected


def test_a_day_larger_than_one_packing_is_packed_whole(store: SqliteStore, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("leadline.store.streams._PACK_AT_ONCE", 1000)
    t, v = minutes(3)
    store.add_points(*WHO, t, v)
    assert store.pack(T0 + 2 * DAY) == 2 * 1440
    assert np.array_equal(store.points(*WHO, *FOREVER).values, v)


def test_latest_point_is_one_that_counts(store: SqliteStore) -> None:
    assert store.latest_point(*WHO) is None
    store.add_points(*WHO, [T0, T0 + 2 * DAY, T0 + 4 * DAY], [25.0, -127.0, math.nan], [2, 4, 9])
    for _ in range(2):
        assert store.latest_point(*WHO) == (T0, 25.0)
        assert store.latest_point(*WHO, T0) == (T0, 25.0)
        assert store.latest_point(*WHO, T0 - 0.001) is None
        store.pack(T0 + 5 * DAY)


def test_medians_are_those_of_the_standard_library(store: SqliteStore) -> None:
    rng = np.random.default_rng(8)
    t = np.sort(rng.choice(np.arange(3 * DAY), 3000, replace=False)) + float(T0)
    v = np.round(rng.normal(25, 1, t.size), 2)
    f = rng.choice([1, 2, 3, 4, 9], t.size, p=[0.6, 0.2, 0.1, 0.05, 0.05])
    store.add_points(*WHO, t, v, f)
    store.pack(T0 + 2 * DAY)
    for every in (600, 3600, 7):
        groups: dict[int, list[tuple[float, int]]] = {}
        for moment, value, flag in zip(t.tolist(), v.tolist(), f.tolist(), strict=True):
            if flag in (1, 2):
                groups.setdefault(int(moment) // every, []).append((value, flag))
        medians = store.medians(*WHO, T0, T0 + 3 * DAY, every)
        assert medians.times_s.tolist() == [(place + 0.5) * every for place in groups]
        assert medians.values.tolist() == [statistics.median(value for value, _ in group) for group in groups.values()]
        assert medians.flags.tolist() == [max(flag for _, flag in group) for group in groups.values()]


def test_streams_are_known_when_declared_or_written(store: SqliteStore) -> None:
    store.declare_stream("lagoon", "level", resolution=0.001)
    store.declare_stream("lagoon", "level")
    store.add_points(*WHO, [T0], [25.0])
    assert store.streams() == [("lagoon", "level"), WHO]
    assert store.streams("lagoon") == [("lagoon", "level")]
    assert store.stream_revision("lagoon") == 0
    nothing = store.points("nowhere", "temperature", *FOREVER)
    assert nothing.times_s.size == nothing.values.size == nothing.flags.size == 0
    assert store.medians("nowhere", "temperature", *FOREVER).values.size == 0
    assert store.rollup("nowhere", "temperature", *FOREVER, "1d").n.size == 0
    assert store.add_points(*WHO, [], []) == Added(0, 0)


@pytest.mark.parametrize(
    ("times", "values", "flags"),
    [
        ([T0, T0], [1.0], None),
        ([T0], [1.0], [1, 2]),
        ([math.nan], [1.0], None),
        ([-1.0], [1.0], None),
        ([1e15], [1.0], None),  # milliseconds where seconds were meant
        ([T0], [1.0], [10]),
    ],
)
def test_points_that_make_no_sense_are_refused(
    store: SqliteStore, times: list[float], values: list[float], flags: list[int] | None
) -> None:
    with pytest.raises(BadInput):
        store.add_points(*WHO, times, values, flags)
    assert store.streams() == []


moments_ms = st.integers(0, 3 * DAY * 1000 - 1).map(
    lambda ms: (T0 * 1000 + ms // 7_000_000 * 7_000_000 + ms % 3) / 1000
)
some_values = st.integers(-200, 4000).map(lambda k: k / 100) | st.floats(-1e12, 1e12) | st.just(math.nan)
one_point = st.tuples(moments_ms, some_values, st.sampled_from([1, 2, 3, 4, 9]))
doings = st.lists(st.lists(one_point, min_size=1, max_size=12) | st.integers(0, 4), max_size=12)


@pytest.mark.law
@given(doings)
@settings(max_examples=80, deadline=None)
def test_any_order_of_writing_and_packing_equals_a_sorted_dictionary(doings: list[Any]) -> None:
    expected: dict[float, tuple[float | None, int]] = {}
    with tempfile.TemporaryDirectory() as folder:
        clock = FixedClock(dt.datetime(2026, 1, 1, tzinfo=dt.UTC))
        with SqliteStore.open(Path(folder) / "reef.db", clock=clock) as store:
            for doing in doings:
                if isinstance(doing, int):
                    store.pack(T0 + doing * DAY)
                    continue
                store.add_points(*WHO, *map(list, zip(*doing, strict=True)))
                for moment, value, flag in doing:
                    expected[moment] = (None, 9) if math.isnan(value) else (value, flag)
            back = store.points(*WHO, *FOREVER)
            assert as_dict(back) == expected
            assert back.times_s.tolist() == sorted(expected)
            assert_rollups_follow(store, expected)


def test_points_that_lengthen_a_stream_within_ten_minutes_count_once(store):
    """Ten-minute medians rest on it: a live stream must not make everything be reckoned anew each second."""
    begin = 600.0 * 2_900_000
    store.add_points("north-room", "live", [begin + 1.0], [25.0])
    first = store.stream_revision("north-room")
    for k in range(2, 9):
        store.add_points("north-room", "live", [begin + 60.0 * k], [25.0])
    assert store.stream_revision("north-room") == first
    store.add_points("north-room", "live", [begin + 601.0], [25.0])
    assert store.stream_revision("north-room") == first + 1
    store.add_points("north-room", "live", [begin + 120.0], [26.0])  # a correction counts at once
    assert store.stream_revision("north-room") == first + 2
