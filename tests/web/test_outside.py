"""The doors as they are reached from elsewhere: `leadline serve` itself, with a certificate, or behind a proxy."""

from __future__ import annotations

import contextlib
import datetime as dt
import ipaddress
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from tests.web.conftest import served
from tests.web.test_doors import NOW, TOML, WORDS

import leadline
from leadline.app import accounts, describe
from leadline.cli import serving
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock
from leadline.store.backup import back_up
from leadline.store.restore import restore
from leadline.store.sqlite import SqliteStore
from leadline.web import patience, site
from leadline.web.doors import KeptDoors

pytestmark = pytest.mark.door


@contextlib.contextmanager
def process(db: Path, *words: str):
    """`leadline serve` on a free port; gives its address."""
    env = {**os.environ, "PYTHONPATH": str(Path(leadline.__file__).parents[1]), "PYTHONUNBUFFERED": "1",
           "LEADLINE_NOW": NOW.isoformat()}  # fmt: skip
    running = subprocess.Popen(
        [sys.executable, "-m", "leadline", "--db", str(db), "serve", "--no-watch", "--port", "0", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env,
    )  # fmt: skip
    try:
        assert running.stdout is not None
        said = running.stdout.readline()
        found = re.search(r"(https?)://localhost:(\d+)", said)
        assert found, said
        yield f"{found[1]}://localhost:{found[2]}"
    finally:
        running.send_signal(signal.SIGINT)
        err = running.communicate(timeout=20)[1]
    assert "Traceback" not in err
    assert WORDS not in err


@pytest.fixture
def db(tmp_path):
    clock = FixedClock(NOW)
    with SqliteStore.open(tmp_path / "reef.db", clock=clock) as store:
        describe.add(store, clock, TOML)
        accounts.make(store, clock, "Ada", "owner", WORDS)
    return tmp_path / "reef.db"


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A self-made certificate for localhost and its key."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import rsa

    folder = tmp_path_factory.mktemp("tls")
    key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    begun = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)
    made = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
        .serial_number(x509.random_serial_number()).not_valid_before(begun)
        .not_valid_after(begun.replace(year=2099))
        .add_extension(x509.SubjectAlternativeName(
            [x509.DNSName("localhost"), x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), critical=False)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    pem, secret = folder / "reef.pem", folder / "reef.key"
    pem.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    secret.write_bytes(key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    ))  # fmt: skip
    return pem, secret


def trusting(pem: Path) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=pem)


def flags(cookie: str) -> set[str]:
    return {part.strip().lower() for part in cookie.split(";")[1:]}


def test_over_tls_cookies_are_bound_to_the_host_and_weak_ciphers_are_refused(db, certificate):
    pem, key = certificate
    form = {"name": "Ada", "passphrase": WORDS}
    with process(db, "--cert", str(pem), "--key", str(key)) as address:
        with httpx.Client(base_url=address, verify=trusting(pem), headers={"origin": address}, timeout=30) as client:
            came = client.post("/sign-in", data=form)
            assert came.status_code == 303
            cookie = came.headers["set-cookie"]
            assert cookie.startswith("__Host-leadline=")
            # RFC 6265bis, 4.1.3.2: Secure, Path=/ and no Domain
            assert {"secure", "httponly", "path=/", "samesite=lax"} <= flags(cookie)
            assert "domain" not in cookie.lower()
            for path, more in (("/light", {"light": "night"}), ("/me/wishes", {"units": "us"})):
                for set_ in client.post(path, data=more).headers.get_list("set-cookie"):
                    assert set_.startswith("__Host-")
                    assert {"secure", "path=/"} <= flags(set_)
            assert 'data-light="night"' in client.get("/me").text
            # ASVS 5.0.0, 3.4.1: at least a year, on every answer
            for path in ("/me", "/nowhere", "/static/page.css", "/sign-in"):
                assert client.get(path).headers["strict-transport-security"] == "max-age=31536000"
            assert client.get("/static/mark.svg").headers["content-type"] == "image/svg+xml; charset=utf-8"
            clear = address.replace("https", "http")
            assert client.post("/me/wishes", data={"units": ""}, headers={"origin": clear}).status_code == 403
            secret = client.cookies["__Host-leadline"]
        with httpx.Client(base_url=address, verify=trusting(pem), cookies={"leadline": secret}, timeout=30) as tossed:
            assert tossed.get("/me").status_code == 303  # a name that a page in the clear could set is not heard
        for weak in ("ECDHE-RSA-AES256-SHA", "AES256-SHA", "AES128-GCM-SHA256"):
            context = trusting(pem)
            context.maximum_version = ssl.TLSVersion.TLSv1_2
            context.set_ciphers(f"{weak}:@SECLEVEL=0")
            with pytest.raises(httpx.ConnectError):
                httpx.get(f"{address}/health", verify=context)
        for version in (ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3):
            context = trusting(pem)
            context.minimum_version = context.maximum_version = version
            assert httpx.get(f"{address}/offline", verify=context).status_code == 200


@pytest.mark.parametrize("believed", [True, False])
def test_the_word_of_a_proxy_is_believed_when_it_was_named_and_of_nobody_else(db, believed):
    said = {"x-forwarded-proto": "https", "x-forwarded-for": "192.0.2.7", "x-forwarded-host": "elsewhere.invalid"}
    with process(db, "--name", "reef.example", *(("--proxy", "127.0.0.1") if believed else ())) as address:
        headers = {**said, "host": "reef.example", "origin": "https://reef.example"}
        came = httpx.post(f"{address.replace('localhost', '127.0.0.1')}/sign-in", headers=headers, timeout=30,
                          data={"name": "Ada", "passphrase": WORDS})  # fmt: skip
        assert came.status_code == 303
        assert ("secure" in flags(came.headers["set-cookie"])) == believed
        assert "elsewhere" not in str(came.headers)
        assert ("strict-transport-security" in came.headers) == believed
    with SqliteStore.open(db, clock=FixedClock(NOW)) as store:
        assert store.door_events(1)[0].origin == ("192.0.2.7" if believed else "127.0.0.1")


@pytest.mark.parametrize("proxy", ["*", "proxy.invalid", "0.0.0.0/0", "::/0", "127.0.0.1,*"])
def test_a_proxy_that_would_be_everybody_is_refused(proxy):
    with pytest.raises(BadInput, match="--proxy"):
        serving._proxy(proxy)
    assert serving._proxy("127.0.0.1,10.0.0.0/24") == "127.0.0.1,10.0.0.0/24"


def test_the_store_and_its_copies_are_their_owners_alone(db):
    """Sessions and hashes lie in it."""
    if os.name != "posix":
        pytest.skip("modes are of POSIX")
    back_up(db, db.with_name("backup.db"))
    restore(db.with_name("backup.db"), db.with_name("again.db"), clock=FixedClock(NOW))
    for file in (db, db.with_name("backup.db"), db.with_name("again.db")):
        assert file.stat().st_mode & 0o077 == 0, file


def test_who_holds_many_lines_takes_them_from_nobody_else(db):
    with process(db) as address, contextlib.ExitStack() as held:
        port = int(address.rpartition(":")[2])
        lines = []
        for _ in range(patience.MOST_EACH + 40):
            line = held.enter_context(socket.create_connection(("127.0.0.1", port), timeout=20))
            with contextlib.suppress(ConnectionError):
                line.sendall(b"GET / HTTP/1.1\r\nHost: x")  # and never the rest
            lines.append(line)
        for line in lines[patience.MOST_EACH :]:
            with contextlib.suppress(ConnectionError):
                assert line.recv(1) == b""  # hung up
        elsewhere = httpx.HTTPTransport(local_address="127.0.0.2")
        with httpx.Client(transport=elsewhere, timeout=30) as neighbour:
            assert neighbour.get(f"http://127.0.0.1:{port}/sign-in").status_code == 200


@pytest.mark.parametrize(
    "begun",
    [
        b"",
        b"GET / HTTP/1.1\r\nHost: x",
        b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 99\r\n\r\nname=",
        b"GET /offline HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\nGET / HTTP/1.1\r\nHost: x",
    ],
)
def test_who_says_nothing_more_is_hung_up_on(db, begun):
    class Short(patience.Patience):
        quiet_s = 0.2

    clock = FixedClock(NOW)
    app = site.build(lambda: SqliteStore.open(db, clock=clock), clock, doors=KeptDoors(clock))
    with served(app, http=Short) as address:
        line = socket.create_connection(("127.0.0.1", int(address.rpartition(":")[2])), timeout=20)
        with line:
            line.sendall(begun)
            while line.recv(65536):  # ends when the other side has hung up, or fails after twenty seconds
                pass
