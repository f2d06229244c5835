"""One declaration for each operation: it routes, validates what comes, says what leaves, and documents itself."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, cast

import msgspec
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route, compile_path

from leadline.app import describe
from leadline.app.answers import written
from leadline.app.be_heard import Signals
from leadline.app.ports import Store
from leadline.measures.errors import BadInput, LeadlineError, UnknownName, Unreachable
from leadline.measures.moments import Clock, parse, zone
from leadline.web.seen import Lookout
from leadline.web.ways import Right, way

JSON, TOML, LINES, TEXT = "application/json", "application/toml", "application/x-ndjson", "text/plain"
MOST_BODY = 64 * 1024  # bytes; points have a limit of their own
DEEPEST, LARGEST = 8, 1e15  # of a JSON value inside `extra`; no amount is larger
_AHEAD = dt.timedelta(days=1)
_HEAD = {"cache-control": "no-store"}

When = Annotated[str, msgspec.Meta(min_length=1, extra_json_schema={"format": "date-time"})]
"""A moment in ISO 8601; without an offset it is in the time zone of the system, or of the first one."""


class Refusal(Exception):
    """Why a request is not answered: status, one line, headers."""

    def __init__(self, status: int, words: str, headers: Mapping[str, str] | None = None) -> None:
        super().__init__(words)
        self.status, self.words, self.headers = status, words, headers or {}


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer with a status or headers of its own."""

    value: Any
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Example:
    """What an example sends: values of the path, of the query, a body."""

    path: Mapping[str, str] = field(default_factory=dict)
    query: Mapping[str, Any] = field(default_factory=dict)
    body: Any = None
    headers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One thing that can be asked.

    Attributes
    ----------
    id
        Its name in the document.
    right
        What somebody must be allowed, once the house has accounts.
    says
        What it does, in one line.
    prompt
        The command that does the same.
    run
        Gives the answer; a mapping becomes JSON.
    raw
        Instead of `run`: takes the request as it came and gives the response.
    query, body
        What may be asked and sent, as msgspec Structs; anything else is refused.
    texts
        Other media types that the body may have; it comes as text then.
    answer
        The answer's shape, or its shapes; none for an answer that is no JSON.
    media
        Of an answer that is no JSON.
    refuses
        Statuses of its own, beside those that follow from what it takes.
    tells
        More, for the reference.
    """

    id: str
    method: str
    path: str
    right: Right
    says: str
    topic: str
    prompt: str = ""
    run: Callable[[Call], Any] | None = None
    raw: Callable[[Request], Awaitable[Response]] | None = None
    query: type[msgspec.Struct] | None = None
    body: type[msgspec.Struct] | None = None
    texts: Sequence[str] = ()
    answer: Sequence[type] = ()
    media: str = JSON
    status: int = 200
    also: Sequence[int] = ()  # further statuses that carry the same answer
    refuses: Mapping[int, str] = field(default_factory=dict)
    tells: str = ""
    example: Example = Example()
    headers: Mapping[str, str] = field(default_factory=dict)  # request headers that it reads, and what for
    bearer: bool = False  # a device's token is asked for
    most_bytes: int | None = None

    @property
    def inside(self) -> tuple[str, ...]:
        """Names that stand in its path."""
        return tuple(compile_path(self.path)[2])

    def all_refusals(self) -> dict[int, str]:
        """Every status with which it can say no, and why."""
        found: dict[int, str] = {}
        if self.body is not None:
            found |= {
                400: "The body is no JSON." if not self.texts else "The body can't be read.",
                413: "The body is too large.",
                415: f"The body must be {' or '.join((JSON, *self.texts))}.",
            }
        if self.right is not Right.OPEN:
            found |= {401: "Who asks is not known; only where accounts exist.", 403: "That takes another right."}
        if self.inside:
            found[404] = f"There is no such {' or '.join(self.inside)}."
        if self.query is not None or self.body is not None or self.inside:
            found[422] = "Something asked or sent cannot be used; the words say what and why."
        found[503] = "The store cannot be reached now."
        return dict(sorted((found | dict(self.refuses)).items()))


class Call:
    """One request, read and checked."""

    def __init__(self, operation: Operation, request: Request, query: Any, sent: bytes, body: Any) -> None:
        self.operation, self.request, self.query, self.sent, self.body = operation, request, query, sent, body
        self.path: Mapping[str, str] = request.path_params
        state = request.app.state
        self.store, self.clock = cast(Store, state.store), cast(Clock, state.clock)
        self.lookout = cast(Lookout, state.lookout)

    @property
    def now_s(self) -> float:
        return self.clock.now().timestamp()

    def signals(self) -> Signals:
        """The way from alarms to people."""
        return cast(Signals, self.request.app.state.signals_of(self.store))

    def who(self) -> str:
        """Who does it, for what is noted: the account, what the body says, or this door."""
        account = self.request.app.state.doors.who(self.request).name
        return str(account or getattr(self.body, "who", "") or "api")

    def need(self, right: Right, why: str) -> None:
        """Ask for a further right than the operation's own."""
        turned_away = self.request.app.state.doors.turned_away(self.request, right)
        if turned_away is not None:
            raise Refusal(403, why)

    def system(self) -> str:
        """The system that the path names, which must be there."""
        name = self.path["system"]
        describe.document(self.store, name)
        return name

    def local(self, system: str = "") -> dt.tzinfo:
        """The time zone of a system, or of the first one."""
        name = system or next(iter(self.store.systems()), "")
        return zone(describe.load(self.store, name).time_zone) if name else dt.UTC

    def moment(self, text: str, system: str = "") -> dt.datetime | None:
        """A moment that was asked for; None when none was."""
        return parse(text, self.local(system)) if text else None

    def as_of(self, system: str = "") -> dt.datetime | None:
        """The moment as of which to answer; None is now."""
        text = getattr(self.query, "as_of", "")
        asked = self.moment(text, system)
        if asked is not None and asked > self.clock.now() + _AHEAD:
            raise BadInput(f"as_of {text} lies in the future", way_out="Nothing is known of it yet.")
        return asked


def refused(status: int, words: str, headers: Mapping[str, str] | None = None) -> Response:
    """`leadline.refused/1`: one line that says what, where and what to do."""
    more = {"retry-after": "30"} if status == 503 else {}
    said = written({"schema": "leadline.refused/1", "words": words})
    return Response(said, status, {**_HEAD, **more, **(headers or {})}, media_type=JSON)


def routes(operations: Sequence[Operation]) -> list[Route]:
    """The ways of operations: one each, and OPTIONS for each address."""
    found = [
        way(o.path, o.raw or _served(o), o.right, (o.method,), name=f"api {o.id}", most_bytes=o.most_bytes)
        for o in operations
    ]  # fmt: skip
    least: dict[str, Right] = {}
    for o in operations:
        least[o.path] = min(o.right, least.get(o.path, o.right))
    return found + [way(path, _options(operations), right, ("OPTIONS",)) for path, right in least.items()]


def allowed(operations: Sequence[Operation], path: str) -> list[str]:
    """Methods that an address takes."""
    found = {o.method for o in operations if compile_path(o.path)[0].match(path)}
    return sorted(found | ({"HEAD"} if "GET" in found else set()) | ({"OPTIONS"} if found else set()))


def said_instead(operations: Sequence[Operation], path: str, exc: Exception) -> Response:
    """What is answered when no operation was reached or one was left by an exception."""
    if isinstance(exc, LeadlineError):
        return refused(503 if isinstance(exc, Unreachable) else 422, exc.line())
    status = exc.status_code if isinstance(exc, HTTPException) else 500
    if status == 405:
        can = allowed(operations, path)
        return refused(405, f"This address takes {', '.join(can)}.", {"allow": ", ".join(can)})
    words = {
        404: "There is no such address. GET /api lists what can be asked.",
        413: "The body is too large.",
    }
    return refused(status, words.get(status, "That did not work."))


def _options(operations: Sequence[Operation]) -> Callable[[Request], Awaitable[Response]]:
    async def options(request: Request) -> Response:
        """What an address takes; no other site's page may ask."""
        return Response(status_code=204, headers={"allow": ", ".join(allowed(operations, request.url.path)), **_HEAD})

    return options


def _served(o: Operation) -> Callable[[Request], Awaitable[Response]]:
    async def answer(request: Request) -> Response:
        try:
            call = Call(o, request, _query(o, request), *await _body(o, request))
            assert o.run is not None
            found = o.run(call)
        except Refusal as exc:
            return refused(exc.status, exc.words, exc.headers)
        except UnknownName as exc:
            mine = any(v == exc.name or v[:60] == exc.name for v in request.path_params.values())
            return refused(404 if mine else 422, exc.line())
        except Unreachable as exc:
            return refused(503, exc.line())
        except LeadlineError as exc:
            return refused(422, exc.line())
        if isinstance(found, Response):
            return found
        done = found if isinstance(found, Answered) else Answered(found, o.status)
        return Response(written(done.value), done.status, {**_HEAD, **done.headers}, media_type=JSON)

    answer.__name__, answer.__doc__ = o.id, o.says
    return answer


def _query(o: Operation, request: Request) -> Any:
    given: dict[str, str] = {}
    known = {} if o.query is None else {f.encode_name: f for f in msgspec.structs.fields(o.query)}
    for name, value in request.query_params.multi_items():
        if name not in known:
            raise UnknownName("parameter", name[:60], known, way_out="" if known else "This address takes none.")
        if name in given:
            raise BadInput(f"{name} is asked for twice", way_out="Say it once.")
        given[name] = value
    if o.query is None:
        return None
    try:
        found = msgspec.convert(given, o.query, strict=False)
    except msgspec.ValidationError as exc:
        raise BadInput(_words(exc)) from exc
    for f in known.values():
        value = getattr(found, f.name)
        if isinstance(value, float) and not math.isfinite(value):
            raise BadInput(f"{f.encode_name} is no number", way_out="Give a finite one.")
    return found


async def _body(o: Operation, request: Request) -> tuple[bytes, Any]:
    """The body as it was sent, and as it is read."""
    if o.body is None:
        return b"", None
    media, _, more = request.headers.get("content-type", "").partition(";")
    media = media.strip().lower()
    if media not in (JSON, *o.texts):
        raise Refusal(415, f"A body must be {' or '.join((JSON, *o.texts))}: say so in the header Content-Type.")
    charset = more.replace(" ", "").lower().partition("charset=")[2].strip('"')
    if charset not in ("", "utf-8", "utf8"):
        raise Refusal(415, "A body must be UTF-8.")
    content = await request.body()
    if media != JSON:
        try:
            return content, content.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise Refusal(400, "The body is no UTF-8 text.") from None
    try:
        found = msgspec.json.decode(content, type=o.body, strict=True)
    except msgspec.ValidationError as exc:
        raise BadInput(_words(exc)) from exc
    except (msgspec.DecodeError, RecursionError) as exc:
        raise Refusal(400, f"The body is no JSON: {str(exc)[:120]}.") from None
    for name in found.__struct_fields__:
        within(getattr(found, name), name)
    return content, found


def within(value: Any, name: str, deep: int = 0) -> None:
    """Refuse what no journal and no description holds: numbers beyond measure, values nested too deep."""
    if deep > DEEPEST:
        raise BadInput(f"{name} is nested deeper than {DEEPEST}", way_out="Say it more plainly.")
    if isinstance(value, int | float) and not isinstance(value, bool) and not abs(value) <= LARGEST:
        raise BadInput(f"{name}: a number beyond {LARGEST:.0e}", way_out="Check it.")
    if isinstance(value, str) and "\x00" in value:
        raise BadInput(f"{name} holds a character that no text has", way_out="Leave it out.")
    for part, x in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        if isinstance(part, str):
            within(part, name, deep)
        within(x, f"{name}.{part}" if isinstance(part, str) else name, deep + 1)


def _words(exc: Exception) -> str:
    """What does not fit, as one line of ours: where, then what."""
    what, _, where = str(exc).partition(" - at `")
    place = where.rstrip("`").removeprefix("$").removeprefix(".").replace("[...]", "")
    return f"{place}: {what[:1].lower()}{what[1:]}" if place else f"{what[:1].lower()}{what[1:]}"
