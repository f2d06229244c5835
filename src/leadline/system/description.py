"""What stands there: a system's description, read from the contract's TOML and kept as it was given."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

from leadline.measures import units
from leadline.measures.errors import BadInput, LeadlineError
from leadline.measures.figures import display
from leadline.measures.moments import zone
from leadline.measures.quantities import QUANTITIES, quantity
from leadline.seawater import convert
from leadline.system import bands as default_bands
from leadline.system.methods import Performance, performance

T = TypeVar("T")
_ID = re.compile(r"[a-z0-9][a-z0-9-]*$")
PURPOSES = ("display", "satellite", "invertebrate-quarantine", "fish-quarantine", "quarantine", "hospital")
EQUIPMENT_TYPES = (
    "heater", "chiller", "pump", "topoff", "doser", "uv", "light", "skimmer", "reactor", "fan", "ups",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Vessel:
    """One tank, sump, reservoir or container."""

    id: str
    volume_l: float | None = None
    spare_volume_l: float | None = None
    inner_size_m: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Room:
    """The air around the system."""

    temperature_c: float = 22.0
    relative_humidity: float = 0.5
    co2_ppm: float = 600.0


@dataclass(frozen=True, slots=True)
class Equipment:
    """A machine that belongs to the system. `rest` holds whatever else was said of it."""

    id: str
    type: str
    power_w: float | None = None
    setpoint_c: float | None = None
    stream: str = ""
    substance: str = ""
    per_day_ml: float | None = None
    concentration_g_l: float | None = None
    rest: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Stream:
    """One channel of probe or equipment-state data."""

    id: str
    quantity: str = ""
    unit: str = ""
    period_s: float = 60.0
    vessel: str = ""
    room: bool = False


@dataclass(frozen=True, slots=True)
class Method:
    """How this keeper measures a quantity."""

    quantity: str
    name: str
    performance: Performance


@dataclass(frozen=True, slots=True)
class Band:
    """Aim and limit of a quantity, in its stored unit."""

    quantity: str
    aim: tuple[float, float]
    limit: tuple[float, float] | None
    is_default: bool = False


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another system that stands near: splash and aerosol may cross. `distance_m` between the water surfaces. [m]"""

    system: str
    distance_m: float


@dataclass(frozen=True, slots=True)
class System:
    """One connected body of water and what belongs to it."""

    id: str
    name: str
    time_zone: str
    net_volume_l: float
    net_volume_sd_l: float
    units: str
    vessels: tuple[Vessel, ...]
    room: Room
    equipment: tuple[Equipment, ...]
    streams: tuple[Stream, ...]
    methods: tuple[Method, ...]
    bands: Mapping[str, Band]
    solutions: Mapping[str, Mapping[str, float]]  # own solution: substance to g per L
    unknown: tuple[str, ...]  # keys nobody knows: kept, and named once
    defaults: tuple[str, ...]  # sentences that name what was assumed
    purpose: str = "display"  # one of PURPOSES
    neighbours: tuple[Neighbour, ...] = ()

    def method(self, quantity_name: str, name: str = "") -> Performance:
        """What is assumed of a reading: the keeper's own figure first, then common practice."""
        mine = [m for m in self.methods if m.quantity == quantity_name]
        for m in mine:
            if m.name == name:
                return m.performance
        if not name and mine:
            return mine[0].performance
        return performance(quantity_name, name)

    def band(self, quantity_name: str) -> Band | None:
        """The band of a quantity: the system's own, else the common one, else none."""
        own = self.bands.get(quantity_name)
        if own is not None:
            return own
        found = default_bands.DEFAULTS.get(quantity_name)
        return Band(quantity_name, found[0], found[1], is_default=True) if found else None


def parse(document: str) -> System:
    """Read a system description (contract section 5).

    Unknown keys are kept in the document and named in `System.unknown`; what is left out has a default that
    `System.defaults` names.

    Raises
    ------
    BadInput
        With the place in the document and what would mend it.
    """
    try:
        data = tomllib.loads(document)
    except (tomllib.TOMLDecodeError, RecursionError) as exc:
        raise BadInput(f"not valid TOML: {exc}", way_out="Compare it with the example in the README.") from exc
    return _Reader(data).system()


def _split(name: str, raw: Any) -> tuple[float, str]:
    """Value and unit of a TOML amount; a bare ratio may carry its unit `1` (pH)."""
    text = str(raw).strip()
    if quantity(name).unit == "1" and text.endswith(" 1"):
        text = text[:-2]
    number, unit = units.split_value_unit(text)
    if not unit and quantity(name).unit != "1":
        shown = display(name).unit
        raise BadInput(f"{text!r} has no unit", way_out=f"Write it like {text} {shown}.")
    return number, unit


class _Reader:
    def __init__(self, data: Mapping[str, Any]) -> None:
        self.data = data
        self.unknown: list[str] = []
        self.defaults: list[str] = []

    def system(self) -> System:
        head = self._table(self.data, "system", required=True)
        self._note_unknown(
            self.data,
            "",
            {"system", "vessel", "room", "equipment", "stream", "method", "band", "solution", "neighbour"},
        )
        self._note_unknown(
            head, "system.", {"id", "name", "time_zone", "net_volume", "net_volume_sd", "units", "note", "purpose"}
        )
        ident = str(head.get("id", ""))
        if not _ID.match(ident):
            raise BadInput(
                f"system.id = {ident!r}" if ident else "system.id is missing",
                way_out="Give it lower-case letters, digits and hyphens, such as north-room.",
            )
        vessels = tuple(self._vessel(v, i) for i, v in enumerate(self._tables("vessel")))
        self._unique("vessel", [v.id for v in vessels])
        time_zone = str(head.get("time_zone", ""))
        if time_zone:
            zone(time_zone)
        else:
            time_zone = "UTC"
            self.defaults.append("no time_zone given: UTC is used")
        volume, sd = self._volume(head, vessels)
        shown = str(head.get("units", "metric"))
        if shown not in ("metric", "us"):
            raise BadInput(f"system.units = {shown!r}", way_out='Use "metric" or "us".')
        equipment = tuple(self._equipment(e, i) for i, e in enumerate(self._tables("equipment")))
        self._unique("equipment", [e.id for e in equipment])
        streams = tuple(self._stream(s, i) for i, s in enumerate(self._tables("stream")))
        self._unique("stream", [s.id for s in streams])
        methods = tuple(self._method(m, i) for i, m in enumerate(self._tables("method")))
        bands = {b.quantity: b for b in (self._band(b, i) for i, b in enumerate(self._tables("band")))}
        solutions = dict(self._solution(s, i) for i, s in enumerate(self._tables("solution")))
        for e in equipment:
            if e.substance and e.concentration_g_l and e.substance not in solutions:
                solutions.setdefault(f"{e.id}:{e.substance}", {e.substance: e.concentration_g_l})
        return System(
            ident, str(head.get("name", ident)), time_zone, volume, sd, shown, vessels, self._room(), equipment,
            streams, methods, bands, solutions, tuple(self.unknown), tuple(self.defaults), self._purpose(head, ident),
            tuple(self._neighbour(n, i) for i, n in enumerate(self._tables("neighbour"))),
        )  # fmt: skip

    # -- parts -------------------------------------------------------------------------------------

    def _volume(self, head: Mapping[str, Any], vessels: tuple[Vessel, ...]) -> tuple[float, float]:
        if "net_volume" in head:
            volume = self._amount(head["net_volume"], "volume", "system.net_volume")
        else:
            volume = 0.85 * sum(v.volume_l or 0.0 for v in vessels)
            if volume <= 0:
                raise BadInput(
                    "system.net_volume is missing",
                    way_out='Say how much water there is, such as net_volume = "1150 L".',
                )
            self.defaults.append(f"no net_volume given: {volume:.0f} L, 85 % of the vessels, is used (common practice)")
        if volume <= 0:
            raise BadInput(f"system.net_volume = {head['net_volume']!r}", way_out="A volume is above zero.")
        if "net_volume_sd" in head:
            sd = self._amount(head["net_volume_sd"], "volume", "system.net_volume_sd")
            if sd <= 0:
                raise BadInput(f"system.net_volume_sd = {head['net_volume_sd']!r}", way_out="It is above zero.")
        else:
            sd = 0.08 * volume
            self.defaults.append(f"no net_volume_sd given: 8 % ({sd:.0f} L) is used (common practice)")
        return volume, sd

    def _purpose(self, head: Mapping[str, Any], ident: str) -> str:
        if "purpose" not in head:  # a quarantine tank goes by its name; anything else is shown to people
            named = f"{ident} {head.get('name', '')}".lower()
            return "quarantine" if "quarantine" in named else "hospital" if "hospital" in named else "display"
        purpose = str(head["purpose"])
        if purpose not in PURPOSES:
            raise BadInput(f"system.purpose = {purpose!r}", way_out=f"Use one of {', '.join(PURPOSES)}.")
        return purpose

    def _neighbour(self, table: Mapping[str, Any], index: int) -> Neighbour:
        where = f"neighbour {index + 1}"
        self._note_unknown(table, f"{where}.", {"system", "distance", "note"})
        if not table.get("system"):
            raise BadInput(
                f"{where}: system is missing", way_out='Name the system that stands near: system = "north-room".'
            )
        distance = self._maybe(table, "distance", "length", where)
        return Neighbour(str(table["system"]), 1.0 if distance is None else distance)

    def _vessel(self, table: Mapping[str, Any], index: int) -> Vessel:
        where = f"vessel {index + 1}"
        self._note_unknown(table, f"{where}.", {"id", "inner_size", "volume", "spare_volume", "name", "note"})
        ident = self._ident(table, where)
        size = None
        if "inner_size" in table:
            raw = table["inner_size"]
            if not isinstance(raw, list) or len(raw) != 3:
                raise BadInput(
                    f"{where} ({ident}): inner_size = {raw!r}",
                    way_out='Give length, depth and water height: ["2.00 m", "0.75 m", "0.65 m"].',
                )
            a, b, c = (self._amount(x, "length", f"{where} ({ident}).inner_size") for x in raw)
            size = (a, b, c)
        volume = self._maybe(table, "volume", "volume", where)
        if volume is None and size is not None:
            volume = size[0] * size[1] * size[2] * 1000.0
        return Vessel(ident, volume, self._maybe(table, "spare_volume", "volume", where), size)

    def _room(self) -> Room:
        table = self._table(self.data, "room")
        self._note_unknown(table, "room.", {"temperature", "relative_humidity", "co2", "note"})
        room = Room()
        if not table:
            self.defaults.append("no room given: 22 °C, 50 % relative humidity, 600 ppm CO2 are used")
        humidity = table.get("relative_humidity", room.relative_humidity)
        if isinstance(humidity, str) and "%" in humidity:
            humidity = self._amount(humidity, "fraction", "room.relative_humidity")
        else:
            humidity = self._number(humidity, "room.relative_humidity")
            humidity /= 100.0 if humidity > 1.0 else 1.0
        if not 0.0 <= humidity <= 1.0:
            raise BadInput(f"room.relative_humidity = {table.get('relative_humidity')!r}", way_out="Give 0.55 or 55 %.")
        co2 = table.get("co2", room.co2_ppm)
        co2_ppm = self._number(str(co2).lower().replace("ppm", "").strip(), "room.co2")
        return Room(self._maybe(table, "temperature", "temperature", "room") or room.temperature_c, humidity, co2_ppm)

    def _equipment(self, table: Mapping[str, Any], index: int) -> Equipment:
        where = f"equipment {index + 1}"
        ident = self._ident(table, where)
        kind = str(table.get("type", "")) or ident.rsplit("-", 1)[0]
        known = {
            "id", "type", "power", "setpoint", "stream", "substance", "rate", "container", "schedule", "per_day",
            "concentration", "reservoir", "water", "on", "off", "ramp", "par", "flow", "head", "vessel", "name", "note",
            "skimmate", "guard",
        }  # fmt: skip
        self._note_unknown(table, f"{where} ({ident}).", known)
        rest = {k: v for k, v in table.items() if k not in ("id", "type", "power", "setpoint", "stream", "substance")}
        per_day = table.get("per_day")
        concentration = table.get("concentration")
        return Equipment(
            ident,
            kind,
            self._maybe(table, "power", "power", where) if "power" in table else None,
            self._maybe(table, "setpoint", "temperature", where),
            str(table.get("stream", "")),
            str(table.get("substance", "")),
            self._per_day(per_day, f"{where} ({ident}).per_day") if per_day is not None else None,
            self._amount(concentration, "concentration", f"{where} ({ident}).concentration")
            if isinstance(concentration, str)
            else None,
            rest,
        )

    def _per_day(self, raw: Any, where: str) -> float:
        text = re.sub(r"\s*(/\s*d(ay)?|per day)\s*$", "", str(raw))
        return self._amount(text, "volume", where) * 1000.0

    def _stream(self, table: Mapping[str, Any], index: int) -> Stream:
        where = f"stream {index + 1}"
        ident = self._ident(table, where)
        self._note_unknown(
            table,
            f"{where} ({ident}).",
            {"id", "quantity", "unit", "period", "vessel", "room", "note", "resolution"},
        )
        name = str(table.get("quantity", ""))
        if name and name != "ph_total":
            self._named(lambda: quantity(name), f"{where} ({ident}).quantity")
        if not name and ident in QUANTITIES:
            name = ident
        unit = str(table.get("unit", ""))
        if name and unit:
            self._named(lambda: convert.needs(name, unit), f"{where} ({ident}).unit")
        period = self._maybe(table, "period", "time", where)
        return Stream(
            ident, name, unit, 60.0 if period is None else period, str(table.get("vessel", "")),
            bool(table.get("room", False)),
        )  # fmt: skip

    def _method(self, table: Mapping[str, Any], index: int) -> Method:
        where = f"method {index + 1}"
        self._note_unknown(table, f"{where}.", {"quantity", "name", "sd", "minutes", "step", "bias_sd", "note"})
        name = str(table.get("quantity", ""))
        self._named(lambda: quantity(name), f"{where}.quantity")
        title = str(table.get("name", ""))
        usual = performance(name, title)
        sd = self._spread(name, table["sd"], f"{where}.sd") if "sd" in table else usual.sd
        step = self._spread(name, table["step"], f"{where}.step") if "step" in table else usual.step
        bias = self._spread(name, table["bias_sd"], f"{where}.bias_sd") if "bias_sd" in table else usual.bias_sd
        if "sd" in table and sd < 0:
            raise BadInput(f"{where}.sd = {table['sd']!r}", way_out="A standard deviation is not negative.")
        minutes = self._number(table["minutes"], f"{where}.minutes") if "minutes" in table else usual.minutes
        relative = 0.0 if "sd" in table else usual.relative
        return Method(name, title, Performance(sd, relative, bias, usual.bias_relative, step, minutes))

    def _band(self, table: Mapping[str, Any], index: int) -> Band:
        where = f"band {index + 1}"
        self._note_unknown(table, f"{where}.", {"quantity", "aim", "limit", "note", "contested"})
        name = str(table.get("quantity", ""))
        self._named(lambda: quantity(name), f"{where}.quantity")
        if "aim" not in table:
            raise BadInput(
                f"{where} ({name}): aim is missing", way_out='Give two values: aim = ["7.5 dKH", "9.0 dKH"].'
            )
        aim = self._range(name, table["aim"], f"{where} ({name}).aim")
        limit = self._range(name, table["limit"], f"{where} ({name}).limit") if "limit" in table else None
        if limit and not (limit[0] <= aim[0] and aim[1] <= limit[1]):
            raise BadInput(f"{where} ({name}): the aim lies outside the limit", way_out="The limit encloses the aim.")
        return Band(name, aim, limit)

    def _solution(self, table: Mapping[str, Any], index: int) -> tuple[str, Mapping[str, float]]:
        where = f"solution {index + 1}"
        ident = self._ident(table, where)
        recipe = table.get("recipe")
        if not isinstance(recipe, dict) or not recipe:
            raise BadInput(
                f"{where} ({ident}): recipe is missing",
                way_out='Say what a litre holds: recipe = { "sodium-carbonate" = "95 g/L" }.',
            )
        parts = {str(k): self._amount(v, "concentration", f"{where} ({ident}).recipe.{k}") for k, v in recipe.items()}
        return ident, parts

    # -- small readers -----------------------------------------------------------------------------

    def _table(self, data: Mapping[str, Any], key: str, required: bool = False) -> Mapping[str, Any]:
        table = data.get(key, {})
        if not isinstance(table, dict) or (required and not table):
            raise BadInput(f"[{key}] is missing", way_out=f"A description begins with [{key}].")
        return table

    def _tables(self, key: str) -> list[Mapping[str, Any]]:
        tables = self.data.get(key, [])
        if not isinstance(tables, list) or not all(isinstance(t, dict) for t in tables):
            raise BadInput(f"[{key}] must be written [[{key}]]", way_out=f"There can be several of {key}.")
        return tables

    def _ident(self, table: Mapping[str, Any], where: str) -> str:
        ident = str(table.get("id", ""))
        if not ident:
            raise BadInput(f"{where}: id is missing", way_out='Give it a short name, such as id = "sump".')
        return ident

    def _unique(self, kind: str, idents: list[str]) -> None:
        twice = sorted({i for i in idents if idents.count(i) > 1})
        if twice:
            raise BadInput(f"two of {kind} have the id {twice[0]!r}", way_out="Each id stands once.")

    def _note_unknown(self, table: Mapping[str, Any], prefix: str, known: set[str]) -> None:
        self.unknown.extend(f"{prefix}{key}" for key in table if key not in known)

    def _amount(self, raw: Any, dimension: str, where: str) -> float:
        amount = self._named(lambda: units.parse_amount(str(raw), cast(units.Dimension, dimension)), where)
        if amount < 0 and dimension != "temperature":
            raise BadInput(f"{raw!r} is below zero", where=where, way_out="Give zero or more.")
        return amount

    def _number(self, raw: Any, where: str) -> float:
        found = self._named(lambda: units.parse_number(str(raw)), where)
        if found < 0:
            raise BadInput(f"{raw!r} is below zero", where=where, way_out="Give zero or more.")
        return found

    def _maybe(self, table: Mapping[str, Any], key: str, dimension: str, where: str) -> float | None:
        return self._amount(table[key], dimension, f"{where}.{key}") if key in table else None

    def _range(self, name: str, raw: Any, where: str) -> tuple[float, float]:
        if not isinstance(raw, list) or len(raw) != 2:
            raise BadInput(f"{where} = {raw!r}", way_out='Give two values: ["7.5 dKH", "9.0 dKH"].')
        low, high = (self._value(name, x, where) for x in raw)
        if low > high:
            raise BadInput(f"{where} = {raw!r}", way_out="The lower value comes first.")
        return low, high

    def _value(self, name: str, raw: Any, where: str) -> float:
        def read() -> float:
            number, unit = _split(name, raw)
            return convert.to_stored(name, number, unit).value

        return self._named(read, where)

    def _spread(self, name: str, raw: Any, where: str) -> float:
        def read() -> float:
            number, unit = _split(name, raw)
            return abs(convert.sd_to_stored(name, number, unit)) if number >= 0 else -1.0

        return self._named(read, where)

    def _named(self, read: Callable[[], T], where: str) -> T:
        try:
            return read()
        except LeadlineError as exc:
            raise BadInput(exc.what, where=where, way_out=exc.way_out) from exc
