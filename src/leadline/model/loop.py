"""A member's whole run: acts at their step, the hour's chance, the steps, and what is seen on the way.

`run` is compiled for one member at a time; `run_all` is the same in numpy with the members side by side, slower by the
ratio that `python -m bench simulator` prints, and right everywhere. Acts are rows of numbers (`scenario.py` makes
them): a step, a body, a mass taken out, a parcel put in, and a control set.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.model import layout as at
from leadline.model import sight, step
from leadline.model.processes import flow, room, warmth

# columns of an act
ACT_STEP, ACT_BODY, ACT_OUT_KG, ACT_PARCEL, ACT_AMOUNT, ACT_CONTROL, ACT_VALUE, ACT_POOL, ACT_POOL_ADD, ACT_WARM_C = (
    range(10)
)
N_ACT = 10


def apply(row: Any, x: Any, y: Any, c: Any, led: Any, parcels: Any, hub: int) -> None:
    """Do one act to one member: water out, a parcel in (at its own warmth), a control set, a pool
    changed (by so much, and to no less than the value)."""
    b = min(int(row[ACT_BODY]), hub)
    if row[ACT_OUT_KG] > 0.0:
        part = min(row[ACT_OUT_KG] / flow.mass(x, b), 0.95)
        for s in range(at.N_STATES):
            gone = x[b, s] * part
            x[b, s] -= gone
            led[at.HAND, s] -= gone
    k = int(row[ACT_PARCEL])
    if k >= 0:
        amount = row[ACT_AMOUNT]
        for s in range(at.N_STATES):
            if s != at.HEAT:
                more = parcels[k, s] * amount
                if s != at.TA:  # alkalinity may fall below zero, nothing else can
                    more = max(more, -0.95 * x[b, s])
                x[b, s] += more
                led[at.HAND, s] += more
        heat = (warmth.WATER_J * parcels[k, at.WATER] + warmth.SALT_J * parcels[k, at.SALT]) * amount * row[ACT_WARM_C]
        heat += parcels[k, at.HEAT] * amount
        x[b, at.HEAT] += heat
        led[at.HAND, at.HEAT] += heat
    control = int(row[ACT_CONTROL])
    if control >= 0:
        c[control] = row[ACT_VALUE]
    pool = int(row[ACT_POOL])
    if pool >= 0:
        y[pool] = max(y[pool] + row[ACT_POOL_ADD], row[ACT_VALUE] if control < 0 else 0.0)


def mark_passages(out: Any, edges: Any, passed: Any, moment: float) -> None:
    """Note the first moment at which each sight stood beyond each of its edges: aim low, high, limit low, high."""
    for q in range(edges.shape[0]):
        v = out[q]
        if v < edges[q, 0] and passed[q, 0] < 0.0:
            passed[q, 0] = moment
        if v > edges[q, 1] and passed[q, 1] < 0.0:
            passed[q, 1] = moment
        if v < edges[q, 2] and passed[q, 2] < 0.0:
            passed[q, 2] = moment
        if v > edges[q, 3] and passed[q, 3] < 0.0:
            passed[q, 3] = moment


def run(
    x: Any, y: Any, c: Any, p: Any, g: Any, led: Any, ln_h: Any,
    bodies: int, dosers: int, parts: int, alive: int, dt: float, first: int, steps: int,
    clock: Any, chance: Any, acts: Any, parcels: Any, water: Any, solutions: Any,
    every: int, seen: Any, edges: Any, passed: Any, look: Any,
) -> int:  # fmt: skip
    """Run one member; gives the step at which it left what the model can answer for, or −1.

    Parameters
    ----------
    first, steps
        The first step's number since the run's beginning, and how many to take.
    clock
        One row a step and one for the end: local hour, days since a local midnight, years since the start, waves of
        day and year, and 1 where an hour begins.
    chance
        Three standard normal numbers for each hour that begins in these steps.
    acts
        Rows in order of their step; this run does those from `first` to before `first + steps`.
    every, seen
        Look every so many steps into `seen[k]`; also before the first step.
    edges, passed
        Four edges for each sight that has them, and when each was first passed (seconds; below 0: not).
    look
        Room for one look: the compiled form makes no arrays of its own.
    """
    hub = bodies - 1
    act = row = hours = 0
    while act < acts.shape[0] and acts[act, ACT_STEP] < first:  # done in a run before this one
        act += 1
    for i in range(steps):
        n = first + i
        if act < acts.shape[0] and acts[act, ACT_STEP] <= n:
            while act < acts.shape[0] and acts[act, ACT_STEP] <= n:
                apply(acts[act], x, y, c, led, parcels, hub)
                act += 1
            step.warm_start(x, ln_h, bodies)  # an act may move pH far
        begins = clock[i, 5] > 0.5
        if begins:
            room.pass_an_hour(y, p, chance[hours])
            hours += 1
        if i % every == 0:
            sight.look(seen[row], x, y, c, p, g, ln_h, bodies, clock[i, 0], clock[i, 3], clock[i, 4])
            row += 1
        if begins:
            sight.look(look, x, y, c, p, g, ln_h, bodies, clock[i, 0], clock[i, 3], clock[i, 4])
            mark_passages(look, edges, passed, n * dt)
        step.advance(
            x, y, c, p, g, led, ln_h, bodies, dosers, parts, alive, dt,
            clock[i, 0], clock[i, 1], clock[i, 2], clock[i, 3], clock[i, 4], water, solutions,
        )  # fmt: skip
        if not (1.0 < warmth.temperature(x, 0) < 45.0 and 2.0 < warmth.salinity(x, 0) < 60.0):
            return n
    i = steps
    sight.look(seen[row], x, y, c, p, g, ln_h, bodies, clock[i, 0], clock[i, 3], clock[i, 4])
    return -1


def run_all(
    x: Any, y: Any, c: Any, p: Any, g: Any, led: Any, ln_h: Any,
    bodies: int, dosers: int, parts: int, alive: int, dt: float, first: int, steps: int,
    clock: Any, chance: Any, acts: Any, parcels: Any, water: Any, solutions: Any,
    every: int, seen: Any, edges: Any, passed: Any, left: Any,
) -> None:  # fmt: skip
    """The same for all members at once, in numpy: each array as for `run`, with members as its first axis.

    `left` takes, for each member, the step at which it left the model's range, or −1; such a member stands still.
    """
    members = x.shape[0]
    hub = bodies - 1
    wide = [np.ascontiguousarray(np.moveaxis(a, 0, -1)) for a in (x, y, c, p, g, led, ln_h)]
    look = np.empty((sight.N_SIGHTS, members))
    chances = np.moveaxis(chance, 0, -1)
    acted = np.zeros(members, dtype=int)
    left[:] = -1
    frozen: dict[int, list[Any]] = {}
    row = hours = 0

    def due(n: int) -> None:
        xs, ys, cs, _, _, ledger, hs = wide
        for m in range(members):
            before = acted[m]
            while acted[m] < acts.shape[1] and acts[m, acted[m], ACT_STEP] <= n:
                apply(acts[m, acted[m]], xs[..., m], ys[..., m], cs[..., m], ledger[..., m], parcels, hub)
                acted[m] += 1
            if acted[m] > before:
                step.warm_start(xs[..., m], hs[..., m], bodies)

    for m in range(members):
        acted[m] = int((acts[m, :, ACT_STEP] < first).sum())
    for i in range(steps):
        n = first + i
        due(n)
        begins = clock[i, 5] > 0.5
        if begins:
            room.pass_an_hour(wide[1], wide[3], chances[hours])
            hours += 1
        if begins or i % every == 0:
            xs, ys, cs, ps, gs, _, hs = wide
            sight.look(look, xs, ys, cs, ps, gs, hs, bodies, clock[i, 0], clock[i, 3], clock[i, 4])
            if i % every == 0:
                seen[:, row] = np.where(left[:, None] < 0, look.T, np.nan)
                row += 1
            if begins:
                for inside in np.flatnonzero(left < 0):
                    mark_passages(look[:, inside], edges, passed[inside], n * dt)
        with np.errstate(all="ignore"):
            xs, ys, cs, ps, gs, ledger, hs = wide
            step.advance(
                xs, ys, cs, ps, gs, ledger, hs, bodies, dosers, parts, alive, dt,
                clock[i, 0], clock[i, 1], clock[i, 2], clock[i, 3], clock[i, 4], water, solutions,
            )  # fmt: skip
        t, s = warmth.temperature(wide[0], 0), warmth.salinity(wide[0], 0)
        for out in np.flatnonzero(~((t > 1.0) & (t < 45.0) & (s > 2.0) & (s < 60.0)) & (left < 0)):
            left[out] = n
            frozen[int(out)] = [a[..., out].copy() for a in wide]
    xs, ys, cs, ps, gs, _, hs = wide
    sight.look(look, xs, ys, cs, ps, gs, hs, bodies, clock[steps, 0], clock[steps, 3], clock[steps, 4])
    seen[:, row] = np.where(left[:, None] < 0, look.T, np.nan)
    for member, kept in frozen.items():
        for a, b in zip(wide, kept, strict=True):
            a[..., member] = b
    for target, a in zip((x, y, c, p, g, led, ln_h), wide, strict=True):
        target[...] = np.moveaxis(a, -1, 0)
