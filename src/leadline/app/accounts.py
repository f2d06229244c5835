"""Who may come in: accounts, passphrases, invitations, sessions, tokens of programs, shared pages."""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import re
import secrets
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from urllib.parse import unquote

from leadline.app.ports import Account, DoorEvent, Pass, Session, Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock
from leadline.measures.words import DECIMALS, N_

if TYPE_CHECKING:
    from argon2 import PasswordHasher

ROLES = ("owner", "keeper", "sitter", "reader")  # each may do less than the one before
ROLE_SAID = {
    "owner": N_("everything, people too"),
    "keeper": N_("everything but people"),
    "sitter": N_("sees all, logs, answers alarms; changes nothing else"),
    "reader": N_("sees all, writes nothing"),
}
PROGRAM_RIGHTS = ("view", "log", "keep")
_LOOKED_AT = 24  # characters at either end of a passphrase that say how hard it is
LEAST, MOST = 12, 512  # characters of a passphrase (OWASP ASVS 4.0.3, 2.1.1 and 2.1.2)
INVITED_D, IDLE_D, SIGNED_IN_D = 7, 30, 180
SHARES_D = (1, 7, 30)
SHAREABLE = ("/system/", "/course/", "/why/", "/week", "/trace", "/livestock", "/journal")
_UNSHARED = (".csv", ".json", "/livestock/photo")
_SEEN_ANEW = dt.timedelta(minutes=10)  # a session's last use is written at most so often
UNITS = ("", "metric", "us")
_TAG = re.compile(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8}){0,3}")  # as much of BCP 47 as a catalogue is named by

# what somebody who knows this program would try beside the common ones
_TRIED_HERE = (
    "leadline",
    "aquarium",
    "saltwater",
    "seawater",
    "coralreef",
    "coral",
    "reef",
    "passphrase",
    "passwort",
    "qwertzuiop",
)
_HARD = 3  # of zxcvbn's 0 to 4: more than 10^8 guesses


@dataclass(frozen=True, slots=True)
class Opened:
    """A session just opened: its secret goes to the browser and is kept nowhere else."""

    account: Account
    secret: str


def digest(secret: str) -> str:
    """What is kept of a secret: it holds 256 random bits, so a plain hash can't be guessed back."""
    return hashlib.sha256(secret.encode()).hexdigest()


def nobody_yet(store: Store) -> bool:
    """Whether no owner was ever made: the first start."""
    return not any(a.role == "owner" and a.closed_at is None for a in store.accounts())


def named(store: Store, name: str) -> Account:
    """The open account of that id or name.

    Raises
    ------
    UnknownName
    """
    wanted = name.strip().casefold()
    there = [a for a in store.accounts() if a.closed_at is None]
    for a in sorted(there, key=lambda a: a.id != wanted):  # an id before a name that looks like it
        if wanted in (a.id, _same(a.name)) or _same(name) == _same(a.name):
            return a
    raise UnknownName("account", _plain(name), [a.id for a in there])


def _plain(name: str) -> str:
    """A name without signs that nobody sees or that steer a terminal."""
    seen = "".join(c if c.isprintable() else " " for c in unicodedata.normalize("NFC", name))
    return " ".join(seen.split())[:60]


def _same(name: str) -> str:
    """What two names have in common that look alike."""
    return unicodedata.normalize("NFKC", _plain(name)).casefold()


def make(store: Store, clock: Clock, name: str, role: str, passphrase: str = "") -> Account:
    """A new account; without a passphrase it is opened by a passkey that is added next.

    Raises
    ------
    BadInput
        When the name is empty or taken, the role unknown, the passphrase too weak.
    """
    name = _name(name)
    known_role(role)
    hashed = _hashed(passphrase, name) if passphrase else ""
    with store.together():
        return _added(store, clock, name, role, hashed)


def _name(name: str) -> str:
    name = _plain(name)
    if not name:
        raise BadInput("an account needs a name", way_out="Type the name by which the house knows you.")
    return name


def _added(store: Store, clock: Clock, name: str, role: str, hashed: str) -> Account:
    """Inside a transaction: the account, under a name that no other has, nor has as its id."""
    there = store.accounts()
    if any(_same(name) in (_same(a.name), a.id) for a in there if a.closed_at is None):
        raise BadInput(f"there is an account of {name!r} already", way_out="Choose another name.")
    ids = {a.id for a in there}
    account = Account(next(i for i in _numbered(_ident(name)) if i not in ids), name, role, hashed, clock.now())
    store.add_account(account)
    happened(store, clock, f"account made: {role}", account.id)
    if role == "owner":  # the address of the first start has done its work, whoever has seen it
        _drop_first(store)
    return account


def known_role(role: str) -> str:
    """That role, if it is one."""
    if role not in ROLES:
        raise UnknownName("role", role[:40], ROLES)
    return role


def _ident(name: str) -> str:
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40] or "account"


def _numbered(ident: str) -> Iterator[str]:
    yield ident
    n = 2
    while True:
        yield f"{ident}-{n}"
        n += 1


# -- passphrases ---------------------------------------------------------------------------------------


@functools.cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher

    return PasswordHasher()  # argon2id, the second set of RFC 9106 section 4: 64 MiB, three passes, four lanes


def good_enough(passphrase: str, name: str = "") -> None:
    """Refuse a passphrase that is short or would be tried first, by the estimate of Wheeler (2016), USENIX Security 25.

    Raises
    ------
    BadInput
    """
    plain = unicodedata.normalize("NFKC", passphrase)
    if len(plain) < LEAST:
        raise BadInput(
            f"a passphrase has at least {LEAST} characters, this has {len(plain)}",
            way_out="Four or five plain words are easy to keep in mind.",
        )
    if len(plain) > MOST:
        raise BadInput(f"a passphrase has at most {MOST} characters", way_out="Shorten it.")
    from zxcvbn import zxcvbn  # it carries the common passphrases and the ways in which they are varied

    near = [*_TRIED_HERE, *re.split(r"\W+", name.casefold()), _ident(name).replace("-", "")]
    bare = re.sub(r"[^a-z]", "", plain.casefold())
    worn = sorted((w for w in near if len(w) > 3), key=len, reverse=True)
    left = functools.reduce(lambda rest, word: rest.replace(word, ""), worn, bare)
    ends = {plain[:_LOOKED_AT], plain[-_LOOKED_AT:]}  # its time grows fast with the length
    hard = max(zxcvbn(end, user_inputs=[w for w in near if w], max_length=_LOOKED_AT)["score"] for end in ends)
    if hard < _HARD or (left != bare and len(left) < 4):
        raise BadInput("that passphrase would be among the first tried", way_out="Take words that are yours alone.")


def _hashed(passphrase: str, name: str) -> str:
    good_enough(passphrase, name)
    return _hasher().hash(unicodedata.normalize("NFKC", passphrase))


@functools.cache
def _nobodys() -> str:
    return _hasher().hash(secrets.token_urlsafe(24))


def opens(account: Account | None, passphrase: str) -> bool:
    """Whether a passphrase opens an account. It takes as long for an account that is not there. Slow on purpose."""
    from argon2.exceptions import InvalidHashError, VerificationError

    there = account is not None and account.closed_at is None and bool(account.hash)
    nobodys = _nobodys()  # made at the first try of all, whoever it is for
    kept = account.hash if account is not None and there else nobodys
    try:
        return _hasher().verify(kept, unicodedata.normalize("NFKC", passphrase[: 4 * MOST])) and there
    except (VerificationError, InvalidHashError):
        return False


def change_passphrase(store: Store, clock: Clock, account: Account, passphrase: str) -> Account:
    """Another passphrase; every browser that is signed in must sign in again."""
    hashed = _hashed(passphrase, account.name)
    with store.together():
        return _rekeyed(store, clock, account, hashed)


def _rekeyed(store: Store, clock: Clock, account: Account, hashed: str) -> Account:
    """Inside a transaction: the account as it is by now, or a role taken away meanwhile would come back."""
    changed = replace(_now(store, account), hash=hashed)
    store.keep_account(changed)
    store.end_sessions(account.id)
    happened(store, clock, "passphrase changed", account.id)
    return changed


def _now(store: Store, account: Account) -> Account:
    found = store.account(account.id)
    if found is None or found.closed_at is not None:
        raise BadInput(f"the account of {account.name} is closed", way_out="Ask the owner for an invitation.")
    return found


# -- what becomes of an account ------------------------------------------------------------------------


def give_role(store: Store, clock: Clock, ident: str, role: str) -> Account:
    """Another role; there is always an owner left."""
    known_role(role)
    with store.together():
        account = named(store, ident)
        if account.role == "owner" and role != "owner":
            _another_owner(store, account)
        changed = replace(account, role=role)
        store.keep_account(changed)
        happened(store, clock, f"role: {role}", account.id)
    return changed


def close(store: Store, clock: Clock, ident: str) -> Account:
    """Close an account: its sessions end, its keys and passes go; what it wrote stays."""
    with store.together():
        account = named(store, ident)
        if account.role == "owner":
            _another_owner(store, account)
        closed = replace(account, closed_at=clock.now(), hash="")
        store.keep_account(closed)
        store.end_sessions(account.id)
        for key in store.passkeys(account.id):
            store.drop_passkey(key.id, account.id)
        for p in store.passes(account=account.id):
            store.drop_pass(p.digest)
        happened(store, clock, "account closed", account.id)
    return closed


def _another_owner(store: Store, account: Account) -> None:
    if not any(a.role == "owner" and a.closed_at is None and a.id != account.id for a in store.accounts()):
        raise BadInput(f"{account.name} is the only owner", way_out="Make somebody else an owner first.")


def wish(store: Store, account: Account, wishes: Mapping[str, str]) -> Account:
    """What somebody's pages should be like.

    `units` is metric, us or empty (as each system says); `language` a tag of BCP 47, or empty (as the browser asks);
    `decimal` the mark between whole and part, a point, a comma or empty (as the language has it).
    Which languages there are, the pages know: one that is gone is said in English.
    """
    units = wishes.get("units", account.wishes.get("units", ""))
    if units not in UNITS:
        raise UnknownName("units", units[:20], ("metric", "us"))
    language = wishes.get("language", "")
    if language and not _TAG.fullmatch(language):
        raise BadInput(f"{language[:20]!r} is no language", way_out="Give its tag, such as en or pt-BR.")
    decimal = wishes.get("decimal", "")
    if decimal not in ("", *DECIMALS):
        raise UnknownName("decimal mark", decimal[:20], DECIMALS)
    with store.together():
        account = _now(store, account)
        changed = replace(account, wishes={**account.wishes, **wishes})
        store.keep_account(changed)
    return changed


# -- invitations ---------------------------------------------------------------------------------------


def invite(store: Store, clock: Clock, name: str, role: str, *, account: str = "") -> str:
    """A secret that makes an account once, within a week; with `account` it opens that one anew.

    Whoever holds it chooses the passphrase: the owner never knows it.
    """
    known_role(role)
    name = _plain(name)
    if account:
        there = named(store, account)
        name, role = there.name, there.role
    secret, now = secrets.token_urlsafe(24), clock.now()
    ends = now + dt.timedelta(days=INVITED_D)
    with store.together():
        store.keep_pass(Pass(digest(secret), "invitation", account, name, role, now, ends))
        happened(store, clock, f"invited: {role}", account or name)
    return secret


def first_invitation(store: Store, clock: Clock) -> str | None:
    """At the first start: the secret for the owner's account, in place of any earlier one; None when there is one."""
    if not nobody_yet(store):
        return None
    with store.together():
        _drop_first(store)
        return invite(store, clock, "", "owner")


def _drop_first(store: Store) -> None:
    """End the address of the first start: no other invitation to be an owner is without a name."""
    for p in store.passes("invitation", ""):
        if p.target == "owner" and not p.name:
            store.drop_pass(p.digest)


def invitation(store: Store, clock: Clock, secret: str) -> Pass | None:
    """What an invitation is for; None when it is wrong, used or too old."""
    found = store.find_pass(digest(secret))
    if found is None or found.kind != "invitation" or found.used_at is not None or _over(found, clock):
        return None
    return found


def come_in(store: Store, clock: Clock, secret: str, name: str, passphrase: str) -> Account:
    """An invitation is taken up: an account with its passphrase, or a known one with a new passphrase.

    Raises
    ------
    BadInput
    """
    found = invitation(store, clock, secret)
    if found is None:
        raise _used_up()
    again = named(store, found.account) if found.account else None
    name = again.name if again else _name(name or found.name)
    hashed = _hashed(passphrase, name)  # slow, so not while others wait for the store
    with store.together():
        taken_up(store, clock, secret)
        if again is not None:
            return _rekeyed(store, clock, again, hashed)
        return _added(store, clock, name, found.target, hashed)


def _used_up() -> BadInput:
    return BadInput("this invitation was used, or is too old", way_out="Ask for another.")


def taken_up(store: Store, clock: Clock, secret: str) -> Pass:
    """Inside a transaction: the invitation is used up. Of two who hold it one comes in.

    Raises
    ------
    BadInput
    """
    found = invitation(store, clock, secret)
    if found is None or not store.drop_pass(found.digest):
        raise _used_up()
    return found


def _over(p: Pass, clock: Clock) -> bool:
    return p.ends_at is not None and clock.now() >= p.ends_at


# -- sessions ------------------------------------------------------------------------------------------


def open_session(store: Store, clock: Clock, account: Account, words: str, origin: str) -> Opened:
    """A browser is signed in; a secret of its own, always a new one."""
    secret, now = secrets.token_urlsafe(32), clock.now()
    ends = now + dt.timedelta(days=SIGNED_IN_D)
    with store.together():
        store.end_old_sessions(now)
        store.keep_session(Session(digest(secret), account.id, now, now, ends, words[:120]))
        happened(store, clock, "signed in", account.id, origin)
    return Opened(account, secret)


def of_session(store: Store, clock: Clock, secret: str) -> tuple[Account, Session] | None:
    """Whose session it is; None when it has ended, lay idle too long, or the account is closed."""
    session = store.session(digest(secret)) if secret else None
    if session is None:
        return None
    now = clock.now()
    if now >= session.ends_at or now - session.seen_at > dt.timedelta(days=IDLE_D):
        return None
    account = store.account(session.account)
    if account is None or account.closed_at is not None:
        return None
    if store.writable and now - session.seen_at > _SEEN_ANEW:
        session = replace(session, seen_at=now)
        store.keep_session(session)
    return account, session


# -- programs and shared pages -------------------------------------------------------------------------


def program_token(store: Store, clock: Clock, account: Account, name: str, right: str) -> str:
    """A bearer token for a program that acts for somebody, and may do at most as much. Shown once."""
    if right not in PROGRAM_RIGHTS:
        raise UnknownName("right", right[:20], PROGRAM_RIGHTS)
    name = _plain(name)
    if not name:
        raise BadInput("a token needs a name", way_out="Say which program it is for.")
    secret = f"lead_{secrets.token_urlsafe(32)}"
    with store.together():
        store.keep_pass(Pass(digest(secret), "program", account.id, name, right, clock.now()))
        happened(store, clock, f"token made: {name} ({right})", account.id)
    return secret


def of_program(store: Store, clock: Clock, token: str) -> tuple[Account, str] | None:
    """Whose token it is, and its right."""
    found = store.find_pass(digest(token)) if token else None
    if found is None or found.kind != "program" or _over(found, clock):
        return None
    account = store.account(found.account)
    if account is None or account.closed_at is not None:
        return None
    _used_now(store, clock, found)
    return account, found.target


def _used_now(store: Store, clock: Clock, p: Pass) -> None:
    if store.writable and (p.used_at is None or clock.now() - p.used_at > _SEEN_ANEW):
        store.keep_pass(replace(p, used_at=clock.now()))


def shareable(path: str) -> bool:
    """Whether a page can be shown to somebody with a link."""
    if not path.isprintable() or any(x in path for x in ("//", "..", "%", "\\", *_UNSHARED)):
        return False
    return any(path.startswith(x) if x.endswith("/") else f"{path}/".startswith(f"{x}/") for x in SHAREABLE)


def share(store: Store, clock: Clock, account: str, target: str, title: str, days: int) -> str:
    """A secret address that shows one page, to be read only, for some days. Shown once."""
    if days not in SHARES_D:
        raise BadInput(f"a page is shared for {', '.join(map(str, SHARES_D[:-1]))} or {SHARES_D[-1]} days")
    path = unquote(target.partition("?")[0])
    if not shareable(path) or not target.isprintable():
        raise BadInput(f"{_plain(target)!r} is no page to share", way_out="For example /system/north-room.")
    secret, now = secrets.token_urlsafe(24), clock.now()
    with store.together():
        store.keep_pass(
            Pass(digest(secret), "share", account, title[:80], target[:400], now, now + dt.timedelta(days=days))
        )
        happened(store, clock, f"shared for {days} d: {target[:120]}", account)
    return secret


def shared(store: Store, clock: Clock, secret: str) -> Pass | None:
    """The page that a secret address shows; None when it is wrong or over."""
    found = store.find_pass(digest(secret))
    if found is None or found.kind != "share" or _over(found, clock):
        return None
    _used_now(store, clock, found)
    return found


def take_back(store: Store, clock: Clock, mark: str, account: str = "") -> None:
    """End a pass by the beginning of its digest; with `account` only one of theirs."""
    for p in store.passes():
        if p.digest.startswith(mark) and len(mark) >= 12 and (not account or p.account == account):
            with store.together():
                store.drop_pass(p.digest)
                happened(store, clock, f"taken back: {p.kind} {p.name}", p.account)
            return
    raise BadInput("there is no such pass any more", way_out="Reload the page to see what stands.")


def happened(store: Store, clock: Clock, what: str, account: str, origin: str = "") -> None:
    """Note what happened at the door."""
    store.door_happened(DoorEvent(clock.now(), what[:160], account[:60], origin[:60]))
