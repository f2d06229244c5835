"""Findings become alarms and end; shelves, hushes and clocks move them; the book is brought in line after a start."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.alarms.alarm import Event, State
from leadline.alarms.works import Work
from leadline.app.keep_watch import NoteBook, Watch
from leadline.detect.findings import Finding
from leadline.detect.observe import Observer
from leadline.system.description import parse

HOUR = 3600.0
SYSTEM = parse('[system]\nid = "reef"\ntime_zone = "UTC"\nnet_volume = "600 L"\n')


def watch(**more):
    return Watch(NoteBook(), {"reef": Observer(SYSTEM)}, **more)


def finding(at, holds=True, harm=None, name="x"):
    return Finding(name, "x", at, holds, 1.0, harm, "Because.")


def states(turned):
    return [(t.alarm, str(t.state)) for t in turned]


def test_a_finding_becomes_an_alarm_and_ends():
    w = watch()
    assert states(w.decide("reef", [finding(0.0)])) == [("x", "unacknowledged")]
    assert w.decide("reef", [finding(1.0)]) == []  # it stands already
    assert states(w.decide("reef", [finding(2.0, holds=False)])) == [("x", "returned-unacknowledged")]
    assert w.decide("reef", [finding(3.0, holds=False)]) == []


def test_findings_of_one_batch_are_taken_in_order_of_time():
    turned = watch().decide("reef", [finding(5.0, holds=False), finding(1.0)])
    assert [t.time.timestamp() for t in turned] == [1.0, 5.0]


def test_work_quiets_a_new_alarm_until_it_ends():
    work = Work("reef", "service", "x", "me", 0.0, HOUR)
    w = watch(works=lambda s: [work])
    assert states(w.decide("reef", [finding(10.0, name="x-weak")])) == [("x-weak", "suppressed")]
    assert w.time_outs(HOUR - 1.0) == []
    assert states(w.time_outs(HOUR)) == [("x-weak", "unacknowledged")]


def test_what_ended_during_work_does_not_speak_after_it():
    work = Work("reef", "service", "x", "me", 0.0, HOUR)
    w = watch(works=lambda s: [work])
    w.decide("reef", [finding(10.0, name="x-weak")])
    w.decide("reef", [finding(20.0, holds=False, name="x-weak")])
    assert states(w.time_outs(HOUR)) == [("x-weak", "normal")]


def test_an_acknowledged_alarm_speaks_again_when_nothing_got_better():
    w = watch()
    w.decide("reef", [finding(0.0, harm=4 * HOUR)])
    w.happen(w.book.alarm("reef", "x"), Event.ACKNOWLEDGE, 60.0, who="me")
    assert w.time_outs(2.0 * HOUR) == []
    assert states(w.time_outs(2.0 * HOUR + 30.0)) == [("x", "unacknowledged")]


def test_the_book_is_brought_in_line_with_what_the_lookouts_see():
    """After a start, or after a write that failed: what began is begun, what ended is ended."""
    w = watch()
    w.decide("reef", [finding(0.0, name="gone"), finding(0.0, name="stays"), finding(0.0, name="carried")])
    w.observers["reef"].hand.standing.now.update({"stays": finding(0.0, name="stays"), "new": finding(5.0, name="new")})
    turned = w.reconcile("reef", 10.0, carried={"carried"})
    assert states(turned) == [("new", "unacknowledged"), ("gone", "returned-unacknowledged")]
    assert w.reconcile("reef", 11.0, carried={"carried"}) == []
    assert states(w.reconcile("reef", 12.0)) == [("carried", "returned-unacknowledged")]


def test_a_condition_that_comes_back_louder_is_told_with_its_new_words():
    w = watch()
    w.decide("reef", [finding(0.0, harm=12 * HOUR)])
    w.happen(w.book.alarm("reef", "x"), Event.ACKNOWLEDGE, 60.0, who="me")
    worse = Finding("x", "x", 120.0, True, 2.0, HOUR, "It is worse.")
    (turned,) = w.decide("reef", [worse])
    assert (turned.state, turned.priority, turned.because) == ("unacknowledged", "urgent", "It is worse.")
    assert w.decide("reef", [worse]) == []


def test_what_becomes_worse_leaves_the_shelf():
    w = watch()
    w.decide("reef", [finding(0.0, harm=30 * HOUR)])
    w.happen(w.book.alarm("reef", "x"), Event.SHELVE, 1.0, who="me", until_s=100 * HOUR, reason="known")
    assert w.time_outs(5 * HOUR) == []
    (turned,) = w.time_outs(6 * HOUR + 1.0)
    assert (turned.state, turned.priority) == ("unacknowledged", "medium")


def test_one_work_s_end_leaves_what_another_quiets():
    a, b = Work("reef", "service", "x", "a", 0.0, HOUR), Work("reef", "service", "x", "b", 0.0, 2 * HOUR)
    going = [a]
    w = watch(works=lambda s: going)
    w.decide("reef", [finding(10.0, name="x-weak")])
    going[:] = [b]
    assert w.time_outs(HOUR) == []
    going[:] = []
    assert states(w.time_outs(2 * HOUR + 1.0)) == [("x-weak", "unacknowledged")]


@pytest.mark.law
@given(st.lists(st.tuples(st.booleans(), st.sampled_from(["ack", "shelve", "out", "none"])), max_size=30))
def test_a_condition_that_holds_is_never_called_normal_for_long(steps):
    """Whatever people do, an alarm whose condition holds is not normal: it speaks, is acknowledged, or is hushed with
    an end or a reason."""
    w = watch()
    now = 0.0
    for holds, do in steps:
        now += HOUR
        w.decide("reef", [finding(now, holds=holds)])
        r = w.book.alarm("reef", "x")
        if r is not None and do != "none":
            event = {"ack": Event.ACKNOWLEDGE, "shelve": Event.SHELVE, "out": Event.REMOVE}[do]
            w.happen(r, event, now, who="me", until_s=now + 600.0, reason="r")
        w.time_outs(now + 700.0)
        r = w.book.alarm("reef", "x")
        if r is not None and r.alarm.holds:
            assert r.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.OUT_OF_SERVICE)


def test_an_alarm_whose_hour_draws_near_becomes_louder_and_speaks_again():
    w = watch()
    w.decide("reef", [finding(0.0, harm=30 * HOUR)])
    assert w.book.alarm("reef", "x").priority == "low"
    assert w.time_outs(5.9 * HOUR) == []
    (turned,) = w.time_outs(6.0 * HOUR)
    assert (turned.state, turned.priority) == ("unacknowledged", "medium")
    w.happen(w.book.alarm("reef", "x"), Event.ACKNOWLEDGE, 7 * HOUR, who="me")
    (turned,) = w.time_outs(24.0 * HOUR)
    assert (turned.state, turned.priority) == ("unacknowledged", "high")
    assert w.time_outs(29.9 * HOUR) == []  # urgent shows by itself


def test_what_no_longer_holds_does_not_become_louder():
    w = watch()
    w.decide("reef", [finding(0.0, harm=30 * HOUR), finding(10.0, holds=False)])
    assert w.time_outs(29 * HOUR) == []


def test_what_harms_nobody_has_no_hour():
    w = watch()
    w.decide("reef", [Finding("x", "x", 0.0, True, 1.0, 3 * HOUR, "Because.", consequence=False)])
    assert w.book.alarm("reef", "x").harm_at_s is None
    assert w.time_outs(2.9 * HOUR) == []
