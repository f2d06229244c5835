"""Is the doubt honest? The estimate judged on synthetic systems that break its assumptions.

For every reading that came 4 to 10 days after the one before it: what was expected just before, with the inputs
logged in between, against the reading and against the simulated truth. Baselines, each with a Gaussian spread learned
from its own past errors: "the same as the last reading" and "the line through the last five".
Systems with seeds below 1000 were used while the estimator was tuned; the judgement uses seeds from 1000 on.

Usage: python bench/calibration.py [--systems N] [--first SEED] [--days D]
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict

import numpy as np
from bench.records import entries
from bench.synthetic import make_system

from leadline.estimate.grid import mixture_cdf
from leadline.estimate.outlook import believed
from leadline.estimate.reckon import bank_ahead, bank_now, moment_of, reckon
from leadline.estimate.score import gaussian_crps, mixture_crps, mixture_pit
from leadline.system.description import parse

WARM_UP = 4  # readings of a quantity before it is judged


def baseline(t: np.ndarray, y: np.ndarray, floor: float) -> tuple[np.ndarray, np.ndarray]:
    """CRPS at each reading of both baselines, spread from their own past errors; (n, 2), nan before they can speak."""
    n = len(t)
    out, errors = np.full((n, 2), np.nan), np.full((n, 2), np.nan)
    for k in range(2, n):
        last = y[k - 1]
        past = slice(max(k - 5, 0), k)
        line = np.polyval(np.polyfit(t[past] - t[k], y[past], 1), 0.0) if k >= 3 else last
        for j, guess in enumerate((last, line)):
            old = errors[:k, j]
            old = old[~np.isnan(old)]
            sd = max(np.sqrt(np.mean(old**2)) if len(old) >= 2 else 0.0, floor) if len(old) else floor * 2
            errors[k, j] = y[k] - guess
            out[k, j] = float(gaussian_crps(np.array(guess), np.array(sd), np.array(y[k])))
    return out, errors


def judge(seed: int, days: int) -> dict[str, list[tuple[float, ...]]]:
    """Rows (pit of reading, pit of truth, crps, crps of last, of line, |error| of last, of line) per quantity."""
    made = make_system(seed, days=days)
    r = reckon(parse(made.system_toml), entries(made.journal), moment_of(made.end / 86400.0))
    rows: dict[str, list[tuple[float, ...]]] = defaultdict(list)
    for q, t in r.tracks.items():
        s = t.sightings
        if len(s) <= WARM_UP or t.foretold is None:
            continue
        m, sd, w = t.foretold
        pit = mixture_pit(s.value, m, sd, w, t.family.positive)
        crps = mixture_crps(s.value, m, sd, w)
        truth = made.truth(q, s.t * 86400.0)
        lm, lv = t.before_level
        pos = np.full(len(s), 1.0 if t.family.positive else 0.0)
        pit_truth = mixture_cdf(truth[:, None], lm, np.sqrt(lv), w, pos)[:, 0]
        base, errors = baseline(s.t, s.value, 0.5 * float(np.median(s.noise_sd + s.relative * s.value)) + 1e-9)
        gap = np.diff(s.t, prepend=-np.inf)
        for k in range(WARM_UP, len(s)):
            if 4.0 <= gap[k] <= 10.0:
                rows[q].append((pit[k], pit_truth[k], crps[k], base[k, 0], base[k, 1], *np.abs(errors[k])))
    return rows


def summary(
    rows: dict[str, list[tuple[float, ...]]],
) -> dict[str, tuple[int, float, float, float, float, float, float]]:
    """Per quantity and pooled: n, hits of 50 % and 90 % on readings, on truth, CRPS over the better baseline.

    Two ratios: over the baselines as they stand (a point; its CRPS is its absolute error), and over the same with a
    spread learned from their own past errors, which is harder to beat.
    """
    out = {}
    ratios, weights, pooled = [], [], []
    for q, r in sorted(rows.items()):
        a = np.array(r)
        spread = a[:, 2].mean() / min(a[:, 3].mean(), a[:, 4].mean())
        point = a[:, 2].mean() / min(a[:, 5].mean(), a[:, 6].mean())
        out[q] = (len(a), *_hits(a[:, 0]), *_hits(a[:, 1]), point, spread)
        ratios.append((point, spread))
        weights.append(len(a))
        pooled.append(a)
    a = np.concatenate(pooled)
    point, spread = np.average(ratios, weights=weights, axis=0)
    out["pooled"] = (len(a), *_hits(a[:, 0]), *_hits(a[:, 1]), float(point), float(spread))
    return out


def _hits(pit: np.ndarray) -> tuple[float, float]:
    return float(((pit > 0.25) & (pit < 0.75)).mean()), float(((pit > 0.05) & (pit < 0.95)).mean())


def silence(seeds: range, days: int) -> dict[str, tuple[int, float, float, float, float]]:
    """The keeper stops testing for 45 to 130 days and lives on: n, hits of 50 % and 90 % on the truth, mae, mean sd."""
    rng = np.random.default_rng(7)
    rows: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
    for seed in seeds:
        made = make_system(seed, days=days)
        system, all_entries = parse(made.system_toml), entries(made.journal)
        for t in rng.uniform(made.start / 86400.0 + 150, made.end / 86400.0 - 1, 5):
            since = t - rng.uniform(45, 130)
            heard = [e for e in all_entries if e.kind != "reading" or e.time.timestamp() / 86400.0 <= since]
            r = reckon(system, heard, moment_of(t))
            names = [q for q, track in r.tracks.items() if len(track.sightings) > WARM_UP]
            if not names:
                continue
            mix = believed(bank_now(r, names), [r.tracks[q] for q in names])
            truth = np.array([made.truth(q, [t * 86400.0])[0] for q in names])
            pit = mix.cdf(truth[:, None])[:, 0]
            mean, sd = mix.moments()
            for j, q in enumerate(names):
                rows[q].append((float(pit[j]), abs(float(mean[j] - truth[j])), float(sd[j])))
    return _hit_table(rows)


def forecasts(seeds: range, days: int) -> dict[float, dict[str, tuple[int, float, float, float, float]]]:
    """From any moment, knowing nothing of the days that follow: hits on the truth now and in seven days."""
    rng = np.random.default_rng(5)
    rows: dict[float, dict[str, list[tuple[float, float, float]]]] = {0.0: defaultdict(list), 7.0: defaultdict(list)}
    for seed in seeds:
        made = make_system(seed, days=days)
        system, all_entries = parse(made.system_toml), entries(made.journal)
        for t in rng.uniform(made.start / 86400.0 + 90, made.end / 86400.0 - 8, 4):
            r = reckon(system, all_entries, moment_of(t))
            names = [q for q, x in r.tracks.items() if len(x.sightings) >= WARM_UP and r.now - x.last < 21]
            if not names:
                continue
            bank, tracks = bank_now(r, names), [r.tracks[q] for q in names]
            for horizon in rows:
                mix = believed(bank if not horizon else bank_ahead(r, names, bank, horizon), tracks)
                truth = np.array([made.truth(q, [(t + horizon) * 86400.0])[0] for q in names])
                pit = mix.cdf(truth[:, None])[:, 0]
                mean, sd = mix.moments()
                for j, q in enumerate(names):
                    rows[horizon][q].append((float(pit[j]), abs(float(mean[j] - truth[j])), float(sd[j])))
    return {h: _hit_table(found) for h, found in rows.items()}


def _hit_table(rows: dict[str, list[tuple[float, float, float]]]) -> dict[str, tuple[int, float, float, float, float]]:
    out = {}
    for q, found in sorted(rows.items()):
        a = np.array(found)
        out[q] = (len(a), *_hits(a[:, 0]), float(a[:, 1].mean()), float(a[:, 2].mean()))
    everything = np.concatenate([np.array(v)[:, 0] for v in rows.values()])
    out["pooled"] = (len(everything), *_hits(everything), float("nan"), float("nan"))
    return out


def _print_hits(title: str, table: dict[str, tuple[int, float, float, float, float]]) -> None:
    print()
    print(title)
    print(f"{'quantity':13} {'n':>6}   50 %  90 %   mean error   mean sd")
    for q, (n, t50, t90, error, sd) in table.items():
        tail = "" if np.isnan(error) else f"{error:10.3f} {sd:9.3f}"
        print(f"{q:13} {n:6}   {t50:4.2f}  {t90:4.2f}   {tail}".rstrip())


def _said(met: bool) -> str:
    return "met" if met else "MISSED"


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--systems", type=int, default=60)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--days", type=int, default=400)
    args = parser.parse_args(argv)
    rows: dict[str, list[tuple[float, ...]]] = defaultdict(list)
    for seed in range(args.first, args.first + args.systems):
        for q, r in judge(seed, args.days).items():
            rows[q].extend(r)
    table = summary(rows)
    print(f"One week ahead, {args.systems} systems from seed {args.first}, {args.days} days each")
    print(f"{'quantity':13} {'n':>6}  reading 50 %  90 %   truth 50 %  90 %   CRPS over point, over point with spread")
    for q, (n, r50, r90, t50, t90, point, spread) in table.items():
        print(f"{q:13} {n:6}         {r50:5.2f} {r90:5.2f}        {t50:5.2f} {t90:5.2f}   {point:10.2f} {spread:19.2f}")
    worst = max((q for q in table if q != "pooled"), key=lambda q: table[q][5])
    low = min((q for q in table if q != "pooled"), key=lambda q: table[q][2])
    print(f"worst: {worst} by score, {low} by coverage")
    n, r50, r90, t50, t90, point, spread = table["pooled"]
    print(f"90 % in 0.87-0.93: {_said(0.87 <= r90 <= 0.93)}; 50 % in 0.45-0.55: {_said(0.45 <= r50 <= 0.55)}")
    print(f"CRPS at most 0.75 of the better baseline: {_said(point <= 0.75)}; with spread: {_said(spread <= 0.75)}")
    seeds = range(args.first, args.first + args.systems)
    now, week = forecasts(seeds, args.days).values()
    _print_hits("At any moment, last test under three weeks ago, against the truth (stored units)", now)
    _print_hits("Seven days after that moment, nothing known of the days between", week)
    _print_hits("After 45 to 130 days without any test", silence(seeds, args.days))
    return 0


if __name__ == "__main__":
    sys.exit(main())
