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


def test_after_a_start_the_book_is_brought_in_line():
    w = watch()
    w.decide("reef", [finding(0.0, name="gone"), finding(0.0, name="stays")])
    w.observers["reef"].hand.standing.now.update({"stays": finding(0.0, name="stays"), "new": finding(5.0, name="new")})
    turned = w.reconcile("reef", 10.0, started=True)
    assert states(turned) == [("new", "unacknowledged"), ("gone", "returned-unacknowledged")]
    assert w.reconcile("reef", 11.0, started=True) == []


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
