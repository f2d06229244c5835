"""The trace: how fast it answers on ten years of fifty systems, and how well its shares hold on made-up outbreaks.

Outbreaks are lived through by code of their own, one carry-over at a time, in houses of six systems with a year of
arrivals, moves, nets and hands. The trace sees the journal and where and when something was first seen. Two worlds: one
as the catalogue has it, one in which everything carries three times as hardly and is seen a third as well.
Baselines: the latest arrival of a host into that system, and every arrival alike.

Usage: python -m bench.trace [outbreaks]
"""

from __future__ import annotations

import datetime as dt
import math
import random
import sys
import time
from collections.abc import Sequence

import numpy as np

from leadline.app.catalogue import packaged
from leadline.cli.output import table as _table
from leadline.journal.entry import Entry
from leadline.journal.journal import as_of
from leadline.livestock import contacts, trace
from leadline.livestock.census import register
from leadline.livestock.kinds import Pest
from leadline.livestock.paths import NEVER_ENDS, Contact, backwards, earliest, reach
from leadline.livestock.spread import Way, spread

DAY = 86400.0
NOW = dt.datetime(2026, 3, 1, 20, tzinfo=dt.UTC)
YEARS, SYSTEMS, CONTACTS = 10, 50, 100_000
AIM_S = 1.0


def main(argv: Sequence[str] = ()) -> None:
    """Print both."""
    speed()
    calibration(int(argv[0]) if argv else 150)


# -- speed -------------------------------------------------------------------------------------------------


def big(rng: np.random.Generator) -> list[Contact]:
    """Ten years of contacts between fifty systems: hands and nets in the evenings, animals now and then."""
    names = [f"s{i}" for i in range(SYSTEMS)]
    at = np.sort(rng.uniform(0, YEARS * 365.25 * DAY, CONTACTS))
    a, b = rng.integers(0, SYSTEMS, CONTACTS), rng.integers(0, SYSTEMS, CONTACTS)
    by = rng.choice(["hand", "tool", "animal", "water"], CONTACTS, p=[0.7, 0.25, 0.03, 0.02])
    return [
        Contact(float(t), names[i], names[j], str(k), both=k in ("hand", "tool"))
        for t, i, j, k in zip(at, a, b, by, strict=True)
    ]


def speed() -> None:
    """One question each on all of it; the spread beside the same histories one after the other."""
    rng = np.random.default_rng(5)
    found = big(rng)
    end = YEARS * 365.25 * DAY
    pest = packaged().pest("marine-white-spot")
    ways = {r.by: Way(r.chance, r.after_d * DAY) for r in pest.rides}
    began = time.perf_counter()
    first = earliest(
        reach(found, {"s0": 0.0}, chance=lambda c: ways[c.by].chance[1], after_s=lambda c: ways[c.by].after_s)
    )
    t_reach = time.perf_counter() - began
    began = time.perf_counter()
    back = backwards(found, "s7", end, chance=lambda c: ways[c.by].chance[1], after_s=lambda c: ways[c.by].after_s)
    t_back = time.perf_counter() - began
    began = time.perf_counter()
    drawn = spread(found, {"s0": 0.0}, lambda c: ways[c.by], end, rng)
    t_spread = time.perf_counter() - began
    one = random.Random(5)
    began, few = time.perf_counter(), 4
    for _ in range(few):
        lived(found, {"s0": 0.0}, lambda c: (ways[c.by].chance[1], ways[c.by].after_s), end, one)
    t_one = (time.perf_counter() - began) / few
    print(f"{CONTACTS:,} contacts, {SYSTEMS} systems, {YEARS} years")
    print(_table(["question", "s", "aim", ""], [
        ["earliest ways forward", f"{t_reach:.2f}", f"{AIM_S:g}", f"{len(first)} systems reached"],
        ["ways back", f"{t_back:.2f}", f"{AIM_S:g}", f"{len(back)} systems"],
        [f"chances, {drawn.members} histories", f"{t_spread:.2f}", f"{AIM_S:g}",
         f"{t_one * drawn.members / t_spread:.0f} times as fast as one history after the other"],
    ]))  # fmt: skip


def lived(found, origins, chance, until, one, lasts=lambda n: NEVER_ENDS):  # type: ignore[no-untyped-def]
    """One history: every contact carries over or not. Gives each place's arrivals."""
    came: dict[str, list[float]] = {n: [t] for n, t in origins.items()}
    for c in found:
        if c.at_s > until:
            break
        p, wait = chance(c)
        if p <= 0.0:
            continue
        for a, b in ((c.begin, c.end), (c.end, c.begin)) if c.both else ((c.begin, c.end),):
            when = came.get(a)
            if not when or a == b:
                continue
            there = when[0] if lasts(a) == NEVER_ENDS or a in origins else next(
                (t for t in reversed(when) if c.at_s - t <= lasts(a) and t + wait <= c.at_s and t < c.at_s), None
            )  # fmt: skip
            if there is None or there >= c.at_s or there + wait > c.at_s:
                continue
            if one.random() < p:
                came.setdefault(b, []).append(c.at_s)
    return came


# -- calibration -------------------------------------------------------------------------------------------

HOUSE = ("display", "reef", "lagoon", "nursery", "quarantine", "isolation")
KINDS = ("naso", "chromis-viridis", "cirrhilabrus", "acropora", "euphyllia", "trochus")


def journal(one: random.Random) -> list[Entry]:
    """A year of an invented house."""
    rows: list[Entry] = []

    def write(days: float, system: str, what: str, subject: str, n: float | None = None, **more: object) -> None:
        rest = {k: str(more.pop(k)) for k in ("to", "source", "method") if k in more}
        rows.append(
            Entry(NOW - dt.timedelta(days=days), system, what, subject, n, extra=more, id=f"{len(rows)}", **rest)
        )

    for i, system in enumerate(HOUSE):
        write(400, system, "arrival", f"old-{i}", 3, kind="naso" if i % 2 else "chromis-viridis", source="before")
    for k in range(22):
        days, kind = one.uniform(2, 360), one.choice(KINDS)
        unit = one.choice(("quarantine", "isolation", "quarantine", one.choice(HOUSE)))
        write(days, unit, "arrival", f"lot-{k}", one.randint(1, 6), kind=kind, source=one.choice(("shop-a", "shop-b")))
        if unit in ("quarantine", "isolation"):
            left = days - one.uniform(10, 70)
            if left > 0:
                write(left, unit, "transfer", f"lot-{k}", to=one.choice(HOUSE[:4]))
    for day in range(1, 360):
        if one.random() < 0.5:
            for step, system in enumerate(one.sample(HOUSE, one.randint(1, 3))):
                write(day - step * 0.02, system, "exchange", "mixed-seawater", 20)
        if one.random() < 0.08:
            for step, system in enumerate(one.sample(HOUSE, 2)):
                write(day + 0.3 - step * 0.02, system, "observation", "seen", tool="net")
    return rows


def outbreak(pest: Pest, one: random.Random, harder: float):  # type: ignore[no-untyped-def]
    """A house, what really brought it, and where and when it was first seen; None when nobody noticed."""
    entries = as_of(journal(one), NOW).entries
    kept = register(entries, HOUSE, packaged())
    found = contacts.contacts(entries, kept, HOUSE)
    house = trace.House(kept, found, HOUSE)
    lots = [(x, c, trace._prior(pest, x, c)) for x in kept.lots.values() for c in x.came if c.source != "before"]
    lot, came, _ = one.choices(lots, [p for *_, p in lots])[0]
    ease = one.random()
    way = trace.ways(pest, kept)
    drawn: dict[tuple[float, float, float], float] = {}

    def chance(c: Contact) -> tuple[float, float]:
        w = way(c)
        if w is None:
            return 0.0, 0.0
        if w.chance not in drawn:
            low, typical, high = w.chance
            a, b = 1 + 4 * (typical - low) / (high - low), 1 + 4 * (high - typical) / (high - low)
            spot = np.random.default_rng(int(ease * 1e9))
            drawn[w.chance] = float(np.quantile(low + (high - low) * spot.beta(a, b, 400), ease)) / harder
        return drawn[w.chance], w.after_s

    arrived = lived(found, {came.place: came.time.timestamp()}, chance, NOW.timestamp(), one, trace.lasting(pest))
    faint = 10.0 ** -one.random()
    first: tuple[float, str] | None = None
    assert pest.notice is not None
    for place in HOUSE:
        if place not in arrived or (pest.hosts and not kept.hosts_at(place, pest.hosts)):
            continue
        ripe = arrived[place][0] + one.uniform(*pest.notice.after_d) * DAY
        glance = pest.notice.glance * faint / harder
        seen = ripe + (math.ceil(math.log(max(one.random(), 1e-12)) / math.log(1.0 - glance))) * DAY
        if seen < NOW.timestamp() and (first is None or seen < first[0]):
            first = (seen, place)
    return None if first is None else (house, lot.id, came, first)


def calibration(outbreaks: int) -> None:
    """Top-1, top-3, log loss and how often shares come true, beside the baselines."""
    for harder, world in ((1.0, "as the catalogue has it"), (3.0, "a third as easily carried and seen")):
        rows = []
        for name in ("marine-white-spot", "acropora-flatworm", "aiptasia"):
            pest, one = packaged().pest(name), random.Random(f"{name} {harder} held out")
            scores: list[tuple[float, int, float, float]] = []
            latest = 0
            while len(scores) < outbreaks // 3:
                made = outbreak(pest, one, harder)
                if made is None:
                    continue
                house, truth, _, (seen_s, place) = made
                seen = dt.datetime.fromtimestamp(seen_s, dt.UTC)
                b = trace.backward(house, pest, place, seen, np.random.default_rng(1))
                shares = {}
                for s in b.suspects:
                    shares[s.lot] = shares.get(s.lot, 0.0) + s.share
                order = [s.lot for s in b.suspects]
                rank = order.index(truth) if truth in order else len(order)
                scores.append((max(shares.get(truth, 0.0), 1e-4), rank, b.suspects[0].share, 1.0 / max(len(order), 1)))
                direct = [
                    (c.time, x.id) for x in house.register.lots.values() for c in x.came
                    if c.time <= seen and trace._prior(pest, x, c) > 0
                ]  # fmt: skip
                latest += max(direct)[1] == truth
            n = len(scores)
            rows.append([
                name, f"{sum(r == 0 for _, r, *_ in scores) / n:.2f}", f"{latest / n:.2f}",
                f"{sum(r < 3 for _, r, *_ in scores) / n:.2f}",
                f"{-sum(math.log(p) for p, *_ in scores) / n:.2f}", f"{-sum(math.log(u) for *_, u in scores) / n:.2f}",
                f"{sum(t for _, _, t, _ in scores) / n:.2f}",
            ])  # fmt: skip
        print(f"\nOutbreaks in a world {world}; {outbreaks // 3} of each")
        head = ["pest", "first is right", "latest host's", "among three", "log loss", "all alike", "share of the first"]
        print(_table(head, rows))


if __name__ == "__main__":
    main(sys.argv[1:])
