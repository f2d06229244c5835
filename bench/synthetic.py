"""Simulated systems with a known truth, on which an estimator can be judged.

The water follows mass balances on an hourly step; a keeper tests it now and then, with kits that err, and
reacts to what was read. Nothing of Leadline is imported here, on purpose: the judge must not know how the
judged one thinks.
What is common practice (demand classes, kit scatter, feeding, exchanges) is marked so beside the number.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from bench.synthetic_keeper import G_PER, Keeper
from bench.synthetic_kits import KITS
from bench.synthetic_styles import STYLES, Style
from bench.synthetic_water import HOURS, Water

COLUMNS = (
    "time",
    "system",
    "kind",
    "subject",
    "value",
    "unit",
    "method",
    "sd",
    "to",
    "from",
    "recorded_at",
    "note",
    "extra",
)
QUANTITIES = (
    "salinity",
    "temperature",
    "alkalinity",
    "calcium",
    "magnesium",
    "potassium",
    "nitrate",
    "phosphate",
    "ph",
)


@dataclass(frozen=True)
class SyntheticSystem:
    """One invented system: what its keeper wrote down, and what the water really was.

    ``journal`` holds rows with the columns of the journal format (``extra`` as a dict, absent when empty), in
    order of time. ``streams`` holds (stream id, unix seconds, values). ``truth`` answers in stored units:
    psu, °C, meq/L, mg/L, and pH on the NBS scale; it raises ``KeyError`` for a quantity that was not simulated
    and ``ValueError`` for a moment outside the simulated span.
    """

    seed: int
    style: str
    system_id: str
    system_toml: str
    journal: list[dict[str, Any]]
    streams: list[tuple[str, np.ndarray, np.ndarray]]
    start: float
    end: float
    true_volume: float
    parameters: dict[str, float]
    grid: dict[str, np.ndarray]

    def truth(self, quantity: str, unix_times: Any) -> np.ndarray:
        """What the water really was at these moments, in the stored unit of the quantity."""
        moments = np.asarray(unix_times, dtype=float)
        if moments.size and (moments.min() < self.start - 1 or moments.max() > self.end + 1):
            raise ValueError(f"truth is known from {self.start:.0f} to {self.end:.0f} unix seconds only")
        hours = (moments - self.start) / 3600.0
        column = self.grid[quantity]
        return np.interp(hours, np.arange(len(column)), column)


def make_system(seed: int, days: int = 400, style: str | None = None) -> SyntheticSystem:
    """Invent one system and ``days`` days of its life; the same seed gives the same system to the last digit.

    ``style`` names one of ``STYLES``; otherwise the seed picks it, each in turn.
    """
    chosen: Style = STYLES[style] if style else list(STYLES.values())[seed % len(STYLES)]
    rng = np.random.default_rng([20240229, seed])
    start = datetime(2023, 1, 1, tzinfo=UTC) + timedelta(days=int(rng.integers(0, 365)))
    water = Water(chosen, days, start.timetuple().tm_yday, rng)
    system_id = f"{chosen.name}-{seed}"
    keeper = Keeper(chosen, water, start, system_id, rng)
    for hour in range(days * HOURS):
        water.record(hour)
        keeper.act(hour)
        water.step(hour)
    water.record(days * HOURS)
    grid = water.truth_grid()
    keeper.read_ph(grid["ph"])
    journal = sorted(keeper.rows, key=lambda row: row["time"])
    streams = _streams(chosen, grid, keeper, start.timestamp(), days, rng)
    return SyntheticSystem(
        seed,
        chosen.name,
        system_id,
        describe(keeper),
        journal,
        streams,
        start.timestamp(),
        start.timestamp() + days * 86400.0,
        water.volume_true,
        water.parameters(),
        grid,
    )


def as_csv(journal: list[dict[str, Any]]) -> str:
    """The journal as a file in the import format."""
    import csv
    import io

    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    for row in journal:
        extra = row.get("extra")
        writer.writerow({**row, "extra": json.dumps(extra) if extra else ""})
    return out.getvalue()


def describe(keeper: Keeper) -> str:
    """The system as its keeper would describe it."""
    stated = keeper.volume
    lines = [
        "[system]",
        f'id = "{keeper.system}"',
        f'name = "Synthetic {keeper.system} (invented)"',
        'time_zone = "UTC"',
        f'net_volume = "{stated:.0f} L"',
        f'net_volume_sd = "{stated * keeper.water.volume_rel_sd:.0f} L"',
        'units = "metric"',
        "",
        "[[vessel]]",
        'id = "display"',
        f'volume = "{stated:.0f} L"',
        "",
        "[room]",
        'temperature = "21 degC"',
        "relative_humidity = 0.5",
        'co2 = "700 ppm"',
        "",
        "[[equipment]]",
        'id = "topoff-1"',
        'type = "topoff"',
        'water = "ro"',
    ]
    if keeper.style.dosing == "pump":
        for pump, substance, per in (
            ("doser-1", keeper.carbonate, G_PER[keeper.carbonate]),
            ("doser-2", "calcium-chloride-dihydrate", 20.04 * G_PER["calcium-chloride-dihydrate"]),
        ):
            lines += [
                "",
                "[[equipment]]",
                f'id = "{pump}"',
                'type = "doser"',
                f'substance = "{substance}"',
                f'concentration = "{keeper.strength * per * 1000:.1f} g/L"',
            ]
    for quantity in keeper.style.probes:
        unit = {"temperature": "degC", "ph": "1", "salinity": "psu"}[quantity]
        lines += [
            "",
            "[[stream]]",
            f'id = "{quantity}"',
            f'quantity = "{quantity}"',
            f'unit = "{unit}"',
            'period = "600 s"',
            'vessel = "display"',
        ]
    for quantity, kit in keeper.kits.items():
        lines += ["", "[[method]]", f'quantity = "{quantity}"', f'name = "{kit.method}"']
        if kit.stated_sd:
            lines.append(f'sd = "{kit.stated_sd * kit.factor:.3g} {kit.unit}"')
        lines.append(f"minutes = {KITS[quantity][0].minutes}")
    lines += [
        "",
        "[[band]]",
        'quantity = "alkalinity"',
        'aim = ["7.0 dKH", "9.5 dKH"]',
        'limit = ["6.0 dKH", "12.0 dKH"]',
        "",
    ]
    return "\n".join(lines)


def _streams(
    style: Style,
    grid: dict[str, np.ndarray],
    keeper: Keeper,
    start: float,
    days: int,
    rng: np.random.Generator,
) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Ten-minute probe series: a wandering bias, calibrations, gaps, stuck stretches, spikes."""
    if not style.probes:
        return []
    found = []
    steps = np.arange(0, days * 144)
    for quantity in style.probes:
        sd, bias_sd, drift, digits = PROBES[quantity]
        value = np.interp(steps / 6.0, np.arange(len(grid[quantity])), grid[quantity])
        bias = rng.normal(0, bias_sd) + np.cumsum(
            rng.normal(drift * rng.normal(1, 0.5) / 144, abs(drift) / 40, len(steps))
        )
        for hour in keeper.calibrations.get(quantity, ()):
            if hour * 6 < len(steps):
                bias[hour * 6 :] += rng.normal(0, bias_sd) - bias[hour * 6]
        value = value + bias + sd * rng.standard_t(5, len(steps))
        for _ in range(rng.poisson(days / 120)):  # a probe that repeats its last value
            at = int(rng.integers(0, len(steps) - 100))
            value[at : at + int(rng.integers(6, 90))] = value[at]
        keep = np.ones(len(steps), bool)
        for _ in range(rng.poisson(days / 60)):  # a logger that was off
            at = int(rng.integers(0, len(steps) - 10))
            keep[at : at + int(rng.exponential(80)) + 3] = False
        spikes = rng.random(len(steps)) < 2e-4
        value[spikes] *= rng.choice([0.5, 0.8, 1.3], spikes.sum())
        found.append((quantity, start + steps[keep] * 600.0, np.round(value[keep], digits)))
    return found


# quantity: white noise, bias sd at a calibration, drift a day, digits shown (common practice)
PROBES = {
    "temperature": (0.03, 0.15, 0.0, 2),
    "ph": (0.01, 0.05, 0.0012, 2),
    "salinity": (0.05, 0.4, -0.006, 2),
}
