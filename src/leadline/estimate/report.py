"""The shapes in which an estimate is handed on: to the round, the pages and the command line."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class LastReading:
    """The latest reading that the estimate used."""

    time: dt.datetime
    value: float  # in the quantity's stored unit
    sd: float
    method: str
    id: str = ""


@dataclass(frozen=True, slots=True)
class Outlook:
    """The estimate carried some days ahead, all known inputs continuing as they are."""

    days: float
    mean: float
    sd: float
    p_outside_aim: float
    p_outside_limit: float
    p_reaches_limit: float  # ever past the limit between now and then (first passage)


@dataclass(frozen=True, slots=True)
class Doubtful:
    """A reading that fits badly: a slip of the unit, a blunder, or a real change."""

    id: str
    time: dt.datetime
    value: float  # as stored
    expected: float
    expected_sd: float
    kind: str  # "slip" | "blunder" | "step"
    probability: float
    guess: str = ""  # for a slip, in words: "looks like meq/L typed as dKH"
    guess_value: float | None = None  # for a slip: what it would be, stored unit
    typed: str = ""  # as typed, "2.9 dKH"


@dataclass(frozen=True, slots=True)
class QuantityEstimate:
    """What is believed about one quantity now. All values in `unit`, the quantity's stored unit."""

    quantity: str
    unit: str
    mean: float
    sd: float
    q05: float
    q25: float
    q50: float
    q75: float
    q95: float
    rate_mean: float  # per day, net of everything
    rate_sd: float
    demand_mean: float | None  # per day, what the system itself takes (positive) when inputs are known
    demand_sd: float | None
    last_reading: LastReading | None
    aim: tuple[float, float] | None
    limit: tuple[float, float] | None
    band_is_default: bool
    p_outside_aim: float
    p_outside_limit: float
    forecast: tuple[Outlook, ...]
    meets_edge: dt.datetime | None  # when the 90 % spread touches the aim's edge; past or future
    prior: str = ""  # for a quantity never measured: where the belief comes from
    doubtful: tuple[Doubtful, ...] = ()
    rests_on: tuple[str, ...] = ()  # ids of the entries that decide it, latest first
    why: tuple[str, ...] = ()  # plain sentences: inputs, formula's source, uncertainty
    test_settles: float | None = None  # share of the present variance that one more test by the usual kit removes


@dataclass(frozen=True, slots=True)
class Fix:
    """One reading as drawn on a course."""

    time: dt.datetime
    value: float
    sd: float
    method: str
    id: str
    doubtful: bool = False
    probe: bool = False


@dataclass(frozen=True, slots=True)
class Course:
    """One quantity's reckoned track: what was believed at each moment, from what was known then."""

    quantity: str
    unit: str
    times: tuple[dt.datetime, ...]
    mean: tuple[float, ...]
    q05: tuple[float, ...]
    q95: tuple[float, ...]
    fixes: tuple[Fix, ...]
    now: dt.datetime
    marks: tuple[tuple[dt.datetime, str, str], ...] = ()  # time, kind (exchange, addition …), words


@dataclass(frozen=True, slots=True)
class SystemEstimate:
    """Everything believed about one system at one moment."""

    system: str
    name: str
    as_of: dt.datetime
    units: str  # metric | us
    time_zone: str
    quantities: dict[str, QuantityEstimate]
    net_volume_l: float
    net_volume_sd_l: float
    net_volume_stated_l: float
    warnings: tuple[str, ...] = field(default=())  # defaults used, streams that disagree …
