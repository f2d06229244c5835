"""An address that answers JSON, asked again and again: each point's value found by its path in the answer."""

from __future__ import annotations

import json
import re
import threading
import time
import urllib.error
import urllib.request
from http.client import HTTPException
from typing import Any
from urllib.parse import urlsplit

from leadline.app.ports import Arrival, Intake, Odd
from leadline.feeds import payload, troubles
from leadline.feeds.handing import Said, hand_over, run
from leadline.feeds.payload import Strange, ZoneOf
from leadline.measures.errors import BadInput
from leadline.measures.moments import Clock
from leadline.system.orders import PollFeed

LARGEST = 2**20  # bytes of an answer
TIMEOUT_S = 10.0  # without a sign of life
WHOLE_S = 30.0  # for the whole answer
LONGEST_WAIT_S = 300.0  # between two tries while nothing answers, unless the period itself is longer
MOST_KEPT = 1000  # points that wait for a store which does not take them; then the oldest go
_STEP = re.compile(r"""\.?([^.\[\]"']+)|\[\s*(-?[0-9]+)\s*\]|\[\s*"((?:[^"\\]|\\.)*)"\s*\]|\[\s*'([^']*)'\s*\]""")
_MISSING = object()

Steps = tuple[str | int, ...]


class Unanswered(Exception):
    """There was no usable answer; the text says why, for a person."""


def path(text: str) -> Steps:
    """The steps of a path such as `probes[0].value`, `["odd key"].v` or `[-1].v`.

    Raises
    ------
    BadInput
        When it is none.
    """
    steps: list[str | int] = []
    at = 0
    if text.startswith(("$.", "$[")):  # some write the whole answer as $
        text = text[1:].removeprefix(".")
    while at < len(text):
        match = _STEP.match(text, at)
        if match is None or (match[1] is not None and steps and text[at] != ".") or (not steps and text[at] == "."):
            way_out = 'Write it like probes[0].value or ["odd key"].value.'
            raise BadInput(f"{text!r} is no path (sign {at + 1})", way_out=way_out)
        key, index, quoted, single = match.groups()
        if index is not None:
            steps.append(int(index))
        elif quoted is not None:
            steps.append(re.sub(r"\\(.)", r"\1", quoted))
        else:
            steps.append(single if single is not None else key.strip())
        at = match.end()
    if not steps:
        raise BadInput("a path is missing", way_out="Write it like probes[0].value.")
    return tuple(steps)


def found(content: object, steps: Steps) -> object:
    """What a path leads to.

    Raises
    ------
    Strange
        When it leads nowhere.
    """
    for n, step in enumerate(steps):
        inside: object = _MISSING
        if isinstance(step, str) and isinstance(content, dict):
            inside = content.get(step, _MISSING)
        elif isinstance(step, int) and isinstance(content, list) and -len(content) <= step < len(content):
            inside = content[step]
        if inside is _MISSING:
            way = "".join(f"[{s}]" if isinstance(s, int) else f".{s}" for s in steps[: n + 1]).lstrip(".")
            raise Strange(f"there is no {way} in the answer")
        content = inside
    return content


class Polling:
    """Asks one address, from `start` to `stop`.

    Parameters
    ----------
    settings
        As the standing orders have them; their `token` is not looked at.
    token
        The secret itself, or nothing.
    zone_of
        The zone of a system, for times without an offset; without it these are odd.

    Raises
    ------
    BadInput
        When a path is none.
    """

    def __init__(
        self, settings: PollFeed, token: str, intake: Intake, clock: Clock, *, zone_of: ZoneOf | None = None
    ) -> None:
        self._settings = settings
        self._token = token
        self._intake = intake
        self._clock = clock
        self._zone_of = payload.remembering(zone_of)
        self._points = [(system, stream, path(steps), unit) for system, stream, steps, unit in settings.points]
        self._time = path(settings.time_path) if settings.time_path else ()
        self._say = Said(intake, settings.id)
        self._place = urlsplit(settings.address).netloc.rpartition("@")[2]
        self._opener: urllib.request.OpenerDirector | None = None
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._odd_before: dict[tuple[str, str], tuple[str, str]] = {}
        self._kept: list[tuple[Arrival, float]] = []  # with the moment when it came

    def start(self) -> None:
        """Begin to ask; returns at once."""
        self._stop.clear()
        self._thread = threading.Thread(target=run, args=(self._ask_on, self._say), name=self._settings.id, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Leave, at the latest when the answer that is waited for has come."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(WHOLE_S + TIMEOUT_S)
            self._thread = None

    def _ask_on(self) -> None:
        every_s = self._settings.every_s
        due, failed = time.monotonic(), 0
        while not self._stop.is_set():
            try:
                content = self._answer()
            except Unanswered as exc:
                self._say(False, str(exc))
                failed += 1
                due = time.monotonic() + max(every_s, min(LONGEST_WAIT_S, every_s * 2 ** min(failed, 30)))
                self._hand_over([], LONGEST_WAIT_S)
            else:
                failed = 0
                odd = self._read(content)
                # the next one is due by the schedule, however long this one took; what was missed is not made up for
                now = time.monotonic()
                due += every_s * max(1, -(-(now - due) // every_s))
                self._hand_over(odd, due - now)
            self._stop.wait(max(0.0, due - time.monotonic()))

    def _read(self, content: object) -> list[Odd]:
        came_s = self._clock.now().timestamp()
        odd: list[Odd] = []
        try:
            given = found(content, self._time) if self._time else None
            if self._time and given is None:
                raise Strange("the time is empty in the answer")
        except Strange as exc:
            self._strange("", "", "", str(exc), odd)
            # without its time a value may be of last week: nothing is taken
            self._say(False, f"{self._place} answers without the time: {exc}")
            return odd
        before = len(self._kept)
        for system, stream, steps, unit in self._points:
            shown = ""
            try:
                value = found(content, steps)
                shown = json.dumps(value)[:300]
                v = payload.number(value)
                shown = json.dumps(given)[:300]
                point = Arrival(system, stream, payload.moment(given, system, self._zone_of), v, unit)
            except Strange as exc:
                self._strange(system, stream, shown, str(exc), odd)
                continue
            self._odd_before.pop((system, stream), None)
            self._kept.append((point, came_s))
        self._odd_before.pop(("", ""), None)
        if len(self._kept) > before:
            self._say(True, f"{self._place} answers")
        else:  # a machine that answers and says nothing is no feed that works
            self._say(False, f"{self._place} answers, and none of the points is in it")
        return odd

    def _strange(self, system: str, stream: str, text: str, why: str, odd: list[Odd]) -> None:
        """Something odd, once for as long as it stays the same."""
        if self._odd_before.get((system, stream)) != (text, why):
            self._odd_before[system, stream] = text, why
            odd.append(payload.odd(system, stream, text.encode("utf-8", "backslashreplace"), why))

    def _hand_over(self, odd: list[Odd], patience_s: float) -> None:
        """Hand over what is here; what is not taken before the next question stays, with the moment when it came."""
        if not self._kept and not odd:
            return
        if len(self._kept) > MOST_KEPT:
            del self._kept[:-MOST_KEPT]
            self._say(False, f"points of {self._place} cannot be kept: only the last {MOST_KEPT:,} wait, older ones go")
        waited = hand_over(
            self._intake, self._settings.id, self._with_times, odd, self._stop, patience_s=max(0.0, patience_s)
        )
        if waited is not None:
            self._kept.clear()
        else:
            for one in odd:  # it was not kept: to be said again
                self._odd_before.pop((one.system, one.stream), None)

    def _with_times(self) -> list[Arrival]:
        now_s = self._clock.now().timestamp()
        return [
            Arrival(p.system, p.stream, came_s, p.v, p.unit) if p.t is None and not 0.0 <= now_s - came_s < 1.0 else p
            for p, came_s in self._kept
        ]

    # -- asking ------------------------------------------------------------------------------------

    def _answer(self) -> object:
        try:
            return self._asked()
        except Unanswered:
            self._opener = None  # the file of its certificate may be mended in the meantime
            raise

    def _asked(self) -> object:
        head = {"Accept": "application/json", "Accept-Encoding": "identity", "User-Agent": "leadline"}
        if self._token:
            head["Authorization"] = f"Bearer {self._token}"
        try:
            if self._opener is None:
                secure = urllib.request.HTTPSHandler(context=troubles.trust(self._settings.ca_file))
                self._opener = urllib.request.build_opener(secure, _SameHost())
            request = urllib.request.Request(self._settings.address, headers=head)
            with self._opener.open(request, timeout=TIMEOUT_S) as response:
                return _json(self._body(response), self._place)
        except urllib.error.HTTPError as exc:
            exc.close()
            raise Unanswered(_refusal(exc, self._place, self._token)) from None
        except urllib.error.URLError as exc:
            reason = exc.reason if isinstance(exc.reason, BaseException) else exc
            raise Unanswered(troubles.words(reason, self._place)) from None
        except OSError as exc:
            raise Unanswered(troubles.words(exc, self._place)) from None
        except (HTTPException, ValueError):  # ValueError: an address that cannot be one
            raise Unanswered(f"{self._place} answers with something that is no HTTP") from None

    def _body(self, response: Any) -> bytes:
        by = time.monotonic() + WHOLE_S
        body = b""
        while piece := response.read1(65536):
            body += piece
            if len(body) > LARGEST:
                raise Unanswered(f"{self._place} answers with more than {LARGEST:,} bytes")
            if time.monotonic() > by or self._stop.is_set():
                raise Unanswered(f"{self._place} takes longer than {WHOLE_S:g} s for its answer")
        return body


class _SameHost(urllib.request.HTTPRedirectHandler):
    """A redirect may not lead to another machine, which would be shown the token, nor from TLS into the open."""

    def redirect_request(
        self, req: urllib.request.Request, fp: Any, code: int, msg: str, headers: Any, newurl: str
    ) -> urllib.request.Request | None:
        old, new = urlsplit(req.full_url), urlsplit(newurl)
        place = old.netloc.rpartition("@")[2]
        why = ""
        if new.hostname != old.hostname:
            why = f"{place} sends us on to {new.hostname}: write that address if it is meant"
        elif old.scheme == "https" and new.scheme != "https":
            why = f"{place} sends us on to an address without TLS"
        if why:
            fp.close()
            raise Unanswered(why)
        return super().redirect_request(req, fp, code, msg, headers, newurl)


def _json(body: bytes, place: str) -> object:
    try:
        return json.loads(body)
    except (ValueError, RecursionError):
        start = body[:40].decode("ascii", "replace").split("\n")[0].strip()
        raise Unanswered(f"{place} answers with something that is no JSON: {start!r}") from None


def _refusal(exc: urllib.error.HTTPError, place: str, token: str) -> str:
    if exc.code in (401, 403):
        return f"{place} {'refuses our token' if token else 'wants a token'} ({exc.code})"
    if exc.code == 404:
        return f"{place} knows no such page (404): check the address"
    return f"{place} answers {exc.code} {exc.reason or ''}".strip()
