"""The shapes of what the API answers of livestock: the register, an animal, a quarantine, a trace."""

from __future__ import annotations

from typing import Any, Literal

from msgspec import UNSET, Struct, UnsetType

from leadline.web.api.shapes import When


class Lot(Struct, kw_only=True):
    """An animal or a group, in terms of Darwin Core as far as they reach."""

    organismID: str
    scientificName: str | None
    vernacularName: str | None
    kind: str | None
    kind_guessed: bool
    group: str
    about: dict[str, Any]


class Kept(Lot, kw_only=True):
    """Where it lives; nowhere for one that is gone."""

    system: str | None
    count: float
    since: When | UnsetType | None = UNSET
    last_seen: When | UnsetType | None = UNSET
    p_gone: float | UnsetType | None = UNSET


class Livestock(Struct):
    """Who lives where; `odd` is what does not fit together."""

    schema: Literal["leadline.livestock/1"]
    as_of: When
    livestock: list[Kept]
    odd: list[str]


class Stay(Struct):
    place: str
    since: When
    until: When | None
    count: float


class CameIn(Struct):
    time: When
    place: str
    source: str
    count: float


class Went(Struct):
    time: When
    place: str
    count: float
    how: str
    exam: dict[str, Any]
    note: str


class Noted(Struct):
    time: When
    place: str
    what: str
    value: float | None
    unit: str
    note: str


class Hazard(Struct):
    id: str
    caution: str


class Animal(Lot, kw_only=True):
    """One animal or group with its history."""

    schema: Literal["leadline.animal/1"]
    as_of: When
    here: dict[str, float]
    stays: list[Stay]
    came: list[CameIn]
    gone: list[Went]
    notes: list[Noted]
    hazards: list[Hazard]
    photographs: int


class Temperature(Struct):
    low: float
    high: float
    unit: str


class Against(Struct):
    pest: str
    hosts: list[str]
    window_days: list[float | None] | None
    observe_days: float | None
    no_data: str | list[str] | None


class Step(Struct):
    key: str
    action: str
    what: str
    opens: When | None
    closes: When | None
    state: str
    why: str
    pests: list[str]
    done: When | bool | None


class Quarantine(Struct):
    """Where a quarantine stands: windows, what is due, what may be concluded. No dose is ever told."""

    schema: Literal["leadline.quarantine/1"]
    system: str
    as_of: When
    started: When
    because: str
    lots: list[str]
    days: float
    looked_on: float | None
    temperature: Temperature | None
    against: list[Against]
    steps: list[Step]
    release: When | None
    release_why: str
    skipped: list[str]
    no_data: list[str]
    conclusion: str


class EmptyQuarantine(Struct):
    """A system in which nothing lives."""

    schema: Literal["leadline.quarantine/1"]
    system: str
    as_of: When
    lots: list[str]


class Hop(Struct):
    place: str
    time: When
    by: str | None
    what: str | None


class Exposed(Struct):
    place: str
    chance: float
    range: list[float]
    earliest: When
    path: list[Hop]
    hosts: list[str]
    look_until: When | None


class TraceForward(Struct):
    """Where it can be by now. Chances are planning figures."""

    schema: Literal["leadline.trace-forward/1"]
    pest: str
    origin: str
    since: When
    as_of: When
    exposed: list[Exposed]
    carriers: list[str]


class Passed(Struct):
    place: str
    time: When


class Suspect(Struct):
    animal: str | None
    came: When | None
    source: str | None
    share: float
    why: str
    path: list[Passed]


class TraceBackward(Struct):
    """Which arrivals can have brought it, the likeliest first. Shares are planning figures."""

    schema: Literal["leadline.trace-backward/1"]
    pest: str
    place: str
    seen: When
    suspects: list[Suspect]
    not_followed: int
    excluded: int
    too_old: int
