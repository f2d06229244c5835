"""Mail over real SMTP servers: every outcome, and mail that says what was meant and nothing else."""

from __future__ import annotations

import dataclasses
import datetime as dt
import email.utils
import socket
import threading
from email.message import EmailMessage

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.couriers.conftest import SECRET
from tests.peers import mail as peers

from leadline.app.ports import Outgoing
from leadline.couriers.mail import Mail
from leadline.measures.moments import UTC, FixedClock
from leadline.system.orders import MailPath

PLAIN = MailPath("mail-a", "keeper@reef.example", "Watch <watch@reef.example>", "127.0.0.1", 0, tls="none")


def path(port: int, **more) -> MailPath:
    return dataclasses.replace(PLAIN, port=port, **more)


@pytest.fixture(scope="module")
def post():
    with peers.post() as server:
        yield server


@pytest.fixture(scope="module")
def guarded():
    """One that asks for a login."""
    with peers.post(user="keeper", password=SECRET) as server:
        yield server


# -- handed over ---------------------------------------------------------------------------------------


@pytest.mark.contract
def test_a_mail_arrives_as_it_was_meant(post, clock, message):
    receipt = Mail(path(post.port), "", clock, reply_to="answers@reef.example").send(message)
    assert receipt.state == "handed-over"
    assert receipt.note == f"127.0.0.1:{post.port} said 250 2.0.0 Kept as number 1"
    letter = post.messages()[-1]
    assert letter["Subject"] == "North room: 28,9 °C and rising [7QK4F-9XM2B]"
    assert letter["From"] == "Watch <watch@reef.example>"
    assert letter["To"] == "keeper@reef.example"
    assert letter["Reply-To"] == "answers@reef.example"
    assert email.utils.parsedate_to_datetime(letter["Date"]) == clock.now()
    assert letter["Auto-Submitted"] == "auto-generated"  # RFC 3834, section 5
    assert letter["X-Priority"] == "1 (Highest)"
    assert letter["Importance"] == "high"
    assert letter.get_content_type() == "text/plain"
    assert letter.get_content_charset() == "utf-8"
    assert not letter.is_multipart()
    text = letter.get_content().replace("\r\n", "\n")
    assert text.startswith(message.text)
    assert text.count(message.link) == 1
    assert "leave [7QK4F-9XM2B] in its subject" in text


@pytest.mark.contract
@pytest.mark.parametrize(
    ("priority", "mark", "importance"),
    [("low", None, None), ("medium", None, None), ("high", "2 (High)", "high"), ("urgent", "1 (Highest)", "high")],
)
def test_only_loud_alarms_are_marked_as_loud(post, clock, message, priority, mark, importance):
    Mail(path(post.port), "", clock).send(dataclasses.replace(message, priority=priority))
    letter = post.messages()[-1]
    assert letter["X-Priority"] == mark
    assert letter["Importance"] == importance
    assert letter["Reply-To"] is None


@pytest.mark.contract
def test_a_duplicate_carries_the_same_id_and_another_message_another(post, clock, message):
    courier = Mail(path(post.port), "", clock)
    courier.send(message)
    clock.moment += clock.moment - clock.moment.replace(hour=7)
    Mail(path(post.port), "", clock).send(dataclasses.replace(message, subject="Still rising"))
    courier.send(dataclasses.replace(message, id="d-18"))
    Mail(path(post.port, id="mail-b"), "", clock).send(message)
    first, again, other, elsewhere = [m["Message-ID"] for m in post.messages()[-4:]]
    assert elsewhere == "<leadline.d-17.mail-b@reef.example>"
    assert first == again == "<leadline.d-17.mail-a@reef.example>"
    assert other != first


@pytest.mark.contract
def test_the_link_and_the_code_are_not_said_twice(post, clock, message):
    text = f"Tap {message.link} or reply with {message.code}."
    Mail(path(post.port), "", clock).send(dataclasses.replace(message, text=text))
    assert post.messages()[-1].get_content().strip() == text


@pytest.mark.contract
def test_a_password_in_any_letters_logs_in(guarded, clock, message):
    receipt = Mail(path(guarded.port, user="keeper"), SECRET, clock).send(message)
    assert receipt.state == "handed-over"
    assert guarded.messages()[-1]["Message-ID"] == "<leadline.d-17.mail-a@reef.example>"


@pytest.mark.contract
def test_a_password_in_plain_letters_logs_in(clock, message):
    with peers.post(user="keeper", password="plain-letters") as server:
        assert Mail(path(server.port, user="keeper"), "plain-letters", clock).send(message).state == "handed-over"


@pytest.mark.contract
def test_an_address_in_other_letters_is_sent_when_the_server_takes_it(post, clock, message):
    Mail(path(post.port, to="Jörn Ström <jörn@reef.example>"), "", clock).send(message)
    assert "\r\nTo: Jörn Ström <jörn@reef.example>\r\n".encode() in post.kept[-1]  # RFC 6532: headers in UTF-8


@pytest.mark.contract
def test_a_server_that_hangs_after_it_took_the_mail_has_taken_it(clock, message):
    def script(connection: socket.socket) -> None:
        lines = connection.makefile("rb")
        connection.sendall(b"220 here\r\n")
        for line in lines:
            word = line[:4].upper()
            if word == b"DATA":
                connection.sendall(b"354 go on\r\n")
                while lines.readline() != b".\r\n":
                    pass
                connection.sendall(b"250 mine\r\n")
            elif word == b"QUIT":
                connection.recv(1)  # never answers
            else:
                connection.sendall(b"250 fine\r\n")

    with peers.raw(script) as port:
        assert Mail(path(port), "", clock, timeout_s=0.3).send(message).note.endswith("said 250 mine")


# -- refused for good ------------------------------------------------------------------------------------


@pytest.mark.contract
@pytest.mark.parametrize(
    ("to", "words"),
    [
        ("refused@reef.example", "refused the recipient refused@reef.example: it said 550 5.1.1 No such user here"),
        ("data-refused@reef.example", "refused the mail: it said 554 5.7.1 Looks like something nobody wants"),
    ],
)
def test_what_the_server_refuses_is_refused_for_good(post, clock, message, refusal, to, words):
    before = len(post.kept)
    exc = refusal(lambda: Mail(path(post.port, to=to), "", clock).send(message))
    assert exc.permanent
    assert exc.line() == f"path mail-a: 127.0.0.1:{post.port} {words}"
    assert len(post.kept) == before


@pytest.mark.contract
def test_a_wrong_password_is_refused_for_good_and_shown_to_nobody(guarded, clock, message, refusal):
    half = "s3" + "cret"  # in two parts, for a traceback shows lines of this file
    wrong = "wröng-" + half  # this server quotes it in its answer
    exc = refusal(lambda: Mail(path(guarded.port, user="keeper"), wrong, clock).send(message), wrong, half)
    assert exc.permanent
    assert "refused the login of keeper: it said 535 5.7.8 *** is wrong. Check user and password." in exc.line()


@pytest.mark.contract
def test_a_server_that_quotes_the_password_is_not_quoted(guarded, clock, message, refusal):
    exc = refusal(
        lambda: Mail(path(guarded.port, user="keeper", to="echo@reef.example"), SECRET, clock).send(message), SECRET
    )
    assert exc.permanent
    assert "your password *** is known" in exc.line()


@pytest.mark.contract
def test_the_password_is_in_nothing_that_is_shown(clock, message):
    courier = Mail(path(25, user="keeper", password="secret:mail"), SECRET, clock)
    assert SECRET not in repr(courier)
    assert SECRET not in str(courier)


@pytest.mark.contract
@pytest.mark.parametrize("host", ["192.0.2.1", "mail.example", "localhost.example"])
def test_no_password_goes_out_in_the_clear(clock, message, refusal, host):
    # 192.0.2.0/24 is for documentation (RFC 5737): nothing is there, so that a try to connect would take its time
    exc = refusal(lambda: Mail(path(25, host=host, user="keeper"), SECRET, clock, limit_s=2).send(message), SECRET)
    assert exc.permanent
    assert "for all to read" in exc.line()


@pytest.mark.contract
def test_a_missing_password_and_a_server_without_login_are_said(post, clock, message, refusal):
    assert "no password for keeper" in refusal(lambda: Mail(path(9, user="keeper"), "", clock).send(message)).line()
    exc = refusal(lambda: Mail(path(post.port, user="keeper"), SECRET, clock).send(message), SECRET)
    assert exc.permanent
    assert "offers no way to log in" in exc.line()


@pytest.mark.contract
@pytest.mark.parametrize(
    "to",
    [
        "",
        "keeper",
        "a@b.example, c@d.example",
        "keeper@",
        "@reef.example",
        "a@b.example\nBcc: x@y.example",
        "=?utf-8?q?x=0D=0ABcc=3A_y?= <a@b.example>",
        "<>",
        "(",
        '"',
    ],
)
def test_what_is_no_address_is_said_before_anything_is_sent(post, clock, message, refusal, to):
    exc = refusal(lambda: Mail(path(post.port, to=to), "", clock).send(message))
    assert exc.permanent
    assert "is no mail address" in exc.line()


# -- perhaps next time -----------------------------------------------------------------------------------


@pytest.mark.contract
@pytest.mark.parametrize(
    ("to", "words"),
    [
        ("later@reef.example", "put the recipient later@reef.example off: it said 451 4.3.0 Come back in a while"),
        ("data-later@reef.example", "put the mail off: it said 452 4.2.2 Full"),
        ("drop@reef.example", "broke the connection off before it said that it has the mail"),
    ],
)
def test_what_may_pass_is_tried_again(post, clock, message, refusal, to, words):
    before = len(post.kept)
    exc = refusal(lambda: Mail(path(post.port, to=to), "", clock).send(message))
    assert not exc.permanent
    assert exc.line() == f"path mail-a: 127.0.0.1:{post.port} {words}"
    assert len(post.kept) == before


@pytest.mark.contract
def test_a_login_that_is_put_off_is_tried_again(guarded, clock, message, refusal):
    exc = refusal(lambda: Mail(path(guarded.port, user="locked"), SECRET, clock).send(message), SECRET)
    assert not exc.permanent
    assert "454 4.7.0 Not just now" in exc.line()


@pytest.mark.contract
def test_a_server_that_hangs_in_the_middle_is_left(post, clock, message, refusal):
    exc = refusal(lambda: Mail(path(post.port, to="hang@reef.example"), "", clock, timeout_s=0.3).send(message))
    assert post.reached.is_set()
    assert not exc.permanent
    assert exc.line().endswith("does not answer")


@pytest.mark.contract
def test_a_server_that_never_greets_is_left(clock, message, refusal):
    with peers.raw(lambda connection: connection.recv(1)) as port:
        exc = refusal(lambda: Mail(path(port), "", clock, timeout_s=0.3).send(message))
    assert not exc.permanent
    assert exc.line().endswith("does not answer")


@pytest.mark.contract
def test_a_server_that_drips_does_not_outlast_the_limit(clock, message, refusal):
    over = threading.Event()

    def drip(connection: socket.socket) -> None:
        while not over.wait(0.05):
            connection.sendall(b"2")

    with peers.raw(drip) as port:
        exc = refusal(lambda: Mail(path(port), "", clock, timeout_s=5, limit_s=0.5).send(message))
        over.set()
    assert not exc.permanent
    assert "no outcome within 0.5 s" in exc.line()


@pytest.mark.contract
def test_nobody_there_is_said_in_plain_words(clock, message, refusal):
    closed = peers.free_socket()  # bound, and nobody listens
    port = closed.getsockname()[1]
    exc = refusal(lambda: Mail(path(port), "", clock).send(message))
    closed.close()
    assert not exc.permanent
    assert exc.line() == f"path mail-a: nothing listens at 127.0.0.1:{port}"
    # names under .invalid exist nowhere (RFC 2606)
    exc = refusal(lambda: Mail(path(25, host="mail.invalid"), "", clock).send(message))
    assert not exc.permanent
    assert exc.line() == "path mail-a: the name in mail.invalid:25 cannot be found"


@pytest.mark.contract
@pytest.mark.parametrize("host", ["a" * 70 + ".example", "..", "mail..example"])
def test_a_host_that_can_be_no_name_is_said(clock, message, refusal, host):
    exc = refusal(lambda: Mail(path(25, host=host), "", clock).send(message))
    assert "host" in exc.line() or "cannot be found" in exc.line()


@pytest.mark.contract
@pytest.mark.parametrize(
    "greeting", [b"554 5.3.2 not today\r\n", b"421 4.3.2 too many\r\n", b"\xff\xfe\x00 nonsense\r\n"]
)
def test_a_greeting_that_is_none(clock, message, refusal, greeting):
    def script(connection: socket.socket) -> None:
        connection.sendall(greeting)
        connection.recv(100)

    with peers.raw(script) as port:
        exc = refusal(lambda: Mail(path(port), "", clock, timeout_s=2).send(message))
    assert exc.permanent == greeting.startswith(b"5")


# -- data from outside stays data --------------------------------------------------------------------------

HOSTILE = st.one_of(
    st.text(max_size=300),
    st.sampled_from(
        [
            "x\r\nBcc: thief@evil.example", "x\nTo: a@b.example\n\nbody", "=?utf-8?q?x=0D=0ABcc=3A_a=40b=2Eexample?=",
            "=??Q?=0D=0A", "=\u202e?utf-8?q?=0D=0AX=3A_y?=", "x\u2028Bcc: a@b.example",
            "x\x85Bcc: a@b.example", "x\x0bBcc: y", "x\rBcc: y", "\r\n.\r\nMAIL FROM:<a@b>",
            "\u202egnissecorp",
            "x" * 2000, "\ud800", "\x00", ".", "..\r\n.", "From a@b", "", " ", "\U0001f420" * 60,
        ]
    ),
)  # fmt: skip


@pytest.mark.law
@given(subject=HOSTILE, text=HOSTILE, ident=HOSTILE, code=HOSTILE, link=HOSTILE, priority=HOSTILE)
def test_no_words_of_a_message_make_a_header(clock_for_law, subject, text, ident, code, link, priority):
    letter = Mail(PLAIN, "", clock_for_law).letter(Outgoing(ident, priority, subject, text, link, code))
    raw = letter.as_bytes()
    head, _, _ = raw.partition(b"\r\n\r\n")
    names = [line.partition(b":")[0] for line in head.split(b"\r\n") if not line.startswith((b" ", b"\t"))]
    assert sorted(n.decode() for n in names if n not in (b"X-Priority", b"Importance")) == sorted(
        ["From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted", "Content-Type", "MIME-Version"]
        + ["Content-Transfer-Encoding"]
    )
    assert b"\n" not in raw.replace(b"\r\n", b"")
    assert b"\r" not in raw.replace(b"\r\n", b"")
    assert raw.isascii()
    assert max(len(line) for line in raw.split(b"\r\n")) <= 998  # RFC 5322, section 2.1.1
    assert b"\0" not in raw
    again = peers.message_from_bytes(raw, policy=peers.default)
    assert isinstance(again, EmailMessage)
    assert [a.addr_spec for a in again["To"].addresses] == ["keeper@reef.example"]
    assert again.get_content_type() == "text/plain"
    assert not again.defects


PLAIN_LETTERS = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=60)


@pytest.mark.law
@given(subject=PLAIN_LETTERS.filter(lambda s: "=?" not in s))
def test_a_subject_arrives_letter_by_letter(clock_for_law, subject):
    raw = Mail(PLAIN, "", clock_for_law).letter(Outgoing("1", "low", subject, "x", "", "7QK4F-9XM2B")).as_bytes()
    assert peers.message_from_bytes(raw, policy=peers.default)["Subject"] == f"{subject} [7QK4F-9XM2B]"


@pytest.mark.published
def test_a_coded_word_from_outside_arrives_as_it_was_written_but_for_a_space():
    # RFC 2047, section 2: "=?" begins one; a reader would show what it holds instead
    courier = Mail(PLAIN, "", FixedClock(dt.datetime(2026, 3, 1, tzinfo=UTC)))
    raw = courier.letter(Outgoing("1", "low", "a =?utf-8?q?=0D=0ABcc=3A_x?= b", "x")).as_bytes()
    assert b"Subject: a = ?utf-8?q?=0D=0ABcc=3A_x?= b\r\n" in raw


@pytest.mark.law
@given(ident=st.text(max_size=200), other=st.text(max_size=200))
def test_ids_of_mail_differ_as_ids_of_messages_do(clock_for_law, ident, other):
    courier = Mail(PLAIN, "", clock_for_law)
    first, second = (courier.letter(Outgoing(i, "low", "s", "t"))["Message-ID"] for i in (ident, other))
    assert (first == second) == (ident == other)


@pytest.mark.contract
def test_a_lone_dot_and_hostile_lines_arrive_as_text(post, clock, message):
    text = "one\n.\nQUIT\n..two\n\nBcc: thief@evil.example"
    before = len(post.kept)
    Mail(path(post.port), "", clock).send(dataclasses.replace(message, text=text, link="", code=""))
    assert len(post.kept) == before + 1
    assert post.messages()[-1].get_content().replace("\r\n", "\n") == text + "\n"


@pytest.fixture(scope="module")
def clock_for_law():
    return FixedClock(dt.datetime(2026, 3, 1, 8, 0, tzinfo=UTC))
