"""Set a system up in small steps: each changes its description by one part, and every earlier one is kept."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence

from leadline.app import describe
from leadline.app.parts_of import Field, Kind, changed, key_of, parts, said_of, without
from leadline.app.ports import Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock, zone
from leadline.measures.quantities import QUANTITIES
from leadline.measures.units import parse_amount
from leadline.measures.words import N_
from leadline.system.description import EQUIPMENT_TYPES, PURPOSES, System, parse

_MEASURED = tuple(q for q in QUANTITIES if q not in ("relative_humidity", "co2_air"))
__all__ = ["Field", "Kind", "begin", "drop", "key_of", "kind_of", "parts", "put", "replace_whole", "undo"]
MOST_BYTES = 200_000  # of a whole description


_EQUIPMENT = (
    Field("id", N_("Name"), "heater-1"),
    Field("type", N_("What it is"), choices=EQUIPMENT_TYPES, kind="choice"),
    Field("power", N_("Power"), "400 W"),
    Field("setpoint", N_("Set to"), "25.0 degC"),
    Field("stream", N_("Stream of its state or power"), "heater-1", more=True),
    Field("flow", N_("Flow"), "4000 L/h", more=True),
    Field("guard", N_("Guard over its intake"), "sponge", more=True),
    Field("substance", N_("Substance it doses"), "sodium-carbonate", more=True),
    Field("concentration", N_("Concentration"), "95 g/L", more=True),
    Field("per_day", N_("Doses a day"), "60 mL", more=True),
    Field("rate", N_("Rate"), "2 L/h", more=True),
    Field("reservoir", N_("Reservoir"), "40 L", more=True),
    Field("on", N_("On at"), "10:00", more=True),
    Field("off", N_("Off at"), "21:00", more=True),
    Field("note", N_("Note"), more=True),
)
KINDS: dict[str, Kind] = {k.id: k for k in (
    Kind("vessel", N_("Vessels"), N_("vessel"), ("id",), (
        Field("id", N_("Name"), "display"),
        Field("inner_size.0", N_("Inner length"), "2.00 m"),
        Field("inner_size.1", N_("Inner depth, front to back"), "0.75 m"),
        Field("inner_size.2", N_("Height of the water"), "0.65 m"),
        Field("volume", N_("Or its volume"), "180 L"),
        Field("spare_volume", N_("Free space above the running level"), "70 L", more=True),
        Field("note", N_("Note"), more=True),
    ), N_("Tanks, sumps and reservoirs that share this water.")),
    Kind("equipment", N_("Equipment"), N_("machine"), ("id",), _EQUIPMENT,
         N_("Machines. The watch notices one that runs and does nothing, where it can see its state.")),
    Kind("stream", N_("Probes and streams"), N_("stream"), ("id",), (
        Field("id", N_("Name of the stream"), "temperature"),
        Field("quantity", N_("Quantity"), choices=("", *QUANTITIES), kind="choice"),
        Field("unit", N_("Unit it sends"), "degC"),
        Field("period", N_("A point every"), "60 s"),
        Field("vessel", N_("In which vessel"), "sump", more=True),
        Field("room", N_("It measures the air of the room"), kind="yes", more=True),
        Field("note", N_("Note"), more=True),
    ), N_("Probes and states that send points by themselves.")),
    Kind("method", N_("Kits and instruments"), N_("method"), ("quantity", "name"), (
        Field("quantity", N_("Quantity"), choices=_MEASURED, kind="choice"),
        Field("name", N_("Kit or instrument, in your words"), "titration"),
        Field("sd", N_("How far two tests of the same water differ"), "0.1 dKH"),
        Field("minutes", N_("Minutes one test takes you"), "4", kind="number"),
        Field("note", N_("Note"), more=True),
    ), N_("How you measure. What is left out is taken from common practice.")),
    Kind("band", N_("Bands"), N_("band"), ("quantity",), (
        Field("quantity", N_("Quantity"), choices=_MEASURED, kind="choice"),
        Field("aim.0", N_("Aim: lowest"), "7.5 dKH"),
        Field("aim.1", N_("Aim: highest"), "9.0 dKH"),
        Field("limit.0", N_("Limit: lowest"), "6.0 dKH"),
        Field("limit.1", N_("Limit: highest"), "12.0 dKH"),
        Field("note", N_("Note"), more=True),
    ), N_("Where you want a quantity to be, and the limits beyond which harm is expected.")),
    Kind("solution", N_("Solutions"), N_("solution"), ("id",), (
        Field("id", N_("Name"), "buffer"),
        Field("recipe", N_("What one litre holds, one a line"), "sodium-carbonate = 95 g/L", kind="lines"),
        Field("note", N_("Note"), more=True),
    ), N_("What you mix yourself, so that its doses are reckoned.")),
    Kind("neighbour", N_("Neighbours"), N_("neighbour"), ("system",), (
        Field("system", N_("System that stands near"), "quarantine"),
        Field("distance", N_("Distance between the waters"), "1.5 m"),
        Field("note", N_("Note"), more=True),
    ), N_("Splash and spray carry parasites over short ways.")),
)}  # fmt: skip
HEAD = Kind("system", N_("The water"), "system", ("id",), (
    Field("name", N_("Name"), "North room reef"),
    Field("net_volume", N_("Net volume of the water"), "1150 L"),
    Field("net_volume_sd", N_("How sure that is, one standard deviation"), "60 L"),
    Field("time_zone", N_("Time zone"), "Europe/Oslo"),
    Field("units", N_("Units that screens show"), choices=("metric", "us"), kind="choice"),
    Field("purpose", N_("What it is for"), choices=("", *PURPOSES), kind="choice"),
    Field("note", N_("Note"), more=True),
), single=True)  # fmt: skip
ROOM = Kind("room", N_("The room"), "room", (), (
    Field("temperature", N_("Temperature"), "21 degC"),
    Field("relative_humidity", N_("Relative humidity"), "55 %"),
    Field("co2", N_("CO2"), "700 ppm"),
    Field("note", N_("Note"), more=True),
), N_("The air decides how much evaporates and what pH a given alkalinity gives."), single=True)  # fmt: skip
SINGLE = {"system": HEAD, "room": ROOM}


def kind_of(name: str) -> Kind:
    """That kind of part.

    Raises
    ------
    UnknownName
    """
    found = KINDS.get(name) or SINGLE.get(name)
    if found is None:
        raise UnknownName("part", name[:40], [*SINGLE, *KINDS])
    return found


def begin(
    store: Store, clock: Clock, *, name: str, volume: str = "", size: Sequence[str] = (), time_zone: str = "",
    units: str = "metric", purpose: str = "",
) -> System:  # fmt: skip
    """A first description from what a keeper knows by heart: a name, and how much water.

    Parameters
    ----------
    volume
        With its unit, such as "1150 L"; or
    size
        length, depth and water height of the one tank, each with its unit.

    Raises
    ------
    BadInput
        With what is missing, in one line.
    """
    import tomlkit

    name = " ".join(name.split())[:80]
    if not name:
        raise BadInput("a system needs a name", way_out="For example: North room reef.")
    if not volume and not any(size):
        raise BadInput("how much water?", way_out="Type the volume, or length, depth and water height.")
    zone(time_zone or "UTC")
    document = tomlkit.document()
    head = tomlkit.table()
    head["id"] = _free_id(name, [*store.systems(), "new"])
    head["name"] = name
    head["time_zone"] = time_zone or "UTC"
    if volume:
        litres = parse_amount(volume, "volume")
        if litres <= 0:
            raise BadInput(f"{volume!r} is no volume of water", way_out="Give one above zero, such as 400 L.")
        if litres < 5.0 and re.match(r"\d[.,]\d{3}(?!\d)", volume):
            bare = re.sub(r"[.,]", "", volume, count=1)
            raise BadInput(f"{volume!r} is very little water", way_out=f"Write {bare}, or {litres:g} L if it is so.")
        head["net_volume"] = volume
    head["units"] = units
    if purpose:
        head["purpose"] = purpose
    document["system"] = head
    if any(size):
        if len(size) != 3 or not all(size):
            raise BadInput("a tank has three sizes", way_out="Type length, depth and water height.")
        for s in size:
            if parse_amount(s, "length") <= 0:
                raise BadInput(f"{s!r} is no length", way_out="Give one above zero, such as 1.2 m.")
        vessel = tomlkit.table()
        vessel["id"] = "display"
        vessel["inner_size"] = list(size)
        vessels = tomlkit.aot()
        vessels.append(vessel)
        document["vessel"] = vessels
    return describe.add(store, clock, tomlkit.dumps(document))


def _free_id(name: str, taken: Sequence[str]) -> str:
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    ident = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].strip("-") or "system"
    n = 1
    while (found := ident if n == 1 else f"{ident}-{n}") in taken:
        n += 1
    return found


def put(store: Store, clock: Clock, system: str, kind: str, key: str, said: Mapping[str, str]) -> System:
    """Add a part (no `key`), or change the one of that key; what is said as empty is taken out.

    Keys of `said` are those of the kind's fields; what it does not name stays as it is, and so do comments and
    order of the description.

    Raises
    ------
    BadInput
        With the place and what would mend it; nothing is changed.
    """
    document = changed(describe.document(store, system), kind_of(kind), key, said)
    try:
        return replace_whole(store, clock, system, document)
    except BadInput as exc:
        raise said_of(kind_of(kind), exc, key_of(kind_of(kind), said) or key) from exc


def drop(store: Store, clock: Clock, system: str, kind: str, key: str) -> System:
    """Take a part out of the description.

    Raises
    ------
    UnknownName
        When there is none of that key.
    """
    if kind == "system":
        raise BadInput("a system's own head stays", way_out="Change it.")
    document = without(describe.document(store, system), kind_of(kind), key)
    return replace_whole(store, clock, system, document)


def undo(store: Store, clock: Clock, system: str) -> System:
    """Put back the description before the present one; that is a new version too, so nothing is lost.

    Raises
    ------
    BadInput
        When there is no earlier one.
    """
    describe.document(store, system)
    versions = store.system_versions(system)
    if len(versions) < 2:
        raise BadInput("there is no earlier description", way_out="It was written once.")
    return describe.add(store, clock, versions[-2][1], replace=True)


def replace_whole(store: Store, clock: Clock, system: str, document: str) -> System:
    """The description as one text.

    Raises
    ------
    BadInput
        When it cannot be read, or describes another system.
    """
    describe.document(store, system)
    if len(document.encode()) > MOST_BYTES:
        raise BadInput("that is too long for a description", way_out="Shorten its notes.")
    found = parse(document)
    if found.id != system:
        raise BadInput(f"it describes {found.id!r}, not {system!r}", way_out="Leave system.id as it was.")
    return describe.add(store, clock, document, replace=True)
