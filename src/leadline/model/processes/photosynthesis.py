"""Light fixes carbon and frees oxygen; what was fixed is respired day and night, so production and breath balance.

Oxygen to carbon 1:1. Saturating in light (`calcification.of_light`). Night fall of oxygen in home systems is 0.2 to
1 mg/L/h (common practice).
"""

from __future__ import annotations

from typing import Any

from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.primitives import spent
from leadline.model.processes.calcification import of_light


def act(x: Any, y: Any, p: Any, b: int, dt: float, lit: Any, warm: Any, air: Any) -> None:
    """Production and respiration of the corals' and algae's tissue, in the display."""
    carbon = x[b, at.DIC] / (x[b, at.WATER] + x[b, at.SALT])
    made = (
        p[d.PRODUCTION] * of_light(lit, p[d.LIGHT_HALF]) * warm * y[at.CORAL] * carbon / (carbon + 1e-4) * dt / 3600.0
    )
    x[b, at.O2] += made
    x[b, at.DIC] -= made
    y[at.TISSUE] += made
    burnt = spent(y[at.TISSUE], warm * air / p[d.TISSUE_D] / at.DAY, dt)
    y[at.TISSUE] -= burnt
    x[b, at.O2] -= burnt
    x[b, at.DIC] += burnt
