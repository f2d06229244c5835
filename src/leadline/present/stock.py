"""Livestock in words: counts, places, concerns, steps of a quarantine and of a path; the same on page and prompt."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from leadline.journal.entry import Entry
from leadline.livestock.census import Lot
from leadline.livestock.compatibility import Concern
from leadline.livestock.contacts import HANDS, SOURCE, TOOL
from leadline.livestock.contacts import spoken as node_said
from leadline.livestock.fallow import Fallow
from leadline.livestock.kinds import Catalogue, Certainty, Fact, Hazard, Kind, Mark
from leadline.livestock.load import Load
from leadline.livestock.paths import Step as Leg
from leadline.livestock.treatments import Step
from leadline.measures.figures import chance, day, number, plain, unit_label
from leadline.measures.words import _

CERTAINTY = {
    Certainty.KNOWN: "known", Certainty.LIKELY: "likely", Certainty.REPORTED: "reported", Certainty.UNKNOWN: "unknown",
}  # fmt: skip
EXAMINATION: tuple[tuple[str, str, str], ...] = (
    ("whole", "Whole body", "photograph both sides with a scale; fins, scales, eyes, belly hollow or swollen"),
    ("gills", "Gills", "colour, slime, spots; a scraping under the microscope within the hour, if you have one"),
    ("skin", "Skin", "spots, film, wounds, worms; a scraping under the microscope"),
    ("mouth", "Mouth and eyes", "sores, cloudiness, bulging"),
    ("belly", "Belly", "opened only by a practised hand: colour, fluid, worms, food"),
    ("water", "Water at that hour", "oxygen, temperature, ammonia, pH; a sample kept in the fridge"),
    ("others", "The others", "who else breathes fast, hides, is pale; who is missing"),
    ("before", "The day before", "what was new: food, animal, tool, water, work in the room"),
)
RECKONED_WITH = frozenset({"sight", "glance"})  # facts for reckoning who is gone, no news to a reader
EXAMINE_FIRST = "Cooled, not frozen: freezing ruins what a veterinarian looks for. Gloves; cover cuts; wash after."


def count(n: float) -> str:
    """`3`, and nothing for one."""
    return plain(n)


def placed(lot: Lot, names: Mapping[str, str]) -> str:
    """Where a lot is, in words."""
    parts = [
        _("{number} in {place}").format(number=count(n), place=names.get(p, p)) if n != 1 else names.get(p, p)
        for p, n in lot.here.items()
    ]
    return _(" and ").join(parts) if parts else _("gone")


def fact_said(f: Fact) -> str:
    """One fact: range, unit, conditions."""
    unit = {"a": "years", "d": "days", "1": "", "umol/m2/s": "µmol m⁻² s⁻¹"}.get(f.unit, unit_label(f.unit))
    parts = []
    if f.low is not None and f.high is not None:
        parts.append(f"{plain(f.low)} to {plain(f.high)} {unit}".strip())
    elif f.typical is not None:
        parts.append(f"{plain(f.typical)}{f', up to {plain(f.high)}' if f.high is not None else ''} {unit}".strip())
    elif f.low is not None:
        parts.append(f"{plain(f.low)} {unit} or more".strip())
    elif f.high is not None:
        parts.append(f"up to {plain(f.high)} {unit}".strip())
    if f.typical is not None and f.low is not None:
        parts.append(f"typically {plain(f.typical)}")
    if f.temperature is not None:
        low, high = f.temperature
        parts.append(f"at {plain(low)} °C" if low == high else f"at {plain(low)} to {plain(high)} °C")
    if f.salinity is not None:
        low, high = f.salinity
        parts.append(f"salinity {plain(low)}" if low == high else f"salinity {plain(low)} to {plain(high)}")
    if f.on:
        parts.append(f.on)
    said = ", ".join(p for p in parts if p.lower() not in f.says.lower())
    return f"{said}. {f.says}".strip(". ") + "." if f.says else f"{said}."


def origin(catalogue: Catalogue, mark: Mark, source: str) -> str:
    """Where a fact comes from: the label that stands beside it, then the citation."""
    return catalogue.origin(mark, source) or _("origin not noted")


def label(mark: Mark) -> str:
    """The short label: nothing for what was read in its source."""
    return mark.said


def entry_said(e: Entry, names: Mapping[str, str]) -> str:
    """What an entry of livestock says, in a few words."""
    who = (str(e.extra.get("animal", "")) or e.subject).replace("-", " ")
    place = names.get(e.system, e.system)
    if e.kind == "arrival":
        return _("Logged: {who} came to {place}").format(who=who, place=place)
    if e.kind == "transfer":
        return _("Logged: {who} went to {place}").format(who=who, place=names.get(e.to, e.to))
    if e.kind == "loss":
        return _("Logged: {who}, {how}").format(who=who, how=str(e.extra.get("how", "lost")).replace("-", " "))
    if e.kind == "treatment":
        return _("Logged the {what}: {agent}").format(
            what=e.subject, agent=str(e.extra.get("agent", "")).replace("-", " ")
        )
    if e.kind in ("exchange", "addition", "feeding", "topoff", "service", "reading"):
        amount = f" {plain(e.value)} {unit_label(e.unit)}".rstrip() if e.value is not None else ""
        return f"Logged: {(e.subject or e.kind).replace('-', ' ').replace('_', ' ')}{amount}, {place}"
    if e.kind == "note" and not e.subject:
        return _("Logged the note")
    if e.kind == "note":
        return _("Noted the decision") if e.subject == "release" else _("Noted of {who}").format(who=who)
    if e.subject == "census":
        return _("Looked over {place}").format(place=place)
    return (
        _("Seen: {who}").format(who=who)
        if e.subject == "seen"
        else _("Noted of {who}: {what}").format(who=who, what=e.subject.replace("-", " "))
    )


def concern_said(c: Concern, lots: Mapping[str, Lot]) -> str:
    """What speaks against it, and whom it concerns."""
    said = c.says[:1].upper() + c.says[1:]
    names = [lots[w].name if w in lots else w for w in c.whom]
    if c.about == "gaps" and names:
        return f"{', '.join(names)}: {c.says}."
    return said if said.endswith((".", "!", "?")) else f"{said}."


def load_said(load: Load, net_volume_l: float) -> tuple[str, str]:
    """Oxygen and nitrogen in words."""
    low, middle, high = load.oxygen_mg_h
    oxygen = (
        f"{number(middle, 0)} mg of oxygen an hour ({number(low, 0)} to {number(high, 0)}): with no gas exchanged, "
        f"{number(net_volume_l, 0)} L lose {number(middle / net_volume_l, 3)} mg/L an hour by them"
    )
    low, middle, high = load.nitrogen_mg_d
    nitrogen = f"{number(middle, 0)} mg of nitrogen a day ({number(low, 0)} to {number(high, 0)})"
    return oxygen, nitrogen


def window_said(s: Step, local: dt.tzinfo, now: dt.datetime) -> str:
    """When a step is due."""
    if s.state == "done" and s.done is not None:
        return _("done {day}").format(day=day(s.done, local, now))
    begin = day(s.opens, local, now)
    if s.closes is None:
        return _("due") if s.state == "due" else _("from {day}").format(day=begin)
    return (_("{start} to {end}, missed") if s.state == "missed" else _("{start} to {end}")).format(
        start=begin, end=day(s.closes, local, now)
    )


def leg_said(leg: Leg, names: Mapping[str, str], local: dt.tzinfo, now: dt.datetime) -> str:
    """One step of a path: when, how, where."""
    place = place_said(leg.place, names)
    when = day(dt.datetime.fromtimestamp(leg.at_s, dt.UTC), local, now)
    if leg.contact is None:
        return f"{place}, {when}"
    c = leg.contact
    if c.by == "animal" or c.by in ("rock", "water"):
        how = (_("{what} moved") if c.by == "animal" else _("{what} came")).format(what=c.what.replace("-", " "))
    elif c.by == "tool":
        how = f"the {c.what.replace('-', ' ')}"
    else:
        how = {"hand": _("wet hands"), "aerosol": _("the air")}.get(c.by, c.by)
    return f"{place}, {when} ({how})"


def place_said(node: str, names: Mapping[str, str]) -> str:
    """A place, dealer, tool or hands as one says it."""
    if node in names:
        return names[node]
    if node.startswith(HANDS):
        return _("hands")
    if node.startswith(TOOL):
        return node_said(node).replace("-", " ")
    return (
        _("the dealer {dealer}").format(dealer=node.removeprefix(SOURCE).replace("-", " "))
        if node.startswith(SOURCE)
        else node
    )


def path_said(path: Sequence[Leg], names: Mapping[str, str], local: dt.tzinfo, now: dt.datetime) -> str:
    """A whole path."""
    return " → ".join(leg_said(x, names, local, now) for x in path)


def chance_said(p: float, low: float, high: float) -> str:
    """A chance with the range that the carriers' judgement leaves."""
    if p > 0.995:
        return _("taken to be there")
    said = chance(p)
    if round(100 * low) == round(100 * high):
        return said
    return f"{said} ({round(100 * low)} to {round(100 * high)})"


def hazard_said(h: Hazard) -> str:
    """A hazard's caution, as it stands at a step."""
    said = h.caution.rstrip(".")
    first = f" If somebody was hurt or feels ill: {h.first_steps.rstrip('.')}." if h.first_steps else ""
    return f"{h.name}: {said}.{first}"


def kind_named(k: Kind) -> str:
    """Both names of a kind."""
    if k.vernacularName and k.scientificName and k.vernacularName.lower() != k.scientificName.lower():
        return f"{k.vernacularName} ({k.scientificName})"
    return k.vernacularName or k.scientificName


def fallow_lines(f: Fallow, system: str = "") -> list[str]:
    """What a display without hosts waits for, line by line."""
    lines = [f"{f.pest.name}{f' in {system}' if system else ''}. {f.said}"]
    if f.days.days is not None:
        lines.append(
            f"{plain(f.days.days)} days rest on the longest cyst that is reported, and its young ({f.days.why})."
        )
    if f.shorter is not None:
        lines.append(f"A shorter wait, {fact_said(f.shorter)} [{label(f.shorter.mark)}]")
    return lines + [f"Not covered: {line}" for line in f.notes]


def entry_named(entry: object) -> str:
    """The name of any entry of the catalogue."""
    if isinstance(entry, Kind):
        return kind_named(entry)
    name, science = getattr(entry, "name", ""), getattr(entry, "scientificName", "")
    return f"{name} ({science})" if science else str(name)


def entry_lines(catalogue: Catalogue, entry: object) -> list[tuple[str, str]]:
    """What the catalogue says of an entry, line by line, each with its origin (empty where it bears none)."""
    lines: list[tuple[str, str]] = []
    for head in ("hosts", "harms", "triggers", "victims"):
        if found := getattr(entry, head, ()):
            lines.append((f"{head}: {', '.join(found)}", ""))
    for attribute in ("says", "caution", "first_steps"):
        if said := getattr(entry, attribute, ""):
            lines.append((str(said), origin(catalogue, entry.mark, entry.source)))  # type: ignore[attr-defined]
    for f in (*getattr(entry, "facts", ()), *getattr(entry, "cautions", ())):
        lines.append((f"{f.what.replace('-', ' ')}: {fact_said(f)}", origin(catalogue, f.mark, f.source)))
    for r in getattr(entry, "risks", ()):
        lines.append((f"{r.how} {', '.join(r.to)} ({r.certainty}): {r.says}", origin(catalogue, r.mark, r.source)))
    for ride in getattr(entry, "rides", ()):
        low, typical, high = ride.chance
        chances = f"{plain(100 * low)} to {plain(100 * high)} in 100, typically {plain(100 * typical)}"
        lines.append((f"travels by {ride.by}: {chances}. {ride.says}", origin(catalogue, ride.mark, ride.source)))
    for reach in getattr(entry, "reaches", ()):
        verb = {"reaches": "reaches", "partly": "reaches in part", "not": "does not reach"}[reach.does]
        lines.append(
            (f"{verb} {reach.of.replace('-', ' ')}. {reach.says}".strip(), origin(catalogue, reach.mark, reach.source))
        )
    return lines
