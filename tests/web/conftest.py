"""A server on a free port in its own thread, and a browser, each started once."""

from __future__ import annotations

import contextlib
import pathlib
import socket
import threading
import time
from collections.abc import Callable, Iterator

import httpx
import pytest
import uvicorn
from tests.web import house, pretend

from leadline.measures.moments import FixedClock
from leadline.web import site

CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


@contextlib.contextmanager
def served(app, **more) -> Iterator[str]:
    """`app` behind a real server; gives its address."""
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", lifespan="on", **more))
    # named as TCP, or asyncio leaves the kernel's 40 ms wait for fuller packets on (it looks at the protocol)
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    bound.bind(("127.0.0.1", 0))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]}, daemon=True)
    thread.start()
    deadline = time.monotonic() + 10
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        assert time.monotonic() < deadline, "the server did not start within ten seconds"
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{bound.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(10)
        bound.close()


class Site:
    """A served site over a fresh invented reef, and a client that speaks to it."""

    def __init__(self, address: str, store: pretend.PretendStore) -> None:
        self.address = address
        self.store = store
        self.client = httpx.Client(base_url=address, follow_redirects=True, timeout=20)


@pytest.fixture
def make_site() -> Iterator[Callable[..., Site]]:
    with contextlib.ExitStack() as stack:

        def make(units: str = "metric") -> Site:
            store = pretend.reef_store()
            app = site.build(lambda: store, FixedClock(pretend.NOW), pretend.Pretend(units))
            found = Site(stack.enter_context(served(app)), store)
            stack.enter_context(found.client)
            return found

        yield make


@pytest.fixture
def reef(make_site: Callable[..., Site]) -> Site:
    return make_site()


@pytest.fixture(scope="session")
def demo_db(tmp_path_factory) -> pathlib.Path:
    """The demo's store, made once: copy it before anything is written."""
    return house.built(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="session")
def browser():
    if not pathlib.Path(CHROMIUM).exists():
        pytest.skip("no Chromium here")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        running = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield running
        running.close()
