"""A few lives of the bench (`python -m bench watch`): the simulator's water, its truth, and what the watch said."""

from __future__ import annotations

from dataclasses import replace

import pytest
from bench.watch_faults import FAULTS
from bench.watch_quiet import cool_exchanges, door_open, long_pauses
from bench.watch_water import live, watch

from leadline.alarms.decide import priority


def fault(name, kind):
    return next(f for f in FAULTS if f.name == name and f.kind == kind)


@pytest.mark.parametrize(
    ("name", "kind", "room"),
    [
        ("chiller heats by half its power", "great-reef", 28.0),  # so warm that it runs every hour or so
        ("heater stays on, says off", "quarantine", 22.0),
        ("heater is dead, says on", "lagoon", 18.0),
        ("top-off stays on, large barrel", "lagoon", 21.6),
    ],
)
def test_a_fault_is_known_before_half_of_its_time_is_over(name, kind, room):
    from bench.watch import broken

    told = broken(replace(fault(name, kind), room_c=room), 41)
    assert told.harm_s is not None
    assert told.known is not None
    assert told.lead(told.known) > 0.5
    assert told.known.because.endswith(".")


@pytest.mark.parametrize(
    ("kind", "events", "room"),
    [("great-reef", cool_exchanges, 24.0), ("lagoon", long_pauses, 21.6), ("quarantine", door_open, 21.0)],
)
def test_a_quiet_fortnight_wakes_nobody(kind, events, room):
    lived = live(kind, 43, 14.0, room_c=room, events=events)
    found, points = watch(lived)
    assert points > 14 * 1440 * 3 * 0.9
    assert [f.because for f in found if f.holds and str(priority(f.harm_s, consequence=f.consequence)) != "low"] == []
