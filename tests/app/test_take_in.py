"""What comes in is judged: points kept in stored units, everything else held with its reason, nothing lost."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.app import describe
from leadline.app.ports import Arrival, Odd
from leadline.app.take_in import MOST_STREAMS, Door
from leadline.measures.moments import FixedClock, parse
from leadline.wiring import open_store

pytestmark = pytest.mark.story
NOW = parse("2026-05-01T10:00:00Z").timestamp()
REEF = """
[system]
id = "reef"
time_zone = "UTC"
net_volume = "600 L"
[[stream]]
id = "warm"
quantity = "temperature"
unit = "degF"
[[stream]]
id = "conductivity-1"
quantity = "salinity"
unit = "mS/cm"
"""


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    with open_store(str(tmp_path_factory.mktemp("door") / "x.db")) as made:
        describe.add(made, FixedClock(parse("2026-05-01")), REEF)
        yield made


def judge(store, *points, odd=()):
    return Door(store).judge("feed", points, odd, NOW)


def test_the_declared_unit_is_converted(store):
    found = judge(store, Arrival("reef", "warm", NOW, 77.0))
    assert found.points["reef", "warm"][1] == pytest.approx([25.0])


def test_a_unit_that_comes_with_the_point_stands_over_the_declared_one(store):
    assert judge(store, Arrival("reef", "warm", NOW, 25.0, "degC")).points["reef", "warm"][1] == pytest.approx([25.0])


@pytest.mark.published
def test_conductivity_becomes_salinity(store):
    """53.0 mS/cm at 25 °C: PSS-78 by gsw.SP_from_C(53.0, 25.0, 0.0), the reference library, computed beside."""
    import gsw

    found = judge(store, Arrival("reef", "conductivity-1", NOW, 53.0)).points["reef", "conductivity-1"][1]
    assert found == pytest.approx([gsw.SP_from_C(53.0, 25.0, 0.0)], abs=1e-3)


@pytest.mark.parametrize(
    ("point", "why"),
    [
        (Arrival("reef", "x", 12.0, 25.0), "before 1971"),
        (Arrival("reef", "x", NOW + 3600.0, 25.0), "60 min in the future"),
        (Arrival("reef", "x", NOW, math.nan), "no finite number"),
        (Arrival("reef", "x", NOW, math.inf), "no finite number"),
        (Arrival("reef", "x", math.nan, 1.0), "before 1971"),
        (Arrival("", "x", NOW, 1.0), "system's name"),
        (Arrival("reef", "a/b", NOW, 1.0), "stream's name"),
        (Arrival("reef", "warm", NOW, 1.0, "furlong"), "furlong"),
    ],
)
def test_what_is_no_point_is_held_with_its_reason(store, point, why):
    found = judge(store, point)
    assert found.points == {}
    assert why in found.held[0].why


def test_a_sender_s_wrong_clock_is_noted(store):
    found = judge(store, Arrival("reef", "x", NOW + 3600.0, 25.0))
    assert found.ahead == {("reef", "x"): pytest.approx(3600.0)}


def test_streams_that_nobody_declared_are_kept_and_offered(store):
    door = Door(store)
    found = door.judge("feed", [Arrival("reef", "new", NOW, 1.0), Arrival("elsewhere", "y", None, 2.0)], (), NOW)
    assert set(found.points) == {("reef", "new"), ("elsewhere", "y")}
    assert found.points["elsewhere", "y"][0] == pytest.approx([NOW])
    assert door.offered() == [("elsewhere", "y"), ("reef", "new")]


def test_a_sender_gone_mad_cannot_make_streams_without_end(store):
    found = judge(store, *(Arrival("reef", f"s{k}", NOW, 1.0) for k in range(MOST_STREAMS + 20)))
    assert len(found.points) == MOST_STREAMS
    assert len(found.refused) == 20


def test_points_out_of_order_and_twice(store):
    found = judge(store, *(Arrival("reef", "z", NOW - t, v) for t, v in ((0, 3.0), (60, 1.0), (0, 4.0))))
    assert found.points["reef", "z"][1].tolist() == [1.0, 4.0]


def test_answers_are_no_points(store):
    found = judge(
        store, Arrival("answer", "7QK4F-9XM2B", None, 1.0), odd=[Odd("answer", "AAAAA-BBBBB", "ok", "no number")]
    )
    assert sorted(found.answers) == ["7QK4F-9XM2B", "AAAAA-BBBBB"]
    assert found.held == []


@pytest.mark.law
@given(
    st.lists(
        st.builds(
            Arrival, st.sampled_from(["reef", "x y", ""]), st.sampled_from(["warm", "b", "é"]),
            st.none() | st.floats(allow_nan=True) | st.floats(NOW - 1e6, NOW + 1e6), st.floats(allow_nan=True),
            st.sampled_from(["", "degC", "K", "nonsense"]),
        ),
        max_size=20,
    )
)  # fmt: skip
def test_nothing_is_lost(store, points):
    """Every arrival is a kept point (of equal moments the last) or is held with a reason."""
    one_by_one = [judge(store, p) for p in points]
    assert all(len(j.points) + len(j.held) == 1 for j in one_by_one)
    found = judge(store, *points)
    assert len(found.held) == sum(len(j.held) for j in one_by_one)
    moments, untimed = set(), {}
    for p, j in zip(points, one_by_one, strict=True):
        for key, (t, _) in j.points.items():
            n = untimed[key] = untimed.get(key, -1) + 1 if p.t is None else untimed.get(key, -1)
            moments.add((key, float(t[0]) if p.t is not None else NOW + 0.001 * n))  # each keeps a moment of its own
    assert {(key, x) for key, (t, _) in found.points.items() for x in t.tolist()} == moments
    for t, v in found.points.values():
        assert all(map(math.isfinite, t.tolist() + v.tolist()))
        assert t.tolist() == sorted(set(t.tolist()))
