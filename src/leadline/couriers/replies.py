"""Replies by mail: which codes came back, told from automatic answers and bounces, which acknowledge nothing."""

from __future__ import annotations

import base64
import contextlib
import datetime as dt
import email
import email.header
import email.utils
import imaplib
import re
import socket
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from email.errors import MessageError
from email.message import Message
from typing import TypeVar

from leadline.app.ports import Undelivered
from leadline.couriers import attempt
from leadline.couriers.mail import OURS
from leadline.system import orders

_PART = 65_536  # bytes of a mail that are read: a reply's words come first
_AT_ONCE = 200  # mails in one look
_BACK = 5_000  # how far back in the folder the first look goes, in mails

_CODE = re.compile(r"(?<![0-9A-Za-z])([0-9A-Za-z]{5})\s?[-‐‑‒–—−]\s?([0-9A-Za-z]{5})(?![0-9A-Za-z])")
_FOLDED = str.maketrans("OIL", "011")
_CROCKFORD = frozenset("0123456789ABCDEFGHJKMNPQRSTVWXYZ")
_NOBODY = re.compile(r"(mailer-daemon|postmaster|no-?reply|do-?not-?reply)(@|$)", re.IGNORECASE)
_MACHINE_SUBJECT = re.compile(
    r"\s*(auto(matic|mated)?[ -]?(reply|response|matic)|auto:|out of (the )?office|undeliver|delivery (status|failure)"
    r"|mail delivery|returned mail|read:|not read:|delivered:)",
    re.IGNORECASE,
)
_T = TypeVar("_T")
_QUOTE_BEGINS = re.compile(r"\s*(-{3,}.*|_{10,}|-- )$")


@dataclass(frozen=True, slots=True)
class Reply:
    """A mail that a person wrote, with the codes found in it; `uid` and `folder_id` say which mail it is."""

    codes: tuple[str, ...]
    sender: str
    moment: dt.datetime | None
    subject: str
    uid: int = 0
    folder_id: int = 0


def codes_in(text: str) -> list[str]:
    """Reply codes in a text, each once, as `7QK4F-9XM2B`: ten characters of Crockford's base 32 in two groups.

    Small letters count as capitals, O as 0, I and L as 1, and any dash as a hyphen.
    """
    found = []
    for first, second in _CODE.findall(text):
        code = f"{first}-{second}".upper().translate(_FOLDED)
        if set(code) - {"-"} <= _CROCKFORD:
            found.append(code)
    return list(dict.fromkeys(found))


class Replies:
    """A mailbox whose replies acknowledge. Its connection is kept between looks, and made anew when it broke."""

    def __init__(
        self,
        settings: orders.Replies,
        password: str,
        *,
        timeout_s: float = attempt.TIMEOUT_S,
        limit_s: float = attempt.LIMIT_S,
    ) -> None:
        self.settings = settings
        self.timeout_s = timeout_s
        self.limit_s = limit_s
        self._password = password
        self._where = "replies"
        self._place = f"{settings.host}:{settings.port}"
        self._lock = threading.RLock()
        self._session: imaplib.IMAP4 | None = None
        self._folder_id = 0
        self._next = 0  # mails from this one on have come since the last look
        self._first = 1  # the first look goes back to this one
        self._left: set[int] = set()  # too many for one look
        self._done: set[int] = set()  # looked at: of no use, or confirmed
        self._waiting: set[int] = set()  # found, and not confirmed yet

    def fetch(self) -> list[Reply]:
        """Replies that have come since the last look, and those that nobody confirmed yet.

        Raises
        ------
        Undelivered
            When the mailbox cannot be read.
        """
        return attempt.within(self.limit_s, lambda: self._twice(self._look), self._where, self._break_off)

    def confirm(self, replies: Iterable[Reply]) -> None:
        """Mark replies as seen: what they say has been dealt with."""
        given = list(replies)
        if given:
            attempt.within(
                self.limit_s, lambda: self._twice(lambda s: self._mark(s, given)), self._where, self._break_off
            )

    def close(self) -> None:
        """Say good-bye to the server."""
        with self._lock:
            session, self._session = self._session, None
            if session is not None:
                with contextlib.suppress(OSError, imaplib.IMAP4.error):
                    session.logout()
                with contextlib.suppress(OSError):  # a server that is gone takes no good-bye
                    session.shutdown()

    # -- sessions ----------------------------------------------------------------------------------

    def _twice(self, work: Callable[[imaplib.IMAP4], _T]) -> _T:
        """The result of `work`; a kept connection that turns out to be broken gets one successor."""
        with self._lock:
            for kept in (self._session is not None, False):
                try:
                    if self._session is None:
                        self._session = self._opened()
                    return work(self._session)
                except (imaplib.IMAP4.abort, OSError) as exc:
                    self._drop()
                    if kept:
                        continue
                    raise self._broken(exc) from None
                except imaplib.IMAP4.error as exc:
                    self._drop()
                    raise self._failed(f"{self._place} said {self._said(str(exc))}") from None
                except Undelivered:
                    self._drop()
                    raise
            raise AssertionError("unreachable")

    def _break_off(self) -> None:
        """End a look that outlasts its limit, from another thread, so that the next one need not wait for it."""
        session = self._session
        if session is not None:
            with contextlib.suppress(OSError):
                session.sock.shutdown(socket.SHUT_RDWR)

    def _drop(self) -> None:
        session, self._session = self._session, None
        if session is not None:
            with contextlib.suppress(OSError):
                session.shutdown()

    def _broken(self, exc: Exception) -> Undelivered:
        if isinstance(exc, OSError):
            return attempt.network_trouble(exc, self._place, self._where)
        late = "timed out" in str(exc)
        return self._failed(f"{self._place} " + ("does not answer" if late else "broke the connection off"))

    def _opened(self) -> imaplib.IMAP4:
        wanted = self.settings
        if not self._password:
            raise self._failed(
                f"no password for {wanted.user}", permanent=True, way_out="Give it with: leadline watch secret NAME"
            )
        if wanted.tls not in ("tls", "starttls") and not attempt.is_here(wanted.host):
            raise self._failed(
                f"the password would go to {self._place} for all to read", permanent=True,
                way_out='Write tls = "tls" or tls = "starttls".',
            )  # fmt: skip
        try:
            if wanted.tls == "tls":
                context = attempt.tls_context(wanted.ca_file, self._where)
                session: imaplib.IMAP4 = imaplib.IMAP4_SSL(
                    wanted.host, wanted.port, ssl_context=context, timeout=self.timeout_s
                )
            else:
                session = imaplib.IMAP4(wanted.host, wanted.port, timeout=self.timeout_s)
        except UnicodeError:
            raise self._failed(f"{self._place} is no name of a host", permanent=True) from None
        try:
            if wanted.tls == "starttls":
                if "STARTTLS" not in session.capabilities:
                    raise self._failed(
                        f"{self._place} offers no STARTTLS, and nothing is sent in the clear", permanent=True,
                        way_out='If its port speaks TLS from the first byte, write tls = "tls".',
                    )  # fmt: skip
                session.starttls(attempt.tls_context(wanted.ca_file, self._where))
            self._log_in(session)
            self._select(session)
        except BaseException:
            with contextlib.suppress(OSError):
                session.shutdown()
            raise
        return session

    def _log_in(self, session: imaplib.IMAP4) -> None:
        user, password = self.settings.user, self._password
        try:
            if "AUTH=PLAIN" in session.capabilities:
                pair = f"\0{user}\0{password}".encode()
                session.authenticate("PLAIN", lambda _: pair)
            elif (user + password).isascii() and not re.search(r"[\r\n\0]", user + password):
                session.login(user, password)
            else:
                raise self._failed(
                    f"{self._place} takes no password with such letters", permanent=True, way_out="Choose another one."
                )
        except imaplib.IMAP4.abort:
            raise
        except imaplib.IMAP4.error as exc:
            words = str(exc)
            later = "[UNAVAILABLE]" in words or "[INUSE]" in words  # RFC 5530
            raise self._failed(
                f"{self._place} refused the login of {user}: it said {self._said(_plain(words))}",
                permanent=not later, way_out="" if later else "Check user and password.",
            ) from None  # fmt: skip

    def _select(self, session: imaplib.IMAP4) -> None:
        name = modified_utf7(self.settings.folder).replace("\\", "\\\\").replace('"', '\\"')
        state, answer = session.select(f'"{name}"')
        if state != "OK":
            raise self._failed(
                f"{self._place} has no folder {attempt.one_line(self.settings.folder, 60)!r}: it said "
                + self._said(_first(answer)),
                permanent=True, way_out="Check folder under [replies].",
            )  # fmt: skip
        folder_id = _number(session.response("UIDVALIDITY")[1])
        if folder_id != self._folder_id:  # another folder under the same name: numbers mean other mails
            self._folder_id, self._next = folder_id, 0
            self._done, self._waiting, self._left = set(), set(), set()
        if not self._next:
            self._first = max(1, _number(session.response("UIDNEXT")[1]) - _BACK)

    # -- mails -------------------------------------------------------------------------------------

    def _look(self, session: imaplib.IMAP4) -> list[Reply]:
        session.noop()  # or a server may keep new mail to itself
        wanted = self._waiting | self._left | set(_searched(session, f"UNSEEN UID {self._first}:*"))
        if self._next:  # whoever reads their mail before we do must not undo a reply
            wanted |= {uid for uid in _searched(session, f"UID {self._next}:*") if uid >= self._next}
        found = []
        fresh_first = sorted(wanted - self._done, reverse=True)  # a fresh reply comes before an old heap
        self._left = set(fresh_first[_AT_ONCE:])
        for uid in fresh_first[:_AT_ONCE]:
            reply = self._read(session, uid)
            if reply is None:
                self._done.add(uid)
                self._waiting.discard(uid)
            else:
                self._waiting.add(uid)
                found.append(reply)
        if wanted:
            self._next = max(self._next, max(wanted) + 1)
        return found[::-1]

    def _read(self, session: imaplib.IMAP4, uid: int) -> Reply | None:
        state, answer = session.uid("FETCH", str(uid), f"(INTERNALDATE BODY.PEEK[]<0.{_PART}>)")
        parts = [p for p in answer if isinstance(p, tuple)] if state == "OK" else []
        if not parts:
            return None  # gone meanwhile
        moment = re.search(
            rb'INTERNALDATE "([^"]+)"', b" ".join(p if isinstance(p, bytes) else p[0] for p in answer if p)
        )
        return reply_in(parts[0][1], uid, self._folder_id, _moment(moment[1].decode("latin-1") if moment else ""))

    def _mark(self, session: imaplib.IMAP4, replies: Sequence[Reply]) -> None:
        uids = sorted({r.uid for r in replies if r.folder_id == self._folder_id and r.uid})
        for i in range(0, len(uids), 100):
            some = uids[i : i + 100]
            state, answer = session.uid("STORE", ",".join(map(str, some)), "+FLAGS.SILENT", r"(\Seen)")
            if state != "OK":
                raise self._failed(f"{self._place} does not mark replies as seen: it said {self._said(_first(answer))}")
            self._done.update(some)
            self._waiting.difference_update(some)

    # -- words -------------------------------------------------------------------------------------

    def _said(self, words: str | bytes) -> str:
        user, password = self.settings.user, self._password
        return attempt.said(words, (password, f"\0{user}\0{password}"))

    def _failed(self, what: str, *, permanent: bool = False, way_out: str = "") -> Undelivered:
        return Undelivered(what, permanent=permanent, where=self._where, way_out=way_out)


# -- one mail ------------------------------------------------------------------------------------------


def reply_in(raw: bytes, uid: int = 0, folder_id: int = 0, moment: dt.datetime | None = None) -> Reply | None:
    """The reply that the beginning of a mail holds; None when there is no code, or no person behind it."""
    if len(raw) >= _PART and not re.search(rb"\r?\n\r?\n", raw):
        return None  # headers without end: nothing says that a person wrote it
    try:
        letter = email.message_from_bytes(raw)
        return None if is_automatic(letter) else _reply(letter, uid, folder_id, moment)
    except (ValueError, LookupError, TypeError, AttributeError, AssertionError, RecursionError, MessageError):
        return None  # so broken that the library's reader stumbles: no person's mail program wrote that


def _reply(letter: Message, uid: int, folder_id: int, moment: dt.datetime | None) -> Reply | None:
    subject = _header(letter, "Subject")
    codes = codes_in(subject)
    for line in _own_lines(letter):
        codes.extend(codes_in(line))
    if not codes:
        return None
    sender = attempt.one_line(email.utils.parseaddr(_header(letter, "From"))[1], 200)
    return Reply(tuple(dict.fromkeys(codes)), sender, moment, attempt.one_line(subject, 200), uid, folder_id)


def is_automatic(letter: Message) -> bool:
    """Whether a machine wrote a mail: an answer of absence, a bounce, a receipt, a list, or our own mail come round.

    When in doubt it did: a reply that is not counted calls once more, one that is counted wrongly ends the calls.
    """
    if any(_header(letter, "Auto-Submitted", i).split(";")[0].strip().lower() not in ("", "no") for i in range(5)):
        return True
    if _header(letter, "Precedence").strip().lower() in ("bulk", "auto_reply", "junk", "list"):
        return True
    if "Return-Path" in letter and not _header(letter, "Return-Path").strip(" \t\r\n<>"):
        return True
    if any(name in letter for name in ("X-Autoreply", "X-Autorespond", "X-Failed-Recipients", "List-Id")):
        return True
    if letter.get_content_type() in ("multipart/report", "message/delivery-status"):
        return True
    if _header(letter, "Message-ID").strip().startswith(f"<{OURS}"):
        return True
    senders = [email.utils.parseaddr(_header(letter, name))[1] for name in ("From", "Sender", "Return-Path")]
    if any(_NOBODY.match(sender) for sender in senders):
        return True
    return _MACHINE_SUBJECT.match(_header(letter, "Subject")) is not None


def _header(letter: Message, name: str, index: int = 0) -> str:
    """A header's words, whatever was done to them."""
    values = letter.get_all(name) or []
    if index >= len(values):
        return ""
    raw = str(values[index])
    with contextlib.suppress(ValueError, LookupError, MessageError):
        return "".join(_decoded(part, charset) for part, charset in email.header.decode_header(raw))
    return raw


def _decoded(part: bytes | str, charset: str | None) -> str:
    if isinstance(part, str):
        return part
    try:
        return part.decode(charset or "utf-8", "replace")
    except (LookupError, ValueError):  # a name of a charset that nobody knows
        return part.decode("latin-1")


def _own_lines(letter: Message) -> Iterator[str]:
    """Lines that the sender wrote, without what was quoted."""
    for part in letter.walk():
        if part.get_content_type() != "text/plain" or part.get_content_disposition() == "attachment":
            continue
        try:
            content = part.get_payload(decode=True)
        except (ValueError, LookupError, AssertionError):
            continue
        if not isinstance(content, bytes):
            continue
        for line in _decoded(content, part.get_content_charset()).splitlines():
            if _QUOTE_BEGINS.match(line):
                break
            if not line.lstrip().startswith((">", "|")):
                yield line[:1000]


# -- words of IMAP -------------------------------------------------------------------------------------


def modified_utf7(name: str) -> str:
    """A folder's name as IMAP writes it (RFC 3501, section 5.1.3)."""

    def coat(match: re.Match[str]) -> str:
        packed = base64.b64encode(match[0].encode("utf-16-be", "replace")).decode().rstrip("=").replace("/", ",")
        return f"&{packed}-"

    return re.sub(r"[^\x20-\x7e]+", coat, name.replace("&", "&-"))


def _searched(session: imaplib.IMAP4, what: str) -> list[int]:
    state, answer = session.uid("SEARCH", what)
    if state != "OK":
        raise session.error(_plain(_first(answer)))
    return [int(word) for part in answer if part for word in part.split() if word.isdigit()]


def _moment(text: str) -> dt.datetime | None:
    """When the server got the mail, such as `25-Nov-2026 18:59:46 +0100`."""
    with contextlib.suppress(ValueError, TypeError, OverflowError):
        moment = email.utils.parsedate_to_datetime(text.strip())
        return moment.astimezone(dt.UTC) if moment.tzinfo else None
    return None


def _number(answer: Sequence[object]) -> int:
    first = answer[0] if answer else None
    return int(first) if isinstance(first, bytes) and first.isdigit() else 0


def _first(answer: Sequence[object]) -> str:
    first = answer[0] if answer else b""
    return first.decode("utf-8", "replace") if isinstance(first, bytes) else str(first or "")


def _plain(words: str) -> str:
    """Without the marks that Python puts round bytes."""
    return re.sub(r"^b(['\"])(.*)\1$", r"\2", words)
