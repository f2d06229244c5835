"""Phosphate held by rock, reversibly, and by iron or aluminium media until they are full (sheet of practice, 4.7)."""

from __future__ import annotations

from typing import Any

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import above, spent


def rock(x: Any, y: Any, p: Any, b: int, dt: float, kg: Any, all_kg: Any) -> None:
    """Towards balance with the rock; what is bound takes its equivalent of alkalinity back out."""
    k = p[d.ROCK_P_D] / at.DAY * dt
    ratio = above(p[d.ROCK_P_KG], 1e-6)
    part = kg / (ratio * all_kg)
    net = k / (1.0 + k * (1.0 + part)) * (x[b, at.PO4] - part * y[at.ROCK_P])
    x[b, at.PO4] -= net
    x[b, at.TA] += net
    y[at.ROCK_P] += net


def media(x: Any, y: Any, c: Any, p: Any, b: int, dt: float, kg: Any) -> None:
    """A reactor with fresh media clears MEDIA_L_D a day, less as it fills."""
    free = above(1.0 - y[at.MEDIA_P] / p[d.MEDIA_MOL], 0.0) * c[at.MEDIA] * c[at.MAINS]
    bound = spent(x[b, at.PO4], p[d.MEDIA_L_D] * free / kg / at.DAY, dt)
    x[b, at.PO4] -= bound
    x[b, at.TA] += bound
    y[at.MEDIA_P] += bound
