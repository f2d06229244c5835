"""Who may come in, and what they may do: accounts, sessions, roles, invitations, shared pages, over a real store."""

from __future__ import annotations

import datetime as dt
import re

import httpx
import pytest
from tests.web.conftest import served

from leadline.app import accounts, describe
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore
from leadline.web import site
from leadline.web.doors import ROLES, KeptDoors
from leadline.web.ways import Right

NOW = dt.datetime(2026, 3, 1, 8, 0, tzinfo=dt.UTC)
TOML = '[system]\nid = "lagoon"\nname = "Invented reef"\ntime_zone = "Europe/Oslo"\nnet_volume = "400 L"\n'
WORDS = "brass lantern over quiet shoals"


class House:
    """A served store with doors, and a client for each person."""

    def __init__(self, address: str, path, clock: FixedClock) -> None:
        self.address, self.path, self.clock = address, path, clock
        self.clients: list[httpx.Client] = []

    def store(self) -> SqliteStore:
        return SqliteStore.open(self.path, clock=self.clock)

    def client(self, secret: str = "") -> httpx.Client:
        made = httpx.Client(base_url=self.address, timeout=20, headers={"origin": self.address})
        self.clients.append(made)
        return made

    def person(self, name: str, role: str) -> httpx.Client:
        with self.store() as store:
            accounts.make(store, self.clock, name, role, WORDS)
        client = self.client()
        answer = client.post("/sign-in", data={"name": name, "passphrase": WORDS})
        assert answer.status_code == 303, answer.text
        return client


@pytest.fixture
def house(tmp_path):
    clock = FixedClock(NOW)
    path = tmp_path / "reef.db"
    with SqliteStore.open(path, clock=clock) as store:
        describe.add(store, clock, TOML)
    app = site.build(lambda: SqliteStore.open(path, clock=clock), clock, doors=KeptDoors(clock))
    with served(app) as address:
        found = House(address, path, clock)
        yield found
        for client in found.clients:
            client.close()


def test_at_the_first_start_nothing_is_shown_and_an_invitation_makes_the_owner(house):
    client = house.client()
    for path in ("/", "/system/lagoon", "/journal", "/watch", "/livestock"):
        assert client.get(path).headers["location"].startswith("/sign-in")
    assert "First start" in client.get("/sign-in").text
    with house.store() as store:
        secret = accounts.first_invitation(store, house.clock)
    assert "The owner" in client.get(f"/come-in/{secret}").text
    weak = client.post(f"/come-in/{secret}", data={"name": "Ada", "passphrase": "short"})
    assert weak.status_code == 422
    assert "at least 12 characters" in weak.text
    assert 'value="Ada"' in weak.text
    came = client.post(f"/come-in/{secret}", data={"name": "Ada", "passphrase": WORDS})
    assert came.status_code == 303
    cookie = came.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert client.get("/system/lagoon").status_code == 200
    assert house.client().post(f"/come-in/{secret}", data={"name": "Eve", "passphrase": WORDS}).status_code == 404
    with house.store() as store:
        assert [(a.name, a.role) for a in store.accounts()] == [("Ada", "owner")]
        assert accounts.first_invitation(store, house.clock) is None


def test_a_wrong_name_and_a_wrong_passphrase_are_told_alike_and_slowed_down(house):
    house.person("Ada", "owner")
    client = house.client()
    said = {
        client.post("/sign-in", data={"name": name, "passphrase": "not the right words"}).text.replace(name, "X")
        for name in ("Ada", "Eve")
    }
    assert len(said) == 1
    for _ in range(site.SIGN_INS_A_MINUTE):
        last = client.post("/sign-in", data={"name": "Ada", "passphrase": "not the right words"})
    assert last.status_code == 429
    assert client.post("/sign-in", data={"name": "Ada", "passphrase": WORDS}).status_code == 429
    with house.store() as store:
        assert sum(e.what == "wrong passphrase" for e in store.door_events()) >= site.SIGN_INS_A_MINUTE


WRITES = [  # path, form, the least role that may: contract of the roles, issue "The pages"
    ("/system/lagoon/log", {"quantity": "salinity", "value": "35", "unit": "psu"}, "sitter"),
    ("/journal/log", {"system": "lagoon", "kind": "note", "note": "looked"}, "sitter"),
    ("/watch/acknowledge", {"system": "lagoon", "alarm": "none"}, "sitter"),
    ("/watch/work", {"system": "lagoon", "kind": "cleaning"}, "keeper"),
    ("/livestock/arrive", {"kind": "chromis", "system": "lagoon"}, "keeper"),
    ("/share", {"page": "/system/lagoon", "days": "7"}, "keeper"),
    ("/people/invite", {"name": "Bo", "role": "reader"}, "owner"),
]


@pytest.mark.parametrize("role", list(ROLES))
def test_each_role_may_do_its_part_and_nothing_beyond(house, role):
    client = house.person("Cleo", role)
    assert client.get("/system/lagoon").status_code == 200
    for path, form, least in WRITES:
        answer = client.post(path, data=form)
        allowed = ROLES[role] >= ROLES[least]
        assert (answer.status_code != 403) == allowed, (path, answer.status_code)
    assert client.get("/people").status_code == (200 if role == "owner" else 403)


def test_a_page_offers_only_what_may_be_done(house):
    reader, keeper = house.person("Rune", "reader"), house.person("Kari", "keeper")
    for path in ("/system/lagoon", "/journal", "/livestock"):
        assert '<form method="post" action="/system' not in reader.get(path).text
        assert "Log it" not in reader.get(path).text
    assert "Enter reading" in keeper.get("/system/lagoon").text


def test_a_sitter_takes_back_their_own_entry_and_no_other(house):
    sitter, keeper = house.person("Siv", "sitter"), house.person("Kari", "keeper")
    for client, value in ((sitter, "35.1"), (keeper, "35.4")):
        client.post("/system/lagoon/log", data={"quantity": "salinity", "value": value, "unit": "psu"})
    with house.store() as store:
        mine, theirs = (e.id for e in store.entries("lagoon"))
        assert store.authors([mine, theirs]) == {mine: "siv", theirs: "kari"}
    assert sitter.post(f"/system/lagoon/entry/{mine}/withdraw").status_code == 303
    refused = sitter.post(f"/system/lagoon/entry/{theirs}/withdraw")
    assert refused.status_code == 422
    assert "somebody else wrote this entry" in refused.text
    assert keeper.post(f"/system/lagoon/entry/{theirs}/withdraw").status_code == 303
    assert "Siv" in keeper.get("/journal").text


def test_a_form_without_its_origin_is_refused_to_whoever_is_signed_in(house):
    client = house.person("Kari", "keeper")
    bare = httpx.Client(base_url=house.address, cookies=client.cookies)
    form = {"system": "lagoon", "kind": "note", "note": "forged"}
    assert bare.post("/journal/log", data=form).status_code == 403
    assert bare.post("/journal/log", data=form, headers={"origin": "http://elsewhere.invalid"}).status_code == 403
    assert bare.post("/journal/log", data=form, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    with house.store() as store:
        assert store.entries("lagoon") == []
    bare.close()


def test_a_session_ends_by_signing_out_by_lying_idle_and_by_its_age(house):
    client = house.person("Kari", "keeper")
    secret = client.cookies["leadline"]
    with house.store() as store:
        assert accounts.of_session(store, FixedClock(NOW + dt.timedelta(days=29)), secret) is not None
    with house.store() as store:  # seen on day 29, so idle from then on
        assert accounts.of_session(store, FixedClock(NOW + dt.timedelta(days=60)), secret) is None
        day = 29
        while day < accounts.SIGNED_IN_D:
            assert accounts.of_session(store, FixedClock(NOW + dt.timedelta(days=day)), secret) is not None
            day += 20
        assert accounts.of_session(store, FixedClock(NOW + dt.timedelta(days=accounts.SIGNED_IN_D)), secret) is None
    other = house.client()
    other.post("/sign-in", data={"name": "Kari", "passphrase": WORDS})
    assert client.post("/sign-out").status_code == 303
    assert other.get("/journal").status_code == 200
    replay = httpx.Client(base_url=house.address, cookies={"leadline": secret})
    assert replay.get("/journal").status_code == 303
    replay.close()


def test_every_sign_in_is_a_new_session_and_a_new_passphrase_ends_the_others(house):
    one, two = house.person("Kari", "keeper"), house.client()
    two.post("/sign-in", data={"name": "kari", "passphrase": WORDS})
    assert one.cookies["leadline"] != two.cookies["leadline"]
    before = one.cookies["leadline"]
    wrong = one.post(
        "/me/passphrase", data={"present": "not that one at all", "passphrase": "seven slow herons wading"}
    )
    assert wrong.status_code == 422
    assert (
        one.post("/me/passphrase", data={"present": WORDS, "passphrase": "seven slow herons wading"}).status_code == 303
    )
    assert one.get("/journal").status_code == 200
    assert two.get("/journal").status_code == 303
    assert one.cookies["leadline"] != before  # OWASP ASVS 5.0.0, 7.2.4
    replay = httpx.Client(base_url=house.address, cookies={"leadline": before})
    assert replay.get("/journal").status_code == 303
    replay.close()


def test_a_shared_page_shows_itself_alone_reads_only_and_ends(house):
    keeper, guest = house.person("Kari", "keeper"), house.client()
    made = keeper.post("/share", data={"page": "/system/lagoon?days=30", "days": "7"}).text
    link = re.search(r"/shared/[\w-]+", made)[0]
    seen = guest.get(link)
    assert seen.status_code == 200
    assert "Invented reef" in seen.text
    assert "Shared with you to read" in seen.text
    assert '<form method="post" action="/system' not in seen.text
    assert guest.get("/system/lagoon").status_code == 303
    assert guest.post(link).status_code == 405
    later = FixedClock(NOW + dt.timedelta(days=7))
    with house.store() as store:
        assert accounts.shared(store, house.clock, link.rpartition("/")[2]) is not None
        assert accounts.shared(store, later, link.rpartition("/")[2]) is None
        accounts.take_back(store, house.clock, store.passes("share")[0].digest[:16])
    assert guest.get(link).status_code == 404


@pytest.mark.parametrize("page", ["/people", "/me", "//elsewhere.invalid/x", "https://elsewhere.invalid", "/sign-in"])
def test_only_pages_to_look_at_are_shared(house, page):
    answer = house.person("Kari", "keeper").post("/share", data={"page": page, "days": "7"})
    assert answer.status_code == 422
    assert "/shared/" not in answer.text


@pytest.mark.parametrize(
    "to", ["https://elsewhere.invalid/", "//elsewhere.invalid", "/\\elsewhere.invalid", "javascript:alert(1)", "/\t/x"]
)
def test_a_sign_in_goes_on_to_this_site_alone(house, to):
    house.person("Kari", "keeper")
    answer = house.client().post("/sign-in", data={"name": "Kari", "passphrase": WORDS, "to": to})
    assert answer.headers["location"] == "/"


def test_a_programs_token_acts_for_its_owner_within_its_own_right(house):
    keeper = house.person("Kari", "keeper")
    page = keeper.post("/me/token", data={"name": "screen", "right": "view"}).text
    token = re.search(r"lead_[\w-]+", page)[0]
    program = httpx.Client(base_url=house.address, headers={"authorization": f"Bearer {token}"})
    assert program.get("/api/figures").status_code == 200
    refused = program.post("/journal/log", data={"system": "lagoon", "kind": "note", "note": "x"})
    assert refused.status_code == 403
    assert token not in keeper.get("/me").text
    with house.store() as store:
        assert token not in str(store.passes())
    assert program.get("/api/figures", headers={"authorization": "Bearer lead_wrong"}).status_code == 401
    program.close()


def test_the_last_owner_stays_and_a_closed_account_opens_nothing(house):
    owner, sitter = house.person("Ada", "owner"), house.person("Siv", "sitter")
    refused = owner.post("/people/role", data={"account": "ada", "role": "reader"})
    assert refused.status_code == 422
    assert "the only owner" in refused.text
    assert owner.post("/people/role", data={"account": "siv", "close": "1"}).status_code == 303
    assert sitter.get("/journal").status_code == 303
    assert house.client().post("/sign-in", data={"name": "Siv", "passphrase": WORDS}).status_code == 422


def test_every_way_asks_for_a_right_and_few_ask_for_none():
    doors = {(r.path, m): r.right for r in site.ways() for m in r.methods if m != "HEAD"}
    open_ways = sorted({path for (path, _), right in doors.items() if right is Right.OPEN})
    assert open_ways == [
        "/api/streams", "/calendar/{secret}.ics", "/come-in/{secret}", "/health", "/light", "/manifest.webmanifest",
        "/offline",
        "/passkey/{what}/begin", "/passkey/{what}/done", "/seen/{ticket}", "/shared/{secret}", "/sign-in", "/sign-out",
        "/sw.js",
    ]  # fmt: skip
    assert all(right >= Right.LOG for (path, method), right in doors.items()
               if method == "POST" and path not in open_ways and not path.startswith("/me/"))  # fmt: skip


def test_nobody_passes_any_door_without_an_account(house):
    client = house.client()
    for route in site.ways():
        path = re.sub(r"\{[^}]*\}", "x", route.path)
        for method in route.methods - {"HEAD"}:
            if route.right is Right.OPEN:
                continue
            answer = client.request(method, path, headers={"origin": house.address})
            assert answer.status_code in (303, 401), (method, path, answer.status_code)
            if answer.status_code == 303:
                assert answer.headers["location"].startswith("/sign-in")


@pytest.mark.parametrize(
    "weak",
    ["password1234", "aaaaaaaaaaaaaaa", "123456789012", "leadline aquarium", "KariKariKari1", "coralreef2026"],
)
def test_what_would_be_tried_first_is_refused(tmp_path, weak):
    clock = FixedClock(NOW)
    with SqliteStore.open(tmp_path / "x.db", clock=clock) as store:
        with pytest.raises(BadInput):
            accounts.make(store, clock, "Kari", "keeper", weak)
        assert store.accounts() == []


def test_passphrases_are_kept_as_argon2id_and_nothing_secret_lies_in_the_file(house):
    client = house.person("Kari", "keeper")
    with house.store() as store:
        # RFC 9106, section 4, second recommended set: t = 3, m = 64 MiB, p = 4; salt of 16 and tag of 32 bytes
        assert store.account("kari").hash.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    raw = house.path.read_bytes() + house.path.with_name("reef.db-wal").read_bytes()
    assert WORDS.encode() not in raw
    assert client.cookies["leadline"].encode() not in raw


def test_units_are_each_persons_own(house):
    kari, rune = house.person("Kari", "keeper"), house.person("Rune", "reader")
    kari.post("/system/lagoon/log", data={"quantity": "temperature", "value": "25", "unit": "degC"})
    assert kari.post("/me/wishes", data={"units": "us"}).status_code == 303
    assert "77.0" in kari.get("/system/lagoon").text
    assert "77.0" not in rune.get("/system/lagoon").text
