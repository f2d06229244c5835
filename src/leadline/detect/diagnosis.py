"""What is wrong with a probe that left its level at once: its scale, its place, or nothing but the water.

One sign proves nothing. A cause is named when its signs agree, and its values are left out only when further signs
speak for it that a changed tank would not show; else it is named as a doubt and the values still count.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from leadline.detect.hand import KEPT_S, Hand, Track
from leadline.detect.past import BIN_S, ENDLESS, HOUR_BINS, Bin, Past
from leadline.detect.scales import scales
from leadline.detect.trust import LIMITS
from leadline.detect.words import change, named, shown
from leadline.measures.quantities import quantity
from leadline.system.description import System

J_PER_L_K = 4.0e6 / 1000.0  # heat that seawater holds (sheet 4.2)
USUAL_W_PER_L, COOLED_PER_W = 2.0, 3.0  # of machines nobody gave a power for; heat moved by a chiller's watt; judgement
ROOM_PER_S = 0.1 / 3600.0  # of the difference to the room that water comes nearer to it, fans and all; judgement
OUT_WITHIN_K, OUT_DECLARED_K, WET_K = 0.7, 1.5, 2.5  # air as measured, as declared; a wet probe is cooler; judgement
DRY = {"salinity": 2.0, "conductivity": 3.0}  # below it a cell is not in seawater
BUFFERS = (4.01, 6.86, 7.00, 9.18, 10.01)  # pH of common calibration fluids at 25 °C


@dataclass(frozen=True, slots=True)
class Cause:
    """What is wrong with a probe.

    Attributes
    ----------
    name, because
        `out-of-water`, `wrong-scale` or `wrong-vessel`, and the sentence.
    level
        What it reads.
    refused
        Span of values that are not the water's; None while in doubt.
    sure
        Whether a limit alarm that these values raised is taken back too.
    """

    name: str
    because: str
    level: float
    refused: tuple[float, float] | None
    sure: bool = True


@dataclass
class Signs:
    """All that is asked about one probe at one moment."""

    system: System
    hand: Hand
    pasts: dict[str, Past]
    track: Track
    past: Past

    # -- causes -----------------------------------------------------------------------------------------

    def cause(self, now_s: float) -> Cause | None:
        """The cause that the signs agree on."""
        since = self.past.away_since
        bins = self.past.since(since) if since is not None else []
        if len(bins) < 2 or sum(b.points for b in bins) < 3:
            return None
        return self._scale(bins) or self._dry(bins) or self._place(bins) or self._buffer(bins)

    def holds(self, cause: Cause, newest: Bin) -> Cause | None:
        """The cause as it stands after another bin; None when that bin does not show it."""
        if not newest.points:
            return cause
        home, level = self.past.home, newest.level
        near = self.past.nature.same
        if home == home and abs(level - home) < min(near, abs(cause.level - home) / 2.0):
            return None
        if cause.name == "wrong-scale":
            return cause if self._mapped(level, loose=True) else None
        if cause.name == "out-of-water" and self.past.quantity in DRY:
            return cause if level < DRY[self.past.quantity] else None
        if abs(level - cause.level) > near:
            return None
        if cause.refused is None:
            return cause
        drifted = cause.level + 0.3 * (level - cause.level)  # the air it hangs in wanders
        return Cause(cause.name, cause.because, drifted, (drifted - 1.0, drifted + 1.0), cause.sure)

    def _scale(self, bins: list[Bin]) -> Cause | None:
        """On another scale the number is what the probe showed before, or what the water may be.

        A scale changes from one point to the next, and by a lot: never to a number that a tank may have.
        """
        if not self._abrupt(bins):
            return None
        found = [self._mapped(b.level) for b in bins[-2:]]
        if None in found or len({f[0] for f in found if f}) > 1 or not found[-1]:
            return None
        words, value = found[-1]
        level, home = bins[-1].level, self.past.home
        name, unit, stored = self.past.quantity, self._unit(), quantity(self.past.quantity)
        this = f"{value:.{stored.digits}f}{_of(stored.unit)}"  # between scales, so in the stored one
        declared = f"; the stream is declared in {_spoken(unit)}" if unit and unit != "1" else ""
        because = (
            f"{named(self.track.stream)} reads {_figure(level, stored.digits)}: that is {this} {words}{declared}. "
            f"Its values are not used for the limits of {name}."
        )
        if home == home:
            middle = (home + level) / 2.0
            refused = (middle, float("inf")) if level > home else (float("-inf"), middle)
        else:
            refused = (level - 0.2 * abs(level) - 1e-6, level + 0.2 * abs(level) + 1e-6)
        return Cause("wrong-scale", because, level, refused)

    def _mapped(self, level: float, loose: bool = False) -> tuple[str, float] | None:
        """The other scale on which a level is this water's, and what it is there; `loose` hours after it left."""
        past, home = self.past, self.past.home
        if level != level or abs(level) > _MOST:
            return None
        limits, band = LIMITS[past.quantity], self.system.band(past.quantity)
        if home == home:
            # a probe that never stood where a tank stands gives no ground to think from
            usual = _within(home, limits.suspect) or _within(home, band.limit if band else None)
            if not usual or _within(level, limits.suspect) or abs(level - home) < 2.0 * past.nature.same:
                return None
            near = min(max(0.5 * past.nature.same, 10.0 * past.quiver), 0.05 * abs(home))
            near = max(near, 2.0 * past.nature.same) if loose else near
            low, high = home - near, home + near
        else:
            limit = (band.limit or band.aim) if band else None
            if limit is None or past.low <= level <= past.high:
                return None
            low, high = limit
        best: tuple[float, str, float] | None = None
        for scale in scales(past.quantity, self._unit()):
            value = scale.stored(level)
            if value is not None and low <= value <= high:
                off = abs(value - (home if home == home else (low + high) / 2.0))
                if best is None or off < best[0]:
                    best = off, scale.words, value
        return (best[1], best[2]) if best else None

    def _dry(self, bins: list[Bin]) -> Cause | None:
        """A cell that loses its salt at once hangs in air or stands in fresh water: no tank is rinsed so fast."""
        most = DRY.get(self.past.quantity)
        home = self.past.home
        if most is None or not home > 5.0 * most or not all(b.level < most for b in bins[-2:]):
            return None
        if not self._abrupt(bins) or self.followed(bins[-1].level - home) is True:
            return None
        unit = quantity(self.past.quantity).unit
        because = (
            f"{named(self.track.stream)} fell from {home:.1f} to {bins[-1].level:.1f} {unit} within ten minutes or so: "
            f"water cannot lose {100 * (1 - max(bins[-1].level, 0.0) / home):.0f} % of its salt so fast. The cell "
            "hangs in air or stands in fresh water; its values are not used for limits."
        )
        return Cause("out-of-water", because, bins[-1].level, (float("-inf"), 2.0 * most))

    def _place(self, bins: list[Bin]) -> Cause | None:
        """Air or other water, whichever its level is nearer to."""
        vessel = self._vessel(bins)
        if self.past.quantity != "temperature":
            return vessel
        air = self._air(bins)
        if vessel is None or air is None:
            return vessel or air
        level = bins[-1].level
        theirs = [self.pasts[t.stream].home for t in self.hand.of("temperature") if t is not self.track]
        return vessel if min(abs(h - level) for h in theirs if h == h) < abs(self._room()[0] - level) else air

    def _air(self, bins: list[Bin]) -> Cause | None:
        """A temperature that goes to the room's faster than the water could, and stays."""
        past, home, level = self.past, self.past.home, bins[-1].level
        if past.quantity != "temperature" or home != home or not self._settled(bins):
            return None
        air, measured = self._room()
        gap, step = home - air, level - home
        within = OUT_WITHIN_K if measured else OUT_DECLARED_K
        beside = -WET_K <= level - air <= within
        if abs(gap) < 1.5 or not beside or step * -gap <= 0 or abs(step) < 0.75 * abs(gap):
            return None
        pace = self._pace(bins)
        could = self.could_k_s(step > 0.0)
        if abs(step) < 3.0 * could * pace or past.usual(bins[-1].number, level):
            return None
        followed = self.followed(step)
        if followed is True:
            return None  # another probe saw it too: the water itself changed
        still, back = self.others_still(), self.came_back(bins)
        if back is True and followed is None:
            return None
        for_it = (2 if followed is False else 0) + bool(still) + (back is False) + measured - (still is False)
        said_in = "temperature", self.system
        said = (
            f"{named(self.track.stream)} went from {shown(home, *said_in)} to {shown(level, *said_in)} within "
            f"{pace / 60:.0f} min and stays there; the room is at {shown(air, *said_in)}"
            f"{'' if measured else ' as declared'}, and this water could {'warm' if step > 0.0 else 'cool'} by "
            f"{change(3600.0 * could, *said_in, 1, sign=False)} an hour at most"
        )
        said += self._seen(followed, still, back)
        # a tank filled anew with water that stood in the room looks the same at first, until its heater warms it
        sure, late = followed is False or for_it >= 3, len(bins) >= HOUR_BINS
        if sure or (late and for_it >= 2):
            because = f"{said}. The probe hangs in air; its values are not used for limits."
            return Cause("out-of-water", because, level, (level - 1.0, level + 1.0), sure)
        if not late or for_it < 1:
            return None
        return Cause("out-of-water", f"{said}. {_DOUBT.format('the probe hangs in air')}", level, None, False)

    def _vessel(self, bins: list[Bin]) -> Cause | None:
        """A level that goes at once to that of other known water."""
        past, home, level = self.past, self.past.home, bins[-1].level
        if home != home or past.quantity not in _STANDS or not self._settled(bins):
            return None
        step = level - home
        if past.usual(bins[-1].number, level) or self.followed(step) is True:
            return None
        if past.quantity == "temperature" and abs(step) < 3.0 * self.could_k_s(step > 0.0) * self._pace(bins):
            return None
        for other in self.hand.of(past.quantity):
            theirs = self.pasts.get(other.stream)
            if theirs is None or theirs is past or theirs.away_since is not None or theirs.home != theirs.home:
                continue
            was = theirs.before(bins[0].number)
            if abs(was - home) < 1.5 * past.nature.same or abs(theirs.home - level) > 0.35 * past.nature.same:
                continue
            still, followed = self.others_still(), self.followed(step)
            said_in = past.quantity, self.system
            where = next((s.vessel for s in self.system.streams if s.id == other.stream and s.vessel), "")
            said = (
                f"{named(self.track.stream)} went from {shown(home, *said_in)} to {shown(level, *said_in)} within "
                f"{self._pace(bins) / 60:.0f} min, which is what {other.stream} reads{f' in {where}' if where else ''} "
                f"({shown(theirs.home, *said_in)})"
            ) + self._seen(followed, still, None)
            late = len(bins) >= HOUR_BINS and self.came_back(bins) is not True
            if followed is False or (still and late):
                refused = (level - past.nature.same / 2.0, level + past.nature.same / 2.0)
                because = f"{said}. It stands in the wrong water; its values are not used for limits."
                return Cause("wrong-vessel", because, level, refused, followed is False)
            if not late:
                continue
            return Cause("wrong-vessel", f"{said}. {_DOUBT.format('it stands in the wrong water')}", level, None, False)
        return None

    def _buffer(self, bins: list[Bin]) -> Cause | None:
        """A pH that stands still on the value of a calibration fluid for half an hour."""
        past, home, level = self.past, self.past.home, bins[-1].level
        if past.quantity != "ph" or home != home or len(bins) < 4 or self.followed(level - home) is True:
            return None
        last = bins[-3:]
        flat = max(b.high for b in last) - min(b.low for b in last) <= 0.04
        near = [b for b in BUFFERS if abs(b - level) <= 0.05 and abs(b - home) > 0.4]
        if not flat or not near:
            return None
        because = (
            f"{named(self.track.stream)} has stood at {level:.2f} for {len(bins) * BIN_S / 60:.0f} min, which is a "
            f"calibration fluid's {near[0]:.2f}; it read {home:.2f} before. "
            + _DOUBT.format("it was left in the fluid")
        )
        return Cause("wrong-vessel", because, level, None, False)

    # -- signs ------------------------------------------------------------------------------------------

    def could_k_s(self, up: bool) -> float:
        """How fast machines and the room could warm or cool all of this water, generously. [K/s]"""
        litres = self.system.net_volume_l
        watts = 0.0
        for e in self.system.equipment:
            if e.type == ("heater" if up else "chiller"):
                watts += (e.power_w or USUAL_W_PER_L * litres) * (1.0 if up else COOLED_PER_W)
        if up and not watts:
            watts = USUAL_W_PER_L * litres  # lamps, pumps, a heater nobody described
        return watts / (litres * J_PER_L_K) + ROOM_PER_S * abs(self.past.home - self._room()[0])

    def followed(self, step: float) -> bool | None:
        """Whether another probe of the same water moved along; None without another, or when they disagree."""
        since = self.past.away_since
        if since is None:
            return None
        said: set[bool] = set()
        for stream in self._beside():
            theirs = self.pasts[stream]
            share = (theirs.bins[-1].level - theirs.before(since)) / step
            if share > 0.5 or share < 0.25:
                said.add(share > 0.5)
        return said.pop() if len(said) == 1 else None

    def _beside(self) -> list[str]:
        """Other probes of the same water: those that stood on the same level before it left."""
        since = self.past.away_since
        found: list[str] = []
        for other in self.hand.of(self.past.quantity):
            theirs = self.pasts.get(other.stream)
            if theirs is None or theirs is self.past or not theirs.bins or theirs.refused is not None or since is None:
                continue
            newest, was = theirs.bins[-1], theirs.before(since)
            if newest.points and newest.number >= since and abs(was - self.past.home) <= self.past.nature.same:
                found.append(other.stream)
        return found

    def others_still(self) -> bool | None:
        """Whether two other quantities of the water or more stayed as they were; False when one of them leapt."""
        since = self.past.away_since
        if since is None:
            return None
        still = 0
        for name, theirs in self.pasts.items():
            track = self.hand.tracks[name]
            if theirs.quantity == self.past.quantity or track.room or theirs.leap() == float("inf"):
                continue
            was = theirs.before(since)
            now = theirs.bins[-1] if theirs.bins else None
            if now is None or now.number < since or was != was or now.level != now.level:
                continue
            bins = now.number - since + 1
            if abs(now.level - was) > max(theirs.nature.leap / 4.0, 4.0 * theirs.quiver * bins**0.5):
                return False
            still += 1
        return True if still >= 2 else None

    def came_back(self, bins: list[Bin]) -> bool | None:
        """Whether the level moved back since it settled, as a heated or cooled tank would; None too early to say."""
        settled = bins[2:] if len(bins) > 4 else bins[1:]
        up = self.past.home > settled[0].level
        machines = [e for e in self.system.equipment if e.type == ("heater" if up else "chiller") and e.power_w]
        watts = sum(e.power_w or 0.0 for e in machines)
        could = watts / (self.system.net_volume_l * J_PER_L_K) * BIN_S * (len(settled) - 1)
        if not machines or could < 0.3 or len(settled) < 3:
            return None
        back = (settled[-1].level - settled[0].level) * (1.0 if up else -1.0)
        return back > 0.3 * could

    def _pace(self, bins: list[Bin]) -> float:
        """How long the level took to come where it is: until three quarters of the way. [s]"""
        home, level = self.past.home, bins[-1].level
        for k, b in enumerate(bins):
            if abs(b.level - home) >= 0.75 * abs(level - home):
                return (k + 1) * BIN_S
        return len(bins) * BIN_S

    def _abrupt(self, bins: list[Bin]) -> bool:
        """Whether it went most of the way from one point to the next; taken for so after hours without a point."""
        t, raw = self.track.times, self.track.raw
        begin = bins[0].number * BIN_S
        before = [b.number for b in self.past.bins if b.number < bins[0].number and b.points]
        if self.past.home != self.past.home or not before or (bins[0].number - before[-1]) * BIN_S >= KEPT_S:
            return True
        k = max(int(np.searchsorted(t, begin - BIN_S)) - 2, 0)  # the bin before may have held its first points
        around = raw[k : int(np.searchsorted(t, begin + 2.0 * BIN_S)) + 1]
        around = around[np.abs(around) < ENDLESS]
        return len(around) > 1 and bool(np.abs(np.diff(around)).max() > 0.8 * abs(bins[-1].level - self.past.home))

    def _settled(self, bins: list[Bin]) -> bool:
        gone = abs(bins[-1].level - self.past.home)
        return abs(bins[-1].level - bins[-2].level) <= max(0.15 * gone, 2.0 * self.past.quiver)

    def _room(self) -> tuple[float, bool]:
        """Temperature of the air, and whether a stream measures it."""
        for t in self.hand.tracks.values():
            if t.room and t.quantity == "temperature" and t.last_s is not None and t.last_value == t.last_value:
                return t.last_value, True
        return self.system.room.temperature_c, False

    def _unit(self) -> str:
        said = [s.unit for s in self.system.streams if s.id == self.track.stream]
        return said[0] if said else ""

    def _seen(self, followed: bool | None, still: bool | None, back: bool | None) -> str:
        """What else spoke for it, in words."""
        words: list[str] = []
        if followed is False:
            words.append(f"{_listed(self._beside())} did not follow")
        if still:
            words.append("nothing else in the water moved")
        if back is False:
            words.append("it does not come back as a heated tank would")
        return "; " + " and ".join(words) if words else ""


_MOST = 1e6  # what any of the scales can show
_STANDS = ("temperature", "salinity", "conductivity", "ph", "oxygen")
_DOUBT = "It seems that {}, but the water itself may have changed: look at once. Its values still count for the limits."


def _listed(names: Iterable[str]) -> str:
    some = sorted(names)
    return some[0] if len(some) == 1 else f"{', '.join(some[:-1])} and {some[-1]}"


def _within(x: float, span: tuple[float, float] | None) -> bool:
    return span is not None and span[0] <= x <= span[1]


def _figure(value: float, digits: int) -> str:
    return f"{value:.4g}" if abs(value) >= 1e6 else f"{value:.{digits}f}" if abs(value) >= 10 else f"{value:.3f}"


def _of(unit: str) -> str:
    return "" if unit == "1" else f" {_spoken(unit)}"


def _spoken(unit: str) -> str:
    return {"degC": "°C", "degF": "°F", "uS/cm": "µS/cm"}.get(unit, unit)
