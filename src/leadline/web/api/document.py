"""The document of the API in OpenAPI 3.1, and its examples, made from the declarations that route and validate."""

from __future__ import annotations

import json
import shlex
from collections.abc import Sequence
from typing import Any
from urllib.parse import quote, urlencode

import msgspec

from leadline import __version__
from leadline.web.api.operation import JSON, Operation
from leadline.web.api.shapes import Refused
from leadline.web.ways import Right

LOCAL = "http://localhost:8077"
_REF = "#/components/schemas/{name}"
_PATH = {
    "system": "A system's id.", "entry": "An entry's id.", "stream": "A stream's id.", "alarm": "An alarm's name.",
    "animal": "An animal's or a group's id.",
}  # fmt: skip
_TELLS = """Leadline's use cases over HTTP, the same as at the prompt and on the pages; what a GET answers is what the
prompt prints with `--json`. Moments are ISO 8601 in UTC, volumes in L, masses in g; each quantity says its unit.
A body is JSON, with the header `Content-Type: application/json`; a number is a number, never text. Whatever can't be
done is answered with `leadline.refused/1`: one line that says what, where and what to do. It advises; it never
switches anything. No other site's page can ask here. In a house with accounts, operations that take a right want a
token of a person or a device: `Authorization: Bearer TOKEN`."""


def document(operations: Sequence[Operation], address: str = LOCAL) -> dict[str, Any]:
    """The whole document, as of these declarations."""
    shapes = [s for o in operations for s in (*o.answer, *((o.body,) if o.body else ()))]
    _, components = msgspec.json.schema_components([Refused, *shapes], ref_template=_REF)
    for o in operations:
        if o.query is not None:
            _, more = msgspec.json.schema_components([o.query], ref_template=_REF)
            components.update({k: v for k, v in more.items() if k != o.query.__name__})
    paths: dict[str, dict[str, Any]] = {}
    for o in operations:
        paths.setdefault(o.path, {})[o.method.lower()] = _operation(o)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Leadline", "version": __version__, "description": _TELLS.replace("\n", " "),
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "servers": [{"url": address}],
        "tags": [{"name": t} for t in dict.fromkeys(o.topic for o in operations)],
        "paths": paths,
        "components": {
            "schemas": dict(sorted(components.items())),
            "securitySchemes": {
                "token": {"type": "http", "scheme": "bearer", "description": "A token of a person or a device."}
            },
        },
    }  # fmt: skip


def _operation(o: Operation) -> dict[str, Any]:
    statuses: dict[str, Any] = {
        str(s): {"description": o.says if s == o.status else "The same, said with another status.", **_content(o)}
        for s in sorted({o.status, *o.also})
    }
    for status, why in o.all_refusals().items():
        if str(status) in statuses:
            continue
        statuses[str(status)] = {
            "description": why, "content": {JSON: {"schema": {"$ref": _REF.format(name=Refused.__name__)}}},
        }  # fmt: skip
    if o.id == "health":  # says the same whether well or ill
        statuses["503"] = {"description": "The watch does not live, and why.", **_content(o)}
    found: dict[str, Any] = {
        "operationId": o.id, "summary": o.says, "tags": [o.topic], "x-right": o.right.name,
        "description": " ".join(x for x in (o.says, o.tells, right_said(o)) if x),
        "parameters": [*(_inside(o, name) for name in o.inside), *queries(o), *_headers(o)],
        "responses": statuses,
    }  # fmt: skip
    body = _body(o)
    if body:
        found["requestBody"] = body
    if o.bearer:
        found["security"] = [{"token": []}]
    elif o.right is not Right.OPEN:
        found["security"] = [{}, {"token": []}]
    return found


_RIGHTS = {
    Right.VIEW: "to look", Right.LOG: "to write entries", Right.KEEP: "to change what stands there",
    Right.OWN: "of the owner",
}  # fmt: skip


def right_said(o: Operation) -> str:
    """What it takes to ask for it, in words."""
    if o.bearer:
        return "Takes a device's token."
    if o.right is Right.OPEN:
        return "Anybody may ask."
    return f"Takes the right {_RIGHTS[o.right]} ({o.right.name}), where there are accounts."


def _content(o: Operation) -> dict[str, Any]:
    if not o.answer:
        return {"content": {o.media: {"schema": {"type": "string" if o.media != JSON else "object"}}}}
    shapes: list[dict[str, Any]] = [{"$ref": _REF.format(name=s.__name__)} for s in o.answer]
    return {"content": {JSON: {"schema": shapes[0] if len(shapes) == 1 else {"anyOf": shapes}}}}


def _inside(o: Operation, name: str) -> dict[str, Any]:
    found: dict[str, Any] = {
        "name": name, "in": "path", "required": True, "description": _PATH[name],
        "schema": {"type": "string", "minLength": 1},
    }  # fmt: skip
    if name in o.example.path:
        found["example"] = o.example.path[name]
    return found


def queries(o: Operation) -> list[dict[str, Any]]:
    """The parameters of an operation's query."""
    if o.query is None:
        return []
    _, components = msgspec.json.schema_components([o.query], ref_template=_REF)
    whole = components[o.query.__name__]
    found = []
    for name, schema in whole["properties"].items():
        schema = {k: v for k, v in schema.items() if not (k == "default" and v == "")}
        said = schema.pop("description", "") or _MOMENTS.get(name, "")
        one: dict[str, Any] = {"name": name, "in": "query", "required": name in whole.get("required", ()),
                               "description": said, "schema": schema}  # fmt: skip
        if name in o.example.query:
            one["example"] = o.example.query[name]
        found.append(one)
    return found


_LOCALLY = "; without an offset in the system's time zone."
_MOMENTS = {
    "as_of": f"Answer as if it were then: ISO 8601{_LOCALLY}", "before": f"What was before: ISO 8601{_LOCALLY}",
    "start": f"Where it begins: ISO 8601{_LOCALLY}", "end": f"Where it ends: ISO 8601{_LOCALLY}",
    "on": f"On that day, by what is known now: ISO 8601{_LOCALLY}", "since": f"Since when: ISO 8601{_LOCALLY}",
    "seen": "When it was first seen; else at its first noted sign.",
}  # fmt: skip


def _headers(o: Operation) -> list[dict[str, Any]]:
    return [
        {"name": name, "in": "header", "required": False, "description": said,
         "schema": {"type": "string", "minLength": 1, "maxLength": 200}}
        for name, said in o.headers.items()
    ]  # fmt: skip


def _body(o: Operation) -> dict[str, Any]:
    content: dict[str, Any] = {}
    if o.body is not None:
        content[JSON] = {"schema": {"$ref": _REF.format(name=o.body.__name__)}}
        if o.example.body is not None:
            content[JSON]["example"] = o.example.body
    for media in o.texts:
        content[media] = {"schema": {"type": "string", "minLength": 1}}
        if isinstance(o.example.body, str):
            content[media]["example"] = o.example.body
    return {"required": True, "content": content} if content else {}


def target(o: Operation) -> str:
    """Path and query of the example."""
    path = o.path
    for name, value in o.example.path.items():
        path = path.replace("{" + name + "}", quote(value, safe=""))
    return f"{path}?{urlencode(o.example.query)}" if o.example.query else path


def curl(o: Operation, address: str = LOCAL) -> str:
    """The example as a line for a shell."""
    words = ["curl"]
    if o.method != "GET":
        words += ["-X", o.method]
    if o.bearer:
        words += ["-H", "Authorization: Bearer TOKEN"]
    for name, value in o.example.headers.items():
        words += ["-H", f"{name}: {value}"]
    body = o.example.body
    if body is not None:
        words += ["-H", f"Content-Type: {o.texts[0] if isinstance(body, str) else JSON}"]
        words += ["-d", body if isinstance(body, str) else json.dumps(body, ensure_ascii=False)]
    return shlex.join([*words, address + target(o)])
