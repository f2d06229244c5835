"""Replies from a real IMAP server (Dovecot): found once, by persons only, whatever else lies in the mailbox."""

from __future__ import annotations

import dataclasses
import datetime as dt
import imaplib
import smtplib
import socket
import threading
from email.message import EmailMessage

import pytest
from tests.couriers.conftest import SECRET
from tests.peers import mail as peers

from leadline.couriers.mail import Mail
from leadline.couriers.replies import Replies
from leadline.measures.moments import UTC
from leadline.system import orders

CODE = "7QK4F-9XM2B"
USER = "watch@reef.example"


@pytest.fixture(scope="module")
def server(certificates):
    with peers.imap(user=USER, password=SECRET, pair=certificates.good) as running:
        yield running


@pytest.fixture
def inbox(server):
    """The server with an empty inbox."""
    for place in ("new", "cur"):
        for file in (server.maildir.folder / place).iterdir():
            file.unlink()
    return server


def settings(server, certificates=None, **more) -> orders.Replies:
    given = orders.Replies("127.0.0.1", server.port, USER, "secret:imap", tls="none")
    if certificates is not None:
        given = dataclasses.replace(given, ca_file=certificates.ca_file)
    return dataclasses.replace(given, **more)


@pytest.fixture
def replies(inbox):
    made = Replies(settings(inbox), SECRET)
    yield made
    made.close()


def put(server, subject: str, text: str = "Seen.", sender: str = "keeper@reef.example", **headers: str) -> None:
    letter = EmailMessage()
    letter["From"], letter["To"], letter["Subject"] = sender, USER, subject
    for name, value in headers.items():
        letter[name.replace("_", "-")] = value
    letter.set_content(text)
    server.maildir.put(sender, letter.as_bytes())


# -- the whole way -----------------------------------------------------------------------------------------


@pytest.mark.contract
def test_an_answer_to_our_mail_is_found_once_and_our_mail_and_its_bounce_are_not(inbox, replies, clock, message):
    """Our mail and everything that comes back go through a real SMTP server into the mailbox that Dovecot serves."""
    with peers.post(maildir=inbox.maildir) as post:
        path = orders.MailPath("mail-a", USER, USER, "127.0.0.1", post.port, tls="none")
        # to the watch's own mailbox, as it is when a keeper has only one
        Mail(path, "", clock, reply_to=USER).send(message)
        original = post.messages()[0]
        quoted = "".join(f"> {line}\n" for line in original.get_content().splitlines())

        def back(sender: str, envelope: str, **headers: str) -> None:
            letter = EmailMessage()
            letter["From"], letter["To"], letter["Subject"] = sender, original["Reply-To"], f"Re: {original['Subject']}"
            letter["In-Reply-To"] = original["Message-ID"]
            for name, value in headers.items():
                letter[name.replace("_", "-")] = value
            letter.set_content(f"On my way.\n\n{quoted}")
            with smtplib.SMTP("127.0.0.1", post.port, local_hostname="localhost", timeout=5) as server:
                server.send_message(letter, envelope, [USER])

        assert replies.fetch() == []
        back("keeper@reef.example", "keeper@reef.example", Auto_Submitted="auto-replied")
        back("MAILER-DAEMON@reef.example", "keeper@reef.example")
        back("keeper@reef.example", "")
        assert replies.fetch() == []
        before = dt.datetime.now(UTC)  # noqa: TID251 - the server's clock is what it is compared with
        back("Keeper <keeper@reef.example>", "keeper@reef.example")
        (found,) = replies.fetch()
    assert found.codes == (CODE,)
    assert found.sender == "keeper@reef.example"
    assert found.subject == "Re: North room: 28,9 °C and rising [7QK4F-9XM2B]"
    assert abs(found.moment - before) < dt.timedelta(seconds=10)
    assert replies.fetch() == [found]  # until somebody says that it was dealt with
    assert inbox.seen() == [False] * 5
    replies.confirm([found])
    assert sum(inbox.seen()) == 1
    assert replies.fetch() == []
    replies.close()
    restarted = Replies(settings(inbox), SECRET)
    assert restarted.fetch() == []
    restarted.close()


@pytest.mark.contract
def test_a_restart_before_it_was_dealt_with_finds_it_again(inbox):
    put(inbox, f"Re: [{CODE}]")
    first, second = Replies(settings(inbox), SECRET), Replies(settings(inbox), SECRET)
    found = first.fetch()
    first.close()
    again = second.fetch()
    assert [r.codes for r in found] == [r.codes for r in again] == [(CODE,)]
    second.confirm(again)
    second.confirm([])
    second.close()
    assert inbox.seen() == [True]


@pytest.mark.contract
def test_a_keeper_who_reads_the_mailbox_first_does_not_undo_a_reply(inbox, replies):
    put(inbox, "Something else")
    assert replies.fetch() == []
    put(inbox, f"Re: [{CODE}]")
    session = imaplib.IMAP4("127.0.0.1", inbox.port)
    session.authenticate("PLAIN", lambda _: f"\0{USER}\0{SECRET}".encode())
    session.select()
    session.store("1:*", "+FLAGS", r"(\Seen)")
    session.logout()
    assert [r.codes for r in replies.fetch()] == [(CODE,)]


@pytest.mark.contract
def test_other_mail_is_left_as_it_is(inbox, replies):
    put(inbox, "Lunch?", "At 12.")
    put(inbox, f"Re: [{CODE}]")
    put(inbox, "Re: two alarms", "Both seen: 00000-00001 and abcde-fghjk.\n> 11111-11111\n")
    found = replies.fetch()
    assert [r.codes for r in found] == [(CODE,), ("00000-00001", "ABCDE-FGHJK")]
    replies.confirm(found)
    assert inbox.seen() == [False, True, True]


# -- connections -------------------------------------------------------------------------------------------


@pytest.mark.contract
@pytest.mark.parametrize("way", ["tls", "starttls"])
def test_a_good_certificate_is_trusted(inbox, certificates, way):
    put(inbox, f"Re: [{CODE}]")
    port = inbox.tls_port if way == "tls" else inbox.port
    replies = Replies(settings(inbox, certificates, host="localhost", port=port, tls=way), SECRET)
    assert [r.codes for r in replies.fetch()] == [(CODE,)]
    replies.close()


@pytest.mark.contract
@pytest.mark.parametrize("way", ["tls", "starttls"])
@pytest.mark.parametrize(
    ("which", "trusted", "why"),
    [
        ("good", False, "unable to get local issuer"),
        ("expired", True, "has expired"),
        ("elsewhere", True, "Hostname mismatch"),
        ("self_signed", True, "self-signed certificate"),
    ],
)
def test_a_bad_certificate_is_refused_for_good(certificates, refusal, way, which, trusted, why):
    with peers.imap(user=USER, password=SECRET, pair=getattr(certificates, which)) as other:
        port = other.tls_port if way == "tls" else other.port
        given = settings(other, certificates if trusted else None, host="localhost", port=port, tls=way)
        exc = refusal(Replies(given, SECRET).fetch, SECRET)
    assert exc.permanent
    assert why in exc.line().replace("self signed", "self-signed")


@pytest.mark.contract
def test_a_wrong_password_and_a_missing_folder_are_refused_for_good(inbox, refusal):
    exc = refusal(Replies(settings(inbox), "wrong-s3cret").fetch, "wrong-s3cret", SECRET)
    assert exc.permanent
    assert f"refused the login of {USER}" in exc.line()
    assert "no password" in refusal(Replies(settings(inbox), "").fetch).line()
    exc = refusal(Replies(settings(inbox, folder='No "such" folder'), SECRET).fetch, SECRET)
    assert exc.permanent
    assert "has no folder" in exc.line()


@pytest.mark.contract
def test_a_folder_in_any_letters(inbox):
    session = imaplib.IMAP4("127.0.0.1", inbox.port)
    session.authenticate("PLAIN", lambda _: f"\0{USER}\0{SECRET}".encode())
    assert session.create('"Alarme &- &AMQ-nderungen"')[0] == "OK"  # "Alarme & Änderungen", RFC 3501, section 5.1.3
    session.append('"Alarme &- &AMQ-nderungen"', None, None, f"Subject: Re: [{CODE}]\r\n\r\n".encode())
    session.logout()
    replies = Replies(settings(inbox, folder="Alarme & Änderungen"), SECRET)
    assert [r.codes for r in replies.fetch()] == [(CODE,)]
    replies.close()


@pytest.mark.contract
@pytest.mark.parametrize("host", ["192.0.2.1", "imap.example"])  # RFC 5737, RFC 2606: nothing is there
def test_no_password_goes_out_in_the_clear(server, refusal, host):
    exc = refusal(Replies(settings(server, host=host), SECRET, limit_s=2).fetch, SECRET)
    assert exc.permanent
    assert "for all to read" in exc.line()


@pytest.mark.contract
def test_without_starttls_nothing_is_sent_in_the_clear(server, refusal):
    heard: list[bytes] = []

    def script(connection: socket.socket) -> None:
        connection.sendall(b"* OK here\r\n")
        for line in connection.makefile("rb"):
            heard.append(line)
            connection.sendall(b"* CAPABILITY IMAP4rev1 AUTH=PLAIN\r\n" + line.split()[0] + b" OK done\r\n")

    with peers.raw(script) as port:
        exc = refusal(Replies(settings(server, port=port, tls="starttls"), SECRET).fetch, SECRET)
    assert exc.permanent
    assert "offers no STARTTLS" in exc.line()
    assert {line.split()[1] for line in heard} == {b"CAPABILITY"}


@pytest.mark.contract
def test_a_dropped_connection_is_made_anew(certificates, refusal):
    with peers.imap(user=USER, password=SECRET) as other:
        replies = Replies(settings(other), SECRET)
        put(other, f"Re: [{CODE}]")
        (first,) = replies.fetch()
        other.stop()
        exc = refusal(replies.fetch, SECRET)
        assert not exc.permanent
        other.start()
        assert replies.fetch() == [first]
        other.stop()
        other.start()
        replies.confirm([first])  # over a kept connection that is dead
        assert other.seen() == [True]
        assert replies.fetch() == []
        replies.close()


@pytest.mark.contract
def test_servers_that_hang_drip_or_talk_nonsense_are_left(server, refusal):
    with peers.raw(lambda connection: connection.recv(1)) as port:
        exc = refusal(Replies(settings(server, port=port), SECRET, timeout_s=0.3).fetch, SECRET)
        assert not exc.permanent
        assert "does not answer" in exc.line()
    over = threading.Event()

    def drip(connection: socket.socket) -> None:
        while not over.wait(0.05):
            connection.sendall(b"* ")

    with peers.raw(drip) as port:
        exc = refusal(Replies(settings(server, port=port), SECRET, limit_s=0.4).fetch, SECRET)
        assert "no outcome within 0.4 s" in exc.line()
        over.set()

    def nonsense(connection: socket.socket) -> None:
        connection.sendall(b"220 this is another kind of server\r\n")
        connection.recv(100)

    with peers.raw(nonsense) as port:
        assert not refusal(Replies(settings(server, port=port), SECRET, timeout_s=1).fetch, SECRET).permanent
    closed = peers.free_socket()
    exc = refusal(Replies(settings(server, port=closed.getsockname()[1]), SECRET).fetch, SECRET)
    closed.close()
    assert "nothing listens" in exc.line()


# -- heaps and odd mails -------------------------------------------------------------------------------------


@pytest.mark.contract
def test_a_fresh_reply_is_found_before_an_old_heap(inbox, replies):
    for i in range(230):
        inbox.maildir.put("a@b.example", f"Subject: news {i}\r\n\r\nx\r\n".encode())
    inbox.maildir.put("a@b.example", f"Subject: Re: [{CODE}]\r\n\r\nx\r\n".encode())
    assert [r.codes for r in replies.fetch()] == [(CODE,)]
    inbox.maildir.put("a@b.example", b"Subject: Re: [00000-00001]\r\n\r\nx\r\n")
    assert [r.codes for r in replies.fetch()] == [(CODE,), ("00000-00001",)]


@pytest.mark.contract
def test_a_huge_mail_is_read_at_its_beginning_only(inbox, replies):
    put(inbox, f"Re: [{CODE}]", "x " * 3_000_000)
    inbox.maildir.put("a@b.example", b"Subject: [00000-00001]\r\nX-Long: " + b"y" * 200_000 + b"\r\n\r\nx\r\n")
    assert [r.codes for r in replies.fetch()] == [(CODE,)]


@pytest.mark.contract
def test_broken_mails_hide_no_whole_one(inbox, replies):
    odd = [
        b"", b"\r\n\r\n", b"\xff\xfe\xfd", b"no headers at all", b"Subject: =?nobody-knows?B?/////?=\r\n\r\n",
        b"Content-Type: multipart/mixed; boundary=\r\n\r\n--\r\n",
        b"Content-Type: text/plain; charset=\xff\r\n\r\n\xff",
        b"Content-Type: multipart/mixed; boundary=a\r\n\r\n"
        + b"--a\r\nContent-Type: multipart/mixed; boundary=a\r\n\r\n" * 900,
        b"From: <<<>>>,,;\r\nSubject: \x00\r\nContent-Transfer-Encoding: base64\r\n\r\n!!!!",
        b"Content-Type: message/rfc822\r\n\r\nContent-Type: message/rfc822\r\n\r\n",
    ]  # fmt: skip
    for content in odd:
        inbox.maildir.put("a@b.example", content)
    put(inbox, f"Re: [{CODE}]")
    assert [r.codes for r in replies.fetch()] == [(CODE,)]
