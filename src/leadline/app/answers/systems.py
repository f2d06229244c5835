"""Systems as JSON: all of them, one that was kept, one as it stands."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from leadline.system.description import System


def listed(found: Sequence[tuple[str, str]]) -> dict[str, Any]:
    """`leadline.systems/1`: id and name of every system."""
    return {"schema": "leadline.systems/1", "systems": [{"id": i, "name": n} for i, n in found]}


def kept(s: System) -> dict[str, Any]:
    """`leadline.system/1` after a description was kept: what was not understood, what was assumed."""
    return {
        "schema": "leadline.system/1", "system": s.id, "name": s.name, "unknown": list(s.unknown),
        "defaults": list(s.defaults),
    }  # fmt: skip


def shown(s: System) -> dict[str, Any]:
    """`leadline.system/1`: what stands there."""
    return {
        "schema": "leadline.system/1", "system": s.id, "name": s.name, "time_zone": s.time_zone,
        "net_volume": {"unit": "L", "mean": s.net_volume_l, "sd": s.net_volume_sd_l}, "units": s.units,
        "vessels": [v.id for v in s.vessels], "equipment": [{"id": e.id, "type": e.type} for e in s.equipment],
        "streams": [{"id": x.id, "quantity": x.quantity} for x in s.streams],
        "bands": {q: {"aim": list(b.aim), "limit": list(b.limit) if b.limit else None} for q, b in s.bands.items()},
        "unknown": list(s.unknown), "defaults": list(s.defaults),
    }  # fmt: skip
