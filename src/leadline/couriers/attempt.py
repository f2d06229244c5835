"""One attempt: a limit on its time, words that hold no secret, and troubles of a network in plain words."""

from __future__ import annotations

import base64
import ipaddress
import re
import socket
import ssl
import threading
import unicodedata
import urllib.parse
from collections.abc import Callable, Iterable
from typing import TypeVar

from leadline.app.ports import Outgoing, Undelivered

TIMEOUT_S = 20.0  # one answer of a server; judgement
LIMIT_S = 50.0  # the whole attempt: a courier may take up to a minute
HIDDEN = "***"

_BIDI = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")  # they can show words in another order
_T = TypeVar("_T")


def one_line(text: str, limit: int = 160) -> str:
    """Text from outside as one short line: no control character, nothing that turns the writing round."""
    kept = ("" if c in _BIDI else " " if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") else c for c in text)
    line = " ".join("".join(kept).split())
    return line if len(line) <= limit else line[: limit - 1].rstrip() + "…"


def many_lines(text: str) -> str:
    """Text from outside as lines: no control character but the line's end, nothing that turns the writing round."""
    kept = []
    for c in text.replace("\r\n", "\n").replace("\r", "\n").replace("\u2028", "\n").replace("\u2029", "\n"):
        if c == "\n" or unicodedata.category(c) not in ("Cc", "Cs"):
            kept.append("" if c in _BIDI else c)
        else:
            kept.append(" ")
    return "".join(kept)


def said(text: str | bytes, secrets: Iterable[str] = (), limit: int = 160) -> str:
    """What a server or a program said, as one short line without any of the secrets, in whatever coat they come."""
    words = text.decode("utf-8", "replace") if isinstance(text, bytes) else text
    return one_line(without(one_line(without(words, secrets), 10_000), secrets), limit)


def without(text: str, secrets: Iterable[str]) -> str:
    """The text with each secret hidden: as it is, quoted as in an address, or in base 64."""
    coats: set[str] = set()
    for secret in secrets:
        if secret:
            encoded = base64.b64encode(secret.encode("utf-8", "replace")).decode()
            coats |= {secret, encoded, encoded.rstrip("="), repr(secret)[1:-1], one_line(secret, 10_000)}
            coats |= {
                urllib.parse.quote(secret, safe="", errors="replace"),
                urllib.parse.quote(secret, errors="replace"),
            }
    for coat in sorted(coats - {""}, key=len, reverse=True):
        if len(coat) > 3:
            text = text.replace(coat, HIDDEN)
        else:  # too short to look for inside of words
            text = re.sub(rf"(?<!\w){re.escape(coat)}(?!\w)", HIDDEN, text)
    return text


def whole_text(message: Outgoing) -> str:
    """The text of a message, and where a tap acknowledges unless it says so already."""
    text = many_lines(message.text).rstrip()
    if message.link and message.link not in text:
        text += f"\n\nSeen it? Tap: {one_line(message.link, 2000)}"
    return text


def within(limit_s: float, work: Callable[[], _T], where: str, late: Callable[[], None] = lambda: None) -> _T:
    """The result of `work`, or Undelivered when it takes longer: a server that drips can outlast every other limit.

    `late` is called then, to end what is still under way.
    """
    results: list[_T] = []
    troubles: list[BaseException] = []

    def run() -> None:
        try:
            results.append(work())
        except BaseException as exc:  # handed over to whoever waits, below
            troubles.append(exc)

    thread = threading.Thread(target=run, name=f"courier {where}", daemon=True)
    thread.start()
    thread.join(limit_s)
    if thread.is_alive():
        late()
        raise Undelivered(f"no outcome within {limit_s:g} s", permanent=False, where=where)
    if troubles:
        trouble = troubles[0]
        if isinstance(trouble, Undelivered):
            raise bare(trouble)
        raise trouble
    return results[0]


def bare(trouble: Undelivered) -> Undelivered:
    """The same, cut off from what caused it: a library's own error may quote a password or an address."""
    trouble.__cause__ = trouble.__context__ = None
    return trouble.with_traceback(None)


def is_here(host: str) -> bool:
    """Whether a host is this machine for certain."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.lower().rstrip(".") == "localhost"


def tls_context(ca_file: str, where: str) -> ssl.SSLContext:
    """TLS with certificate and host name verified; an own certificate is trusted beside the usual ones."""
    context = ssl.create_default_context()
    if ca_file:
        try:
            context.load_verify_locations(ca_file)
        except OSError as exc:  # also ssl.SSLError, when it holds no certificate
            why = exc.strerror if exc.strerror and not isinstance(exc, ssl.SSLError) else "it holds no certificate"
            raise Undelivered(
                f"ca_file {ca_file} cannot be used: {why}", permanent=True, where=where,
                way_out="Give a file of certificates in PEM form.",
            ) from None  # fmt: skip
    return context


def network_trouble(exc: OSError, place: str, where: str) -> Undelivered:
    """What went wrong on the way to `place` (such as `mail.example:587`), and whether trying again can help."""
    if isinstance(exc, ssl.SSLCertVerificationError):
        return Undelivered(
            f"the certificate of {place} is not to be trusted: {one_line(exc.verify_message)}", permanent=True,
            where=where, way_out="Mend the certificate, or name your own with ca_file.",
        )  # fmt: skip
    if isinstance(exc, ssl.SSLError):
        plain = exc.reason == "WRONG_VERSION_NUMBER"
        why = "it speaks no TLS there" if plain else f"TLS failed ({one_line(exc.reason or 'no reason given')})"
        return Undelivered(
            f"{place}: {why}", permanent=plain, where=where,
            way_out="Check the port and the word after tls." if plain else "",
        )  # fmt: skip
    if isinstance(exc, socket.gaierror):
        return Undelivered(f"the name in {place} cannot be found", permanent=False, where=where)
    if isinstance(exc, TimeoutError):
        return Undelivered(f"{place} does not answer", permanent=False, where=where)
    if isinstance(exc, ConnectionRefusedError):
        return Undelivered(f"nothing listens at {place}", permanent=False, where=where)
    if isinstance(exc, ConnectionError):
        return Undelivered(f"{place} broke the connection off", permanent=False, where=where)
    return Undelivered(
        f"{place} cannot be reached: {one_line(exc.strerror or type(exc).__name__)}", permanent=False, where=where
    )
