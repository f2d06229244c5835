"""What the store promises the watch: transitions are never changed, a delivery is claimed once, an answer stands."""

from __future__ import annotations

import sqlite3

import pytest

from leadline.alarms.alarm import Alarm, Event, State
from leadline.alarms.decide import Priority
from leadline.alarms.delivery import Kind, Message, Stage
from leadline.alarms.raised import Happened, Raised
from leadline.app.ports import Held
from leadline.measures.moments import FixedClock, parse
from leadline.store import alarms as kept
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.contract
CLOCK = FixedClock(parse("2026-05-01"))


@pytest.fixture
def path(tmp_path):
    return tmp_path / "x.db"


@pytest.fixture
def store(path):
    with SqliteStore.open(path, clock=CLOCK) as made:
        yield made


def message(id="m", opened=10.0, alarm="x"):
    return Message(id, Kind.ALARM, "reef", alarm, Priority.HIGH, "subject", "text", opened, 99.5)


def test_an_alarm_comes_back_as_it_was_kept(store):
    alarm = Alarm("x", State.SHELVED, True, True, 12.25, 99.5, "why")
    raised = Raised("reef", alarm, "chiller-1", Priority.URGENT, 1.5, "because", 3.5, 8.125, "cause", 7.75)
    happened = Happened(12.25, "reef", "x", Event.SHELVE, State.NORMAL, State.SHELVED, Priority.URGENT, "c", "me", "w")
    store.keep_alarm(raised, happened)
    assert store.alarm("reef", "x") == raised
    assert store.alarms("reef") == [raised]
    assert store.alarms("elsewhere") == []
    assert store.alarm_events(0.0, 13.0) == [happened]
    assert store.alarm_events(12.3, 13.0) == []


def test_what_happened_is_never_changed(store):
    h = Happened(1.0, "reef", "x", Event.ALARM, State.NORMAL, State.UNACKNOWLEDGED, Priority.LOW)
    store.keep_alarm(Raised("reef", Alarm("x"), "x", Priority.LOW, None, "", 1.0), h)
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        store._connection.execute("UPDATE alarm_event SET name = 'y'")


def test_a_message_and_its_deliveries(store):
    store.open_message(message())
    store.open_message(message())  # twice is once
    assert store.open_messages() == [message()]
    assert store.queue_delivery("m", "keeper", "mail", 0, 10.0)
    assert not store.queue_delivery("m", "keeper", "mail", 0, 11.0)
    (d,) = store.due_deliveries(10.0)
    assert store.due_deliveries(9.0) == []
    assert store.claim_delivery(d.seq, 10.5)
    assert store.due_deliveries(11.0) == []
    store.settle_delivery(d.seq, Stage.QUEUED, 11.0, "later", 20.0)
    assert store.due_deliveries(19.0) == []
    assert store.due_deliveries(20.0)[0].tries == 1


def test_two_processes_never_try_one_delivery_at_once(store, path):
    store.open_message(message())
    store.queue_delivery("m", "keeper", "mail", 0, 10.0)
    seq = store.due_deliveries(10.0)[0].seq
    with SqliteStore.open(path, clock=CLOCK) as other:
        assert [store.claim_delivery(seq, 11.0), other.claim_delivery(seq, 11.0)] == [True, False]
        assert other.requeue_deliveries(12.0) == 1  # after a crash
        assert other.due_deliveries(12.0)[0].seq == seq


def test_an_answer_drops_what_waits_and_a_late_result_does_not_undo_it(store):
    store.open_message(message())
    for path in ("mail", "bell"):
        store.queue_delivery("m", "keeper", path, 0, 10.0)
    first, second = store.due_deliveries(10.0)
    store.claim_delivery(first.seq, 11.0)
    store.mark_delivery(second.seq, Stage.ACKNOWLEDGED, 12.0, "answered by link")
    assert store.close_message("m", 12.0, "keeper", "link")
    assert not store.close_message("m", 13.0, "other", "page")
    store.settle_delivery(first.seq, Stage.HANDED_OVER, 14.0, "taken")  # the courier that was under way comes back
    store.settle_delivery(second.seq, Stage.HANDED_OVER, 14.0, "taken")
    assert [d.stage for d in store.deliveries("m")] == [Stage.DROPPED, Stage.ACKNOWLEDGED]
    assert store.message("m").closed_by == "keeper"
    assert store.open_messages() == []


def test_recent_messages_of_an_alarm(store):
    for k in range(3):
        store.open_message(message(f"m{k}", 10.0 * k, "x" if k else "y"))
    assert [m.id for m in store.recent_messages(0.0)] == ["m2", "m1", "m0"]
    assert [m.id for m in store.recent_messages(15.0, ("reef", "x"))] == ["m2"]
    store.calm_message("m2", 30.0)
    store.calm_message("m2", 40.0)
    assert store.message("m2").calm_s == 30.0


def test_what_is_held_has_its_limit(store, monkeypatch):
    monkeypatch.setattr(kept, "_MOST_HELD", 3)
    held = [Held(float(k), "broker", "reef", "ph", f"text {k}", "why") for k in range(5)]
    assert store.hold(held) == 3
    assert store.held_count() == 3
    assert store.held()[0] == held[2]
    assert store.release_held() == 3


def test_another_connection_s_writing_is_noticed(store, path):
    before = store.changes()
    assert store.changes() == before
    with SqliteStore.open(path, clock=CLOCK) as other:
        other.put_record("k", "n", 1)
    assert store.changes() != before
