"""Points from a real Mosquitto: all of them, in order, acknowledged only when kept, whatever dies in between."""

from __future__ import annotations

import contextlib
import gc
import json
import shutil
import socket
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.feeds.inbox import Inbox
from tests.peers import broker as peer
from tests.peers.broker import Broker
from tests.peers.certificates import Certificates

from leadline.app.ports import Arrival
from leadline.feeds import mqtt
from leadline.feeds.mqtt import Mqtt
from leadline.measures.moments import FixedClock
from leadline.system.orders import MqttFeed

TOPIC = "leadline/north-room/temperature"


@contextlib.contextmanager
def feeding(settings: MqttFeed, inbox: Inbox, clock: FixedClock, password: str = "") -> Iterator[Mqtt]:
    feed = Mqtt(settings, password, inbox, clock)
    feed.start()
    try:
        yield feed
    finally:
        feed.stop()


def settings_of(broker: Broker, **more: object) -> MqttFeed:
    return MqttFeed("mqtt", broker.host, broker.port, **more)  # type: ignore[arg-type]


def numbered(first: int, last: int) -> list[tuple[str, str]]:
    return [(TOPIC, f'{{"t": {1772352000 + n}, "v": {n}}}') for n in range(first, last)]


def once(values: list[float]) -> list[float]:
    """What came, each the first time.

    After a new connection some may come twice: acknowledgements that Mosquitto has not read yet when we come again
    are lost with the old connection.
    """
    return list(dict.fromkeys(values))


@pytest.mark.story
def test_all_points_come_in_order(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running() as broker, feeding(settings_of(broker), inbox, clock):
        inbox.until_said("connected to the broker", True)
        broker.publish(numbered(0, 3000))
        inbox.until(lambda box: len(box.points) >= 3000)
    assert inbox.values() == [float(n) for n in range(3000)]
    assert inbox.points[7] == Arrival("north-room", "temperature", 1772352007.0, 7.0)
    assert max(inbox.batches) <= mqtt.AT_ONCE


@pytest.mark.story
def test_a_plain_number_and_what_is_odd_are_both_kept_and_acknowledged(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running(more=["log_type all"]) as broker:
        with feeding(settings_of(broker), inbox, clock):
            inbox.until_said("connected", True)
            broker.publish([
                (TOPIC, "25,4"), (TOPIC, "warm"), (TOPIC, ""), (TOPIC, "NaN"), (TOPIC, b"9" * 5000), (TOPIC, b"\xff"),
                ("leadline//temperature", "1"), ("leadline/north-room", "2"), ("leadline/a/b/c", "3"),
                ("elsewhere/north-room/temperature", "4"), (TOPIC, "25.5"),
            ])  # fmt: skip
            inbox.until(lambda box: len(box.points) == 2 and len(box.odd) == 6)
            broker.until_logged("Received PUBACK from leadline-watch", 8)
        assert [(p.t, p.v) for p in inbox.points] == [(None, 25.4), (None, 25.5)]
        assert [o.text[:4] for o in inbox.odd] == ["warm", "", "NaN", "9999", "\\xff", "1"]
        with feeding(settings_of(broker), inbox, clock):  # nothing of it waits at the broker any more
            inbox.until(lambda box: sum(ok for ok, _ in box.reports) == 2)
            broker.publish([(TOPIC, "26")])
            inbox.until(lambda box: box.points[-1].v == 26.0)
        assert (len(inbox.points), len(inbox.odd)) == (3, 6)


@pytest.mark.story
def test_a_retained_point_counts_only_with_a_time_of_its_own(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running() as broker:
        broker.publish([(TOPIC, "99"), ("leadline/north-room/ph", '{"t": 1772352000, "v": 8.1}')], retain=True)
        with feeding(settings_of(broker), inbox, clock):
            inbox.until_said("connected", True)
            broker.publish([(TOPIC, "25.4")])
            inbox.until(lambda box: 25.4 in box.values())
    assert sorted(inbox.values()) == [8.1, 25.4]


@pytest.mark.story
def test_points_wait_at_the_broker_while_the_feed_is_stopped(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running() as broker:
        with feeding(settings_of(broker), inbox, clock):
            inbox.until_said("connected", True)
            broker.publish(numbered(0, 50))
            inbox.until(lambda box: len(box.points) == 50)
        broker.publish(numbered(50, 1500))
        with feeding(settings_of(broker), inbox, clock):
            inbox.until(lambda box: len(once(box.values())) >= 1500)
    assert once(inbox.values()) == [float(n) for n in range(1500)]


@pytest.mark.story
@pytest.mark.parametrize("how", ["refusing", "failing"])
def test_what_could_not_be_kept_is_offered_again(inbox: Inbox, clock: FixedClock, how: str) -> None:
    with peer.running() as broker, feeding(settings_of(broker), inbox, clock):
        inbox.until_said("connected", True)
        setattr(inbox, how, True)
        broker.publish(numbered(0, 2500))
        inbox.until(lambda box: box.refusals + box.failures >= 3)
        assert not inbox.points
        setattr(inbox, how, False)
        inbox.until(lambda box: len(box.points) >= 2500)
    assert inbox.values() == [float(n) for n in range(2500)]


@pytest.mark.story
def test_what_was_not_kept_before_a_stop_comes_again(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running() as broker:
        with feeding(settings_of(broker), inbox, clock):
            inbox.until_said("connected", True)
            inbox.failing = True
            broker.publish(numbered(0, 300))
            inbox.until(lambda box: box.failures >= 1)
        inbox.failing = False
        with feeding(settings_of(broker), inbox, clock):
            inbox.until(lambda box: len(once(box.values())) >= 300)
    assert once(inbox.values()) == [float(n) for n in range(300)]


@pytest.mark.story
def test_a_feed_can_be_started_again(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running() as broker:
        inbox.refusing = True
        with feeding(settings_of(broker), inbox, clock) as feed:
            inbox.until_said("connected", True)
            broker.publish(numbered(0, 100))
            inbox.until(lambda box: box.refusals >= 1)
            feed.stop()
            inbox.refusing = False
            feed.start()
            inbox.until(lambda box: len(once(box.values())) >= 100)
    assert once(inbox.values()) == [float(n) for n in range(100)]


@pytest.mark.story
def test_points_sent_without_a_promise_are_taken_while_there_is_room(
    inbox: Inbox, clock: FixedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "ROOM", 50)
    with peer.running() as broker, feeding(settings_of(broker), inbox, clock):
        inbox.until_said("connected", True)
        inbox.refusing = True
        broker.publish(numbered(0, 500), qos=0)
        inbox.until_said("those sent with QoS 0 are lost: use QoS 1", False)
        inbox.refusing = False
        inbox.until(lambda box: len(box.points) >= 50)
        inbox.until_said("points sent with QoS 0 were lost", True)
        broker.publish(numbered(500, 501))
        inbox.until(lambda box: box.points[-1].v == 500.0)


@pytest.mark.story
def test_a_point_that_had_to_wait_gets_the_moment_when_it_came(inbox: Inbox, clock: FixedClock) -> None:
    came = clock.moment
    with peer.running() as broker, feeding(settings_of(broker), inbox, clock):
        inbox.until_said("connected", True)
        inbox.refusing = True
        broker.publish([(TOPIC, "25.4")])
        inbox.until(lambda box: box.refusals >= 1)
        clock.moment = came.replace(hour=11)
        inbox.refusing = False
        inbox.until(lambda box: box.points)
    assert inbox.points == [Arrival("north-room", "temperature", came.timestamp(), 25.4)]


@pytest.mark.story
def test_a_broker_killed_and_restarted_loses_nothing(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running(more=["log_type all"]) as broker, feeding(settings_of(broker), inbox, clock):
        inbox.until_said("connected", True)
        broker.publish(numbered(0, 200))
        inbox.until(lambda box: len(box.points) == 200)
        broker.until_logged("Received PUBACK from leadline-watch", 200)
        inbox.failing = True
        broker.publish(numbered(200, 400))
        inbox.until(lambda box: box.failures >= 1)
        broker.save()
        broker.kill()
        inbox.until_said("lost the broker", False)
        kept = inbox.values()
        broker.start()
        inbox.until(lambda box: box.reports[-1][0])
        broker.publish(numbered(400, 600))
        inbox.failing = False
        inbox.until(lambda box: len(once(box.values())) >= 600)
    assert inbox.values()[:200] == kept == [float(n) for n in range(200)]
    assert set(inbox.values()) == {float(n) for n in range(600)}
    # what waited here and came again from the broker was recognised
    assert len(inbox.values()) == 600


@pytest.mark.story
def test_a_broker_that_forgets_our_session_takes_nothing_that_is_here(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running() as broker, feeding(settings_of(broker), inbox, clock):
        inbox.until_said("connected", True)
        inbox.refusing = True
        broker.publish(numbered(0, 200))
        inbox.until(lambda box: box.refusals >= 1)
        broker.kill()
        broker.database.unlink(missing_ok=True)
        inbox.until_said("lost the broker", False)
        broker.start()
        inbox.until(lambda box: box.reports[-1][0])
        inbox.refusing = False
        broker.publish(numbered(200, 300))
        inbox.until(lambda box: len(box.points) >= 300)
    assert set(inbox.values()) == {float(n) for n in range(300)}


@pytest.mark.story
def test_more_than_there_is_room_for_is_left_with_the_broker(
    inbox: Inbox, clock: FixedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "ROOM", 300)
    with peer.running() as broker, feeding(settings_of(broker), inbox, clock):
        inbox.until_said("connected", True)
        inbox.refusing = True
        broker.publish(numbered(0, 900))
        inbox.until(lambda box: box.refusals >= 2)
        inbox.refusing = False
        inbox.until(lambda box: len(once(box.values())) >= 900)
    assert once(inbox.values()) == [float(n) for n in range(900)]


@pytest.mark.door
def test_a_wrong_password_is_said_in_plain_words_and_a_right_one_lets_in(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running(user="probe", password="right-word") as broker:
        settings = settings_of(broker, user="probe")
        with feeding(settings, inbox, clock, "wrong-word"):
            inbox.until_said("refuses the user 'probe' or the password", False)
        with feeding(settings_of(broker), inbox, clock):
            inbox.until_said("wants a user and a password", False)
        with feeding(settings, inbox, clock, "right-word"):
            inbox.until_said("connected", True)
            broker.publish([(TOPIC, "25.4")])
            inbox.until(lambda box: box.points)
    assert not any("word" in said.replace("the password", "").replace("a password", "") for _, said in inbox.reports)


@pytest.mark.door
def test_topics_that_may_not_be_read_are_said(inbox: Inbox, clock: FixedClock, tmp_path: Path) -> None:
    found = list(Path("/usr/lib").glob("*/mosquitto_dynamic_security.so"))  # its plain rules grant any subscription
    if not found or shutil.which("mosquitto_ctrl") is None:
        pytest.skip("no Mosquitto here whose rules refuse a subscription")
    rules = tmp_path / "rules.json"
    subprocess.run(["mosquitto_ctrl", "dynsec", "init", rules, "probe", "right-word"], check=True, capture_output=True)
    given = json.loads(rules.read_text())
    for role in given["roles"]:  # its first user may read everything; not so here
        role["acls"] = [rule for rule in role["acls"] if rule["topic"] != "#"]
    rules.write_text(json.dumps(given))
    with (
        peer.running(more=[f"plugin {found[0]}", f"plugin_opt_config_file {rules}"]) as broker,
        feeding(settings_of(broker, user="probe"), inbox, clock, "right-word"),
    ):
        inbox.until_said("does not let us read leadline/+/+", False)
    assert not any(ok for ok, _ in inbox.reports)


@pytest.mark.door
@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")  # the library leaves a failed handshake's socket open
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_tls_is_verified(inbox: Inbox, clock: FixedClock, tmp_path: Path) -> None:
    ours = made(tmp_path / "ours")
    others = made(tmp_path / "others")
    with (
        peer.running() as plain,
        peer.running(user="probe", password="right-word", tls=ours.good, ca_file=ours.ca_file) as broker,
    ):
        tls = settings_of(broker, user="probe", tls=True, ca_file=ours.ca_file)
        with feeding(tls, inbox, clock, "right-word"):
            inbox.until_said("connected", True)
            broker.publish(numbered(0, 100))
            inbox.until(lambda box: len(box.points) == 100)
        for wrong, words in [
            (settings_of(broker, tls=True), "is not trusted"),
            (settings_of(broker, tls=True, ca_file=others.ca_file), "is not trusted"),
            (settings_of(broker, tls=True, ca_file=str(tmp_path / "none.pem")), "cannot be read (No such file"),
            (settings_of(broker, tls=True, ca_file=str(ours.good.key)), "holds no certificate"),
            (settings_of(broker), "without a word"),
            (MqttFeed("mqtt", broker.host, plain.port, tls=True), "with TLS or without?"),
        ]:
            inbox.reports.clear()
            with feeding(wrong, inbox, clock):
                inbox.until_said(words, False)
        gc.collect()


@pytest.mark.door
@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("which", ["expired", "elsewhere", "self_signed"])
def test_a_certificate_that_proves_nothing_is_refused(
    inbox: Inbox, clock: FixedClock, tmp_path: Path, which: str
) -> None:
    ours = made(tmp_path / "ours")
    with peer.running(tls=getattr(ours, which)) as broker:
        with feeding(settings_of(broker, tls=True, ca_file=ours.ca_file), inbox, clock):
            inbox.until_said("is not trusted", False)
        gc.collect()


def made(folder: Path) -> Certificates:
    folder.mkdir()
    return Certificates(folder)


@pytest.mark.door
def test_nobody_there_is_said_and_a_broker_that_comes_later_is_found(inbox: Inbox, clock: FixedClock) -> None:
    with peer.running() as broker:
        broker.stop()
        with feeding(settings_of(broker), inbox, clock):
            inbox.until_said("nothing answers at 127.0.0.1", False)
            broker.start()
            inbox.until_said("connected", True)
    with feeding(MqttFeed("mqtt", "no.such.host.invalid"), inbox, clock):
        inbox.until_said("cannot be found", False)
    with feeding(MqttFeed("mqtt", "x" * 70), inbox, clock):  # longer than a label of a name may be
        inbox.until_said("cannot be the name of a machine", False)


@pytest.mark.door
def test_two_programs_with_one_client_id_are_told(
    inbox: Inbox, clock: FixedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "FIRST_DELAY_S", 0.1)
    second = Inbox()
    with peer.running() as broker, feeding(settings_of(broker), inbox, clock):
        inbox.until_said("connected", True)
        with feeding(settings_of(broker), second, clock):
            inbox.until_said("does another program use the client id 'leadline-watch'?", False)
    second.close()


@pytest.mark.door
@pytest.mark.parametrize("how", ["answers", "hangs up"])
def test_an_older_broker_is_spoken_to_in_its_own_words(inbox: Inbox, clock: FixedClock, how: str) -> None:
    with peer.running() as broker, older(broker, how) as port:
        settings = MqttFeed("mqtt", "127.0.0.1", port)
        with feeding(settings, inbox, clock):
            inbox.until_said("MQTT 3.1.1", True)
            broker.publish(numbered(0, 500))
            inbox.until(lambda box: len(box.points) >= 500)
        broker.publish(numbered(500, 600))
        with feeding(settings, inbox, clock):
            inbox.until(lambda box: len(once(box.values())) >= 600)
    assert once(inbox.values()) == [float(n) for n in range(600)]


@contextlib.contextmanager
def older(broker: Broker, how: str) -> Iterator[int]:
    """The broker's door as one that knows no MQTT 5 would keep it: such a greeting is refused [MQTT-3.1.2-2]."""
    listening = socket.create_server(("127.0.0.1", 0))

    def pump(source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                sink.sendall(data)
        for end in (source, sink):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def serve(near: socket.socket) -> None:
        with near:
            greeting = near.recv(65536)
            at = greeting.find(b"\x00\x04MQTT") + 6
            if greeting[at : at + 1] == b"\x05":
                if how == "answers":
                    near.sendall(b"\x20\x02\x00\x01")  # CONNACK: unacceptable protocol version
                return
            with socket.create_connection((broker.host, broker.port)) as far:
                far.sendall(greeting)
                back = threading.Thread(target=pump, args=(far, near), daemon=True)
                back.start()
                pump(near, far)
                back.join(10)

    def door() -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = listening.accept()
                threading.Thread(target=serve, args=(near,), daemon=True).start()

    threading.Thread(target=door, daemon=True).start()
    try:
        yield listening.getsockname()[1]
    finally:
        listening.shutdown(socket.SHUT_RDWR)
        listening.close()
