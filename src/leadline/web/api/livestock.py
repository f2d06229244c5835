"""Livestock, quarantine and trace, as asked by programs."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec

from leadline.app import quarantine, stock, trace
from leadline.app.answers import livestock as said
from leadline.measures.errors import BadInput, UnknownName
from leadline.web.api import shapes_livestock as shapes
from leadline.web.api.operation import Call, Example, Operation, When
from leadline.web.ways import Right

_TOPIC = "Livestock"


class AsOf(msgspec.Struct, kw_only=True):
    """As of which moment to answer."""

    as_of: When = ""


class Who(msgspec.Struct, kw_only=True):
    """Whom to list."""

    system: Annotated[str, msgspec.Meta(description="Of this system alone.")] = ""
    on: When = ""
    gone: Annotated[bool, msgspec.Meta(description="Those that are no longer kept, too.")] = False
    as_of: When = ""


class Question(msgspec.Struct, kw_only=True, rename={"source": "from"}):
    """Forward from one of `came_with`, `place` and `from`; or backward from `seen_in`."""

    pest: Annotated[str, msgspec.Meta(min_length=1, max_length=120, description="An id or a name of the catalogue.")]
    came_with: Annotated[str, msgspec.Meta(description="Forward: it came with this animal.")] = ""
    place: Annotated[str, msgspec.Meta(description="Forward: it was in this system, since `since`.")] = ""
    source: Annotated[str, msgspec.Meta(description="Forward: this dealer had it, since `since`.")] = ""
    since: When = ""
    seen_in: Annotated[str, msgspec.Meta(description="Backward: it was first seen in this system.")] = ""
    seen: When = ""
    as_of: When = ""


def _listed(call: Call) -> Any:
    q, systems = call.query, call.store.systems()
    if q.system and q.system not in systems:
        raise UnknownName("system", q.system, systems)
    h = stock.house(call.store, call.clock, call.as_of(q.system), call.moment(q.on, q.system))
    return said.register(h, [q.system] if q.system else list(h.systems), gone=q.gone)


def _animal(call: Call) -> Any:
    h = stock.house(call.store, call.clock, call.as_of())
    return said.animal(call.store, h, h.lot(call.path["animal"]))


def _quarantine(call: Call) -> Any:
    system = call.system()
    as_of = call.as_of(system)
    at = stock.house(call.store, call.clock, as_of).at
    plan = quarantine.plan(call.store, call.clock, system, as_of)
    return said.empty_quarantine(system, at) if plan is None else said.quarantine(plan, at)


def _trace(call: Call) -> Any:
    q, as_of = call.query, call.as_of()
    forward = [x for x in (q.came_with, q.place, q.source) if x]
    if bool(forward) == bool(q.seen_in) or len(forward) > 1:
        way_out = "Give one of came_with, place and from; or seen_in for the way back."
        raise BadInput("forward or backward?", way_out=way_out)
    if q.seen_in:
        return said.backward(trace.backward(call.store, call.clock, q.pest, q.seen_in, call.moment(q.seen), as_of))
    return said.forward(
        trace.forward(
            call.store, call.clock, q.pest, came_with=q.came_with, place=q.place, source=q.source,
            since=call.moment(q.since), as_of=as_of,
        )
    )  # fmt: skip


OPERATIONS = [
    Operation(
        id="list_livestock", prompt="livestock list",
        method="GET", path="/api/livestock", right=Right.VIEW, topic=_TOPIC, run=_listed,
        says="Who lives where, and when each was last seen.", query=Who, answer=(shapes.Livestock,),
        example=Example(query={"system": "great-reef"}),
        tells="`on` asks who lived where on a day by what is known now, `as_of` what was known then.",
    ),
    Operation(
        id="show_animal", prompt="livestock show",
        method="GET", path="/api/livestock/{animal}", right=Right.VIEW, topic=_TOPIC, run=_animal,
        says="One animal or group: where it was, what was noted of it.", query=AsOf, answer=(shapes.Animal,),
        example=Example({"animal": "old-tang"}),
    ),
    Operation(
        id="quarantine_plan", prompt="plan quarantine",
        method="GET", path="/api/systems/{system}/quarantine", right=Right.VIEW, topic=_TOPIC,
        run=_quarantine, says="Where a quarantine stands: windows, what is due, what may be concluded.", query=AsOf,
        answer=(shapes.Quarantine, shapes.EmptyQuarantine), example=Example({"system": "quarantine"}),
        tells="No dose is ever told.",
    ),
    Operation(
        id="trace", prompt="trace",
        method="GET", path="/api/trace", right=Right.VIEW, topic=_TOPIC, run=_trace, query=Question,
        says="Where a pest can be by now, or which arrival can have brought it.",
        answer=(shapes.TraceForward, shapes.TraceBackward),
        example=Example(query={"pest": "marine-white-spot", "seen_in": "great-reef"}),
        tells="Nobody has measured how easily carriers carry: chances and shares are planning figures.",
    ),
]  # fmt: skip
