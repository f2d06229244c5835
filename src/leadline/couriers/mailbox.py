"""The demo's own mail server: on loopback alone, it keeps every mail in a Maildir and passes none on."""

from __future__ import annotations

import asyncio
import contextlib
import mailbox
import pathlib
import socket
import threading
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any, cast

from aiosmtpd.smtp import SMTP, Envelope, Session

from leadline.measures.errors import Unreachable

_SIZE_LIMIT = 1_048_576  # bytes


class Mailbox:
    """A mail server and the Maildir behind it. It can be stopped and started again on the same port."""

    host = "127.0.0.1"

    def __init__(self, folder: pathlib.Path | str, port: int = 0) -> None:
        self.folder = pathlib.Path(folder)
        self.port = port  # 0: a free one, known after the first start
        for place in ("new", "cur", "tmp"):
            (self.folder / place).mkdir(parents=True, exist_ok=True)
        self._kept = mailbox.Maildir(self.folder)
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ending: asyncio.Event | None = None

    def start(self) -> None:
        """Listen. Starting one that runs already changes nothing.

        Raises
        ------
        Unreachable
            When something else listens at its port.
        """
        if self._thread is not None:
            return
        # named as TCP, or asyncio leaves the kernel's 40 ms wait for fuller packets on
        bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            bound.bind((self.host, self.port))
            bound.listen(32)
        except OSError as exc:
            bound.close()
            raise Unreachable(
                f"the demo's mail server cannot listen at {self.host}:{self.port}: {exc.strerror}",
                way_out="End what listens there.",
            ) from exc
        self.port = bound.getsockname()[1]
        ready = threading.Event()
        self._thread = threading.Thread(
            target=lambda: asyncio.run(self._serve(bound, ready)), name="demo mailbox", daemon=True
        )
        self._thread.start()
        if not ready.wait(10.0):
            raise Unreachable("the demo's mail server did not start", way_out="Try again.")

    def stop(self) -> None:
        """Listen no more, and break off whatever is under way. What was kept stays."""
        thread, self._thread = self._thread, None
        if thread is None or self._loop is None or self._ending is None:
            return
        with contextlib.suppress(RuntimeError):  # it has ended already
            self._loop.call_soon_threadsafe(self._ending.set)
        thread.join()

    def messages(self) -> list[EmailMessage]:
        """All mails, in the order they came."""
        stamped = []
        for place in (self.folder / "new", self.folder / "cur"):
            for file in place.iterdir():
                with contextlib.suppress(FileNotFoundError):  # a reader of mail moved it
                    stamped.append((file.stat().st_mtime_ns, file.name, file.read_bytes()))
        return [message_from_bytes(raw, policy=default) for _, _, raw in sorted(stamped)]

    async def _serve(self, bound: socket.socket, ready: threading.Event) -> None:
        self._loop, self._ending = asyncio.get_running_loop(), asyncio.Event()
        live: set[asyncio.BaseTransport] = set()

        def connection() -> SMTP:
            return _Connection(
                live, self, data_size_limit=_SIZE_LIMIT, hostname="mailbox.invalid", ident="demo mailbox"
            )

        server = await self._loop.create_server(connection, sock=bound)
        ready.set()
        await self._ending.wait()
        server.close()
        for transport in list(live):
            cast(asyncio.Transport, transport).abort()
        await server.wait_closed()
        await asyncio.sleep(0)  # let the transports close

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        """Keep one mail, as whoever delivers at the end of the way does (RFC 5321, section 4.4)."""
        sender = _bare(envelope.mail_from)
        to = b"".join(b"Delivered-To: %s\n" % _bare(rcpt) for rcpt in envelope.rcpt_tos)
        content = envelope.content if isinstance(envelope.content, bytes) else b""
        try:
            self._kept.add(b"Return-Path: <%s>\n" % sender + to + content.replace(b"\r\n", b"\n"))
        except OSError:
            return "452 4.3.1 The disk does not take it"
        return "250 2.0.0 Kept"


class _Connection(SMTP):
    """One connection that can be broken off from outside."""

    def __init__(self, live: set[asyncio.BaseTransport], handler: Mailbox, **options: Any) -> None:
        super().__init__(handler, **options)
        self._live = live
        self._mine: asyncio.BaseTransport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._mine = transport
        self._live.add(transport)
        super().connection_made(transport)

    def connection_lost(self, error: Exception | None) -> None:
        if self._mine is not None:
            self._live.discard(self._mine)
        super().connection_lost(error)


def _bare(address: str | None) -> bytes:
    """An address without brackets: aiosmtpd gives that of a bounce, which is none, as a pair of them."""
    return "".join(c for c in (address or "").strip("<>") if c.isprintable()).encode("utf-8", "replace")
