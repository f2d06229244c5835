"""Behind a real nginx, set up word for word as the guide says."""

from __future__ import annotations

import concurrent.futures
import contextlib
import re

import httpx
import pytest
from tests.peers import proxy
from tests.peers.certificates import Certificates
from tests.web.test_doors import NOW, WORDS
from tests.web.test_outside import db, flags, process, trusting  # noqa: F401

from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore
from leadline.web import site

pytestmark = pytest.mark.door


@pytest.fixture
def outside(db, tmp_path):  # noqa: F811
    """The store, the proxy before `leadline serve --proxy`, and how a visitor trusts it."""
    folder = tmp_path / "ca"
    folder.mkdir()
    made = Certificates(folder)
    with contextlib.ExitStack() as running:
        address = running.enter_context(process(db, "--name", "localhost", "--proxy", "127.0.0.1"))
        front = running.enter_context(proxy.before(int(address.rpartition(":")[2]), made.good))
        yield db, front, made.ca_file


def visitor(front, ca_file, source="127.0.0.1"):
    transport = httpx.HTTPTransport(local_address=source, verify=trusting(ca_file))
    return httpx.Client(base_url=front.address, transport=transport, headers={"origin": front.address}, timeout=30)


def test_a_visitor_signs_in_over_tls_and_is_known_by_their_own_address(outside):
    store_file, front, ca_file = outside
    forged = {"x-forwarded-for": "192.0.2.7", "x-forwarded-proto": "http", "x-forwarded-host": "elsewhere.invalid"}
    with visitor(front, ca_file, "127.0.0.3") as client:
        came = client.post("/sign-in", data={"name": "Ada", "passphrase": WORDS}, headers=forged)
        assert came.status_code == 303
        assert came.headers["set-cookie"].startswith("__Host-leadline=")
        assert {"secure", "httponly", "path=/"} <= flags(came.headers["set-cookie"])
        assert came.headers["strict-transport-security"]
        assert "elsewhere" not in str(came.headers)
        me = client.get("/me")
        assert me.status_code == 200
        assert me.headers["cache-control"] == "no-store"
        assert (
            client.post("/me/wishes", data={"units": "us"}, headers={"origin": "https://x.invalid"}).status_code == 403
        )
        client.post("/light", data={"light": "night"})
        assert 'data-light="night"' in client.get("/me").text
    with SqliteStore.open(store_file, clock=FixedClock(NOW)) as store:
        assert store.door_events(1)[0].origin == "127.0.0.3"


def test_wrong_tries_are_counted_for_each_visitor_and_not_for_the_proxy(outside):
    _, front, ca_file = outside
    wrong = {"name": "Ada", "passphrase": "not the right words"}
    with visitor(front, ca_file, "127.0.0.3") as stranger:
        codes = [stranger.post("/sign-in", data=wrong).status_code for _ in range(site.SIGN_INS_A_MINUTE + 1)]
    assert codes[-1] == 429
    with visitor(front, ca_file, "127.0.0.4") as owner:
        assert owner.post("/sign-in", data={"name": "Ada", "passphrase": WORDS}).status_code == 303


def test_thirty_at_once_come_through_one_proxy_and_a_large_file_does_too(outside):
    _, front, ca_file = outside
    with visitor(front, ca_file) as client:
        client.post("/sign-in", data={"name": "Ada", "passphrase": WORDS})
        page = client.get("/systems").text
        system = re.search(r'href="/systems/([\w-]+)"', page)[1]
        with concurrent.futures.ThreadPoolExecutor(30) as many:
            codes = [f.result() for f in [many.submit(lambda: client.get("/journal").status_code) for _ in range(120)]]
        assert codes == [200] * 120
        rows = "".join(f"2025-{1 + k % 12:02d}-{1 + k % 28:02d},{7 + k % 20 / 10:.1f}\n" for k in range(180_000))
        sent = client.post("/import", files={"file": ("old.csv", f"date,alkalinity\n{rows}".encode())},
                           data={"system": system})  # fmt: skip
        assert len(rows) > 2_000_000  # what nginx refuses unless it is told
        assert sent.status_code == 303, sent.text[:300]


def test_addresses_that_are_secrets_are_not_written_down_and_others_are(outside):
    _, front, ca_file = outside
    with visitor(front, ca_file) as client:
        for path in ("/come-in/hidden-1", "/shared/hidden-2", "/seen/hidden-3", "/calendar/hidden-4.ics", "/sign-in"):
            client.get(path)
    assert "hidden" not in front.until_logged("/sign-in")


def test_a_shared_page_opened_in_a_browser_tells_its_address_to_no_log(outside, browser):
    _, front, ca_file = outside
    with visitor(front, ca_file) as client:
        client.post("/sign-in", data={"name": "Ada", "passphrase": WORDS})
        secret = re.search(r"/shared/([\w-]+)", client.post("/share", data={"page": "/week", "days": "7"}).text)[1]
    context = browser.new_context(ignore_https_errors=True)
    page = context.new_page()
    try:
        page.goto(f"{front.address}/shared/{secret}")
        page.get_by_role("button", name="Night").click()
        page.wait_for_selector('html[data-light="night"]')
        assert page.url == f"{front.address}/shared/{secret}"  # and a light leads back to it
        page.goto(f"{front.address}/offline")  # asked for last
    finally:
        context.close()
    log = front.until_logged("/offline")
    assert "/static/page.css" in log
    assert secret not in log


def test_a_page_through_the_proxy_has_nothing_to_complain_of(outside, browser):
    _, front, _ = outside
    context = browser.new_context(ignore_https_errors=True)
    page, said = context.new_page(), []
    page.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: said.append(str(e)))
    try:
        page.goto(f"{front.address}/sign-in")
        page.get_by_label("Name").fill("Ada")
        page.get_by_label("Passphrase").fill(WORDS)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.wait_for_url(f"{front.address}/**")
        page.goto(f"{front.address}/journal?log=reading")
        page.get_by_role("heading", name="Journal").wait_for()
        # a browser fetches no service worker over a certificate that it does not know
        assert [s for s in said if "SSL certificate" not in s] == []
    finally:
        context.close()
