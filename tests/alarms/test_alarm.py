"""The alarm machine against the standard's table, exhaustively, and against whatever can happen in any order."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.alarms.alarm import ACTIVE, AUDIBLE, SPOKEN, Alarm, Event, State, after, following, time_out

S, E = State, Event
# IEC 62682 / ISA-18.2 as the reference sheet restates it (section 5.1): letters of the standard
LETTER = {
    "A": S.NORMAL, "B": S.UNACKNOWLEDGED, "C": S.ACKNOWLEDGED, "D": S.RETURNED, "E": S.LATCHED_UNACKNOWLEDGED,
    "F": S.LATCHED_ACKNOWLEDGED, "G": S.SHELVED, "H": S.SUPPRESSED, "I": S.OUT_OF_SERVICE,
}  # fmt: skip
# from, event, latching (None: either), condition (None: either), to
PRINTED = [
    ("A", E.ALARM, None, None, "B"), ("B", E.ACKNOWLEDGE, None, None, "C"), ("B", E.RETURN, False, None, "D"),
    ("B", E.RETURN, True, None, "E"), ("C", E.RETURN, False, None, "A"), ("C", E.RETURN, True, None, "F"),
    ("C", E.REALARM, None, None, "B"), ("D", E.ACKNOWLEDGE, None, None, "A"), ("D", E.ALARM, None, None, "B"),
    ("E", E.ACKNOWLEDGE, None, None, "F"), ("E", E.ALARM, None, None, "B"), ("F", E.ALARM, None, None, "B"),
    ("F", E.RESET, None, None, "A"),
    *[(s, E.SHELVE, None, None, "G") for s in "ABCDEF"], *[(s, E.SUPPRESS, None, None, "H") for s in "ABCDEF"],
    *[(s, E.REMOVE, None, None, "I") for s in "ABCDEF"],
    ("G", E.UNSHELVE, None, True, "B"), ("G", E.UNSHELVE, None, False, "A"), ("H", E.UNSUPPRESS, None, True, "B"),
    ("H", E.UNSUPPRESS, None, False, "A"), ("I", E.RETURN_TO_SERVICE, None, True, "B"),
    ("I", E.RETURN_TO_SERVICE, None, False, "A"),
]  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize(
    ("state", "event", "latching", "holds"),
    list(itertools.product("ABCDEFGHI", Event, (False, True), (False, True))),
)
def test_every_state_and_event_is_as_printed(state, event, latching, holds):
    """All 9 × 11 × 4 of them: what stands in the printed table happens, and nothing else does."""
    wanted = {
        to for a, e, lat, cond, to in PRINTED
        if (a, e) == (state, event) and lat in (None, latching) and cond in (None, holds)
    }  # fmt: skip
    assert len(wanted) <= 1
    found = following(LETTER[state], event, holds=holds, latching=latching)
    assert found == (LETTER[wanted.pop()] if wanted else None)


EVENTS = st.lists(st.tuples(st.sampled_from(list(Event)), st.floats(1.0, 7200.0)), max_size=60)


@pytest.mark.law
@given(EVENTS, st.booleans())
def test_whatever_happens_no_true_condition_is_lost(events, latching):
    """After any history, ending every hush and returning it to service makes a true condition heard again."""
    alarm, now = Alarm("x", latching=latching), 0.0
    holds = False
    for event, wait in events:
        now += wait
        due = time_out(alarm, now)
        if due:
            alarm = after(alarm, due, now) or alarm
        alarm = after(alarm, event, now, until_s=now + wait, reason="work") or alarm
        holds = {E.ALARM: True, E.RETURN: False}.get(event, holds)
        assert alarm.holds == holds
    for event in (E.UNSHELVE, E.UNSUPPRESS, E.RETURN_TO_SERVICE):
        alarm = after(alarm, event, now + 1.0) or alarm
    if alarm.holds:
        assert alarm.state in ACTIVE  # heard, or heard and acknowledged
    else:
        assert alarm.state not in ACTIVE


@pytest.mark.law
@given(st.floats(0.0, 1e9), st.one_of(st.none(), st.floats(-1e9, 1e9)), st.text(max_size=5))
def test_a_shelf_always_has_an_end_and_a_reason(now, until, reason):
    found = after(Alarm("x", State.UNACKNOWLEDGED, holds=True), Event.SHELVE, now, until_s=until, reason=reason)
    if until is None or until <= now or not reason:
        assert found is None
    else:
        assert found is not None
        assert time_out(found, until) == Event.UNSHELVE
        assert time_out(found, now) is None
        again = after(found, Event.UNSHELVE, until)
        assert again is not None
        assert again.state in AUDIBLE  # its condition still holds: it speaks again


def test_the_sheet_s_own_sequences():
    """SM-1 and SM-2 of the sheet."""

    def run(*events: Event, latching: bool = False) -> Alarm:
        alarm = Alarm("x", latching=latching)
        for k, event in enumerate(events):
            found = after(alarm, event, float(k), until_s=k + 10.0, reason="work")
            assert found is not None, event
            alarm = found
        return alarm

    assert run(E.ALARM, E.ACKNOWLEDGE, E.RETURN).state is S.NORMAL
    assert run(E.ALARM, E.RETURN, E.ACKNOWLEDGE).state is S.NORMAL
    assert run(E.ALARM, E.RETURN, E.ACKNOWLEDGE, E.RESET, latching=True).state is S.NORMAL
    assert run(E.ALARM, E.ACKNOWLEDGE, E.SHELVE, E.UNSHELVE).state is S.UNACKNOWLEDGED
    quiet = after(run(E.ALARM, E.SHELVE), Event.RETURN, 5.0)
    assert quiet is not None
    assert quiet.state is S.SHELVED
    ended = after(quiet, Event.UNSHELVE, 12.0)
    assert ended is not None
    assert ended.state is S.NORMAL
    assert following(S.LATCHED_UNACKNOWLEDGED, E.RESET, holds=False, latching=True) is None  # reset from E is refused


def test_latched_states_are_spoken_in_the_contract_s_words():
    words = {"normal", "unacknowledged", "acknowledged", "returned-unacknowledged", "shelved", "suppressed",
             "out-of-service"}  # fmt: skip
    assert {SPOKEN.get(s, s).value for s in State} == words
