"""A running watch with real parts: feeds, a mailbox, replies, a full disk, a clock that is set, a restart."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import shutil
import subprocess
from email.message import EmailMessage

import pytest
from tests.peers import broker, mail
from tests.watch import house

from leadline.alarms.alarm import State
from leadline.app import stand_orders
from leadline.app.keep_watch import WATCH
from leadline.app.ports import Arrival
from leadline.wiring import open_store

pytestmark = pytest.mark.door
MAIL = """
[[path]]
id = "mail"
kind = "mail"
to = "keeper@home.example"
server = "127.0.0.1:{port}"
tls = "none"
[[person]]
id = "keeper"
paths = ["mail", "bell"]
[proof]
window = "1 h"
"""


@pytest.fixture
def running(tmp_path):
    """Starts watches on a store of its own, and stops them."""
    db = house.found(tmp_path)
    made = []

    def start(orders="", **more):
        if orders:
            house.give(db, orders)
        loop = house.loop(db, **more)
        loop.start()
        made.append(loop)
        assert loop.started.wait(30)
        return loop

    start.db, start.folder = db, tmp_path
    yield start
    for loop in made:
        loop.stop()


def offer(loop, points):
    """Hand points over and wait for what became of them."""
    taken = []
    assert loop.queue.offer("test", points, (), taken.append)
    house.until(lambda: taken)
    return taken[0]


def alarm(db, name, system="reef"):
    with open_store(str(db)) as store:
        return store.alarm(system, name)


def test_an_alarm_arrives_in_a_mailbox_and_its_reply_closes_it(running):
    with mail.imap(user="reef", password="pw") as inbox, mail.post(maildir=inbox.maildir) as server:
        orders = house.bell(running.folder) + MAIL.format(port=server.port) + (
            f'[replies]\nserver = "127.0.0.1:{inbox.port}"\nuser = "reef"\npassword = "secret:inbox"\ntls = "none"\n'
            'every = "1 s"\n'
        )  # fmt: skip
        from leadline.store.secrets import Secrets

        Secrets.beside(running.db).put("inbox", "pw")
        loop = running(orders)
        assert offer(loop, house.heating()).kept == 60
        told = house.until(lambda: [m for m in server.messages() if "temperature heading high" in m["subject"]])[0]
        assert told["subject"].startswith("urgent: Invented reef, temperature heading high [")
        assert "the limit of 28.5" in told.get_content()
        reply = EmailMessage()
        reply["From"], reply["To"], reply["Subject"] = (
            "keeper@home.example",
            "reef@home.example",
            f"Re: {told['subject']}",
        )
        reply.set_content("I have it.\n")
        inbox.maildir.put("keeper@home.example", reply.as_bytes())
        house.until(lambda: alarm(running.db, "temperature-heading-high").state is State.ACKNOWLEDGED, 30)
        assert alarm(running.db, "temperature-high").state is State.ACKNOWLEDGED  # what followed from it
        house.until(lambda: any(inbox.seen()), 30)
    with open_store(str(running.db)) as store:
        m = store.recent_messages(0.0, ("reef", "temperature-heading-high"))[0]
        assert (m.closed_by, m.closed_how) == ("keeper", "reply")


def test_a_dead_mail_server_is_noticed_by_the_proof_and_told_by_the_bell(running):
    with mail.post() as server:
        orders = house.bell(running.folder) + MAIL.format(port=server.port).replace('"1 h"', '"4 s"')
        port = server.port
    assert port  # the server is gone: nothing listens there any more
    running(orders)
    house.until(lambda: [t for _, t in house.rung(running.folder) if "Mail to keeper is unproved" in t], 30)
    said = alarm(running.db, "path-keeper-mail-unproved", WATCH)
    assert "nothing listens" in said.because
    assert "reaches nobody is" in said.because


def test_points_from_a_broker_and_an_answer_by_mqtt(running):
    with broker.running() as b:
        feed = f'[[feed]]\nid = "broker"\nkind = "mqtt"\nserver = "127.0.0.1:{b.port}"\n'
        loop = running(house.bell(running.folder) + house.ONE + feed)
        house.until(lambda: loop.queue.feeds.get("broker") and loop.queue.feeds["broker"].ok)
        b.publish([(f"leadline/reef/{p.stream}", f'{{"t": {p.t}, "v": {p.v}}}') for p in house.heating()])
        told = house.until(lambda: [t for _, t in house.rung(running.folder) if "its limit" in t])
        assert told
        with open_store(str(running.db)) as store:
            m = store.recent_messages(0.0, ("reef", "temperature-heading-high"))[0]
            d = store.deliveries(m.id)[0]
        from leadline.alarms import codes

        code = codes.reply_code(loop.parts.key, m.id, d.person, d.path)
        b.publish([(f"leadline/answer/{code}", "1")])
        house.until(lambda: alarm(running.db, "temperature-heading-high").state is State.ACKNOWLEDGED)
        b.kill()
        house.until(lambda: not loop.queue.feeds["broker"].ok, 20)


def test_late_and_repeated_points_are_kept_and_wake_nobody(running):
    loop = running(house.bell(running.folder) + house.ONE)
    now = house.CLOCK.now().timestamp()
    calm = [Arrival("reef", "temperature", now - 60.0 * (60 - k), 25.0) for k in range(60)]
    assert offer(loop, calm).kept == 60
    late = [Arrival("reef", "temperature", now - 7200.0 + 60.0 * k, 31.0) for k in range(30)]
    assert offer(loop, late).kept == 30
    assert offer(loop, calm).kept == 60
    assert loop.counts["late"] == 90
    with open_store(str(running.db)) as store:
        assert len(store.points("reef", "temperature", now - 9000.0, now + 1.0).times_s) == 90
        assert store.alarm("reef", "temperature-high") is None


def test_new_orders_are_taken_up_while_it_runs(running):
    loop = running()
    offer(loop, house.heating())
    house.until(lambda: alarm(running.db, "temperature-high"))
    house.give(running.db, house.bell(running.folder) + house.ONE)
    told = house.until(lambda: [t for _, t in house.rung(running.folder) if "its limit" in t])
    assert told  # what stood before anybody could be told is told now


def test_after_a_restart_it_remembers(running):
    loop = running(house.bell(running.folder) + house.ONE)
    offer(loop, house.heating())
    house.until(lambda: [t for _, t in house.rung(running.folder) if "its limit" in t])
    loop.stop()
    again = running()
    house.until(lambda: again.beat > 3)
    assert again.watch.observers["reef"].hand.tracks["temperature"].last_s is not None
    assert alarm(running.db, "temperature-high").alarm.holds
    offer(again, [Arrival("reef", "temperature", house.CLOCK.now().timestamp() - 1.0, 25.0)])
    assert alarm(running.db, "temperature-high").alarm.holds  # one point back is not back: the off-delay
    assert len([t for _, t in house.rung(running.folder) if "its limit" in t]) == 1


class Shifted:
    """The machine's clock, set forward or back by a test."""

    def __init__(self) -> None:
        self.by = dt.timedelta(0)

    def now(self) -> dt.datetime:
        return house.CLOCK.now() + self.by


@pytest.mark.parametrize("hours", [3.0, -3.0])
def test_a_clock_that_is_set_is_named_and_nothing_falls_silent_for_it(running, hours):
    clock = Shifted()
    house.give(running.db, house.bell(running.folder) + house.ONE)
    from leadline.watch.loop import Loop
    from leadline.wiring import make_parts

    db = running.db
    loop = Loop(db, lambda: open_store(str(db)), lambda s, q: make_parts(s, q, str(db), clock), clock)
    loop.start()
    try:
        assert loop.started.wait(20)
        now = clock.now().timestamp()
        offer(loop, [Arrival("reef", "temperature", now - 60.0 * (60 - k), 25.0) for k in range(60)])
        clock.by = dt.timedelta(hours=hours)
        said = house.until(lambda: alarm(db, "watch-clock", WATCH))
        assert ("forward" if hours > 0 else "back") in said.because
        assert f"{abs(hours):.0f} h" in said.because
        hot = [Arrival("reef", "temperature", clock.now().timestamp() - 60.0 * (30 - k), 30.0) for k in range(30)]
        assert offer(loop, hot).kept == 30
        house.until(lambda: alarm(db, "temperature-high"))
        assert alarm(db, "temperature-silent") is None
    finally:
        loop.stop()


def test_points_with_a_wrong_clock_are_held_and_named(running):
    loop = running(house.bell(running.folder) + house.ONE)
    one = offer(loop, [Arrival("reef", "temperature", 1000.0, 25.0), Arrival("reef", "temperature", 4e9, 25.0)])
    assert (one.kept, one.held) == (0, 2)
    assert "before 1971" in one.why_held[0]
    for _ in range(2):  # a single wild time calls nobody; a clock that stays wrong does
        offer(loop, [Arrival("reef", "temperature", 4e9, 25.0)])
    said = house.until(lambda: alarm(running.db, "watch-senders-clock", WATCH))
    assert "reef/temperature" in said.because
    with open_store(str(running.db)) as store:
        assert store.held_count() == 4


@pytest.fixture
def small_disk(tmp_path):
    """A disk of twelve megabytes of its own."""
    place = tmp_path / "disk"
    place.mkdir()
    if (
        os.geteuid() != 0
        or subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", str(place)], capture_output=True, check=False
        ).returncode
    ):
        pytest.skip("needs to mount a small disk, as root")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_loses_nothing_acknowledged_and_is_told(small_disk, tmp_path):
    db = house.found(small_disk)
    house.give(db, house.bell(tmp_path) + house.ONE)
    loop = house.loop(db, low_bytes=1)
    loop.start()
    try:
        assert loop.started.wait(20)
        now = house.CLOCK.now().timestamp()
        kept = 0
        filler = small_disk / "filler"
        free = shutil.disk_usage(small_disk).free
        filler.write_bytes(b"x" * (free - 300_000))
        for batch in range(200):
            points = [Arrival("reef", f"p{k}", now - 40.0 + batch * 0.1, float(k)) for k in range(400)]
            taken = offer(loop, points)
            if taken.trouble:
                break
            kept += taken.kept
        assert taken.trouble
        assert "full" in taken.trouble
        said = house.until(lambda: alarm(db, "watch-disk-full", WATCH))
        assert "Nothing can be written" in said.because
        house.until(lambda: [t for _, t in house.rung(tmp_path) if "Nothing can be written" in t])
        assert offer(loop, points).trouble  # the room that is left is for alarms
        offer(loop, house.heating())  # points are not kept; what they show is told all the same
        house.until(lambda: [t for _, t in house.rung(tmp_path) if "its limit" in t])
        filler.unlink()
        house.until(lambda: not loop.own.trouble)
        assert offer(loop, points).kept == 400
        house.until(lambda: not alarm(db, "watch-disk-full", WATCH).alarm.holds)
        with open_store(str(db)) as store:
            assert sum(len(store.points("reef", s, 0.0, 4e9).times_s) for _, s in store.streams("reef")) >= kept + 400
    finally:
        loop.stop()


def test_a_secret_that_is_missing_is_named_and_taken_up_when_given(running):
    from leadline.store.secrets import Secrets

    orders = (
        '[[path]]\nid = "push"\nkind = "service"\naddress = "secret:push"\n' + house.bell(running.folder)
        + '[[person]]\nid = "keeper"\npaths = ["push", "bell"]\n'
    )  # fmt: skip
    loop = running(orders)
    assert loop.parts.missing == ("push",)
    Secrets.beside(running.db).put("push", "json://127.0.0.1:9/")
    with open_store(str(running.db)) as store:
        store.put_record("watch", "secrets changed", "now")
    house.until(lambda: loop.parts.missing == ())


def test_health_says_what_is_wrong(running):
    loop = running()
    house.until(lambda: loop.health()["ok"])
    first = loop.health()["beat"]
    house.until(lambda: loop.health()["beat"] > first)
    loop.stop()
    loop._beat_at -= 60.0
    assert not loop.health()["ok"]
    assert "has not moved" in loop.health()["words"]


def test_nothing_is_taken_after_the_end(running):
    loop = running()
    loop.stop()
    assert not loop.queue.offer("test", house.heating(), (), None)


def test_a_token_is_known_by_its_hash_only(running):
    with open_store(str(running.db)) as store:
        token = stand_orders.new_token(store, house.CLOCK, "board")
        assert stand_orders.token_name(store, token) == "board"
        assert stand_orders.token_name(store, token + "x") is None
        assert stand_orders.token_name(store, "") is None
        assert token not in str(store.records("token"))
        stand_orders.revoke_token(store, "board")
        assert stand_orders.token_name(store, token) is None


def test_a_watch_that_was_down_does_not_take_its_own_absence_for_silence(running):
    loop = running(house.bell(running.folder) + house.ONE)
    now = house.CLOCK.now().timestamp()
    old = [Arrival("reef", s, now - 7200.0 + 60.0 * k, 25.0) for k in range(60) for s in ("temperature", "other")]
    offer(loop, old)
    loop.stop()
    again = running()
    again._next_look = 0.0
    house.until(lambda: again.beat > 3 and again._next_look > 0.0)
    with open_store(str(running.db)) as store:
        assert [r.name for r in store.alarms("reef") if r.name.endswith("-silent") and r.alarm.holds] == []
    again.watch.observers["reef"].absence.listens_since_s -= 3600.0  # an hour later
    again._next_look = 0.0
    house.until(lambda: alarm(running.db, "all-streams-silent"))


def test_what_is_only_imported_is_never_silent(running):
    now = house.CLOCK.now().timestamp()
    with open_store(str(running.db)) as store:
        store.add_points("reef", "temperature", [now - 86400.0 + 60.0 * k for k in range(60)], [25.0] * 60)
    loop = running()
    loop.watch.observers["reef"].absence.listens_since_s -= 3600.0
    loop._next_look = 0.0
    house.until(lambda: loop._next_look > 0.0)
    house.until(lambda: loop.beat > 3)
    assert alarm(running.db, "temperature-silent") is None


def test_orders_with_a_part_that_cannot_be_made_leave_the_old_ones_working(running):
    loop = running(house.bell(running.folder) + house.ONE)
    poll = (
        '[[feed]]\nid = "plant"\nkind = "poll"\naddress = "http://127.0.0.1:9/"\n'
        '[[feed.point]]\nsystem = "reef"\nstream = "x"\npath = "a..b"\n'
    )
    house.give(running.db, house.bell(running.folder) + house.ONE + poll)
    house.until(lambda: any("a..b" in f.words for f in loop.queue.feeds.values()), 20)
    offer(loop, house.heating())
    house.until(lambda: [t for _, t in house.rung(running.folder) if "its limit" in t])
    loop.stop()
    again = running()  # and a start with them is no end either
    house.until(lambda: again.beat > 2)
    assert again.health()["ok"]


def test_a_lookout_s_mistake_costs_no_point_and_no_other_system(running):
    with open_store(str(running.db)) as store:
        from leadline.app import describe

        describe.add(store, house.CLOCK, house.REEF.replace('id = "reef"', 'id = "other"'))
    loop = running(house.bell(running.folder) + house.ONE)

    def fails(*given):
        raise ZeroDivisionError("planted by a test")

    loop.watch.observers["other"].take = fails
    loop.watch.observers["other"].tick = fails
    loop._next_look = 0.0
    points = [*house.heating(), *(Arrival("other", p.stream, p.t, p.v) for p in house.heating())]
    assert offer(loop, points).kept == 120
    house.until(lambda: [t for _, t in house.rung(running.folder) if "its limit" in t])
    said = house.until(lambda: alarm(running.db, "watch-mistake", WATCH))
    assert "lookouts of other" in said.because
    assert not loop.health()["ok"]


def test_a_write_that_failed_does_not_leave_an_ended_alarm_standing(running):
    """Another process holds the store while the water comes back: what the lookouts saw must still reach the book."""
    import sqlite3

    loop = running(house.bell(running.folder) + house.ONE)
    offer(loop, house.heating())
    house.until(lambda: alarm(running.db, "temperature-high"))
    with contextlib.closing(sqlite3.connect(running.db, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        end = loop.watch.observers["reef"].hand.standing.end("temperature-high", house.CLOCK.now().timestamp(), "Back.")
        assert [f.name for f in end] == ["temperature-high"]  # and the write of it is lost with the lock
        other.execute("ROLLBACK")
    loop._next_look = 0.0
    house.until(lambda: not alarm(running.db, "temperature-high").alarm.holds)


def test_after_a_restart_silence_that_lasts_is_not_called_over(running):
    loop = running(house.bell(running.folder) + house.ONE)
    now = house.CLOCK.now().timestamp()
    offer(
        loop, [Arrival("reef", s, now - 7200.0 + 60.0 * k, 25.0) for k in range(60) for s in ("temperature", "other")]
    )
    loop.watch.observers["reef"].absence.listens_since_s -= 7200.0
    loop._next_look = 0.0
    house.until(lambda: alarm(running.db, "all-streams-silent"))
    loop.stop()
    again = running()
    again._next_look = 0.0
    house.until(lambda: again.beat > 3 and again._next_look > 0.0)
    assert alarm(running.db, "all-streams-silent").alarm.holds
    assert not [t for _, t in house.rung(running.folder) if "ended by itself" in t]
