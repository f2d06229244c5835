"""How long a keeper waits: the cold command, the replay, a new reading, the page.

python -m bench.speed [--runs N]
Each figure stands beside a baseline of the same run, so that a slower machine moves both.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from bench.table import Figure, show
from bench.tenyears import House

from bench import tenyears
from leadline.app import choose, describe, enquire, record
from leadline.estimate.outlook import estimate
from leadline.estimate.reckon import reckon
from leadline.journal.entry import Entry
from leadline.measures.moments import FixedClock, iso
from leadline.measures.quantities import QUANTITIES
from leadline.store.sqlite import SqliteStore
from leadline.system.description import parse

ROOT = Path(__file__).resolve().parent.parent
TWELVE = (
    "alkalinity", "calcium", "magnesium", "salinity", "potassium", "strontium", "nitrate", "phosphate",
    "temperature", "ph", "iodine", "oxygen",
)  # fmt: skip
YEARS = 5
Taken = list[float]


def times(work: Callable[[], object], runs: int) -> Taken:
    """Durations of `runs` runs [ms], after one to warm up."""
    work()
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        taken.append((time.perf_counter() - start) * 1e3)
    return taken


def median(taken: Taken) -> float:
    return statistics.median(taken)


def p95(taken: Taken) -> float:
    return float(np.quantile(taken, 0.95))


def busy() -> str:
    """A word of warning when others use the machine too."""
    load, cores = os.getloadavg()[0], os.cpu_count() or 1
    return f"The machine is busy (load {load:.1f} on {cores} cores): read the least.\n" if load > 0.7 * cores else ""


def spread(taken: Taken) -> str:
    return f"least {min(taken):.0f}, median {median(taken):.0f}, most {max(taken):.0f}"


# -- the cold command -----------------------------------------------------------------------------------


def environment(**more: str) -> dict[str, str]:
    """The environment of a child: bytecode is written and used, the source and bench are found."""
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE" and not k.startswith("LEADLINE")}
    env["PYTHONPATH"] = os.pathsep.join([str(ROOT), str(ROOT / "src")])
    return {**env, **more}


def process(args: list[str], env: dict[str, str]) -> Callable[[], object]:
    """A child process that must succeed."""

    def run() -> None:
        done = subprocess.run([sys.executable, *args], env=env, capture_output=True, text=True, check=False)
        if done.returncode:
            raise RuntimeError(f"{args}: exit {done.returncode}\n{done.stderr[-2000:]}")

    return run


def cold(houses: dict[str, House], runs: int) -> int:
    """`leadline round SYSTEM` as a process of its own."""
    imports = times(process(["-c", "import numpy, sqlite3, click"], environment()), runs)
    base = median(imports)
    words = "python -c 'import numpy, sqlite3, click'"
    found, notes = [], [f"imports alone: {spread(imports)}"]
    for name, house in houses.items():
        env = environment(LEADLINE_NOW=iso(house.now))
        ask = ["-m", "leadline", "--db", str(house.path), "round", house.system]
        again = times(process(ask, env), runs)
        found.append(Figure(f"{name}: nothing new", median(again), "ms", base, words, 600, least=min(again)))
        notes.append(f"{name}: {spread(again)}")
        after: Taken = []
        for n in range(max(3, runs // 2)):
            value = f"{8.0 + 0.1 * (n % 5):.1f}"
            moment = iso(house.now - dt.timedelta(minutes=59 - n))
            log = ["-m", "leadline", "--db", str(house.path), "log", "reading", house.system, "alkalinity", value]
            process([*log, "dKH", "--at", moment], env)()
            start = time.perf_counter()
            process(ask, env)()
            after.append((time.perf_counter() - start) * 1e3)
        found.append(Figure(f"{name}: after a new reading", median(after), "ms", base, "", 600, least=min(after)))
        after = []
        for n in range(max(3, runs // 3)):
            moment = iso(house.now - dt.timedelta(minutes=29 - n))
            log = ["-m", "leadline", "--db", str(house.path), "log", "addition", house.system]
            process([*log, "sodium-bicarbonate", str(20 + n), "g", "--at", moment], env)()
            start = time.perf_counter()
            process(ask, env)()
            after.append((time.perf_counter() - start) * 1e3)
        found.append(Figure(f"{name}: after a new dose", median(after), "ms", base, "", 600, least=min(after)))
        past = iso(house.now - dt.timedelta(days=1))
        replayed = times(process([*ask, "--as-of", past], env), max(3, runs // 2))
        found.append(Figure(f"{name}: --as-of yesterday", median(replayed), "ms", base, "", 600, least=min(replayed)))
    missed = show("Cold `leadline round SYSTEM`, a new process each time, bytecode compiled (median)", found)
    print("  " + "\n  ".join(notes))
    return missed


# -- the replay -----------------------------------------------------------------------------------------


def twelve(doses: bool, names: tuple[str, ...] = TWELVE) -> tuple[str, list[Entry], dt.datetime]:
    """Five years of weekly readings of twelve quantities, and, if asked, daily totals of two pumps and exchanges."""
    rng = np.random.default_rng(5)
    start = dt.datetime(2020, 1, 6, 18, 0, tzinfo=dt.UTC)
    document = (
        '[system]\nid = "five"\nname = "Five years (invented)"\ntime_zone = "UTC"\nnet_volume = "600 L"\n'
        'net_volume_sd = "40 L"\n[[equipment]]\nid = "doser-1"\ntype = "doser"\n'
        '[[equipment]]\nid = "doser-2"\ntype = "doser"\n'
    )
    usual = {
        "alkalinity": (2.9, 0.05), "calcium": (420.0, 8.0), "magnesium": (1330.0, 25.0), "salinity": (35.0, 0.3),
        "potassium": (395.0, 12.0), "strontium": (8.0, 0.8), "nitrate": (8.0, 1.5), "phosphate": (0.08, 0.015),
        "temperature": (25.4, 0.3), "ph": (8.15, 0.06), "iodine": (55.0, 10.0), "oxygen": (6.6, 0.2),
        "silicate": (100.0, 40.0), "iron": (5.0, 2.0), "zinc": (4.0, 2.0),
    }  # fmt: skip
    found: list[Entry] = []
    for week in range(52 * YEARS):
        at = start + dt.timedelta(days=7 * week)
        for k, q in enumerate(names):
            level, sd = usual[q]
            value = float(level + sd * rng.standard_normal() + 0.5 * sd * np.sin(week / 9 + k))
            when = at + dt.timedelta(minutes=3 * k)
            unit = QUANTITIES[q].unit
            found.append(Entry(when, "five", "reading", q, value, unit, stored=value, id=f"r{week}-{k}"))
    if doses:
        for day in range(364 * YEARS):
            at = start + dt.timedelta(days=day, hours=5)
            for pump, what, grams in (
                ("doser-1", "sodium-carbonate", 9.0),
                ("doser-2", "calcium-chloride-dihydrate", 12.5),
            ):
                found.append(Entry(at, "five", "addition", what, grams, "g", pump, id=f"{pump}-{day}"))
            if day % 7 == 3:
                found.append(Entry(at, "five", "exchange", "mixed-seawater", 50.0, "L", stored=50.0, id=f"x{day}"))
    return document, found, start + dt.timedelta(days=364 * YEARS)


def trend_filters(series: list[np.ndarray]) -> Callable[[], object]:
    """One pass of statsmodels' Kalman filter (compiled) over each series: level and trend, variances given."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from statsmodels.tsa.statespace.structural import UnobservedComponents

        models = []
        for y in series:
            model = UnobservedComponents(y, "local linear trend")
            v = float(np.var(y))
            model.update(np.array([0.5 * v, 0.05 * v, 0.001 * v]))
            models.append(model)
    return lambda: [model.ssm.filter() for model in models]


def replay(runs: int) -> int:
    """`reckon`, which is what an answer without anything kept costs."""
    found = []
    for doses in (True, False):
        document, entries, now = twelve(doses)
        system = parse(document)
        series = [np.array([e.stored for e in entries if e.subject == q], dtype=float) for q in TWELVE]
        ours = times(lambda system=system, entries=entries, now=now: reckon(system, entries, now), runs)  # type: ignore[misc]
        theirs = times(trend_filters(series), runs)
        name = "with daily doses of two pumps and weekly exchanges" if doses else "readings alone"
        words = "statsmodels, one local linear trend filter each" if doses else ""
        found.append(Figure(name, median(ours), "ms", median(theirs), words, 50, least=min(ours)))
    return show(f"Full replay of 12 quantities, {YEARS} years of weekly readings each (median)", found)


# -- a new reading --------------------------------------------------------------------------------------


def rerank(houses: dict[str, House], runs: int) -> int:
    """A reading logged and the round of that system asked again, in one warm process over a real store."""
    found, differs = [], 0.0
    for name, house in houses.items():
        clock = FixedClock(house.now + dt.timedelta(hours=2))
        with SqliteStore.open(house.path, clock=clock) as store:
            choose.round_for(store, clock, house.system)
            taken: Taken = []
            for n in range(runs):
                clock.moment += dt.timedelta(minutes=5)
                start = time.perf_counter()
                value = f"{8.0 + 0.1 * (n % 4):.1f}"
                record.log(
                    store, clock, system=house.system, kind="reading", subject="alkalinity", value_text=value,
                    unit="dKH", method="titration",
                )  # fmt: skip
                choose.round_for(store, clock, house.system)
                taken.append((time.perf_counter() - start) * 1e3)

            def whole(store: SqliteStore = store, clock: FixedClock = clock, house: House = house) -> None:
                described = describe.load(store, house.system)
                known = enquire.probes(store, described, clock.now())
                reckon(described, store.entries(house.system), clock.now(), known)

            base = times(whole, max(3, runs // 2))
            differs = max(differs, difference(store, clock, house.system))
        words = "the whole journal read and replayed" if not found else ""
        found.append(Figure(name, median(taken), "ms", median(base), words, 20, least=min(taken)))
    missed = show("A new reading, kept on disk, and the round ranked again, warm (median)", found)
    print(f"  what is then believed differs from a full replay by at most {differs:.1e} sd of any quantity")
    return missed


def difference(store: SqliteStore, clock: FixedClock, system: str) -> float:
    """The worst difference between what is believed after the readings just added and what a replay says. [sd]"""
    here = enquire.estimate(store, clock, system).quantities
    described = describe.load(store, system)
    known = enquire.probes(store, described, clock.now())
    there = estimate(reckon(described, store.entries(system), clock.now(), known)).quantities
    return max(abs(here[q].mean - e.mean) / e.sd + abs(here[q].sd / e.sd - 1.0) for q, e in there.items())


# -- the page -------------------------------------------------------------------------------------------


@contextmanager
def served(house: House) -> Iterator[str]:
    """The pages of a house on a loopback port, in a process of their own."""
    child = subprocess.Popen(
        [sys.executable, "-m", "bench.page_server", str(house.path), iso(house.now + dt.timedelta(days=1))],
        env=environment(), stdout=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    try:
        assert child.stdout is not None
        port = child.stdout.readline().strip()
        if not port:
            raise RuntimeError("the pages did not start")
        yield f"http://127.0.0.1:{port}"
    finally:
        child.terminate()
        child.wait()


def page(houses: dict[str, House], runs: int) -> int:
    """GET of the first page and of a system's page, and of it just after a reading was sent."""
    import httpx

    found = []
    for name, house in houses.items():
        with served(house) as base, httpx.Client(base_url=base, timeout=60) as client:

            def get(path: str, later: int = 0, client: httpx.Client = client) -> tuple[float, int]:
                headers = {"x-later": str(later)} if later else {}
                start = time.perf_counter()
                answer = client.get(path, headers=headers, follow_redirects=True)
                took = (time.perf_counter() - start) * 1e3
                answer.raise_for_status()
                return took, len(answer.content)

            for _ in range(50):  # until it listens
                try:
                    get("/plain?10")
                    break
                except httpx.ConnectError:
                    time.sleep(0.1)
            paths = ["/", f"/system/{house.system}"] if name == "demo" else [f"/system/{house.system}"]
            for path in paths:
                get(path)
                _, size = get(path)
                plain = [get(f"/plain?{size}")[0] for _ in range(4 * runs)]
                kept = [get(path)[0] for _ in range(4 * runs)]
                minute = [get(path, later=61)[0] for _ in range(runs)]
                words = f"{size // 1024} KiB of nothing from the same server" if not found else ""
                found.append(Figure(f"{name} {path}, again", p95(kept), "ms", p95(plain), words, 60, least=min(kept)))
                found.append(
                    Figure(f"{name} {path}, a minute later", p95(minute), "ms", p95(plain), "", 60, least=min(minute))
                )
            after: Taken = []
            sent: Taken = []
            for n in range(runs):
                form = {"quantity": "alkalinity", "value": f"{8.0 + 0.1 * (n % 4):.1f}", "unit": "dKH", "form": "x"}
                headers = {"x-later": "300", "hx-request": "true"}
                start = time.perf_counter()
                answer = client.post(f"/system/{house.system}/log", data=form, headers=headers)
                sent.append((time.perf_counter() - start) * 1e3)
                answer.raise_for_status()
                after.append(get(paths[-1])[0])
            found.append(
                Figure(f"{name}, a reading sent, answer in part", p95(sent), "ms", p95(plain), "", 60, least=min(sent))
            )
            found.append(
                Figure(f"{name} {paths[-1]}, just after it", p95(after), "ms", p95(plain), "", 60, least=min(after))
            )
    return show("The page over loopback, server in its own process (p95)", found)


PARTS = ("cold", "replay", "rerank", "page")


def main(argv: list[str] | None = None) -> int:
    """Print the tables; returns how many aims were missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", choices=(*PARTS, []), help="all of them when none is named")
    parser.add_argument("--runs", type=int, default=12)
    args = parser.parse_args(argv)
    parts = args.parts or list(PARTS)
    missed = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        start = time.perf_counter()
        houses = {"ten years": tenyears.build(folder)}
        if "cold" in parts:
            houses["ten years, three probes"] = tenyears.build(folder, "probes", probes=True)
        demo = tenyears.demo(folder)
        print(f"{busy()}Records made and imported in {time.perf_counter() - start:.0f} s:")
        for what, house in {**houses, "demo": demo}.items():
            print(f"  {what}: {house.entries:,} entries, {house.points:,} probe points, system {house.system}")
        if "cold" in parts:
            missed += cold(houses, args.runs)
        if "replay" in parts:
            missed += replay(args.runs)
        plain = {"ten years": houses["ten years"], "demo": demo}
        if "rerank" in parts:
            missed += rerank(plain, args.runs)
        if "page" in parts:
            missed += page(plain, 2 * args.runs)
    return missed


if __name__ == "__main__":
    main()
