"""The API against the prompt (what a GET answers is what --json prints), its own document, and the manners of HTTP.

Sources: the OpenAPI 3.1 JSON Schema of 2022-10-07 as Schemathesis ships it; RFC 9110 for statuses and Allow.
"""

from __future__ import annotations

import concurrent.futures
import json
import os
import re
import shlex
import subprocess
import sys

import httpx
import jsonschema
import pytest
from schemathesis.specs.openapi.definitions import OPENAPI_31
from tests.docs import prose
from tests.web import house, programs

from leadline.app import describe, record
from leadline.measures.moments import FixedClock
from leadline.web import api
from leadline.web.api.document import curl, document, target
from leadline.web.ways import Right
from leadline.wiring import open_store

pytestmark = pytest.mark.door
GETS = [o for o in api.OPERATIONS if o.method == "GET" and o.answer and o.id != "health"]
READING = {"system": "great-reef", "kind": "reading", "subject": "alkalinity", "value": 8.1, "unit": "dKH"}


@pytest.fixture(scope="module")
def asked(demo_db, tmp_path_factory):
    """A house that is only asked."""
    with programs.still(demo_db, tmp_path_factory.mktemp("asked")) as door:
        yield door


@pytest.fixture
def door(demo_db, tmp_path):
    """A house of one's own to write to."""
    with programs.still(demo_db, tmp_path) as made:
        yield made


def prompt(db, *words):
    """What a command prints with --json."""
    env = {**os.environ, "LEADLINE_NOW": house.NOW.isoformat(), "PYTHONPATH": str(prose.ROOT / "src")}
    done = subprocess.run(
        [sys.executable, "-m", "leadline", "--db", str(db), "--json", *words], env=env, capture_output=True, text=True,
        timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode in (0, 1), done.stderr  # 1: something is due
    return [json.loads(line) for line in done.stdout.splitlines()]


# -- the same as at the prompt ---------------------------------------------------------------------------

SAME = {
    "/api/systems": "system list",
    "/api/systems/lagoon": "system show lagoon",
    "/api/systems/great-reef/estimate": "estimate great-reef",
    "/api/systems/lagoon/estimate?as_of=2026-01-15T08:00": "estimate lagoon --as-of 2026-01-15T08:00",
    "/api/systems/great-reef/round?minutes=12.5": "round great-reef --minutes 12.5",
    "/api/round?minutes=5": "round --minutes 5",
    "/api/livestock?system=great-reef&gone=true": "livestock list great-reef --gone",
    "/api/livestock?on=2026-01-01": "livestock list --on 2026-01-01",
    "/api/livestock/old-tang": "livestock show old-tang",
    "/api/systems/quarantine/quarantine": "plan quarantine quarantine",
    "/api/trace?seen_in=great-reef&pest=marine-white-spot": "trace marine-white-spot --seen-in great-reef",
    "/api/trace?pest=aiptasia&from=harbour-shop&since=2025-11-01":
        "trace aiptasia --from harbour-shop --since 2025-11-01",
    "/api/streams?system=great-reef": "watch streams great-reef",
    "/api/streams/great-reef/temperature?rollup=day&start=2026-01-01&most=20":
        "watch points great-reef temperature --by day --from 2026-01-01 --most 20",
    "/api/streams/great-reef/temperature?most=7": "watch points great-reef temperature --most 7",
    "/api/figures?days=90": "watch figures --days 90",
    "/api/paths": "watch paths",
}  # fmt: skip


@pytest.mark.parametrize(("path", "words"), SAME.items(), ids=list(SAME.values()))
def test_what_a_program_reads_is_what_the_prompt_prints(asked, path, words):
    [printed] = prompt(asked.db, *shlex.split(words))
    said = asked.get(path)
    assert said.status_code == 200
    assert said.json() == printed


def test_the_description_of_a_system_is_the_one_that_was_given(asked):
    with open_store(str(asked.db)) as store:
        given = store.system_document("great-reef")
    said = asked.get("/api/systems/great-reef/description")
    assert said.text == given
    assert said.headers["content-type"] == "application/toml; charset=utf-8"


def test_the_journal_is_read_page_by_page_and_nothing_is_read_twice(asked):
    printed = prompt(asked.db, "journal", "--kind", "exchange", "--most", "100000")
    found, query = [], {"kind": "exchange", "most": 7}
    while True:
        page = asked.get("/api/journal", **query).json()
        found += page["entries"]
        if page["more"] is None:
            break
        query["before"] = page["more"]
    assert len(found) > 20
    assert found == printed
    [shown] = prompt(asked.db, "entry", "show", found[0]["id"])
    assert asked.get(f"/api/journal/{found[0]['id']}").json() == shown


def test_a_stream_is_read_window_by_window_without_a_gap(asked):
    with open_store(str(asked.db)) as store:
        begin, end = house.NOW.timestamp() - 40_000.0, house.NOW.timestamp()
        stored = store.points("great-reef", "temperature", begin, end)
    at, found = "2026-02-28T20:53:20Z", []
    while at is not None:
        w = asked.get("/api/streams/great-reef/temperature", rollup="raw", start=at, end="2026-03-01T08:00", most=50)
        if w.status_code == 422:
            raise AssertionError(w.text)
        found += w.json()["points"]
        at = w.json()["more"]
    # an end without an offset is in the system's own zone: an hour before 08:00 UTC
    assert [p["value"] for p in found] == [v for t, v in zip(stored.times_s, stored.values, strict=True)
                                           if t < end - 3600.0]  # fmt: skip


# -- the document ----------------------------------------------------------------------------------------


def test_the_document_is_openapi_3_1(asked):
    told = asked.get("/api/openapi.json").json()
    jsonschema.Draft202012Validator(OPENAPI_31).validate(told)
    assert told["servers"] == [{"url": asked.address}]
    for shape in told["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(shape)


def test_every_address_of_the_document_is_served_and_every_served_one_is_told(asked):
    told = {(m.upper(), path) for path, ops in document(api.OPERATIONS)["paths"].items() for m in ops}
    served = {(m, r.path) for r in api.WAYS for m in r.methods if m not in ("HEAD", "OPTIONS")} - {("GET", "/api")}
    assert told == served


def strict(document_: dict) -> dict:
    """The document's schemas, so that a field that is not told is an error; what is declared as open stays so."""
    closed = json.loads(json.dumps(document_))
    for shape in closed["components"]["schemas"].values():
        if shape.get("type") == "object" and "properties" in shape:
            shape["additionalProperties"] = False
    return closed


@pytest.mark.parametrize("o", GETS, ids=lambda o: o.id)
def test_every_field_of_an_answer_is_told_in_the_document(asked, o):
    ident = asked.get("/api/journal").json()["entries"][0]["id"]
    said = asked.get(target(o).replace(o.example.path.get("entry", "{entry}"), ident))
    assert said.status_code == 200
    told = strict(document(api.OPERATIONS))
    schema = told["paths"][o.path]["get"]["responses"]["200"]["content"]["application/json"]["schema"]
    jsonschema.Draft202012Validator({**schema, "components": told["components"]}).validate(said.json())


def test_the_page_lists_every_operation_with_its_right_and_a_line_to_try(asked):
    page = asked.get("/api").text
    for o in api.OPERATIONS:
        assert f'id="{o.id}"' in page
        assert o.says.replace("'", "&#39;") in page
        line = curl(o, asked.address).replace("&", "&amp;").replace("'", "&#39;").replace('"', "&#34;")
        assert line in page, o.id
        if o.right is not Right.OPEN:
            assert f"({o.right.name}), where there are accounts." in page


@pytest.mark.parametrize("o", api.OPERATIONS, ids=lambda o: o.id)
def test_the_line_to_try_means_the_same_to_a_shell(o):
    words = shlex.split(curl(o))
    assert words[0] == "curl"
    assert words[-1] == f"http://localhost:8077{target(o)}"
    if o.body is not None:
        assert json.loads(words[words.index("-d") + 1]) == o.example.body


# -- manners ---------------------------------------------------------------------------------------------


def refused(said: httpx.Response, status: int, words: str) -> httpx.Response:
    assert said.status_code == status, said.text
    assert said.headers["content-type"] == "application/json"
    assert said.json()["schema"] == "leadline.refused/1"
    assert set(said.json()) == {"schema", "words"}
    assert words in said.json()["words"]
    assert "\n" not in said.json()["words"]
    return said


@pytest.mark.parametrize(
    ("path", "status", "words"),
    [
        ("/api/nowhere", 404, "no such address"),
        ("/api/systems/great-rief", 404, "Did you mean great-reef?"),
        ("/api/systems/nowhere/estimate", 404, "unknown system"),
        ("/api/livestock/unicorn", 404, "unknown animal"),
        ("/api/journal/0000000000000000", 404, "unknown entry"),
        ("/api/streams/great-reef/tempe", 404, "unknown stream"),
        ("/api/streams/nowhere/temperature", 404, "unknown system"),
        ("/api/livestock?system=nowhere", 422, "unknown system"),
        ("/api/journal?system=nowhere", 422, "unknown system"),
        ("/api/journal?kind=dance", 422, "unknown kind of entry"),
        ("/api/journal?most=0", 422, "most"),
        ("/api/journal?most=1.5", 422, "most"),
        ("/api/journal?before=yesterday", 422, "no date or time"),
        ("/api/journal?befor=2026-01-01", 422, "Did you mean before?"),
        ("/api/journal?q=a&q=b", 422, "asked for twice"),
        ("/api/systems?x=1", 422, "unknown parameter 'x'. This address takes none."),
        ("/api/round?minutes=nan", 422, "minutes"),
        ("/api/round?minutes=-1", 422, "minutes"),
        ("/api/round?minutes=ten", 422, "minutes"),
        ("/api/figures?days=x", 422, "days"),
        ("/api/figures?days=inf", 422, "days"),
        ("/api/systems/great-reef/estimate?as_of=2027-01-01", 422, "lies in the future"),
        ("/api/systems/great-reef/estimate?as_of=", 422, "as_of"),
        ("/api/systems/great-reef/estimate?as_of=2025-03-30T02:30", 422, "skipped when the clocks went forward"),
        ("/api/trace?pest=aiptasia", 422, "forward or backward?"),
        ("/api/trace?pest=aiptasia&place=lagoon&seen_in=lagoon", 422, "forward or backward?"),
        ("/api/trace?pest=kraken&seen_in=lagoon", 422, "kraken"),
        ("/api/trace", 422, "pest"),
        ("/api/streams/great-reef/temperature?start=2026-02-02&end=2026-02-01", 422, "ends before it begins"),
        ("/api/streams/great-reef/temperature?rollup=week", 422, "rollup"),
        ("/api/streams/great-reef/temperature?most=10001", 422, "most"),
    ],
)
def test_what_cannot_be_asked_is_said_in_one_line(asked, path, status, words):
    refused(asked.get(path), status, words)


@pytest.mark.parametrize(
    ("content", "status", "words"),
    [
        (b"", 400, "no JSON"),
        (b"{", 400, "no JSON"),
        (b'{"system": NaN}', 400, "no JSON"),
        (b"\xff", 400, "no JSON"),
        (b'{"extra": ' + b'{"a":' * 60_000, 413, "too large"),
        (b'{"extra": ' + b'{"a":' * 10_000, 400, "no JSON"),
        (b"[]", 422, "expected `object`"),
        (b"{}", 422, "system"),
        (json.dumps(READING | {"value": "3"}).encode(), 422, "value: expected `float | null`, got `str`"),
        (json.dumps(READING | {"value": True}).encode(), 422, "value: expected `float | null`, got `bool`"),
        (json.dumps(READING).replace("8.1", "1e999").encode(), 422, "out of range"),
        (json.dumps(READING).replace("8.1", "1e300").encode(), 422, "beyond"),
        (json.dumps(READING | {"extra": {"salinity": 10**40}}).encode(), 422, "beyond"),
        (json.dumps(READING | {"valu": 3}).encode(), 422, "unknown field `valu`"),
        (json.dumps(READING | {"kind": "dance"}).encode(), 422, "unknown kind of entry"),
        (json.dumps(READING | {"system": "nowhere"}).encode(), 422, "unknown system"),
        (json.dumps(READING | {"unit": "furlong"}).encode(), 422, "furlong"),
        (json.dumps(READING | {"subject": "ph", "value": 80, "unit": ""}).encode(), 422, "ph 80"),
        (json.dumps(READING | {"time": "2026-03-02"}).encode(), 422, "lies in the future"),
        (json.dumps(READING | {"time": ""}).encode(), 422, "time"),
        (json.dumps(READING | {"note": "x" * 2001}).encode(), 422, "note"),
        (json.dumps(READING | {"extra": {"corrects": "5f1d3c9a8b7e6d21"}}).encode(), 422, "not set by hand"),
        (json.dumps(READING | {"note": "\x00"}).encode(), 422, "note"),
    ],
)
def test_what_cannot_be_logged_is_said_in_one_line_and_nothing_is_written(asked, content, status, words):
    before = asked.get("/api/journal", most=1).json()["found"]
    said = asked.client.post("/api/journal", content=content, headers={"content-type": "application/json"})
    refused(said, status, words)
    assert asked.get("/api/journal", most=1).json()["found"] == before


@pytest.mark.parametrize(
    "media", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "", "json"]
)
def test_only_json_is_a_body_so_that_no_form_of_another_site_writes(asked, media):
    headers = {"content-type": media} if media else {}
    for path in ("/api/journal", "/api/journal/0000000000000000/withdraw", "/api/paths/prove"):
        said = asked.client.post(path, content=json.dumps(READING), headers=headers)
        refused(said, 415, "application/json")


def test_a_page_of_another_site_may_neither_write_nor_read(asked):
    refused(asked.send("POST", "/api/journal", READING, origin="http://elsewhere.example"), 403, "another site")
    refused(asked.send("POST", "/api/journal", READING, **{"sec-fetch-site": "cross-site"}), 403, "another site")
    asking = {"origin": "http://elsewhere.example", "access-control-request-method": "POST"}
    for said in (asked.get("/api/systems"), asked.client.options("/api/journal", headers=asking)):
        assert not [name for name in said.headers if name.startswith("access-control")]


@pytest.mark.parametrize("path", sorted({target(o).partition("?")[0] for o in api.OPERATIONS}))
def test_an_address_says_which_methods_it_takes(asked, path):
    [template] = {o.path for o in api.OPERATIONS if target(o).partition("?")[0] == path} - {
        "/api/systems/{system}"
    } or {"/api/systems/{system}"}
    mine = {o.method for o in api.OPERATIONS if o.path == template}
    mine |= {"OPTIONS"} | ({"HEAD"} if "GET" in mine else set())
    said = refused(asked.client.request("DELETE", path), 405, "takes")  # RFC 9110, 15.5.6: Allow must be sent
    assert set(said.headers["allow"].split(", ")) == mine
    asked_what = asked.client.options(path)
    assert asked_what.status_code == 204
    assert asked_what.headers["allow"] == said.headers["allow"]


@pytest.mark.parametrize("o", [o for o in GETS if "entry" not in o.inside], ids=lambda o: o.id)
def test_head_answers_as_get_without_the_body(asked, o):
    got, head = asked.get(target(o)), asked.client.head(target(o))
    assert head.status_code == got.status_code
    assert head.content == b""
    assert head.headers["content-type"] == got.headers["content-type"] == "application/json"
    assert got.headers["cache-control"] == "no-store"


def test_every_moment_is_iso_8601_in_utc(asked):
    moments = re.findall(r'"(?:time|as_of|since|until|started|opens|begins)": "([^"]+)"', "".join(
        asked.get(target(o)).text for o in GETS if "entry" not in o.inside
    ))  # fmt: skip
    assert len(moments) > 50
    assert not [m for m in moments if not re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z", m)]


# -- writing ---------------------------------------------------------------------------------------------


def test_an_entry_sent_twice_with_a_mark_is_one_entry(door):
    first = door.send("POST", "/api/journal", READING, **{"idempotency-key": "k-1"})
    again = door.send("POST", "/api/journal", READING, **{"idempotency-key": "k-1"})
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["id"] == again.json()["id"]
    assert again.headers["location"] == f"/api/journal/{first.json()['id']}"
    field = door.send("POST", "/api/journal", READING | {"token": "k-1"})
    assert field.status_code == 200
    refused(door.send("POST", "/api/journal", READING | {"value": 9.0}, **{"idempotency-key": "k-1"}), 409, "mark")
    refused(door.send("POST", "/api/journal", READING, **{"idempotency-key": "k" * 201}), 422, "Idempotency-Key")
    found = prompt(door.db, "journal", "--kind", "reading", "--system", "great-reef", "--most", "1")
    assert found[0]["id"] == first.json()["id"]
    assert first.json()["question"] is None
    assert first.json()["stored"] == pytest.approx(8.1 / 2.8038, rel=1e-3)  # 1 meq/L is 2.8 dKH: 50.04 / 17.848


def test_many_that_send_the_same_at_once_write_one_entry(door):
    def send(_: int) -> tuple[int, str]:
        said = httpx.post(f"{door.address}/api/journal", json=READING, headers={"idempotency-key": "k-2"}, timeout=60)
        return said.status_code, said.json()["id"]

    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        said = list(pool.map(send, range(16)))
    assert len({ident for _, ident in said}) == 1
    assert sorted(status for status, _ in said) == [200] * 15 + [201]


def test_a_mark_is_never_taken_for_a_devices_token(door):
    from leadline.app import stand_orders

    with open_store(str(door.db)) as store:
        token = stand_orders.new_token(store, FixedClock(house.NOW), "sump-board")
    assert door.send("POST", "/api/journal", READING, **{"idempotency-key": "sump-board"}).status_code == 201
    with open_store(str(door.db)) as store:
        record.log(store, FixedClock(house.NOW), system="lagoon", kind="note", subject="", value_text="", unit="",
                   note="with a page's mark", token="sump-board")  # fmt: skip
        assert stand_orders.token_name(store, token) == "sump-board"
        assert stand_orders.tokens(store) == ["sump-board"]


def test_an_entry_is_corrected_confirmed_and_taken_back(door):
    slip = door.send("POST", "/api/journal", READING | {"value": 2.9}).json()
    assert slip["question"]["kind"] == "slip"
    ident = slip["id"]
    fixed = door.send("POST", f"/api/journal/{ident}/correct", {"value": 2.9, "unit": "meq/L"})
    assert fixed.status_code == 201
    seen = door.get(f"/api/journal/{ident}").json()
    assert (seen["state"], seen["instead"]) == ("corrected", fixed.json()["id"])
    other = door.send("POST", "/api/journal", READING | {"value": 2.8}).json()["id"]
    assert door.send("POST", f"/api/journal/{other}/confirm", {}).status_code == 201
    quantities = door.get("/api/systems/great-reef/estimate").json()["quantities"]
    assert other not in [d["id"] for d in quantities["alkalinity"]["doubtful"]]
    assert door.send("POST", f"/api/journal/{other}/withdraw", {}).status_code == 201
    assert door.get(f"/api/journal/{other}").json()["state"] == "withdrawn"
    for way in ("correct", "withdraw", "confirm"):
        body = {"value": 1.0} if way == "correct" else {}
        refused(door.send("POST", f"/api/journal/0123456789abcdef/{way}", body), 404, "unknown entry")
        refused(door.send("POST", f"/api/journal/{ident}/{way}", {"x": 1} | body), 422, "unknown field `x`")


def test_what_is_done_to_an_entry_is_done_once_for_a_mark(door):
    ident = door.send("POST", "/api/journal", READING | {"value": 2.9}).json()["id"]
    for way, body in (("correct", {"value": 2.9, "unit": "meq/L"}), ("confirm", {}), ("withdraw", {})):
        said = [door.send("POST", f"/api/journal/{ident}/{way}", body, **{"idempotency-key": way}) for _ in range(2)]
        assert [x.status_code for x in said] == [201, 200], way
        assert said[0].json() == said[1].json()
    refused(door.send("POST", f"/api/journal/{ident}/withdraw", {}, **{"idempotency-key": "confirm"}), 409, "mark")
    done = {"action": "inspect", "subject": "chiller-1"}
    at = "/api/systems/great-reef/done"
    said = [door.send("POST", at, done, **{"idempotency-key": "seen"}) for _ in range(2)]
    assert [x.status_code for x in said] == [201, 200]
    assert (said[0].json()["kind"], said[0].json()["method"]) == ("service", "checked")
    other = done | {"subject": "heater-1"}
    refused(door.send("POST", at, other, **{"idempotency-key": "seen"}), 409, "mark")
    refused(door.send("POST", at, {"action": "dance", "subject": "x"}), 422, "unknown action")


def test_an_exchange_is_logged_with_its_water_and_changes_the_estimate(door):
    before = door.get("/api/systems/lagoon/estimate").json()["quantities"]["nitrate"]["mean"]
    body = {"system": "lagoon", "kind": "exchange", "subject": "mixed-seawater", "value": 50, "unit": "%",
            "extra": {"salinity": 35.0, "nitrate": 0.0}, "from": "the vat", "note": "half of it"}  # fmt: skip
    made = door.send("POST", "/api/journal", body)
    assert made.status_code == 201
    seen = door.get(f"/api/journal/{made.json()['id']}").json()
    assert (seen["from"], seen["note"], seen["extra"]) == ("the vat", "half of it", body["extra"])
    after = door.get("/api/systems/lagoon/estimate").json()["quantities"]["nitrate"]["mean"]
    assert 0.4 * before < after < 0.7 * before  # half the water went, and took about half of what it held
    [printed] = prompt(door.db, "estimate", "lagoon")
    assert printed["quantities"]["nitrate"]["mean"] == pytest.approx(after, rel=1e-9)


TOML = """# kept as given
[system]
id = "north-room"
name = "North room reef"
time_zone = "Europe/Oslo"
net_volume = "1150 L"
"""


def test_a_system_is_described_in_toml_or_json_and_changed(door):
    toml = {"content-type": "application/toml"}
    made = door.client.post("/api/systems", content=TOML, headers=toml)
    assert made.status_code == 201
    assert made.headers["location"] == "/api/systems/north-room"
    assert door.get("/api/systems/north-room/description").text == TOML
    assert door.client.post("/api/systems", content=TOML, headers=toml).status_code == 200  # the same again
    tables = {"system": {"id": "north-room", "name": "North", "time_zone": "Europe/Oslo", "net_volume": "900 L"},
              "stream": [{"id": "temperature", "quantity": "temperature", "unit": "degF"}]}  # fmt: skip
    refused(door.send("POST", "/api/systems", tables), 409, "PUT /api/systems/north-room")
    assert door.send("PUT", "/api/systems/north-room", tables).status_code == 200
    with open_store(str(door.db)) as store:
        kept = describe.load(store, "north-room")
    assert (kept.name, kept.net_volume_l, [s.id for s in kept.streams]) == ("North", 900.0, ["temperature"])
    refused(door.send("PUT", "/api/systems/south-room", tables), 422, "it describes 'north-room'")
    tables["system"]["id"] = "south-room"
    assert door.send("PUT", "/api/systems/south-room", tables).status_code == 201
    tables["system"]["net_volume"] = None
    refused(door.send("PUT", "/api/systems/south-room", tables), 422, "TOML")
    tables["system"]["net_volume"] = "a lot"
    refused(door.send("PUT", "/api/systems/south-room", tables), 422, "a lot")
    refused(door.client.post("/api/systems", content="[system", headers=toml), 422, "TOML")
    refused(door.client.post("/api/systems", content=b"\xff", headers=toml), 400, "UTF-8")
    refused(door.client.post("/api/systems", content="#" * 70_000, headers=toml), 413, "too large")


def test_what_is_kept_in_a_description_as_json_is_all_of_it(door):
    """Unknown tables and keys are kept, as the contract says of TOML."""
    tables = {"system": {"id": "vat", "time_zone": "Europe/Oslo", "net_volume": "80 L", "colour": "blue"},
              "shelf": [{"id": "s"}]}  # fmt: skip
    made = door.send("POST", "/api/systems", tables)
    assert made.status_code == 201
    assert made.json()["unknown"]
    told = door.get("/api/systems/vat/description").text
    assert 'colour = "blue"' in told
    assert "shelf" in told


def test_alarms_and_proofs_are_answered(demo_db, tmp_path):
    with programs.living(demo_db, tmp_path) as door:
        assert door.get("/health").json()["ok"] is True
        door.heat()
        found = {a["alarm"]: a for a in door.get("/api/alarms", system="great-reef").json()["alarms"]}
        assert found["temperature-high"]["state"] == "unacknowledged"
        at = "/api/alarms/great-reef/temperature-high"
        said = door.send("POST", f"{at}/shelve", {"hours": 0.5, "reason": "known"})
        assert said.json() == {"schema": "leadline.alarm-state/1", "system": "great-reef",
                               "alarm": "temperature-high", "state": "shelved"}  # fmt: skip
        refused(door.send("POST", f"{at}/acknowledge", {}), 409, "it is shelved")
        assert door.send("POST", f"{at}/unshelve", {}).json()["state"] == "unacknowledged"
        refused(door.send("POST", f"{at}/unshelve", {}), 409, "not on the shelf")
        assert door.send("POST", f"{at}/acknowledge", {"who": "panel"}).json()["state"] == "acknowledged"
        for body, words in (({"hours": 9, "reason": "r"}, "1 h at most"), ({"hours": 13, "reason": "r"}, "hours"),
                            ({"hours": 0.5}, "reason"), ({"hours": 0.5, "reason": " "}, "reason")):  # fmt: skip
            refused(door.send("POST", f"{at}/shelve", body), 422, words)
        refused(door.send("POST", "/api/alarms/great-reef/kraken/acknowledge", {}), 404, "unknown alarm")
        refused(door.send("POST", "/api/alarms/nowhere/kraken/acknowledge", {}), 404, "unknown system")
        assert door.send("POST", "/api/paths/prove", {"path": "mail"}).status_code == 202
        refused(door.send("POST", "/api/paths/prove", {"path": "pigeon"}), 422, "no path and no person")
        paths = door.get("/api/paths").json()
        assert [(p["person"], p["path"], p["proved"]) for p in paths["paths"]] == [("keeper", "mail", False)]


def test_a_store_that_another_program_holds_is_said_and_to_be_asked_again(door):
    with open_store(str(door.db)) as other:
        with other.together():
            said = refused(door.send("POST", "/api/journal", READING), 503, "locked")
        assert said.headers["retry-after"] == "30"
    assert door.send("POST", "/api/journal", READING).status_code == 201
