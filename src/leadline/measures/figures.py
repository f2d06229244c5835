"""Digits, units and doubt as one reads them."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass
from functools import lru_cache

from leadline.measures import quantities
from leadline.measures.errors import BadInput
from leadline.measures.units import TEMPERATURES, parse_typed, unit_key
from leadline.measures.words import _, decimal_mark, ngettext

# Kits, bands and dose tables speak of dKH (common practice); what is stored stays meq/L.
_SHOWN_AS = {"alkalinity": "dKH"}
_LABELS = {
    "degC": "°C", "degF": "°F", "1": "", "ug/L": "µg/L", "umol/kg": "µmol/kg", "umol/L": "µmol/L",
    "ug/L P": "µg/L P", "umol photons m-2 s-1": "µmol m⁻² s⁻¹", "uS/cm": "µS/cm", "fraction": "", "m3/h": "m³/h",
}  # fmt: skip
# Stored unit to shown unit, where that is a straight line: shown = stored × factor + offset.
_LINES: dict[tuple[str, str], tuple[float, float]] = {
    ("meq/L", "dKH"): (1 / 0.356652, 0.0),  # one degree is 10 mg CaO per litre, as `seawater` converts it
    ("m", "in"): (1 / 0.0254, 0.0),
    ("m", "cm"): (100.0, 0.0),
    ("L/h", "gal/h"): (1 / 3.785411784, 0.0),
    ("fraction", "%"): (100.0, 0.0),
}
MINUS = "−"


@dataclass(frozen=True, slots=True)
class Display:
    """How one quantity is shown: unit as typed at a door, unit as printed, digits, and the way there."""

    quantity: str
    unit: str
    label: str
    digits: int
    factor: float = 1.0
    offset: float = 0.0

    def shown(self, stored: float) -> float:
        """A stored value in the shown unit."""
        return stored * self.factor + self.offset

    def spread(self, stored: float) -> float:
        """A stored difference (a standard deviation, a rate) in the shown unit."""
        return abs(self.factor) * stored

    def difference(self, stored: float) -> float:
        """A stored signed difference in the shown unit."""
        return self.factor * stored

    def with_unit(self, text: str) -> str:
        """`text` and the unit after it, if it has one."""
        return f"{text} {self.label}" if self.label else text


def unit_label(unit: str) -> str:
    """A unit as it is printed: `degC` as °C, `1` as nothing."""
    return _LABELS.get(unit, unit)


def unit_typed(label: str) -> str:
    """A unit as it is kept, for one that is typed as it is printed: °C as `degC`."""
    return next((unit for unit, printed in _LABELS.items() if printed and printed == label), label)


@lru_cache(maxsize=256)
def display(quantity: str, units: str = "metric", stored_unit: str = "") -> Display:
    """How `quantity` is shown to whoever prefers `units` ("metric" or "us").

    A quantity nobody knows is shown as it is stored, with two digits.
    """
    known = quantities.QUANTITIES.get(quantity)
    if known is None:
        return Display(quantity, stored_unit, unit_label(stored_unit), 2)
    system: quantities.UnitSystem = "us" if units == "us" else "metric"
    unit = _SHOWN_AS.get(quantity) or quantities.display_unit(quantity, system)
    factor, offset = _line(known.unit, unit)
    return Display(quantity, unit, unit_label(unit), quantities.digits(quantity, unit), factor, offset)


def _line(stored: str, shown: str) -> tuple[float, float]:
    if stored == shown:
        return 1.0, 0.0
    if stored == "degC":
        factor, offset = TEMPERATURES[unit_key(shown)]
        return 1.0 / factor, -offset / factor
    return _LINES[stored, shown]


def units_offered(quantity: str, units: str = "metric") -> tuple[str, ...]:
    """Units a keeper may choose for a reading, the one shown on the page first."""
    known = quantities.QUANTITIES.get(quantity)
    first = display(quantity, units).unit
    if known is None:
        return (first,)
    more = {"temperature": ("degC", "degF"), "salinity": ("psu", "sg@25/25", "sg@20/20", "ppt", "mS/cm")}.get(
        quantity, (known.unit, *known.digits_in)
    )
    return tuple(dict.fromkeys((first, *more)))


def number(value: float, digits: int) -> str:
    """A number with that many decimals, a true minus sign, the reader's decimal mark, and never "−0"."""
    text = f"{value:.{digits}f}"
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return text.replace("-", MINUS).replace(".", decimal_mark())


def plain(value: float, significant: int = 6) -> str:
    """A number with up to that many significant digits and no empty ones: 0.5, 12, 1500; the reader's decimal mark."""
    return f"{value:.{significant}g}".replace("-", MINUS).replace(".", decimal_mark())


def as_read(text: str) -> str:
    """A text that begins with an amount as programs write it, with the reader's decimal mark."""
    mark = decimal_mark()
    return text if mark == "." else re.sub(r"^(\d+)\.(\d)", rf"\1{mark}\2", text)


def doubt_digits(sd: float, most: int) -> int:
    """Digits after the point that a doubt of `sd` leaves worth printing, `most` at most.

    One significant digit of the doubt, two when the first is a 1 (0.12 reads 0.12, 0.34 reads 0.3).
    """
    if not math.isfinite(sd) or sd <= 0.0:
        return most
    power = math.floor(math.log10(sd))
    leading = sd / 10.0**power
    wanted = -power + (1 if leading < 1.95 else 0)
    return max(0, min(most, wanted))


@dataclass(frozen=True, slots=True)
class Figure:
    """A value with its doubt, ready to be read: `36.4`, `1.0`, `psu`."""

    value: str
    sd: str
    label: str

    def __str__(self) -> str:
        text = f"{self.value} ± {self.sd}" if self.sd else self.value
        return f"{text} {self.label}" if self.label else text


def figure(value: float, sd: float | None, quantity: str, units: str = "metric", stored_unit: str = "") -> Figure:
    """A stored value and its standard deviation as one reads them.

    Parameters
    ----------
    value, sd
        In the quantity's stored unit; `sd` may be missing.
    units
        "metric" or "us".
    """
    way = display(quantity, units, stored_unit)
    if sd is None:
        return Figure(number(way.shown(value), way.digits), "", way.label)
    spread = way.spread(sd)
    digits = doubt_digits(spread, way.digits)
    said = number(spread, digits)
    if round(spread, digits) == 0.0 and spread > 0.0:  # finer than the digits shown: say "less than", not "none"
        said = "<" + number(10.0**-digits, digits)
    return Figure(number(way.shown(value), digits), said, way.label)


def begins_at_nothing(low_high: tuple[float, float], quantity: str) -> bool:
    """Whether a band has only an upper end that says anything."""
    return low_high[0] <= 0.0 and quantity not in ("temperature", "orp")


def band(low_high: tuple[float, float], quantity: str, units: str = "metric") -> str:
    """A band as one reads it: `34 to 36 psu`; one that begins at nothing reads `below 0.1 mg/L`."""
    way = display(quantity, units)
    low, high = (trimmed(way.shown(v), way.digits) for v in low_high)
    if begins_at_nothing(low_high, quantity):
        return _("below {high}").format(high=way.with_unit(high))
    return _("{low} to {high}").format(low=low, high=way.with_unit(high))


def trimmed(value: float, digits: int) -> str:
    """A round number without its empty digits: 34.0 reads 34, 8.50 reads 8.5."""
    text = number(value, digits)
    return text.rstrip("0").rstrip(decimal_mark()) if digits > 0 else text


def chance(p: float) -> str:
    """A probability as people count: `66 in 100`; the ends are never rounded to certainty."""
    if p < 0.005:
        return _("less than 1 in 100")
    if p > 0.995:
        return _("more than 99 in 100")
    return _("{n} in 100").format(n=round(100 * p))


def span(days: float) -> str:
    """A length of time in the coarsest unit that still says enough: `40 minutes`, `5 hours`, `81 days`."""
    days = max(days, 0.0)
    if days < 1 / 24:
        n = max(1, round(days * 1440))
        return ngettext("{n} minute", "{n} minutes", n).format(n=n)
    if days < 2:
        n = round(days * 24)
        return ngettext("{n} hour", "{n} hours", n).format(n=n)
    if days < 120:
        n = round(days)
        return ngettext("{n} day", "{n} days", n).format(n=n)
    if days < 730:
        n = round(days / 30.44)
        return ngettext("{n} month", "{n} months", n).format(n=n)
    n = round(days / 365.25)
    return ngettext("{n} year", "{n} years", n).format(n=n)


def minutes(value: float) -> str:
    """Minutes of somebody's time: `2 min`, `0.5 min`, `1 h 30 min`."""
    if value >= 90:
        whole = round(value)
        rest = f" {whole % 60} min" if whole % 60 else ""
        return f"{whole // 60} h{rest}"
    return f"{trimmed(value, 0 if value >= 10 else 1)} min"


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MONTHS_LONG = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def month(moment: dt.datetime, local: dt.tzinfo) -> str:
    """`Jan`."""
    return _MONTHS[moment.astimezone(local).month - 1]


def day(moment: dt.datetime, local: dt.tzinfo, near: dt.datetime | None = None) -> str:
    """`14 Jan`, with the year when it lies so far from `near` that one might take it for another."""
    there = moment.astimezone(local)
    text = f"{there.day} {_MONTHS[there.month - 1]}"
    if near is None or abs((moment - near).days) < 300:
        return text
    return f"{text} {there.year}"


def moment(when: dt.datetime, local: dt.tzinfo) -> str:
    """`14 Jan 2026, 08:10`."""
    there = when.astimezone(local)
    return f"{there.day} {_MONTHS[there.month - 1]} {there.year}, {there:%H:%M}"


def long_moment(when: dt.datetime, local: dt.tzinfo) -> str:
    """`Tuesday 27 January, 08:10`."""
    there = when.astimezone(local)
    return f"{_DAYS[there.weekday()]} {there.day} {_MONTHS_LONG[there.month - 1]}, {there:%H:%M}"


def short_day(date: dt.date) -> str:
    """`Sun 1`."""
    return f"{_DAYS[date.weekday()][:3]} {date.day}"


def month_of(date: dt.date) -> str:
    """`March`."""
    return _MONTHS_LONG[date.month - 1]


def long_day(date: dt.date, today: dt.date) -> str:
    """`Monday 2 March`, or `Today, Sunday 1 March`."""
    said = f"{_DAYS[date.weekday()]} {date.day} {month_of(date)}"
    return _("Today, {day}").format(day=said) if date == today else said


def stepped(text: str, steps: int, step: float, fallback: float) -> str:
    """What a field shows after pressing − or +: the typed number moved by `steps` steps, comma kept."""
    try:
        value = parse_typed(text) if text.strip() else fallback
    except BadInput:  # the field keeps what was typed; the entry itself says what is wrong with it
        return text
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    moved = f"{value + steps * step:.{digits}f}"
    return moved.replace(".", ",") if "," in (text.strip() or decimal_mark()) else moved
