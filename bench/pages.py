"""Every page on ten years of records while 50 points a second come in: how fast, how heavy, and thirty phones at once.

python -m bench pages [--days 3650] [--each 40] [--phones 30]. The baseline of each time is a plain answer of the same
server in the same run, of 20 kB, which does nothing else. Sizes are of a first visit: the page and all that it loads,
compressed as the server sends it.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime as dt
import json
import os
import re
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import numpy as np
from bench.speed import environment, median, p95
from bench.table import Figure, show

from bench import tenyears
from leadline.app import stand_orders
from leadline.measures.moments import FixedClock, iso
from leadline.store.sqlite import SqliteStore

POINTS_A_SECOND = 50
AIM_MS, AIM_BYTES = 80.0, 150_000
_LOADED = re.compile(r'(?:src|href)="(/static/[^"]+|/manifest[^"]*)"')


def pages(system: str) -> dict[str, str]:
    """What is asked for, by name."""
    return {
        "round": f"/system/{system}", "all": "/", "round, 60 minutes": f"/system/{system}?minutes=60&days=1461",
        "course, 14 months": f"/course/{system}/alkalinity?span=14m", "course, ten years":
        f"/course/{system}/temperature?span=10y", "course, data": f"/course/{system}/alkalinity.json?span=1y&px=800",
        "why": f"/why/{system}/alkalinity", "journal": "/journal", "journal, search": "/journal?q=kit",
        "journal, a form": f"/journal?log=feeding&system={system}", "week": "/week", "watch": "/watch",
        "set up": f"/systems/{system}", "how much water": f"/systems/{system}/volume", "import": "/import",
        "livestock": "/livestock", "labels": f"/system/{system}/labels", "you": "/me", "calendar": "/calendar",
        "API: estimate": f"/api/systems/{system}/estimate", "API: round": f"/api/systems/{system}/round",
        "metrics": "/metrics",
    }  # fmt: skip


def probe(store: SqliteStore, system: str, now: dt.datetime, days: int) -> int:
    """A temperature probe's ten-minute points over all the years, invented: the year, the day, and noise."""
    end = now.timestamp() // 600 * 600
    t = np.arange(end - days * 86400.0, end, 600.0)
    rng = np.random.default_rng(3)
    values = 25.2 + 0.6 * np.sin(t / 3.156e7 * 2 * np.pi) + 0.2 * np.sin(t / 86400 * 2 * np.pi)
    store.add_points(system, "temperature", t, np.round(values + 0.05 * rng.standard_normal(t.size), 2))
    store.pack(end - 30 * 86400.0)
    return int(t.size)


class Sender(threading.Thread):
    """Posts fifty points a second, as a gateway of probes does, until told to stop."""

    def __init__(self, address: str, token: str, system: str, now: dt.datetime) -> None:
        super().__init__(daemon=True)
        self.address, self.token, self.system, self.now = address, token, system, now
        self.kept = self.refused = 0
        self.over = threading.Event()

    def run(self) -> None:
        head = {"authorization": f"Bearer {self.token}"}
        begun = time.monotonic()
        with httpx.Client(base_url=self.address, timeout=30.0, headers=head) as client:
            n = 0
            while not self.over.wait(max(0.0, begun + n - time.monotonic())):
                at = self.now.timestamp() + n
                lines = "\n".join(
                    json.dumps(
                        {"system": self.system, "stream": f"bench-{k % 10}", "t": at + k / 100, "v": 25.0 + k / 50}
                    )
                    for k in range(POINTS_A_SECOND)
                )
                answer = client.post("/api/streams", content=lines)
                if answer.status_code == 200:
                    self.kept += answer.json()["kept"]
                else:
                    self.refused += 1
                n += 1


@contextlib.contextmanager
def serving(path: Path, now: dt.datetime) -> Iterator[str]:
    """The pages and the watch over a store, as a process of their own."""
    env = {**environment(), "PYTHONUNBUFFERED": "1"}
    child = subprocess.Popen(
        [sys.executable, "-m", "bench.page_server", str(path), iso(now), "watch"], env=env, stdout=subprocess.PIPE,
        text=True, cwd=Path(__file__).parents[1],
    )  # fmt: skip
    try:
        assert child.stdout is not None
        port = int(child.stdout.readline())
        while True:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1.0):
                break
            time.sleep(0.05)
        yield f"http://127.0.0.1:{port}"
    finally:
        child.kill()
        child.wait()


def timed(client: httpx.Client, path: str, n: int) -> tuple[list[float], int]:
    """Times of n answers [ms], and how many were no 200."""
    taken, wrong = [], 0
    for _ in range(n):
        start = time.perf_counter()
        answer = client.get(path)
        taken.append((time.perf_counter() - start) * 1e3)
        wrong += answer.status_code != 200
    return taken, wrong


def weight(address: str, path: str) -> int:
    """Bytes on the wire of a first visit: the page and everything it loads, compressed as sent."""
    total = 0
    with httpx.Client(base_url=address, headers={"accept-encoding": "gzip"}, timeout=30.0) as client:

        def sent(what: str) -> bytes:
            nonlocal total
            with client.stream("GET", what) as answer:
                raw = b"".join(answer.iter_raw())
            total += len(raw)
            return raw

        sent(path)
        text = client.get(path).text
        for what in sorted(set(_LOADED.findall(text))):
            sent(what)
    return total


def phone(address: str, wanted: list[str], turns: int, taken: list[float], wrong: list[str], seed: int) -> None:
    """One phone that goes through the pages."""
    with httpx.Client(base_url=address, timeout=60.0) as client:
        for k in range(turns):
            path = wanted[(seed * 7 + k) % len(wanted)]
            start = time.perf_counter()
            try:
                answer = client.get(path)
                if answer.status_code >= 400:
                    wrong.append(f"{path}: {answer.status_code}")
            except httpx.HTTPError as exc:
                wrong.append(f"{path}: {type(exc).__name__}")
            taken.append((time.perf_counter() - start) * 1e3)


def main(argv: list[str] | None = None) -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=tenyears.DAYS)
    parser.add_argument("--each", type=int, default=40)
    parser.add_argument("--phones", type=int, default=30)
    given = parser.parse_args(argv)
    with tempfile.TemporaryDirectory(prefix="leadline-pages-") as name:
        house = tenyears.build(Path(name), days=given.days, probes=True)
        now = house.now
        with SqliteStore.open(house.path, clock=FixedClock(now)) as store:
            token = stand_orders.new_token(store, FixedClock(now), "bench")
            points = probe(store, house.system, now, given.days)
        print(f"{house.entries} entries, {points} points of {given.days} days; load {os.getloadavg()[0]:.1f}")
        with (
            serving(house.path, now) as address,
            httpx.Client(base_url=address, timeout=60.0, follow_redirects=True) as c,
        ):
            wanted = pages(house.system)
            first = {n: timed(c, p, 1)[0][0] for n, p in wanted.items()}
            sender = Sender(address, token, house.system, now)
            sender.start()
            base, _ = timed(c, "/plain?20000", 100)
            found, wrong = [], 0
            for n, p in wanted.items():
                taken, bad = timed(c, p, given.each)
                wrong += bad
                found.append(Figure(f"{n}, p95", p95(taken), "ms", p95(base), "", AIM_MS, least=min(taken)))
                found.append(Figure(f"{n}, median", median(taken), "ms", median(base), "plain answer of 20 kB"))
            show(f"Pages while {POINTS_A_SECOND} points/s come in, {given.each} times each", found)
            worst = max(first, key=lambda n: first[n])
            print(f"First answer of all, nothing kept yet: at most {first[worst]:.0f} ms ({worst}). No 200: {wrong}.")
            threads, all_taken, all_wrong = [], [], []  # type: ignore[var-annotated]
            walk = [p for n, p in wanted.items() if not n.startswith(("API", "metrics"))]
            for seed in range(given.phones):
                threads.append(threading.Thread(target=phone, args=(address, walk, 20, all_taken, all_wrong, seed)))
            began = time.perf_counter()
            for t in threads:
                t.start()
            for t in threads:
                t.join()
            took = time.perf_counter() - began
            sender.over.set()
            sender.join()
            print(
                f"{given.phones} phones at once, 20 pages each, none waiting between: {len(all_wrong)} errors, "
                f"{len(all_taken) / took:.0f} pages/s, median {median(all_taken):.0f} ms, p95 {p95(all_taken):.0f} ms. "
                f"Points meanwhile: {sender.kept} kept, {sender.refused} posts refused."
            )
            for line in sorted(set(all_wrong))[:5]:
                print(f"  {line}")
            sizes = {n: weight(address, p) for n, p in wanted.items() if not n.startswith(("API", "metrics"))}
            heavy = [Figure(n, b / 1000, "kB", sizes["import"] / 1000, "the import page", AIM_BYTES / 1000)
                     for n, b in sorted(sizes.items(), key=lambda x: -x[1])[:6]]  # fmt: skip
            show("First visit, compressed, the six heaviest", heavy)


if __name__ == "__main__":
    main()
