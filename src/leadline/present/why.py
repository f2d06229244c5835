"""What stands behind a number, in words: its doubt parted, what would make it surer, how it was carried."""

from __future__ import annotations

from collections.abc import Sequence

from leadline.measures import figures
from leadline.measures.moments import days_between
from leadline.measures.units import GALLON_L
from leadline.measures.words import N_, _
from leadline.present import sentences

# part of the doubt: what it is, and what would lessen it
PARTS: dict[str, tuple[str, str]] = {
    "kit": (
        N_("an offset that the kit or probe may keep"),
        N_("Test once by another method, or check the kit against water of known value."),
    ),
    "readings": (N_("what the last readings left open"), N_("Test again: two tests of the same water, averaged.")),
    "movement": (N_("how it moved since, which nobody saw"), N_("Test it now.")),
    "doses": (N_("what the pump really gave, into how much water"), N_("Measure what the pump gives in ten minutes.")),
    "exchanges": (N_("amounts of exchanges, top-off and food"), N_("Measure the new water before the next exchange.")),
    "wandering": (N_("small changes that follow no rule"), N_("Test it now.")),
    "prior": (N_("nobody ever measured it here"), N_("Test it once.")),
}
_CARRIED = N_(
    "Doses and exchanges move it by mass balance; a rate that may wander carries it from reading to reading "
    "(integrated Wiener process; Kalman filter for irregular gaps, Van Loan 1978)."
)
_HELD = N_("Something holds it: a slow level, and departures from it that fade (Ornstein-Uhlenbeck; Kalman filter).")
_GRID = N_("35 such filters run side by side, weighed by how well each foretold the readings (Magill 1965).")


def shares_said(shares: Sequence[tuple[str, float]]) -> list[tuple[str, int]]:
    """Parts of the doubt in words, with their percent of the variance; together they are 100."""
    left = [(_(PARTS[name][0]), max(100.0 * share, 0.0)) for name, share in shares]
    whole = sum(x for _, x in left) or 1.0
    exact = [100.0 * x / whole for _, x in left]
    floor = [int(x) for x in exact]
    for i in sorted(range(len(exact)), key=lambda i: floor[i] - exact[i])[: 100 - sum(floor)]:
        floor[i] += 1
    return [(words, n) for (words, _), n in zip(left, floor, strict=True) if n > 0]


def surer(shares: Sequence[tuple[str, float]], settles: float | None, name: str) -> str:
    """What would lessen the doubt most, in a sentence or two."""
    if not shares:
        return ""
    said = _(PARTS[shares[0][0]][1])
    if settles is not None and shares[0][0] != "prior":
        said += " " + _("One more test of {quantity} by the usual kit takes away {share} % of the variance.").format(
            quantity=name, share=f"{100 * settles:.0f}"
        )
    return said


def carried(drifting: bool, with_salt: bool, coupled: bool) -> list[str]:
    """How the number was carried to now, with sources."""
    lines = [_(_CARRIED) if drifting else _(_HELD), _(_GRID)]
    if with_salt:
        lines.append(_("It rises and falls with salinity, as dissolved salts do."))
    if coupled:
        lines.append(_("Part of its loss follows the alkalinity taken: two equivalents to one mole of metal."))
    return lines


def volume_said(litres: float, sd: float, units: str) -> str:
    """A volume with its doubt."""
    factor, unit = (1 / GALLON_L, "gal") if units == "us" else (1.0, "L")
    return f"{figures.number(litres * factor, 0)} ± {figures.number(sd * factor, 0)} {unit}"


def judged(value: float, expected: float | None, expected_sd: float | None, blunder: float, step: float) -> str:
    """How a reading was taken, in a word or two."""
    if blunder > 0.5:
        return _("hardly counts: it fits nothing else")
    if step > 0.5:
        return _("the water had changed its ways")
    if expected is None or not expected_sd:
        return ""
    off = abs(value - expected) / expected_sd
    return _("as expected") if off < 1.5 else _("a surprise") if off < 3.0 else _("a great surprise")


def age_said(then: object, now: object) -> str:
    """How old something is."""
    return _("{span} ago").format(span=figures.span(max(days_between(then, now), 0.0)))  # type: ignore[arg-type]


def named(quantity: str) -> str:
    """The quantity as a heading."""
    return sentences.titled(quantity)
