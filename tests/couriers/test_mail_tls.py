"""TLS of mail: certificates and host names are verified, nothing falls back to clear text."""

from __future__ import annotations

import dataclasses
import socket

import pytest
from tests.couriers.conftest import SECRET
from tests.peers import mail as peers

from leadline.couriers.mail import Mail
from leadline.system.orders import MailPath

PATH = MailPath("mail-a", "keeper@reef.example", "watch@reef.example", "localhost", 0, "starttls", "keeper")


def courier(port, clock, **more) -> Mail:
    return Mail(dataclasses.replace(PATH, port=port, **more), SECRET, clock, timeout_s=5)


def served(way: str, pair):
    return peers.post(user="keeper", password=SECRET, **{way: pair})


@pytest.mark.contract
@pytest.mark.parametrize("way", ["tls", "starttls"])
@pytest.mark.parametrize("host", ["localhost", "127.0.0.1"])
def test_a_good_certificate_of_an_own_authority_is_trusted(certificates, clock, message, way, host):
    with served(way, certificates.good) as server:
        receipt = courier(server.port, clock, tls=way, host=host, ca_file=certificates.ca_file).send(message)
        assert receipt.state == "handed-over"
        assert len(server.kept) == 1


@pytest.mark.contract
@pytest.mark.parametrize("way", ["tls", "starttls"])
@pytest.mark.parametrize(
    ("which", "trusted", "why"),
    [
        ("good", False, "unable to get local issuer certificate"),
        ("expired", True, "certificate has expired"),
        ("elsewhere", True, "Hostname mismatch"),
        ("self_signed", True, "self-signed certificate"),
    ],
)
def test_a_bad_certificate_ends_the_attempt_for_good(certificates, clock, message, refusal, way, which, trusted, why):
    with served(way, getattr(certificates, which)) as server:
        ca_file = certificates.ca_file if trusted else ""
        exc = refusal(lambda: courier(server.port, clock, tls=way, ca_file=ca_file).send(message), SECRET)
        assert not server.kept
    assert exc.permanent
    assert "is not to be trusted" in exc.line()
    assert why in exc.line().replace("self signed", "self-signed")  # OpenSSL 1 and 3 write it differently


@pytest.mark.contract
def test_without_starttls_nothing_is_sent_in_the_clear(clock, message, refusal):
    heard: list[bytes] = []

    def script(connection: socket.socket) -> None:
        connection.sendall(b"220 here\r\n")
        for line in connection.makefile("rb"):
            heard.append(line)
            connection.sendall(b"250-here\r\n250 AUTH PLAIN LOGIN\r\n")

    with peers.raw(script) as port:
        exc = refusal(lambda: courier(port, clock).send(message), SECRET)
    assert exc.permanent
    assert "offers no STARTTLS" in exc.line()
    assert {line.split()[0] for line in heard} <= {b"ehlo", b"EHLO", b"helo"}


@pytest.mark.contract
def test_starttls_that_is_put_off_is_tried_again(clock, message, refusal):
    def script(connection: socket.socket) -> None:
        connection.sendall(b"220 here\r\n")
        for line in connection.makefile("rb"):
            connection.sendall(b"454 not now\r\n" if b"STARTTLS" in line.upper() else b"250-here\r\n250 STARTTLS\r\n")

    with peers.raw(script) as port:
        exc = refusal(lambda: courier(port, clock).send(message), SECRET)
    assert not exc.permanent
    assert "454 not now" in exc.line()


@pytest.mark.contract
def test_tls_to_a_port_that_speaks_none_is_said(clock, message, refusal):
    with peers.post() as server:
        exc = refusal(lambda: courier(server.port, clock, tls="tls").send(message), SECRET)
    assert exc.permanent
    assert "speaks no TLS there" in exc.line()


@pytest.mark.contract
def test_tls_that_breaks_in_the_handshake_is_tried_again(clock, message, refusal):
    with peers.raw(lambda connection: connection.recv(10)) as port:
        exc = refusal(lambda: courier(port, clock, tls="tls").send(message), SECRET)
    assert not exc.permanent


@pytest.mark.contract
def test_a_certificate_file_that_is_none_is_said(clock, message, refusal, tmp_path):
    empty = tmp_path / "empty.pem"
    empty.write_text("no certificate\n")
    for file, why in ((tmp_path / "gone.pem", "No such file"), (empty, "holds no certificate")):
        with peers.post() as server:
            exc = refusal(lambda: courier(server.port, clock, tls="tls", ca_file=str(file)).send(message), SECRET)  # noqa: B023
        assert exc.permanent
        assert why in exc.line()
