"""From an alarm to a person and back: stories over a real store, with couriers that take, refuse or stall."""

from __future__ import annotations

import pytest
from tests.app.household import DAY, MIN, ORDERS, START, proved, unproved

from leadline.alarms import codes
from leadline.alarms.alarm import State
from leadline.alarms.decide import Priority
from leadline.alarms.delivery import Kind, Stage
from leadline.app import stand_orders
from leadline.app.be_heard import FLOOD
from leadline.app.keep_watch import WATCH
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock, parse

pytestmark = pytest.mark.story


@pytest.fixture
def house(tmp_path):
    made = proved(tmp_path)
    yield made
    made.store.close()


def test_an_alarm_climbs_until_somebody_answers(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    assert house.told("mail") == ["high: Invented reef, chiller 1 warms"]
    assert house.told("bell") == []
    house.go(6)
    assert len(house.told("bell")) == 1
    house.go(10)
    assert len(house.told("letter")) == 1
    assert {o.id for b in house.couriers.values() for o in b.got} == {house.couriers["mail"].got[0].id}
    done = house.answer("letter")
    assert done.first
    assert house.store.alarm("reef", "chiller-1-warms").state is State.ACKNOWLEDGED
    assert house.store.open_messages() == []
    house.go(60)
    assert len(house.told("mail")) == 1


def test_nobody_answers_and_it_begins_again(house):
    house.find("chiller-1-warms", 5.0)
    house.go(40)
    assert len(house.told("mail")) == 2


def test_an_alarm_that_was_answered_and_not_mended_asks_again(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    house.answer("mail")
    house.go(149)
    assert len(house.told("mail")) == 1
    house.go(2)  # half of the five hours
    assert len(house.told("mail")) == 2
    assert house.store.alarm("reef", "chiller-1-warms").state is State.UNACKNOWLEDGED


def test_a_path_that_fails_for_good_is_passed_at_once(house):
    house.couriers["mail"].broken = True
    house.find("chiller-1-warms", 5.0)
    house.go()
    house.go()
    assert len(house.told("bell")) == 1


def test_a_path_that_fails_for_now_is_tried_again_and_the_next_comes_in_time(house):
    house.couriers["mail"].broken = False
    house.find("chiller-1-warms", 5.0)
    house.go(4)
    tries = house.store.deliveries(house.store.open_messages()[0].id)[0]
    assert tries.stage is Stage.QUEUED
    assert tries.tries >= 2
    assert "no server answers" in tries.note
    house.couriers["mail"].broken = None
    house.go(6)
    assert len(house.told("mail")) == 1
    assert len(house.told("bell")) == 1


def test_a_low_alarm_is_only_shown(house):
    house.find("chiller-1-duty", 100.0)
    house.go(60)
    assert house.told("mail") == []
    assert house.store.alarm("reef", "chiller-1-duty").state is State.UNACKNOWLEDGED


def test_a_consequence_is_not_told_unless_it_is_worse(house):
    house.find("chiller-1-warms", 5.0)
    house.find("temperature-heading-high", 5.0, "temperature")
    house.go()
    assert len(house.told("mail")) == 1
    assert house.store.alarm("reef", "temperature-heading-high").cause == "chiller-1-warms"
    house.go(3)
    house.find("temperature-high", 0.0, "temperature")
    house.go()
    assert house.told("mail")[1:] == ["urgent: Invented reef, temperature high"]
    assert "It follows from: chiller 1 warms." in house.couriers["mail"].got[-1].text


def test_acknowledging_the_cause_acknowledges_what_follows(house):
    house.find("chiller-1-warms", 5.0)
    house.find("temperature-heading-high", 5.0, "temperature")
    house.go()
    house.answer("mail")
    assert house.store.alarm("reef", "temperature-heading-high").state is State.ACKNOWLEDGED


def test_an_answer_answers_the_low_alarms_of_the_same_cause_and_none_that_was_told(house):
    house.find("heater-1-fights", 100.0, "heater-1")  # low: shown, not told
    house.go()
    house.find("chiller-1-warms", 5.0)  # high: told
    house.find("chiller-1-duty", 100.0)
    house.go()
    standing = {r.name: r for r in house.store.alarms("reef")}
    assert {standing["chiller-1-warms"].cause, standing["chiller-1-duty"].cause} == {"heater-1-fights"}
    house.answer("mail")
    assert {r.state for r in house.store.alarms("reef")} == {State.ACKNOWLEDGED}
    house.find("temperature-high", 0.0, "temperature")  # urgent
    house.find("heater-1-duty", 100.0, "heater-1")
    house.go()
    house.signals.acknowledge(house.watch, "reef", "heater-1-duty", "me", "page", house.now)
    assert house.store.alarm("reef", "temperature-high").state is State.UNACKNOWLEDGED


def test_a_louder_alarm_that_was_told_is_not_answered_with_its_cause(house):
    house.find("heater-1-fights", 5.0, "heater-1")
    house.go()
    house.find("temperature-high", 0.0, "temperature")
    house.go()
    assert house.store.alarm("reef", "temperature-high").cause == "heater-1-fights"
    house.signals.acknowledge(house.watch, "reef", "heater-1-fights", "me", "page", house.now)
    assert house.store.alarm("reef", "temperature-high").state is State.UNACKNOWLEDGED
    assert "temperature-high" in {m.alarm for m in house.store.open_messages()}


def test_an_old_link_of_an_alarm_that_is_over_answers_nothing_of_today(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    old = house.couriers["mail"].got[-1].code
    house.answer("mail")
    house.find("chiller-1-warms", holds=False)
    house.go(1)
    assert house.store.alarm("reef", "chiller-1-warms").state is State.NORMAL
    house.find("chiller-1-duty", 100.0)
    house.find("chiller-1-never-off", 12.0)
    house.go(1)
    done = house.signals.answer(house.watch, house.signals.find_code(old, house.now), "reply", house.now)
    assert done.words == "chiller 1 warms is over: it asks for nothing."
    assert house.store.alarm("reef", "chiller-1-duty").state is State.UNACKNOWLEDGED
    assert house.store.alarm("reef", "chiller-1-never-off").state is State.UNACKNOWLEDGED


def test_what_the_flood_speaks_for_is_not_answered_by_the_mail_of_a_quieter_one_of_its_cause(house):
    house.find("chiller-1-warms", 20.0)  # medium, told
    house.go(1)
    code = house.couriers["mail"].got[-1].code
    for k in range(12):
        house.find(f"probe-{k}-noisy", 0.5, f"probe-{k}")
    house.go(1)
    house.find("temperature-high", 0.5, "temperature")  # urgent; the flood speaks for it
    house.go(1)
    assert house.store.alarm("reef", "temperature-high").cause == "chiller-1-warms"
    house.signals.answer(house.watch, house.signals.find_code(code, house.now), "reply", house.now)
    assert house.store.alarm("reef", "chiller-1-warms").state is State.ACKNOWLEDGED
    assert house.store.alarm("reef", "temperature-high").state is State.UNACKNOWLEDGED


@pytest.mark.parametrize("how", ["link", "page"])
@pytest.mark.parametrize("harm_h", [5.0, 12.0])
def test_an_answered_flood_speaks_for_nothing_that_came_since(house, how, harm_h):
    for k in range(12):
        house.find(f"probe-{k}-noisy", harm_h, f"probe-{k}")
    house.go(2)
    flood = next(m for m in house.store.open_messages() if m.alarm == FLOOD)
    if how == "link":
        house.find("late-high", harm_h, "late")
        house.go(1)
        house.signals.answer(house.watch, house.store.deliveries(flood.id)[0], how, house.now)
    else:
        house.signals.acknowledge(house.watch, WATCH, FLOOD, "me", "page", house.now)
        house.go(30)
        house.find("late-high", harm_h, "late")
    assert {house.store.alarm("reef", f"probe-{k}-noisy").state for k in range(12)} == {State.ACKNOWLEDGED}
    assert house.store.alarm("reef", "late-high").state is State.UNACKNOWLEDGED
    house.go(2)
    assert "late-high" in {m.alarm for m in house.store.open_messages()}


@pytest.mark.parametrize("between", ["ends", "holds"])
def test_an_old_link_answers_no_alarm_that_spoke_again(house, between):
    house.find("temperature-high", 3.0, "temperature")
    house.go(1)
    old = next(m for m in house.store.open_messages() if m.alarm == "temperature-high")
    house.answer("mail")
    if between == "ends":
        house.find("temperature-high", 3.0, "temperature", holds=False)
        house.go(600)
        house.find("temperature-high", 0.5, "temperature")
        house.go(20)
    else:
        house.go(120)  # nobody mended it: it asks again
    assert house.store.alarm("reef", "temperature-high").state is State.UNACKNOWLEDGED
    done = house.signals.answer(house.watch, house.store.deliveries(old.id)[0], "link", house.now)
    assert "newer message" in done.words
    assert house.store.alarm("reef", "temperature-high").state is State.UNACKNOWLEDGED
    assert "temperature-high" in {m.alarm for m in house.store.open_messages()}


def test_the_answer_to_an_alarm_that_ended_answers_nothing_that_still_holds(house):
    house.find("chiller-1-warms", 20.0)
    house.go(1)
    house.find("temperature-high", 48.0, "temperature")  # low
    house.go(1)
    house.find("chiller-1-warms", holds=False)
    house.go(1)
    house.signals.acknowledge(house.watch, "reef", "chiller-1-warms", "me", "page", house.now)
    assert house.store.alarm("reef", "temperature-high").state is State.UNACKNOWLEDGED


def test_what_ends_by_itself_is_said_and_calls_nobody_new(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    house.find("chiller-1-warms", holds=False)
    house.go(60)
    assert house.told("mail")[1] == "over: Invented reef, chiller 1 warms"
    assert house.told("letter") == []
    assert house.store.alarm("reef", "chiller-1-warms").state is State.RETURNED
    house.signals.acknowledge(house.watch, "reef", "chiller-1-warms", "me", "page", house.now)
    assert house.store.alarm("reef", "chiller-1-warms").state is State.NORMAL
    assert house.store.open_messages() == []


def test_a_flood_is_one_message(house):
    for k in range(15):
        house.find(f"thing-{k}", 5.0, f"thing-{k}")
        house.go(0)
    alarms = [m for m in house.store.open_messages() if m.kind is Kind.ALARM]
    assert [m.alarm for m in alarms if m.system == WATCH] == [FLOOD]
    assert len(alarms) == 12  # eleven before it was a flood, and the flood's
    house.find("temperature-high", 0.0, "temperature")  # a louder one is told all the same
    assert [m for m in house.store.open_messages() if m.alarm == "temperature-high"]
    house.go(12)  # the ten minutes are over, nothing is answered: it stands, and nothing of it is told again
    flood = next(m for m in house.store.open_messages() if m.alarm == FLOOD)
    assert not [m for m in house.store.open_messages() if m.alarm == "thing-14"]
    house.signals.answer(house.watch, house.store.deliveries(flood.id)[0], "link", house.now)
    assert all(r.state is State.ACKNOWLEDGED for r in house.store.alarms("reef"))
    assert house.store.open_messages() == []
    house.go(60)
    assert not house.store.alarm(WATCH, FLOOD).alarm.holds


def test_a_chattering_probe_is_no_flood_and_hides_no_other(house):
    for k in range(30):
        house.find("probe-noisy", 12.0, "probe", holds=k % 2 == 0)
        house.go(0)
    house.find("heater-1-never-off", 3.0, "heater-1")
    house.go()
    assert "high: Invented reef, heater 1 never off" in house.told("mail")


def test_a_consequence_speaks_when_its_cause_ends_or_is_shelved(house):
    house.find("chiller-1-warms", 5.0)
    house.find("temperature-heading-high", 5.0, "temperature")
    house.go()
    assert len(house.told("mail")) == 1
    house.find("chiller-1-warms", holds=False)
    house.go()
    assert house.told("mail")[-1] == "high: Invented reef, temperature heading high"


def test_an_answer_to_an_older_message_of_an_alarm_answers_nothing(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    old = house.couriers["mail"].got[-1].code
    house.find("chiller-1-warms", holds=False)
    house.go(1)
    house.find("chiller-1-warms", 5.0)
    house.go(1)
    done = house.signals.answer(house.watch, house.signals.find_code(old, house.now), "reply", house.now)
    assert "newer message" in done.words
    assert house.store.alarm("reef", "chiller-1-warms").state is State.UNACKNOWLEDGED


def test_an_answer_to_what_the_old_set_up_carried_proves_nothing(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    old = house.couriers["mail"].got[-1].code
    house.now += 60.0
    house.orders(ORDERS, {"mail": "other password", "bell": "print", "letter": "print"})
    house.signals.settle_prints(house.now)
    house.signals.answer(house.watch, house.signals.find_code(old, house.now), "reply", house.now)
    assert unproved(house) == ["mail"]
    assert house.store.alarm("reef", "chiller-1-warms").state is State.ACKNOWLEDGED


def test_an_old_answer_does_not_undo_a_proof_that_failed(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    old = house.couriers["mail"].got[-1].code
    house.couriers["mail"].broken = False
    house.go(8 * 60 + 12)
    assert unproved(house) == ["mail"]
    house.signals.answer(house.watch, house.signals.find_code(old, house.now), "reply", house.now)
    assert unproved(house) == ["mail"]


def test_a_path_that_left_the_orders_is_spoken_of_no_more(house):
    house.couriers["mail"].broken = False
    house.go(8 * 60 + 12)
    assert house.store.alarm(WATCH, "path-keeper-mail-unproved").alarm.holds
    house.orders(ORDERS.replace('paths = ["mail", "bell"]', 'paths = ["bell"]'))
    found = house.signals.disowned(house.now, ())
    house.signals.tell(house.watch.decide(WATCH, found), house.now)
    assert not house.store.alarm(WATCH, "path-keeper-mail-unproved").alarm.holds
    left = sorted(m.alarm for m in house.store.open_messages() if m.kind is Kind.PROOF)
    assert left == ["keeper/bell", "neighbour/letter"]


def test_a_link_opens_one_delivery_and_no_other(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    link = house.couriers["mail"].got[0].link
    assert link.startswith("http://reef.local:8077/seen/")
    ticket = link.rsplit("/", 1)[1]
    d = house.signals.find(ticket)
    assert (d.person, d.path) == ("keeper", "mail")
    for wrong in (
        ticket[:-1] + ("0" if ticket[-1] != "0" else "1"),
        "1-",
        "",
        "x-y",
        "9" * 40 + "-a",
        "2" + ticket[1:],
    ):
        assert house.signals.find(wrong) is None
    house.signals.opened(d, house.now)
    assert house.store.delivery(d.seq).stage is Stage.DELIVERED
    assert house.store.alarm("reef", "chiller-1-warms").state is State.UNACKNOWLEDGED  # opening is no answer


def test_a_link_expires(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    d = house.signals.find(house.couriers["mail"].got[0].link.rsplit("/", 1)[1])
    with pytest.raises(BadInput, match="too old"):
        house.signals.answer(house.watch, d, "link", house.now + 15 * DAY)
    assert house.signals.find_code(house.couriers["mail"].got[0].code, house.now + 15 * DAY) is None


def test_an_answer_to_an_alarm_proves_its_path_and_one_on_the_page_does_not(house):
    house.find("chiller-1-warms", 5.0)
    house.go(30)
    before = {k.path: k.proved_s for k in house.signals.known()}
    house.answer("bell")
    after = {k.path: k.proved_s for k in house.signals.known()}
    assert after["bell"] == START + 5 * MIN  # when it went out: that is when the path is known to have worked
    assert after["mail"] == before["mail"]


def test_a_low_alarm_is_told_when_its_hour_draws_near(house):
    house.find("chiller-1-duty", 25.0)
    house.go(30)
    assert house.told("mail") == []
    house.go(31)
    assert house.told("mail") == ["medium: Invented reef, chiller 1 duty"]


# -- work and shelves -------------------------------------------------------------------------------------


def test_declared_work_quiets_what_it_causes_and_lets_it_speak_after(house):
    clock = FixedClock(parse("2026-05-01T10:00:00Z"))
    stand_orders.declare(house.store, clock, "reef", "exchange")
    house.find("temperature-heading-low", 2.0, "temperature")
    house.go(89)
    assert house.told("mail") == []
    assert house.store.alarm("reef", "temperature-heading-low").state is State.SUPPRESSED
    house.go(2)
    assert house.told("mail") == ["high: Invented reef, temperature heading low"]


def test_work_quiets_only_what_begins_during_it_and_ends_one_by_one(house):
    clock = FixedClock(parse("2026-05-01T10:00:00Z"))
    house.find("chiller-1-warms", 5.0)
    house.go()
    house.answer("mail")
    stand_orders.declare(house.store, clock, "reef", "exchange")
    stand_orders.declare(house.store, clock, "reef", "feeding")
    assert house.store.alarm("reef", "chiller-1-warms").state is State.ACKNOWLEDGED
    assert stand_orders.end_work(house.store, clock, "reef", "feeding") == 1
    assert [w.kind for w in stand_orders.work_going_on(house.store, "reef", START + 1.0)] == ["exchange"]


def test_work_ended_by_hand_lets_it_speak_at_once(house):
    clock = FixedClock(parse("2026-05-01T10:00:00Z"))
    stand_orders.declare(house.store, clock, "reef", "exchange")
    house.find("temperature-heading-low", 2.0, "temperature")
    assert stand_orders.end_work(house.store, clock, "reef") == 1
    assert house.store.alarm("reef", "temperature-heading-low").state is State.UNACKNOWLEDGED
    house.go()
    assert house.told("mail") == ["high: Invented reef, temperature heading low"]


def test_a_shelf_has_an_end_and_a_reason_and_speaks_again(house):
    clock = FixedClock(parse("2026-05-01T10:00:00Z"))
    house.find("chiller-1-warms", 5.0)
    house.go()
    with pytest.raises(BadInput, match=r"2\.5 h at most"):  # half of the time that is left
        stand_orders.shelve(house.store, clock, "reef", "chiller-1-warms", hours=4.0, reason="known")
    stand_orders.shelve(house.store, clock, "reef", "chiller-1-warms", hours=2.0, reason="known")
    house.go(118)
    assert len(house.told("mail")) == 1
    house.go(2)
    assert len(house.told("mail")) == 2
    for hours, reason, said in ((13.0, "x", "at most"), (1.0, " ", "reason"), (0.0, "x", "on the shelf")):
        with pytest.raises(BadInput, match=said):
            stand_orders.shelve(house.store, clock, "reef", "chiller-1-warms", hours=hours, reason=reason)


def test_that_a_path_is_broken_can_be_neither_shelved_nor_removed(house):
    clock = FixedClock(parse("2026-05-01T10:00:00Z"))
    house.find("path-keeper-mail-unproved", 5.0, "mail", system=WATCH)
    with pytest.raises(BadInput, match="can't be shelved"):
        stand_orders.shelve(house.store, clock, WATCH, "path-keeper-mail-unproved", hours=1.0, reason="x")
    with pytest.raises(BadInput, match="can't be taken"):
        stand_orders.remove(house.store, clock, WATCH, "path-keeper-mail-unproved", reason="x")


def test_the_codes_are_those_of_this_house_alone(house):
    house.find("chiller-1-warms", 5.0)
    house.go()
    m = house.store.open_messages()[0]
    other = codes.reply_code(b"x" * 32, m.id, "keeper", "mail")
    assert house.signals.find_code(other, house.now) is None
    assert m.priority is Priority.HIGH
