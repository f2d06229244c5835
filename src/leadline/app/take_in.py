"""Take in what feeds bring: points judged, converted and grouped; what is no point is held for the keeper.

A stream that nobody declared is kept and offered for adoption. A time that cannot be (1970, the future) is no point.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from leadline.app import describe
from leadline.app.ports import Arrival, Held, Odd, Store
from leadline.measures.errors import LeadlineError
from leadline.measures.moments import EARLIEST
from leadline.measures.quantities import QUANTITIES

if TYPE_CHECKING:
    import numpy as np

    from leadline.system.description import System

AHEAD_S = 300.0  # a clock may be ahead by so much
MOST_STREAMS = 500  # that nobody declared, over all systems: more is a sender gone mad
ANSWER = "answer"  # `leadline/answer/<code>`: no system of the keeper's, but an answer to a message
_PLAIN = "abcdefghijklmnopqrstuvwxyz0123456789-_.%"


@dataclass
class Judged:
    """A batch as it will be kept.

    Attributes
    ----------
    points
        (system, stream) to times [Unix s] and values in the stored unit, ascending, of equal times the last.
    held
        What is no point, or has an impossible time.
    ahead
        (system, stream) to seconds, for senders whose clock is ahead, or years behind (negative).
    answers
        Codes by which somebody answered a message.
    """

    points: dict[tuple[str, str], tuple[np.ndarray, np.ndarray]] = field(default_factory=dict)
    held: list[Held] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    ahead: dict[tuple[str, str], float] = field(default_factory=dict)
    answers: list[str] = field(default_factory=list)


class Door:
    """Judges what comes in. It knows the systems' descriptions, and looks again when told."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.look()

    def look(self) -> None:
        """Read the descriptions again."""
        self.systems: dict[str, System] = {i: describe.load(self.store, i) for i in self.store.systems()}
        self._known = set(self.store.streams())
        declared = {(s.id, x.id) for s in self.systems.values() for x in s.streams}
        declared |= {(s.id, x) for s in self.systems.values() for e in s.equipment for x in (e.id, e.stream) if x}
        self.declared = declared
        self._strange = sum(key not in declared for key in self._known)
        self._convert: dict[tuple[str, str, str], Callable[[float], float]] = {}

    def offered(self) -> list[tuple[str, str]]:
        """Streams that came in and that nobody declared."""
        return sorted(key for key in self._known if key not in self.declared)

    def judge(self, feed: str, points: Sequence[Arrival], odd: Iterable[Odd], now_s: float) -> Judged:
        """Sort a batch out.

        Parameters
        ----------
        now_s
            The moment of arrival, by our clock. [Unix s]
        """
        import numpy as np

        out = Judged()
        for o in odd:
            if o.system == ANSWER:
                out.answers.append(o.stream)
            else:
                out.held.append(Held(now_s, feed, o.system[:80], o.stream[:80], o.text[:400], o.why))
        rows: dict[tuple[str, str], list[tuple[float, float]]] = {}
        untimed: dict[tuple[str, str], int] = {}
        for p in points:
            if p.system == ANSWER:
                out.answers.append(p.stream)
                continue
            key = (p.system, p.stream)
            why = self._against(p, now_s)
            if not why:
                try:
                    stored = self._stored(p)
                    if math.isfinite(stored):
                        at = p.t
                        if at is None:  # several without a time: each keeps a moment of its own, in their order
                            at = now_s + 0.001 * untimed.get(key, 0)
                            untimed[key] = untimed.get(key, 0) + 1
                        rows.setdefault(key, []).append((at, stored))
                        continue
                    why = "the value has no meaning in its unit"
                except LeadlineError as exc:
                    why = exc.line()
            elif p.t is not None and math.isfinite(p.t):
                off = p.t - now_s
                if off > AHEAD_S or p.t < EARLIEST.timestamp():
                    out.ahead[key] = off
            out.held.append(Held(now_s, feed, p.system[:80], p.stream[:80], _shown(p), why))
        for key, found in rows.items():
            if not self._room_for(key):
                out.refused.append(f"{key[0]}/{key[1]}: more than {MOST_STREAMS} streams that nobody declared")
                continue
            t, v = np.array(found).T
            order = np.argsort(t, kind="stable")
            t, v = t[order], v[order]
            last = np.append(np.diff(t) > 0.0, True)
            out.points[key] = (t[last], v[last])
        return out

    def _room_for(self, key: tuple[str, str]) -> bool:
        if key in self._known:
            return True
        if key not in self.declared:
            if self._strange >= MOST_STREAMS:
                return False
            self._strange += 1
        self._known.add(key)
        return True

    def _against(self, p: Arrival, now_s: float) -> str:
        """Why a point can't be kept as one; empty when it can."""
        for what, name in (("system", p.system), ("stream", p.stream)):
            if not name or len(name) > 80 or any(c not in _PLAIN for c in name.lower()):
                return f"the {what}'s name is no id"
        if not math.isfinite(p.v) or abs(p.v) > 1e15:
            return "the value is no finite number"
        if p.t is None:
            return ""
        if not math.isfinite(p.t) or p.t < EARLIEST.timestamp():
            return "its time is before 1971: the sender's clock was never set"
        if p.t > now_s + AHEAD_S:
            return f"its time is {(p.t - now_s) / 60.0:.0f} min in the future: the sender's clock is ahead"
        return ""

    def _stored(self, p: Arrival) -> float:
        key = (p.system, p.stream, p.unit)
        found = self._convert.get(key)
        if found is None and len(self._convert) > 20 * MOST_STREAMS:
            self._convert.clear()  # a sender that makes up names must not fill the memory
        if found is None:
            found = self._convert[key] = self._converter(*key)
        return found(p.v)

    def _converter(self, system: str, stream: str, unit: str) -> Callable[[float], float]:
        from leadline.measures import units
        from leadline.seawater import convert

        described = self.systems.get(system)
        said = next((s for s in described.streams if s.id == stream), None) if described else None
        quantity = said.quantity if said else stream if stream in QUANTITIES else ""
        unit = unit or (said.unit if said else "")
        if quantity and unit:
            straight = convert.linear(quantity, unit)
            if straight is not None:
                factor, more = straight
                return lambda v: v * factor + more
            return lambda v: convert.to_stored(quantity, v, unit).value
        scale = units.SCALES["power"].get(units.unit_key(unit), 1.0) if unit else 1.0
        return lambda v: v * scale


def _shown(p: Arrival) -> str:
    when = "" if p.t is None else f" at {p.t:.0f}"
    if p.t is not None and 0 <= p.t < 4e9:
        when = f" at {dt.datetime.fromtimestamp(p.t, dt.UTC):%Y-%m-%dT%H:%M:%SZ}"
    return f"{p.v:g}{(' ' + p.unit) if p.unit else ''}{when}"
