"""What a mail says: codes and who wrote it, without any server."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.couriers.attempt import HIDDEN, one_line, said
from leadline.couriers.replies import codes_in, modified_utf7, reply_in

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # Crockford, "Base 32": no I, L, O, U
CODE = "7QK4F-9XM2B"
GROUP = st.text(ALPHABET, min_size=5, max_size=5)


def mail(subject: str = f"Re: [{CODE}]", body: str = "Seen.", **headers: str) -> bytes:
    head = {"From": "keeper@reef.example", "Subject": subject, **{k.replace("_", "-"): v for k, v in headers.items()}}
    return ("".join(f"{k}: {v}\r\n" for k, v in head.items()) + "\r\n" + body.replace("\n", "\r\n")).encode()


def codes(raw: bytes) -> tuple[str, ...]:
    found = reply_in(raw)
    return found.codes if found else ()


@pytest.mark.published
@pytest.mark.parametrize(
    ("typed", "read"),
    [  # Crockford, "Base 32": "the letters i, l are read as 1, o as 0; upper- and lowercase letters are accepted"
        ("7qk4f-9xm2b", [CODE]),
        ("OIL0o-il1IL", ["01100-11111"]),
        ("OU000-00000", []),  # U is in no code
        ("7QK4F–9XM2B", [CODE]),  # a phone makes a dash of a hyphen
        ("7QK4F‑9XM2B", [CODE]),
        ("7QK4F - 9XM2B", [CODE]),
        (f"Re: [AW: [{CODE}]] {CODE.lower()}", [CODE]),
        ("x7QK4F-9XM2B", []),
        ("7QK4F-9XM2BC", []),
        ("7QK4F9XM2B", []),
        ("7QK4F-9XM2", []),
        ("", []),
    ],
)
def test_codes_are_read_as_people_write_them(typed, read):
    assert codes_in(typed) == read


@pytest.mark.law
@given(
    first=GROUP, second=GROUP, before=st.sampled_from(["", " ", "[", "\n", "("]), after=st.sampled_from(["", ".", "]"])
)
def test_every_code_is_found_in_any_letters(first, second, before, after):
    for written in (f"{first}-{second}", f"{first}-{second}".lower()):
        assert codes_in(before + written + after) == [f"{first}-{second}"]


@pytest.mark.law
@given(st.text(max_size=400))
def test_any_text_can_be_looked_through(text):
    for code in codes_in(text):
        assert len(code) == 11
        assert set(code.replace("-", "")) <= set(ALPHABET)


@pytest.mark.contract
def test_quoted_lines_do_not_count_and_own_lines_do():
    assert codes(mail("Re: alarm", f"I saw {CODE}.\n> 00000-00001\n  > 00000-00002\n")) == (CODE,)
    assert codes(mail("Re: alarm", f"> {CODE}\n")) == ()
    assert codes(mail("Re: alarm", f"Fine.\n-----Original Message-----\n{CODE}\n")) == ()
    assert codes(mail("Re: alarm", "", Content_Type="text/html")) == ()


AUTOMATIC = [
    pytest.param({"Auto_Submitted": "auto-replied"}, id="RFC 3834, section 5"),
    pytest.param({"Auto_Submitted": "auto-generated; owner-email=x@y.example"}, id="RFC 3834, with a parameter"),
    pytest.param({"AUTO-SUBMITTED": "Auto-Replied (vacation)"}, id="capitals"),
    pytest.param({"Precedence": "bulk"}, id="bulk"),
    pytest.param({"Precedence": "auto_reply"}, id="auto_reply"),
    pytest.param({"Precedence": "junk"}, id="junk"),
    pytest.param({"Return-Path": "<>"}, id="RFC 5321, section 4.5.5: no return for a notice"),
    pytest.param({"Content-Type": 'multipart/report; report-type=delivery-status; boundary="x"'}, id="RFC 3464"),
    pytest.param(
        {"Content-Type": 'multipart/report; report-type=disposition-notification; boundary="x"'}, id="RFC 8098"
    ),
    pytest.param({"From": "MAILER-DAEMON@mail.example (Mail Delivery System)"}, id="the mail system"),
    pytest.param({"From": "Postmaster <postmaster@mail.example>"}, id="postmaster"),
    pytest.param({"Sender": "mailer-daemon@mail.example"}, id="sent for the mail system"),
    pytest.param({"X-Autoreply": "yes"}, id="X-Autoreply"),
    pytest.param({"X-Failed-Recipients": "keeper@reef.example"}, id="X-Failed-Recipients"),
    pytest.param({"Message-ID": "<leadline.d-17@reef.example>"}, id="our own mail, its marks lost on the way"),
    pytest.param({"Subject": f"Automatic reply: alarm [{CODE}]"}, id="a subject of absence"),
    pytest.param({"Subject": f"Undeliverable: alarm [{CODE}]"}, id="a subject of a bounce"),
    pytest.param({"Subject": f"Out of Office Re: [{CODE}]"}, id="out of office"),
]


@pytest.mark.published
@pytest.mark.parametrize("headers", AUTOMATIC)
def test_what_no_person_wrote_acknowledges_nothing(headers):
    assert codes(mail(body=f"Seen {CODE}", **headers)) == ()


@pytest.mark.published
def test_a_mail_that_says_a_person_wrote_it_counts():
    assert codes(mail(Auto_Submitted="no")) == (CODE,)  # RFC 3834, section 5
    assert codes(mail(Auto_Submitted="No", Precedence="normal", Return_Path="<keeper@reef.example>")) == (CODE,)
    assert codes(b"Auto-Submitted: no\r\nAuto-Submitted: auto-replied\r\n" + mail()) == ()


@pytest.mark.published
def test_a_subject_in_coded_words_is_read():
    # RFC 2047; the same subject in base 64 and in Q, and cut in two as a long one is
    assert codes(mail("=?utf-8?B?UmU6IMOEcmdlciBbN1FLNEYtOVhNMkJd?=")) == (CODE,)
    assert codes(mail("=?iso-8859-1?Q?Re=3A_=C4rger_=5B7QK4F-9?=\r\n =?iso-8859-1?Q?XM2B=5D?=")) == (CODE,)


@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "coded"),
    [  # RFC 3501, section 5.1.3, and its rule for the ampersand
        ("~peter/mail/台北/日本語", "~peter/mail/&U,BTFw-/&ZeVnLIqe-"),
        ("A & B", "A &- B"),
        ("INBOX", "INBOX"),
    ],
)
def test_names_of_folders_are_coded_as_imap_wants_them(name, coded):
    assert modified_utf7(name) == coded


@pytest.mark.law
@given(st.binary(max_size=2000))
def test_any_bytes_can_be_looked_through(raw):
    reply_in(raw)
    reply_in(b"Subject: " + raw)
    reply_in(b"Content-Type: multipart/mixed; boundary=a\r\n\r\n--a\r\n" + raw + b"\r\n--a--\r\n")
    reply_in(b"Content-Transfer-Encoding: quoted-printable\r\nContent-Type: text/plain; charset=" + raw)


@pytest.mark.law
@given(secret=st.text(min_size=4, max_size=40).filter(str.strip), around=st.text(max_size=30))
def test_a_secret_is_never_repeated(secret, around):
    import base64
    import urllib.parse

    in_64 = base64.b64encode(secret.encode("utf-8", "replace")).decode()
    quoted = urllib.parse.quote(secret, safe="", errors="replace")
    line = said(f"{around} {secret} {in_64} {quoted}", [secret], limit=10_000)
    for shown in (secret, in_64, quoted):
        if shown not in around and shown not in HIDDEN * 3 and one_line(shown) not in one_line(around):
            assert shown not in line
