"""Where a fit was made, and a clear word when it is asked outside."""

from __future__ import annotations

from typing import Any

from leadline.measures.errors import OutOfRange


def within(name: str, value: Any, lowest: float, highest: float, unit: str, way_out: str = "") -> None:
    """Refuse a value (float or array) outside the range for which a fit was made; NaN is refused too.

    Raises
    ------
    OutOfRange
        Naming the worst value met and the range.
    """
    if isinstance(value, (int, float)):
        if lowest <= value <= highest:
            return
        worst = float(value)
    else:
        import numpy as np

        array = np.asarray(value, dtype=float)
        bad = ~((array >= lowest) & (array <= highest))
        if not bad.any():
            return
        worst = float(array[bad].flat[0])
    gap = f" {unit}" if unit else ""
    raise OutOfRange(
        f"{name} {worst:.6g}{gap} is outside {lowest:g} to {highest:g}{gap}, where this fit was made",
        way_out=way_out,
    )
