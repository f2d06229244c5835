"""Bodies that no JSON Schema describes, for the tests that make requests up: TOML, and JSON lines of points."""

from __future__ import annotations

import json

import schemathesis
from hypothesis import strategies as st

SYSTEMS = st.sampled_from(["great-reef", "lagoon", "north-room", "x"])
NUMBERS = st.floats(allow_nan=False, allow_infinity=False) | st.integers()
POINTS = st.fixed_dictionaries(
    {"system": SYSTEMS, "stream": st.sampled_from(["temperature", "ph", "new"]), "v": NUMBERS | st.text()},
    optional={"t": st.integers(1_600_000_000, 1_790_000_000) | st.text(), "unit": st.text()},
)
LINES = st.lists(POINTS, min_size=1, max_size=5).map(lambda points: "\n".join(map(json.dumps, points)).encode())


@st.composite
def descriptions(draw) -> bytes:
    """A system of one table."""
    volume = draw(st.integers(-1, 10_000))
    return (
        f'[system]\nid = "{draw(SYSTEMS)}"\nname = "Invented"\ntime_zone = "Europe/Oslo"\nnet_volume = "{volume} L"\n'
    ).encode()


def sent(ctx: object, value: object) -> bytes:
    """As it stands."""
    return value if isinstance(value, bytes) else str(value).encode()


for media, made in (("application/x-ndjson", LINES), ("application/toml", descriptions())):
    schemathesis.openapi.media_type(media, made)
    schemathesis.serializer(media)(sent)


@schemathesis.hook
def before_load_schema(ctx: object, raw_schema: dict) -> None:
    """Leave out an example that is text: beside a strategy of its own, only bytes can be sent."""
    for path in raw_schema["paths"].values():
        for operation in path.values():
            operation.get("requestBody", {}).get("content", {}).get("application/x-ndjson", {}).pop("example", None)
