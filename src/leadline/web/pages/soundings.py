"""The courses under the round: heading, sentence, chart, readings as a table, and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import quote

from markupsafe import Markup

from leadline.estimate.report import QuantityEstimate
from leadline.measures import figures, quantities
from leadline.measures.moments import iso
from leadline.measures.words import _
from leadline.present import sentences
from leadline.web.pages.lines import Form, Typed, entry_form
from leadline.web.seen import Seen

MOST_ROWS = 40


@dataclass(frozen=True, slots=True)
class Row:
    """One reading of the table."""

    when: str
    value: str
    method: str
    note: str


@dataclass(frozen=True, slots=True)
class Sounding:
    """One quantity as shown."""

    quantity: str
    system: str
    id: str
    name: str
    value: str
    sd: str
    unit: str
    state: str  # a word: where it stands
    asks: bool  # whether it asks something of the reader
    said: tuple[str, ...]
    chart: Markup
    rows: tuple[Row, ...]
    more_rows: str
    why: tuple[str, ...]
    doubts: tuple[str, ...]
    form: Form | None
    measured: bool
    look: str = ""  # the address of its own page


def soundings(
    at: Seen, first: Iterable[str], typed: Typed | None, frozen: bool = False, drawn: bool = True
) -> list[Sounding]:
    """Every quantity of a system: those that ask something first, then in their usual order; `drawn` with courses."""
    known = at.estimate.quantities
    asking = sorted((q for q, e in known.items() if asks(e)), key=lambda q: -known[q].p_outside_aim)
    order = [*first, *asking, *quantities.QUANTITIES, *known]
    return [sounding(at, known[q], typed, frozen, drawn) for q in dict.fromkeys(order) if q in known]


def sounding(at: Seen, e: QuantityEstimate, typed: Typed | None, frozen: bool = False, drawn: bool = True) -> Sounding:
    """One quantity's course as the template wants it; without `drawn` only what one line says of it."""
    units, as_of = at.estimate.units, at.estimate.as_of
    read = figures.figure(e.mean, e.sd, e.quantity, units, e.unit)
    track = at.courses.get(e.quantity) if drawn else None
    measured = e.last_reading is not None or bool(track and track.fixes)
    said = [sentences.now_said(e, units, at.local, as_of), sentences.edge_said(e, at.local, as_of)]
    if e.band_is_default and e.aim is not None:
        said.append(
            _("The channel ({band}) is a default; set your own band.").format(
                band=figures.band(e.aim, e.quantity, units)
            )
        )
    why = [sentences.rate_said(e, units), *e.why]
    if drawn and e.quantity not in at.rows:
        at.rows[e.quantity] = _rows(at, e)
    rows, more = at.rows[e.quantity] if drawn else ((), "")
    return Sounding(
        quantity=e.quantity,
        system=at.estimate.system,
        id=f"course-{e.quantity}",
        name=sentences.titled(e.quantity),
        value=read.value,
        sd=read.sd,
        unit=read.label,
        state=_state(e, at),
        asks=asks(e),
        said=tuple(s for s in said if s),
        chart=Markup(at.chart(e)) if measured and drawn else Markup(""),
        rows=rows,
        more_rows=more,
        why=tuple(s for s in why if s),
        doubts=tuple(sentences.doubt_said(d, e.quantity, units, at.local) for d in e.doubtful),
        form=None if frozen else entry_form(at, e.quantity, f"c-{e.quantity}", typed),
        measured=measured,
        look=_look(at, e, frozen) if measured and drawn else "",
    )


def _look(at: Seen, e: QuantityEstimate, frozen: bool) -> str:
    as_of = f"?as_of={quote(iso(at.estimate.as_of))}" if frozen else ""
    return f"/course/{quote(at.estimate.system)}/{quote(e.quantity)}{as_of}"


def asks(e: QuantityEstimate) -> bool:
    """Whether a quantity asks something of the reader: measured once, and more likely out of its channel than in."""
    return e.aim is not None and e.last_reading is not None and e.p_outside_aim >= 0.5


def _state(e: QuantityEstimate, at: Seen) -> str:
    if e.aim is None:
        return _("no channel set")
    if e.p_outside_limit >= 0.5:
        return _sure(e.p_outside_limit, _("past the limit"))
    if e.p_outside_aim >= 0.5:
        return _sure(e.p_outside_aim, _("outside the channel"))
    if e.meets_edge is not None and e.meets_edge <= at.estimate.as_of:
        return _("may be at the edge")
    return _("in the channel")


def _sure(chance: float, where: str) -> str:
    """What the cone's own 90 % does not hold is only probably so."""
    return where if chance >= 0.9 else _("probably {where}").format(where=where)


def _rows(at: Seen, e: QuantityEstimate) -> tuple[tuple[Row, ...], str]:
    track = at.courses.get(e.quantity)
    if track is None:
        return (), ""
    way = figures.display(e.quantity, at.estimate.units, e.unit)
    hand = sorted((f for f in track.fixes if not f.probe), key=lambda f: f.time, reverse=True)
    rows = tuple(
        Row(
            figures.moment(f.time, at.local),
            figures.number(way.shown(f.value), way.digits),
            f.method or _("not said"),
            _("in doubt") if f.doubtful else "",
        )
        for f in hand[:MOST_ROWS]
    )
    left, probe = len(hand) - len(rows), len(track.fixes) - len(hand)
    if left > 0 and probe:
        return rows, _("{left} earlier ones by hand and {points} points of a probe").format(left=left, points=probe)
    if left > 0:
        return rows, _("{left} earlier ones by hand").format(left=left)
    return rows, _("{points} points of a probe").format(points=probe) if probe else ""
