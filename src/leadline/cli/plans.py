"""`leadline plan`: quarantine and fish-free time, computed from life cycles and the water's own temperature."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from leadline.cli.lazy import LazyGroup
from leadline.cli.output import emit
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.livestock.quarantine import Plan

COMMANDS: dict[str, tuple[str, str, str]] = {
    "quarantine": ("plans", "quarantine", "Where a quarantine stands: windows, what is due, what may be concluded."),
    "fallow": ("plans", "fallow", "How long a system must stay without fish."),
}


class Group(LazyGroup):
    """What can be planned."""

    table = COMMANDS


@click.group(cls=Group, short_help="Quarantine and fish-free time, from life cycles and temperature.")
def plan() -> None:
    """Plan ahead.

    \b
    Examples:
      leadline plan quarantine quarantine
      leadline plan fallow great-reef marine-white-spot
    """


@click.command(short_help="Where a quarantine stands: windows, what is due, what may be concluded.")
@click.argument("system", required=False)
@click.pass_obj
def quarantine(bridge: Bridge, system: str | None) -> None:
    """Show the plan of SYSTEM, or of every quarantine. Exit status 1 when something is due or was missed.

    A window opens when all eggs present at the last treatment have hatched and closes before any hatchling lays; the
    worst end of every published duration counts. Outside tested temperatures it says "no data". No dose is ever shown.

    \b
    Examples:
      leadline plan quarantine
      leadline plan quarantine quarantine --json
    """
    from leadline.app import quarantine as app
    from leadline.app import stock
    from leadline.app.answers import livestock as answers

    store, moment = bridge.store(), bridge.as_of(system)
    h = stock.house(store, bridge.clock, moment)
    names = [system] if system else app.units(h)
    if not names:
        raise BadInput("no system is a quarantine", way_out='Say purpose = "quarantine" in its description.')
    due = False
    for name in names:
        found = app.plan(store, bridge.clock, name, moment)
        if found is None:
            if bridge.json:
                emit(answers.empty_quarantine(name, h.at))
            else:
                click.echo(f"Nothing lives in {name}.")
            continue
        due = due or any(s.state in ("due", "missed") and s.key != "look" for s in found.steps)
        if bridge.json:
            emit(answers.quarantine(found, h.at))
        else:
            _show(bridge, found, name)
    if due:
        click.get_current_context().exit(1)


def _show(bridge: Bridge, p: Plan, name: str) -> None:
    from leadline.app import stock
    from leadline.measures.figures import day
    from leadline.measures.moments import zone
    from leadline.present import stock as said

    h = stock.house(bridge.store(), bridge.clock, bridge.as_of(name))
    local = zone(h.systems[name].time_zone)
    who = ", ".join(x.name for x in p.lots)
    click.echo(click.style(f"{h.systems[name].name}: {who}", bold=True))
    click.echo(f"Day {p.days} since {p.because} ({day(p.started, local, h.at)})."
               + (f" Water {p.warmth.said}." if p.warmth else " Nobody measured the temperature."))  # fmt: skip
    click.echo(p.conclusion)
    pests = {a.pest.id: a.pest.name for a in p.against}
    for s in p.steps:
        if s.state in ("due", "missed", "ahead"):
            mark = {"due": "▲", "missed": "×", "ahead": "·"}[s.state]
            against = f" (against {', '.join(pests[x] for x in s.pests)})" if s.pests else ""
            line = f"{mark} {s.what}{against}: {said.window_said(s, local, h.at)}. {s.why[:1].upper()}{s.why[1:]}."
            click.echo(click.style(line, fg="magenta") if s.state == "due" else line)
    if p.release is not None:
        click.echo(f"{p.from_when} {day(p.release, local, h.at)}: {p.release_why}.")
    for line in p.no_data:
        click.echo(click.style(f"No data: {line}", dim=True))
    for line in p.cautions:
        click.echo(click.style(f"▲ {line}", fg="magenta"))


@click.command(short_help="How long a system must stay without fish.")
@click.argument("system")
@click.argument("pest", default="marine-white-spot")
@click.pass_obj
def fallow(bridge: Bridge, system: str, pest: str) -> None:
    """Show how long SYSTEM must stay without hosts of PEST, and what began the clock again.

    \b
    Examples:
      leadline plan fallow great-reef
      leadline plan fallow great-reef marine-velvet --json
    """
    from leadline.app import quarantine as app
    from leadline.present import stock as said

    f = app.fallow_of(bridge.store(), bridge.clock, system, pest, bridge.as_of(system))
    if bridge.json:
        emit({"schema": "leadline.fallow/1", "system": system, "pest": f.pest.id, "since": f.since, "until": f.until,
              "days": f.days.days, "why": f.days.why, "hosts": list(f.hosts),
              "restarted": [{"time": t, "because": w} for t, w in f.restarted]})  # fmt: skip
        return
    for line in said.fallow_lines(f, system):
        click.echo(line)
