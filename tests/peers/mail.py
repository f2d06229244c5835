"""Real mail servers on free ports of loopback: SMTP (aiosmtpd) that can refuse, hang and break off; IMAP (Dovecot)."""

from __future__ import annotations

import asyncio
import contextlib
import mailbox
import os
import pathlib
import pwd
import shutil
import signal
import socket
import ssl
import subprocess
import tempfile
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any, cast

import pytest
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session
from tests.peers.certificates import Pair

DOVECOT = "/usr/sbin/dovecot"


@dataclass
class Post:
    """An SMTP server, and what it took. The first half of the recipient's address says how it is treated."""

    port: int
    user: str = ""
    password: str = ""
    maildir: Maildir | None = None
    kept: list[bytes] = field(default_factory=list)
    release: threading.Event = field(default_factory=threading.Event)
    reached: threading.Event = field(default_factory=threading.Event)  # a hanging one has been asked

    def messages(self) -> list[EmailMessage]:
        return [message_from_bytes(raw, policy=default) for raw in self.kept]

    # -- how aiosmtpd asks ---------------------------------------------------------------------------

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        how = address.partition("@")[0]
        if how == "refused":
            return "550 5.1.1 No such\x07 user   here"
        if how == "later":
            return "451 4.3.0 Come back in a while"
        if how == "echo":  # a server that quotes what it should not
            return f"550 5.1.1 no, and your password {self.password} is known"
        if how == "hang":
            self.reached.set()
            while not self.release.is_set():
                await asyncio.sleep(0.02)
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 Fine"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        how = envelope.rcpt_tos[0].partition("@")[0]
        if how == "data-refused":
            return "554 5.7.1 Looks like something nobody wants"
        if how == "data-later":
            return "452 4.2.2 Full"
        if how == "drop":
            server.transport.abort()
            return "250 never said"
        assert isinstance(envelope.content, bytes)
        self.kept.append(envelope.content)
        if self.maildir is not None:
            self.maildir.put((envelope.mail_from or "").strip("<>"), envelope.content)
        return "250 2.0.0 Kept as number 1"

    def check(self, server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
        if not isinstance(data, LoginPassword):
            return AuthResult(success=False, handled=False)
        if data.login == b"locked":
            return AuthResult(success=False, handled=False, message="454 4.7.0 Not just now")
        right = data.login.decode() == self.user and data.password.decode() == self.password
        if right:
            return AuthResult(success=True)
        return AuthResult(success=False, handled=False, message=f"535 5.7.8 {data.password.decode()} is wrong")


@contextlib.contextmanager
def looped(
    bound: socket.socket, factory: Callable[[], asyncio.Protocol], context: ssl.SSLContext | None
) -> Iterator[None]:
    """A server of asyncio on a socket, in a thread of its own."""
    ready = threading.Event()
    held: dict[str, Any] = {}

    async def serve() -> None:
        held["loop"], held["end"] = asyncio.get_running_loop(), asyncio.Event()
        live: list[asyncio.Transport] = []

        def connection() -> asyncio.Protocol:
            protocol = factory()
            made = protocol.connection_made

            def on_made(transport: asyncio.BaseTransport) -> None:
                live.append(cast(asyncio.Transport, transport))
                made(transport)

            protocol.connection_made = on_made  # type: ignore[method-assign]
            return protocol

        server = await held["loop"].create_server(connection, sock=bound, ssl=context)
        ready.set()
        await held["end"].wait()
        server.close()
        for transport in live:
            transport.abort()
        await server.wait_closed()
        await asyncio.sleep(0)

    thread = threading.Thread(target=lambda: asyncio.run(serve()), daemon=True)
    thread.start()
    assert ready.wait(10)
    try:
        yield
    finally:
        held["loop"].call_soon_threadsafe(held["end"].set)
        thread.join(10)


def free_socket() -> socket.socket:
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)  # so named, asyncio sends at once
    bound.bind(("127.0.0.1", 0))
    return bound


@contextlib.contextmanager
def post(
    *,
    starttls: Pair | None = None,
    tls: Pair | None = None,
    user: str = "",
    password: str = "",
    maildir: Maildir | None = None,
) -> Iterator[Post]:
    """An SMTP server; with STARTTLS (required then), with TLS from the first byte, with a login, as asked."""
    bound = free_socket()
    state = Post(bound.getsockname()[1], user, password, maildir)
    options: dict[str, Any] = {"hostname": "post.invalid", "enable_SMTPUTF8": True}
    if user:
        options |= {"authenticator": state.check, "auth_required": True, "auth_require_tls": starttls is not None}
    if starttls is not None:
        options |= {"tls_context": starttls.context(), "require_starttls": True}

    def factory() -> SMTP:
        with warnings.catch_warnings():  # aiosmtpd warns of logins without TLS: here they are what is tried
            warnings.simplefilter("ignore", UserWarning)
            return SMTP(state, **options)

    with looped(bound, factory, tls.context() if tls else None):
        try:
            yield state
        finally:
            state.release.set()


@contextlib.contextmanager
def raw(script: Callable[[socket.socket], None]) -> Iterator[int]:
    """A server that does with each connection what `script` says; gives its port."""
    bound = free_socket()
    bound.listen(8)
    threads: list[threading.Thread] = []
    live: list[socket.socket] = []

    def serve(connection: socket.socket) -> None:
        with connection, contextlib.suppress(OSError):
            script(connection)

    def accept() -> None:
        with contextlib.suppress(OSError):
            while True:
                connection = bound.accept()[0]
                live.append(connection)
                threads.append(threading.Thread(target=serve, args=(connection,), daemon=True))
                threads[-1].start()

    accepting = threading.Thread(target=accept, daemon=True)
    accepting.start()
    try:
        yield bound.getsockname()[1]
    finally:
        with contextlib.suppress(OSError):
            bound.shutdown(socket.SHUT_RDWR)
        bound.close()
        accepting.join(10)
        for connection in live:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        for thread in threads:
            thread.join(10)


# -- IMAP ----------------------------------------------------------------------------------------------

_CONFIG = """
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/log
protocols = imap
listen = 127.0.0.1
default_internal_user = {internal}
default_internal_group = {internal_group}
default_login_user = {login}
first_valid_uid = 1
first_valid_gid = 1
mail_location = maildir:{folder}/mail:LAYOUT=fs
disable_plaintext_auth = no
auth_mechanisms = plain login
auth_failure_delay = 0 secs
ssl = {ssl}
{certificate}
passdb {{
  driver = passwd-file
  args = {folder}/users
}}
userdb {{
  driver = static
  args = uid={uid} gid={gid} home={folder}/home
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    address = 127.0.0.1
    port = {port}
  }}
  inet_listener imaps {{
    address = 127.0.0.1
    port = {tls_port}
    ssl = yes
  }}
}}
service anvil {{
  chroot =
  unix_listener anvil-auth-penalty {{
    mode = 0
  }}
}}
service stats {{
  chroot =
}}
"""


class Maildir:
    """A Maildir that a server under another user may read and write."""

    def __init__(self, folder: pathlib.Path, uid: int, gid: int) -> None:
        self.folder, self.uid, self.gid = folder, uid, gid
        for place in (folder, *(folder / name for name in ("new", "cur", "tmp"))):
            place.mkdir(exist_ok=True)
            self._give(place)
        self._kept = mailbox.Maildir(folder)

    def _give(self, place: pathlib.Path) -> None:
        if os.geteuid() == 0:
            os.chown(place, self.uid, self.gid)

    def put(self, sender: str, content: bytes) -> None:
        """Deliver one mail at once, as a mail server at the end of the way does: with its Return-Path."""
        key = self._kept.add(f"Return-Path: <{sender}>\n".encode() + content.replace(b"\r\n", b"\n"))
        self._give(self.folder / "new" / key)


@dataclass
class Imap:
    """A running Dovecot, the Maildir it serves, and its process."""

    port: int
    tls_port: int
    user: str
    password: str
    maildir: Maildir
    folder: pathlib.Path
    start: Callable[[], None]
    stop: Callable[[], None]

    def seen(self) -> list[bool]:
        """Of each mail in the inbox, whether it is marked as seen."""
        found = [p.name for place in ("new", "cur") for p in (self.maildir.folder / place).iterdir()]
        return ["S" in name.partition(":2,")[2] for name in sorted(found)]


@contextlib.contextmanager
def imap(*, user: str, password: str, pair: Pair | None = None) -> Iterator[Imap]:
    """Dovecot on two free ports: IMAP (with STARTTLS when there is a certificate) and IMAP over TLS."""
    if not os.access(DOVECOT, os.X_OK):
        pytest.skip(f"{DOVECOT} is missing: install the package dovecot-imapd")
    folder = pathlib.Path(tempfile.mkdtemp(prefix="imap-", dir="/tmp"))  # short: sockets have short names
    try:
        folder.chmod(0o755)
        if os.geteuid() == 0:
            nobody = pwd.getpwnam("nobody")
            uid, gid, internal, login, group = nobody.pw_uid, nobody.pw_gid, "dovecot", "dovenull", "dovecot"
        else:
            me = pwd.getpwuid(os.geteuid())
            uid, gid, internal, login, group = me.pw_uid, me.pw_gid, me.pw_name, me.pw_name, ""
        for name in ("run", "state", "home"):
            (folder / name).mkdir()
        if os.geteuid() == 0:
            os.chown(folder / "home", uid, gid)
        maildir = Maildir(folder / "mail", uid, gid)
        (folder / "users").write_text(f"{user}:{{PLAIN}}{password}\n", encoding="utf-8")
        first, second = free_socket(), free_socket()
        port, tls_port = first.getsockname()[1], second.getsockname()[1]
        first.close()
        second.close()
        certificate = f"ssl_cert = <{pair.certificate}\nssl_key = <{pair.key}" if pair else ""
        (folder / "dovecot.conf").write_text(
            _CONFIG.format(
                folder=folder, internal=internal, internal_group=group, login=login, uid=uid, gid=gid, port=port,
                tls_port=tls_port, ssl="yes" if pair else "no", certificate=certificate,
            )
        )  # fmt: skip
        process: list[subprocess.Popen[bytes]] = []

        def start() -> None:
            process.append(
                subprocess.Popen(
                    [DOVECOT, "-F", "-c", str(folder / "dovecot.conf")], stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                )
            )  # fmt: skip
            _greeted(port, process[-1], folder)

        def stop() -> None:
            """End the server and those it started, each by its id; at once, as a machine that loses power does."""
            while process:
                ended = process.pop()
                with contextlib.suppress(OSError):
                    children = pathlib.Path(f"/proc/{ended.pid}/task/{ended.pid}/children").read_text().split()
                    ended.kill()
                    for child in children:
                        with contextlib.suppress(ProcessLookupError):
                            os.kill(int(child), signal.SIGKILL)
                ended.kill()
                ended.wait()
                if ended.stderr is not None:
                    ended.stderr.close()

        try:
            start()
            yield Imap(port, tls_port, user, password, maildir, folder, start, stop)
        finally:
            stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _greeted(port: int, process: subprocess.Popen[bytes], folder: pathlib.Path) -> None:
    """Wait until the server greets."""
    deadline = time.monotonic() + 15
    while True:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 5) as connection:
            if connection.recv(100).startswith(b"* OK"):
                return
        if process.poll() is not None or time.monotonic() > deadline:
            log = folder / "log"
            said = process.stderr.read().decode() if process.poll() is not None and process.stderr else ""
            pytest.fail(f"Dovecot did not start: {said}{log.read_text() if log.exists() else ''}")
        time.sleep(0.02)
