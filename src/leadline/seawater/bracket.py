"""The one root of a rising or falling function between two bounds."""

from __future__ import annotations

from collections.abc import Callable

from leadline.measures.errors import OutOfRange


def root(
    function: Callable[[float], float], lowest: float, highest: float, *, what: str, tolerance: float = 1e-10
) -> float:
    """Where `function` is zero between the bounds, by the Illinois form of false position.

    Raises
    ------
    OutOfRange
        When the function has the same sign at both bounds: the answer lies outside. `what` says of what.
    """
    a, b = lowest, highest
    fa, fb = function(a), function(b)
    if fa == 0.0:
        return a
    if fb == 0.0:
        return b
    if not (fa < 0.0 < fb or fb < 0.0 < fa):
        raise OutOfRange(f"{what} gives no answer between {lowest:g} and {highest:g}")
    for _ in range(200):
        c = (a * fb - b * fa) / (fb - fa)
        fc = function(c)
        # convergence is judged before the bracket shrinks: an end of the bracket is never an answer
        if fc == 0.0 or abs(b - a) < tolerance:
            return c
        if (fc < 0.0) == (fb < 0.0):
            if abs(c - b) < tolerance and abs(fc) <= abs(fb):
                return c
            b, fb = c, fc
            fa *= 0.5
        else:
            a, b, fa, fb = b, c, fb, fc
    return c
