"""`leadline trace`: where something that came along can be by now, and which arrivals can have brought it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    import datetime as dt

    from leadline.app.stock import House
    from leadline.cli.main import Bridge
    from leadline.livestock.trace import Backward, Forward

_SHOWN = 8


@click.command(short_help="What touched what: where a pest can be, and which arrival can have brought it.")
@click.argument("pest")
@click.option("--came-with", default="", metavar="ANIMAL", help="Forward: it came with this animal.")
@click.option("--place", default="", metavar="SYSTEM", help="Forward: it was in this system, since --since.")
@click.option("--from", "source", default="", metavar="DEALER", help="Forward: this dealer had it, since --since.")
@click.option("--since", metavar="DAY", help="Since when.")
@click.option("--seen-in", default="", metavar="SYSTEM", help="Backward: it was first seen in this system.")
@click.option("--seen", metavar="DAY", help="On which day; else at its first noted sign.")
@click.option("--svg", "picture", type=click.Path(path_type=Path), metavar="FILE", help="Write the picture, too.")
@click.pass_obj
def trace(
    bridge: Bridge, pest: str, came_with: str, place: str, source: str, since: str | None, seen_in: str,
    seen: str | None, picture: Path | None,
) -> None:  # fmt: skip
    """Trace PEST (an id or a name of the catalogue) along contacts: arrivals, moves, water, rock, tools, hands, air.

    Forward: where it can be by now, with what chance and by which way, what to look at first and until when.
    Backward: which arrivals can have brought it, ranked. Nobody has measured how easily carriers carry: chances are
    planning figures, with their range.

    \b
    Examples:
      leadline trace marine-white-spot --came-with fairy-wrasses
      leadline trace aiptasia --from harbour-shop --since 2025-11-01
      leadline trace marine-white-spot --seen-in great-reef --svg trace.svg
    """
    from leadline.app import stock, trace_picture
    from leadline.app import trace as app
    from leadline.app.answers import livestock as answers
    from leadline.measures.moments import parse, zone

    store = bridge.store()
    moment = bridge.as_of()
    h = stock.house(store, bridge.clock, moment)
    local = zone(next(iter(h.systems.values())).time_zone) if h.systems else zone("UTC")
    forward = [x for x in (came_with, place, source) if x]
    if bool(forward) == bool(seen_in) or len(forward) > 1:
        way_out = "Give one of --came-with, --place, --from; or --seen-in for the way back."
        raise BadInput("forward or backward?", way_out=way_out)
    if seen_in:
        b = app.backward(store, bridge.clock, pest, seen_in, parse(seen, local) if seen else None, moment)
        if bridge.json:
            emit(answers.backward(b))
        else:
            _show_backward(h, b, local)
        drawn = trace_picture.of_backward(h, b)
    else:
        f = app.forward(
            store, bridge.clock, pest, came_with=came_with, place=place, source=source,
            since=parse(since, local) if since else None, as_of=moment,
        )  # fmt: skip
        if bridge.json:
            emit(answers.forward(f))
        else:
            _show_forward(h, f, local)
        drawn = trace_picture.of_forward(h, f) if f.exposed else ""
    if picture is not None and drawn:
        from leadline.present.charts.alone import standing_alone

        try:
            picture.write_text(standing_alone(drawn), encoding="utf-8")
        except OSError as exc:
            raise BadInput(f"cannot write it: {exc.strerror}", where=str(picture)) from exc
        if not bridge.json:
            click.echo(f"Picture: {picture}")


def _show_forward(h: House, f: Forward, local: dt.tzinfo) -> None:
    from leadline.measures.figures import day
    from leadline.present import stock as said

    names = {s.id: s.name for s in h.systems.values()}
    click.echo(
        click.style(
            f"{f.pest.name}, from {said.place_said(f.origin, names)} since {day(f.since, local, f.now)}", bold=True
        )
    )
    if not f.exposed:
        click.echo("No time-respecting way leads anywhere from there.")
    for k, e in enumerate(f.exposed, 1):
        until = f" Look until {day(e.look_until, local, f.now)}." if e.look_until else ""
        hosts = f" Hosts: {', '.join(e.hosts)}." if e.hosts else " No host of it is known there."
        click.echo(f"{k}  {names.get(e.place, e.place)}: {said.chance_said(e.chance, *e.chance_range)}.{hosts}{until}")
        click.echo(click.style(f"   {said.path_said(e.likeliest.path(), names, local, f.now)}", dim=True))
    for c in f.carriers:
        click.echo(f"It can be on {said.place_said(c, names)}: keep it out of other water, clean and dry it.")
    click.echo(click.style("Chances are planning figures: nobody has measured how easily carriers carry.", dim=True))


def _show_backward(h: House, b: Backward, local: dt.tzinfo) -> None:
    from leadline.measures.figures import chance, day
    from leadline.present import stock as said

    names = {s.id: s.name for s in h.systems.values()}
    click.echo(
        click.style(f"{b.pest.name}, first seen in {names.get(b.place, b.place)} {day(b.seen, local)}", bold=True)
    )
    for k, s in enumerate(b.suspects[:_SHOWN], 1):
        who = s.lot.replace("-", " ") if s.lot else "Something else"
        click.echo(f"{k}  {who}: {chance(s.share)}. {s.why[:1].upper()}{s.why[1:]}.")
        if len(s.path) > 1:
            click.echo(click.style(f"   {said.path_said(s.path, names, local, b.seen)}", dim=True))
    for n, why in ((b.excluded, "no way there that respects time, or can't carry it"),
                   (b.too_old, "not been weighed: they came more than two years before")):  # fmt: skip
        if n:
            click.echo(f"{n} {'arrival has' if n == 1 else 'arrivals have'} {why}.")
    if b.not_followed:
        click.echo(f"{b.not_followed} unlikely arrivals were not followed.")
    click.echo(click.style("Shares are planning figures, to choose what to look at first.", dim=True))
