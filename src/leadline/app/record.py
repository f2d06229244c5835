"""Write an entry, correct an entry, take one back: what the keeper typed is kept as it was typed."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from leadline.app import describe, enquire
from leadline.app.ports import Store
from leadline.estimate.report import Doubtful
from leadline.journal.entry import KINDS, Entry, content_id
from leadline.measures import units
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock, parse, zone
from leadline.measures.quantities import QUANTITIES, canonical_name, quantity, stored_name
from leadline.model import substances, waters
from leadline.seawater import convert
from leadline.system.description import System

_LITRES = frozenset({"exchange", "topoff"})
_SENT = "sent"  # records of marks; apart from the tokens of devices, which a mark of the same name must not replace
_AHEAD = dt.timedelta(minutes=10)  # a clock that runs a little ahead is forgiven


@dataclass(frozen=True, slots=True)
class Logged:
    """What became of an entry: as it is kept, whether it surprises, what was assumed of its unit.

    `again` says that it was there already: sent twice, or word for word the same.
    """

    entry: Entry
    doubtful: Doubtful | None
    assumed: tuple[str, ...]
    again: bool = False


def sent(store: Store, token: str) -> Entry | None:
    """The entry that was written with this mark; None when none was."""
    kept = store.record(_SENT, token) if token else None
    return store.entry(str(kept)) if kept is not None else None


def once(store: Store, token: str, make: Callable[[], Entry]) -> tuple[Entry, bool]:
    """Make an entry, or find the one that was made with this mark; and whether it was there already.

    Without a mark it is made each time.
    """
    before = sent(store, token)
    if before is not None:
        return before, True
    with store.together():
        made = make()
        if token:
            store.put_record(_SENT, token, made.id)
    return made, False


def log(
    store: Store,
    clock: Clock,
    *,
    system: str,
    kind: str,
    subject: str,
    value_text: str,
    unit: str,
    method: str = "",
    time: dt.datetime | str | None = None,
    note: str = "",
    extra: Mapping[str, Any] | None = None,
    token: str = "",
    sd_text: str = "",
    to: str = "",
    source: str = "",
) -> Logged:
    """One entry by hand. The same `token` sent twice is one entry.

    Raises
    ------
    BadInput, UnknownName
        One line that says what cannot be used and what to do.
    """
    if kind not in KINDS:
        raise UnknownName("kind of entry", kind, KINDS)
    before = sent(store, token)
    if before is not None:
        return Logged(before, _doubt(store, clock, before), (), again=True)
    described = describe.load(store, system)
    now = clock.now()
    when = _moment(time, described, now)
    more = dict(extra or {})
    if kind == "reading" and value_text.lstrip().startswith("<"):  # below what the kit can show: kept, and said so
        value_text, more = value_text.lstrip()[1:], {**more, "below_detection": True}
    value = units.parse_typed(value_text) if value_text.strip() else None
    sd = units.parse_typed(sd_text) if sd_text.strip() else None
    entry = Entry(
        when, system, kind, _as_known(kind, subject.strip(), described), value,
        unit.strip(), method.strip(), sd, to.strip(), source.strip(),
        now if now - when > dt.timedelta(minutes=1) else None, note.strip(), more,
    )  # fmt: skip
    entry, assumed = understood(store, described, entry)
    if kind in ("treatment", "transfer", "exchange") or (kind == "addition" and not _reckoned(subject, described)):
        from leadline.app import stock_warn

        stock_warn.refuse_poison(store, clock, entry)
    entry = replace(entry, id=content_id(entry))
    if store.entry(entry.id) is not None and not token:
        return Logged(entry, _doubt(store, clock, entry), assumed, again=True)
    with store.together():
        store.add_entries([entry])
        if token:
            store.put_record(_SENT, token, entry.id)
    return Logged(entry, _doubt(store, clock, entry), assumed)


def understood(store: Store, system: System, entry: Entry) -> tuple[Entry, tuple[str, ...]]:
    """The entry with its stored value filled in and its kind's rules checked."""
    kind, value = entry.kind, entry.value
    if value is not None and not math.isfinite(value):
        raise BadInput(f"{value} is no amount", way_out="Give a finite number.")
    if kind == "reading":
        return _reading(entry)
    if kind in _LITRES:
        if value is None:
            raise BadInput(f"an {kind} needs its volume", way_out="For example: 40 L.")
        if value <= 0:
            raise BadInput(f"{value:g} {entry.unit or 'L'} is no volume", way_out="A volume is above zero.")
        if entry.unit.strip() in ("%", "percent"):  # of the net volume; kept as typed, with the litres beside it
            litres = value / 100.0 * system.net_volume_l
            return replace(entry, stored=litres), (f"{litres:.0f} L, of {system.net_volume_l:.0f} L net",)
        if units.to_litres(value, entry.unit or "L") > 10.0 * system.net_volume_l:
            raise BadInput(f"{value:g} {entry.unit or 'L'} into {system.net_volume_l:.0f} L", way_out="Check the unit.")
        waters.check(entry.extra)
        notes: tuple[str, ...] = ()
        if entry.subject and not waters.known(entry.subject) and "salinity" not in entry.extra:
            notes = (
                f"nobody knows the water {entry.subject!r}: {_near(entry.subject, waters.WATERS)}state its salinity",
            )
        return replace(entry, stored=units.to_litres(value, entry.unit or "L")), notes
    if kind in ("addition", "feeding"):
        if not entry.subject:
            raise BadInput(f"{kind} of what?", way_out="Name it, for example sodium-bicarbonate.")
        if value is None or value < 0:
            raise BadInput(f"{kind} needs an amount of zero or more", way_out="For example: 12 g.")
        weighed = _weighed(entry)
        if weighed.stored is not None and weighed.stored > 50.0 * system.net_volume_l:
            raise BadInput(
                f"{value:g} {entry.unit or 'g'} into {system.net_volume_l:.0f} L",
                way_out="Check amount and unit.",
            )
        if kind == "addition" and not _reckoned(entry.subject, system):
            near = _near(entry.subject, [*substances.SUBSTANCES, *system.solutions])
            return _weighed(entry), (f"nobody knows {entry.subject!r}: {near}kept, but not reckoned",)
        return _weighed(entry), ()
    if kind == "transfer" and not entry.to:
        raise BadInput("a transfer needs where it went", way_out="Say it with --to.")
    if kind in ("service", "observation", "arrival", "treatment", "transfer", "loss") and not entry.subject:
        raise BadInput(f"{kind} of what?", way_out="Name it.")
    return entry, ()


def _as_known(kind: str, subject: str, system: System) -> str:
    """What is added, by the name under which it is known: `Baking soda` is baking-soda."""
    plain = "-".join(subject.lower().split())
    return plain if kind == "addition" and not _reckoned(subject, system) and _reckoned(plain, system) else subject


def _reckoned(subject: str, system: System) -> bool:
    return substances.known(subject) or subject in system.solutions


def _near(name: str, known: Iterable[str]) -> str:
    near = UnknownName("", name, known).near
    return f"did you mean {' or '.join(near)}? " if near else ""


def _weighed(entry: Entry) -> Entry:
    """An addition or a feeding in grams or litres; feedings go by other measures too, and are then kept as typed."""
    assert entry.value is not None
    unit = entry.unit or "g"
    for to_stored in (units.to_grams, units.to_litres):
        try:
            return replace(entry, unit=unit, stored=to_stored(entry.value, unit))
        except BadInput:
            continue
    if entry.kind == "feeding":
        return entry
    raise UnknownName("unit", unit, ("g", "kg", "mg", "lb", "oz", "L", "mL", "gal"))


def _reading(entry: Entry) -> tuple[Entry, tuple[str, ...]]:
    if entry.value is None:
        raise BadInput(f"no value for {entry.subject or 'the reading'}", way_out="Type a number, for example 8.1.")
    name = canonical_name(entry.subject) or entry.subject
    q = quantity(name)
    warmth, salt = _number(entry.extra.get("temperature")), _number(entry.extra.get("salinity"))
    done = convert.to_stored(name, entry.value, entry.unit, method=entry.method, temperature_c=warmth, salinity=salt)
    wrong = convert.implausible(name, done.value)
    if wrong:
        raise BadInput(
            f"{entry.subject} {entry.value:g} {entry.unit}".rstrip() + f": {wrong}",
            way_out="Check the number and its unit.",
        )
    if entry.sd is not None and entry.sd <= 0:
        raise BadInput(f"sd {entry.sd:g}", way_out="A standard deviation is above zero.")
    sd = (
        convert.sd_to_stored(name, entry.sd, entry.unit, at=entry.value, temperature_c=warmth, salinity=salt)
        if entry.sd is not None
        else None
    )
    unit = "total" if name == "ph_total" else entry.unit or q.unit  # or an export would lose on which scale it was
    return replace(entry, subject=stored_name(name), unit=unit, stored=done.value, stored_sd=sd), done.assumed


def _number(x: Any) -> float | None:
    return float(x) if isinstance(x, int | float) and not isinstance(x, bool) else None


def _moment(time: dt.datetime | str | None, system: System, now: dt.datetime) -> dt.datetime:
    if time is None or time == "":
        return now.replace(microsecond=0)
    when = parse(time, zone(system.time_zone)) if isinstance(time, str) else time
    if when > now + _AHEAD:
        raise BadInput(f"{time} lies in the future", way_out="An entry is of something that happened.")
    when = min(when, now)  # forgiven, and of now: nothing may lie ahead of its own clock
    if when.year < 1971:
        raise BadInput(f"{time} is too long ago", way_out="Was the clock ever set?")
    return when


def _doubt(store: Store, clock: Clock, entry: Entry) -> Doubtful | None:
    """What the estimate says of a reading just written."""
    if entry.kind != "reading" or entry.subject not in QUANTITIES:
        return None
    from leadline.estimate.outlook import doubtful

    r = enquire.reckoning(store, clock, entry.system)
    track = r.tracks.get(entry.subject)
    return next((d for d in doubtful(r, track) if d.id == entry.id), None) if track is not None else None


def _known(store: Store, entry_id: str) -> Entry:
    entry = store.entry(entry_id)
    if entry is None:
        raise UnknownName("entry", entry_id, (), way_out="Its id stands in the export's column id.")
    return entry


def _write(store: Store, entry: Entry) -> Entry:
    entry = replace(entry, id=content_id(entry))
    store.add_entries([entry])
    return entry


def withdraw(store: Store, clock: Clock, entry_id: str) -> Entry:
    """Take an entry back. It stays in the journal beside the entry that withdraws it."""
    old = _known(store, entry_id)
    return _write(store, replace(old, recorded_at=clock.now(), extra={"corrects": old.id, "withdrawn": True}, id=""))


def correct(store: Store, clock: Clock, entry_id: str, value_text: str, unit: str) -> Entry:
    """A later entry that stands in the place of an earlier one; both are kept."""
    old = _known(store, entry_id)
    system = describe.load(store, old.system)
    extra = {**old.extra, "corrects": old.id}
    new = replace(
        old, value=units.parse_typed(value_text), unit=unit.strip() or old.unit, sd=None, stored_sd=None,
        recorded_at=clock.now(), extra=extra, id="",
    )  # fmt: skip
    return _write(store, understood(store, system, new)[0])


_OF_ONE = frozenset({"corrects", "withdrawn", "confirms", "instead_of"})  # marks of an entry among others, not of it


def amend(store: Store, clock: Clock, entry_id: str, *, token: str = "", **other: Any) -> Logged:
    """Log an entry anew in the place of one whose time, system or name was wrong; that one is taken back.

    Both are written, or neither. The new entry names the old one in `extra["instead_of"]`.

    Parameters
    ----------
    other
        What was otherwise, by the names of `log`; the rest is as it was.

    Raises
    ------
    BadInput, UnknownName
        As `log` does, and when the entry no longer stands.
    """
    old = _known(store, entry_id)
    if sent(store, token) is None and any(e.corrects == old.id for e in store.entries(old.system)):
        raise BadInput("this entry was corrected or taken back already", way_out="Change the one that counts.")
    below = "<" if old.extra.get("below_detection") else ""
    was = {
        "system": old.system, "subject": old.subject, "unit": old.unit, "method": old.method, "time": old.time,
        "value_text": "" if old.value is None else f"{below}{old.value!r}", "note": old.note, "to": old.to,
        "sd_text": "" if old.sd is None else repr(old.sd), "source": old.source, "extra": old.extra,
    }  # fmt: skip
    new = {**was, **other}
    extra = {k: v for k, v in new.pop("extra").items() if k not in _OF_ONE}
    with store.together():
        done = log(store, clock, kind=old.kind, token=token, extra={**extra, "instead_of": old.id}, **new)
        if not done.again:
            withdraw(store, clock, old.id)
    return done


def confirm(store: Store, clock: Clock, entry_id: str) -> Entry:
    """The keeper says that an entry is right as typed; nobody asks again."""
    old = _known(store, entry_id)
    now = clock.now().replace(microsecond=0)
    note = f"right as typed: {old.subject} {old.value:g} {old.unit}" if old.value is not None else "right as typed"
    return _write(store, Entry(now, old.system, "note", old.subject, note=note, extra={"confirms": old.id}))


_PRESSED = {"observation": ("seen", "census"), "service": ()}  # what a button of the round may write; () is any


def done(
    store: Store, clock: Clock, system: str, action: str, subject: str, logs: Mapping[str, str] | None = None
) -> Entry:
    """An inspection or service of the round was done: its clock starts again.

    Parameters
    ----------
    logs
        How its doing is written, where that differs: `kind`, `subject`, `method`, `note`, and the `animal` it is of.
    """
    describe.load(store, system)
    if logs:
        kind, what = logs.get("kind", ""), logs.get("subject", "")
        allowed = _PRESSED.get(kind)
        if allowed is None or not what or (allowed and what not in allowed):
            raise BadInput(f"{kind} {what} is nothing that a button logs", way_out="Reload the page.")
        extra: dict[str, Any] = {"animal": logs["animal"]} if logs.get("animal") else {}
        if what == "census":  # who looks them over and misses nobody has seen all of them
            from leadline.app import stock

            extra = {"seen": {x.id: True for x in stock.house(store, clock).register.at(system)}}
        return log(
            store, clock, system=system, kind=kind, subject=what, value_text="", unit="",
            method=logs.get("method", ""), note=logs.get("note", ""), extra=extra,
        ).entry  # fmt: skip
    method = {"service": "calibrated", "inspect": "checked"}.get(action, "done")
    now = clock.now().replace(microsecond=0)
    kind = "service" if action in ("service", "inspect", "prove") else "note"
    return _write(store, Entry(now, system, kind, subject, method=method))
