"""A reckoning as bytes and back, so that a cold start need not replay ten years. Losing it loses nothing."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from leadline.estimate.families import FAMILIES
from leadline.estimate.grid import Bank
from leadline.estimate.inputs import Events, Inputs, Ongoing
from leadline.estimate.reckon import Reckoning
from leadline.estimate.replay import Track
from leadline.estimate.sightings import Sightings
from leadline.system.description import System

Array = np.ndarray
RECKONING = 1  # raise it whenever the same journal would be reckoned otherwise: what is kept aside is of one number
_SIGHTINGS = ("t", "value", "noise_sd", "relative", "step", "bias_sd", "bias_relative", "slot", "fresh")
_EVENTS = ("t", "log_keep", "dose", "other", "var", "regular")
_TRACK = (
    "rate_walk",
    "level_walk",
    "departure",
    "expected",
    "expected_sd",
    "hypotheses",
    "post_mean",
    "post_cov",
    "walk",
)
_BANK = ("mean", "cov", "log_weight")


class _Shelf:
    """Arrays one after the other in one buffer, each found again by its place and shape."""

    def __init__(self) -> None:
        self.parts: list[bytes] = []
        self.size = 0

    def put(self, a: Array) -> list[Any]:
        flat = np.ascontiguousarray(a, dtype=np.float64)
        self.parts.append(flat.tobytes())
        place = self.size
        self.size += flat.size
        return [place, *a.shape]


def _take(buffer: Array, place: list[int]) -> Array:
    start, shape = place[0], place[1:]
    n = int(np.prod(shape)) if shape else 1
    return buffer[start : start + n].reshape(shape).copy()


def freeze(r: Reckoning) -> bytes:
    """Everything that an estimate, a round or a course needs; the scores of past readings are left out."""
    shelf = _Shelf()
    tracks = {}
    for q, t in r.tracks.items():
        assert t.opened is not None
        tracks[q] = {
            "scale": t.scale, "last": t.last, "start": t.start, "coupled": t.coupled, "leak": t.events.leak_per_day,
            "opened": [shelf.put(t.opened[0]), shelf.put(t.opened[1]), t.opened[2]],
            "bank": [shelf.put(getattr(t.bank, k)) for k in _BANK],
            "track": [shelf.put(getattr(t, k)) for k in _TRACK],
            "sightings": [shelf.put(getattr(t.sightings, k)) for k in _SIGHTINGS],
            "ids": t.sightings.ids, "methods": t.sightings.methods,
            "events": [shelf.put(getattr(t.events, k)) for k in _EVENTS],
        }  # fmt: skip
    i = r.inputs
    head = {
        "now": r.now, "until": i.until, "tracks": tracks, "typed": r.typed, "warnings": r.warnings,
        "confirmed": sorted(r.confirmed), "services": r.services, "since": r.since, "input_warnings": i.warnings,
        "dosed": sorted(i.dosed), "marks": i.marks,
        "ongoing": [[o.first, o.last, o.effect, o.error, o.words] for o in i.ongoing],
    }  # fmt: skip
    text = json.dumps(head, separators=(",", ":")).encode()
    return len(text).to_bytes(8, "little") + text + b"".join(shelf.parts)


def thaw(content: bytes, system: System, now: float) -> Reckoning | None:
    """The reckoning again, carried to `now` [d]; None when it is of a later moment or cannot be read."""
    try:
        n = int.from_bytes(content[:8], "little")
        head = json.loads(content[8 : 8 + n])
        if head["now"] > now:
            return None
        buffer = (
            np.frombuffer(content, dtype=np.float64, offset=8 + n)
            if (8 + n) % 8 == 0
            else np.frombuffer(content[8 + n :], dtype=np.float64)
        )
        ongoing = [Ongoing(*o) for o in head["ongoing"]]
        marks = [(float(a), str(b), str(c)) for a, b, c in head["marks"]]
        events: dict[str, Events] = {}
        inputs = Inputs(events, head["input_warnings"], set(head["dosed"]), marks, ongoing, head["until"])
        for q, d in head["tracks"].items():
            t, log_keep, dose, other, var, regular = (_take(buffer, p) for p in d["events"])
            events[q] = Events(t, log_keep, dose, other, var, d["leak"], regular)
        inputs.go_on(now)
        tracks = {q: _track(q, d, buffer, events[q]) for q, d in head["tracks"].items()}
    except (ValueError, KeyError, TypeError, IndexError, AttributeError):
        return None
    return Reckoning(
        system, now, tracks, inputs, head["typed"], tuple(head["warnings"]), frozenset(head["confirmed"]),
        [(float(a), str(b), str(c)) for a, b, c in head["services"]], head["since"],
    )  # fmt: skip


def _track(q: str, d: dict[str, Any], buffer: Array, events: Events) -> Track:
    s = [_take(buffer, p) for p in d["sightings"]]
    seen = Sightings(s[0], s[1], s[2], s[3], s[4], s[5], s[6], s[7].astype(int), s[8] > 0, d["ids"], d["methods"])
    v = dict(zip(_TRACK, (_take(buffer, p) for p in d["track"]), strict=True))
    bank = Bank(*(_take(buffer, p) for p in d["bank"]))
    opened = (_take(buffer, d["opened"][0]), _take(buffer, d["opened"][1]), float(d["opened"][2]))
    last = d["last"]
    return Track(
        q, FAMILIES[q], d["scale"], seen, events, bank, last, d["start"], v["rate_walk"], v["level_walk"],
        v["departure"], opened, d["coupled"], v["expected"], v["expected_sd"], None, None, v["hypotheses"],
        v["post_mean"], v["post_cov"], v["walk"],
    )  # fmt: skip
