"""The course page over ten years of one-minute points: page, data and CSV of every span, beside reading all points.

python -m bench.courses [YEARS]
The store is real, the answers come over HTTP from a server of its own on loopback, warmed once. The baseline of each
span is what a chart without rollups does: all raw points of the window read, and their least and greatest taken for
every pixel (numpy), nothing drawn.
"""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

import httpx
import numpy as np
from bench.speed import ROOT, busy, environment, median, p95, times
from bench.table import Figure, show

from bench import tenyears
from leadline.app import survey
from leadline.measures.moments import FixedClock, iso
from leadline.store.sqlite import SqliteStore

PX = 1200
AIM_MS = 80.0
RUNS = 40


def make(folder: Path, years: int) -> tuple[tenyears.House, int]:
    """Ten years of a diligent journal, and the minutes of a temperature probe beside it."""
    house = tenyears.build(folder, days=round(years * 365.25))
    rng = np.random.default_rng(7)
    end = house.now.timestamp() // 60 * 60
    n = round(years * 365.25 * 1440)
    at = end - 60.0 * np.arange(n)[::-1]
    wander = np.cumsum(rng.normal(0, 0.002, n))
    wander -= np.linspace(wander[0], wander[-1], n)
    raw = 25.2 + 0.3 * np.sin(at / 86400.0 * 2 * np.pi) + np.clip(0.3 * wander, -0.6, 0.6) + rng.normal(0, 0.02, n)
    with SqliteStore.open(house.path, clock=FixedClock(house.now)) as store:
        for part in np.array_split(np.arange(n), max(1, years)):
            store.add_points(house.system, "temperature", at[part], np.rint(raw[part] * 100) / 100)
            store.pack(end - 30 * 86400.0)
    return house, n


def raw(store: SqliteStore, system: str, start: dt.datetime, end: dt.datetime) -> None:
    """The baseline: every point of the window, and each pixel's extremes."""
    p = store.points(system, "temperature", start.timestamp(), end.timestamp())
    if not len(p.values):
        return
    column = np.clip((p.times_s - start.timestamp()) / (end - start).total_seconds() * PX, 0, PX - 1).astype(int)
    first = np.flatnonzero(np.diff(column, prepend=-1))
    np.minimum.reduceat(p.values, first)
    np.maximum.reduceat(p.values, first)


def main(argv: list[str] | None = None) -> int:
    """Print the figures; the number of years may be given."""
    given = sys.argv[1:] if argv is None else argv
    years = int(given[0]) if given else 10
    with tempfile.TemporaryDirectory() as name:
        began = time.perf_counter()
        house, points = make(Path(name), years)
        print(f"{years} years, {points:,} points of a probe, {house.entries:,} entries, made in "
              f"{time.perf_counter() - began:.0f} s. {busy()}".rstrip())  # fmt: skip
        with subprocess.Popen(
            [sys.executable, "-m", "bench.page_server", str(house.path), iso(house.now)], cwd=ROOT, env=environment(),
            stdout=subprocess.PIPE, text=True,
        ) as server:  # fmt: skip
            try:
                assert server.stdout is not None
                client = httpx.Client(base_url=f"http://127.0.0.1:{int(server.stdout.readline())}", timeout=120)
                ready(client)
                measure(client, house)
            finally:
                server.terminate()
    return 0


def ready(client: httpx.Client) -> None:
    """Wait until the server answers: it says its port before it listens."""
    for _ in range(600):
        try:
            client.get("/plain?1")
            return
        except httpx.ConnectError:
            time.sleep(0.05)
    raise RuntimeError("the server did not answer within half a minute")


def measure(client: httpx.Client, house: tenyears.House) -> None:
    """Every span: a window that nobody asked for before, so that no answer is one that was kept."""
    told: list[Figure] = []
    turn = iter(range(1, 100_000))

    def ask(quantity: str, days: float, more: str = "", before: float = 0.0) -> None:
        end = house.now - dt.timedelta(days=before, seconds=next(turn))
        window = f"from={iso(end - dt.timedelta(days=days))}&to={iso(end)}"
        client.get(f"/course/{house.system}/{quantity}?{window}{more}").raise_for_status()

    with SqliteStore.open(house.path, clock=FixedClock(house.now), write=False) as store:
        for code, words, days in survey.SPANS:
            start = house.now - dt.timedelta(days=days)
            base = median(times(partial(raw, store, house.system, start, house.now), 3))
            asked = {"page": ("temperature", ""), "data": ("temperature.json", f"&px={PX}&beside=0.5")}
            if code in ("6m", "10y"):
                asked["alkalinity, temperature over it"] = ("alkalinity", "&with=temperature")
            for what, (quantity, more) in asked.items():
                taken = times(partial(ask, quantity, days, more), RUNS)
                told.append(Figure(f"{words}: {what}, p50", median(taken), "ms", base, "", AIM_MS, least=min(taken)))
                told.append(Figure(f"{words}: {what}, p95", p95(taken), "ms", base, "", AIM_MS))
    as_of = f"&as_of={iso(house.now - dt.timedelta(days=300))}&px={PX}"
    start_s = time.perf_counter()
    ask("temperature.json", 180, as_of, 300)
    first = (time.perf_counter() - start_s) * 1e3
    taken = times(partial(ask, "temperature.json", 180, as_of, 300), RUNS)
    told.append(Figure("as of 300 days ago: data, p50", median(taken), "ms", first, "", AIM_MS, least=min(taken)))
    told.append(Figure("as of 300 days ago: data, p95", p95(taken), "ms", first, "", AIM_MS))
    show(f"The course of ten years of minutes, {PX} px, over HTTP; every window asked for once", told)
    print("  baseline: all raw points of the span read, each pixel's extremes taken; for as-of, the first such answer")


if __name__ == "__main__":
    main()
