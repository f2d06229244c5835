"""Invented systems with invented records, for the demo: a house that never was, simulated honestly."""

from __future__ import annotations

from leadline.invented.house import Scenario, scenario

__all__ = ["Scenario", "scenario"]
