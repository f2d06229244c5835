"""The demo's own mailbox: a real server, stopped and started on one port, that loses nothing and relays nothing."""

from __future__ import annotations

import contextlib
import smtplib
import socket

import pytest

from leadline.couriers.mail import Mail
from leadline.couriers.mailbox import Mailbox
from leadline.measures.errors import Unreachable
from leadline.system.orders import MailPath


@pytest.fixture
def box(tmp_path):
    made = Mailbox(tmp_path / "mail")
    made.start()
    yield made
    made.stop()


def path(box: Mailbox) -> MailPath:
    return MailPath("demo", "keeper@demo.invalid", "watch@demo.invalid", box.host, box.port, tls="none")


@pytest.mark.contract
def test_mail_is_kept_in_the_order_it_came(box, clock, message):
    for i in range(5):
        with smtplib.SMTP(box.host, box.port, local_hostname="localhost", timeout=5) as server:
            server.sendmail("a@b.invalid", ["c@d.invalid", "e@f.invalid"], f"Subject: number {i}\r\n\r\nbody\r\n")
    Mail(path(box), "", clock).send(message)
    with smtplib.SMTP(box.host, box.port, local_hostname="localhost", timeout=5) as server:
        server.sendmail("", ["c@d.invalid"], "Subject: a bounce\r\n\r\n")
    letters = box.messages()
    assert letters[6]["Return-Path"] == "<>"  # RFC 5321, section 4.5.5
    assert [m["Subject"] for m in letters[:5]] == [f"number {i}" for i in range(5)]
    assert letters[0]["Return-Path"] == "<a@b.invalid>"
    assert letters[0].get_all("Delivered-To") == ["c@d.invalid", "e@f.invalid"]
    assert letters[5]["Message-ID"] == "<leadline.d-17.demo@demo.invalid>"
    assert letters[5].get_content().startswith("Temperature 28.9 °C since 03:10")


@pytest.mark.contract
def test_a_stopped_one_is_dead_and_a_started_one_is_back_with_all_it_had(box, clock, message, refusal):
    courier, port = Mail(path(box), "", clock), box.port
    courier.send(message)
    box.stop()
    exc = refusal(lambda: courier.send(message))
    assert not exc.permanent
    assert "nothing listens" in exc.line()
    assert len(box.messages()) == 1
    box.start()
    box.start()  # once more changes nothing
    assert box.port == port
    courier.send(message)
    assert [m["Message-ID"] for m in box.messages()] == ["<leadline.d-17.demo@demo.invalid>"] * 2
    box.stop()
    box.stop()


@pytest.mark.contract
def test_stopping_breaks_off_what_is_under_way(box):
    with socket.create_connection((box.host, box.port), 5) as waiting:
        assert waiting.recv(100).startswith(b"220")
        waiting.sendall(b"EHLO x\r\n")
        waiting.recv(1000)
        box.stop()
        with contextlib.suppress(ConnectionError):  # broken off, or ended in order
            while waiting.recv(100):
                pass
    assert box.messages() == []


@pytest.mark.contract
def test_it_hears_only_this_machine_and_takes_no_endless_mail(box):
    with smtplib.SMTP(box.host, box.port, local_hostname="localhost", timeout=5) as server:
        assert server.sock.getpeername()[0] == "127.0.0.1"
        with pytest.raises(smtplib.SMTPResponseException) as caught:
            server.sendmail("a@b.invalid", ["c@d.invalid"], "Subject: long\r\n\r\n" + "x" * 70 * 20_000 + "\r\n")
        assert caught.value.smtp_code in (500, 552)
    assert box.messages() == []


@pytest.mark.contract
def test_a_port_in_use_is_said(box, tmp_path):
    with pytest.raises(Unreachable, match="cannot listen at"):
        Mailbox(tmp_path / "other", box.port).start()


@pytest.mark.contract
def test_a_folder_that_is_there_already_is_used(tmp_path, clock, message):
    (tmp_path / "mail").mkdir()
    first = Mailbox(tmp_path / "mail")
    first.start()
    Mail(path(first), "", clock).send(message)
    first.stop()
    assert len(Mailbox(tmp_path / "mail").messages()) == 1
