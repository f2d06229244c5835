"""Six ways to keep a system, from the quiet soft-coral tank to the keeper who forgets for months."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Style:
    """Ranges from which one system is drawn. Pairs are (low, high)."""

    name: str
    volume: tuple[float, float]  # [L]
    demand: tuple[float, float]  # alkalinity taken up at the start [dKH/day]; classes are common practice
    growth: tuple[float, float]  # of demand [% per month]
    dosing: str  # none | pump | hand | limewater
    every: dict[str, float]  # mean days between tests, by quantity
    exchange_days: tuple[float, float]
    exchange_part: tuple[float, float]  # fraction of the water
    feeding: tuple[float, float]  # dry food [g/day per 100 L]
    skimmate: tuple[float, float]  # [L/day per 100 L]
    react: float  # chance that the keeper acts on a reading out of the aim
    regular: float  # 1: clockwork, 0: whenever
    lapse: float  # chance a day that a spell without tests begins
    unlogged: float  # chance that an act is not written down
    blunder: float = 0.007  # chance a reading
    probes: tuple[str, ...] = ()
    logs_feeding: float = 0.5
    logs_topoff: float = 0.3
    surprises_a_year: float = 1.5
    extra: dict[str, float] = field(default_factory=dict)


STYLES: dict[str, Style] = {
    style.name: style
    for style in (
        Style(
            "soft",
            (120, 450),
            (0.01, 0.10),
            (0, 3),
            "none",
            {
                "salinity": 10,
                "alkalinity": 14,
                "calcium": 30,
                "magnesium": 60,
                "nitrate": 10,
                "phosphate": 14,
                "temperature": 7,
                "ph": 20,
            },
            (7, 14),
            (0.08, 0.2),
            (0.2, 0.6),
            (0.01, 0.06),
            0.5,
            0.6,
            0.006,
            0.05,
        ),
        Style(
            "mixed",
            (200, 700),
            (0.25, 0.8),
            (1, 6),
            "pump",
            {
                "salinity": 9,
                "alkalinity": 6,
                "calcium": 12,
                "magnesium": 25,
                "nitrate": 8,
                "phosphate": 9,
                "temperature": 10,
                "ph": 14,
                "potassium": 90,
            },
            (7, 14),
            (0.07, 0.15),
            (0.2, 0.5),
            (0.01, 0.08),
            0.7,
            0.6,
            0.006,
            0.05,
        ),
        Style(
            "stony",
            (300, 1500),
            (0.8, 2.2),
            (2, 9),
            "pump",
            {
                "salinity": 8,
                "alkalinity": 2.5,
                "calcium": 7,
                "magnesium": 14,
                "nitrate": 5,
                "phosphate": 5,
                "temperature": 6,
                "ph": 9,
                "potassium": 30,
            },
            (7, 10),
            (0.05, 0.12),
            (0.3, 0.7),
            (0.02, 0.10),
            0.85,
            0.7,
            0.004,
            0.04,
            surprises_a_year=2.5,
        ),
        Style(
            "limewater",
            (250, 900),
            (0.4, 1.1),
            (1, 6),
            "limewater",
            {
                "salinity": 12,
                "alkalinity": 5,
                "calcium": 10,
                "magnesium": 20,
                "nitrate": 10,
                "phosphate": 10,
                "ph": 4,
                "temperature": 10,
            },
            (10, 21),
            (0.06, 0.15),
            (0.15, 0.5),
            (0.01, 0.08),
            0.7,
            0.5,
            0.006,
            0.06,
            logs_topoff=0.8,
        ),
        Style(
            "probes",
            (250, 1000),
            (0.5, 1.5),
            (1, 7),
            "pump",
            {
                "salinity": 14,
                "alkalinity": 5,
                "calcium": 12,
                "magnesium": 21,
                "nitrate": 8,
                "phosphate": 8,
                "ph": 21,
                "temperature": 21,
            },
            (7, 14),
            (0.06, 0.12),
            (0.2, 0.6),
            (0.02, 0.09),
            0.8,
            0.7,
            0.005,
            0.04,
            probes=("temperature", "ph", "salinity"),
        ),
        Style(
            "lazy",
            (150, 600),
            (0.05, 0.5),
            (0, 7),
            "hand",
            {
                "salinity": 30,
                "alkalinity": 24,
                "calcium": 45,
                "magnesium": 80,
                "nitrate": 28,
                "phosphate": 35,
                "temperature": 30,
                "ph": 60,
            },
            (14, 35),
            (0.1, 0.3),
            (0.2, 0.8),
            (0.0, 0.05),
            0.5,
            0.1,
            0.014,
            0.15,
            blunder=0.012,
            logs_feeding=0.15,
            logs_topoff=0.05,
        ),
    )
}
