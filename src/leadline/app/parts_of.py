"""A document of parts in TOML, changed one part at a time: its comments, its order and what nobody knows stay."""

from __future__ import annotations

import re
from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.units import parse_number
from leadline.measures.words import _

if TYPE_CHECKING:
    from tomlkit import TOMLDocument


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that can be said of a part.

    Attributes
    ----------
    key
        As it stands in the description; `inner_size.0` is the first of a list, `recipe` lines of "what = how much".
    label, hint
        What a person reads; the hint is an example with its unit.
    choices
        Where only these are possible.
    kind
        text | number | choice | lines | yes | list
    """

    key: str
    label: str
    hint: str = ""
    choices: tuple[str, ...] = ()
    kind: str = "text"
    more: bool = False  # seldom needed


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of part of a description."""

    id: str
    title: str
    one: str
    names: tuple[str, ...]  # the keys that tell two of them apart
    fields: tuple[Field, ...]
    says: str = ""  # what it is for
    single: bool = False  # there is one at most: a table, not a list of them


def parts(document: str, kind: str) -> list[dict[str, str]]:
    """The parts of a kind as they stand in a description: every value as text, lists as `key.0`, `key.1` …"""
    import tomllib

    raw = tomllib.loads(document).get(kind, [])
    tables = [raw] if isinstance(raw, dict) else [t for t in raw if isinstance(t, dict)]
    return [_flat(t) for t in tables]


def _flat(table: Mapping[str, Any]) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in table.items():
        if isinstance(value, list):
            found[key] = ", ".join(str(x) for x in value)
            found.update({f"{key}.{i}": str(x) for i, x in enumerate(value)})
        elif isinstance(value, dict):
            found[key] = "\n".join(f"{k} = {v}" for k, v in value.items())
        else:
            found[key] = ("yes" if value else "") if isinstance(value, bool) else str(value)
    return found


def key_of(kind: Kind, part: Mapping[str, str]) -> str:
    """What tells a part from its like: `salinity refractometer`."""
    return " ".join(part.get(n, "") for n in kind.names).strip()


def said_of(kind: Kind, exc: BadInput, name: str = "") -> BadInput:
    """What is wrong with a part, in the words of its form: the field's label and example instead of the document's.

    A message about the document names the place as `band 1 (alkalinity).aim`, or begins with it; with `name`, that of
    the part, also as `person keeper.hours`.
    """
    own = rf"(?: {re.escape(name)})?" if name else ""
    full = f"{exc.where}: {exc.what}" if exc.where else exc.what
    place = re.match(rf"{kind.id}(?: \d+)?{own}(?: \([^)]*\))?[.: ]+(\w+)", full)
    if place is None:
        return exc
    field = next((f for f in kind.fields if f.key.partition(".")[0] == place[1]), None)
    if field is not None and place.end() <= len(exc.where):
        what = exc.what
    else:
        what = full[place.end() if field else place.start(1) :].lstrip(" =:")
    way_out = exc.way_out
    if what in ("is missing", "are missing"):
        what, way_out = _("nothing is typed"), "="
    fits = "8.1" not in way_out and "=" not in way_out  # it speaks of this very value, not of an example
    if field is not None and field.hint and not fits:
        way_out = _("For example: {example}.").format(example=field.hint)
    label = "" if field is None else _(field.label)
    if field is not None and "." in field.key:  # one of several boxes: "Aim: lowest"
        label = label.partition(":")[0]
    return BadInput(what, where=label, way_out=way_out)


def changed(document: str, kind: Kind, key: str, said: Mapping[str, str]) -> str:
    """The document with a part added (no `key`), or the one of that key changed; what is said as empty is taken out.

    Keys of `said` are those of the kind's fields; what it does not name stays as it is.

    Raises
    ------
    BadInput
        When a field, a choice or the part is unknown, or a list is half filled.
    """
    import tomlkit

    unknown = [f for f in said if f not in {x.key for x in kind.fields}]
    if unknown:
        raise UnknownName(f"field of a {kind.one}", unknown[0], [f.key for f in kind.fields])
    whole = tomlkit.parse(document)
    if kind.single:
        table = _single(whole, kind.id)
    else:
        table = _found(whole, kind, key) if key else _new(whole, kind.id)
    for field in kind.fields:
        if field.key in said and "." not in field.key:
            try:
                _say(table, field, said[field.key].strip())
            except BadInput as exc:
                if exc.where or isinstance(exc, UnknownName):
                    raise
                raise BadInput(exc.what, where=_(field.label), way_out=exc.way_out) from exc
    _say_lists(table, kind, said)
    if not kind.single:
        _stands_once(whole, kind, table, key)
    return tomlkit.dumps(whole)


def _stands_once(document: TOMLDocument, kind: Kind, table: Mapping[str, Any], before: str) -> None:
    mine = key_of(kind, _flat(table))
    if mine and mine != before and [key_of(kind, _flat(t)) for t in cast(Any, document[kind.id])].count(mine) > 1:
        raise BadInput(
            _("there is {name} already").format(name=mine), where=_(kind.fields[0].label),
            way_out=_("Change that one, or choose another name."),
        )  # fmt: skip


def without(document: str, kind: Kind, key: str) -> str:
    """The document without a part.

    Raises
    ------
    UnknownName
        When there is none of that key.
    """
    import tomlkit

    whole = tomlkit.parse(document)
    if kind.single:
        if kind.id in whole:
            del whole[kind.id]
    else:
        tables = cast(Any, whole[kind.id]) if kind.id in whole else []
        at = _index(tables, kind, key)
        del tables[at]
        if not len(tables):
            del whole[kind.id]
    return tomlkit.dumps(whole)


def _single(document: TOMLDocument, kind: str) -> MutableMapping[str, Any]:
    import tomlkit

    if kind not in document:
        document[kind] = tomlkit.table()
    return cast("MutableMapping[str, Any]", document[kind])


def _new(document: TOMLDocument, kind: str) -> MutableMapping[str, Any]:
    import tomlkit

    table = tomlkit.table()
    if kind not in document:
        document.add(tomlkit.nl())
        document[kind] = tomlkit.aot()
    cast(Any, document[kind]).append(table)
    return cast("MutableMapping[str, Any]", cast(Any, document[kind])[-1])


def _found(document: TOMLDocument, kind: Kind, key: str) -> MutableMapping[str, Any]:
    tables = cast(Any, document[kind.id]) if kind.id in document else []
    return cast("MutableMapping[str, Any]", tables[_index(tables, kind, key)])


def _index(tables: Sequence[Mapping[str, Any]], kind: Kind, key: str) -> int:
    keys = [key_of(kind, _flat(t)) for t in tables]
    if key not in keys:
        raise UnknownName(kind.one, key[:60], keys)
    if keys.count(key) > 1:  # which of them is meant, nobody can tell
        raise BadInput(_("{name} stands twice").format(name=key[:60]), way_out=_("Change the description as one text."))
    return keys.index(key)


def _say(table: MutableMapping[str, Any], field: Field, text: str) -> None:
    if not text:
        table.pop(field.key, None)
    elif field.kind == "yes":
        table[field.key] = text not in ("no", "false", "0")
    elif field.kind == "number":
        value = parse_number(text)
        table[field.key] = int(value) if value.is_integer() else value
    elif field.kind == "choice" and text not in field.choices:
        raise UnknownName(field.label.lower(), text[:40], [c for c in field.choices if c])
    elif field.kind == "lines":
        table[field.key] = _recipe(field, text)
    elif field.kind == "list":
        table[field.key] = [x.strip() for x in text.split(",") if x.strip()]
    elif str(table.get(field.key, "")) != text:
        table[field.key] = text


def _recipe(field: Field, text: str) -> Any:
    import tomlkit

    found = tomlkit.inline_table()
    for line in filter(None, (x.strip() for x in text.splitlines())):
        what, sign, amount = line.partition("=")
        if not sign or not what.strip() or not amount.strip():
            raise BadInput(f"{line[:60]!r} is not of the form {field.hint!r}", way_out="One substance a line.")
        found[what.strip()] = amount.strip()
    return found


def _say_lists(table: MutableMapping[str, Any], kind: Kind, said: Mapping[str, str]) -> None:
    """Fields such as `aim.0`, `aim.1`: all of them or none."""
    names = {f.key.partition(".")[0] for f in kind.fields if "." in f.key}
    for name in sorted(names):
        mine = [f for f in kind.fields if f.key.startswith(f"{name}.")]
        if not any(f.key in said for f in mine):
            continue
        old = table.get(name, [])
        values = [said.get(f.key, str(old[i]) if i < len(old) else "").strip() for i, f in enumerate(mine)]
        if not any(values):
            table.pop(name, None)
        elif all(values):
            if [str(x) for x in old] != values:
                table[name] = values
        else:
            missing = next(f.label for f, v in zip(mine, values, strict=True) if not v)
            raise BadInput(f"{missing}: nothing is typed", way_out=f"Fill all {len(mine)}, or none.")
