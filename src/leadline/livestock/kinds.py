"""The catalogue's shapes: facts with their origin; kinds that are kept, pests that come along, agents, hazards."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from leadline.measures.errors import UnknownName


class Mark(StrEnum):
    """Where a fact comes from."""

    SOURCE = "source"  # the paper or page was read
    DERIVED = "derived"  # worked out here from such facts; a planning figure
    MEMORY = "memory"  # remembered, not confirmed
    PRACTICE = "practice"  # common practice, without firm evidence
    JUDGEMENT = "judgement"  # ours, where nobody has measured
    OWN = "own"  # the keeper's

    @property
    def unconfirmed(self) -> bool:
        """Whether every screen must say so."""
        return self in (Mark.MEMORY, Mark.PRACTICE, Mark.JUDGEMENT)

    @property
    def said(self) -> str:
        """The label that stands beside it."""
        return {
            "source": "", "derived": "derived", "memory": "unconfirmed: from memory",
            "practice": "unconfirmed: common practice", "judgement": "unconfirmed: judgement", "own": "your own",
        }[self]  # fmt: skip


class Certainty(StrEnum):
    """How sure a risk is. There is no word for its absence: nothing here is ever called safe."""

    KNOWN = "known"
    LIKELY = "likely"
    REPORTED = "reported"
    UNKNOWN = "unknown"


GROUPS = ("fish", "coral", "invertebrate", "alga", "rock", "other")
Group = Literal["fish", "coral", "invertebrate", "alga", "rock", "other"]
CARRIERS = ("animal", "rock", "water", "tool", "hand", "aerosol")
Carrier = Literal["animal", "rock", "water", "tool", "hand", "aerosol"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One fact: a range with its conditions and its origin, or words where there is no number.

    Attributes
    ----------
    what
        Which fact, such as `adult-length` or `hatch`.
    low, typical, high
        In `unit`; any may be missing, but never all without words.
    temperature, salinity, oxygen
        Conditions under which it was found: from, to. [°C, psu, mg/L]
    on
        Other conditions in words: host, strain, life stage.
    source
        Key of the catalogue's sources, or a citation.
    """

    what: str
    mark: Mark
    low: float | None = None
    typical: float | None = None
    high: float | None = None
    unit: str = ""
    says: str = ""
    temperature: tuple[float, float] | None = None
    salinity: tuple[float, float] | None = None
    oxygen: tuple[float, float] | None = None
    on: str = ""
    source: str = ""
    ref: str = ""  # the row of the project's reference sheets

    @property
    def least(self) -> float | None:
        """The low end; the middle where no range is known."""
        return self.low if self.low is not None else self.typical if self.typical is not None else self.high

    @property
    def most(self) -> float | None:
        """The high end; the middle where no range is known."""
        return self.high if self.high is not None else self.typical if self.typical is not None else self.low

    @property
    def middle(self) -> float | None:
        """The typical value; the middle of the range where none is known."""
        if self.typical is not None:
            return self.typical
        if self.low is not None and self.high is not None:
            return (self.low + self.high) / 2.0
        return self.least


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """What a kind does to others.

    Attributes
    ----------
    to
        Tags of those it is done to; `smaller-fish` stands for any fish that fits (see `fits`), `own-kind` for its own.
    fits
        The victim's length as a share of the doer's at or below which it fits; 0: size does not matter.
    reach_cm
        How far it stings, from its edge. [cm]
    """

    how: Literal["eats", "nips", "stings", "bullies", "poisons", "outgrows", "fights"]
    to: tuple[str, ...]
    certainty: Certainty
    says: str
    mark: Mark
    fits: float = 0.0
    reach_cm: tuple[float, float] | None = None
    source: str = ""
    ref: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind that is kept, named in the terms of Darwin Core (https://dwc.tdwg.org/terms/)."""

    id: str
    group: Group
    scientificName: str
    taxonRank: str = "species"
    vernacularName: str = ""
    family: str = ""
    also: tuple[str, ...] = ()  # other names it goes by
    tags: tuple[str, ...] = ()  # what it counts as for risks, pests and hazards
    facts: tuple[Fact, ...] = ()
    risks: tuple[Risk, ...] = ()
    hazards: tuple[str, ...] = ()  # ids of the hazard register
    cites: str = ""  # appendix, as far as the reference sheets know
    own: bool = False  # the keeper's entry

    def fact(self, what: str) -> Fact | None:
        """The first fact of that name."""
        return next((f for f in self.facts if f.what == what), None)

    def is_any(self, tags: tuple[str, ...]) -> bool:
        """Whether it counts as any of these; its id and its group count too."""
        mine = {*self.tags, self.id, self.group}
        return any(t in mine for t in tags)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ride:
    """How a pest travels by one carrier.

    Attributes
    ----------
    by
        The carrier: `animal` is a host that it lives on, `rock` any wet surface without a host (coral, plug, shell).
    chance
        That one contact with a place where it is brings it on: low, typical, high. Nearly always judgement.
    after_d
        Days after it came to a place before this carrier can take it on; the earliest known. [d]
    lasts_d
        How long it survives on the carrier without a host, wet; the longest known. [d]
    """

    by: Carrier
    chance: tuple[float, float, float]
    mark: Mark
    after_d: float = 0.0
    lasts_d: float = 0.0
    says: str = ""
    source: str = ""
    ref: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """How a pest comes to be noticed.

    Attributes
    ----------
    after_d
        Days from its coming to a place until there is something to see: from, to. [d]
    glance, search
        Chance that one look finds it once it can be seen: a daily glance; a search with lens and light, or at night.
    signs
        Coded signs that point to it.
    """

    after_d: tuple[float, float]
    glance: float
    search: float
    mark: Mark
    signs: tuple[str, ...] = ()
    says: str = ""
    source: str = ""
    ref: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pest:
    """What comes along: a pest of corals, a parasite, a bloom, a poison.

    Its facts are named by what they are for: `hatch` (egg to hatching), `lays` (hatching to the earliest laying),
    `generation` (egg to egg), `on-host`, `cyst` (until release), `free` (life without a host), `fallow` (without
    hosts), `fallow-short` (a shorter one that a keeper may choose), `observe`.
    """

    id: str
    name: str
    form: Literal["coral-pest", "parasite", "disease", "bloom", "nuisance", "poison"]
    is_a: tuple[str, ...] = ()  # what agents call it: worms, crustaceans, snails
    scientificName: str = ""
    also: tuple[str, ...] = ()
    hosts: tuple[str, ...] = ()  # tags of kinds on which it lives; none: it needs no host
    facts: tuple[Fact, ...] = ()
    rides: tuple[Ride, ...] = ()
    notice: Notice | None = None
    hazards: tuple[str, ...] = ()
    own: bool = False

    def those(self, what: str) -> list[Fact]:
        """All facts of that name, each with its conditions."""
        return [f for f in self.facts if f.what == what]

    def ride(self, by: str) -> Ride | None:
        """How it travels by a carrier; None when no way is known."""
        return next((r for r in self.rides if r.by == by), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """What an agent does to something: a pest's id or one of its stages (`adults`, `eggs`, `cysts`, `larvae`)."""

    of: str
    does: Literal["reaches", "partly", "not"]
    mark: Mark
    says: str = ""
    source: str = ""
    ref: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Agent:
    """A dip, medicine or measure. The catalogue never says how much of it: that is a professional's."""

    id: str
    name: str
    use: Literal["dip", "medicine", "measure"]
    also: tuple[str, ...] = ()
    reaches: tuple[Reach, ...] = ()
    harms: tuple[str, ...] = ()  # tags of what it kills or injures
    cautions: tuple[Fact, ...] = ()
    veterinary: bool = False  # prescription, or controlled in many places
    own: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """A danger to people or animals, with what sets it off and what to do at that step."""

    id: str
    name: str
    victims: tuple[str, ...]  # people, fish, corals, invertebrates, pets, property
    triggers: tuple[str, ...]  # words: pump, stress, death, handling, cutting, heat, removal, bloom, overdose …
    says: str
    caution: str  # one or two sentences for the step itself
    mark: Mark
    first_steps: str = ""
    signs: str = ""
    source: str = ""
    ref: str = ""
    facts: tuple[Fact, ...] = ()
    own: bool = False


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All of it. What the keeper added or overrode stands in place of ours, by its id."""

    kinds: Mapping[str, Kind] = field(default_factory=dict)
    pests: Mapping[str, Pest] = field(default_factory=dict)
    agents: Mapping[str, Agent] = field(default_factory=dict)
    hazards: Mapping[str, Hazard] = field(default_factory=dict)
    sources: Mapping[str, str] = field(default_factory=dict)

    def kind(self, name: str) -> Kind | None:
        """A kind by its id, its scientific name or another name that it goes by."""
        if name in self.kinds:
            return self.kinds[name]
        said = _plain(name)
        return next((k for k in self.kinds.values() if said in map(_plain, _names_of(k))), None)

    def pest(self, name: str) -> Pest:
        """A pest by id or name.

        Raises
        ------
        UnknownName
            With near names.
        """
        said = _plain(name)
        for p in self.pests.values():
            if said in map(_plain, (p.id, p.name, p.scientificName, *p.also)):
                return p
        raise UnknownName("pest", name, self.pests)

    def agent(self, name: str) -> Agent | None:
        """An agent by id or name."""
        said = _plain(name)
        return next((a for a in self.agents.values() if said in map(_plain, (a.id, a.name, *a.also))), None)

    def entry(self, name: str) -> Kind | Pest | Agent | Hazard:
        """Whatever bears that id or name: an id before a name, a kind before what lives on it; `pest/copper` is exact.

        Raises
        ------
        UnknownName
            With near names.
        """
        shape, _, ident = name.rpartition("/")
        parts: dict[str, Mapping[str, Kind | Pest | Agent | Hazard]] = {
            "kind": self.kinds, "pest": self.pests, "agent": self.agents, "hazard": self.hazards,
        }  # fmt: skip
        for part, entries in parts.items():
            if ident in entries and shape in ("", part):
                return entries[ident]
        said = _plain(name)
        pest = next((p for p in self.pests.values() if said in map(_plain, (p.name, p.scientificName, *p.also))), None)
        hazard = next((x for x in self.hazards.values() if said == _plain(x.name)), None)
        some = self.kind(name) or pest or self.agent(name) or hazard
        if some is None:
            raise UnknownName("entry", name, [*self.kinds, *self.pests, *self.agents, *self.hazards])
        return some

    def origin(self, mark: Mark, source: str) -> str:
        """Where a fact comes from, in words."""
        keys = source.split()
        cited = "; ".join(self.sources[k] for k in keys) if keys and all(k in self.sources for k in keys) else source
        return f"{mark.said}{': ' if mark.said and cited else ''}{cited}" if mark.said else cited


def _plain(name: str) -> str:
    return " ".join(name.lower().replace("-", " ").replace("_", " ").split())


def _names_of(k: Kind) -> tuple[str, ...]:
    return (k.id, k.scientificName, k.vernacularName, *k.also)
