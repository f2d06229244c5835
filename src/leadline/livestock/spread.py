"""How far something has spread: many possible histories at once, each contact carrying over or not.

One bit of a word stands for one history, so that a contact is three operations for all of them together. What nobody
has measured, how easily a carrier carries, is drawn once for each history and holds for all its contacts.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from leadline.livestock.paths import NEVER_ENDS, Contact

MEMBERS = 1024
_CHUNK = 2048  # contacts whose luck is drawn together
_FULL = 65536.0  # luck is drawn in steps of 1/65536


@dataclass(frozen=True, slots=True)
class Way:
    """How one contact carries over: chance low, typical, high [0 to 1]; days at the place before it can. [s]"""

    chance: tuple[float, float, float]
    after_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Reset:
    """A place where it may have died out: torn down, dried, fallow. `chance` that it did. [0 to 1]"""

    at_s: float
    place: str
    chance: float


@dataclass(slots=True)
class Spread:
    """All histories.

    Attributes
    ----------
    first_s
        For each place the first arrival in each history, infinite where it never came. [Unix s, shape (members,)]
    since_s
        Since when it is there at the end without a break; infinite where it is not. [Unix s, shape (members,)]
    there
        For each place, in which histories it is there at the end. [bool, shape (members,)]
    ease
        How easily it carries in each history, from 0 to 1 within the range of judgement. [shape (members,)]
    """

    members: int
    ease: np.ndarray
    first_s: dict[str, np.ndarray] = field(default_factory=dict)
    since_s: dict[str, np.ndarray] = field(default_factory=dict)
    there: dict[str, np.ndarray] = field(default_factory=dict)

    def chance(self, place: str) -> float:
        """Share of histories in which it is there at the end."""
        found = self.there.get(place)
        return float(found.mean()) if found is not None else 0.0

    def chance_range(self, place: str) -> tuple[float, float]:
        """The same where it carries over hardly, and where it does so easily (lowest and highest fifth)."""
        found = self.there.get(place)
        if found is None:
            return 0.0, 0.0
        low, high = self.ease <= 0.2, self.ease >= 0.8
        return float(found[low].mean()), float(found[high].mean())


def drawn_chances(low: float, typical: float, high: float, ease: np.ndarray) -> np.ndarray:
    """Chances within a range, as a PERT distribution (beta with mode `typical`, weight 4) at the quantiles `ease`."""
    if high - low < 1e-12:
        return np.full(ease.shape, typical)
    from scipy.special import betaincinv

    a = 1.0 + 4.0 * (typical - low) / (high - low)
    b = 1.0 + 4.0 * (high - typical) / (high - low)
    return low + (high - low) * betaincinv(a, b, ease)


def spread(
    contacts: Iterable[Contact],
    origins: Mapping[str, float],
    way: Callable[[Contact], Way | None],
    until_s: float,
    rng: np.random.Generator,
    *,
    lasts_s: Callable[[str], float] = lambda place: NEVER_ENDS,
    resets: Sequence[Reset] = (),
    members: int = MEMBERS,
) -> Spread:
    """Let it spread from its origins through the contacts up to `until_s`.

    Parameters
    ----------
    contacts
        In any order.
    origins
        Where it came in, and when. [Unix s]
    way
        How a contact carries it over; None when it can't.
    lasts_s
        How long it lives on at a place without coming again. [s]
    members
        Number of histories, a multiple of 8.

    Raises
    ------
    ValueError
        When `members` is none.
    """
    if members < 8 or members % 8:
        raise ValueError(f"{members} histories: not a multiple of 8")
    ease = (rng.permutation(members) + 0.5) / members
    begin_s = min(origins.values())
    ordered = sorted((c for c in contacts if begin_s <= c.at_s <= until_s), key=lambda c: c.at_s)
    classes: dict[Way, int] = {}
    ways: list[int] = []
    for c in ordered:
        w = way(c)
        ways.append(-1 if w is None else classes.setdefault(w, len(classes)))
    luck = _Luck(ways, list(classes), ease, rng)
    waits = [w.after_s for w in classes]
    full = (1 << members) - 1
    times: dict[str, list[float]] = {}
    masks: dict[str, list[int]] = {}  # where it lasts: all so far; else what came at that moment
    lasting: dict[str, float] = {}
    for place, since in origins.items():
        times[place], masks[place], lasting[place] = [since], [full], NEVER_ENDS
    cleared = sorted(resets, key=lambda r: r.at_s)
    gone = 0
    for i, c in enumerate(ordered):
        while gone < len(cleared) and cleared[gone].at_s <= c.at_s:
            _clear(cleared[gone], times, masks, rng, members)
            gone += 1
        k = ways[i]
        if k < 0:
            continue
        for begin, end in ((c.begin, c.end), (c.end, c.begin)) if c.both else ((c.begin, c.end),):
            when = times.get(begin)
            if when is None or end == begin:
                continue
            carried = _at(when, masks[begin], lasting[begin], c.at_s, waits[k])
            if not carried:
                continue
            carried &= luck.of(i, c.tie)
            if not carried:
                continue
            if end not in times:
                times[end], masks[end], lasting[end] = [], [], lasts_s(end)
            _arrive(times[end], masks[end], lasting[end], c.at_s, carried)
    for r in cleared[gone:]:
        if r.at_s <= until_s:
            _clear(r, times, masks, rng, members)
    out = Spread(members, ease)
    for place, when in times.items():
        _told(out, place, when, masks[place], lasting[place], until_s)
    return out


def _told(out: Spread, place: str, when: list[float], masks: list[int], lasts_s: float, until_s: float) -> None:
    """What became of one place, from words to arrays."""
    n = out.members
    first, since = np.full(n, np.inf), np.full(n, np.inf)
    seen = was = 0
    for at_s, mask in zip(when, masks, strict=True):
        fresh = mask & ~seen
        if fresh:
            first[_bits(fresh, n)] = at_s
            seen |= mask
        if lasts_s == NEVER_ENDS:
            came, left = mask & ~was, was & ~mask
            if came:
                since[_bits(came, n)] = at_s
            if left:
                since[_bits(left, n)] = np.inf
            was = mask
    if lasts_s != NEVER_ENDS:
        was = _at(when, masks, lasts_s, until_s + 1e-3, 0.0)
        since = np.where(_bits(was, n), first, np.inf)
    out.first_s[place], out.since_s[place], out.there[place] = first, since, _bits(was, n)


def _at(when: list[float], masks: list[int], lasts_s: float, at_s: float, wait_s: float) -> int:
    """In which histories it can leave a place at a moment."""
    until = bisect.bisect_left(when, at_s)
    if wait_s > 0.0:
        until = min(until, bisect.bisect_right(when, at_s - wait_s))
    if not until:
        return 0
    if lasts_s == NEVER_ENDS:
        return masks[until - 1]
    found = 0
    for j in range(until - 1, -1, -1):
        if at_s - when[j] > lasts_s:
            break
        found |= masks[j]
    return found


def _arrive(when: list[float], masks: list[int], lasts_s: float, at_s: float, mask: int) -> None:
    if lasts_s == NEVER_ENDS and masks:
        mask |= masks[-1]
        if mask == masks[-1]:
            return
    if when and when[-1] == at_s:
        masks[-1] |= mask
        return
    when.append(at_s)
    masks.append(mask)


def _clear(r: Reset, times: dict[str, list[float]], masks: dict[str, list[int]], rng: np.random.Generator,
           members: int) -> None:  # fmt: skip
    """It died out at a place, in some of the histories."""
    if r.place not in times or r.at_s <= times[r.place][0]:
        return
    kept = _word(rng.random(members) >= r.chance)
    times[r.place].append(r.at_s)
    masks[r.place].append(masks[r.place][-1] & kept)


def _word(bits: np.ndarray) -> int:
    return int.from_bytes(np.packbits(bits, bitorder="little").tobytes(), "little")


def _bits(word: int, members: int) -> np.ndarray:
    found = np.unpackbits(np.frombuffer(word.to_bytes(members // 8, "little"), np.uint8), bitorder="little")
    return found.astype(bool)


class _Luck:
    """In which histories each contact carries over; drawn in chunks, and only those that are asked for."""

    def __init__(self, ways: list[int], classes: list[Way], ease: np.ndarray, rng: np.random.Generator) -> None:
        self._ways = np.asarray(ways)
        chances = np.array([drawn_chances(*w.chance, ease) for w in classes]).reshape(-1, len(ease))
        self._below = np.minimum(chances * _FULL, _FULL - 1.0).round().astype(np.uint16)
        self._sure: np.ndarray = np.all(chances >= 1.0, axis=1)
        self._rng = rng
        self._chunk = -1
        self._words: list[int] = []
        self._tied: dict[str, int] = {}

    def of(self, i: int, tie: str = "") -> int:
        """The word of contact `i`; copies that are tied share the word of the first."""
        if tie:
            if tie not in self._tied:
                self._tied[tie] = self.of(i)
            return self._tied[tie]
        chunk = i // _CHUNK
        if chunk != self._chunk:
            self._draw(chunk)
        return self._words[i - chunk * _CHUNK]

    def _draw(self, chunk: int) -> None:
        ways = self._ways[chunk * _CHUNK : (chunk + 1) * _CHUNK]
        members = self._below.shape[1]
        drawn = self._rng.integers(0, int(_FULL), (len(ways), members), dtype=np.uint16)
        carried = drawn < self._below[np.maximum(ways, 0)]
        carried[self._sure[np.maximum(ways, 0)]] = True
        packed = np.packbits(carried, axis=1, bitorder="little")
        data, width = packed.tobytes(), members // 8
        self._words = [int.from_bytes(data[j * width : (j + 1) * width], "little") for j in range(len(ways))]
        self._chunk = chunk
