"""A real HTTP server on loopback is asked: its answers, its silences, its redirects and its nonsense."""

from __future__ import annotations

import contextlib
import itertools
import json
import statistics
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from tests.feeds.inbox import Inbox
from tests.peers.certificates import Certificates, Pair

from leadline.app.ports import Arrival
from leadline.feeds import polling
from leadline.feeds.polling import Polling
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock
from leadline.system.orders import PollFeed

ONE = (("north-room", "temperature", "probes[0].value", "degC"),)


class Device:
    """An invented device: what it answers can be set while it runs."""

    def __init__(self, tls: Pair | None = None) -> None:
        self.answer: Any = {"probes": [{"value": 25.4}]}
        self.raw: bytes | None = None
        self.status = 200
        self.headers: dict[str, str] = {}
        self.token = ""
        self.slow = threading.Event()  # set: it sends its head and then nothing
        self.released = threading.Event()
        self.takes_s = 0.0
        self.asked: list[tuple[float, str]] = []  # moment and path
        self.asked_again = threading.Condition()
        device = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                device.reply(self)

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.scheme = "http"
        if tls:
            self.scheme = "https"
            self.server.socket = tls.context().wrap_socket(self.server.socket, server_side=True)
            self.server.handle_error = lambda *_: None  # type: ignore[method-assign] # a refused handshake
        self.address = f"{self.scheme}://127.0.0.1:{self.server.server_address[1]}/status.json"
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        self.thread.start()

    def reply(self, to: BaseHTTPRequestHandler) -> None:
        with self.asked_again:
            self.asked.append((time.monotonic(), to.path))
            self.asked_again.notify_all()
        if self.takes_s:
            self.released.wait(self.takes_s)
        if self.token and to.headers.get("Authorization") != f"Bearer {self.token}":
            to.send_error(401)
            return
        body = self.raw if self.raw is not None else json.dumps(self.answer).encode()
        moved = self.status in (301, 302) and to.path == "/status.json"
        to.send_response(self.status if moved or self.status not in (301, 302) else 200)
        for name, value in self.headers.items() if moved else ():
            to.send_header(name, value)
        to.send_header("Content-Length", str(len(body)))
        to.end_headers()
        if self.slow.is_set():
            self.released.wait(30)
        with contextlib.suppress(OSError):
            to.wfile.write(body)

    def until_asked(self, times: int) -> None:
        with self.asked_again:
            assert self.asked_again.wait_for(lambda: len(self.asked) >= times, 30), f"asked {len(self.asked)} times"

    def close(self) -> None:
        self.released.set()
        self.server.shutdown()
        self.server.server_close()
        self.thread.join(10)


@pytest.fixture
def device(monkeypatch: pytest.MonkeyPatch) -> Iterator[Device]:
    monkeypatch.setenv("no_proxy", "127.0.0.1,localhost")
    found = Device()
    yield found
    found.close()


@contextlib.contextmanager
def polled(address: str, inbox: Inbox, clock: FixedClock, token: str = "", **more: Any) -> Iterator[Polling]:
    given: dict[str, Any] = {"every_s": 0.05, "points": ONE} | more
    feed = Polling(PollFeed("device", address, **given), token, inbox, clock)
    feed.start()
    try:
        yield feed
    finally:
        feed.stop()


@pytest.mark.story
def test_each_point_is_found_by_its_path(device: Device, inbox: Inbox, clock: FixedClock) -> None:
    device.answer = {
        "probes": [{"value": 25.4}, {"value": "8,1"}],
        "odd key": {"a.b": [1, {"x": "310.5"}]},
        "when": "2026-03-01T07:59:00Z",
    }
    points = (
        *ONE, ("north-room", "ph", "$.probes[-1].value", ""), ("south-room", "orp", '["odd key"]["a.b"][1].x', "mV"),
    )  # fmt: skip
    with polled(device.address, inbox, clock, points=points, time_path="when"):
        inbox.until(lambda box: len(box.points) >= 6)
    at = 1772351940.0  # GNU date
    assert inbox.points[:3] == [
        Arrival("north-room", "temperature", at, 25.4, "degC"),
        Arrival("north-room", "ph", at, 8.1, ""),
        Arrival("south-room", "orp", at, 310.5, "mV"),
    ]
    assert inbox.reports[0][0]


@pytest.mark.story
def test_a_device_that_answers_and_holds_none_of_its_points_is_no_feed_that_works(
    device: Device, inbox: Inbox, clock: FixedClock
) -> None:
    device.answer = {"probes": []}
    with polled(device.address, inbox, clock):
        inbox.until_said("none of the points is in it", False)
        device.answer = {"probes": [{"value": 25.4}]}
        inbox.until_said("answers", True)


@pytest.mark.contract
@pytest.mark.parametrize(
    ("text", "steps"),
    [
        ("value", ("value",)), ("a.b-c.d e", ("a", "b-c", "d e")), ("[0]", (0,)), ("a[0][-1].b", ("a", 0, -1, "b")),
        ('a["b.c"].d', ("a", "b.c", "d")), ("a['it\"s']", ("a", 'it"s')), (r'["a\"b"]', ('a"b',)), ("$[0].v", (0, "v")),
    ],
)  # fmt: skip
def test_paths_are_read(text: str, steps: tuple[str | int, ...]) -> None:
    assert polling.path(text) == steps


@pytest.mark.contract
@pytest.mark.parametrize("text", ["", ".", "a.", ".a", "a..b", "a[", "a[]", "a[x]", "a]", "a[0]b", 'a["b]', "$."])
def test_what_is_no_path_is_refused_at_once(text: str, inbox: Inbox, clock: FixedClock) -> None:
    settings = PollFeed("device", "http://127.0.0.1:1/", 60.0, (("a", "b", text, ""),))
    with pytest.raises(BadInput, match="path"):
        Polling(settings, "", inbox, clock)


@pytest.mark.story
def test_what_is_missing_or_no_number_is_said_once_for_each_change(
    device: Device, inbox: Inbox, clock: FixedClock
) -> None:
    with polled(device.address, inbox, clock):
        inbox.until(lambda box: box.points)
        for answer, why in [
            ({"probes": []}, "there is no probes[0] in the answer"),
            ({"probes": [{"value": None}]}, "missing"),
            ({"probes": [{"value": True}]}, "0 or 1"),
            ({"probes": [{"value": [1]}]}, "not a number"),
            ([], "there is no probes in the answer"),
        ]:
            device.answer = answer
            inbox.until(lambda box, why=why: box.odd and why in box.odd[-1].why)  # type: ignore[misc]
            device.until_asked(len(device.asked) + 3)
        device.answer = {"probes": [{"value": 26}]}
        inbox.until(lambda box: box.values()[-1] == 26.0)
        device.answer = []
        inbox.until(lambda box: len(box.odd) == 6)
    assert len(inbox.odd) == 6
    assert (inbox.odd[0].system, inbox.odd[0].stream) == ("north-room", "temperature")


@pytest.mark.story
def test_without_the_time_it_should_carry_nothing_is_taken(device: Device, inbox: Inbox, clock: FixedClock) -> None:
    with polled(device.address, inbox, clock, time_path="when"):
        inbox.until_said("answers without the time: there is no when in the answer", False)
        device.answer = {"probes": [{"value": 25.4}], "when": None}
        inbox.until_said("the time is empty", False)
        device.answer = {"probes": [{"value": 25.4}], "when": "yesterday"}
        inbox.until(lambda box: any("no date or time" in odd.why for odd in box.odd))
        assert not inbox.points
        device.answer = {"probes": [{"value": 25.4}], "when": 1772352000}
        inbox.until(lambda box: box.points)
    assert inbox.points[0].t == 1772352000.0


@pytest.mark.door
def test_the_token_is_sent_and_its_refusal_said(device: Device, inbox: Inbox, clock: FixedClock) -> None:
    device.token = "right-word"
    with polled(device.address, inbox, clock, "right-word"):
        inbox.until(lambda box: box.points)
    with polled(device.address, inbox, clock, "wrong-word"):
        inbox.until_said("refuses our token (401)", False)
    with polled(device.address, inbox, clock):
        inbox.until_said("wants a token (401)", False)
    assert not any("word" in said for _, said in inbox.reports)


@pytest.mark.door
@pytest.mark.parametrize(
    ("raw", "status", "words"),
    [
        (b"<html>login</html>", 200, "no JSON: '<html>login</html>'"),
        (b"", 200, "no JSON"),
        (b"[" * 100_000, 200, "no JSON"),
        (b"\xff\xfe\xff", 200, "no JSON"),
        (b'"' + b"x" * 2**20 + b'"', 200, "more than 1,048,576 bytes"),
        (b"", 404, "no such page (404)"),
        (b"", 503, "answers 503"),
    ],
)
def test_an_answer_of_no_use_is_said_and_a_good_one_taken_again(
    device: Device, inbox: Inbox, clock: FixedClock, raw: bytes, status: int, words: str
) -> None:
    device.raw, device.status = raw, status
    with polled(device.address, inbox, clock):
        inbox.until_said(words, False)
        device.raw, device.status = None, 200
        inbox.until(lambda box: box.points)
        inbox.until_said("answers", True)


@pytest.mark.door
def test_redirects_lead_only_to_the_same_machine(device: Device, inbox: Inbox, clock: FixedClock) -> None:
    device.status = 302
    device.headers = {"Location": "/elsewhere.json"}
    with polled(device.address, inbox, clock):
        inbox.until(lambda box: box.points)
    device.headers = {"Location": f"http://localhost:{device.server.server_address[1]}/elsewhere.json"}
    before = len(device.asked)
    with polled(device.address, inbox, clock, "right-word"):
        inbox.until_said("sends us on to localhost", False)
    assert all(path == "/status.json" for _, path in device.asked[before:])


@pytest.mark.door
def test_tls_is_verified(inbox: Inbox, clock: FixedClock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    ours = Certificates(tmp_path)
    with contextlib.closing(Device(ours.good)) as good:
        with polled(good.address, inbox, clock, ca_file=ours.ca_file):
            inbox.until(lambda box: box.points)
            good.status, good.headers = 302, {"Location": good.address.replace("https", "http")}
            inbox.until_said("sends us on to an address without TLS", False)
        with polled(good.address, inbox, clock):
            inbox.until_said("is not trusted", False)
    with polled("https://127.0.0.1:1/", inbox, clock, ca_file=str(tmp_path / "none.pem")):
        inbox.until_said("none.pem cannot be read", False)
    with contextlib.closing(Device(ours.elsewhere)) as other, polled(other.address, inbox, clock, ca_file=ours.ca_file):
        inbox.until_said("is not trusted", False)


@pytest.mark.door
def test_silence_is_said_and_the_device_found_again(device: Device, inbox: Inbox, clock: FixedClock) -> None:
    with polled("http://no.such.host.invalid/", inbox, clock):
        inbox.until_said("cannot be found", False)
    with polled("http://127.0.0.1:1/", inbox, clock):
        inbox.until_said("nothing answers at 127.0.0.1:1", False)
    port = device.server.server_address[1]
    device.close()
    with polled(device.address, inbox, clock):
        inbox.until_said(f"nothing answers at 127.0.0.1:{port}", False)


@pytest.mark.door
def test_an_answer_that_never_ends_is_given_up(
    device: Device, inbox: Inbox, clock: FixedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(polling, "TIMEOUT_S", 0.3)
    device.slow.set()
    with polled(device.address, inbox, clock):
        inbox.until_said("no answer from 127.0.0.1", False)
        device.slow.clear()
        device.released.set()
        inbox.until(lambda box: box.points)


@pytest.mark.story
def test_questions_keep_their_rhythm_whatever_an_answer_takes(device: Device, inbox: Inbox, clock: FixedClock) -> None:
    every_s, device.takes_s = 0.2, 0.12
    with polled(device.address, inbox, clock, every_s=every_s):
        device.until_asked(10)
    gaps = [later - before for (before, _), (later, _) in itertools.pairwise(device.asked[1:10])]
    # a pause after each answer would make every gap at least 0.2 s + 0.12 s; a busy machine lengthens some, never all
    assert min(gaps) < 0.3
    assert statistics.median(gaps) > 0.15


@pytest.mark.story
def test_tries_grow_rarer_while_nobody_answers(device: Device, inbox: Inbox, clock: FixedClock) -> None:
    device.status = 503
    with polled(device.address, inbox, clock, every_s=0.05):
        device.until_asked(6)
    gaps = [later - before for (before, _), (later, _) in itertools.pairwise(device.asked)]
    assert gaps[4] >= 0.8  # 0.05 s doubled four times
    assert gaps[4] > 2 * gaps[1]


@pytest.mark.story
@pytest.mark.parametrize("how", ["refusing", "failing"])
def test_points_wait_for_a_store_that_does_not_take_them(
    device: Device, inbox: Inbox, clock: FixedClock, how: str
) -> None:
    came = clock.moment
    setattr(inbox, how, True)
    with polled(device.address, inbox, clock):
        inbox.until(lambda box: box.refusals + box.failures >= 3)
        device.answer = {"probes": [{"value": 26.0}]}
        clock.moment = came.replace(hour=9)
        device.until_asked(len(device.asked) + 2)
        setattr(inbox, how, False)
        inbox.until(lambda box: {25.4, 26.0} <= set(box.values()))
    assert inbox.points[0] == Arrival("north-room", "temperature", came.timestamp(), 25.4, "degC")
    assert inbox.values() == sorted(inbox.values())
