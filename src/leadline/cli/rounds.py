"""`leadline round`: today's ranked list."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.rounds.item import Round


LATER_SHOWN = 8


@click.command(name="round", short_help="Today's ranked list: what deserves your minutes.")
@click.argument("system", required=False)
@click.option("--minutes", type=click.FloatRange(0, 1440), default=10.0, show_default=True, help="The time you have.")
@click.pass_obj
def round_(bridge: Bridge, system: str | None, minutes: float) -> None:
    """What to do now in SYSTEM (or in all), ranked by harm avoided per minute, and what can wait until when.

    \b
    Examples:
      leadline round
      leadline round north-room --minutes 5
      leadline round north-room --json
    """
    from leadline.app import choose

    if minutes != minutes:  # not a number
        raise BadInput("--minutes is no number", way_out="Give the minutes you have, such as 10.")
    r = choose.round_for(bridge.store(), bridge.clock, system, minutes, bridge.as_of(system))
    if bridge.json:
        from leadline.app.answers import water

        emit(water.round_(r))
        return
    _show(r)


def _show(r: Round) -> None:
    from leadline.measures.figures import minutes, span
    from leadline.measures.moments import days_between
    from leadline.present import sentences

    many = len(r.names) > 1
    if not r.names:
        click.echo("No system is described yet. Begin with: leadline system add FILE.toml, or look at leadline demo.")
        return
    if not r.items:
        click.echo(sentences.idle(r))
    for k, c in enumerate(r.items, 1):
        said = click.style(sentences.target(c.action, c.subject), bold=True)
        head = f"{k}  {sentences.action(c.action)} {said}" + (f", {c.system}" if many else "")
        shown = click.style(head, fg="magenta") if c.urgency == "now" else head
        click.echo(f"{shown}  ({minutes(c.minutes)}, {c.urgency})")
        click.echo(f"   {c.because}")
    if r.left_for_later:
        click.echo("Left for later:")
        soonest = sorted(r.left_for_later, key=lambda x: x.until or r.as_of)
        for x in soonest[:LATER_SHOWN]:
            when = f"can wait {span(days_between(r.as_of, x.until))}" if x.until else "can wait"
            if x.worthy:
                when = f"worth its {minutes(x.minutes)}, does not fit"
            where = f", {x.system}" if many and x.system else ""
            click.echo(click.style(f"   {x.action} {sentences.target(x.action, x.subject)}{where}: {when}", dim=True))
        if len(soonest) > LATER_SHOWN:
            click.echo(click.style(f"   and {len(soonest) - LATER_SHOWN} more that can wait longer", dim=True))
