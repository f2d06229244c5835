"""Who should not share a vessel: what is known, likely, reported or unknown before anything is bought or moved.

There is no word for "safe": a pair of which nothing is known is unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from leadline.livestock.census import Lot
from leadline.livestock.kinds import Catalogue, Certainty, Hazard, Kind, Mark, Risk
from leadline.measures.figures import number, plain

_ORDER = {Certainty.KNOWN: 0, Certainty.LIKELY: 1, Certainty.REPORTED: 2, Certainty.UNKNOWN: 3}


@dataclass(frozen=True, slots=True)
class Concern:
    """One thing to weigh.

    Attributes
    ----------
    about
        `predation`, `corallivory`, `stinging`, `aggression`, `size`, `poison`, `people`, `needs`, `papers`, `load`,
        `gaps`.
    whom
        Ids of lots (or words) that it concerns.
    """

    certainty: Certainty
    about: str
    says: str
    whom: tuple[str, ...] = ()
    mark: Mark = Mark.PRACTICE
    source: str = ""
    caution: str = ""


_ABOUT = {"eats": "predation", "nips": "corallivory", "stings": "stinging", "bullies": "aggression",
          "fights": "aggression", "poisons": "poison", "outgrows": "size"}  # fmt: skip


def check(
    kind: Kind, count: float, residents: Sequence[Lot], catalogue: Catalogue, *, net_volume_l: float,
    longest_m: float | None = None, pumps_unguarded: Sequence[str] = (),
) -> list[Concern]:  # fmt: skip
    """What speaks against it, the surest first.

    Parameters
    ----------
    residents
        Livestock there now.
    net_volume_l, longest_m
        The system's water [L] and the length of its longest vessel [m].
    pumps_unguarded
        Pumps whose intake has no guard declared.
    """
    found: list[Concern] = []
    for lot in residents:
        found += _pair(kind, lot, catalogue)
    if count > 1:
        found += [
            Concern(r.certainty, _ABOUT[r.how], r.says, ("its own kind",), r.mark, r.source)
            for r in kind.risks if "own-kind" in r.to
        ]  # fmt: skip
    found += _size(kind, net_volume_l, longest_m)
    found += _hazards(kind, residents, catalogue, pumps_unguarded)
    for what in ("needs", "legal", "jumps", "medicine"):
        for f in kind.facts:
            if f.what == what and f.says:
                about = "papers" if what == "legal" else "needs"
                found.append(Concern(_sure(f.mark), about, f.says, (), f.mark, f.source))
    if kind.cites:
        said = (
            f"listed in CITES appendix {kind.cites}: keep seller, date, permit number and origin; local law decides, "
            "ask your authority"
        )
        found.append(Concern(Certainty.KNOWN, "papers", said, (), Mark.SOURCE, "S108"))
    strangers = [x.id for x in residents if x.kind is None]
    if strangers:
        found.append(
            Concern(
                Certainty.UNKNOWN,
                "gaps",
                "nobody told the catalogue what these are, so nothing can be said of them",
                tuple(strangers),
                Mark.OWN,
            )
        )
    quiet = [x.id for x in residents if x.kind is not None and not any(x.id in c.whom for c in found)]
    if quiet:
        said = "nothing is on record between them; that is no proof of peace"
        found.append(Concern(Certainty.UNKNOWN, "gaps", said, tuple(quiet), Mark.PRACTICE))
    return merged(sorted(found, key=lambda c: (_ORDER[c.certainty], c.about, c.whom)))


def merged(found: Iterable[Concern]) -> list[Concern]:
    """The same concern about several animals as one line."""
    kept: dict[tuple[str, str], Concern] = {}
    for c in found:
        key = (c.about, c.says)
        was = kept.get(key)
        kept[key] = c if was is None else replace(was, whom=tuple(dict.fromkeys((*was.whom, *c.whom))))
    return list(kept.values())


def _sure(mark: Mark) -> Certainty:
    return Certainty.KNOWN if mark is Mark.SOURCE else Certainty.REPORTED


def _pair(kind: Kind, lot: Lot, catalogue: Catalogue) -> list[Concern]:
    other = lot.kind
    if other is None:
        return []
    found = []
    for doer, victim, comes in ((kind, other, True), (other, kind, False)):
        for r in doer.risks:
            if not _hits(r, doer, victim, None if comes else lot):
                continue
            who = _name(doer) if comes else lot.name
            whom = lot.name if comes else f"the new {_name(victim)}"
            said = f"{who} {r.how} {whom}: {r.says}"
            found.append(Concern(r.certainty, _ABOUT[r.how], said, (lot.id,), r.mark, r.source))
    if kind.id == other.id:
        for r in kind.risks:
            if "own-kind" in r.to:
                said = f"{_name(kind)} beside its own kind: {r.says}"
                found.append(Concern(r.certainty, _ABOUT[r.how], said, (lot.id,), r.mark, r.source))
    elif kind.family and kind.family == other.family and kind.group == "fish":
        said = f"{_name(kind)} and {lot.name} are of one family ({kind.family}): territory is commonly disputed"
        found.append(Concern(Certainty.REPORTED, "aggression", said, (lot.id,), Mark.PRACTICE))
    return found


def _name(kind: Kind) -> str:
    return kind.vernacularName or kind.scientificName


def _hits(r: Risk, doer: Kind, victim: Kind, lot: Lot | None) -> bool:
    """Whether a risk is one for this victim: by its tags, and by size where size decides."""
    tags = tuple(t for t in r.to if t not in ("smaller-fish", "own-kind"))
    by_tag = bool(tags) and victim.is_any(tags) and victim.id != doer.id
    by_size = "smaller-fish" in r.to and victim.group == "fish" and victim.id != doer.id
    if not (by_tag or by_size):
        return False
    if not r.fits:
        return True
    mine, theirs = doer.fact("adult-length"), victim.fact("adult-length")
    if mine is None or theirs is None or mine.most is None or theirs.least is None:
        return True  # nobody knows the sizes: it stays a risk
    return theirs.least <= r.fits * mine.most


def _size(kind: Kind, net_volume_l: float, longest_m: float | None) -> list[Concern]:
    found = []
    least = kind.fact("least-water")
    if least is not None and least.least is not None and net_volume_l < least.least:
        said = f"grown up it is commonly given {plain(least.least)} L or more; this system holds {net_volume_l:.0f} L"
        found.append(Concern(_sure(least.mark), "size", said, (), least.mark, least.source))
    grown = kind.fact("adult-length")
    if grown is not None and grown.most is not None and longest_m is not None and kind.group == "fish":
        lengths = longest_m * 100.0 / grown.most
        if lengths < 8.0:
            said = (
                f"grows to {plain(grown.most)} cm: the longest vessel holds {number(lengths, 1)} of it in length "
                "(8 is a planner's rule of thumb)"
            )
            found.append(Concern(Certainty.LIKELY, "size", said, (), Mark.JUDGEMENT, grown.source))
    colony = kind.fact("colony-size")
    if colony is not None and colony.middle is not None and longest_m is not None and colony.middle > longest_m * 50.0:
        more = f", up to {colony.most:g}" if colony.most is not None and colony.most > colony.middle else ""
        described = f"colonies of {colony.middle:g} cm are described{more}"
        said = f"{described}: plan where it ends, not where it begins"
        found.append(Concern(_sure(colony.mark), "size", said, (), colony.mark, colony.source))
    return found


def _hazards(
    kind: Kind, residents: Sequence[Lot], catalogue: Catalogue, pumps_unguarded: Sequence[str]
) -> list[Concern]:
    found = []
    for ident in kind.hazards:
        h = catalogue.hazards.get(ident)
        if h is None:
            continue
        about = "people" if h.victims and h.victims[0] == "people" else "poison"
        says = f"{h.name}. {h.says.rstrip('.')}." + (f" Set off by {', '.join(h.triggers)}." if h.triggers else "")
        others = tuple(x.id for x in residents if x.group in _GROUP_OF_VICTIMS.get(_first(h, about), ()))
        found.append(Concern(_sure(h.mark), about, says, others, h.mark, h.source, h.caution))
        if "pump" in h.triggers and pumps_unguarded:
            said = (
                f"no guard is declared at {', '.join(pumps_unguarded)}: an intake can shred it, and {h.name} "
                "then meets everything here"
            )
            found.append(Concern(Certainty.LIKELY, "poison", said, others, Mark.PRACTICE, h.source, h.caution))
    for lot in residents:
        for ident in lot.kind.hazards if lot.kind else ():
            h = catalogue.hazards.get(ident)
            if h is not None and kind.group in [g for v in h.victims for g in _GROUP_OF_VICTIMS.get(v, ())]:
                says = f"{lot.name} here: {h.name.lower()}. {h.says}"
                found.append(Concern(_sure(h.mark), "poison", says, (lot.id,), h.mark, h.source, h.caution))
    return found


_GROUP_OF_VICTIMS: Mapping[str, tuple[str, ...]] = {
    "fish": ("fish",), "corals": ("coral",), "invertebrates": ("invertebrate",),
    "all": ("fish", "coral", "invertebrate"),
    "everything": ("fish", "coral", "invertebrate"),
}  # fmt: skip


def _first(h: Hazard, about: str) -> str:
    return next((v for v in h.victims if v in _GROUP_OF_VICTIMS), "")


def toxic(lot: Lot, catalogue: Catalogue, *triggers: str) -> list[Hazard]:
    """Hazards that a lot brings and that one of these triggers sets off (all of its hazards when none is named)."""
    if lot.kind is None:
        return []
    found = [catalogue.hazards[h] for h in lot.kind.hazards if h in catalogue.hazards]
    return [h for h in found if not triggers or any(t in h.triggers for t in triggers)]
