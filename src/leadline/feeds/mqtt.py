"""MQTT in: topics `leadline/<system>/<stream>`, acknowledged to the broker only when the points are on disk.

The session is kept by the broker, so that what comes while we are away waits there. Three things decide how much
that is worth, and they were tried on Mosquitto 2.0:

- It sends an unacknowledged message again only when we connect anew. So a batch that could not be kept is held
  here and offered again; if this process dies, the broker still has it.
- It has at most `max_inflight_messages` (20) unacknowledged to an MQTT 3.1.1 client, which is 20 points for each
  commit. An MQTT 5 client names its own number, so MQTT 5 is spoken wherever the broker can.
- While we are away it keeps `max_queued_messages` (1,000) and drops the rest, and it forgets all of them when it is
  killed without `persistence`.
"""

from __future__ import annotations

import random
import threading
import time
from dataclasses import dataclass
from functools import partial
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from leadline.app.ports import Arrival, Intake, Odd
from leadline.feeds import payload, troubles
from leadline.feeds.handing import Said, hand_over, run
from leadline.feeds.payload import ZoneOf
from leadline.measures.moments import Clock
from leadline.system.orders import MqttFeed

WINDOW = 1000  # unacknowledged messages we let the broker send; its own bound for MQTT 3.1.1 is often 20
ROOM = 20_000  # messages that may wait here, whatever the broker does
AT_ONCE = 5000  # points in one batch
GATHER_S = 0.05  # how long a batch is gathered for
ENOUGH = 500  # points that end the gathering earlier
KEEPALIVE_S = 30
ANSWER_S = 15.0  # how long a broker may take to answer our greeting
FIRST_DELAY_S, LONGEST_DELAY_S = 1.0, 60.0
STEADY_S = 30.0  # a connection that held this long was a good one
DROPS = 3  # so many that did not, one after the other, are no accident
SESSION_S = 30 * 86400  # how long the broker keeps our session while we are away
LARGEST_PACKET = 2**20  # bytes; the broker drops what is larger instead of sending it
_NOT_SPOKEN, _BAD_CLIENT, _BAD_USER, _NOT_ALLOWED, _TAKEN_OVER = 132, 133, 134, 135, 142  # MQTT 5, section 2.4


class _Line(paho.Client):
    """One connection: whatever waits on it is lost with it, and comes again on the next."""

    def __init__(self, client_id: str, protocol: MQTTProtocolVersion) -> None:
        more: dict[str, Any] = {} if protocol == MQTTProtocolVersion.MQTTv5 else {"clean_session": False}
        super().__init__(
            CallbackAPIVersion.VERSION2, client_id, protocol=protocol, manual_ack=True, reconnect_on_failure=False,
            **more,
        )  # fmt: skip
        self.answered = threading.Event()
        self.over = threading.Event()
        self.why = ""
        self.lost = False  # it was good, and ended without our doing
        self.too_new = False  # the broker said that it speaks an older MQTT
        self.resend = False  # something was left with the broker: it comes again on the next connection

    def loop_forever(self, timeout: float = 1.0, retry_first_connection: bool = False) -> Any:
        """The network thread's work; `over` is set however it ends, an error inside the library included."""
        try:
            return super().loop_forever(timeout, retry_first_connection)
        finally:
            self.over.set()


@dataclass(slots=True)
class _Came:
    """A message that waits to be kept; `line` is where it is acknowledged."""

    topic: str
    raw: bytes
    mid: int
    qos: int
    line: _Line
    at_s: float
    what: Arrival | Odd | None


class Mqtt:
    """Takes in what a broker has, from `start` to `stop`.

    Parameters
    ----------
    settings
        As the standing orders have them; their `password` is not looked at.
    password
        The secret itself, or nothing.
    zone_of
        The zone of a system, for times without an offset; without it these are odd.
    """

    def __init__(
        self, settings: MqttFeed, password: str, intake: Intake, clock: Clock, *, zone_of: ZoneOf | None = None
    ) -> None:
        self._settings = settings
        self._password = password
        self._intake = intake
        self._clock = clock
        self._zone_of = payload.remembering(zone_of)
        self._say = Said(intake, settings.id)
        self._place = f"{settings.host}:{settings.port}"
        self._stop = threading.Event()
        self._changed = threading.Condition()
        self._queue: list[_Came] = []
        self._open: dict[int, _Came] = {}  # unacknowledged, by the broker's number for it
        self._dropped = 0
        self._connected = ""  # in words, while we are
        self._threads: list[threading.Thread] = []

    def start(self) -> None:
        """Connect, and stay connected; returns at once."""
        self._stop.clear()
        self._open.clear()  # left from an earlier start: the broker sends it again
        self._queue = [came for came in self._queue if not came.qos]
        self._threads = [
            threading.Thread(target=run, args=(work, self._say), name=f"{self._settings.id}-{what}", daemon=True)
            for what, work in (("connection", self._stay_connected), ("points", self._take_in))
        ]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Hand over what is here, acknowledge it, and leave; the broker keeps the rest."""
        self._stop.set()
        with self._changed:
            self._changed.notify_all()
        for thread in reversed(self._threads):  # the points first: their acknowledgements need the connection
            thread.join(30.0)
        self._threads = []

    # -- the connection ----------------------------------------------------------------------------

    def _stay_connected(self) -> None:
        delay_s, silent, brief = FIRST_DELAY_S, 0, 0
        version = MQTTProtocolVersion.MQTTv5
        while not self._stop.is_set():
            began = time.monotonic()
            line = _Line(self._settings.client, version)
            try:
                self._connect(line, version)
            except (OSError, ValueError) as exc:  # ValueError: a host name that cannot be one
                self._say(False, troubles.words(exc, self._place))
            else:
                self._hold(line)
                brief = brief + 1 if line.lost and time.monotonic() - began < STEADY_S else 0
                if brief >= DROPS:  # MQTT 5 has a word for this; Mosquitto 2.0 does not say it
                    line.why = f"the broker at {self._place} drops us again and again: does another program use the"
                    line.why += f" client id {self._settings.client!r}?"
                if line.why:
                    self._say(False, line.why)
                silent = 0 if line.answered.is_set() else silent + 1
                if silent >= 2 or line.too_new:
                    # an older broker; some hang up on what they do not understand, without a word
                    newer = version == MQTTProtocolVersion.MQTTv5
                    version = MQTTProtocolVersion.MQTTv311 if newer else MQTTProtocolVersion.MQTTv5
                    silent = 0
            if line.resend or time.monotonic() - began > STEADY_S:
                delay_s = FIRST_DELAY_S
            # by chance, so that many watches do not all come back to a broker in the same moment
            if self._stop.wait(delay_s * random.uniform(0.5, 1.0)):
                return
            delay_s = min(2 * delay_s, LONGEST_DELAY_S)

    def _connect(self, line: _Line, version: MQTTProtocolVersion) -> None:
        settings = self._settings
        line.on_connect = self._on_connect
        line.on_subscribe = self._on_subscribe
        line.on_message = self._on_message
        line.on_disconnect = self._on_disconnect
        if settings.user or self._password:
            line.username_pw_set(settings.user, self._password or None)
        if settings.tls:
            line.tls_set_context(troubles.trust(settings.ca_file))
        more: dict[str, Any] = {}
        if version == MQTTProtocolVersion.MQTTv5:
            wishes = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            wishes.SessionExpiryInterval = SESSION_S
            wishes.ReceiveMaximum = WINDOW
            wishes.MaximumPacketSize = LARGEST_PACKET
            more = {"clean_start": False, "properties": wishes}
        line.connect(settings.host, settings.port, KEEPALIVE_S, **more)

    def _hold(self, line: _Line) -> None:
        """Stay on one connection until it is over."""
        line.loop_start()
        try:
            by = time.monotonic() + ANSWER_S
            while not line.over.wait(0.2):
                if not line.answered.is_set() and time.monotonic() > by:
                    line.why = f"{self._place} accepts a connection and says nothing: is it an MQTT broker?"
                    return
                if line.resend and not self._queue:
                    return
                if self._stop.is_set():
                    self._threads[1].join(20.0)
                    return
            if not line.answered.is_set() and not line.why:
                line.why = f"{self._place} closed the connection without a word: is it a broker, with TLS or without?"
        finally:
            line.disconnect()
            line.loop_stop()
            self._connected = ""

    def _on_connect(self, line: Any, _: Any, flags: Any, reason: ReasonCode, properties: Any) -> None:
        line.answered.set()
        if reason.is_failure:
            line.too_new = reason.value == _NOT_SPOKEN
            line.why = _words_of(reason.value, self._settings, self._place) or f"{self._place} refuses us: {reason}"
            return
        topics = f"{self._settings.prefix}/+/+"
        if line.protocol == MQTTProtocolVersion.MQTTv5:
            wanted = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
            line.subscribe(topics, options=wanted)
        else:
            line.subscribe(topics, 1)

    def _on_subscribe(self, line: Any, _: Any, mid: int, reasons: list[ReasonCode], properties: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            line.why = f"the broker at {self._place} does not let us read {self._settings.prefix}/+/+: ask its keeper"
            line.disconnect()
            return
        older = "" if line.protocol == MQTTProtocolVersion.MQTTv5 else " (an older one: MQTT 3.1.1)"
        self._connected = f"connected to the broker at {self._place}{older}"
        self._say(True, self._connected)

    def _on_disconnect(self, line: Any, _: Any, flags: Any, reason: ReasonCode, properties: Any) -> None:
        if self._stop.is_set() or line.resend or line.why or not line.answered.is_set():
            return
        known = _words_of(reason.value, self._settings, self._place) if flags.is_disconnect_packet_from_server else ""
        line.lost = True
        line.why = known or f"lost the broker at {self._place}; trying again"

    # -- the points --------------------------------------------------------------------------------

    def _on_message(self, line: Any, _: Any, message: paho.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = ""
        raw = bytes(message.payload)
        with self._changed:
            if self._stop.is_set():
                return  # not acknowledged: it comes again
            before = self._open.get(message.mid) if message.qos else None
            if before is not None and message.dup and (before.topic, before.raw) == (topic, raw):
                before.line = line  # still waiting here: only where it is acknowledged has changed
                return
            if len(self._queue) >= ROOM or (line.resend and message.qos):  # in order: none after one that was left
                self._no_room(line, message.qos)
                return
        came = _Came(topic, raw, message.mid, message.qos, line, self._now_s(), self._read(topic, raw, message.retain))
        with self._changed:
            if came.qos:
                self._open[came.mid] = came
            self._queue.append(came)
            if len(self._queue) in (1, ENOUGH):
                self._changed.notify_all()

    def _no_room(self, line: _Line, qos: int) -> None:
        if qos:
            line.resend = True
            return
        self._dropped += 1
        if self._dropped == 1:
            self._say(False, "points come faster than they can be kept, and those sent with QoS 0 are lost: use QoS 1")

    def _read(self, topic: str, raw: bytes, retained: bool) -> Arrival | Odd | None:
        parts = topic.removeprefix(f"{self._settings.prefix}/").split("/")
        if not topic.startswith(f"{self._settings.prefix}/") or len(parts) != 2:
            return None  # of a subscription that we had once and the broker still remembers
        read = payload.read_payload(parts[0], parts[1], raw, zone_of=self._zone_of)
        if retained and (isinstance(read, Odd) or read.t is None):
            # The broker shows a retained message to every newcomer. It may be years old, and without a time of its
            # own it would pass for the present.
            return None
        return read

    def _take_in(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._queue or self._stop.is_set())
                if not self._queue:
                    return
                self._changed.wait_for(lambda: len(self._queue) >= ENOUGH or self._stop.is_set(), GATHER_S)
                batch, self._queue = self._queue[:AT_ONCE], self._queue[AT_ONCE:]
            odd = [came.what for came in batch if isinstance(came.what, Odd)]
            if any(came.what for came in batch):
                taken = hand_over(self._intake, self._settings.id, partial(self._points, batch), odd, self._stop)
                if taken is None:
                    return
            self._acknowledge(batch)
            if self._dropped and self._connected and not self._queue:
                self._say(True, f"{self._connected}; {self._dropped:,} points sent with QoS 0 were lost")
                self._dropped = 0

    def _points(self, batch: list[_Came]) -> list[Arrival]:
        now_s = self._now_s()
        points = []
        for came in batch:
            point = came.what
            if isinstance(point, Arrival):
                if point.t is None and not 0.0 <= now_s - came.at_s < 1.0:
                    point = Arrival(point.system, point.stream, came.at_s, point.v, point.unit)
                points.append(point)
        return points

    def _acknowledge(self, batch: list[_Came]) -> None:
        # in the order in which they came [MQTT-4.6.0-2]; on a line that is over this does nothing, and the broker
        # sends them again
        with self._changed:
            for came in batch:
                if came.qos:
                    came.line.ack(came.mid, came.qos)
                    if self._open.get(came.mid) is came:
                        del self._open[came.mid]

    def _now_s(self) -> float:
        return self._clock.now().timestamp()


def _words_of(reason: int, settings: MqttFeed, place: str) -> str:
    """What a broker's refusal means, or nothing."""
    if reason in (_BAD_USER, _NOT_ALLOWED):
        if settings.user:
            return f"the broker at {place} refuses the user {settings.user!r} or the password"
        return f"the broker at {place} wants a user and a password"
    if reason == _BAD_CLIENT:
        return f"the broker at {place} refuses the client id {settings.client!r}: choose another one"
    if reason == _TAKEN_OVER:
        return (
            f"another program came to the broker at {place} with our client id {settings.client!r}: give each its own"
        )
    if reason == _NOT_SPOKEN:
        return f"the broker at {place} speaks an older MQTT; trying that"
    return ""
