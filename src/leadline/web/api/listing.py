"""The API about itself: its document, and the page that lists what can be asked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from leadline.web import metrics
from leadline.web.api.document import curl, document, right_said
from leadline.web.api.operation import TEXT, Call, Operation
from leadline.web.pages.round import Asked, page
from leadline.web.ways import Right, way

_told: list[Operation] = []


def tell(operations: Sequence[Operation]) -> None:
    """Say once, when all are declared, what the document and the page tell of."""
    _told[:] = operations


def _address(request: Request) -> str:
    return str(request.base_url).rstrip("/")


def _document(call: Call) -> Any:
    return document(_told, _address(call.request))


async def listed(request: Request) -> Response:
    """`GET /api`: every operation with what it takes and one example."""
    topics: dict[str, list[dict[str, Any]]] = {}
    for o in _told:
        topics.setdefault(o.topic, []).append({
            "id": o.id, "method": o.method, "path": o.path, "says": o.says, "tells": o.tells, "right": right_said(o),
            "curl": curl(o, _address(request)),
        })  # fmt: skip
    return page(request, "api.html", {
        "title": "API", "tabs": Asked(request).systems(), "view": "api", "topics": list(topics.items()),
        "address": _address(request),
    })  # fmt: skip


OPERATIONS = [
    Operation(
        id="openapi", method="GET", path="/api/openapi.json", right=Right.VIEW, topic="About", run=_document,
        says="This API's document, in OpenAPI 3.1.",
    ),
    Operation(
        id="metrics", method="GET", path="/metrics", right=Right.VIEW, topic="About", raw=metrics.metrics,
        says="Figures of the house for Prometheus, in its text format.", media=TEXT,
        tells="OpenMetrics is answered to whoever accepts it.",
    ),
]  # fmt: skip
PAGE = [way("/api", listed, Right.VIEW, name="api")]
