"""One table a bench: each figure beside its baseline of the same run, the ratio, the aim, and whether it is met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """One measured figure. `aim` is the most it may be; None for a figure without one. All in `unit`."""

    name: str
    value: float
    unit: str
    baseline: float | None = None
    against: str = ""  # what the baseline is, in words
    aim: float | None = None
    of_ratio: bool = False  # the aim is of the ratio, not of the value
    least: float | None = None  # the least of all runs: what an idle machine would show

    @property
    def met(self) -> bool | None:
        """Whether the aim is met; None without one."""
        if self.aim is None:
            return None
        if not self.of_ratio:
            return self.value <= self.aim
        return self.baseline is not None and self.value / self.baseline <= self.aim


def amount(value: float, unit: str) -> str:
    """A figure with three digits or so, as one reads it."""
    digits = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2 if abs(value) >= 1 else 3
    return f"{value:.{digits}f} {unit}".rstrip()


def show(title: str, figures: Sequence[Figure]) -> int:
    """Print the table; returns how many aims were missed."""
    wide = max(len(f.name) for f in figures)
    print(f"\n{title}")
    print(f"  {'':{wide}} {'figure':>11} {'(least)':>10} {'baseline':>11} {'ratio':>7} {'aim':>10}")
    for f in figures:
        base = amount(f.baseline, f.unit) if f.baseline is not None else "-"
        ratio = f"{f.value / f.baseline:.2f}" if f.baseline else "-"
        least = "-" if f.least is None else f"({amount(f.least, f.unit)})"
        aim = "-" if f.aim is None else f"{f.aim:g} ×" if f.of_ratio else f"{f.aim:g} {f.unit}"
        word = {None: "", True: "met", False: "MISSED"}[f.met]
        against = f"  (baseline: {f.against})" if f.against else ""
        figure = amount(f.value, f.unit)
        print(f"  {f.name:{wide}} {figure:>11} {least:>10} {base:>11} {ratio:>7} {aim:>10} {word:6}{against}")
    return sum(f.met is False for f in figures)
