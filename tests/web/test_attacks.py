"""Attacks on the doors over a real server: each was tried by hand first, and each that got in has its test here."""

from __future__ import annotations

import asyncio
import base64
import concurrent.futures
import csv
import datetime as dt
import io
import re
import socket
import threading
import zipfile
from dataclasses import replace

import httpx
import openpyxl
import pytest
from tests.web.conftest import served
from tests.web.test_doors import NOW, WORDS, House, house  # noqa: F401 - a fixture
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from leadline.app import accounts, passkeys, record
from leadline.app.ports import DoorEvent
from leadline.formats import opening
from leadline.journal.entry import Entry, content_id
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock
from leadline.store.backup import back_up
from leadline.store.restore import restore
from leadline.store.sqlite import SqliteStore
from leadline.web import site
from leadline.web.doors import ROLES, Challenges, KeptDoors, Weighing, inside
from leadline.web.guard import HEADERS
from leadline.web.ways import Right

pytestmark = pytest.mark.door
OTHER = "seven slow herons wading"
ACCOUNTS = ("/me", "/people", "/share")


@pytest.fixture
def behind(house):  # noqa: F811
    """The same house behind a proxy at this machine's address, whose word about who asks is believed."""
    app = site.build(lambda: house.store(), house.clock, doors=KeptDoors(house.clock))
    with served(ProxyHeadersMiddleware(app, trusted_hosts="127.0.0.1")) as address:
        found = House(address, house.path, house.clock)
        yield found
        for client in found.clients:
            client.close()


def program(house, client, right="view"):  # noqa: F811
    page = client.post("/me/token", data={"name": "screen", "right": right}).text
    made = house.client()
    made.headers["authorization"] = f"Bearer {re.search(r'lead_[A-Za-z0-9_-]+', page)[0]}"
    return made


# -- roles, tokens, invitations -----------------------------------------------------------------------


def test_a_programs_token_may_nothing_that_concerns_an_account(house):  # noqa: F811
    owner = house.person("Ada", "owner")
    token = program(house, owner, "keep")
    with house.store() as store:  # as if she had only ever used a passkey: no present passphrase is asked for
        before = store.account("ada")
        store.keep_account(type(before)(before.id, before.name, before.role, "", before.made_at))
    assert token.post("/me/token", data={"name": "more", "right": "keep"}).status_code == 403
    assert token.post("/me/passphrase", data={"passphrase": OTHER}).status_code == 403
    assert token.post("/me/wishes", data={"units": "us"}).status_code == 403
    assert token.post("/share", data={"page": "/system/lagoon", "days": "7"}).status_code == 403
    assert token.post("/passkey/add/begin", json={}).status_code == 401
    token.post("/sign-out", data={"all": "1"})
    assert owner.get("/journal").status_code == 200  # nobody was signed out
    with house.store() as store:
        assert len(store.passes("program")) == 1
        assert store.account("ada").hash == ""


def test_the_ways_of_accounts_are_for_people(house):  # noqa: F811
    ways = [w for w in site.ways() if w.right is not Right.OPEN]
    assert {w.path for w in ways if w.in_person} == {
        w.path for w in ways if w.path.startswith(ACCOUNTS) and w.path != "/metrics"
    }


@pytest.mark.parametrize("role", list(ROLES))
def test_every_role_at_every_way(house, role):  # noqa: F811
    client = house.person("Cleo", role)
    for w in site.ways():
        path = re.sub(r"\{[^}]*\}", "lagoon", w.path)
        for method in w.methods - {"HEAD"}:
            if w.right is Right.OPEN:
                continue
            status = client.request(method, path, data={} if method == "POST" else None).status_code
            assert (status == 403) == (ROLES[role] < w.right), (method, path, status)
            assert status < 500, (method, path)


def test_of_many_who_hold_one_invitation_one_comes_in(house):  # noqa: F811
    with house.store() as store:
        secret = accounts.invite(store, house.clock, "", "owner")

    def come(n):
        return httpx.post(
            f"{house.address}/come-in/{secret}", data={"name": f"Eve {n}", "passphrase": WORDS}, timeout=60
        )

    with concurrent.futures.ThreadPoolExecutor(8) as many:
        codes = sorted(a.status_code for a in many.map(come, range(8)))
    assert codes[0] == 303
    assert codes.count(303) == 1
    with house.store() as store:
        assert len(store.accounts()) == 1


def test_an_invitation_taken_up_in_the_very_moment_lets_nobody_else_in(house, monkeypatch):  # noqa: F811
    look = accounts.invitation
    with house.store() as store:
        secret = accounts.invite(store, house.clock, "", "owner")

        def seen(store, clock, given):
            found = look(store, clock, given)
            monkeypatch.setattr(accounts, "invitation", look)
            accounts.come_in(store, clock, given, "Ada", WORDS)
            return found

        monkeypatch.setattr(accounts, "invitation", seen)
        with pytest.raises(BadInput, match="was used"):
            accounts.come_in(store, house.clock, secret, "Eve", OTHER)
        assert [a.name for a in store.accounts()] == ["Ada"]


def test_the_address_of_the_first_start_ends_when_an_owner_is_made_elsewhere(house):  # noqa: F811
    with house.store() as store:
        secret = accounts.first_invitation(store, house.clock)
        accounts.make(store, house.clock, "Ada", "owner", WORDS)
        assert accounts.invitation(store, house.clock, secret) is None
    assert house.client().get(f"/come-in/{secret}").status_code == 404


def test_a_role_taken_away_while_a_passphrase_is_changed_stays_away(house, monkeypatch):  # noqa: F811
    weigh = accounts._hashed
    with house.store() as store:
        accounts.make(store, house.clock, "Ada", "owner", WORDS)
        bo = accounts.make(store, house.clock, "Bo", "keeper", WORDS)

        def meanwhile(passphrase, name):
            accounts.give_role(store, house.clock, "bo", "reader")
            return weigh(passphrase, name)

        monkeypatch.setattr(accounts, "_hashed", meanwhile)
        accounts.change_passphrase(store, house.clock, bo, OTHER)
        assert store.account("bo").role == "reader"

        def closed(passphrase, name):
            accounts.close(store, house.clock, "bo")
            return weigh(passphrase, name)

        monkeypatch.setattr(accounts, "_hashed", closed)
        with pytest.raises(BadInput, match="closed"):
            accounts.change_passphrase(store, house.clock, bo, OTHER)
        assert store.account("bo").closed_at is not None


def test_nobody_becomes_the_author_of_what_stood_there(house):  # noqa: F811
    sitter = house.person("Siv", "sitter")
    form = {"quantity": "salinity", "value": "35", "unit": "psu"}
    with house.store() as store:  # at the prompt, so nobody's
        entry = record.log(store, house.clock, system="lagoon", kind="reading", subject="salinity", value_text="35",
                           unit="psu").entry  # fmt: skip
    assert sitter.post("/system/lagoon/log", data=form).status_code == 303
    with house.store() as store:
        assert [e.id for e in store.entries("lagoon")] == [entry.id]
        assert store.authors([entry.id]) == {}
    assert sitter.post(f"/system/lagoon/entry/{entry.id}/withdraw").status_code == 422


@pytest.mark.parametrize("name", ["kari-nordmann", "KARI  Nordmann", "Kari\u200b Nordmann", "\uff2bari Nordmann"])
def test_no_name_passes_for_anothers(house, name):  # noqa: F811
    with house.store() as store:
        accounts.make(store, house.clock, "Kari Nordmann", "keeper", WORDS)
        with pytest.raises(BadInput):
            accounts.make(store, house.clock, name, "reader", WORDS)


def test_a_name_can_not_steer_the_terminal_that_lists_it(house):  # noqa: F811
    owner = house.person("Ada", "owner")
    owner.post("/me/token", data={"name": "\x1b[2J\u202escreen\x07", "right": "view"})
    owner.post("/people/invite", data={"name": "Bo\x1b]0;x\x07", "role": "reader"})
    with house.store() as store:
        kept = [*(p.name for p in store.passes()), *(e.what for e in store.door_events()),
                *(e.account for e in store.door_events())]  # fmt: skip
    assert all(x.isprintable() for x in kept)


# -- how often -----------------------------------------------------------------------------------------


def test_tries_at_once_are_counted_before_they_are_weighed(house):  # noqa: F811
    house.person("Ada", "owner")

    def knock(n):
        form = {"name": f"Nobody {n}", "passphrase": "not the right words"}
        return httpx.post(f"{house.address}/sign-in", data=form, timeout=60).status_code

    with concurrent.futures.ThreadPoolExecutor(24) as many:
        codes = list(many.map(knock, range(24)))
    assert codes.count(422) == site.SIGN_INS_A_MINUTE
    assert codes.count(429) == 24 - site.SIGN_INS_A_MINUTE


def test_passphrases_are_weighed_two_at_a_time_and_few_wait():
    """RFC 9106 takes 64 MiB for each: a flood must not take the memory that the watch needs."""
    at_once, most, gate = 0, 0, threading.Event()

    def work():
        nonlocal at_once, most
        with lock:
            at_once += 1
            most = max(most, at_once)
        gate.wait(20)
        with lock:
            at_once -= 1

    async def flood():
        weighing = Weighing()
        tries = [asyncio.ensure_future(weighing.weigh(work)) for _ in range(60)]
        refused, _ = await asyncio.wait(tries, return_when=asyncio.FIRST_EXCEPTION)
        gate.set()
        return await asyncio.gather(*tries, return_exceptions=True), refused

    lock = threading.Lock()
    with concurrent.futures.ThreadPoolExecutor(1) as apart:  # the browser of other tests has a loop in this thread
        done, refused = apart.submit(lambda: asyncio.run(flood())).result(60)
    assert refused
    assert most == 2
    assert sum(isinstance(x, BadInput) for x in done) == 40


def test_a_stranger_locks_nobody_out(behind):
    def knock(where, passphrase):
        form = {"name": "Ada", "passphrase": passphrase}
        headers = {"x-forwarded-for": where, "origin": behind.address}
        return httpx.post(f"{behind.address}/sign-in", data=form, headers=headers, timeout=60).status_code

    with behind.store() as store:
        accounts.make(store, behind.clock, "Ada", "owner", WORDS)
    assert knock("10.0.0.1", WORDS) == 303
    tries = [knock(f"10.0.1.{n // site.SIGN_INS_A_MINUTE}", "not the right words")
             for n in range(site.ACCOUNT_TRIES_A_MINUTE)]  # fmt: skip
    assert set(tries) == {422}
    assert knock("10.0.2.1", "not the right words") == 429  # many addresses are slowed down together
    assert knock("10.0.0.1", WORDS) == 303  # where she came in before she comes in


def test_addresses_of_one_house_are_counted_together(behind):
    """RFC 6177: a house has a /64 of IPv6 or more, so 2^64 addresses."""
    codes = []
    for n in range(site.SIGN_INS_A_MINUTE + 1):
        form = {"name": f"Nobody {n}", "passphrase": "not the right words"}
        headers = {"x-forwarded-for": f"2001:db8:0:1::{n:x}"}
        codes.append(httpx.post(f"{behind.address}/sign-in", data=form, headers=headers).status_code)
    assert codes == [422] * site.SIGN_INS_A_MINUTE + [429]


def test_who_knocks_on_and_on_pushes_out_nothing_but_refusals(house):  # noqa: F811
    with house.store() as store, store.together():
        store.door_happened(DoorEvent(NOW, "signed in", "ada", "10.0.0.1"))
        for _ in range(2_100):
            store.door_happened(DoorEvent(NOW, "wrong passphrase", "", "10.0.0.2"))
        kept = [e.what for e in store.door_events(9_000)]
        assert kept.count("wrong passphrase") == 2_000
        assert kept[-1] == "signed in"


def test_a_stranger_pushes_out_nobodys_challenge():
    kept = Challenges()
    kept.ask(b"hers", "in", "10.0.0.1")
    for n in range(2_000):
        kept.ask(n.to_bytes(4), "in", "10.0.0.2")
    assert kept.answered(b"hers", "in")


# -- odd requests --------------------------------------------------------------------------------------

JSON = {"content-type": "application/json"}
DEEP = base64.urlsafe_b64encode(b"[" * 40_000).decode()
SURROGATE = (
    b'--b\r\nContent-Disposition: form-data; name="passphrase"\r\n\r\n\\ud800aaaaaaaaaaaaaaa\r\n'
    b'--b\r\nContent-Disposition: form-data; name="name"\r\n\r\nNobody\r\n--b--\r\n'
)
ODD = [
    ("GET", "/sign-in?to=//[", {}),
    ("GET", "/share?page=//[", {}),
    ("POST", "/sign-in", {"headers": {"origin": "http://["}}),
    ("POST", "/light", {"data": {"here": "http://["}}),
    ("POST", "/share", {"data": {"page": "/system/lagoon", "days": "\u00b2"}}),
    ("POST", "/import/parked", {"data": {"row": "\u00b2"}}),
    ("POST", "/passkey/join/begin", {"content": b'{"secret": "\\ud800"}', "headers": JSON}),
    ("POST", "/passkey/in/done", {"json": {"credential": {"response": {"clientDataJSON": DEEP}}}}),
    ("POST", "/sign-in", {"content": SURROGATE,
                          "headers": {"content-type": "multipart/form-data; boundary=b; charset=unicode_escape"}}),
    ("POST", "/sign-in", {"content": SURROGATE,
                          "headers": {"content-type": "multipart/form-data; boundary=b; charset=undefined"}}),
    ("POST", "/systems/lagoon/whole", {"data": {"document": "x = " + "[" * 5_000}}),
    ("GET", "/api/figures?days=nan", {}),
]  # fmt: skip


@pytest.mark.parametrize(("method", "path", "more"), ODD, ids=range(len(ODD)))
def test_an_odd_request_is_answered_in_one_line(house, method, path, more):  # noqa: F811
    answer = house.person("Ada", "owner").request(method, path, **more)
    assert answer.status_code < 500
    assert "Traceback" not in answer.text


def bare(address, path, host="127.0.0.1"):
    """A GET as its letters are given: no client mends its path or its host."""
    with socket.create_connection(("127.0.0.1", int(address.rpartition(":")[2]))) as line:
        line.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())
        return line.makefile("rb").read()


@pytest.mark.parametrize("host", ["[", "a b", "reef/people?", "reef@elsewhere.invalid", "reef:99999999", ""])
def test_a_host_that_is_none_is_refused(house, host):  # noqa: F811
    assert bare(house.address, "/sign-in", host).startswith(b"HTTP/1.1 400")


def test_every_refusal_carries_the_headers_too(tmp_path):
    def broken(store):
        raise RuntimeError("a fault of ours with a secret in it")

    clock = FixedClock(NOW)
    app = site.build(lambda: SqliteStore.open(tmp_path / "x.db", clock=clock), clock, hosts=("127.0.0.1",))
    app.state.lookout.systems = broken
    with served(app) as address:
        foreign = httpx.get(address, headers={"host": "elsewhere.invalid"})
        fault = httpx.get(address)
        forged = httpx.post(f"{address}/light", headers={"origin": "http://elsewhere.invalid"})
    assert [a.status_code for a in (foreign, fault, forged)] == [400, 500, 403]
    for answer in (foreign, fault, forged):
        assert {k: answer.headers.get(k) for k in HEADERS} == HEADERS
        assert answer.headers["cache-control"] == "no-store"
    assert "secret" not in fault.text


@pytest.mark.parametrize("path", ["//people", "/%2e%2e/people", "/static/..%2f..%2fdoors.py", "/PEOPLE", "/people;x",
                                  "/people%00", "/shared/../people", "/static/%2e%2e/%2e%2e/doors.py"])  # fmt: skip
def test_no_spelling_of_an_address_goes_round_its_door(house, path):  # noqa: F811
    assert bare(house.address, path).startswith(b"HTTP/1.1 404")


def test_no_method_but_a_ways_own_is_taken(house):  # noqa: F811
    owner = house.person("Ada", "owner")
    for method in ("OPTIONS", "TRACE", "PUT", "DELETE", "PATCH", "PROPFIND"):
        for path in ("/people", "/sign-in", "/system/lagoon", "/static/page.css"):
            assert owner.request(method, path).status_code == 405
    forged = owner.get(
        "/people/invite", params={"name": "Eve", "role": "owner"}, headers={"x-http-method-override": "POST"}
    )
    assert "/come-in/" not in forged.text


@pytest.mark.parametrize("to", ["//[", "/\x7f/x", "/\u202e", "///x", "/%0d%0aset-cookie:x=1", "/x\r\nset-cookie: x=1"])
def test_what_comes_after_a_sign_in_stays_on_this_site(to):
    found = inside(to)
    assert re.fullmatch(r"/(?![/\\]).*", found)
    assert found.isprintable()


# -- files ---------------------------------------------------------------------------------------------


def test_a_workbook_that_unpacks_to_gigabytes_is_not_unpacked(house):  # noqa: F811
    owner = house.person("Ada", "owner")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as book, book.open("xl/sharedStrings.xml", "w") as part:
        for _ in range(300):
            part.write(b" " * 1_000_000)
    sent = owner.post("/import", files={"file": ("bomb.xlsx", packed.getvalue())})
    assert sent.status_code == 303
    said = owner.get(sent.headers["location"])
    assert said.status_code == 200
    assert "unpacks to 300 MB" in said.text


OUTSIDE = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
NESTED = b"<!DOCTYPE x [<!ENTITY e0 'a'>%b]>" % b"".join(
    b"<!ENTITY e%d '%b'>" % (n, b"&e%d;" % (n - 1) * 10) for n in range(1, 12)
)


@pytest.mark.parametrize(("head", "cell"), [(OUTSIDE, b"&e;"), (NESTED, b"&e11;")], ids=["outside", "nested"])
def test_a_workbook_brings_no_entities_in(house, head, cell):  # noqa: F811
    plain, hooked = io.BytesIO(), io.BytesIO()
    book = openpyxl.Workbook()
    book.active.append(["date", "pH"])
    book.save(plain)
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(hooked, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                row = b'<sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>' + cell + b"</t></is></c></row>"
                part = head + part[part.index(b"<worksheet") :].replace(b"<sheetData>", row)
                assert cell in part
            new.writestr(name, part)
    owner = house.person("Ada", "owner")
    sent = owner.post("/import", files={"file": ("book.xlsx", hooked.getvalue())})
    said = owner.get(sent.headers["location"]).text
    assert "is no XLSX workbook, or a damaged one" in said
    assert "root:" not in said


@pytest.mark.parametrize(
    "note", ['=HYPERLINK("http://elsewhere.invalid")', "+1", "-1+1|' /C calc'!A0", "@SUM(1)", "'=1", "\t=1"]
)
def test_no_cell_of_an_export_is_a_formula_and_it_reads_back_as_it_was(house, note):  # noqa: F811
    sitter = house.person("Siv", "sitter")
    with house.store() as store:  # OWASP ASVS 5.0.0, 1.2.10: first signs of a formula
        entry = Entry(NOW, "lagoon", "note", note, note=note, source=note)
        store.add_entries([replace(entry, id=content_id(entry))])
        kept = store.entries("lagoon")
        text_ = sitter.get("/journal.csv").text
        for row in csv.reader(io.StringIO(text_)):
            assert not any(cell[:1] in tuple("=+-@\t\r") for cell in row)
        (house.path.parent / "again.csv").write_text(text_, encoding="utf-8", newline="")
        read = opening.read(house.path.parent / "again.csv", opening.desk_for(store, house.clock), opening.Options())
        assert read.entries == kept


def test_sessions_and_invitations_of_the_day_of_a_backup_open_nothing(house, tmp_path):  # noqa: F811
    client = house.person("Ada", "owner")
    with house.store() as store:
        secret = accounts.invite(store, house.clock, "Eve", "owner")
    back_up(house.path, tmp_path / "backup.db")
    restore(tmp_path / "backup.db", tmp_path / "again.db", clock=house.clock)
    with SqliteStore.open(tmp_path / "again.db", clock=house.clock) as store:
        assert accounts.of_session(store, house.clock, client.cookies["leadline"]) is None
        assert accounts.invitation(store, house.clock, secret) is None
        assert accounts.opens(store.account("ada"), WORDS)


def test_a_store_that_can_only_be_read_still_shows_its_pages(house):  # noqa: F811
    client = house.person("Ada", "owner")
    later = FixedClock(NOW + dt.timedelta(hours=3))
    app = site.build(lambda: SqliteStore.open(house.path, clock=later, write=False), later, doors=KeptDoors(later))
    with served(app) as address:
        seen = httpx.get(f"{address}/journal", cookies={"leadline": client.cookies["leadline"]})
    assert seen.status_code == 200


@pytest.mark.parametrize(
    "cbor", [b"", b"\x9f" * 9_000, b"\xbf\x61a", b"\xa1" + b"\x81" * 4_000, b"\xfb\xff", b"\xd8\x1c\x81"]
)
def test_what_a_device_sends_may_be_anything(house, cbor):  # noqa: F811
    def b64(raw):
        return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()

    client = b'{"type": "webauthn.create", "challenge": "YWJj", "origin": "http://localhost"}'
    sent = {"id": b64(b"x"), "rawId": b64(b"x"), "type": "public-key",
            "response": {"clientDataJSON": b64(client), "attestationObject": b64(cbor)}}  # fmt: skip
    with house.store() as store, pytest.raises(BadInput):
        passkeys.added(store, house.clock, passkeys.Place("localhost", "http://localhost"), "ada", sent, b"abc", "x")


# -- shared pages --------------------------------------------------------------------------------------


def test_a_shared_page_names_nobody_and_leads_nowhere_else(house):  # noqa: F811
    keeper, guest = house.person("Sivert Ytre", "keeper"), house.client()
    keeper.post("/journal/log", data={"system": "lagoon", "kind": "note", "note": "looked"})
    assert "Sivert Ytre" in keeper.get("/journal").text
    link = re.search(r"/shared/[\w-]+", keeper.post("/share", data={"page": "/journal", "days": "7"}).text)[0]
    seen = guest.get(link, params={"q": "nothing of the kind"})
    assert "looked" in seen.text  # what the address asks for beyond the link is not heard
    assert "Sivert Ytre" not in seen.text
    assert seen.headers["cache-control"] == "no-store"
    assert seen.headers["referrer-policy"] == "strict-origin"  # its address is the secret
    assert "set-cookie" not in seen.headers
    assert guest.get("/journal").status_code == 303
    assert guest.get(f"{link}/../../people").status_code in (303, 404)


@pytest.mark.parametrize(
    "page",
    [
        "/journal%2ecsv", "/journal.csv", "/systems", "/weekly", "/shared/x", "/system/../people",
        "/system/%2e%2e/people", "/livestock/photo/x", "/journal%252ecsv",
    ],
)  # fmt: skip
def test_what_is_no_page_to_share_is_not_shared(house, page):  # noqa: F811
    answer = house.person("Kari", "keeper").post("/share", data={"page": page, "days": "7"})
    assert answer.status_code == 422
    with house.store() as store, pytest.raises(BadInput):
        accounts.share(store, house.clock, "", page, page, 7)
