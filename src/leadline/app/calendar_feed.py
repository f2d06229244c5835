"""Addresses at which a calendar reads what is due: made, listed, taken back. The address itself is the secret."""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import re
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from leadline.app import due
from leadline.app.ports import Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock, iso, parse

FEED_DAYS = due.MOST_DAYS
_FEED, _KEPT = "calendar", "calendar-kept"  # records: what an address is for; what was last read there
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}$")
_FORGET = dt.timedelta(days=60)  # an event that is gone so long may begin anew when it comes back
_EVERY = dt.timedelta(minutes=1)  # that it was read is not written down more often


@dataclass(frozen=True, slots=True)
class Feed:
    """One address: its name, for whom, of which systems (empty: all), and when it was made and last read."""

    name: str
    person: str
    systems: tuple[str, ...]
    made: dt.datetime
    fetched: dt.datetime | None = None


@dataclass(frozen=True, slots=True)
class Shape:
    """An event's uid, and digests of its day, hour and title (`face`) and of all that it says (`whole`)."""

    uid: str
    face: str
    whole: str


@dataclass(frozen=True, slots=True)
class Dated:
    """When each event last changed and how often its face did; when anything of the feed changed."""

    modified: dt.datetime
    of: dict[str, tuple[int, dt.datetime]] = field(default_factory=dict)


def make(
    store: Store, clock: Clock, name: str, person: str = "", systems: Sequence[str] = (), token: str = ""
) -> tuple[Feed, str]:
    """A new address: what it is for, and the secret in it, which is shown once: only its hash is kept.

    Parameters
    ----------
    name
        Where it will be read, such as `phone`; by it the address is taken back.
    person
        Somebody of the standing orders; nobody: for all.
    systems
        Ids; none: all, those that come later too.
    token
        The mark of a form: sent twice it makes one address, and no secret the second time.

    Raises
    ------
    BadInput
        When the name is none, or an address of that name stands.
    UnknownName
        For a person or a system that nobody knows.
    """
    ident = "-".join(name.strip().lower().split())
    if not _NAME.match(ident):
        raise BadInput(
            f"{name!r} is no name for a calendar" if ident else "a calendar without a name",
            way_out="Letters, digits and hyphens, such as phone.",
        )
    known = store.systems()
    for s in systems:
        if s not in known:
            raise UnknownName("system", s, known)
    if person:
        due.somebody(due.orders_of(store), person)
    there = store.records(_FEED)
    if ident in there:
        if token and there[ident].get("token") == token:
            return _read(store, ident, there[ident]), ""
        raise BadInput(
            f"a calendar {ident!r} is there", way_out=f"Choose another name, or: leadline calendar revoke {ident}"
        )
    secret = secrets.token_urlsafe(32)
    kept = {
        "sha256": _hash(secret), "person": person, "systems": list(dict.fromkeys(systems)), "token": token,
        "made": iso(clock.now()),
    }  # fmt: skip
    store.put_record(_FEED, ident, kept)
    return _read(store, ident, kept), secret


def feeds(store: Store) -> list[Feed]:
    """The addresses that stand, by name."""
    return [_read(store, name, kept) for name, kept in sorted(store.records(_FEED).items())]


def revoke(store: Store, name: str) -> None:
    """Take an address back: from now on it leads nowhere.

    Raises
    ------
    UnknownName
        When none of that name stands.
    """
    known = store.records(_FEED)
    if name not in known:
        raise UnknownName("calendar", name, known, way_out="" if known else "None is made yet.")
    with store.together():
        store.put_record(_FEED, name, None)
        store.put_record(_KEPT, name, None)


def find(store: Store, secret: str) -> Feed | None:
    """Whose address it is; None when it is nobody's, or was taken back. Takes the same time whichever it is."""
    given, found = _hash(secret), None
    for name, kept in store.records(_FEED).items():
        if hmac.compare_digest(str(kept.get("sha256", "")), given):
            found = _read(store, name, kept)
    return found


def reach(store: Store, feed: Feed) -> tuple[list[str], str]:
    """The systems and the person that a feed is read for. Who was taken out of the standing orders has no proofs any
    more: `-` stands for them."""
    systems = [s for s in store.systems() if not feed.systems or s in feed.systems]
    gone = feed.person and feed.person not in [p.id for p in due.people(store)]
    return systems, due.NOBODY if gone else feed.person


def read(store: Store, clock: Clock, feed: Feed, shapes: Sequence[Shape]) -> Dated:
    """Note that a feed was read, and compare what it says with what it said: an event that changed is dated now, and
    numbered on where its day, hour or title changed (RFC 5545, 3.8.7.4)."""
    now = clock.now().replace(microsecond=0)
    before = store.record(_KEPT, feed.name) or {}
    lines: dict[str, list[object]] = before.get("lines", {})
    fresh: dict[str, list[object]] = {}
    of: dict[str, tuple[int, dt.datetime]] = {}
    for s in shapes:
        face, whole, number, at = lines.get(s.uid, [s.face, "", 0, ""])
        sequence = int(str(number)) + (1 if face != s.face else 0)
        modified = parse(str(at)) if whole == s.whole else now
        of[s.uid] = sequence, modified
        fresh[s.uid] = [s.face, s.whole, sequence, iso(modified)]
    said = _hash("".join(sorted(s.uid + s.whole for s in shapes)))
    modified = parse(before["modified"]) if before.get("said") == said else now
    fetched = parse(before["fetched"]) if before.get("fetched") else None
    if before.get("said") != said or fetched is None or now - fetched >= _EVERY:
        gone = {u: x for u, x in lines.items() if u not in fresh and now - parse(str(x[3])) < _FORGET}
        kept = {"said": said, "modified": iso(modified), "fetched": iso(now), "lines": {**gone, **fresh}}
        store.put_record(_KEPT, feed.name, kept)
    return Dated(modified, of)


def _read(store: Store, name: str, kept: Mapping[str, object]) -> Feed:
    last = (store.record(_KEPT, name) or {}).get("fetched")
    systems = kept.get("systems")
    return Feed(
        name, str(kept.get("person", "")), tuple(systems) if isinstance(systems, list) else (),
        parse(str(kept["made"])), parse(last) if last else None,
    )  # fmt: skip


def _hash(secret: str) -> str:
    # a secret is 256 random bits: a plain hash of it cannot be guessed back
    return hashlib.sha256(secret.encode(errors="replace")).hexdigest()
