"""Trust in probes on real series: false alarms of the sensor tests and of the lookout, and what they catch.

Thresholds were tuned on Cat Point and on the first half of the reef logger. Dry Bar, the reef's second half, the river
mouth and the office were only ever run. The baseline is ioos_qc 3.0.0 with the thresholds of the sheet, section 4.2.

Usage: python -m bench.trust [tuning]
"""

from __future__ import annotations

import csv
import gzip
import sys
import time
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from leadline.detect import trust
from leadline.detect.findings import Finding
from leadline.detect.hand import Hand, Track
from leadline.detect.probes import Probes
from leadline.system.description import parse

DATA = Path(__file__).parents[2] / "shared" / "data"
DAY, MONTH = 86400.0, 30.44 * 86400.0
COLUMNS = {"temperature": ("temperature_degC", "flag_temp"), "salinity": ("salinity_psu", "flag_sal"),
           "oxygen": ("oxygen_mg_L", "flag_do_mgl"), "ph": ("ph_nbs", "flag_ph")}  # fmt: skip
# sheet 4.2: gross fail, gross suspect, spike, rate a second, flat line (s, s, tolerance), 24 h sd
SHEET = {
    "temperature": ((5, 45), (23, 29), (0.3, 1.0), 0.675 / 3600, (7200, 21600, 0.0101), (0.02, 0.005)),
    "ph": ((5, 10), (7.7, 8.6), (0.05, 0.2), 0.1 / 600, (7200, 21600, 0.0101), (0.02, 0.005)),
    "salinity": ((0, 60), (32, 37), (0.3, 1.0), 0.5 / 3600, (43200, 172800, 0.0101), None),
    "oxygen": ((0, 20), (3, 12), (0.5, 2.0), 1.0 / 600, (7200, 21600, 0.0101), None),  # not in the sheet: as LIMITS
}


@dataclass
class Series:
    """One probe's record; `good` where a person, or the source, passed it, `bad` where it was rejected."""

    name: str
    quantity: str
    t: np.ndarray
    x: np.ndarray
    good: np.ndarray
    bad: np.ndarray

    def part(self, first: float, last: float) -> Series:
        """Between two shares of its length."""
        a, b = int(first * len(self.t)), int(last * len(self.t))
        return Series(self.name, self.quantity, *(v[a:b] for v in (self.t, self.x, self.good, self.bad)))

    @property
    def months(self) -> float:
        """Months of points that were passed."""
        gaps = np.minimum(np.diff(self.t), 3600.0)
        return float(gaps[self.good[:-1]].sum() / MONTH)


def rows(path: str) -> Iterable[dict[str, str]]:
    with gzip.open(DATA / path, "rt", encoding="utf-8") as file:
        yield from csv.DictReader(file)


def seconds(stamps: list[str]) -> np.ndarray:
    return np.array([s.rstrip("Z") for s in stamps], dtype="datetime64[s]").astype(np.int64).astype(float)


def clean(name: str, quantity: str, stamps: list[str], values: list[str]) -> Series:
    x, t = np.array([float(v or "nan") for v in values]), seconds(stamps)
    keep = np.append(np.diff(t) > 0, True) & np.isfinite(x)
    t, x = t[keep], x[keep]
    return Series(name, quantity, t, x, np.ones(len(t), dtype=bool), np.zeros(len(t), dtype=bool))


def sonde(station: str) -> list[Series]:
    """One estuary sonde: raw values, and what a person made of them (0 and 5 passed, -3 rejected)."""
    table = list(rows(f"swmp-apalachicola/{station}_2012_2013.csv.gz"))
    t = seconds([r["time_utc"] for r in table])
    found = []
    for quantity, (column, flag) in COLUMNS.items():
        x = np.array([float(r[column] or "nan") for r in table])
        f = np.array([int((r[flag] or "-2").split()[0]) for r in table])
        there = np.isfinite(x)
        found.append(
            Series(f"{station} {quantity}", quantity, t[there], x[there], np.isin(f, (0, 5))[there], (f == -3)[there])
        )
    return found


def reef() -> Series:
    table = list(rows("noaa-fgb-reef-temperature/east_bank_21m_5min.csv.gz"))
    return clean("reef 21 m", "temperature", [r["time_utc"] for r in table], [r["temperature_degC"] for r in table])


def depths() -> list[Series]:
    table = list(rows("noaa-fgb-reef-temperature/east_bank_hourly_4_depths.csv.gz"))
    stamps = [r["time_utc"] for r in table]
    return [
        clean(f"reef {d} m", "temperature", stamps, [r[f"temp_{d}m_degC"] for r in table]) for d in (21, 27, 33, 38)
    ]


def river() -> Series:
    table = list(rows("usgs-fouled-salinity/sandi_salinity_2001.csv.gz"))
    return clean("river mouth", "salinity", [r["time_pst"] for r in table], [r["salinity_psu"] for r in table])


def office() -> Series:
    table = list(rows("nab-known-cause/ambient_temperature_system_failure.csv.gz"))
    got = clean("office", "temperature", [r["time"] for r in table], [r["value"] for r in table])
    got.x = (got.x - 32.0) / 1.8  # unit unstated; its README takes it for °F
    return got


def loop() -> Series:
    table = list(rows("skab-pump-loop/healthy.csv.gz"))
    return clean("pump loop", "temperature", [r["time"] for r in table], [r["water_temp_degC"] for r in table])


# -- the tests --------------------------------------------------------------------------------------------


def our_flags(s: Series) -> dict[str, np.ndarray]:
    """Flags of each test with our thresholds; climatology as the lookout would have known it on each day."""
    limits = trust.LIMITS[s.quantity]
    found = {"gross": trust.gross_range(s.x, limits.fail, limits.suspect)}
    if limits.spike:
        found["spike"] = trust.spike(s.x, *limits.spike)
    if limits.rate_per_s:
        found["rate"] = trust.rate_of_change(s.x, s.t, limits.rate_per_s)
    if limits.flat:
        found["flat"] = trust.flat_line(s.x, s.t, *limits.flat)
    found["climatology"] = np.full(len(s.t), trust.UNKNOWN)
    lookout, track = fresh(s)
    for a, b in days(s.t):
        if a:
            spans = lookout.spans(track.stream)
            found["climatology"][a:b] = trust.climatology(s.x[a:b], trust.hour_of_day(s.t[a:b]), spans)
        follow(lookout, track, s.t[a:b], s.x[a:b])
    return found


def reference_flags(s: Series) -> dict[str, np.ndarray]:
    """The same tests by ioos_qc with the sheet's thresholds."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from ioos_qc import qartod

        fail, suspect, spike, rate, flat, dull = SHEET[s.quantity]
        t = s.t.astype("datetime64[s]").astype("datetime64[ns]")
        found = {
            "gross": qartod.gross_range_test(s.x, fail, suspect),
            "spike": qartod.spike_test(s.x, *spike, method="average"),
            "rate": qartod.rate_of_change_test(s.x, t, rate),
            "flat": qartod.flat_line_test(s.x, t, *flat),
        }
        if dull:
            found["attenuated"] = qartod.attenuated_signal_test(
                s.x, t, *dull, test_period=86400, min_period=43200, check_type="std"
            )
    return {k: np.asarray(v) for k, v in found.items()}


def share(flags: np.ndarray | None, among: np.ndarray) -> str:
    """Suspect and failed points in a thousand, among some."""
    if flags is None or not among.any():
        return "-"
    return f"{1000 * np.isin(flags[among], (3, 4)).mean():.1f}"


def days(t: np.ndarray) -> list[tuple[int, int]]:
    cuts = np.flatnonzero(np.diff(np.floor(t / DAY))) + 1
    return list(zip([0, *cuts.tolist()], [*cuts.tolist(), len(t)], strict=True))


# -- the lookout ------------------------------------------------------------------------------------------


def fresh(*series: Series) -> tuple[Probes, Track]:
    """A lookout with a track for each; the last track is returned, for one alone."""
    hand = Hand()
    lookout = Probes(parse('[system]\nid = "bench"\nnet_volume = "1000 L"\n[room]\ntemperature = "22 degC"\n'), hand)
    for s in series:
        name = s.name.replace(" ", "-")
        hand.tracks[name] = Track(name, s.quantity, float(np.median(np.diff(s.t))))
    return lookout, hand.tracks[name]


def follow(lookout: Probes, track: Track, t: np.ndarray, x: np.ndarray) -> list[Finding]:
    """Give a track its points hour by hour."""
    found: list[Finding] = []
    if not len(t):
        return found
    cuts = [0, *(np.flatnonzero(np.diff(np.floor(t / 600.0))) + 1).tolist(), len(t)]
    for a, b in pairwise(cuts):
        track.add(t[a:b], lookout.judge(track, t[a:b], x[a:b]), x[a:b])
        found += lookout.tick(float(np.floor(t[b - 1] / 600.0) + 1) * 600.0)
    return found


def together(series: list[Series]) -> list[Finding]:
    """All findings of a lookout that follows several probes."""
    lookout, _ = fresh(*series)
    tracks = [lookout.hand.tracks[s.name.replace(" ", "-")] for s in series]
    windows = np.unique(np.concatenate([np.floor(s.t / 600.0) for s in series]))
    at = [np.searchsorted(s.t, np.append(windows * 600.0, np.inf)) for s in series]
    found: list[Finding] = []
    for k, w in enumerate(windows):
        for s, track, cut in zip(series, tracks, at, strict=True):
            a, b = cut[k], cut[k + 1]
            if b > a:
                track.add(s.t[a:b], lookout.judge(track, s.t[a:b], s.x[a:b]), s.x[a:b])
        found += lookout.tick((w + 1) * 600.0)
    return found


def by_flags(s: Series, flags: dict[str, np.ndarray]) -> list[Finding]:
    """The baseline's findings: two of the last three points suspect or failed; over when none of them is."""
    flagged = np.zeros(len(s.t), dtype=bool)
    for f in flags.values():
        flagged |= np.isin(f, (3, 4))
    n = np.convolve(flagged, np.ones(3, dtype=int))[: len(flagged)]
    holds, found = False, []
    for k in np.flatnonzero((n >= 2) | (n == 0)).tolist():
        if (n[k] >= 2) != holds:
            holds = not holds
            found.append(Finding("flagged", s.name.replace(" ", "-"), float(s.t[k]), holds, None, None, ""))
    return found


@dataclass
class Score:
    """What a set of findings did on one probe."""

    false: dict[str, int]
    months: float
    caught: int
    stretches: int


def score(s: Series, found: list[Finding]) -> Score:
    """False: begun where the person passed the points of the hours around. Caught: held within a rejected stretch."""
    mine = [f for f in found if f.subject == s.name.replace(" ", "-")]
    false: dict[str, int] = {}
    for f in mine:
        near = (s.t >= f.at_s - 6 * 3600.0) & (s.t <= f.at_s)
        if f.holds and near.any() and s.good[near].mean() > 0.9:
            kind = f.name.removeprefix(f"{f.subject}-")
            false[kind] = false.get(kind, 0) + 1
    caught = stretches = 0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], s.bad.astype(np.int8), [0]))))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        first, last = s.t[a], s.t[b - 1]
        if last - first < 0.5 * DAY:
            continue
        stretches += 1
        held, names = False, set()
        for f in mine:
            if f.at_s > last:
                break
            if f.at_s >= first and f.holds:
                held = True
            names = names | {f.name} if f.holds else names - {f.name}
        caught += held or bool(names)
    return Score(false, s.months, caught, stretches)


def per_month(scores: list[Score]) -> float:
    months = sum(x.months for x in scores)
    return sum(sum(x.false.values()) for x in scores) / months if months else float("nan")


# -- the page ---------------------------------------------------------------------------------------------


def point_table(series: list[Series]) -> dict[str, dict[str, np.ndarray]]:
    """Print suspect and failed points in a thousand; returns the reference's flags."""
    tests = ("gross", "climatology", "spike", "rate", "flat", "attenuated")
    print(
        "\nSuspect or failed points in a thousand of those that were passed: ours / ioos_qc with the sheet's thresholds"
    )
    print(f"  {'':22}{'points':>8}" + "".join(f"{name:>16}" for name in tests))
    kept = {}
    for s in series:
        ours, theirs = our_flags(s), reference_flags(s)
        kept[s.name] = theirs
        cells = [f"{share(ours.get(n), s.good)} / {share(theirs.get(n), s.good)}" for n in tests]
        print(f"  {s.name:22}{s.good.sum():>8}" + "".join(f"{c:>16}" for c in cells), flush=True)
    return kept


def finding_table(series: list[Series], flags: dict[str, dict[str, np.ndarray]], found: list[Finding]) -> None:
    print("\nFindings: false ones in a probe-month of passed points, and rejected stretches (12 h or longer) noticed")
    print(
        f"  {'':22}{'months':>8}{'ours':>8}{'baseline':>10}{'stretches':>11}{'ours':>6}{'baseline':>10}  our false ones"
    )
    all_ours, all_theirs = [], []
    for s in series:
        ours, theirs = score(s, found), score(s, by_flags(s, flags[s.name]))
        all_ours.append(ours)
        all_theirs.append(theirs)
        said = ", ".join(f"{k} {n}" for k, n in sorted(ours.false.items()))
        print(
            f"  {s.name:22}{ours.months:>8.1f}{per_month([ours]):>8.2f}{per_month([theirs]):>10.2f}"
            f"{ours.stretches:>11}{ours.caught:>6}{theirs.caught:>10}  {said}"
        )
    months = sum(x.months for x in all_ours)
    print(
        f"  {'all':22}{months:>8.1f}{per_month(all_ours):>8.2f}{per_month(all_theirs):>10.2f}"
        f"{sum(x.stretches for x in all_ours):>11}{sum(x.caught for x in all_ours):>6}"
        f"{sum(x.caught for x in all_theirs):>10}"
    )


def fouled() -> None:
    """The river mouth's cell that fouls on its last day: when it is noticed."""
    s = river()
    from_s = float(seconds(["2001-09-01T00:00:00"])[0])
    for name, flags in (
        ("range of 24.8 h, 17.25 / 15, as its source set them by eye", trust.attenuated_range(
            s.x, s.t, 17.25, 15.0, 24.8 * 3600, 743)),
        ("standard deviation of 24.8 h, 5 / 4.5, the same", trust.attenuated_sd(s.x, s.t, 5.0, 4.5, 24.8 * 3600, 743)),
    ):  # fmt: skip
        failed = np.flatnonzero(flags == trust.FAIL)
        early = np.isin(flags[s.t < from_s], (3, 4)).sum()
        print(f"  {name}: {early} flagged before that day, first failure "
              f"{(s.t[failed[0]] - from_s) / 3600:.1f} h into it")  # fmt: skip
    lookout, track = fresh(s)
    found = follow(lookout, track, s.t, s.x)
    said = ", ".join(f"{f.name} {(f.at_s - from_s) / DAY:+.1f} d" for f in found if f.holds) or "nothing"
    print(f"  the lookout, which knows no tide and has no second probe: {said}")


def cost(streams: list[tuple[str, np.ndarray]]) -> float:
    """Least of three: judging and noticing by a point, ten points a batch, a tick for each ten minutes. [µs]"""
    least = np.inf
    for _ in range(3):
        lookout, _ = fresh(*(Series(q, q, np.arange(2) * 60.0, x, x > 0, x > 0) for q, x in streams))
        tracks = [(lookout.hand.tracks[q], x) for q, x in streams]
        spent, n = 0.0, len(streams[0][1]) // 10 * 10
        for k in range(0, n, 10):
            t = np.arange(k, k + 10) * 60.0
            for track, values in tracks:
                x = values[k : k + 10]
                began = time.perf_counter()
                kept = lookout.judge(track, t, x)
                spent += time.perf_counter() - began
                track.add(t, kept, x)
            began = time.perf_counter()
            lookout.tick(t[0] + 600.0)
            spent += time.perf_counter() - began
        least = min(least, spent / (n * len(streams)))
    return 1e6 * least


def pace() -> None:
    """What judging and noticing cost a point."""
    rng, n = np.random.default_rng(1), 30 * 1440
    day = np.sin(np.arange(n) / 1440 * 2 * np.pi)
    quiet = [
        (q, np.round((middle + swing * day + rng.normal(0, noise, n)) / step) * step)
        for q, middle, swing, noise, step in (
            ("temperature", 25.2, 0.3, 0.02, 0.01), ("ph", 8.2, 0.1, 0.008, 0.01), ("salinity", 35.0, 0.1, 0.03, 0.01),
            ("orp", 350.0, 15.0, 2.0, 1.0), ("oxygen", 6.5, 0.5, 0.03, 0.01),
        )
    ]  # fmt: skip
    sea = [s.part(0.0, 0.3) for s in sonde("apadb") if s.quantity != "temperature"]
    shortest = min(len(s.x) for s in sea)
    wild = [(s.quantity, s.x[:shortest]) for s in sea]
    t, (quantity, x), base = np.arange(n) * 60.0, quiet[0], np.inf
    for _ in range(3):
        began = time.perf_counter()
        for k in range(20, n // 2, 10):
            trust.flag(quantity, t[k - 20 : k + 10], x[k - 20 : k + 10])
        base = min(base, 1e6 * (time.perf_counter() - began) / (n // 2 - 20))
    print("\nCost a point in batches of ten, a tick for each ten minutes, least of three runs")
    print(f"  five quiet probes by the minute           {cost(quiet):6.2f} µs (aim 1.5)")
    print(f"  three of the sonde as if by the minute    {cost(wild):6.2f} µs (leaps no tank makes)")
    print(f"  baseline: flags anew over each batch and the twenty points before it {base:6.2f} µs")


def main(argv: list[str] | None = None) -> int:
    """Print the tables."""
    given = sys.argv[1:] if argv is None else argv
    if not DATA.is_dir():
        print(f"no open data in {DATA}: nothing to measure")
        return 0
    if given == ["tuning"]:
        first, alone = sonde("apacp"), [reef().part(0.0, 0.5)]
    else:
        first, alone = sonde("apadb"), [reef().part(0.5, 1.0), office(), loop()]
    flags = point_table([*first, *alone])
    found = together(first)
    for s in alone:
        found += together([s])
    finding_table([*first, *alone], flags, found)
    if given != ["tuning"]:
        print("\nSeveral probes in one system: both stations, then four depths of a reef (the rule was made on them)")
        pair = [s for name in ("apacp", "apadb") for s in sonde(name) if s.quantity == "temperature"]
        for group in (pair, depths()):
            for s in group:
                flags.setdefault(s.name, reference_flags(s))
            finding_table(group, {s.name: reference_flags(s) for s in group}, together(group))
        print("\nA salinity cell that fouls on its last day (river mouth)")
        fouled()
        from bench.trust_planted import planted

        planted(range(20, 24))
    pace()
    return 0


if __name__ == "__main__":
    sys.exit(main())
