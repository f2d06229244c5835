"""How much testing the round asks for, against a fixed schedule of everything, at equal risk.

python -m bench.effort [--systems N] [--first SEED] [--floor WORTH]
Simulated systems of three styles live the same life under several plans: everything on a fixed schedule, at several
intervals, and what the round lists for ten minutes on every second evening. Corrections follow one rule under every
plan. Harm is counted from the simulated truth and knows nothing of the round's own reckoning of worth: quantity-days
outside the aim, plus quantity-days outside the limit. The schedule's curve of tests against harm is read at the
round's harm: that many scheduled tests would have bought the same.
Seeds below 1000 may be used to tune; the judgement uses seeds from 2000 on.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence

import numpy as np
from bench.effort_keeper import BANDS, EVERYTHING, Effort, live, on_the_round, scheduled

from leadline.rounds.choose import FLOOR_WORTH

STYLES = ("soft", "mixed", "stony")
INTERVALS = (2.0, 3.5, 7.0, 14.0, 28.0, 56.0)
DAYS, WARM_UP, MINUTES, EVERY = 200, 42, 10.0, 2
Lives = dict[tuple[str, int], Effort]  # by style and seed


def on_schedule(keys: Sequence[tuple[str, int]], interval: float) -> Lives:
    return {(s, k): live(k, s, DAYS, WARM_UP, scheduled(interval, WARM_UP)) for s, k in keys}


def by_round(keys: Sequence[tuple[str, int]], floor: float, heed: bool) -> Lives:
    return {(s, k): live(k, s, DAYS, WARM_UP, on_the_round(WARM_UP, MINUTES, EVERY, floor, heed)) for s, k in keys}


def mean(lives: Lives, keys: Sequence[tuple[str, int]], what: str) -> float:
    return float(np.mean([getattr(lives[k], what) for k in keys]))


def equal_risk(
    plans: dict[float, Lives], lives: Lives, keys: Sequence[tuple[str, int]], what: str = "harm"
) -> tuple[float, str]:
    """Scheduled tests a week that bought the harm of `lives`, and in words when it lies beyond the schedules tried.

    Along the schedules harm is made to fall as tests grow (pool adjacent violators), then read by the log of tests.
    """
    tests = np.array([mean(p, keys, "tests_a_week") for p in plans.values()])
    harm = np.array([mean(p, keys, what) for p in plans.values()])
    order = np.argsort(tests)
    tests, harm = tests[order], falling(harm[order])
    here = mean(lives, keys, what)
    if here > harm[0]:
        return float(tests[0]), "at most"
    if here < harm[-1]:
        return float(tests[-1]), "at least"
    strict = harm - 1e-9 * np.arange(len(harm))
    return float(np.exp(np.interp(-here, -strict, np.log(tests)))), ""


def equal_effort(plans: dict[float, Lives], lives: Lives, keys: Sequence[tuple[str, int]], what: str) -> float:
    """What harm the schedule has that asks for as many tests as `lives` did."""
    tests = np.array([mean(p, keys, "tests_a_week") for p in plans.values()])
    harm = np.array([mean(p, keys, what) for p in plans.values()])
    order = np.argsort(tests)
    here = mean(lives, keys, "tests_a_week")
    return float(np.interp(np.log(here), np.log(tests[order]), falling(harm[order])))


def falling(y: np.ndarray) -> np.ndarray:
    """The nearest series that never rises (least squares, pool adjacent violators)."""
    blocks: list[list[float]] = []
    for v in y.tolist():
        blocks.append([v, 1.0])
        while len(blocks) > 1 and blocks[-2][0] < blocks[-1][0]:
            b, a = blocks.pop(), blocks.pop()
            n = a[1] + b[1]
            blocks.append([(a[0] * a[1] + b[0] * b[1]) / n, n])
    return np.concatenate([np.full(int(n), v) for v, n in blocks])


def ratio_spread(plans: dict[float, Lives], lives: Lives, keys: Sequence[tuple[str, int]]) -> tuple[float, float]:
    """5 and 95 % of the ratio when the systems are drawn anew with replacement."""
    rng = np.random.default_rng(3)
    found = []
    for _ in range(300):
        drawn = [keys[i] for i in rng.integers(0, len(keys), len(keys))]
        found.append(mean(lives, drawn, "tests_a_week") / equal_risk(plans, lives, drawn)[0])
    low, high = np.quantile(found, [0.05, 0.95])
    return float(low), float(high)


def show(plans: dict[float, Lives], lives: Lives, keys: Sequence[tuple[str, int]]) -> None:
    rows = [(f"everything each {i:g} d", p) for i, p in plans.items()] + [("the round", lives)]
    print(f"  {'plan':22} {'tests/week':>10} {'min/week':>9} {'other min':>9} {'harm':>7} {'past limit':>10}")
    for name, plan in rows:
        chosen = [plan[k] for k in keys]
        weeks = np.mean([e.days for e in chosen]) / 7
        print(
            f"  {name:22} {mean(plan, keys, 'tests_a_week'):10.1f} "
            f"{np.mean([e.test_minutes for e in chosen]) / weeks:9.1f} "
            f"{np.mean([e.other_minutes for e in chosen]) / weeks:9.1f} "
            f"{mean(plan, keys, 'harm'):7.1f} {mean(plan, keys, 'past_limit'):10.2f}"
        )


def main(argv: list[str] | None = None) -> int:
    """Print the tables; returns 0, for no aim is stated but that the round should ask for less."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--systems", type=int, default=8, help="of each style")
    parser.add_argument("--first", type=int, default=2000, help="first seed")
    parser.add_argument("--floor", type=float, action="append", help="another floor of worth a minute; may be repeated")
    parser.add_argument("--tests-only", action="store_true", help="leave out the doses and exchanges that it lists")
    args = parser.parse_args(argv)
    start = time.perf_counter()
    keys = [(s, args.first + n) for n in range(args.systems) for s in STYLES]
    plans = {i: on_schedule(keys, i) for i in INTERVALS}
    missed = 0
    for floor in args.floor or [FLOOR_WORTH]:
        lives = by_round(keys, floor, not args.tests_only)
        print(
            f"\nTests asked for, {len(keys)} simulated systems ({', '.join(STYLES)}; seeds from {args.first}), "
            f"{DAYS - WARM_UP} days each, round of {MINUTES:g} minutes every {EVERY} days, floor {floor:g}"
        )
        print("  harm: quantity-days outside the aim plus outside the limit, in 100 days; past limit: those alone")
        show(plans, lives, keys)
        for name, some in [("all", keys), *((s, [k for k in keys if k[0] == s]) for s in STYLES)]:
            asked = mean(lives, some, "tests_a_week")
            same, word = equal_risk(plans, lives, some)
            low, high = ratio_spread(plans, lives, some)
            met = "met" if asked < same else "MISSED"
            missed += met == "MISSED" and name == "all"
            print(
                f"  {name:6} round {asked:5.1f} tests a week, schedule at equal harm {word} {same:5.1f}: "
                f"ratio {asked / same:4.2f} (5-95 % over systems {low:.2f}-{high:.2f}), aim below 1: {met}"
            )
            harm, instead = mean(lives, some, "harm"), equal_effort(plans, lives, some, "harm")
            print(f"         harm {harm:.1f}, of as many scheduled tests {instead:.1f}: ratio {harm / instead:.2f}")
        same, word = equal_risk(plans, lives, keys, "past_limit")
        asked, past = mean(lives, keys, "tests_a_week"), mean(lives, keys, "past_limit")
        print(
            f"  all, by days past the limit alone ({past:.2f} in 100): round {asked:.1f} tests a week, schedule "
            f"{word} {same:.1f}: ratio {asked / same:.2f}"
        )
        total = {q: np.mean([e.tests.get(q, 0) / e.days * 7 for e in lives.values()]) for q in EVERYTHING}
        print("  asked a week:  " + ", ".join(f"{q} {n:.1f}" for q, n in total.items()))
        for name, plan in (("the round", lives), ("each 7 d", plans[7.0])):
            out = {q: np.mean([e.out_aim[q] / e.days * 100 for e in plan.values()]) for q in BANDS}
            print(f"  days out of aim in 100, {name}: " + ", ".join(f"{q} {n:.1f}" for q, n in out.items()))
    print(f"  took {time.perf_counter() - start:.0f} s")
    return missed


if __name__ == "__main__":
    main()
