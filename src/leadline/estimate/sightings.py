"""How a kit or probe sees the state: readings of each quantity with noise, step, and whose bias they carry."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from leadline.estimate.grid import KIT1, KIT2, PROBE
from leadline.estimate.inputs import day_of
from leadline.journal.entry import Entry
from leadline.system.description import System
from leadline.system.methods import probe_performance

Array = np.ndarray
BIAS_TIMES = 1.25  # keepers' kits and makers' figures are prouder than they should be; tuned on seeds below 1000


Service = tuple[float, str, str]
"""Day, what was serviced, and what was done to it."""


@dataclass(slots=True)
class Sightings:
    """Readings of one quantity, in order of time. Arrays (n,), stored units.

    `noise_sd` and `relative` are repeatability; `bias_var` is the prior variance of the kit's or probe's offset;
    `slot` says whose bias it is; `fresh` that the bias is new with this reading (new lot, calibration, other kit).
    """

    t: Array
    value: Array
    noise_sd: Array
    relative: Array
    step: Array
    bias_sd: Array
    bias_relative: Array
    slot: Array
    fresh: Array
    ids: list[str]
    methods: list[str]

    def __len__(self) -> int:
        return len(self.t)


def gather(
    system: System,
    quantity: str,
    readings: Sequence[Entry],
    services: Sequence[Service],
    probe: Mapping[str, tuple[Array, Array]] | None = None,
) -> Sightings:
    """All usable readings of a quantity: hand tests in order of time, probe medians from `probe`.

    `probe` maps a stream id to times [d] and values in the stored unit.
    """
    hand = [e for e in readings if e.stored is not None]
    streams = {s.id for s in system.streams}
    is_probe = [bool(e.method) and (e.method in streams or e.method == "probe") for e in hand]
    kits = Counter(_kit(e) for e, p in zip(hand, is_probe, strict=True) if not p)
    ranked = [k for k, _ in kits.most_common(2)]
    lots = new_lots(services, quantity, streams | {"probe"})
    rows: list[tuple[float, float, float, float, float, float, float, int, bool, str, str]] = []
    current: dict[int, str] = {}
    last_seen: dict[int, float] = {}
    for e, from_probe in zip(hand, is_probe, strict=True):
        assert e.stored is not None
        kit = _kit(e)
        slot = PROBE if from_probe else KIT1 if not ranked or kit == ranked[0] else KIT2
        how = probe_performance(quantity) if from_probe else system.method(quantity, e.method)
        day = day_of(e.time)
        fresh = current.get(slot) != kit or any(
            last_seen[slot] < lot <= day and (whose == (slot == PROBE)) for lot, whose in lots
        )
        current[slot] = kit
        last_seen[slot] = day
        if e.stored_sd is not None and e.stored_sd > 0:
            noise, relative = e.stored_sd, 0.0
        else:
            noise, relative = how.sd, how.relative
        rows.append(
            (day, e.stored, noise, relative, how.step, how.bias_sd, how.bias_relative, slot, fresh, e.id, e.method)
        )
    for stream, (times, values) in (probe or {}).items():
        how = probe_performance(quantity)
        calibrated = [lot for lot, whose in lots if whose]
        before = -np.inf
        for t, v in zip(times.tolist(), values.tolist(), strict=True):
            fresh = before == -np.inf or any(before < lot <= t for lot in calibrated)
            rows.append((t, v, how.sd, how.relative, 0.0, how.bias_sd, how.bias_relative, PROBE, fresh, "", stream))
            before = t
    rows.sort(key=lambda r: r[0])
    if not rows:
        z = np.zeros(0)
        return Sightings(z, z, z, z, z, z, z, z.astype(int), z.astype(bool), [], [])
    n = np.array([r[:9] for r in rows], dtype=float)
    return Sightings(
        n[:, 0], n[:, 1], n[:, 2], n[:, 3], n[:, 4], BIAS_TIMES * n[:, 5], BIAS_TIMES * n[:, 6],
        n[:, 7].astype(int), n[:, 8].astype(bool),
        [r[9] for r in rows], [r[10] for r in rows],
    )  # fmt: skip


def _kit(e: Entry) -> str:
    return e.method or "hand"


def new_lots(services: Sequence[Service], quantity: str, streams: set[str]) -> list[tuple[float, bool]]:
    """Days on which the offset of a kit (False) or of the probe (True) was drawn anew."""
    found = []
    for day, about, done in services:
        if done not in ("new-lot", "replaced", "calibrated"):
            continue
        if about == f"{quantity}-kit" or (about.endswith("-kit") and about[:-4] in quantity):
            found.append((day, False))
        elif about == quantity or about.startswith(f"{quantity}-"):
            found.append((day, about in streams or "probe" in about))
        elif quantity == "salinity" and about in ("refractometer", "hydrometer", "conductivity"):
            found.append((day, False))
    return found
