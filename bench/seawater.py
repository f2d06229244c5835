"""Our carbonate solver against PyCO2SYS in the same run: speed as a ratio, agreement as the worst difference.

python -m bench.seawater [STATES]
"""

from __future__ import annotations

import statistics
import sys
import time
import warnings
from collections.abc import Callable

import numpy as np

from leadline.seawater.carbonate import solve
from leadline.seawater.convert import to_stored

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its autograd warns at import
    import PyCO2SYS

OPTIONS = {"opt_pH_scale": 1, "opt_k_carbonic": 10, "opt_k_bisulfate": 1, "opt_total_borate": 1, "opt_k_fluoride": 2}


def seconds(work: Callable[[], object], times: int) -> float:
    """Median duration of `times` runs, after one to warm up."""
    work()
    took = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return statistics.median(took)


def main(argv: list[str] | None = None) -> int:
    """Print the figures; the number of states may be given."""
    given = sys.argv[1:] if argv is None else argv
    states = int(given[0]) if given else 20_000
    rng = np.random.default_rng(1)
    t, s = rng.uniform(10, 35, states), rng.uniform(20, 45, states)
    ta, dic = rng.uniform(500, 6000, states), rng.uniform(300, 6000, states)

    def theirs(**more: object) -> dict[str, np.ndarray]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return PyCO2SYS.sys(
                par1=ta, par1_type=1, par2=dic, par2_type=2, temperature=t, salinity=s, **OPTIONS, **more
            )

    many = seconds(lambda: solve(temperature_c=t, salinity=s, alkalinity=ta, dic=dic), 7)
    plain = seconds(lambda: theirs(opt_buffers_mode=0), 3)
    full = seconds(theirs, 3)
    ours, reference = solve(temperature_c=t, salinity=s, alkalinity=ta, dic=dic), theirs(opt_buffers_mode=0)
    worst = np.abs(ours.ph_total - reference["pH_total"]).max()
    print(f"carbonate system from TA and DIC, {states} random states (T 10-35, S 20-45, TA 500-6000, DIC 300-6000)")
    print(f"  ours, vectorised               {many / states * 1e6:9.2f} µs a state")
    print(f"  PyCO2SYS, no buffer factors    {plain / states * 1e6:9.2f} µs a state   ratio {plain / many:6.1f}")
    print(f"  PyCO2SYS, as it comes          {full / states * 1e6:9.2f} µs a state   ratio {full / many:6.1f}")
    met = "met" if worst <= 2e-4 else "MISSED"
    print(f"  worst difference of pH         {worst:9.1e}            aim: at most 2e-4, {met}")

    few = 2000
    rows = list(zip(t[:few].tolist(), s[:few].tolist(), ta[:few].tolist(), dic[:few].tolist(), strict=True))

    def one_by_one() -> None:
        for a, b, c, d in rows:
            solve(temperature_c=a, salinity=b, alkalinity=c, dic=d)

    def arrays_of_one() -> None:
        for a, b, c, d in rows[:200]:
            solve(temperature_c=np.array([a]), salinity=b, alkalinity=c, dic=d)

    point, wrapped = seconds(one_by_one, 5) / len(rows), seconds(arrays_of_one, 3) / 200
    gain = wrapped / point
    print(f"  one point in plain floats      {point * 1e6:9.2f} µs a state   {gain:.1f} × faster than an array of one")
    print("units, one reading at a time")
    for name, value, unit in (
        ("alkalinity", 8.1, "dKH"),
        ("salinity", 53.0, "mS/cm"),
        ("salinity", 1.0264, "sg@25/25"),
    ):

        def convert(name: str = name, value: float = value, unit: str = unit) -> None:
            for _ in range(1000):
                to_stored(name, value, unit)

        print(f"  {unit:30s} {seconds(convert, 3) * 1e3:9.2f} µs a reading")
    return int(worst > 2e-4)


if __name__ == "__main__":
    main()
