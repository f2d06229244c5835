"""How much water there is: from sizes, from an exchange, from a dose, each with its doubt, and what they agree on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from leadline.app import calculate
from leadline.app.calculate import Line, Worked
from leadline.measures import units
from leadline.measures.errors import BadInput
from leadline.measures.quantities import quantity
from leadline.seawater import convert
from leadline.system.methods import performance

# litres of water that a kilogram pushes out. Aragonite weighs 2.93 kg/L (CRC Handbook, minerals): 0.34 L/kg is the
# least; pores that stay closed add to it, most for light rock. The ranges are judgement.
ROCK_L_KG, ROCK_SD_L_KG = 0.42, 0.07
SAND_L_KG, SAND_SD_L_KG = 0.37, 0.03
SIZE_SD = 0.006  # of one length read with a tape, as a share: 3 mm in half a metre (judgement)
FILLED_SD = 0.01  # of a volume that was read off a scale or a meter (judgement)
_FAR = 2.5  # two ways further apart than this many of their standard deviations disagree


@dataclass(frozen=True, slots=True)
class Way:
    """What one way of finding it says. [L]"""

    name: str
    litres: float
    sd: float
    how: str


def from_sizes(
    tanks: Sequence[Sequence[str]], others: Sequence[str] = (), rock: str = "", sand: str = "", more: str = ""
) -> Way:
    """Inner sizes of the water, less what rock and sand push out.

    Parameters
    ----------
    tanks
        Length, depth and water height of each, with units.
    others
        Volumes of sumps and pipes at their running level, with units.
    rock, sand
        Dry mass, with unit; nothing when there is none.
    more
        Volume of other things under water, with unit.

    Raises
    ------
    BadInput
    """
    litres = var = 0.0
    for tank in tanks:
        sides = [units.parse_amount(x, "length") for x in tank]
        if len(sides) != 3 or min(sides) <= 0.0:
            raise BadInput(f"{' × '.join(tank)!r} is no tank", way_out="Give length, depth and water height.")
        inside = math.prod(sides) * 1000.0
        litres += inside
        var += 3.0 * (SIZE_SD * inside) ** 2
    for text in others:
        one = _positive(text, "volume")
        litres += one
        var += (0.05 * one) ** 2
    if litres <= 0.0:
        raise BadInput("no vessel is given", way_out="Give the sizes of the display, or a volume.")
    pushed = []
    for text, each, sd, what in ((rock, ROCK_L_KG, ROCK_SD_L_KG, "rock"), (sand, SAND_L_KG, SAND_SD_L_KG, "sand")):
        if text.strip():
            kg = _positive(text, "mass", zero=True) / 1000.0
            litres -= each * kg
            var += (sd * kg) ** 2 + (0.1 * each * kg) ** 2  # nobody weighs it better than to a tenth
            pushed.append(f"{kg:g} kg of {what} push out {each * kg:.0f} L")
    if more.strip():
        gone = _positive(more, "volume", zero=True)
        litres -= gone
        var += (0.2 * gone) ** 2
    if litres <= 0.0:
        raise BadInput("rock and sand would push out all of the water", way_out="Check their masses.")
    return Way("sizes", litres, math.sqrt(var), "; ".join(pushed) or "nothing stands in the water")


def from_exchange(volume: str, before: str, after: str, new: str, method: str = "") -> Way:
    """From one exchange, out and in alike, with water of another salinity: V = v (new − before) / (after − before).

    Salt is conserved: after · V = before · (V − v) + new · v. One instrument read all three, so that the offset
    that it keeps falls out of the differences; its repeatability stays.

    Parameters
    ----------
    volume
        Out, and in. With unit.
    before, after, new
        Salinities, with unit where it is not psu.
    """
    v = _positive(volume, "volume")
    s0, s1, s2 = (_salinity(x) for x in (before, after, new))
    rise, drive = s1 - s0, s2 - s0
    if rise == 0.0 or drive == 0.0 or rise / drive <= 0.0 or abs(rise) >= abs(drive):
        raise BadInput(
            f"salinity went from {s0:g} to {s1:g} with water of {s2:g}: that can't be an exchange of a part",
            way_out="Check the three readings, and that the same instrument read them.",
        )
    litres = v * drive / rise
    sd = performance("salinity", method).sd
    by = (v * (s2 - s1) / rise**2, -v * drive / rise**2, v / rise)  # ∂V/∂before, ∂V/∂after, ∂V/∂new
    var = sum((d * sd) ** 2 for d in by) + (FILLED_SD * litres) ** 2
    return Way("an exchange", litres, math.sqrt(var), f"{v:g} L of {s2:g} psu moved {s0:g} to {s1:g}")


def from_dose(name: str, grams: str, substance: str, before: str, after: str, method: str = "") -> Way:
    """From a weighed dose that is mixed through, and the rise that the same kit showed.

    V = mass / (mass that raises one litre by as much). What the animals took meanwhile makes it come out too large:
    test soon after it is mixed.
    """
    mass = _positive(grams, "mass")
    old, new = (_stored(name, x) for x in (before, after))
    rise = new - old
    if rise <= 0.0:
        raise BadInput(f"{name} did not rise ({before} to {after})", way_out="Check the two readings.")
    a_litre = calculate.dose(name, f"{rise!r} {quantity(name).unit}", "1 L", substance).lines[0].value
    litres = mass / a_litre
    kit = performance(name, method)
    sd = math.hypot(kit.sd, kit.relative * old, kit.sd, kit.relative * new)
    return Way(
        "a dose", litres, litres * math.hypot(sd / rise, 0.01), f"{mass:g} g of {substance} raised {name} by {rise:.3g}"
    )


def together(ways: Sequence[Way]) -> Worked:
    """What several ways say together: weighted by how sure each is, and whether they agree.

    Raises
    ------
    BadInput
        When none is given.
    """
    if not ways:
        raise BadInput("no way to the volume is given", way_out="Give sizes, an exchange or a dose.")
    weights = [1.0 / w.sd**2 for w in ways]
    mean = sum(w.litres * x for w, x in zip(ways, weights, strict=True)) / sum(weights)
    sd = math.sqrt(1.0 / sum(weights))
    spread = math.sqrt(sum(x * (w.litres - mean) ** 2 for w, x in zip(ways, weights, strict=True)))
    apart = [w for w in ways if abs(w.litres - mean) > _FAR * math.hypot(w.sd, sd)]
    if len(ways) > 1 and spread > math.sqrt(len(ways) - 1):  # they scatter more than they admit: so does the mean
        sd *= spread / math.sqrt(len(ways) - 1)
    lines = [Line("net volume", mean, "L", 0), Line("one standard deviation", sd, "L", 0)]
    for w in ways:
        lines += [Line(f"by {w.name}", w.litres, "L", 0), Line(f"by {w.name}, ±", w.sd, "L", 0)]
    caution = "What the journal's doses and exchanges did refines it by and by."
    if apart:
        caution = f"{' and '.join(w.name for w in apart)} disagree with the rest: look for a slip. {caution}"
    source = "mass balance; aragonite 2.93 kg/L (CRC Handbook); what rock pushes out is judgement"
    return Worked("net volume", tuple(lines), source, caution, tuple(f"{w.name}: {w.how}" for w in ways))


def _positive(text: str, dimension: units.Dimension, *, zero: bool = False) -> float:
    value = units.parse_amount(text, dimension)
    if value < 0.0 or (value == 0.0 and not zero):
        raise BadInput(f"{text.strip()!r} is no {dimension}", way_out="Give one above zero, with its unit.")
    return value


def _salinity(text: str) -> float:
    return _stored("salinity", text)


def _stored(name: str, text: str) -> float:
    value, unit = units.split_value_unit(text)
    return convert.to_stored(name, value, unit).value
