"""Streams, as asked by programs: which there are, a window of one, points posted by a device, the watch's health."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import msgspec

from leadline.app import oversee, stream_window
from leadline.app.answers import watch as said
from leadline.measures.errors import UnknownName
from leadline.web.api import points, shapes
from leadline.web.api.operation import LINES, Call, Example, Operation, When
from leadline.web.ways import Right

_TOPIC = "Streams"


class Of(msgspec.Struct, kw_only=True):
    """Of which system."""

    system: Annotated[str, msgspec.Meta(description="Of this system alone.")] = ""


class Window(msgspec.Struct, kw_only=True):
    """Which part of a stream."""

    start: When = ""
    end: When = ""
    rollup: Annotated[
        Literal["auto", "raw", "hour", "day"],
        msgspec.Meta(description="Points, or hours or days with their extremes; auto goes by the window's length."),
    ] = "auto"
    most: Annotated[int, msgspec.Meta(ge=1, le=stream_window.MOST, description="So many at most.")] = 1000


def _listed(call: Call) -> Any:
    system = call.query.system
    if system and system not in call.store.systems():
        raise UnknownName("system", system, call.store.systems())
    return said.streams(oversee.streams(call.store, system or None), call.clock.now())


def _points(call: Call) -> Any:
    q, system, stream = call.query, call.path["system"], call.path["stream"]
    local = system if system in call.store.systems() else ""
    return said.points(
        stream_window.look(
            call.store, call.clock, system, stream, call.moment(q.start, local), call.moment(q.end, local), q.rollup,
            q.most,
        )
    )  # fmt: skip


OPERATIONS = [
    Operation(
        id="list_streams", prompt="watch streams",
        method="GET", path="/api/streams", right=Right.VIEW, topic=_TOPIC, run=_listed, query=Of,
        says="List every stream, its last point, and whether it still comes.", answer=(shapes.Streams,),
        example=Example(query={"system": "great-reef"}),
    ),
    Operation(
        id="post_points", prompt="import",
        method="POST", path="/api/streams", right=Right.OPEN, topic=_TOPIC, raw=points.post_streams,
        says="Post points of probes and machines; they are on disk when it answers.", texts=(LINES,), bearer=True,
        answer=(shapes.Taken,), most_bytes=points.MOST_BYTES,
        refuses={
            401: "A device's token is needed: leadline watch token NAME makes one.",
            413: f"More than {points.MOST_POINTS:,} points or {points.MOST_BYTES // 1_000_000} MB.",
            422: "There are no points in it.",
            429: "Too many posts, or too many wrong tokens from this address.",
        },
        example=Example(body='{"system": "great-reef", "stream": "temperature", "t": 1772352000, "v": 25.1}'),
        tells=f"JSON lines, one point each, at most {points.MOST_POINTS:,}. `t` is in Unix seconds or ISO 8601; "
              "without it the moment of arrival counts.",
    ),
    Operation(
        id="stream_points", prompt="watch points",
        method="GET", path="/api/streams/{system}/{stream}", right=Right.VIEW, topic=_TOPIC,
        run=_points, says="Read a window of one stream, oldest first: points, or hours or days with their extremes.",
        query=Window, answer=(shapes.Points,),
        example=Example({"system": "great-reef", "stream": "temperature"}, {"rollup": "hour"}),
        tells="Without a start it is the day before the end, without an end it ends now. When not all fits, the next "
              "window begins at `more`.",
    ),
    Operation(
        id="health", method="GET", path="/health", right=Right.OPEN, topic="Watch", raw=points.health,
        says="Whether the watch lives: 200, or 503 with the reason.", answer=(shapes.Health,),
    ),
]  # fmt: skip
