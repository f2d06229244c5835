"""Accounts, their passkeys and sessions, secret addresses, and what happened at the door."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from collections.abc import Sequence
from typing import Any

from leadline.app.ports import Account, DoorEvent, Pass, Passkey, Session
from leadline.measures.errors import BadInput
from leadline.store.file import DatabaseFile
from leadline.store.rows import from_us, to_us

_ACCOUNT = "id, name, role, hash, made_at, closed_at, wishes"
_PASSKEY = "id, account, public_key, uses, name, made_at, used_at"
_SESSION = "digest, account, made_at, seen_at, ends_at, words"
_PASS = "digest, kind, account, name, target, made_at, ends_at, used_at"
_EVENTS_KEPT = 2_000
_REFUSED = ("wrong passphrase", "passkey refused")


class Accounts(DatabaseFile):
    """The part of the store that knows who may come in."""

    def add_account(self, account: Account) -> None:
        """A new account.

        Raises
        ------
        BadInput
            When its id is taken.
        """
        with self._write() as db:
            try:
                db.execute(f"INSERT INTO account ({_ACCOUNT}) VALUES (?, ?, ?, ?, ?, ?, ?)", _account_row(account))
            except sqlite3.IntegrityError as exc:
                raise BadInput(f"there is an account {account.id!r} already", way_out="Choose another name.") from exc

    def keep_account(self, account: Account) -> None:
        """An account as it is now."""
        with self._write() as db:
            db.execute(f"REPLACE INTO account ({_ACCOUNT}) VALUES (?, ?, ?, ?, ?, ?, ?)", _account_row(account))

    def accounts(self) -> list[Account]:
        """All accounts, closed ones too, by id."""
        with self._read() as db:
            return list(map(_account, db.execute(f"SELECT {_ACCOUNT} FROM account ORDER BY id")))

    def account(self, id: str) -> Account | None:
        """The account with that id."""
        with self._read() as db:
            row = db.execute(f"SELECT {_ACCOUNT} FROM account WHERE id = ?", (id,)).fetchone()
        return None if row is None else _account(row)

    # passkeys

    def keep_passkey(self, key: Passkey) -> None:
        """A passkey, new or as it is after a use."""
        with self._write() as db:
            db.execute(
                f"REPLACE INTO passkey ({_PASSKEY}) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (key.id, key.account, key.public_key, key.uses, key.name, to_us(key.made_at), _us(key.used_at)),
            )

    def passkeys(self, account: str | None = None) -> list[Passkey]:
        """Passkeys of one account, or all, the oldest first."""
        with self._read() as db:
            rows = db.execute(
                f"SELECT {_PASSKEY} FROM passkey WHERE ?1 IS NULL OR account = ?1 ORDER BY made_at, id", (account,)
            ).fetchall()
        return [Passkey(r[0], r[1], r[2], r[3], r[4], from_us(r[5]), _moment(r[6])) for r in rows]

    def drop_passkey(self, id: str, account: str) -> bool:
        """Forget a passkey; False when the account has none of that id."""
        with self._write() as db:
            return bool(db.execute("DELETE FROM passkey WHERE id = ? AND account = ?", (id, account)).rowcount)

    # sessions

    def keep_session(self, session: Session) -> None:
        """A session, new or seen again."""
        s = session
        with self._write() as db:
            db.execute(
                f"REPLACE INTO session ({_SESSION}) VALUES (?, ?, ?, ?, ?, ?)",
                (s.digest, s.account, to_us(s.made_at), to_us(s.seen_at), to_us(s.ends_at), s.words),
            )

    def session(self, digest: str) -> Session | None:
        """The session under that digest, ended or not."""
        with self._read() as db:
            row = db.execute(f"SELECT {_SESSION} FROM session WHERE digest = ?", (digest,)).fetchone()
        return None if row is None else _session(row)

    def sessions(self, account: str) -> list[Session]:
        """Sessions of an account, the last seen first."""
        with self._read() as db:
            found = db.execute(f"SELECT {_SESSION} FROM session WHERE account = ? ORDER BY seen_at DESC", (account,))
            return list(map(_session, found))

    def end_sessions(self, account: str, keep: str = "", only: str = "") -> int:
        """End an account's sessions: all but `keep`, or `only` one."""
        with self._write() as db:
            return db.execute(
                "DELETE FROM session WHERE account = ? AND digest <> ? AND (? = '' OR digest = ?)",
                (account, keep, only, only),
            ).rowcount

    def end_old_sessions(self, now: dt.datetime) -> int:
        """Forget the sessions whose end has passed."""
        with self._write() as db:
            return db.execute("DELETE FROM session WHERE ends_at <= ?", (to_us(now),)).rowcount

    # secret addresses and tokens

    def keep_pass(self, given: Pass) -> None:
        """A pass, new or used."""
        p = given
        with self._write() as db:
            db.execute(
                f"REPLACE INTO pass ({_PASS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (p.digest, p.kind, p.account, p.name, p.target, to_us(p.made_at), _us(p.ends_at), _us(p.used_at)),
            )

    def find_pass(self, digest: str) -> Pass | None:
        """The pass under that digest, ended or not."""
        with self._read() as db:
            row = db.execute(f"SELECT {_PASS} FROM pass WHERE digest = ?", (digest,)).fetchone()
        return None if row is None else _pass(row)

    def passes(self, kind: str | None = None, account: str | None = None) -> list[Pass]:
        """Passes of a kind, of an account, or all, the newest first."""
        with self._read() as db:
            found = db.execute(
                f"SELECT {_PASS} FROM pass WHERE (?1 IS NULL OR kind = ?1) AND (?2 IS NULL OR account = ?2)"
                " ORDER BY made_at DESC, digest",
                (kind, account),
            )
            return list(map(_pass, found))

    def drop_pass(self, digest: str) -> bool:
        """Forget a pass; False when there is none."""
        with self._write() as db:
            return bool(db.execute("DELETE FROM pass WHERE digest = ?", (digest,)).rowcount)

    # who wrote what

    def newest_seq(self) -> int:
        """The place of the newest entry of all in the order of entry; 0 when there is none."""
        with self._read() as db:
            return int(db.execute("SELECT ifnull(max(seq), 0) FROM entry").fetchone()[0])

    def sign_entry(self, entry: str, account: str, after: int = 0) -> None:
        """Note who wrote an entry, if it came `after` that place; the first who did stands."""
        with self._write() as db:
            db.execute(
                "INSERT INTO author SELECT ?1, ?2 WHERE EXISTS (SELECT 1 FROM entry WHERE id = ?1 AND seq > ?3)"
                " ON CONFLICT (entry) DO NOTHING",
                (entry, account, after),
            )

    def authors(self, entries: Sequence[str]) -> dict[str, str]:
        """Who wrote each of some entries, as far as that is known."""
        found: dict[str, str] = {}
        with self._read() as db:
            for start in range(0, len(entries), 500):
                some = entries[start : start + 500]
                marks = ", ".join("?" * len(some))
                found.update(db.execute(f"SELECT entry, account FROM author WHERE entry IN ({marks})", some).fetchall())
        return found

    # what happened

    def door_happened(self, event: DoorEvent) -> None:
        """Note what happened at the door; the last two thousand are kept, and as many refusals apart from them:
        whoever knocks on and on must not push out what else happened."""
        refused = f"what IN ({', '.join('?' * len(_REFUSED))})"
        sort = refused if event.what in _REFUSED else f"NOT {refused}"
        with self._write() as db:
            db.execute(
                "INSERT INTO door_event (at, what, account, origin) VALUES (?, ?, ?, ?)",
                (to_us(event.at), event.what, event.account, event.origin),
            )
            db.execute(
                f"DELETE FROM door_event WHERE {sort} AND seq <= (SELECT seq FROM door_event WHERE {sort}"
                " ORDER BY seq DESC LIMIT 1 OFFSET ?)",
                (*_REFUSED, *_REFUSED, _EVENTS_KEPT),
            )

    def came_from(self, account: str, origin: str) -> bool:
        """Whether somebody has signed in to that account from that address, as far as it is noted."""
        with self._read() as db:
            found = db.execute(
                "SELECT 1 FROM door_event WHERE what = 'signed in' AND account = ? AND origin = ? LIMIT 1",
                (account, origin[:60]),
            )
            return found.fetchone() is not None

    def door_events(self, most: int = 50) -> list[DoorEvent]:
        """What happened at the door, the newest first."""
        with self._read() as db:
            found = db.execute("SELECT at, what, account, origin FROM door_event ORDER BY seq DESC LIMIT ?", (most,))
            return [DoorEvent(from_us(r[0]), r[1], r[2], r[3]) for r in found]


def _account_row(a: Account) -> tuple[Any, ...]:
    wishes = json.dumps(dict(a.wishes), ensure_ascii=False, sort_keys=True)
    return (a.id, a.name, a.role, a.hash, to_us(a.made_at), _us(a.closed_at), wishes)


def _account(r: Sequence[Any]) -> Account:
    return Account(r[0], r[1], r[2], r[3], from_us(r[4]), _moment(r[5]), json.loads(r[6]))


def _session(r: Sequence[Any]) -> Session:
    return Session(r[0], r[1], from_us(r[2]), from_us(r[3]), from_us(r[4]), r[5])


def _pass(r: Sequence[Any]) -> Pass:
    return Pass(r[0], r[1], r[2], r[3], r[4], from_us(r[5]), _moment(r[6]), _moment(r[7]))


def _us(moment: dt.datetime | None) -> int | None:
    return None if moment is None else to_us(moment)


def _moment(us: int | None) -> dt.datetime | None:
    return None if us is None else from_us(us)
