"""The simulator's speed: 200 members for 90 days in steps of 10 minutes, against a floor and against plain numpy.

The floor is the least that any such step must do: 25 states moved by Euler with fixed coefficients, one carbonate solve
with its constants, compiled, on as many threads. A first run may compile; that is timed apart.

Usage: python -m bench.simulator [MEMBERS DAYS]
"""

from __future__ import annotations

import datetime as dt
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from leadline.invented import descriptions
from leadline.model import kernel, layout, members
from leadline.model.acts import Acts
from leadline.model.describe import blueprint
from leadline.model.processes import carbonate
from leadline.model.substances import food_moles
from leadline.system.description import parse
from leadline.wiring import compiled_folder

BEGIN = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
PRINTED_FLOOR = 9.27e6  # member-steps/s of the sheet's 25-state step on two cores of its machine
STATES = 25


def prepared(count: int, days: int) -> tuple[members.Ensemble, np.ndarray, np.ndarray]:
    """The great reef of the demo with two meals a day and an exchange every tenth."""
    plan = blueprint(parse(descriptions.GREAT_REEF))
    start = members.Start(takes={"alkalinity": (0.3, 0.05)}, food_mol_d=food_moles("pellets", 4.0))
    e = members.muster(plan, BEGIN, count, 1, start)
    acts = Acts(plan, 600.0)
    for day in range(days):
        acts.feed(day * 86400.0 + 30000.0, "pellets", 4.0)
        acts.refill(day * 86400.0 + 70000.0)
        if day % 10 == 5:
            acts.exchange(day * 86400.0 + 68000.0, 90.0)
    return e, *acts.tables(e.p)


def timed(work: Callable[[], Any], times: int) -> tuple[float, float]:
    """Least and median seconds of some runs."""
    spans = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        spans.append(time.perf_counter() - began)
    return min(spans), float(np.median(spans))


def floor_kernel() -> Callable[..., float]:
    """The 25-state step: constants and solve, then an Euler step with eight terms for each state."""
    import numba

    kernel.compiled(compiled_folder())  # registers the seawater functions with the compiler

    def run(x: Any, a: Any, steps: int) -> float:
        ln_h = -18.6
        for _ in range(steps):
            t, s = 25.0 + x[0], 35.0 + x[1]
            ln_h, co2, _, _ = carbonate.solve(2.8e-3 + x[2], 2.4e-3 + x[3], t, s, ln_h, 2)
            for i in range(STATES):
                rate = a[i, 0]
                for j in range(8):
                    rate += a[i, j] * x[(i + j) % STATES]
                x[i] += 1e-6 * (rate + co2)
        return ln_h

    how: dict[str, Any] = {"_nrt": False, "fastmath": {"nsz", "arcp", "contract"}}
    compiled: Callable[..., float] = numba.njit(nogil=True, error_model="numpy", **how)(run)
    return compiled


def main(argv: list[str] | None = None) -> None:
    given = sys.argv[1:] if argv is None else argv
    count, days = (int(given[0]), int(given[1])) if len(given) == 2 else (200, 90)
    steps = days * 144
    if not kernel.available():
        print("numba is not installed here: only the numpy form runs")
        return
    with tempfile.TemporaryDirectory(prefix="leadline-bench-", ignore_cleanup_errors=True) as fresh:
        e, acts, parcels = prepared(2, 1)
        began = time.perf_counter()
        members.run(e, 6, acts, parcels, cache=Path(fresh))
        cold = time.perf_counter() - began
    cache = compiled_folder()
    kernel.compiled.cache_clear()
    e, acts, parcels = prepared(2, 1)
    members.run(e, 6, acts, parcels, cache=cache)

    def ensemble() -> None:
        crowd, table, held = prepared(count, days)
        spans.append(time.perf_counter())
        members.run(crowd, steps, table, held, every=24, cache=cache)
        spans.append(time.perf_counter())

    spans: list[float] = []
    timed(ensemble, 5)
    runs = np.diff(np.array(spans))[::2]
    least, middle = float(runs.min()), float(np.median(runs))
    rate = count * steps / middle

    floor = floor_kernel()
    rng = np.random.default_rng(1)
    a = rng.normal(0.0, 1e-3, (STATES, 8))
    floor(np.zeros(STATES), a, 10)

    def toy() -> None:
        blocks = [[np.zeros(STATES) for _ in range(count // 2)] for _ in range(2)]

        def half(block: list[np.ndarray]) -> None:
            for x in block:
                floor(x, a, steps)

        with ThreadPoolExecutor(2) as pool:
            list(pool.map(half, blocks))

    _, toy_middle = timed(toy, 3)
    toy_rate = 2 * (count // 2) * steps / toy_middle
    some = max(1, steps // 45)
    crowd, table, held = prepared(count, days)
    numpy_s, _ = timed(lambda: members.run(crowd, some, table, held, every=24, plain=True), 1)
    numpy_rate = count * some / numpy_s
    print(f"{count} members, {days} days, steps of 10 minutes, {e.bodies} bodies of {layout.N_STATES} states, "
          f"{layout.N_POOLS} pools, 2 threads")  # fmt: skip
    met = {True: "met", False: "MISSED"}
    fast, quarter = met[middle <= 1.5], met[rate >= 0.25 * PRINTED_FLOOR]
    rows = [
        ("compiling, once", cold, "s", ""),
        ("the ensemble, median of 5", middle, "s", f"least {least:.2f}; aim 1.5 {fast}"),
        ("simulator", rate / 1e6, "M member-steps/s", f"{1e9 * 2 * middle / (count * steps):.0f} ns each and core"),
        ("25-state step, same run", toy_rate / 1e6, "M member-steps/s", f"simulator is {rate / toy_rate:.2f} of it"),
        ("25-state step, as the sheet has it", PRINTED_FLOOR / 1e6, "M member-steps/s",
         f"simulator is {rate / PRINTED_FLOOR:.2f} of it; aim 0.25 {quarter}"),
        ("the same step in numpy", numpy_rate / 1e6, "M member-steps/s",
         f"compiled is {rate / numpy_rate:.1f} times it"),
    ]  # fmt: skip
    for name, value, unit, said in rows:
        print(f"{name:36s}{value:9.2f} {unit:18s}{said}")


if __name__ == "__main__":
    main()
