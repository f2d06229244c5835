"""What a keeper's words mean: the kind that a name holds, near names, and whether it is livestock at all."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from typing import Any

from leadline.livestock.kinds import GROUPS, Agent, Catalogue, Kind

# the last word of a name whose kind nobody knows: `live-rock`, `blue-net`, `net-1`; `rock-beauty` is none of them
_WET_GOODS = {
    "rock": "rock", "rubble": "rock", "sand": "rock", "gravel": "rock", "plug": "rock", "water": "water",
    "net": "tool", "siphon": "tool", "hose": "tool", "bucket": "tool", "tongs": "tool", "scraper": "tool",
    "pump": "tool", "tool": "tool", "thermometer": "tool",
}  # fmt: skip
_VAGUE = frozenset({
    "coral", "fish", "shrimp", "crab", "snail", "star", "polyp", "frag", "colony", "pair", "school", "group", "small",
    "large", "big", "old", "young", "blue", "red", "green", "yellow", "orange", "pink", "purple", "black", "white",
    "gold", "common", "giant", "live", "sea", "reef", "marine", "adult", "juvenile", "male", "female", "and", "of",
    "the", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "spp", "sp", "false", "true",
})  # fmt: skip


def group_of(subject: str, about: Mapping[str, Any], kind: Kind | None) -> str:
    """What sort of thing it is: a group of kinds, or rock, water, tool."""
    said = str(about.get("group", ""))
    if said in GROUPS or said in ("rock", "water", "tool"):
        return said
    if kind is not None:
        return kind.group
    if about.get("kind") or about.get("scientificName"):
        return "other"
    words = _words(subject)
    return _WET_GOODS.get(words[-1], "other") if words else "other"


def kind_of(catalogue: Catalogue, subject: str, about: Mapping[str, Any]) -> tuple[Kind | None, bool]:
    """The kind that was said, or the one that its name holds (`six-acropora-frags`), and whether that is a guess."""
    said = [str(about[k]) for k in ("kind", "scientificName", "vernacularName") if about.get(k)]
    for words in said:
        found = catalogue.kind(words)
        if found is not None:
            return found, False
    for words in said or [subject]:
        found = inside(catalogue, words)
        if found is not None:
            return found, True
    return None, False


def inside(catalogue: Catalogue, text: str) -> Kind | None:
    """The kind whose whole name stands in some words (`blue zoanthus frags`); else the only one of whose name they have
    a telling word, which is never its last (`copperband`): `butterflyfish` alone means another one."""
    words = _words(text)
    best: Kind | None = None
    length = 0
    for k in catalogue.kinds.values():
        for name in (k.id, k.scientificName, k.vernacularName, *k.also):
            parts = _words(name)
            if parts and len(parts) > length and _within(parts, words) and not set(parts) <= _VAGUE:
                best, length = k, len(parts)
    if best is not None:
        return best
    telling = [w for w in words if len(w) > 3 and w not in _VAGUE and w not in _WET_GOODS]
    for word in telling:
        found = {
            k.id: k for k in catalogue.kinds.values()
            if any(word in _words(n)[:-1] for n in (k.vernacularName, *k.also))
        }  # fmt: skip
        if len(found) == 1:
            return next(iter(found.values()))
    return None


def near(catalogue: Catalogue, text: str, most: int = 3) -> list[Kind]:
    """Kinds whose names, or a word of them, are like some words; the likest first."""
    names: dict[str, str] = {}
    for k in catalogue.kinds.values():
        for name in (k.id, k.scientificName, k.vernacularName, *k.also):
            for part in (name.lower(), *(w for w in _words(name) if w not in _VAGUE)):
                names.setdefault(part, k.id)
    found: list[str] = []
    for typed in (text.lower().replace("-", " "), *(w for w in _words(text) if w not in _VAGUE)):
        found += [names[n] for n in difflib.get_close_matches(typed, names, n=most, cutoff=0.7)]
    return [catalogue.kinds[i] for i in list(dict.fromkeys(found))[:most]]


def agents_in(catalogue: Catalogue, text: str) -> list[Agent]:
    """Agents that some words name: `copper`, `copper sulphate`, `Cu`."""
    said = catalogue.agent(text)
    if said is not None:
        return [said]
    words = _words(text)
    found = []
    for a in catalogue.agents.values():
        for name in (a.id, a.name, *a.also):
            parts = [w for w in _words(name) if w not in ("dip", "bath", "treatment", "solution")]
            if parts and _within(parts, words):
                found.append(a)
                break
    return found


def _words(text: str) -> list[str]:
    return [_singular(w) for w in re.split(r"[^a-zà-öø-ÿ]+", text.lower()) if w]


def _singular(word: str) -> str:
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")) else word


def _within(parts: Sequence[str], words: Sequence[str]) -> bool:
    n = len(parts)
    return any(list(words[i : i + n]) == list(parts) for i in range(len(words) - n + 1))
