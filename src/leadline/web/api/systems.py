"""Systems, their estimate and their round, as asked by programs."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
import tomlkit
from starlette.responses import Response

from leadline.app import describe, record
from leadline.app.answers import systems as said
from leadline.app.answers import water
from leadline.measures.errors import BadInput, UnknownName
from leadline.rounds.item import ACTIONS
from leadline.system.description import parse
from leadline.web.api import shapes
from leadline.web.api.journal import KEY, made_once
from leadline.web.api.operation import TOML, Answered, Call, Example, Operation, Refusal, When, within
from leadline.web.ways import Right

_TOPIC = "Systems"
_DAYS = 180  # what the pages keep: the same serves both
_NORTH = {
    "system": {
        "id": "north-room", "name": "North room reef", "time_zone": "Europe/Oslo", "net_volume": "1150 L",
        "net_volume_sd": "60 L",
    },
    "band": [{"quantity": "alkalinity", "aim": ["7.5 dKH", "9.0 dKH"], "limit": ["6.0 dKH", "12.0 dKH"]}],
}  # fmt: skip


class AsOf(msgspec.Struct, kw_only=True):
    """As of which moment to answer; now when it is left out."""

    as_of: When = ""


class Minutes(msgspec.Struct, kw_only=True):
    """The time that the keeper has."""

    minutes: Annotated[float, msgspec.Meta(ge=0, le=1440, description="The minutes that you have.")] = 10.0
    as_of: When = ""


class Done(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    """What was done, in the words of the round's item."""

    action: Annotated[str, msgspec.Meta(extra_json_schema={"enum": list(ACTIONS)})]
    subject: Annotated[str, msgspec.Meta(min_length=1, max_length=400)]


class Description(msgspec.Struct, kw_only=True, forbid_unknown_fields=False):
    """A system's description: the tables of the contract's TOML, as JSON or as the TOML itself."""

    system: dict[str, Any]
    vessel: list[dict[str, Any]] = []
    room: dict[str, Any] = {}
    equipment: list[dict[str, Any]] = []
    stream: list[dict[str, Any]] = []
    method: list[dict[str, Any]] = []
    band: list[dict[str, Any]] = []


def _document(call: Call) -> str:
    """The description as TOML, which is what is kept."""
    if isinstance(call.body, str):
        return call.body
    tables = msgspec.json.decode(call.sent)  # all of it: what nobody knows is kept too
    within(tables, "description")
    try:
        return tomlkit.dumps(tables)
    except (TypeError, ValueError) as exc:
        raise BadInput(f"the description holds what TOML can't: {exc}", way_out="Leave out what is null.") from exc


def _listed(call: Call) -> Any:
    return said.listed(call.lookout.systems(call.store))


def _shown(call: Call) -> Any:
    return said.shown(describe.load(call.store, call.system(), call.as_of(call.system())))


def _toml(call: Call) -> Response:
    text = describe.document(call.store, call.system(), call.as_of(call.system()))
    return Response(text, media_type=f"{TOML}; charset=utf-8", headers={"cache-control": "no-store"})


def _add(call: Call) -> Answered:
    document = _document(call)
    ident = parse(document).id
    before = call.store.system_document(ident)
    if before is not None and before != document:
        raise Refusal(409, f"A system {ident!r} is already described. PUT /api/systems/{ident} changes it.")
    kept = describe.add(call.store, call.clock, document)
    status = 200 if before is not None else 201
    return Answered(said.kept(kept), status, {"location": f"/api/systems/{kept.id}"})


def _put(call: Call) -> Answered:
    document, ident = _document(call), call.path["system"]
    found = parse(document).id
    if found != ident:
        raise BadInput(f"it describes {found!r}, not {ident!r}", way_out="Check system.id.")
    new = call.store.system_document(ident) is None
    return Answered(said.kept(describe.add(call.store, call.clock, document, replace=True)), 201 if new else 200)


def _estimate(call: Call) -> Any:
    system = call.system()
    return water.estimate(call.lookout.see(call.store, system, _DAYS, call.as_of(system)).estimate)


def _round(call: Call) -> Any:
    system = call.system()
    return water.round_(call.lookout.round(call.store, system, call.query.minutes, call.as_of(system)))


def _done(call: Call) -> Answered:
    if call.body.action not in ACTIONS:
        raise UnknownName("action", call.body.action[:60], ACTIONS)
    system, subject = call.system(), call.body.subject
    return made_once(
        call, lambda: record.done(call.store, call.clock, system, call.body.action, subject),
        lambda e: (e.system, e.subject) == (system, subject),
    )  # fmt: skip


def _whole_round(call: Call) -> Any:
    return water.round_(call.lookout.round(call.store, None, call.query.minutes, call.as_of()))


_ONE = Example({"system": "great-reef"})
OPERATIONS = [
    Operation(
        id="list_systems", prompt="system list",
        method="GET", path="/api/systems", right=Right.VIEW, topic=_TOPIC, run=_listed,
        says="List all systems.", answer=(shapes.Systems,),
    ),
    Operation(
        id="add_system", prompt="system add",
        method="POST", path="/api/systems", right=Right.KEEP, topic=_TOPIC, run=_add, status=201,
        says="Describe a new system.", body=Description, texts=(TOML,), answer=(shapes.SystemKept,), also=(200,),
        refuses={409: "A system of that id is described otherwise."}, example=Example(body=_NORTH),
        tells="The same description sent again changes nothing and is answered with 200.",
    ),
    Operation(
        id="show_system", prompt="system show",
        method="GET", path="/api/systems/{system}", right=Right.VIEW, topic=_TOPIC, run=_shown,
        says="Show what stands there.", query=AsOf, answer=(shapes.System,), example=_ONE,
    ),
    Operation(
        id="put_system", prompt="system edit",
        method="PUT", path="/api/systems/{system}", right=Right.KEEP, topic=_TOPIC, run=_put,
        says="Replace a system's description, or add it; the old one is kept.", body=Description, texts=(TOML,),
        answer=(shapes.SystemKept,), also=(201,), example=Example({"system": "north-room"}, body=_NORTH),
    ),
    Operation(
        id="system_description", prompt="system show",
        method="GET", path="/api/systems/{system}/description", right=Right.VIEW,
        topic=_TOPIC, run=_toml, says="The description of a system as it was given, in TOML.", query=AsOf,
        media=TOML, example=_ONE,
    ),
    Operation(
        id="estimate", prompt="estimate",
        method="GET", path="/api/systems/{system}/estimate", right=Right.VIEW, topic="Water",
        run=_estimate, says="Estimate every quantity of a system: how it is now and will be, and how sure that is.",
        query=AsOf, answer=(shapes.Estimate,), example=_ONE,
        tells="It is reckoned once a minute, and at once when something was written.",
    ),
    Operation(
        id="round", prompt="round",
        method="GET", path="/api/systems/{system}/round", right=Right.VIEW, topic="Water", run=_round,
        says="Rank what deserves your minutes in one system.", query=Minutes, answer=(shapes.Round,),
        example=Example({"system": "great-reef"}, {"minutes": 10}),
    ),
    Operation(
        id="done", prompt="entry done",
        method="POST", path="/api/systems/{system}/done", right=Right.LOG, topic="Water", run=_done,
        says="Say that an inspection or a service of the round was done: its clock starts again.", body=Done,
        status=201, answer=(shapes.Entry,), also=(200,), headers=KEY,
        refuses={409: "The mark was sent with another entry before."},
        example=Example({"system": "great-reef"}, body={"action": "inspect", "subject": "chiller-1"}),
    ),
    Operation(
        id="whole_round", prompt="round",
        method="GET", path="/api/round", right=Right.VIEW, topic="Water", run=_whole_round,
        says="Rank what deserves your minutes in all systems.", query=Minutes, answer=(shapes.Round,),
        example=Example(query={"minutes": 10}),
    ),
]  # fmt: skip
