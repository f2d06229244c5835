"""From an alarm to a person and back: stories over a real store, with couriers that take, refuse or stall."""

from __future__ import annotations

import datetime as dt
import functools

import pytest

from leadline.alarms import codes
from leadline.alarms.alarm import State
from leadline.alarms.decide import Priority
from leadline.alarms.delivery import Kind, Stage
from leadline.app import describe, stand_orders
from leadline.app.be_heard import FLOOD, Signals, path_and_person
from leadline.app.keep_watch import WATCH, Watch
from leadline.app.ports import Outgoing, Receipt, Undelivered
from leadline.detect.findings import Finding
from leadline.detect.observe import Observer
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock, parse
from leadline.wiring import open_store

pytestmark = pytest.mark.story
MIN, HOUR, DAY = 60.0, 3600.0, 86400.0
START = parse("2026-05-01T10:00:00Z").timestamp()
REEF = """
[system]
id = "reef"
name = "Invented reef"
time_zone = "UTC"
net_volume = "600 L"
[[equipment]]
id = "chiller-1"
type = "chiller"
"""
ORDERS = """
[watch]
address = "http://reef.local:8077"
[[path]]
id = "mail"
kind = "mail"
to = "keeper@home.example"
server = "mail.home.example"
[[path]]
id = "bell"
kind = "command"
command = ["bell"]
[[path]]
id = "letter"
kind = "mail"
to = "neighbour@home.example"
server = "mail.home.example"
[[person]]
id = "keeper"
paths = ["mail", "bell"]
[[person]]
id = "neighbour"
paths = ["letter"]
[replies]
server = "mail.home.example"
user = "reef"
password = "secret:mail"
"""


class Box:
    """A courier that keeps what it is given, or is out of order in one of the two ways there are."""

    def __init__(self) -> None:
        self.got: list[Outgoing] = []
        self.broken: bool | None = None  # None works; True for good, False for now

    def send(self, message: Outgoing) -> Receipt:
        if self.broken is not None:
            raise Undelivered("no server answers", permanent=self.broken)
        self.got.append(message)
        return Receipt("handed-over", "taken")


class House:
    """A store, the watch over it, the couriers, and a clock that moves when told."""

    def __init__(self, folder) -> None:
        self.now = START
        self.store = open_store(str(folder / "x.db"))
        describe.add(self.store, FixedClock(parse("2026-05-01")), REEF)
        self.watch = Watch(
            self.store,
            {"reef": Observer(describe.load(self.store, "reef"))},
            works=lambda s: stand_orders.work_going_on(self.store, s, self.now),
        )
        self.couriers = {name: Box() for name in ("mail", "bell", "letter")}
        self.orders(ORDERS)

    def orders(self, text: str, prints=None) -> None:
        read = stand_orders.give(self.store, text)
        given = dict.fromkeys(read.paths, "print") if prints is None else prints
        self.signals = Signals(
            self.store, read, b"k" * 32, given, functools.partial(stand_orders.names_of, self.store)
        )  # fmt: skip

    def proved(self) -> None:
        """Every path is proved now."""
        for p, x in self.signals.orders.used():
            seen = self.signals._seen(p.id, x.id)
            self.signals._keep(p.id, x.id, seen | {"proved_s": self.now, "since_s": self.now - DAY})

    def find(self, name, harm_h=None, subject="chiller-1", holds=True, system="reef"):
        harm = None if harm_h is None else harm_h * HOUR
        finding = Finding(name, subject, self.now, holds, 1.0, harm, "Because.")
        with self.store.together():
            self.signals.tell(self.watch.decide(system, [finding]), self.now)

    def go(self, minutes=0.0) -> None:
        """Let minutes pass, one by one, doing what the loop does."""
        for _ in range(max(int(minutes), 1)):
            self.now += MIN if minutes else 0.0
            with self.store.together():
                self.signals.tell(self.watch.time_outs(self.now), self.now)
                itself = [*self.signals.prove(self.now), self.signals.flood(self.now)]
                self.signals.tell(self.watch.decide(WATCH, itself), self.now)
                self.signals.catch_up(self.now)
                self.signals.call(self.now)
            for d in self.store.due_deliveries(self.now):
                self.signals.attempt(d, self.couriers.get(d.path), lambda: self.now)

    def told(self, name):
        return [o.subject for o in self.couriers[name].got if not o.subject.startswith("proof")]

    def answer(self, name, how="link"):
        """Answer the last message that a path brought."""
        code = self.couriers[name].got[-1].code
        return self.signals.answer(self.watch, self.signals.find_code(code, self.now), how, self.now)


@pytest.fixture
def house(tmp_path):
    made = House(tmp_path)
    made.proved()
    for person, path in made.signals.orders.used():  # the next proof is this evening's, so that none mixes in
        seen = made.signals._seen(person.id, path.id)
        made.signals._keep(person.id, path.id, seen | {"last_s": START})
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


# -- proof ---------------------------------------------------------------------------------------------


def unproved(house):
    return sorted(k.path for k in house.signals.known() if not k.counts)


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


def test_a_low_alarm_is_told_when_its_hour_draws_near(house):
    house.find("chiller-1-duty", 25.0)
    house.go(30)
    assert house.told("mail") == []
    house.go(31)
    assert house.told("mail") == ["medium: Invented reef, chiller 1 duty"]
