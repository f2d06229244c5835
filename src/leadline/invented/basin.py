"""One invented water: a single member of the simulator, lived through act by act, with what it showed on the way."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from leadline.model import layout as at
from leadline.model import loop, members, sight, step
from leadline.model.acts import Acts
from leadline.model.blueprint import Blueprint
from leadline.model.describe import blueprint
from leadline.model.parameters import INDEX
from leadline.system.description import parse

Array = np.ndarray
DKH = 2.80385  # dKH in one meq/L
STEP_S = 300.0


class Basin:
    """A member of an ensemble that is lived with. Times are aware moments; chance is the member's own.

    Parameters
    ----------
    e
        An ensemble of one member, not yet run.
    cache
        Folder of compiled code; without one numpy does it.
    plan
        Acts that come by themselves (a scenario); those of hands are done as they come.
    """

    def __init__(self, e: members.Ensemble, cache: Path | None = None, plan: Acts | None = None) -> None:
        self.e, self.plan, self.cache = e, e.plan, cache
        self.moment = self.begin = e.begin
        self.first: Array = e.x[0].sum(axis=0)  # what was there, by state
        self._seen: list[members.Seen] = []
        self.recording = False
        self._table, self._parcels = (plan or Acts(e.plan, e.dt_s)).tables(e.p)
        if plan is not None and plan.alive:
            e.alive = 1

    @property
    def litres(self) -> float:
        """The water itself. [L]"""
        return float(self.e.x[0, :, [at.WATER, at.SALT]].sum()) / 1.0235

    def set(self, name: str, value: float) -> None:
        """Change a parameter of the simulator from now on."""
        self.e.p[0, INDEX[name]] = value

    def get(self, name: str) -> float:
        """A parameter as it is now."""
        return float(self.e.p[0, INDEX[name]])

    def advance(self, to: dt.datetime) -> None:
        """Live until the step nearest to then."""
        steps = round((to - self.moment).total_seconds() / self.e.dt_s)
        if steps <= 0:
            return
        every = 1 if self.recording else steps
        seen = members.run(self.e, steps, self._table, self._parcels, every=every, cache=self.cache)
        if self.recording:
            self._seen.append(seen)
        self.moment += dt.timedelta(seconds=steps * self.e.dt_s)

    def act(self) -> Acts:
        """Acts to fill and hand to `do`."""
        return Acts(self.plan, self.e.dt_s)

    def do(self, acts: Acts) -> None:
        """Do all of these now."""
        table, parcels = acts.tables(self.e.p)
        if acts.alive:
            self.e.alive = 1
        for row in table[0]:
            loop.apply(row, self.e.x[0], self.e.y[0], self.e.c[0], self.e.led[0], parcels, self.e.bodies - 1)
        step.warm_start(self.e.x[0], self.e.ln_h[0], self.e.bodies)

    def feed(self, food: str, grams: float) -> None:
        """Food given."""
        acts = self.act()
        acts.feed(0.0, food, grams)
        self.do(acts)

    def exchange(self, out_l: float, in_l: float, extra: Mapping[str, float]) -> None:
        """Water out, water in; `extra` as in the journal."""
        acts = self.act()
        acts.exchange(0.0, in_l, "mixed-seawater", extra, out_l=out_l)
        self.do(acts)

    def add(self, substance: str, value: float, unit: str) -> None:
        """Something put in by hand."""
        acts = self.act()
        acts.add(0.0, substance, value, unit)
        self.do(acts)

    def change(self, machine: str, state: str, value: float | None = None) -> None:
        """A machine's state from now on."""
        acts = self.act()
        acts.change(0.0, machine, state, value)
        self.do(acts)

    def dose(self, machine: int, what: str, mol_d: float) -> None:
        """Set a doser to give so much of what its container holds. [mol/d]"""
        state = {"alkalinity": at.TA, "calcium": at.CA}[what]
        self.set(f"DOSER_{machine}_L_D", mol_d / float(self.plan.solutions[machine, state]))

    def refill(self) -> None:
        """Reservoir and containers filled."""
        acts = self.act()
        acts.refill(0.0)
        self.do(acts)

    def look(self) -> dict[str, float]:
        """What a perfect instrument would show now, stored units."""
        out = np.zeros(sight.N_SIGHTS)
        e = self.e
        rows = members.clock(self.moment, ZoneInfo(self.plan.system.time_zone), e.dt_s, 0, 1)
        sight.look(out, e.x[0], e.y[0], e.c[0], e.p[0], e.g[0], e.ln_h[0], e.bodies, rows[0, 0], rows[0, 3], rows[0, 4])
        return dict(zip(sight.SIGHTS, (float(v) for v in out), strict=True))

    def level(self, quantity: str) -> float:
        """Now: alkalinity in dKH, all else in its stored unit."""
        value = self.look()[quantity]
        return value * DKH if quantity == "alkalinity" else value

    def recorded(self) -> tuple[Array, dict[str, Array]]:
        """Unix seconds and every sight, at each step that was recorded."""
        begin = self.begin.timestamp()
        times = np.concatenate([begin + s.times_s[:-1] for s in self._seen])
        values = np.concatenate([s.values[0, :-1] for s in self._seen])
        return times, {name: values[:, k] for k, name in enumerate(sight.SIGHTS)}


def found(
    document: str, begin: dt.datetime, *, water: Mapping[str, float], truth: Mapping[str, float],
    takes: Mapping[str, float] | None = None, litres: float | None = None, food_mol_d: tuple[float, float, float],
    seed: int, cache: Path | None = None, step_s: float = STEP_S,
) -> Basin:  # fmt: skip
    """A basin whose truth is told: the middle of every draw, but for what `truth` says.

    Parameters
    ----------
    document
        The description of what stands there; `truth` sets parameters of the simulator to what they really are, which
        need not be what the description says.
    water, takes
        What the water holds at the beginning, and what the system takes in a day, in stored units.
    food_mol_d
        Carbon, nitrogen and phosphorus it is fed in a day: sets pools to their balance.
    """
    plan: Blueprint = blueprint(parse(document))
    for name, value in truth.items():
        plan.set(name, value, 0.0, "truth")
    start = members.Start(
        {name: (value, 0.0) for name, value in water.items()},
        {name: (value, 0.0) for name, value in (takes or {}).items()},
        food_mol_d, (litres, 0.0) if litres else (plan.system.net_volume_l, 0.0),
    )  # fmt: skip
    e = members.muster(plan, begin, 1, seed, start, step_s, certain=True)
    for name in ("ROOM_WEATHER_K", "ROOM_PPM_NOISE", "APPETITE_SD"):
        e.p[0, INDEX[name]] = plan.value(name)
    for name, value in truth.items():  # muster may have bent them to hold temperature and pH
        if name != "DEMAND_EQ_D":
            e.p[0, INDEX[name]] = value
    return Basin(e, cache)
