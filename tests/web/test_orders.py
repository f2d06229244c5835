"""People and ways set up in the browser, proved by a real mail server; no secret in the store."""

from __future__ import annotations

import re

import httpx
import pytest
from tests.peers.mail import post
from tests.web.conftest import served
from tests.web.test_pages import plain
from tests.web.test_set_up import NOW

from leadline.app import describe, stand_orders
from leadline.measures.moments import FixedClock
from leadline.store.secrets import Secrets
from leadline.store.sqlite import SqliteStore
from leadline.web import site
from leadline.wiring import make_parts, make_signals

pytestmark = pytest.mark.door
TOML = '[system]\nid = "reef"\nname = "Invented reef"\ntime_zone = "Europe/Oslo"\nnet_volume = "400 L"\n'
MAIL = {
    "kind_of": "path", "id": "mail", "kind": "mail", "to": "keeper@home.example", "from": "reef@home.example",
    "server": "127.0.0.1:2525", "user": "reef", "tls": "none", "secret": "correct horse",
}  # fmt: skip
KEEPER = {"kind_of": "person", "id": "keeper", "name": "Keeper", "paths": "mail"}


@pytest.fixture
def at(tmp_path):
    clock, path = FixedClock(NOW), tmp_path / "reef.db"
    with SqliteStore.open(path, clock=clock) as store:
        describe.add(store, clock, TOML)
        store.add_points("reef", "probe-2", [NOW.timestamp() - 60.0], [25.1])
    app = site.build(
        lambda: SqliteStore.open(path, clock=clock), clock, signals_of=lambda s: make_signals(s, str(path)),
        secrets=Secrets.beside(path),
    )  # fmt: skip
    with served(app) as address, httpx.Client(base_url=address, follow_redirects=True, timeout=30) as client:
        client.path, client.clock, client.address = path, clock, address
        yield client


def standing(at):
    with SqliteStore.open(at.path, clock=at.clock, write=False) as store:
        return stand_orders.standing(store), stand_orders.document(store)


def test_a_way_and_a_person_stand_and_the_password_lies_beside_the_store(at):
    assert at.post("/watch/orders/part", data=MAIL).status_code == 200
    page = at.post("/watch/orders/part", data=KEEPER)
    assert "its secret is kept" in plain(page.text)
    orders, text = standing(at)
    assert [(p.id, p.paths) for p in orders.people] == [("keeper", ("mail",))]
    assert (orders.paths["mail"].host, orders.paths["mail"].port) == ("127.0.0.1", 2525)
    assert 'password = "secret:mail"' in text
    assert "correct horse" not in page.text + text
    assert b"correct horse" not in at.path.read_bytes()
    assert Secrets.beside(at.path).get("mail") == "correct horse"


def test_a_change_keeps_what_it_does_not_name_and_nobody_loses_their_only_way(at):
    at.post("/watch/orders/part", data=MAIL)
    at.post("/watch/orders/part", data=KEEPER)
    at.post("/watch/orders/part", data={"kind_of": "person", "key": "keeper", "hours": "07:00-22:30"})
    orders, _ = standing(at)
    assert orders.people[0].hours == ((420, 1350),)
    refused = at.post("/watch/orders/drop", data={"kind_of": "path", "key": "mail"})
    assert refused.status_code == 422
    assert "Keeper is called by mail" in plain(refused.text)
    at.post("/watch/orders/drop", data={"kind_of": "person", "key": "keeper"})
    at.post("/watch/orders/drop", data={"kind_of": "path", "key": "mail"})
    assert standing(at)[0].paths == {}


@pytest.mark.parametrize(
    "form",
    [
        {**MAIL, "kind": "command"},
        {"kind_of": "path", "id": "bell", "kind": "command", "command": "rm"},
        {"kind_of": "feed", "id": "x"},
        {**MAIL, "server": "nowhere:port"},
        {**KEEPER, "paths": "pigeon"},
    ],
)
def test_no_page_makes_the_machine_run_a_command_and_what_is_wrong_is_one_line(at, form):
    answer = at.post("/watch/orders/part", data=form)
    assert answer.status_code == 422
    assert 'class="error"' in answer.text
    assert standing(at)[1] == ""


WRONG = [
    ({**KEEPER, "paths": ""}, "Ways to reach them, in this order: nothing is typed. For example: mail, push."),
    ({**KEEPER, "paths": "pigeon"}, "There is no way pigeon yet. Add it under Ways first."),
    ({**KEEPER, "id": ""}, "Short name: nothing is typed. For example: keeper."),
    (
        {**KEEPER, "paths": "post", "hours": "late"},
        "Hours for medium alarms; high and urgent ones always call: 'late'.",
    ),
    ({**MAIL, "server": ""}, "Mail: server: nothing is typed. For example: mail.home.example:587."),
    ({**MAIL, "to": "keeper", "from": ""}, "Mail: to: 'keeper'. Write it like keeper@home.example."),
]


@pytest.mark.parametrize(("form", "said"), WRONG)
def test_what_is_wrong_is_said_in_the_words_of_the_form(at, form, said):
    at.post("/watch/orders/part", data={**MAIL, "id": "post"})
    assert said in plain(at.post("/watch/orders/part", data=form).text)


def test_a_mailbox_that_becomes_a_service_does_not_lend_it_its_password(at):
    at.post("/watch/orders/part", data=MAIL)
    at.post("/watch/orders/part", data={"kind_of": "path", "key": "mail", "id": "mail", "kind": "service"})
    text = standing(at)[1]
    assert "password" not in text
    assert 'address = "secret:mail-service"' in text
    assert Secrets.beside(at.path).get("mail") == "correct horse"


def test_a_new_person_begins_with_the_ways_that_there_are(at):
    at.post("/watch/orders/part", data=MAIL)
    page = at.get("/watch/orders").text
    assert page.index('id="part-path"') < page.index('id="part-person"')
    assert re.search(r'name="paths"[^>]*value="mail"', page[page.index('id="part-person"') :])


def test_a_command_given_at_the_prompt_is_shown_and_not_changed(at):
    with SqliteStore.open(at.path, clock=at.clock) as store:
        stand_orders.give(store, '[[path]]\nid = "bell"\nkind = "command"\ncommand = ["true"]\n')
    assert "at the prompt" in plain(at.get("/watch/orders").text)
    refused = at.post("/watch/orders/part", data={"kind_of": "path", "key": "bell", "note": "x"})
    assert refused.status_code == 422
    assert standing(at)[0].paths["bell"].command == ("true",)


def test_a_stream_that_waits_is_taken_up(at):
    assert "probe-2" in at.get("/watch/orders").text
    at.post("/watch/orders/adopt", data={"system": "reef", "stream": "probe-2", "what": "temperature", "unit": "degC"})
    with SqliteStore.open(at.path, clock=at.clock, write=False) as store:
        assert [(s.id, s.quantity) for s in describe.load(store, "reef").streams] == [("probe-2", "temperature")]
    assert "probe-2" not in at.get("/watch/orders").text


def test_a_proof_by_mail_set_up_in_the_browser_arrives_and_its_link_answers(at):
    with post() as server:
        at.post("/watch/orders/part", data={**MAIL, "server": f"127.0.0.1:{server.port}", "user": "", "secret": "x"})
        at.post("/watch/orders/part", data=KEEPER)
        at.post("/watch/orders/part", data={"kind_of": "watch", "address": at.address, "time_zone": "Europe/Oslo"})
        assert "Proofs are on their way" in plain(at.post("/watch/prove", data={"path": "keeper/mail"}).text)
        with SqliteStore.open(at.path, clock=at.clock) as store:
            signals = make_signals(store, str(at.path))
            message = next(m for m in store.open_messages() if m.kind == "proof")
            [delivery] = store.deliveries(message.id)
            parts = make_parts(store, None, str(at.path), at.clock)
            parts.couriers["mail"].send(signals.outgoing(delivery))
        [mail] = server.messages()
    link = re.search(r"https?://[^\s/]+(/seen/\S+)", mail.get_content())[1]
    assert "Thank you" in plain(at.post(link).text)
