"""The watch over quiet and broken systems: false alarms a month, faults known before they hurt, points a second.

`python -m bench watch [months [rounds]]`: so many quiet system-months (66) and so many lives of each fault (2). Seeds
are fixed. The watch was tuned on others; these were run three times, and one fault of the program was found on them
and mended. An alarm whose hour draws near while it holds becomes louder, and counts as one that wakes. Every life is
the simulator's; see `docs/science/simulator.md` for what it leaves out.
"""

from __future__ import annotations

import collections
import datetime as dt
import re
import sys
import time
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from bench.table import Figure, show
from bench.watch_faults import FAULTS, Fault
from bench.watch_quiet import LOOKALIKES
from bench.watch_water import DAY, KINDS, Lived, harms, live, watch

from leadline.alarms.decide import priority
from leadline.detect.findings import Finding
from leadline.system.description import Band

QUIET_SEED, FAULT_SEED, YEAR_SEED = 1_500_000, 1_700_000, 1_900_000
HOUR = 3600.0
ROOMS = {"great-reef": (20.5, 21.6, 23.0, 24.5, 25.5), "lagoon": (20.0, 21.6, 22.5, 23.0)}
PLAIN = re.compile(r"(temperature|salinity|oxygen|ph)-(low|high)$")


def loud(f: Finding) -> str:
    """A finding's priority, as the alarms decide it."""
    return str(priority(f.harm_s, consequence=f.consequence))


def wakes_at(f: Finding, found: list[Finding]) -> float | None:
    """When an alarm is of medium priority or higher: at once, or when its hour draws near and it still holds. [s]"""
    if loud(f) != "low":
        return f.at_s
    if f.harm_s is None or not f.consequence:
        return None
    at = f.at_s + f.harm_s - 24.0 * HOUR
    end = min((x.at_s for x in found if x.name == f.name and not x.holds and x.at_s > f.at_s), default=np.inf)
    return at if at < end else None


def wakes(found: list[Finding]) -> list[Finding]:
    """The findings that wake somebody, each at the moment at which it does."""
    return [replace(f, at_s=at) for f in found if f.holds and (at := wakes_at(f, found)) is not None]


@dataclass(frozen=True)
class Told:
    """A fault's life: when it broke and hurt, what was known first, and what plain alarms would have said. [s]"""

    fault: Fault
    at_s: float
    harm_s: float | None
    of: str
    known: Finding | None
    woken: Finding | None  # the first of medium priority or higher, at once or risen to it
    plain: Finding | None
    narrow: Finding | None  # plain alarms at the aim

    def lead(self, f: Finding | None) -> float:
        """Share of the time from fault to harm that is left when it is known; 0 when that is too late."""
        if self.harm_s is None or f is None:
            return 0.0
        return max((self.harm_s - f.at_s) / (self.harm_s - self.at_s), 0.0)


def quiet_month(n: int) -> tuple[Lived, list[Finding], str]:
    """One quiet month: its kind of system, look-alike and room go round."""
    kind = list(KINDS)[n % 3]
    what = LOOKALIKES[(n // 3) % len(LOOKALIKES)]
    rooms = ROOMS.get(kind, ROOMS["lagoon"])
    begin = dt.datetime(2026, 1 + n % 12, 3, tzinfo=dt.UTC)
    lived = live(kind, QUIET_SEED + n, 30.0, room_c=rooms[n % len(rooms)], begin=begin, events=what)
    return lived, watch(lived)[0], what.__name__


def broken(fault: Fault, seed: int, every: int = 1) -> Told:
    """One life of a fault, watched until it hurts; of the points every so many-th."""
    at = (fault.fault_d + float(np.random.default_rng([seed, 99]).uniform())) * DAY

    def document(text: str) -> str:
        return re.sub(r'reservoir = "\d+ L"', f'reservoir = "{fault.reservoir}"', text) if fault.reservoir else text

    lived = live(
        fault.kind, seed, fault.days, room_c=fault.room_c, events=lambda life: fault.do(life, at), document=document,
        exchanges=False,
    )  # fmt: skip
    for stream, (t, v) in lived.streams.items():
        kept = t // 60.0 % every == 0
        lived.streams[stream] = t[kept], v[kept]
    broke = lived.begin_s + at
    true = harms(lived, broke) if fault.hurts is None else (broke + fault.hurts * HOUR, "judgement")
    harm = true[0] if true else None
    found = watch(lived, harm if harm is not None else np.inf)[0]
    late = [f for f in found if f.holds and f.at_s >= broke]
    mine = [f for f in late if f.name.startswith(fault.known_by) and not f.name.endswith("-silent")]
    return Told(
        fault, broke, harm, true[1] if true else "", _first(mine),
        _first([f for f in wakes(found) if f in mine or any(m.name == f.name and m.at_s <= f.at_s for m in mine)]),
        _first([f for f in late if PLAIN.match(f.name)]), _first(at_the_aim(lived, harm, broke)),
    )  # fmt: skip


def at_the_aim(lived: Lived, until_s: float | None, from_s: float) -> list[Finding]:
    """Plain alarms with their edges at the aim: what a careful keeper without forecasts would set."""
    bands = {}
    for name in ("temperature", "salinity", "oxygen", "ph"):
        band = lived.system.band(name)
        if band is not None:
            bands[name] = Band(name, band.aim, band.aim)
    close = replace(lived, system=replace(lived.system, bands={**lived.system.bands, **bands}))
    found = watch(close, until_s if until_s is not None else np.inf, edges_only=True)[0]
    return [f for f in found if f.holds and f.at_s >= from_s and PLAIN.match(f.name)]


def _first(found: list[Finding]) -> Finding | None:
    return min(found, key=lambda f: f.at_s, default=None)


def quiet(months: int) -> tuple[float, float]:
    """Print the quiet part; gives false alarms a month, and those of plain alarms at the aim."""
    print(f"\nQuiet: {months} system-months, look-alikes of the census in turn; alarms by name")
    names: collections.Counter[tuple[str, str]] = collections.Counter()
    woken: collections.Counter[str] = collections.Counter()
    lives: collections.Counter[str] = collections.Counter()
    narrow = hurt = 0
    for n in range(months):
        lived, found, what = quiet_month(n)
        lives[what] += 1
        hurt += harms(lived, 0.0) is not None
        for f in found:
            if f.holds:
                at = wakes_at(f, found)
                woke = at is not None and at < lived.begin_s + 30.0 * DAY
                names[f.name, loud(f) if loud(f) != "low" or not woke else "risen"] += 1
                woken[what] += woke
        narrow += len(at_the_aim(lived, None, 0.0))
    for (name, how), count in names.most_common():
        print(f"  {name:34} {how:7} {count:4}")
    print("  medium or higher by look-alike: " + ", ".join(f"{w} {woken[w]} of {lives[w]}" for w in lives))
    if hurt:
        print(f"  in {hurt} of these months the true water passed a limit: alarms there were not false")
    total = sum(c for (_, how), c in names.items() if how != "low")
    return total / months, narrow / months


def faults(rounds: int) -> list[Told]:
    """Print the broken part, one line a life."""
    print(
        f"\nFaults: {len(FAULTS)} kinds, {rounds} lives each; hours since the fault; lead as a share of fault to harm"
    )
    print(f"  {'system':10} {'fault':52} {'harm':>17} {'known':>7} {'lead':>5}  by, priority (woken, plain limit, aim)")
    told: list[Told] = []
    for k, fault in enumerate(FAULTS):
        for r in range(rounds):
            t = broken(fault, FAULT_SEED + 1000 * r + k)
            told.append(t)
            print(_row(t), flush=True)
    return told


def harder() -> list[Figure]:
    """Every fault once more for a watch that is a day old, and for points every five minutes."""
    found = []
    for name, lives in (
        ("a watch one day old", [replace(f, fault_d=1.2, days=f.days - 7.0) for f in FAULTS]),
        ("points every five minutes", list(FAULTS)),
    ):
        told = [broken(f, FAULT_SEED + 10_000 + k, 5 if "five" in name else 1) for k, f in enumerate(lives)]
        hurt = [t for t in told if t.harm_s is not None]
        leads = [t.lead(t.known) for t in hurt]
        found += [
            Figure(f"{name}: not known before harm", 100.0 * float(np.mean([x <= 0.0 for x in leads])), "%", aim=5.0),
            Figure(
                "  median share of the time that had passed", 100.0 * (1.0 - float(np.median(leads))), "%", aim=50.0
            ),
        ]
        for t in hurt:
            if t.lead(t.known) <= 0.0:
                print(f"  missed by {name}:{_row(t)}")
    return found


def _row(t: Told) -> str:
    def hours(f: Finding | None) -> str:
        return "never" if f is None else f"{(f.at_s - t.at_s) / HOUR:.1f}"

    harm = "none" if t.harm_s is None else f"{(t.harm_s - t.at_s) / HOUR:.1f} {t.of}"
    by = "MISSED" if t.known is None else f"{t.known.name}, {loud(t.known)}"
    lead = f"{t.lead(t.known):.2f}" if t.harm_s is not None else "-"
    return (
        f"  {t.fault.kind:10} {t.fault.name[:52]:52} {harm:>17} {hours(t.known):>7} {lead:>5}  {by} "
        f"({hours(t.woken)}, {hours(t.plain)}, {hours(t.narrow)})"
    )


def pace() -> tuple[float, int]:
    """Points a second over a year of minute data of eight streams."""
    lived = live("great-reef", YEAR_SEED, 365.0, room_c=23.0)
    lived.streams.pop("oxygen")
    began = time.perf_counter()
    _, points = watch(lived)
    return points / (time.perf_counter() - began), len(lived.streams)


def main(argv: list[str] | None = None) -> None:
    """All three parts."""
    given: list[Any] = list(sys.argv[1:] if argv is None else argv)
    months, rounds = int(given[0]) if given else 66, int(given[1]) if len(given) > 1 else 2
    false, narrow = quiet(months)
    told = faults(rounds)
    hurt = [t for t in told if t.harm_s is not None]
    in_time = [t for t in hurt if t.lead(t.known) > 0.0]
    misses = [t for t in hurt if t.lead(t.known) <= 0.0]
    for t in misses:
        why = (
            "no finding named it"
            if t.known is None
            else f"{t.known.name} came {(t.known.at_s - t.harm_s) / HOUR:.1f} h late"
        )  # type: ignore[operator]
        print(f"  missed: {t.fault.kind}, {t.fault.name}: {why}")

    def share(of: str) -> float:
        return 100.0 * sum(t.lead(getattr(t, of)) > 0.0 for t in hurt) / len(hurt)

    def lead(of: str) -> float:
        return float(np.median([t.lead(getattr(t, of)) for t in hurt]))

    print(f"\n  {len(told)} lives, {len(hurt)} came to harm, {len(in_time)} were known before")
    speed, streams = pace()
    show(
        "The watch",
        [
            Figure("false alarms, medium or higher, a system-month", false, "", narrow, "plain alarms at the aim", 0.5),
            Figure("faults not known before harm", 100.0 - share("known"), "%", 100.0 - share("narrow"),
                   "plain alarms at the aim", 5.0),
            Figure("  plain alarms at the limit", 100.0 - share("plain"), "%"),
            Figure("faults that woke nobody before harm", 100.0 - share("woken"), "%"),
            Figure("median share of the time that had passed", 100.0 * (1.0 - lead("known")), "%",
                   100.0 * (1.0 - lead("narrow")), "plain alarms at the aim", 50.0),
            Figure("  until somebody was woken", 100.0 * (1.0 - lead("woken")), "%"),
            *harder(),
            Figure(f"replay of a year, {streams} streams", 1e6 / speed, "µs a point", aim=5.0),
        ],
    )  # fmt: skip
    print(f"  replay: {speed:,.0f} points a second")


if __name__ == "__main__":
    main()
