"""Not seen: for how long against its habits, and how likely it is gone, given how often anybody looked."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from leadline.livestock.census import Lot, Register
from leadline.measures.words import _, ngettext

# by group: days that it commonly stays unseen though well, chance that one look sees it, and deaths a year; where the
# catalogue says nothing of the kind. Judgement.
HABITS: Mapping[str, tuple[float, float, float]] = {
    "fish": (3.0, 0.8, 0.08), "invertebrate": (10.0, 0.4, 0.2), "coral": (14.0, 0.95, 0.05), "other": (7.0, 0.7, 0.1),
}  # fmt: skip
_CLEAR = 0.98  # a look sees at most this share: somebody always overlooks something


@dataclass(frozen=True, slots=True)
class Unseen:
    """One lot at one place that was not seen.

    Attributes
    ----------
    days
        Since it was last seen. [d]
    usual_d
        How long it commonly stays unseen though well. [d]
    looks
        Looks since then that did not find it.
    p_gone
        Chance that it is dead or gone. [0 to 1]
    """

    lot: Lot
    place: str
    last: dt.datetime
    days: float
    usual_d: float
    looks: int
    p_gone: float
    overdue: bool

    @property
    def said(self) -> str:
        """In words."""
        looked = ngettext("one look found nothing", "{n} looks found nothing", self.looks).format(n=self.looks)
        return _("not seen for {days} days (it commonly hides up to {usual}); {looked}").format(
            days=f"{self.days:.0f}",
            usual=f"{self.usual_d:g}",
            looked=looked if self.looks else _("nobody looked since"),
        )


def habits(lot: Lot) -> tuple[float, float, float]:
    """Days it commonly stays unseen [d], chance that one look sees it [0 to 1], deaths a year [1/a]."""
    usual, glance, rate = HABITS.get(lot.group, HABITS["other"])
    if lot.kind is not None:
        sight, seen, age = lot.kind.fact("sight"), lot.kind.fact("glance"), lot.kind.fact("lifespan")
        usual = sight.most if sight is not None and sight.most is not None else usual
        glance = seen.middle if seen is not None and seen.middle is not None else glance
        if age is not None and age.middle:
            rate = max(1.0 / age.middle, 0.02)
    return usual, min(glance, _CLEAR), rate


def p_gone(days: float, misses: int, glance: float, per_year: float) -> float:
    """Chance that it is gone, when so many looks since it was last seen have missed it.

    Bayes: it was alive `days` ago and dies at `per_year`; alive, a look misses it by chance; dead, every look does
    (a death is taken to lie before the first look that missed it). [0 to 1]
    """
    dead = 1.0 - 2.718281828459045 ** (-per_year * max(days, 0.0) / 365.25)
    alive = (1.0 - dead) * (1.0 - glance) ** misses
    return dead / (dead + alive) if dead + alive > 0.0 else 1.0


def unseen(register: Register, place: str, now: dt.datetime) -> list[Unseen]:
    """Everything that moves about at a place, by how likely it is gone; the likeliest first."""
    found = []
    looks: Sequence[dt.datetime] = sorted(set(register.looks.get(place, ())))
    for lot in register.at(place):
        if lot.group == "coral" or (lot.kind is not None and "sessile" in lot.kind.tags):
            continue  # it does not hide: what befalls it is seen, not missed
        last = lot.seen.get(place)
        if last is None:
            continue
        usual, glance, rate = habits(lot)
        days = (now - last).total_seconds() / 86400.0
        evenings = {t.date() for t in looks if t > last and (t - last) > dt.timedelta(minutes=30)}
        p = p_gone(days, len(evenings), glance, rate)
        found.append(Unseen(lot, place, last, days, usual, len(evenings), p, days > usual))
    return sorted(found, key=lambda u: (-u.p_gone, u.lot.id))
