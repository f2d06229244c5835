"""A real HTTP server that records what it is asked; its path says how it answers."""

from __future__ import annotations

import contextlib
import http.server
import ssl
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field


@dataclass
class Asked:
    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """What it was asked, and how it answers: `/500` with that status, `/hang` not at all, others as `answers` says."""

    port: int = 0
    secure: bool = False
    asked: list[Asked] = field(default_factory=list)
    answers: dict[str, tuple[int, bytes]] = field(default_factory=dict)
    release: threading.Event = field(default_factory=threading.Event)

    @property
    def address(self) -> str:
        return f"{'https' if self.secure else 'http'}://127.0.0.1:{self.port}"


class _Quiet(http.server.ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that goes away, or wants no TLS of ours, is part of the tests."""


@contextlib.contextmanager
def receiver(context: ssl.SSLContext | None = None) -> Iterator[Receiver]:
    """A receiver on a free port of loopback; with TLS when a context is given."""
    state = Receiver(secure=context is not None)

    class Handler(http.server.BaseHTTPRequestHandler):
        timeout = 20

        def setup(self) -> None:
            if context is not None:
                self.request = context.wrap_socket(self.request, server_side=True)
            super().setup()

        def finish(self) -> None:
            super().finish()
            if context is not None:
                self.request.close()

        def do_GET(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            state.asked.append(Asked(self.command, self.path, dict(self.headers), body))
            last = self.path.split("?")[0].rstrip("/").rpartition("/")[2]
            if last == "hang":
                state.release.wait(30)
                return
            status, content = state.answers.get(
                self.path.split("?")[0], (int(last) if last.isdigit() else 200, b'{"ok": true}')
            )
            self.send_response(status)
            if 300 <= status < 400:
                self.send_header("Location", "/200")
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        do_POST = do_GET

        def log_message(self, format: str, *args: object) -> None:
            """Keep the tests' output clean."""

    server = _Quiet(("127.0.0.1", 0), Handler)
    state.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield state
    finally:
        state.release.set()
        server.shutdown()
        thread.join(10)
        server.server_close()
