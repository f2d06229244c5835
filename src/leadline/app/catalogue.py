"""The catalogue as a keeper has it: ours from packaged files, checked, with the keeper's own entries before them."""

from __future__ import annotations

import functools
import json
import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any, TypeVar

from leadline.app.ports import Store
from leadline.livestock.kinds import Agent, Catalogue, Fact, Hazard, Kind, Mark, Pest
from leadline.measures.errors import BadInput, UnknownName

OWN = "catalogue"  # records: the keeper's own entries, named "kind/ID", "pest/ID", "agent/ID", "hazard/ID"
FILES = ("kinds", "pests", "agents", "hazards", "sources")
SHAPES: Mapping[str, type] = {"kind": Kind, "pest": Pest, "agent": Agent, "hazard": Hazard}
_MOST_BYTES = 400_000
T = TypeVar("T", Kind, Pest, Agent, Hazard)


@dataclass(frozen=True, slots=True, kw_only=True)
class CatalogueFile:
    """One file of the catalogue."""

    kind: tuple[Kind, ...] = ()
    pest: tuple[Pest, ...] = ()
    agent: tuple[Agent, ...] = ()
    hazard: tuple[Hazard, ...] = ()
    source: Mapping[str, str] | None = None


def read(text: str, where: str, known_sources: Iterable[str] | None = None, *, own: bool = False) -> CatalogueFile:
    """One file of TOML as catalogue entries.

    Parameters
    ----------
    known_sources
        Keys that a fact marked `source` may name; None: not checked.
    own
        Whether the entries are the keeper's: then each is marked so.

    Raises
    ------
    BadInput
        With the entry, the field and what is wrong with it, in one line.
    """
    return _taken(parsed(text, where), where, known_sources, own)


def parsed(text: str, where: str) -> dict[str, Any]:
    """A file of TOML, as it stands.

    Raises
    ------
    BadInput
        When it is none, or too large.
    """
    if len(text) > _MOST_BYTES:
        raise BadInput("this file is too large for a catalogue", where=where, way_out="Split it.")
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as exc:
        raise BadInput(f"this is no TOML: {exc}", where=where, way_out="--example prints one.") from exc


def _taken(raw: Mapping[str, Any], where: str, known_sources: Iterable[str] | None, own: bool) -> CatalogueFile:
    import msgspec

    unknown = set(raw) - {"kind", "pest", "agent", "hazard", "source"}
    if unknown:
        way_out = "A file holds [[kind]], [[pest]], [[agent]] and [[hazard]] entries."
        raise BadInput(f"nobody knows [{sorted(unknown)[0]}]", where=where, way_out=way_out)
    for shape, kind in SHAPES.items():
        for i, entry in enumerate(raw.get(shape, ())):
            name = str(entry.get("id", f"number {i + 1}")) if isinstance(entry, dict) else f"number {i + 1}"
            _refuse_unknown_fields(entry, kind, f"{where}: {shape} {name}")
            try:
                msgspec.convert(entry, kind)
            except msgspec.ValidationError as exc:
                raise BadInput(_plainly(str(exc)), where=f"{where}: {shape} {name}") from exc
    try:
        found = msgspec.convert(raw, CatalogueFile)
    except msgspec.ValidationError as exc:
        raise BadInput(_plainly(str(exc)), where=where) from exc
    known = None if known_sources is None else {*known_sources, *(found.source or {})}
    for shape, entries in (
        ("kind", found.kind),
        ("pest", found.pest),
        ("agent", found.agent),
        ("hazard", found.hazard),
    ):
        seen: set[str] = set()
        for e in entries:
            at = f"{where}: {shape} {e.id}"
            if not e.id or e.id != e.id.lower() or not e.id.replace("-", "").isalnum():
                raise BadInput(f"{e.id!r} is no id", where=at, way_out="Lower-case letters, digits and hyphens.")
            if e.id in seen:
                raise BadInput("stands twice in this file", where=at, way_out="Keep one.")
            seen.add(e.id)
            _sound(e, at, known)
    if own:
        return CatalogueFile(
            kind=tuple(replace(e, own=True) for e in found.kind), pest=tuple(replace(e, own=True) for e in found.pest),
            agent=tuple(replace(e, own=True) for e in found.agent),
            hazard=tuple(replace(e, own=True) for e in found.hazard), source=found.source,
        )  # fmt: skip
    return found


def _plainly(said: str) -> str:
    return said.replace("Object missing required field", "missing:").replace("`$", "`").replace(" - at `.", ", at `")


def _refuse_unknown_fields(entry: Any, kind: type, at: str) -> None:
    """A misspelt field would be lost without a word: it is refused with near names, in nested entries too."""
    from dataclasses import fields

    from leadline.livestock import kinds

    nested = {"facts": kinds.Fact, "risks": kinds.Risk, "rides": kinds.Ride, "notice": kinds.Notice,
              "reaches": kinds.Reach, "cautions": kinds.Fact}  # fmt: skip
    if not isinstance(entry, dict):
        return
    names = [f.name for f in fields(kind) if f.name != "own"]
    for name, value in entry.items():
        if name not in names:
            raise UnknownName("field", name, names, where=at)
        for part in value if isinstance(value, list) else [value]:
            if name in nested:
                _refuse_unknown_fields(part, nested[name], f"{at}, {name}")


def _sound(e: Kind | Pest | Agent | Hazard, at: str, known: set[str] | None) -> None:
    """What a shape alone can't say: ranges in order, every origin named, every number with its unit."""
    for f in getattr(e, "facts", ()) or getattr(e, "cautions", ()):
        _sound_fact(f, at)
    for part in (*getattr(e, "facts", ()), *getattr(e, "risks", ()), *getattr(e, "rides", ()),
                 *getattr(e, "reaches", ()), *getattr(e, "cautions", ()), getattr(e, "notice", None), e):  # fmt: skip
        mark, source = getattr(part, "mark", None), getattr(part, "source", "")
        if mark is Mark.SOURCE and not source:
            raise BadInput("a fact marked source names none", where=at, way_out="Name it, or mark it memory.")
        if mark is Mark.SOURCE and known is not None and any(s not in known for s in source.split()):
            raise BadInput(f"nobody knows the source {source!r}", where=at, way_out="Add it to [source].")
    for ride in getattr(e, "rides", ()):
        low, typical, high = ride.chance
        if not 0.0 <= low <= typical <= high <= 1.0:
            raise BadInput(f"chances {ride.chance} are no range within 0 to 1", where=f"{at}, by {ride.by}")


def _sound_fact(f: Fact, at: str) -> None:
    where = f"{at}, {f.what}"
    numbers = [n for n in (f.low, f.typical, f.high) if n is not None]
    if not numbers and not f.says:
        raise BadInput("a fact with neither numbers nor words", where=where)
    if any(not math.isfinite(n) for n in numbers) or numbers != sorted(numbers):
        raise BadInput(f"{numbers} is no range from low to high", where=where)
    if numbers and not f.unit:
        raise BadInput("a number without a unit", where=where, way_out='Say it; "1" where there is none.')
    for name, span in (("temperature", f.temperature), ("salinity", f.salinity), ("oxygen", f.oxygen)):
        if span is not None and span[0] > span[1]:
            raise BadInput(f"{name} from {span[0]:g} to {span[1]:g}", where=where, way_out="From low to high.")


@functools.cache
def packaged() -> Catalogue:
    """Ours."""
    folder = resources.files("leadline.livestock") / "catalogue"
    parts = [read((folder / f"{name}.toml").read_text(encoding="utf-8"), f"{name}.toml") for name in FILES]
    sources: dict[str, str] = {}
    for p in parts:
        sources.update(p.source or {})
    return Catalogue(
        {e.id: e for p in parts for e in p.kind}, {e.id: e for p in parts for e in p.pest},
        {e.id: e for p in parts for e in p.agent}, {e.id: e for p in parts for e in p.hazard}, sources,
    )  # fmt: skip


def catalogue(store: Store) -> Catalogue:
    """Ours with the keeper's own entries before them."""
    own = store.records(OWN)
    return _with(json.dumps(own, sort_keys=True)) if own else packaged()


@functools.lru_cache(maxsize=4)
def _with(own: str) -> Catalogue:
    ours = packaged()
    found = [_taken({n.partition("/")[0]: [_over_ours(n, e)]}, n, None, True) for n, e in json.loads(own).items()]
    return Catalogue(
        {**ours.kinds, **{e.id: e for p in found for e in p.kind}},
        {**ours.pests, **{e.id: e for p in found for e in p.pest}},
        {**ours.agents, **{e.id: e for p in found for e in p.agent}},
        {**ours.hazards, **{e.id: e for p in found for e in p.hazard}},
        ours.sources,
    )


def _over_ours(name: str, entry: Mapping[str, Any]) -> dict[str, Any]:
    """An own entry over ours of the same id: what it does not name stays as we have it, also after an update.

    Facts go by what they are of; every other field is taken whole.
    """
    shape, _, ident = name.partition("/")
    ours = _raw().get((shape, ident))
    if ours is None:
        return dict(entry)
    merged = {**ours, **entry}
    for part in ("facts", "cautions"):
        if part in ours and part in entry and isinstance(entry[part], list):
            said = {f.get("what") for f in entry[part] if isinstance(f, dict)}
            merged[part] = [*entry[part], *(f for f in ours[part] if f.get("what") not in said)]
    return merged


@functools.cache
def _raw() -> dict[tuple[str, str], dict[str, Any]]:
    """Our entries as they are written, by shape and id."""
    folder = resources.files("leadline.livestock") / "catalogue"
    found = {}
    for name in FILES:
        parsed = tomllib.loads((folder / f"{name}.toml").read_text(encoding="utf-8"))
        found.update({(shape, e["id"]): e for shape in SHAPES for e in parsed.get(shape, ())})
    return found


def add(store: Store, text: str, where: str) -> list[str]:
    """Keep a file of the keeper's own entries, which stand before ours; gives their names, `kind/ID`.

    Of an entry that has the id of one of ours only what differs must be named.

    Raises
    ------
    BadInput
        With one line; nothing of the file is kept then.
    """
    raw = parsed(text, where)
    whole = {
        shape: [
            _over_ours(f"{shape}/{e.get('id', '')}", e) if isinstance(e, dict) else e for e in raw[shape]
        ] if isinstance(raw[shape], list) else raw[shape]
        for shape in raw
    }  # fmt: skip
    found = _taken(whole, where, packaged().sources, False)
    names = []
    with store.together():
        for shape in SHAPES:
            for entry, e in zip(raw.get(shape, ()), getattr(found, shape), strict=True):
                names.append(f"{shape}/{e.id}")
                store.put_record(OWN, names[-1], entry)
    if not names:
        raise BadInput(
            "holds no entry", where=where, way_out="Begin one with [[kind]], [[pest]], [[agent]] or [[hazard]]."
        )
    return names


def drop(store: Store, name: str) -> bool:
    """Forget one of the keeper's own entries; gives whether ours stands there again.

    Raises
    ------
    UnknownName
        When it is none of the keeper's.
    """
    own = store.records(OWN)
    if "/" not in name:
        name = next((n for n in own if n.partition("/")[2] == name), name)
    if name not in own:
        raise UnknownName("own entry", name, own, way_out="" if own else "There are none of your own.")
    store.put_record(OWN, name, None)
    shape, _, ident = name.partition("/")
    return ident in getattr(packaged(), f"{shape}s")


def schema() -> dict[str, Any]:
    """The JSON Schema of a catalogue file, made from the shapes."""
    import msgspec

    return msgspec.json.schema(CatalogueFile)
