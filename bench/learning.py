"""Learning on systems of another structure: how often the truth lies inside the 90 % interval.

Seeds from 0 on were never looked at while anything was tuned; seeds from 1000 on were.

Usage: python -m bench.learning [BATCHES OF]
"""

from __future__ import annotations

import sys
import time

from bench.other_structure import batch, judge

from leadline.wiring import compiled_folder


def main(argv: list[str] | None = None) -> None:
    given = sys.argv[1:] if argv is None else argv
    batches, each = (int(given[0]), int(given[1])) if len(given) == 2 else (25, 8)
    began = time.perf_counter()
    cases = [case for seed in range(batches) for case in batch(seed, each)]
    made = time.perf_counter() - began
    began = time.perf_counter()
    found = judge(cases, compiled_folder())
    span = time.perf_counter() - began
    print(f"{len(cases)} systems of other structure, {batches} descriptions; made in {made:.0f} s, "
          f"fitted in {span / max(len(cases), 1):.2f} s each")  # fmt: skip
    print(f"{'':18s}{'inside 90 %':>14s}{'share':>8s}{'less doubt':>12s}{'median error':>14s}")
    for name, j in found.items():
        print(f"{name:18s}{f'{j.inside} of {j.of}':>14s}{j.inside / j.of:>8.2f}{j.gained:>11.0%}{j.error:>14.0%}")
    inside, of = sum(j.inside for j in found.values()), sum(j.of for j in found.values())
    least = min(found.values(), key=lambda j: j.inside / j.of)
    word = "met" if least.inside >= 0.85 * least.of else "MISSED"
    print(f"{'all':18s}{f'{inside} of {of}':>14s}{inside / of:>8.2f}   aim 0.85 for each: {word}")


if __name__ == "__main__":
    main()
