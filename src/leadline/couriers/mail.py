"""Mail by plain SMTP: one message to one person, and what the server said to it."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import re
import smtplib
import socket
from email.errors import MessageError, NonASCIILocalPartDefect
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from leadline.app.ports import Outgoing, Receipt, Undelivered
from leadline.couriers import attempt
from leadline.measures.moments import Clock
from leadline.system.orders import MailPath

OURS = "leadline."  # how the left half of our Message-IDs begins: a reply never carries it as its own
_LOUD = {"urgent": "1 (Highest)", "high": "2 (High)"}
_SUBJECT_LIMIT = 150


class Mail:
    """A courier for one mail path. `reply_to` is the mailbox whose replies acknowledge."""

    def __init__(
        self,
        path: MailPath,
        password: str,
        clock: Clock,
        *,
        reply_to: str = "",
        timeout_s: float = attempt.TIMEOUT_S,
        limit_s: float = attempt.LIMIT_S,
    ) -> None:
        self.path = path
        self.clock = clock
        self.reply_to = reply_to
        self.timeout_s = timeout_s
        self.limit_s = limit_s
        self._password = password
        self._where = f"path {path.id}"
        self._place = f"{path.host}:{path.port}"

    def send(self, message: Outgoing) -> Receipt:
        """Hand the message to the server, once.

        Raises
        ------
        Undelivered
            When the server did not say that it has it.
        """
        letter = self.letter(message)
        return attempt.within(self.limit_s, lambda: self._hand_over(letter), self._where)

    def letter(self, message: Outgoing) -> EmailMessage:
        """The message as mail: plain text, and headers that hold nothing but what we put there."""
        letter = EmailMessage(policy=SMTP)
        sender = self._address(self.path.sender, "from")
        letter["From"] = sender
        letter["To"] = self._address(self.path.to, "to")
        if self.reply_to:
            letter["Reply-To"] = self._address(self.reply_to, "reply-to")
        # the library would read an encoded word (RFC 2047) and write what it holds as it stands, line ends included
        subject = attempt.one_line(message.subject, _SUBJECT_LIMIT).replace("=?", "= ?")
        code = attempt.one_line(message.code, 40).replace("=?", "= ?")
        letter["Subject"] = f"{subject} [{code}]" if code else subject
        letter["Date"] = format_datetime(self.clock.now())
        # a duplicate has the same one; the same message by another path has not, or a mail program would hide it
        letter["Message-ID"] = f"<{OURS}{_word(message.id)}.{_word(self.path.id)}@{_domain(sender)}>"
        letter["Auto-Submitted"] = "auto-generated"
        if message.priority in _LOUD:
            letter["X-Priority"] = _LOUD[message.priority]
            letter["Importance"] = "high"
        text = attempt.whole_text(message)
        if code and code not in text:
            text += f"\n\nOr reply to this mail and leave [{code}] in its subject."
        letter.set_content(text + "\n", subtype="plain", charset="utf-8", cte="quoted-printable")
        return letter

    # -- the way to the server ---------------------------------------------------------------------

    def _hand_over(self, letter: EmailMessage) -> Receipt:
        server: smtplib.SMTP | None = None
        try:
            server = self._connected()
            receipt = self._given(server, letter)
            with contextlib.suppress(
                OSError, smtplib.SMTPException
            ):  # it has the mail: a rough good-bye changes nothing
                server.quit()
            return receipt
        except smtplib.SMTPResponseException as exc:
            raise self._refused("the server", exc.smtp_code, exc.smtp_error) from None
        except smtplib.SMTPServerDisconnected as exc:
            late = "timed out" in str(exc)  # the library tells both by one name
            why = "does not answer" if late else "broke the connection off before it said that it has the mail"
            raise self._failed(f"{self._place} {why}") from None
        except smtplib.SMTPException as exc:
            raise self._failed(f"{self._place}: {self._said(str(exc))}", permanent=True) from None
        except UnicodeError:
            raise self._failed(
                "a host name or address with letters that cannot be sent", permanent=True,
                way_out="Write it in plain letters.",
            ) from None  # fmt: skip
        except OSError as exc:
            raise attempt.network_trouble(exc, self._place, self._where) from None
        finally:
            if server is not None:
                server.close()

    def _connected(self) -> smtplib.SMTP:
        path = self.path
        if path.user and not self._password:
            raise self._failed(
                f"no password for {path.user}", permanent=True, way_out="Give it with: leadline watch secret NAME"
            )
        if path.user and path.tls not in ("tls", "starttls") and not attempt.is_here(path.host):
            raise self._failed(
                f"the password would go to {self._place} for all to read", permanent=True,
                way_out='Write tls = "starttls" or tls = "tls".',
            )  # fmt: skip
        # a name of ours is given, or the library asks the resolver for one, without a limit on the time
        if path.tls == "tls":
            context = attempt.tls_context(path.ca_file, self._where)
            server: smtplib.SMTP = smtplib.SMTP_SSL(
                path.host, path.port, local_hostname="localhost", timeout=self.timeout_s, context=context
            )
        else:
            server = smtplib.SMTP(path.host, path.port, local_hostname="localhost", timeout=self.timeout_s)
        try:
            server.local_hostname = _literal(server.sock)
            server.ehlo_or_helo_if_needed()
            if path.tls == "starttls":
                if not server.has_extn("starttls"):
                    raise self._failed(
                        f"{self._place} offers no STARTTLS, and nothing is sent in the clear", permanent=True,
                        way_out='If its port speaks TLS from the first byte, write tls = "tls".',
                    )  # fmt: skip
                server.starttls(context=attempt.tls_context(path.ca_file, self._where))
                server.ehlo_or_helo_if_needed()
            if path.user:
                self._log_in(server)
        except BaseException:
            server.close()
            raise
        return server

    def _log_in(self, server: smtplib.SMTP) -> None:
        if not server.has_extn("auth"):
            raise self._failed(
                f"{self._place} offers no way to log in", permanent=True, way_out="Check its port, or leave user out."
            )
        try:
            if self._password.isascii() and self.path.user.isascii():
                server.login(self.path.user, self._password)
                return
            # RFC 4616 says UTF-8; the library's own login takes ASCII alone
            pair = f"\0{self.path.user}\0{self._password}".encode()
            code, words = server.docmd("AUTH", "PLAIN " + base64.b64encode(pair).decode())
            if code != 235:
                raise smtplib.SMTPAuthenticationError(code, words)
        except smtplib.SMTPResponseException as exc:
            raise self._refused(
                f"the login of {self.path.user}", exc.smtp_code, exc.smtp_error, "Check user and password."
            ) from None
        except smtplib.SMTPServerDisconnected:
            raise
        except smtplib.SMTPException:
            raise self._failed(f"{self._place} and we know no common way to log in", permanent=True) from None

    def _given(self, server: smtplib.SMTP, letter: EmailMessage) -> Receipt:
        sender = letter["From"].addresses[0].addr_spec
        to = letter["To"].addresses[0].addr_spec
        options: list[str] = []
        policy = SMTP
        if not (sender + to).isascii():
            if not server.has_extn("smtputf8"):
                raise self._failed(
                    f"{self._place} takes no address with letters such as those in {to}", permanent=True,
                    way_out="Use an address in plain letters.",
                )  # fmt: skip
            options, policy = ["SMTPUTF8", "BODY=8BITMIME"], SMTP.clone(utf8=True)
        for what, (code, words) in (
            ("the sender", server.mail(sender, options)),
            ("the recipient", server.rcpt(to)),
        ):
            if code // 100 != 2:
                raise self._refused(f"{what} {sender if what == 'the sender' else to}", code, words)
        code, words = server.data(letter.as_bytes(policy=policy))
        if code // 100 != 2:
            raise self._refused("the mail", code, words)
        return Receipt("handed-over", f"{self._place} said {code} {self._said(words)}".rstrip())

    # -- words -------------------------------------------------------------------------------------

    def _said(self, words: str | bytes) -> str:
        user, password = self.path.user, self._password
        return attempt.said(words, (password, f"\0{user}\0{password}", f"{user}:{password}") if password else ())

    def _failed(self, what: str, *, permanent: bool = False, way_out: str = "") -> Undelivered:
        return Undelivered(what, permanent=permanent, where=self._where, way_out=way_out)

    def _refused(self, what: str, code: int, words: str | bytes, way_out: str = "") -> Undelivered:
        permanent = code // 100 == 5
        answer = f"{code} {self._said(words)}".strip() if code > 0 else "with no number"
        refused = f"{self._place} refused {what}" if permanent else f"{self._place} put {what} off"
        return self._failed(
            f"{refused}: it said {answer}" if what != "the server" else f"{self._place} said {answer}",
            permanent=permanent, way_out=way_out if permanent else "",
        )  # fmt: skip

    def _address(self, text: str, key: str) -> Address:
        """One address as it may stand in a header."""
        probe = EmailMessage(policy=SMTP)
        found: tuple[Address, ...] = ()
        # the library's reader of addresses stumbles over some nonsense in ways of its own
        with contextlib.suppress(ValueError, IndexError, AttributeError, TypeError, MessageError):
            if attempt.one_line(text, len(text) + 1) == text.strip() and "=?" not in text:
                probe["To"] = text
                wrong = [d for d in probe["To"].defects if not isinstance(d, NonASCIILocalPartDefect)]
                found = () if wrong else probe["To"].addresses
        if len(found) != 1 or not found[0].username or not found[0].domain:
            raise self._failed(
                f"{key} = {attempt.one_line(text, 80)!r} is no mail address", permanent=True,
                way_out=f'Write {key} = "name@mail.example".',
            )  # fmt: skip
        return found[0]


def _word(ident: str) -> str:
    """An id as the left half of a Message-ID."""
    if re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,99}", ident):
        return ident
    return hashlib.sha256(ident.encode("utf-8", "backslashreplace")).hexdigest()[:40]


def _domain(sender: Address) -> str:
    return sender.domain if re.fullmatch(r"[A-Za-z0-9.-]{1,200}", sender.domain) else "leadline.invalid"


def _literal(bound: socket.socket | None) -> str:
    """How we name ourselves to a server: our address, as RFC 5321 4.1.3 writes it."""
    address = bound.getsockname()[0] if bound is not None else "127.0.0.1"
    return f"[IPv6:{address}]" if ":" in address else f"[{address}]"
