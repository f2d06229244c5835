"""Who stands at the door, and what they may do here."""

from __future__ import annotations

import asyncio
import ipaddress
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar, cast
from urllib.parse import quote, urlsplit

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from leadline.app import accounts
from leadline.app.passkeys import Place
from leadline.app.ports import Account, Store
from leadline.measures.errors import BadInput
from leadline.measures.moments import Clock
from leadline.measures.words import N_, _
from leadline.web.ways import Right

ROLES = {"owner": Right.OWN, "keeper": Right.KEEP, "sitter": Right.LOG, "reader": Right.VIEW}
PROGRAMS = {"view": Right.VIEW, "log": Right.LOG, "keep": Right.KEEP}
_RIGHT_SAID = {Right.LOG: N_("a sitter or keeper"), Right.KEEP: N_("a keeper"), Right.OWN: N_("the owner")}
_CHALLENGES, _CHALLENGES_EACH, _CHALLENGE_S = 1_000, 20, 300.0
_AT_ONCE, _WAITING = 2, 20
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Who:
    """Who asks."""

    account: str = ""  # empty in an open house, and for whoever holds the address of a shared page
    name: str = ""
    right: Right = Right.OWN
    session: str = ""  # the digest of their session
    wishes: Mapping[str, str] = field(default_factory=dict)
    guest: bool = False  # holds the address of a shared page
    program: bool = False


class Doors:
    """An open house: everybody who can reach this address is its owner."""

    kept = False  # whether accounts are asked for

    def who(self, request: Request) -> Who | None:
        """Who asks; None when nobody knows."""
        shown = request.scope.get("leadline.shared")
        if shown is not None:
            return Who(right=Right.VIEW, guest=True)
        return Who(wishes=tastes(request))

    def turned_away(self, request: Request, right: Right, *, in_person: bool = False) -> Response | None:
        """The answer to somebody who may not go there; None when they may."""
        who = self.who(request)
        if who is None:
            return _sign_in(request)
        if who.right < right or (in_person and (who.program or who.guest)):
            return _not_yours(request, right)
        return None


class KeptDoors(Doors):
    """Doors with accounts: a session's cookie or a program's token says who asks.

    Parameters
    ----------
    open_while_empty
        Whether everybody is the owner until an account is made: for the demo, and for one's own machine when that
        was asked for.
    """

    def __init__(self, clock: Clock, *, open_while_empty: bool = False) -> None:
        self.clock = clock
        self.open_while_empty = open_while_empty
        self.challenges = Challenges()

    kept = True

    def turned_away(self, request: Request, right: Right, *, in_person: bool = False) -> Response | None:
        answer = super().turned_away(request, right, in_person=in_person)
        if answer is None and right > Right.VIEW and request.method == "POST":  # what comes after this is theirs
            request.state.newest = request.app.state.store.newest_seq()
        return answer

    def who(self, request: Request) -> Who | None:
        if not hasattr(request.state, "who"):
            request.state.who = self._look(request)
        return cast("Who | None", request.state.who)

    def _look(self, request: Request) -> Who | None:
        store = cast(Store, request.app.state.store)
        if request.scope.get("leadline.shared") is not None:
            return Who(right=Right.VIEW, guest=True)
        scheme, _, token = request.headers.get("authorization", "").partition(" ")
        if scheme.lower() == "bearer":
            return self._program(request, store, token.strip())
        secret = request.cookies.get(cookie_name(request), "")
        found = accounts.of_session(store, self.clock, secret) if secret else None
        if found is not None:
            account, session = found
            return Who(account.id, account.name, ROLES[account.role], session.digest, account.wishes)
        if self.open_while_empty and accounts.nobody_yet(store):
            return Who(wishes=tastes(request))
        return None

    def _program(self, request: Request, store: Store, token: str) -> Who | None:
        pace, where = request.app.state.wrong_tokens, address_of(request)
        if pace.full(where):
            return None
        found = accounts.of_program(store, self.clock, token)
        if found is None:
            pace.may(where)
            return None
        account, right = found
        return Who(account.id, account.name, min(ROLES[account.role], PROGRAMS[right]), wishes=account.wishes,
                   program=True)  # fmt: skip


class Challenges:
    """What devices were asked to sign in the last minutes, each good once."""

    def __init__(self) -> None:
        self._asked: dict[bytes, tuple[str, float, str]] = {}

    def ask(self, challenge: bytes, purpose: str, where: str) -> None:
        """Remember a challenge and what it is for; whoever asks on and on pushes out their own alone."""
        now = time.monotonic()
        self._asked = {c: p for c, p in self._asked.items() if p[1] > now}
        mine = [c for c, p in self._asked.items() if p[2] == where]
        for old in mine[: max(len(mine) - _CHALLENGES_EACH + 1, 0)]:
            self._asked.pop(old)
        while len(self._asked) >= _CHALLENGES:
            self._asked.pop(next(iter(self._asked)))
        self._asked[challenge] = (purpose, now + _CHALLENGE_S, where)

    def answered(self, challenge: bytes, purpose: str) -> bool:
        """Whether that challenge was asked for this purpose; it is used up by asking."""
        kept = self._asked.pop(challenge, None)
        return kept is not None and kept[0] == purpose and kept[1] > time.monotonic()


class Weighing:
    """Passphrases are weighed two at a time, and few wait: each takes 64 MiB and a core, and the watch needs both."""

    def __init__(self) -> None:
        self._turns = asyncio.Semaphore(_AT_ONCE)
        self._waiting = 0

    async def weigh(self, work: Callable[..., _T], *given: Any) -> _T:
        """What `work` gives, done in a thread.

        Raises
        ------
        BadInput
            When too many wait already.
        """
        if self._waiting >= _WAITING:
            raise BadInput("too many come in at once", way_out="Wait a moment, then send it again.")
        self._waiting += 1
        try:
            async with self._turns:
                return await asyncio.to_thread(work, *given)
        finally:
            self._waiting -= 1


def cookie_name(request: Request, name: str = "leadline") -> str:
    """A cookie's name, the session's or another; over TLS one that browsers bind to this very host."""
    return f"__Host-{name}" if request.url.scheme == "https" else name


def tastes(request: Request) -> dict[str, str]:
    """What this browser was told that its pages should be like; empty where it was told nothing."""
    return {name: request.cookies.get(cookie_name(request, name), "") for name in ("units", "language", "decimal")}


def remember(answer: Response, request: Request, name: str, value: str) -> None:
    """Keep a taste in this browser: the light, the units, the language; an empty one is forgotten."""
    kept: dict[str, Any] = {"path": "/", "httponly": True, "samesite": "lax", "secure": request.url.scheme == "https"}
    if value:
        answer.set_cookie(cookie_name(request, name), value, max_age=400 * 86400, **kept)
    else:
        answer.delete_cookie(cookie_name(request, name), **kept)


def let_in(answer: Response, request: Request, opened: accounts.Opened) -> Response:
    """Set the session's cookie: no script reads it, no other site's form carries it."""
    answer.set_cookie(
        cookie_name(request), opened.secret, max_age=accounts.SIGNED_IN_D * 86400, path="/", httponly=True,
        samesite="lax", secure=request.url.scheme == "https",
    )  # fmt: skip
    return answer


def let_out(answer: Response, request: Request) -> Response:
    """Forget the session's cookie."""
    answer.delete_cookie(
        cookie_name(request), path="/", httponly=True, samesite="lax", secure=request.url.scheme == "https"
    )
    return answer


def open_for(request: Request, account: Account) -> accounts.Opened:
    """A session for this browser, always a new one; an earlier one of the same browser ends."""
    state = request.app.state
    old = request.cookies.get(cookie_name(request), "")
    found = accounts.of_session(state.store, state.clock, old) if old else None
    if found is not None:
        state.store.end_sessions(found[0].id, only=found[1].digest)
    words = browser_said(request.headers.get("user-agent", ""))
    return accounts.open_session(state.store, state.clock, account, words, address_of(request))


def browser_said(agent: str) -> str:
    """A browser and its system in two words, as far as they can be told."""
    systems = (("iPhone", "iPhone"), ("iPad", "iPad"), ("Android", "Android"), ("Windows", "Windows"),
               ("Macintosh", "Mac"), ("CrOS", "Chromebook"), ("Linux", "Linux"))  # fmt: skip
    browsers = (("Firefox/", "Firefox"), ("Edg/", "Edge"), ("Chrome/", "Chrome"), ("Safari/", "Safari"))
    system = next((said for mark, said in systems if mark in agent), "")
    browser = next((said for mark, said in browsers if mark in agent), "")
    return " on ".join(x for x in (browser, system) if x) or "a program"


def address_of(request: Request) -> str:
    """From which address somebody asks."""
    return request.client.host if request.client else "?"


def pace_of(request: Request) -> str:
    """Whose tries are counted together."""
    return one_house(address_of(request))


def one_house(where: str) -> str:
    """An address, or the /64 that one house has of IPv6 (RFC 6177)."""
    try:
        found = ipaddress.ip_address(where.partition("%")[0])
    except ValueError:
        return where
    if found.version == 4:
        return where
    return str(found.ipv4_mapped or ipaddress.ip_network((int(found) >> 64 << 64, 64)))


def place_of(request: Request) -> Place:
    """Where a passkey is asked for."""
    url = request.url
    return Place(url.hostname or "", f"{url.scheme}://{url.netloc}")


def inside(to: str) -> str:
    """An address on this site to go on to, or the first page: never another host, whatever was sent."""
    try:
        parts = urlsplit(to)
    except ValueError:  # such as //[
        return "/"
    if parts.scheme or parts.netloc or not to.startswith("/") or to[:2] in ("//", "/\\") or "\\" in to:
        return "/"
    if not to.isprintable() or parts.path.startswith(("/sign-", "/come-in")):
        return "/"
    return f"{parts.path}?{parts.query}" if parts.query else parts.path


def for_programs(request: Request) -> bool:
    """Whether a program asks, who wants a status and a word, not a page."""
    path = request.url.path
    return path.startswith(("/api", "/metrics")) or "authorization" in request.headers


def _sign_in(request: Request) -> Response:
    from leadline.web.pages.round import plain_word

    if for_programs(request):
        said = {"schema": "leadline.refused/1", "words": "sign in, or send a token: Authorization: Bearer …"}
        return JSONResponse(said, 401, {"www-authenticate": "Bearer", "cache-control": "no-store"})
    if request.method in ("GET", "HEAD") and "hx-request" not in request.headers:
        to = inside(str(request.url.replace(scheme="", netloc="")))
        return RedirectResponse(f"/sign-in?to={quote(to, safe='')}" if to != "/" else "/sign-in", 303)
    words = _("You are signed out, so nothing was written. Sign in on another page, then send this again.")
    return plain_word(request, words, 401)


def _not_yours(request: Request, right: Right) -> Response:
    from leadline.web.pages.round import plain_word

    said = _RIGHT_SAID.get(right, _("somebody else"))
    if for_programs(request):
        return JSONResponse({"schema": "leadline.refused/1", "words": f"this takes the right of {said}"}, 403)
    return plain_word(request, _("This is for {whom}. Nothing was changed.").format(whom=said), 403)


def may(request: Request, right: Right) -> bool:
    """Whether whoever asks has that right."""
    who: Any = request.app.state.doors.who(request)
    return who is not None and who.right >= right


def sign(request: Request, entry: str) -> None:
    """Note who wrote an entry, where accounts are kept; not of one that stood there before."""
    who = request.app.state.doors.who(request)
    if who is not None and who.account and entry:
        request.app.state.store.sign_entry(entry, who.account, getattr(request.state, "newest", 0))


def may_change(request: Request, entry: str) -> bool:
    """Whether whoever asks may correct an entry or take it back: a keeper any, a sitter their own."""
    who = request.app.state.doors.who(request)
    if who is None or who.right < Right.LOG:
        return False
    return who.right >= Right.KEEP or request.app.state.store.authors([entry]).get(entry) == who.account


def only_own(request: Request, entry: str) -> None:
    """Refuse to change what somebody else wrote.

    Raises
    ------
    BadInput
    """
    if not may_change(request, entry):
        raise BadInput(
            _("somebody else wrote this entry"), way_out=_("A keeper can change it; or write a note beside it.")
        )
