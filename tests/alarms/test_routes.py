"""The ladder of calls: whom, by which path, when; worked out by hand for small households."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leadline.alarms.decide import Priority
from leadline.alarms.delivery import Delivery, Kind, Message, Stage
from leadline.alarms.routes import calls, next_hours, pace
from leadline.system.orders import Escalation, Person

MIN = 60.0
KEEPER = Person("keeper", "Keeper", ("push", "mail"), ((7 * 60, 22 * 60),))
NEIGHBOUR = Person("neighbour", "Neighbour", ("letter",))
TWO = (KEEPER, NEIGHBOUR)
USUAL = Escalation(5 * MIN, 15 * MIN, 15 * MIN)


def message(priority=Priority.HIGH, harm=None, calm=None):
    return Message("m", Kind.ALARM, "reef", "x", priority, "s", "t", 0.0, harm, calm)


def ladder(now_min, *, priority=Priority.HIGH, people=TWO, done=(), unproved=(), minute=600, harm=None, calm=None):
    found = calls(
        message(priority, harm, calm),
        people,
        USUAL,
        done,
        unproved,
        lambda s: int(minute + s / 60) % 1440,
        now_min * MIN,
    )
    return [(c.person, c.path, c.turn, c.due_s / MIN) for c in found]


def failed(path, turn, at_min):
    return Delivery(1, "m", "keeper", path, turn, Stage.FAILED, 0.0, 1, 0.0, at_min * MIN)


def test_the_rungs_follow_the_sheet_s_ladder():
    """Sheet 5.4: at once, after 5 min, the second person after 15 min, again every 15 min (judgement)."""
    assert ladder(0) == [("keeper", "push", 0, 0.0)]
    assert ladder(4.9) == ladder(0)
    assert ladder(5) == [("keeper", "push", 0, 0.0), ("keeper", "mail", 0, 5.0)]
    assert ladder(15)[2] == ("neighbour", "letter", 0, 15.0)
    assert ladder(30)[3] == ("keeper", "push", 1, 30.0)


def test_a_rung_that_failed_for_good_is_passed_at_once():
    assert ladder(1, done=[failed("push", 0, 1.0)])[1] == ("keeper", "mail", 0, 1.0)
    both = [failed("push", 0, 0.1), failed("mail", 0, 0.2)]
    assert ladder(1, done=both)[2] == ("neighbour", "letter", 0, pytest.approx(0.2))


def test_an_unproved_rung_is_called_and_the_next_beside_it():
    assert ladder(0, unproved={("keeper", "push")}) == [("keeper", "push", 0, 0.0), ("keeper", "mail", 0, 0.0)]


def test_low_calls_nobody_and_medium_waits_for_the_hours():
    assert ladder(600, priority=Priority.LOW) == []
    night = ladder(0, priority=Priority.MEDIUM, minute=120)
    assert night == [("neighbour", "letter", 0, 0.0)]  # whose hours are all day
    alone = ladder(299, priority=Priority.MEDIUM, people=(KEEPER,), minute=120)
    assert alone == []  # 02:00, and his hours begin at 07:00
    assert ladder(300, priority=Priority.MEDIUM, people=(KEEPER,), minute=120)[0] == ("keeper", "push", 0, 300.0)


def test_high_calls_in_the_night_too():
    assert ladder(0, minute=120) == [("keeper", "push", 0, 0.0)]


def test_little_time_left_shortens_the_waits_to_a_third():
    assert pace(Priority.URGENT, USUAL, TWO, 0.0, 0.0) == pytest.approx(1 / 3)
    assert ladder(5, harm=0.0)[2] == ("neighbour", "letter", 0, 5.0)
    whole = 25 * MIN  # one next person and two paths
    assert pace(Priority.HIGH, USUAL, TWO, 0.0, whole) == pytest.approx(0.5)
    assert pace(Priority.HIGH, USUAL, TWO, 0.0, 10 * whole) == 1.0


def test_what_ended_by_itself_calls_nobody_new():
    assert ladder(600, calm=4 * MIN) == [("keeper", "push", 0, 0.0)]


def test_a_medium_alarm_waits_for_the_next_person_even_where_no_path_is_proved():
    unproved = {("keeper", "push"), ("keeper", "mail"), ("neighbour", "letter")}
    assert ladder(14, priority=Priority.MEDIUM, unproved=unproved) == [
        ("keeper", "push", 0, 0.0), ("keeper", "mail", 0, 0.0),
    ]  # fmt: skip
    assert len(ladder(0, unproved=unproved)) == 3  # a high one calls all at once


def test_hours_of_a_few_minutes_are_found():
    short = Person("keeper", "Keeper", ("push",), ((8 * 60 + 7, 8 * 60 + 12),))
    assert next_hours([short], 0.0, lambda s: int(s / 60) % 1440) == (8 * 60 + 7) * MIN
    night = Person("keeper", "Keeper", ("push",), ((22 * 60, 6 * 60),))  # through midnight
    assert next_hours([night], 7 * 3600.0, lambda s: int(s / 60) % 1440) == 22 * 3600.0
    assert next_hours([Person("x", "X", ("y",), ())], 0.0, lambda s: 0) is None


@pytest.mark.law
@settings(deadline=None, max_examples=25)
@given(
    harm=st.none() | st.floats(0, 1e6), breaks=st.sets(st.sampled_from(["push", "mail", "letter"]), max_size=3),
    step=st.sampled_from([1.0, 3.0, 7.0]), priority=st.sampled_from([Priority.MEDIUM, Priority.HIGH, Priority.URGENT]),
)  # fmt: skip
def test_somebody_is_called_again_and_again_until_there_is_an_answer(harm, breaks, step, priority):
    """Played minute by minute for five days, with paths that fail for good: no call is made twice in a turn, none is
    due before its time, and no six hours pass without a new one."""
    done, made, last = [], set(), 0.0
    m = message(priority, harm)
    for k in range(int(5 * 24 * 60 / step)):
        now = k * step * MIN
        for c in calls(m, TWO, USUAL, done, (), lambda s: int(600 + s / 60) % 1440, now):
            assert c.due_s <= now
            key = (c.person, c.path, c.turn)
            if key not in made:
                made.add(key)
                last = now
                stage = Stage.FAILED if c.path in breaks else Stage.HANDED_OVER
                done.append(Delivery(len(done), "m", c.person, c.path, c.turn, stage, now, 1, now, now))
        assert now - last <= 6 * 3600.0
