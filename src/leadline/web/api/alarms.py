"""Alarms and the paths that carry them, as asked by programs."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec

from leadline.alarms.alarm import SPOKEN
from leadline.app import oversee, path_book, stand_orders
from leadline.app.answers import watch as said
from leadline.app.keep_watch import WATCH, Watch
from leadline.measures.errors import BadInput, UnknownName
from leadline.web.api import shapes
from leadline.web.api.operation import Call, Example, Operation, Refusal
from leadline.web.ways import Right

_TOPIC = "Watch"
_WHO = msgspec.Meta(max_length=60, description="Who does it, for what is noted.")
_TURNED = {409: "The alarm does not stand so that this can be done."}
_ALARM = {"system": "great-reef", "alarm": "temperature-high"}


class Of(msgspec.Struct, kw_only=True):
    """Of which system."""

    system: Annotated[str, msgspec.Meta(description="Of this system alone.")] = ""


class Days(msgspec.Struct, kw_only=True):
    """Over which span."""

    days: Annotated[float, msgspec.Meta(ge=1, le=3660, description="Over so many days.")] = 30.0


class By(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    """Who has it."""

    who: Annotated[str, _WHO] = ""


class Shelf(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    """For how long it lies on the shelf, and why."""

    hours: Annotated[float, msgspec.Meta(gt=0, le=12)]
    reason: Annotated[str, msgspec.Meta(min_length=1, max_length=200)]
    who: Annotated[str, _WHO] = ""


class Which(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    """A path, a person, or person/path; all of them when nothing is said."""

    path: Annotated[str, msgspec.Meta(max_length=200)] = ""


def _standing(call: Call) -> Any:
    system, known = call.query.system, [*call.store.systems(), WATCH]
    if system and system not in known:
        raise UnknownName("system", system, known)
    return said.alarms(oversee.alarms(call.store, system or None), call.clock.now())


def _known(call: Call) -> tuple[str, str]:
    system, alarm = call.path["system"], call.path["alarm"]
    known = [*call.store.systems(), WATCH]
    if system not in known:
        raise UnknownName("system", system, known)
    if call.store.alarm(system, alarm) is None:
        names = [r.name for r in call.store.alarms(system)]
        raise UnknownName("alarm", alarm, names, where=system, way_out="" if names else "None ever was.")
    return system, alarm


def _state(call: Call, system: str, alarm: str) -> dict[str, Any]:
    raised = call.store.alarm(system, alarm)
    assert raised is not None  # it was there a moment ago, and alarms are never forgotten
    return {
        "schema": "leadline.alarm-state/1", "system": system, "alarm": alarm,
        "state": SPOKEN.get(raised.state, raised.state),
    }  # fmt: skip


def _acknowledge(call: Call) -> Any:
    system, alarm = _known(call)
    if not oversee.answers(call.store, system, alarm):
        raise Refusal(409, f"{alarm} asks for nothing: it is {_state(call, system, alarm)['state']}.")
    call.signals().acknowledge(Watch(call.store), system, alarm, call.who(), "api", call.now_s)
    return _state(call, system, alarm)


def _shelve(call: Call) -> Any:
    system, alarm = _known(call)
    hours, reason = call.body.hours, call.body.reason
    stand_orders.shelve(call.store, call.clock, system, alarm, hours=hours, reason=reason, who=call.who())
    return _state(call, system, alarm)


def _unshelve(call: Call) -> Any:
    system, alarm = _known(call)
    before = _state(call, system, alarm)["state"]
    try:
        stand_orders.unshelve(call.store, call.clock, system, alarm, who=call.who())
    except BadInput as exc:
        raise Refusal(409, f"{alarm} is not on the shelf: it is {before}.") from exc
    return _state(call, system, alarm)


def _figures(call: Call) -> Any:
    return said.figures(oversee.figures(call.store, call.clock, call.query.days))


def _paths(call: Call) -> Any:
    signals = call.signals()
    found, gap = oversee.paths(signals, call.now_s), oversee.nobody_tonight(signals, call.now_s)
    return said.paths(found, gap, call.clock.now())


def _prove(call: Call) -> Any:
    signals = call.signals()
    pairs = path_book.path_and_person(signals.orders, call.body.path)
    for person, path in pairs:
        signals.ask(person, path, call.now_s)
    return {"schema": "leadline.proof-asked/1", "asked": [{"person": a, "path": b} for a, b in pairs]}


OPERATIONS = [
    Operation(
        id="list_alarms", prompt="watch alarms",
        method="GET", path="/api/alarms", right=Right.VIEW, topic=_TOPIC, run=_standing, query=Of,
        says="List alarms that are not normal, the loudest first, each with who was told.", answer=(shapes.Alarms,),
    ),
    Operation(
        id="acknowledge_alarm", prompt="watch acknowledge",
        method="POST", path="/api/alarms/{system}/{alarm}/acknowledge", right=Right.LOG,
        topic=_TOPIC, run=_acknowledge, says="Say that somebody has it: nobody is called further.", body=By,
        answer=(shapes.AlarmState,), refuses=_TURNED, example=Example(_ALARM, body={"who": "control-room"}),
        tells="This proves no path: only the link or the code in a message does.",
    ),
    Operation(
        id="shelve_alarm", prompt="watch shelve",
        method="POST", path="/api/alarms/{system}/{alarm}/shelve", right=Right.KEEP, topic=_TOPIC,
        run=_shelve, says="Quieten one alarm, with an end and a reason.", body=Shelf, answer=(shapes.AlarmState,),
        example=Example(_ALARM, body={"hours": 0.5, "reason": "the probe is out for cleaning"}),
        tells="It speaks again then if its condition holds. An urgent alarm may lie there for an hour.",
    ),
    Operation(
        id="unshelve_alarm", prompt="watch unshelve",
        method="POST", path="/api/alarms/{system}/{alarm}/unshelve", right=Right.KEEP,
        topic=_TOPIC, run=_unshelve, says="Take an alarm from the shelf, or back into service.", body=By,
        answer=(shapes.AlarmState,), refuses=_TURNED, example=Example(_ALARM, body={}),
    ),
    Operation(
        id="alarm_figures", prompt="watch figures",
        method="GET", path="/api/figures", right=Right.VIEW, topic=_TOPIC, run=_figures,
        query=Days, says="How well the alarms serve: the figures of IEC 62682.", answer=(shapes.Figures,),
        example=Example(query={"days": 30}),
    ),
    Operation(
        id="list_paths", prompt="watch paths",
        method="GET", path="/api/paths", right=Right.VIEW, topic=_TOPIC, run=_paths,
        says="List every person's every path, how far it is proved, and the chance that nobody is reached.",
        answer=(shapes.Paths,),
    ),
    Operation(
        id="prove_paths", prompt="watch prove",
        method="POST", path="/api/paths/prove", right=Right.LOG, topic=_TOPIC, run=_prove,
        says="Send proofs now; a running watch does it. They are proved once their person answers.", body=Which,
        answer=(shapes.ProofAsked,), status=202, example=Example(body={"path": "mail"}),
    ),
]  # fmt: skip
