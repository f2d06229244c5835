"""The watch's standing orders: who is called, by which path and in which order; what comes in; who guards whom.

Read from a TOML file of our own. Secrets never stand in it: a field that takes one says `secret:NAME`, and the secret
itself is kept in a file that only its owner may read.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from leadline.measures.errors import BadInput, UnknownName

_ID = re.compile(r"[a-z0-9][a-z0-9-]*$")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)$")
_SPAN = re.compile(r"(\d+(?:\.\d+)?)\s*(d|days?|h|hours?|min|minutes?|s|seconds?)$")
_SECONDS = {"d": 86400.0, "h": 3600.0, "m": 60.0, "s": 1.0}
SECRET = "secret:"
ANY_TIME = ((0, 1440),)


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who can be called: by which paths, in this order, and in which hours of the day.

    `hours` are spans of minutes since local midnight; outside of them only high and urgent alarms call. `looks_after`
    are the systems whose week is theirs; empty: all. Alarms of all systems call them whatever stands there.
    """

    id: str
    name: str
    paths: tuple[str, ...]
    hours: tuple[tuple[int, int], ...] = ANY_TIME
    looks_after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MailPath:
    """Plain SMTP. `tls` is `tls` (from the first byte), `starttls`, or `none`."""

    id: str
    to: str
    sender: str
    host: str
    port: int
    tls: str = "starttls"
    user: str = ""
    password: str = ""
    ca_file: str = ""  # a certificate of one's own to trust beside the usual ones
    shares: tuple[str, ...] = ("mains", "network", "internet")
    kind: str = "mail"


@dataclass(frozen=True, slots=True)
class ServicePath:
    """Any service that the Apprise library knows an address for: push, webhook, chat, SMS gateways."""

    id: str
    address: str
    shares: tuple[str, ...] = ("mains", "network", "internet")
    kind: str = "service"


@dataclass(frozen=True, slots=True)
class CommandPath:
    """A local command, such as a sounder: the text comes on its standard input."""

    id: str
    command: tuple[str, ...]
    timeout_s: float = 30.0
    shares: tuple[str, ...] = ("mains",)
    kind: str = "command"


Path = MailPath | ServicePath | CommandPath


@dataclass(frozen=True, slots=True)
class Replies:
    """A mailbox whose replies acknowledge (IMAP)."""

    host: str
    port: int
    user: str
    password: str
    tls: str = "tls"
    folder: str = "INBOX"
    every_s: float = 20.0
    ca_file: str = ""


@dataclass(frozen=True, slots=True)
class MqttFeed:
    """A broker whose topics `leadline/<system>/<stream>` are taken in."""

    id: str
    host: str
    port: int = 1883
    user: str = ""
    password: str = ""
    tls: bool = False
    ca_file: str = ""
    prefix: str = "leadline"
    client: str = "leadline-watch"


@dataclass(frozen=True, slots=True)
class FileFeed:
    """A stream CSV that grows."""

    id: str
    path: str
    every_s: float = 2.0


@dataclass(frozen=True, slots=True)
class PollFeed:
    """An address that answers JSON: each point's path inside it, such as `probes[0].value`, and its stream."""

    id: str
    address: str
    every_s: float
    points: tuple[tuple[str, str, str, str], ...]  # system, stream, path, unit
    time_path: str = ""
    token: str = ""  # sent as a bearer token
    ca_file: str = ""


Feed = MqttFeed | FileFeed | PollFeed


@dataclass(frozen=True, slots=True)
class Escalation:
    """How long one waits for an answer: before the same person's next path, the next person, the next round."""

    next_path_s: float = 300.0
    next_person_s: float = 900.0
    repeat_s: float = 900.0


@dataclass(frozen=True, slots=True)
class Rhythm:
    """When paths are proved: every so many days at a minute of the local day; how long an answer may take, and how long
    one waits for a server to take the proof at all."""

    every_d: int = 1
    at_minute: int = 18 * 60
    window_s: float = 4 * 3600.0
    hand_over_s: float = 600.0


@dataclass(frozen=True, slots=True)
class Guarding:
    """Other watches whose health is asked for, and a dead-man address that hears from us."""

    watches: tuple[str, ...] = ()
    every_s: float = 60.0
    missed: int = 3
    ping: str = ""
    ping_every_s: float = 60.0


@dataclass(frozen=True, slots=True)
class Orders:
    """All standing orders. Empty ones call nobody and take nothing in but what is posted."""

    time_zone: str = "UTC"
    address: str = ""  # how a phone on the local network reaches this watch
    people: tuple[Person, ...] = ()
    paths: Mapping[str, Path] = field(default_factory=dict)
    feeds: tuple[Feed, ...] = ()
    replies: Replies | None = None
    escalation: Escalation = Escalation()
    proof: Rhythm = Rhythm()
    guard: Guarding = Guarding()
    unknown: tuple[str, ...] = ()

    def used(self) -> tuple[tuple[Person, Path], ...]:
        """Every person with every path of theirs, in the order of calling."""
        return tuple((p, self.paths[name]) for p in self.people for name in p.paths)

    def secrets(self) -> tuple[str, ...]:
        """Names of the secrets that the orders need."""
        found: list[str] = []
        for thing in (*self.paths.values(), *self.feeds, *([self.replies] if self.replies else [])):
            for name in ("password", "address", "token"):
                value = str(getattr(thing, name, ""))
                if value.startswith(SECRET):
                    found.append(value.removeprefix(SECRET))
        if self.guard.ping.startswith(SECRET):
            found.append(self.guard.ping.removeprefix(SECRET))
        return tuple(dict.fromkeys(found))


def parse(document: str) -> Orders:
    """Read standing orders.

    Raises
    ------
    BadInput
        With the place in the document and what would mend it.
    """
    try:
        data = tomllib.loads(document)
    except (tomllib.TOMLDecodeError, RecursionError) as exc:
        raise BadInput(
            f"not valid TOML: {exc}", way_out="leadline watch orders --example prints one to begin with."
        ) from exc
    return _Reader(data).orders()


def span_s(text: Any, where: str) -> float:
    """A span such as `15 min`, `1 d`. [s]"""
    match = _SPAN.match(str(text).strip().lower())
    if match is None or float(match[1]) <= 0.0:
        raise BadInput(f"{text!r} is no span of time", where=where, way_out='Write "15 min", "4 h", "1 d".')
    return float(match[1]) * _SECONDS[match[2][0]]


class _Reader:
    def __init__(self, data: Mapping[str, Any]) -> None:
        self.data = data
        self.unknown: list[str] = []

    def orders(self) -> Orders:
        from leadline.measures.moments import zone

        known = {"watch", "person", "path", "feed", "replies", "escalation", "proof", "guard"}
        self._rest(self.data, "", known)
        head = self._table("watch")
        self._rest(head, "watch.", {"time_zone", "address"})
        time_zone = str(head.get("time_zone", "UTC"))
        zone(time_zone)
        address = str(head.get("address", "")).rstrip("/")
        if address and urlsplit(address).scheme not in ("http", "https"):
            raise BadInput(f"watch.address = {address!r}", way_out='Write "http://192.168.1.20:8078".')
        paths = {p.id: p for p in map(self._path, self._tables("path"), range(1, 1000))}
        self._once("path", paths, self._tables("path"))
        people = tuple(self._person(t, i, paths) for i, t in enumerate(self._tables("person"), 1))
        self._once("person", {p.id: p for p in people}, self._tables("person"))
        feeds = tuple(self._feed(t, i) for i, t in enumerate(self._tables("feed"), 1))
        self._once("feed", {f.id: f for f in feeds}, self._tables("feed"))
        return Orders(
            time_zone, address, people, paths, feeds, self._replies(), self._escalation(), self._proof(),
            self._guard(), tuple(self.unknown),
        )  # fmt: skip

    def _path(self, t: Mapping[str, Any], index: int) -> Path:
        where = f"path {index}"
        ident = self._ident(t, where)
        where = f"path {ident}"
        kind = str(t.get("kind", ""))
        common = {"id", "kind", "shares", "note"}
        shares = t.get("shares")
        more: dict[str, Any] = {} if shares is None else {"shares": tuple(self._words(shares, f"{where}.shares"))}
        if kind == "mail":
            self._rest(t, f"{where}.", common | {"to", "from", "server", "tls", "user", "password", "ca_file"})
            tls = self._choice(t, "tls", ("starttls", "tls", "none"), where)
            host, port = self._server(t, "server", {"tls": 465, "starttls": 587, "none": 25}[tls], where)
            to = self._text(t, "to", where)
            for key, address in (("to", to), ("from", str(t.get("from", to)))):
                if "@" not in address.strip("@"):
                    raise BadInput(f"{where}.{key} = {address!r}", way_out="Write it like keeper@home.example.")
            return MailPath(
                ident, to, str(t.get("from", to)), host, port, tls, str(t.get("user", "")),
                self._secret(t, "password", where), str(t.get("ca_file", "")), **more,
            )  # fmt: skip
        if kind == "service":
            self._rest(t, f"{where}.", common | {"address"})
            return ServicePath(ident, self._secret(t, "address", where, needed=True), **more)
        if kind == "command":
            self._rest(t, f"{where}.", common | {"command", "timeout"})
            words = tuple(self._words(t.get("command"), f"{where}.command"))
            if not words:
                raise BadInput(f"{where}: command is missing", way_out='Write command = ["play", "/path/bell.wav"].')
            return CommandPath(ident, words, span_s(t.get("timeout", "30 s"), f"{where}.timeout"), **more)
        raise UnknownName("kind of path", kind, ("mail", "service", "command"), where=where)

    def _person(self, t: Mapping[str, Any], index: int, paths: Mapping[str, Path]) -> Person:
        where = f"person {index}"
        ident = self._ident(t, where)
        where = f"person {ident}"
        self._rest(t, f"{where}.", {"id", "name", "paths", "hours", "looks_after", "note"})
        names = tuple(self._words(t.get("paths"), f"{where}.paths"))
        if not names:
            raise BadInput(f"{where}: paths are missing", way_out="Name at least one path, best two that share little.")
        for name in names:
            if name not in paths:
                raise UnknownName("path", name, paths, where=where)
        hours = t.get("hours")
        spans = (
            ANY_TIME if hours is None else tuple(self._hours(h, where) for h in self._words(hours, f"{where}.hours"))
        )
        mine = tuple(self._words(t.get("looks_after"), f"{where}.looks_after"))
        return Person(ident, str(t.get("name", ident)), names, spans, mine)

    def _feed(self, t: Mapping[str, Any], index: int) -> Feed:
        where = f"feed {index}"
        ident = self._ident(t, where)
        where = f"feed {ident}"
        kind = str(t.get("kind", ""))
        common = {"id", "kind", "note"}
        if kind == "mqtt":
            self._rest(t, f"{where}.", common | {"server", "user", "password", "tls", "ca_file", "prefix", "client"})
            tls = bool(t.get("tls", False))
            host, port = self._server(t, "server", 8883 if tls else 1883, where)
            return MqttFeed(
                ident, host, port, str(t.get("user", "")), self._secret(t, "password", where), tls,
                str(t.get("ca_file", "")), str(t.get("prefix", "leadline")).strip("/"),
                str(t.get("client", "leadline-watch")),
            )  # fmt: skip
        if kind == "file":
            self._rest(t, f"{where}.", common | {"path", "every"})
            return FileFeed(ident, self._text(t, "path", where), span_s(t.get("every", "2 s"), f"{where}.every"))
        if kind == "poll":
            self._rest(t, f"{where}.", common | {"address", "every", "point", "time", "token", "ca_file"})
            address = str(t.get("address", ""))
            if urlsplit(address).scheme not in ("http", "https"):
                raise BadInput(f"{where}.address = {address!r}", way_out='Write "http://192.168.1.30/status.json".')
            points = t.get("point", [])
            if not isinstance(points, list) or not points:
                raise BadInput(f"{where}: no point", way_out="Add [[feed.point]] with system, stream and path.")
            read = []
            for p in points:
                if not isinstance(p, dict):
                    raise BadInput(f"{where}.point = {p!r}", way_out="Write [[feed.point]].")
                self._rest(p, f"{where}.point.", {"system", "stream", "path", "unit"})
                three = [self._text(p, key, f"{where}.point") for key in ("system", "stream", "path")]
                read.append((three[0], three[1], three[2], str(p.get("unit", ""))))
            return PollFeed(
                ident, address, span_s(t.get("every", "60 s"), f"{where}.every"), tuple(read), str(t.get("time", "")),
                self._secret(t, "token", where), str(t.get("ca_file", "")),
            )  # fmt: skip
        raise UnknownName("kind of feed", kind, ("mqtt", "file", "poll"), where=where)

    def _replies(self) -> Replies | None:
        t = self._table("replies")
        if not t:
            return None
        self._rest(t, "replies.", {"server", "user", "password", "tls", "folder", "every", "ca_file"})
        tls = self._choice(t, "tls", ("tls", "starttls", "none"), "replies")
        host, port = self._server(t, "server", {"tls": 993, "starttls": 143, "none": 143}[tls], "replies")
        return Replies(
            host, port, self._text(t, "user", "replies"), self._secret(t, "password", "replies", needed=True), tls,
            str(t.get("folder", "INBOX")), span_s(t.get("every", "20 s"), "replies.every"), str(t.get("ca_file", "")),
        )  # fmt: skip

    def _escalation(self) -> Escalation:
        t = self._table("escalation")
        self._rest(t, "escalation.", {"next_path", "next_person", "repeat"})
        usual = Escalation()
        return Escalation(
            self._span(t, "next_path", usual.next_path_s, "escalation"),
            self._span(t, "next_person", usual.next_person_s, "escalation"),
            self._span(t, "repeat", usual.repeat_s, "escalation"),
        )

    def _proof(self) -> Rhythm:
        t = self._table("proof")
        self._rest(t, "proof.", {"every", "at", "window", "hand_over"})
        usual = Rhythm()
        days = self._span(t, "every", usual.every_d * 86400.0, "proof") / 86400.0
        if days != round(days) or days > 31:
            raise BadInput(f"proof.every = {t.get('every')!r}", way_out='Whole days up to 31, such as "1 d".')
        at = self._minute(str(t["at"]), "proof.at") if "at" in t else usual.at_minute
        window = self._span(t, "window", usual.window_s, "proof")
        if window > days * 86400.0:
            raise BadInput("proof.window is longer than proof.every", way_out="Answer before the next one is sent.")
        return Rhythm(round(days), at, window, self._span(t, "hand_over", min(usual.hand_over_s, window / 2), "proof"))

    def _guard(self) -> Guarding:
        t = self._table("guard")
        self._rest(t, "guard.", {"watches", "every", "missed", "ping", "ping_every"})
        watches = tuple(self._words(t.get("watches", []), "guard.watches"))
        for address in watches:
            if urlsplit(address).scheme not in ("http", "https"):
                raise BadInput(f"guard.watches = {address!r}", way_out='Write "http://192.168.1.21:8078".')
        usual = Guarding()
        missed = t.get("missed", usual.missed)
        if not isinstance(missed, int) or missed < 1:
            raise BadInput(f"guard.missed = {missed!r}", way_out="A whole number from 1 on.")
        return Guarding(
            watches, self._span(t, "every", usual.every_s, "guard"), missed, str(t.get("ping", "")),
            self._span(t, "ping_every", usual.ping_every_s, "guard"),
        )  # fmt: skip

    # -- small readers -----------------------------------------------------------------------------

    def _table(self, key: str) -> Mapping[str, Any]:
        t = self.data.get(key, {})
        if not isinstance(t, dict):
            raise BadInput(f"{key} is no table", way_out=f"Write [{key}].")
        return t

    def _tables(self, key: str) -> list[Mapping[str, Any]]:
        found = self.data.get(key, [])
        if not isinstance(found, list) or not all(isinstance(t, dict) for t in found):
            raise BadInput(f"[{key}] must be written [[{key}]]", way_out=f"There can be several of {key}.")
        return found

    def _once(self, kind: str, found: Mapping[str, Any], given: list[Mapping[str, Any]]) -> None:
        names = [str(t.get("id", "")) for t in given]
        twice = sorted({n for n in names if names.count(n) > 1})
        if twice:
            raise BadInput(f"two of {kind} have the id {twice[0]!r}", way_out="Each id stands once.")

    def _rest(self, t: Mapping[str, Any], prefix: str, known: set[str]) -> None:
        self.unknown.extend(f"{prefix}{key}" for key in t if key not in known)

    def _ident(self, t: Mapping[str, Any], where: str) -> str:
        ident = str(t.get("id", ""))
        if not _ID.match(ident):
            raise BadInput(
                f"{where}: id = {ident!r}" if ident else f"{where}: id is missing",
                way_out="Give it lower-case letters, digits and hyphens.",
            )
        return ident

    def _text(self, t: Mapping[str, Any], key: str, where: str) -> str:
        value = t.get(key, "")
        if not isinstance(value, str) or not value.strip():
            raise BadInput(f"{where}: {key} is missing", way_out=f'Write {key} = "…".')
        return value.strip()

    def _secret(self, t: Mapping[str, Any], key: str, where: str, *, needed: bool = False) -> str:
        value = str(t.get(key, ""))
        if not value and not needed:
            return ""
        if not value.startswith(SECRET) or not _ID.match(value.removeprefix(SECRET)):
            raise BadInput(
                f"{where}: {key} would stand here for all to read" if value else f"{where}: {key} is missing",
                way_out=f'Write {key} = "secret:NAME" and give it with: leadline watch secret NAME',
            )
        return value

    def _choice(self, t: Mapping[str, Any], key: str, known: tuple[str, ...], where: str) -> str:
        value = str(t.get(key, known[0]))
        if value not in known:
            raise UnknownName(key, value, known, where=where)
        return value

    def _server(self, t: Mapping[str, Any], key: str, port: int, where: str) -> tuple[str, int]:
        text = self._text(t, key, where)
        host, _, said = text.rpartition(":") if re.search(r":\d+$", text) else (text, "", str(port))
        if not host or "/" in host or (":" in host and not host.endswith("]")) or not 0 < int(said) < 65536:
            raise BadInput(f"{where}: {key} = {text!r}", way_out=f'Write {key} = "mail.example:{port}".')
        return host, int(said)

    def _words(self, raw: Any, where: str) -> list[str]:
        if raw is None:
            return []
        found = [raw] if isinstance(raw, str) else raw
        if not isinstance(found, list) or not all(isinstance(x, str) and x for x in found):
            raise BadInput(f"{where} = {raw!r}", way_out='Write a list of words: ["…", "…"].')
        return found

    def _span(self, t: Mapping[str, Any], key: str, usual: float, where: str) -> float:
        return span_s(t[key], f"{where}.{key}") if key in t else usual

    def _minute(self, text: str, where: str) -> int:
        match = _CLOCK.match(text.strip())
        if match is None:
            raise BadInput(f"{where} = {text!r} is no time of day", way_out='Write "18:00".')
        return int(match[1]) * 60 + int(match[2])

    def _hours(self, text: str, where: str) -> tuple[int, int]:
        first, sign, last = text.partition("-")
        if not sign:
            raise BadInput(f"{where}.hours = {text!r}", way_out='Write hours = ["07:00-22:30"].')
        end = 1440 if last.strip() == "24:00" else self._minute(last, f"{where}.hours")
        return self._minute(first, f"{where}.hours"), end


def on_duty(person: Person, minute: int) -> bool:
    """Whether a minute of the local day lies in a person's hours; spans may pass midnight."""
    return any(a <= minute < b if a < b else minute >= a or minute < b for a, b in person.hours)
