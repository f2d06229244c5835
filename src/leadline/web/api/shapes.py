"""The shapes of what the API answers, as its document tells them; what makes them stands in `app.answers`."""

from __future__ import annotations

import datetime as dt
from typing import Any, Literal

from msgspec import UNSET, Struct, UnsetType

When = dt.datetime


class Refused(Struct):
    """Why something was not done: one line that says what, where and what to do."""

    schema: Literal["leadline.refused/1"]
    words: str


# -- systems -------------------------------------------------------------------------------------------


class SystemName(Struct):
    id: str
    name: str


class Systems(Struct):
    """Every system."""

    schema: Literal["leadline.systems/1"]
    systems: list[SystemName]


class SystemKept(Struct):
    """A description that was kept: what of it was not understood, and which defaults are used."""

    schema: Literal["leadline.system/1"]
    system: str
    name: str
    unknown: list[str]
    defaults: list[str]


class Volume(Struct):
    """In litres."""

    unit: str
    mean: float
    sd: float


class Machine(Struct):
    id: str
    type: str


class StreamName(Struct):
    id: str
    quantity: str


class Band(Struct):
    """In the stored unit of the quantity."""

    aim: list[float]
    limit: list[float] | None


class System(Struct):
    """What stands there."""

    schema: Literal["leadline.system/1"]
    system: str
    name: str
    time_zone: str
    net_volume: Volume
    units: str
    vessels: list[str]
    equipment: list[Machine]
    streams: list[StreamName]
    bands: dict[str, Band]
    unknown: list[str]
    defaults: list[str]


# -- water ---------------------------------------------------------------------------------------------


class NetVolume(Struct):
    """In litres: what is believed, and what was stated."""

    unit: str
    mean: float
    sd: float
    stated: float


class MeanSd(Struct):
    mean: float
    sd: float


class LastReading(Struct):
    time: When
    value: float
    sd: float | None
    method: str
    id: str


class Outlook(Struct):
    """What is expected in so many days, if nothing is done."""

    days: float
    mean: float
    sd: float
    p_outside_aim: float | None
    p_outside_limit: float | None
    p_reaches_limit: float | None


class Doubtful(Struct):
    """A reading that does not fit, and what it may be."""

    id: str
    time: When
    typed: str
    value: float
    expected: float
    expected_sd: float
    kind: str
    probability: float
    guess: str
    guess_value: float | None


class Quantity(Struct):
    """What is believed of a quantity, in its stored unit."""

    unit: str
    mean: float
    sd: float
    q05: float
    q25: float
    q50: float
    q75: float
    q95: float
    rate_per_day: MeanSd
    demand_per_day: MeanSd | None
    last_reading: LastReading | None
    never_measured: bool
    prior: str
    aim: list[float] | None
    limit: list[float] | None
    band_is_default: bool
    p_outside_aim: float | None
    p_outside_limit: float | None
    meets_edge: When | None
    forecast: list[Outlook]
    doubtful: list[Doubtful]


class Estimate(Struct):
    """Every quantity of a system: mean, spread, chance of being outside its band, now and later."""

    schema: Literal["leadline.estimate/1"]
    system: str
    as_of: When
    net_volume: NetVolume
    warnings: list[str]
    quantities: dict[str, Quantity]


class Evidence(Struct):
    what: str
    value: float | str
    unit: str


class Item(Struct):
    rank: int
    action: str
    subject: str
    system: str
    urgency: str
    minutes: float
    because: str
    risk: float
    worth: float
    entry: str | None
    evidence: list[Evidence]


class Later(Struct):
    action: str
    subject: str
    system: str
    until: When | None
    because: str
    minutes: float


class Round(Struct):
    """What to do now, ranked by harm avoided per minute, and what can wait until when."""

    schema: Literal["leadline.round/1"]
    system: str | None
    as_of: When
    minutes: float
    items: list[Item]
    left_for_later: list[Later]


# -- journal -------------------------------------------------------------------------------------------


class Entry(Struct):
    """An entry that was made."""

    schema: Literal["leadline.entry/1"]
    id: str
    time: When
    system: str
    kind: str
    subject: str
    value: float | None
    unit: str
    stored: float | None
    method: str


class Question(Struct):
    """A reading that surprises: what was expected, and what it may be."""

    kind: str
    expected: float
    expected_sd: float
    guess: str
    guess_value: float | None


class Logged(Entry, kw_only=True):
    """An entry that was made, what was assumed of its unit, and the question that it raises."""

    assumed: list[str]
    question: Question | None


class Line(Struct, kw_only=True):
    """An entry as it stands in the journal: `stands`, `corrected` or `withdrawn`, and the entry in its place."""

    schema: Literal["leadline.journal/1"]
    id: str
    time: When
    system: str
    kind: str
    subject: str
    value: float | None
    unit: str
    note: str
    state: str
    instead: str | None


class File(Struct):
    """A file kept with an entry, without its bytes."""

    id: str
    entry: str
    name: str
    media_type: str
    size: int
    added_at: When
    note: str


class Whole(Struct, kw_only=True, rename={"source": "from"}):
    """An entry with all that was written about the same happening, and its files."""

    schema: Literal["leadline.whole-entry/1"]
    id: str
    time: When
    system: str
    kind: str
    subject: str
    value: float | None
    unit: str
    note: str
    state: Literal["stands", "corrected", "withdrawn"]
    instead: str | None
    line: list[str]
    files: list[File]
    method: str
    sd: float | None
    to: str
    source: str
    recorded_at: When | None
    extra: dict[str, Any]
    stored: float | None
    stored_sd: float | None


class JournalPage(Struct):
    """Some entries, the newest first; ask again with `before` set to `more` for the next page."""

    schema: Literal["leadline.journal-page/1"]
    entries: list[Line]
    found: int
    more: When | None


# -- streams -------------------------------------------------------------------------------------------


class Point(Struct):
    time: When
    value: float


class Stream(Struct):
    system: str
    stream: str
    quantity: str | None
    unit: str | None
    declared: bool
    state: str
    period_s: float
    last: Point | None


class Streams(Struct):
    """Every stream with its last point; `state` is `live`, `silent` or `never`."""

    schema: Literal["leadline.streams/1"]
    as_of: When
    streams: list[Stream]


class Flagged(Struct):
    """One point with its QARTOD flag: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing."""

    time: When
    value: float | None
    flag: int


class Bucket(Struct):
    """One hour or day, in UTC."""

    start: When
    n: int
    least: float
    greatest: float
    mean: float


class Points(Struct):
    """A window of one stream, oldest first: points, or buckets with their extremes; the next begins at `more`."""

    schema: Literal["leadline.points/1"]
    system: str
    stream: str
    unit: str | None
    start: When
    end: When
    rollup: Literal["raw", "hour", "day"]
    more: When | None
    points: list[Flagged]
    buckets: list[Bucket]


class Taken(Struct):
    """What became of posted points: they are on disk, held for you to judge, or refused for good."""

    schema: Literal["leadline.taken/1"]
    kept: int
    held: int
    refused: list[str]
    why_held: list[str]


class Health(Struct):
    """Whether the watch lives."""

    schema: Literal["leadline.health/1"]
    ok: bool
    words: str
    beat: int | UnsetType = UNSET
    at: When | UnsetType = UNSET
    seconds_since_beat: float | UnsetType = UNSET
    waiting: int | UnsetType = UNSET
    feeds: dict[str, dict[str, bool]] | UnsetType = UNSET


# -- alarms --------------------------------------------------------------------------------------------


class Told(Struct):
    person: str
    path: str
    stage: str
    tries: int
    note: str


class Standing(Struct):
    """One alarm that is not normal."""

    schema: Literal["leadline.standing/1"]
    system: str
    alarm: str
    subject: str
    state: str
    priority: str
    value: float | None
    because: str
    cause: str
    began: When
    harm_at: When | None
    until: When | None
    told: list[Told]


class Alarms(Struct):
    """Alarms that stand, the loudest first."""

    schema: Literal["leadline.alarms/1"]
    as_of: When
    alarms: list[Standing]


class AlarmState(Struct):
    """How an alarm stands after what was done."""

    schema: Literal["leadline.alarm-state/1"]
    system: str
    alarm: str
    state: str


class Figures(Struct):
    """How well the alarms serve (IEC 62682)."""

    schema: Literal["leadline.figures/1"]
    days: float
    announced: int
    most_in_ten_minutes: int
    busy_share: float
    floods: int
    flood_share: float
    most_frequent: list[list[Any]]
    top_share: float
    chattering: dict[str, float]
    fleeting: int
    stale: dict[str, float]
    by_priority: dict[str, float]
    answered: int
    median_answer_s: float | None
    nights: int
    shelved: int
    suppressed: int
    per_week: float


class Path(Struct):
    person: str
    path: str
    kind: str
    proved: bool
    words: str
    proved_at: When | None
    answered: int
    missed: int
    p_dead: float
    shares: list[str]


class Paths(Struct):
    """Every person's every path with its proof, and the chance that an alarm tonight reaches nobody."""

    schema: Literal["leadline.paths/1"]
    as_of: When
    p_nobody_tonight: float
    paths: list[Path]


class Asked(Struct):
    person: str
    path: str


class ProofAsked(Struct):
    """Proofs that are on their way once a watch runs."""

    schema: Literal["leadline.proof-asked/1"]
    asked: list[Asked]
