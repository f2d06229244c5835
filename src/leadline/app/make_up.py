"""Make up records: one member of the simulator lived with by an invented keeper, as the contract's files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from leadline.app import describe
from leadline.app.ports import Store
from leadline.measures.moments import Clock, FixedClock

if TYPE_CHECKING:
    import numpy as np

    from leadline.invented.basin import Basin
    from leadline.model.probes import Probe
    from leadline.system.description import Stream

_HOURLY = 3600.0


def member(
    store: Store, clock: Clock, system: str, *, days: float, seed: int, step_s: float, with_text: str | None,
    cache: Path | None, as_of: dt.datetime | None, say: Callable[[str], None] = lambda _: None,
) -> dict[str, str]:  # fmt: skip
    """File name to text: system.toml, journal.csv, streams.csv and truth.csv of a run that ends now.

    The member begins in the water that is believed of `days` ago and is kept as the journal tells the keeper keeps it;
    what nobody knows is drawn. Its keeper forgets and mistypes; its probes drift and lose points. `truth.csv` holds
    what the water really was, hour by hour, in stored units.

    Raises
    ------
    BadInput
        As `simulate.simulate`.
    """
    from leadline.app import simulate
    from leadline.invented.basin import Basin
    from leadline.invented.diary import as_csv
    from leadline.invented.keeper import Household, Ways, live
    from leadline.model import scenario as words
    from leadline.model.acts import Acts

    end = (as_of or clock.now()).replace(second=0, microsecond=0)
    begin = end - dt.timedelta(days=days)
    simulate.check(days, 1)
    past: Clock = FixedClock(begin)
    e, _, _, scenario = simulate.prepare(
        store, past, system, days=days, members=1, seed=seed, step_s=step_s, with_text=with_text, as_of=begin,
        cache=cache, say=say,
    )  # fmt: skip
    plan = Acts(e.plan, step_s)
    words.put(scenario, plan, days)
    basin = Basin(e, cache, plan)
    basin.recording = True
    h = simulate.habits(store.entries(system), begin)
    litres = e.plan.system.net_volume_l
    changes = h.exchange or (10.0, 0.1 * litres, 35.0)
    home = Household(h.food_g_d or {"pellets": 0.003 * litres}, (changes[0], changes[1], changes[2] or 35.0), h.by_hand)
    away = (tuple(x / 86400.0 for x in scenario.usual.away),) if scenario.usual.away else ()
    diary = live(basin, home, Ways(away=away), days, seed)  # type: ignore[arg-type]
    return {
        "system.toml": describe.document(store, system), "journal.csv": as_csv(diary.rows),
        "streams.csv": streams(basin, seed), "truth.csv": truth(basin),
    }  # fmt: skip


def tonight(
    store: Store, clock: Clock, system: str, begin: dt.datetime, hours: float, scenario: str, cache: Path | None
) -> list[tuple[float, str]]:
    """Stream rows of a night that has just begun, each with its moment [Unix s]: what the probes will send, if the
    scenario is what happens. For the demo, which plays it in real time."""
    end = begin + dt.timedelta(hours=hours)
    made = member(
        store, clock, system, days=hours / 24.0, seed=3, step_s=60.0, with_text=scenario, cache=cache, as_of=end
    )
    rows = made["streams.csv"].split("\r\n")[1:]
    return [(dt.datetime.fromisoformat(r.partition(",")[0]).timestamp(), r) for r in rows if r]


def truth(basin: Basin) -> str:
    """What the water was: one row an hour, every measured quantity and what explains it, stored units."""
    from leadline.measures.quantities import QUANTITIES
    from leadline.model import sight
    from leadline.model.outcome import MORE

    times, seen = basin.recorded()
    names = [n for n in (*sight.MEASURED, *MORE) if n in seen]
    units = [QUANTITIES[n].unit if n in QUANTITIES else MORE[n] for n in names]
    every = max(1, round(_HOURLY / basin.e.dt_s))
    lines = ["time,system," + ",".join(f"{n} [{u}]" for n, u in zip(names, units, strict=True))]
    for k in range(0, len(times), every):
        stamp = dt.datetime.fromtimestamp(float(times[k]), dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(f"{stamp},{basin.plan.system.id}," + ",".join(f"{seen[n][k]:.6g}" for n in names))
    return "\r\n".join(lines) + "\r\n"


_SIGHT_OF_MACHINE = {"heater": "heater_duty", "chiller": "chiller_duty", "light": "light"}


def streams(basin: Basin, seed: int) -> str:
    """Every declared stream as its probe sent it, and the states of machines that have a stream."""
    import numpy as np

    from leadline.model.probes import readings

    times, seen = basin.recorded()
    chance = np.random.default_rng([seed, 77])
    system = basin.plan.system
    rows: list[tuple[float, str]] = []
    declared = {s.id for s in system.streams}
    for s in system.streams:
        name = _sight(s)
        if name is None or name not in seen:
            continue
        probe = _probe(s, basin.e.dt_s, float(times[0]), float(times[-1]), chance)
        at, values = readings(probe, times, seen[name], chance)
        digits = 3 if probe.step == 0.0 else max(0, int(np.ceil(-np.log10(probe.step))))
        rows += [(t, f"{s.id},{v:.{digits}f},{_unit(s)}") for t, v in zip(at, values, strict=True)]
    for e in system.equipment:
        kind = basin.plan.machines.get(e.id, ("", 0))
        if e.stream and e.stream not in declared and kind[0] in _SIGHT_OF_MACHINE and kind[1] == 0:
            state = seen[_SIGHT_OF_MACHINE[kind[0]]]
            on = (state > 0.0).astype(int) if kind[0] == "light" else state.astype(int)
            rows += [(float(t), f"{e.stream},{int(v)},1") for t, v in zip(times, on, strict=True)]
    lines = ["time,system,stream,value,unit"]
    for t, said in sorted(rows, key=lambda r: r[0]):
        stamp = dt.datetime.fromtimestamp(t, dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(f"{stamp},{system.id},{said}")
    return "\r\n".join(lines) + "\r\n"


def _sight(s: Stream) -> str | None:
    if s.room:
        return {"temperature": "room_temperature", "co2_air": "room_co2"}.get(s.quantity)
    return {"temperature": "plant_temperature"}.get(s.quantity, s.quantity or None)


def _unit(s: Stream) -> str:
    from leadline.measures.quantities import QUANTITIES

    return QUANTITIES[s.quantity].unit if s.quantity in QUANTITIES else "1"


# noise, step, drift a day, lag [s] of an ordinary probe in the stored unit: judgement
_ORDINARY = {
    "temperature": (0.02, 0.01, 0.0005, 60.0), "ph": (0.008, 0.01, 0.0008, 60.0),
    "salinity": (0.03, 0.01, -0.004, 30.0), "oxygen": (0.04, 0.01, -0.004, 90.0),
    "alkalinity": (0.03, 0.01, 0.001, 1.0),
}  # fmt: skip


def _probe(s: Stream, dt_s: float, begin: float, end: float, chance: np.random.Generator) -> Probe:
    """An ordinary probe of that quantity: with its drift, a calibration every two months, and rare gaps and spikes."""
    from leadline.model.probes import Probe

    noise, step, drift, lag = _ORDINARY.get(s.quantity, (0.0, 0.0, 0.0, 30.0))
    days = (end - begin) / 86400.0
    calibrations = [begin + 86400.0 * d for d in range(20, int(days), 60)]
    silent = []
    if chance.random() < min(0.9, days / 60.0):
        at = begin + float(chance.random()) * (end - begin)
        silent.append((at, at + 3600.0 * float(chance.exponential(5.0))))
    return Probe(
        period_s=max(s.period_s, dt_s if dt_s < 60.0 else 60.0), lag_s=lag, noise=noise, step=step,
        offset=float(chance.normal(0.0, 3.0 * noise)), drift_per_day=drift * float(chance.normal(1.0, 0.4)),
        calibrations=calibrations, silent=silent, loss=0.002, spikes_per_day=0.02, spike=40.0 * noise,
        fouling_per_day=0.05, cleanings=[begin + 86400.0 * d for d in range(7, int(days), 14)],
    )  # fmt: skip
