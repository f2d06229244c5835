"""Subjects that every import knows, by kind of entry; anything else is kept and offered for adoption."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from leadline.measures.quantities import QUANTITIES, canonical_name

WATER = frozenset({"mixed-seawater", "natural-seawater", "ro", "tap", "distilled"})

KNOWN: Mapping[str, frozenset[str]] = {
    "reading": frozenset(QUANTITIES) | {"ph_total"},
    "addition": frozenset({
        "sodium-bicarbonate", "sodium-carbonate", "calcium-chloride-dihydrate", "calcium-chloride-anhydrous",
        "calcium-hydroxide", "magnesium-chloride-hexahydrate", "magnesium-sulfate-heptahydrate",
        "sodium-nitrate", "potassium-nitrate", "disodium-phosphate", "ethanol-40", "acetic-acid-5",
        "potassium-iodide", "sea-salt",
    }),
    "exchange": WATER,
    "topoff": WATER,
    "feeding": frozenset({"pellets", "frozen-mysid", "frozen-brine", "dried-seaweed", "phytoplankton"}),
    "observation": frozenset({
        "polyps-closed", "coral-pale", "tissue-loss", "fish-breathing-fast", "fish-flashing", "white-spots",
        "fish-missing", "cloudy-water", "algae-on-glass", "snails-off-glass", "spawning", "seen", "census", "measured",
        "eggs-laid", "hatched", "settled", "bite-marks", "worms-seen", "nudibranch-seen", "anemones-seen", "tubes-seen",
        "film-on-sand", "brown-jelly", "fish-not-eating", "slime", "velvet-dust", "nothing-found",
    }),
    "treatment": frozenset({"blackout", "dip", "uv", "carbon", "medicine", "epoxy"}),
}  # fmt: skip

# Subjects of these kinds are the keeper's own names (animals, equipment): there is nothing to know beforehand.
OWN_NAMES = frozenset({"arrival", "transfer", "loss", "service", "note"})


def known_with(adopted: Iterable[str]) -> dict[str, frozenset[str]]:
    """Known subjects by kind, with those adopted or declared since, each written `kind/subject`."""
    known = dict(KNOWN)
    for name in adopted:
        kind, _, subject = name.partition("/")
        known[kind] = known.get(kind, frozenset()) | {subject}
    return known


def settled(kind: str, subject: str, known: Mapping[str, frozenset[str]]) -> str:
    """The known id of what was typed (`Alk`, `Sodium bicarbonate`), or the text as it stands."""
    if subject in known.get(kind, ()):
        return subject
    if kind == "reading":
        return canonical_name(subject) or subject
    plain = "-".join(subject.lower().replace("_", " ").replace("-", " ").split())
    return plain if plain in known.get(kind, ()) else subject
