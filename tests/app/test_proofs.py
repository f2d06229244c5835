"""Proof of paths: asked for, answered, missed, undone by a change, and on the round."""

from __future__ import annotations

import datetime as dt

import pytest
from tests.app.household import DAY, ORDERS, START, proved, unproved

from leadline.alarms.alarm import State
from leadline.app.keep_watch import WATCH
from leadline.app.path_book import path_and_person
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock

pytestmark = pytest.mark.story


@pytest.fixture
def house(tmp_path):
    made = proved(tmp_path)
    yield made
    made.store.close()


def test_proofs_are_asked_for_and_answered(house):
    house.go(8 * 60 + 1)  # past 18:00
    assert [b.got[-1].subject for b in house.couriers.values()] == [
        "proof: does mail reach you?", "proof: does bell reach you?", "proof: does letter reach you?",
    ]  # fmt: skip
    for name in house.couriers:
        assert house.answer(name).words == "The path is proved."
    house.go(5 * 60)
    assert unproved(house) == []
    assert house.store.alarms(WATCH) == []


def test_an_unanswered_proof_is_told_by_the_other_paths_and_to_the_second_person(house):
    house.go(8 * 60 + 1)
    house.answer("bell")
    house.answer("letter")
    house.go(4 * 60 + 1)
    assert unproved(house) == ["mail"]
    said = house.store.alarm(WATCH, "path-keeper-mail-unproved")
    assert said.state is State.UNACKNOWLEDGED
    assert "no answer within 4 h" in said.because
    assert "reaches nobody is" in said.because
    house.go(30)
    assert house.told("bell") == ["medium: the watch, mail to keeper is unproved"]
    assert house.told("letter") == ["medium: the watch, mail to keeper is unproved"]


def test_a_dead_server_is_noticed_long_before_the_window_ends(house):
    house.couriers["mail"].broken = False
    house.go(8 * 60 + 12)
    assert unproved(house) == ["mail"]
    assert "no server answers" in house.store.alarm(WATCH, "path-keeper-mail-unproved").because
    house.couriers["mail"].broken = None
    house.go(5)  # the proof goes out late, and its answer ends the alarm
    proof = next(o for o in house.couriers["mail"].got if o.subject.startswith("proof"))
    d = house.signals.find_code(proof.code, house.now)
    assert house.signals.answer(house.watch, d, "reply", house.now).words == "The path is proved."
    house.go(1)
    assert house.store.alarm(WATCH, "path-keeper-mail-unproved").alarm.holds is False


def test_a_path_that_is_set_up_otherwise_is_unproved_at_once_and_asked(house):
    house.orders(ORDERS, {"mail": "other password", "bell": "print", "letter": "print"})
    assert unproved(house) == ["mail"]
    house.go()
    assert [o.subject for o in house.couriers["mail"].got] == ["proof: does mail reach you?"]
    assert house.couriers["bell"].got == []


def test_the_chance_that_nobody_is_reached_grows_with_the_age_of_proof(house):
    from leadline.app.oversee import nobody_tonight

    young, old = nobody_tonight(house.signals, START), nobody_tonight(house.signals, START + 60 * DAY)
    assert young < 0.01 < old


def test_who_is_meant_by_a_word(house):
    o = house.signals.orders
    assert path_and_person(o, "mail") == [("keeper", "mail")]
    assert path_and_person(o, "keeper") == [("keeper", "mail"), ("keeper", "bell")]
    assert len(path_and_person(o, "")) == 3
    with pytest.raises(BadInput, match="keeper/mail"):
        path_and_person(o, "pigeon")


# -- the round -------------------------------------------------------------------------------------------


def on_round(house):
    from leadline.app.choose import round_for

    found = round_for(house.store, FixedClock(dt.datetime.fromtimestamp(house.now, dt.UTC)), "reef", 60.0)
    return [(i.subject, i.because) for i in found.items if i.action == "prove"]


def test_proved_paths_are_not_on_the_round_and_an_unproved_one_is_with_its_chance(house):
    assert on_round(house) == []
    house.couriers["mail"].broken = False
    house.go(8 * 60 + 12)
    ((subject, because),) = on_round(house)
    assert subject == "mail to keeper"
    assert "its last proof was not answered" in because
    assert "reaches nobody is" in because


def test_a_changed_password_is_on_the_round_at_once(house):
    house.orders(ORDERS, {"mail": "other password", "bell": "print", "letter": "print"})
    house.signals.settle_prints(house.now)
    assert [subject for subject, _ in on_round(house)] == ["mail to keeper"]
