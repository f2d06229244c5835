"""Contacts along time: each place a lane, what came over drawn from lane to lane where and when it did.

As on the other charts, across is in percent and down in pixels, and colours come from the page by class.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from leadline.measures.figures import day, month

LANE = 74.0  # from lane to lane [px]
TOP = 22.0
_BAND = 22.0  # height of a lane's band where the chance is one [px]
_LEAST_BAND = 4.0


@dataclass(frozen=True, slots=True)
class Reach:
    """From when on it can be at a lane, and how likely it is there by the end."""

    since: dt.datetime
    chance: float
    said: str


@dataclass(frozen=True, slots=True)
class Noted:
    """Something at a lane at one moment: a sign that was seen (a diamond) or an arrival (a fix)."""

    at: dt.datetime
    said: str
    came: bool = False
    written: bool = False  # whether its words stand beside it


@dataclass(frozen=True, slots=True)
class Lane:
    """One place, tool, dealer or hands."""

    name: str
    reach: Reach | None = None
    quiet: bool = False  # a dealer, tool or hands: drawn lighter
    marks: tuple[Noted, ...] = ()


@dataclass(frozen=True, slots=True)
class Stroke:
    """Something that went over, from one lane to another."""

    at: dt.datetime
    begin: int
    end: int
    said: str
    way: bool = False  # whether it is a step of the way that is shown
    both: bool = False  # whether it could go over either way


def svg(
    lanes: Sequence[Lane], strokes: Sequence[Stroke], start: dt.datetime, end: dt.datetime, *, local: dt.tzinfo,
    ident: str, title: str, said: str,
) -> str:  # fmt: skip
    """The picture as one `<svg>` element, safe to place in a page.

    Parameters
    ----------
    strokes
        Those with `way` are drawn last, in the colour that asks.
    title, said
        What it is, and what it shows, for whoever can't see it.
    """
    days = max((end - start).total_seconds() / 86400.0, 1e-6)
    foot = TOP + LANE * len(lanes) + 4.0

    def x(moment: dt.datetime) -> float:
        return min(max(100.0 * (moment - start).total_seconds() / 86400.0 / days, 0.0), 100.0)

    def y(lane: int) -> float:
        return TOP + LANE * lane + 30.0

    parts = []
    for tick, words in _ticks(start, end, local):
        at = x(tick)
        parts.append(f'<line class="tick" x1="{at:.2f}%" x2="{at:.2f}%" y1="{TOP}" y2="{foot:.0f}"/>')
        anchor = "end" if at > 92 else "start" if at < 4 else "middle"
        parts.append(
            f'<text class="date" x="{at:.2f}%" y="{foot + 16:.0f}" text-anchor="{anchor}">{escape(words)}</text>'
        )
    for i, lane in enumerate(lanes):
        parts += _lane(lane, y(i), x, i)
    for s in sorted(strokes, key=lambda s: s.way):
        parts += _stroke(s, x(s.at), y(s.begin), y(s.end))
    parts += [f'<text class="place" x="0" y="{y(i) - 16:.1f}">{escape(n.name)}</text>' for i, n in enumerate(lanes)]
    height = foot + 24.0
    return (
        f'<svg class="chart contacts" role="img" aria-labelledby="{ident}-t {ident}-d" width="100%" '
        f'height="{height:.0f}"><title id="{ident}-t">{escape(title)}</title><desc id="{ident}-d">{escape(said)}</desc>'
        f"{''.join(parts)}</svg>"
    )


def _lane(lane: Lane, at_y: float, x, number: int) -> list[str]:  # type: ignore[no-untyped-def]
    look = "lane quiet" if lane.quiet else "lane"
    parts = []
    if lane.reach is not None:
        begin = x(lane.reach.since)
        tall = max(_BAND * lane.reach.chance, _LEAST_BAND)
        parts.append(
            f'<rect class="reach" x="{begin:.2f}%" y="{at_y - tall / 2:.1f}" width="{max(100.0 - begin, 0.6):.2f}%" '
            f'height="{tall:.1f}"/>'
        )
    parts.append(f'<line class="{look}" x1="0" x2="100%" y1="{at_y:.1f}" y2="{at_y:.1f}"/>')
    if lane.reach is not None:
        parts.append(
            f'<text class="how-likely" x="100%" y="{at_y - 16:.1f}" text-anchor="end">{escape(lane.reach.said)}</text>'
        )
    for m in lane.marks:
        at = x(m.at)
        shape = (
            '<circle class="came" r="6"/><circle class="dot" r="1.6"/>'
            if m.came
            else '<path d="M0,-7 L7,0 L0,7 L-7,0 Z"/>'
        )
        words = f"<title>{escape(m.said)}</title>"
        if m.written:
            right = at < 42.0
            anchor, beside = ("start", 0) if right else ("end", 0)
            words += f'<text class="noted" x="{beside}" y="21" text-anchor="{anchor}">{escape(m.said)}</text>'
        parts.append(
            f'<svg class="{"arrived" if m.came else "sign"}" x="{at:.2f}%" y="{at_y:.1f}" overflow="visible">'
            f"{words}{shape}</svg>"
        )
    return parts


def _stroke(s: Stroke, at_x: float, from_y: float, to_y: float) -> list[str]:
    look = "went way" if s.way else "went"
    down = 1 if to_y > from_y else -1
    plain = s.both and not s.way
    tip = to_y if plain else to_y - 4.0 * down
    line = f'<line class="{look}" x1="{at_x:.2f}%" x2="{at_x:.2f}%" y1="{from_y:.1f}" y2="{tip:.1f}"/>'
    if plain:
        return [line]
    parts = [
        line,
        f'<svg class="{look}" x="{at_x:.2f}%" y="{to_y:.1f}" overflow="visible">'
        f'<path d="M0,0 L-4,{-8 * down} L4,{-8 * down} Z"/><title>{escape(s.said)}</title></svg>',
    ]
    if s.way and s.said:
        right = at_x < 62.0
        parts.append(
            f'<svg x="{at_x:.2f}%" y="{min(from_y, to_y) + 38:.1f}" overflow="visible"><text class="went-said" '
            f'x="{7 if right else -7}" text-anchor="{"start" if right else "end"}">{escape(s.said)}</text></svg>'
        )
    return parts


def _ticks(start: dt.datetime, end: dt.datetime, local: dt.tzinfo) -> list[tuple[dt.datetime, str]]:
    """At most seven dates, at even steps, the last one now."""
    days = (end - start).total_seconds() / 86400.0
    step = next((s for s in (1, 2, 7, 14, 30, 61, 122, 183, 366) if days / s <= 5.5), 732)
    found: list[tuple[dt.datetime, str]] = [(end, day(end, local))]
    moment = end - dt.timedelta(days=step)
    while moment >= start:
        words = day(moment, local) if step < 30 else f"{month(moment, local)} {moment.astimezone(local):%y}"
        found.append((moment, words))
        moment -= dt.timedelta(days=step)
    return found[::-1]
